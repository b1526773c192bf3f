"""The chart of effects: what was drawn is what the table says."""

from types import SimpleNamespace

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb

from sagglab.charts import effect_chart, save_chart
from sagglab.charts.alt import alt_text
from sagglab.charts.swatches import OUTSIDE, Swatch
from sagglab.colour import AXES, lab_to_srgb
from sagglab.errors import ModelError
from sagglab.model.colours import fit_colour
from sagglab.model.dose import compare_doses
from sagglab.model.effects import fit_effects
from sagglab.units import both_scales

LONG = (
    "copper sulphate pentahydrate dusted twice",
    "iron chloride brushed on while the pot was warm",
    "seaweed soaked overnight and dried under the roof",
    "days of drying in the cold workshop",
)


def points(ax):
    return [line for line in ax.lines if line.get_marker() == "o"]


def test_effects_are_drawn_at_their_estimates(effects):
    ax = effect_chart(effects)
    table = effects.table.set_index("term")
    drawn = [float(point.get_xdata()[0]) for point in points(ax)][::-1]
    assert isinstance(ax, Axes)
    assert len(drawn) == 3
    with_sugar = table.loc[table.index.str.startswith("with"), "estimate"].item()
    assert drawn[0] == pytest.approx(with_sugar)
    clay = table.loc[table.index.str.contains("clay"), "estimate"].item()
    assert drawn[1] == pytest.approx(clay)


def test_interval_of_an_effect_is_drawn(effects):
    ax = effect_chart(effects)
    row = effects.table.set_index("term").filter(regex="^with", axis=0).iloc[0]
    spans = [sorted(line.get_xdata()) for line in ax.lines if len(line.get_xdata()) == 2]
    assert any(np.allclose(span, [row["low"], row["high"]]) for span in spans)


def test_only_clear_effects_are_filled(effects):
    ax = effect_chart(effects)
    labels = [label.get_text() for label in ax.get_yticklabels()]
    filled = [to_rgb(point.get_markerfacecolor()) != (1, 1, 1) for point in points(ax)]
    by_label = dict(zip(labels, filled, strict=True))
    assert by_label[next(label for label in labels if "sugar" in label)]
    assert not by_label[next(label for label in labels if "clay" in label)]


def test_effect_chart_says_what_is_less_and_what_more(effects):
    ax = effect_chart(effects)
    assert "darker" in ax.get_xlabel()
    assert "lighter" in ax.get_xlabel()
    assert "95 %" in ax.get_title(loc="left")


def many(count, outcome="L*"):
    """Effects of so many long-named factors, the last a clay with long-named levels."""
    rng = np.random.default_rng(4)
    names = [f"{LONG[number % 4]}, lot {number} [g]" for number in range(count - 1)]
    table = pd.DataFrame({name: rng.choice([0.0, 1, 2], 180) for name in names})
    table["clay"] = rng.choice(["groggy buff with fine molochite", "smooth white porcelain"], 180)
    table["firing"], table[outcome] = np.repeat(list("abcdef"), 30), 50 + rng.normal(0, 2, 180)
    return fit_effects(table, outcome, factors=[*names, "clay"])


@pytest.mark.parametrize("count", [1, 12, 25])
def test_long_names_are_whole_and_apart_and_leave_the_chart_its_room(count, tmp_path):
    ax = effect_chart(many(count, "lightness of the lower half, seen from the front in the cloudy window"))
    # Warnings are errors, here and where it is saved.
    ax.figure.canvas.draw()
    names = [tick.get_window_extent() for tick in ax.get_yticklabels()]
    assert len(names) == count
    for box in [*names, *(part.get_window_extent() for part in (ax._left_title, ax.xaxis.label))]:
        assert ax.figure.bbox.padded(0.5).contains(*box.min)
        assert ax.figure.bbox.padded(0.5).contains(*box.max)
    assert all(upper.y0 > lower.y1 for lower, upper in zip(names, names[1:], strict=False))
    assert ax.bbox.width > 4 * ax.figure.dpi
    save_chart(ax, tmp_path / "effects.png")


def test_long_names_are_broken_between_words():
    written = [tick.get_text() for tick in effect_chart(many(2)).get_yticklabels()]
    assert written == [
        "clay: smooth white porcelain −\ngroggy buff with fine molochite",
        "with copper sulphate pentahydrate\ndusted twice, lot 0",
    ]


def swatches(ax):
    return [patch for patch in ax.patches if isinstance(patch, Swatch)]


@pytest.mark.parametrize("outcome", ["L*", "a*", "b*"])
def test_swatches_are_the_mean_colour_at_both_ends(pots, outcome):
    effects = fit_effects(pots, outcome, factors=["sugar [g]", "clay", "peak_C"])
    ax = effect_chart(effects)
    rows = effects.table.set_index("term").loc[["peak_C", "clay: smooth white − groggy buff", "with sugar"]]
    expected = []
    for ends in rows[["from", "to"]].to_numpy():
        for end in ends:
            lab = dict(zip(AXES, effects.colour, strict=True)) | {outcome: end}
            expected.append(lab_to_srgb(list(lab.values()))[0])
    np.testing.assert_allclose([patch.get_facecolor()[:3] for patch in swatches(ax)], expected)
    # Each pair on the height of its effect, right of all intervals.
    assert [round(patch.get_center()[1], 6) for patch in swatches(ax)] == [0, 0, 1, 1, 2, 2]
    reach = max(max(line.get_xdata()) for line in ax.lines if len(line.get_xdata()) == 2)
    assert min(patch.get_x() for patch in swatches(ax)) > reach
    said = [text.get_text() for text in ax.texts]
    assert {"without", "with", "groggy buff", "smooth white"} <= set(said)
    low, high = pots["peak_C"].min(), pots["peak_C"].max()
    assert {both_scales(low), both_scales(high)} <= set(said)
    assert f"to the other in {outcome} alone" in ax.get_xlabel()


