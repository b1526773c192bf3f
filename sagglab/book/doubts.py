"""Doubts: what may well be meant as it is written, and is more likely a slip of the pen."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from difflib import get_close_matches
from functools import cached_property
from pathlib import Path

import pandas as pd

from sagglab.book.fresh import MATERIALS
from sagglab.book.likeness import NEARLY, nearest, one_spelling
from sagglab.book.rows import also
from sagglab.columns import BOOK_TABLES
from sagglab.errors import Problem
from sagglab.materials import find_material
from sagglab.units import parse_heading

#: Declared columns whose cells name kinds; those that users add do so, too, where they hold text.
_KINDS = {"pots": ("clay", "place"), "firings": ("kiln", "fuel", "wind"), "photos": ("view",)}

#: How far a pot was turned, to the left as the camera sees it, when this side of it stands in front.
_TURNED = {"right": "90°", "left": "270°"}

#: Columns of names, and the table whose rows they name.
_NAMES = (
    ("pots", "firing", "firings"),
    ("firings", "firing", "firings"),
    ("photos", "setup", "setups"),
    ("setups", "setup", "setups"),
)


def doubts(tables: dict[str, pd.DataFrame], today: dt.date) -> Iterator[Problem]:
    """Yield a warning for each word that is nearly another one, and for firings of days to come."""
    for name in _KINDS:
        yield from _kinds(tables[name], name)
    for name, column, other in _NAMES:
        values, known = tables[name][column], set(tables[other][column]) - {""}
        # One that has no row in the other table is a fault, and told as such.
        values = values[values.isin(known)] if known else values
        yield from _spellings(values, name, one_spelling, other)
    yield from _ahead(tables["firings"]["date"], today)
    yield from _views(tables["photos"]["view"])
    yield from _shelf(tables["shelf"]["material"], tables["pots"])


def _kinds(table: pd.DataFrame, name: str) -> Iterator[Problem]:
    declared = {column.heading for column in BOOK_TABLES[name]}
    texts = [
        heading
        for heading in table
        if heading in _KINDS[name]
        or (heading not in declared and pd.api.types.is_string_dtype(table[heading]))
    ]
    for heading in texts:
        # A kiln has a name; in a kind a zero can tell: cone 05 is far cooler than cone 5.
        yield from _spellings(table[heading], name, one_spelling if heading == "kiln" else _alike, "kinds")


def _spellings(values: pd.Series, name: str, alike: Callable[[str], str], what: str) -> Iterator[Problem]:
    values = values[values != ""]
    counts = values.value_counts()
    keys = values.map(alike)
    several = values[values.groupby(keys).transform("nunique") > 1]
    for _, spellings in several.groupby(keys, sort=False):
        # The usual spelling is the most frequent, and of as frequent ones the first.
        usual = max(spellings.unique(), key=counts.get)
        for spelling in spellings.unique():
            if spelling == usual:
                continue
            rows = spellings.index[spellings == spelling]
            first = spellings.index[spellings == usual][0]
            cause = f"'{spelling}'{also(rows)} and '{usual}' in row {first} count as two {what}"
            remedy = "write both alike if they are one"
            yield Problem(name, int(rows[0]), str(values.name), cause, remedy, False)


def _alike(text: str) -> str:
    return "".join(text.split()).casefold()


def _ahead(dates: pd.Series, today: dt.date) -> Iterator[Problem]:
    # Tomorrow has begun elsewhere.
    rows = dates.index[dates >= pd.Timestamp(today) + pd.Timedelta(days=2)]
    if len(rows):
        cause = f"{dates[rows[0]]:%Y-%m-%d}{also(rows)} lies ahead: today is {today:%Y-%m-%d}"
        remedy = "correct it, unless the firing is still to come"
        yield Problem("firings", int(rows[0]), "date", cause, remedy, False)


def _views(views: pd.Series) -> Iterator[Problem]:
    views = views[views != ""]
    counts = views.map(_alike).value_counts()
    for view, rows in views.groupby(views, sort=False).groups.items():
        word = _alike(view)
        # A number tells views apart, as an angle or a count, and so does a letter: "side a", "side b".
        if word in ("front", "back") or re.search(r"\d|\b\w\b", view):
            continue
        if side := re.fullmatch(r"(?:the )?(left|right)(?: side)?", " ".join(view.casefold().split())):
            cause = f"'{view}'{also(rows)} does not tell how far the pot was turned, so that it is not joined"
            angle = _TURNED[side[1]]
            remedy = f"write {angle} where the pot was turned until its {side[1]} side stood in front"
            yield Problem("photos", int(rows[0]), "view", f"{cause} with the other sides", remedy, False)
            continue
        oftener = [other for other in views.unique() if counts[_alike(other)] > counts[word]]
        # "outside" beside "side" is a word of its own.
        known = [
            other for other in dict.fromkeys(["front", "back", *oftener]) if abs(len(other) - len(view)) < 2
        ]
        if meant := nearest(view, known):
            cause = f"'{view}'{also(rows)} is nearly '{meant}'"
            yield Problem("photos", int(rows[0]), "view", cause, f"write {meant} if you meant that", False)


def _shelf(materials: pd.Series, pots: pd.DataFrame) -> Iterator[Problem]:
    used = [parse_heading(heading).name for heading in pots if parse_heading(heading).unit]
    known = dict.fromkeys([*used, *(column.name for column in MATERIALS)])
    for row, name in materials.items():
        if not name or find_material(name) or _alike(name) in map(_alike, known):
            continue
        if meant := nearest(name, known):
            cause = f"no pot has it and no list knows it, but '{meant}' is nearly the same"
            yield Problem(
                "shelf", row, "material", f"'{name}': {cause}", f"write {meant} if you meant that", False
            )


class FilesThere:
    """The files in a book's folder and in those right below it, by what a wrong name has in common with them.

    Parameters
    ----------
    folder : Path
        The batch book.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @cached_property
    def _alike(self) -> dict[tuple[str, ...], list[str]]:
        """Files by each of their keys; most books lack none, and are never looked through."""
        try:
            files = sorted(
                path.relative_to(self._folder).as_posix()
                for pattern in ("*", "*/*")
                for path in self._folder.glob(pattern)
                if not path.name.startswith(".") and path.is_file()
            )
        except OSError:  # a folder that may not be looked into
            files = []
        alike: dict[tuple[str, ...], list[str]] = {}
        for file in files:
            for key in _keys(file):
                alike.setdefault(key, []).append(file)
        return alike

    def meant(self, name: str, named: set[str]) -> str | None:
        """Find the file that a name most likely means; None where none is near.

        Parameters
        ----------
        name : str
            As written; no file has it.
        named : set of str
            Files that other rows name, and this one does not mean.

        Returns
        -------
        str or None
            Its name within the book.
        """
        whole, last, numbers = _keys(name.replace("\\", "/"))
        for key in (whole, last):
            found = [file for file in self._alike.get(key, ()) if file not in named]
            if found:
                return found[0] if len(found) == 1 else None
        near = {_keys(file)[1][1]: file for file in self._alike.get(numbers, ()) if file not in named}
        found = get_close_matches(last[1], near, n=1, cutoff=NEARLY)
        return near[found[0]] if found else None


def _keys(name: str) -> tuple[tuple[str, str], tuple[str, str], tuple[str, ...]]:
    """Give a file's name, its last part, and its numbers, in which names of photographs differ alone."""
    whole = name.casefold()
    last = whole.rsplit("/", 1)[-1]
    return ("whole", whole), ("last", last), ("numbers", *re.findall(r"\d+", last))
