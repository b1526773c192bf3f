"""The pot's surface: which pixels show it evenly lit and without glare, how much each stands for, its colour.

The pot is taken as a solid of revolution with an upright axis, seen from the front and from far enough away
for all rays to be parallel. What turns away from the camera turns away from most of the light: shading over
the curve follows from the pot's own form and from how far around it the light comes from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from sagglab.colour import lab_to_lch

#: Half the width of the central band in degrees around the axis, where the slant costs little.
BAND_DEGREES = 37.0
#: How much of the light is lost with the facing (the cosine between the surface and the camera): light is
#: 1 + FACING · (facing − 1). It is 0 in light from all sides alike, ½ in light from the whole half of space
#: on the camera's side (a large tent), 1 from a lamp at the camera. Between the first two the middle is the
#: likeliest; the standard deviation is that of a triangle over them. A view tells nothing better: estimated
#: from the mottled surface itself it came out with an error of 0.9 (24 rendered scenes).
FACING, FACING_DOUBT = 0.25, 0.102
#: A surface element is dark below this L*.
DARK_L = 30.0
#: Linear light from which a pixel is surely glare.
GLARE_LINEAR = 0.95
#: Around such a pixel, glare reaches as far as L* stands this much above the surface nearby ...
GLARE_HALO_L = 8.0
#: ... but no further than this share of the pot's height: beyond, what is light is a pale surface.
GLARE_REACH = 0.04
#: Share of the height that is left out at the rim and at the foot, which are seen end on, so that a row of
#: pixels there stands for no known area (demo scenes: 1.6 L* off on a pot with a sooty rim).
ENDS = 0.02


@dataclass(frozen=True)
class Surface:
    """The part of one view that is measured; all arrays have the shape (rows, columns) of the picture.

    Attributes
    ----------
    band : ndarray of bool
        The central band, glare included.
    glare : ndarray of bool
        The part of the band left out as glare.
    area : ndarray
        Relative area of the surface that each pixel of the band stands for, 0 elsewhere.
    """

    band: NDArray[np.bool_]
    glare: NDArray[np.bool_]
    area: NDArray[np.float64]

    @property
    def facing(self) -> NDArray[np.float64]:
        """Cosine of the angle between the surface and the line of sight, 1 outside the band.

        A pixel stands for the more surface the more that turns away.
        """
        return 1 / np.where(self.band, self.area, 1.0)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """The pixels that are measured."""
        return self.band & ~self.glare


def central_band(outline: NDArray[np.bool_]) -> Surface:
    """Find the central band and the area that each pixel stands for; glare is not looked for yet.

    Parameters
    ----------
    outline : ndarray of bool, shape (rows, columns)
        The pot's silhouette; it holds at least one pixel.
    """
    band, area = _central_band(outline)
    return Surface(band, np.zeros_like(band), area)


def without_glare(
    surface: Surface, linear: NDArray[np.float32], lab: NDArray[np.float64], outline: NDArray[np.bool_]
) -> Surface:
    """Mark the glare of a band.

    Parameters
    ----------
    surface : Surface
    linear : ndarray of float32, shape (rows, columns, 3)
        Linear light as the photograph shows it, where glare is clipped.
    lab : ndarray, shape (rows, columns, 3)
    outline : ndarray of bool, shape (rows, columns)
    """
    return replace(surface, glare=surface.band & _glare(linear, lab[..., 0], outline))


def shading(surface: Surface) -> NDArray[np.float64]:
    """Light on the surface by the way it faces, against that on what faces the camera; (rows, columns)."""
    return 1 + FACING * (surface.facing - 1)


def _central_band(outline: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    rows = np.flatnonzero(outline.any(axis=1))
    left = outline[rows].argmax(axis=1)
    right = outline.shape[1] - 1 - outline[rows, ::-1].argmax(axis=1)
    # One axis for the whole pot, as for anything turned; the rows' own centres wander with noise.
    axis = np.median((left + right) / 2)
    radius = gaussian_filter1d((right - left + 1) / 2, max(1.0, len(rows) / 100), mode="nearest")
    slope = np.gradient(radius) if len(rows) > 1 else np.zeros(1)
    across = (np.arange(outline.shape[1]) - axis) / radius[:, None]
    inside = np.abs(across) <= np.sin(np.radians(BAND_DEGREES))
    ends = round(ENDS * len(rows))
    inside[:ends] = inside[len(rows) - ends :] = False
    band = np.zeros_like(outline)
    band[rows] = inside & outline[rows]
    # A pixel spans dx dy of the picture; the surface behind it is slanted across by the angle and along the
    # axis by the profile: dA = sqrt(1 + r'^2) dy · dx / cos(angle).
    area = np.zeros(outline.shape)
    cosine = np.sqrt(np.maximum(1 - across**2, 0.25))
    area[rows] = np.sqrt(1 + slope**2)[:, None] / cosine
    return band, np.where(band, area, 0.0)


def _glare(
    linear: NDArray[np.float32], lightness: NDArray[np.float64], outline: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Mark what a shiny surface throws back: clipped cores, and the halo around them."""
    rows = np.flatnonzero(outline.any(axis=1))
    height = len(rows)
    # The surface nearby: a median over a tenth of the pot's height, at a reduced size for speed.
    step = max(1, height // 120)
    reduced = np.ascontiguousarray(np.clip(lightness[::step, ::step], 0, 100), dtype=np.float32)
    nearby = cv2.medianBlur((reduced * 2.55).astype(np.uint8), 2 * max(3, height // step // 10) + 1) / 2.55
    nearby = cv2.resize(nearby, lightness.shape[::-1], interpolation=cv2.INTER_LINEAR)
    core = outline & (linear.max(axis=-1) >= GLARE_LINEAR)
    reach = _disc(GLARE_REACH * height)
    near = cv2.dilate(core.astype(np.uint8), reach).astype(bool)
    halo = core | (outline & near & (lightness - nearby > GLARE_HALO_L))
    grown = cv2.dilate(halo.astype(np.uint8), _disc(height / 150))
    return grown.astype(bool) & outline


def _disc(radius: float) -> NDArray[np.uint8]:
    side = 2 * max(1, round(radius)) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))


def weighted_quantile(
    values: NDArray[np.float64], weights: NDArray[np.float64], share: float
) -> NDArray[np.float64]:
    """Quantile of each column of `values`, shape (n, k), under `weights`, shape (n,).

    Examples
    --------
    >>> weighted_quantile(np.array([[1.0], [2.0], [9.0]]), np.array([1.0, 1.0, 4.0]), 0.5)
    array([9.])
    """
    result = np.empty(values.shape[1])
    for column in range(values.shape[1]):
        order = values[:, column].argsort()
        cumulative = weights[order].cumsum()
        result[column] = values[order[np.searchsorted(cumulative, share * cumulative[-1])], column]
    return result


def colour_measures(lab: NDArray[np.float64], surface: Surface) -> dict[str, float]:
    """Measure the colour of the surface, each pixel weighted by the area that it stands for.

    Parameters
    ----------
    lab : ndarray, shape (rows, columns, 3)
    surface : Surface

    Returns
    -------
    dict
        The columns that ``columns.COLOUR_MEASURES`` declares; empty when no pixel is left to measure.
    """
    measured = surface.measured
    if not measured.any():
        return {}
    values, weights = lab[measured], surface.area[measured]
    mean = np.average(values, axis=0, weights=weights)
    spread = np.sqrt(np.average((values - mean) ** 2, axis=0, weights=weights))
    median = weighted_quantile(values, weights, 0.5)
    measures = {}
    for name, colour in (("", mean), (" median", median)):
        # Of the mean or median colour: the mean of hue angles can point anywhere, and chroma has no sign.
        _, measures[f"C*ab{name}"], measures[f"hue angle{name}"] = lab_to_lch(colour)
    for name, centre, middle, sd in zip(("L*", "a*", "b*"), mean, median, spread, strict=True):
        measures |= {name: centre, f"{name} median": middle, f"{name} SD": sd}
    measures["dark share"] = np.average(values[:, 0] < DARK_L, weights=weights)
    measures["glare share"] = surface.area[surface.glare].sum() / surface.area.sum()
    return {name: float(value) for name, value in measures.items()}
