"""Where along an outline the pot ends, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from skimage.measure import find_contours

from sagglab.colour import lab_to_xyz

#: How far to either side of a rough ring its edge is searched for, and in what steps, px.
REACH, STEP = 6.0, 0.5
#: Between the edge and where pot and backdrop are themselves: the lens's blur and the reduction's, px.
BLUR = 2.0
#: Contrast over the edge, in ΔE*ab, below which nothing is read from it, and that at which it is plain to
#: see.
FAINT, PLAIN_TO_SEE = 2.5, 12.0
#: What it costs to move by one step from a place of the ring to the next, where an edge plain to see is 1.
MOVE = 0.12


@dataclass(frozen=True)
class Edge:
    """A closed ring, and how clearly the picture shows it.

    Attributes
    ----------
    ring : ndarray, shape (n, 2)
        Places (x, y), evenly spaced.
    contrast : ndarray, shape (n,)
        ΔE*ab between what lies just inside and just outside.
    steep : ndarray, shape (n,)
        Share of that contrast which the steepest pixel takes: about 0.5 at a sharp edge, 0.1 at a shadow's.
    outside : ndarray, shape (n, 3)
        CIELAB just outside.
    """

    ring: NDArray[np.float64]
    contrast: NDArray[np.float64]
    steep: NDArray[np.float64]
    outside: NDArray[np.float64]


def ring_of(mask: NDArray[np.bool_], spacing: float = 1.5) -> NDArray[np.float64]:
    """Draw a smooth ring around a mask's largest piece, clockwise as seen, with evenly spaced places."""
    # Rounded over a pixel, or the ring would climb the pixels' stairs; padded, so that it closes at the
    # frame.
    soft = cv2.GaussianBlur(np.pad(mask, 4, mode="edge").astype(np.float32), (0, 0), 1.0)
    soft = np.pad(soft[4:-4, 4:-4], 1)
    ring = max(find_contours(soft, 0.5), key=len)[:, ::-1] - 1
    return evenly(ring, spacing)


def evenly(ring: NDArray[np.float64], spacing: float) -> NDArray[np.float64]:
    """Place points evenly along a closed ring."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(8, round(along[-1] / spacing))
    at = np.arange(count) * along[-1] / count
    return np.stack([np.interp(at, along, closed[:, k]) for k in (0, 1)], axis=1)


def outwards(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the unit normals of a ring, away from what it encloses."""
    smooth = gaussian_filter1d(ring, 2.0, axis=0, mode="wrap")
    along = np.roll(smooth, -1, axis=0) - np.roll(smooth, 1, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    area = np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - np.roll(ring[:, 0], -1) * ring[:, 1])
    return normal if area > 0 else -normal


def refine(lab: NDArray[np.float32], rough: NDArray[np.float64]) -> Edge:
    """Move a rough ring onto the edge that it runs along.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
    rough : ndarray, shape (n, 2)
        (x, y), within some pixels of the edge.

    Returns
    -------
    Edge
        Where the light is half-way between what lies inside and outside; where there is no contrast, where
        its neighbours lead.
    """
    off = np.arange(-REACH - 3, REACH + 3 + STEP / 2, STEP)
    normal = outwards(rough)
    seen = _sample(lab, rough, normal, off)
    # Along the ring neighbours see the same edge: noise is averaged over three.
    seen = gaussian_filter1d(seen, 0.8, axis=0, mode="wrap")
    step = np.linalg.norm(seen[:, 4:] - seen[:, :-4], axis=-1)
    at, inner = off[2:-2], np.abs(off[2:-2]) <= REACH
    shift = _follow(step[:, inner], at[inner])
    ring = rough + gaussian_filter1d(shift, 2.0, mode="wrap")[:, None] * normal
    ring = evenly(ring, 1.5)
    edge = None
    for _ in range(2):
        edge = _half_way(lab, ring if edge is None else edge.ring)
    return edge


