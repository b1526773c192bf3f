"""Which tone, which light and which regression a target's patches speak for, judged by patches left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.colour import delta_e_2000, xyz_to_lab
from sagglab.photo.fall_off import EvenLight, Light, TargetTrend, across_target, backdrop_trend
from sagglab.photo.flat import FlatField
from sagglab.photo.patches import grid_to_picture
from sagglab.photo.picture import Picture
from sagglab.photo.regression import CANDIDATES, Fit, Patches, fit_again, fit_regression, fit_regressions
from sagglab.photo.tone import AS_IT_IS, Tone, fit_tone

#: Fewest neutral patches that still make a curve, so that doubtful ones can be left out of it.
LEAST_NEUTRALS = 4
#: A neutral patch bends the tone for all colours, and its own error and its neighbours' with it. It is left
#: out of the tone when the patches as a whole are then predicted better by this factor, and it is missed by
#: this much itself.
BETTER_WITHOUT, WRONG_NEUTRAL = 0.8, 4.0
#: Regressions, of ``regression.CANDIDATES``, by which that is judged: one of each kind.
_JUDGES = (CANDIDATES[0], CANDIDATES[2], CANDIDATES[7])

#: Weights fall with a patch's left-out error as 1 / (1 + (error / scale)²), the scale being this many times
#: the median error, which is taken to be no smaller than a good camera's.
ROBUST, LEAST_MEDIAN = 2.0, 0.7

#: A plain backdrop speaks for itself: its fall-off is taken unless it makes the left-out error greater than
#: by this factor (by chance it changes by some hundredths either way). The target's own trend is taken only
#: when it makes it less than by this factor.
NO_WORSE, MUCH_BETTER = 1.1, 0.97
#: Standard deviation that a trend over the target is expected to have, log light; and the least that is
#: taken: less than it is as likely the patches' own errors.
USUAL_TREND, LEAST_TREND = 0.1, 0.02


@dataclass(frozen=True)
class Seen:
    """What is known of the patches, row by row of the target; arrays have one row for each.

    Attributes
    ----------
    shown : ndarray, shape (n, 3)
        Linear light as the photograph shows it.
    places : ndarray, shape (rows, columns, 2)
        (x, y) of the centres.
    patches : Patches
        The reference colours.
    neutral : ndarray of bool, shape (n,)
    base : ndarray, shape (n,)
        Weights before the errors are known: 1 for a good patch, 0 for a hidden one.
    """

    shown: NDArray[np.float64]
    places: NDArray[np.float64]
    patches: Patches
    neutral: NDArray[np.bool_]
    base: NDArray[np.float64]

    @property
    def corners(self) -> NDArray[np.float64]:
        """Centres of the corner patches, shape (4, 2)."""
        return self.places[[0, 0, -1, -1], [0, -1, -1, 0]]

    def tone(self, light: Light, chosen: NDArray[np.bool_]) -> Tone:
        """Fit the tone to the chosen patches in a light."""
        shown, reference = self.shown[chosen], self.patches.xyz[chosen, 1:2]
        places = self.places.reshape(-1, 2)[chosen]
        tone, known = AS_IT_IS, None
        if not chosen.any():
            return tone  # a target without greys
        # A flat field's own tone must be undone to know the light, and the light at each neutral patch to
        # know the tone. Three rounds settle both to 1e-6, since the light differs by little over a target. No
        # other light depends on the tone.
        for _ in range(3):
            there = light.at(places, tone)
            if known is not None and (there == known).all():
                break
            tone, known = fit_tone(shown, reference * there), there
        return tone

    def relative(self, light: Light, tone: Tone) -> NDArray[np.float64]:
        """Linear light of the patches with tone and fall-off undone, shape (n, 3)."""
        return tone(self.shown) / light.at(self.places.reshape(-1, 2), tone)

    def errors(self, lab: NDArray[np.float64]) -> NDArray[np.float64]:
        """ΔE00 of colours, shape (..., n, 3), against the reference."""
        return delta_e_2000(lab, np.broadcast_to(self.patches.lab, lab.shape))


@dataclass(frozen=True)
class Solution:
    """The best way to calibrate in one light.

    Attributes
    ----------
    light : Light
    tone : Tone
    in_tone : ndarray of bool, shape (n,)
        The neutral patches that made the tone.
    weights : ndarray, shape (n,)
    fits : tuple of Fit
        One for each of ``regression.CANDIDATES``.
    chosen : int
        Which of them predicts left-out patches best.
    score : float
        Its weighted mean ΔE00 over left-out patches.
    """

    light: Light
    tone: Tone
    in_tone: NDArray[np.bool_]
    weights: NDArray[np.float64]
    fits: tuple[Fit, ...]
    chosen: int
    score: float

    @property
    def fit(self) -> Fit:
        """The regression chosen."""
        return self.fits[self.chosen]


def solve(seen: Seen, flat: FlatField | None, picture: Picture | None) -> Solution:
    """Calibrate in the light that is known, or in that which the left-out patches speak for.

    Parameters
    ----------
    seen : Seen
    flat : FlatField or None
    picture : Picture or None
        The photograph, whose backdrop may tell the light's fall-off.
    """
    if flat is not None:
        return _settled(seen, flat)
    even = _settled(seen, EvenLight())
    if picture is not None:
        trend = backdrop_trend(picture, seen.corners, seen.places.shape[:2], even.tone)
        if trend is not None:
            solution = _settled(seen, trend)
            if solution.score <= NO_WORSE * even.score:
                return solution
    trend = _target_trend(seen, even)
    if max(map(abs, trend.slopes)) >= LEAST_TREND:
        solution = _settled(seen, trend)
        if solution.score <= MUCH_BETTER * even.score:
            return solution
    return even


def left_out(seen: Seen, solution: Solution) -> NDArray[np.float64]:
    """CIELAB of each patch by a calibration that was chosen and made without it, shape (n, 3).

    A coloured patch has no part in the tone, so that leaving it out leaves the tone as it is; a neutral one
    is left out of the tone, too, once its regression is chosen. The weights of the other patches stay: a
    patch sways them by less than ΔE00 0.3.
    """
    single, scores = [], []
    for fit in solution.fits:
        pairs = fit.left_out_with_another()
        others = solution.weights * ~np.eye(len(pairs), dtype=bool)
        scores.append((seen.errors(pairs) * others).sum(axis=1) / others.sum(axis=1))
        single.append(pairs.diagonal().T)
    chosen = np.argmin(scores, axis=0)
    lab = np.array(single)[chosen, np.arange(len(chosen))]
    for patch in np.flatnonzero(solution.in_tone):
        lab[patch] = _without(seen, solution, patch, chosen[patch])
    return lab


def _without(seen: Seen, solution: Solution, patch: int, candidate: int) -> NDArray[np.float64]:
    """CIELAB of a neutral patch by a tone and a regression made without it."""
    in_tone, weights = solution.in_tone.copy(), solution.weights.copy()
    in_tone[patch], weights[patch] = False, 0
    relative = seen.relative(solution.light, seen.tone(solution.light, in_tone))
    fit = fit_regression(relative, seen.patches, weights, *CANDIDATES[candidate])
    return xyz_to_lab(fit.regression(relative[patch]))


def _settled(seen: Seen, light: Light) -> Solution:
    """Calibrate, and leave neutral patches that are plainly wrong out of the tone."""
    in_tone = seen.neutral & (seen.base == 1)
    if in_tone.sum() < LEAST_NEUTRALS:
        in_tone = seen.neutral & (seen.base > 0)
    missed = np.average(_missed(seen, light, in_tone, seen.base), weights=seen.base)
    while in_tone.sum() > LEAST_NEUTRALS:
        # By the patch that is missed most the neighbours of the wrong one would be left out in its place.
        tried = []
        for patch in np.flatnonzero(in_tone):
            others = np.where(np.arange(len(in_tone)) == patch, 0, seen.base)
            errors = _missed(seen, light, in_tone & (others > 0), others)
            tried.append((float(np.average(errors, weights=others)), int(patch), float(errors[patch])))
        without, worst, own = min(tried)
        if without > BETTER_WITHOUT * missed or own < WRONG_NEUTRAL:
            break
        in_tone = in_tone.copy()
        in_tone[worst], missed = False, without
    return _fitted(seen, light, in_tone)


def _missed(
    seen: Seen, light: Light, in_tone: NDArray[np.bool_], weights: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Left-out errors on a tone, shape (n,), by the best of a few regressions."""
    relative = seen.relative(light, seen.tone(light, in_tone))
    fits = fit_regressions(relative, seen.patches, weights, _JUDGES)
    tried = seen.errors(np.array([fit.left_out() for fit in fits]))
    return min(tried, key=lambda errors: float(np.average(errors, weights=weights)))


