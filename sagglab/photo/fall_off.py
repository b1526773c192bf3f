"""The light's fall-off without a flat field: read from the backdrop, or from the target itself.

Either is taken only when `calibrate` finds that the target's patches bear it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import linear_to_xyz, xyz_to_lab
from sagglab.photo.patches import target_area
from sagglab.photo.picture import Picture
from sagglab.photo.tone import Tone

#: Longest side, in pixels, at which the backdrop is looked at.
LOOKED_AT = 150
#: Backdrop is what lies this near, in a* and b*, to the colour along the picture's upper edge and sides.
BACKDROP_CHROMA = 6.0
#: A backdrop is plain when its light strays from the trend by no more than this share, and when it is to be
#: seen over this share of the picture and, in a row that counts, over this share of the width.
PLAIN, LEAST_SHARE, LEAST_REACH = 0.03, 0.25, 0.6
#: The target's frame reaches this far beyond the outer patches' centres, in patches; shadows are cast there.
FRAME = 1.5


class Light(Protocol):
    """How the light falls off over the frame."""

    source: str
    doubt: float

    def at(self, places: ArrayLike, tone: Tone) -> NDArray[np.float64]:
        """Relative light at places (x, y), shape ``(..., 2)`` to ``(..., 3)``."""


@dataclass(frozen=True)
class EvenLight:
    """Light that is taken to be the same all over the frame, for want of evidence."""

    source = "not corrected"
    #: Relative standard uncertainty of the light on the pot against that on the target. Rendered scenes with
    #: fall-off of up to ±8 % to the sides: 4.3 %.
    doubt = 0.04

    def at(self, places: ArrayLike, _tone: Tone) -> NDArray[np.float64]:
        """Relative light at places (x, y), shape ``(..., 2)``: 1."""
        return np.broadcast_to(1.0, (*np.shape(places)[:-1], 3))


@dataclass(frozen=True)
class BackdropTrend:
    """How the light changes from left to right over a plain backdrop.

    From top to bottom nothing can be said: a sheet that is swept up behind the pot turns towards the light
    and away from it.

    Attributes
    ----------
    slope, bend : float
        log of the light changes by slope · X + bend · X², X from −1 at the left edge to 1 at the right.
    columns : int
        Width of the picture in pixels.
    """

    slope: float
    bend: float
    columns: int

    source = "from the backdrop"
    #: Rendered scenes: 0.7 %; a wall behind the pot is lit a little differently in any room.
    doubt = 0.012

    def at(self, places: ArrayLike, _tone: Tone) -> NDArray[np.float64]:
        """Relative light at places (x, y), shape ``(..., 2)``; 1 in the middle of the frame."""
        across = (np.asarray(places, dtype=float)[..., :1] + 0.5) * 2 / self.columns - 1
        light = np.exp(self.slope * across + self.bend * across**2)
        return np.broadcast_to(light, (*light.shape[:-1], 3))


@dataclass(frozen=True)
class TargetTrend:
    """How the light changes over the target; beyond half its size around it, it is taken to stay as it is.

    Attributes
    ----------
    to_grid : ndarray, shape (3, 3)
        Homography from places (x, y) to (column, row) of the target, from 0.
    shape : (rows, columns)
    slopes : tuple of float
        Change of the log of the light over the target, from its first column to its last, and from its first
        row to its last.
    """

    to_grid: NDArray[np.float64]
    shape: tuple[int, int]
    slopes: tuple[float, float]

    source = "from the target's patches"
    #: Little less than without any correction: the target is near the pot, not where it is.
    doubt = 0.03

    def at(self, places: ArrayLike, _tone: Tone) -> NDArray[np.float64]:
        """Relative light at places (x, y), shape ``(..., 2)``; 1 in the middle of the target."""
        light = np.exp(across_target(self.to_grid, self.shape, places) @ np.asarray(self.slopes))
        return np.broadcast_to(light[..., None], (*light.shape, 3))


def across_target(
    to_grid: NDArray[np.float64], shape: tuple[int, int], places: ArrayLike
) -> NDArray[np.float64]:
    """Places (x, y) as shares of the target's width and height from its middle, held at ±1."""
    places = np.asarray(places, dtype=float)
    grid = cv2.perspectiveTransform(places.reshape(1, -1, 2), to_grid).reshape(places.shape)
    last = np.array([shape[1] - 1, shape[0] - 1])
    return np.clip(grid / last - 0.5, -1, 1)


