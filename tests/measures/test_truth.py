"""What is measured of the demo's surfaces against what they are: shares, height profile, palette."""

import importlib
import sys

import numpy as np
import pytest

from sagglab.book import open_book
from sagglab.colour import delta_e_2000
from sagglab.columns import HEIGHT_STEPS
from sagglab.measures import measure_photos
from sagglab.photo.palette import palette

AXES = ("L*", "a*", "b*")
#: A colour that covers so much more than the next is the main one beyond doubt.
LEADING = 0.1


@pytest.fixture(scope="module")
def surfaces(demo):
    """The generator's modules of the book and of its surfaces."""
    sys.path.insert(0, str(demo))
    try:
        return importlib.import_module("generator.book"), importlib.import_module("generator.surface")
    finally:
        sys.path.remove(str(demo))


@pytest.fixture(scope="module")
def views(small_book, surfaces):
    """Rows of the measures, each with L*, a*, b* of the true band, (heights, columns, 3), and its areas."""
    book, surface = surfaces
    measures = measure_photos(open_book(small_book), jobs=1)
    found = []
    for row in measures[measures["pot"] != ""].to_dict("records"):
        true = book.surface(row["pot"])
        aside = (surface.angles() - surface.turned(row["view"]) + 180) % 360 - 180
        band = np.abs(aside) <= surface.BAND_DEGREES
        area = np.repeat(true.area[:, None], band.sum(), axis=1)
        found.append((row, true.lab[:, band].astype(float), area))
    assert len(found) == 5
    return found


def test_dark_share_is_near_the_truth(views):
    off = [row["dark share"] - np.average(lab[..., 0] < 30, weights=area) for row, lab, area in views]
    assert np.abs(off).max() <= 0.03


def test_height_profile_is_near_the_truth(views):
    for row, lab, area in views:
        step = np.arange(len(lab)) * len(HEIGHT_STEPS) // len(lab)
        true = [np.average(lab[step == k, :, 0], weights=area[step == k]) for k in range(len(HEIGHT_STEPS))]
        found = np.array([row[f"L* at {at:g} % height"] for at in HEIGHT_STEPS])
        assert np.sqrt(np.mean((found - true) ** 2)) <= 2, row["photo"]


def test_main_colour_of_the_palette_is_that_of_the_truth(views):
    led = 0
    for row, lab, area in views:
        true = palette(lab.reshape(-1, 3), area.ravel())
        leads = len(true.share) < 2 or true.share[0] - true.share[1] >= LEADING
        # Of two colours that cover as much, either may come out first.
        among = range(1, 2 if leads else 4)
        colours = np.array([[row[f"colour {number} {axis}"] for axis in AXES] for number in among])
        assert delta_e_2000(colours, np.broadcast_to(true.lab[0], colours.shape)).min() <= 3, row["photo"]
        led += leads
    assert led >= 2


def test_shares_are_near_the_truth(views):
    for row, lab, area in views:
        chroma, hue = np.hypot(lab[..., 1], lab[..., 2]), np.degrees(np.arctan2(lab[..., 2], lab[..., 1]))
        red = (lab[..., 0] >= 30) & (chroma >= 20) & (hue >= 20) & (hue < 75)
        assert row["red-orange share"] == pytest.approx(np.average(red, weights=area), abs=0.05)
