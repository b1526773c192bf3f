"""Flat fields: how the light falls off over the frame, read from a photograph of a plain sheet."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.photo.picture import Picture
from sagglab.photo.tone import Tone

#: Linear light from which the sheet is taken to be clipped, and below which noise is too much of it.
CLIPPED, DARKEST = 0.98, 0.01
#: Places that are looked up at once.
_STRETCH = 16384
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
        shown = np.empty((len(x), 3))
        # OpenCV remaps stretches of at most 32,767 places; 0.24 million take it 4 ms, and
        # `scipy.ndimage.map_coordinates` 36 ms, with the same result within 1.2e-7.
        across, down = across.astype(np.float32)[:, None], down.astype(np.float32)[:, None]
        for first in range(0, len(x), _STRETCH):
            at = across[first : first + _STRETCH], down[first : first + _STRETCH]
            read = cv2.remap(self.shown, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            shown[first : first + _STRETCH] = read[:, 0]
        light = tone(shown) / tone(self.shown.mean(axis=(0, 1), dtype=float))
        return light.reshape(*places.shape[:-1], 3)


def flat_field(picture: Picture) -> FlatField:
    """Make a flat field from a photograph of a plain sheet."""
    reduced = picture.reduced(96)
    # Light falls off over a good part of the frame; anything finer is the sheet's grain or a speck.
    smooth = cv2.GaussianBlur(reduced, (0, 0), 4, borderType=cv2.BORDER_REPLICATE)
    return FlatField(smooth, picture.size, _fault(reduced, smooth))


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
