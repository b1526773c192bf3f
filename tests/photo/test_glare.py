"""Glare: mirrored light is left out, halo and all, and pale surfaces are not."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from sagglab.colour import WHITE_D50, lab_to_xyz, srgb_to_linear, xyz_to_lab
from sagglab.photo.form import find_form
from sagglab.photo.glare import NEARLY_CLIPPED, find_glare, whole_area
from sagglab.photo.surface import find_surface

BODY = (42.0, 14.0, 20.0)


@pytest.fixture(scope="module")
def ball(turned, measuring):
    """A ball without its ends: the way it faces is known at every place."""
    form = find_form(turned(lambda height: 210 * np.sqrt(1.04 - (2 * height - 1) ** 2)))
    return find_surface(form, *measuring(form))


@pytest.fixture(scope="module")
def from_light(ball):
    """Degrees from the outward direction that mirrors a light from the upper left."""
    up = np.sin(np.arcsin(np.clip((2 * ball.height - 1) / np.sqrt(1.04), -1, 1)))
    level, around = np.sqrt(1 - up**2), np.radians(ball.degrees)
    outward = np.stack([np.sin(around) * level, up, np.cos(around) * level], axis=-1)
    return np.degrees(np.arccos(np.clip(outward @ np.array([-0.25, 0.27, 0.93]), -1, 1)))


def mottled(shape, seed=4, spread=0.25):
    """Light on a mottled body: XYZ."""
    cloud = gaussian_filter(np.random.default_rng(seed).standard_normal(shape), 12)
    return lab_to_xyz(BODY) * np.exp(spread * cloud / cloud.std())[..., None]


def look(xyz, surface):
    """Find the glare of a surface of some XYZ; the camera clips at 1."""
    linear = np.clip(xyz / WHITE_D50, 0, 1).astype(np.float32)
    return find_glare(linear, xyz_to_lab(np.clip(xyz, 0, 1.2)), surface)


def share(mask, of, surface):
    return surface.area[mask & of].sum() / surface.area[of].sum()


@pytest.mark.parametrize(("top", "sharpness"), [(2.6, 900), (0.6, 300), (0.35, 300)])
def test_lobe_is_left_out_with_its_halo(ball, from_light, top, sharpness):
    body = mottled(ball.area.shape)
    cosine = np.nan_to_num(np.cos(np.radians(from_light)))
    added = (top * cosine**sharpness + 0.1 * cosine**160)[..., None] * WHITE_D50
    assert ((body + added).max(axis=-1)[ball.seen].max() >= NEARLY_CLIPPED) == (top > 0.6)
    glare = look(body + added, ball)
    lighter = xyz_to_lab(body + added)[..., 0] - xyz_to_lab(body)[..., 0]
    assert share(glare, ball.seen & (lighter > 5), ball) > 0.97
    assert share(glare, ball.seen & (lighter > 2), ball) > 0.8
    assert share(glare, ball.seen & (lighter < 0.2), ball) < 0.01


def test_matt_surfaces_have_no_glare(ball):
    for seed in range(8):
        assert not look(mottled(ball.area.shape, seed), ball).any()


@pytest.mark.parametrize("radius", [4, 10, 25, 60])
def test_pale_spots_are_no_glare(ball, radius):
    body = mottled(ball.area.shape)
    y, x = np.mgrid[: body.shape[0], : body.shape[1]]
    for at_x, at_y in ((300, 300), (240, 380), (350, 250)):
        # Matt, and sharp but for the lens.
        spot = gaussian_filter((np.hypot(x - at_x, y - at_y) < radius).astype(float), 1)[..., None]
        body = body * (1 - spot) + lab_to_xyz((82, 1, 6)) * spot
    assert share(look(body, ball), ball.seen, ball) < 0.002


def test_a_soft_blush_of_another_colour_is_no_glare(ball, from_light):
    # As smooth as a lobe, at its place, but it adds pink, not the colour of the light.
    soft = np.nan_to_num(np.exp(-((from_light / 5) ** 2)))[..., None]
    body = lab_to_xyz(BODY) * (1 - soft) + lab_to_xyz((70, 30, 8)) * soft
    assert not look(body, ball).any()
    # The same in the colour of the light is.
    assert look(lab_to_xyz(BODY) + 0.3 * soft * WHITE_D50, ball).any()


def test_what_is_clipped_is_left_out_whatever_it_is(ball):
    body = mottled(ball.area.shape)
    body[300:303, 200:204] = 1.0
    glare = look(body, ball)
    assert glare[300:303, 200:204].all()
    assert share(glare, ball.seen, ball) < 0.005


def test_glare_lies_on_what_is_seen(ball):
    bright = np.ones((*ball.area.shape, 3))
    assert (look(bright, ball) == ball.seen).all()
    unseen = replace(ball, area=np.zeros_like(ball.area))
    assert not look(bright, unseen).any()


def test_the_area_of_glare_goes_to_what_lies_nearest(ball):
    glare = np.zeros_like(ball.band)
    glare[280:320, 280:320] = True
    surface = replace(ball, glare=glare)
    area = whole_area(surface)
    assert area.sum() == pytest.approx(ball.area[ball.band].sum(dtype=float))
    assert not area[~surface.measured].any()
    assert (area > surface.area + 1e-6).sum() <= 4 * 42
    beside = np.s_[270:330, 270:330]
    assert area[beside].sum() == pytest.approx(ball.area[beside].sum(dtype=float), rel=1e-6)


def test_area_without_glare_is_as_it_is(ball):
    assert (whole_area(ball) == np.where(ball.measured, ball.area, 0)).all()
    assert not whole_area(replace(ball, glare=np.ones_like(ball.band))).any()


@pytest.fixture(scope="module")
def glossy_and_matt(scenes, view_of):
    """Rendered scenes with gloss and without it, from the same seed."""

    def glossy_and_matt(seed):
        views = []
        for window in (scenes.TOWARDS_WINDOW, np.array([0, 0, -3.0])):
            with pytest.MonkeyPatch.context() as patch:
                # A window behind the pot is mirrored nowhere.
                patch.setattr(scenes, "TOWARDS_WINDOW", window)
                scene = scenes.render_scene(seed, setup="camera")
            view = view_of(scene)
            views.append((view, srgb_to_linear(scene.srgb[view.box].astype(np.float32) / 255)))
        return views

    return glossy_and_matt


@pytest.mark.parametrize("seed", [61002, 61007])
def test_rendered_gloss_is_found(glossy_and_matt, seed):
    (glossy, light), (matt, dull) = glossy_and_matt(seed)
    surface, lighter = glossy.surface, (glossy.lab - matt.lab)[..., 0]
    glare = find_glare(light, glossy.lab, surface)
    strong = surface.band & (lighter > 5)
    assert strong.any()
    assert share(glare, strong, surface) > 0.95
    assert share(find_glare(dull, matt.lab, surface), surface.band, surface) < 0.01
