"""Charts of plans: how many firings, and how alike the terms are."""

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle

from sagglab.charts import likeness_chart, power_chart
from sagglab.errors import ModelError
from sagglab.plan.batch import Plan
from sagglab.plan.factors import Factor
from sagglab.plan.power import firings_needed
from sagglab.plan.precision import precision
from sagglab.plan.terms import read_model


def told(names=("peak", "sugar", "clay"), alias=False):
    peak, sugar = Factor(names[0], [700, 800], "degC", per="firing"), Factor(names[1], [0, 4], "g")
    clay = Factor(names[2], ["buff", "white"])
    codes = np.array(
        [[(-1) ** f, s, s if alias else c] for f in range(6) for s, c in [(-1, -1), (-1, 1), (1, -1), (1, 1)]]
    )
    coded = pd.DataFrame(codes, columns=[peak.name, sugar.name, clay.name])
    runs = pd.DataFrame({"firing": np.repeat([f"f{f}" for f in range(6)], 4)})
    for factor in (peak, sugar, clay):
        runs[factor.heading] = factor.decode(coded[factor.name])
    factors = (peak, sugar, clay)
    return precision(Plan(factors, read_model(factors, "main"), runs, coded, "made", 1, ()), 3, 4)


@pytest.fixture(scope="module")
def needed():
    return firings_needed()


def curves(ax):
    return [line for line in ax.lines if len(line.get_xdata()) > 2]


def test_a_line_for_each_kind_and_number_of_pots(needed):
    ax = power_chart(needed)
    assert len(curves(ax)) == 8
    table = needed.table[needed.table["pots per firing"] == 10]
    drawn = [line.get_ydata() for line in curves(ax)]
    np.testing.assert_allclose(drawn[3], 100 * table["pot-level"])
    np.testing.assert_allclose(drawn[7], 100 * table["firing-level"])


@pytest.mark.parametrize("pots", [[6], [4, 6, 8, 10], [5, 12]])
@pytest.mark.parametrize("firings", [range(2, 9), range(3, 21), [6]])
def test_words_are_clear_of_one_another(pots, firings, assert_readable):
    assert_readable(power_chart(firings_needed(pots=pots, firings=firings)))


def test_kinds_part_in_grey(needed):
    lines = curves(power_chart(needed))
    grey = [np.dot(to_rgb(line.get_color()), [0.299, 0.587, 0.114]) for line in lines]
    assert {line.get_linestyle() for line in lines} == {"-", "--"}
    assert abs(grey[0] - grey[-1]) > 0.1


def test_the_wanted_share_is_drawn_and_named(needed, texts):
    ax = power_chart(needed)
    assert "wanted: 80 of 100" in texts(ax)
    assert any(list(line.get_ydata()) == [80, 80] for line in ax.lines)


def test_what_is_not_known_is_not_drawn():
    ax = power_chart(firings_needed(pots=[6], firings=range(2, 6)))
    assert [len(line.get_xdata()) for line in curves(ax)] == [4, 3]


def test_it_draws_into_given_axes(needed):
    _, axes = plt.subplots(1, 2)
    assert power_chart(needed, axes[1]) is axes[1]
    result = told()
    assert likeness_chart(result, axes[0]) is axes[0]


def test_other_results_are_refused(needed):
    with pytest.raises(ModelError, match="it takes the result of firings_needed, not Precision"):
        power_chart(told())
    with pytest.raises(ModelError, match="it takes the result of precision, not FiringsNeeded"):
        likeness_chart(needed)


def test_a_field_for_each_two_terms():
    ax = likeness_chart(told())
    fields = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    assert len(fields) == 6 * 5 // 2
    said = {text.get_text() for text in ax.texts}
    assert said == {"peak", "sugar", "clay", "peak × sugar", "peak × clay", "sugar × clay"}


def test_what_cannot_be_told_apart_is_black_and_one():
    ax = likeness_chart(told(alias=True))
    said = {text.get_text() for text in ax.texts}
    assert "1" in said
    darkest = min(sum(patch.get_facecolor()[:3]) for patch in ax.patches)
    assert darkest < 0.6
    # sugar × clay is the same on every pot: its row of fields is struck through.
    assert len(ax.lines) == 5


def test_names_of_any_length_are_inside_the_figure():
    long = ("peak as read by the second probe", "coarse sea salt from the second sack", "clay with $grog$")
    ax = likeness_chart(told(long))
    ax.figure.canvas.draw()
    for text in ax.texts:
        box = text.get_window_extent()
        assert ax.figure.bbox.x0 <= box.x0
        assert box.x1 <= ax.figure.bbox.x1
