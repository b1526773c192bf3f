"""Totals of a plan: what to have ready, what the shelf lacks, what it costs, and how much foil it takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sagglab.errors import PlanError
from sagglab.materials import find_material
from sagglab.units import parse_heading

#: Loose packing between a pot and its foil, and where one edge of foil lies over another.
PACKING_CM, OVERLAP_CM = 3.0, 5.0
#: Taken for a pot of which neither the plan nor its maker states a size.
ASSUMED_HEIGHT_CM, ASSUMED_DIAMETER_CM = 12.0, 10.0

_SHELF = ("in stock [g]", "spoon [g]", "packet [g]", "price")


@dataclass(frozen=True)
class Foil:
    """How much foil the batch takes.

    Attributes
    ----------
    metres : float
        Off a roll as wide as stated, without anything spoilt.
    reckoning : str
        How it was reckoned, in words.
    pieces : DataFrame
        What to cut for each pot: ``pot``, ``pieces``, and of each ``length [cm]`` off the roll and
        ``width [cm]``, that of the roll.
    """

    metres: float
    reckoning: str
    pieces: pd.DataFrame

    def __str__(self) -> str:
        # Rounded up: a strip that is too short wraps nothing.
        return f"{np.ceil(self.metres * 10) / 10:.1f} m of foil"


def material_key(name: str) -> str:
    """Give one key to all names of a material.

    Examples
    --------
    >>> material_key("Sucrose"), material_key("Moon dust")
    ('sugar', 'moon dust')
    """
    material = find_material(name)
    return name.strip().lower() if material is None else material.name


def tidy_shelf(shelf: pd.DataFrame | None) -> pd.DataFrame:
    """Check a shelf, and give its rows by the key of their material.

    Parameters
    ----------
    shelf : DataFrame or None
        Column ``material``, and any of ``in stock [g]``, ``spoon [g]``, ``packet [g]``, ``price``,
        ``currency``, as the batch book keeps them. What is missing is unknown.

    Raises
    ------
    PlanError
        A material is there twice, an amount is negative, a spoon or a packet holds nothing, or the prices
        are in several currencies.
    """
    if shelf is None:
        shelf = pd.DataFrame({"material": []})
    if "material" not in shelf:
        raise PlanError("shelf", "it has no column 'material'", "give the shelf of an opened book")
    names = shelf["material"].astype(str)
    tidy = pd.DataFrame({"material": names.to_numpy()}, index=[material_key(name) for name in names])
    for heading in _SHELF:
        numbers = pd.to_numeric(shelf[heading], errors="coerce") if heading in shelf else np.nan
        tidy[heading] = np.asarray(numbers, dtype=float)
    tidy["currency"] = shelf["currency"].fillna("").astype(str).to_numpy() if "currency" in shelf else ""
    twice = tidy.index[tidy.index.duplicated()]
    if len(twice):
        raise PlanError("shelf", f"{twice[0]} is there twice", "keep one row for each material")
    for heading in _SHELF:
        wrong = (tidy[heading] < 0) | ((tidy[heading] == 0) & (heading in ("spoon [g]", "packet [g]")))
        if wrong.any():
            name = tidy.index[wrong][0]
            raise PlanError(f"shelf, {name}", f"{heading} is {tidy.loc[name, heading]:g}", "correct it")
    currencies = sorted(set(tidy["currency"]) - {""})
    if len(currencies) > 1:
        raise PlanError(
            "shelf", f"{', '.join(currencies)} cannot be added up", "give all prices in one currency"
        )
    return tidy


#: Of the pot itself.
_SIZES = ("height", "diameter")


def measured_out(pots: pd.DataFrame) -> list[str]:
    """Name the columns of materials that are weighed, measured out or counted."""
    found = []
    for heading in pots.columns:
        name, unit = parse_heading(heading)
        # Beads and raffia are in no list; what has a length and is no size of the pot is laid out, too.
        given = unit in ("g", "mL", "coats", "cm", "count") and name not in _SIZES
        known = find_material(name) is not None and unit is not None
        if (known or given) and pd.api.types.is_numeric_dtype(pots[heading]):
            found.append(heading)
    return found


def spoons(grams: pd.Series, spoon_g: float) -> pd.Series:
    """Turn grams into level spoons to the nearest quarter; not a number where that is none.

    Examples
    --------
    >>> spoons(pd.Series([4.0, 0.0, 0.2]), 3.2).tolist()
    [1.25, 0.0, nan]
    """
    quarters = (grams / spoon_g * 4).round() / 4
    # Too little for a quarter of a spoon is weighed; to print no spoons of it would leave it out.
    return quarters.where((quarters > 0) | (grams == 0))


def material_totals(pots: pd.DataFrame, shelf: pd.DataFrame, allowance: float) -> pd.DataFrame:
    """Add up what to have ready of each material.

    Parameters
    ----------
    pots : DataFrame
        One row per pot, materials in working units.
    shelf : DataFrame
        From `tidy_shelf`.
    allowance : float
        Share more than the pots take that is weighed out; coats and what is counted have none.

    Returns
    -------
    DataFrame
        ``material``, ``unit``, ``on the pots``, ``to have ready``, ``in stock [g]``, ``short by [g]`` (0
        where the stock will do, not a number where it is not known) and ``cost`` of what is to be ready.
    """
    rows = []
    for heading in measured_out(pots):
        name, unit = parse_heading(heading)
        on_pots = float(pots[heading].sum())
        if on_pots == 0:
            continue
        ready = on_pots * (1 + allowance if unit in ("g", "mL", "cm") else 1)
        key = material_key(name)
        stock = float(shelf.loc[key, "in stock [g]"]) if unit == "g" and key in shelf.index else np.nan
        rows.append(
            {
                "material": name,
                "unit": unit,
                "on the pots": on_pots,
                "to have ready": ready,
                "in stock [g]": stock,
                "short by [g]": max(ready - stock, 0.0) if not np.isnan(stock) else np.nan,
                "cost": ready * price_per_gram(heading, shelf),
            }
        )
    columns = ["material", "unit", "on the pots", "to have ready", "in stock [g]", "short by [g]", "cost"]
    return pd.DataFrame(rows, columns=columns)


def price_per_gram(heading: str, shelf: pd.DataFrame) -> float:
    """Give what a gram of a material costs; not a number where that is not known, or it is not weighed."""
    name, unit = parse_heading(heading)
    key = material_key(name)
    if unit != "g" or key not in shelf.index:
        return np.nan
    return float(shelf.loc[key, "price"] / shelf.loc[key, "packet [g]"])


def pot_costs(pots: pd.DataFrame, shelf: pd.DataFrame, allowance: float) -> pd.DataFrame:
    """Reckon what each pot's materials cost, with the allowance, as far as prices are known.

    Returns
    -------
    DataFrame
        ``firing``, ``pot`` and ``cost``; no rows where no price is known.
    """
    prices = {heading: price_per_gram(heading, shelf) for heading in measured_out(pots)}
    known = {heading: price for heading, price in prices.items() if not np.isnan(price)}
    costs = pots[["firing", "pot"]].copy()
    costs["cost"] = sum((pots[heading] * price for heading, price in known.items()), start=0.0)
    costs["cost"] *= 1 + allowance
    return costs if known else costs.iloc[:0]


def foil_needed(pots: pd.DataFrame, layers: int, width_cm: float) -> Foil:
    """Reckon how much foil wraps all pots.

    Parameters
    ----------
    pots : DataFrame
        ``pot``; ``height [cm]`` and ``diameter [cm]`` where they are known.
    layers : int
    width_cm : float
        Width of the roll.

    Raises
    ------
    PlanError
        There are no layers, or the roll is too narrow to overlap.
    """
    if layers != int(layers) or layers < 1:
        raise PlanError("foil_layers", f"{layers} layers wrap nothing", "give one or more")
    if not width_cm > OVERLAP_CM:
        raise PlanError(
            "foil_width_cm", f"a roll of {width_cm:g} cm cannot overlap", "give the width of the roll"
        )
    height, assumed_height = _size(pots, "height [cm]", ASSUMED_HEIGHT_CM)
    diameter, assumed_diameter = _size(pots, "diameter [cm]", ASSUMED_DIAMETER_CM)
    round_cm = np.pi * (diameter + 2 * PACKING_CM) + OVERLAP_CM
    # Folded over both ends: half a diameter of foil at the top and half at the bottom close them.
    tall_cm = (height + 2 * PACKING_CM) + (diameter + 2 * PACKING_CM)
    strips = np.where(tall_cm <= width_cm, 1, np.ceil((tall_cm - OVERLAP_CM) / (width_cm - OVERLAP_CM)))
    metres = float((round_cm * strips).sum() * layers / 100)
    sizes = f"{_span(height)} cm high and {_span(diameter)} cm wide"
    said = ", a size assumed because none is stated" if assumed_height or assumed_diameter else ""
    reckoning = (
        f"Each pot is taken as {sizes}{said}, inside a cylinder with {PACKING_CM:g} cm of packing all round; "
        f"{layers} layer{'' if layers == 1 else 's'} of foil from a roll {width_cm:g} cm wide, "
        f"{OVERLAP_CM:g} cm of overlap, folded over both ends, nothing spoilt."
    )
    pieces = pd.DataFrame(
        {
            "pot": pots["pot"].to_numpy(),
            "pieces": (strips * layers).astype(int),
            "length [cm]": round_cm,
            "width [cm]": float(width_cm),
        }
    )
    return Foil(metres, reckoning, pieces)


def _size(pots: pd.DataFrame, heading: str, assumed: float) -> tuple[np.ndarray, bool]:
    stated = pots[heading].astype(float) if heading in pots else pd.Series(np.nan, index=pots.index)
    return stated.fillna(assumed).to_numpy(), bool(stated.isna().any())


def _span(values: np.ndarray) -> str:
    low, high = values.min(), values.max()
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
