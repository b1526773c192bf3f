"""Cells of one sheet of a workbook replaced; every other part of the file stays as it was.

openpyxl, which reads workbooks here, would write the whole anew: it drops the values saved with formulas,
which the book's tables are read by, and what it does not know, such as shapes. So the sheet's own XML is
changed (ECMA-376, part 1, 18.3.1: worksheet), and all other parts are copied.
"""

from __future__ import annotations

import io
import posixpath
import re
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

#: Line ends and tabs that XML has as references, such as in the message of a drop-down.
_REFERENCE = re.compile(rb"&#(?:x0*([9AaDd])|0*(9|10|13));")
#: In private use (Unicode 23.5), so that no text has them.
_KEPT = {9: "\U0010ff09", 10: "\U0010ff0a", 13: "\U0010ff0d"}


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
        The sheet is not found, or such a cell holds a formula or is merged with others.
    """
    try:
        with zipfile.ZipFile(file) as held:
            part = _part_of(held, sheet)
            page = _page(held.read(part))
            for (row, column), text in cells.items():
                _put(page, row + 1, column + 1, text, f"{file.name}, sheet {sheet}")
            _widen(page, cells)
            written = io.BytesIO()
            with zipfile.ZipFile(written, "w") as copy:
                copy.comment = held.comment
                for item in held.infolist():
                    data = _content(page) if item.filename == part else held.read(item)
                    copy.writestr(item, data, compress_type=item.compress_type)
    except BookError:
        raise
    # A cell without its name, which the standard allows, gives a TypeError.
    except (
        zipfile.BadZipFile, ExpatError, KeyError, IndexError, TypeError, ValueError, NotImplementedError
    ) as error:  # fmt: skip
        raise BookError(
            str(file), f"its sheet '{sheet}' cannot be changed ({error})", "write the places there yourself"
        ) from error
    return written.getvalue()


def _page(content: bytes) -> minidom.Document:
    """Read a sheet's XML, line ends that are references marked: minidom would write bare ones.

    Bare ones in an attribute are read as blanks (XML 1.0, 3.3.3), and a message of several lines as one.
    """

    def marked(found: re.Match[bytes]) -> bytes:
        code = int(found[1], 16) if found[1] else int(found[2])
        return f"&#{ord(_KEPT[code])};".encode()

    return minidom.parseString(_REFERENCE.sub(marked, content))


def _content(page: minidom.Document) -> bytes:
    """Write a sheet's XML, with its references."""
    content = page.toxml(encoding="UTF-8")
    for code, mark in _KEPT.items():
        content = content.replace(mark.encode(), f"&#{code};".encode())
    return content


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
    for merged in page.getElementsByTagNameNS(_MAIN, "mergeCell"):
        left, top, right, low = range_boundaries(merged.getAttribute("ref"))
        if left <= column <= right and top <= row <= low and (column, row) != (left, top):
            # No spreadsheet would show it there.
            raise BookError(f"{where}, {place}", "it is merged with other cells", "part them, and try again")
    data = page.getElementsByTagNameNS(_MAIN, "sheetData")[0]
    line = _child(page, data, "row", row, lambda each: int(each.getAttribute("r")), str(row))
    if line.hasAttribute("spans"):
        line.removeAttribute("spans")
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
