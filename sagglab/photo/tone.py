"""Tone: what the camera did to lightness for looks, undone by the target's neutral patches."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Least that a neutral patch must show above the next darker one to count as another step: patches that the
#: camera crushed to one value say nothing of the curve between them, and would make it as steep as a wall.
LEAST_STEP = 1.03

#: How steep the curve's outer ends may be, in log light per log of what is shown, and its inverse.
STEEPEST = 4.0

#: Knots of a curve between its ends. Straight lines between them come within 1e-5 of the smooth curve, and a
#: picture is looked up in a fifth of the time.
_KNOTS = 600
#: Steps of the table in which a picture's float32 is looked up, in a third of the time of `numpy.interp`:
#: CIELAB of 20 demo and 36 real photographs came out within 0.0002 of that by the curve itself.
_TABLE = 16384
#: Where the straight ends are let run to, in linear light.
_DARKEST, _BRIGHTEST = -1.0, 8.0


@dataclass(frozen=True)
class Curve:
    """A monotone curve from what one channel shows to relative light, both linear.

    Between the neutral patches it runs in logs, where the eye's steps are even; beyond them it goes on
    straight in linear light, since below the black patch what differs is a veil of light that adds to all.

    Attributes
    ----------
    shown, light : ndarray, shape (n,)
        Knots, rising.
    veil : float
        What a perfectly black surface would show, as the curve's lower end has it.
    """

    shown: NDArray[np.float64]
    light: NDArray[np.float64]
    veil: float

    @classmethod
    def straight(cls) -> Curve:
        """Make the curve that leaves the light as it is."""
        ends = np.array([_DARKEST, _BRIGHTEST])
        return cls(ends, ends, 0.0)

    @classmethod
    def through(cls, shown: NDArray[np.float64], light: NDArray[np.float64]) -> Curve:
        """Make a curve through patches' `shown` and `light`, shape (n,), in any order."""
        kept: list[int] = []
        each = shown.tolist()
        for patch in np.argsort(light, kind="stable").tolist():
            if each[patch] > 0 and (not kept or each[patch] >= LEAST_STEP * each[kept[-1]]):
                kept.append(patch)
        # Fewer than three different neutrals say nothing of a curve: the channel is left as it is.
        if len(kept) < 3:
            return cls.straight()
        shown, light = shown[kept], light[kept]
        logs = np.log(shown), np.log(light)
        slopes = monotone_slopes(*logs)
        ends = np.clip(slopes[[0, -1]], 1 / STEEPEST, STEEPEST) * light[[0, -1]]
        low, high = ends / shown[[0, -1]]
        knots = np.linspace(logs[0][0], logs[0][-1], _KNOTS)
        return cls(
            np.concatenate([[_DARKEST], np.exp(knots), [_BRIGHTEST]]),
            np.concatenate(
                [
                    [light[0] + low * (_DARKEST - shown[0])],
                    np.exp(_through(knots, *logs, slopes)),
                    [light[-1] + high * (_BRIGHTEST - shown[-1])],
                ]
            ),
            float(shown[0] - light[0] / low),
        )

    def __call__(self, shown: NDArray[np.float64]) -> NDArray[np.float64]:
        """Relative light; below the darkest patch it may come out negative, as noise does."""
        return np.interp(shown, self.shown, self.light)


def _looked_up(shown: NDArray[np.float32], table: NDArray[np.float32]) -> NDArray[np.float32]:
    """Values of a curve by straight lines between even steps from 0 to 1, and on beyond them."""
    steps = shown * np.float32(_TABLE)
    below = np.clip(steps, 0, _TABLE - 1).astype(np.int32)
    lower = table[below]
    steps -= below
    steps *= table[1:][below] - lower
    return steps + lower


def monotone_slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes at the knots of the monotone cubic curve through at least three points, `x` rising.

    A calibration fits some hundred curves through six points each, 2 ms by `scipy.interpolate` and 0.2 ms
    here.

    References
    ----------
    Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5 (1984); ends by three points, as in Moler, Numerical
    Computing with MATLAB (2004), section 3.6.
    """
    # Plain numbers: of arrays so short NumPy takes three times as long.
    x, y = x.tolist(), y.tolist()
    steps = [after - before for before, after in pairwise(x)]
    rises = [(after - before) / step for (before, after), step in zip(pairwise(y), steps, strict=True)]
    slopes = [_end_slope(steps[0], steps[1], rises[0], rises[1])]
    for (step, next_step), (rise, next_rise) in zip(pairwise(steps), pairwise(rises), strict=True):
        if rise * next_rise <= 0:
            slopes.append(0.0)
            continue
        before, after = 2 * next_step + step, next_step + 2 * step
        slopes.append((before + after) / (before / rise + after / next_rise))
    slopes.append(_end_slope(steps[-1], steps[-2], rises[-1], rises[-2]))
    return np.array(slopes)


def _end_slope(step: float, next_step: float, rise: float, next_rise: float) -> float:
    slope = ((2 * step + next_step) * rise - step * next_rise) / (step + next_step)
    if slope * rise <= 0:
        return 0.0
    if rise * next_rise <= 0 and abs(slope) > 3 * abs(rise):
        return 3 * rise
    return slope


def _through(
    at: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64], slopes: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Cubic Hermite curve through points with slopes, `at` places between the outer ones."""
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    step = np.diff(x)[piece]
    rise = np.diff(y)[piece] / step
    beyond = at - x[piece]
    start, end = slopes[piece], slopes[piece + 1]
    bend, twist = (3 * rise - 2 * start - end) / step, (start + end - 2 * rise) / step**2
    return y[piece] + beyond * (start + beyond * (bend + beyond * twist))


@dataclass(frozen=True)
class Tone:
    """A monotone curve for each channel.

    Attributes
    ----------
    curves : tuple of three Curve
    """

    curves: tuple[Curve, Curve, Curve]

    def __call__(self, linear: ArrayLike) -> NDArray[np.float64]:
        """Undo the tone; shape ``(..., 3)`` in and out.

        Float32, as pictures are, stays float32, and is looked up in a table with even steps.
        """
        linear = np.asarray(linear)
        if linear.dtype == np.float32:
            light = np.empty_like(linear)
            for k, table in enumerate(self._tables):
                light[..., k] = _looked_up(linear[..., k], table)
            return light
        linear = linear.astype(float)
        return np.stack([curve(linear[..., k]) for k, curve in enumerate(self.curves)], axis=-1)

    @cached_property
    def _tables(self) -> list[NDArray[np.float32]]:
        steps = np.arange(_TABLE + 1) / _TABLE
        return [curve(steps).astype(np.float32) for curve in self.curves]


#: The tone that leaves the light as it is.
AS_IT_IS = Tone((Curve.straight(), Curve.straight(), Curve.straight()))


def fit_tone(shown: NDArray[np.float64], light: NDArray[np.float64]) -> Tone:
    """Fit the tone; `shown` (n, 3) and the relative `light` (n, 3 or 1) of the neutral patches."""
    light = np.broadcast_to(light, shown.shape)
    red, green, blue = (Curve.through(shown[:, k], light[:, k]) for k in range(3))
    return Tone((red, green, blue))
