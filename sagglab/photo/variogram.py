"""Variogram of a surface: how unlike two places of a pot are, by how far apart they lie on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from sagglab.photo.unrolled import SurfaceMap

#: The map is read in about this many rows, whatever its resolution, so that the picture's does not tell on
#: what comes out; a row is then 1 to 2 mm of a small pot, and columns are degrees.
ROWS = 48
#: Degree of the polynomial in height that is taken out first. A dark foot or a pale rim is a trend, the same
#: all around, and no patch. A higher degree takes long patches for a trend: of simulated patches of 20 mm, on
#: a pot 100 mm high, degree 1 found 21 mm and degree 2 found 17.
TREND_DEGREE = 1
#: How far the fitted range may lie beyond the map's reach, in reaches; from there on the model is a line.
LONGEST = 6.0
#: Two places in a square lie this share of its side apart, in the mean.
WITHIN_SQUARE = 0.5214
#: Candidate ranges for the fit, each 4 % above the one before.
_STEP = 1.04


def _exponential(share: NDArray[np.float64]) -> NDArray[np.float64]:
    return -np.expm1(np.log(0.05) * share)


def _spherical(share: NDArray[np.float64]) -> NDArray[np.float64]:
    # 1.5 x - 0.5 x^3 is 0.95 at x = 0.81140.
    scaled = np.minimum(0.81140 * share, 1)
    return scaled * (1.5 - 0.5 * scaled**2)


def _matern(share: NDArray[np.float64]) -> NDArray[np.float64]:
    # (1 + x) exp(-x) is 0.05 at x = 4.74386.
    scaled = 4.74386 * share
    return 1 - (1 + scaled) * np.exp(-scaled)


#: Variograms of sill 1 by the distance as a share of the practical range, where each has reached 0.95: sharp
#: edges and rough mottle, patches of one size, and smooth clouds (Matérn's of smoothness 3/2).
MODELS = {"exponential": _exponential, "spherical": _spherical, "Matérn 3/2": _matern}


@dataclass(frozen=True)
class Model:
    """A variogram fitted: ``sill`` times one of `MODELS`.

    Attributes
    ----------
    name : str
    range : float
        Practical range, where 95 % of the sill is reached, in the distance's unit; NaN of an even surface.
    sill : float
        Semivariance far apart, in squared units of the coordinate.
    """

    name: str
    range: float
    sill: float

    def __call__(self, distance: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the semivariance at distances."""
        if np.isnan(self.range):
            return np.zeros_like(distance)
        return self.sill * MODELS[self.name](distance / self.range)


@dataclass(frozen=True)
class Variogram:
    """Half the mean squared difference of two places, by the distance between them.

    Attributes
    ----------
    distance : ndarray, shape (bins,)
        On the surface, in the unit of the cells' places.
    semivariance : ndarray, shape (bins, 3)
        Of L*, a*, b*.
    pairs : ndarray, shape (bins,)
        How many pairs of cells each is from.
    within : float
        How far apart two places of one cell lie, in the mean.
    reach : float
        The farthest distance that counts: half the longer side of what is measured.
    """

    distance: NDArray[np.float64]
    semivariance: NDArray[np.float64]
    pairs: NDArray[np.float64]
    within: float
    reach: float

    def fit(self) -> tuple[Model | None, Model | None, Model | None]:
        """Fit to each of L*, a*, b* the model which comes nearest; None where there are too few distances.

        Distances near 0, which tell the range, count the more: weights are the number of pairs by the squared
        distance, which at small distances is Cressie's (1985) but does not hang on the scatter of the figures
        themselves. With his, the ranges of simulated fields scattered by up to half as much again. One model
        for all surfaces will not do: spherical on an exponential field, and the other way round, is wrong by
        a factor of 2; the least residual named the right one in 90 % or more of simulated fields of ranges up
        to a fifth of the pot's height. There is no nugget: the map's cells are means over many pixels.

        References
        ----------
        N. Cressie, Fitting variogram models by weighted least squares, Mathematical Geology 17 (1985).
        """
        if len(self.distance) < 4:
            return None, None, None
        count = int(np.log(LONGEST * self.reach / self.distance[0]) / np.log(_STEP)) + 1
        ranges = self.distance[0] * _STEP ** np.arange(count)
        weights = self.pairs / self.distance**2
        sills, explained = [], []
        for model in MODELS.values():
            shape = model(self.distance / ranges[:, None]) - model(self.within / ranges)[:, None]
            shape = np.maximum(shape, 0)
            product = shape @ (weights[:, None] * self.semivariance)
            sills.append(product / (shape**2 @ weights)[:, None])
            # What the sill that fits best takes off the sum of squares: the more, the nearer.
            explained.append(sills[-1] * product)
        names = list(MODELS)
        return tuple(
            Model("spherical", np.nan, 0.0)
            if self.semivariance[:, k].max() < 1e-9
            else Model(names[which], float(ranges[at]), float(sills[which][at, k]))
            for k, (which, at) in enumerate(
                np.unravel_index(np.argmax(part), part.shape)
                for part in np.moveaxis(np.array(explained), -1, 0)
            )
        )