def _sample(
    lab: NDArray[np.float32], ring: NDArray[np.float64], normal: NDArray[np.float64], off: NDArray[np.float64]
) -> NDArray[np.float32]:
    places = (ring[:, None] + off[None, :, None] * normal[:, None]).astype(np.float32)
    return cv2.remap(lab, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _follow(step: NDArray[np.float32], off: NDArray[np.float64]) -> NDArray[np.float64]:
    """Find the shifts along which the steps are greatest, and which change little from place to place.

    Dynamic programming along the ring, gone round once and a half, so that its ends agree.
    """
    # A strong edge inside the pot, as of a white patch, is no better than a fair one at its end.
    worth = np.minimum(step, PLAIN_TO_SEE) / PLAIN_TO_SEE - 0.012 * off**2
    count = len(worth)
    order = np.arange(count + count // 2) % count
    best = np.full((len(order), len(off) + 2), -np.inf)
    best[0, 1:-1] = worth[0]
    for turn, at in enumerate(order[1:], start=1):
        before = best[turn - 1]
        aside = np.maximum(before[:-2], before[2:])
        aside -= MOVE
        np.maximum(aside, before[1:-1], out=aside)
        np.add(aside, worth[at], out=best[turn, 1:-1])
    place, path = int(best[-1].argmax()) - 1, np.empty(len(order), dtype=np.intp)
    path[-1] = place
    for turn in range(len(order) - 2, -1, -1):
        place += int((best[turn, place : place + 3] - (MOVE, 0.0, MOVE)).argmax()) - 1
        path[turn] = place
    shift = np.empty(count)
    # The middle of the walk knows both its sides; its first quarter was gone blindly.
    keep = np.arange(count // 4, count // 4 + count)
    shift[order[keep]] = off[path[keep]]
    return shift


def _half_way(lab: NDArray[np.float32], ring: NDArray[np.float64]) -> Edge:
    """Put each place where the light is half-way between inside and outside."""
    normal = outwards(ring)
    off = np.arange(-2 * BLUR - 1, 2 * BLUR + 1 + STEP / 2, STEP)
    seen = gaussian_filter1d(_sample(lab, ring, normal, off), 0.8, axis=0, mode="wrap").astype(float)
    inside = seen[:, (off >= -2 * BLUR) & (off <= -BLUR)].mean(axis=1)
    outside = seen[:, (off >= BLUR) & (off <= 2 * BLUR)].mean(axis=1)
    contrast = np.linalg.norm(inside - outside, axis=1)
    # Blur mixes light: half-way in L* would lie a fifth of a pixel inside a dark pot on a light ground.
    light, within, without = (lab_to_xyz(part) for part in (seen, inside, outside))
    apart = within - without
    share = (
        np.einsum("nkc,nc->nk", light - without[:, None], apart)
        / np.maximum((apart**2).sum(axis=1), 1e-12)[:, None]
    )
    # The crossing that lies nearest to where the ring is.
    here, following = share[:, :-1], share[:, 1:]
    crosses = (here >= 0.5) & (following < 0.5)
    where = off[:-1] + STEP * np.where(crosses, (here - 0.5) / np.where(crosses, here - following, 1), 0)
    where = np.where(crosses, where, np.inf)
    shift = where[np.arange(len(where)), np.abs(where).argmin(axis=1)]
    sure = (contrast > FAINT) & (np.abs(shift) <= BLUR)
    weight = np.where(sure, np.minimum(contrast / PLAIN_TO_SEE, 1.0), 0.0)
    moved = gaussian_filter1d(weight * np.where(sure, shift, 0), 1.0, mode="wrap")
    moved = moved / np.maximum(gaussian_filter1d(weight, 1.0, mode="wrap"), 0.02)
    steep = (share[:, :-2] - share[:, 2:]).max(axis=1) / (2 * STEP)
    return Edge(ring + moved[:, None] * normal, contrast, np.where(contrast > FAINT, steep, 0.0), outside)
