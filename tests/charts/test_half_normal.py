from dataclasses import replace
from itertools import product

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from scipy import stats

from sagglab.charts import half_normal_chart
from sagglab.charts.alt import alt_text
from sagglab.charts.labels import Labels
from sagglab.errors import ModelError
from sagglab.model.screening import screen_effects
from sagglab.pages.numbers import digits_for

NAMES = ["sugar [g]", "salt [g]", "clay", "peak_C"]
#: Less 10, so that they can be L*: no effect changes.
FILTRATION = np.array([45, 71, 48, 65, 68, 60, 80, 65, 43, 100, 45, 104, 75, 86, 70, 96]) - 10
LONG = [
    "copper sulphate pentahydrate dusted twice [g]",
    "copper sulphate in hot water, brushed on twice [g]",
    "coarse sea salt from the second sack in 50 % lots [g]",
    "clay_with_$grog$_and_no_blank_in_its_long_name",
]


def pots(y, names, firing="f1"):
    rows = [row[::-1] for row in product((0.0, 1.0), repeat=len(names))]
    return pd.DataFrame(rows, columns=names).assign(firing=firing, **{"L*": y})


def equal_effects():
    """Five effects of exactly 10, and scatter that touches none of them."""
    table = pots(0.0, [*NAMES, "wax"])
    signs = 2 * table[[*NAMES, "wax"]].to_numpy() - 1
    real = np.column_stack([signs[:, :4], signs[:, 0] * signs[:, 1]])
    noise = np.random.default_rng(1).normal(size=32)
    whole = np.column_stack([np.ones(32), real])
    noise -= whole @ (whole.T @ noise) / 32
    return screen_effects(
        table.assign(**{"L*": 50 + real @ [-5, -5, 5, 5, 5] + noise}), factors=[*NAMES, "wax"]
    )


@pytest.fixture(scope="module")
def screening():
    return screen_effects(pots(FILTRATION, NAMES), factors=NAMES)


@pytest.fixture(scope="module")
def split():
    """Three factors of firings and three of pots."""
    names = ["peak_C", "hold", "pace", "sugar [g]", "salt [g]", "clay"]
    rng = np.random.default_rng(2)
    table = pots(0.0, names)
    table["firing"] = table[names[:3]].astype(str).agg(" ".join, axis=1)
    code = table.groupby("firing").ngroup()
    table["L*"] = 50 + 4 * rng.normal(size=8)[code] + rng.normal(size=64) - 3 * table["sugar [g]"]
    return screen_effects(table, factors=names)


def marks(ax):
    """Gather what is drawn as marks: x, y, mark, whether filled."""
    return [
        (x, y, line.get_marker(), to_rgb(line.get_markerfacecolor()) != (1, 1, 1))
        for line in ax.lines
        if line.get_marker() not in ("None", "")
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    ]


def slopes(ax):
    """The slopes of the lines that come out of the corner."""
    lines = [line for line in ax.lines if line.get_marker() in ("None", "") and line.get_xdata()[0] == 0]
    return [
        line.get_ydata()[1] / line.get_xdata()[1]
        for line in lines
        if len(line.get_xdata()) == 2 and line.get_ydata()[0] == 0
    ]


def test_sizes_against_half_normal_quantiles(screening):
    drawn = sorted((x, y) for x, y, *_ in marks(half_normal_chart(screening)))
    np.testing.assert_allclose([y for _, y in drawn], np.sort(screening.table["estimate"].abs()))
    expected = stats.halfnorm.ppf((np.arange(1, 16) - 0.5) / 15)
    np.testing.assert_allclose([x for x, _ in drawn], expected)


def test_what_stands_out_is_filled_and_named(screening, texts):
    ax = half_normal_chart(screening)
    words = texts(ax)
    beyond = screening.table["beyond"] != ""
    filled = sorted(y for _, y, _, filled in marks(ax) if filled)
    np.testing.assert_allclose(filled, np.sort(screening.table.loc[beyond, "estimate"].abs()))
    assert {"sugar", "clay", "peak", "sugar × clay", "sugar × peak"} <= set(words)
    assert "salt" not in words


