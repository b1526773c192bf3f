import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sagglab.model.contrasts import Contrast
from sagglab.model.dependence import Piece
from sagglab.model.effects import fit_effects
from sagglab.model.scale import Scale
from sagglab.model.sentences import About, factor_sentence, term_sentence
from sagglab.model.terms import Factor, Term

SUGAR = Factor("sugar [g]", "sugar", "g", tried=(0.0, 2.0, 4.0), lacking=True)


def lines(stratum="pot", **terms):
    """Rows of a table of effects from term=(estimate, low, high)."""
    named = {term.replace("__", ": ").replace("_", " "): values for term, values in terms.items()}
    table = pd.DataFrame.from_dict(named, orient="index", columns=["estimate", "low", "high"])
    blank = dict.fromkeys(["from", "to", "to low", "to high", "p", "p Holm"], np.nan)
    return table.assign(stratum=stratum, **blank).rename_axis("term").reset_index()


def said(factor, table, outcome="L*", pots=36, firings=6, **more):
    return factor_sentence(factor, table, About(outcome, pots, firings, **more))


def of_sugar(slope, presence, **more):
    return said(SUGAR, lines(sugar=slope, with_sugar=presence), **more)


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
        "Between pots with sugar and pots without, the data cannot tell: anywhere from 1.2 L* darker to 3.0 "
        "L* lighter fits; reckoned by the amount they can: 1.8 L* darker for each gram (95 % interval 0.3 "
        "to 3.3 darker), judged on 36 pots in 6 firings."
    )


def test_an_amount_that_every_pot_has():
    height = Factor("height [cm]", "height", "cm", tried=(10.0, 14.0))
    assert said(height, lines(height=(0.8, 0.2, 1.4))) == (
        "For each centimetre of height, pots came out 0.80 L* lighter "
        "(95 % interval 0.20 to 1.40 lighter), judged on 36 pots in 6 firings."
    )


@pytest.mark.parametrize(
    ("name", "unit", "start"),
    [
        ("peak_C", "degC", "For each 10 °C higher peak, "),
        ("target peak [degC]", "degC", "For each 10 °C higher target peak, "),
        ("minutes_above_660_C", "min", "For each 10 minutes more above 660 °C, "),
        ("minutes_to_peak", "min", "For each 10 minutes more to peak, "),
        ("climb_C_per_h", "degC/h", "For each 10 °C/h higher climb, "),
    ],
)
def test_firing_measures(name, unit, start):
    factor = Factor(name, name, unit, tried=(700.0, 800.0))
    rows = lines("firing", change=(-0.05, -0.09, -0.01)).assign(term=name)
    assert said(factor, rows) == (
        f"{start}pots came out 0.50 L* darker (95 % interval 0.10 to 0.90 darker), judged on 6 firings."
    )
    unclear = rows.assign(high=0.02)
    assert said(factor, unclear) == (
        f"{start}the data cannot tell: anywhere from 0.90 L* darker to 0.20 L* lighter fits, "
        "judged on 6 firings."
    )


def test_one_firing():
    peak = Factor("peak_C", "peak_C", "degC", constant=True)
    rows = lines("firing", x=(np.nan, np.nan, np.nan)).assign(term="peak_C")
    assert said(peak, rows, pots=12, firings=1) == "One firing cannot tell about peak: all 12 pots shared it."


def test_two_levels():
    packing = Factor("packing", "packing", "", ("sawdust", "seaweed"))
    name = "packing: seaweed − sawdust"
    assert said(packing, lines(x=(2.1, 0.4, 3.8)).assign(term=name)) == (
        "Pots with packing seaweed came out 2.1 L* lighter than pots with packing sawdust "
        "(95 % interval 0.4 to 3.8 lighter), judged on 36 pots in 6 firings."
    )
    assert said(packing, lines(x=(1.1, -0.6, 2.8)).assign(term=name)) == (
        "Between pots with packing seaweed and pots with packing sawdust, the data cannot tell: "
        "anywhere from 0.6 L* darker to 2.8 L* lighter fits for seaweed, judged on 36 pots in 6 firings."
    )


def test_several_levels():
    clay = Factor("clay", "clay", "", ("buff", "red", "white"))
    rows = lines(clay__buff=(1.0, 0.1, 1.9), clay__red=(-1.2, -2.2, -0.2), clay__white=(0.2, -1, 1.4))
    assert said(clay, rows) == (
        "Against the mean of the 3 kinds of clay, buff came out 1.00 L* lighter (95 % interval 0.10 to 1.90 "
        "lighter); red came out 1.2 L* darker (95 % interval 0.2 to 2.2 darker); for white the data cannot "
        "tell: anywhere from 1.0 L* darker to 1.4 L* lighter fits, judged on 36 pots in 6 firings."
    )


