"""Firings: the temperature records of a batch book measured; and whether all of its files can be opened."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from sagglab.book import Book
from sagglab.book.check import is_places
from sagglab.book.doubts import FilesThere
from sagglab.book.rows import also
from sagglab.columns import FIRING_MEASURES, conform
from sagglab.errors import BookError, Problem, Problems, SagglabError, UnknownNameError
from sagglab.firing.heat import heat_measures
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_readings, firing_schedule
from sagglab.firing.sensor import tolerance_C
from sagglab.measures.views import measuring_of
from sagglab.pages.table import Table
from sagglab.photo.image import check_photo


def check_files(book: Book) -> Problems:
    """Open every record, schedule, photograph and mask that the book has, and list what is wrong with them.

    Records are read whole, photographs only opened: damage inside one shows when it is measured.
    """
    found = list(_without_record(book))
    for name, key, told_by, check in (
        ("firings", "readings", "firing", firing_readings),
        ("firings", "schedule", "firing", firing_schedule),
        ("firings", "sensor class", "sensor class", lambda _, name: tolerance_C(0.0, name)),
        ("photos", "photo", "photo", _check_picture),
        ("photos", "pot outline", "pot outline", _check_picture),
        ("setups", "flat", "flat", _check_picture),
    ):
        table = getattr(book, name)
        # Where the book tells a fault of a row already, a second of the same cell would say it twice.
        told = {problem.row for problem in book.problems.of(name) if problem.stops or problem.column == key}
        for row, values in table.loc[~table.index.isin(told) & (table[key] != "")].iterrows():
            try:
                read = check(book, values[told_by])
                if isinstance(read, Readings):
                    found += [_in_book(book, problem) for problem in read.problems]
            except SagglabError as error:
                # Line and column within the file, too, but not where the book lies.
                where = error.where.replace(f"{book.folder}{os.sep}", "")
                cause = f"{where}: {error.cause}"
                found.append(Problem(name, row, key, cause, error.remedy, stops=False))
    try:
        measuring_of(book)
    except BookError as error:
        found += error.problems
    return Problems(found)


def _without_record(book: Book) -> Iterator[Problem]:
    """Yield a warning about firings that pots went through, and that left no record."""
    firings = book.firings[book.firings["firing"].isin(set(book.pots["firing"]) - {""})]
    blank = firings.loc[firings["readings"] == "", "firing"]
    there, named = FilesThere(book.folder), set(firings["readings"])
    meant = {row: file for row, firing in blank.items() if (file := there.meant(_record(firing), named))}
    for row, file in meant.items():
        cause = f"'{blank[row]}' has no temperature record, but there is '{file}'"
        yield Problem("firings", row, "readings", cause, f"write {file} if you meant that", stops=False)
    rows = blank.index.difference(list(meant))
    if len(rows):
        cause = f"'{blank[rows[0]]}' has no temperature record{also(rows)}: its peak and times are not known"
        remedy = f"write its file's name here, or call it {_record('FIRING')}"
        yield Problem("firings", int(rows[0]), "readings", cause, remedy, stops=False)


def _record(firing: str) -> str:
    return f"readings/{firing}.csv"


def _check_picture(book: Book, name: str) -> None:
    if not is_places(name):
        check_photo(book.path(name))


def _in_book(book: Book, problem: Problem) -> Problem:
    """Name a record by its place in the book."""
    return replace(problem, table=problem.table.replace(f"{book.folder}{os.sep}", ""))


def all_readings(book: Book) -> dict[str, Readings]:
    """Read every record that can be read.

    Returns
    -------
    dict of str to Readings
        By firing, in the order of the table. One that has no record so far, or none that can be read, is left
        out; `measure_firings` says why.

    Examples
    --------
    >>> from sagglab import open_book
    >>> list(all_readings(open_book("data/demo")))
    ['f1', 'f2', 'f3', 'f4', 'f5', 'f6']
    """
    records = {}
    for firing in book.firings["firing"]:
        try:
            records[firing] = firing_readings(book, firing)
        except SagglabError:
            continue  # `measure_firings` lists it
    return records


def measure_firings(book: Book) -> pd.DataFrame:
    """Measure every firing of a batch book.

    Parameters
    ----------
    book : Book

    Returns
    -------
    DataFrame
        One row per firing, in the columns that ``columns.FIRING_MEASURES`` declares. A firing whose record
        cannot be read keeps its row, blank, with the reason in ``problems``.

    Raises
    ------
    BookError
        The table ``firings`` has faults that make a number wrong.

    Examples
    --------
    >>> from sagglab import open_book
    >>> measure_firings(open_book("data/demo")).set_index("firing")["peak_C"].round(1).to_dict()
    {'f1': 740.6, 'f2': 734.2, 'f3': 776.5, 'f4': 780.5, 'f5': 758.3, 'f6': 729.0}
    """
    book.require("firings")
    wanted = book.firings[["firing", "target peak [degC]", "sensor class"]]
    rows = []
    for firing, target_C, sensor_class in wanted.itertuples(index=False):
        row = {"firing": firing}
        try:
            readings = firing_readings(book, firing)
            told = [readings.problems.told]
            try:
                measured = heat_measures(readings, target_C, sensor_class or None)
            except UnknownNameError as error:  # it bears on the bounds alone
                measured = heat_measures(readings, target_C)
                told.append(f"{error.where}: {error.cause}; {error.remedy}")
            row |= measured.row_with_bounds
            row["problems"] = "; ".join(filter(None, told))
        except SagglabError as error:
            row["problems"] = f"{error.where}: {error.cause}; {error.remedy}"
        rows.append(row)
    return Table(conform(rows, FIRING_MEASURES))
