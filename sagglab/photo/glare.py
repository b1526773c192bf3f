"""Glare: where a shiny surface mirrors the light, so that its own colour is not seen.

Mirrored light adds the colour of the light to that of the surface, as much in each channel (the dichromatic
model), and where it goes depends on the way that the surface faces alone. So glare is looked for by the
surface's outward directions, which the form tells: around the direction that mirrors the light, lightness
falls on all sides alike, evenly in all channels, over whatever mottle lies there. A pale patch falls off
here and there, and rather in the channels that its surroundings lack.

References
----------
Shafer, S. A. (1985). Using color to separate reflection components. Color Research & Application, 10(4).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter1d

from sagglab.colour import SRGB_TO_XYZ, WHITE_D50, WHITE_D65, adaptation, lab_to_xyz
from sagglab.photo.form import Form
from sagglab.photo.surface import Surface

#: Linear light from which a pixel is surely glare, or as little worth as glare.
NEARLY_CLIPPED = 0.95
#: Height, in pixels, at which glare is searched for at least; of larger pots only some pixels are looked at.
SEARCHED_AT = 250
#: The outline's noise makes the slope of the wall jump by a degree or two; smoothed over this share of the
#: height (standard deviation), lobes come out whole.
SLOPE_SMOOTHED = 0.02
#: Gradients are taken of a picture smoothed by this many pixels (standard deviation).
SMOOTHED_PX = 1.5
#: Glare ends where lightness, going outwards, falls by less than this: L* per degree that the surface turns,
#: median around; there it adds some 2 L*. In 40 other rendered scenes 96 % of the surface to which it adds
#: more than 2 L*, and all to which it adds more than 5, was found.
FALL_L = 2.0
#: It is followed no further than this: degrees that the surface turns beyond the core, and share of the
#: pot's height. On a straight wall all heights face the same way.
REACH_DEGREES, REACH = 12, 0.2
#: Cores that are grown, the largest first; specks beyond them are left out with no more than a rim.
MOST_CORES = 20
#: Places that are tried as cores that do not clip: peaks of the picture smoothed by the first share of the
#: pot's height, the highest within the second, that stand out most from the mean over the third.
MOST_PEAKS, PEAK_SMOOTHED, PEAK_APART, PEAK_AROUND = 12, 0.012, 0.06, 0.25
#: Rings around a peak, in degrees; in one of them lightness must fall, by `PEAK_FALL_L` or more per degree at
#: `PEAK_SHARE` of all places, and the least of the three channels by `EQUAL` or more of the greatest. Of
#: lobes that do not clip, laid over mottled surfaces (24 scenes each: three sharp ones that add 0.6, 0.3 and
#: 0.3 of white, two of satin that add 0.15) 21, 15, 10, 12 and 7 are found; of matt scenes 0.7 % or less is
#: taken.
PEAK_RINGS, PEAK_SHARE, PEAK_FALL_L, EQUAL = ((2, 6), (3, 8)), 0.85, 0.4, 0.85
#: What is taken as the core of a lobe that does not clip, in degrees around its peak.
CORE_DEGREES = 1.0
#: A ring of fewer pixels tells nothing.
LEAST_PIXELS = 12

_TO_RGB = np.linalg.inv(adaptation(WHITE_D65, WHITE_D50) @ SRGB_TO_XYZ).T


def find_glare(linear: NDArray[np.float32], lab: NDArray[np.float64], surface: Surface) -> NDArray[np.bool_]:
    """Find the glare on a pot, halo included.

    Parameters
    ----------
    linear : ndarray of float32, shape (rows, columns, 3)
        Linear light as the photograph shows it, where glare is clipped.
    lab : ndarray, shape (rows, columns, 3)
        CIELAB before any shading is taken out.
    surface : Surface
        Its own glare is not looked at.

    Returns
    -------
    ndarray of bool, shape (rows, columns)
        True on glare; on what is seen of the pot alone.
    """
    pot = np.isfinite(surface.height)
    if not surface.seen.any():
        return np.zeros_like(pot)
    tall = int(pot.any(axis=1).sum())
    clipped = pot & (cv2.max(cv2.max(linear[..., 0], linear[..., 1]), linear[..., 2]) >= NEARLY_CLIPPED)
    # Glare is smooth: of a large picture every second or third pixel tells as much.
    step = max(1, round(tall / SEARCHED_AT))
    lobes = _lobes(_View(lab, surface, step), _reduced(clipped, step), tall / step)
    glare = cv2.resize(lobes.astype(np.uint8), None, fx=step, fy=step, interpolation=cv2.INTER_NEAREST)
    glare = glare[: pot.shape[0], : pot.shape[1]].astype(bool) | clipped
    rim = 2 * max(1, round(tall / 150)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (rim, rim))
    return cv2.dilate(glare.astype(np.uint8), disc).astype(bool) & surface.seen


def whole_area(surface: Surface) -> NDArray[np.float64]:
    """Area that each measured pixel stands for when the band's glare is handed to what lies nearest to it.

    Glare lies in one place, and what is left out with it is seldom of the mean colour: without this the mean
    L* of a mottled, shiny pot is off by 0.55 (root mean square over rendered scenes), with it by 0.16.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    ndarray, shape (rows, columns)
        Sums up to the area of the band, glare included; 0 where nothing is measured.
    """
    measured, hidden = surface.measured, surface.band & surface.glare
    area = np.where(measured, surface.area, 0.0)
    if not hidden.any() or not measured.any():
        return area
    row, column = distance_transform_edt(~measured, return_distances=False, return_indices=True)
    np.add.at(area, (row[hidden], column[hidden]), surface.area[hidden])
    return area


def _lobes(view: _View, clipped: NDArray[np.bool_], tall: float) -> NDArray[np.bool_]:
    """Find and grow all cores, clipped or not, over a reduced picture."""
    found, reach = np.zeros_like(clipped), round(REACH * tall)
    count, labels, sizes, _ = cv2.connectedComponentsWithStats(clipped.astype(np.uint8))
    largest = sizes[1:, cv2.CC_STAT_AREA].argsort()[::-1][:MOST_CORES] + 1
    for core in largest if count > 1 else ():
        left, top, wide, high = sizes[core, :4]
        window = _window(clipped.shape, top, left, high, wide, reach)
        found[window] |= view.grown(labels[window] == core, window)
    for row, column in _peaks(view, ~clipped, tall):
        if found[row, column]:
            continue
        window = _window(clipped.shape, row, column, 1, 1, reach)
        angle = _angle(view.facing[window], view.facing[[row], [column]])
        if view.is_lobe(angle, window):
            found[window] |= view.grown((angle <= CORE_DEGREES) & view.seen[window], window)
    return found


class _View:
    """Which way the surface faces, and how the light changes from place to place; every `step`-th pixel."""

    def __init__(self, lab: NDArray[np.float64], surface: Surface, step: int) -> None:
        some = np.s_[::step, ::step]
        self.seen = np.ascontiguousarray(surface.seen[some])
        self.facing = _outward(surface.height[some], surface.degrees[some], surface.form)
        smooth = cv2.GaussianBlur(np.asarray(lab, dtype=np.float32), (0, 0), SMOOTHED_PX * step)[some]
        # As a display shows it: three channels in which the light itself is white.
        light = (lab_to_xyz(smooth) @ _TO_RGB).astype(np.float32)
        self.least = cv2.min(cv2.min(light[..., 0], light[..., 1]), light[..., 2])
        self.lightness = _gradient(np.ascontiguousarray(smooth[..., 0]))
        self.channels = _gradient(light)

    def is_lobe(self, angle: NDArray[np.float32], window: tuple[slice, slice]) -> bool:
        """Whether light falls off as mirrored light does, with the angle from some direction."""
        turn = _gradient(angle)
        for inner, outer in PEAK_RINGS:
            ring = self.seen[window] & (angle >= inner) & (angle < outer)
            if ring.sum() < LEAST_PIXELS:
                continue
            fall = -_outwards(*(axis[window][ring] for axis in self.lightness), *(a[ring] for a in turn))
            if np.quantile(fall, 1 - PEAK_SHARE) < PEAK_FALL_L:
                continue
            by_channel = -np.median(
                _outwards(*(axis[window][ring] for axis in self.channels), *(a[ring][:, None] for a in turn)),
                axis=0,
            )
            if by_channel.min() >= EQUAL * by_channel.max():
                return True
        return False

    def grown(self, core: NDArray[np.bool_], window: tuple[slice, slice]) -> NDArray[np.bool_]:
        """Grow a core outwards for as long as lightness falls; over the window."""
        facing, seen = self.facing[window], self.seen[window] & ~core
        # Of a large core some dozens of directions stand for all.
        directions = facing[core]
        angle = _angle(facing, directions[:: max(1, len(directions) // 40)])
        turn = _gradient(angle)
        fall = -_outwards(*(axis[window] for axis in self.lightness), *turn)
        reach, falls = 0.5, []
        while reach < REACH_DEGREES:
            ring = seen & (angle >= reach) & (angle < reach + 1)
            if ring.sum() >= LEAST_PIXELS:
                falls.append(np.median(fall[ring]))
                # Beyond its steepest place a lobe flattens; what steepens again is the surface's own.
                if falls[-1] < FALL_L or len(falls) > 1 and falls[-2] < falls[-1] < max(falls):
                    break
            reach += 1
        grown = core | (angle < reach)
        _, labels = cv2.connectedComponents(grown.astype(np.uint8))
        return np.isin(labels, np.unique(labels[core]))


def _outward(height: NDArray[np.float64], degrees: NDArray[np.float64], form: Form) -> NDArray[np.float32]:
    """Outward directions (right, up, towards the camera) along the pot's axis; 0 off the pot."""
    slope = gaussian_filter1d(form.slope, SLOPE_SMOOTHED * len(form.slope), mode="nearest")
    slope = np.interp(height, form.heights, slope).astype(np.float32)
    around = np.radians(degrees.astype(np.float32))
    facing = np.stack([np.sin(around), -slope, np.cos(around)], axis=-1)
    facing /= np.sqrt(1 + slope * slope)[..., None]
    return np.nan_to_num(facing, copy=False)


