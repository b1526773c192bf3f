"""Surface: the place and the area of each pixel against geometry."""

import numpy as np
import pytest

from sagglab.errors import SurfaceError
from sagglab.photo.form import find_form
from sagglab.photo.surface import BAND_DEGREES, ENDS, SEEN_DEGREES, find_surface


@pytest.fixture
def surface_of(turned, measuring):
    def surface_of(name, tilt=0.0, band_degrees=BAND_DEGREES, **picture):
        form = find_form(turned(name, tilt=tilt), 0.02)
        return find_surface(form, *measuring(form, **picture), band_degrees)

    return surface_of


def side_between_ends(name):
    """Area of the side without its ends, by numbers: ∫ 2πr sqrt(1 + r'²) dh."""
    height = np.linspace(ENDS, 1 - ENDS, 20_001)
    radius = {
        "cylinder": np.full_like(height, 140.0),
        "cone": 90 + 80 * height,
        "vase": 110 + 40 * np.sin(2 * np.pi * (height - 0.1)),
    }[name]
    slope = np.gradient(radius, height * 420)
    return np.trapezoid(2 * np.pi * radius * np.hypot(1, slope), height * 420)


@pytest.mark.parametrize("name", ["cylinder", "cone", "vase"])
@pytest.mark.parametrize("tilt", [0, 4])
@pytest.mark.parametrize(("band_degrees", "pitch"), [(20, 0.5), (37, 1.0), (60, 1.0)])
def test_band_area_is_that_of_the_solid(surface_of, name, tilt, band_degrees, pitch):
    # A narrow band in smaller pixels: it is as many whole pixels wide on an upright cylinder.
    picture = {"size": (int(560 / pitch), int(600 / pitch)), "pitch": pitch}
    surface = surface_of(name, tilt, band_degrees, **picture)
    expected = side_between_ends(name) * 2 * band_degrees / 360 / pitch**2
    assert surface.area[surface.band].sum(dtype=float) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("pitch", [0.8, 2.0])
def test_areas_are_in_pixels_of_the_measuring_picture(surface_of, pitch):
    picture = {"size": (int(500 / pitch), int(480 / pitch)), "pitch": pitch, "corner": (70.3, 60.6)}
    surface = surface_of("vase", 2, **picture)
    expected = side_between_ends("vase") * 2 * BAND_DEGREES / 360 / pitch**2
    assert surface.area[surface.band].sum(dtype=float) == pytest.approx(expected, rel=0.005)
    share = side_between_ends("vase") / surface.form.side_px2 * 2 * BAND_DEGREES / 360
    assert surface.usable_share == pytest.approx(share, rel=0.005)
    assert surface.usable_cm2 == pytest.approx(share * surface.form.side_px2 * 0.02**2, rel=0.005)


def test_a_place_is_at_its_angle_and_height(surface_of):
    surface = surface_of("cylinder", tilt=5)
    form = surface.form
    for degrees, height in ((0, 0.5), (-50, 0.2), (30, 0.9), (70, 0.7)):
        x, y = (
            form.foot + height * form.length * form.upwards + 140 * np.sin(np.radians(degrees)) * form.across
        )
        at = round(y), round(x)
        # Half a pixel is 0.2° in front and 0.6° at 70°, and a thousandth of the height.
        assert surface.degrees[at] == pytest.approx(degrees, abs=0.7)
        assert surface.height[at] == pytest.approx(height, abs=0.0013)


def test_outside_there_are_neither_places_nor_areas(surface_of):
    surface = surface_of("cone", band_degrees=50)
    outside = np.isnan(surface.degrees)
    assert outside.any()
    assert (np.isnan(surface.height) == outside).all()
    assert (surface.area[outside] == 0).all() and not surface.band[outside].any()
    inside = ~outside
    ends = (surface.height < ENDS) | (surface.height > 1 - ENDS)
    assert (surface.seen[inside] == ((np.abs(surface.degrees) <= SEEN_DEGREES) & ~ends)[inside]).all()
    assert (surface.band == surface.seen & (np.abs(surface.degrees) <= 50)).all()


def test_a_hole_is_not_seen(turned, measuring):
    form = find_form(turned("cylinder"))
    mask, places = measuring(form)
    whole = find_surface(form, mask, places)
    mask = mask.copy()
    mask[300:320, 290:330] = False
    surface = find_surface(form, mask, places)
    assert not surface.seen[300:320, 290:330].any()
    assert np.isnan(surface.degrees[300:320, 290:330]).all()
    np.testing.assert_array_equal(surface.area[mask], whole.area[mask])


def test_facing_is_the_cosine_of_the_slant(surface_of):
    """On a cylinder across, and on a cone along the axis, too."""
    cylinder = surface_of("cylinder")
    row = cylinder.seen[300]
    expected = np.sqrt(1 - ((np.arange(600)[row] - 300) / 140) ** 2)
    np.testing.assert_allclose(cylinder.facing[300][row], expected, atol=0.002)
    cone = surface_of("cone")
    assert cone.facing[300, 300] == pytest.approx(1 / np.hypot(1, 80 / 420), rel=1e-4)
    assert (cone.facing[~cone.seen] == 1).all()


def test_no_glare_is_known_before_it_is_looked_for(surface_of):
    surface = surface_of("vase")
    assert not surface.glare.any()
    assert (surface.measured == surface.band).all()


@pytest.mark.parametrize("size", [(1, 1), (1, 5), (6, 1)])
def test_a_picture_of_a_few_pixels_makes_no_fault(turned, size):
    form = find_form(turned("cylinder"))
    y, x = np.mgrid[: size[0], : size[1]]
    surface = find_surface(form, np.ones(size, bool), np.stack([x + 298, y + 300], axis=-1).astype(float))
    assert np.isfinite(surface.area).all() and surface.measured.all()


@pytest.mark.parametrize("band", [0, -5, 75.5, np.nan])
def test_a_band_that_cannot_be_seen_is_refused(surface_of, band):
    with pytest.raises(SurfaceError, match="no band that can be seen. Give more than 0° and at most 75°"):
        surface_of("cylinder", band_degrees=band)


def test_surface_before_the_axis_is_placed_where_it_lies(scenes, view_of):
    """On a rendered pot, whose foot and rim are seen from a camera half-way up."""
    scene = scenes.render_scene(11)
    seen = view_of(scene)
    piece, surface = scene.surface.piece, seen.surface
    tall, middle = piece.height_cm * scenes.PX_PER_CM, round((surface.band.shape[1] - 1) / 2)
    rows = np.flatnonzero(surface.band[:, middle])
    y = rows + seen.box[0].start
    # Nearer by the radius, the surface looks larger about the camera's own level, half-way up the pot.
    foot, rim = scenes.DISTANCE_PX / (scenes.DISTANCE_PX - surface.form.radius[[0, -1]])
    level = np.flatnonzero(scene.pot.any(axis=1))[[0, -1]].mean() - tall / 4 * (foot - rim)
    height = surface.height[rows, middle]
    radius = np.interp(height, surface.form.heights, surface.form.radius)
    true = 0.5 + (level - y) * (1 - radius / scenes.DISTANCE_PX) / tall
    np.testing.assert_allclose(height, true, atol=0.006)
