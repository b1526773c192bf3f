import re

import numpy as np
import pandas as pd
import pytest

from sagglab.model.terms import Factor
from sagglab.model.wording import digits_for, effect_unit, sentence, words_for

SUGAR = Factor("sugar [g]", "sugar", "g", lacking=True)


def lines(stratum="pot", **terms):
    """Rows of a table of effects from term=(estimate, low, high)."""
    named = {term.replace("__", ": ").replace("_", " "): values for term, values in terms.items()}
    return pd.DataFrame.from_dict(named, orient="index", columns=["estimate", "low", "high"]).assign(
        stratum=stratum
    )


def of_sugar(slope, presence, outcome="L*"):
    return sentence(SUGAR, lines(sugar=slope, with_sugar=presence), outcome, 36, 6)


def test_clear():
    assert of_sugar((-1.8, -2.3, -1.3), (-5.4, -6.9, -3.9)) == (
        "Pots with sugar came out 5.4 L* darker than pots without (95 % interval 3.9 to 6.9 darker); "
        "reckoned by the amount, 1.80 L* darker for each gram (1.30 to 2.30), judged on 36 pots in 6 firings."
    )


def test_unclear():
    assert of_sugar((0.3, -0.4, 1.0), (0.9, -1.2, 3.0)) == (
        "Between pots with sugar and pots without, the data cannot tell: "
        "anywhere from 1.2 L* darker to 3.0 L* lighter fits, and for each gram "
        "anywhere from 0.40 L* darker to 1.00 L* lighter fits, judged on 36 pots in 6 firings."
    )


def test_half_clear():
    assert of_sugar((-0.3, -1.4, 0.8), (-5.4, -6.9, -3.9)) == (
        "Pots with sugar came out 5.4 L* darker than pots without (95 % interval 3.9 to 6.9 darker); "
        "for each gram the data cannot tell: anywhere from 1.4 L* darker to 0.8 L* lighter fits, "
        "judged on 36 pots in 6 firings."
    )
    assert of_sugar((-1.8, -3.3, -0.3), (0.9, -1.2, 3.0)) == (
        "Between pots with sugar and pots without, the data cannot tell: "
        "anywhere from 1.2 L* darker to 3.0 L* lighter fits; yet pots came out 1.8 L* darker for each gram "
        "(95 % interval 0.3 to 3.3 darker), judged on 36 pots in 6 firings."
    )


def test_an_amount_that_every_pot_has():
    height = Factor("height [cm]", "height", "cm")
    assert sentence(height, lines(height=(0.8, 0.2, 1.4)), "L*", 36, 6) == (
        "For each centimetre of height, pots came out 0.80 L* lighter "
        "(95 % interval 0.20 to 1.40 lighter), judged on 36 pots in 6 firings."
    )


@pytest.mark.parametrize(
    ("name", "unit", "said"),
    [
        ("peak_C", "degC", "For each 10 °C higher peak, "),
        ("target peak [degC]", "degC", "For each 10 °C higher target peak, "),
        ("minutes_above_660_C", "min", "For each 10 minutes more above 660 °C, "),
        ("minutes_to_peak", "min", "For each 10 minutes more to peak, "),
        ("climb_C_per_h", "degC/h", "For each 10 °C/h higher climb, "),
    ],
)
def test_firing_measures(name, unit, said):
    factor = Factor(name, name, unit)
    rows = pd.DataFrame([[-0.05, -0.09, -0.01, "firing"]], [name], ["estimate", "low", "high", "stratum"])
    assert sentence(factor, rows, "L*", 36, 6) == (
        f"{said}pots came out 0.50 L* darker (95 % interval 0.10 to 0.90 darker), judged on 6 firings."
    )
    unclear = rows.assign(high=0.02)
    assert sentence(factor, unclear, "L*", 36, 6) == (
        f"{said}the data cannot tell: anywhere from 0.90 L* darker to 0.20 L* lighter fits, "
        "judged on 6 firings."
    )


def test_one_firing():
    peak = Factor("peak_C", "peak_C", "degC", constant=True)
    rows = pd.DataFrame([[np.nan] * 3 + ["firing"]], ["peak_C"], ["estimate", "low", "high", "stratum"])
    assert sentence(peak, rows, "L*", 12, 1) == "One firing cannot tell about peak: all 12 pots shared it."


