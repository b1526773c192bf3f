"""Pots before and after wax: their colours, what changed, and what is said of it."""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.charts import before_after_chart
from sagglab.charts.alt import alt_text
from sagglab.charts.swatches import OUTSIDE
from sagglab.colour import AXES, delta_e_2000, lab_to_lch, lab_to_srgb
from sagglab.errors import SetupError


@pytest.fixture(scope="module")
def both(demo):
    """The demo's waxed pots with their true colours in front, before and after."""
    views, waxed = (pd.read_csv(demo / f"truth/{name}.csv") for name in ("views", "waxed"))
    before, after = (part[part["view"] == "front"].reset_index(drop=True) for part in (views, waxed))
    return before.assign(setup="phone", views=1.0), after.assign(setup="phone", views=1.0)


def drawn(n, seed=0):
    """Pots of any number, before and after."""
    rng = np.random.default_rng(seed)
    lab = rng.uniform([25, 4, 4], [60, 16, 18], (n, 3))
    names = [f"p{number:02d}" for number in range(1, n + 1)]
    before = pd.DataFrame(lab, columns=AXES).assign(pot=names)
    return before, before.assign(**{"L*": before["L*"] - rng.normal(3, 1, n)})


def said(ax):
    return [text.get_text() for text in ax.texts if text.get_text()]


def test_each_pot_has_a_swatch_before_and_after_from_dark_to_light(both):
    before, after = both
    ax = before_after_chart(before, after)
    pots = after.merge(before, on="pot", suffixes=(" after", " before")).sort_values("L* before")
    colours = [
        lab_to_srgb(pots[[f"{axis} {when}" for axis in AXES]].to_numpy())[0] for when in ("before", "after")
    ]
    fills = np.array([patch.get_facecolor()[:3] for patch in ax.patches if patch.get_width() > 1])
    np.testing.assert_allclose(fills[0::2], colours[0])
    np.testing.assert_allclose(fills[1::2], colours[1])
    names = [text for text in said(ax) if text.startswith("p")]
    assert names == pots["pot"].tolist() and len(names) == 5


def test_an_arrow_leads_from_before_to_after(both):
    ax = before_after_chart(*both)
    arrows = [text for text in ax.texts if not text.get_text()]
    assert len(arrows) == 5
    for arrow, left, right in zip(arrows, ax.patches[0::2], ax.patches[1::2], strict=True):
        (tip, row), (tail, _) = arrow.xy, arrow.xyann
        assert left.get_x() + left.get_width() < tail < tip < right.get_x()
        assert left.get_y() < row < left.get_y() + left.get_height()


def test_what_changed_is_written_beside_each_pot(both):
    before, after = both
    first = before.set_index("pot").loc[["p21"], list(AXES)].to_numpy()
    second = after.set_index("pot").loc[["p21"], list(AXES)].to_numpy()
    lightness = second[0, 0] - first[0, 0]
    chroma = (lab_to_lch(second) - lab_to_lch(first))[0, 1]
    wanted = [f"{lightness:.1f}", f"{chroma:.1f}", f"{delta_e_2000(first, second)[0]:.1f}"]
    words = said(before_after_chart(before, after))
    at = words.index("p21")
    assert words[at + 1 : at + 4] == [text.replace("-", "−") for text in wanted]


def test_the_mean_change_has_the_interval_of_a_paired_t(both):
    before, after = both
    pots = after.merge(before, on="pot", suffixes=(" after", " before"))
    tested = stats.ttest_rel(pots["L* after"], pots["L* before"])
    low, high = tested.confidence_interval(0.95)
    mean = (pots["L* after"] - pots["L* before"]).mean()
    wanted = f"ΔL* {mean:.1f} ({low:.1f} to {high:.1f})".replace("-", "−")
    ax = before_after_chart(before, after)
    assert wanted in ax.get_xlabel() and "mean of 5 pots, with 95 % intervals" in ax.get_xlabel()
    assert wanted in alt_text(ax)


def test_the_words_for_who_does_not_see_it(both):
    words = alt_text(before_after_chart(*both))
    assert words.startswith("Pairs of swatches, each pot's mean colour before and after wax, 5 pots.")
    assert "p21 L* 55 to 51" in words
    many = alt_text(before_after_chart(*drawn(30)))
    assert "changes the most, ΔE00" in many and "changes the least, ΔE00" in many and len(many) < 500


def test_a_single_pot_says_nothing_of_others():
    ax = before_after_chart(*drawn(1))
    assert "one pot does not tell how much others change" in ax.get_xlabel()
    assert "nan" not in " ".join([ax.get_xlabel(), alt_text(ax), *said(ax)])


def test_pots_of_one_table_or_without_a_colour_are_left_out():
    before, after = drawn(4)
    before.loc[0, "L*"] = np.nan
    ax = before_after_chart(before, after.iloc[[3, 2, 0]])
    assert sorted(text for text in said(ax) if text.startswith("p")) == ["p03", "p04"]


def test_a_colour_the_display_cannot_show_is_told():
    before, after = drawn(3)
    assert OUTSIDE not in before_after_chart(before, after).get_xlabel()
    before.loc[1, list(AXES)] = 50.0, 110.0, 90.0
    assert OUTSIDE in before_after_chart(before, after).get_xlabel()


@pytest.mark.parametrize("n", [1, 5, 30, 31, 72])
def test_nothing_overlaps_or_is_cut_off(n):
    before, after = drawn(n)
    names = before["pot"].tolist()
    names[0] = "the tall one from the second pit, $3$ and _more_"
    if n > 1:
        names[1] = "w" * 40
    ax = before_after_chart(before.assign(pot=names), after.assign(pot=names), "beeswax rubbed in and buffed")
    figure = ax.figure
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    swatches = [patch.get_window_extent(renderer) for patch in ax.patches if patch.get_width() > 1]
    assert len(swatches) == 2 * n
    words = [text.get_window_extent(renderer) for text in ax.texts if text.get_text()]
    words += [ax.title.get_window_extent(renderer), ax.xaxis.label.get_window_extent(renderer)]
    paper = figure.bbox.padded(1)
    for box in [*swatches, *words]:
        assert paper.contains(*box.min) and paper.contains(*box.max)
    for one, other in combinations([*swatches, *words], 2):
        assert not one.padded(-0.5).overlaps(other.padded(-0.5))
    if n == 31:
        assert len({round(box.x0) for box in swatches}) == 4


def test_faults_say_how_to_mend_them():
    before, after = drawn(3)
    with pytest.raises(SetupError, match="write 'oil' under after in the table photos"):
        before_after_chart(before, after.assign(pot=["x", "y", "z"]), "oil")
    with pytest.raises(SetupError, match="p01 stands in two rows"):
        before_after_chart(before, after.assign(pot="p01"))
    with pytest.raises(SetupError, match=r"no column a\*, b\*"):
        before_after_chart(before, after[["pot", "L*"]])


@pytest.mark.parametrize("told", [{"setup": "camera"}, {"views": 2.0}])
def test_pots_that_were_seen_otherwise_are_refused(both, told):
    before, after = both
    with pytest.raises(SetupError, match="p05, p10, p17, p21, p29: another setup, or more sides"):
        before_after_chart(before.assign(**told), after)
