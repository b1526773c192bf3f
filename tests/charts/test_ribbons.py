"""Ribbons of palettes: widths are shares, in the palette's colours, in the order of the outcome."""

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

from sagglab.charts.alt import alt_text
from sagglab.charts.ribbons import MOST, palette_ribbons
from sagglab.charts.swatches import OUTSIDE
from sagglab.colour import lab_to_srgb
from sagglab.errors import ModelError, UnknownNameError
from sagglab.photo.palette import Palette


def table(number, colours=3, seed=6):
    """Give so many pots with palettes of so many colours."""
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(number):
        lab = rng.uniform([20, 2, 3], [80, 25, 30], (colours, 3))
        share = np.sort(rng.dirichlet(np.full(colours, 3.0)))[::-1]
        lightness = float(share @ lab[:, 0])
        rows.append(
            {"pot": f"p{k + 1}", "L*": lightness, "peak_C": 730.0 + k} | Palette(lab, share).to_dict()
        )
    return pd.DataFrame(rows)


def pieces(ax):
    """Give each piece: where it begins, how long it is, its row, its colour."""
    boxes = [patch.get_bbox() for patch in ax.patches]
    return (
        np.array([[box.x0, box.width, round((box.y0 + box.y1) / 2)] for box in boxes]),
        np.array([patch.get_facecolor()[:3] for patch in ax.patches]),
    )


def test_pieces_are_as_wide_as_their_shares_from_dark_to_light():
    results = table(7)
    places, colours = pieces(palette_ribbons(results))
    assert len(places) == 21
    for row, (_, pot) in enumerate(results.sort_values("L*").iterrows()):
        lab = np.array([[pot[f"colour {k} {axis}"] for axis in ("L*", "a*", "b*")] for k in (1, 2, 3)])
        share = np.array([pot[f"colour {k} share"] for k in (1, 2, 3)])
        order = np.argsort(lab[:, 0])
        here = places[:, 2] == row
        np.testing.assert_allclose(places[here, 1], share[order])
        np.testing.assert_allclose(places[here, 0], np.cumsum(share[order]) - share[order], atol=1e-12)
        np.testing.assert_allclose(colours[here], lab_to_srgb(lab[order])[0])


def test_ribbons_are_sorted_by_an_outcome_which_stands_beside_them():
    results = table(5)
    ax = palette_ribbons(results, "peak_C")
    words = [text.get_text() for text in ax.texts]
    assert words[::2] == ["p1", "p2", "p3", "p4", "p5"]
    assert words[1::2] == [f"{heat} °C ({heat * 1.8 + 32:.0f} °F)" for heat in range(730, 735)]
    assert "at the right: peak, from lower on top to higher" in ax.get_xlabel()
    assert ax.get_title(loc="left") == "The palettes of 5 pots, sorted by peak"
    assert [label.get_text() for label in ax.get_xticklabels()] == ["0", "50", "100 %"]


@pytest.mark.parametrize(("number", "columns"), [(1, 1), (36, 1), (120, 2)])
def test_any_number_of_pots_holds(number, columns, assert_no_text_over_another):
    results = table(number).assign(pot=[f"workshop pot {k} of the second day" for k in range(number)])
    ax = palette_ribbons(results)
    places, _ = pieces(ax)
    assert len(places) == 3 * number
    # So many ribbons begin side by side, and no column is longer than what is held to be the most.
    first = places[np.isclose(places[:, 0] % (ax.get_xticks()[3] if columns > 1 else 9), 0, atol=1e-9)]
    assert len(set(first[:, 0].round(6))) == columns
    assert places[:, 2].max() + 1 == -(-number // columns) <= MOST
    assert_no_text_over_another(ax)


@pytest.fixture
def assert_no_text_over_another():
    def check(ax):
        ax.figure.canvas.draw()
        boxes = [text.get_window_extent() for text in ax.texts]
        corners = np.array([[box.x0, box.y0, box.x1, box.y1] for box in boxes])
        low, high = corners[:, :2], corners[:, 2:]
        shared = np.minimum(high[:, None], high[None]) - np.maximum(low[:, None], low[None])
        over = (shared > 0.5).all(axis=-1)
        np.fill_diagonal(over, False)
        assert not over.any()
        assert all(ax.figure.bbox.padded(0.5).contains(*corner) for corner in (*low, *high))

    return check


def test_in_small_axes_type_shrinks_with_the_rows(assert_no_text_over_another):
    _, grid = plt.subplots(2, 2, figsize=(9, 7), layout="constrained")
    assert palette_ribbons(table(36), ax=grid[0, 0]) is grid[0, 0]
    assert_no_text_over_another(grid[0, 0])


def test_a_colour_beyond_the_display_has_its_corner_cut():
    results = table(4)
    assert OUTSIDE not in palette_ribbons(results).get_xlabel()
    results.loc[2, "colour 2 a*"] = 120.0
    ax = palette_ribbons(results)
    assert OUTSIDE in ax.get_xlabel()
    # A rectangle repeats its first corner; a cut one has one corner more.
    assert sorted(len(patch.get_path().vertices) for patch in ax.patches) == [5] * 11 + [6]


def test_pots_that_lack_the_outcome_or_a_palette_are_left_out_and_told():
    results = table(6)
    results.loc[1, "L*"] = np.nan
    results.loc[4, [name for name in results if name.startswith("colour")]] = np.nan
    ax = palette_ribbons(results)
    assert len(ax.patches) == 12
    assert "2 pots left out: p2 (no L*); p5 (no colour 1 L*" in ax.get_xlabel().replace("\n", " ")
    assert "2 pots left out" in alt_text(ax)


def test_words_hold_the_numbers():
    results = table(9)
    said = alt_text(palette_ribbons(results))
    low, high = results.loc[results["L*"].idxmin()], results.loc[results["L*"].idxmax()]
    assert f"from {low['L*']:.1f} ({low['pot']}) to {high['L*']:.1f} ({high['pot']})" in said
    # The palette's first colour is that which covers most.
    share, lightness = round(100 * low["colour 1 share"]), low["colour 1 L*"]
    assert f"{share} % of {low['pot']} is about L* {lightness:.0f}, a* {low['colour 1 a*']:.0f}" in said


def test_what_cannot_be_drawn_is_refused():
    results = table(3)
    with pytest.raises(UnknownNameError) as caught:
        palette_ribbons(results.drop(columns="colour 1 share"))
    assert str(caught.value) == (
        "palette: the table has no columns colour 1 L* to colour 1 share. Give the results of gather_results."
    )
    with pytest.raises(UnknownNameError, match="glitter"):
        palette_ribbons(results, "glitter")
    with pytest.raises(ModelError, match="'pot': it is not a column of numbers"):
        palette_ribbons(results, "pot")
    with pytest.raises(ModelError, match="no pot has all of"):
        palette_ribbons(results[:0])
