"""Surface: areas against geometry, glare, and colours of surfaces that are known."""

import numpy as np
import pytest

from sagglab.columns import COLOUR_MEASURES
from sagglab.photo.surface import (
    BAND_DEGREES,
    ENDS,
    FACING,
    Surface,
    central_band,
    colour_measures,
    shading,
    weighted_quantile,
    without_glare,
)

SIZE = (700, 600)
TOP, HEIGHT, AXIS = 50, 600, 300.0


def silhouette(radius):
    """Draw a solid of revolution from its radius at shares of the height, 0 at the top."""
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    along = (y + 0.5 - TOP) / HEIGHT
    within = (along > 0) & (along < 1)
    return within & (np.abs(x - AXIS) < radius(np.clip(along, 0, 1)))


def find_surface(linear, lab, outline):
    return without_glare(central_band(outline), linear, lab, outline)


def flat_surface(outline, colour=(45.0, 9.0, 11.0)):
    lab = np.broadcast_to(np.array(colour), (*SIZE, 3)).copy()
    return find_surface(np.full((*SIZE, 3), 0.2, np.float32), lab, outline), lab


SOLIDS = {
    "cylinder": lambda t: np.full_like(t, 200.0),
    "cone": lambda t: 60 + 180 * t,
    "sphere": lambda t: 300 * np.sqrt(np.maximum(1 - (2 * t - 1) ** 2, 0)),
}


def lateral_area(radius):
    """Area of the side between the ends that are left out, by numbers: ∫ 2πr sqrt(1 + r'²) dy."""
    t = np.linspace(ENDS, 1 - ENDS, 200_001)
    r = radius(t)
    slope = np.gradient(r, t * HEIGHT)
    return np.trapezoid(2 * np.pi * r * np.sqrt(1 + slope**2), t * HEIGHT)


@pytest.mark.parametrize("name", SOLIDS)
def test_band_area_is_that_of_the_solid(name):
    surface, _ = flat_surface(silhouette(SOLIDS[name]))
    expected = lateral_area(SOLIDS[name]) * 2 * BAND_DEGREES / 360
    assert surface.area.sum() == pytest.approx(expected, rel=0.005)


def test_areas_lie_in_the_band_alone():
    surface, _ = flat_surface(silhouette(SOLIDS["cone"]))
    assert ((surface.area > 0) == surface.band).all()


def test_band_is_as_wide_as_its_angle():
    surface, _ = flat_surface(silhouette(SOLIDS["cylinder"]))
    assert surface.band[350].sum() == pytest.approx(2 * 200 * np.sin(np.radians(37)), abs=1.5)


def test_uniform_colour_is_itself_without_spread():
    surface, lab = flat_surface(silhouette(SOLIDS["sphere"]))
    measures = colour_measures(lab, surface)
    assert set(measures) == {column.heading for column in COLOUR_MEASURES}
    for name, value in zip(("L*", "a*", "b*"), (45, 9, 11), strict=True):
        assert measures[name] == pytest.approx(value)
        assert measures[f"{name} median"] == value
        assert measures[f"{name} SD"] == pytest.approx(0, abs=1e-9)
    assert measures["C*ab"] == pytest.approx(np.hypot(9, 11))
    assert measures["hue angle"] == pytest.approx(np.degrees(np.arctan2(11, 9)))
    assert (measures["dark share"], measures["glare share"]) == (0, 0)


def test_glare_is_left_out_and_its_share_told():
    outline = silhouette(SOLIDS["cylinder"])
    lab = np.broadcast_to(np.array([45.0, 9.0, 11.0]), (*SIZE, 3)).copy()
    linear = np.full((*SIZE, 3), 0.2, np.float32)
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    blob = np.hypot(x - 320, y - 300) < 20
    lab[blob], linear[blob] = (98, 0, 0), 1.0
    surface = find_surface(linear, lab, outline)
    assert surface.glare[blob].all()
    measures = colour_measures(lab, surface)
    assert measures["L*"] == pytest.approx(45)
    # The share of the blob, and the rim by which it is grown (height / 150 = 4 pixels).
    blob_share = surface.area[blob].sum() / surface.area.sum()
    assert blob_share <= measures["glare share"] <= blob_share * (25.5 / 20) ** 2


def test_a_pale_surface_is_no_glare():
    outline = silhouette(SOLIDS["cylinder"])
    lab = np.broadcast_to(np.array([45.0, 9.0, 11.0]), (*SIZE, 3)).copy()
    lab[250:330, 250:350] = (75, 2, 5)
    surface = find_surface(np.full((*SIZE, 3), 0.5, np.float32), lab, outline)
    assert not surface.glare.any()


