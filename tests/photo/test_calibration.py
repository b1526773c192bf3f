"""Calibration: painted targets through cameras that are known exactly."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sagglab.colour import delta_e_2000, linear_to_xyz, xyz_to_lab
from sagglab.errors import TargetError
from sagglab.photo import solution
from sagglab.photo.calibration import calibrate, grade
from sagglab.photo.flat import flat_field
from sagglab.photo.patches import PatchSamples
from sagglab.photo.picture import Picture
from sagglab.targets import Target

#: A camera whose primaries are not the display's; its rows add up to 1, so that grey stays grey.
CAMERA = np.array([[0.80, 0.15, 0.05], [0.10, 0.75, 0.15], [0.02, 0.18, 0.80]])


def samples(light, clipped=(), hidden=()):
    rows, columns = light.shape[:2]
    places = np.stack(np.meshgrid(100 + 40 * np.arange(columns), 80 + 40 * np.arange(rows)), axis=-1)
    shares, suspicion = np.zeros(rows * columns), np.full(rows * columns, "", dtype="<U6")
    shares[list(clipped)], suspicion[list(hidden)] = 1, "hidden"
    return PatchSamples(
        places.astype(float),
        light,
        shares.reshape(rows, columns),
        suspicion=suspicion.reshape(rows, columns),
    )


def bent(light):
    """Show light by a camera with another sensor and a tone of its own."""
    return 0.9 * (light @ CAMERA.T) ** 1.15


def colours(calibration):
    return calibration.patches[["L*", "a*", "b*"]].to_numpy()


def moved(one, other, *spoiled):
    """ΔE00 between two calibrations' colours of all patches but the spoiled."""
    return np.delete(delta_e_2000(colours(one), colours(other)), spoiled)


def test_linear_light_is_matched_exactly(painted):
    light, target = painted
    found = calibrate(samples(light), target)
    assert found.maximum < 1e-3
    assert found.left_out_mean < 1e-3
    np.testing.assert_allclose(found.lab(light, np.zeros((4, 6, 2))), target.lab, atol=0.01)


def test_camera_matrix_and_tone_are_undone(painted):
    light, target = painted
    found = calibrate(samples(bent(light)), target)
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


def noisy(light, noise=0.03):
    return light * np.random.default_rng(8).normal(1, noise, light.shape)


def test_patches_left_out_are_predicted_worse_than_those_used(painted):
    light, target = painted
    found = calibrate(samples(noisy(light)), target)
    assert found.left_out_mean > 1.1 * found.mean > 0


def test_noise_on_a_linear_camera_leads_to_no_long_regression(painted, monkeypatch):
    """Colours that no patch shows come out as by the linear map, and far better than by a long one."""
    light, target = painted
    unseen = np.random.default_rng(1).uniform(0.05, 0.7, (300, 3))
    true, errors = xyz_to_lab(linear_to_xyz(unseen)), {"chosen": 0.0, "linear": 0.0, "long": 0.0}
    offered = {"linear": (("linear", 0.0),), "long": (("root-polynomial of degree 3", 1e-6),)}
    for seed in range(3):
        shown = samples(light * np.random.default_rng(seed).normal(1, 0.03, light.shape))
        for name in errors:
            with monkeypatch.context() as patched:
                patched.setattr(solution, "CANDIDATES", offered.get(name, solution.CANDIDATES))
                found = calibrate(shown, target)
            errors[name] += delta_e_2000(found.lab(unseen, np.zeros((300, 2))), true).mean() / 3
    assert errors["chosen"] < 1.2 * errors["linear"]
    assert errors["chosen"] < 0.7 * errors["long"]


def test_a_spoiled_patch_is_seen_in_the_left_out_error(painted):
    light, target = painted
    spoiled = light.copy()
    spoiled[1, 3] = light[1, 3] * [1.8, 0.7, 1.0]
    found = calibrate(samples(spoiled), target)
    assert found.left_out_mean > 0.3
    assert found.patches["left-out ΔE00"].idxmax() == 9
    assert found.patches.loc[9, "left-out ΔE00"] > found.patches.loc[9, "ΔE00"]


