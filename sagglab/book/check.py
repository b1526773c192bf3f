"""The batch book checked as a whole: names unique, references kept, files there and inside the book."""

from __future__ import annotations

import datetime as dt
import posixpath
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd

from sagglab.book.doubts import FilesThere, doubts
from sagglab.book.likeness import one_spelling
from sagglab.book.rows import also
from sagglab.book.shelf import check_shelf
from sagglab.book.tables import NO_COLUMN, WORKBOOK
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES, STATES, THERMOCOUPLES
from sagglab.errors import Problem, Problems, SagglabError
from sagglab.targets import built_in_targets, read_target
from sagglab.workbook import sheet_names


def check_tables(
    folder: Path, tables: dict[str, pd.DataFrame], found: list[Problem], today: dt.date
) -> Problems:
    """Add every fault that shows only when rows, tables and files are seen together.

    Parameters
    ----------
    folder : Path
    tables : dict of DataFrame
        All tables of the book, typed.
    found : list of Problem
        What was found when they were read.
    today : date
        The day of this check, past which nothing has been fired.

    Returns
    -------
    Problems
        All of them, by table in the order of the book, then by row.
    """
    # A column that is missing is blank in each row: it is told once.
    lacking = {(problem.table, problem.column) for problem in found if problem.cause == NO_COLUMN}
    seen = [
        problem
        for problem in _seen(folder, tables, lacking, today)
        if (problem.table, problem.column) not in lacking
    ]
    order = {name: place for place, name in enumerate(BOOK_TABLES | OPTIONAL_TABLES)}
    return Problems(
        sorted(
            [*found, *seen],
            # What is wrong with the workbook comes before its sheets, and with a table before its rows.
            key=lambda problem: (order.get(problem.table, -1), problem.row or 0),
        )
    )


def _seen(
    folder: Path, tables: dict[str, pd.DataFrame], lacking: set[tuple[str, str]], today: dt.date
) -> Iterator[Problem]:
    for table, key in (("pots", "pot"), ("firings", "firing"), ("setups", "setup")):
        yield from _check_key(tables[table], table, key)
    yield from _check_photographs(tables["photos"])
    yield from _check_references(tables)
    if ("photos", "pot") not in lacking:
        yield from _check_shown(tables["pots"], tables["photos"])
    yield from _check_files(folder, tables)
    yield from _check_values(tables)
    yield from check_shelf(tables["shelf"])
    yield from doubts(tables, today)


def _blank(table: pd.DataFrame, name: str, column: str, remedy: str) -> Iterator[Problem]:
    rows = table.index[table[column] == ""]
    if len(rows):
        yield Problem(name, int(rows[0]), column, f"it is blank{also(rows)}", remedy)


def _check_key(table: pd.DataFrame, name: str, key: str) -> Iterator[Problem]:
    values = table[key]
    yield from _blank(table, name, key, f"give each row its {key}")
    for row in values.index[values.duplicated() & (values != "")]:
        first = values.index[values == values[row]][0]
        yield Problem(
            name,
            row,
            key,
            f"'{values[row]}' is there already, in row {first}",
            "give each row a name of its own",
        )


def _check_photographs(photos: pd.DataFrame) -> Iterator[Problem]:
    yield from _blank(photos, "photos", "photo", "name the photograph's file in each row")
    files = photos.loc[photos["photo"] != "", "photo"].map(posixpath.normpath)
    for row in files.index[files.duplicated()]:
        first = files.index[files == files[row]][0]
        cause = f"rows {first} and {row} name the same file, '{photos['photo'][row]}'"
        yield Problem("photos", row, "photo", cause, "keep one of them, or correct the name")


def _check_references(tables: dict[str, pd.DataFrame]) -> Iterator[Problem]:
    for table, column, other in (
        ("pots", "firing", "firings"),
        ("photos", "pot", "pots"),
        ("photos", "setup", "setups"),
    ):
        values, known = tables[table][column], set(tables[other][column]) - {""}
        if not known:
            continue  # a missing table is a fault of its own, and is listed as one
        spelt = {one_spelling(name): name for name in known}
        for row in values.index[~values.isin(known | {""})]:
            cause, remedy = f"'{values[row]}' is not in the table {other}", "add it there, or write one of "
            remedy += _some(known)
            if meant := spelt.get(one_spelling(values[row])):
                cause, remedy = f"{cause}, but '{meant}' is", f"write {meant} if you meant that"
            yield Problem(table, row, column, cause, remedy, stops=table != "photos")
    yield from _blank(tables["pots"], "pots", "firing", "say which firing the pot went through")
    setups = set(tables["setups"]["setup"]) - {""}
    which = f", one of {_some(setups)}" if setups else ", and describe it in the table setups"
    remedy = f"name the setup that it was taken with{which}"
    yield from _blank(tables["photos"], "photos", "setup", remedy)


def _check_shown(pots: pd.DataFrame, photos: pd.DataFrame) -> Iterator[Problem]:
    photographed = set(photos["pot"]) | {""}
    rows = pots.index[~pots["pot"].isin(photographed) & (pots["state"] != "lost")]
    if len(rows):
        cause = f"no photograph shows '{pots['pot'][rows[0]]}'{also(rows)}"
        remedy = f"add {'it' if len(rows) == 1 else 'them'} to photos"
        yield Problem("pots", int(rows[0]), "pot", cause, remedy, stops=False)


