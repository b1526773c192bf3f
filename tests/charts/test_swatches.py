"""Swatches: the colour, the place, and the corner that is cut where the display cannot show it."""

import matplotlib.pyplot as plt
import numpy as np
import pytest

from sagglab.charts.swatches import Swatch, swatch
from sagglab.colour import lab_to_srgb

WITHIN, BEYOND = [40.0, 10, 10], [50.0, 110, 90]


def pixels_of(ax):
    """Give a function that reads the colour at a place of the axes, as drawn."""
    ax.figure.canvas.draw()
    drawn = np.asarray(ax.figure.canvas.buffer_rgba())[..., :3] / 255

    def at(x, y):
        column, row = ax.transData.transform((x, y))
        return drawn[drawn.shape[0] - 1 - int(row), int(column)]

    return at


def test_a_swatch_has_its_colour_and_its_place():
    ax = plt.figure().add_subplot()
    assert swatch(ax, 1, 2, 3, 4, WITHIN) is False
    (patch,) = ax.patches
    assert isinstance(patch, Swatch)
    np.testing.assert_allclose(patch.get_facecolor()[:3], lab_to_srgb(WITHIN)[0])
    assert (*patch.get_xy(), patch.get_width(), patch.get_height()) == (1, 2, 3, 4)


@pytest.mark.parametrize("turned", ["neither", "x", "y"])
def test_the_corner_that_is_seen_at_the_right_and_above_is_cut(turned):
    ax = plt.figure().add_subplot()
    assert swatch(ax, 0, 0, 1, 1, BEYOND) is True
    ax.set(
        xlim=(1.1, -0.1) if turned == "x" else (-0.1, 1.1), ylim=(1.1, -0.1) if turned == "y" else (-0.1, 1.1)
    )
    right, top = float(turned != "x"), float(turned != "y")
    at, shown = pixels_of(ax), lab_to_srgb(BEYOND)[0]
    near = 0.015
    for x in (0.0, 1.0):
        for y in (0.0, 1.0):
            seen = at(x + near * (1 - 2 * x), y + near * (1 - 2 * y))
            if (x, y) == (right, top):
                np.testing.assert_allclose(seen, 1)
            else:
                np.testing.assert_allclose(seen, shown, atol=0.01)


@pytest.mark.parametrize("width", [0.01, 0.1, 1.0])
def test_the_cut_can_be_seen_on_a_narrow_one_and_slants_alike(width):
    ax = plt.figure(dpi=100).add_subplot()
    swatch(ax, 0, 0, width, 0.5, BEYOND)
    ax.set(xlim=(0, 1), ylim=(0, 1))
    (patch,) = ax.patches
    corners = patch.get_transform().transform(patch.get_path().vertices)
    across, down = np.abs(corners[3] - corners[2])
    assert down >= 4 * 100 / 72 - 1e-9
    # As far across as down, or all of the width.
    assert across == pytest.approx(min(down, np.ptp(corners[:, 0])))
    assert down <= 9 * 100 / 72 + 1e-9


def test_what_was_not_measured_is_an_empty_square():
    ax = plt.figure().add_subplot()
    assert swatch(ax, 0, 0, 1, 1, [np.nan, 1, 2]) is False
    (patch,) = ax.patches
    assert patch.get_facecolor()[3] == 0
    assert patch.get_edgecolor()[3] == 1


@pytest.mark.parametrize(("lightness", "edged"), [(40.0, False), (97.0, True)])
def test_a_pale_one_is_parted_from_the_paper(lightness, edged):
    ax = plt.figure().add_subplot()
    swatch(ax, 0, 0, 1, 1, [lightness, 0, 0])
    assert bool(ax.patches[0].get_linewidth()) is edged