@pytest.mark.parametrize("patch", [1, 9, 14, 18])
def test_clipped_patches_are_named_and_have_little_say(painted, patch):
    light, target = painted
    shown = bent(light)
    good = calibrate(samples(shown), target)
    shown.reshape(-1, 3)[patch, 0] = 1.0
    found = calibrate(samples(shown, clipped=[patch]), target)
    assert moved(found, good, patch).max() < 0.5
    row = found.patches.loc[patch]
    assert (row["judged"], row["doubt"]) == (False, "clipped")
    assert row["weight"] <= 0.1
    assert np.isnan(row["left-out ΔE00"])
    assert found.patches.drop(index=patch)["judged"].all()
    assert f"clipped, and given little weight: patch {patch + 1}" in found.problems.told
    assert not found.problems.stopping
    # It is none of the figures'.
    assert found.maximum == found.patches["ΔE00"].drop(index=patch).max()


@pytest.mark.parametrize("patch", [1, 9, 14])
def test_crushed_patches_have_little_say(painted, patch):
    """A colour beyond what the file can hold, of which one channel is cut off at nil."""
    light, target = painted
    shown = bent(light)
    good = calibrate(samples(shown), target)
    shown.reshape(-1, 3)[patch, 2] = 0.0
    found = calibrate(samples(shown), target)
    assert moved(found, good, patch).max() < 0.5
    assert found.patches.loc[patch, "doubt"] == "beyond the file's colours"
    assert found.patches.loc[patch, "weight"] <= 0.1
    assert found.patches.loc[patch, "judged"]


@pytest.mark.parametrize("patch", [4, 21])
def test_hidden_patches_have_no_say(painted, patch):
    light, target = painted
    shown = noisy(bent(light))
    read = []
    for colour in ([0.9, 0.01, 0.5], [0.05, 0.6, 0.02]):
        shown.reshape(-1, 3)[patch] = colour
        read.append(calibrate(samples(shown, hidden=[patch]), target))
    one, other = read
    assert (moved(one, other, patch) == 0).all()
    assert one.left_out_mean == other.left_out_mean
    assert one.patches.loc[patch, ["judged", "weight", "doubt"]].tolist() == [False, 0, "hidden"]
    assert np.isnan(one.patches.loc[patch, "left-out ΔE00"])


COLOURED = [(9, (1.8, 0.7, 1.0)), (3, (1.0, 1.5, 0.6)), (14, (0.6, 1.0, 1.3))]


@pytest.fixture(scope="module")
def slightly_noisy(painted):
    """What a bent camera with a hundredth of noise shows, and its calibration."""
    light, target = painted
    shown = noisy(bent(light), 0.01)
    return shown, calibrate(samples(shown), target)


@pytest.mark.parametrize(("patch", "by"), COLOURED)
def test_one_spoiled_coloured_patch_leaves_the_others_alone(painted, slightly_noisy, patch, by):
    _, target = painted
    shown, good = slightly_noisy[0].copy(), slightly_noisy[1]
    shown.reshape(-1, 3)[patch] *= by
    found = calibrate(samples(shown), target)
    assert moved(found, good, patch).max() < 0.5
    assert found.patches.index[found.patches["doubt"] == "off"].tolist() == [patch]
    assert f"given less weight in the calibration: patch {patch + 1}" in found.problems.told


@pytest.mark.parametrize(
    ("patch", "share"),
    [(18, 0.5), (19, 0.6), (19, 1.3), (20, 0.75), (20, 1.6), (21, 0.5), (21, 1.3), (22, 0.5), (22, 1.6)],
)
def test_one_spoiled_neutral_patch_leaves_the_others_alone(painted, slightly_noisy, patch, share):
    """Dirt or a reflection on a grey patch, which would bend the tone of all colours."""
    shown, good = slightly_noisy[0].copy(), slightly_noisy[1]
    shown.reshape(-1, 3)[patch] *= share
    found = calibrate(samples(shown), painted[1])
    assert moved(found, good, patch).max() < 2
    assert found.patches.loc[patch, "doubt"] == "off"


