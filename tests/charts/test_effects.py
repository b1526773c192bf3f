"""The chart of effects: what was drawn is what the table says."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb

from sagglab.charts import effect_chart, save_chart
from sagglab.errors import ModelError
from sagglab.model.colours import fit_colour
from sagglab.model.dose import compare_doses
from sagglab.model.effects import fit_effects

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
