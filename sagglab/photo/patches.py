"""Patches: what a photograph shows of each patch of a target found in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import Problems
from sagglab.photo.flags import flagged
from sagglab.photo.picture import Picture
from sagglab.photo.sharpness import edge_blur
from sagglab.photo.suspicion import plane_of, uneven_patches

#: Half the side of the square read in each patch, in patch pitches: clear of gap and blurred edge.
HALF_SIDE = 0.26
#: Linear light from which a channel counts as clipped: the top two codes of 8 bits.
CLIPPED = 0.98
#: Width of a target, in pixels, below which its patches are too few pixels to trust.
LEAST_WIDTH = 100.0
#: Blur, as a share of the pitch, from which neighbours and gap reach into the square that is read: at 0.08
#: its edge, two standard deviations from the patch's, takes a fortieth of its light from beyond it.
BLUR_REACHING_IN = 0.08
#: Blur from which the picture is taken to be moved or out of focus whatever the size of the patches, as a
#: share of the picture's longer side: three pixels of the 1200 at which pots are measured. Small pictures are
#: softer pixel by pixel, and are flagged from the lesser limit up, in pixels.
SHAKE, LEAST_SHAKE = 0.0025, 2.0
#: Fewest pixels along a side of the square that is read from which glare and shadow can be told.
LEAST_SIDE_JUDGED = 8


@dataclass(frozen=True)
class PatchSamples:
    """What a photograph shows of each patch.

    Attributes
    ----------
    places : ndarray, shape (rows, columns, 2)
        (x, y) of each patch's centre.
    linear : ndarray, shape (rows, columns, 3)
        Mean of the middle half of the pixels, linear light.
    clipped : ndarray, shape (rows, columns)
        Share of pixels of which a channel is clipped.
    spread : ndarray, shape (rows, columns, 3)
        Robust standard deviation of the pixels, linear light, after a plane is taken out: noise and texture.
    suspicion : ndarray of str, shape (rows, columns)
        Why a patch should not be trusted: "hidden", "glare", "shadow", or "" for a good one.
    sharpness_px : float
        Standard deviation of the blur at the patches' edges, in pixels; NaN when it cannot be told.
    pitch_px : float
        Mean distance between the centres of neighbouring patches, in pixels.
    problems : Problems
    """

    places: NDArray[np.float64]
    linear: NDArray[np.float64]
    clipped: NDArray[np.float64]
    spread: NDArray[np.float64] | None = None
    suspicion: NDArray[np.str_] | None = None
    sharpness_px: float = float("nan")
    pitch_px: float = float("nan")
    problems: Problems = field(default_factory=Problems)

    def __post_init__(self) -> None:
        # Samples made by hand know neither noise nor doubt.
        if self.spread is None:
            object.__setattr__(self, "spread", np.zeros(np.shape(self.linear)))
        if self.suspicion is None:
            object.__setattr__(self, "suspicion", np.full(np.shape(self.linear)[:2], "", dtype="<U6"))


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


def target_area(
    corners: ArrayLike, shape: tuple[int, int], size: tuple[int, int], reduced: tuple[int, int], reach: float
) -> NDArray[np.bool_]:
    """Tell where a target lies, with its frame, in a reduced picture.

    Parameters
    ----------
    corners : array_like, shape (4, 2)
        As `grid_to_picture` takes them, in pixels of the full picture.
    shape : (rows, columns)
        Of the target.
    size, reduced : (rows, columns)
        Of the full and the reduced picture.
    reach : float
        How far the frame reaches beyond the outer patches' centres, in patches.

    Returns
    -------
    ndarray of bool, of the reduced picture's shape
    """
    right, down = shape[1] - 1 + reach, shape[0] - 1 + reach
    frame = np.array([[[-reach, -reach], [right, -reach], [right, down], [-reach, down]]])
    around = cv2.perspectiveTransform(frame, grid_to_picture(corners, shape))[0]
    scale = np.array([reduced[1] / size[1], reduced[0] / size[0]])
    mask = np.zeros(reduced, dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint((around + 0.5) * scale - 0.5).astype(np.int32)], 1)
    return mask.astype(bool)


def outside_picture(
    homography: NDArray[np.float64], shape: tuple[int, int], size: tuple[int, int]
) -> NDArray[np.bool_]:
    """Tell which patches' squares are not wholly inside a picture of (rows, columns) `size`."""
    row, column = np.mgrid[: shape[0], : shape[1]]
    square = HALF_SIDE * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = np.stack([column, row], axis=-1).reshape(-1, 1, 2) + square
    places = cv2.perspectiveTransform(corners, homography)
    beyond = (places < -0.5) | (places > np.array(size[::-1]) - 0.5)
    return beyond.any(axis=(1, 2)).reshape(shape)


