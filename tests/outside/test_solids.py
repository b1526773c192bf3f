"""Areas, heights and diameters of silhouettes against the geometry of solids.

The side of a cylinder is 2πrh, that of a frustum of a cone π(r₁ + r₂)s with s its slant height, the surface
of a sphere 4πr² (Archimedes, On the Sphere and Cylinder I, 13, 16 and 33); the formulas are from memory.
"""

import numpy as np
import pytest
from skimage.measure import find_contours

from sagglab.errors import Problems
from sagglab.photo.form import find_form
from sagglab.photo.outline import Outline

RADII = (60, 140, 300)
CM_PER_PX = 0.03

#: Radius at shares of the height, height and area; for a greatest radius r.
SOLIDS = {
    "cylinder": (lambda t, r: np.full_like(t, r), lambda r: 2.4 * r, lambda r: 2 * np.pi * r * 2.4 * r),
    "cone": (
        lambda t, r: r * (0.4 + 0.6 * t),
        lambda r: 2 * r,
        lambda r: np.pi * (r + 0.4 * r) * np.hypot(2 * r, 0.6 * r),
    ),
    "sphere": (
        lambda t, r: r * np.sqrt(np.clip(1 - (2 * t - 1) ** 2, 0, None)),
        lambda r: 2 * r,
        lambda r: 4 * np.pi * r**2,
    ),
}


def polygon(name, r, tilt):
    radius, height, _ = SOLIDS[name]
    # Evenly by the angle from the middle, so that the ends of a sphere are as finely drawn as its belly.
    t = (1 - np.cos(np.linspace(0, np.pi, 1001))) / 2
    lean = np.radians(tilt)
    along = t[:, None] * height(r) * [np.sin(lean), -np.cos(lean)] + [400.3, 900.7]
    aside = radius(t, r)[:, None] * [np.cos(lean), np.sin(lean)]
    return np.vstack([along - aside, (along + aside)[::-1]])


def silhouette(name, r):
    """Trace a picture of the solid, each pixel as dark as it is covered."""
    radius, height, _ = SOLIDS[name]
    tall, parts = height(r), 4
    y = (np.arange(parts * (int(tall) + 8)) + 0.5) / parts - 4.4
    x = (np.arange(parts * (2 * r + 8)) + 0.5) / parts - r - 4.2
    t = 1 - y / tall
    inside = (t > 0) & (t < 1)
    fine = inside[:, None] & (np.abs(x) < radius(np.clip(t, 0, 1), r)[:, None])
    cover = fine.reshape(len(y) // parts, parts, len(x) // parts, parts).mean(axis=(1, 3))
    return max(find_contours(cover, 0.5), key=len)[:-1, ::-1]


def check(ring, name, r):
    form = find_form(Outline((ring,), np.nan, Problems()), CM_PER_PX)
    _, height, area = SOLIDS[name]
    assert form.area_cm2 == pytest.approx(area(r) * CM_PER_PX**2, rel=0.005)
    assert form.height_cm == pytest.approx(height(r) * CM_PER_PX, rel=0.005)
    assert form.diameter_cm == pytest.approx(2 * r * CM_PER_PX, rel=0.005)


@pytest.mark.parametrize("r", RADII)
@pytest.mark.parametrize("tilt", [0, 3, -7])
@pytest.mark.parametrize("name", SOLIDS)
def test_drawn_outlines(name, r, tilt):
    check(polygon(name, r, tilt), name, r)


@pytest.mark.parametrize("r", RADII)
@pytest.mark.parametrize("name", SOLIDS)
def test_outlines_traced_in_a_picture(name, r):
    check(silhouette(name, r), name, r)
