"""Strips of recipes: dots at their values in their colours, means, order, names, and what is left out."""

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PathCollection

from sagglab.charts.alt import alt_text
from sagglab.charts.dots import OUTSIDE
from sagglab.charts.strips import MOST, outcome_strips
from sagglab.colour import lab_to_srgb
from sagglab.errors import ModelError, UnknownNameError


def dots(ax):
    """Give where all dots are, and their colours."""
    parts = [part for part in ax.collections if isinstance(part, PathCollection)]
    spots = np.concatenate([part.get_offsets() for part in parts])
    return spots, np.concatenate(
        [part.get_facecolors()[:, :3] for part in parts if len(part.get_facecolors())]
    )


def strips(ax):
    return [label.get_text() for label in ax.get_yticklabels()]


def marks(ax):
    """Give where the upright marks of the means stand, from the top down."""
    return [line.get_xdata()[0] for line in ax.lines if line.get_linewidth() == 2]


def test_each_pot_is_a_dot_at_its_value_in_its_strip_and_colour(pots):
    ax = outcome_strips(pots, "sugar")
    spots, colours = dots(ax)
    assert len(spots) == 36
    # One amount stands in its own order, though the truth has the most sugar as the darkest.
    assert strips(ax) == ["no sugar", "sugar 2 g", "sugar 4 g"]
    for place, amount in enumerate((0, 2, 4)):
        here = np.abs(spots[:, 1] - place) <= 0.4
        of_recipe = pots[pots["sugar [g]"] == amount].sort_values("L*")
        order = np.argsort(spots[here, 0])
        np.testing.assert_allclose(spots[here, 0][order], of_recipe["L*"])
        expected = lab_to_srgb(of_recipe[["L*", "a*", "b*"]].to_numpy(dtype=float))[0]
        np.testing.assert_allclose(colours[here][order], expected)


def test_means_are_marked_and_strips_go_from_the_least_to_the_greatest(pots):
    ax = outcome_strips(pots, ["sugar", "clay"], "a*")
    means = pots.groupby(["sugar [g]", "clay"])["a*"].mean()
    np.testing.assert_allclose(marks(ax), sorted(means))
    top = means.idxmin()
    assert strips(ax)[0] == (f"sugar {top[0]:g} g, {top[1]}" if top[0] else f"no sugar, {top[1]}")
    (broken,) = [line for line in ax.lines if line.get_linewidth() == 0.8]
    assert broken.get_xdata()[0] == pytest.approx(pots["a*"].mean())
    assert [text.get_text() for text in ax.texts] == [f"mean {mean:.1f} (6 pots)" for mean in sorted(means)]


def test_axis_says_unit_and_what_is_less_and_more(pots):
    ax = outcome_strips(pots, "clay")
    assert ax.get_xlabel().split("\n")[:2] == ["L*", "← darker          lighter →"]
    assert ax.get_title(loc="left") == "L* of 36 pots by clay"
    assert sorted(strips(ax)) == ["groggy buff", "smooth white"]
    ax = outcome_strips(pots, ["sugar", "copper sulphate", "clay"], "peak_C")
    assert ax.get_xlabel().split("\n")[:2] == ["peak [°C]", "← lower          higher →"]
    assert ax.get_title(loc="left") == "Peak of 36 pots by sugar, copper sulphate and clay"
    assert "sugar 4 g, no copper sulphate, smooth white" in strips(ax)


def test_shares_are_in_percent(pots):
    ax = outcome_strips(pots.assign(**{"dark share": np.linspace(0.1, 0.6, 36)}), "clay", "dark share")
    ax.figure.canvas.draw()
    assert {label.get_text() for label in ax.get_xticklabels()} >= {"20 %", "40 %"}
    assert all("%" in text.get_text() for text in ax.texts)


@pytest.mark.parametrize("number", [36, 90])
def test_dots_do_not_hide_one_another(number):
    rng = np.random.default_rng(4)
    lab = dict(zip(("L*", "a*", "b*"), rng.normal([40, 10, 12], [1.5, 1, 1], (number, 3)).T, strict=True))
    # Many at the very same place are the worst.
    lab["L*"][:9] = 40.0
    ax = outcome_strips(pd.DataFrame({"pot": range(number), "clay": "buff", **lab}), "clay")
    spots, _ = dots(ax)
    pixels = ax.transData.transform(spots)
    (wide,) = {np.sqrt(part.get_sizes()[0]) for part in ax.collections}
    apart = np.hypot(*(pixels[:, None] - pixels[None]).T) + np.diag(np.full(number, np.inf))
    assert apart.min() > wide * ax.figure.dpi / 72
    np.testing.assert_allclose(np.sort(spots[:, 0]), np.sort(lab["L*"]))