@pytest.mark.parametrize("share", [0.6, 1.6])
def test_a_spoiled_black_patch_leaves_the_others_alone(painted, slightly_noisy, share):
    """It is the end of the tone, beyond which nothing tells whether it is spoiled."""
    shown, good = slightly_noisy[0].copy(), slightly_noisy[1]
    shown.reshape(-1, 3)[23] *= share
    assert moved(calibrate(samples(shown), painted[1]), good, 23).max() < 2


@pytest.mark.parametrize("patch", [2, 17])
def test_a_patch_has_no_part_in_the_prediction_of_itself(painted, patch):
    """What is predicted of it stays, whatever it is said to be; only the error reported does not."""
    light, target = painted
    shown = samples(noisy(bent(light)))
    lab = target.lab.copy()
    lab.reshape(-1, 3)[patch, 0] += 5
    read = []
    for reference in (target, Target("another", lab, target.patches)):
        found = calibrate(shown, reference)
        off = found.patches[[f"left-out Δ{axis}" for axis in ("L*", "a*", "b*")]].to_numpy()
        read.append((off + reference.lab.reshape(-1, 3), found.patches["left-out ΔE00"]))
    (one, error), (other, another) = read
    # A tenth of what it was moved by: weights that follow the errors know a little of it.
    assert delta_e_2000(one[patch], other[patch]) < 0.3
    assert abs(error[patch] - another[patch]) > 1


def test_the_error_by_coordinate_is_that_of_the_prediction(painted):
    light, target = painted
    found = calibrate(samples(noisy(light)), target)
    off = found.patches[[f"left-out Δ{axis}" for axis in ("L*", "a*", "b*")]].to_numpy()
    lab = target.lab.reshape(-1, 3)
    np.testing.assert_allclose(delta_e_2000(lab + off, lab), found.patches["left-out ΔE00"], atol=1e-9)


@pytest.mark.parametrize(
    ("bend", "method"),
    [
        (lambda light: 0.4 * light + 0.6 * np.sqrt(light * light[..., [1, 2, 0]]), "root-polynomial"),
        (lambda light: light * (1 - 0.3 * (light - light[..., [1, 2, 0]])), "polynomial of degree 2"),
    ],
)
def test_a_camera_that_bends_colours_gets_a_regression_that_bends(painted, bend, method, monkeypatch):
    light, target = painted
    shown = samples(noisy(bend(light), 0.003))
    found = calibrate(shown, target)
    assert found.method.startswith(method)
    monkeypatch.setattr(solution, "CANDIDATES", (("linear", 0.0),))
    assert found.left_out_mean < 0.5 * calibrate(shown, target).left_out_mean


@pytest.mark.parametrize("veil", [0.004, 0.01, 0.03])
def test_a_veil_is_taken_out_and_stated(painted, veil):
    """Stray light adds the same to all that is seen."""
    light, target = painted
    found = calibrate(samples(light + veil), target)
    assert found.veil == pytest.approx(veil / (light[3, 0, 0] + veil), rel=0.15)
    assert found.mean < 0.5
    assert found.maximum < 2
    assert "stray light" in found._repr_html_()
    # A surface darker than the black patch, of L* 8: without it, it would be seen at L* 12 to 26.
    dark = np.full(3, 0.009)
    seen = found.lab(dark + veil, [0, 0])
    assert seen[0] == pytest.approx(xyz_to_lab(linear_to_xyz(dark))[0], abs=1.5)


