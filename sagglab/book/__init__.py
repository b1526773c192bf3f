"""The batch book: a folder of plain tables, opened and checked, never changed.

The tables are CSV files or the sheets of one `book.xlsx`; `columns.py` declares what they hold, and users
add any material as ``name [unit]``. A blank amount is zero for a dusting or a packing (the pot had none) and
missing for everything else.
"""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sagglab.book.check import check_tables, is_there
from sagglab.book.fresh import first_entry
from sagglab.book.tables import read_tables
from sagglab.book.version import version_of
from sagglab.book.written import Written, written_about
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES
from sagglab.errors import BookError, MissingFileError, Problem, Problems
from sagglab.markup import framed, paragraph
from sagglab.pages.table import Table


@dataclass(frozen=True, repr=False)
class Book:
    """A batch book as it was when it was opened.

    Attributes
    ----------
    folder : Path
    pots, firings, photos, setups, shelf, shares : DataFrame
        One row per pot, firing, photograph, setup, material in stock, and share of the surface that is to be
        measured beside the built-in ones; a book need not have the last two.
        Amounts stand in the working unit that their heading names (``sugar [oz]`` in the file becomes
        ``sugar [g]`` here).
    problems : Problems
        Every fault found, by table in the order of the book, then by row.

    Examples
    --------
    >>> open_book("data/demo").firings.loc[2, ["firing", "kiln", "fuel", "readings"]].tolist()
    ['f1', 'small gas kiln', 'propane', 'readings/f1.csv']
    """

    folder: Path
    pots: pd.DataFrame
    firings: pd.DataFrame
    photos: pd.DataFrame
    setups: pd.DataFrame
    shelf: pd.DataFrame
    shares: pd.DataFrame
    problems: Problems

    def path(self, name: str) -> Path:
        """Give the place of a file that a table names."""
        return self.folder / name

    @property
    def version(self) -> str:
        """Twelve letters that change with any cell of its tables, and with any file that they name."""
        return version_of(
            self.folder, {name: getattr(self, name) for name in (*BOOK_TABLES, *OPTIONAL_TABLES)}
        )

    def require(self, *tables: str) -> None:
        """Stop when one of these tables has a fault that makes a number wrong.

        Raises
        ------
        BookError
            It lists every such fault.
        """
        stopping = self.problems.of(*tables).stopping
        if stopping:
            raise BookError.from_problems(self.folder.resolve().name, stopping)

    @property
    def first_entry(self) -> str:
        """What is to be written into it first, where one of its tables has no row yet; else empty."""
        lacking = first_entry({name: getattr(self, name) for name in BOOK_TABLES})
        return "" if lacking is None else ". ".join(f"{said[:1].upper()}{said[1:]}" for said in lacking) + "."

    def require_entries(self) -> None:
        """Stop when none of the tables that every book has holds a row.

        Raises
        ------
        BookError
            It says what is to be written first.
        """
        tables = {name: getattr(self, name) for name in BOOK_TABLES}
        if all(table.empty for table in tables.values()):
            raise BookError(self.folder.resolve().name, *first_entry(tables))

    def written(self, problem: Problem) -> Written:
        """Find the rows of its file that a problem is about, as they are on the disk now."""
        return written_about(self.folder, problem)

    def __repr__(self) -> str:
        counts = [
            f"{len(table)} {name}{'' if len(table) == 1 else 's'}"
            for name, table in (
                ("pot", self.pots),
                ("firing", self.firings),
                ("photograph", self.photos),
                ("setup", self.setups),
            )
        ]
        flats = int(self.photos["photo"].isin(set(self.setups["flat"]) - {""}).sum())
        if flats:
            counts[2] += f" ({flats} of plain sheets)"
        return f"{self.folder.resolve().name}: {', '.join(counts)}"

    def _repr_html_(self) -> str:
        # Of records and photographs only their names have been looked at.
        well = paragraph("✓ No problems found in its tables. BookCheck looks at what they name, too.")
        return framed(paragraph(repr(self), "answer"), self.problems.html if self.problems else well)


def open_book(folder: str | os.PathLike[str]) -> Book:
    """Open a batch book and check it.

    Parameters
    ----------
    folder : path
        The folder that holds ``pots.csv``, ``firings.csv``, ``photos.csv`` and ``setups.csv``, or a
        ``book.xlsx`` with sheets of these names; and, where they are kept, ``shelf.csv`` and ``shares.csv``.

    Returns
    -------
    Book
        With all its faults listed in ``problems``; none of them is raised here. A step that needs a faulty
        table raises them.

    Raises
    ------
    MissingFileError
        There is no such folder.
    BookError
        The folder holds none of the tables.

    Examples
    --------
    >>> book = open_book("data/demo")
    >>> book
    demo: 36 pots, 6 firings, 91 photographs (2 of plain sheets), 2 setups
    >>> print(book.problems)
    no problems
    """
    folder = Path(folder)
    if is_there(folder, Path.is_file):
        raise BookError(str(folder), "it is a file", "give the folder that holds the tables")
    if not is_there(folder, Path.is_dir):
        raise MissingFileError(str(folder), "there is no such folder", "give the folder of a batch book")
    tables, problems = read_tables(folder)
    _name_records(folder, tables["firings"])
    shown = {name: Table(table) for name, table in tables.items()}
    return Book(folder, **shown, problems=check_tables(folder, tables, problems, dt.date.today()))


def _name_records(folder: Path, firings: pd.DataFrame) -> None:
    """Name the record ``readings/FIRING.csv`` of a firing for which the table names none.

    It is where ``sagglab pace`` keeps what is typed at the kiln.
    """
    for row, firing in firings.loc[firings["readings"] == "", "firing"].items():
        name = f"readings/{firing}.csv"
        if Path(name).name == f"{firing}.csv" and is_there(folder / name, Path.is_file):
            firings.loc[row, "readings"] = name
