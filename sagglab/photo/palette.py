"""Palette: a few colours that stand for a surface, and how much of it each covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import AXES, delta_e_2000
from sagglab.columns import PALETTE_COLOURS

#: Colours closer than this are one: side by side on a mottled pot, they are hardly told apart.
APART_DE00 = 3.0
#: A colour that covers less joins the one next to it.
LEAST_SHARE = 0.01
#: Side of the boxes of CIELAB whose pixels are taken together, by their mean colour. On rendered surfaces the
#: sum of squares of the clusters found stays within 0.2 % of that found from single pixels.
BOX = 2.0
#: Side of the coarser boxes whose mean colours are tried as the start of a further cluster.
_START_BOX = 8.0
#: Rounds of Lloyd's algorithm at the most; it comes to rest before, or moves by less than is seen.
_ROUNDS = 60
#: Rounds after which a trial is judged.
_TRIED_ROUNDS = 6

PARTS = (*AXES, "share")


@dataclass(frozen=True)
class Palette:
    """Colours of a surface, that which covers most first.

    Attributes
    ----------
    lab : ndarray, shape (k, 3)
        L*, a*, b*; k is at most `PALETTE_COLOURS`, and 0 where nothing was measured.
    share : ndarray, shape (k,)
        How much of the surface each stands for; they sum to 1.
    """

    lab: NDArray[np.float64]
    share: NDArray[np.float64]

    def to_dict(self) -> dict[str, float]:
        """Give the columns ``colour 1 L*``, ``colour 1 a*``, ``colour 1 b*``, ``colour 1 share`` and so on.

        There are `PALETTE_COLOURS` colours; those that the palette has not are NaN.
        """
        table = np.full((PALETTE_COLOURS, 4), np.nan)
        table[: len(self.share)] = np.column_stack([self.lab, self.share])
        return {
            f"colour {k + 1} {part}": float(table[k, at])
            for k in range(PALETTE_COLOURS)
            for at, part in enumerate(PARTS)
        }


def palette(lab: ArrayLike, weights: ArrayLike, n: int = PALETTE_COLOURS) -> Palette:
    """Find the palette of a surface by clustering in CIELAB.

    The clusters are those of k-means: least sum of squares in CIELAB, weighted by area. Then those that are
    hardly told apart are joined, and so are specks. The answer is the same on every run and hangs on the
    order of the pixels only by the rounding of sums.

    Parameters
    ----------
    lab : array_like, shape (m, 3)
    weights : array_like, shape (m,)
        The area that each place stands for.
    n : int
        Clusters to look for, at most `PALETTE_COLOURS`.

    Returns
    -------
    Palette

    Notes
    -----
    OpenCV's and SciPy's k-means take no weights and start by lot; scikit-learn's takes 20 times as long for
    100,000 pixels and ten starts.

    References
    ----------
    A. Likas, N. Vlassis & J. J. Verbeek, The global k-means clustering algorithm, Pattern Recognition 36
    (2003): clusters are added one by one, each started where it lessens the sum of squares most.
    """
    lab, weights = np.asarray(lab, dtype=float), np.asarray(weights, dtype=float)
    lab, weights = lab[weights > 0], weights[weights > 0]
    if not len(lab):
        return Palette(np.empty((0, 3)), np.empty(0))
    points, weight = _boxes(lab, weights, BOX)
    centres = _clusters(points, weight / weight.sum(), min(n, PALETTE_COLOURS))
    return _joined(*_means(points, weight / weight.sum(), centres))


def join_palettes(palettes: Sequence[Palette], weights: Sequence[float]) -> Palette:
    """Make one palette of those of a pot's views.

    Parameters
    ----------
    palettes : sequence of Palette
    weights : sequence of float
        The area that each was taken from.
    """
    pairs = [(each, weight) for each, weight in zip(palettes, weights, strict=True) if len(each.share)]
    if not pairs:
        return Palette(np.empty((0, 3)), np.empty(0))
    return palette(
        np.concatenate([each.lab for each, _ in pairs]),
        np.concatenate([each.share * weight for each, weight in pairs]),
    )


def _boxes(
    lab: NDArray[np.float64], weights: NDArray[np.float64], side: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Take colours together by boxes of CIELAB: mean colours and summed weights."""
    place = np.floor(lab / side).astype(np.int64)
    place -= place.min(axis=0)
    size = place.max(axis=0) + 1
    number = np.ravel_multi_index(tuple(place.T), tuple(size))
    if size.prod() > 4 * len(lab) + 1_000_000:
        # Stray colours far away would make the table of boxes larger than the picture.
        number = np.unique(number, return_inverse=True)[1]
    total = np.bincount(number, weights)
    filled = np.flatnonzero(total)
    sums = [np.bincount(number, weights * lab[:, k])[filled] for k in range(3)]
    return np.column_stack(sums) / total[filled, None], total[filled]