def test_without_a_veil_none_is_stated(painted):
    light, target = painted
    found = calibrate(samples(light), target)
    assert found.veil == pytest.approx(0, abs=1e-9)
    assert "stray light" not in calibrate(samples(0.8 * light), target)._repr_html_()


def test_the_same_patches_give_the_same_calibration(painted):
    light, target = painted
    one, other = (calibrate(samples(noisy(bent(light))), target) for _ in range(2))
    pd.testing.assert_frame_equal(one.patches, other.patches, check_exact=True)
    assert one.left_out_mean == other.left_out_mean


def test_standard_error_is_that_of_the_patches_nearby(painted):
    """Noise in the colourful patches alone makes colourful surfaces less sure, and greys no less sure."""
    light, target = painted
    shown = light.copy()
    chroma = np.hypot(*np.moveaxis(target.lab, -1, 0)[1:])
    colourful = chroma > 40
    shown[colourful] *= np.random.default_rng(4).normal(1, 0.12, (colourful.sum(), 3))
    found = calibrate(samples(shown), target)
    greys, far = target.lab[3], target.lab[colourful]
    assert (found.standard_error(far) > 1.5 * found.standard_error(greys))[1:].all()


def test_standard_error_does_not_fall_with_the_number_of_pixels(painted):
    light, target = painted
    found = calibrate(samples(noisy(light)), target)
    few = np.random.default_rng(6).normal([45, 10, 15], 4, (50, 3))
    np.testing.assert_allclose(found.standard_error(few), found.standard_error(np.tile(few, (200, 1))))
    heavy = np.ones(50)
    heavy[:10] = 3
    repeated = np.concatenate([few, few[:10], few[:10]])
    np.testing.assert_allclose(found.standard_error(few, heavy), found.standard_error(repeated))
    assert (found.standard_error([45, 10, 15]) > 0).all()


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
    found = calibrate(samples(shown), target, flat_field(Picture(0.5 * dim_corner)))
    assert found.maximum < 0.2
    grey = np.array([0.2, 0.2, 0.2])
    middle, corner = (found.lab(grey * dim_corner[y, x], [x, y]) for x, y in ((300, 200), (560, 370)))
    assert delta_e_2000(middle, corner) < 0.3
    assert found.mapping.light.source == "by the flat field"
    assert "uneven light" not in found.problems.flags
    without = calibrate(samples(shown), target)
    middle, corner = (without.lab(grey * dim_corner[y, x], [x, y]) for x, y in ((300, 200), (560, 370)))
    assert delta_e_2000(middle, corner) > 5


def test_a_photograph_that_is_too_dark_is_flagged(painted):
    light, target = painted
    assert "too dark" not in calibrate(samples(light), target).problems.flags
    assert "too dark" in calibrate(samples(0.05 * light), target).problems.flags


def test_hidden_greys_leave_no_tone(painted):
    light, target = painted
    with pytest.raises(TargetError, match="too few of the target's grey patches"):
        calibrate(samples(light, hidden=range(19, 24)), target)


def test_a_target_without_greys_is_flagged(painted):
    light, target = painted
    coloured = Target("coloured", target.lab[:3], target.patches[:18])
    found = calibrate(samples(light[:3]), coloured)
    assert "too few greys" in found.problems.flags


def test_colours_darker_than_the_tones_darkest_patch_are_less_sure(painted):
    light, target = painted
    found = calibrate(samples(light), target)
    dark = [[10.0, 0.5, 0.5]]
    without = replace(found, darkest=10.0)
    assert found.standard_error(dark)[0] > without.standard_error(dark)[0] + 0.5
    assert found.darkest == pytest.approx(target.lab[3, 5, 0])


def test_another_charts_colours_cannot_be_used(painted):
    light, target = painted
    shuffled = np.random.default_rng(5).permutation(light.reshape(-1, 3)).reshape(light.shape)
    with pytest.raises(TargetError, match=r"left out in turn, come out ΔE00 \d+ off"):
        calibrate(samples(shuffled), target)
