"""Flat fields: how the light falls off over the frame, read from a photograph of a plain sheet."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import map_coordinates

from sagglab.photo.tone import Tone

#: Linear light from which the sheet is taken to be clipped, and below which noise is too much of it.
CLIPPED, DARKEST = 0.98, 0.01
#: Share by which a plain sheet's light may change within a tenth of the frame. The demo's sheets: 0.006; the
#: edge of a pot or of a target: 0.2 and more.
ROUGH = 0.08


@dataclass(frozen=True)
class FlatField:
    """How the light falls off over the frame, from a photograph of an evenly reflecting sheet.

    Attributes
    ----------
    shown : ndarray, shape (rows, columns, 3)
        The sheet in linear light, smoothed and reduced.
    size : (rows, columns)
        Size of the photograph that it came from, which must be that of the one it corrects.
    fault : str
        Why it cannot show how the light falls off; empty when it can.
    """

    shown: NDArray[np.float32]
    size: tuple[int, int]
    fault: str = ""

    source = "by the flat field"
    #: Relative standard uncertainty of the light on the pot against that on the target: the sheet's own
    #: unevenness, and that it stood before or behind the pot.
    doubt = 0.007

    def at(self, places: ArrayLike, tone: Tone) -> NDArray[np.float64]:
        """Relative light at places (x, y), shape ``(..., 2)``; 1 where the sheet shows its mean."""
        # Pixel centres are whole numbers in both, so the half pixel is taken off and put back.
        places = np.asarray(places, dtype=float)
        x, y = places.reshape(-1, 2).T + 0.5
        down = y * self.shown.shape[0] / self.size[0] - 0.5
        across = x * self.shown.shape[1] / self.size[1] - 0.5
        channels = [
            map_coordinates(self.shown[..., k], [down, across], order=1, mode="nearest") for k in range(3)
        ]
        light = tone(np.stack(channels, axis=-1)) / tone(self.shown.mean(axis=(0, 1)))
        return light.reshape(*places.shape[:-1], 3)


def flat_field(linear: NDArray[np.float32]) -> FlatField:
    """Make a flat field from a photograph of a plain sheet, linear light, shape (rows, columns, 3)."""
    rows, columns = linear.shape[:2]
    scale = 96 / max(rows, columns)
    size = max(2, round(columns * scale)), max(2, round(rows * scale))
    reduced = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    # Light falls off over a good part of the frame; anything finer is the sheet's grain or a speck.
    smooth = cv2.GaussianBlur(reduced, (0, 0), 4, borderType=cv2.BORDER_REPLICATE)
    return FlatField(smooth, (rows, columns), _fault(reduced, smooth))


def _fault(reduced: NDArray[np.float32], smooth: NDArray[np.float32]) -> str:
    if smooth.max() >= CLIPPED:
        return "is burnt out"
    if smooth.min() < DARKEST:
        return "is too dark"
    # A hundredth of the frame may hold a speck or a clip that holds the sheet.
    rough = np.abs(reduced / smooth - 1).max(axis=-1)
    if np.quantile(rough, 0.99) > ROUGH:
        return "shows more than a plain sheet"
    return ""