@dataclass(frozen=True)
class Cells:
    """A map's band in about `ROWS` rows, with the places of its cells on the surface.

    Attributes
    ----------
    lab : ndarray, shape (rows, columns, 3)
        NaN where nothing was measured.
    area : ndarray, shape (rows, columns)
        Relative area that was measured, 0 where none was.
    degrees : ndarray, shape (columns,)
    height : ndarray, shape (rows,)
        Shares of the whole.
    along : ndarray, shape (rows,)
        Way along the profile, down from the rim.
    step : ndarray, shape (rows,)
        Length along the profile.
    radius : ndarray, shape (rows,)
        `along`, `step` and `radius` in millimetres.
    """

    lab: NDArray[np.float64]
    area: NDArray[np.float64]
    degrees: NDArray[np.float64]
    height: NDArray[np.float64]
    along: NDArray[np.float64]
    step: NDArray[np.float64]
    radius: NDArray[np.float64]

    @property
    def per_column(self) -> float:
        """Degrees from one column to the next."""
        return float(self.degrees[1] - self.degrees[0]) if len(self.degrees) > 1 else 1.0


def cells(
    surface_map: SurfaceMap, band_degrees: float, radius: NDArray[np.float64], step: NDArray[np.float64]
) -> Cells:
    """Take the band of a map, its rows joined by area.

    Parameters
    ----------
    surface_map : SurfaceMap
    band_degrees : float
        Half the width of the band around the middle of the view.
    radius, step : ndarray, shape (heights,)
        Of the map's rows.
    """
    inside = np.abs(surface_map.degrees) <= band_degrees
    group = np.minimum((ROWS * (1 - surface_map.height)).astype(int), ROWS - 1)
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    lab = surface_map.lab[:, inside]
    area = np.where(np.isfinite(lab).all(axis=-1), surface_map.area[:, inside], 0.0)
    total = np.add.reduceat(area, starts)
    sums = np.add.reduceat(np.where(area[..., None] > 0, area[..., None] * lab, 0.0), starts)
    count = np.add.reduceat(np.ones(len(group)), starts)
    steps = np.add.reduceat(step, starts)
    return Cells(
        np.divide(sums, total[..., None], out=np.full_like(sums, np.nan), where=total[..., None] > 0),
        total,
        surface_map.degrees[inside],
        np.add.reduceat(surface_map.height, starts) / count,
        steps.cumsum() - steps / 2,
        steps,
        np.add.reduceat(radius, starts) / count,
    )


def _without_trend(part: Cells) -> NDArray[np.float64]:
    """Take the trend with height out of the colours of what was measured; 0 elsewhere."""
    known = part.area > 0
    height = np.broadcast_to(2 * part.height[:, None] - 1, known.shape)[known]
    terms = np.polynomial.legendre.legvander(height, TREND_DEGREE)
    values = part.lab[known]
    rest = np.zeros_like(part.lab)
    rest[known] = values - terms @ np.linalg.lstsq(terms, values)[0]
    return rest


