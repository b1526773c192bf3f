"""Places where a target can lie on a grid of patches, and how well its colours fit there.

Light, exposure and camera are unknown, so that colours are compared after a map that takes the seen to the
reference colours as well as a map of its kind can: the right placement leaves small residuals, a wrong one
cannot be talked into it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import binary_propagation

from sagglab.photo.grid import PatchGrid, project

#: Least share of the target's patches that lie inside the picture, and that were found as flat regions.
LEAST_SEEN = 0.6
LEAST_HELD = 0.45

#: Residual, on the cube root scale from black 0 to white 1, at which a patch counts for 0.6 of a fitting one.
#: Charts differ by make and age, and few photographs are linear: right placements leave 0.02 to 0.1.
FITTING = 0.1

#: Residual from which a patch that is no flat region of the grid either is covered by something: at least,
#: and in medians of the residuals of those that are.
COVERED, COVERED_IN_MEDIANS = 0.12, 4.0
#: The same for a patch beside a covered one.
BESIDE_COVERED, BESIDE_IN_MEDIANS = 0.1, 2.5
#: Least share of a mirrored target's patches that were found as flat regions, for it to be recognised: half
#: the time of a picture full of grids went into mirrored placements.
LEAST_HELD_MIRRORED = 0.7

#: Pull of the colour map towards one that changes no hue, as a share of the colours' variance in one patch.
PULL = 0.5

#: Lead over the best wrong placement at which confidence is one half, and what changes it e-fold. Of 64
#: photographs, 37 with a target, wrong placements led by at most 0.05, right ones by 0.37 or more.
LEAD_AT_HALF = 0.2
LEAD_SCALE = 0.05

#: Share of the smaller of two placements that lies in the other when they compete for the same patches.
OVERLAPPING = 0.05

# Edge of a cell, and the margin left out around its midst, in pixels of the straightened grid.
_CELL, _MARGIN = 9, 3


@dataclass(frozen=True)
class Placement:
    """A target laid on a grid.

    Attributes
    ----------
    corners : ndarray, shape (4, 2)
        Centres of the corner patches, as `FoundTarget` has them, in pixels of the picture looked at.
    fit : float
        Share of patches whose colours fit.
    held : float
        Share of patches that were found as flat regions of the grid.
    around : float
        Share of the ring of cells around it that hold patches of the same grid.
    covered : ndarray of bool, shape (rows, columns)
        Patches that are neither flat regions nor of the right colour.
    mirrored : bool
        Whether the target was laid on with its columns in reverse.
    """

    corners: NDArray[np.float64]
    fit: float
    held: float
    around: float
    covered: NDArray[np.bool_]
    mirrored: bool

    @property
    def area(self) -> float:
        """Area between the corners, in square pixels."""
        return float(cv2.contourArea(self.corners.astype(np.float32)))

    def same_place(self, other: Placement) -> bool:
        """Tell whether both have the same corners, in the same order."""
        sides = np.hypot(*(self.corners - np.roll(self.corners, 1, axis=0)).T)
        return bool(np.hypot(*(self.corners - other.corners).T).max() < 0.1 * sides.min())

    def overlaps(self, other: Placement) -> bool:
        """Tell whether both claim the same part of the picture."""
        shared, _ = cv2.intersectConvexConvex(
            self.corners.astype(np.float32), other.corners.astype(np.float32)
        )
        return bool(shared > OVERLAPPING * min(self.area, other.area))


def confidence_of(fit: float, best_wrong: float) -> float:
    """Turn the lead over the best wrong placement into a confidence between 0 and 1.

    Examples
    --------
    >>> round(confidence_of(0.9, 0.3), 2), round(confidence_of(0.35, 0.3), 2)
    (1.0, 0.07)
    """
    lead = (fit - best_wrong) / max(1 - best_wrong, 1e-6)
    return float(1 / (1 + np.exp(-(lead - LEAD_AT_HALF) / LEAD_SCALE)))


def fit_by_chance(reference: NDArray[np.float64]) -> float:
    """Tell how well the target's own colours fit it at most when they are shuffled.

    Little for many distinct patches, nearly as much as the right order for few, so that a small target asks
    for a better fit by itself.

    Parameters
    ----------
    reference : ndarray, shape (rows, columns, 3)
        Cube roots of the reference colours.
    """
    return _chance(reference.tobytes(), reference.shape)


@lru_cache(maxsize=8)
def _chance(reference: bytes, shape: tuple[int, ...]) -> float:
    colours = np.frombuffer(reference).reshape(-1, shape[-1])
    random = np.random.default_rng(24)
    shuffled = np.array([colours[random.permutation(len(colours))] for _ in range(500)])
    return float(_fits(shuffled, colours).max())


def placements(
    grid: PatchGrid, roots: NDArray[np.float32], reference: NDArray[np.float64]
) -> Iterator[Placement]:
    """Lay the target on a grid in the two ways that fit best, and in the best mirrored one.

    Parameters
    ----------
    grid : PatchGrid
    roots : ndarray of float32, shape (H, W, 3)
        Cube roots of the picture's linear light.
    reference : ndarray, shape (rows, columns, 3)
        Cube roots of the reference colours.

    Yields
    ------
    Placement
        The mirrored one only when nothing else fits with confidence: a turn of the hand makes none.
    """
    rows, columns = reference.shape[:2]
    # A target reaches past what was found of it by the rows or columns that were missed.
    low, high = grid.cells.min(axis=0) - 3, grid.cells.max(axis=0) + 3
    colours = _cell_colours(grid, roots, low, high)
    held = np.zeros(colours.shape[:2], dtype=bool)
    held[grid.cells[:, 1] - low[1], grid.cells[:, 0] - low[0]] = True
    seen, windows, whole = [], [], []
    for turn in range(4):
        shape = (columns, rows) if turn % 2 else (rows, columns)
        if shape[0] > held.shape[0] or shape[1] > held.shape[1]:
            continue
        counts = sliding_window_view(held, shape).sum(axis=(2, 3))
        visible = sliding_window_view(np.isfinite(colours[..., 0]), shape).mean(axis=(2, 3))
        possible = (counts >= max(5, LEAST_HELD * rows * columns)) & (visible >= LEAST_SEEN)
        each = sliding_window_view(colours, shape, axis=(0, 1))[possible]
        seen.append(np.moveaxis(np.rot90(each, turn, axes=(2, 3)), 1, -1))
        whole.append(counts[possible] >= LEAST_HELD_MIRRORED * rows * columns)
        windows += [(turn, top, left, *shape) for top, left in np.argwhere(possible)]
    if not windows:
        return
    straight, mostly_held = np.concatenate(seen), np.concatenate(whole)
    best_fit = 0.0
    for mirrored in (False, True):
        if mirrored and confidence_of(best_fit, fit_by_chance(reference)) >= 0.5:
            return
        tried = np.flatnonzero(mostly_held) if mirrored else np.arange(len(straight))
        if not len(tried):
            return
        patches = (straight[tried][:, :, ::-1] if mirrored else straight).reshape(len(tried), -1, 3)
        # Two rounds tell the hopeless placements from the few that are worth settling.
        hopeful = np.argsort(-_fits(patches, reference.reshape(-1, 3), 2), kind="stable")[:12]
        residuals = _residuals(patches[hopeful], reference.reshape(-1, 3))
        fits = _shares(residuals)
        for best in np.argsort(-fits, kind="stable")[: 1 if mirrored else 2]:
            turn, top, left, tall, wide = windows[tried[hopeful[best]]]
            upper_left = np.array([left, top]) + low
            corners = upper_left + np.array([[0, 0], [wide - 1, 0], [wide - 1, tall - 1], [0, tall - 1]])
            inside = ((grid.cells >= upper_left) & (grid.cells < upper_left + [wide, tall])).all(axis=-1)
            # Each turn of np.rot90 brings the upper right to the upper left.
            places = np.roll(_places(grid, inside, corners), -turn, axis=0)
            if not np.isfinite(places).all():
                continue
            best_fit = max(best_fit, float(fits[best]))
            around = np.pad(held, 1)[top : top + tall + 2, left : left + wide + 2]
            beyond = (around.sum() - inside.sum()) / (around.size - tall * wide)
            flat = np.rot90(held[top : top + tall, left : left + wide], turn)
            off = residuals[best].reshape(rows, columns)
            usual = float(np.median(off[flat]))
            sure = ~flat & (off > max(COVERED, COVERED_IN_MEDIANS * usual))
            # What covers one patch is taken to cover those beside it that it happens to match.
            covered = binary_propagation(
                sure & np.isfinite(off), mask=~flat & (off > max(BESIDE_COVERED, BESIDE_IN_MEDIANS * usual))
            )
            yield Placement(places, float(fits[best]), float(flat.mean()), float(beyond), covered, mirrored)


def _places(grid: PatchGrid, inside: NDArray[np.bool_], corners: NDArray[np.int_]) -> NDArray[np.float64]:
    # Regions beyond the target may lie in another plane: its own patches alone say where its corners are.
    cells = grid.cells[inside]
    if inside.sum() >= 8 and (np.ptp(cells, axis=0) >= 1).all():
        own, _ = cv2.findHomography(cells.astype(float), grid.centres[inside], 0)
        if own is not None:
            own = own / (own[2] @ [*cells.mean(axis=0), 1])
            return project(own, corners)
    return grid.at(corners)


def _cell_colours(
    grid: PatchGrid, roots: NDArray[np.float32], low: NDArray[np.int_], high: NDArray[np.int_]
) -> NDArray[np.float64]:
    """Median colour of the midst of each cell, shape (rows, columns, 3); NaN outside the picture."""
    columns, rows = (int(count) for count in high - low + 1)
    start = low - 0.5 + 0.5 / _CELL
    to_cell = np.array([[1 / _CELL, 0, start[0]], [0, 1 / _CELL, start[1]], [0, 0, 1]])
    straightened = cv2.warpPerspective(
        roots,
        grid.homography @ to_cell,
        (columns * _CELL, rows * _CELL),
        flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(-1.0, -1.0, -1.0),
    )
    midst = np.s_[_MARGIN : _CELL - _MARGIN]
    cells = straightened.reshape(rows, _CELL, columns, _CELL, 3)[:, midst, :, midst]
    cells = cells.transpose(0, 2, 1, 3, 4).reshape(rows, columns, -1, 3)
    outside = (cells < -0.5).any(axis=(2, 3))
    return np.where(outside[..., None], np.nan, np.median(cells, axis=2))


def _residuals(
    seen: NDArray[np.float64], reference: NDArray[np.float64], rounds: int = 6
) -> NDArray[np.float64]:
    """How far each patch's colour lies from the reference, for each placement.

    Parameters
    ----------
    seen : ndarray, shape (K, N, 3)
        Cube roots of the seen colours, one row of patches for each placement; NaN for an unseen patch.
    reference : ndarray, shape (N, 3)
        Cube roots of the reference colours.
    rounds : int, optional
        How often the map is fitted anew.

    Returns
    -------
    ndarray, shape (K, N)
        On the cube root scale; infinite for an unseen patch.
    """
    there = np.isfinite(seen).all(axis=-1)
    seen = np.where(there[..., None], seen, 0)
    weight = there.astype(float)
    # A covered or glaring patch must not bend the map: weights fall with the residuals of the round before
    # (Cauchy's weight). Six rounds settle the fit to 0.01.
    for _ in range(rounds):
        total = weight.sum(axis=1)[:, None]
        x = seen - (weight[:, None] @ seen) / total[:, None]
        y = reference - (weight @ reference / total)[:, None]
        weighted = np.swapaxes(weight[..., None] * x, 1, 2)
        square = weighted @ x
        x_variance = np.trace(square, axis1=1, axis2=2) / 3
        y_variance = (weight * (y**2).sum(axis=-1)).sum(axis=1) / 3
        gain = np.sqrt(y_variance / np.maximum(x_variance, 1e-9))
        pull = PULL * np.maximum(x_variance, 1e-6)
        square = square + pull[:, None, None] * np.eye(3)
        mixed = weighted @ y + (pull * gain)[:, None, None] * np.eye(3)
        residual = np.sqrt((((x @ np.linalg.solve(square, mixed)) - y) ** 2).mean(axis=-1))
        weight = there / (1 + (residual / FITTING) ** 2)
    return np.where(there, residual, np.inf)


def _fits(seen: NDArray[np.float64], reference: NDArray[np.float64], rounds: int = 6) -> NDArray[np.float64]:
    """Share of patches whose colours fit, for each placement, shape (K,), between 0 and 1."""
    return _shares(_residuals(seen, reference, rounds))


def _shares(residuals: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.exp(-0.5 * (residuals / FITTING) ** 2).mean(axis=1)
