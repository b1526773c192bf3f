"""Tone: the camera's curve undone from grey patches."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from sagglab.photo.tone import Curve, fit_tone, monotone_slopes

LIGHT = np.geomspace(0.03, 0.9, 6)[:, None]


@pytest.fixture
def camera_curve():
    """What six grey patches show through a curve that deepens the shadows and rolls off the lights."""
    light = LIGHT[:, 0]
    return light**1.2 / (0.2 + light) * [1, 1.02, 0.97, 1.01, 0.99, 1], light


def bend(light):
    return 0.8 * light**1.3


def test_power_law_is_undone_exactly_between_the_patches():
    # In log-log a power is straight.
    tone = fit_tone(bend(LIGHT) * np.ones(3), LIGHT)
    seen = np.geomspace(0.03, 0.9, 40)[:, None] * np.ones(3)
    np.testing.assert_allclose(tone(bend(seen)), seen, rtol=1e-5)


def test_beyond_the_patches_it_goes_on_straight_in_linear_light():
    tone = fit_tone(bend(LIGHT) * np.ones(3), LIGHT)
    for knot, beyond in ((LIGHT[0, 0], [0.0, 0.4, 0.8]), (LIGHT[-1, 0], [1.0, 1.2, 1.6])):
        shown = bend(knot) * np.array(beyond)
        read = tone(np.repeat(shown[:, None], 3, axis=1))[:, 0]
        # The slope is that of the curve at its end: d light / d shown = light / (1.3 · shown) for the power.
        slope = knot / (1.3 * bend(knot))
        np.testing.assert_allclose(read, knot + slope * (shown - bend(knot)), rtol=1e-6)


@pytest.mark.parametrize("veil", [0.002, 0.01, 0.03])
def test_a_veil_is_taken_out_below_the_darkest_patch(veil):
    shown = np.geomspace(0.9, 0.02, 12)[:, None] + veil
    tone = fit_tone(shown * np.ones(3), shown - veil)
    assert all(abs(curve.veil - veil) < 0.05 * veil for curve in tone.curves)
    np.testing.assert_allclose(tone(np.full(3, veil)), 0, atol=0.05 * veil)
    np.testing.assert_allclose(tone(np.full(3, veil + 0.008)), 0.008, atol=0.05 * veil)


def test_without_a_veil_none_is_seen():
    assert all(abs(curve.veil) < 1e-12 for curve in fit_tone(0.7 * LIGHT * np.ones(3), LIGHT).curves)


def test_noise_about_black_stays_noise_about_black():
    """Values below nil are kept, so that the mean of noise is not lifted."""
    tone = fit_tone(LIGHT * np.ones(3), LIGHT)
    np.testing.assert_allclose(tone(np.array([-0.004, 0.0, 0.004])), [-0.004, 0, 0.004], atol=1e-12)


def test_channels_have_their_own_curves():
    shown = np.column_stack([LIGHT, LIGHT**1.2, 0.5 * LIGHT])
    np.testing.assert_allclose(fit_tone(shown, LIGHT)(shown), LIGHT * np.ones(3), rtol=1e-5)


def test_light_may_differ_from_channel_to_channel():
    light = LIGHT * [1.0, 0.9, 1.1]
    np.testing.assert_allclose(fit_tone(LIGHT * np.ones(3), light)(LIGHT * np.ones(3)), light, rtol=1e-5)


def test_the_order_of_the_patches_is_of_no_matter():
    order = np.random.default_rng(1).permutation(6)
    ramp = np.linspace(0, 1, 50)[:, None] * np.ones(3)
    one, other = (fit_tone(bend(each) * np.ones(3), each) for each in (LIGHT, LIGHT[order]))
    assert (one(ramp) == other(ramp)).all()


def test_the_curve_never_falls():
    # Two patches of swapped order, as noise makes of near-equal greys.
    shown = np.array([0.05, 0.1, 0.2, 0.4, 0.39, 0.8])[:, None] * np.ones(3)
    tone = fit_tone(shown, LIGHT)
    ramp = np.linspace(-0.05, 1.5, 400)[:, None] * np.ones(3)
    assert (np.diff(tone(ramp), axis=0) > 0).all()


def test_patches_crushed_to_one_value_make_no_wall():
    """Three dark patches that the camera showed alike say nothing of the curve between them."""
    shown = np.array([0.02, 0.0201, 0.0202, 0.2, 0.4, 0.8])[:, None] * np.ones(3)
    ramp = np.linspace(0.0, 0.04, 200)[:, None] * np.ones(3)
    steepest = np.diff(fit_tone(shown, LIGHT)(ramp), axis=0).max() / (ramp[1, 0] - ramp[0, 0])
    # A wall between them would rise by 0.06 within 0.0002, at a slope of some 300.
    assert steepest < 20


def test_too_few_greys_leave_the_channel_as_it_is():
    shown = np.array([[0.2, 0.2, 0.2], [0.6, 0.6, 0.6]])
    tone = fit_tone(shown, np.array([[0.1], [0.9]]))
    np.testing.assert_allclose(tone(shown), shown)
    assert [curve.veil for curve in tone.curves] == [0, 0, 0]


def test_a_channel_that_shows_nothing_is_left_as_it_is():
    shown = bend(LIGHT) * [1.0, 1.0, 0.0]
    seen = fit_tone(shown, LIGHT)(shown)
    np.testing.assert_allclose(seen, LIGHT * [1, 1, 0], rtol=1e-5)


def test_black_is_finite():
    assert np.isfinite(fit_tone(bend(LIGHT) * np.ones(3), LIGHT)(np.zeros(3))).all()


@pytest.mark.parametrize("shape", [(3,), (5, 3), (4, 5, 3)])
def test_shape_is_kept(shape):
    assert fit_tone(bend(LIGHT) * np.ones(3), LIGHT)(np.full(shape, 0.3)).shape == shape


@pytest.mark.parametrize("falling", [False, True], ids=["rising", "anyhow"])
def test_slopes_are_those_of_scipy(falling):
    random = np.random.default_rng(8)
    for count in (3, 4, 6, 9):
        x = np.cumsum(random.uniform(0.01, 1, count))
        y = random.normal(size=count).round(1) if falling else np.cumsum(random.uniform(0, 1, count))
        np.testing.assert_allclose(
            monotone_slopes(x, y), PchipInterpolator(x, y)(x, nu=1), rtol=1e-10, atol=1e-12
        )


def test_a_curve_runs_as_scipy_has_it(camera_curve):
    shown, light = camera_curve
    curve = Curve.through(shown, light)
    between = np.geomspace(shown.min(), shown.max(), 997)
    expected = np.exp(PchipInterpolator(np.log(shown), np.log(light))(np.log(between)))
    np.testing.assert_allclose(curve(between), expected, atol=1e-5)


def test_a_picture_is_looked_up_as_its_patches_are(camera_curve):
    """Float32 goes by a table, float64 by the curve itself."""
    shown, light = camera_curve
    tone = fit_tone(np.repeat(shown[:, None], 3, axis=1) * [1, 0.9, 0.8], light[:, None])
    pixels = np.random.default_rng(9).uniform(-0.01, 1, (5000, 3))
    found = tone(pixels.astype(np.float32))
    assert found.dtype == np.float32
    # A unit of L* is 0.0011 of light at black and more above it.
    np.testing.assert_allclose(found, tone(pixels), atol=1e-5)
