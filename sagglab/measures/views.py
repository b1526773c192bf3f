"""Views: the photographs of a batch book measured, each from its own target or one near it in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pandas as pd

from sagglab.book import Book
from sagglab.columns import MEASURES, OF_PHOTO, PATCHES, Column, conform, empty
from sagglab.errors import SagglabError, TargetError
from sagglab.measures.reviews import Reviews
from sagglab.measures.run import Run
from sagglab.measures.task import (
    Lent,
    Task,
    View,
    lent_by,
    nearest,
    row_of,
    task_of,
)
from sagglab.pages.table import Table
from sagglab.photo.flags import join_flags
from sagglab.photo.measure import MeasuredPhoto
from sagglab.photo.measuring import Measuring
from sagglab.photo.shares import read_shares
from sagglab.photo.white_balance import balance_differs
from sagglab.progress import progress

#: A pot's widths in two photographs, or by the book, are the same within this share: what was turned is
#: round, and what was pinched nearly so.
SAME_WIDTH = 0.15


def measure_photos(
    book: Book,
    jobs: int = -1,
    reviews: Reviews | None = None,
    measuring: Measuring | None = None,
    afresh: bool = False,
) -> pd.DataFrame:
    """Measure every photograph of a batch book, flat fields excepted.

    A photograph is calibrated from its own target. One of a pot whose target cannot be used is calibrated
    from that photograph of the target alone, in the same setup, which was taken nearest in time.

    What was measured is kept in the user's cache folder, by content, so that only what is new or was changed
    is measured, and a run that was interrupted goes on where it stopped.

    Parameters
    ----------
    book : Book
    jobs : int
        How many processes share the work, through joblib; −1 takes one for each core.
    reviews : Reviews, optional
        From `charts.reviews_in`: a review picture of each photograph, and a sheet of all of them.
    measuring : Measuring, optional
        Another band, measures of your own. The shares of the book's table ``shares`` are added to its own.
    afresh : bool
        Whether to measure again what was measured before. With measures of your own, whose code may have
        changed, nothing is kept.

    Returns
    -------
    DataFrame
        One row per view, in the columns that ``columns.MEASURES`` declares, then those of the user's own
        shares and measures. A photograph that cannot be measured keeps its row, blank, with the reason in
        ``problems``.

    Raises
    ------
    BookError
        The tables ``photos`` or ``setups`` have faults that make a number wrong.
    SagglabError
        The table ``shares`` is faulty, or a measure of the user's own gives no numbers.

    Examples
    --------
    >>> from sagglab import open_book
    >>> book = open_book("data/demo")
    >>> one = replace(book, photos=book.photos[:1])
    >>> spread = Measuring(own=(lambda lab, weights, map: {"spread of L*": lab[:, 0].std()},))
    >>> measures = measure_photos(one, jobs=1, measuring=spread)
    >>> measures[["pot", "view", "L*", "spread of L*"]].round(0).to_numpy().tolist()
    [['p01', 'front', 32.0, 10.0]]
    """
    measuring = measuring_of(book, measuring)
    rows, views = _viewed(book, jobs, reviews, measuring, afresh)
    table = Table(_table(book, rows, views, measuring))
    if reviews is not None:
        reviews.sheet(book, table, reviews)
    return table


def measure_targets(book: Book, jobs: int = -1, afresh: bool = False) -> pd.DataFrame:
    """Read the target's patches in every photograph of a batch book that shows its own target.

    Parameters
    ----------
    book, jobs, afresh
        As `measure_photos` takes them; what it has measured is not measured again.

    Returns
    -------
    DataFrame
        One row per photograph and patch, in the columns that ``columns.PATCHES`` declares. ``taken`` is by
        the book, or else by the camera's own clock.

    Raises
    ------
    BookError
        The tables ``photos`` or ``setups`` have faults that make a number wrong.
    """
    rows, views = _viewed(book, jobs, None, measuring_of(book), afresh)
    found = [
        view.patches.assign(**{column.heading: row[column.heading] for column in OF_PHOTO})
        for row, view in zip(rows, views, strict=True)
        if len(view.patches)
    ]
    return Table(pd.concat(found, ignore_index=True) if found else empty(PATCHES))


def _viewed(
    book: Book, jobs: int, reviews: Reviews | None, measuring: Measuring, afresh: bool
) -> tuple[list[dict[str, object]], list[View]]:
    """Give the rows of the table ``photos`` but for flat fields, and what was measured of each."""
    book.require("photos", "setups", "shares")
    rows = [row for row in book.photos.to_dict("records") if not _is_flat(book, row)]
    run = Run(jobs, reviews, afresh)
    lent: dict[str, list[Lent]] = {}
    views: dict[int, View] = {}
    with progress("measuring", len(rows), "photographs") as step:
        # Those of the target alone go first, since the others may need what they lend.
        for of_pots in (False, True):
            places = [place for place, row in enumerate(rows) if bool(row["pot"]) is of_pots]
            tasks = {place: _task(book, rows[place], lent, measuring) for place in places}
            keys = {}
            for place, keys[place], view in run(tasks):
                views[place] = view
                step()
            for place in places:
                if views[place].shot is not None:
                    lender = lent_by(rows[place], keys[place], views[place].shot)
                    lent.setdefault(str(rows[place]["setup"]), []).append(lender)
    run.end()
    found = [views[place] for place in range(len(rows))]
    for row, view in zip(rows, found, strict=True):
        if pd.isna(row["taken"]) and view.taken is not None:
            row["taken"] = view.taken
    return rows, found


def measuring_of(book: Book, measuring: Measuring | None = None) -> Measuring:
    """Add the shares of a book's table ``shares`` to what is measured.

    Raises
    ------
    SagglabError
        The table is faulty.
    """
    measuring = Measuring() if measuring is None else measuring
    if book.shares.empty:
        return measuring
    # What is asked for in so many words goes before what the book says.
    asked = set(measuring.shares).difference(read_shares())
    shares = {share.name: share for share in read_shares(book.shares)}
    shares |= {share.name: share for share in measuring.shares if share in asked}
    return replace(measuring, shares=tuple(shares.values()))


def measure_view(book: Book, photo: str, measuring: Measuring | None = None) -> MeasuredPhoto:
    """Measure one photograph as the book says: with its setup's target and flat field, and what was given.

    Where its own target cannot be used, the setup's photographs of the target alone are measured first, and
    the one nearest in time calibrates it.

    Parameters
    ----------
    book : Book
    photo : str
        The photograph as the table ``photos`` names it.
    measuring : Measuring, optional
        As `measure_photos` takes it.

    Returns
    -------
    MeasuredPhoto

    Raises
    ------
    UnknownNameError
        The table ``photos`` has no such photograph, or ``setups`` not its setup.
    SagglabError
        As `measure_photo` raises them.

    Examples
    --------
    >>> from sagglab import open_book
    >>> measured = measure_view(open_book("data/demo"), "photos/phone-target-1.jpg")
    >>> len(measured.patches), bool(measured.outline)
    (24, False)
    """
    row = row_of(book.photos, "photos", "photo", photo)
    measuring = measuring_of(book, measuring)
    try:
        return task_of(book, row, None, measuring).measured
    except TargetError:
        # Corners that were given are to be mended, and the target alone lends only what it has.
        lent = [] if row["target corners"] or not row["pot"] else _lenders(book, row["setup"], measuring)
        if not lent:
            raise
    return task_of(book, row, nearest(book, row, lent), measuring).measured


def _is_flat(book: Book, row: Mapping[str, object]) -> bool:
    return not row["pot"] and bool((book.setups["flat"] == row["photo"]).any())


def _lenders(book: Book, setup: str, measuring: Measuring) -> list[Lent]:
    """Measure the photographs of the target alone that a setup has, those that cannot be used left out."""
    found = []
    for row in book.photos[(book.photos["setup"] == setup) & (book.photos["pot"] == "")].to_dict("records"):
        if not _is_flat(book, row):
            with suppress(SagglabError):
                shot = task_of(book, row, None, measuring).measured.target_shot
                found.append(lent_by(row, "", shot))
    return found


def _task(
    book: Book, row: Mapping[str, object], lent: Mapping[str, list[Lent]], measuring: Measuring
) -> Task | View:
    """Give the task that a row of the table ``photos`` sets, or, when it sets none, what is told instead."""
    try:
        return task_of(book, row, nearest(book, row, lent.get(row["setup"], [])), measuring)
    except SagglabError as error:
        return View({"problems": f"{error.cause}; {error.remedy}"})


def _table(
    book: Book, rows: Sequence[dict[str, object]], views: Sequence[View], measuring: Measuring
) -> pd.DataFrame:
    found = [
        view.row | {column.heading: row[column.heading] for column in OF_PHOTO}
        for row, view in zip(rows, views, strict=True)
    ]
    for setup in dict.fromkeys(row["setup"] for row in found):
        places = [place for place, row in enumerate(found) if row["setup"] == setup]
        differs = balance_differs(
            [views[place].balance for place in places], [views[place].automatic for place in places]
        )
        for place in np.array(places)[differs]:
            found[place]["flags"] = join_flags([found[place]["flags"], "white balance"])
    for place in _unlike(book, found):
        found[place]["flags"] = join_flags([found[place]["flags"], "unlike form"])
    declared = [*MEASURES, *measuring.columns]
    known = {column.heading for column in declared}
    own = dict.fromkeys(name for row in found for name in row if name not in known)
    return conform(found, (*declared, *(Column(name, "number", "of the user's own") for name in own)))


def _unlike(book: Book, rows: Sequence[dict[str, object]]) -> list[int]:
    """Find the views whose pot has another width than in its other views, or in the book.

    What hides a part of the pot, or is taken for it, seldom does so from all sides.
    """
    width = pd.Series([row.get("measured diameter [cm]", np.nan) for row in rows], dtype=float)
    pot = pd.Series([row["pot"] for row in rows])
    told = pot.map(book.pots.drop_duplicates("pot").set_index("pot")["diameter [cm]"])
    # Of two views that differ nobody can tell which is right: both are further than half from their middle.
    usual = width.groupby(pot).transform("median")
    few = width.groupby(pot).transform("count") < 3
    apart = (width / usual - 1).abs() > np.where(few, SAME_WIDTH / 2, SAME_WIDTH)
    return np.flatnonzero((pot != "") & (apart | ((width / told - 1).abs() > SAME_WIDTH))).tolist()