def test_names_stand_beside_their_marks(screening, texts):
    ax = half_normal_chart(screening)
    words = texts(ax)
    x, y = max(((x, y) for x, y, *_ in marks(ax)), key=lambda at: at[1])
    place = ax.transData.transform((x, y))
    box = words["sugar"]
    assert np.hypot(box.x0 - place[0], (box.y0 + box.y1) / 2 - place[1]) < 20


def test_lines(screening, texts):
    ax = half_normal_chart(screening)
    margins = screening.margins.iloc[0]
    assert slopes(ax) == pytest.approx([margins["PSE"]])
    heights = {line.get_ydata()[0] for line in ax.lines if line.get_marker() in ("None", "")}
    assert {margins["margin for one"], margins["margin for all"]} < heights
    assert {"margin for one: 5.7", "margin for all: 11", "chance alone (PSE 2.6)"} <= set(texts(ax))


def test_axes_say_what_they_hold(screening):
    ax = half_normal_chart(screening)
    assert ax.get_ylabel() == "size of the effect on L*"
    assert ax.get_xlabel() == (
        "where chance alone would put it (half-normal quantile)\n"
        "filled: beyond the margin for all;\nhalf filled: for one only; hollow: neither"
    )
    assert ax.get_title(loc="left") == "Which effects on L* stand out"


def test_a_share_is_drawn_in_percentage_points():
    table = pots(FILTRATION / 100, NAMES).rename(columns={"L*": "dark share"})
    ax = half_normal_chart(screen_effects(table, outcome="dark share", factors=NAMES))
    assert max(y for _, y, *_ in marks(ax)) == pytest.approx(21.625)
    assert slopes(ax) == pytest.approx([2.625])
    assert ax.get_ylabel() == "size of the effect on dark share\n[percentage points]"


def test_strata_have_marks_and_lines_of_their_own(split, texts):
    ax = half_normal_chart(split)
    assert {mark for *_, mark, _ in marks(ax)} == {"o", "s"}
    assert sum(mark == "s" for *_, mark, _ in marks(ax)) == 7
    assert sorted(slopes(ax)) == pytest.approx(sorted(split.margins["PSE"]))
    words = " | ".join(texts(ax))
    assert "chance alone, between firings (PSE" in words
    assert "chance alone, between pots (PSE" in words
    dashes = {line.get_linestyle() for line in ax.lines if line.get_marker() in ("None", "")}
    assert len(dashes) == 2


def test_a_stratum_that_cannot_be_judged_says_so(texts):
    table = pots(FILTRATION, NAMES).assign(firing=["f1", "f2"] * 8)
    ax = half_normal_chart(screen_effects(table, factors=NAMES))
    assert "between firings: not judged" in texts(ax)
    assert len(slopes(ax)) == 1


def test_equal_effects_are_all_named(texts, assert_readable):
    ax = half_normal_chart(equal_effects())
    assert {"sugar", "salt", "clay", "peak", "sugar × salt"} <= set(texts(ax))
    assert_readable(ax)


def test_of_very_many_the_surest_are_named_and_the_others_counted(texts, assert_readable):
    names = [f"x{k}" for k in range(8)]
    table = pots(0.0, names)
    table["L*"] = (
        50 + np.random.default_rng(1).normal(size=256) + 3 * table["x0"] + 2 * table["x1"] * table["x2"]
    )
    result = screen_effects(table, factors=names)
    words = texts(ax := half_normal_chart(result))
    assert {"x0", "x1", "x2", "x1 × x2"} <= set(words)
    unnamed = (result.table["beyond"] != "").sum() - 10
    assert any(f"({unnamed} beyond it unnamed)" in text for text in words)
    assert_readable(ax)


def test_it_can_be_read(screening, split, assert_readable):
    for result in (screening, split):
        assert_readable(half_normal_chart(result))


def test_in_axes_that_are_given_and_without_a_trace_in_the_settings(screening, assert_readable):
    before = mpl.rcParams.copy()
    figure, (left, _) = plt.subplots(1, 2, figsize=(12, 5), layout="constrained")
    assert half_normal_chart(screening, ax=left) is left
    assert_readable(left)
    assert dict(mpl.rcParams) == dict(before)


