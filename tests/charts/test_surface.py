"""The chart of an unrolled surface: what is drawn, in which colours, to which scale."""

import matplotlib.pyplot as plt
import numpy as np
import pytest

from sagglab.charts import surface_chart
from sagglab.charts.alt import alt_text
from sagglab.colour import lab_to_srgb
from sagglab.photo.unrolled import SurfaceMap


def laid_out(columns, radius_mm=50.0, step_mm=0.5):
    """Two colours, left and right, and a hole; 200 rows."""
    lab = np.broadcast_to([40.0, 20, 25], (200, columns, 3)).copy()
    lab[:, columns // 2 :] = (25, 2, 3)
    lab[90:110, 10:20] = np.nan
    degrees = np.arange(columns) - columns / 2 + 0.5
    height = 1 - (np.arange(200) + 0.5) / 200
    return SurfaceMap(
        lab, np.ones(lab.shape[:2]), degrees, height, np.full(200, radius_mm), np.full(200, step_mm)
    )


@pytest.mark.parametrize(("columns", "reach", "tick"), [(150, 75, "+30°"), (360, 180, "+60°")])
def test_colours_stand_in_their_place(columns, reach, tick):
    ax = surface_chart(laid_out(columns))
    (picture,) = ax.images
    assert picture.get_extent() == [-reach, reach, 0, 10]
    pixels = picture.get_array()
    np.testing.assert_allclose(pixels[0, 0, :3], lab_to_srgb([40.0, 20, 25])[0], atol=1e-6)
    np.testing.assert_allclose(pixels[0, -1, :3], lab_to_srgb([25.0, 2, 3])[0], atol=1e-6)
    assert (pixels[95, 12:18, 3] == 0).all() and (pixels[0, :, 3] == 1).all()
    assert tick in [label.get_text() for label in ax.get_xticklabels()]
    assert ax.get_ylabel() == "height [cm]"
    assert ax.get_title(loc="left") == "The surface unrolled"
    plt.close(ax.figure)


def test_its_words_tell_the_mean_colour_of_the_whole_and_of_each_third():
    words = alt_text(surface_chart(laid_out(150)))
    assert words.startswith("Unrolled surface of a pot, 150° around, 10.0 cm high,")
    # As much of the one colour as of the other, but for the hole, which is in the middle third.
    assert "whole: L* 32, a* 11, b* 14; lowest third: L* 32, a* 11, b* 14" in words
    assert words.endswith("Of the map 1 % was not measured.")
    dark = laid_out(150)
    dark.lab[:60] = (10, 0, 0)
    assert "top third: L* 12," in alt_text(surface_chart(dark))
    dark.lab[:60] = (10, -7, 0)
    assert "a* −" in alt_text(surface_chart(dark)) and "-" not in alt_text(surface_chart(dark))
    dark.lab[:] = np.nan
    assert alt_text(surface_chart(dark)).endswith("Nothing was measured.")
    plt.close("all")


def test_without_a_scale_the_height_is_in_percent():
    ax = surface_chart(laid_out(150, np.nan, np.nan), plt.figure().add_subplot())
    assert ax.get_ylabel() == "height [%]"
    assert ax.images[0].get_extent()[3] == 100
    plt.close(ax.figure)