def test_two_levels():
    packing = Factor("packing", "packing", "", ("sawdust", "seaweed"))
    rows = lines(difference=(2.1, 0.4, 3.8))
    assert sentence(packing, rows, "L*", 36, 6) == (
        "Pots with packing seaweed came out 2.1 L* lighter than pots with packing sawdust "
        "(95 % interval 0.4 to 3.8 lighter), judged on 36 pots in 6 firings."
    )
    assert sentence(packing, lines(difference=(1.1, -0.6, 2.8)), "L*", 36, 6) == (
        "Between pots with packing seaweed and pots with packing sawdust, the data cannot tell: "
        "anywhere from 0.6 L* darker to 2.8 L* lighter fits for seaweed, judged on 36 pots in 6 firings."
    )


def test_several_levels():
    clay = Factor("clay", "clay", "", ("buff", "red", "white"))
    rows = lines(clay__buff=(1.0, 0.1, 1.9), clay__red=(-1.2, -2.2, -0.2), clay__white=(0.2, -1, 1.4))
    assert sentence(clay, rows, "L*", 36, 6) == (
        "Against the mean of the 3 kinds of clay, buff came out 1.00 L* lighter (95 % interval 0.10 to 1.90 "
        "lighter); red came out 1.2 L* darker (95 % interval 0.2 to 2.2 darker); for white the data cannot "
        "tell: anywhere from 1.0 L* darker to 1.4 L* lighter fits, judged on 36 pots in 6 firings."
    )


@pytest.mark.parametrize(
    ("outcome", "less", "more"),
    [
        ("L*", "2.0 L* darker", "2.0 L* lighter"),
        ("a*", "2.0 a* greener", "2.0 a* redder"),
        ("b*", "2.0 b* bluer", "2.0 b* yellower"),
        ("C*ab", "2.0 C*ab less colourful", "2.0 C*ab more colourful"),
        ("L* median", "2.0 L* darker in the median", "2.0 L* lighter in the median"),
        ("rating", "2.0 lower in rating", "2.0 higher in rating"),
        ("shrinkage [mm]", "2.0 mm lower in shrinkage", "2.0 mm higher in shrinkage"),
        ("hue angle", "2.0 degrees lower in hue angle", "2.0 degrees higher in hue angle"),
        ("L* SD", "2.0 lower in L* SD", "2.0 higher in L* SD"),
    ],
)
def test_words_of_outcomes(outcome, less, more):
    words = words_for(outcome)
    assert (words.said(-2, 1), words.said(2, 1)) == (less, more)


def test_shares_are_said_in_percentage_points():
    assert of_sugar((0.02, 0.01, 0.03), (0.06, 0.02, 0.10), "dark share") == (
        "Pots with sugar came out 6.0 percentage points larger in dark share than pots without "
        "(95 % interval 2.0 to 10.0 larger); reckoned by the amount, 2.0 percentage points larger in dark "
        "share for each gram (1.0 to 3.0), judged on 36 pots in 6 firings."
    )
    assert words_for("dark share [%]").said(6.0, 1) == "6.0 percentage points larger in dark share"


def test_units_of_effects():
    assert effect_unit("L* median", "g") == "L* per g"
    assert effect_unit("rating", "") == "rating"
    assert effect_unit("shrinkage [mm]", "degC") == "mm per degC"
    assert effect_unit("dark share", "min") == "share per min"


def test_digits_follow_the_uncertainty():
    assert [digits_for(width) for width in (0.0123, 0.996, 1.0, 9.96, 42, 123)] == [3, 1, 1, 0, 0, -1]
    assert digits_for(float("nan")) == 2
    assert words_for("L*").said(1234, digits_for(123)) == "1230 L* lighter"


def test_no_big_words_and_everything_escaped():
    from sagglab.model.effects import fit_effects

    rng = np.random.default_rng(5)
    table = pd.DataFrame(
        {
            "firing": np.repeat(["<f1>", "<f2>", "<f3>"], 6),
            "<b>salt</b> [g]": rng.permutation(np.arange(18) % 3.0),
            "clay": rng.permutation(["<i>buff</i>", "a & b"] * 9),
            "L*": rng.normal(40, 3, 18),
        }
    )
    table.loc[2, "L*"] = np.nan
    effects = fit_effects(table, factors=["<b>salt</b>", "clay"])
    page = effects._repr_html_()
    assert "<b>" not in page
    assert "<i>" not in page
    assert "&lt;b&gt;salt&lt;/b&gt;" in page
    assert "a &amp; b" in page
    assert "1 row left out" in page
    assert "<p>L* of 17 pots in 3 firings; 1 row left out</p>" in page
    for text in effects.sentences():
        assert not re.search(r"significan|caus|p-value|-\d", text)
        assert text.endswith(".")