def variogram(part: Cells) -> Variogram:
    """Measure the variogram of L*, a*, b* in all directions, after the trend with height.

    The distance of two cells is that on a cylinder of the two rows' mean radius, with the way along the
    profile for its height: exact on a cylinder, near on other forms for short ways.

    Parameters
    ----------
    part : Cells

    Returns
    -------
    Variogram

    References
    ----------
    G. Matheron, Principles of geostatistics, Economic Geology 58 (1963): the estimator.
    """
    known = (part.area > 0).astype(float)
    turn = np.radians(part.per_column)
    width = turn * len(part.degrees) * part.radius.max()
    reach = max(width, part.step.sum()) / 2
    within = WITHIN_SQUARE * float(np.sqrt(np.median(part.radius) * turn * np.median(part.step)))
    if known.sum() < 4:
        return Variogram(np.empty(0), np.empty((0, 3)), np.empty(0), within, reach)
    rest = _without_trend(part)
    upper, lower = np.triu_indices(len(known))
    apart = part.along[lower] - part.along[upper]
    upper, lower, apart = (each[apart <= reach] for each in (upper, lower, apart))
    radius = (part.radius[upper] + part.radius[lower]) / 2
    columns = known.shape[1]
    # The sums over pairs of one row with another, for each turn, are correlations along the row. In one sum
    # over all rows the radius would have to be one and the same.
    length = fft.next_fast_len(2 * columns - 1, real=True)

    def spectrum(values: NDArray[np.float64]) -> NDArray[np.complex128]:
        return fft.rfft(values, length, axis=1)

    def pair_sums(of: NDArray[np.complex128]) -> NDArray[np.float64]:
        # Turns to the right, then to the left; of a row with itself, both are the same pairs.
        sums = fft.irfft(of, length, axis=1)
        return np.concatenate([sums[:, :columns], sums[:, length - columns + 1 :]], axis=1)

    mask = spectrum(known)
    turns = turn * np.concatenate([np.arange(columns), np.arange(columns - 1, 0, -1)])
    distance = np.hypot(apart[:, None], radius[:, None] * turns)
    pairs = np.rint(pair_sums(mask[upper].conj() * mask[lower]))
    pairs[upper == lower, columns:] = 0
    bin_width = max(float(np.median(part.step)), float(np.median(part.radius)) * turn)
    counted = (pairs > 0) & (distance > 0) & (distance <= reach)
    number = np.rint(distance[counted] / bin_width).astype(int)
    total = np.bincount(number, pairs[counted])
    filled = total > 0
    semivariance = np.empty((filled.sum(), 3))
    for k in range(3):
        value, square = spectrum(rest[..., k]), spectrum(rest[..., k] ** 2)
        both = square[upper].conj() * mask[lower] + mask[upper].conj() * square[lower]
        sums = pair_sums(both - 2 * value[upper].conj() * value[lower])[counted]
        semivariance[:, k] = (np.bincount(number, sums) / 2)[filled] / total[filled]
    mean = np.bincount(number, (distance * pairs)[counted])[filled] / total[filled]
    return Variogram(mean, np.maximum(semivariance, 0), total[filled], within, reach)


@dataclass(frozen=True)
class Mottle:
    """How the colours of a map's band are spread over it.

    Attributes
    ----------
    part : Cells
    reach : float
        The farthest distance that counts.
    models : tuple of three Model or None
        Variograms fitted to L*, a*, b*.
    to_scale : bool
        Whether lengths are in millimetres; else the pot counts as one high and one wide.
    """

    part: Cells
    reach: float
    models: tuple[Model | None, Model | None, Model | None]
    to_scale: bool


def read_mottle(surface_map: SurfaceMap, band_degrees: float) -> Mottle:
    """Read how the colours of the band are spread over it.

    Parameters
    ----------
    surface_map : SurfaceMap
    band_degrees : float
        Half the width of the band, in degrees around the axis.
    """
    radius, step = surface_map.radius_mm, surface_map.step_mm
    to_scale = bool(np.isfinite(radius).all())
    if not to_scale:
        # Only the proportion tells, since ranges are then in the same unknown unit.
        radius, step = np.full(len(radius), 0.5), np.full(len(step), 1 / len(step))
    part = cells(surface_map, band_degrees, radius, step)
    seen = variogram(part)
    return Mottle(part, seen.reach, seen.fit(), to_scale)
