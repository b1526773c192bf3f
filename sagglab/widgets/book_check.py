"""Book check: every problem of a batch book, each with the rows that it is about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable
from dataclasses import replace
from typing import Any, ClassVar

import traitlets

from sagglab.book import Book, open_book
from sagglab.book.written import Written, cut
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES
from sagglab.errors import Problem, Problems
from sagglab.markup import paragraph
from sagglab.measures import check_files
from sagglab.widgets.live import LiveWidget, look, script

#: So many problems are listed at once; a filter brings the others into sight.
MOST_LISTED = 200
#: So many letters of what is wrong are listed, and stand in the still view: a cell can hold a whole letter.
LETTERS_LISTED, LETTERS_STILL = 160, 240
#: So many are told one by one when they are new or gone.
MOST_TOLD = 10

KINDS = ("fault", "warning")


def problems_of(book: Book) -> Problems:
    """List every problem of a book's tables and of the files that they name, faults before warnings."""
    found = Problems([*book.problems, *check_files(book)])
    return Problems(sorted(found, key=lambda problem: not problem.stops))


def looked_at(book: Book) -> str:
    """Say which tables and files `problems_of` looks at."""
    tables = {name: len(getattr(book, name)) for name in (*BOOK_TABLES, *OPTIONAL_TABLES)}
    rows = [f"{name} ({count} row{'' if count == 1 else 's'})" for name, count in tables.items() if count]
    files = (
        ("temperature record", book.firings["readings"]),
        ("schedule", book.firings["schedule"]),
        ("photograph", book.photos["photo"]),
    )
    counts = [(what, int((named != "").sum())) for what, named in files]
    opened = [f"{count} {what}{'' if count == 1 else 's'}" for what, count in counts if count]
    return f"Looked at: {'; '.join(['tables ' + ', '.join(rows), *opened] if rows else opened)}"


class BookCheck(LiveWidget):
    """All problems of a batch book, each a button that shows where it is; `Book.problems` lists the same.

    Parameters
    ----------
    book : Book
        It is opened again from the disk when the button "Look again" is pressed.

    Attributes
    ----------
    book : Book
        As it was opened last.
    problems : Problems
        Of the tables, and of the records, schedules and photographs that they name.
    """

    _esm = script("book_check.js")
    _css: ClassVar[str] = look("book_check.css")

    holds = traitlets.Unicode().tag(sync=True)
    counted = traitlets.Unicode().tag(sync=True)
    looked = traitlets.Unicode().tag(sync=True)
    tables = traitlets.List().tag(sync=True)
    wanted = traitlets.Dict().tag(sync=True)
    listed = traitlets.List().tag(sync=True)
    left_out = traitlets.Int(0).tag(sync=True)
    chosen = traitlets.Dict().tag(sync=True)
    changed = traitlets.List().tag(sync=True)

    def __init__(self, book: Book) -> None:
        self.book = book
        self.problems = problems_of(book)
        self._new: Counter[Problem] = Counter()
        super().__init__()
        self._show()

    def asked_filter(self, table: str, kind: str) -> None:
        """List the problems of one table or of all, of one kind or of both."""
        self.wanted = {"table": table, "kind": kind}
        self._list()

    def asked_choose(self, number: int) -> None:
        """Show where one problem is."""
        problem = self.problems[number]
        about = self.book.written(problem)
        self.chosen = {
            "number": number,
            "kind": _kind(problem),
            "where": problem.where,
            "cause": problem.cause,
            "remedy": problem.remedy,
            "lacks": _lacks(problem, about),
            **_laid_out(about),
        }

    def asked_look_again(self) -> None:
        """Open the book from the disk again, and tell what is new and what is gone."""
        before = self.problems
        book = open_book(self.book.folder)
        after = problems_of(book)
        new, gone = _parted(before, after)
        self.book, self.problems, self._new = book, after, Counter(new)
        self._show()
        self.changed = [*_told("new", new), *_told("gone", gone)]
        # The page's own book is the one that was opened above, and stays so.
        remedy = "run the page again from the top, so that the rest of it sees this, too"
        told = f"Looked again: {_number(len(new), 'new')}, {_number(len(gone), 'gone')}"
        self.say(told, remedy=remedy if new or gone else "")

    def _show(self) -> None:
        faults = len(self.problems.stopping)
        self.holds = repr(self.book)
        self.counted = _in_words(faults, len(self.problems) - faults)
        self.looked = "" if self.problems else looked_at(self.book)
        self.tables = list(dict.fromkeys(problem.table for problem in self.problems))
        self.chosen, self.changed = {}, []
        if self.wanted.get("table", "") not in self.tables:
            self.wanted = {"table": "", "kind": self.wanted.get("kind", "")}
        self._list()

    def _list(self) -> None:
        table, kind = self.wanted.get("table", ""), self.wanted.get("kind", "")
        meant = [
            number
            for number, problem in enumerate(self.problems)
            if table in ("", problem.table) and kind in ("", _kind(problem))
        ]
        self.left_out = max(len(meant) - MOST_LISTED, 0)
        self.listed = [
            {
                "number": number,
                "kind": _kind(problem),
                "where": problem.where,
                "cause": cut(problem.cause, LETTERS_LISTED),
                "new": problem in self._new,
            }
            for number, problem in ((number, self.problems[number]) for number in meant[:MOST_LISTED])
        ]

    def still(self) -> str:
        """Give what the book holds, and its problems as a table; or what was looked at, and none found."""
        shown = Problems(
            replace(problem, cause=cut(problem.cause, LETTERS_STILL))
            for problem in self.problems[:MOST_LISTED]
        )
        more = len(self.problems) - len(shown)
        counted = f"{self.counted}." if shown else ""
        below = f"And {more} more." if more else self.looked and f"{self.looked}."
        return paragraph(f"{self.holds}.") + paragraph(counted) + shown.html + paragraph(below, "quiet")


