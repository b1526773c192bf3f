"""Cells of a text table replaced; every other byte of the file stays as it was."""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping
from pathlib import Path

from sagglab.delimited import DELIMITERS, open_text, read_rows, table_delimiter
from sagglab.errors import BookError
from sagglab.workbook import Rows

#: Marks at the head of a file by the encoding that it was opened in, with that of what follows the mark.
_MARKS = {
    "utf-8-sig": ((codecs.BOM_UTF8, "utf-8"), (b"", "utf-8")),
    "utf-16": ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")),
    "ascii": ((b"", "utf-8"),),
}


def rows_of(file: Path, _: str) -> Rows:
    """Read a table's rows as text, as the book reads them."""
    return read_rows(file)


def with_cells(file: Path, table: str, cells: Mapping[tuple[int, int], str]) -> bytes:
    """Give a text table's content with some cells replaced.

    Parameters
    ----------
    file : Path
    table : str
        Its name, for what is said of it.
    cells : mapping of (row, column) to str
        Counted from 0, blank lines included. A column behind a row's last one is added to it.

    Returns
    -------
    bytes
        In the encoding, and with the delimiter, the quotes and the line ends that the file has.

    Raises
    ------
    BookError
        Its cells cannot be told apart safely, or its encoding has not what is to be written.
    """
    data = file.read_bytes()
    with open_text(file) as opened:
        encoding = opened.encoding
    # Strict decoders of these encodings are one to one, so that what is not changed comes back byte by byte.
    marks = _MARKS.get(encoding, ((b"", encoding),))
    mark, encoding = next((mark, name) for mark, name in marks if data.startswith(mark))
    text = data[len(mark) :].decode(encoding)
    delimiter = table_delimiter(text)
    spans = _spans(text, delimiter)
    read = [[_plain(text[start:end]) for start, end in line] for line in spans]
    if read != [row or [""] for row in rows_of(file, table)]:
        raise BookError(table, "its cells cannot be told apart safely", "save the table again as CSV")
    try:
        return mark + _changed(text, spans, cells, delimiter).encode(encoding)
    except UnicodeEncodeError as error:
        letter = error.object[error.start]
        raise BookError(table, f"the file's encoding has no '{letter}'", "save the table as UTF-8") from error


def _spans(text: str, delimiter: str) -> list[list[tuple[int, int]]]:
    """Find where each cell begins and ends, quotes included, as the standard library's reader cuts them."""
    apart = re.escape(delimiter)
    cell = re.compile(rf'("(?:[^"]|"")*"|[^"{apart}\r\n][^{apart}\r\n]*|)({apart}|\r\n|\r|\n|\Z)')
    rows: list[list[tuple[int, int]]] = []
    at, fresh = 0, True
    while at < len(text) or not fresh:
        found = cell.match(text, at)
        if found is None:
            return []
        if fresh:
            rows.append([])
        rows[-1].append(found.span(1))
        at, fresh = found.end(), found[2] != delimiter
    return rows


def _plain(cell: str) -> str:
    if cell.startswith('"'):
        cell = cell[1:-1].replace('""', '"')
    return re.sub("\r\n|\r", "\n", cell).strip()


def _changed(
    text: str, spans: list[list[tuple[int, int]]], wanted: Mapping[tuple[int, int], str], delimiter: str
) -> str:
    """Put cells into the text, from its end to its beginning, so that places before them stay true."""
    for (row, column), cell in sorted(wanted.items(), reverse=True):
        there = len(spans[row])
        quoted = any(text[start : start + 1] == '"' for start, end in spans[row] if end > start)
        cell = _written(cell, quoted)
        if column < there:
            start, end = spans[row][column]
        else:
            # Of two cells behind the last one, the later is put there first, with all that lies between.
            before = [at for line, at in wanted if line == row and there <= at < column]
            start = end = spans[row][-1][1]
            cell = delimiter * (column - max(before, default=there - 1)) + cell
        text = text[:start] + cell + text[end:]
    return text


def _written(cell: str, quoted: bool) -> str:
    # A spreadsheet may be set to cut at any delimiter, whichever the table has, and places hold semicolons.
    if cell and (quoted or {*cell} & {*DELIMITERS, *'"\r\n'}):
        return '"' + cell.replace('"', '""') + '"'
    return cell
