"""Patches: what a photograph shows of each patch of a target found in it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import trim_mean

#: Half the side of the square read in each patch, in patch pitches: clear of gap and blurred edge.
HALF_SIDE = 0.26
#: Linear light from which a channel counts as clipped: the top two codes of 8 bits.
CLIPPED = 0.98


@dataclass(frozen=True)
class PatchSamples:
    """What a photograph shows of each patch.

    Attributes
    ----------
    places : ndarray, shape (rows, columns, 2)
        (x, y) of each patch's centre.
    linear : ndarray, shape (rows, columns, 3)
        Mean of the middle half of the pixels, linear light.
    clipped : ndarray of bool, shape (rows, columns)
        Whether one pixel in fifty or more is clipped.
    """

    places: NDArray[np.float64]
    linear: NDArray[np.float64]
    clipped: NDArray[np.bool_]


def grid_to_picture(corners: ArrayLike, shape: tuple[int, int]) -> NDArray[np.float64]:
    """Homography from grid places (column, row), counted from 0, to picture places (x, y).

    Parameters
    ----------
    corners : array_like, shape (4, 2)
        Centres of the corner patches: row 1 column 1, row 1 last column, last row last column, last row
        column 1.
    shape : (rows, columns)

    Returns
    -------
    ndarray, shape (3, 3)
    """
    rows, columns = shape
    grid = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]], dtype=np.float32)
    return cv2.getPerspectiveTransform(grid, np.asarray(corners, dtype=np.float32))


def sample_patches(linear: NDArray[np.float32], corners: ArrayLike, shape: tuple[int, int]) -> PatchSamples:
    """Read every patch of a target.

    Parameters
    ----------
    linear : ndarray of float32, shape (H, W, 3)
    corners : array_like, shape (4, 2)
        As `grid_to_picture` takes them.
    shape : (rows, columns)

    Returns
    -------
    PatchSamples
    """
    rows, columns = shape
    homography = grid_to_picture(corners, shape)
    pitch = np.linalg.norm(np.asarray(corners)[1] - np.asarray(corners)[0]) / (columns - 1)
    # Enough points for one per pixel in small patches; 40 by 40 settle those of 600 px to 0.2 %.
    side = int(np.clip(2 * HALF_SIDE * pitch, 5, 40))
    offsets = np.linspace(-HALF_SIDE, HALF_SIDE, side)
    row, column, down, right = np.meshgrid(
        np.arange(rows), np.arange(columns), offsets, offsets, indexing="ij"
    )
    grid = np.stack([column + right, row + down], axis=-1).reshape(rows * columns, side * side, 2)
    places = cv2.perspectiveTransform(grid, homography).astype(np.float32)
    read = cv2.remap(linear, places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    read = read.reshape(rows, columns, side * side, 3).astype(float)
    centres = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).astype(float)
    return PatchSamples(
        places=cv2.perspectiveTransform(centres, homography),
        linear=trim_mean(read, 0.25, axis=2),
        clipped=(read.max(axis=-1) >= CLIPPED).mean(axis=-1) >= 0.02,
    )
