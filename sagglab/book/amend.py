"""One row of the table ``photos`` amended on the disk, when its user asks for that; nothing else changes.

In a text table every other byte stays as it was, with its encoding, delimiter, quotes and line ends. In a
workbook every other cell and every other part stays.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from sagglab.book import Book, sheet_cells, text_cells
from sagglab.book.tables import WORKBOOK, read_tables
from sagglab.errors import BookError
from sagglab.units import parse_heading
from sagglab.workbook import Rows, sheet_names
from sagglab.writing import write_whole

#: The columns in which a person overrules the automatic answer.
PLACES = ("target corners", "pot outline")


def amend_photo(book: Book, photo: str, cells: Mapping[str, str]) -> Path:
    """Write cells of a photograph's row in the table ``photos``, on the disk.

    Parameters
    ----------
    book : Book
        As it was opened; it stays as it is. Open it again to go on with what was written.
    photo : str
        The photograph as the table names it.
    cells : mapping of str to str
        Text by heading, of ``PLACES`` alone; empty text clears the cell. A heading that the table lacks is
        added behind its last one.

    Returns
    -------
    Path
        The file that was written: ``photos.csv`` or ``book.xlsx``.

    Raises
    ------
    BookError
        The table has not this photograph, or has it twice; its row has been changed since the book was
        opened; the file is open elsewhere, or cannot be changed without touching more.
    """
    other = [heading for heading in cells if heading not in PLACES]
    if other:
        raise BookError("photos", f"'{other[0]}' is not written here", f"write it into {_file(book).name}")
    file = _file(book)
    where = f"{file.name}, {photo}"
    _check_closed(file)
    _check_unchanged(book, photo, where)
    kind = text_cells if file.suffix == ".csv" else sheet_cells
    rows = kind.rows_of(file, "photos")
    wanted = _places_in(rows, photo, cells, where)
    if not wanted:
        return file
    content = kind.with_cells(file, "photos", wanted)
    with tempfile.TemporaryDirectory() as folder:
        tried = Path(folder) / file.name
        tried.write_bytes(content)
        _check_alone(rows, kind.rows_of(tried, "photos"), wanted, where)
    try:
        write_whole(file, content)
    except OSError as error:
        held = isinstance(error, PermissionError)
        remedy = f"{'close it in other programs' if held else 'see to the disk'}, and try again"
        raise BookError(str(file), f"it cannot be written ({error.strerror})", remedy) from error
    return file


def _file(book: Book) -> Path:
    text, workbook = book.folder / "photos.csv", book.folder / WORKBOOK
    if not text.is_file():
        return workbook
    if "photos" in sheet_names(workbook):
        raise BookError("photos", f"it is both in {text.name} and in {WORKBOOK}", "keep one of the two")
    return text


def _check_closed(file: Path) -> None:
    """Refuse a file that a spreadsheet holds open: saved there later, it would lose what is written now."""
    for mark in (f".~lock.{file.name}#", f"~${file.name}"):
        if (file.parent / mark).exists():
            raise BookError(
                str(file),
                "it is open in a spreadsheet",
                f"save and close it there, or delete {mark} if that is left from long ago",
            )


def _check_unchanged(book: Book, photo: str, where: str) -> None:
    now = read_tables(book.folder)[0]["photos"]
    then, now = (table[table["photo"] == photo] for table in (book.photos, now))
    if len(then) != 1 or len(now) != 1:
        count = len(now) if len(then) == 1 else len(then)
        cause = "there is no such photograph" if count == 0 else f"it is there {count} times"
        raise BookError(where, cause, "give each photograph one row, and open the book again")
    if not now.iloc[0].sort_index().equals(then.iloc[0].sort_index()):
        cause = "its row has been changed since the book was opened"
        raise BookError(where, cause, "open the book again, and look at what it says now")


def _places_in(rows: Rows, photo: str, cells: Mapping[str, str], where: str) -> dict[tuple[int, int], str]:
    """Give the cells to write, by row and column from 0, new headings included."""
    head = [parse_heading(text).name if text else "" for text in rows[0]]
    column = head.index("photo")
    row = next(place for place, row in enumerate(rows) if place and row[column : column + 1] == [photo])
    found, width = {}, max(len(line) for line in rows)
    for heading, text in cells.items():
        if head.count(heading) > 1:
            raise BookError(where, f"the column '{heading}' is there twice", "keep one of them")
        if heading in head:
            found[row, head.index(heading)] = text
        elif text:
            # Behind all cells, also behind any that stand under no heading.
            found[0, width], found[row, width] = heading, text
            width += 1
    return found


def _check_alone(before: Rows, after: Rows, wanted: Mapping[tuple[int, int], str], where: str) -> None:
    """Refuse to write what, read again, differs in anything but the cells that were meant."""
    expected = [list(row) for row in before]
    for (row, column), cell in wanted.items():
        expected[row] += [""] * (column + 1 - len(expected[row]))
        expected[row][column] = cell
    if _bare(expected) != _bare(after):
        raise BookError(
            where, "it cannot be written without touching other cells", "write the places there yourself"
        )


def _bare(rows: Rows) -> Rows:
    """Leave blank cells at the end of rows out, which a spreadsheet does not have."""
    bare = [list(row) for row in rows]
    for row in bare:
        while row and not row[-1]:
            row.pop()
    while bare and not bare[-1]:
        bare.pop()
    return bare
