"""One photograph to be measured, with all that decides what comes out, and what is kept of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from pathlib import Path

import joblib
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.book import Book
from sagglab.book.check import is_places
from sagglab.columns import PATCHES, empty
from sagglab.errors import OwnMeasureError, Problems, SagglabError, UnknownNameError
from sagglab.measures.kept import Digests, code_version
from sagglab.photo.image import time_taken
from sagglab.photo.measure import MeasuredPhoto, measure_photo
from sagglab.photo.measuring import Measuring
from sagglab.photo.target_shot import TargetShot
from sagglab.photo.white_balance import shown_balance


@dataclass(frozen=True)
class Lent:
    """A photograph of the target alone: its name in the book, when it was taken, and what it lends.

    Attributes
    ----------
    name : str
    key : str
        Of what was measured in it, as `Task.key` gives it.
    taken : datetime or None
    shot : TargetShot
    """

    name: str
    key: str
    taken: datetime | None
    shot: TargetShot


@dataclass(frozen=True)
class View:
    """What is kept of one photograph.

    Attributes
    ----------
    row : dict
        Of the measures, without what the table ``photos`` says of it.
    automatic : bool
        Whether the camera set the white balance by itself.
    balance : ndarray, shape (2,)
        From `shown_balance`; NaN where the photograph shows no target of its own.
    shot : TargetShot or None
        What a photograph of the target alone can lend.
    patches : DataFrame
        Of its own target, as `MeasuredPhoto.patches` has them.
    taken : datetime or None
        By the camera's own clock.
    """

    row: dict[str, object]
    automatic: bool = False
    balance: NDArray[np.float64] = field(default_factory=lambda: np.full(2, np.nan))
    shot: TargetShot | None = None
    patches: pd.DataFrame = field(default_factory=lambda: empty(PATCHES))
    taken: datetime | None = None


@dataclass(frozen=True)
class Task:
    """One photograph of a book to be measured; attributes as `measure_photo` takes them.

    Attributes
    ----------
    name : str
        The photograph, as the table ``photos`` names it.
    of_pot : bool
        Whether a pot is to be found in it.
    lender : Lent or None
        What calibrates it where its own target cannot be used.
    """

    name: str
    of_pot: bool
    path: Path
    target: str | Path
    flat: Path | None
    outline: str | Path | None
    corners: str | None
    height_cm: float
    lender: Lent | None
    measuring: Measuring

    def key(self, digests: Digests) -> str:
        """Tell apart by content all that decides what comes out.

        Empty when it cannot be told: a file cannot be read, or a measure of the user's own has code that may
        have changed.
        """
        if self.measuring.own:
            return ""
        parts = []
        for part in (self.path, self.target, self.flat, self.outline):
            digest = digests(part) if isinstance(part, Path) else part or "none"
            if not digest:
                return ""
            parts.append(digest)
        # Names of files that its problems may tell.
        names = [part.name if isinstance(part, Path) else "" for part in (self.flat, self.target)]
        lent = ("", "") if self.lender is None else (self.lender.key, self.lender.name)
        options = (self.corners, self.height_cm, self.of_pot, self.measuring)
        return joblib.hash((parts, names, lent, options, code_version()))

    @cached_property
    def measured(self) -> MeasuredPhoto:
        """The photograph measured, once.

        Raises
        ------
        SagglabError
            As `measure_photo` raises them.
        """
        measured = measure_photo(
            self.path,
            target=self.target,
            flat=self.flat,
            outline=self.outline,
            corners=self.corners,
            target_shot=None if self.lender is None else self.lender.shot,
            height_cm=self.height_cm,
            measuring=self.measuring,
        )
        if self.of_pot:
            return measured
        # A photograph of the target alone has no pot to be found.
        its_own = Problems(problem for problem in measured.problems if problem.column != "pot outline")
        return replace(measured, problems=its_own)


def view_of(key: str, task: Task) -> View:
    """Measure a photograph and keep what the table of measures needs; `key` is what it is kept under.

    Raises
    ------
    OwnMeasureError
        It would come with every photograph.
    """
    try:
        measured = task.measured
    except OwnMeasureError:
        raise
    except SagglabError as error:
        return View({"problems": f"{error.cause}; {error.remedy}"})
    row = measured.table.iloc[0].to_dict()
    row["flags"], row["problems"] = measured.problems.flags, measured.problems.unflagged.told
    automatic = measured.shot.white_balance == "automatic"
    if measured.target_shot is None:
        return View(row | {"calibrated from": task.lender.name}, automatic, taken=measured.shot.taken)
    shot = None if task.of_pot else measured.target_shot
    balance = shown_balance(measured.calibration)
    return View(row, automatic, balance, shot, measured.patches, measured.shot.taken)


def pictures_of(
    key: str, task: Task, draw: Callable[[MeasuredPhoto], Mapping[str, bytes]]
) -> dict[str, bytes]:
    """Draw what was measured in a photograph; nothing when it cannot be measured."""
    with suppress(SagglabError):
        return dict(draw(task.measured))
    return {}


def task_of(book: Book, row: Mapping[str, object], lender: Lent | None, measuring: Measuring) -> Task:
    """Gather what the book says of one of its photographs.

    Raises
    ------
    UnknownNameError
        The table ``setups`` has not its setup.
    """
    setup = row_of(book.setups, "setups", "setup", row["setup"])
    target, outline = setup["target"], row["pot outline"]
    heights = book.pots.loc[book.pots["pot"] == row["pot"], "height [cm]"] if row["pot"] else pd.Series()
    return Task(
        name=str(row["photo"]),
        of_pot=bool(row["pot"]),
        path=book.path(row["photo"]),
        target=book.path(target) if book.path(target).is_file() else target,
        flat=book.path(setup["flat"]) if setup["flat"] else None,
        outline=(outline if is_places(outline) else book.path(outline)) if outline else None,
        corners=row["target corners"] or None,
        height_cm=float(heights.iloc[0]) if len(heights) else float("nan"),
        lender=lender,
        measuring=measuring,
    )


def lent_by(row: Mapping[str, object], key: str, shot: TargetShot) -> Lent:
    """Say when a photograph of the target alone was taken, by the book or else the camera."""
    taken = row["taken"] if pd.notna(row["taken"]) else shot.shot.taken
    return Lent(str(row["photo"]), key, taken, replace(shot, path=str(row["photo"])))


def nearest(book: Book, row: Mapping[str, object], lent: list[Lent]) -> Lent | None:
    """Choose the one taken nearest in time, by the book or else the camera; the first where none is dated."""
    dated = [each for each in lent if each.taken is not None]
    if len(lent) < 2 or not dated:
        return lent[0] if lent else None
    taken = row["taken"] if pd.notna(row["taken"]) else time_taken(book.path(row["photo"]))
    return lent[0] if taken is None else min(dated, key=lambda each: abs(each.taken - taken))


def row_of(table: pd.DataFrame, name: str, key: str, wanted: str) -> pd.Series:
    """Find a row by its name.

    Raises
    ------
    UnknownNameError
        The table has none of that name.
    """
    rows = table[table[key] == wanted]
    if rows.empty:
        raise UnknownNameError(f"{key} '{wanted}'", f"it is not in the table {name}", "add it there")
    return rows.iloc[0]
