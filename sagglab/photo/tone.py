"""Tone: what the camera did to lightness for looks, undone by the target's neutral patches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

#: Least that a neutral patch must show above the next darker one to count as another step: patches that the
#: camera crushed to one value say nothing of the curve between them, and would make it as steep as a wall.
LEAST_STEP = 1.03

#: How steep the curve's outer ends may be, in log light per log of what is shown, and its inverse.
STEEPEST = 4.0

#: Knots of a curve between its ends. Straight lines between them come within 1e-5 of the smooth curve, and a
#: picture is looked up in a fifth of the time.
_KNOTS = 600
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
    def through(cls, shown: NDArray[np.float64], light: NDArray[np.float64]) -> Curve:
        """Make a curve through patches' `shown` and `light`, shape (n,), in any order."""
        kept: list[int] = []
        for patch in np.argsort(light, kind="stable"):
            if shown[patch] > 0 and (not kept or shown[patch] >= LEAST_STEP * shown[kept[-1]]):
                kept.append(int(patch))
        # Fewer than three different neutrals say nothing of a curve: the channel is left as it is.
        if len(kept) < 3:
            ends = np.array([_DARKEST, _BRIGHTEST])
            return cls(ends, ends, 0.0)
        shown, light = shown[kept], light[kept]
        inner = PchipInterpolator(np.log(shown), np.log(light))
        slopes = np.clip(inner(np.log(shown[[0, -1]]), nu=1), 1 / STEEPEST, STEEPEST) * light[[0, -1]]
        low, high = slopes / shown[[0, -1]]
        knots = np.linspace(*np.log(shown[[0, -1]]), _KNOTS)
        return cls(
            np.concatenate([[_DARKEST], np.exp(knots), [_BRIGHTEST]]),
            np.concatenate(
                [
                    [light[0] + low * (_DARKEST - shown[0])],
                    np.exp(inner(knots)),
                    [light[-1] + high * (_BRIGHTEST - shown[-1])],
                ]
            ),
            float(shown[0] - light[0] / low),
        )

    def __call__(self, shown: NDArray[np.float64]) -> NDArray[np.float64]:
        """Relative light; below the darkest patch it may come out negative, as noise does."""
        return np.interp(shown, self.shown, self.light)


@dataclass(frozen=True)
class Tone:
    """A monotone curve for each channel.

    Attributes
    ----------
    curves : tuple of three Curve
    """

    curves: tuple[Curve, Curve, Curve]

    def __call__(self, linear: ArrayLike) -> NDArray[np.float64]:
        """Undo the tone; shape ``(..., 3)`` in and out."""
        linear = np.asarray(linear, dtype=float)
        return np.stack([curve(linear[..., k]) for k, curve in enumerate(self.curves)], axis=-1)


def fit_tone(shown: NDArray[np.float64], light: NDArray[np.float64]) -> Tone:
    """Fit the tone; `shown` (n, 3) and the relative `light` (n, 3 or 1) of the neutral patches."""
    light = np.broadcast_to(light, shown.shape)
    red, green, blue = (Curve.through(shown[:, k], light[:, k]) for k in range(3))
    return Tone((red, green, blue))