def test_the_words_of_swatches_lie_over_nothing(effects, assert_readable):
    ax = effect_chart(effects)
    assert_readable(ax)
    ax.figure.canvas.draw()
    patches = [patch.get_window_extent() for patch in swatches(ax)]
    for text in ax.texts:
        if text.get_text():
            assert not any(text.get_window_extent().overlaps(patch) for patch in patches), text.get_text()


def test_other_outcomes_have_no_swatches(pots):
    shares = pots.assign(**{"dark share": np.clip(0.5 - (pots["L*"] - 40) / 100, 0.05, 0.95)})
    for results, outcome in ((shares, "dark share"), (shares.drop(columns=["a*", "b*"]), "L*")):
        ax = effect_chart(fit_effects(results, outcome, factors=["sugar", "clay"]))
        assert not swatches(ax)
        assert "swatches" not in ax.get_xlabel()


def test_a_swatch_that_the_display_cannot_show_is_cut_and_said(pots):
    ax = effect_chart(fit_effects(pots.assign(**{"a*": pots["a*"] + 90}), "a*", factors=["sugar"]))
    assert all(patch.cut for patch in swatches(ax))
    assert ax.get_xlabel().endswith(OUTSIDE)


def test_a_small_chart_keeps_its_intervals_and_leaves_the_swatches(effects):
    ax = effect_chart(effects, plt.subplots(figsize=(4, 3), layout="constrained")[1])
    assert not swatches(ax)
    assert "swatches" not in ax.get_xlabel()


def test_its_words_tell_each_effect_with_its_interval(effects, pots):
    words = alt_text(effect_chart(effects))
    row = effects.table.set_index("term").loc["with sugar"]
    near, far = sorted([-row["low"], -row["high"]])
    assert f"with sugar: {-row['estimate']:.1f} L* darker, interval {near:.1f} to {far:.1f}, sure;" in words
    assert "peak, each 10 °C (18 °F) higher: the data cannot tell, anywhere from" in words
    assert words.endswith("L* of 36 pots in 6 firings.")
    # A share in percentage points, as it is drawn.
    shares = pots.assign(**{"dark share": np.clip(0.5 - (pots["L*"] - 40) / 100, 0.05, 0.95)})
    ax = effect_chart(fit_effects(shares, "dark share", factors=["sugar"]))
    assert f"with sugar: {points(ax)[0].get_xdata()[0]:.1f} percentage points larger" in alt_text(ax)


def test_where_nothing_can_be_told_the_chart_says_so(pots):
    ax = effect_chart(fit_effects(pots[pots["firing"] == "f1"], factors=["peak_C"]))
    assert [text.get_text() for text in ax.texts] == ["the data cannot tell any effect"]
    assert "the data cannot tell any effect. L* of 6 pots in 1 firing" in alt_text(ax)


def test_what_is_no_effects_is_refused(pots):
    colour = fit_colour(pots, factors=["sugar"])
    with pytest.raises(ModelError) as caught:
        effect_chart(colour)
    assert str(caught.value) == (
        "effect_chart: it takes the result of fit_effects, not ColourEffects. "
        "Give one of its outcomes to effect_chart, such as colours.outcomes.effects['L*']."
    )
    assert isinstance(effect_chart(colour.outcomes.effects["L*"]), Axes)
    with pytest.raises(ModelError, match="not Doses. Give it to dose_chart"):
        effect_chart(compare_doses(pots, "sugar"))
    with pytest.raises(ModelError, match=r"not SimpleNamespace. Give effect_chart\(fit_effects\(…\)\)"):
        effect_chart(SimpleNamespace())


def test_an_amount_that_alone_shows_is_drawn_by_its_step():
    # The dark pots are those with much of it; between pots with and without nothing is clear.
    rng = np.random.default_rng(4)
    amounts = np.tile([0.0, 1.0, 2.0, 8.0], 6)
    light = np.tile([40.0, 44.0, 43.0, 34.0], 6) + rng.normal(0, 0.6, 24)
    pots = pd.DataFrame({"firing": np.repeat(list("abcdef"), 4), "sugar [g]": amounts, "L*": light})
    effects = fit_effects(pots, factors=["sugar"])
    table = effects.table.set_index("term")
    assert table.loc["sugar", "high"] < 0
    assert table.loc["with sugar", "low"] < 0 < table.loc["with sugar", "high"]
    ax = effect_chart(effects)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["sugar, each gram"]
    assert points(ax)[0].get_xdata()[0] == pytest.approx(table.loc["sugar", "estimate"])