def _kind(problem: Problem) -> str:
    return KINDS[0] if problem.stops else KINDS[1]


def _number(count: int, what: str) -> str:
    return f"{count or 'nothing'} {what}"


def _in_words(faults: int, warnings: int) -> str:
    if not faults and not warnings:
        return "No problems found"
    counts = zip((faults, warnings), KINDS, strict=True)
    parts = [f"{count or 'no'} {kind}{'' if count == 1 else 's'}" for count, kind in counts]
    if not faults:
        return f"{parts[1]}, {parts[0]}"
    return f"{parts[0]}, which {'makes' if faults == 1 else 'make'} numbers wrong, and {parts[1]}"


def _parted(before: Iterable[Problem], after: Iterable[Problem]) -> tuple[list[Problem], list[Problem]]:
    """Tell which problems are new and which are gone; one that only moved to another row is neither."""
    new, gone = list(after), list(before)
    for key in (_itself, _but_for_row):
        known, left = Counter(map(key, gone)), Counter(map(key, new))
        new, gone = _beyond(new, known, key), _beyond(gone, left, key)
    return new, gone


def _beyond(
    problems: list[Problem], known: Counter[Hashable], key: Callable[[Problem], Hashable]
) -> list[Problem]:
    rest = []
    for problem in problems:
        if known[key(problem)]:
            known[key(problem)] -= 1
        else:
            rest.append(problem)
    return rest


def _itself(problem: Problem) -> Hashable:
    return problem


def _but_for_row(problem: Problem) -> Hashable:
    return problem.table, problem.column, problem.cause


def _told(word: str, problems: list[Problem]) -> list[str]:
    more = len(problems) - MOST_TOLD
    rest = [f"And {more} more {word}"] if more > 0 else []
    told = [
        f"{word}: {problem.where}: {cut(problem.cause, LETTERS_LISTED)}" for problem in problems[:MOST_TOLD]
    ]
    return told + rest


def _lacks(problem: Problem, about: Written) -> str:
    """Say why no cell is marked."""
    if problem.row is None:
        return "The whole table or file is meant"
    if about.row is None:
        return "That row is not there any more: look again"
    if about.column is None and problem.column:
        return f"The table has no column '{problem.column}'"
    return ""


def _laid_out(about: Written) -> dict[str, Any]:
    return {
        "file": about.file,
        "heads": list(map(cut, about.rows.columns)),
        "rows": [
            [number, *map(cut, cells)]
            for number, cells in zip(about.rows.index.tolist(), about.rows.to_numpy(), strict=True)
        ],
        "row": about.row,
        "column": about.column,
    }
