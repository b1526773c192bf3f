"""Borrowed calibrations: when they serve, when they are doubtful, and when they are refused."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from sagglab.errors import TargetError
from sagglab.photo.calibration import calibrate
from sagglab.photo.image import Photo
from sagglab.photo.patches import PatchSamples
from sagglab.photo.picture import Picture
from sagglab.photo.shot import Shot
from sagglab.photo.target_shot import TargetShot, borrow

NOON = datetime(2026, 3, 4, 12, 0)
USUAL = {"exposure_s": 0.02, "aperture": 8.0, "iso": 200.0}
WHY = TargetError("photograph", "no target was found", "show the whole target")


@pytest.fixture(scope="module")
def calibration(painted):
    """One with a flag of its own: a clipped patch."""
    light, target = painted
    places = np.stack(np.meshgrid(100 + 40.0 * np.arange(6), 80 + 40.0 * np.arange(4)), axis=-1)
    clipped = np.zeros((4, 6))
    clipped[0, 1] = 1
    return calibrate(PatchSamples(places, light, clipped), target)


@pytest.fixture
def lent(calibration):
    def lend(shot=None, size=(300, 400), profile="sRGB"):
        return TargetShot("photos/target-1.jpg", calibration, size, profile, shot or Shot())

    return lend


def photo(shot=None, size=(300, 400), profile="sRGB"):
    return Photo(
        "pot.jpg", Picture(np.zeros((*size, 3), np.float32)), np.eye(3), profile, True, shot or Shot()
    )


def test_the_calibration_serves_and_a_flag_says_so(lent, calibration):
    found, told = borrow(photo(), lent(), WHY)
    assert found.mapping is calibration.mapping
    assert told.flags == "calibrated from another photograph; exposure not told"
    assert "no target was found" in told.told
    assert "target-1.jpg calibrated it" in told.told
    assert not told.stopping


def test_what_was_flagged_of_the_target_there_is_not_repeated(lent, calibration):
    assert "clipped patches" in calibration.problems.flags
    found, _ = borrow(photo(), lent(), WHY)
    assert not found.problems


@pytest.mark.parametrize(
    ("apart", "said"),
    [
        (timedelta(minutes=12), ", taken 12 min later, calibrated it"),
        (timedelta(minutes=-35), ", taken 35 min earlier, calibrated it"),
        (timedelta(minutes=119), ", taken 119 min later, calibrated it"),
        (timedelta(hours=5), ", taken 5 h later, calibrated it"),
        (timedelta(days=-3), ", taken 3 days earlier, calibrated it"),
        (timedelta(0), ", taken 0 min"),
    ],
)
def test_time_apart_is_told(lent, apart, said):
    _, told = borrow(photo(Shot(taken=NOON)), lent(Shot(taken=NOON + apart)), WHY)
    assert said in told.told


@pytest.mark.parametrize("shots", [(Shot(), Shot(taken=NOON)), (Shot(taken=NOON), Shot()), (Shot(), Shot())])
def test_time_that_is_not_known_is_not_told(lent, shots):
    _, told = borrow(photo(shots[0]), lent(shots[1]), WHY)
    assert "taken" not in told.told
    assert "target-1.jpg calibrated it" in told.told


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"exposure_s": 0.04}, "1.0 stops more"),
        ({"aperture": 11.3137}, "1.0 stops less"),
        ({"iso": 800.0}, "2.0 stops more"),
        ({"exposure_s": 0.04, "iso": 100.0}, ""),
        ({"exposure_s": 0.0205}, ""),
        ({"iso": float("nan")}, ""),
        ({}, ""),
    ],
)
def test_another_exposure_is_flagged(lent, changed, said):
    _, told = borrow(photo(Shot(**{**USUAL, **changed})), lent(Shot(**USUAL)), WHY)
    assert ("other exposure" in told.flags) == bool(said)
    assert said in told.told


def test_another_profile_is_refused(lent):
    """The same numbers mean other light there."""
    with pytest.raises(TargetError) as caught:
        borrow(photo(), lent(profile="Display P3"), WHY)
    assert caught.value.where == "photograph"
    assert caught.value.cause.startswith("no target was found, and target-1.jpg, which could calibrate it,")
    assert "another colour profile" in caught.value.cause
    assert caught.value.remedy == "show the whole target"
    assert caught.value.__cause__ is WHY
