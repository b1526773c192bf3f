"""A turntable, or a plate, that a pot stands on: told from the pot, and counted as ground."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sagglab.photo.backdrop import compare
from sagglab.photo.standing_out import Thing, as_thing, filled

#: How far a disc must stand out beside the pot, as a share of the whole width, on both sides.
STANDS_OUT = 0.03
#: A disc's top is plain when most of it is within this ΔE*ab of its middle colour, on both sides of the pot.
PLAIN = 9.0


def without_turntable(lab: NDArray[np.float32], thing: Thing, differs: NDArray[np.bool_]) -> Thing:
    """Take away the plain disc under a pot, if there is one.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
    thing : Thing
    differs : ndarray of bool, shape (rows, columns)
        What is neither backdrop nor shadow, to the last pixel: a thin disc is lost from a thing's region.

    Returns
    -------
    Thing
        With ``disc`` as how unlike the disc's top each pixel is, infinite above it; unchanged where no disc
        is seen.
    """
    opened = cv2.morphologyEx(
        (differs | thing.region).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)
    )
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    overlaps = np.bincount(labels[thing.region], minlength=count)
    overlaps[0] = 0
    number = int(overlaps.argmax())
    if not number:
        return thing
    x, y, width, height = stats[number, :4]
    here = np.s_[y : y + height, x : x + width]
    region = filled((labels[here] == number).astype(np.uint8)).astype(bool)
    left, right = region.argmax(axis=1), width - 1 - region[:, ::-1].argmax(axis=1)
    junctions = _junctions(left, right, width, height)
    if junctions is None:
        return thing
    at, inner_left, inner_right = junctions
    rows, columns = np.indices(region.shape)
    below = rows >= at
    wings = [region & below & (columns < inner_left - 1), region & below & (columns > inner_right + 1)]
    part = lab[here]
    # Not their edges, which are mixed with what lies beside them.
    wings = [cv2.erode(wing.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool) for wing in wings]
    if min(wing.sum() for wing in wings) < 12:
        return thing
    middles = [np.median(part[wing], axis=0) for wing in wings]
    top = np.median(part[wings[0] | wings[1]], axis=0)
    for wing, middle in zip(wings, middles, strict=True):
        off, no_shadow = compare(part[wing], np.broadcast_to(middle, part[wing].shape))
        if (no_shadow < 1).mean() < 0.6 or np.linalg.norm(middle - top) > PLAIN:
            return thing
    unlike, no_shadow = compare(part, np.broadcast_to(top, part.shape))
    rest = region & (~below | (no_shadow > 1))
    reach = max(2, min(lab.shape[:2]) // 150)
    ball = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (4 * reach + 1, 4 * reach + 1))
    rest = cv2.morphologyEx(np.pad(rest, 8 * reach).astype(np.uint8), cv2.MORPH_CLOSE, ball)
    rest = cv2.morphologyEx(rest, cv2.MORPH_OPEN, ball)[8 * reach : -8 * reach, 8 * reach : -8 * reach]
    count, labels, stats, _ = cv2.connectedComponentsWithStats(rest, connectivity=4)
    if count < 2:
        return thing
    largest = 1 + stats[1:, cv2.CC_STAT_AREA].argmax()
    pot = np.zeros_like(thing.region)
    pot[here] = labels == largest
    disc = np.full(lab.shape[:2], np.inf, dtype=np.float32)
    disc[here] = np.where(
        below & region, np.where(no_shadow < 1, np.minimum(unlike, 8.0 * no_shadow), unlike), np.inf
    )
    return replace(as_thing(pot, reach), cut=thing.cut, disc=disc)


def _junctions(
    left: NDArray[np.intp], right: NDArray[np.intp], width: int, height: int
) -> tuple[int, int, int] | None:
    """Find where the wall meets the disc: the row, and the columns on both sides; None without a disc."""
    # The disc's back edge runs nearly level into the wall, which goes on upwards.
    step = max(3, round(STANDS_OUT * width))
    for row in range(height - 2, height // 2, -1):
        below, above = min(height - 1, row + 3), row - 3
        outward = min(left[row] - left[below], right[below] - right[row])
        upward = max(abs(left[above] - left[row]), abs(right[above] - right[row]))
        if outward >= 2 * step and upward <= step:
            return row, int(left[row]), int(right[row])
    return None
