"""The sheet: somebody's own notes, with free headings, as rows of text."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from sagglab.delimited import DELIMITERS, read_text, split_rows
from sagglab.errors import FileFormatError, UnknownNameError
from sagglab.markup import folded, framed, listed, paragraph, text_table
from sagglab.notes.cells import orders_of, read_amount
from sagglab.notes.words import cell_word, plain, read_heading, unit_named
from sagglab.workbook import Rows, opened, read_sheets

#: Headings stand near the top: titles, addresses and legends above them take no more rows than this.
_TOP = 40
#: So many rows are shown of long notes; the others are folded away.
_SHOWN = 20
#: So many cells are named one by one.
_NAMED = 6
_WORKBOOKS = (".xlsx", ".xlsm")


@dataclass(frozen=True, repr=False)
class Notes:
    """Notes as they were written.

    Attributes
    ----------
    path : Path
    sheet : str
        The sheet of the workbook; empty for a text file.
    heading_rows : tuple of int
        The rows that the headings stand in, as a spreadsheet numbers them.
    headings : mapping of str to str
        The headings as written, by the letter of their column; blank for a column with cells and no heading.
    rows : mapping of int to tuple of str
        The cells of each row that has any, in the order of the headings, by the number of the row. Cells that
        were merged down each have what stands in the first.
    aside : mapping of int to str
        What stands above the headings, and totals, remarks and lines over the rows of pots below, by the
        number of the row.
    remarks : mapping of (int, str) to str
        What is attached to cells as a comment, by row and letter.
    beside : tuple of str
        What else is to be known of the sheet, each a phrase: other sheets that were not read, what is merged,
        formulas without a value.
    """

    path: Path
    sheet: str
    heading_rows: tuple[int, ...]
    headings: Mapping[str, str]
    rows: Mapping[int, tuple[str, ...]]
    aside: Mapping[int, str]
    remarks: Mapping[tuple[int, str], str] = field(default_factory=dict)
    beside: tuple[str, ...] = ()

    def cells(self, letter: str) -> dict[int, str]:
        """Give the cells of a column that are not blank, by the number of their row.

        Raises
        ------
        UnknownNameError
            There is no such column.
        """
        if letter not in self.headings:
            raise UnknownNameError(
                f"column '{letter}'", f"the notes have {_listed(self.headings)}", "name one of these"
            )
        place = list(self.headings).index(letter)
        return {row: cells[place] for row, cells in self.rows.items() if cells[place]}

    @property
    def told(self) -> str:
        """Where the headings were found, in a sentence."""
        sheet = f"sheet '{self.sheet}', " if self.sheet else ""
        several = len(self.heading_rows) > 1
        where = " to ".join(map(str, (self.heading_rows[0], self.heading_rows[-1])[: 1 + several]))
        headings, rows = len(self.headings), len(self.rows)
        return (
            f"{self.path.name}: {sheet}headings in row{'s' if several else ''} {where}, "
            f"{headings} column{'s' if headings != 1 else ''}, {rows} row{'s' if rows != 1 else ''} below"
        )

    @property
    def around(self) -> tuple[str, ...]:
        """What stands in no row of a pot, or not as it looks, each in a phrase."""
        said = list(self.beside)
        if self.aside:
            rows = [f"row {row} '{text}'" for row, text in self.aside.items()]
            said.append(f"left out, as it belongs to no pot: {_some(rows)}")
        if self.remarks:
            cells = _some([f"{letter}{row}" for row, letter in self.remarks])
            said.append(f"comments on cells go into the notes of their pots: {cells}")
        return tuple(said)

    def __repr__(self) -> str:
        return self.told

    def _repr_html_(self) -> str:
        heads = ["row", *(f"{letter} {heading}" for letter, heading in self.headings.items())]
        rows = [[str(row), *cells] for row, cells in self.rows.items()]
        shown = text_table(heads, rows[:_SHOWN])
        if len(rows) > _SHOWN:
            shown += folded(f"And {len(rows) - _SHOWN} more", text_table(heads, rows[_SHOWN:]))
        return framed(paragraph(self.told, "answer"), listed(self.around), shown)


def read_notes(path: str | os.PathLike[str], sheet: str | None = None) -> Notes:
    """Read notes that somebody keeps in a spreadsheet of their own.

    Parameters
    ----------
    path : path
        An ``.xlsx`` file, or a text file with commas, semicolons or tabs.
    sheet : str, optional
        Which sheet of a workbook; the only one that looks like notes when it is not given.

    Returns
    -------
    notes : Notes
        Where it found the sheet and its headings, `Notes.told` says.

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It cannot be read, no row of it looks like headings, or several sheets could be meant.
    UnknownNameError
        No sheet has this name.

    Examples
    --------
    >>> import tempfile
    >>> import pandas as pd
    >>> kept = pd.DataFrame({"Pot": ["A1", "A2"], "Sugar (g)": ["4", ""], "Date": "2026-05-01"})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     kept.to_csv(f"{folder}/notes.csv", index=False)
    ...     notes = read_notes(f"{folder}/notes.csv")
    >>> notes
    notes.csv: headings in row 1, 3 columns, 2 rows below
    >>> notes.cells("B")
    {2: '4'}
    """
    path = Path(path)
    if path.suffix.lower() not in _WORKBOOKS:
        if path.suffix.lower() in (".xls", ".ods", ".numbers"):
            raise FileFormatError(str(path), f"{path.suffix} is not read", "save it as .xlsx, or as CSV")
        return _laid_out(path, "", _cleaned(_text_rows(path)))
    sheets = read_sheets(path)
    if sheet is not None and sheet not in sheets:
        raise UnknownNameError(
            f"sheet '{sheet}'", f"{path.name} has {_listed(sheets)}", "name one of these, as it is written"
        )
    if sheet is None:
        could_be = [name for name, rows in sheets.items() if _heading_row(rows) is not None]
        if len(could_be) > 1:
            raise FileFormatError(
                str(path),
                f"{len(could_be)} sheets look like notes: {_listed(could_be)}",
                f'say which: --sheet "{could_be[0]}" in a shell, sheet="{could_be[0]}" in Python, '
                "or save the one that you mean by itself",
            )
        sheet = could_be[0] if could_be else next(iter(sheets), "")
    rows = _cleaned(sheets.get(sheet, []))
    remarks, beside = _beyond_rows(path, sheet, rows)
    unread = [name for name, other in sheets.items() if name != sheet and any(map(any, other))]
    if unread:
        beside.append(f"not read: {'sheets' if len(unread) > 1 else 'sheet'} {_listed(unread)}")
    return replace(_laid_out(path, sheet, rows), remarks=remarks, beside=tuple(beside))


def _listed(names: object) -> str:
    return ", ".join(f"'{name}'" for name in names)


def _cleaned(rows: Rows) -> Rows:
    # A day without a time is one: spreadsheets keep midnight beside it.
    midnight = re.compile(r"^(\d{4}-\d\d-\d\d) 00:00:00$")
    return [[midnight.sub(r"\1", cell.strip()) for cell in row] for row in rows]


def _some(phrases: list[str]) -> str:
    return ", ".join(phrases[:_NAMED]) + ", …" * (len(phrases) > _NAMED)


def _text_rows(path: Path) -> Rows:
    text = read_text(path)
    first = [line for line in text.splitlines() if line.strip()][:_TOP]
    # A title above the headings has no delimiter, or a comma in its sentence: what cuts most lines wins.
    outside = ["".join(line.split('"')[::2]) for line in first]
    delimiter = max(DELIMITERS, key=lambda mark: sum(line.count(mark) for line in outside if mark in line))
    try:
        return split_rows(text, delimiter)
    except FileFormatError as error:
        raise FileFormatError(f"{path}, {error.where}", error.cause, error.remedy) from error


def _beyond_rows(path: Path, sheet: str, rows: Rows) -> tuple[dict[tuple[int, str], str], list[str]]:
    """Find comments, merged cells and formulas without a value; fill the first column of what is merged."""
    with opened(path, values=False) as workbook:
        cells = [cell for row in workbook[sheet].iter_rows() for cell in row]
        ranges = workbook[sheet].merged_cells.ranges
        merged = sorted((each.min_row, each.min_col, each.max_row) for each in ranges)
    remarks = {
        (cell.row, cell.column_letter): " ".join(cell.comment.text.split())
        for cell in cells
        if getattr(cell, "comment", None) is not None
    }
    beside = []
    for top, left, bottom in merged:
        said = _at(rows, top, left)
        for row in rows[top : min(bottom, len(rows))]:
            row += [""] * (left - len(row))
            row[left - 1] = row[left - 1] or said
        if said and bottom > top:
            where = f"rows {top} to {bottom} of column {letter_of(left - 1)}"
            beside.append(f"'{said}' is merged over {where}: it counts for each of them")
    # A formula can give a blank, too: whether its value was never worked out does not show.
    formulas = [cell for cell in cells if cell.data_type == "f" and not _at(rows, cell.row, cell.column)]
    if formulas:
        where = _some([cell.coordinate for cell in formulas])
        beside.append(f"no value was saved with formulas, which count as blank: {where}")
    return remarks, beside


def _at(rows: Rows, row: int, column: int) -> str:
    """Give a cell by its row and column, counted from 1."""
    return rows[row - 1][column - 1] if row <= len(rows) and column <= len(rows[row - 1]) else ""


def _laid_out(path: Path, sheet: str, rows: Rows) -> Notes:
    width = max(map(len, rows), default=0)
    rows = [row + [""] * (width - len(row)) for row in rows]
    top = _heading_row(rows)
    if top is None:
        raise FileFormatError(
            str(path) + (f", sheet '{sheet}'" if sheet else ""),
            "no row looks like headings with rows of pots below",
            "write a heading over each column, such as pot, firing, sugar [g], notes",
        )
    heading_rows, headings, used = _headings(rows, top)
    body, aside = {}, {}
    for number, row in enumerate(rows[:top], start=1):
        left = [cell for place, cell in enumerate(row) if cell and (number, place) not in used]
        if left:
            aside[number] = " | ".join(dict.fromkeys(left))
    start = heading_rows[-1]
    for number, row in enumerate(rows[start:], start=start + 1):
        if not any(row):
            continue
        if _is_aside(row, rows[number - 2], rows[top]):
            aside[number] = " | ".join(filter(None, row))
        else:
            body[number] = row
    if not body:
        raise FileFormatError(str(path), "there is no row below the headings", "give notes that hold pots")
    places = [place for place in range(width) if headings[place] or any(row[place] for row in body.values())]
    return Notes(
        path,
        sheet,
        heading_rows,
        {letter_of(place): headings[place] for place in places},
        {number: tuple(row[place] for place in places) for number, row in body.items()},
        aside,
    )


def letter_of(place: int) -> str:
    """Give the letter that a spreadsheet writes over a column, counted from 0.

    Examples
    --------
    >>> letter_of(0), letter_of(25), letter_of(26)
    ('A', 'Z', 'AA')
    """
    # The library for workbooks does so up to ZZZ, where a sheet ends; a line of text has no end.
    place, last = divmod(place, 26)
    return (letter_of(place - 1) if place else "") + chr(ord("A") + last)


def _heading_row(rows: Rows) -> int | None:
    """Find the row of headings by what it says: known words count most, then text that is not repeated."""
    best, found = 0.0, None
    for place, row in enumerate(rows[:_TOP]):
        cells = [cell for cell in row if cell]
        known = sum(bool(read_heading(cell).meanings) for cell in cells if len(cell) < 60)
        figures = sum(read_amount(cell) is not None or bool(orders_of([cell])) for cell in cells)
        below = any(sum(map(bool, other)) > 1 or len(cells) == 1 for other in rows[place + 1 :] if any(other))
        # One known word alone may be a title: "Notes".
        if not below or len(cells) < 2 and known == 0 or figures * 2 > len(cells):
            continue
        score = 3 * known + len(set(cells)) - figures * 2
        if known + (len(set(cells)) > 2) and score > best:
            best, found = score, place
    return found


def _headings(rows: Rows, top: int) -> tuple[tuple[int, ...], list[str], set[tuple[int, int]]]:
    """Join lines of headings: units in a line below, and above what several columns have in common."""
    headings = list(rows[top])
    numbers, used = [top + 1], set()
    below = rows[top + 1] if top + 1 < len(rows) else []
    units = [cell.strip("()[] ") for cell in below if cell]
    if units and all(unit_named(unit) for unit in units) and any(map(str.strip, headings)):
        headings = [f"{head} {cell}".strip() for head, cell in zip(headings, below, strict=True)]
        numbers.append(top + 2)
    above = rows[top - 1] if top else []
    if sum(map(bool, above)) > 1:
        common = ""
        for place, cell in enumerate(above):
            common = cell or common
            if (cell and not headings[place]) or (
                common and rows[top].count(rows[top][place]) > 1 and headings[place]
            ):
                headings[place] = f"{common} {headings[place]}".strip()
                used |= {(top, other) for other in range(len(above)) if above[other] == common}
        if used:
            numbers.insert(0, top)
    return tuple(numbers), headings, used


def _is_aside(row: list[str], above: list[str], headings: list[str]) -> bool:
    """Whether a row below the headings is a total, a line by itself, or the headings once more."""
    filled = [cell for cell in row if cell]
    if cell_word(filled[0]) == "total" or [plain(cell) for cell in row] == [plain(cell) for cell in headings]:
        return True
    if len(filled) > 1 or sum(map(bool, headings)) <= 3:
        return False
    # "Firing 3" or a day over the rows of its pots, in a column of something else.
    known = set(read_heading(headings[row.index(filled[0])]).meanings)
    of_firing = "pots: firing" in read_heading(filled[0]).meanings or orders_of(filled)
    if of_firing and not known & {"pots: firing", "firings: date"}:
        return True
    return not any(above) and len(filled[0].split()) > 2
