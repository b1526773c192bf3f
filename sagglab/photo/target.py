"""Find a colour target in a photograph: which grid of patches bears its colours, and which way up.

Every grid of flat patches is compared with the target's reference colours at every place where the target
could lie on it, in each of its four turns. Light, exposure and camera are unknown, so that colours are
compared after a map that takes the seen to the reference colours as well as a map of its kind can: the right
placement leaves small residuals, a wrong one cannot be talked into it. Mirror images are not tried, since no
turn of the hand makes one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from sagglab.colour import SRGB_TO_XYZ, WHITE_D50, WHITE_D65, adaptation, lab_to_xyz
from sagglab.errors import TargetError
from sagglab.photo.grid import PatchGrid, flat_regions, patch_grids, project
from sagglab.targets import Target

#: Looks at the picture, one after the other until the target is found: the longest side, in pixels, to which
#: it is brought; the shortest and longest edge of what is flat of a patch there; the median filter's width.
#: The second is for noise, which hides the gaps between the dark patches of a dim picture; the filter takes
#: it off, and with it the gaps between small patches. The third is for targets too small for the first.
LOOKS = ((1200, 4.0, None, 1), (1200, 6.0, None, 5), (2400, 7.0, 30.0, 1))

#: Most that a small picture is enlarged, so that its patches are flat over more than a pixel or two.
MOST_ENLARGED = 4.0

#: Least share of the target's patches that lie inside the picture, and that were found as flat regions.
LEAST_SEEN = 0.7
LEAST_HELD = 0.45

#: Least colour contrast among neighbouring patches, as a share of the reference's on the cube root scale: a
#: fifth is left of it six stops down.
LEAST_VARIETY = 0.2

#: Residual, on the cube root scale from black 0 to white 1, at which a patch counts for 0.6 of a fitting one.
#: Charts differ by make and age, and few photographs are linear: right placements leave 0.02 to 0.1.
FITTING = 0.1

#: Pull of the colour map towards one that changes no hue, as a share of the colours' variance in one patch.
PULL = 0.5

#: Share of the ring around a target that may hold more patches of the same grid. Beyond it the target's
#: colours are part of a larger chart, whose other patches would shade or replace those that are meant.
MOST_AROUND = 0.4

#: Lead over the best wrong placement at which confidence is one half, and what changes it e-fold. Of 64
#: photographs, 37 with a target, wrong placements led by at most 0.05, right ones by 0.37 or more.
LEAD_AT_HALF = 0.2
LEAD_SCALE = 0.05

#: Below this confidence nothing is returned; at the higher one nothing better is looked for.
LEAST_CONFIDENCE = 0.5
ENOUGH_CONFIDENCE = 0.97

# Edge of a cell, and the margin left out around its midst, in pixels of the straightened grid.
_CELL, _MARGIN = 9, 3


@dataclass(frozen=True)
class FoundTarget:
    """Where the target lies in a photograph.

    Attributes
    ----------
    corners : ndarray, shape (4, 2)
        Centres of the corner patches, (x, y) in pixels of the full picture, x to the right, y down, whole
        numbers at pixel centres: row 1 column 1; row 1 last column; last row last column; last row column 1.
    confidence : float
        Between 0 and 1: how well the patches bear the target's colours, beyond what the next best placement
        and shuffled colours do.
    """

    corners: NDArray[np.float64]
    confidence: float


@dataclass(frozen=True)
class _Placement:
    # Corners as in FoundTarget, in working pixels.
    corners: NDArray[np.float64]
    fit: float
    held: float
    around: float

    def same_place(self, other: _Placement) -> bool:
        sides = np.hypot(*(self.corners - np.roll(self.corners, 1, axis=0)).T)
        return bool(np.hypot(*(self.corners - other.corners).T).max() < 0.1 * sides.min())


def find_target(linear: NDArray[np.floating], target: Target) -> FoundTarget:
    """Find a colour target in a photograph, at any place, in any turn, in perspective.

    Where the picture holds two of them, one of the two is returned, usually the larger.

    Parameters
    ----------
    linear : ndarray of float, shape (H, W, 3)
        The photograph in linear-light sRGB, white 1; values a little beyond are allowed.
    target : Target
        What to look for. A target of fewer than about ten patches, or of colours that are nearly alike, is
        never found with confidence: too many things look like it.

    Returns
    -------
    FoundTarget

    Raises
    ------
    TargetError
        No grid of patches in the picture is this target with enough confidence.

    Examples
    --------
    >>> from sagglab.targets import read_target
    >>> try:
    ...     find_target(np.full((300, 400, 3), 0.5, dtype=np.float32), read_target("24-patch-from-2014-11"))
    ... except TargetError as error:
    ...     print(error.cause)
    no grid of patches is seen
    """
    reference = _cube_roots(target.lab)
    chance = _fit_by_chance(reference.tobytes(), reference.shape)
    variety = 255 * LEAST_VARIETY * float(reference.reshape(-1, 3).std(axis=0).max())
    longest = max(linear.shape[:2])
    best: _Placement | None = None
    confidence, larger_chart = 0.0, False
    for side, smallest, largest, filtered in LOOKS:
        if larger_chart or (side > LOOKS[0][0] and longest < 1.25 * LOOKS[0][0]):
            break
        rivals: list[_Placement] = []
        roots, scale = _working_picture(linear, side)
        encoded = (roots * 255 + 0.5).astype(np.uint8)
        regions = flat_regions(cv2.medianBlur(encoded, filtered), smallest, largest)
        least = max(5, round(LEAST_HELD * target.rows * target.columns))
        best = None
        for grid in patch_grids(regions, least, max(target.rows, target.columns), variety):
            for placement in _placements(grid, roots, reference):
                if placement.around > MOST_AROUND:
                    larger_chart |= _confidence(placement.fit, chance) >= LEAST_CONFIDENCE
                    continue
                rivals.append(placement)
                if best is None or placement.fit > best.fit:
                    best = placement
            if best is None:
                continue
            others = [rival.fit for rival in rivals if not best.same_place(rival)]
            confidence = _confidence(best.fit, max(chance, *others, 0.0))
            if confidence >= ENOUGH_CONFIDENCE and best.held >= 0.8:
                break
        if best is not None and confidence >= LEAST_CONFIDENCE:
            return FoundTarget((best.corners + 0.5) / scale - 0.5, confidence)
    if larger_chart:
        cause = "the patches that bear the target's colours are part of a larger chart"
    elif best is None:
        cause = "no grid of patches is seen"
    else:
        cause = f"no grid of patches bears the target's colours (confidence {confidence:.2f})"
    raise TargetError(
        "photograph",
        cause,
        "take it with the whole target in the frame, sharp and not too small, or state 'target corners'",
    )


def _confidence(fit: float, best_wrong: float) -> float:
    lead = (fit - best_wrong) / max(1 - best_wrong, 1e-6)
    return float(1 / (1 + np.exp(-(lead - LEAD_AT_HALF) / LEAD_SCALE)))


def _working_picture(
    linear: NDArray[np.floating], side: int
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    height, width = linear.shape[:2]
    scale = min(side / max(height, width), MOST_ENLARGED)
    size = max(1, round(width * scale)), max(1, round(height * scale))
    # Light is averaged while it is still linear, as a lens farther away would.
    kind = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    smaller = cv2.resize(np.asarray(linear, dtype=np.float32), size, interpolation=kind)
    # Cube roots look evenly spaced, and turn the gains of light and exposure into other gains, nothing worse.
    return np.cbrt(np.clip(smaller, 0, 1)), np.array([size[0] / width, size[1] / height])


def _cube_roots(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    to_linear = np.linalg.inv(adaptation(WHITE_D65, WHITE_D50) @ SRGB_TO_XYZ)
    return np.cbrt(np.clip(lab_to_xyz(lab) @ to_linear.T, 0, 1))


@lru_cache(maxsize=8)
def _fit_by_chance(reference: bytes, shape: tuple[int, ...]) -> float:
    # What the target's own colours reach when they are shuffled: little for many distinct patches, nearly as
    # much as the right order for few, so that a small target asks for a better fit by itself.
    colours = np.frombuffer(reference).reshape(-1, shape[-1])
    random = np.random.default_rng(24)
    shuffled = np.array([colours[random.permutation(len(colours))] for _ in range(500)])
    return float(_fits(shuffled, colours).max())


def _placements(
    grid: PatchGrid, roots: NDArray[np.float32], reference: NDArray[np.float64]
) -> Iterator[_Placement]:
    """Lay the target on a grid in the two ways that fit best."""
    rows, columns = reference.shape[:2]
    # A target reaches past what was found of it by the rows or columns that were missed.
    low, high = grid.cells.min(axis=0) - 3, grid.cells.max(axis=0) + 3
    colours = _cell_colours(grid, roots, low, high)
    held = np.zeros(colours.shape[:2], dtype=bool)
    held[grid.cells[:, 1] - low[1], grid.cells[:, 0] - low[0]] = True
    seen, windows = [], []
    for turn in range(4):
        shape = (columns, rows) if turn % 2 else (rows, columns)
        if shape[0] > held.shape[0] or shape[1] > held.shape[1]:
            continue
        counts = sliding_window_view(held, shape).sum(axis=(2, 3))
        visible = sliding_window_view(np.isfinite(colours[..., 0]), shape).mean(axis=(2, 3))
        possible = (counts >= max(5, LEAST_HELD * rows * columns)) & (visible >= LEAST_SEEN)
        for top, left in np.argwhere(possible):
            window = colours[top : top + shape[0], left : left + shape[1]]
            seen.append(np.rot90(window, turn).reshape(-1, 3))
            windows.append((turn, top, left, *shape))
    if not seen:
        return
    patches, fits = np.array(seen), np.zeros(len(seen))
    # Two rounds tell the hopeless placements from the few that are worth settling.
    hopeful = np.argsort(-_fits(patches, reference.reshape(-1, 3), 2), kind="stable")[:12]
    fits[hopeful] = _fits(patches[hopeful], reference.reshape(-1, 3))
    for best in np.argsort(-fits, kind="stable")[:2]:
        turn, top, left, tall, wide = windows[best]
        upper_left = np.array([left, top]) + low
        corners = upper_left + np.array([[0, 0], [wide - 1, 0], [wide - 1, tall - 1], [0, tall - 1]])
        inside = ((grid.cells >= upper_left) & (grid.cells < upper_left + [wide, tall])).all(axis=-1)
        # Each turn of np.rot90 brings the upper right to the upper left.
        places = np.roll(_places(grid, inside, corners), -turn, axis=0)
        if np.isfinite(places).all():
            around = np.pad(held, 1)[top : top + tall + 2, left : left + wide + 2]
            beyond = (around.sum() - inside.sum()) / (around.size - tall * wide)
            yield _Placement(places, float(fits[best]), float(inside.sum()) / (rows * columns), float(beyond))


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


def _fits(seen: NDArray[np.float64], reference: NDArray[np.float64], rounds: int = 6) -> NDArray[np.float64]:
    """Share of patches whose colours fit, for each placement.

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
    ndarray, shape (K,)
        Between 0 and 1; unseen patches do not fit.
    """
    there = np.isfinite(seen).all(axis=-1)
    seen = np.where(there[..., None], seen, 0)
    weight = there.astype(float)
    # A covered or glaring patch must not bend the map: weights fall with the residuals of the round before
    # (Cauchy's weight). Six rounds settle the fit to 0.01.
    for _ in range(rounds):
        total = weight.sum(axis=1)[:, None]
        x = seen - (np.einsum("kn,kni->ki", weight, seen) / total)[:, None]
        y = reference - (weight @ reference / total)[:, None]
        x_variance = np.einsum("kn,kni->k", weight, x**2) / 3
        y_variance = np.einsum("kn,kni->k", weight, y**2) / 3
        gain = np.sqrt(y_variance / np.maximum(x_variance, 1e-9))
        pull = PULL * np.maximum(x_variance, 1e-6)
        square = np.einsum("kn,kni,knj->kij", weight, x, x) + pull[:, None, None] * np.eye(3)
        mixed = np.einsum("kn,kni,knj->kij", weight, x, y) + (pull * gain)[:, None, None] * np.eye(3)
        residual = np.sqrt((((x @ np.linalg.solve(square, mixed)) - y) ** 2).mean(axis=-1))
        weight = there / (1 + (residual / FITTING) ** 2)
    return (there * np.exp(-0.5 * (residual / FITTING) ** 2)).mean(axis=1)
