"""A photograph's pixels in linear light, made from the file's codes where and when they are wanted."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Longest side, in pixels, of the reduced picture that is kept, and from which smaller ones are made.
KEPT = 1600

#: Rows that are looked up at once: 24 megapixels were looked up and averaged in 0.11 s by strips that stay
#: in the processor's cache, and in 0.2 s as one picture of 288 MB.
_ROWS = 8

#: A picture is reduced by a whole number where that leaves at least this share of the side that was wanted:
#: 24 megapixels to 1500 px took half the time of those to 1600.
LEAST_OF_WANTED = 0.8


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture in linear light.

    A 24-megapixel photograph is 72 MB of codes and 288 MB of floats. What is measured is a reduced picture
    and some thousands of pixels around the target, so that the floats of all pixels are seldom made.

    Attributes
    ----------
    codes : ndarray, shape (rows, columns, 3)
        What the file holds, upright: uint8 or uint16, or float32 when it is linear light already.
    curves : ndarray of float32, shape (number of codes, 3), or None
        Linear light by code and channel; None where `codes` is linear light.

    Examples
    --------
    >>> picture = Picture(np.full((30, 40, 3), 0.25, np.float32))
    >>> picture.size, picture.reduced(20).shape
    ((30, 40), (15, 20, 3))
    """

    codes: NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.float32]
    curves: NDArray[np.float32] | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.codes.shape[:2]

    @cached_property
    def linear(self) -> NDArray[np.float32]:
        """Linear light of every pixel, shape (rows, columns, 3)."""
        return self._looked_up(self.codes)

    def at(self, columns: ArrayLike, rows: ArrayLike) -> NDArray[np.float32]:
        """Linear light of some pixels, shape ``(..., 3)``; beyond the edge, that of the nearest pixel."""
        columns = np.clip(columns, 0, self.size[1] - 1)
        rows = np.clip(rows, 0, self.size[0] - 1)
        codes = self.codes[rows, columns]
        return codes if self.curves is None else _by_channel(codes, self.curves)

    def between(self, places: ArrayLike) -> NDArray[np.float32]:
        """Linear light at places (x, y), shape ``(..., 2)``, by straight lines between the pixels."""
        places = np.asarray(places, dtype=float)
        corner = np.floor(places).astype(int)
        right, down = np.moveaxis((places - corner).astype(np.float32)[..., None], -2, 0)
        x, y = np.moveaxis(corner, -1, 0)
        upper = self.at(x, y) * (1 - right) + self.at(x + 1, y) * right
        lower = self.at(x, y + 1) * (1 - right) + self.at(x + 1, y + 1) * right
        return upper * (1 - down) + lower * down

    def reduced(self, longest: int) -> NDArray[np.float32]:
        """Reduce the picture until its longer side is at most `longest` pixels; never enlarged.

        Light is averaged while it is linear, as the eye and a lens farther away would; averaging encoded
        values darkens every edge and every grain.

        Parameters
        ----------
        longest : int
            Up to `KEPT`, the picture is made from one of that size, which is kept.

        Returns
        -------
        ndarray of float32, shape (rows, columns, 3)
        """
        if longest == KEPT:
            return self._kept
        if longest > KEPT:
            return self._reduced(longest)
        return _averaged(self._kept, reduced_size(self.size, longest))

    @cached_property
    def _kept(self) -> NDArray[np.float32]:
        return self._reduced(KEPT)

    def _reduced(self, longest: int) -> NDArray[np.float32]:
        size = reduced_size(self.size, longest)
        if size == self.size:
            return self.linear
        block = _block(self.size, size)
        columns, high = self.size[1] // block, block * max(1, _ROWS // block)
        blocks = np.empty((self.size[0] // block, columns, 3), np.float32)
        for top in range(0, self.size[0], high):
            strip = self._looked_up(self.codes[top : top + high])
            into = blocks[top // block : (top + len(strip)) // block]
            cv2.resize(strip, (columns, len(into)), dst=into, interpolation=cv2.INTER_AREA)
        return _averaged(blocks, size)

    def _looked_up(self, codes: NDArray) -> NDArray[np.float32]:
        if self.curves is None:
            return codes
        if codes.dtype != np.uint8:
            return _by_channel(codes, self.curves)
        if (self.curves == self.curves[:, :1]).all():
            # Most profiles have one curve for all channels: looked up in 0.6 of the time that three take.
            flat = np.ascontiguousarray(codes).reshape(len(codes), -1)
            return cv2.LUT(flat, np.ascontiguousarray(self.curves[None, :, :1])).reshape(codes.shape)
        return cv2.LUT(codes, self.curves[None])


def reduced_size(size: tuple[int, int], longest: int) -> tuple[int, int]:
    """Rows and columns of a picture of some size when its longer side is reduced to at most `longest`.

    Examples
    --------
    >>> reduced_size((3000, 4000), 1600), reduced_size((4000, 6000), 1600), reduced_size((90, 120), 1600)
    ((1200, 1600), (1000, 1500), (90, 120))
    """
    if max(size) <= longest:
        return size
    whole = -(-max(size) // longest)
    if max(size) // whole >= LEAST_OF_WANTED * longest and not any(side % whole for side in size):
        return size[0] // whole, size[1] // whole
    return max(1, round(size[0] * longest / max(size))), max(1, round(size[1] * longest / max(size)))


def reduced_places(shape: tuple[int, int], size: tuple[int, int]) -> NDArray[np.float64]:
    """Places (x, y), in a picture of some size, of the pixels of one reduced from it; (rows, columns, 2)."""
    x = (np.arange(shape[1]) + 0.5) * size[1] / shape[1] - 0.5
    y = (np.arange(shape[0]) + 0.5) * size[0] / shape[0] - 0.5
    return np.stack(np.meshgrid(x, y), axis=-1)


def _block(size: tuple[int, int], reduced: tuple[int, int]) -> int:
    """Side of the blocks of pixels that are averaged strip by strip before the rest is reduced."""
    whole = size[0] // reduced[0]
    if size == (whole * reduced[0], whole * reduced[1]):
        return whole
    # What is left to reduce after halvings is less than by half, and of fewer pixels.
    block = 1
    while size[0] >= 2 * block * reduced[0] and not any(side % (2 * block) for side in size):
        block *= 2
    return block


def _averaged(linear: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    if linear.shape[:2] == size:
        return linear
    return cv2.resize(linear, size[::-1], interpolation=cv2.INTER_AREA)


def _by_channel(codes: NDArray, curves: NDArray[np.float32]) -> NDArray[np.float32]:
    linear = np.empty(codes.shape, np.float32)
    for channel in range(3):
        linear[..., channel] = curves[:, channel][codes[..., channel]]
    return linear
