"""The answer in short: few words, and the verdict of the model's own sentence."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sagglab.handout.in_short import in_short
from sagglab.model.effects import fit_effects
from sagglab.model.ratings import fit_ratings

WORDS = 25


def pots(by_gram=-2.0, seed=1, clays=("buff", "white")):
    """Pots of six firings, darker by so much for each gram of sugar, and alike in the rest."""
    rng = np.random.default_rng(seed)
    table = pd.DataFrame(
        {
            "firing": np.repeat([f"f{number}" for number in range(6)], 6),
            "sugar [g]": np.tile([0.0, 2, 4], 12),
            "clay": rng.choice(clays, 36),
            "salt [g]": rng.choice([0.0, 3.0], 36),
            "peak_C": np.repeat([740.0, 750, 760, 745, 755, 765], 6),
        }
    )
    table["L*"] = 45 + by_gram * table["sugar [g]"] + rng.normal(0, 1, 36)
    table["dark share"] = np.clip(0.2 + 0.1 * table["sugar [g]"] + rng.normal(0, 0.02, 36), 0.01, 0.99)
    table["rating"] = np.clip(np.round(2 + table["sugar [g]"] + rng.normal(0, 2, 36)), 1, 6)
    return table


def test_which_way_how_much_and_how_sure():
    effects = fit_effects(pots(), factors=["sugar", "clay", "salt"])
    said = in_short(effects, "sugar [g]")
    size = abs(effects.table.set_index("term").loc["with sugar", "estimate"])
    assert (
        said
        == f"Pots with sugar came out darker, by about {size:.0f} steps of lightness (of 100); this is sure."
    )
    lighter = in_short(fit_effects(pots(2.0), factors=["sugar"]), "sugar [g]")
    assert "lighter" in lighter and "darker" not in lighter


def with_p_holm(effects, **p):
    table = effects.table.set_index("term")
    for term, value in p.items():
        table.loc[term.replace("_", " "), "p Holm"] = value
    return replace(effects, table=table.reset_index())


def test_its_doubt_is_that_of_the_table():
    effects = fit_effects(pots(), factors=["sugar"])
    neither = with_p_holm(effects, with_sugar=0.11, sugar=0.11)
    assert in_short(neither, "sugar [g]").endswith("; this is not sure.")
    assert "not sure" in neither.sentence("sugar")


@pytest.mark.parametrize("heading", ["salt [g]", "clay", "peak_C"])
def test_what_the_data_cannot_tell_is_not_told(heading):
    table = pots()
    effects = fit_effects(table, factors=["sugar", "clay", "salt", "peak_C"])
    assert "cannot tell" in effects.sentence(heading)
    said = in_short(effects, heading)
    assert said.startswith("These pots cannot tell whether ") and "darker or lighter" in said


def test_of_three_kinds_the_surest_is_told():
    table = pots(clays=("buff", "red", "white"))
    table.loc[table["clay"] == "white", "L*"] += 12
    said = in_short(fit_effects(table, factors=["sugar", "clay"]), "clay")
    assert said.endswith("; this is sure.") and " than the mean of the 3 kinds, by about " in said


def test_a_share_is_told_in_points_and_a_rating_in_odds():
    share = in_short(fit_effects(pots(), "dark share", ["sugar"]), "sugar [g]")
    assert share.startswith("Pots with sugar came out larger in dark share, by about ")
    assert share.endswith("percentage points; this is sure.")
    odds = in_short(fit_ratings(pots(), ["sugar"]), "sugar [g]")
    assert odds.startswith(
        "Pots were rated higher with each gram of sugar: the odds of a higher rating about "
    )


def test_it_is_short_and_without_words_of_statistics():
    for outcome in ("L*", "dark share"):
        effects = fit_effects(pots(), outcome, ["sugar", "clay", "salt", "peak_C"])
        for factor in effects.factors:
            said = in_short(effects, factor.heading)
            assert len(said.split()) <= WORDS
            assert not any(word in said for word in ("interval", "ΔE00", "(p ", "95 %"))
