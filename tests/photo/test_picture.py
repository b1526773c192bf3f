"""Pictures in linear light: looked up where they are wanted, and reduced in light, not in codes."""

import numpy as np
import pytest

from sagglab.photo import picture as of_picture
from sagglab.photo.picture import KEPT, Picture, reduced_places, reduced_size

CURVE = (np.arange(256) / 255) ** 2.2
ALIKE = np.repeat(CURVE[:, None], 3, axis=1).astype(np.float32)
OWN_CURVES = np.stack([CURVE, CURVE**1.2, CURVE**0.8], axis=-1).astype(np.float32)


def codes(rows, columns, seed=3):
    return np.random.default_rng(seed).integers(0, 256, (rows, columns, 3), dtype=np.uint8)


def light_of(picture, curves):
    return np.stack([curves[picture[..., k], k] for k in range(3)], axis=-1)


@pytest.mark.parametrize("curves", [ALIKE, OWN_CURVES])
def test_codes_are_looked_up_channel_by_channel(curves):
    shown = codes(7, 9)
    picture = Picture(shown, curves)
    assert (picture.linear == light_of(shown, curves)).all()
    assert (picture.at([3, 8], [2, 0]) == light_of(shown[[2, 0], [3, 8]], curves)).all()


def test_codes_of_16_bits():
    shown = np.array([[[0, 30000, 65535]]], np.uint16)
    curves = np.repeat(np.linspace(0, 1, 65536, dtype=np.float32)[:, None], 3, axis=1)
    np.testing.assert_allclose(Picture(shown, curves).linear, [[[0, 30000 / 65535, 1]]], rtol=1e-6)


def test_beyond_the_edge_is_the_nearest_pixel():
    picture = Picture(codes(7, 9), ALIKE)
    assert (picture.at([-4, 20], [-1, 9]) == picture.linear[[0, 6], [0, 8]]).all()
    assert (picture.between([[-3, 3]]) == picture.linear[3, 0]).all()


def test_between_pixels_it_runs_straight_in_light():
    picture = Picture(codes(7, 9), ALIKE)
    light = picture.linear
    expected = 0.75 * (0.4 * light[2, 3] + 0.6 * light[2, 4]) + 0.25 * (0.4 * light[3, 3] + 0.6 * light[3, 4])
    np.testing.assert_allclose(picture.between([3.6, 2.25]), expected, rtol=1e-5)


@pytest.mark.parametrize(
    ("size", "block"),
    [((40, 60), 4), ((36, 52), 2), ((37, 52), 1), ((40, 64), 4), ((30, 41), 1)],
    ids=["by a whole number", "halved first", "odd rows", "exactly", "in one step"],
)
@pytest.mark.parametrize("curves", [ALIKE, OWN_CURVES])
def test_reduced_is_the_mean_of_the_light(monkeypatch, size, block, curves):
    """Each pixel against the mean over its part of the picture, of light that is constant within a pixel."""
    monkeypatch.setattr(of_picture, "KEPT", 16)
    shown = codes(*size)
    reduced = Picture(shown, curves).reduced(16)
    rows, columns = reduced.shape[:2]
    assert reduced.dtype == np.float32 and max(rows, columns) <= 16
    assert (rows, columns) == reduced_size(size, 16)
    light = light_of(shown, curves)
    blocks = light.reshape(size[0] // block, block, size[1] // block, block, 3).mean(axis=(1, 3))
    expected = np.einsum("ry,cx,yxk->rck", shares(rows, len(blocks)), shares(columns, len(blocks[0])), blocks)
    np.testing.assert_allclose(reduced, expected, atol=2e-6)
    np.testing.assert_allclose(reduced.mean(axis=(0, 1)), light.mean(axis=(0, 1)), atol=2e-6)


def shares(count, full):
    """How much each of `full` pixels counts in each of `count` wider ones."""
    edges = np.arange(count + 1) * full / count
    left = np.arange(full)
    covered = np.minimum(edges[1:, None], left + 1) - np.maximum(edges[:-1, None], left)
    return np.clip(covered, 0, None) * count / full


def test_black_and_white_make_half_the_light_not_half_the_code():
    shown = np.zeros((3200, 2400, 3), np.uint8)
    shown[:, ::2] = 255
    np.testing.assert_allclose(Picture(shown, ALIKE).reduced(KEPT), 0.5, atol=1e-6)


def test_smaller_ones_do_not_depend_on_what_was_asked_before():
    shown = codes(60, 4000)
    one, other = Picture(shown, ALIKE), Picture(shown, ALIKE)
    one.reduced(2000)
    one.reduced(1200)
    assert (one.reduced(300) == other.reduced(300)).all()
    assert one.reduced(2000).shape == (30, 2000, 3)


def test_a_small_picture_stays_as_it_is():
    picture = Picture(codes(30, 40), ALIKE)
    assert (picture.reduced(KEPT) == picture.linear).all()
    assert picture.reduced(4000).shape == (30, 40, 3)


def test_places_of_reduced_pixels_are_the_middles_of_what_they_cover():
    places = reduced_places((2, 3), (4, 9))
    assert places[0].tolist() == [[1, 0.5], [4, 0.5], [7, 0.5]]
    assert places[1, 0].tolist() == [1, 2.5]