def backdrop_trend(
    picture: Picture, corners: NDArray[np.float64], shape: tuple[int, int], tone: Tone
) -> BackdropTrend | None:
    """Read the fall-off to the sides from a plain backdrop.

    Parameters
    ----------
    picture : Picture
        The photograph.
    corners : ndarray, shape (4, 2)
        Centres of the target's corner patches.
    shape : (rows, columns)
        Of the target.
    tone : Tone

    Returns
    -------
    BackdropTrend or None
        None when no plain backdrop is seen over enough of the picture.
    """
    rows, columns = picture.size
    light = tone(picture.reduced(LOOKED_AT))
    size = light.shape[1::-1]
    # Only differences of colour count, for which any RGB is near enough to sRGB.
    lab = xyz_to_lab(linear_to_xyz(light))
    likely = ~target_area(corners, shape, (rows, columns), size[::-1], FRAME)
    edge = np.zeros_like(likely)
    margin = max(2, size[0] // 25)
    edge[:margin] = edge[:, :margin] = edge[:, -margin:] = True
    if not (edge & likely).any():
        return None
    middle = np.median(lab[edge & likely], axis=0)
    likely &= np.hypot(*(lab[..., 1:] - middle[1:]).T).T < BACKDROP_CHROMA
    # A row in which pot or target leaves a bit of backdrop on one side only says little of left and right.
    x = np.linspace(-1, 1, size[0])
    reach = np.where(likely, x, -np.inf).max(axis=1) - np.where(likely, x, np.inf).min(axis=1)
    likely &= (reach >= 2 * LEAST_REACH)[:, None]
    if likely.mean() < LEAST_SHARE:
        return None
    shown = np.log(np.maximum(light @ [0.2, 0.6, 0.2], 1e-4))
    coefficients, scatter, kept = _trend_in_rows(shown, np.stack([x, x**2], axis=-1), likely)
    if scatter > PLAIN or kept.mean() < LEAST_SHARE:
        return None
    return BackdropTrend(float(coefficients[0]), float(coefficients[1]), columns)


def _trend_in_rows(
    shown: NDArray[np.float64], terms: NDArray[np.float64], likely: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], float, NDArray[np.bool_]]:
    """Fit one trend, terms of each column, to all rows, each with a level of its own.

    Tukey's weights leave out pot, shadows and what else is no backdrop; ten rounds settle the slope to 1e-4.
    """
    weight = likely.astype(float)
    products = terms[:, :, None] * terms[:, None]
    for _ in range(10):
        # Sums over rows suffice: pixel by pixel the ten rounds took 0.05 s.
        total = np.maximum(weight.sum(axis=1, keepdims=True), 1e-9)
        lit = weight * shown
        across, level = weight @ terms, lit.sum(axis=1, keepdims=True)
        square = np.tensordot(weight.sum(axis=0), products, 1) - across.T @ (across / total)
        along = lit.sum(axis=0) @ terms - across.T @ (level[:, 0] / total[:, 0])
        coefficients = np.linalg.lstsq(square, along)[0]
        residual = shown - terms @ coefficients - (level - (across @ coefficients)[:, None]) / total
        # The floor keeps a painted backdrop without any grain from leaving out all of itself.
        scatter = max(1.4826 * float(np.median(np.abs(residual[likely]))), 0.002)
        weight = likely * np.maximum(1 - (residual / (4.7 * scatter)) ** 2, 0) ** 2
    return coefficients, scatter, weight > 0
