"""Regressions: patches left out against refits, shrinkage, and what the camera's exposure may not change."""

import numpy as np
import pytest

from sagglab.colour import delta_e_2000, linear_to_xyz, xyz_to_lab
from sagglab.photo.regression import CANDIDATES, METHODS, Patches, fit_regression, terms

ROOTS = [name for name in METHODS if name.startswith("root")]


@pytest.fixture
def seen():
    """Thirty patches, their linear RGB in a bent camera with noise, and weights."""
    rng = np.random.default_rng(12)
    light = rng.uniform(0.03, 0.8, (30, 3))
    light[24:] = np.geomspace(0.9, 0.03, 6)[:, None]
    rgb = (light @ np.array([[0.8, 0.1, 0.1], [0.15, 0.7, 0.15], [0.05, 0.1, 0.85]])) ** 1.05
    lab = xyz_to_lab(linear_to_xyz(light))
    return rgb * rng.normal(1, 0.02, rgb.shape), Patches.of(lab), rng.uniform(0.1, 1, 30)


@pytest.mark.parametrize("candidate", CANDIDATES, ids=lambda each: f"{each[0]}, {each[1]:g}")
def test_left_out_is_what_a_refit_predicts(seen, candidate):
    rgb, patches, weights = seen
    found = fit_regression(rgb, patches, weights, *candidate).left_out()
    for patch in range(len(rgb)):
        refit = fit_regression(rgb, patches, np.where(np.arange(30) == patch, 0, weights), *candidate)
        np.testing.assert_allclose(found[patch], xyz_to_lab(refit.regression(rgb[patch])), atol=1e-9)


@pytest.mark.parametrize("candidate", [CANDIDATES[0], CANDIDATES[3], CANDIDATES[4], CANDIDATES[7]])
def test_left_out_with_another_is_what_a_refit_without_both_predicts(seen, candidate):
    rgb, patches, weights = seen
    found = fit_regression(rgb, patches, weights, *candidate).left_out_with_another()
    for first, second in ((0, 1), (3, 3), (25, 4), (11, 29), (29, 11), (28, 28)):
        kept = np.where(np.isin(np.arange(30), [first, second]), 0, weights)
        refit = fit_regression(rgb, patches, kept, *candidate)
        expected = xyz_to_lab(refit.regression(rgb[second]))
        np.testing.assert_allclose(found[first, second], expected, atol=1e-9)


def test_patches_without_weight_are_predicted_as_left_out(seen):
    rgb, patches, weights = seen
    weights[7] = 0
    fit = fit_regression(rgb, patches, weights, *CANDIDATES[3])
    np.testing.assert_allclose(fit.left_out()[7], xyz_to_lab(fit.regression(rgb[7])), atol=1e-9)


def test_a_patch_without_weight_has_no_say(seen):
    rgb, patches, weights = seen
    weights[7] = 0
    spoiled = rgb.copy()
    spoiled[7] *= [3, 0.2, 1]
    one, other = (fit_regression(each, patches, weights, *CANDIDATES[3]) for each in (rgb, spoiled))
    np.testing.assert_allclose(one.regression.matrix, other.regression.matrix, atol=1e-12)


@pytest.mark.parametrize("method", [name for name in METHODS if name != "linear"])
def test_strong_shrinkage_leads_to_the_linear_map(seen, method):
    rgb, patches, weights = seen
    linear = fit_regression(rgb, patches, weights, "linear", 0.0).regression(rgb)
    shrunk = [fit_regression(rgb, patches, weights, method, each).regression(rgb) for each in (1, 1e4, 1e10)]
    apart = [np.abs(each - linear).max() for each in shrunk]
    assert apart[0] > 2 * apart[1] > 0
    assert apart[2] < 1e-6


@pytest.mark.parametrize("method", ROOTS)
@pytest.mark.parametrize("shrinkage", [1e-3, 1.0, 1e3, 1e9])
def test_greys_stay_grey_under_any_shrinkage(seen, method, shrinkage):
    """Greys that count for much are met, however strongly the extra terms are held down."""
    rgb, patches, weights = seen
    rgb[24:] = patches.xyz[24:, 1:2]
    weights[24:] = 1e5
    regression = fit_regression(rgb, patches, weights, method, shrinkage).regression
    white = np.linspace(0.02, 1, 9)[:, None] * np.ones(3)
    chroma = np.hypot(*xyz_to_lab(regression(white)).T[1:])
    assert chroma.max() < 0.02
    np.testing.assert_allclose(regression(white)[:, 1], white[:, 1], rtol=1e-3)


def test_shrinkage_holds_the_extra_terms_down_and_not_the_light(seen):
    """With the coloured patches alone white is no darker under strong shrinkage than in the linear map."""
    rgb, patches, weights = seen
    weights[24:] = 0
    white = {
        name: fit_regression(rgb, patches, weights, name, shrinkage).regression(np.ones(3))
        for name, shrinkage in (("linear", 0.0), ("polynomial of degree 2", 1e9), (ROOTS[1], 1e9))
    }
    for each in white.values():
        np.testing.assert_allclose(each, white["linear"], rtol=1e-5)


@pytest.mark.parametrize("method", METHODS)
def test_the_map_of_a_camera_that_follows_the_method_is_found(method):
    rng = np.random.default_rng(2)
    rgb = rng.uniform(0.05, 0.9, (60, 3))
    true = rng.normal(0, 0.05, (3 + len(METHODS[method]), 3))
    true[:3] += [[0.45, 0.37, 0.14], [0.22, 0.72, 0.06], [0.01, 0.09, 0.72]]
    patches = Patches.of(xyz_to_lab(terms(method, rgb) @ true))
    assert (patches.xyz > 0.01).all()
    fit = fit_regression(rgb, patches, np.ones(60), method, 1e-9)
    assert delta_e_2000(xyz_to_lab(fit.regression(rgb)), patches.lab).max() < 1e-4


def test_errors_are_weighed_as_the_eye_weighs_them(seen):
    """To first order a step of 0.1 along lightness, chroma or hue, each by its own weight, is 0.1 ΔE00.

    Nearly so for chroma and hue, where parts of CIEDE2000 are left out.
    """
    _, patches, _ = seen
    for axis, tolerance in ((0, 0.005), (1, 0.06), (2, 0.06)):
        row = np.eye(3)[axis] * 0.1
        step = np.linalg.solve(patches.slopes, np.broadcast_to(row, (30, 3))[..., None])[..., 0]
        coloured = np.hypot(*patches.lab.T[1:]) > 15
        away = delta_e_2000(xyz_to_lab(patches.xyz + step), patches.lab)[coloured]
        assert np.median(away) == pytest.approx(0.1, rel=tolerance)


def test_terms_keep_the_shape_and_take_values_below_nil():
    for method in METHODS:
        seen = terms(method, np.full((2, 5, 3), -0.01))
        assert seen.shape == (2, 5, 3 + len(METHODS[method]))
        assert np.isfinite(seen).all()
