"""Doubt: parts joined, intervals even to both sides, and none of it less for more pixels."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from sagglab.colour import lab_to_xyz, linear_to_xyz, xyz_to_lab
from sagglab.columns import DOUBT_MEASURES
from sagglab.photo.calibration import calibrate
from sagglab.photo.doubt import Doubt, doubt
from sagglab.photo.fall_off import BackdropTrend, EvenLight
from sagglab.photo.patches import PatchSamples
from sagglab.photo.surface import central_band

AXES = ("L*", "a*", "b*")


@pytest.fixture(scope="module")
def calibration(painted):
    """A calibration with some noise in the patches."""
    light, target = painted
    shown = light * np.random.default_rng(8).normal(1, 0.03, light.shape)
    places = np.stack(np.meshgrid(100 + 40.0 * np.arange(6), 80 + 40.0 * np.arange(4)), axis=-1)
    return calibrate(PatchSamples(places, shown, np.zeros((4, 6))), target)


def in_light(calibration, light):
    return replace(calibration, mapping=replace(calibration.mapping, light=light))


def mottled(scale=1, colour=(38.0, 9.0, 12.0)):
    """A cylinder with a mottled surface, `scale` times as large in the picture."""
    rng = np.random.default_rng(7)
    outline = np.zeros((100, 80), dtype=bool)
    outline[10:90, 15:65] = True
    lab = np.array(colour) + rng.normal(0, [6, 2, 3], (100, 80, 3))
    grow = lambda each: each.repeat(scale, axis=0).repeat(scale, axis=1)  # noqa: E731
    return grow(lab), central_band(grow(outline))


def test_parts_are_joined_as_independent_errors():
    made = Doubt(np.array([40.0, 8, 12]), np.array([0.3, 0.4, 0.6]), np.array([0.4, 0.3, 0.8]))
    np.testing.assert_allclose(made.joined, [0.5, 0.5, 1.0])
    measures = made.measures
    assert set(measures) == {column.heading for column in DOUBT_MEASURES}
    for k, axis in enumerate(AXES):
        low, high = measures[f"{axis} low"], measures[f"{axis} high"]
        assert (low + high) / 2 == pytest.approx(made.mean[k])
        # 95 % of a normal distribution.
        assert high - low == pytest.approx(2 * 1.959964 * made.joined[k])
        assert norm.cdf((high - made.mean[k]) / made.joined[k]) == pytest.approx(0.975)
        assert measures[f"{axis} error of calibration"] == made.calibration[k]
        assert measures[f"{axis} error of light"] == made.light[k]


def test_the_middle_is_the_mean_weighted_by_area(calibration):
    lab, surface = mottled()
    found = doubt(lab, surface, calibration)
    measured = surface.measured
    np.testing.assert_allclose(found.mean, np.average(lab[measured], axis=0, weights=surface.area[measured]))


def test_more_pixels_make_nothing_surer(calibration):
    small, large = (doubt(*mottled(scale), calibration) for scale in (1, 3))
    np.testing.assert_allclose(large.joined, small.joined, rtol=0.15)


def test_error_of_light_is_what_such_light_does_to_the_colour(calibration):
    """The light's share by itself, on a flat surface that faces the camera."""
    lab = np.broadcast_to([40.0, 9.0, 12.0], (100, 80, 3))
    outline = np.zeros((100, 80), dtype=bool)
    outline[45:55, 38:42] = True
    surface = central_band(outline)
    surface = replace(surface, area=surface.band.astype(float))
    for light in (EvenLight(), BackdropTrend(0.1, 0.0, 80)):
        found = doubt(lab, surface, in_light(calibration, light))
        brighter = xyz_to_lab(lab_to_xyz([40.0, 9.0, 12.0]) * (1 + light.doubt)) - [40.0, 9.0, 12.0]
        np.testing.assert_allclose(found.light, np.abs(brighter), rtol=0.03)


def test_a_surface_that_turns_away_is_less_sure(calibration):
    lab, surface = mottled()
    facing = replace(surface, area=surface.band.astype(float))
    assert (doubt(lab, surface, calibration).light > doubt(lab, facing, calibration).light).all()


def test_light_that_is_known_is_surer(calibration):
    lab, surface = mottled()
    guessed, known = (
        doubt(lab, surface, in_light(calibration, light)) for light in (EvenLight(), BackdropTrend(0, 0, 80))
    )
    assert (known.light < guessed.light).all()
    assert (known.calibration == guessed.calibration).all()
    assert (known.joined < guessed.joined).all()


def test_error_of_calibration_is_that_of_the_patches_near_the_surface(calibration):
    lab, surface = mottled()
    found = doubt(lab, surface, calibration).calibration
    measured = surface.measured
    all_pixels = calibration.standard_error(lab[measured], surface.area[measured])
    np.testing.assert_allclose(found, all_pixels, rtol=0.05)


@pytest.mark.parametrize("colour", [(40.0, 0.0, 0.0), (6.0, 1.0, 1.0), (95.0, 0.0, 2.0)])
def test_doubt_is_never_nil(calibration, colour):
    found = doubt(*mottled(colour=colour), calibration)
    assert (found.calibration > 0).all()
    assert found.light[0] > 0
    assert np.isfinite(found.joined).all()


@pytest.mark.parametrize("seed", range(4))
def test_the_true_colour_lies_inside(painted, seed):
    """Of many colours that the calibration has not seen, some 95 in 100; here the light is known exactly."""
    light, target = painted
    rng = np.random.default_rng(seed)
    places = np.stack(np.meshgrid(100 + 40.0 * np.arange(6), 80 + 40.0 * np.arange(4)), axis=-1)
    shown = light * rng.normal(1, 0.01, light.shape)
    found = calibrate(PatchSamples(places, shown, np.zeros((4, 6))), target)
    surfaces = rng.uniform(0.05, 0.6, (200, 3))
    seen = found.lab(surfaces, np.zeros((200, 2)))
    error = np.array([found.standard_error(each) for each in seen])
    inside = np.abs(seen - xyz_to_lab(linear_to_xyz(surfaces))) <= 1.96 * error
    assert inside.mean() > 0.9
