"""Cautions: what must be said, and what must not be left out."""

import math

import pandas as pd
import pytest

from sagglab.cautions import ALWAYS, DEFERS, cautions

NONE_USED = pd.DataFrame({"pot": ["p1"], "clay": ["white"]})


def said(pots, peak_C=600.0):
    return " ".join(cautions(pots, peak_C))


@pytest.mark.parametrize("pots", [NONE_USED, NONE_USED.iloc[:0], pd.DataFrame({"sugar [g]": [3.0]})])
@pytest.mark.parametrize("peak_C", [20.0, 750.0, math.nan])
def test_the_last_word_goes_to_safety_sheets_codes_and_practice(pots, peak_C):
    last = cautions(pots, peak_C)[-1]
    assert last == DEFERS
    for words in ("safety data sheets", "local codes", "licensed practice"):
        assert words in last


@pytest.mark.parametrize(
    "words",
    [
        "outdoors",
        "carbon monoxide",
        "cartridge",
        "EN 14387",
        "gloves",
        "at the cylinder first",
        "decorative only",
    ],
)
def test_what_is_always_said(words):
    assert words in said(NONE_USED)
    assert set(ALWAYS) <= set(cautions(NONE_USED, math.nan))


def test_no_cartridge_is_said_to_stop_carbon_monoxide():
    assert "No respirator cartridge stops it" in said(NONE_USED)


def test_a_material_that_was_used_is_named_with_its_hazards():
    first = cautions(pd.DataFrame({"copper sulphate [g]": [0.0, 2.0]}), 600.0)[0]
    assert first == (
        "copper sulphate: harmful if swallowed; causes serious eye damage; very toxic to aquatic life with "
        "long lasting effects; fired, it gives off sulphur oxides and copper fume."
    )


def test_a_material_under_another_name_is_known():
    assert "epsom salt: fired, it gives off" in said(pd.DataFrame({"epsom salt [g]": [1.0]}))


@pytest.mark.parametrize("amounts", [[0.0, 0.0], [math.nan, math.nan], [0.0, math.nan]])
def test_a_material_that_was_not_used_is_not_named(amounts):
    assert "copper sulphate" not in said(pd.DataFrame({"copper sulphate [g]": amounts}))


@pytest.mark.parametrize("unit", ["g", "mL", "coats"])
def test_an_unknown_material_is_said_to_be_unknown(unit):
    pots = pd.DataFrame({f"unicorn dust [{unit}]": [1.0]})
    assert cautions(pots, 600.0)[0] == (
        "unicorn dust: its hazards are not known here; read its safety data sheet before use."
    )


def test_a_size_is_no_material():
    assert cautions(pd.DataFrame({"height [cm]": [12.0], "rating": [4.0]}), 600.0) == cautions(
        NONE_USED, 600.0
    )


def test_above_the_melting_point_of_aluminium_the_foil_is_spoken_of():
    words = said(NONE_USED, 750.0)
    assert "foil can melt at 660 °C (1221 °F)" in words and "750 °C (1382 °F)" in words


@pytest.mark.parametrize("peak_C", [660.0, math.nan])
def test_below_it_or_when_unknown_nothing_is_said_of_melting(peak_C):
    assert "can melt" not in said(NONE_USED, peak_C)


def test_a_material_written_down_without_an_amount_is_named_too():
    # A text column, such as "wax" with yes and blank, is still a use.
    assert "wax:" in said(pd.DataFrame({"wax": ["", "yes"]}))


def test_a_text_column_left_blank_is_no_use():
    assert "wax:" not in said(pd.DataFrame({"wax": ["", ""]}))
