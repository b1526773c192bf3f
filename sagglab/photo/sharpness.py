"""Sharpness: how wide the edges of a target's patches are in a photograph.

The light across the border of two patches is fitted by two blurred steps, from the one patch to the gap and
from the gap to the other, so that a gap too narrow to be resolved does not count as blur.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sagglab.photo.picture import Picture

#: Reach of the strip that is fitted, in patch pitches from the border: across it, and along it.
ACROSS, ALONG = 0.36, 0.22
#: Share of a border's contrast that two blurred steps must leave unexplained at most, as a variance.
UNEXPLAINED = 0.03
#: Contrast of a border below which it says little, as a share of the brightest patch's light.
LEAST_CONTRAST = 0.05
#: Fewest borders from which a direction's blur is told.
LEAST_BORDERS = 4

# Borders fitted in each direction, the strongest; places read along and across a border at most.
_BORDERS, _LINES, _POINTS = 8, 12, 200
# Steps of the fit: after 8 the blur was within 0.00002 px of that after 10, in nine photographs.
_ROUNDS = 8


def edge_blur(
    picture: Picture, homography: NDArray[np.float64], shape: tuple[int, int], pitch: float
) -> float:
    """Tell the blur at the borders between a target's patches.

    Parameters
    ----------
    picture : Picture
    homography : ndarray, shape (3, 3)
        From grid places (column, row) to picture places.
    shape : (rows, columns)
    pitch : float
        Mean distance between neighbouring patches' centres, in pixels.

    Returns
    -------
    float
        Standard deviation, in pixels, of the blur beyond that of a pixel's own area; the greater of the two
        directions of the grid, since a moved camera blurs one of them. NaN when too few borders tell.
    """
    rows, columns = shape
    row, column = np.mgrid[:rows, : columns - 1].reshape(2, -1)
    upright = np.stack([column + 0.5, row], axis=-1)
    row, column = np.mgrid[: rows - 1, :columns].reshape(2, -1)
    level = np.stack([column, row + 0.5], axis=-1)
    blurs = [
        _direction_blur(picture, homography, middles, across, pitch)
        for middles, across in ((upright, np.array([1.0, 0.0])), (level, np.array([0.0, 1.0])))
    ]
    known = [blur for blur in blurs if np.isfinite(blur)]
    return max(known, default=float("nan"))


def _direction_blur(
    picture: Picture,
    homography: NDArray[np.float64],
    middles: NDArray[np.float64],
    across: NDArray[np.float64],
    pitch: float,
) -> float:
    offset, light = _strips(picture, homography, middles, across, pitch)
    if not len(offset):
        return float("nan")
    # Bins a quarter of a pixel wide, or wider where the patches are hundreds of pixels wide.
    width = max(0.25, 2 * ACROSS * pitch / _POINTS)
    count = int(2 * ACROSS * pitch / width)
    at = np.clip(((offset / width) + count / 2).astype(int), 0, count - 1)
    at += count * np.arange(len(at))[:, None]
    weight = np.bincount(at.ravel(), minlength=count * len(offset)).reshape(-1, count).astype(float)
    total = np.bincount(at.ravel(), light.ravel(), minlength=count * len(offset)).reshape(-1, count)
    profile = total / np.maximum(weight, 1)
    places = (np.arange(count) + 0.5 - count / 2) * width
    blur, good = _two_steps(places, profile, weight, pitch)
    if good.sum() < LEAST_BORDERS:
        return float("nan")
    # A pixel's area and a bin are boxes: their variance is a twelfth of their width squared.
    beyond = np.median(blur[good]) ** 2 - (1 + width**2) / 12
    return float(np.sqrt(max(beyond, 0.0)))


def _strips(
    picture: Picture,
    homography: NDArray[np.float64],
    middles: NDArray[np.float64],
    across: NDArray[np.float64],
    pitch: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pixels of the strips across the strongest borders: distance from the border, and light."""
    along = across[::-1]
    points = int(np.clip(2 * ACROSS * pitch, 6, _POINTS))
    lines = int(np.clip(2 * ALONG * pitch, 3, _LINES))
    right, down = np.meshgrid(np.linspace(-ACROSS, ACROSS, points), np.linspace(-ALONG, ALONG, lines))
    grid = middles[:, None] + right.reshape(1, -1, 1) * across + down.reshape(1, -1, 1) * along
    # Pixels themselves, not values between them, which would be blurred by the reading.
    pixels = np.rint(cv2.perspectiveTransform(grid, homography)).astype(int)
    height, width = picture.size
    inside = ((pixels >= 0) & (pixels < [width, height])).all(axis=(1, 2))
    pixels, middles = pixels[inside], middles[inside]
    if not len(pixels):
        return np.empty((0, 0)), np.empty((0, 0))
    light = picture.at(pixels[..., 0], pixels[..., 1])
    # The channel in which a border is strongest.
    contrast = np.ptp(np.quantile(light, [0.05, 0.95], axis=1), axis=0)
    strongest = contrast.argmax(axis=1)
    light = np.take_along_axis(light, strongest[:, None, None], axis=2)[..., 0]
    contrast = contrast.max(axis=1)
    best = np.argsort(-contrast, kind="stable")[:_BORDERS]
    best = best[contrast[best] > LEAST_CONTRAST * float(light.max())]
    if not len(best):
        return np.empty((0, 0)), np.empty((0, 0))
    pixels, middles, light = pixels[best], middles[best], light[best].astype(float)
    ends = [cv2.perspectiveTransform((middles + s * ALONG * along)[None], homography)[0] for s in (-1, 1)]
    tangent = ends[1] - ends[0]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=-1)
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    middle = cv2.perspectiveTransform(middles[None], homography)[0]
    return np.einsum("bpi,bi->bp", pixels - middle[:, None], normal), light


