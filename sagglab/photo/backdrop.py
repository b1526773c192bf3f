"""The backdrop: what the rim of the frame shows, going on behind the pot.

A table's edge, or that of a sheet, runs on behind the pot, too: where opposite sides of the frame show the
same step, there is a straight edge between them, and each ground beside it goes on as a surface of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: A soft shadow takes this much L* off a backdrop at the most, and hardly changes its hue and chroma.
SHADOW_L = 22.0
#: More than this in (a*, b*), shading allowed for, or in L* upwards is no shadow.
NOT_BACKDROP = 9.0
#: A backdrop is plain when this share of the frame's rim is within this ΔE*ab of smooth surfaces.
PLAIN_SHARE = 0.6
PLAIN = 8.0
#: A step in the rim's colour, in ΔE*ab, from which it may be where one ground ends.
STEP = 5.0
#: Over how many pixels to either side of a step the rim is averaged.
REACH = 6
#: How far an edge may fall over the frame's width, and by how much the colours beside it may differ from one
#: side of the frame to the other, in ΔE*ab: the light is uneven.
ASLANT, UNEVEN = 0.12, 16.0


@dataclass(frozen=True)
class Backdrop:
    """What there would be without the pot.

    Attributes
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
        CIELAB of the grounds, in their own light.
    plain : float
        Share of the frame's rim that the grounds explain.
    grain : float
        How far the grounds scatter about it, ΔE*ab (root mean square).
    seam : ndarray of bool, shape (rows, columns)
        Where grounds meet, and neither can be told.
    """

    lab: NDArray[np.float32]
    plain: float
    grain: float
    seam: NDArray[np.bool_]

    def compare(self, lab: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Tell how unlike the backdrop each pixel is, and how unlike a shadow on it.

        Parameters
        ----------
        lab : ndarray of float32, shape (rows, columns, 3)

        Returns
        -------
        unlike : ndarray, shape (rows, columns)
            ΔE*ab from the backdrop.
        no_shadow : ndarray, shape (rows, columns)
            1 where it is just more than a shadow could make.
        """
        unlike, no_shadow = compare(lab, self.lab)
        if not self.seam.any():
            return unlike, no_shadow
        # On a seam neither ground can be told: what lies just beside it, on its more backdrop-like side,
        # goes on.
        reach = cv2.getStructuringElement(cv2.MORPH_RECT, (9, 9))
        return tuple(
            np.where(self.seam, cv2.erode(np.where(self.seam, np.float32(1e3), part), reach), part)
            for part in (unlike, no_shadow)
        )