def sample_patches(
    picture: Picture,
    corners: ArrayLike,
    shape: tuple[int, int],
    hidden: NDArray[np.bool_] | None = None,
) -> PatchSamples:
    """Read every patch of a target.

    Parameters
    ----------
    picture : Picture
    corners : array_like, shape (4, 2)
        As `grid_to_picture` takes them.
    shape : (rows, columns)
    hidden : ndarray of bool, shape (rows, columns), optional
        Patches known to be covered, as `find_target` says. Those outside the picture are found here.

    Returns
    -------
    PatchSamples
    """
    rows, columns = shape
    homography = grid_to_picture(corners, shape)
    row, column = np.mgrid[:rows, :columns]
    centres = cv2.perspectiveTransform(np.stack([column, row], axis=-1).astype(float), homography)
    pitch = _mean_pitch(centres)
    # Enough points for one per pixel in small patches; 40 by 40 settle those of 600 px to 0.2 %.
    side = int(np.clip(2 * HALF_SIDE * pitch, 5, 40))
    right, down = np.meshgrid(*[np.linspace(-HALF_SIDE, HALF_SIDE, side)] * 2)
    grid = np.stack([column[..., None, None] + right, row[..., None, None] + down], axis=-1)
    places = cv2.perspectiveTransform(grid.reshape(rows * columns, -1, 2), homography)
    read = picture.between(places)
    # Pixels themselves, since values between them have less noise and are seldom quite clipped.
    pixels = picture.at(*np.moveaxis(np.rint(places).astype(int), -1, 0))
    read, pixels = (each.reshape(rows, columns, side, side, 3).astype(float) for each in (read, pixels))
    outside = outside_picture(homography, shape, picture.size)
    hidden = outside if hidden is None else outside | hidden
    blur = edge_blur(picture, homography, shape, pitch)
    suspicion = np.where(hidden, "hidden", "").astype("<U6")
    if side >= LEAST_SIDE_JUDGED and not blur > BLUR_REACHING_IN * pitch:
        seen = read[~hidden]
        suspicion[~hidden] = uneven_patches(seen)
    return PatchSamples(
        places=centres,
        linear=_middle_half(read.reshape(rows, columns, -1, 3)),
        clipped=(pixels.max(axis=-1) >= CLIPPED).mean(axis=(2, 3)),
        spread=_spread(pixels),
        suspicion=suspicion,
        sharpness_px=blur,
        pitch_px=pitch,
        problems=_flags(blur, pitch, max(shape), max(picture.size)),
    )


def _middle_half(read: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the middle half along the last axis but one."""
    # To import scipy.stats for its trim_mean takes each process 0.5 s, as long as measuring a photograph.
    cut = read.shape[-2] // 4
    parted = np.partition(read, (cut, read.shape[-2] - cut - 1), axis=-2)
    return parted[..., cut : read.shape[-2] - cut, :].mean(axis=-2)


def _mean_pitch(centres: NDArray[np.float64]) -> float:
    steps = [np.linalg.norm(np.diff(centres, axis=axis), axis=-1).ravel() for axis in (0, 1)]
    return float(np.concatenate(steps).mean())


def _spread(pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Noise and texture of each patch, after a plane is taken out."""
    flat = pixels.reshape(*pixels.shape[:2], -1, 3)
    departure = flat - plane_of(flat)
    departure -= np.median(departure, axis=2, keepdims=True)
    # The median departure is 0.6745 standard deviations of normal noise.
    return np.median(np.abs(departure), axis=2) / 0.6745


def _flags(blur: float, pitch: float, across: int, longest: int) -> Problems:
    problems = []
    if across * pitch < LEAST_WIDTH:
        problems.append(flagged("small target", width=across * pitch))
    if blur > BLUR_REACHING_IN * pitch or blur > max(LEAST_SHAKE, SHAKE * longest):
        problems.append(flagged("blurred target", blur=blur))
    return Problems(problems)
