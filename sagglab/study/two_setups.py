"""Setups of a batch book: whether two may be compared, what drifts, and how pots change over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import singledispatch

import pandas as pd

from sagglab.book import Book
from sagglab.errors import SetupError, UnknownNameError
from sagglab.measures import measure_photos, measure_targets
from sagglab.setups.comparison import SetupsCompared, compare_measures
from sagglab.setups.drift import Drift, check_drift
from sagglab.setups.limits import ACCEPTABLE, NOTICEABLE, Limits
from sagglab.setups.over_time import Changes, changes_over_time
from sagglab.study.asking import NO_CHOICES

#: A choice is asked for when so many of the pots photographed again had it, and so many had not.
LEAST_POTS = 2


@dataclass(frozen=True)
class StudiedSetups:
    """What a batch book says of its setups.

    Attributes
    ----------
    names : tuple of str
        The setup, or both, that were asked for.
    measures, patches : DataFrame
        Of these setups, from `measure_photos` and `measure_targets`.
    compared : SetupsCompared or None
        None when one setup was asked for, or two cannot be compared.
    not_compared : str
        Why two cannot be compared, and what to photograph for it; empty where they are.
    drifts : dict of str to Drift
        Of each setup whose target was photographed often enough.
    changes : Changes or None
        Of pots that were photographed again on another day; None where there are none.
    not_told : tuple of str
        What could not be told, and what to photograph for it.
    """

    names: tuple[str, ...]
    measures: pd.DataFrame
    patches: pd.DataFrame
    compared: SetupsCompared | None
    not_compared: str
    drifts: dict[str, Drift]
    changes: Changes | None
    not_told: tuple[str, ...]

    def sections(self) -> dict[str, tuple[str, ...]]:
        """Give all that is told, under its headings."""
        told = {}
        if len(self.names) == 2:
            first, second = self.names
            said = (self.not_compared,) if self.compared is None else self.compared.sentences
            told[f"May {second} be compared with {first}?"] = said
        for name, drift in self.drifts.items():
            told[f"Does {name} drift?"] = (*drift.sentences, *drift.notes)
        if self.changes is not None:
            told["Do the pots change?"] = (*self.changes.sentences, *self.changes.notes)
        if self.not_told:
            told["Not told"] = self.not_told
        return told

    def answer(self) -> str:
        """Write the answer down, in Markdown."""
        lines = ["# Setups"]
        for heading, said in self.sections().items():
            lines += ["", f"## {heading}", "", *(f"- {' '.join(line.split())}" for line in said)]
        return "\n".join(lines) + "\n"


@singledispatch
def compare_setups(
    book: Book,
    first: str,
    second: str,
    *,
    noticeable: float = NOTICEABLE,
    acceptable: float = ACCEPTABLE,
    jobs: int = -1,
    afresh: bool = False,
) -> SetupsCompared:
    """Tell whether two setups may be compared.

    Also on two tables of measures, of one setup each: ``compare_setups(first, second, patches=(…, …))``,
    where the patches, of the same setups, are from `measure_targets` and may be left out.

    Parameters
    ----------
    book : Book
        With pots photographed from the same side in both setups, or the target alone in both; better both.
    first, second : str
        As the table ``setups`` names them. Differences are second less first.
    noticeable, acceptable : float
        ΔE00 that is just noticed, and that is still accepted; by half of all people, on dental ceramics
        (Paravina et al. 2015), unless given.
    jobs, afresh
        As `measure_photos` takes them.

    Returns
    -------
    SetupsCompared
        It prints as sentences, the first of them the answer.

    Raises
    ------
    UnknownNameError
        The book has no such setup.
    BookError
        The tables ``photos`` or ``setups`` have faults that make a number wrong.
    SetupError
        Fewer than three pots, and no target, are photographed in both.

    Examples
    --------
    >>> old = pd.DataFrame({"photo": "", "pot": list("abcdef"), "view": "front", "setup": "old",
    ...                     "taken": pd.Timestamp("2026-05-01"), "L*": [32.0, 36, 41, 44, 47, 52],
    ...                     "a*": [9.0, 11, 12, 8, 7, 10], "b*": [8.0, 12, 14, 9, 6, 15]})  # fmt: skip
    >>> new = old.assign(setup="new", **{"L*": [29.6, 33.4, 38.5, 41.7, 44.3, 49.5],
    ...                                  "a*": [9.1, 11, 11.9, 8, 7.1, 10], "b*": [8, 12.1, 14, 8.9, 6, 15]})
    >>> compared = compare_setups(old, new)
    >>> compared.verdict
    'after correction'
    >>> print(compared.answer.partition(",")[0])
    new reads darker by L* 2.50 (95 % interval 2.35 to 2.65) than old: ΔE00 2.3
    """
    limits = Limits(noticeable, acceptable)
    _check_names(book, (first, second))
    measures, patches = _measured(book, (first, second), jobs, afresh)
    return _compared(measures, patches, first, second, limits)


@compare_setups.register
def _(
    first: pd.DataFrame,
    second: pd.DataFrame,
    patches: tuple[pd.DataFrame, pd.DataFrame] | None = None,
    *,
    noticeable: float = NOTICEABLE,
    acceptable: float = ACCEPTABLE,
) -> SetupsCompared:
    return compare_measures(first, second, patches, Limits(noticeable, acceptable))


def study_setups(
    book: Book,
    first: str,
    second: str | None = None,
    *,
    noticeable: float = NOTICEABLE,
    acceptable: float = ACCEPTABLE,
    jobs: int = -1,
    afresh: bool = False,
) -> StudiedSetups:
    """Tell all that a book says of one setup, or of two.

    Parameters
    ----------
    book, first, second, noticeable, acceptable, jobs, afresh
        As `compare_setups` takes them; without a second, nothing is compared.

    Raises
    ------
    UnknownNameError, BookError
        As `compare_setups` raises them.
    SetupError
        Nothing at all can be told.
    """
    limits = Limits(noticeable, acceptable)
    names = (first,) if second is None else (first, second)
    _check_names(book, names)
    measures, patches = _measured(book, names, jobs, afresh)
    compared, not_compared, changes, drifts = None, "", None, {}
    not_told: list[str] = []
    if second is not None:
        try:
            compared = _compared(measures, patches, first, second, limits)
        except SetupError as error:
            not_compared = str(error)
    for name in names:
        try:
            drifts[name] = check_drift(patches, name, limits)
        except SetupError as error:
            not_told.append(str(error))
    try:
        changes = changes_over_time(measures, patches)
        choices = _choices(book.pots[book.pots["pot"].isin(changes.table["pot"])])
        if choices:
            changes = changes_over_time(measures, patches, book.pots, choices)
    except SetupError as error:  # where the recipes cannot be told apart, each pot's change still can
        not_told.append(str(error))
    if compared is None and not drifts and changes is None:
        reasons = " ".join(dict.fromkeys(filter(None, [not_compared, *not_told]))).removesuffix(".")
        raise SetupError(" and ".join(names), "nothing can be told", reasons)
    told = tuple(dict.fromkeys(not_told))
    return StudiedSetups(names, measures, patches, compared, not_compared, drifts, changes, told)


def _check_names(book: Book, names: Sequence[str]) -> None:
    """Refuse setups that the book does not have, before anything is measured."""
    known = list(book.setups["setup"])
    for name in names:
        if name not in known:
            raise UnknownNameError(
                f"setup '{name}'",
                f"the table setups has {', '.join(known) if known else 'none'}",
                "give one of them, or add it there",
            )
    if len(names) == 2 and names[0] == names[1]:
        raise SetupError("setups", f"'{names[0]}' was to be compared with itself", "name two setups")


def _measured(book: Book, names: Sequence[str], jobs: int, afresh: bool) -> tuple[pd.DataFrame, pd.DataFrame]:
    only = replace(book, photos=book.photos[book.photos["setup"].isin(names)])
    return measure_photos(only, jobs, afresh=afresh), measure_targets(only, jobs)


def _compared(
    measures: pd.DataFrame, patches: pd.DataFrame, first: str, second: str, limits: Limits
) -> SetupsCompared:
    of = [measures[measures["setup"] == name] for name in (first, second)]
    for name, rows in zip((first, second), of, strict=True):
        if rows.empty:
            raise SetupError(
                f"setup '{name}'", "no photograph is of this setup", "name it in the table photos"
            )
    shots = tuple(patches[patches["setup"] == name] for name in (first, second))
    return compare_measures(*of, shots, limits)


def _choices(again: pd.DataFrame) -> list[str]:
    """Tell which materials some of the pots photographed again had, and some had not."""
    asked = []
    for name in again.columns.difference(list(NO_CHOICES), sort=False):
        if pd.api.types.is_numeric_dtype(again[name]):
            with_it = (again[name].fillna(0) > 0).sum()
            if min(with_it, len(again) - with_it) >= LEAST_POTS:
                asked.append(name)
    return asked
