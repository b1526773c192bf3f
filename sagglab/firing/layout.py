"""Layout of a temperature record: where its rows begin, and how they are cut."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import astuple, dataclass
from itertools import chain, compress, islice, repeat

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.delimited import delimiter_of
from sagglab.errors import ReadingsError
from sagglab.firing.headings import (
    Columns,
    is_made_up,
    is_temperature,
    is_time,
    is_unit_alone,
    stated_unit,
    time_unit,
    value_of,
)

#: A row as it was written: a line of text, or the cells of a sheet's row.
Line = str | list[str]

#: Cuts a line into cells.
Cut = Callable[[Line], list[str]]

#: The headings stand among the first lines of a record.
HEAD_LINES = 2000
#: So many rows settle which column is what.
SAMPLE_ROWS = 200
#: Rows are taken apart in blocks, so that a long record is never held as text all at once.
BLOCK_ROWS = 50_000


@dataclass
class Layout:
    """A record about to be cut into cells.

    Attributes
    ----------
    source : str
    head : list of str
        The headings.
    sample : list of list of str
        The first rows under them that are not blank.
    """

    source: str
    head: list[str]
    sample: list[list[str]]
    _lines: Iterator[Line]
    _first: int
    _cut: Cut
    _delimiter: str | None

    def blocks(self, columns: Columns) -> Iterator[tuple[NDArray[np.int64], list[str], list[str], list[str]]]:
        """Yield the record in blocks: line numbers, time cells, temperature cells and flag cells.

        It can be gone through once. A row that is too short gives blanks.

        Raises
        ------
        ReadingsError
            Commas stand in numbers and between them.
        """
        number = self._first
        while lines := list(islice(self._lines, BLOCK_ROWS)):
            parted = self._parted(lines)
            self._check_width(number, lines, parted)
            numbers = np.arange(number, number + len(lines))
            number += len(lines)
            rows = self._parse(lines, parted, columns)
            if rows is None:
                rows = [self._cut(line) for line in lines]
                filled = [any(map(str.strip, row)) for row in rows]
                numbers, rows = numbers[filled], list(compress(rows, filled))
            yield numbers, _times(rows, columns), _column(rows, columns.heat), _column(rows, columns.flag)

    def _parted(self, lines: list[Line]) -> NDArray[np.int64]:
        """Count the delimiters of each line; none where spaces or a sheet part the cells."""
        if self._delimiter is None or isinstance(lines[0], list):
            return np.zeros(len(lines), dtype=int)
        return np.fromiter(map(str.count, lines, repeat(self._delimiter)), int, len(lines))

    def _parse(self, lines: list[Line], parted: NDArray[np.int64], columns: Columns) -> pd.DataFrame | None:
        """Cut plain lines with pandas' parser: of a million rows, in a fifth of the time.

        It gives up on what wants a closer look: quotes, blank rows, spaces as delimiters.
        """
        if self._delimiter is None or isinstance(lines[0], list):
            return None
        text = "".join(lines)
        if '"' in text:
            return None
        width = 1 + int(parted.max())
        wanted = [position for position in astuple(columns) if position is not None and position < width]
        table = pd.read_csv(
            io.StringIO(text), sep=self._delimiter, header=None, names=range(width), usecols=wanted,
            index_col=False, dtype=str, na_filter=False, quoting=csv.QUOTE_NONE, skip_blank_lines=False,
        )  # fmt: skip
        whole = len(table) == len(lines) and columns.time in table and "" not in table[columns.time].tolist()
        return table if whole else None

    def _check_width(self, number: int, lines: list[Line], parted: NDArray[np.int64]) -> None:
        """Refuse "0,5,20,5" and "40,1,382" under two headings: nobody can tell which commas part cells."""
        named = sum(not is_made_up(name) for name in self.head)
        if self._delimiter != "," or not named:
            return
        for place in np.flatnonzero(parted >= named):
            further = self._cut(lines[place])[named:]
            if any(not np.isnan(value_of(cell.strip())[0]) for cell in further):
                raise ReadingsError(
                    f"{self.source}, line {number + place}",
                    f"it has more numbers than the {named} headings above it: a comma may stand for a "
                    "decimal point, or between thousands",
                    "part the cells with semicolons, or put numbers with a comma in quotes",
                )

    def sample_times(self, columns: Columns) -> list[str]:
        """Give the first time cells that are not blank."""
        return [cell for cell in map(str.strip, _times(self.sample, columns)) if cell]


def _times(rows: list[list[str]] | pd.DataFrame, columns: Columns) -> list[str]:
    times = _column(rows, columns.time)
    if columns.date is None:
        return times
    return [f"{date} {time}" for date, time in zip(_column(rows, columns.date), times, strict=True)]


def _column(rows: list[list[str]] | pd.DataFrame, position: int | None) -> list[str]:
    if position is None:
        return [""] * len(rows)
    if isinstance(rows, pd.DataFrame):
        return list(map(str.strip, rows[position].tolist())) if position in rows else [""] * len(rows)
    return [row[position].strip() if position < len(row) else "" for row in rows]


def lay_out(lines: Iterable[Line], source: str) -> Layout:
    """Find the headings and the rows under them; lines before the headings are passed over.

    Parameters
    ----------
    lines : iterable of str or list of str
        Lines of text, or rows of cells.
    source : str
        What to call the record in an error.

    Raises
    ------
    ReadingsError
        No line holds a time and a temperature.
    """
    rest = iter(lines)
    first = list(islice(rest, HEAD_LINES))
    best: tuple[int, int, list[str], str | None] | None = None
    above: list[Line] = []
    length, start = 0, 0
    head: list[str] = []
    delimiter: str | None = None
    for position, line in enumerate(first):
        if not (line.strip() if isinstance(line, str) else any(line)):
            continue
        cut_at = _delimiter(line) if isinstance(line, str) else None
        row = _cells(line, cut_at)
        if not _is_reading(row):
            above, length = [*above[-1:], line], 0
            continue
        if length == 0:
            start, delimiter, head = position, cut_at, _head(above, cut_at, len(row))
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
    texts = first[start : start + SAMPLE_ROWS]
    if delimiter is None and isinstance(texts[0], str):
        cut = _cut_by_place([_words(line) for line in texts if line.strip()])
    else:
        cut = _cut_at(delimiter)
    sample = [row for text in texts if any(map(str.strip, row := cut(text)))]
    return Layout(source, head, sample, chain(first[start:], rest), start + 1, cut, delimiter)


def _is_reading(row: list[str]) -> bool:
    times = sum(map(is_time, row))
    return times > 0 and sum(is_time(cell) or is_temperature(cell) for cell in row) > 1


def _head(above: list[Line], delimiter: str | None, width: int) -> list[str]:
    rows = [_cells(line, delimiter) for line in above]
    named = rows[-1] if rows and len(rows[-1]) > 1 else []
    units_alone = named and all(is_unit_alone(cell) or not cell for cell in named)
    if units_alone and len(rows) > 1 and len(rows[0]) == len(named):
        named = [f"{name} {unit}".strip() for name, unit in zip(rows[0], named, strict=True)]
    return [*named, *(f"column {k + 1}" for k in range(len(named), width))]


def _delimiter(line: str) -> str | None:
    delimiter = delimiter_of(line)
    # "0:10  20,5": the comma is a decimal one, and spaces stand between the cells.
    spaced = delimiter == "," and re.fullmatch(r"\s*\S*[^,\s]\s+[-+\u2212]?\d+,\d+\s*", line)
    return None if spaced else delimiter


def _cells(line: Line, delimiter: str | None) -> list[str]:
    if isinstance(line, str) and delimiter is None:
        return [text for text, _, _ in _words(line)]
    return [cell.strip() for cell in _cut_at(delimiter)(line)]


def _cut_at(delimiter: str | None) -> Cut:
    """Give a function that cuts a line at a delimiter; rows of a sheet are cut already."""

    def cut(line: Line) -> list[str]:
        if isinstance(line, list):
            return line
        if '"' not in line:
            return line.rstrip("\n").split(delimiter)
        try:
            # A quoted cell may hold the delimiter, as "1,234" does.
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:  # a cell beyond the size that csv takes
            cells = line.split(delimiter)
        return [cell.strip().strip('"') for cell in cells]

    return cut


def _words(line: str) -> list[tuple[str, int, int]]:
    """Cut a line at its spaces: each cell with the places where it begins and ends."""
    wide = [
        (found[0], *found.span())
        for found in re.finditer(r"\S+(?: \S+)*?(?=\s{2,}|\t|\s*$|(?<=[\])])\s)", line)
    ]
    if len(wide) > 1:
        return wide
    # "9:05 am 20": the half of the day belongs to its clock time.
    narrow = re.finditer(r"\d\S* [ap]\.?m\.?(?=\s|$)|\S+", line, re.IGNORECASE)
    return [(found[0], *found.span()) for found in narrow]


def _cut_by_place(sample: list[list[tuple[str, int, int]]]) -> Cut:
    """Give a function that cuts fixed-space lines; where cells are blank, the others keep their columns."""
    width = max(map(len, sample))
    full = [words for words in sample if len(words) == width]
    begin = [min(words[k][1] for words in full) for k in range(width)]
    end = [max(words[k][2] for words in full) for k in range(width)]
    # Without clear columns there is nothing to go by: a short row is then short at its end.
    aligned = all(end[k] <= begin[k + 1] for k in range(width - 1))

    def cut(line: Line) -> list[str]:
        words = _words(line)
        if len(words) == width or not words or not aligned:
            return [text for text, _, _ in words]
        cells = [""] * width
        for text, start, stop in words:
            overlaps = [min(stop, end[k]) - max(start, begin[k]) for k in range(width)]
            nearest = int(np.argmax(overlaps))
            cells[nearest] = f"{cells[nearest]} {text}".strip()
        return cells

    return cut