def _two_steps(
    places: NDArray[np.float64], profile: NDArray[np.float64], weight: NDArray[np.float64], pitch: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Fit two blurred steps to each profile; standard deviations, and which fits are good."""
    mean = (weight * profile).sum(axis=1) / weight.sum(axis=1)
    variance = (weight * (profile - mean[:, None]) ** 2).sum(axis=1)
    blur, share = np.full(len(profile), np.nan), np.full(len(profile), np.inf)
    # Begun sharp; borders that are not told well so are begun blurred, too, and keep what fits them best.
    for begin, gap in ((0.04, 0.06), (0.15, 0.08)):
        poor = np.flatnonzero(share >= UNEXPLAINED)
        if not len(poor):
            break
        start = np.tile([-gap * pitch, gap * pitch, np.log(max(begin * pitch, 0.6))], (len(poor), 1))
        found, left = _settled(start, places, profile[poor], weight[poor])
        left = left / np.maximum(variance[poor], 1e-12)
        better = left < share[poor]
        blur[poor[better]], share[poor[better]] = np.exp(found[better, 2]), left[better]
    return blur, share < UNEXPLAINED


def _settled(
    parameters: NDArray[np.float64],
    places: NDArray[np.float64],
    profile: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # Levenberg and Marquardt's steps for all borders at once; the three levels of light are linear, and are
    # solved for within. A photograph takes 20 to 40 ms; scipy.optimize.least_squares, border by border, took
    # 350 to 470 ms for the same blur within 0.005 px.
    damping = np.full(len(parameters), 1e-2)
    residual = _residual(parameters, places, profile, weight)
    error = (residual**2).sum(axis=1)
    scale = np.ptp(places) * np.array([1e-3, 1e-3, 0]) + [0, 0, 1e-2]
    for _ in range(_ROUNDS):
        beside = _residual(parameters + np.diag(scale)[:, None], places, profile, weight)
        slopes = np.moveaxis((beside - residual) / scale[:, None, None], 0, -1)
        square = np.swapaxes(slopes, 1, 2) @ slopes
        diagonal = np.einsum("bii->bi", square) * damping[:, None] + 1e-15
        square[:, range(3), range(3)] += diagonal
        step = np.linalg.solve(square, np.swapaxes(slopes, 1, 2) @ residual[..., None])[..., 0]
        reach = np.ptp(places) * np.array([0.1, 0.1, 0]) + [0, 0, 0.7]
        tried = parameters - np.clip(step, -reach, reach)
        tried[:, 2] = np.clip(tried[:, 2], np.log(0.2), np.log(0.5 * np.ptp(places)))
        left = _residual(tried, places, profile, weight)
        now = (left**2).sum(axis=1)
        better = now < error
        parameters = np.where(better[:, None], tried, parameters)
        residual, error = np.where(better[:, None], left, residual), np.where(better, now, error)
        damping = np.clip(np.where(better, damping / 5, damping * 8), 1e-6, 1e6)
    return parameters, error


def _residual(
    parameters: NDArray[np.float64],
    places: NDArray[np.float64],
    profile: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> NDArray[np.float64]:
    first, second, blur = np.moveaxis(parameters, -1, 0)[..., None]
    steps = [ndtr((places - edge) / np.exp(blur)) for edge in (first, second)]
    design = np.stack([np.ones_like(steps[0]), *steps], axis=-1)
    weighted = np.swapaxes(design * weight[..., None], -1, -2)
    square = weighted @ design
    # A trace of ridge: steps that coincide share their height.
    square[..., range(3), range(3)] += 1e-6 * weight.sum(axis=1)[:, None]
    levels = np.linalg.solve(square, weighted @ profile[..., None])
    return np.sqrt(weight) * (profile - (design @ levels)[..., 0])