def test_dark_share_of_a_two_tone_cylinder():
    outline = silhouette(SOLIDS["cylinder"])
    lab = np.broadcast_to(np.array([45.0, 9.0, 11.0]), (*SIZE, 3)).copy()
    lab[TOP + HEIGHT // 4 * 3 :] = (20, 0, 0)
    surface = find_surface(np.full((*SIZE, 3), 0.2, np.float32), lab, outline)
    measures = colour_measures(lab, surface)
    share = (0.25 - ENDS) / (1 - 2 * ENDS)
    assert measures["dark share"] == pytest.approx(share, abs=0.003)
    assert measures["L*"] == pytest.approx(45 - 25 * share, abs=0.1)
    assert measures["L* median"] == 45
    assert measures["L* SD"] == pytest.approx(25 * np.sqrt(share * (1 - share)), abs=0.1)


def test_pixels_towards_the_side_weigh_more():
    surface, _ = flat_surface(silhouette(SOLIDS["cylinder"]))
    row = surface.area[350]
    seen = np.flatnonzero(row)
    assert row[seen[0]] / row[300] == pytest.approx(1 / np.cos(np.radians(37)), rel=0.01)


def test_weighted_quantile_is_that_of_repeated_values():
    rng = np.random.default_rng(5)
    values, weights = rng.normal(size=(40, 2)), rng.integers(1, 6, 40)
    repeated = np.repeat(values, weights, axis=0)
    for share in (0.05, 0.3, 0.5, 0.95):
        expected = np.quantile(repeated, share, axis=0, method="inverted_cdf")
        assert weighted_quantile(values, weights.astype(float), share).tolist() == expected.tolist()


def test_nothing_left_to_measure_gives_nothing():
    all_glare = np.ones(SIZE, dtype=bool)
    assert colour_measures(np.zeros((*SIZE, 3)), Surface(all_glare, all_glare, np.ones(SIZE))) == {}


def test_median_chroma_and_hue_are_those_of_the_median_colour():
    surface, lab = flat_surface(silhouette(SOLIDS["cylinder"]))
    lab[: lab.shape[0] // 4] = (60, 30, 0)  # a quarter or less is red, the rest stays as it was
    measures = colour_measures(lab, surface)
    assert measures["C*ab median"] == pytest.approx(np.hypot(9, 11))
    assert measures["hue angle median"] == pytest.approx(np.degrees(np.arctan2(11, 9)))
    assert measures["C*ab"] != pytest.approx(np.hypot(9, 11), abs=0.5)


def test_facing_is_the_cosine_of_the_slant():
    """On a cylinder across, and on a cone along the axis, too."""
    cylinder = central_band(silhouette(SOLIDS["cylinder"]))
    x = np.arange(SIZE[1])[cylinder.band[350]]
    # The axis lies between two pixels.
    expected = np.sqrt(1 - ((x - AXIS + 0.5) / 200) ** 2)
    np.testing.assert_allclose(cylinder.facing[350][cylinder.band[350]], expected, atol=0.01)
    cone = central_band(silhouette(SOLIDS["cone"]))
    assert cone.facing[350, 300] == pytest.approx(1 / np.hypot(1, 180 / HEIGHT), rel=0.01)
    assert (cone.facing[~cone.band] == 1).all()


def test_light_falls_with_the_facing_and_by_the_share_assumed():
    surface = central_band(silhouette(SOLIDS["cylinder"]))
    light = shading(surface)
    assert light[350, 300] == pytest.approx(1, abs=1e-3)
    edge = np.flatnonzero(surface.band[350])[0]
    assert light[350, edge] == pytest.approx(1 - FACING * (1 - np.cos(np.radians(37))), abs=0.003)
    assert (light[~surface.band] == 1).all()


def test_no_glare_is_known_before_it_is_looked_for():
    surface = central_band(silhouette(SOLIDS["sphere"]))
    assert not surface.glare.any()
    assert (surface.measured == surface.band).all()


@pytest.mark.parametrize("height", [1, 2, 5])
def test_an_outline_of_a_few_pixels_makes_no_fault(height):
    outline = np.zeros(SIZE, dtype=bool)
    outline[10 : 10 + height, 20:26] = True
    surface = central_band(outline)
    assert np.isfinite(surface.area).all()
    assert surface.measured.any()