def _distances(points: NDArray[np.float64], centres: NDArray[np.float64]) -> NDArray[np.float64]:
    """Squared distances, (centres, points), that way round since long rows are quicker to search."""
    squares = (centres**2).sum(axis=1)[:, None] + np.einsum("ij,ij->i", points, points)
    return np.maximum(squares - 2 * centres @ points.T, 0)


def _clusters(points: NDArray[np.float64], weight: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Find centres, adding one after the other."""
    starts = _boxes(points, weight, _START_BOX)[0]
    to_starts = _distances(points, starts)
    centres = (weight @ points / weight.sum())[None]
    for _ in range(min(count, len(points)) - 1):
        added = _with_one_more(points, weight, centres, starts, to_starts)
        centres = _at_rest(points, weight, added, _ROUNDS)
    # One cluster at a time is taken away and put where it does most good: without, one in eight rendered
    # surfaces stayed more than 1 % above the best of ten random starts.
    least = _inertia(points, weight, centres)
    for k in range(len(centres)):
        fewer = np.delete(centres, k, axis=0)
        tried = _with_one_more(points, weight, fewer, starts, to_starts) if len(fewer) else centres
        tried = _at_rest(points, weight, tried, _TRIED_ROUNDS)
        if _inertia(points, weight, tried) < least:
            centres = _at_rest(points, weight, tried, _ROUNDS)
            least = _inertia(points, weight, centres)
    return centres


def _inertia(points: NDArray[np.float64], weight: NDArray[np.float64], centres: NDArray[np.float64]) -> float:
    return float(_distances(points, centres).min(axis=0) @ weight)


def _with_one_more(
    points: NDArray[np.float64],
    weight: NDArray[np.float64],
    centres: NDArray[np.float64],
    starts: NDArray[np.float64],
    to_starts: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Add that start which lessens the sum of squares most."""
    nearest = _distances(points, centres).min(axis=0)
    gain = np.maximum(nearest - to_starts, 0) @ weight
    return np.vstack([centres, starts[gain.argmax()]])


def _at_rest(
    points: NDArray[np.float64], weight: NDArray[np.float64], centres: NDArray[np.float64], rounds: int
) -> NDArray[np.float64]:
    """Lloyd's algorithm from given centres."""
    for _ in range(rounds):
        moved, _ = _means(points, weight, centres)
        if moved.shape == centres.shape and np.abs(moved - centres).max() < 0.03:
            return moved
        centres = moved
    return centres


def _means(
    points: NDArray[np.float64], weight: NDArray[np.float64], centres: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means and weights of the points nearest to each centre; a centre that has none is gone."""
    member = _distances(points, centres).argmin(axis=0)
    total = np.bincount(member, weight, len(centres))
    sums = [np.bincount(member, weight * points[:, k], len(centres)) for k in range(3)]
    return np.column_stack(sums)[total > 0] / total[total > 0, None], total[total > 0]


def _joined(lab: NDArray[np.float64], share: NDArray[np.float64]) -> Palette:
    """Join what is hardly told apart, the closest first, then specks with what is next to them."""
    while len(share) > 1:
        apart = delta_e_2000(lab[:, None], lab[None])
        np.fill_diagonal(apart, np.inf)
        one, other = np.unravel_index(apart.argmin(), apart.shape)
        if apart[one, other] >= APART_DE00:
            one = share.argmin()
            if share[one] >= LEAST_SHARE:
                break
            other = apart[one].argmin()
        both = share[one] + share[other]
        lab[other] = (share[one] * lab[one] + share[other] * lab[other]) / both
        share[other] = both
        lab, share = np.delete(lab, one, axis=0), np.delete(share, one)
    order = np.argsort(-share, kind="stable")
    return Palette(lab[order], share[order] / share.sum())
