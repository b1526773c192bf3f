"""Tone: the camera's curve undone from grey patches."""

import numpy as np
import pytest

from sagglab.photo.tone import fit_tone

LIGHT = np.geomspace(0.03, 0.9, 6)[:, None]


def bend(light):
    return 0.8 * light**1.3


def test_power_law_is_undone_exactly_even_beyond_the_patches():
    # In log-log a power is straight, and the curve goes on straight beyond its ends.
    tone = fit_tone(bend(LIGHT) * np.ones(3), LIGHT)
    seen = np.geomspace(0.005, 1.2, 40)[:, None] * np.ones(3)
    np.testing.assert_allclose(tone(bend(seen)), seen, rtol=1e-9)


def test_channels_have_their_own_curves():
    shown = np.column_stack([LIGHT, LIGHT**1.2, 0.5 * LIGHT])
    np.testing.assert_allclose(fit_tone(shown, LIGHT)(shown), LIGHT * np.ones(3), rtol=1e-9)


def test_the_curve_never_falls():
    # Two patches of swapped order, as noise makes of near-equal greys.
    shown = np.array([0.05, 0.1, 0.2, 0.4, 0.39, 0.8])[:, None] * np.ones(3)
    tone = fit_tone(shown, LIGHT)
    ramp = np.linspace(0.01, 1, 300)[:, None] * np.ones(3)
    assert (np.diff(tone(ramp), axis=0) >= -1e-12).all()


def test_too_few_greys_leave_the_channel_as_it_is():
    shown = np.array([[0.2, 0.2, 0.2], [0.6, 0.6, 0.6]])
    tone = fit_tone(shown, np.array([[0.1], [0.9]]))
    np.testing.assert_allclose(tone(shown), shown)


def test_black_is_finite():
    assert np.isfinite(fit_tone(bend(LIGHT) * np.ones(3), LIGHT)(np.zeros(3))).all()


@pytest.mark.parametrize("shape", [(3,), (5, 3), (4, 5, 3)])
def test_shape_is_kept(shape):
    assert fit_tone(bend(LIGHT) * np.ones(3), LIGHT)(np.full(shape, 0.3)).shape == shape
