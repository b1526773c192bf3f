"""Sharpness at the patches' edges, against blur that is known."""

from functools import cache

import cv2
import numpy as np
import pytest

from sagglab.photo.patches import grid_to_picture
from sagglab.photo.picture import Picture
from sagglab.photo.sharpness import edge_blur

FINER = 4


def chart(light, pitch, turn, gap=0.16):
    """A target in a dark frame, each pixel the mean of 16 finer ones, and its corners."""
    rows, columns = light.shape[:2]
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    side = int(1.45 * pitch * columns)
    grid = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1.0]])
    corners = (grid - grid.mean(axis=0)) @ turned.T * pitch + side / 2
    y, x = (np.mgrid[: side * FINER, : side * FINER] + 0.5) / FINER - 0.5
    back = np.linalg.inv(grid_to_picture(corners, (rows, columns)))
    places = cv2.perspectiveTransform(np.stack([x, y], axis=-1).reshape(1, -1, 2), back)[0]
    column, row = np.rint(places).astype(int).T
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    inside &= (np.abs(places - np.rint(places)) < 0.5 - gap / 2).all(axis=1)
    picture = np.full((len(places), 3), 0.02, dtype=np.float32)
    picture[inside] = light[row[inside], column[inside]]
    picture = picture.reshape(side, FINER, side, FINER, 3).mean(axis=(1, 3))
    return picture, corners


@pytest.fixture(scope="module")
def charts(painted):
    """Charts by pitch and turn, each drawn once."""
    return cache(lambda pitch, turn: chart(painted[0], pitch, turn))


def measured(charts, pitch, sigma, noise, turn):
    picture, corners = charts(pitch, turn)
    picture = cv2.GaussianBlur(picture, (0, 0), sigma)
    picture += np.random.default_rng(pitch).normal(0, noise, picture.shape).astype(np.float32)
    return edge_blur(Picture(picture), grid_to_picture(corners, (4, 6)), (4, 6), pitch)


@pytest.mark.parametrize("turn", [0.0, 0.35])
@pytest.mark.parametrize("noise", [0.0, 0.01])
@pytest.mark.parametrize(
    ("pitch", "sigma"),
    [(20, 1.0), (20, 2.0), (40, 1.0), (40, 2.0), (40, 4.0), (60, 1.0), (60, 4.0)],
)
def test_known_blur_comes_back(charts, pitch, sigma, noise, turn):
    assert measured(charts, pitch, sigma, noise, turn) == pytest.approx(sigma, rel=0.2)


@pytest.mark.parametrize("turn", [0.0, 0.35])
@pytest.mark.parametrize("pitch", [20, 40, 60])
def test_half_a_pixel_is_near_what_pixels_can_tell(charts, pitch, turn):
    # Edges along the pixels' rows fall on pixels in one way only, and say little of what is within one.
    assert measured(charts, pitch, 0.5, 0.004, turn) == pytest.approx(0.5, abs=0.25)


@pytest.mark.parametrize("sigma", [0.5, 1.0])
def test_small_patches_tell_it_less_well(charts, sigma):
    assert measured(charts, 10, sigma, 0.004, 0.35) == pytest.approx(sigma, rel=0.35)


def test_motion_in_one_direction_counts(charts):
    picture, corners = charts(40, 0.0)
    picture = cv2.GaussianBlur(picture, (0, 0), sigmaX=3.0, sigmaY=0.5)
    blur = edge_blur(Picture(picture), grid_to_picture(corners, (4, 6)), (4, 6), 40)
    assert blur == pytest.approx(3.0, rel=0.2)


def test_a_plain_picture_tells_nothing():
    corners = np.array([[100, 100], [500, 100], [500, 340], [100, 340]])
    plain = np.full((450, 600, 3), 0.4, dtype=np.float32)
    assert np.isnan(edge_blur(Picture(plain), grid_to_picture(corners, (4, 6)), (4, 6), 80.0))
