"""Charts of plans: how many firings, and how alike the terms are."""

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from sagglab.charts import likeness_chart, power_chart
from sagglab.charts.alt import alt_text
from sagglab.errors import ModelError
from sagglab.plan.batch import Plan
from sagglab.plan.factors import Factor
from sagglab.plan.power import firings_needed, hundred
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


def test_it_begins_where_there_is_something_to_see():
    left, _ = power_chart(firings_needed(pots=[4], firings=range(2, 21), pot_terms=8)).get_xlim()
    assert 2 < left < 3


def test_it_draws_into_given_axes(needed):
    _, axes = plt.subplots(1, 2)
    assert power_chart(needed, axes[1]) is axes[1]
    result = told()
    assert likeness_chart(result, axes[0]) is axes[0]


def test_its_words_tell_the_chances_at_both_ends_and_how_many_are_needed(needed):
    words = alt_text(power_chart(needed))
    table = needed.table
    for level, said in (
        ("pot-level", "Varied from pot to pot"),
        ("firing-level", "Varied from firing to firing"),
    ):
        told = words.partition(f"{said}: ")[2].partition(". ")[0]
        for firings in (table["firings"].min(), table["firings"].max()):
            here = table.loc[table["firings"] == firings, level]
            assert f"{hundred(here.max())} of 100 at {firings} firings" in told
        six = table[table["pots per firing"].eq(6) & (table[level] >= needed.wanted)]["firings"].min()
        assert f"{six} firings of 6 pots" in told


def test_other_results_are_refused(needed):
    with pytest.raises(ModelError, match="it takes the result of firings_needed, not Precision"):
        power_chart(told())
    with pytest.raises(ModelError, match="it takes the result of precision, not FiringsNeeded"):
        likeness_chart(needed)


def test_pots_are_told_by_how_heavy_a_line_is(needed):
    ax = power_chart(needed)
    key = ax.get_legend()
    assert [text.get_text() for text in key.get_texts()] == ["4", "6", "8", "10"]
    weights = [line.get_linewidth() for line in key.get_lines()]
    assert weights == [line.get_linewidth() for line in curves(ax)[:4]]
    assert (np.diff(weights) > 0.5).all()
    assert power_chart(firings_needed(pots=6)).get_legend() is None


def test_what_is_not_asked_is_not_drawn(texts):
    ax = power_chart(firings_needed(firing_terms=0, pots=[6, 8]))
    assert len(curves(ax)) == 2
    assert not any("firing to firing" in said for said in texts(ax))


def test_the_title_has_the_unit():
    assert power_chart(firings_needed(4, 2, 3, outcome="b*")).get_title(loc="left") == "A change of 4 b*"


def rows(ax):
    """The names of the rows, and the words in each."""
    names = [label.get_text() for label in ax.get_yticklabels()]
    return {name: [t.get_text() for t in ax.texts if t.xy[1] == row] for row, name in enumerate(names)}


def test_a_row_for_each_term_asked_with_a_mark_for_each_other():
    ax = likeness_chart(told())
    assert rows(ax) == {"peak": [], "sugar": [], "clay": []}
    # Two others that are asked, filled, and three pairs that are not, hollow.
    marks = [(len(dots.get_offsets()), dots.get_facecolor()[0][0] < 0.5) for dots in ax.collections]
    assert marks == [(3, False), (2, True)] * 3
    assert "Hollow: a pair of factors that is not asked." in ax.get_xlabel()
    below = " ".join(ax.get_xlabel().split())
    assert below.endswith("by 0.3 or more: all have nothing in common with it.")


def test_what_cannot_be_told_apart_is_at_one_and_named(assert_readable):
    ax = likeness_chart(told(alias=True))
    assert rows(ax)["sugar"] == ["clay 1"]
    assert rows(ax)["peak"] == []
    assert rows(ax)["clay"] == ["sugar 1"]
    assert "Nothing is alike" not in ax.get_xlabel()
    assert_readable(ax)


def test_a_term_that_never_varies_is_called_so():
    result = told(alias=True)
    result.correlations.loc["peak"] = np.nan
    result.correlations["peak"] = np.nan
    assert rows(likeness_chart(result))["peak"] == ["the same on every pot"]


def alike(count, value=0.5, asked=None):
    """A result of so many terms, all alike to one another."""
    names = [f"material {place} × material {place + 1}" for place in range(count)]
    table = pd.DataFrame(np.full((count, count), value), index=names, columns=names)
    return replace(told(), correlations=table, asked=tuple(names[:asked]))


def test_how_alike_the_most_alike_are_is_said_below():
    assert "0.3 or more: the most by 0.12." in " ".join(likeness_chart(alike(4, 0.12)).get_xlabel().split())


def test_three_are_named_in_a_row_and_the_others_counted(assert_readable):
    ax = likeness_chart(alike(12))
    said = [" ".join(text.get_text().split()) for text in ax.texts]
    assert said[0] == (
        "material 1 × material 2 .50, material 2 × material 3 .50, material 3 × material 4 .50 and 8 more"
    )
    assert_readable(ax)


@pytest.mark.parametrize("value", [0.3, 0.6, 0.95])
def test_of_many_terms_the_most_alike_are_drawn(value, assert_readable):
    result = alike(120, 0.1)
    near = result.correlations.to_numpy(copy=True)
    near[100, 7] = near[7, 100] = value
    names = result.asked
    ax = likeness_chart(replace(result, correlations=pd.DataFrame(near, index=names, columns=names)))
    assert len(ax.get_yticklabels()) == 25
    assert "Drawn are the 25 most alike of 120" in " ".join(ax.get_xlabel().split())
    said = sorted(" ".join(text.get_text().split()) for text in ax.texts)
    ending = f"{value:.2f}".removeprefix("0")
    assert said == [f"{names[100]} {ending}", f"{names[7]} {ending}"]
    assert_readable(ax)


def test_names_of_any_length_are_inside_the_figure():
    long = ("peak as read by the second probe", "coarse sea salt from the second sack", "clay with $grog$")
    ax = likeness_chart(told(long, alias=True))
    ax.figure.canvas.draw()
    for text in (*ax.texts, *ax.get_yticklabels(), *ax.get_xticklabels(), ax.xaxis.label):
        box = text.get_window_extent()
        assert ax.figure.bbox.x0 <= box.x0
        assert box.x1 <= ax.figure.bbox.x1


def test_the_words_of_likeness_name_what_cannot_be_told_apart():
    words = alt_text(likeness_chart(told(alias=True)))
    assert words.startswith("Chart of how alike 3 questions are to others, from 0 to 1")
    assert "sugar: clay 1; clay: sugar 1." in words
    assert "Nothing is alike to what is asked by 0.3 or more" in alt_text(likeness_chart(told()))
