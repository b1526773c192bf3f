"""Workbooks: the sheets of an .xlsx file as rows of text, so that they read like any other table."""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sagglab.errors import FileFormatError, MissingFileError

if TYPE_CHECKING:
    from openpyxl import Workbook

#: Rows of text, those of a table in a text file and those of a sheet alike.
Rows = list[list[str]]


def read_sheets(path: Path) -> dict[str, Rows]:
    """Read every sheet of a workbook.

    Parameters
    ----------
    path : path
        An ``.xlsx`` file.

    Returns
    -------
    dict of str to list of list of str
        The rows of each sheet, by its name. Formulas give the value that was saved with them; dates are
        written as ISO, times and durations as ``h:mm:ss``.

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It is no workbook, or a broken one.
    """
    if not Path(path).is_file():
        raise MissingFileError(str(path), "there is no such file", "check the name, or put the file there")
    try:
        with opened(path) as workbook:
            sheets = {sheet.title: _rows(sheet) for sheet in workbook.worksheets}
    except Exception as error:  # openpyxl lets whatever a broken archive or XML raises through
        raise FileFormatError(
            str(path), f"it cannot be read ({error})", "save it again as .xlsx, or as CSV"
        ) from error
    if not sheets:  # as of one in the strict form of the standard, which openpyxl does not know
        remedy = "save it again as an ordinary .xlsx, or as CSV"
        raise FileFormatError(str(path), "no sheet of it can be read", remedy)
    return sheets


def sheet_names(path: Path) -> list[str]:
    """Name the sheets of a workbook; none of one that is missing or broken."""
    if not Path(path).is_file():
        return []
    try:
        with opened(path) as workbook:
            return workbook.sheetnames
    except Exception:  # `read_sheets` says what is wrong with it
        return []


@contextmanager
def opened(path: Path, values: bool = True) -> Iterator[Workbook]:
    """Open a workbook to read the values of its cells, or else formulas, comments and merged cells, too."""
    # Loaded here: most books are CSV, and openpyxl takes 0.15 s.
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        # It warns of what it would not write again, such as drop-downs, and it writes nothing here.
        warnings.filterwarnings("ignore", module="openpyxl")
        with closing(load_workbook(path, read_only=values, data_only=values)) as workbook:
            yield workbook


def _rows(sheet) -> Rows:
    stated = sheet.max_column or 0
    # Some programs state less than a sheet's extent, and openpyxl leaves out all that lies beyond.
    sheet.reset_dimensions()
    rows = [[_text(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
    width = max([stated, *map(len, rows)])
    return [row + [""] * (width - len(row)) for row in rows]


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, dt.timedelta):
        minutes, seconds = divmod(cell.total_seconds(), 60)
        return f"{minutes // 60:.0f}:{minutes % 60:02.0f}:{seconds:06.3f}"
    return str(cell).strip()
