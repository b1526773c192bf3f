"""Layout: a result as one page of HTML, and its tables written for reading."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from sagglab.markup import folded, framed, listed, paragraph, text_table
from sagglab.pages.headings import UNIT_SIGNS, shown_heading, spoken
from sagglab.pages.numbers import decimal, digits_for, number, probability, within, written

#: Columns written to the digits that the row's own interval leaves.
_BY_UNCERTAINTY = (
    "estimate",
    "standard error",
    "low",
    "high",
    "bias",
    "lower limit",
    "upper limit",
    "per month",
    "per month with",
    "per month without",
    "difference",
)
_PROBABILITIES = ("p", "p Holm", "p of varying", "by firing p", "p equivalence")
#: Longer tables are folded away below their sentences.
LONG = 24
_UNITS = re.compile(r"(deg[CF](?:/h)?)")


def report(
    head: str,
    said: Iterable[str],
    *tables: pd.DataFrame,
    answer: str = "",
    warned: Iterable[str] = (),
    below: str = "",
) -> str:
    """Lay a result out as HTML: on what it rests, its sentences, its warnings, its tables for reading.

    Parameters
    ----------
    head : str
    said : iterable of str
    *tables : DataFrame
        An empty one is left out.
    answer : str
        What is read first.
    warned : iterable of str
    below : str
        What must be read with it.
    """
    warnings = "".join(paragraph(f"⚠ {text}") for text in warned)
    shown = "".join(_shown(table) for table in tables if not table.empty)
    return framed(
        paragraph(answer, "answer"), paragraph(head, "quiet"), listed(said), warnings, shown, paragraph(below)
    )


def _shown(table: pd.DataFrame) -> str:
    """Lay out one table; what is blank in all rows is left out, and what is the same in all is said below."""
    cells = rounded(table)
    blank = [name for name in cells if (cells[name] == "").all()]
    cells = cells.drop(columns=blank)
    below = ""
    if "method" in cells and (cells["method"] == cells["method"].iloc[0]).all():
        below = paragraph(f"Method: {cells['method'].iloc[0]}.", "quiet")
        cells = cells.drop(columns="method")
    return long_table(cells) + below


def long_table(cells: pd.DataFrame, patches: Sequence[str] | None = None) -> str:
    """Make a table of text into HTML, folded away where it is long."""
    shown = html_table(cells, patches=patches)
    return folded(f"The table, {len(cells)} rows", shown) if len(cells) > LONG else shown


def html_table(table: pd.DataFrame, caption: str = "", patches: Sequence[str] | None = None) -> str:
    """Make a table of text into HTML, escaped, its headings as people write them.

    pandas' own Styler was measured in its place: see `table`.
    """
    heads = [shown_heading(str(column)) for column in table.columns]
    rows = [[str(cell) for cell in row] for row in table.itertuples(index=False)]
    return text_table(heads, rows, caption, patches)


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Write a table's numbers for reading: by their uncertainty where a row states it, else three digits.

    A column that has its own two, ``X low`` and ``X high``, takes them into its cells.
    """
    names = [str(column) for column in table.columns]
    table = table.set_axis(names, axis=1)
    rows = [_cells(line) for _, line in table.iterrows()]
    ends = {f"{name} {end}" for name in with_ends(names) for end in ("low", "high")}
    cells = pd.DataFrame(rows, columns=[name for name in names if name not in ends])
    by_row = {*_PROBABILITIES, *with_ends(names), *(_BY_UNCERTAINTY if {"low", "high"} <= set(names) else ())}
    for name in cells.columns.difference(by_row):
        if pd.api.types.is_float_dtype(table[name].dtype):
            cells[name] = written(table[name].to_numpy(dtype=float))
    return cells


def with_ends(names: Sequence[str]) -> list[str]:
    """Name the columns beside which stand their own low and high end."""
    known = set(names)
    return [name for name in names if f"{name} low" in known and f"{name} high" in known]


def _cells(line: pd.Series) -> dict[str, str]:
    places = None
    if {"low", "high"} <= set(line.index) and math.isfinite(line["high"] - line["low"]):
        places = digits_for((line["high"] - line["low"]) / 2)
    own = set(with_ends(list(line.index)))
    return {name: _cell(line, name, places, name in own) for name in line.index}


def _cell(line: pd.Series, name: str, places: int | None, has_ends: bool) -> str:
    value = line[name]
    if name == "term" and " " not in str(value):
        return spoken(str(value))
    if name == "unit":
        return "".join(UNIT_SIGNS.get(part, part) for part in _UNITS.split(str(value)))
    if not isinstance(value, float):
        return scalar(value)
    if has_ends:
        low, high = line[f"{name} low"], line[f"{name} high"]
        return within(value, low, high, digits_for((high - low) / 2))
    if name in _PROBABILITIES:
        return probability(value)
    if name in _BY_UNCERTAINTY and places is not None and math.isfinite(value):
        return decimal(value, places)
    return number(value, 3)


def scalar(value: object) -> str:
    """Write one cell that is no floating-point number; what is missing is empty.

    Examples
    --------
    >>> scalar(True), scalar(pd.NaT), scalar(pd.Timestamp("2026-04-25 10:22")), scalar(None)
    ('yes', '', '2026-04-25 10:22', '')
    """
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}" if value == value.normalize() else f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, float):
        return number(value, 3)
    return str(value).replace("-", "−") if isinstance(value, int | np.integer) else str(value)
