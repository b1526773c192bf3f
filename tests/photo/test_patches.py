"""Patches: where they are, what they show, and which are clipped."""

import cv2
import numpy as np
import pytest

from sagglab.photo.patches import PatchSamples, grid_to_picture, sample_patches
from sagglab.photo.picture import Picture

CORNERS = np.array([[120.0, 90.0], [480.5, 110.0], [460.0, 330.0], [140.0, 300.25]])


def test_corners_are_the_middles_of_the_corner_patches():
    grid = np.array([[[0, 0], [5, 0], [5, 3], [0, 3]]], dtype=float)
    np.testing.assert_allclose(
        cv2.perspectiveTransform(grid, grid_to_picture(CORNERS, (4, 6)))[0], CORNERS, atol=1e-4
    )


def test_places_are_the_patches_middles():
    samples = sample_patches(Picture(np.zeros((400, 600, 3), np.float32)), CORNERS, (4, 6))
    assert samples.places.shape == (4, 6, 2)
    np.testing.assert_allclose(samples.places[[0, 0, 3, 3], [0, 5, 5, 0]], CORNERS, atol=1e-4)


def test_whole_numbers_are_the_middles_of_pixels():
    # A ramp whose pixel (x, y) holds x: read without a shift, a patch's mean is its centre's x.
    ramp = np.broadcast_to((np.arange(600, dtype=np.float32) / 1000)[None, :, None], (400, 600, 3)).copy()
    corners = np.array([[100, 100], [500, 100], [500, 300], [100, 300]])
    samples = sample_patches(Picture(ramp), corners, (3, 5))
    np.testing.assert_allclose(samples.linear[..., 0] * 1000, samples.places[..., 0], atol=0.01)


def test_painted_colours_come_back(painted, paint):
    light, _ = painted
    samples = sample_patches(Picture(paint(light, CORNERS)), CORNERS, (4, 6))
    np.testing.assert_allclose(samples.linear, light, atol=1e-6)
    assert not samples.clipped.any()
    assert (samples.suspicion == "").all()
    np.testing.assert_allclose(samples.spread, 0, atol=1e-6)


def test_specks_do_not_move_a_patch(painted, paint):
    light, _ = painted
    picture = paint(light, CORNERS)
    specks = np.random.default_rng(4).random(picture.shape[:2]) < 0.02
    picture[specks] = 0
    samples = sample_patches(Picture(picture), CORNERS, (4, 6))
    np.testing.assert_allclose(samples.linear, light, rtol=1e-5)


@pytest.mark.parametrize("channel", range(3))
def test_a_patch_clipped_in_one_channel_is_flagged(painted, paint, channel):
    light = painted[0].copy()
    light[1, 2, channel] = 1.0
    clipped = sample_patches(Picture(paint(light, CORNERS)), CORNERS, (4, 6)).clipped
    assert np.argwhere(clipped).tolist() == [[1, 2]]
    assert clipped[1, 2] == 1


def test_the_share_of_clipped_pixels(painted, paint):
    light, _ = painted
    picture = paint(light, CORNERS)
    picture[:, ::4] = 1.0
    np.testing.assert_allclose(sample_patches(Picture(picture), CORNERS, (4, 6)).clipped, 0.25, atol=0.06)


def test_spread_is_the_noise(painted, paint):
    light, _ = painted
    picture = paint(light, CORNERS)
    picture += np.random.default_rng(1).normal(0, [0.01, 0.02, 0.03], picture.shape).astype(np.float32)
    spread = sample_patches(Picture(picture), CORNERS, (4, 6)).spread
    np.testing.assert_allclose(spread.mean(axis=(0, 1)), [0.01, 0.02, 0.03], rtol=0.05)


def test_fall_off_is_neither_spread_nor_suspicious(painted, paint):
    light, _ = painted
    picture = paint(light, CORNERS) * np.linspace(1, 0.6, 600, dtype=np.float32)[None, :, None]
    samples = sample_patches(Picture(picture), CORNERS, (4, 6))
    assert samples.spread.max() < 0.002
    assert (samples.suspicion == "").all()


