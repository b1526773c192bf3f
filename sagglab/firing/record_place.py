"""The record of a firing in a batch book: where it is kept, and reading it as the book says."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from sagglab.book import Book
from sagglab.book.tables import WORKBOOK
from sagglab.errors import BookError, Problem, Problems, ReadingsError, UnknownNameError
from sagglab.firing.long_record import firings_in
from sagglab.firing.readings import Readings, read_readings
from sagglab.firing.schedule import Schedule, read_schedule
from sagglab.workbook import sheet_names


@dataclass(frozen=True)
class RecordPlace:
    """The place of a firing's record.

    Attributes
    ----------
    path : Path
        The file, which may not be there yet.
    sheet : str or None
        The sheet that holds it, when the file is the book's workbook.
    is_named : bool
        Whether the table `firings` names it.
    target_C : float or None
        The peak that `firings` aims at.
    """

    path: Path
    sheet: str | None
    is_named: bool
    target_C: float | None


def place_of_record(book: Book, firing: str) -> RecordPlace:
    """Find where a firing's record is kept: the file that `firings` names, else one called as the firing.

    Raises
    ------
    UnknownNameError
        The book has no such firing.
    BookError
        The firing is there more than once, or its record would lie outside the book.
    """
    row = _row_of(book, firing)
    aimed = float(row["target peak [degC]"])
    named = bool(row["readings"])
    name = row["readings"] if named else f"readings/{firing}.csv"
    where = f"firing '{firing}'"
    remedy = "write another name into the table firings, column readings"
    # A firing called "a/b" or "../pots" must not choose the folder.
    if not named and Path(name).parent != Path("readings") or "\\" in name:
        raise BookError(where, "no file can be called like this firing", remedy)
    try:
        path = (book.folder / name).resolve()
        inside = path.is_relative_to(book.folder.resolve())
    except (OSError, RuntimeError, ValueError) as error:
        raise BookError(where, f"its record cannot be kept in '{name}'", remedy) from error
    if not inside:
        raise BookError(where, f"its record '{name}' lies outside the book", remedy)
    target_C = None if np.isnan(aimed) else aimed
    workbook = book.folder / WORKBOOK
    if not path.is_file() and named and name in sheet_names(workbook):
        return RecordPlace(workbook, name, named, target_C)
    return RecordPlace(book.folder / name, None, named, target_C)


def firing_readings(book: Book, firing: str) -> Readings:
    """Read the record of one firing as the book says: its channel, its thermocouple, and its day.

    Parameters
    ----------
    book : Book
    firing : str
        The firing as the table `firings` names it.

    Returns
    -------
    Readings
        From where the climb begins until the kiln is cold, whatever else the logger recorded. Of a record
        that holds several firings, the one that began on the firing's date, nearest to its time of day.

    Raises
    ------
    SagglabError
        As `place_of_record` and `read_readings` raise it; or the record holds several firings, and the date
        does not tell which is meant.

    Examples
    --------
    >>> from sagglab import open_book
    >>> firing_readings(open_book("data/demo"), "f1")
    f1.csv: 1470 readings over 122 min, up to 741 °C (1365 °F)
    """
    place = place_of_record(book, firing)
    row = _row_of(book, firing)
    cold_C = row["cold junction [degC]"]
    if not place.is_named and not place.path.is_file():
        raise ReadingsError(
            f"firing '{firing}'",
            f"no readings are named, and there is no readings/{firing}.csv",
            "write the file into the table firings, column readings",
        )
    whole = read_readings(
        place.path,
        thermocouple=row["thermocouple"] or None,
        cold_junction_C=None if np.isnan(cold_C) else float(cold_C),
        column=row["channel"] or None,
        sheet=place.sheet,
    )
    found = firings_in(whole)
    if len(found) > 1:
        return _begun_on(found, row["date"], whole)
    told = list(whole.problems)
    started = whole.started
    if started is not None and not pd.isna(row["date"]) and abs(started - row["date"]) > pd.Timedelta(days=2):
        cause = f"the record begins on {started:%Y-%m-%d}, and the firing is dated {row['date']:%Y-%m-%d}"
        told.append(Problem(whole.source, None, "", cause, "look whether it is this firing's record", False))
    return replace(found[0] if found else whole, source=whole.source, problems=Problems(told))


def firing_schedule(book: Book, firing: str) -> Schedule | None:
    """Read what was planned for a firing; none where the book says nothing.

    Raises
    ------
    SagglabError
        As `place_of_record` and `read_schedule` raise it.
    """
    text = _row_of(book, firing)["schedule"]
    return read_schedule(text) if text else None


def _row_of(book: Book, firing: str) -> pd.Series:
    rows = book.firings[book.firings["firing"] == firing]
    if rows.empty or not firing:
        known = ", ".join(name for name in book.firings["firing"] if name) or "none so far"
        raise UnknownNameError(
            f"firing '{firing}'",
            f"{book.folder.name} has no such firing",
            f"give one of those in the table firings ({known}), or add it there",
        )
    if len(rows) > 1:
        raise BookError(
            f"{book.folder.name}, table firings",
            f"'{firing}' is there {len(rows)} times",
            "give each row a name of its own",
        )
    return rows.iloc[0]


def _begun_on(found: tuple[Readings, ...], date: pd.Timestamp, whole: Readings) -> Readings:
    """Choose the firing that began on a date; with a time of day, the nearest to it."""
    begun = [firing for firing in found if firing.started is not None and not pd.isna(date)]
    on_day = [firing for firing in begun if firing.started.normalize() == date.normalize()]
    if len(on_day) > 1 and date != date.normalize():
        on_day = sorted(on_day, key=lambda firing: abs(firing.started - date))[:1]
    if len(on_day) == 1:
        return replace(on_day[0], problems=whole.problems)
    starts = ", ".join(f"{firing.started:%Y-%m-%d %H:%M}" for firing in begun)
    if not starts:
        cause = f"it holds {len(found)} firings, and nothing says on which date each began"
        remedy = "write the firing's date, and export the record with dates, or cut it into one file for each"
    else:
        cause = f"it holds {len(found)} firings, begun {starts}; {len(on_day)} of them on the firing's date"
        remedy = "write when this one began into the column date, as 2026-05-31 14:05"
    raise ReadingsError(whole.source, cause, remedy)
