"""What the tests of the pot's surface share: outlines of turned forms, and views of rendered pots."""

from types import SimpleNamespace

import numpy as np
import pytest
from skimage.measure import find_contours

from sagglab.colour import srgb_to_xyz, xyz_to_lab
from sagglab.errors import Problems
from sagglab.photo.form import find_form
from sagglab.photo.outline import Outline
from sagglab.photo.surface import find_surface
from sagglab.photo.unrolled import unroll

FORMS = {
    "cylinder": lambda height: np.full_like(height, 140.0),
    "cone": lambda height: 90 + 80 * height,
    "vase": lambda height: 110 + 40 * np.sin(2 * np.pi * (height - 0.1)),
}


def outlined(ring):
    return Outline((np.asarray(ring, dtype=float),), np.nan, Problems())


@pytest.fixture(scope="session")
def turned():
    """Give a function that outlines a form: (x, y) up its left side and down its right."""

    def turned(form, length=420.0, foot=(300.0, 520.0), tilt=0.0, rows=841):
        height = np.linspace(0, 1, rows)
        radius = (FORMS[form] if isinstance(form, str) else form)(height)
        lean = np.radians(tilt)
        along = height[:, None] * length * [np.sin(lean), -np.cos(lean)] + foot
        aside = radius[:, None] * [np.cos(lean), np.sin(lean)]
        return outlined(np.vstack([along - aside, (along + aside)[::-1]]))

    return turned


@pytest.fixture(scope="session")
def measuring():
    """Give a function that lays a picture over a form: the mask and the places of its pixels."""

    def measuring(form, size=(560, 600), pitch=1.0, corner=(0.0, 0.0)):
        x = corner[0] + pitch * np.arange(size[1])
        y = corner[1] + pitch * np.arange(size[0])
        places = np.stack(np.meshgrid(x, y), axis=-1)
        off = places - form.foot
        height = off @ form.upwards / form.length
        radius = np.interp(height, form.heights, form.radius)
        return (np.abs(off @ form.across) < radius) & (height > 0) & (height < 1), places

    return measuring


@pytest.fixture(scope="session")
def view_of():
    """Give a function that reads form, surface and CIELAB of a rendered scene, from its true mask.

    The colours are those of the file, without calibration.
    """

    def view_of(scene, cm_per_px=np.nan):
        ring = max(find_contours(scene.pot.astype(float), 0.5), key=len)[:-1, ::-1]
        form = find_form(outlined(ring), cm_per_px)
        rows, columns = (np.flatnonzero(scene.pot.any(axis=axis)) for axis in (1, 0))
        box = np.s_[rows[0] - 2 : rows[-1] + 3, columns[0] - 2 : columns[-1] + 3]
        y, x = np.mgrid[box]
        surface = find_surface(form, scene.pot[box], np.stack([x, y], axis=-1).astype(float))
        return SimpleNamespace(
            form=form, surface=surface, lab=xyz_to_lab(srgb_to_xyz(scene.srgb[box] / 255.0)), box=box
        )

    return view_of


@pytest.fixture(scope="session")
def unrolled_views(scenes, view_of):
    """Give a function that renders a pot from all around and unrolls each view: its surface, and the maps."""

    def unrolled_views(seed, turns):
        rng = np.random.default_rng(seed)
        surface = scenes.make_surface(rng, scenes.draw_piece(rng))
        maps = []
        for number, turn in enumerate(turns):
            seen = view_of(scenes.render_scene([seed, number], view=turn, surface=surface))
            maps.append(unroll(seen.lab, seen.surface))
        return surface, maps

    return unrolled_views