def _some(names: set[str]) -> str:
    listed = sorted(names)
    return ", ".join(listed[:6]) + (", …" if len(listed) > 6 else "")


def _check_files(folder: Path, tables: dict[str, pd.DataFrame]) -> Iterator[Problem]:
    setups, there = tables["setups"], FilesThere(folder)
    for row, target in setups["target"].items():
        yield from (Problem("setups", row, "target", *fault) for fault in _target_faults(folder, target))
    for table, column in (
        ("firings", "readings"),
        ("photos", "photo"),
        ("photos", "pot outline"),
        ("setups", "flat"),
    ):
        sheets = sheet_names(folder / WORKBOOK) if column == "readings" else []
        named = set(tables[table][column])
        for row, name in tables[table][column].items():
            if name == "" or name in sheets or (column == "pot outline" and is_places(name)):
                continue
            fault = outside(folder, name)
            if fault is not None:
                yield Problem(table, row, column, f"'{name}': {fault[0]}", fault[1])
            elif not is_there(folder / name, Path.is_file):
                cause, remedy = (
                    f"'{name}': there is no such file in the book",
                    "put it there, or correct the name",
                )
                if meant := there.meant(name, named):
                    cause, remedy = f"{cause}, but there is '{meant}'", f"write {meant} if you meant that"
                elif column == "pot outline":
                    remedy = "put it there, or write the places around the pot as x y; x y; x y …"
                yield Problem(table, row, column, cause, remedy, stops=table == "setups")


def _target_faults(folder: Path, target: str) -> Iterator[tuple[str, str, bool]]:
    """Yield cause, remedy and whether it stops, for what a row of setups names as its target."""
    known = ", ".join(built_in_targets())
    if target == "":
        yield "it is blank", f"name a table in targets/, or one of {known}", True
    elif target in built_in_targets():
        return
    elif fault := outside(folder, target):
        yield f"'{target}': {fault[0]}", fault[1], True
    elif not is_there(folder / target, Path.is_file):
        cause = f"'{target}': there is no such table, and no built-in target of that name"
        yield cause, f"name a table, or one of {known}", True
    else:
        try:
            stated = read_target(folder / target).stated
        except SagglabError as error:
            yield f"'{target}': {error.cause}", error.remedy, True
            return
        if not stated:
            cause = f"'{target}' does not state its illuminant and observer: D50 and 2° were taken"
            yield cause, "add the columns illuminant and observer", False


def is_places(outline: str) -> bool:
    """Whether an outline is written as places, ``x y; x y; …``; anything else names a mask picture.

    Examples
    --------
    >>> is_places("10 12; 40 12; 25.5 80"), is_places("masks/p 01 2.png")
    (True, False)
    """
    return ";" in outline and re.fullmatch(r"[\s\d.;-]*\d\s+-?\d[\s\d.;-]*", outline) is not None


def is_there(path: Path, kind: Callable[[Path], bool]) -> bool:
    """Whether a path is there, of this kind; a name that no file can have is not there."""
    try:
        return kind(path)
    except OSError:  # a name that is too long, or a folder that may not be looked into
        return False


def outside(folder: Path, name: str) -> tuple[str, str] | None:
    """Give cause and remedy where a file's name leads out of the book or nowhere; None where it is inside."""
    # resolve() follows links, so that a link cannot lead out of the book either.
    try:
        if (folder / name).resolve().is_relative_to(folder.resolve()):
            return None
    except (OSError, RuntimeError, ValueError):
        return "no file can have this name, or it is a link to itself", "correct the name"
    return "it lies outside the book", "copy the file into the book, and name it from there"


def _check_values(tables: dict[str, pd.DataFrame]) -> Iterator[Problem]:
    pots = tables["pots"]
    for row in pots.index[~pots["state"].isin([*STATES, ""])]:
        yield Problem(
            "pots",
            row,
            "state",
            f"'{pots['state'][row]}' is no state",
            f"write {', '.join(STATES)}",
            stops=False,
        )
    rating = pots["rating"]
    for row in rating.index[rating.notna() & ~rating.between(1, 5)]:
        yield Problem(
            "pots", row, "rating", f"{rating[row]:g} is not between 1 and 5", "correct it", stops=False
        )
    kinds = tables["firings"]["thermocouple"]
    for row in kinds.index[~kinds.str.upper().isin([*THERMOCOUPLES, ""])]:
        cause = f"'{kinds[row]}' is no type of thermocouple whose voltages are known"
        yield Problem("firings", row, "thermocouple", cause, f"write one of {', '.join(THERMOCOUPLES)}")
    photos = tables["photos"]
    pair = r"\s*-?\d+(\.\d+)?\s+-?\d+(\.\d+)?\s*"
    for row, corners in photos["target corners"].items():
        if corners and not re.fullmatch(f"{pair}(;{pair}){{3}}", corners):
            yield Problem(
                "photos",
                row,
                "target corners",
                f"'{corners}' is not four places",
                "write the corner patches' centres as x y; x y; x y; x y",
                stops=False,
            )