def test_only_what_is_beyond_the_margin_for_all_is_wholly_filled(screening):
    table = screening.table.assign(size=screening.table["estimate"].abs()).set_index("size")["beyond"].copy()
    one = table.index[table == "margin for all"][0]
    table[one] = "margin for one"
    told = screening.table.assign(beyond=table.to_numpy())
    ax = half_normal_chart(replace(screening, table=told))
    halves = [
        line.get_ydata() for line in ax.lines if line.get_marker() == "o" and line.get_fillstyle() == "left"
    ]
    np.testing.assert_allclose(
        np.sort(np.concatenate(halves)), np.sort(table.index[table == "margin for one"])
    )


def long_named():
    """Every factor, and every pair with the first, stands out; their names are long."""
    table = pots(0.0, LONG)
    signs = 2 * table[LONG].to_numpy() - 1
    noise = np.random.default_rng(4).normal(size=16)
    real = signs @ [-6, 5, 4, 3] + signs[:, 0] * (signs[:, 1:] @ [5, 4, 3])
    return screen_effects(table.assign(**{"L*": 50 + real + 0.2 * noise}), factors=LONG)


def test_long_names_stay_inside_and_can_be_told_apart(texts, assert_readable):
    words = texts(ax := half_normal_chart(long_named()))
    named = [text for text in words if "margin" not in text and "chance" not in text]
    assert len(named) == len(set(named)) == 7
    assert "copper sulphate pentahydrate\ndusted twice" in named
    assert "coarse sea salt from the second\nsack in 50 % lots" in named
    assert sum("…" in text and " ×\n" in text for text in named) == 3
    assert max(len(line) for text in named for line in text.split("\n")) <= 34
    assert_readable(ax)


def test_names_that_differ_in_the_middle_alone_are_told_apart(texts):
    names = [f"the pots of the first shelf that had {what} in the bag with them" for what in ("A", "B")]
    table = pots(FILTRATION, [names[0], "salt", names[1], "wax"])
    words = texts(half_normal_chart(screen_effects(table, factors=list(table.columns[:4]))))
    assert "the…A in the bag with them ×\nthe…B in the bag with them" in words


def test_its_words_tell_what_is_beyond_which_margin(screening, split):
    words = alt_text(half_normal_chart(screening))
    table, margins = screening.table, screening.margins.iloc[0]
    digits = digits_for(margins["margin for one"])
    assert words.startswith(f"Half-normal chart of {len(table)} effects on L*")
    for margin in ("margin for all", "margin for one"):
        far = table[table["beyond"] == margin]
        told = words.partition(f"Beyond the {margin}: ")[2].partition(". ")[0]
        assert len(far) and told.count(" L* ") == len(far)
        for term, estimate in far[["term", "estimate"]].to_numpy():
            assert f"{term} {abs(estimate):.{digits}f} L* {'darker' if estimate < 0 else 'lighter'}" in told
    assert f"for one and for all: {margins['margin for one']:.1f} and" in words
    assert "Margins between firings for one and for all" in alt_text(half_normal_chart(split))


def test_its_words_say_where_nothing_stands_out():
    quiet = pots(50 + np.random.default_rng(1).normal(size=16), NAMES)
    words = alt_text(half_normal_chart(screen_effects(quiet, factors=NAMES)))
    assert "None is beyond a margin." in words and "Beyond" not in words


def test_what_is_no_screening_is_refused():
    with pytest.raises(ModelError) as caught:
        half_normal_chart(pots(FILTRATION, NAMES))
    assert str(caught.value) == (
        "half_normal_chart: it takes the result of screen_effects, not DataFrame. "
        "Give half_normal_chart(screen_effects(…))."
    )


def test_words_are_placed_by_the_layout_that_is_drawn(monkeypatch):
    seen = []

    class Watched(Labels):
        def put(self, *given, **how):
            seen.append(self.room.extents)
            return super().put(*given, **how)

    monkeypatch.setattr("sagglab.charts.half_normal.Labels", Watched)
    # No effect of these is beyond the margin for one only, so that there is nothing to draw half filled.
    ax = half_normal_chart(long_named())
    ax.figure.canvas.draw()
    np.testing.assert_allclose(seen[-1], ax.bbox.extents, atol=0.5)