def test_an_eye_is_asked_over_what_was_tried():
    table = lines(sugar=(-1.8, -2.3, -1.3), with_sugar=(-5.4, -6.9, -3.9))
    table[["from", "to", "to low", "to high"]] = [[42, 34.8, 32.8, 36.8], [42, 36.6, 35.1, 38.1]]
    # ΔL* of 5.4 about L* 39 is ΔE00 4.7, by SL = 1.16 there (ISO/CIE 11664-6).
    assert "(95 % interval 3.9 to 6.9 darker); plain to see (ΔE00 4.7); reckoned" in said(
        SUGAR, table, colour=(40.0, 8.0, 9.0)
    )
    table[["from", "to", "to low", "to high"]] = [[42, 41.6, 41.4, 41.8]] * 2
    assert "too little for an eye to see (ΔE00 0.4)" in said(SUGAR, table, colour=(40.0, 8.0, 9.0))
    slope = lines(height=(0.8, 0.2, 1.4)).assign(
        **{"from": 38.0, "to": 41.2, "to low": 38.8, "to high": 43.6}
    )
    height = Factor("height [cm]", "height", "cm", tried=(10.0, 14.0))
    assert (
        "; over the 10 to 14 cm tried, at the least too little for an eye to see, at the most plain to see "
        "(ΔE00 2.8, 0.7 to 5.0), judged"
    ) in said(height, slope, colour=(40.0, 8.0, 9.0))


def test_no_eye_without_the_colour_or_for_what_is_no_coordinate():
    table = lines(sugar=(-1.8, -2.3, -1.3), with_sugar=(-5.4, -6.9, -3.9))
    table[["from", "to", "to low", "to high"]] = [[42, 34.8, 32.8, 36.8], [42, 36.6, 35.1, 38.1]]
    assert "ΔE00" not in said(SUGAR, table)
    assert "ΔE00" not in said(SUGAR, table, outcome="C*ab", colour=(40.0, 8.0, 9.0))


def test_a_difference_too_small_to_see_is_said_also_when_its_sign_is_open():
    table = lines(sugar=(0.0, -0.1, 0.1), with_sugar=(0.1, -0.3, 0.5))
    table[["from", "to", "to low", "to high"]] = [[40, 40, 39.6, 40.4], [40, 40.1, 39.7, 40.5]]
    assert "; whatever it is, too little for an eye to see, judged" in said(SUGAR, table, colour=(40.0, 8, 9))


def test_clear_by_itself_is_not_sure_among_many():
    table = lines(sugar=(-0.9, -1.7, -0.1), with_sugar=(-2.0, -3.9, -0.1)).assign(p=0.041, **{"p Holm": 0.29})
    assert said(SUGAR, table) == (
        "Pots with sugar came out 2.0 L* darker than pots without (95 % interval 0.1 to 3.9 darker); not "
        "sure: of so many effects asked at once, chance may give one like it (p 0.041; allowing for all, "
        "0.29); reckoned by the amount, 0.90 L* darker for each gram (0.10 to 1.70), judged on 36 pots in 6 "
        "firings."
    )
    sure = said(SUGAR, table.assign(**{"p Holm": 0.049}))
    assert "not sure" not in sure


SHARE = {"outcome": "dark share", "scale": Scale(whole=1.0)}


def test_shares_are_said_at_both_ends():
    table = lines(sugar=(0.4, 0.2, 0.6), with_sugar=(0.9, 0.4, 1.4))
    table[["from", "to", "to low", "to high"]] = [[0.2, 0.55, 0.4, 0.7], [0.23, 0.41, 0.31, 0.52]]
    assert said(SUGAR, table, **SHARE) == (
        "The dark share was 41 % with sugar (95 % interval 31 to 52 %), where it was 23 % without sugar, "
        "judged on 36 pots in 6 firings."
    )
    assert said(SUGAR, table.assign(low=-0.2), **SHARE) == (
        "In the dark share the data cannot tell: where it was 23 % without sugar, anywhere from 31 to 52 % "
        "fits with sugar, judged on 36 pots in 6 firings."
    )
    peak = Factor("peak_C", "peak_C", "degC", tried=(721.0, 776.0))
    rows = lines("firing", x=(0.1, 0.05, 0.15)).assign(term="peak_C")
    rows[["from", "to", "to low", "to high"]] = [0.1, 0.3, 0.2, 0.4]
    assert said(peak, rows, **SHARE) == (
        "The dark share was 30 % at 776 °C of peak (95 % interval 20 to 40 %), where it was 10 % at 721 °C "
        "of peak, judged on 6 firings."
    )
    clay = Factor("clay", "clay", "", ("buff", "red", "white"))
    kinds = lines(clay__buff=(0.1, 0, 0.2), clay__red=(-0.1, -0.2, 0), clay__white=(0, -0.1, 0.1))
    kinds[["from", "to", "to low", "to high"]] = [0.3, 0.35, 0.3, 0.4]
    assert said(clay, kinds, **SHARE) == (
        "By clay the dark share was buff 35 % (30 to 40 %), red 35 % (30 to 40 %), white 35 % (30 to 40 %), "
        "where the mean of all is 30 %, judged on 36 pots in 6 firings."
    )


