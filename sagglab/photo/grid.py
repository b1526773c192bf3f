"""Grids of flat patches in a picture, whatever their colours.

Nothing here knows a colour target: a grid is a set of flat, squarish regions whose centres lie at the whole
numbers of one plane seen in perspective. Which grid is a target, `sagglab.photo.target` decides.

Pixel coordinates are (x, y), x to the right, y down, whole numbers at pixel centres.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sagglab.photo.regions import LIKE_SIZE, FlatRegions

#: How far a centre may lie from where the grid puts it, in steps of the grid.
OFF_GRID = 0.2

_STEPS = ((1, 0), (0, 1), (-1, 0), (0, -1))


@dataclass(frozen=True)
class PatchGrid:
    """Regions that stand in rows and columns.

    Attributes
    ----------
    cells : ndarray of int, shape (N, 2)
        Column and row of each region, counted from any one of them; seen as the picture shows them, the rows
        lie clockwise of the columns.
    centres : ndarray, shape (N, 2)
        Centroids of the regions, (x, y) in pixels.
    homography : ndarray, shape (3, 3)
        Takes (column, row, 1) to pixels.
    members : ndarray of int, shape (N,)
        Which regions they are.
    """

    cells: NDArray[np.int_]
    centres: NDArray[np.float64]
    homography: NDArray[np.float64]
    members: NDArray[np.int_]

    def at(self, cells: NDArray[np.floating]) -> NDArray[np.float64]:
        """Pixel coordinates of cells, shape (..., 2)."""
        return project(self.homography, cells)


def project(homography: NDArray[np.float64], points: NDArray[np.floating]) -> NDArray[np.float64]:
    """Points of shape (..., 2) through a homography; NaN at or behind its horizon.

    Examples
    --------
    >>> project(np.diag([2.0, 3.0, 1.0]), np.array([[1.0, 1.0]])).tolist()
    [[2.0, 3.0]]
    """
    points = np.asarray(points, dtype=float)
    x, y, w = np.moveaxis(points @ homography[:, :2].T + homography[:, 2], -1, 0)
    w = np.where(w > 1e-9, w, np.nan)
    return np.stack([x / w, y / w], axis=-1)


def patch_grids(regions: FlatRegions, least: int, across: int, variety: float = 0.0) -> Iterator[PatchGrid]:
    """Join regions to grids.

    Parameters
    ----------
    regions : FlatRegions
    least : int
        How many regions a grid has at least.
    across : int
        How many cells away from its first a grid is followed: the target's longer side.
    variety : float, optional
        Standard deviation of colour, on the picture's scale, that a region and its eight nearest of like size
        have at least for a grid to be begun there. Cloth, bricks and squared paper are grids of one colour.

    Yields
    ------
    PatchGrid
        A region may belong to more than one grid.
    """
    if len(regions.sizes) < least:
        return
    near = _like_neighbours(regions)
    varied = _variety(regions, near) >= variety
    tried: set[int] = set()
    # From large to small: what is larger than a target's patches is rare, what is smaller is not.
    for seed in np.argsort(-regions.sizes, kind="stable"):
        if seed in tried or not varied[seed] or len(near[seed]) < 3:
            continue
        for along, down in _first_steps(regions, near[seed]):
            members = _grow(regions, near, seed, along, down, across)
            if len(members) < min(least, 6):
                continue
            tried.update(members.values())
            grid = _straightened(regions, members, least, across)
            if grid is not None:
                tried.update(grid.members)
                yield grid
                break


def _like_neighbours(regions: FlatRegions, count: int = 12) -> list[NDArray[np.int_]]:
    # Each region itself and its nearest of like size. Trees are shared by regions whose sizes differ by less
    # than a tenth.
    near: list[NDArray[np.int_]] = [np.empty(0, dtype=int)] * len(regions.sizes)
    band = np.round(np.log(regions.sizes) / np.log(1.1)).astype(int)
    for each in np.unique(band):
        members = np.flatnonzero(band == each)
        alike = np.flatnonzero(_like(regions.sizes, 1.1 ** float(each)))
        if len(alike) > 1:
            _, index = cKDTree(regions.centres[alike]).query(
                regions.centres[members], min(count + 1, len(alike))
            )
            rows = alike[index]
            # Itself first, where others in the same place have not pushed it out of the nearest.
            own = rows == members[:, None]
            missing = ~own.any(axis=1)
            rows[missing, -1], own[missing, -1] = members[missing], True
            first = np.argsort(~own, axis=1, kind="stable")
            for member, row in zip(members, np.take_along_axis(rows, first, axis=1), strict=True):
                near[member] = row
    return near


def _variety(regions: FlatRegions, near: list[NDArray[np.int_]]) -> NDArray[np.float64]:
    # For all regions at once: one by one it took a third of the time of a picture full of flat regions.
    count = np.array([len(others) for others in near])
    alone = count == 0
    first = np.cumsum(count) - count
    # The nearest again and again where there are fewer than nine.
    some = first[:, None] + np.arange(9) % np.clip(count, 1, 9)[:, None]
    some[alone] = 0
    nearest = np.concatenate([*near, [0]])[some]
    return np.where(alone, 0, regions.colours[nearest].std(axis=1).max(axis=-1))


def _like(sizes: NDArray[np.float64], size: float) -> NDArray[np.bool_]:
    return (sizes < LIKE_SIZE * size) & (sizes * LIKE_SIZE > size)


def _first_steps(
    regions: FlatRegions, near: NDArray[np.int_]
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    seed, others = near[0], near[1:]
    every = steps = regions.centres[others] - regions.centres[seed]
    lengths = np.hypot(*steps.T)
    # Blurred small patches are flat only in their midst, so that a step may be 3 times what is flat.
    steps = steps[(lengths > 0.9 * regions.sizes[seed]) & (lengths < 3.2 * regions.sizes[seed])][:6]
    yielded = 0
    for second in range(1, len(steps)):
        for first in range(second):
            along, down = steps[first], steps[second]
            off = np.hypot(*(every - along - down).T)
            if off.min() > OFF_GRID * (np.hypot(*along) + np.hypot(*down)):
                continue
            turn = along[0] * down[1] - along[1] * down[0]
            product = np.hypot(*along) * np.hypot(*down)
            ratio = np.hypot(*down) / np.hypot(*along)
            if abs(turn) > 0.75 * product and 0.5 < ratio < 2:
                yield (along, down) if turn > 0 else (down, along)
                yielded += 1
                if yielded == 3:
                    return


def _grow(
    regions: FlatRegions,
    near: list[NDArray[np.int_]],
    seed: int,
    along: NDArray[np.float64],
    down: NDArray[np.float64],
    across: int,
) -> dict[tuple[int, int], int]:
    members = {(0, 0): seed}
    taken = {seed}
    waiting = deque([((0, 0), along, down)])
    while waiting:
        cell, along, down = waiting.popleft()
        index = members[cell]
        here = regions.centres[index]
        others = near[index][1:]
        # Likeness is rounded to a tenth, so that a region may be near another and not the other way round.
        for step in _STEPS if len(others) else ():
            beside = cell[0] + step[0], cell[1] + step[1]
            if beside in members or max(map(abs, beside)) > across:
                continue
            wanted = step[0] * along + step[1] * down
            off = np.hypot(*(regions.centres[others] - here - wanted).T)
            best = int(np.argmin(off))
            if off[best] > OFF_GRID * np.hypot(*wanted) or others[best] in taken:
                continue
            # The step changes slowly over a picture in perspective: it is learnt on the way.
            moved = regions.centres[others[best]] - here
            learnt = (step[0] * moved, down) if step[0] else (along, step[1] * moved)
            members[beside] = int(others[best])
            taken.add(int(others[best]))
            waiting.append((beside, *learnt))
    return members


def _straightened(
    regions: FlatRegions, members: dict[tuple[int, int], int], least: int, across: int
) -> PatchGrid | None:
    cells = np.array(list(members))
    chosen = np.array(list(members.values()))
    tree = cKDTree(regions.centres)
    grid = None
    before = 0
    for _ in range(across):
        if len(cells) < 5 or np.ptp(cells[:, 0]) < 1 or np.ptp(cells[:, 1]) < 1:
            return None
        homography, fitting = _fit(cells, regions.centres[chosen], regions.sizes[chosen])
        if homography is None or fitting < 0.6 * least:
            return None
        low, high = cells.min(axis=0) - 1, cells.max(axis=0) + 1
        if (high - low).max() > 40:
            return None
        every = np.stack(np.meshgrid(*map(np.arange, low, high + 1)), axis=-1).reshape(-1, 2)
        places = project(homography, every)
        steps = np.minimum(
            np.hypot(*(project(homography, every + [1, 0]) - places).T),
            np.hypot(*(project(homography, every + [0, 1]) - places).T),
        )
        seen = np.isfinite(steps) & np.isfinite(places).all(axis=-1)
        every, places, steps = every[seen], places[seen], steps[seen]
        if not len(every):
            return None
        off, index = tree.query(places)
        size = np.median(regions.sizes[chosen])
        fits = (
            (off < OFF_GRID * steps)
            & _like(regions.sizes[index], size)
            & (regions.sizes[index] < 1.1 * steps)
        )
        cells, chosen = every[fits], index[fits]
        if len(cells) < least:
            return None
        grid = PatchGrid(cells, regions.centres[chosen], homography, chosen)
        if len(cells) == before:
            break
        before = len(cells)
    return grid


def _fit(
    cells: NDArray[np.int_], centres: NDArray[np.float64], sizes: NDArray[np.float64]
) -> tuple[NDArray[np.float64] | None, int]:
    allowed = 0.15 * float(np.median(sizes))
    homography, inside = cv2.findHomography(
        cells.astype(float), centres, cv2.RANSAC, max(allowed, 0.75), maxIters=150
    )
    if homography is None or inside.sum() < 5:
        return None, 0
    middle = homography[2] @ [*cells.mean(axis=0), 1]
    if abs(middle) < 1e-9:
        return None, 0
    return homography / middle, int(inside.sum())