def test_pitch_is_the_mean_step(painted, paint):
    corners = np.array([[100, 100], [500, 100], [500, 280], [100, 280]])
    samples = sample_patches(Picture(paint(painted[0], corners)), corners, (4, 6))
    # 20 steps of 80 along the rows, 18 of 60 down the columns.
    assert samples.pitch_px == pytest.approx((20 * 80 + 18 * 60) / 38)


def test_patches_outside_or_said_to_be_covered_are_hidden(painted, paint):
    corners = CORNERS - [130, 0]
    covered = np.zeros((4, 6), dtype=bool)
    covered[2, 3] = True
    samples = sample_patches(Picture(paint(painted[0], corners)), corners, (4, 6), covered)
    assert np.argwhere(samples.suspicion == "hidden").tolist() == [[0, 0], [1, 0], [2, 0], [2, 3], [3, 0]]


def noisy(picture, seed=5):
    noise = np.random.default_rng(seed).normal(0, 0.004, picture.shape)
    return cv2.GaussianBlur(picture + noise.astype(np.float32), (0, 0), 0.7)


@pytest.mark.parametrize("patch", [(0, 1), (1, 4), (2, 2), (3, 1), (3, 4)])
def test_a_spot_of_glare_is_named_and_does_not_move_the_mean(painted, paint, patch):
    light = 0.8 * painted[0]
    clean = sample_patches(Picture(noisy(paint(light, CORNERS))), CORNERS, (4, 6))
    assert (clean.suspicion == "").all()
    x, y = clean.places[patch] + [7, -6]
    rows, columns = np.mgrid[:400, :600]
    spot = 0.2 * np.exp(-0.5 * ((columns - x) ** 2 + (rows - y) ** 2) / 5.0**2)
    glaring = noisy(paint(light, CORNERS) + spot[..., None].astype(np.float32))
    samples = sample_patches(Picture(glaring), CORNERS, (4, 6))
    assert samples.suspicion[patch] == "glare"
    assert (samples.suspicion != "").sum() == 1
    np.testing.assert_allclose(samples.linear, clean.linear, atol=0.03)


def test_patches_that_a_shadow_crosses_are_named(painted, paint):
    light = 0.9 * painted[0]
    # A shadow over the lower right, whose edge crosses patches aslant.
    rows, columns = np.mgrid[:400, :600]
    beyond = (columns - 300) + 0.4 * (rows - 200)
    shade = (1 - 0.45 / (1 + np.exp(-beyond / 2)))[..., None].astype(np.float32)
    samples = sample_patches(Picture(noisy(paint(light, CORNERS) * shade)), CORNERS, (4, 6))
    off = (samples.places[..., 0] - 300) + 0.4 * (samples.places[..., 1] - 200)
    crossed, clear = np.abs(off) < 12, np.abs(off) > 45
    assert crossed.sum() >= 2
    assert (samples.suspicion[crossed] == "shadow").all()
    assert (samples.suspicion[clear] == "").all()


def test_something_across_a_patch_hides_it(painted, paint):
    picture = paint(painted[0], CORNERS)
    x, y = sample_patches(Picture(picture), CORNERS, (4, 6)).places[1, 2].astype(int)
    picture[y - 30 : y + 30, x : x + 25] = (0.02, 0.3, 0.6)
    samples = sample_patches(Picture(picture), CORNERS, (4, 6))
    assert samples.suspicion[1, 2] == "hidden"


def test_a_small_target_is_flagged(painted, paint):
    corners = np.array([[100, 100], [180, 100], [180, 148], [100, 148]])
    problems = sample_patches(Picture(paint(painted[0], corners)), corners, (4, 6)).problems
    assert problems.flags == "small target"
    assert "only 96 pixels wide" in problems.told


@pytest.mark.parametrize("sigma", [1.0, 6.0])
def test_a_blurred_target_is_flagged(painted, paint, sigma):
    picture = cv2.GaussianBlur(paint(painted[0], CORNERS), (0, 0), sigma)
    problems = sample_patches(Picture(picture), CORNERS, (4, 6)).problems
    assert problems.flags == ("blurred target" if sigma > 2 else "")


def test_samples_made_by_hand_have_no_doubts():
    samples = PatchSamples(np.zeros((2, 3, 2)), np.zeros((2, 3, 3)), np.zeros((2, 3)))
    assert (samples.suspicion == "").all()
    assert samples.spread.shape == (2, 3, 3)
    assert not samples.problems
