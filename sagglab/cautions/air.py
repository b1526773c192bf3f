"""What the materials of a firing can give off at most, and the air that it takes to thin it to a limit.

Every bound takes all of an element to end up in the one gas: all carbon as carbon monoxide, all sulphur as
sulphur dioxide, all chlorine as hydrogen chloride and, counted once more, as chlorine. It bounds what the
weighed materials give off and nothing else: the burner's own gas, and what was brushed on, come on top.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import constants

from sagglab.cautions.used import Used, used_in

#: Litres of a mole of gas at 25 °C and one atmosphere, where exposure limits are stated: 24.47.
MOLAR_VOLUME_L = 1000 * constants.R * (constants.zero_Celsius + 25) / constants.atm


@dataclass(frozen=True)
class Gas:
    """A gas or fume, and the limit to what may be breathed of it at work.

    Attributes
    ----------
    name : str
    element : str
        What of the material it is made of.
    per_mole : float
        Its grams for each mole of that element.
    molar_mass : float
        In g/mol; not a number for a fume, which is counted as its metal.
    limit_ppm : float
        Parts of a million parts of air; not a number for a fume.
    limit_mg_per_m3 : float
    limit_by : str
        Who set it.
    """

    name: str
    element: str
    per_mole: float
    molar_mass: float
    limit_ppm: float
    limit_mg_per_m3: float
    limit_by: str

    @property
    def limit(self) -> str:
        """The limit in words."""
        stated = f"{self.limit_ppm:g} ppm" if self.limit_ppm > 0 else f"{self.limit_mg_per_m3:g} mg/m³"
        return f"{stated} ({self.limit_by})"


def _gas(name: str, element: str, per_mole: float, molar_mass: float, ppm: float, by: str) -> Gas:
    return Gas(name, element, per_mole, molar_mass, ppm, ppm * molar_mass / MOLAR_VOLUME_L, by)


def _fume(name: str, element: str, per_mole: float, mg_per_m3: float, by: str) -> Gas:
    return Gas(name, element, per_mole, np.nan, np.nan, mg_per_m3, by)


#: By the keys of the column ``counted in the air`` of `materials.csv`. Of two authorities the lower limit
#: counts. OSHA's and NIOSH's in ppm: carbon monoxide 50 and 35; sulphur dioxide 5 and 2; chlorine 1 and 0.5,
#: ceilings; hydrogen chloride 5, a ceiling of both. In mg/m³: copper fume 0.1 of both; soluble iron salts 1
#: as iron (NIOSH); zinc oxide fume 5; cobalt 0.1 and 0.05; manganese fume 5, a ceiling, and 1. Read in
#: copies of the NIOSH Pocket Guide and on OSHA's chemical sampling pages.
GASES: dict[str, Gas] = {
    "CO": _gas("carbon monoxide", "C", 28.010, 28.010, 35.0, "NIOSH"),
    "HCl": _gas("hydrogen chloride", "Cl", 36.458, 36.458, 5.0, "ceiling, OSHA and NIOSH"),
    "Cl2": _gas("chlorine", "Cl", 35.45, 70.90, 0.5, "ceiling, NIOSH"),
    "SO2": _gas("sulphur dioxide", "S", 64.058, 64.058, 2.0, "NIOSH"),
    "Cu": _fume("copper fume", "Cu", 63.546, 0.1, "OSHA and NIOSH"),
    "Co": _fume("cobalt fume", "Co", 58.933, 0.05, "NIOSH"),
    "Mn": _fume("manganese fume", "Mn", 54.938, 1.0, "NIOSH"),
    "Fe": _fume("iron salt fume", "Fe", 55.845, 1.0, "NIOSH"),
    "ZnO": _fume("zinc oxide fume", "Zn", 81.379, 5.0, "OSHA and NIOSH"),
}

COLUMNS = (
    "firing",
    "gas",
    "grams",
    "litres",
    "air_m3",
    "limit_ppm",
    "limit_mg_per_m3",
    "not_counted",
)


def gas_bounds(pots: pd.DataFrame) -> pd.DataFrame:
    """Bound from above what the weighed materials of each firing can give off.

    Parameters
    ----------
    pots : DataFrame
        One row per pot; its ``firing``, without which all are taken for one, and each material in a column
        ``name [unit]``.

    Returns
    -------
    DataFrame
        One row for each firing and gas that its materials can give off: ``grams``; ``litres`` at 25 °C and
        one atmosphere, not a number for a fume; ``air_m3``, the cubic metres of air that would, evenly mixed,
        just thin it to the limit; ``limit_ppm`` and ``limit_mg_per_m3``; ``not_counted``, the materials that
        give it off, too, of which it is not known how much. Grams, litres and air are not a number where
        nothing could be counted. Chlorine is what would come in place of hydrogen chloride, not with it.

    References
    ----------
    NIOSH Pocket Guide to Chemical Hazards; OSHA, 29 CFR 1910.1000, table Z-1.

    Examples
    --------
    >>> pots = pd.DataFrame({"firing": ["f1", "f1"], "sugar [g]": [3, 1], "copper wire [cm]": [60, 0]})
    >>> gas_bounds(pots)[["gas", "grams", "air_m3", "not_counted"]].round(1).values.tolist()
    [['carbon monoxide', 3.9, 98.0, ''], ['copper fume', nan, nan, 'copper wire']]
    """
    used = [each for each in used_in(pots) if each.material is not None]
    firings = _firings(pots)
    rows = [
        _bound(firing, gas, [each for each in used if key in each.material.counted], firings == firing)
        for firing in dict.fromkeys(firings)
        for key, gas in GASES.items()
    ]
    table = pd.DataFrame([row for row in rows if row is not None], columns=list(COLUMNS))
    texts = ["firing", "gas", "not_counted"]
    return table.astype({name: object if name in texts else float for name in COLUMNS})


def _firings(pots: pd.DataFrame) -> np.ndarray:
    if "firing" not in pots:
        return np.full(len(pots), "", dtype=object)
    firings = pots["firing"].astype(object)
    return firings.where(firings.notna(), "").to_numpy()


def _bound(firing: str, gas: Gas, sources: list[Used], here: np.ndarray) -> tuple | None:
    moles, counted, left_out = 0.0, False, []
    for source in sources:
        given = source.pots & here
        if not given.any():
            continue
        grams = source.grams[given]
        found = np.nansum(grams) * source.material.moles_of(gas.element)
        if np.isnan(grams).all() or np.isnan(found):
            left_out.append(source.name)
            continue
        counted = True
        moles += found
        if np.isnan(grams).any():
            left_out.append(source.name)
    if not counted and not left_out:
        return None
    grams = moles * gas.per_mole if counted else np.nan
    return (
        firing,
        gas.name,
        grams,
        grams / gas.molar_mass * MOLAR_VOLUME_L,
        1000 * grams / gas.limit_mg_per_m3,
        gas.limit_ppm,
        gas.limit_mg_per_m3,
        ", ".join(dict.fromkeys(left_out)),
    )