def compare(
    lab: NDArray[np.float32], ground: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Compare colours with a ground as `Backdrop.compare` does."""
    lighter = lab[..., 0] - ground[..., 0]
    # In less light XYZ shrinks as a whole: L* + 16, a* and b* shrink by one factor, the cube root's.
    shade = np.clip((lab[..., 0] + 16) / (ground[..., 0] + 16), 0, 1)
    a, b = (lab[..., k] - shade * ground[..., k] for k in (1, 2))
    chroma = np.sqrt(a * a + b * b)
    no_shadow = np.maximum(np.maximum(chroma, lighter) / NOT_BACKDROP, -lighter / SHADOW_L)
    a, b = (lab[..., k] - ground[..., k] for k in (1, 2))
    return np.sqrt(lighter * lighter + a * a + b * b), no_shadow


def find_backdrop(lab: NDArray[np.float32], elsewhere: NDArray[np.bool_]) -> Backdrop | None:
    """Continue what the rim of the frame shows over the whole picture.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
    elsewhere : ndarray of bool, shape (rows, columns)
        What is neither backdrop nor pot.

    Returns
    -------
    Backdrop or None
        None when the rim shows no plain grounds.
    """
    rows, columns = elsewhere.shape
    width = max(3, rows // 40)
    rim = np.ones(elsewhere.shape, dtype=bool)
    rim[width:-width, width:-width] = False
    rim &= ~elsewhere
    if rim.sum() < 100:
        return None
    zones, seam = _zones(lab, elsewhere, width)
    ground = np.full_like(lab, np.inf)
    for zone in range(zones.max() + 1):
        inside = zones == zone
        fitted = _surface(lab, inside & ~elsewhere & ~seam, rim & inside & ~seam)
        if fitted is not None:
            ground = np.where(inside[..., None], fitted, ground) if zones.any() else fitted
    off = lab - ground
    apart = np.einsum("...k,...k", off, off)
    plain = float((apart[rim & ~seam] < PLAIN**2).mean())
    if plain < PLAIN_SHARE:
        return None
    like = (apart < 6**2) & ~elsewhere & ~seam
    smooth = _local(off, like)
    grain = float(np.sqrt(((off - smooth)[like] ** 2).sum() / like.sum())) if like.any() else 0.0
    # A zone that could not be told is unlike everything, but not without bound.
    return Backdrop(np.nan_to_num(ground, posinf=200.0) + smooth, plain, grain, seam)


def _zones(
    lab: NDArray[np.float32], elsewhere: NDArray[np.bool_], width: int
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Part the picture along straight edges that run from one side of the frame to the other."""
    rows, columns = elsewhere.shape
    zones, seam = np.zeros(elsewhere.shape, dtype=np.intp), np.zeros(elsewhere.shape, dtype=bool)
    y, x = np.mgrid[:rows, :columns]
    count = 1
    for first, last, along, across in (
        (lab[:, :width], lab[:, -width:], y, x / (columns - 1)),
        (lab[:width].swapaxes(0, 1), lab[-width:].swapaxes(0, 1), x, y / (rows - 1)),
    ):
        reach = ASLANT * (columns if along is y else rows)
        for start, end in _edges(np.median(first, axis=1), np.median(last, axis=1), reach):
            off = along - (start + (end - start) * across)
            zones += count * (off > 0)
            count *= 2
            seam |= np.abs(off) < 2.5
    return np.unique(zones, return_inverse=True)[1].reshape(zones.shape), seam


def _edges(first: NDArray[np.float32], last: NDArray[np.float32], reach: float) -> list[tuple[float, float]]:
    """Find steps that both sides of the frame show, at about the same place and between the same colours."""
    sides = []
    for side in (first, last):
        # Averages over a few pixels to either side, so that noise makes no edges.
        sums = np.pad(np.cumsum(side, axis=0), ((1, 0), (0, 0)))
        means = (sums[REACH:] - sums[:-REACH]) / REACH
        over, under = means[: -REACH - 2], means[REACH + 2 :]
        step = np.linalg.norm(under - over, axis=-1)
        least = max(STEP, 4 * float(np.median(step)))
        peaks = [
            at
            for at in range(len(step))
            if step[at] > least and step[at] == step[max(0, at - REACH) : at + REACH + 1].max()
        ]
        sides.append([(at + REACH + 0.5, over[at], under[at]) for at in peaks])
    found = []
    for start, over, under in sides[0]:
        pairs = [
            (np.linalg.norm(over - other_over) + np.linalg.norm(under - other_under), end)
            for end, other_over, other_under in sides[1]
            if abs(end - start) <= reach
            # The step goes the same way, whatever the light on either side.
            and (under - over) @ (other_under - other_over)
            > 0.5 * np.linalg.norm(under - over) * np.linalg.norm(other_under - other_over)
        ]
        if pairs and min(pairs)[0] < 2 * UNEVEN:
            found.append((start, min(pairs)[1]))
    return found[:3]


def _surface(
    lab: NDArray[np.float32], allowed: NDArray[np.bool_], known: NDArray[np.bool_]
) -> NDArray[np.float32] | None:
    """Fit a smooth surface in CIELAB to what looks like the rim; None where the rim says too little."""
    rows, columns = allowed.shape
    # Six numbers for each channel are settled by a sixteenth of the pixels.
    some = np.s_[::4, ::4]
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")

    def terms(y: NDArray, x: NDArray) -> NDArray:
        return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)

    allowed, values = allowed[some].ravel(), lab[some].reshape(-1, 3).astype(float)
    known = known[some].ravel() & allowed
    if known.sum() < 12:
        return None
    design = terms(y[some].ravel(), x[some].ravel())
    # A zone that is a narrow strip tells no curve across it.
    tall = np.ptp(y[some].ravel()[allowed]) > 0.7
    free = np.arange(6) if tall else np.array([0, 1, 2, 3])
    coefficients = np.zeros((6, 3))
    coefficients[0] = np.median(values[known], axis=0)
    for reach in (25.0, 15.0, 8.0, 6.0, 5.0):
        # Each round takes in all that already looks like backdrop, wherever it is, and lets go of the rest.
        rest = values - design @ coefficients
        near = np.einsum("ij,ij->i", rest, rest) < reach**2
        chosen = near & (known if reach > 10 else allowed)
        if chosen.sum() < 12:
            break
        coefficients = np.zeros((6, 3))
        # By the normal equations: of some thousand pixels the same surface in a tenth of the time.
        part = design[chosen][:, free]
        coefficients[free] = np.linalg.lstsq(part.T @ part, part.T @ values[chosen])[0]
    # Along x a parabola in each row: a tenth of the work of all terms at all pixels.
    x, y = np.linspace(-1, 1, columns)[None, :, None], np.linspace(-1, 1, rows)[:, None, None]
    one, by_x, by_y, by_xx, by_xy, by_yy = coefficients
    level, slope, bend = (
        part.astype(np.float32) for part in (one + by_y * y + by_yy * y * y, by_x + by_xy * y, by_xx + 0 * y)
    )
    x = x.astype(np.float32)
    return level + x * (slope + x * bend)


def _local(off: NDArray[np.float32], like: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Smooth what is left over the surfaces: a sweep's bend, a shadow's skirt."""
    rows, columns = like.shape
    size = max(1, columns // 8), max(1, rows // 8)
    weight = cv2.resize(like.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    sums = cv2.resize(np.where(like[..., None], off, np.float32(0)), size, interpolation=cv2.INTER_AREA)
    weight, sums = (cv2.GaussianBlur(part, (0, 0), 2.0) for part in (weight, sums))
    # Far from any backdrop the surfaces stand as they are.
    smooth = sums / (weight + 0.02)[..., None]
    return cv2.resize(smooth, (columns, rows), interpolation=cv2.INTER_LINEAR)