def test_pots_that_lack_a_value_are_left_out_and_told(pots):
    some = pots.assign(
        **{
            "L*": pots["L*"].where(~pots["pot"].isin(["p01", "p02"])),
            "clay": pots["clay"].where(pots["pot"] != "p03"),
        }
    )
    ax = outcome_strips(some, ["sugar", "clay"])
    assert len(dots(ax)[0]) == 33
    told = "3 pots left out: p01, p02 (no L*); p03 (no clay)"
    assert ax.get_xlabel().endswith(told)
    assert told in alt_text(ax)


def test_a_pot_without_a_colour_is_hollow_and_one_beyond_the_display_has_a_corner(pots):
    results = pots.assign(
        rate=1.0, **{"a*": pots["a*"].mask(pots["pot"] == "p01").mask(pots["pot"] == "p02", 110)}
    )
    ax = outcome_strips(results, "sugar", "L*")
    assert len(dots(ax)[0]) == 36
    assert len(dots(ax)[1]) == 35
    assert OUTSIDE in ax.get_xlabel()
    assert "hollow: no colour was measured" in ax.get_xlabel()
    assert "hollow" not in outcome_strips(pots, "sugar").get_xlabel()


def test_of_many_recipes_the_least_and_the_greatest_are_drawn_and_the_rest_told():
    number = MOST + 7
    pots = pd.DataFrame(
        {
            "pot": [f"p{k}" for k in range(number)],
            "salt [g]": np.arange(number) + 1.0,
            "L*": np.arange(number) + 20.0,
        }
    ).assign(**{"a*": 8.0, "b*": 9.0})
    ax = outcome_strips(pots, "salt")
    half = MOST // 2
    assert strips(ax) == [f"salt {k} g" for k in (*range(1, half + 1), *range(number - half + 1, number + 1))]
    assert len(dots(ax)[0]) == MOST
    assert "dotted: 7 recipes between are not shown" in ax.get_xlabel()
    assert f"in {number} recipes" in alt_text(ax)


def test_long_names_are_wrapped_and_all_is_inside_the_figure():
    name = "seaweed soaked overnight and dried under the roof of the shed [g]"
    pots = pd.DataFrame({"pot": ["one", "two"], name: [0.0, 3.5], "L*": [30.0, 40.0], "a*": 8.0, "b*": 9.0})
    ax = outcome_strips(pots, name)
    ax.figure.canvas.draw()
    assert strips(ax)[1].replace("\n", " ") == f"{name.removesuffix(' [g]')} 3.5 g"
    texts = [ax._left_title, ax.xaxis.label, *ax.get_yticklabels(), *ax.texts]
    for text in texts:
        box = text.get_window_extent()
        assert ax.figure.bbox.padded(0.5).contains(*box.min), text.get_text()
        assert ax.figure.bbox.padded(0.5).contains(*box.max), text.get_text()


def test_words_hold_the_numbers(pots):
    said = alt_text(outcome_strips(pots, "sugar"))
    for amount, name in ((4, "sugar 4 g"), (0, "no sugar")):
        values = pots.loc[pots["sugar [g]"] == amount, "L*"]
        assert f"{name}: mean {values.mean():.1f} (12 pots, {values.min():.1f} to {values.max():.1f})" in said


def test_one_pot_and_axes_that_are_given(pots):
    _, ax = plt.subplots()
    assert outcome_strips(pots[:1], "sugar", ax=ax) is ax
    assert ax.get_title(loc="left") == "L* of 1 pot by sugar"
    assert len(dots(ax)[0]) == 1


def test_what_cannot_be_drawn_is_refused(pots):
    with pytest.raises(ModelError, match="no column is named"):
        outcome_strips(pots, [])
    with pytest.raises(UnknownNameError, match="glitter"):
        outcome_strips(pots, "glitter")
    with pytest.raises(ModelError, match="order, not a measure"):
        outcome_strips(pots, "sugar", "rating")
    with pytest.raises(ModelError, match="'clay': it is not a column of numbers"):
        outcome_strips(pots, "sugar", "clay")
    with pytest.raises(ModelError) as caught:
        outcome_strips(pots.assign(**{"L*": np.nan}), "sugar")
    assert str(caught.value) == (
        "outcome_strips: no pot has all of sugar [g], L*. Measure the photographs, fill in the gaps, or name "
        "another column."
    )


def test_words_tell_the_order_that_is_drawn(pots):
    by_amount = alt_text(outcome_strips(pots, "sugar"))
    assert "Recipes in the order of sugar: no sugar: mean " in by_amount
    assert "Recipes in the order of their means: " in alt_text(outcome_strips(pots, ["sugar", "clay"]))
    many = pots.assign(**{"sugar [g]": np.arange(len(pots)) % 6 / 1.0})
    words = alt_text(outcome_strips(many, "sugar"))
    assert "first no sugar: mean " in words and "last sugar 5 g: mean " in words
