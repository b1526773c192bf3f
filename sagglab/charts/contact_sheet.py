"""The contact sheet: all photographs of a book on one page, those that need a look marked."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from sagglab.book import Book
from sagglab.book.tables import WORKBOOK
from sagglab.charts.contact_page import Tile, page_of
from sagglab.charts.overlay import as_jpeg, shown
from sagglab.columns.treated import sides
from sagglab.delimited import delimiter_of, read_text, split_rows
from sagglab.errors import SagglabError
from sagglab.measures.reviews import Reviews
from sagglab.photo.evidence import SURE
from sagglab.photo.image import read_photo
from sagglab.workbook import Rows, read_sheets
from sagglab.writing import write_whole

#: Longest side of the small pictures, pixels, and their quality as JPEG: 100 photographs make a page of some
#: 2 MB, which can be mailed.
THUMBNAIL, SMALL_QUALITY = 420, 78
#: Target confidence below which a person should look: right places had 0.97 and more, wrong ones 0.03.
SURE_TARGET = 0.9
#: Flags of what a line in the table ``photos`` may mend, and what the sheet says of each.
_FLAGS = {
    "unsure outline": "the outline is not sure",
    "cut by the frame": "the pot is cut by the frame",
    "unlike form": "the pot has another width in its other photographs, or in the book",
    "backdrop like the pot": "the backdrop is too much like the pot",
    "several targets": "several targets are in the picture",
    "poor calibration": "the calibration is poor",
}
#: The columns that a person fills in where the automatic answer is wrong, and where that answer is.
_FOUND = {"target corners": "found corners", "pot outline": "found outline"}


def write_contact_sheet(book: Book, measures: pd.DataFrame, reviews: Reviews) -> Path:
    """Write a page of all photographs, on which those that need a look are marked.

    The page is one file, with small pictures in it, and links to the review pictures beside it. A photograph
    needs a look when it has a problem, or when its outline or target is not sure. Each has its line for the
    table ``photos``, with the places that were given, or else found, ready to be mended and pasted.

    Parameters
    ----------
    book : Book
    measures : DataFrame
        From `measure_photos`.
    reviews : Reviews
        Where the pictures are.

    Returns
    -------
    Path
        The page, ``index.html``.

    Raises
    ------
    OSError
        The folder is not there or cannot be written into, or the disk is full.

    Examples
    --------
    >>> import tempfile
    >>> from sagglab import open_book
    >>> from sagglab.charts import reviews_in
    >>> from sagglab.columns import MEASURES, conform
    >>> doubtful = {"photo": "photos/p01-front.jpg", "pot": "p01", "view": "front", "L*": 40,
    ...             "mean ΔE00": 0.8, "outline confidence": 0.4, "target confidence": 1}
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     measures, reviews = conform([doubtful], MEASURES), reviews_in(folder)
    ...     page = write_contact_sheet(open_book("data/demo"), measures, reviews)
    ...     page.name, "the outline is not sure" in page.read_text(encoding="utf-8")
    ('index.html', True)
    """
    table = _Written.of(book)
    # The first of two rows for one photograph, which the book's check refuses anyway.
    places = {photo: place for place, photo in reversed(list(book.photos["photo"].items()))}
    tiles = []
    for row, side in zip(measures.to_dict("records"), sides(measures), strict=True):
        place = places[row["photo"]]
        failed = bool(pd.isna(row["mean ΔE00"]))
        small, whole = (reviews.path(row["photo"], ending) for ending in ("-small.jpg", ".jpg"))
        drawn = not failed and small.is_file()
        tiles.append(
            Tile(
                name=row["photo"],
                pot=row["pot"],
                view=side,
                picture=small.read_bytes() if drawn else _as_read(book.path(row["photo"])),
                overlaid=drawn,
                link=whole.name if not failed and whole.is_file() else "",
                lab=np.array([row["L*"], row["a*"], row["b*"]], dtype=float),
                flags=row["flags"],
                reasons=reasons_to_look(row),
                place=place,
                line=table.line(place, row),
            )
        )
    shared = _on_all(measures["flags"])
    tiles = [replace(tile, flags="; ".join(_without(tile.flags, shared))) for tile in tiles]
    target = reviews.folder / "index.html"
    write_whole(target, page_of(book.folder.resolve().name, tiles, table.source, table.note, shared))
    return target


def reasons_to_look(row: Mapping[str, object]) -> tuple[str, ...]:
    """Say why a person should look at a photograph, by its row of `measure_photos`; empty when need not."""
    flags = str(row["flags"]).split("; ")
    told = [row["problems"]] if row["problems"] else []
    told += [words for flag, words in _FLAGS.items() if flag in flags]
    if row["outline confidence"] < SURE and "unsure outline" not in flags and not np.isnan(row["L*"]):
        told.append(_FLAGS["unsure outline"])
    if row["target confidence"] < SURE_TARGET:
        told.append("the target is not sure")
    if row["pot"] and np.isnan(row["L*"]) and not told:
        told.append("no colour was measured")
    return tuple(str(words) for words in told)


def _on_all(cells: pd.Series) -> tuple[str, ...]:
    """Name the flags that all of several photographs have: told once, they bury no others."""
    flags = [set(str(cell).split("; ")) - {""} for cell in cells]
    return tuple(sorted(set.intersection(*flags))) if len(flags) > 1 else ()


def _without(flags: str, shared: tuple[str, ...]) -> list[str]:
    return [flag for flag in flags.split("; ") if flag not in shared]


def _as_read(path: Path) -> bytes:
    """Give the small picture of a photograph that could not be measured; nothing when it cannot be opened."""
    with suppress(SagglabError):
        return as_jpeg(shown(read_photo(path), THUMBNAIL), SMALL_QUALITY)
    return b""


@dataclass(frozen=True)
class _Written:
    """The table ``photos`` as its file has it, cell by cell: nothing is converted on the way back into it.

    Attributes
    ----------
    source : str
        What the table is in, in words.
    rows : list of list of str
    delimiter : str
        What separates the cells of a line that is pasted.
    added : tuple of str
        Columns that the file lacks, and that a line has at its end.
    """

    source: str
    rows: Rows
    delimiter: str
    added: tuple[str, ...]

    @classmethod
    def of(cls, book: Book) -> _Written:
        file = book.folder / "photos.csv"
        if file.is_file():
            text = read_text(file)
            delimiter = delimiter_of(next((line for line in text.splitlines() if line.strip()), "")) or ","
            rows, source = split_rows(text, delimiter), file.name
        else:
            # Cells parted by tabs go into a spreadsheet's cells when they are pasted.
            rows, delimiter = read_sheets(book.folder / WORKBOOK)["photos"], "\t"
            source = f"the sheet photos of {WORKBOOK}"
        return cls(source, rows, delimiter, tuple(name for name in _FOUND if name not in rows[0]))

    @property
    def note(self) -> str:
        """How lines are laid out, and what the table lacks for them."""
        parted = {"\t": "tabs, so that they paste into cells", ",": "commas", ";": "semicolons"}
        note = f"Its cells are separated by {parted[self.delimiter]}, as that table wants them."
        if self.added:
            names = " and ".join(f"“{name}”" for name in self.added)
            note += f" The table has no {names} yet: add it to the headings, behind the last."
        return note

    def line(self, place: int, row: Mapping[str, object]) -> str:
        """Write the line of a photograph, by its row as a spreadsheet numbers it, with what was found."""
        head = self.rows[0]
        cells = [*self.rows[place - 1], *[""] * len(head)][: len(head)] + [""] * len(self.added)
        for name, found in _FOUND.items():
            at = [*head, *self.added].index(name)
            cells[at] = cells[at] or row[found]
        written = io.StringIO()
        csv.writer(written, delimiter=self.delimiter, lineterminator="").writerow(cells)
        return written.getvalue()
