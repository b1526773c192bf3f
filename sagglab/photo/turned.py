"""The turned form that best explains what stands out: symmetric about one axis, its profile without jumps.

Where one side of a pot is as pale or as dark as what lies behind it, the other side tells; where both are,
the rows above and below.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from sagglab.photo.backdrop import Backdrop

#: A place that is like the backdrop counts this much against the pot, one that is unlike it 1 for it; of the
#: pot itself more is like the backdrop by chance than of the backdrop unlike it.
LIKE = -0.6
#: What may be a shadow counts this much.
SHADOWED = -0.25
#: What an edge at a side is worth, in pixels, and one under or over the whole width, for each pixel of it.
SIDE, END = 6.0, 1.5
#: ΔE*ab for each pixel at which an edge is fully one.
SHARP = 3.0
#: The greatest change of radius from row to row, px, what each pixel of it costs while the axis is searched
#: for, and what each pixel by which it changes costs once the axis is known.
FLARE, WIDEN, BEND = 4, 0.35, 1.5
#: How far to either side of the first guess the axis is tried, px, and in what steps; how far it may lean.
ASIDE, TRIED, LEAN = 16, 2, 0.1


def turned_form(
    lab: NDArray[np.float32],
    backdrop: Backdrop,
    region: NDArray[np.bool_],
    void: NDArray[np.bool_],
    unlike: NDArray[np.float32],
    no_shadow: NDArray[np.float32],
) -> NDArray[np.bool_]:
    """Fit a turned form to what stands out.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
    backdrop : Backdrop
    region : ndarray of bool, shape (rows, columns)
        The pot, roughly.
    void : ndarray of bool, shape (rows, columns)
        Where it is not, whatever is seen there.
    unlike, no_shadow : ndarray, shape (rows, columns)
        As `Backdrop.compare` gives them.

    Returns
    -------
    ndarray of bool, shape (rows, columns)

    References
    ----------
    Bellman, R. (1957). Dynamic Programming. Princeton University Press.
    """
    rows, columns = np.nonzero(region)
    score = _score(unlike, no_shadow, backdrop.grain)
    score[void] = -1
    # Edges along the axis and across it, in ΔE*ab for each pixel; Scharr's weights add up to 32.
    sharp = [
        np.sqrt(sum(cv2.Scharr(lab[..., k], cv2.CV_32F, *way) ** 2 for k in range(3))) / 32
        for way in ((1, 0), (0, 1))
    ]
    evidence = np.stack(
        [score, *(np.clip((part - 0.5 * backdrop.grain) / SHARP, 0, 1) for part in sharp)], -1
    )
    reach = round(1.3 * np.ptp(columns) / 2) + 10
    top, tall = rows.min() - 20, int(np.ptp(rows)) + 41
    best = None
    # Half a pot that is as dark as what lies behind it seems to lean.
    for slope in {0.0, round(_lean(region), 3)}:
        # Upright, with the axis in the middle, and room on all sides.
        middle = columns.mean() - slope * rows.mean()
        onto = np.array([[1, slope, middle + slope * top - reach], [0, 1, top]])
        warped = cv2.warpAffine(
            evidence,
            onto,
            (2 * reach + 1, tall),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(-1.0, 0.0, 0.0),
        )
        found = _best(*np.moveaxis(warped, -1, 0), reach)
        if best is None or found[0] > best[0]:
            best = *found, onto
    _, centre, first, radius, onto = best
    upright = np.zeros((tall, 2 * reach + 1), dtype=np.uint8)
    across = np.abs(np.arange(2 * reach + 1)[None] - centre)
    upright[first : first + len(radius)] = across <= radius[:, None]
    mask = cv2.warpAffine(upright, onto, region.shape[::-1], flags=cv2.INTER_NEAREST)
    return mask.astype(bool)


def _lean(region: NDArray[np.bool_]) -> float:
    """Estimate how the axis leans, from the rows' middles."""
    at = np.flatnonzero(region.any(axis=1))
    part = region[at]
    middle = (part.argmax(axis=1) + part.shape[1] - 1 - part[:, ::-1].argmax(axis=1)) / 2
    if len(at) < 8:
        return 0.0
    # The median over pairs half the height apart: what is missing on one side of some rows does not count.
    half = len(at) // 2
    slope = float(np.median((middle[half:] - middle[:-half]) / (at[half:] - at[:-half])))
    return slope if abs(slope) < LEAN else 0.0


