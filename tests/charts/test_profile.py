"""The height profile beside the surface: both on one height, means and spread as measured."""

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.collections import FillBetweenPolyCollection
from matplotlib.colors import to_rgb

from sagglab.charts.alt import alt_text
from sagglab.charts.profile import height_profile_chart
from sagglab.charts.swatches import OUTSIDE
from sagglab.colour import lab_to_srgb
from sagglab.columns import HEIGHT_STEPS
from sagglab.errors import ModelError, SurfaceError
from sagglab.photo.height_profile import height_profile, profile_table
from sagglab.photo.surface import BAND_DEGREES
from sagglab.photo.unrolled import SurfaceMap


def laid_out(columns=150, mm=0.5):
    """A pot that gets lighter from L* 20 at its foot to 60 at its rim, 5 lighter on the right; 200 rows."""
    height = 1 - (np.arange(200) + 0.5) / 200
    lab = np.empty((200, columns, 3))
    lab[..., 0] = 20 + 40 * height[:, None]
    lab[:, columns // 2 :, 0] += 5
    lab[..., 1], lab[..., 2] = 4 + 8 * height[:, None], 20 - 12 * height[:, None]
    degrees = np.arange(columns) - columns / 2 + 0.5
    return SurfaceMap(lab, np.ones(lab.shape[:2]), degrees, height, np.full(200, 50.0), np.full(200, mm))


def panels(ax):
    """Give the other panels: surface, mean colour, a* and b*."""
    return [
        other for other in ax.figure.axes if other is not ax and other.get_shared_y_axes().joined(other, ax)
    ]


def test_profile_stands_beside_the_surface_on_one_height():
    ax = height_profile_chart(laid_out())
    surface, strip, others = panels(ax)
    ax.figure.canvas.draw()
    for panel in (surface, strip, others):
        assert panel.get_ylim() == ax.get_ylim() == (0, 10)
        assert (panel.bbox.y0, panel.bbox.y1) == pytest.approx((ax.bbox.y0, ax.bbox.y1))
    assert surface.bbox.x1 < strip.bbox.x0 < strip.bbox.x1 < ax.bbox.x0 < ax.bbox.x1 < others.bbox.x0
    assert surface.get_ylabel() == "height, from foot to rim [cm]"
    pixels = surface.images[0].get_array()
    # The rim is on top.
    np.testing.assert_allclose(pixels[0, 0, :3], lab_to_srgb([59.9, 11.98, 8.03])[0], atol=1e-3)


def test_means_are_those_that_are_measured():
    surface = laid_out()
    ax = height_profile_chart(surface)
    expected = profile_table(surface, 37.0)
    (line,) = ax.lines
    np.testing.assert_allclose(line.get_xydata(), np.column_stack([expected["L*"], 10 * expected["height"]]))
    lines = {
        line.get_label(): line.get_xdata() for line in panels(ax)[2].lines if len(line.get_xdata()) == 20
    }
    np.testing.assert_allclose(lines["a*"], expected["a*"])
    np.testing.assert_allclose(lines["b*"], expected["b*"])


def test_spread_holds_four_fifths_of_the_surface_at_each_height():
    ax = height_profile_chart(laid_out())
    (band,) = (part for part in ax.collections if isinstance(part, FillBetweenPolyCollection))
    edges = band.get_paths()[0].vertices
    # At the step around 52.5 % L* goes from 40 to 42, on the right from 45 to 47: a tenth of
    # all is a fifth of each half, and ends between its second row and its third.
    here = edges[np.isclose(edges[:, 1], 5.25)]
    assert here[:, 0].min() == pytest.approx(40.4, abs=0.11)
    assert here[:, 0].max() == pytest.approx(46.6, abs=0.11)


def test_mean_colours_stand_at_their_height():
    surface = laid_out()
    strip = panels(height_profile_chart(surface))[1]
    expected = profile_table(surface, 37.0)
    assert len(strip.patches) == 20
    for patch, row in zip(strip.patches, expected.itertuples(index=False), strict=True):
        box = patch.get_bbox()
        assert (box.y0, box.y1) == pytest.approx((10 * row[0] - 0.25, 10 * row[0] + 0.25))
        np.testing.assert_allclose(patch.get_facecolor()[:3], lab_to_srgb(np.array(row[1:]))[0])


def test_the_band_that_is_averaged_is_marked():
    ax = height_profile_chart(laid_out(), band_degrees=20)
    surface = panels(ax)[0]
    assert [line.get_xdata()[0] for line in surface.lines] == [-20, 20]
    assert "averaged between the lines" in surface.get_xlabel()
    np.testing.assert_allclose(ax.lines[0].get_xdata(), profile_table(laid_out(), 20)["L*"])


def test_of_a_whole_pot_all_is_averaged():
    whole = laid_out(360)
    ax = height_profile_chart(whole)
    surface = panels(ax)[0]
    assert not surface.lines
    assert surface.images[0].get_extent()[:2] == [-180, 180]
    np.testing.assert_allclose(ax.lines[0].get_xdata(), profile_table(whole, 180)["L*"])
    assert [label.get_text() for label in surface.get_xticklabels()] == [
        "−180°",
        "−90°",
        "0°",
        "+90°",
        "+180°",
    ]


def test_profile_of_a_view_is_that_of_the_table():
    surface = laid_out()
    row = height_profile(surface, BAND_DEGREES)
    expected = [row[f"L* at {height:g} % height"] for height in HEIGHT_STEPS]
    np.testing.assert_allclose(height_profile_chart(surface).lines[0].get_xdata(), expected)


def test_lines_are_named_in_their_colour():
    others = panels(height_profile_chart(laid_out()))[2]
    inks = {text.get_text(): text.get_color() for text in others.texts}
    assert set(inks) == {"a*", "b*"}
    lines = {line.get_label(): line.get_color() for line in others.lines}
    assert all(to_rgb(inks[name]) == to_rgb(lines[name]) for name in inks)


def test_heights_where_nothing_was_measured_are_gaps():
    surface = laid_out()
    lab, area = surface.lab.copy(), surface.area.copy()
    lab[60:100], area[60:100] = np.nan, 0.0
    ax = height_profile_chart(replace(surface, lab=lab, area=area))
    assert np.isnan(ax.lines[0].get_xdata()).sum() == 4
    assert len(panels(ax)[1].patches) == 16


def test_a_colour_beyond_the_display_has_a_corner():
    surface = laid_out()
    assert OUTSIDE not in panels(height_profile_chart(surface))[0].get_xlabel().replace("\n", " ")
    lab = surface.lab.copy()
    lab[:20, :, 1] = 120
    surface_panel, strip, _ = panels(height_profile_chart(replace(surface, lab=lab)))
    assert OUTSIDE in surface_panel.get_xlabel().replace("\n", " ")
    assert sorted(len(patch.get_path().vertices) for patch in strip.patches) == [5] * 18 + [6] * 2


def test_without_a_scale_the_height_is_in_percent():
    surface = laid_out(mm=np.nan)
    ax = height_profile_chart(replace(surface, radius_mm=surface.radius_mm * np.nan))
    assert ax.get_ylim() == (0, 100)
    assert panels(ax)[0].get_ylabel().endswith("[%]")
    assert "at 2.5 % of height" in alt_text(ax)


@pytest.mark.parametrize("laid", ["constrained", None])
def test_axes_that_are_given_share_their_place(laid):
    figure, grid = plt.subplots(1, 2, figsize=(14, 4), layout=laid)
    figure.canvas.draw()
    place = grid[1].get_position()
    assert height_profile_chart(laid_out(), ax=grid[1]) is grid[1]
    assert len(figure.axes) == 5
    figure.canvas.draw()
    for panel in panels(grid[1]):
        assert panel.get_position().x0 > grid[0].get_position().x1
    if laid is None:
        assert grid[1].get_position().x1 < place.x1


def test_axes_placed_by_hand_share_their_place():
    ax = plt.figure().add_axes((0.2, 0.3, 0.6, 0.5))
    height_profile_chart(laid_out(), ax=ax)
    around = [panel.get_position() for panel in (ax, *panels(ax))]
    assert min(box.x0 for box in around) == pytest.approx(0.2)
    assert max(box.x1 for box in around) == pytest.approx(0.8)


def test_words_hold_the_numbers():
    said = alt_text(height_profile_chart(laid_out()))
    table = profile_table(laid_out(), 37.0)
    assert f"darkest with L* {table['L*'].min():.1f} at 0.25 cm" in said
    assert f"lightest with L* {table['L*'].max():.1f} at 9.75 cm" in said


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(ModelError) as caught:
        height_profile_chart(laid_out().lab)
    assert str(caught.value) == (
        "height_profile_chart: it takes an unrolled surface, not ndarray. Give it measure_photo(…).side.map."
    )
    with pytest.raises(SurfaceError, match="a band of 0° holds nothing"):
        height_profile_chart(laid_out(), band_degrees=0)
    surface = laid_out()
    blank = replace(surface, lab=surface.lab * np.nan, area=surface.area * 0)
    with pytest.raises(SurfaceError, match="nothing was measured within 37°"):
        height_profile_chart(blank)
