"""The chart of doses: what was drawn is what the curve and the pots say, and its words can be read."""

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import FillBetweenPolyCollection, PathCollection

from sagglab.charts import dose_chart
from sagglab.charts.alt import alt_text
from sagglab.charts.dots import CORNERED, OUTSIDE, UNMEASURED
from sagglab.charts.look import INK, QUIET, narrow
from sagglab.colour import lab_to_srgb
from sagglab.errors import ModelError
from sagglab.model.dose import compare_doses
from sagglab.model.shapes import EACH, SHAPES
from sagglab.units import both_scales

AMOUNTS = (0.0, 1, 2, 4, 6, 8)


@pytest.fixture(scope="module")
def doses(pots):
    return compare_doses(pots, "sugar", factors=["clay", "peak_C"])


def levelling(pots, effect):
    """Give the demo's pots six amounts of sugar and another truth."""
    rng = np.random.default_rng(5)
    sugar = pd.Series(np.tile(AMOUNTS, 6), index=pots.index)
    level = np.repeat(rng.normal(0, 2, 6), 6)
    return pots.assign(**{"sugar [g]": sugar, "L*": 45 + effect(sugar) + level + rng.normal(0, 1, 36)})


def dots(ax):
    return [part for part in ax.collections if isinstance(part, PathCollection)]


def assert_whole(ax):
    """Check that the title and the labels are inside the figure."""
    ax.figure.canvas.draw()
    for part in (ax._left_title, ax.xaxis.label, ax.yaxis.label):
        box = part.get_window_extent()
        assert ax.figure.bbox.padded(0.5).contains(*box.min)
        assert ax.figure.bbox.padded(0.5).contains(*box.max)


def curve_of(doses, shape):
    return doses.curve[doses.curve["shape"] == shape]


def test_best_curve_is_drawn_thick_with_its_band(doses):
    ax = dose_chart(doses)
    curve = curve_of(doses, doses.best)
    thick = [line for line in ax.lines if line.get_linewidth() == 2.0]
    assert len(thick) == 1
    np.testing.assert_allclose(thick[0].get_xydata(), curve[["amount", "effect"]])
    assert thick[0].get_color() == INK
    (band,) = (part for part in ax.collections if isinstance(part, FillBetweenPolyCollection))
    edges = band.get_paths()[0].vertices
    assert edges[:, 1].min() == pytest.approx(curve["low"].min())
    assert edges[:, 1].max() == pytest.approx(max(curve["high"].max(), 0))


def test_other_shapes_are_thin_and_every_shape_is_named(doses, texts, assert_readable):
    ax = dose_chart(doses)
    thin = [line for line in ax.lines if line.get_linewidth() == 0.9]
    assert len(thin) == 4
    assert {line.get_color() for line in thin} == {QUIET}
    said = texts(ax)
    assert set(said) == {f"{shape}, preferred" if shape == doses.best else shape for shape in SHAPES}
    assert_readable(ax)


def test_pots_are_in_their_colours_beside_the_curve(doses, pots):
    ax = dose_chart(doses)
    drawn = np.concatenate([part.get_offsets() for part in dots(ax)])
    assert len(drawn) == 36
    np.testing.assert_allclose(np.sort(drawn[:, 1]), np.sort(doses.points["effect"]))
    colours = np.concatenate([part.get_facecolors()[:, :3] for part in dots(ax)])
    expected = lab_to_srgb(pots[["L*", "a*", "b*"]].to_numpy(dtype=float))[0]
    np.testing.assert_allclose(colours[np.lexsort(colours.T)], expected[np.lexsort(expected.T)])
    # Side by side, and yet nearer to their own amount than to any other.
    apart = np.abs(drawn[:, :1] - np.unique(doses.points["amount"]))
    assert apart.min(axis=1).max() < 0.15


def test_axes_say_units_words_and_what_was_taken_out(doses, pots):
    ax = dose_chart(doses)
    assert ax.get_ylabel() == "difference in L* from no sugar\n← darker          lighter →"
    assert ax.get_xlabel() == (
        "sugar, g\ndots: pots in their measured colour,\n"
        "with each firing's own level and the other factors taken out"
    )
    assert [tick.get_text() for tick in ax.get_xticklabels()] == ["0", "2", "4"]


def test_an_amount_of_whole_firings_keeps_their_levels(pots, assert_readable):
    doses = compare_doses(pots, "peak_C", factors=["sugar"])
    ax = dose_chart(doses)
    assert "with the level of all firings and the other factors taken out" in ax.get_xlabel()
    assert ax.get_ylabel().startswith(f"difference in L* from {both_scales(doses.reference)}")
    assert ax.get_xlabel().startswith("peak, °C, and below it °F\n")
    for tick, words in zip(ax.get_xticks(), ax.get_xticklabels(), strict=True):
        assert words.get_text() == f"{tick:.4g}\n{tick * 1.8 + 32:.0f}"
    assert f"{both_scales(doses.reference)} to {both_scales(doses.amount.high)}" in alt_text(ax)
    assert all(doses.reference <= tick <= doses.amount.high for tick in ax.get_xticks())
    assert_readable(ax)


