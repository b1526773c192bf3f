"""Layout of a temperature record: where its rows begin, which column is time and which temperature."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

import numpy as np

from sagglab.delimited import delimiter_of, number
from sagglab.errors import ReadingsError
from sagglab.firing.clock import is_time
from sagglab.units import parse_heading

_OPEN_MARKS = re.compile(r"|-+|open|o\.?l\.?|err(or)?|nan|n/?a", re.IGNORECASE)


def is_open_mark(cell: str) -> bool:
    """Whether a cell is what instruments write for an open sensor; a blank cell is one."""
    return _OPEN_MARKS.fullmatch(cell) is not None


@dataclass(frozen=True)
class Layout:
    """A record cut into cells.

    Attributes
    ----------
    head : list of str
        The headings.
    rows : list of list of str
        The rows under them that are not blank.
    lines : list of int
        The line of the file, counted from 1, that each row stands on.
    """

    head: list[str]
    rows: list[list[str]]
    lines: list[int]

    def column(self, position: int) -> list[str]:
        """Give the cells of one column; a row that is too short gives a blank."""
        return [row[position] if position < len(row) else "" for row in self.rows]

    def named(self, name: str) -> list[str]:
        """Give the cells of the column so called; blanks when there is none."""
        return self.column(self.head.index(name) if name in self.head else len(self.head))


def lay_out(text: str, source: str) -> Layout:
    """Find the headings and the rows under them; lines before the headings are passed over.

    Raises
    ------
    ReadingsError
        No line holds a time and a temperature.
    """
    lines = text.splitlines()
    best: tuple[int, int, list[str], str | None] | None = None
    above, length, start = "", 0, 0
    head: list[str] = []
    delimiter: str | None = None
    for position, line in enumerate(lines):
        if not line.strip():
            continue
        cut_at = _delimiter(line)
        row = _cut(line, cut_at)
        if not _is_reading(row):
            above, length = line, 0
            continue
        if length == 0:
            start, delimiter, head = position, cut_at, _head(_cut(above, cut_at), len(row))
        length += 1
        # A run of readings under a heading with a unit is the record; a few numbers in a preamble are not.
        stated = any(stated_unit(heading) or time_unit(heading) for heading in head)
        if stated or best is None or length > best[0]:
            best = length, start, head, delimiter
        if stated:
            break
    if best is None:
        raise ReadingsError(
            source,
            "it holds no readings: no line has a time and a temperature",
            "export it again as CSV, with one reading on each line",
        )
    _, start, head, delimiter = best
    rows = {line: _cut(lines[line], delimiter) for line in range(start, len(lines))}
    filled = [line for line, row in rows.items() if any(row)]
    return Layout(head, [rows[line] for line in filled], [line + 1 for line in filled])


def _is_reading(row: list[str]) -> bool:
    times = sum(map(is_time, row))
    return times > 0 and times + sum(map(is_open_mark, row)) > 1


def _head(above: list[str], width: int) -> list[str]:
    named = above if len(above) > 1 else []
    return [*named, *(f"column {k + 1}" for k in range(len(named), width))]


def _delimiter(line: str) -> str | None:
    delimiter = delimiter_of(line)
    # "0:10  20,5": the comma is a decimal one, and spaces stand between the cells.
    spaced = delimiter == "," and re.fullmatch(r"\s*\S*[^,\s]\s+[-+\u2212]?\d+,\d+\s*", line)
    return None if spaced else delimiter


def _cut(line: str, delimiter: str | None) -> list[str]:
    if delimiter is None:
        cells = re.split(r"\s{2,}|\t|(?<=[\])])\s+", line.strip())
        cells = cells if len(cells) > 1 else line.split()
    else:
        try:
            # A quoted cell may hold the delimiter, as "1,234" does.
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:  # a cell beyond the size that csv takes
            cells = line.split(delimiter)
    return [cell.strip().strip('"').strip() for cell in cells]


def stated_unit(heading: str) -> str | None:
    """Find the unit of temperature in a heading: in brackets, or at its end as in ``temperature_C``."""
    found = re.search(r"([\[(_ ]|^)\s*(deg ?[CFK]|°\s?[CF]|[CFK]|mV)\s*[\])]?$", heading)
    if found is None:
        return None
    # "sensor C" is the third sensor; "temp C" is a unit.
    if found[2] in ("C", "F", "K") and found[1].strip() == "" and "temp" not in heading.lower():
        return None
    return re.sub(r"\s", "", found[2])


def time_unit(heading: str) -> str | None:
    """Find the unit of time in a heading: in brackets, or as a word."""
    found = re.search(r"(?:^|[\W_])(second|sec|s|minute|min|hour|hr|h)s?(?:$|[\W_])", heading.lower())
    return None if found is None else {"s": "s", "m": "min", "h": "h"}[found[1][0]]


def _time_column(head: list[str], first: list[str]) -> int:
    """Settle the time column: a clock or a date, else the one that states a unit of time, else the first."""
    shown = list(zip(head, first, strict=False))
    for is_it in (
        lambda heading, cell: ":" in cell and is_time(cell),
        lambda heading, cell: time_unit(heading) is not None and is_time(cell),
    ):
        for position, (heading, cell) in enumerate(shown):
            if is_it(heading, cell):
                return position
    return 0


def choose_columns(layout: Layout, source: str, column: str | None) -> tuple[int, int]:
    """Settle which column is the time and which the temperature.

    Raises
    ------
    ReadingsError
        No column, or more than one, holds temperatures, or none is called as asked.
    """
    head, rows = layout.head, layout.rows
    time = _time_column(head, rows[0])
    others = [k for k in range(len(head)) if k != time]
    if column is not None:
        named = [k for k in others if column in (head[k], parse_heading(head[k]).name)]
        if len(named) != 1:
            raise ReadingsError(
                source,
                f"no single column is called '{column}'",
                f"give one of {', '.join(head[k] for k in others)}",
            )
        return time, named[0]
    heats = [k for k in others if stated_unit(head[k]) is not None]
    if not heats:
        heats = [k for k in others if not np.isnan(number(rows[0][k] if k < len(rows[0]) else ""))]
    if len(heats) > 1:
        raise ReadingsError(
            source,
            f"it has several temperature columns: {', '.join(head[k] for k in heats)}",
            "name the one that you mean, column=",
        )
    if not heats:
        raise ReadingsError(
            source,
            f"none of its columns ({', '.join(head)}) holds temperatures",
            "write one heading as 'temperature [degC]'",
        )
    return time, heats[0]
