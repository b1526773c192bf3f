"""Pots as swatches: their colours, their order, their names."""

import numpy as np
import pandas as pd
import pytest

from sagglab.charts import pot_swatches
from sagglab.charts.alt import alt_text
from sagglab.charts.swatches import OUTSIDE
from sagglab.colour import lab_to_srgb
from sagglab.errors import ModelError, UnknownNameError


def test_swatches_are_the_pots_colours_from_dark_to_light(pots):
    ax = pot_swatches(pots, "sugar [g]")
    assert [label.get_text() for label in ax.get_yticklabels()] == ["0 g", "2 g", "4 g"]
    expected = []
    for _, group in pots.groupby("sugar [g]"):
        expected.append(lab_to_srgb(group.sort_values("L*")[["L*", "a*", "b*"]].to_numpy())[0])
    drawn = [patch.get_facecolor()[:3] for patch in ax.patches]
    np.testing.assert_allclose(drawn, np.concatenate(expected))
    assert len(ax.patches) == 36


def test_swatches_are_labelled_by_pot(pots):
    ax = pot_swatches(pots, "sugar")
    assert sorted(text.get_text() for text in ax.texts) == sorted(pots["pot"])


def test_a_colour_the_display_cannot_show_has_a_corner_cut_off():
    pots = pd.DataFrame(
        {"pot": ["in", "out"], "clay": "white", "L*": [40.0, 50.0], "a*": [10.0, 110.0], "b*": [10.0, 90.0]}
    )
    inside, outside = pot_swatches(pots, "clay").patches
    assert (inside.cut, outside.cut) == (False, True)
    assert inside.axes.get_xlabel().replace("\n", " ").endswith(f"; {OUTSIDE}")


def test_pots_that_were_not_measured_have_no_swatch(pots):
    some = pots.assign(**{"L*": pots["L*"].where(pots["pot"] != "p01")})
    assert len(pot_swatches(some, "clay").patches) == 35


def test_pots_none_of_which_has_a_colour_are_refused(pots):
    for blank in (pots.assign(**{"a*": np.nan}), pots[:0]):
        with pytest.raises(ModelError, match="no pot with clay has a colour"):
            pot_swatches(blank, "clay")
    with pytest.raises(UnknownNameError, match=r"b\*"):
        pot_swatches(pots.drop(columns="b*"), "clay")


def test_its_words_tell_each_rows_mean_colour(pots):
    words = alt_text(pot_swatches(pots, "sugar"))
    assert words.startswith("Swatches of 36 pots in their measured colours, in rows by sugar.")
    for amount, group in pots.groupby("sugar [g]"):
        mean = ", ".join(f"{axis} {group[axis].mean():.0f}" for axis in ("L*", "a*", "b*"))
        assert f"{amount:g} g: {len(group)} pots, mean {mean}" in words


@pytest.mark.parametrize(
    ("column", "level", "words"),
    [
        ("target peak [degC]", 1050.0, "1050 °C (1922 °F)"),
        ("peak_C", 741.2, "741 °C (1366 °F)"),
        ("sugar [g]", 4, "4 g"),
        ("slip [coats]", 1.0, "1 coat"),
        ("rating", 3.0, "3"),
        ("dark share", 0.52, "52 %"),
        ("waxed", True, "True"),
        ("clay", "buff", "buff"),
    ],
)
def test_each_row_is_named_by_its_level_with_its_unit(column, level, words):
    pots = pd.DataFrame({"pot": ["p1"], column: [level], "L*": [40.0], "a*": [-9.0], "b*": [9.0]})
    ax = pot_swatches(pots, column)
    assert [label.get_text().replace("\n", " ") for label in ax.get_yticklabels()] == [words]
    assert f"{words}: 1 pot, mean L* 40, a* −9, b* 9." in alt_text(ax)
    assert "_" not in ax.get_title(loc="left") and "[" not in ax.get_title(loc="left")


def test_swatches_by_an_unknown_column(pots):
    with pytest.raises(UnknownNameError, match="glitter"):
        pot_swatches(pots, "glitter")


def test_long_names_are_broken_and_keep_to_their_swatch():
    levels = ["groggy buff with fine molochite from the second pit"] * 2 + ["smooth white porcelain"]
    pots = pd.DataFrame(
        {"pot": ["kiln_2 shelf_1 $3$"] * 3, "clay": levels, "L*": [40.0, 50, 60], "a*": 9.0, "b*": 9.0}
    )
    ax = pot_swatches(pots, "clay")
    ax.figure.canvas.draw()
    for swatch, text in zip(ax.patches, ax.texts, strict=True):
        assert text.get_text() == "kiln_2\nshelf_1\n$3$"
        assert swatch.get_window_extent().padded(0.5).contains(*text.get_window_extent().min)
        assert swatch.get_window_extent().padded(0.5).contains(*text.get_window_extent().max)
    for tick in ax.get_yticklabels():
        assert tick.get_window_extent().x0 >= 0