@pytest.mark.parametrize(
    "effect",
    [
        lambda sugar: -14 * (1 - np.exp(-sugar / 1.5)),
        lambda sugar: 8.0 * (sugar > 0),
        lambda sugar: 0 * sugar,
        lambda sugar: sugar.map(dict(zip(AMOUNTS, [0, 6, -4, 7, -3, 3], strict=True))),
    ],
    ids=["saturating", "with or without", "none", "each its own"],
)
def test_every_kind_of_best_shape_can_be_read(pots, effect, assert_readable):
    results = levelling(pots, effect)
    ax = dose_chart(compare_doses(results, "sugar"))
    assert_readable(ax)
    assert_whole(ax)


def test_each_dose_its_own_shows_its_intervals(pots):
    results = levelling(pots, lambda sugar: sugar.map(dict(zip(AMOUNTS, [0, 6, -4, 7, -3, 3], strict=True))))
    doses = compare_doses(results, "sugar")
    assert doses.best == EACH
    ax = dose_chart(replace(doses, points=doses.points.drop(columns=["L*", "a*", "b*"])))
    spans = np.array([path.vertices[:, 1] for part in ax.collections for path in part.get_paths()])
    np.testing.assert_allclose(np.sort(spans, axis=1), curve_of(doses, EACH)[["low", "high"]])


def test_a_colour_that_the_display_cannot_show_has_a_corner(pots):
    results = pots.assign(**{"a*": pots["a*"].where(pots["pot"] != "p04", 110.0)})
    ax = dose_chart(compare_doses(results, "sugar"))
    cornered = [part for part in dots(ax) if len(part.get_paths()[0].vertices) == len(CORNERED.vertices)]
    assert [len(part.get_offsets()) for part in cornered] == [1]
    assert ax.get_xlabel().endswith(f"\n{OUTSIDE}")


def test_a_pot_without_a_colour_is_hollow(pots):
    results = pots.assign(**{"a*": pots["a*"].where(pots["pot"] != "p04")})
    ax = dose_chart(compare_doses(results, "sugar"))
    hollow = [part for part in dots(ax) if not len(part.get_facecolors())]
    assert [len(part.get_offsets()) for part in hollow] == [1]
    assert sum(len(part.get_offsets()) for part in dots(ax)) == 36
    assert ax.get_xlabel().endswith(f"\n{UNMEASURED}")


def test_its_words_tell_the_preferred_shape_and_its_band(doses, pots):
    words = alt_text(dose_chart(doses))
    last = curve_of(doses, doses.best).iloc[-1]
    assert words.startswith("Chart of L* against sugar, 0 g to 4 g: 6 shapes as lines, and 36 pots as dots")
    assert f"Preferred is '{doses.best}', by which pots with 4 g are {-last['effect']:.1f} L* darker" in words
    assert f"(95 % band from {-last['low']:.1f} L* darker to {-last['high']:.1f} L* darker)" in words
    without = levelling(pots, lambda sugar: 0 * sugar)
    assert "do not show that sugar makes a difference" in alt_text(
        dose_chart(compare_doses(without, "sugar"))
    )


def test_axes_that_are_given_are_used(doses):
    _, ax = plt.subplots()
    assert dose_chart(doses, ax=ax) is ax


def test_without_colours_there_are_no_dots(pots):
    ax = dose_chart(compare_doses(pots.drop(columns=["a*", "b*"]), "sugar"))
    assert not dots(ax)
    assert ax.get_xlabel() == "sugar, g"


def test_dots_of_neighbouring_doses_keep_apart(pots):
    amounts = np.array([0.0, 1, 2, 4, 8, 16])
    results = levelling(pots, lambda sugar: -sugar)
    results["sugar [g]"] = np.tile(amounts, 6)
    ax = dose_chart(compare_doses(results, "sugar"))
    drawn = np.concatenate([part.get_offsets() for part in dots(ax)])[:, 0]
    assert np.abs(drawn[:, None] - amounts).min(axis=1).max() <= 0.25
    # Not even the edges touch: a dot is as wide as the root of its size, in points.
    pixels = np.sort(ax.transData.transform(np.column_stack([drawn, 0 * drawn]))[:, 0])
    none, one = pixels[:6], pixels[6:12]
    assert one.min() - none.max() > np.sqrt(dots(ax)[0].get_sizes()[0]) * ax.figure.dpi / 72


def test_long_names_are_wrapped(pots):
    outcome = "lightness of the lower half of the pot, seen from the front in the cloudy window"
    amount = "seaweed soaked overnight and dried under the roof of the shed [g]"
    results = pots.rename(columns={"sugar [g]": amount}).assign(**{outcome: pots["L*"]})
    ax = dose_chart(compare_doses(results, amount, outcome))
    assert_whole(ax)
    for axis, side in ((ax.yaxis, "height"), (ax.xaxis, "width")):
        assert getattr(axis.label.get_window_extent(), side) < getattr(ax.bbox, side)


def test_what_is_no_doses_is_refused(effects):
    with pytest.raises(ModelError) as caught:
        dose_chart(effects)
    assert str(caught.value) == (
        "dose_chart: it takes the result of compare_doses, not Effects. Give it to effect_chart."
    )


def test_narrow_it_fits_a_phone_with_all_its_words(pots):
    with narrow():
        ax = dose_chart(compare_doses(pots, "sugar"))
    figure = ax.figure
    figure.draw_without_rendering()
    assert figure.get_figwidth() < 4.5
    for text in (ax.xaxis.label, ax.yaxis.label, *ax.get_xticklabels()):
        box = text.get_window_extent()
        assert figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1
    assert dose_chart(compare_doses(pots, "sugar")).figure.get_figwidth() > 7
