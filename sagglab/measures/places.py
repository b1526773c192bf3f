"""Where the target and the pot are in a photograph: as found, and as a person gives it in a book's table."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.book import Book
from sagglab.book.amend import PLACES, amend_photo
from sagglab.book.check import is_places, is_there, outside
from sagglab.book.written import cut
from sagglab.errors import OutlineError, SagglabError, TargetError
from sagglab.measures.task import row_of, task_of
from sagglab.measures.views import measure_view
from sagglab.photo.given_outline import given_outline
from sagglab.photo.image import read_photo
from sagglab.photo.measure import IN_FEW_PLACES, MeasuredPhoto, written_places
from sagglab.photo.own_target import given_corners
from sagglab.targets import Target, read_target

#: What a target's corners and a pot's outline may come from.
GIVEN, FOUND, START = "given in the table", "found", "not found: only a start"

#: Share of the picture's height that a starting outline, and of its width that a starting target, takes up.
_START_POT, _START_TARGET = 0.5, 0.25
#: Places of a starting ellipse.
_ROUND = 24


@dataclass(frozen=True)
class Places:
    """Where target and pot are in one photograph; (x, y) in its pixels.

    Attributes
    ----------
    photo : str
        As the table ``photos`` names it.
    size : (rows, columns)
    corners : ndarray, shape (4, 2)
        Centres of the corner patches: row 1 column 1; row 1, last column; last row, last column; last row,
        column 1.
    outline : ndarray, shape (n, 2)
        Places around the pot; none for a photograph without a pot.
    corners_from, outline_from : str
        ``GIVEN``, ``FOUND`` or ``START``: a rectangle and an ellipse to begin from, which were not seen.
    """

    photo: str
    size: tuple[int, int]
    corners: NDArray[np.float64]
    outline: NDArray[np.float64]
    corners_from: str
    outline_from: str


def places_of(
    book: Book,
    photo: str,
    found: Mapping[str, object] | None = None,
    size: tuple[int, int] | None = None,
) -> Places:
    """Tell where target and pot are in a photograph: as given, or else found, or else a place to start from.

    Parameters
    ----------
    book : Book
    photo : str
        As the table ``photos`` names it.
    found : mapping, optional
        Its row of `measure_photos`; without it the photograph is measured.
    size : (rows, columns), optional
        The photograph's, upright, where it has been read already; else it is read for it.

    Returns
    -------
    Places

    Raises
    ------
    UnknownNameError
        The book has no such photograph, or not its setup.
    SagglabError
        The photograph cannot be opened.

    Examples
    --------
    >>> from sagglab import open_book
    >>> places = places_of(open_book("data/demo"), "photos/p01-front.jpg", found={})
    >>> places.size, places.corners.shape, places.corners_from
    ((900, 1200), (4, 2), 'not found: only a start')
    """
    row = row_of(book.photos, "photos", "photo", photo)
    if found is None:
        try:
            measured = measure_view(book, photo)
            found, size = measured.table.iloc[0], measured.size
        except SagglabError:
            found = {}
    if size is None:
        size = read_photo(book.path(photo)).picture.size
    corners, corners_from = _first(
        (lambda: given_corners(row["target corners"]), GIVEN, row["target corners"]),
        (lambda: given_corners(found["found corners"]), FOUND, found.get("found corners")),
    )
    if corners is None:
        corners, corners_from = _rectangle(size, read_target(task_of(book, row, None, None).target)), START
    if not row["pot"]:
        return Places(row["photo"], size, corners, np.empty((0, 2)), corners_from, "")
    given = row["pot outline"]
    where = given if is_places(given) else book.path(given)
    outline, outline_from = _first(
        (lambda: _outer(given_outline(where, size).rings[0], given, size), GIVEN, given),
        (lambda: given_outline(found["found outline"], size).rings[0], FOUND, found.get("found outline")),
    )
    if outline is None:
        outline, outline_from = _ellipse(size), START
    return Places(row["photo"], size, corners, outline, corners_from, outline_from)


def _first(*ways) -> tuple[NDArray[np.float64] | None, str]:
    """Take the first that is there and can be read; what is wrong with one that cannot, measuring tells."""
    for read, name, there in ways:
        if isinstance(there, str) and there:
            try:
                return read(), name
            except SagglabError:
                continue
    return None, START


def _outer(ring: NDArray[np.float64], given: str, size: tuple[int, int]) -> NDArray[np.float64]:
    """Give a mask's edge in few places; places that were given stay as they are."""
    if is_places(given):
        return ring
    few = cv2.approxPolyDP(ring.astype(np.float32)[:, None], IN_FEW_PLACES * max(size), closed=True)
    return few[:, 0].astype(float)


def _rectangle(size: tuple[int, int], target: Target) -> NDArray[np.float64]:
    rows, columns = size
    half = _START_TARGET * columns / 2
    high = half * (target.rows - 1) / max(1, target.columns - 1)
    middle = np.array([columns / 5, rows / 2])
    return middle + np.array([[-half, -high], [half, -high], [half, high], [-half, high]])


