"""Tables: a DataFrame that shows a reader its leading columns, and is a DataFrame in all else."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from sagglab.colour import AXES
from sagglab.columns import BOOK_TABLES, MEASURES, RESULTS
from sagglab.errors import UnknownNameError
from sagglab.markup import framed, paragraph
from sagglab.pages.headings import columns_like, unit_of
from sagglab.pages.layout import html_table, scalar, with_ends
from sagglab.pages.numbers import written
from sagglab.pages.patches import patch
from sagglab.units import parse_heading

#: A table of more rows shows its first ten; one with more columns those that lead.
MOST_ROWS, FIRST_ROWS, MOST_COLUMNS = 20, 10, 16

_WHO = ("photo", "pot", "firing", "view", "after", "setup", "date", "patch")
_COLOUR = (*AXES, "C*ab", "hue angle", "dark share")
_HEAT = (
    "peak_C",
    "minutes_to_peak",
    "climb_C_per_h",
    "minutes_of_longest_stall",
    "minutes_above_660_C",
    "minutes_peak_to_300_C",
)
_SURE = ("left-out mean ΔE00", "state", "flags", "problems")
_DECLARED = {column.heading for columns in (*BOOK_TABLES.values(), MEASURES, RESULTS) for column in columns}


class Table(pd.DataFrame):
    """A DataFrame whose rendering in a notebook is for reading; what it holds is as unrounded as ever.

    pandas' own Styler was tried first, and takes as long (10 rows of 14 columns: 13 ms both); but it gives
    headings no scope, and cannot join a number and its two ends in one cell.
    """

    @property
    def _constructor(self) -> type[Table]:
        return Table

    def __getitem__(self, key):
        try:
            return super().__getitem__(key)
        except KeyError as error:
            # A misspelt column is the likeliest fault in a notebook; pandas' own error does not say which
            # columns there are. Whoever awaits a KeyError gets one.
            asked = key if isinstance(key, list) else [key]
            lacking = [name for name in asked if isinstance(name, str) and name not in self.columns]
            if not lacking:
                raise
            like = columns_like(lacking[0], [_flat(column) for column in self.columns])
            raise UnknownNameError(f"column '{lacking[0]}'", "the table has no such column", like) from error

    def _repr_html_(self) -> str:
        return framed(*table_parts(self))


def table_parts(table: pd.DataFrame) -> tuple[str, ...]:
    """Lay a table out as HTML: first rows of leading columns, and below what more there is."""
    first = pd.DataFrame(table.iloc[: FIRST_ROWS if len(table) > MOST_ROWS else MOST_ROWS])
    first = first.set_axis([_flat(column) for column in first.columns], axis=1)
    joined: set[str] = set()  # columns whose cells hold their two ends as well
    if not first.columns.is_unique or table.empty:
        shown, patches = first, None
    else:
        with_own = _with_ends(first)
        ends = {f"{name} {end}" for name in with_own for end in ("low", "high")}
        shown = first[leading(pd.DataFrame(table).set_axis(first.columns, axis=1))]
        shown = shown.drop(columns=[name for name in ends if name in shown])
        joined = set(with_own) & set(shown)
        has_colour = set(AXES) <= set(shown) and _are_numbers(first, AXES)
        patches = [patch(lab) for lab in first[list(AXES)].to_numpy(dtype=float)] if has_colour else None
    cells = _index_cells(first) | _columns_of(shown, first, joined)
    left = table.shape[1] - shown.shape[1] - 2 * len(joined)
    said = "In brackets: from the low to the high end of what the number can be." if joined else ""
    below = " ".join(filter(None, [_more(len(table) - len(first), left), said]))
    return html_table(pd.DataFrame(cells), patches=patches), paragraph(below, "quiet")


def leading(table: pd.DataFrame) -> list[str]:
    """Name the columns that a reader looks at first, in the order in which they are read.

    A table of few columns keeps all. Of one with many are left: who it is, its colour, the recipe, the
    firing and how sure it all is; but for what is blank in all rows.

    Examples
    --------
    >>> wide = {f"L* at {step} % height": 0.0 for step in range(20)} | {"pot": "p1", "sugar [g]": 1.0}
    >>> leading(pd.DataFrame([wide | {"L*": 40.0}]))
    ['pot', 'L*', 'sugar [g]']
    """
    names = [str(column) for column in table.columns]
    counted = [name for name in names if not name.endswith((" low", " high"))]
    if len(counted) <= MOST_COLUMNS:
        return names
    recipe = [name for name in names if name not in _DECLARED and parse_heading(name).unit]
    recipe = ["clay", *recipe] if recipe and "photo" not in names else []
    # Where pots lead, of the colour and of the firing only what is asked of first has room beside the recipe.
    colour = (*AXES, "dark share") if recipe else _COLOUR
    heat = _HEAT[:2] if recipe else _HEAT
    who = ("pot", "firing") if recipe else _WHO
    wanted = dict.fromkeys([*who, *colour, *recipe, *heat, *_SURE])
    found = [name for name in wanted if name in names and not _blank(table[name])]
    return found or names[:MOST_COLUMNS]


def _with_ends(table: pd.DataFrame) -> list[str]:
    ends = with_ends(list(table))
    return [name for name in ends if _are_numbers(table, (name, f"{name} low", f"{name} high"))]


def _are_numbers(table: pd.DataFrame, names: Iterable[str]) -> bool:
    """Whether columns of such names hold numbers; in a table of one's own they may hold words."""
    return all(pd.api.types.is_numeric_dtype(table[name].dtype) for name in names)


