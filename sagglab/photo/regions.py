"""Flat, squarish regions of a picture, whatever their colours: what might be the patches of a target.

Pixel coordinates are (x, y), x to the right, y down, whole numbers at pixel centres.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

#: Steps between neighbouring pixels, of 255, below which a pixel counts as flat. A gap between dark patches
#: shows only at the lowest, the patches of a noisy picture only at the highest; what each finds is pooled.
FLAT_BELOW = (5, 8, 12, 18, 27, 40)

#: A region is as wide as it is long within this ratio; a square seen from 55° off is 1.7 times as long.
LONGEST_OVER_WIDEST = 1.8

#: Least share of its upright or turned bounding rectangle that a region fills; a disc fills 0.785.
LEAST_FILL = 0.72

#: Regions of one grid have like sizes, edge lengths within this ratio.
LIKE_SIZE = 1.7


@dataclass(frozen=True)
class FlatRegions:
    """Flat regions that might be patches.

    Attributes
    ----------
    centres : ndarray, shape (N, 2)
        Centroids, (x, y) in pixels.
    sizes : ndarray, shape (N,)
        Edge length of the square of the same area, in pixels.
    colours : ndarray, shape (N, 3)
        Colours at the centres, on the picture's scale.
    """

    centres: NDArray[np.float64]
    sizes: NDArray[np.float64]
    colours: NDArray[np.float64]


def flat_regions(
    encoded: NDArray[np.uint8], smallest: float = 4.0, largest: float | None = None
) -> FlatRegions:
    """Find the flat, squarish regions of a picture.

    Parameters
    ----------
    encoded : ndarray of uint8, shape (H, W, 3)
        The picture on a scale where equal steps look about equal.
    smallest, largest : float, optional
        Shortest and longest edge of a region, in pixels. The longest is unless given that of a sixth of the
        picture's area, the least target being two patches by three.

    Returns
    -------
    FlatRegions

    Examples
    --------
    >>> picture = np.full((60, 60, 3), 30, dtype=np.uint8)
    >>> picture[20:41, 20:41] = 200
    >>> flat_regions(picture).centres.round(1).tolist()
    [[30.0, 30.0]]
    """
    height, width = encoded.shape[:2]
    # The largest step between a pixel and its neighbours, in whichever channel shows it best.
    square = np.ones((3, 3), np.uint8)
    edges = cv2.dilate(encoded, square) - cv2.erode(encoded, square)
    edges = cv2.max(cv2.max(edges[..., 0], edges[..., 1]), edges[..., 2])
    outlines: list[NDArray[np.int32]] = []
    for limit in FLAT_BELOW:
        flat = cv2.morphologyEx((edges < limit).astype(np.uint8), cv2.MORPH_OPEN, square)
        # Outlines of holes are taken too: a patch in a flat frame is a hole of the frame, even one with a
        # speck of glare inside.
        every, _ = cv2.findContours(flat, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        outlines += [outline for outline in every if len(outline) >= 2 * smallest]
    found = _squarish(outlines, smallest, largest**2 if largest else height * width / 6)
    if not len(found):
        return FlatRegions(np.empty((0, 2)), np.empty(0), np.empty((0, 3)))
    centres, sizes = _without_repeats(found)
    columns, rows = np.round(centres).astype(int).T
    return FlatRegions(centres, sizes, encoded[rows, columns].astype(float))


def _squarish(outlines: list[NDArray[np.int32]], smallest: float, largest_area: float) -> NDArray[np.float64]:
    """Centroid, edge length and fill of each outline that may be a patch's, shape (N, 4)."""
    if not outlines:
        return np.empty((0, 4))
    # Areas and moments of all outlines at once, which are some thousands of some dozen places each; outline
    # by outline they took a third of the time of the search. Whole numbers: the sums are exact.
    lengths = np.array([len(outline) for outline in outlines])
    starts = np.cumsum(lengths) - lengths
    places = np.concatenate(outlines)[:, 0].astype(float)
    following = np.roll(places, -1, axis=0)
    following[starts + lengths - 1] = places[starts]
    turns = places[:, 0] * following[:, 1] - following[:, 0] * places[:, 1]
    within = np.add.reduceat(turns, starts) / 2
    centres = np.add.reduceat((places + following) * turns[:, None], starts) / 6
    high = np.maximum.reduceat(places, starts) - np.minimum.reduceat(places, starts) + 1
    shorter, longer = high.min(axis=1), high.max(axis=1)
    # An outline runs through pixel centres, so that it is one pixel short of what it encloses.
    areas = np.abs(within) + lengths / 2 + 1
    # What cannot pass is dropped by its upright rectangle: one that is longer than 1.8 times its width in
    # every turn, or less full than a square that stands on its corner.
    hopeful = (
        (shorter >= smallest)
        & (longer <= 1.1 * LONGEST_OVER_WIDEST * shorter)
        & (areas >= 0.45 * LEAST_FILL * shorter * longer)
        & (within != 0)
    )
    found = []
    for index in np.flatnonzero(hopeful):
        one, other = cv2.minAreaRect(outlines[index])[1]
        width, length = (one + 1, other + 1) if one < other else (other + 1, one + 1)
        if width < smallest or length > LONGEST_OVER_WIDEST * width or width * length > largest_area:
            continue
        fill = areas[index] / (width * length)
        if fill >= LEAST_FILL:
            x, y = centres[index] / within[index]
            found.append((x, y, areas[index] ** 0.5, fill))
    return np.array(found).reshape(-1, 4)


def _without_repeats(found: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # One patch is found at several limits: the outline that fills its rectangle best is kept.
    found = found[np.argsort(-found[:, 3], kind="stable")]
    centres, sizes = found[:, :2], found[:, 2]
    kept = np.ones(len(found), dtype=bool)
    near = cKDTree(centres).query_ball_point(centres, 0.3 * sizes)
    edges = sizes.tolist()
    for index, (edge, others) in enumerate(zip(edges, near, strict=True)):
        if kept[index]:
            for other in others:
                if other > index and edge / LIKE_SIZE < edges[other] < LIKE_SIZE * edge:
                    kept[other] = False
    return centres[kept], sizes[kept]
