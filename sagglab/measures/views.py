"""Views: the photographs of a batch book measured, each from its own target or one near it in time."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime

import joblib
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from tqdm.auto import tqdm

from sagglab.book import Book
from sagglab.book.check import is_places
from sagglab.columns import MEASURES, conform
from sagglab.errors import Problems, SagglabError, TargetError, UnknownNameError
from sagglab.photo.flags import join_flags
from sagglab.photo.image import time_taken
from sagglab.photo.measure import MeasuredPhoto, measure_photo
from sagglab.photo.target_shot import TargetShot
from sagglab.photo.white_balance import balance_differs, shown_balance


def measure_photos(
    book: Book, jobs: int = -1, review: Callable[[MeasuredPhoto], object] | None = None
) -> pd.DataFrame:
    """Measure every photograph of a batch book, flat fields excepted.

    A photograph is calibrated from its own target. One of a pot whose target cannot be used is calibrated
    from that photograph of the target alone, in the same setup, which was taken nearest in time.

    Parameters
    ----------
    book : Book
    jobs : int
        How many processes share the work, through joblib; −1 takes one for each core.
    review : callable, optional
        Called with each `MeasuredPhoto`, in the process that measured it, as `charts.save_review` can be.

    Returns
    -------
    DataFrame
        One row per view, in the columns that ``columns.MEASURES`` declares. A photograph that cannot be
        measured keeps its row, blank, with the reason in ``problems``.

    Raises
    ------
    BookError
        The tables ``photos`` or ``setups`` have faults that make a number wrong.
    """
    book.require("photos", "setups")
    photos = [row for row in book.photos.to_dict("records") if not _is_flat(book, row)]
    views: dict[int, _View] = {}
    lent: dict[str, list[_Lent]] = {}
    told = "{desc} {percentage:3.0f}% |{bar}| {n_fmt} of {total_fmt} photographs, {remaining} left"
    with (
        warnings.catch_warnings(),
        joblib.Parallel(n_jobs=jobs, return_as="generator") as shared,
        tqdm(total=len(photos), desc="measuring", bar_format=told) as bar,
    ):
        # A worker that large photographs left large is replaced, and joblib's words for it would puzzle the
        # reader; where warnings are errors, they would end the thread that hands out the work.
        warnings.filterwarnings("ignore", "A worker stopped while some jobs")
        # Those of the target alone go first, since the others may need what they lend.
        for of_pots in (False, True):
            places = [place for place, row in enumerate(photos) if bool(row["pot"]) is of_pots]
            rows = [photos[place] for place in places]
            tasks = (
                joblib.delayed(_measure_row)(book, row, lent.get(row["setup"], []), review) for row in rows
            )
            for place, view in zip(places, shared(tasks), strict=True):
                views[place] = view
                bar.update()
            for view in (views[place] for place in places):
                if view.lent is not None:
                    lent.setdefault(str(view.row["setup"]), []).append(view.lent)
    in_order = [views[place] for place in range(len(photos))]
    return conform(_with_white_balance(in_order), MEASURES)


def measure_view(book: Book, photo: str) -> MeasuredPhoto:
    """Measure one photograph as the book says: with its setup's target and flat field, and what was given.

    Where its own target cannot be used, the setup's photographs of the target alone are measured first, and
    the one nearest in time calibrates it.

    Parameters
    ----------
    book : Book
    photo : str
        The photograph as the table ``photos`` names it.

    Raises
    ------
    UnknownNameError
        The table ``photos`` has no such photograph, or ``setups`` not its setup.
    SagglabError
        As `measure_photo` raises them.
    """
    view = _row_of(book.photos, "photos", "photo", photo)
    try:
        return _measured(book, view)
    except TargetError:
        # Corners that were given are to be mended, and the target alone lends only what it has.
        lent = [] if view["target corners"] or not view["pot"] else _lenders(book, view["setup"])
        if not lent:
            raise
    return _measured(book, view, _nearest(book, view, lent))


@dataclass(frozen=True)
class _Lent:
    """A photograph of the target alone: its name in the book, when it was taken, and what it lends."""

    name: str
    taken: datetime | None
    shot: TargetShot


@dataclass(frozen=True)
class _View:
    """What is kept of one photograph until all are measured.

    Attributes
    ----------
    row : dict
        Of the measures.
    automatic : bool
        Whether the camera set the white balance by itself.
    balance : ndarray, shape (2,)
        From `shown_balance`; NaN where the photograph shows no target of its own.
    lent : _Lent or None
        For a photograph of the target alone.
    """

    row: dict[str, object]
    automatic: bool = False
    balance: NDArray[np.float64] = field(default_factory=lambda: np.full(2, np.nan))
    lent: _Lent | None = None


def _is_flat(book: Book, row: Mapping[str, object]) -> bool:
    return not row["pot"] and bool((book.setups["flat"] == row["photo"]).any())


def _measured(book: Book, view: Mapping[str, object], lent: _Lent | None = None) -> MeasuredPhoto:
    setup = _row_of(book.setups, "setups", "setup", view["setup"])
    target, outline = setup["target"], view["pot outline"]
    return measure_photo(
        book.path(view["photo"]),
        target=book.path(target) if book.path(target).is_file() else target,
        flat=book.path(setup["flat"]) if setup["flat"] else None,
        outline=(outline if is_places(outline) else book.path(outline)) if outline else None,
        corners=view["target corners"] or None,
        target_shot=None if lent is None else lent.shot,
    )


def _lenders(book: Book, setup: str) -> list[_Lent]:
    """Measure the photographs of the target alone that a setup has, those that cannot be used left out."""
    found = []
    for row in book.photos[(book.photos["setup"] == setup) & (book.photos["pot"] == "")].to_dict("records"):
        if not _is_flat(book, row):
            with suppress(SagglabError):
                found.append(_lent(row, _measured(book, row)))
    return found


def _lent(row: Mapping[str, object], measured: MeasuredPhoto) -> _Lent:
    taken = row["taken"] if pd.notna(row["taken"]) else measured.shot.taken
    return _Lent(str(row["photo"]), taken, measured.target_shot)


def _nearest(book: Book, row: Mapping[str, object], lent: list[_Lent]) -> _Lent | None:
    """Choose the one taken nearest in time, by the book or else the camera; the first where none is dated."""
    dated = [each for each in lent if each.taken is not None]
    if len(lent) < 2 or not dated:
        return lent[0] if lent else None
    taken = row["taken"] if pd.notna(row["taken"]) else time_taken(book.path(row["photo"]))
    return lent[0] if taken is None else min(dated, key=lambda each: abs(each.taken - taken))


def _row_of(table: pd.DataFrame, name: str, key: str, wanted: str) -> pd.Series:
    rows = table[table[key] == wanted]
    if rows.empty:
        raise UnknownNameError(f"{key} '{wanted}'", f"it is not in the table {name}", "add it there")
    return rows.iloc[0]


def _measure_row(
    book: Book,
    photo: dict[str, object],
    lent: list[_Lent],
    review: Callable[[MeasuredPhoto], object] | None,
) -> _View:
    about = {name: photo[name] for name in ("photo", "pot", "view", "setup", "taken")}
    try:
        lender = _nearest(book, photo, lent)
        measured = _measured(book, photo, lender)
    except SagglabError as error:
        return _View(about | {"problems": f"{error.cause}; {error.remedy}"})
    if not photo["pot"]:
        # A photograph of the target alone has no pot to be found.
        its_own = Problems(problem for problem in measured.problems if problem.column != "pot outline")
        measured = replace(measured, problems=its_own)
    if review is not None:
        review(measured)
    row = measured.table.iloc[0].to_dict() | about
    row["flags"], row["problems"] = measured.problems.flags, measured.problems.unflagged.told
    automatic = measured.shot.white_balance == "automatic"
    if measured.target_shot is None:
        return _View(row | {"calibrated from": lender.name}, automatic)
    balance = shown_balance(measured.calibration)
    return _View(row, automatic, balance, None if photo["pot"] else _lent(photo, measured))


def _with_white_balance(views: list[_View]) -> list[dict[str, object]]:
    """Give the rows, with a flag where the camera set the white balance otherwise than for its setup."""
    rows = [view.row for view in views]
    for setup in dict.fromkeys(row["setup"] for row in rows):
        places = [place for place, row in enumerate(rows) if row["setup"] == setup]
        differs = balance_differs(
            [views[place].balance for place in places], [views[place].automatic for place in places]
        )
        for place in np.array(places)[differs]:
            rows[place] = rows[place] | {"flags": join_flags([rows[place]["flags"], "white balance"])}
    return rows
