"""Flat fields: the light's fall-off read from a plain sheet."""

import numpy as np
import pytest

from sagglab.photo.flat import flat_field
from sagglab.photo.picture import Picture
from sagglab.photo.tone import Tone

AS_IT_IS = Tone((lambda at: at,) * 3)


def falling(size):
    rows, columns = size
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    light = 1 - 0.2 * x - 0.15 * (x**2 + y**2)
    return np.repeat(light[..., None], 3, axis=2).astype(np.float32)


@pytest.mark.parametrize("size", [(300, 400), (400, 300), (60, 80)])
def test_light_at_a_place(size):
    light = falling(size)
    field = flat_field(Picture(0.4 * light))
    rows, columns = size
    places = np.array([[columns / 2, rows / 2], [0.2 * columns, 0.3 * rows], [0.8 * columns, 0.75 * rows]])
    x, y = np.rint(places).astype(int).T
    expected = light[y, x] / light.mean(axis=(0, 1))
    # The field is smoothed over some 4 % of the frame.
    np.testing.assert_allclose(field.at(places, AS_IT_IS), expected, rtol=0.01)


def test_mean_light_is_one():
    rows, columns = 120, 160
    places = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1)
    light = flat_field(Picture(falling((rows, columns)))).at(places, AS_IT_IS)
    np.testing.assert_allclose(light.mean(axis=(0, 1)), 1, atol=0.002)


def test_size_is_that_of_the_photograph():
    assert flat_field(Picture(falling((300, 400)))).size == (300, 400)


def test_specks_on_the_sheet_are_smoothed_away():
    sheet = np.full((300, 400, 3), 0.4, dtype=np.float32)
    sheet[150:153, 200:203] = 0.05
    np.testing.assert_allclose(flat_field(Picture(sheet)).at([201, 151], AS_IT_IS), 1, atol=0.005)


def pot_before(light):
    light = light.copy()
    light[100:220, 150:260] *= 0.3
    return light


@pytest.mark.parametrize(
    ("shown", "fault"),
    [
        (0.4 * falling((300, 400)), ""),
        (np.minimum(1.2 * falling((300, 400)), 1), "is burnt out"),
        (0.005 * falling((300, 400)), "is too dark"),
        (pot_before(0.4 * falling((300, 400))), "shows more than a plain sheet"),
    ],
    ids=["sheet", "burnt out", "dark", "a pot in front"],
)
def test_what_is_no_flat_field_says_so(shown, fault):
    assert flat_field(Picture(shown.astype(np.float32))).fault == fault


def test_noise_is_no_fault():
    noise = np.random.default_rng(2).normal(1, 0.03, (300, 400, 3))
    assert flat_field(Picture((0.4 * falling((300, 400)) * noise).astype(np.float32))).fault == ""
