"""Shading over the curve: told where the surface tells it, and mottle never taken for light."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from sagglab.photo.form import find_form
from sagglab.photo.shading import ASIDE_DOUBT, FACING, FACING_DOUBT, Shading, estimate_shading
from sagglab.photo.surface import find_surface


@pytest.fixture(scope="module")
def vase(turned, measuring):
    form = find_form(turned("vase"))
    return find_surface(form, *measuring(form))


@pytest.fixture(scope="module")
def cylinder(turned, measuring):
    form = find_form(turned("cylinder"))
    return find_surface(form, *measuring(form))


def cloud(shape, seed, size):
    field = gaussian_filter(np.random.default_rng(seed).standard_normal(shape), size)
    return field / field.std()


def lit(surface, facing, aside):
    return Shading(facing, 0.1, aside).light(surface)


def test_light_follows_the_model(cylinder):
    light = lit(cylinder, 0.3, 0.1)
    at = np.abs(cylinder.degrees - 30) < 0.3
    expected = 1 + 0.3 * (np.cos(np.radians(30)) - 1) + 0.1 * 0.5
    assert light[at & cylinder.seen] == pytest.approx(expected, abs=0.003)
    assert (light[~cylinder.seen] == 1).all()


def test_light_is_never_nil(cylinder):
    assert lit(cylinder, 1.2, -2.0).min() == pytest.approx(0.1)


@pytest.mark.parametrize(("facing", "aside"), [(0.4, 0.12), (0.1, -0.12), (0.25, -0.18), (0.3, 0.0)])
def test_an_even_pot_tells_its_light(vase, facing, aside):
    body = 0.15 * np.exp(0.02 * cloud(vase.area.shape, 2, 8))
    found = estimate_shading(body * lit(vase, facing, aside), vase, flat=False)
    assert found.explains == (aside != 0)
    assert found.aside == pytest.approx(aside, abs=0.03)
    assert found.facing == pytest.approx(facing, abs=0.1)
    assert found.aside_error < 0.03


def test_rows_of_different_colour_do_not_matter(cylinder):
    rows = np.exp(-2 * np.nan_to_num(cylinder.height))
    body = 0.2 * rows * np.exp(0.02 * cloud(cylinder.area.shape, 3, 8))
    found = estimate_shading(body * lit(cylinder, 0.25, 0.15), cylinder, flat=False)
    assert found.aside == pytest.approx(0.15, abs=0.04)


@pytest.mark.parametrize("softness", [1, 25])
@pytest.mark.parametrize("edge", [-40, 0, 25])
def test_a_half_that_is_dark_is_no_shade(vase, edge, softness):
    dark = gaussian_filter((np.nan_to_num(vase.degrees) < edge).astype(float), softness)
    body = np.exp(np.log(0.2) - 2.0 * dark + 0.1 * cloud(vase.area.shape, 5, 10))
    found = estimate_shading(body * lit(vase, 0.25, 0), vase, flat=False)
    assert not found.explains
    assert found.aside == 0
    assert found.facing == pytest.approx(FACING, abs=2 * FACING_DOUBT)


def test_mottle_is_not_taken_for_light(vase):
    found = [
        estimate_shading(0.1 * np.exp(0.8 * cloud(vase.area.shape, seed, 40)), vase, flat=False)
        for seed in range(12)
    ]
    # The errors hold: one of 20 lies beyond two, and hardly any beyond three.
    off = np.array([each.aside_seen / each.aside_seen_error for each in found])
    assert not any(each.explains for each in found)
    assert 0.5 < np.sqrt((off**2).mean()) < 1.5


def test_after_a_flat_field_sides_are_not_asked(cylinder):
    body = 0.15 * np.exp(0.02 * cloud(cylinder.area.shape, 2, 8)) * lit(cylinder, 0.3, 0.2)
    found = estimate_shading(body, cylinder, flat=True)
    assert found.aside == 0
    assert np.isnan(found.aside_seen)
    assert not found.explains


def test_a_black_pot_keeps_near_what_is_known(cylinder):
    noise = np.random.default_rng(1).standard_normal(cylinder.area.shape)
    body = 0.009 * lit(cylinder, 0.25, 0) * np.exp(0.3 * cloud(cylinder.area.shape, 4, 30)) + 0.003 * noise
    found = estimate_shading(body, cylinder, flat=False)
    assert not found.explains
    assert found.facing == pytest.approx(FACING, abs=2 * FACING_DOUBT)


def test_glare_is_not_looked_at(cylinder):
    body = 0.15 * np.exp(0.02 * cloud(cylinder.area.shape, 2, 8))
    blob = np.zeros_like(cylinder.band)
    blob[200:300, 180:240] = True
    spoilt = np.where(blob, 1.0, body)
    surface = replace(cylinder, glare=blob)
    assert estimate_shading(spoilt, surface, flat=False) == estimate_shading(body, surface, flat=False)


def test_too_little_surface_leaves_what_is_known(cylinder):
    narrow = replace(cylinder, area=np.where(np.abs(cylinder.degrees) < 5, cylinder.area, 0))
    nothing = replace(cylinder, area=np.zeros_like(cylinder.area))
    for surface in (narrow, nothing):
        found = estimate_shading(np.full(cylinder.area.shape, 0.2), surface, flat=False)
        assert (found.facing, found.facing_error) == (FACING, FACING_DOUBT)
        assert (found.aside, found.aside_error) == (0, ASIDE_DOUBT)


def test_correction_at_the_edge(cylinder):
    # At 36°, the middle of the two outer degrees: 1 + 0.25 (cos 36° − 1) = 0.952 of the light.
    expected = (50 + 16) * ((1 + 0.25 * (np.cos(np.radians(36)) - 1)) ** (-1 / 3) - 1)
    assert Shading().at_edge(cylinder, 50) == pytest.approx(expected, rel=0.02)
    # One side's gain is the other's loss.
    assert Shading(0, 0, 0.02).at_edge(cylinder, 50) == pytest.approx(0, abs=0.02)
    none = replace(cylinder, band=np.zeros_like(cylinder.band))
    assert np.isnan(Shading().at_edge(none, 50))
    assert np.isnan(Shading().share_error(none))


def test_error_of_the_mean_is_what_a_wrong_term_does(cylinder):
    right_half = replace(cylinder, band=cylinder.band & (cylinder.degrees > 0))
    for surface in (cylinder, right_half):
        measured, weights = surface.measured, surface.area[surface.measured]
        light = lit(surface, 0.25, 0)[measured]
        by_facing = np.average(lit(surface, 0.251, 0)[measured] / light - 1, weights=weights) / 0.001
        by_aside = np.average(lit(surface, 0.25, 0.001)[measured] / light - 1, weights=weights) / 0.001
        expected = np.hypot(by_facing * FACING_DOUBT, by_aside * ASIDE_DOUBT)
        assert Shading().share_error(surface) == pytest.approx(expected, rel=1e-4)
