"""Shading: how the light falls off over the curve, as far as the pot's form and its own surface tell.

Light on the surface, against that on what faces the camera, is taken as 1 + facing · (cosine − 1) + aside ·
sin(angle): what turns away from the camera turns away from most of the light, and light may come rather from
one side. Both terms are the same in all rows of the pot, while mottle is not; but mottle is large, reaches
far, and may run in streaks from foot to rim. So the trend common to all rows is estimated together with how
far the mottle stays alike, which is what makes it uncertain, and joined with what is known beforehand. A pot
whose own colour fades evenly, and by no more than light would, from one side to the other cannot be told from
light.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from sagglab.photo.surface import Surface

#: How much of the light is lost with the facing, known beforehand: it is 0 in light from all sides alike, ½
#: in light from the whole half of space on the camera's side (a large tent), 1 from a lamp at the camera.
#: Between the first two the middle is the likeliest; the standard deviation is that of a triangle over them.
FACING, FACING_DOUBT = 0.25, 0.102
#: Standard deviation of the light from one side known beforehand, where somebody has looked for even light.
ASIDE_DOUBT = 0.08
#: Light from one side is taken out when the surface tells it by this many of its standard errors.
SURE = 3.0
#: More than this is not the light of anybody who has looked for even light, but a pot of which one half is
#: darker: three times what is known beforehand.
MOST = 3 * ASIDE_DOUBT

#: The surface is averaged in so many heights, and angles within so many degrees to either side.
HEIGHTS, ANGLES, WITHIN = 10, 16, 72.0
#: A cell counts when it shows this share of the middle cell's area.
LEAST_AREA = 0.25
#: Luminance below which logarithms tell the noise; of a carbon-black surface it is 0.01.
DARKEST = 0.002
#: How far mottle stays alike: distance, in shares of the pot's height, at which its correlation has fallen to
#: 1/e. All are tried, and count as much as the surface makes them likely.
REACHES = (0.06, 0.12, 0.25, 0.5, 1.0)
#: Variance of streaks from foot to rim, against that of the mottle; tried alike.
STREAKS = (0.0, 0.1, 1.0, 10.0, 100.0)
#: Variance, against that of the mottle, of what two neighbouring cells do not share.
OF_ITS_OWN = 0.03
#: No surface is known to be more even than this, in logarithm of light.
EVENEST = 0.003
#: Variances of the estimates against the model's own: what 40 rendered scenes were off by.
WIDER = 1.5


@dataclass(frozen=True)
class Shading:
    """The light on the surface by the way that it faces.

    Attributes
    ----------
    facing, facing_error : float
        Share of the light that is lost from facing the camera to standing square to it, and its standard
        error; the surface and what is known beforehand joined.
    aside, aside_error : float
        Light from the right more than from the left, as taken out, and its standard error; 0 when the
        surface does not tell it apart from mottle.
    aside_seen, aside_seen_error : float
        The same as the surface alone tells it; NaN when nothing was estimated.
    """

    facing: float = FACING
    facing_error: float = FACING_DOUBT
    aside: float = 0.0
    aside_error: float = ASIDE_DOUBT
    aside_seen: float = np.nan
    aside_seen_error: float = np.nan

    @property
    def explains(self) -> bool:
        """Whether the surface tells light from one side, so that it is taken out."""
        return bool(SURE * self.aside_seen_error <= abs(self.aside_seen) <= MOST)

    def light(self, surface: Surface) -> NDArray[np.float64]:
        """Light on the surface, to divide XYZ by; (rows, columns), 1 where nothing is seen."""
        light = 1 + self.facing * (surface.facing - 1) + self.aside * _sine(surface)
        # Where no light of the model would be left, the surface is lit by what surrounds it.
        return np.maximum(light, 0.1)

    def at_edge(self, surface: Surface, lightness: float) -> float:
        """Correction at the band's edge, mean over both, in L*, for a surface of some L*; NaN without one."""
        aside = np.abs(surface.degrees)
        if not surface.band.any():
            return float("nan")
        edge = surface.band & (aside >= aside[surface.band].max() - 2)
        # L* + 16 goes with the cube root of the light.
        lighter = self.light(surface)[edge] ** (-1 / 3) - 1
        return float((lightness + 16) * np.average(lighter, weights=surface.area[edge]))

    def share_error(self, surface: Surface) -> float:
        """Give the standard error of the mean light over the measured band, as a share; NaN without one."""
        measured = surface.measured
        if not measured.any():
            return float("nan")
        weights = surface.area[measured].astype(float) / self.light(surface)[measured]
        area = surface.area[measured].sum(dtype=float)
        facing = ((1 - surface.facing[measured]) * weights).sum() / area
        aside = (_sine(surface)[measured] * weights).sum() / area
        return float(np.hypot(self.facing_error * facing, self.aside_error * aside))


