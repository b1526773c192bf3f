"""Which materials a table of pots says were used, and how much of them where it was weighed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.columns.book import BOOK_TABLES
from sagglab.errors import UnitError
from sagglab.materials import Material, find_material
from sagglab.units import PER_AREA, convert, parse_heading, working_unit

#: Columns of the pots that are of the pot itself.
_OF_THE_POT = {column.name for column in BOOK_TABLES["pots"]}

#: Headings under which a cell may name a material, as `wrap` with "copper mesh".
_USES = re.compile(r"(coat|dusting|packing|wrap|layer|resist)(ing|ping|s|es)?", re.IGNORECASE)

#: What a cell says of none.
_NONE = {"", "no", "none", "without", "n", "-", "–", "—", "nan", "false"}
_YES = {"yes", "y", "x", "true", "✓"}

#: Foil is spoken of for all pots, and is no material of the list.
_FOIL = {"foil", "aluminium foil", "aluminum foil"}


@dataclass(frozen=True)
class Used:
    """One material that some pots were given.

    Attributes
    ----------
    name : str
        As the table has it.
    material : Material or None
        None when it is not in the list.
    perhaps : bool
        True for an unknown name with a length, a count, a unit that is not known, a plain number or a tick:
        it may be no material at all.
    pots : array of bool, shape (N,)
        The pots that were given it.
    grams : array, shape (N,)
        How much each was given; not a number where it was not weighed in grams.
    """

    name: str
    material: Material | None
    perhaps: bool
    pots: NDArray[np.bool_]
    grams: NDArray[np.float64]


def used_in(pots: pd.DataFrame) -> tuple[Used, ...]:
    """Find all materials that a table of pots says were used.

    Parameters
    ----------
    pots : DataFrame
        One row per pot, N in all: amounts in columns ``name [unit]``, or words.

    Returns
    -------
    tuple of Used
        In the order of the columns.
    """
    found: list[Used] = []
    for place, heading in enumerate(pots.columns):
        name, unit = parse_heading(str(heading))
        if name in _OF_THE_POT or name.lower() in _FOIL:
            continue
        found += _amounts(name, unit, pots.iloc[:, place]) if unit else _words(name, pots.iloc[:, place])
    return tuple(found)


def _amounts(name: str, unit: str, cells: pd.Series) -> Iterator[Used]:
    material = find_material(name)
    kind = unit if unit == PER_AREA else _kind(unit)
    perhaps = material is None and kind in ("cm", "count", None)
    if material is None and not perhaps and kind not in ("g", "mL", "coats", PER_AREA):
        return
    amounts = pd.to_numeric(cells, errors="coerce").to_numpy(float, na_value=np.nan)
    written = ~cells.astype(str).str.strip().str.lower().isin(_NONE).to_numpy() & cells.notna().to_numpy()
    given = np.where(np.isnan(amounts), written, amounts > 0)
    if not given.any():
        return
    grams = np.full(len(cells), np.nan)
    if kind == "g":
        weighed = given & np.isfinite(amounts)
        grams[weighed] = convert(amounts[weighed], unit, "g")
    yield Used(name, material, perhaps, given, grams)


def _kind(unit: str) -> str | None:
    try:
        return working_unit(unit)
    except UnitError:
        return None


def _words(name: str, cells: pd.Series) -> Iterator[Used]:
    """Find what the cells of a column without a unit name, or that they tick the material of its heading."""
    material = find_material(name)
    of_a_use = _USES.fullmatch(name) is not None
    said = cells.astype(object).where(cells.notna(), "").astype(str).str.strip().str.lower()
    unsaid = material is None and not of_a_use
    if unsaid and pd.api.types.is_numeric_dtype(cells.dtype):
        # Its unit may have been forgotten; numbers among words, such as a potter's, are names.
        given = cells.gt(0).fillna(False).to_numpy(bool)
        if given.any():
            yield Used(name, None, True, given, np.full(len(cells), np.nan))
        return
    numbers = pd.to_numeric(said, errors="coerce")
    said = said.where(numbers.isna(), numbers.gt(0).map({True: "yes", False: ""}))
    where: dict[str, list[bool]] = {}
    for words in said.unique():
        if words in _NONE:
            continue
        here = (said == words).to_numpy()
        parts = {part.strip() for part in re.split(r"[,;+/&]|\band\b", words)} - _NONE - _FOIL
        named = {part for part in parts if find_material(part) is not None}
        # Under a material's own heading the cell is about that; under another, words that nothing is known of
        # are a material only where the heading says what it was for.
        if material is not None:
            named |= {name}
        elif of_a_use:
            named |= {name if part in _YES else part for part in parts}
        elif parts and parts <= _YES and numbers[said == words].isna().all():
            named = {name}
        for part in named:
            where[part] = (np.asarray(where.get(part, False)) | here).tolist()
    for part in sorted(where):
        known = find_material(part)
        perhaps = unsaid and known is None
        yield Used(part, known, perhaps, np.array(where[part]), np.full(len(cells), np.nan))
