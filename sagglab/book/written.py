"""Where a problem stands: the rows of the file as they are written, not as they were read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sagglab.book.tables import WORKBOOK
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES
from sagglab.delimited import read_rows, read_text
from sagglab.errors import Problem, SagglabError
from sagglab.markup import framed, paragraph, text_table
from sagglab.units import parse_heading
from sagglab.workbook import Rows, read_sheets

#: The column under which the lines of a record stand: its headings need not be in its first line.
LINE = "line of the file"

#: How many rows are shown before and after the one that is meant.
_BESIDE = 1

#: A longer cell is cut where it is looked at: an outline of a pot has thousands of letters.
_SHOWN = 60

#: Before the row and the cell that are meant.
_MEANT = "▶ "


@dataclass(frozen=True, repr=False)
class Written:
    """The rows of a file that a problem is about.

    Attributes
    ----------
    file : str
        The file within the book, with the sheet where it is a workbook; empty where there is none to show.
    rows : DataFrame
        Text, under the headings as they are written; the index is the row as a spreadsheet numbers it. The
        row that is meant with its neighbours, or the first rows where a heading is; empty where the whole
        table is meant, or the file cannot be read.
    row, column : int or None
        The row that is meant, 1 for the headings, and the place of its column among `rows`, from 0; None
        where it is not there any more.
    """

    file: str
    rows: pd.DataFrame
    row: int | None
    column: int | None

    def __repr__(self) -> str:
        return f"{self.file}\n{self.rows.to_string()}" if self.file and not self.rows.empty else self.file

    def _repr_html_(self) -> str:
        if self.rows.empty:
            return framed(paragraph(self.file))
        # A sign in text stays when the table is printed, copied, or read aloud.
        heads = [_MEANT * (self.row == 1 and place == self.column) + head
                 for place, head in enumerate(self.rows.columns)]  # fmt: skip
        rows = [
            [
                f"{_MEANT * (number == self.row)}row {number}",
                *(_MEANT * (number == self.row and place == self.column) + cut(cell)
                  for place, cell in enumerate(cells)),
            ]
            for number, cells in zip(self.rows.index, self.rows.to_numpy(), strict=True)
        ]  # fmt: skip
        return framed(text_table([f"{_MEANT}row 1" if self.row == 1 else "", *heads], rows, self.file))


def cut(text: str, letters: int = _SHOWN) -> str:
    """Cut what is too long to be looked at.

    Examples
    --------
    >>> cut("12"), len(cut("10 20; " * 500))
    ('12', 60)
    """
    return text if len(text) <= letters else f"{text[: letters - 2]} …"


def written_about(folder: Path, problem: Problem) -> Written:
    """Find the rows that a problem is about, as they are on the disk now.

    Parameters
    ----------
    folder : Path
        The batch book.
    problem : Problem
        One that `open_book` or a step on this book listed.

    Returns
    -------
    Written
    """
    try:
        if problem.table in BOOK_TABLES or problem.table in OPTIONAL_TABLES:
            return _in_table(folder, problem)
        return _in_record(folder, problem)
    except (SagglabError, OSError, ValueError):  # the problem itself tells that the file cannot be read
        return _nothing(problem.table)


def _nothing(file: str) -> Written:
    return Written(file, pd.DataFrame(), None, None)


def _in_table(folder: Path, problem: Problem) -> Written:
    file, rows = _rows_of(folder, problem.table)
    if not rows or problem.row is None:
        return _nothing(file)
    head = rows[0]
    width = max(map(len, rows))
    names = [*head, *([""] * (width - len(head)))]
    body = {
        number: [*cells, *([""] * (width - len(cells)))]
        for number, cells in enumerate(rows[1:], start=2)
        if any(cells)
    }
    # A duplicate stands last: it is the second that is told of.
    column = next((at for at in range(len(head) - 1, -1, -1) if _is(head[at], problem.column)), None)
    row = problem.row
    if not isinstance(row, int):
        photo = next((at for at, text in enumerate(head) if _is(text, "photo")), None)
        row = next((number for number, cells in body.items() if photo is not None and cells[photo] == row), 0)
        column = photo if column is None else column
    return Written(file, _around(body, row, names), row if row in body or row == 1 else None, column)


def _rows_of(folder: Path, table: str) -> tuple[str, Rows]:
    file = folder / f"{table}.csv"
    if file.is_file():
        return file.name, read_rows(file)
    if (folder / WORKBOOK).is_file():
        return f"{WORKBOOK}, sheet {table}", read_sheets(folder / WORKBOOK).get(table, [])
    return "", []


def _is(heading: str, column: str) -> bool:
    """Whether a heading is the column that a problem names: as written, or as its name was read."""
    if not column or not heading:
        return False
    read = parse_heading(heading)
    return column in (heading, str(read), read.name) or parse_heading(column).name == read.name


def _in_record(folder: Path, problem: Problem) -> Written:
    path = (folder / problem.table).resolve()
    if not isinstance(problem.row, int) or not path.is_relative_to(folder.resolve()):
        return _nothing(problem.table)
    lines = read_text(path).splitlines()
    body = {number: [line] for number, line in enumerate(lines, start=1) if line.strip()}
    row = problem.row if problem.row in body else None
    return Written(problem.table, _around(body, problem.row, [LINE]), row, 0)


def _around(body: dict[int, list[str]], row: int, names: list[str]) -> pd.DataFrame:
    numbers = list(body)
    at = numbers.index(row) if row in body else 0
    chosen = numbers[max(at - _BESIDE, 0) : at + _BESIDE + 1]
    return pd.DataFrame(
        [body[number] for number in chosen], index=pd.Index(chosen, dtype="int64"), columns=names, dtype="str"
    )
