"""Solutions: choice and prediction of patches left out, with nothing of the patch itself in them."""

from dataclasses import replace

import numpy as np
import pytest

from sagglab.colour import linear_to_xyz, xyz_to_lab
from sagglab.photo.regression import CANDIDATES, Patches, fit_regression
from sagglab.photo.solution import Seen, left_out, solve


@pytest.fixture(scope="module")
def seen():
    """Patches of a camera with another sensor, a tone of its own and noise; the last six are grey."""
    rng = np.random.default_rng(5)
    light = rng.uniform(0.04, 0.75, (24, 3))
    light[18:] = np.geomspace(0.85, 0.03, 6)[:, None]
    camera = np.array([[0.80, 0.15, 0.05], [0.10, 0.75, 0.15], [0.02, 0.18, 0.80]])
    shown = 0.9 * (light @ camera.T) ** 1.15 * rng.normal(1, 0.02, light.shape)
    places = np.stack(np.meshgrid(100 + 40.0 * np.arange(6), 80 + 40.0 * np.arange(4)), axis=-1)
    neutral = np.arange(24) >= 18
    return Seen(shown, places, Patches.of(xyz_to_lab(linear_to_xyz(light))), neutral, np.ones(24))


@pytest.fixture(scope="module")
def solution(seen):
    return solve(seen, None, None)


def candidate_by_force(seen, solution, patch):
    """Choose by the error over all patches but one, each predicted by a fit without both of them."""
    relative = seen.relative(solution.light, solution.tone)
    others = np.delete(np.arange(24), patch)
    scores = []
    for candidate in CANDIDATES:
        errors = []
        for other in others:
            weights = solution.weights.copy()
            weights[[patch, other]] = 0
            fit = fit_regression(relative, seen.patches, weights, *candidate)
            lab = np.zeros((24, 3))
            lab[other] = xyz_to_lab(fit.regression(relative[other]))
            errors.append(seen.errors(lab)[other])
        scores.append(np.average(errors, weights=solution.weights[others]))
    return int(np.argmin(scores))


@pytest.mark.parametrize("patch", [0, 11, 17])
def test_a_coloured_patch_is_predicted_by_a_choice_and_a_fit_without_it(seen, solution, patch):
    weights = solution.weights.copy()
    weights[patch] = 0
    relative = seen.relative(solution.light, solution.tone)
    candidate = CANDIDATES[candidate_by_force(seen, solution, patch)]
    fit = fit_regression(relative, seen.patches, weights, *candidate)
    expected = xyz_to_lab(fit.regression(relative[patch]))
    np.testing.assert_allclose(left_out(seen, solution)[patch], expected, atol=1e-9)


@pytest.mark.parametrize("patch", [3, 14])
def test_what_a_coloured_patch_is_said_to_be_does_not_tell(seen, solution, patch):
    """With the weights as they are: the weights of others follow errors in which it had a part."""
    lab = seen.patches.lab.copy()
    lab[patch] += [8, -12, 10]
    changed = replace(seen, patches=Patches.of(lab))
    relative = seen.relative(solution.light, solution.tone)
    fits = tuple(
        fit_regression(relative, changed.patches, solution.weights, *candidate) for candidate in CANDIDATES
    )
    predicted = left_out(changed, replace(solution, fits=fits))
    np.testing.assert_allclose(predicted[patch], left_out(seen, solution)[patch], atol=1e-9)
    assert np.abs(predicted - left_out(seen, solution)).max() > 0.01  # it tells of the others


@pytest.mark.parametrize("patch", [18, 20, 23])
def test_a_neutral_patch_is_predicted_by_a_tone_without_it(seen, solution, patch):
    in_tone, weights = solution.in_tone.copy(), solution.weights.copy()
    assert in_tone[patch]
    in_tone[patch], weights[patch] = False, 0
    relative = seen.relative(solution.light, seen.tone(solution.light, in_tone))
    candidate = CANDIDATES[candidate_by_force(seen, solution, patch)]
    fit = fit_regression(relative, seen.patches, weights, *candidate)
    expected = xyz_to_lab(fit.regression(relative[patch]))
    np.testing.assert_allclose(left_out(seen, solution)[patch], expected, atol=1e-9)


def test_the_candidate_with_the_least_error_is_chosen(seen, solution):
    scores = [np.average(seen.errors(fit.left_out()), weights=solution.weights) for fit in solution.fits]
    assert solution.chosen == int(np.argmin(scores))
    assert solution.score == pytest.approx(min(scores))
    assert solution.fit is solution.fits[solution.chosen]
