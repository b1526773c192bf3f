"""White balance: read from the neutral patches, and compared within a setup."""

import numpy as np
import pytest

from sagglab.photo.calibration import calibrate
from sagglab.photo.patches import PatchSamples
from sagglab.photo.white_balance import DIFFERS, balance_differs, shown_balance
from sagglab.targets import Target


@pytest.fixture
def calibrated(painted):
    """Give a function that calibrates the painted target under gains of the three channels."""
    light, target = painted
    row, column = np.mgrid[:4, :6]
    places = np.stack([100 + 50 * column, 100 + 50 * row], axis=-1).astype(float)

    def calibrated(gains=(1, 1, 1), rows=4):
        part = Target("part", target.lab[:rows], target.patches[: 6 * rows])
        return calibrate(PatchSamples(places[:rows], light[:rows] * gains, np.zeros((rows, 6))), part)

    return calibrated


@pytest.mark.parametrize("gains", [(1.1, 1, 0.9), (0.8, 0.9, 1.05)])
def test_gains_of_the_channels_come_back(calibrated, gains):
    red, green, blue = np.log(gains)
    shown = shown_balance(calibrated(gains)) - shown_balance(calibrated())
    np.testing.assert_allclose(shown, [red - green, blue - green], atol=1e-3)


def test_exposure_is_no_balance(calibrated):
    brighter = shown_balance(calibrated((1.15, 1.15, 1.15)))
    np.testing.assert_allclose(brighter, shown_balance(calibrated()), atol=1e-3)


def test_a_target_without_neutral_patches_tells_nothing(calibrated):
    assert np.isnan(shown_balance(calibrated(rows=3))).all()


def test_only_what_the_camera_set_by_itself_is_doubted():
    balances = [[0, 0], [0, 0], [0.1, -0.1], [0.1, -0.1], [0, 0]]
    automatic = [True, True, True, False, True]
    assert balance_differs(balances, automatic).tolist() == [False, False, True, False, False]


def test_a_small_difference_is_none():
    for share, expected in ((0.9, False), (1.1, True)):
        balances = [[0, 0], [0, 0], [share * DIFFERS, 0]]
        assert balance_differs(balances, [True] * 3).tolist() == [False, False, expected]


def test_of_two_that_differ_neither_is_right():
    assert balance_differs([[0, 0], [0.08, 0]], [True, True]).all()


@pytest.mark.parametrize(("last", "expected"), [(0.1, True), (0.0, False)])
def test_a_balance_that_is_not_seen_is_doubted_with_the_others(last, expected):
    balances = [[0, 0], [0, 0], [last, 0], [np.nan, np.nan]]
    assert balance_differs(balances, [True] * 4)[3] == expected


def test_nothing_seen_at_all():
    assert not balance_differs(np.full((3, 2), np.nan), [True] * 3).any()
