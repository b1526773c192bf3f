"""Cells of one sheet of a workbook replaced; every other part of the file stays as it was.

openpyxl, which reads workbooks here, would write the whole anew: it drops the values saved with formulas,
which the book's tables are read by, and what it does not know, such as shapes. So the sheet's own XML is
changed (ECMA-376, part 1, 18.3.1: worksheet), and all other parts are copied.
"""

from __future__ import annotations

import io
import posixpath
import zipfile
from collections.abc import Mapping
from pathlib import Path
from xml.dom import minidom
from xml.parsers.expat import ExpatError

from openpyxl.utils import get_column_letter, range_boundaries

from sagglab.errors import BookError
from sagglab.workbook import Rows, read_sheets

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LINK = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"


def rows_of(file: Path, sheet: str) -> Rows:
    """Read a sheet's rows as text, as the book reads them."""
    return read_sheets(file)[sheet]


def with_cells(file: Path, sheet: str, cells: Mapping[tuple[int, int], str]) -> bytes:
    """Give a workbook's content with the text of some cells replaced.

    Parameters
    ----------
    file : Path
        An ``.xlsx`` file.
    sheet : str
    cells : mapping of (row, column) to str
        Counted from 0. Empty text clears a cell; its format stays.

    Raises
    ------
    BookError
        The sheet is not found, or such a cell holds a formula.
    """
    try:
        with zipfile.ZipFile(file) as held:
            part = _part_of(held, sheet)
            page = minidom.parseString(held.read(part))
            for (row, column), text in cells.items():
                _put(page, row + 1, column + 1, text, f"{file.name}, sheet {sheet}")
            _widen(page, cells)
            written = io.BytesIO()
            with zipfile.ZipFile(written, "w") as copy:
                copy.comment = held.comment
                for item in held.infolist():
                    data = page.toxml(encoding="UTF-8") if item.filename == part else held.read(item)
                    copy.writestr(item, data, compress_type=item.compress_type)
    except (zipfile.BadZipFile, ExpatError, KeyError, IndexError, ValueError, NotImplementedError) as error:
        if isinstance(error, BookError):
            raise
        raise BookError(
            str(file), f"its sheet '{sheet}' cannot be changed ({error})", "write the places there yourself"
        ) from error
    return written.getvalue()


def _part_of(held: zipfile.ZipFile, sheet: str) -> str:
    workbook = minidom.parseString(held.read("xl/workbook.xml"))
    named = workbook.getElementsByTagNameNS("*", "sheet")
    link = next(each.getAttributeNS(_LINK, "id") for each in named if each.getAttribute("name") == sheet)
    links = minidom.parseString(held.read("xl/_rels/workbook.xml.rels"))
    target = next(
        each.getAttribute("Target")
        for each in links.getElementsByTagNameNS(_PACKAGE, "Relationship")
        if each.getAttribute("Id") == link
    )
    return posixpath.normpath(posixpath.join("/xl", target)).lstrip("/")


def _put(page: minidom.Document, row: int, column: int, text: str, where: str) -> None:
    place = f"{get_column_letter(column)}{row}"
    data = page.getElementsByTagNameNS(_MAIN, "sheetData")[0]
    line = _child(page, data, "row", row, lambda each: int(each.getAttribute("r")), str(row))
    line.removeAttribute("spans") if line.hasAttribute("spans") else None
    cell = _child(page, line, "c", column, lambda each: range_boundaries(each.getAttribute("r"))[0], place)
    if cell.getElementsByTagNameNS(_MAIN, "f"):
        raise BookError(f"{where}, {place}", "it holds a formula", "write the places in its stead there")
    for child in list(cell.childNodes):
        cell.removeChild(child)
    if cell.hasAttribute("t"):
        cell.removeAttribute("t")
    if text:
        cell.setAttribute("t", "inlineStr")
        held, words = _made(page, "is"), _made(page, "t")
        words.appendChild(page.createTextNode(text))
        held.appendChild(words)
        cell.appendChild(held)


def _child(page, parent, tag, number, number_of, name):
    """Find a row, or a cell of a row, or make it in its place among the others."""
    following = None
    for each in parent.childNodes:
        if each.nodeType == each.ELEMENT_NODE and each.localName == tag:
            if number_of(each) == number:
                return each
            if number_of(each) > number:
                following = each
                break
    made = _made(page, tag)
    made.setAttribute("r", name)
    parent.insertBefore(made, following)
    return made


def _made(page: minidom.Document, tag: str) -> minidom.Element:
    prefix = page.documentElement.prefix
    return page.createElementNS(_MAIN, f"{prefix}:{tag}" if prefix else tag)


def _widen(page: minidom.Document, cells: Mapping[tuple[int, int], str]) -> None:
    """Have the stated extent of the sheet take in every cell: readers stop where it ends."""
    for stated in page.getElementsByTagNameNS(_MAIN, "dimension"):
        left, top, right, low = range_boundaries(stated.getAttribute("ref"))
        rows, columns = zip(*((row + 1, column + 1) for row, column in cells), strict=True)
        left, right = min(left, *columns), max(right, *columns)
        top, low = min(top, *rows), max(low, *rows)
        extent = f"{get_column_letter(left)}{top}:{get_column_letter(right)}{low}"
        stated.setAttribute("ref", extent)
