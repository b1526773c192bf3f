"""The chart of effects: what was drawn is what the table says."""

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb

from sagglab.charts import effect_chart


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