def _fitted(seen: Seen, light: Light, in_tone: NDArray[np.bool_]) -> Solution:
    tone = seen.tone(light, in_tone)
    relative = seen.relative(light, tone)
    good = seen.base == 1
    fit, following = fit_again(relative, seen.patches, CANDIDATES), seen.base
    # Three rounds: weights that follow the errors, and errors that follow the weights, then change by 1 %.
    for _ in range(3):
        weights = following
        fits = fit(weights)
        errors = seen.errors(np.array([fit.left_out() for fit in fits]))
        scores = np.average(errors, axis=1, weights=weights)
        chosen = int(scores.argmin())
        scale = ROBUST * max(LEAST_MEDIAN, float(np.median(errors[chosen, good])) if good.any() else 0.0)
        following = seen.base / (1 + (errors[chosen] / scale) ** 2)
    return Solution(light, tone, in_tone, weights, fits, chosen, float(scores[chosen]))


def _target_trend(seen: Seen, start: Solution) -> TargetTrend:
    """Fit a trend of the light over the target together with the regression."""
    shape = seen.places.shape[:2]
    to_grid = np.linalg.inv(grid_to_picture(seen.corners, shape))
    across = across_target(to_grid, shape, seen.places.reshape(-1, 2))
    patches, slopes, solution = seen.patches, np.zeros(2), start
    # A trend of the light and another regression look alike in part: what the regression cannot take up of
    # the trend is what speaks for it. Three rounds settle the slopes to a hundredth of theirs.
    for _ in range(3):
        trend = -(patches.slopes @ patches.xyz[..., None]) * across[:, None, :]
        taken_up = np.einsum("pqij,qjd->pid", solution.fit.hat, trend)
        remaining = (trend - taken_up).reshape(-1, 2)
        weighted = remaining * np.repeat(solution.weights, 3)[:, None]
        square = weighted.T @ remaining + np.eye(2) / USUAL_TREND**2
        slopes = slopes + np.linalg.solve(square, weighted.T @ solution.fit.residual.ravel())
        light = TargetTrend(to_grid, shape, (float(slopes[0]), float(slopes[1])))
        solution = _fitted(seen, light, solution.in_tone)
    return light
