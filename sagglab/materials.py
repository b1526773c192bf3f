"""Materials: what goes on, over and around a pot, with formula, molar mass, hazards and what it gives off.

The table is `materials.csv`. Its hazard words follow the harmonised (GHS) statements, written from memory and
not yet verified: a supplier's safety data sheet goes before them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import pandas as pd

#: Said wherever a single recipe is shown. Common practice, no source.
TAKE_CARE = (
    "Take care: ferric chloride and metal salts hurt skin, eyes and lungs, and give off poisonous gas in "
    "the fire. Safety data sheets, local codes and licensed practice go before any recipe. Decorative ware "
    "only."
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
    hazards, gives_off : tuple of str
        What handling it and what firing it can do, in plain words.
    """

    name: str
    use: str
    formula: str
    molar_mass: float
    hazards: tuple[str, ...]
    gives_off: str


@cache
def _by_name() -> dict[str, Material]:
    table = pd.read_csv(files("sagglab") / "materials.csv", keep_default_na=False)
    table["molar mass [g/mol]"] = pd.to_numeric(table["molar mass [g/mol]"])
    materials = {}
    for row in table.to_dict("records"):
        material = Material(
            name=row["material"],
            use=row["use"],
            formula=row["formula"],
            molar_mass=row["molar mass [g/mol]"],
            hazards=tuple(hazard.strip() for hazard in row["hazards"].split(";") if hazard),
            gives_off=row["gives off when fired"],
        )
        for name in (row["material"], *row["also called"].split(";")):
            if name:
                materials[name.strip().lower()] = material
    return materials


def find_material(name: str) -> Material | None:
    """Look a material up by its name or by another name for it; None when it is unknown.

    Examples
    --------
    >>> find_material("sucrose").use
    'dusting'
    >>> find_material("unicorn dust") is None
    True
    """
    return _by_name().get(name.strip().lower())