def _score(unlike: NDArray[np.float32], no_shadow: NDArray[np.float32], grain: float) -> NDArray[np.float32]:
    faint = max(3.0, 3.0 * grain)
    score = np.clip(LIKE + (1 - LIKE) * (unlike - 0.5 * faint) / (1.5 * faint), LIKE, 1)
    shadow = np.clip(SHADOWED + (1 - SHADOWED) * (no_shadow - 0.6) / 0.6, SHADOWED, 1)
    return np.minimum(score, shadow)


def _best(
    score: NDArray[np.float32], side: NDArray[np.float32], end: NDArray[np.float32], reach: int
) -> tuple[float, int, int, NDArray[np.intp]]:
    """Find worth, axis, first row and radii of the best form by dynamic programming, for all axes at once."""
    centres = reach + np.arange(-ASIDE, ASIDE + 1, TRIED)
    radii = np.arange(4, reach - ASIDE)

    def right(values: NDArray[np.float32], beyond: int = 0) -> NDArray[np.float32]:
        first = centres[0] + radii[0] + beyond
        return sliding_window_view(values, len(radii), axis=1)[:, first::TRIED][:, : len(centres)]

    def left(values: NDArray[np.float32]) -> NDArray[np.float32]:
        first = centres[0] - radii[-1]
        return sliding_window_view(values, len(radii), axis=1)[:, first::TRIED, ::-1][:, : len(centres)]

    def within(values: NDArray[np.float32]) -> NDArray[np.float32]:
        sums = np.pad(np.cumsum(values, axis=1), ((0, 0), (1, 0)))
        return right(sums, 1) - left(sums)

    side = cv2.dilate(side, np.ones((1, 3), np.uint8))
    worth = within(score) + SIDE * (right(side) + left(side))
    ends = END * within(cv2.dilate(end, np.ones((3, 1), np.uint8)))
    value = np.empty_like(worth)
    wide = len(radii)
    padded = np.full((len(centres), wide + 2 * FLARE), -np.inf, dtype=np.float32)
    value[0] = worth[0] + ends[0]
    for row in range(1, len(worth)):
        padded[:, FLARE:-FLARE] = value[row - 1]
        best = ends[row]
        for move in range(2 * FLARE + 1):
            best = np.maximum(best, padded[:, move : move + wide] - WIDEN * abs(move - FLARE))
        value[row] = worth[row] + best
    axis = int(np.unravel_index(np.argmax(value + ends), value.shape)[1])
    worth_there, first, radius = _profile(worth[:, axis], ends[:, axis])
    return worth_there, int(centres[axis]), first, radii[radius]


def _profile(worth: NDArray[np.float32], ends: NDArray[np.float32]) -> tuple[float, int, NDArray[np.intp]]:
    """Find the best profile about one axis: its slope, too, changes by a pixel at most from row to row.

    A shadow beside the foot would else be taken for a flange.
    """
    tall, wide = worth.shape
    slopes = np.arange(-FLARE, FLARE + 1)
    value = np.empty((tall, len(slopes), wide), dtype=np.float32)
    value[0] = worth[0] + ends[0]
    padded = np.full((len(slopes) + 2, wide + 2 * FLARE), -np.inf, dtype=np.float32)
    # For each slope and radius now, where the radius before is, with the slope as it was or one beside it.
    before = FLARE + np.arange(wide)[None] - slopes[:, None]
    before = before + (1 + np.arange(len(slopes))[:, None]) * padded.shape[1]
    for row in range(1, tall):
        padded[1:-1, FLARE:-FLARE] = value[row - 1]
        best = padded.take(before - padded.shape[1])
        np.maximum(best, padded.take(before + padded.shape[1]), out=best)
        best -= BEND
        np.maximum(best, padded.take(before), out=best)
        np.maximum(best, ends[row], out=best)
        np.add(best, worth[row], out=value[row])
    row, slope, k = map(int, np.unravel_index(np.argmax(value + ends[:, None]), value.shape))
    total, path = float(value[row, slope, k] + ends[row, k]), [k]
    while row:
        last = k - int(slopes[slope])
        best, came = -np.inf, slope
        for change in (0, -1, 1) if 0 <= last < wide else ():
            if 0 <= slope + change < len(slopes):
                other = value[row - 1, slope + change, last] - BEND * abs(change)
                if other > best:
                    best, came = other, slope + change
        if ends[row, k] > best:
            break
        k, slope, row = last, came, row - 1
        path.append(k)
    return total, row, np.array(path[::-1])