def test_a_share_that_shows_by_the_amount_alone_is_said_by_the_amount():
    table = lines(sugar=(0.4, 0.2, 0.6), with_sugar=(0.9, -0.4, 2.2))
    table[["from", "to", "to low", "to high"]] = [[0.2, 0.55, 0.4, 0.7], [0.23, 0.41, 0.15, 0.62]]
    assert said(SUGAR, table, **SHARE) == (
        "The dark share was 55 % at 4 g of sugar (95 % interval 40 to 70 %), where it was 20 % at 0 g of "
        "sugar, judged on 36 pots in 6 firings."
    )


def test_other_forms_are_said_over_what_was_tried():
    table = pd.DataFrame({"term": ["square root of sugar"], "estimate": -3.0, "low": -4.0, "high": -2.0})
    table[["from", "to", "to low", "to high"]] = [42.0, 36, 34, 38]
    table[["p", "p Holm", "stratum"]] = [[0.001, 0.002, "pot"]]
    root = replace(SUGAR, form="square root")
    assert said(root, table) == (
        "From 0 to 4 g of sugar, reckoned by its square root, pots came out 6.0 L* darker (95 % interval "
        "4.0 to 8.0 darker), judged on 36 pots in 6 firings."
    )
    unclear = table.assign(term="log(1 + sugar)", high=1.0).assign(**{"to high": 44.0})
    assert said(replace(SUGAR, form="log1p"), unclear) == (
        "From 0 to 4 g of sugar, reckoned by its logarithm, the data cannot tell: anywhere from 8.0 L* "
        "darker to 2.0 L* lighter fits, judged on 36 pots in 6 firings."
    )
    with_it = table.assign(term="with sugar")
    assert said(replace(SUGAR, form="with or without"), with_it).startswith(
        "Pots with sugar came out 6.0 L* darker than pots without (95 % interval 4.0 to 8.0 darker), judged "
        "on"
    )


def pair(estimate, low, high, p_holm, found=()):
    clay = Factor("clay", "clay", "", ("buff", "white"))
    term = Term((SUGAR, clay))
    row = term.rows()[0]
    table = lines(x=(estimate, low, high)).assign(term=row.name, p=p_holm / 3, **{"p Holm": p_holm})
    return term_sentence(term, table, found, About("L*", 36, 6))


ON_EACH = (
    Piece("with clay buff", "for each gram", Contrast(-2.0, 0.2, 20)),
    Piece("with clay white", "for each gram", Contrast(-0.1, 0.2, 20)),
)


def test_two_factors_together():
    assert pair(1.9, 1.1, 2.7, 0.01, ON_EACH) == (
        "What sugar does depends on clay: with clay buff 2.00 L* darker for each gram (1.58 to 2.42); with "
        "clay white for each gram anywhere from 0.52 L* darker to 0.32 L* lighter fits, judged on 36 pots "
        "in 6 firings."
    )
    assert pair(-0.2, -1.0, 0.6, 1.0) == (
        "Whether what sugar does depends on clay, the data cannot tell, judged on 36 pots in 6 firings."
    )
    assert pair(-1.2, -2.3, -0.1, 0.2).startswith(
        "Whether what sugar does depends on clay, the data cannot tell; not sure: of so many effects"
    )


def test_levels_above_the_firing():
    table = lines("day", x=(1.0, 0.2, 1.8)).assign(term="wind: calm − breezy")
    wind = Factor("wind", "wind", "", ("breezy", "calm"))
    assert said(wind, table, outer={"day": 3}).endswith("judged on 3 days.")


def test_no_big_words_and_everything_escaped():
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
    assert ">L* of 17 pots in 3 firings; 1 row left out (2: no L*)</p>" in page
    for text in effects.sentences():
        assert not re.search(r"significan|caus|p-value|-\d", text)
        assert text.endswith(".")