def _blank(values: pd.Series) -> bool:
    return bool((values.isna() | (values == "")).all())


def _flat(column: object) -> str:
    return " · ".join(map(str, column)) if isinstance(column, tuple) else str(column)


def _index_cells(first: pd.DataFrame) -> dict[str, list[str]]:
    """Write the index out where it says something: it has a name, or is no mere count."""
    index = first.index
    if index.nlevels > 1:
        cells: dict[str, list[str]] = {}
        for level, name in enumerate(index.names):
            cells[_free(str(name or ""), cells)] = [scalar(value) for value in index.get_level_values(level)]
        return cells
    if index.name is None and pd.api.types.is_integer_dtype(index.dtype):
        return {}
    return {str(index.name or ""): [scalar(value) for value in index]}


def _columns_of(shown: pd.DataFrame, first: pd.DataFrame, joined: set[str]) -> dict[str, list[str]]:
    cells: dict[str, list[str]] = {}
    for place, name in enumerate(shown.columns):
        values = shown.iloc[:, place]
        if not pd.api.types.is_float_dtype(values.dtype):
            cells[_free(name, cells)] = [scalar(value) for value in values]
            continue
        values = values.to_numpy(dtype=float)
        ends = None
        if name in joined:
            ends = first[[f"{name} low", f"{name} high"]].to_numpy(dtype=float)
        cells[_free(name, cells)] = written(values, ends)
        if unit_of(name) == "degC" and name != "overshoot_C":
            in_F = None if ends is None else ends * 1.8 + 32
            cells[f"{parse_heading(name).name.removesuffix('_C')} [degF]"] = written(values * 1.8 + 32, in_F)
    return cells


def _free(name: str, cells: dict[str, list[str]]) -> str:
    """Keep columns of one name apart, as a table may have them."""
    while name in cells:
        name += "\u200b"
    return name


def _more(rows: int, columns: int) -> str:
    """Say how much more a table holds, and how to see it."""
    parts = []
    if rows:
        parts.append(f"{rows} more row{'s' * (rows > 1)}: .head(50) shows 50")
    if columns:
        parts.append(f"{columns} more column{'s' * (columns > 1)}: .columns names them")
    return f"And {'; '.join(parts)}." if parts else ""
