"""Tone: what the camera did to lightness for looks, undone by the target's neutral patches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator


@dataclass(frozen=True)
class Tone:
    """A monotone curve for each channel, straight in log–log beyond its ends.

    Attributes
    ----------
    curves : tuple of three callables
        log of what the photograph shows to log of relative light.
    """

    curves: tuple[Callable[[NDArray[np.float64]], NDArray[np.float64]], ...]

    def __call__(self, linear: ArrayLike) -> NDArray[np.float64]:
        """Undo the tone; shape ``(..., 3)`` in and out."""
        shown = np.log(np.maximum(np.asarray(linear, dtype=float), 1e-5))
        return np.exp(np.stack([curve(shown[..., k]) for k, curve in enumerate(self.curves)], axis=-1))


def _straight_ends(x: NDArray[np.float64], y: NDArray[np.float64]) -> Callable:
    """Interpolate monotonely, and go on straight beyond both ends with the slope of the outer pair."""
    inner = PchipInterpolator(x, y)
    low, high = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])

    def curve(at: NDArray[np.float64]) -> NDArray[np.float64]:
        inside = inner(np.clip(at, x[0], x[-1]))
        return inside + low * np.minimum(at - x[0], 0) + high * np.maximum(at - x[-1], 0)

    return curve


def fit_tone(shown: NDArray[np.float64], light: NDArray[np.float64]) -> Tone:
    """Fit the tone; `shown` (n, 3) and the relative `light` (n, 3 or 1) of the neutral patches."""
    light = np.broadcast_to(light, shown.shape)
    curves = []
    for channel in range(3):
        x, first = np.unique(np.log(np.maximum(shown[:, channel], 1e-5)), return_index=True)
        y = np.maximum.accumulate(np.log(light[first, channel]))
        # Fewer than three different neutrals say nothing of a curve: the channel is left as it is.
        curves.append(_straight_ends(x, y) if len(x) >= 3 else lambda at: at)
    return Tone(tuple(curves))
