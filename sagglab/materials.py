"""Materials: what goes on, over and around a pot, with formula, molar mass, hazards and what it gives off.

The table is `materials.csv`; its column ``source`` says of each where the hazards were looked up, and what of
it is from memory. A supplier's safety data sheet goes before it, always.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType

import pandas as pd

#: Said wherever a single recipe is shown. Common practice, no source.
TAKE_CARE = (
    "Take care: ferric chloride and metal salts hurt skin, eyes and lungs, and give off poisonous gas in "
    "the fire. Safety data sheets, local codes and licensed practice go before any recipe. Decorative ware "
    "only."
)

#: The harmonised hazard statements that the table uses, without capital and full stop: the words of UN GHS
#: annex 3, each read on a safety card of ILO/WHO or on a supplier's sheet.
STATEMENTS: Mapping[str, str] = MappingProxyType(
    {
        "H272": "may intensify fire; oxidiser",
        "H290": "may be corrosive to metals",
        "H302": "harmful if swallowed",
        "H315": "causes skin irritation",
        "H317": "may cause an allergic skin reaction",
        "H318": "causes serious eye damage",
        "H319": "causes serious eye irritation",
        "H332": "harmful if inhaled",
        "H334": "may cause allergy or asthma symptoms or breathing difficulties if inhaled",
        "H341": "suspected of causing genetic defects",
        "H350": "may cause cancer",
        "H360": "may damage fertility or the unborn child",
        "H361": "suspected of damaging fertility or the unborn child",
        "H373": "may cause damage to organs through prolonged or repeated exposure",
        "H410": "very toxic to aquatic life with long lasting effects",
        "H411": "toxic to aquatic life with long lasting effects",
    }
)


#: Standard atomic weights, abridged (IUPAC), of what ends up in the air.
ATOMIC_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "C": 12.011,
        "S": 32.06,
        "Cl": 35.45,
        "Mn": 54.938,
        "Fe": 55.845,
        "Co": 58.933,
        "Cu": 63.546,
        "Zn": 65.38,
    }
)


@dataclass(frozen=True)
class Material:
    """One material.

    Attributes
    ----------
    name : str
        The name used in headings.
    use : str
        ``coat`` (on the surface), ``dusting`` (on the wet coat), ``packing`` (loose in the saggar) or
        ``wrap`` (around the pot).
    formula : str
        Chemical formula with its water, empty for what is no single compound.
    molar_mass : float
        In g/mol, not a number where there is no formula.
    statements : tuple of str
        Codes of its harmonised hazard statements, as ``H302``.
    hazards : tuple of str
        What handling it can do, in words: those of the statements, then further ones.
    gives_off : str
        What firing it can do, in words.
    counted : tuple of str
        What of this is counted in the air, by the keys of `sagglab.cautions.GASES`.
    at_most : tuple of (str, float)
        The most that a gram can hold of an element, in grams, where no formula says it or it varies.
    never_fired : str
        Why it must not go into a fire; empty for most.
    source : str
        Where the hazards were looked up.
    """

    name: str
    use: str
    formula: str
    molar_mass: float
    statements: tuple[str, ...]
    hazards: tuple[str, ...]
    gives_off: str
    counted: tuple[str, ...]
    at_most: tuple[tuple[str, float], ...]
    never_fired: str
    source: str

    def moles_of(self, element: str) -> float:
        """Give the most that a gram of it can hold of an element.

        Parameters
        ----------
        element : str
            One of `ATOMIC_WEIGHTS`.

        Returns
        -------
        float
            In mol; not a number where neither a formula nor a share is known.

        Examples
        --------
        >>> round(find_material("sugar").moles_of("C") * 12.011, 3)
        0.421
        """
        for known, share in self.at_most:
            if known == element:
                return share / ATOMIC_WEIGHTS[element]
        return atoms(self.formula)[element] / self.molar_mass if self.formula else math.nan


def atoms(formula: str) -> Counter[str]:
    """Count the atoms of a formula such as ``CuSO4.5H2O``.

    Examples
    --------
    >>> atoms("FeSO4.7H2O")["O"]
    11
    """
    counted: Counter[str] = Counter()
    for part in filter(None, formula.split(".")):
        times, elements = re.fullmatch(r"(\d*)(.*)", part).groups()
        for element, number in re.findall(r"([A-Z][a-z]?)(\d*)", elements):
            counted[element] += int(times or 1) * int(number or 1)
    return counted


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


@cache
def _by_name() -> dict[str, Material]:
    table = pd.read_csv(files("sagglab") / "materials.csv", keep_default_na=False)
    table["molar mass [g/mol]"] = pd.to_numeric(table["molar mass [g/mol]"])
    materials = {}
    for row in table.to_dict("records"):
        statements = _listed(row["GHS"])
        shares = (share.split() for share in _listed(row["at most [g/g]"]))
        material = Material(
            name=row["material"],
            use=row["use"],
            formula=row["formula"],
            molar_mass=row["molar mass [g/mol]"],
            statements=statements,
            hazards=(*(STATEMENTS[code] for code in statements), *_listed(row["further hazards"])),
            gives_off=row["gives off when fired"],
            counted=_listed(row["counted in the air"]),
            at_most=tuple((element, float(share)) for element, share in shares),
            never_fired=row["never fired because"],
            source=row["source"],
        )
        for name in (row["material"], *_listed(row["also called"])):
            materials[name.lower()] = material
    return materials


def find_material(name: str) -> Material | None:
    """Look a material up by its name or by another name for it, one or many; None when it is unknown.

    Examples
    --------
    >>> find_material("sucrose").use, find_material("rice husk").name, find_material("Epsom salts").name
    ('dusting', 'rice hulls', 'magnesium sulphate')
    >>> find_material("unicorn dust") is None
    True
    """
    known, name = _by_name(), name.strip().lower()
    return known.get(name) or known.get(f"{name}s") or known.get(name.removesuffix("s"))


def material_names() -> tuple[str, ...]:
    """Give every name, in small letters, by which `find_material` knows a material.

    Examples
    --------
    >>> [name for name in material_names() if name.startswith("sugar") or name == "sucrose"]
    ['sugar', 'sucrose']
    """
    return tuple(_by_name())


def lies_on_surface(name: str, unit: str | None) -> bool:
    """Tell whether a column holds grams of what lies on the pot, and so means more on a small one.

    A material that is not in the list is weighed out as a dusting.

    Examples
    --------
    >>> lies_on_surface("sugar", "g"), lies_on_surface("sawdust", "g"), lies_on_surface("slip", "coats")
    (True, False, False)
    """
    material = find_material(name)
    return unit == "g" and (material is None or material.use not in ("packing", "wrap"))
