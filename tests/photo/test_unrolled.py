"""Unrolled maps: patterns come out straight and in place, and means stay what they were."""

from dataclasses import replace

import numpy as np
import pytest

from sagglab.photo.form import find_form
from sagglab.photo.surface import find_surface
from sagglab.photo.unrolled import MOST_ROWS, unroll


@pytest.fixture
def laid(turned, measuring):
    """Give a function that unrolls a painted solid: `paint` takes angle and height."""

    def laid(name, paint, tilt=0.0, cm_per_px=np.nan, glare=None, **picture):
        form = find_form(turned(name, tilt=tilt), cm_per_px)
        surface = find_surface(form, *measuring(form, **picture))
        lightness = paint(np.nan_to_num(surface.degrees), np.nan_to_num(surface.height))
        lab = np.stack([lightness, 0.1 * lightness, -0.2 * lightness], axis=-1).astype(float)
        if glare is not None:
            surface = replace(surface, glare=surface.seen & glare)
        return unroll(lab, surface), surface, lab

    return laid


def mean_of(map_, within=37):
    columns = np.abs(map_.degrees) < within
    return np.average(
        np.nan_to_num(map_.lab[:, columns]), axis=(0, 1), weights=np.repeat(map_.area[:, columns, None], 3, 2)
    )


def test_axes_are_as_stated(laid):
    map_, _, _ = laid("vase", lambda degrees, height: 50 + 20 * height + 0.1 * degrees)
    assert map_.degrees.tolist() == (np.arange(150) - 74.5).tolist()
    assert map_.height[0] == pytest.approx(1 - 0.5 / 240) and map_.height[-1] == pytest.approx(0.5 / 240)
    assert map_.lab.shape == (MOST_ROWS, 150, 3) and map_.lab.dtype == np.float64
    expected = 50 + 20 * map_.height[:, None] + 0.1 * map_.degrees
    # At the sides a cell is half seen, and shows the half that is.
    inside = np.isfinite(map_.lab[..., 0]) & (np.abs(map_.degrees) < 70)
    np.testing.assert_allclose(map_.lab[..., 0][inside], expected[inside], atol=0.06)


@pytest.mark.parametrize("name", ["cylinder", "cone", "vase"])
@pytest.mark.parametrize("tilt", [0, 4])
def test_a_checked_pattern_comes_out_straight_and_in_place(laid, name, tilt):
    def checks(degrees, height):
        return 30 + 40 * ((np.floor(degrees / 10) + np.floor(height * 10)) % 2)

    map_, _, _ = laid(name, checks, tilt)
    expected = checks(map_.degrees[None], map_.height[:, None])
    # Within a cell, or a pixel where that is larger, of a check's edge both colours mix: 2° to 60°, 3 rows.
    by_angle = np.abs((map_.degrees + 5) % 10 - 5) > 1.6
    by_angle &= np.abs(map_.degrees) < 60
    by_height = np.abs((map_.height * 10 + 0.5) % 1 - 0.5) > 0.07
    by_height &= (map_.height > 0.03) & (map_.height < 0.97)
    clear = by_height[:, None] & by_angle
    np.testing.assert_allclose(map_.lab[..., 0][clear], expected[clear], atol=0.5)


def test_nothing_is_lost_between_cells_finer_than_pixels(laid):
    map_, surface, _ = laid("vase", lambda degrees, height: 40 + 0 * degrees, size=(112, 120), pitch=5.0)
    assert len(map_.height) == 84
    # All but the ends, and a pixel at the sides.
    inside = (map_.height > 0.04) & (map_.height < 0.96)
    assert np.isfinite(map_.lab[inside][:, np.abs(map_.degrees) < 68]).all()
    np.testing.assert_allclose(map_.lab[..., 0][map_.area > 0], 40, atol=1e-4)


def test_a_fine_pattern_is_averaged_not_sampled(laid):
    """Stripes finer than cells come out as their mean: 1 px on, 1 px off, where a row is 1.75 px high."""

    def stripes(degrees, height):
        return 20 + 60 * (np.rint(height * 420) % 2)

    map_, _, _ = laid("cylinder", stripes)
    middle = map_.lab[40:-40, 20:-20, 0]
    blocks = middle[:160].reshape(40, 4, -1).mean(axis=1)
    np.testing.assert_allclose(blocks, 50, atol=5)
    assert middle.std() < 15  # sampled at single places: 30


@pytest.mark.parametrize("name", ["cylinder", "cone", "vase"])
def test_area_is_that_of_what_is_seen(laid, name):
    map_, surface, _ = laid(name, lambda degrees, height: 40 + 0 * degrees)
    assert ((map_.area > 0) == np.isfinite(map_.lab).all(axis=-1)).all()
    columns = np.abs(map_.degrees) < 37
    assert map_.area[:, columns].sum() == pytest.approx(
        surface.area[surface.band].sum(dtype=float), rel=0.005
    )
    # At ±75° cells that are seen by less than half are blank.
    assert map_.area.sum() == pytest.approx(surface.area.sum(dtype=float), rel=0.01)


def test_glare_is_left_out(laid):
    y, x = np.mgrid[:560, :600]
    blob = np.hypot(x - 320, y - 300) < 25
    map_, surface, lab = laid("cylinder", lambda degrees, height: 40 + 0 * degrees, glare=blob)
    at = (
        np.abs(map_.height - 220 / 420).argmin(),
        np.abs(map_.degrees - np.degrees(np.arcsin(20 / 140))).argmin(),
    )
    assert np.isnan(map_.lab[at]).all() and map_.area[at] == 0
    lab[blob] = 99
    spoilt = unroll(lab, surface)
    np.testing.assert_allclose(spoilt.lab, map_.lab)
    seen = surface.seen & ~surface.glare
    assert map_.area.sum() == pytest.approx(surface.area[seen].sum(dtype=float), rel=0.01)


def test_lengths_on_the_surface_are_told_in_mm(laid):
    map_, surface, _ = laid("cone", lambda degrees, height: degrees, cm_per_px=0.025)
    np.testing.assert_allclose(map_.radius_mm, 0.25 * (90 + 80 * map_.height), atol=0.02)
    np.testing.assert_allclose(map_.step_mm, 0.25 * np.hypot(420, 80) / 240, rtol=1e-3)
    side = (2 * np.pi * map_.radius_mm * map_.step_mm).sum()
    assert side / 100 == pytest.approx(surface.form.area_cm2, rel=1e-3)
    unknown, _, _ = laid("cone", lambda degrees, height: degrees)
    assert np.isnan(unknown.radius_mm).all() and np.isnan(unknown.step_mm).all()


@pytest.mark.parametrize("seed", [71300, 71301, 71302, 71303])
def test_means_over_the_band_are_those_of_the_pixels(scenes, view_of, seed):
    seen = view_of(scenes.render_scene(seed))
    surface = seen.surface
    pixels = np.average(seen.lab[surface.measured], axis=0, weights=surface.area[surface.measured])
    np.testing.assert_allclose(mean_of(unroll(seen.lab, surface)), pixels, atol=0.1)


def test_half_the_resolution_shows_the_same(laid):
    def clouds(degrees, height):
        return 45 + 15 * np.sin(np.radians(degrees) * 6) * np.cos(height * 9)

    fine, _, _ = laid("vase", clouds)
    coarse, _, _ = laid("vase", clouds, size=(280, 300), pitch=2.0, corner=(0.5, 0.5))
    np.testing.assert_allclose(mean_of(fine), mean_of(coarse), atol=0.05)