def estimate_shading(luminance: NDArray[np.float64], surface: Surface, *, flat: bool) -> Shading:
    """Estimate the shading over the curve from the pot's own surface.

    Parameters
    ----------
    luminance : ndarray, shape (rows, columns)
        Y after calibration, 1 for white, before any shading is taken out.
    surface : Surface
        With its glare.
    flat : bool
        Whether a flat field took out the light's fall-off; it tells left from right better than a mottled
        surface, so that light from one side is not estimated.

    Returns
    -------
    Shading
        What is known beforehand when too little of the pot is seen.

    References
    ----------
    Patterson, H. D. & Thompson, R. (1971). Recovery of inter-block information when block sizes are unequal.
    Biometrika, 58(3): the likelihood by which reaches and streaks are weighed.
    """
    cells = _cells(luminance, surface)
    if cells is None:
        return Shading()
    mean, error, joined, sd = _trend(*cells, surface)
    facing, facing_error = float(joined[1]), float(sd[1])
    if flat:
        return Shading(facing, facing_error)
    aside, seen, seen_error = float(joined[0]), float(mean[0]), float(error[0])
    found = Shading(facing, facing_error, aside, float(sd[0]), seen, seen_error)
    if found.explains:
        return found
    # Left as it is, it is off by what was not taken out, too; what no light does tells nothing about light.
    error = ASIDE_DOUBT if abs(seen) > MOST else float(np.hypot(aside, sd[0]))
    return replace(found, aside=0.0, aside_error=error)


def _sine(surface: Surface) -> NDArray[np.float64]:
    """Sine of the angle around the axis, 0 where nothing is seen."""
    return np.where(surface.seen, np.sin(np.radians(surface.degrees)), 0.0)


def _cells(
    luminance: NDArray[np.float64], surface: Surface
) -> tuple[NDArray[np.intp], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]] | None:
    """Average the surface in cells: their row, angle, facing and logarithm of light, shape (n,) each."""
    usable = surface.seen & ~surface.glare & (np.abs(surface.degrees) < WITHIN)
    row = (surface.height[usable] * HEIGHTS).astype(np.intp)
    column = ((surface.degrees[usable] + WITHIN) / (2 * WITHIN) * ANGLES).astype(np.intp)
    area, size = surface.area[usable].astype(float), HEIGHTS * ANGLES
    cell = np.clip(row, 0, HEIGHTS - 1) * ANGLES + np.clip(column, 0, ANGLES - 1)
    total = np.bincount(cell, area, size)
    if not total.any():
        return None
    shown = total >= LEAST_AREA * np.median(total[total > 0])
    row, column = np.divmod(np.flatnonzero(shown), ANGLES)
    # A row's mean takes one cell, the two terms two more, and something must be left to judge them by.
    if shown.sum() < 3 * len(np.unique(row)) + 10:
        return None
    light = np.log(np.maximum(luminance[usable], DARKEST))
    values = [
        np.bincount(cell, area * v, size)[shown] / total[shown] for v in (surface.facing[usable], light)
    ]
    angle = np.radians(((column + 0.5) / ANGLES * 2 - 1) * WITHIN)
    return row, angle, values[0], values[1]


def _trend(
    row: NDArray[np.intp],
    angle: NDArray[np.float64],
    facing: NDArray[np.float64],
    light: NDArray[np.float64],
    surface: Surface,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Estimate aside and facing, (2,): from the cells alone and their errors, with the prior and theirs.

    Least squares with mottle whose correlation falls exponentially over the surface, and with streaks that
    all rows share, each pair of reach and streaks weighed by its restricted likelihood.
    """
    known = 1 + FACING * (facing - 1)
    light, before = light - np.log(known), np.diag([ASIDE_DOUBT**2, FACING_DOUBT**2])
    rows = (row[:, None] == np.unique(row)).astype(float)
    terms = np.column_stack([np.sin(angle) / known, (facing - 1) / known, rows])
    spare = len(light) - terms.shape[1]
    around = np.abs(angle[:, None] - angle) * surface.form.radius.mean() / surface.form.length
    apart = np.hypot(around, (row[:, None] - row) / HEIGHTS)
    weights, alone, joined = [], [], []
    for reach in REACHES:
        mottle = np.exp(-apart / reach) + OF_ITS_OWN * np.eye(len(light))
        streaks = np.exp(-around / reach)
        for share in STREAKS:
            root = cholesky(mottle + share * streaks, lower=True, check_finite=False)
            white = solve_triangular(root, np.column_stack([terms, light]), lower=True, check_finite=False)
            normal, right = white[:, :-1].T @ white[:, :-1], white[:, :-1].T @ white[:, -1]
            fitted = np.linalg.solve(normal, right)
            off = white[:, -1] @ white[:, -1] - right @ fitted
            scale = max(off / spare, EVENEST**2)
            # As differences from what is known beforehand.
            told, spread = fitted[:2], WIDER * scale * np.linalg.inv(normal)[:2, :2]
            likelihood = -np.log(np.diag(root)).sum() - np.linalg.slogdet(normal)[1] / 2
            likelihood -= spare / 2 * np.log(scale) + off / scale / 2
            both = spread + before
            gain = before @ np.linalg.inv(both)
            likelihood -= np.linalg.slogdet(both)[1] / 2 + told @ np.linalg.solve(both, told) / 2
            weights.append(likelihood)
            alone.append((told, spread))
            joined.append((gain @ told, before - gain @ before))
    weights = np.exp(np.array(weights) - max(weights))
    mean, error = _mixed(weights, alone)
    middle, sd = _mixed(weights, joined)
    beforehand = np.array([0, FACING])
    return mean + beforehand, error, middle + beforehand, sd


def _mixed(
    weights: NDArray[np.float64], told: list[tuple[NDArray[np.float64], NDArray[np.float64]]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard deviation of a mixture, given the means and covariances of its parts."""
    means, variances = np.array([m for m, _ in told]), np.array([np.diag(v) for _, v in told])
    mean = np.average(means, axis=0, weights=weights)
    return mean, np.sqrt(np.average(variances + (means - mean) ** 2, axis=0, weights=weights))
