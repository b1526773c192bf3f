"""Patches: where they are, what they show, and which are clipped."""

import cv2
import numpy as np
import pytest

from sagglab.photo.patches import grid_to_picture, sample_patches

CORNERS = np.array([[120.0, 90.0], [480.5, 110.0], [460.0, 330.0], [140.0, 300.25]])


def test_corners_are_the_middles_of_the_corner_patches():
    grid = np.array([[[0, 0], [5, 0], [5, 3], [0, 3]]], dtype=float)
    np.testing.assert_allclose(
        cv2.perspectiveTransform(grid, grid_to_picture(CORNERS, (4, 6)))[0], CORNERS, atol=1e-4
    )


def test_places_are_the_patches_middles():
    samples = sample_patches(np.zeros((400, 600, 3), np.float32), CORNERS, (4, 6))
    assert samples.places.shape == (4, 6, 2)
    np.testing.assert_allclose(samples.places[[0, 0, 3, 3], [0, 5, 5, 0]], CORNERS, atol=1e-4)


def test_whole_numbers_are_the_middles_of_pixels():
    # A ramp whose pixel (x, y) holds x: read without a shift, a patch's mean is its centre's x.
    ramp = np.broadcast_to((np.arange(600, dtype=np.float32) / 1000)[None, :, None], (400, 600, 3)).copy()
    corners = np.array([[100, 100], [500, 100], [500, 300], [100, 300]])
    samples = sample_patches(ramp, corners, (3, 5))
    np.testing.assert_allclose(samples.linear[..., 0] * 1000, samples.places[..., 0], atol=0.01)


def test_painted_colours_come_back(painted, paint):
    light, _ = painted
    samples = sample_patches(paint(light, CORNERS), CORNERS, (4, 6))
    np.testing.assert_allclose(samples.linear, light, atol=1e-6)
    assert not samples.clipped.any()


def test_specks_do_not_move_a_patch(painted, paint):
    light, _ = painted
    picture = paint(light, CORNERS)
    specks = np.random.default_rng(4).random(picture.shape[:2]) < 0.02
    picture[specks] = 0
    samples = sample_patches(picture, CORNERS, (4, 6))
    np.testing.assert_allclose(samples.linear, light, rtol=1e-5)


@pytest.mark.parametrize("channel", range(3))
def test_a_patch_clipped_in_one_channel_is_flagged(painted, paint, channel):
    light = painted[0].copy()
    light[1, 2, channel] = 1.0
    clipped = sample_patches(paint(light, CORNERS), CORNERS, (4, 6)).clipped
    assert np.argwhere(clipped).tolist() == [[1, 2]]
