"""The class pack: pots dealt to participants, tags to cut out, a bench sheet for each, the leader's pages."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from numbers import Integral
from pathlib import Path

import numpy as np
import pandas as pd

from sagglab.errors import PlanError
from sagglab.handout.class_pages import pack_content
from sagglab.handout.page_pictures import PagePictures
from sagglab.handout.paper import SCREEN_PPI, check_paper, print_pages
from sagglab.handout.wording import printable
from sagglab.materials import TAKE_CARE
from sagglab.pages.layout import report
from sagglab.plan.sheet import BenchSheet
from sagglab.writing import write_whole

PRINTED, LISTED = "class-pack.pdf", "class-list.csv"
#: More are taken for a slip of the hand: each has a page, and somebody looks after them all at one kiln.
LARGEST_CLASS = 60


@dataclass(frozen=True, repr=False)
class ClassPack:
    """What a leader hands out, and keeps.

    Attributes
    ----------
    table : DataFrame
        One row per pot, by participant, then in bench order: ``number`` and ``participant`` (a name, or
        empty), ``pot``, ``firing``, ``day`` where the plan has days, ``place``, and what the pot gets.
    sheet : BenchSheet
    participants : tuple of str
        Names, in the order of their numbers; empty where there is none.
    heading : str
        The leader's own: whose class it is; may be empty.
    paper : str
        ``A4`` or ``letter``.

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=2, pots_per_firing=4, model="main", seed=1)
    >>> pack = class_pack(plan.bench_sheet(), names_of(["Asa", "Bo"]), "A4")
    >>> pack.table.groupby("participant")["pot"].size().to_dict()
    {'Asa': 4, 'Bo': 4}
    """

    table: pd.DataFrame
    sheet: BenchSheet
    participants: tuple[str, ...]
    heading: str
    paper: str

    @cached_property
    def pdf(self) -> bytes:
        """To print: the leader's pages, tags to cut out, bench sheets; the same pack gives the same bytes.

        Raises
        ------
        PlanError
            A firing's schedule cannot be understood.
        """
        return print_pages("class-pack.typ", pack_content(self), self.paper)

    def pictures(self) -> PagePictures:
        """Give the printed pages as pictures, to be looked at."""
        content = pack_content(self)
        return PagePictures.of(
            print_pages("class-pack.typ", content, self.paper, None, "png", SCREEN_PPI), PRINTED
        )

    def save(self, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
        """Write the pack into a folder, which is made when it is not there.

        Returns
        -------
        tuple of Path
            ``class-pack.pdf``, and ``class-list.csv``, the table.

        Raises
        ------
        PlanError
            A firing's schedule cannot be understood.
        OSError
            The folder cannot be written into.
        """
        contents = {
            PRINTED: self.pdf,
            LISTED: self.table.to_csv(index=False, lineterminator="\n", float_format="%.6g"),
        }
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            write_whole(folder / name, content)
        return tuple(folder / name for name in contents)

    def __repr__(self) -> str:
        people, pots = len(self.participants), len(self.table)
        return (
            f"class pack: {people} participant{'' if people == 1 else 's'}, {pots} pot"
            f"{'' if pots == 1 else 's'} ({self.sheet.tag})"
        )

    def _repr_html_(self) -> str:
        return report(repr(self), (), self.table, below=TAKE_CARE)


def class_pack(
    sheet: BenchSheet, participants: int | Iterable[str], paper: str = "A4", heading: str = ""
) -> ClassPack:
    """Deal a bench sheet's pots to the participants of a class.

    Pots go round in bench order, so that each participant has as many as the others, or one more, and, where
    a firing holds as many pots as there are participants, one in each firing. Which recipe a pot gets was
    drawn by lot with the plan.

    Parameters
    ----------
    sheet : BenchSheet
    participants : int or iterable of str
        How many there are, or their names. Each has a number by their order; by it two of one name are told
        apart, and one whose name is blank goes by it alone.
    paper : str
        ``A4`` or ``letter``.
    heading : str
        Whose class it is, for the top of the leader's pages.

    Raises
    ------
    PlanError
        There are no participants, too many, more than pots, or a name is no text.
    UnknownNameError
        There is no such paper.
    """
    check_paper(paper)
    names = names_of(participants)
    pots = len(sheet.table)
    if len(names) > pots:
        raise PlanError(
            "participants",
            f"{len(names)} cannot share {pots} pot{'' if pots == 1 else 's'}",
            f"plan {len(names) - pots} more, or let several share a pot: give one name for each pot, such as "
            "'Anna and Ben'",
        )
    numbers = np.arange(pots) % len(names)
    where = [name for name in ("pot", "firing", "day", "place") if name in sheet.table]
    table = sheet.table[[*where, *sheet.table.columns.drop(where)]].copy()
    table.insert(0, "participant", [names[number] for number in numbers])
    table.insert(0, "number", numbers + 1)
    # Not reset: the index is the pot's row in the sheet, by which the pages find what it gets.
    table = table.sort_values("number", kind="stable")
    return ClassPack(table, sheet, names, _one_line(heading), paper)


def names_of(participants: int | Iterable[str]) -> tuple[str, ...]:
    """Give a name for each participant; empty where there is none.

    Raises
    ------
    PlanError
        There are no participants, too many, or a name is no text.
    """
    if isinstance(participants, Integral) and not isinstance(participants, bool):
        number, names = int(participants), None
    else:
        if isinstance(participants, str | bytes | bool) or not isinstance(participants, Iterable):
            raise PlanError(
                "participants", f"it is {participants!r}", "give how many there are, or a list of their names"
            )
        names = [_name(place, name) for place, name in enumerate(participants, start=1)]
        number = len(names)
    if not 1 <= number <= LARGEST_CLASS:
        raise PlanError("participants", f"there are {number}", f"a class is of 1 to {LARGEST_CLASS}")
    return ("",) * number if names is None else tuple(names)


def _one_line(text: str) -> str:
    return " ".join(printable(text).split())


def _name(place: int, name: object) -> str:
    if isinstance(name, str):
        return _one_line(name)
    # A blank cell of a table of names.
    if name is None or (isinstance(name, float) and np.isnan(name)) or name is pd.NA:
        return ""
    raise PlanError(f"participants, {place}", f"{name!r} is no name", "write names as text")