def _ellipse(size: tuple[int, int]) -> NDArray[np.float64]:
    turn = np.linspace(0, math.tau, _ROUND, endpoint=False)
    half = _START_POT * size[0] / 2
    return np.array([size[1] * 0.62, size[0] / 2]) + half * np.stack(
        [0.7 * np.sin(turn), -np.cos(turn)], axis=1
    )


def _cell(photo: str, places: ArrayLike | str, fault: type[SagglabError]) -> str:
    if isinstance(places, str):
        return places.strip()
    try:
        pairs = np.asarray(places, dtype=float)
    except (TypeError, ValueError):
        pairs = np.empty(0)
    if pairs.ndim != 2 or pairs.shape[1] != 2:
        raise fault(photo, "what was given are no places (x, y)", "give pairs of numbers, or x y; x y; x y …")
    return written_places(pairs)


def _checked(
    book: Book, photo: str, corners: ArrayLike | str | None, outline: ArrayLike | str | None
) -> dict[str, str]:
    """Check places against the photograph, and give them as cells of ``photos`` by their heading."""
    row_of(book.photos, "photos", "photo", photo)
    given = zip(PLACES, (corners, outline), (TargetError, OutlineError), strict=True)
    cells = {heading: _cell(photo, places, fault) for heading, places, fault in given if places is not None}
    size = read_photo(book.path(photo)).picture.size if any(cells.values()) else (0, 0)
    if cells.get("target corners"):
        try:
            places = given_corners(cells["target corners"])
        except TargetError as error:
            raise TargetError(photo, error.cause, error.remedy) from error
        if (places < -0.5).any() or (places > np.array(size[::-1]) - 0.5).any():
            cause = f"a target corner lies outside the photograph, which is {size[1]} by {size[0]} pixels"
            raise TargetError(photo, cause, "give places inside it, the first of row 1, column 1")
    if outline := cells.get("pot outline"):
        _check_outline(book, photo, outline, size)
    return cells


def _check_outline(book: Book, photo: str, outline: str, size: tuple[int, int]) -> None:
    if is_places(outline):
        told = given_outline(outline, size).problems
        if told:
            raise OutlineError(photo, told[0].cause, told[0].remedy)
    elif fault := outside(book.folder, outline):
        raise OutlineError(photo, f"'{cut(outline)}': {fault[0]}", fault[1])
    elif not is_there(book.path(outline), Path.is_file):
        cause = f"'{cut(outline)}' is neither places around the pot nor a file in the book"
        raise OutlineError(photo, cause, "write x y; x y; x y …, or name a mask picture that is there")
    else:
        given_outline(book.path(outline), size)


def measure_with(
    book: Book, photo: str, corners: ArrayLike | str | None = None, outline: ArrayLike | str | None = None
) -> MeasuredPhoto:
    """Measure a photograph as if places had been given, without writing them anywhere.

    Parameters
    ----------
    book, photo, corners, outline
        As `give_places` takes them.

    Raises
    ------
    SagglabError
        As `give_places` and `measure_view` raise them.
    """
    cells = _checked(book, photo, corners, outline)
    photos = book.photos.copy()
    for heading, text in cells.items():
        photos.loc[photos["photo"] == photo, heading] = text
    return measure_view(replace(book, photos=photos), photo)


def give_places(
    book: Book, photo: str, corners: ArrayLike | str | None = None, outline: ArrayLike | str | None = None
) -> Path:
    """Write where target and pot are into a photograph's row of the table ``photos``, and nothing else.

    What is given always wins over what would be found. This is the one thing in sagglab that changes a table
    that its user wrote.

    Parameters
    ----------
    book : Book
        As it was opened; open it again to go on with what was written.
    photo : str
        As the table ``photos`` names it.
    corners : str or array_like, shape (4, 2), optional
        Centres of the target's corner patches, round from row 1, column 1. None leaves what is there, and
        ``""`` clears it, so that they are searched for again.
    outline : str or array_like, shape (n, 2), optional
        Three places or more around the pot, or the name of a mask picture in the book; None and ``""``
        as for the corners.

    Returns
    -------
    Path
        The file that was written.

    Raises
    ------
    UnknownNameError
        The book has no such photograph.
    TargetError, OutlineError
        The places cannot be those of a target or a pot in this photograph.
    BookError
        The row was changed since the book was opened, the photograph has several, or the file cannot be
        written.
    SagglabError
        The photograph cannot be opened.

    Examples
    --------
    >>> import shutil, tempfile
    >>> from sagglab import open_book
    >>> target = "photos/phone-target-1.jpg"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     unused = shutil.ignore_patterns("p[0-3]*", "camera*", "generator", "truth")
    ...     mine = shutil.copytree("data/demo", f"{folder}/mine", ignore=unused)
    ...     _ = give_places(open_book(mine), target, "136 519; 405 520; 403 681; 136 680")
    ...     print(open_book(mine).photos.set_index("photo").loc[target, "target corners"])
    136 519; 405 520; 403 681; 136 680
    """
    return amend_photo(book, photo, _checked(book, photo, corners, outline))
