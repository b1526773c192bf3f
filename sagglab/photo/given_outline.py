"""An outline that a person gave: places around the pot, a mask picture, or an array. It always wins."""

from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageOps
from skimage.measure import find_contours

from sagglab.errors import OutlineError, Problem, Problems
from sagglab.photo.outline import Outline

_PLACES = "write it as x y; x y; x y …, as 650.5 265"
#: Pieces and holes of fewer pixels than this are a brush's crumbs.
CRUMB = 4


#: Places that surround something.
FEWEST = 3


def given_outline(outline: ArrayLike | str | os.PathLike[str], shape: tuple[int, int]) -> Outline:
    """Read an outline that a person gave.

    Parameters
    ----------
    outline : str, path or array_like
        One of

        - places ``x y; x y; …`` around the pot, in pixels of the photograph, fractions and all;
        - an array of places, shape (n, 2);
        - the path of a mask picture (PNG, TIFF or JPEG): white on the pot and black elsewhere, or opaque on
        it and
          transparent elsewhere; its EXIF orientation is honoured;
        - a mask, shape (rows, columns).

        A mask has the photograph's size, or is the whole photograph reduced: of the same shape within half a
        pixel of its own, it is scaled. Its holes are left out. Of several pieces all are kept, as what is
        painted twice is meant twice, such as a pot in front of which a hand was left out; a problem tells it.
    shape : (rows, columns)
        Size of the photograph, upright as its EXIF orientation has it.

    Returns
    -------
    Outline
        With NaN as confidence. A problem, which stops nothing, tells when more than half of it lies outside
        the frame.

    Raises
    ------
    OutlineError
        It is none of these, or leaves no pot.

    Examples
    --------
    >>> given_outline("1 1; 3 1; 3 2; 1 2", (4, 5)).rings[0].tolist()
    [[1.0, 1.0], [3.0, 1.0], [3.0, 2.0], [1.0, 2.0]]
    """
    if isinstance(outline, (str, os.PathLike)):
        is_places = isinstance(outline, str) and ";" in outline
        values = _places(outline) if is_places else _mask_picture(Path(outline))
        if is_places and len(values) >= FEWEST:
            return _from_places(values, shape)
        if is_places:
            raise OutlineError(
                "pot outline",
                f"{len(values)} places surround nothing",
                "write three places or more around the pot, as x y; x y; x y …",
            )
        return _from_mask(values, shape)
    values = np.asarray(outline)
    is_places = (
        values.ndim == 2 and values.shape[1] == 2 and len(values) >= FEWEST and values.shape != tuple(shape)
    )
    if is_places and values.dtype.kind in "iuf":
        return _from_places(values.astype(float), shape)
    return _from_mask(values, shape)


def _problem(cause: str, remedy: str) -> Problem:
    return Problem("photos", None, "pot outline", cause, remedy, stops=False)


def _empty() -> OutlineError:
    return OutlineError(
        "pot outline", "no pixel lies inside the pot outline", "give the places around the pot"
    )


def _from_places(places: NDArray[np.float64], shape: tuple[int, int]) -> Outline:
    if not np.isfinite(places).all():
        raise OutlineError("pot outline", "one of its places lies nowhere", _PLACES)
    found = Outline((places,), float("nan"), Problems())
    if not found.mask(shape, shape).any():
        raise _empty()
    right, low = shape[1] - 0.5, shape[0] - 0.5
    frame = np.array([[-0.5, -0.5], [right, -0.5], [right, low], [-0.5, low]], dtype=np.float32)
    hull = cv2.convexHull(places.astype(np.float32))
    seen, _ = cv2.intersectConvexConvex(hull, frame)
    if seen < 0.5 * cv2.contourArea(hull):
        told = _problem(
            "most of the pot outline that was given lies outside the frame",
            f"write it in pixels of the whole photograph, {shape[1]} by {shape[0]}",
        )
        return Outline(found.rings, found.confidence, Problems([told]))
    return found


def _from_mask(values: NDArray, shape: tuple[int, int]) -> Outline:
    if values.ndim != 2 or not _reduces(values.shape, shape):
        raise OutlineError(
            "pot outline",
            "the pot outline is neither three places or more nor a mask of the photograph's shape",
            f"write it as x y; x y; x y …, or give a mask of {shape[1]} by {shape[0]} pixels",
        )
    mask = values.astype(bool).astype(np.uint8)
    if not mask.any():
        raise _empty()
    x, y, width, height = cv2.boundingRect(mask)
    part = np.pad(mask[y : y + height, x : x + width], 1)
    crumb = CRUMB if part.sum() > 100 * CRUMB else 0
    rings = sorted((ring[:-1, ::-1] for ring in find_contours(part, 0.5)), key=_area, reverse=True)
    scale = np.array(shape[::-1]) / mask.shape[::-1]
    rings = [(ring + (x - 0.5, y - 0.5)) * scale - 0.5 for ring in rings if _area(ring) >= crumb]
    sizes = cv2.connectedComponentsWithStats(part, connectivity=4)[2][1:, cv2.CC_STAT_AREA]
    pieces = int((sizes > crumb).sum())
    told = []
    if pieces > 1:
        told.append(
            _problem(
                f"the pot outline that was given is in {pieces} pieces, and all were measured",
                "paint the pot as one piece, if they were not meant",
            )
        )
    return Outline(tuple(rings), float("nan"), Problems(told))


def _area(ring: NDArray[np.float64]) -> float:
    return cv2.contourArea(ring.astype(np.float32))


def _reduces(size: tuple[int, ...], shape: tuple[int, int]) -> bool:
    """Tell whether a mask has the photograph's size, or is all of it, reduced."""
    rows, columns = size
    if rows < 1 or rows > shape[0] or columns > shape[1]:
        return False
    return (
        abs(columns - shape[1] * rows / shape[0]) <= 0.5 or abs(rows - shape[0] * columns / shape[1]) <= 0.5
    )


def _places(outline: str) -> NDArray[np.float64]:
    pairs = [pair.split() for pair in outline.strip().strip(";").split(";")]
    try:
        return np.array(pairs, dtype=float).reshape(-1, 2)
    except ValueError as error:
        raise OutlineError("pot outline", "one of its places is not two numbers", _PLACES) from error


def _mask_picture(path: Path) -> NDArray[np.bool_]:
    try:
        with Image.open(path, formats=("PNG", "TIFF", "JPEG")) as picture:
            upright = ImageOps.exif_transpose(picture)
            if "A" in upright.getbands():
                alpha = np.asarray(upright.getchannel("A"))
                # A picture that is opaque throughout says nothing by it.
                if alpha.min() < 128:
                    return alpha > 127
            values = np.asarray(upright.convert("RGB").convert("L") if upright.mode != "I;16" else upright)
            return values > (127 if values.max() < 256 else 32767)
    except OSError as error:
        raise OutlineError(
            f"pot outline '{path}'", f"it cannot be read as a mask picture ({error})", "save it as PNG"
        ) from error
