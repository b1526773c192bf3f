"""Calibration: painted targets through cameras that are known exactly."""

import numpy as np
import pytest

from sagglab.colour import delta_e_2000, linear_to_xyz, xyz_to_lab
from sagglab.errors import TargetError
from sagglab.photo.calibration import calibrate, grade
from sagglab.photo.flat import flat_field
from sagglab.photo.patches import PatchSamples

#: A camera whose primaries are not the display's; its rows add up to 1, so that grey stays grey.
CAMERA = np.array([[0.80, 0.15, 0.05], [0.10, 0.75, 0.15], [0.02, 0.18, 0.80]])


def samples(light, clipped=()):
    rows, columns = light.shape[:2]
    places = np.stack(np.meshgrid(100 + 40 * np.arange(columns), 80 + 40 * np.arange(rows)), axis=-1)
    flags = np.zeros(rows * columns, dtype=bool)
    flags[list(clipped)] = True
    return PatchSamples(places.astype(float), light, flags.reshape(rows, columns))


def test_linear_light_is_matched_exactly(painted):
    light, target = painted
    found = calibrate(samples(light), target)
    assert found.maximum < 1e-3
    assert found.left_out_mean < 1e-3
    np.testing.assert_allclose(found.lab(light, np.zeros((4, 6, 2))), target.lab, atol=0.01)


def test_camera_matrix_and_tone_are_undone(painted):
    light, target = painted
    linear = light @ CAMERA.T
    found = calibrate(samples(0.9 * linear**1.15), target)
    assert found.maximum < 0.05
    assert found.left_out_mean < 0.1
    mixed = np.array([0.3, 0.2, 0.12])  # seen by no patch
    seen = found.lab(0.9 * (CAMERA @ mixed) ** 1.15, [0, 0])
    assert delta_e_2000(seen, xyz_to_lab(linear_to_xyz(mixed))) < 0.3


@pytest.mark.parametrize("brightness", [0.4, 0.8, 1.1])
def test_exposure_changes_nothing(painted, brightness):
    light, target = painted
    shown = light @ CAMERA.T
    usual = calibrate(samples(shown), target).lab(shown, np.zeros((4, 6, 2)))
    other = calibrate(samples(brightness * shown), target)
    np.testing.assert_allclose(other.lab(brightness * shown, np.zeros((4, 6, 2))), usual, atol=1e-6)


def noisy(light):
    return light * np.random.default_rng(8).normal(1, 0.03, light.shape)


def test_patches_left_out_are_predicted_worse_than_those_used(painted):
    light, target = painted
    found = calibrate(samples(noisy(light)), target)
    assert found.left_out_mean > 1.1 * found.mean > 0


def test_the_method_is_chosen_by_the_left_out_error(painted):
    # With noise on a linear camera the longer regressions fit the patches better and predict them worse.
    light, target = painted
    assert calibrate(samples(noisy(light)), target).method == "linear"


def test_a_spoiled_patch_is_seen_in_the_left_out_error(painted):
    light, target = painted
    spoiled = light.copy()
    spoiled[1, 3] = light[1, 3] * [1.8, 0.7, 1.0]
    found = calibrate(samples(spoiled), target)
    assert found.left_out_mean > 0.3
    assert found.patches["left-out ΔE00"].idxmax() == 9
    assert found.patches.loc[9, "left-out ΔE00"] > found.patches.loc[9, "ΔE00"]


def test_clipped_patches_are_named_and_have_no_say(painted):
    light, target = painted
    shown = light.copy()
    shown[0, 1] = 1.0
    found = calibrate(samples(shown, clipped=[1]), target)
    assert found.maximum < 1e-3
    assert found.patches.index[~found.patches["used"]].tolist() == [1]
    assert np.isnan(found.patches.loc[1, "left-out ΔE00"])
    assert found.problems.told == "clipped, and left out of the calibration: patch 2"
    assert not found.problems.stopping


def test_too_many_clipped(painted):
    light, target = painted
    with pytest.raises(TargetError, match="20 of the target's 24 patches are clipped"):
        calibrate(samples(light, clipped=range(20)), target)


@pytest.mark.parametrize(
    ("mean", "name"),
    [(0, "under 2"), (1.999, "under 2"), (2, "under 3.5"), (3.5, "under 5"), (5, "under 6.5"),
     (6.499, "under 6.5"), (6.5, "6.5 or more")],
)  # fmt: skip
def test_grades(mean, name):
    assert grade(mean) == name


def test_figures_are_those_of_the_patches(painted):
    light, target = painted
    found = calibrate(samples(noisy(light)), target)
    errors = delta_e_2000(found.patches[["L*", "a*", "b*"]].to_numpy(), target.lab.reshape(-1, 3))
    np.testing.assert_allclose(found.patches["ΔE00"], errors)
    assert found.mean == pytest.approx(errors.mean())
    assert found.maximum == pytest.approx(errors.max())
    assert found.left_out_mean == pytest.approx(found.patches["left-out ΔE00"].mean())
    assert found.grade == grade(found.mean)


@pytest.fixture
def dim_corner():
    y, x = np.mgrid[-1:1:400j, -1:1:600j]
    light = 1 - 0.15 * x - 0.15 * y - 0.05 * (x**2 + y**2)
    return np.repeat(light[..., None], 3, axis=2).astype(np.float32)


def test_flat_field_takes_out_the_fall_off(painted, dim_corner):
    light, target = painted
    read = samples(light)
    x, y = read.places.astype(int).reshape(-1, 2).T
    shown = light * dim_corner[y, x].reshape(4, 6, 3)
    found = calibrate(samples(shown), target, flat_field(0.5 * dim_corner))
    assert found.maximum < 0.2
    grey = np.array([0.2, 0.2, 0.2])
    middle, corner = (found.lab(grey * dim_corner[y, x], [x, y]) for x, y in ((300, 200), (560, 370)))
    assert delta_e_2000(middle, corner) < 0.3
    without = calibrate(samples(shown), target)
    middle, corner = (without.lab(grey * dim_corner[y, x], [x, y]) for x, y in ((300, 200), (560, 370)))
    assert delta_e_2000(middle, corner) > 5
