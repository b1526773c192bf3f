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


#: Standard error of the light over the pixels, as a share, from shading over the curve.
SHADING = 0.01


def mottled(times=1, colour=(38.0, 9.0, 12.0)):
    """A mottled surface, each of its places seen by so many pixels, and the area of each."""
    rng = np.random.default_rng(7)
    lab = np.array(colour) + rng.normal(0, [6, 2, 3], (4000, 3))
    return lab.repeat(times, axis=0), rng.uniform(1, 1.25, 4000).repeat(times)


def test_parts_are_joined_as_independent_errors():
    made = Doubt(np.array([40.0, 8, 12]), np.array([0.3, 0.4, 0.6]), np.array([0.4, 0.3, 0.8]))
    np.testing.assert_allclose(made.joined, [0.5, 0.5, 1.0])
    measures = made.measures
    sampling = {f"{axis} error of sampling" for axis in AXES}
    assert set(measures) | sampling == {column.heading for column in DOUBT_MEASURES}
    for k, axis in enumerate(AXES):
        low, high = measures[f"{axis} low"], measures[f"{axis} high"]
        assert (low + high) / 2 == pytest.approx(made.mean[k])
        # 95 % of a normal distribution.
        assert high - low == pytest.approx(2 * 1.959964 * made.joined[k])
        assert norm.cdf((high - made.mean[k]) / made.joined[k]) == pytest.approx(0.975)
        assert measures[f"{axis} error of calibration"] == made.calibration[k]
        assert measures[f"{axis} error of light"] == made.light[k]


def test_the_middle_is_the_mean_weighted_by_area(calibration):
    lab, area = mottled()
    found = doubt(lab, area, calibration, SHADING)
    np.testing.assert_allclose(found.mean, np.average(lab, axis=0, weights=area))


def test_more_pixels_make_nothing_surer(calibration):
    few, many = (doubt(*mottled(times), calibration, SHADING) for times in (1, 9))
    np.testing.assert_allclose(many.joined, few.joined, rtol=0.15)


def test_error_of_light_is_what_such_light_does_to_the_colour(calibration):
    lab = np.broadcast_to([40.0, 9.0, 12.0], (100, 3))
    for light in (EvenLight(), BackdropTrend(0.1, 0.0, 80)):
        for shading in (0.0, 0.04):
            found = doubt(lab, np.ones(100), in_light(calibration, light), shading)
            share = np.hypot(light.doubt, shading)
            brighter = xyz_to_lab(lab_to_xyz([40.0, 9.0, 12.0]) * (1 + share)) - [40.0, 9.0, 12.0]
            np.testing.assert_allclose(found.light, np.abs(brighter), rtol=0.03)


def test_light_that_is_known_is_surer(calibration):
    guessed, known = (
        doubt(*mottled(), in_light(calibration, light), SHADING)
        for light in (EvenLight(), BackdropTrend(0, 0, 80))
    )
    assert (known.light < guessed.light).all()
    assert (known.calibration == guessed.calibration).all()
    assert (known.joined < guessed.joined).all()


def test_colours_that_the_file_cut_off_are_less_sure(calibration):
    whole, cut = (doubt(*mottled(), calibration, SHADING, share) for share in (0.0, 0.5))
    assert (cut.calibration > whole.calibration).all()
    assert (cut.light == whole.light).all()


def test_error_of_calibration_is_that_of_the_patches_near_the_surface(calibration):
    lab, area = mottled()
    found = doubt(lab, area, calibration, SHADING).calibration
    np.testing.assert_allclose(found, calibration.standard_error(lab, area), rtol=0.05)


@pytest.mark.parametrize("colour", [(40.0, 0.0, 0.0), (6.0, 1.0, 1.0), (95.0, 0.0, 2.0)])
def test_doubt_is_never_nil(calibration, colour):
    found = doubt(*mottled(colour=colour), calibration, SHADING)
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