def _reduced(mask: NDArray[np.bool_], step: int) -> NDArray[np.bool_]:
    """Take every `step`-th pixel, True where any of those that it stands for is."""
    rows, columns = (-(-side // step) * step for side in mask.shape)
    whole = np.zeros((rows, columns), bool)
    whole[: mask.shape[0], : mask.shape[1]] = mask
    return whole.reshape(rows // step, step, columns // step, step).any(axis=(1, 3))


def _peaks(view: _View, where: NDArray[np.bool_], tall: float) -> NDArray[np.intp]:
    """Find the places that stand out most, (row, column) each."""
    smooth = cv2.GaussianBlur(view.least, (0, 0), max(1.0, PEAK_SMOOTHED * tall))
    apart = 2 * max(1, round(PEAK_APART / 2 * tall)) + 1
    around = 2 * max(1, round(PEAK_AROUND / 2 * tall)) + 1
    above = smooth - cv2.blur(smooth, (around, around))
    peak = view.seen & where & (smooth >= cv2.dilate(smooth, np.ones((apart, apart), np.uint8))) & (above > 0)
    places = np.argwhere(peak)
    return places[above[peak].argsort()[::-1][:MOST_PEAKS]]


def _window(
    shape: tuple[int, int], top: int, left: int, high: int, wide: int, reach: int
) -> tuple[slice, slice]:
    return (
        slice(max(0, top - reach), min(shape[0], top + high + reach)),
        slice(max(0, left - reach), min(shape[1], left + wide + reach)),
    )


def _gradient(values: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    return cv2.Sobel(values, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(values, cv2.CV_32F, 0, 1, scale=1 / 8)


def _angle(facing: NDArray[np.float32], directions: NDArray[np.float32]) -> NDArray[np.float32]:
    """Degrees from each pixel's outward direction to the nearest of some, shape (k, 3)."""
    # One row for each direction: to find the greatest of as many short ones takes some times as long.
    nearest = (directions @ facing.reshape(-1, 3).T).max(axis=0).reshape(facing.shape[:-1])
    return np.degrees(np.arccos(np.clip(nearest, -1, 1)))


def _outwards(
    across: NDArray[np.float32], down: NDArray[np.float32], turn_x: NDArray, turn_y: NDArray
) -> NDArray[np.float32]:
    """Change per degree, going straight away from a direction."""
    return (across * turn_x + down * turn_y) / np.maximum(turn_x**2 + turn_y**2, 1e-6)
