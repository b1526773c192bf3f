import re

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.odds import COLUMNS
from sagglab.model.ordered import fit_ordered
from sagglab.model.ratings import METHOD, fit_ratings


def shelf(firings=6, pots=6, seed=5, slope=0.9):
    """An invented studio whose maker likes sugar."""
    rng = np.random.default_rng(seed)
    n = firings * pots
    label = np.repeat(np.arange(firings), pots)
    table = pd.DataFrame(
        {
            "pot": [f"p{i:03d}" for i in range(n)],
            "firing": [f"f{i:02d}" for i in label],
            "sugar [g]": rng.permutation(np.arange(n) % 4).astype(float),
            "clay": rng.permutation(np.array(["buff", "red", "white"])[np.arange(n) % 3]),
            "packing": rng.permutation(np.array(["sawdust", "seaweed"])[np.arange(n) % 2]),
            "peak_C": np.linspace(720, 780, firings)[label],
        }
    )
    liked = slope * table["sugar [g]"] + rng.normal(size=firings)[label] + rng.logistic(size=n)
    table["rating"] = 1 + np.digitize(liked, np.quantile(liked, [0.15, 0.4, 0.65, 0.85]))
    return table


def rows(odds):
    return odds.table.set_index("term")


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        fit_ratings(*args, **kwargs)
    return str(caught.value)


@pytest.fixture(scope="module")
def odds():
    return fit_ratings(shelf(), ["sugar", "clay", "packing", "peak_C"])


class TestTable:
    def test_columns_terms_and_units(self, odds):
        assert tuple(odds.table.columns) == COLUMNS
        assert dict(zip(odds.table["term"], odds.table["unit"], strict=True)) == {
            "sugar": "log odds per g",
            "clay: buff": "log odds",
            "clay: red": "log odds",
            "clay: white": "log odds",
            "packing: seaweed − sawdust": "log odds",
            "peak_C": "log odds per degC",
        }
        assert set(odds.table["method"]) == {METHOD}
        assert "999 deals within firings" in METHOD
        assert (odds.pots, odds.firings, odds.outcome) == (36, 6, "rating")

    def test_known_odds_are_found_in_a_large_study(self):
        row = rows(fit_ratings(shelf(firings=6, pots=60), ["sugar"])).loc["sugar"]
        assert row["low"] < 0.9 < row["high"]
        assert row["high"] - row["low"] < 0.6
        assert row["p"] == pytest.approx(1 / 1000)

    def test_levels_against_their_mean_add_up_to_nothing(self, odds):
        clay = odds.table[odds.table["term"].str.startswith("clay")]
        assert clay["estimate"].sum() == pytest.approx(0, abs=1e-6)
        assert clay["note"].str.startswith("clay as a whole: p ").all()

    def test_test_and_interval_agree(self):
        for seed in range(8):
            table = fit_ratings(shelf(firings=4, seed=seed, slope=0.5), ["sugar", "packing"]).table
            assert ((table["low"] > 0) | (table["high"] < 0)).tolist() == (table["p"] <= 0.05).tolist()

    def test_the_ends_lose_as_much_as_the_deals_allow(self):
        table = shelf()
        odds = rows(fit_ratings(table, ["sugar"])).loc["sugar"]
        y = table["rating"].to_numpy()[None] - 1
        blocks = (table["firing"].to_numpy()[:, None] == np.unique(table["firing"])[1:]).astype(float)
        sugar = table["sugar [g]"].to_numpy()
        low, best, high = (
            fit_ordered(y, blocks, odds[at] * sugar).loglik[0] for at in ("low", "estimate", "high")
        )
        assert low == pytest.approx(high, abs=1e-4)
        # Wider than chi-squared would have it, and not by a factor that no one would believe.
        assert 3.8415 < 2 * (best - low) < 2 * 3.8415

    def test_the_unit_scales_the_estimate(self):
        table = shelf()
        table["sugar [kg]"] = table["sugar [g]"] / 1000
        grams = rows(fit_ratings(table, ["sugar [g]"])).iloc[0]
        kilos = rows(fit_ratings(table, ["sugar [kg]"])).iloc[0]
        assert kilos["p"] == grams["p"]
        for column in ("estimate", "low", "high"):
            assert kilos[column] == pytest.approx(1000 * grams[column], rel=1e-6)

    def test_unused_ratings_do_not_matter(self):
        table = shelf()
        wide = table.assign(rating=table["rating"] * 10)
        one, two = (fit_ratings(each, ["sugar"]).table for each in (table, wide))
        pd.testing.assert_frame_equal(one, two)

    def test_one_firing(self):
        odds = fit_ratings(shelf(firings=1, pots=24), ["sugar"])
        assert odds.sentence("sugar").endswith("judged on 24 pots of one firing.")

    def test_the_same_again(self, odds):
        again = fit_ratings(shelf(), ["sugar", "clay", "packing", "peak_C"])
        pd.testing.assert_frame_equal(again.table, odds.table)

    @pytest.mark.parametrize("seed", range(3))
    def test_the_order_of_rows_and_factors_does_not_matter(self, odds, seed):
        mixed = shelf().sample(frac=1, random_state=seed)
        again = fit_ratings(mixed, ["packing", "sugar", "peak_C", "clay"]).table.set_index("term")
        pd.testing.assert_frame_equal(again.loc[odds.table["term"]], rows(odds), rtol=1e-7)

    def test_the_table_given_is_left_as_it_was(self):
        table = shelf()
        before = table.copy(deep=True)
        fit_ratings(table, ["sugar", "clay"])
        pd.testing.assert_frame_equal(table, before)


class TestWhatCannotBeTold:
    def test_a_factor_of_the_firing(self, odds):
        row = rows(odds).loc["peak_C"]
        assert row[["estimate", "low", "high", "odds ratio", "p", "p Holm"]].isna().all()
        assert row["stratum"] == "firing"
        assert "cannot be told from the firing itself" in odds.sentence("peak_C")
        assert np.isfinite(rows(odds).loc["sugar", "p"])

    def test_only_factors_of_the_firing(self):
        assert fit_ratings(shelf(), ["peak_C"]).table["p"].isna().all()

    def test_firings_that_tell_nothing_are_counted(self):
        table = shelf()
        table.loc[table["firing"] == "f00", "rating"] = 5
        alone = table.iloc[[-1]].assign(firing="f99", pot="p999")
        odds = fit_ratings(pd.concat([table, alone], ignore_index=True), ["sugar"])
        assert odds.warnings[0] == (
            "2 firings tell nothing here: a single pot, or all pots with the highest or all with the lowest "
            "rating."
        )
        assert (odds.pots, odds.firings) == (37, 7)
        assert odds.sentence("sugar").endswith("judged on 30 pots in 5 firings.")

    def test_few_pots_are_said(self, odds):
        # 4 cuts, 5 firings, 1 + 2 + 1 columns.
        assert odds.warnings == (
            "Few pots: 36 for 13 figures to be settled, where ten for each are wanted; take the odds as "
            "rough, and as likely too far from 1.",
        )
        assert fit_ratings(shelf(firings=2, pots=60), ["sugar"]).warnings == ()

    def test_blank_ratings_are_listed(self):
        table = shelf().astype({"rating": float})
        table.loc[4, "rating"] = np.nan
        odds = fit_ratings(table, ["sugar"])
        assert odds.left_out[["pot", "reason"]].to_numpy().tolist() == [["p004", "no rating"]]
        assert repr(odds).startswith("rating of 35 pots in 6 firings; 1 row left out")


IN_ORDER = "the ratings within firings in order without a miss"


@pytest.fixture(scope="module")
def sweet():
    """A maker who rates by sugar alone."""
    table = shelf().assign(rating=lambda t: t["sugar [g]"].astype(int) + 1)
    return table, fit_ratings(table, ["sugar", "clay", "packing"])


class TestInOrder:
    """Factors that put the ratings in order, so that their odds have one end only."""

    def test_the_factor_itself_has_a_near_end_and_a_p(self, sweet):
        row = rows(sweet[1]).loc["sugar"]
        assert row[["estimate", "high", "odds high"]].tolist() == [np.inf] * 3
        assert 1 < row["low"] < 20
        assert row["p"] == pytest.approx(1 / 1000)
        assert row["note"] == f"no upper end can be had: sugar puts {IN_ORDER}"

    def test_its_near_end_loses_what_the_deals_allow(self):
        table = shelf().assign(rating=lambda t: t["sugar [g]"].astype(int) + 1)
        low = rows(fit_ratings(table, ["sugar"])).loc["sugar", "low"]
        blocks = (table["firing"].to_numpy()[:, None] == np.unique(table["firing"])[1:]).astype(float)
        sugar = table["sugar [g]"].to_numpy()
        # Without a miss the greatest likelihood is 1.
        lost = -2 * fit_ordered(sugar.astype(int)[None], blocks, low * sugar).loglik[0]
        assert 3.8415 < lost < 2 * 3.8415

    def test_the_others_are_judged_without_it(self, sweet):
        table, odds = sweet
        alone = rows(fit_ratings(table, ["clay", "packing"]))
        found = rows(odds).loc[alone.index]
        assert found["note"].str.endswith(f"judged without sugar, which puts {IN_ORDER}").all()
        assert np.isfinite(found[["estimate", "low", "high", "p"]]).all(axis=None)
        for column in ("estimate", "p", "low", "high"):
            # Sugar has a say in the order of the deals, not in the fit.
            tolerance = 1e-6 if column == "estimate" else 0.3
            assert found[column].to_numpy() == pytest.approx(alone[column].to_numpy(), rel=tolerance)

    def test_sentences(self, sweet):
        assert re.fullmatch(
            r"For each gram of sugar, pots were rated higher: the odds of a higher rating were at least \d+ "
            r"times as large \(lower end of the 95 % interval\); no upper end can be had: sugar puts "
            rf"{IN_ORDER}, judged on 36 pots in 6 firings\.",
            sweet[1].sentence("sugar"),
        )
        assert (
            sweet[1]
            .sentence("packing")
            .endswith(f", judged on 36 pots in 6 firings without sugar, which puts {IN_ORDER}.")
        )

    def test_turned_round(self):
        table = shelf().assign(rating=lambda t: 5 - t["sugar [g]"].astype(int))
        row = fit_ratings(table, ["sugar"]).table.iloc[0]
        assert [row["estimate"], row["low"], row["odds ratio"]] == [-np.inf, -np.inf, 0]
        assert -20 < row["high"] < -1

    def test_what_leaves_ties_keeps_the_others_in_its_company(self):
        # All of the best pots were marked, and the other ratings are mixed.
        table = shelf()
        table["marked"] = np.where(table["rating"] == 5, "yes", "no")
        odds = rows(fit_ratings(table, ["sugar", "marked"]))
        assert odds.loc["marked: yes − no", "note"] == f"no upper end can be had: marked puts {IN_ORDER}"
        assert odds.loc["sugar", "note"] == ""
        assert np.isfinite(odds.loc["sugar", "estimate"])

    def test_a_category_of_three(self):
        table = shelf().assign(rating=lambda t: t["clay"].map({"buff": 1, "red": 2, "white": 3}))
        odds = rows(fit_ratings(table, ["clay", "packing"]))
        assert odds.loc["clay: buff", "estimate"] == -np.inf
        assert odds.loc["clay: white", "estimate"] == np.inf
        middle = odds.loc["clay: red"]
        assert [middle["low"], middle["high"], middle["p"]] == [-np.inf, np.inf, 1]
        assert middle["note"].startswith(f"no end can be had: clay puts {IN_ORDER}")
        assert np.isfinite(odds.loc["packing: seaweed − sawdust", "estimate"])

    def test_each_of_two(self):
        table = shelf().assign(rating=lambda t: t["sugar [g]"].astype(int) + 1)
        table["weight"] = table["sugar [g]"] + 0.1 * np.random.default_rng(0).random(len(table))
        odds = rows(fit_ratings(table, ["sugar", "weight", "packing"]))
        assert odds.loc[["sugar", "weight"], "p"].max() <= 0.01
        assert odds.loc["packing: seaweed − sawdust", "note"] == (
            f"judged without sugar and weight, each of which puts {IN_ORDER}"
        )

    def test_two_together(self):
        table = shelf(seed=3)
        rng = np.random.default_rng(3)
        table["salt [g]"] = rng.permutation(np.arange(36) % 3).astype(float)
        table["rating"] = 1 + (table["sugar [g]"] + table["salt [g]"]).astype(int)
        odds = rows(fit_ratings(table, ["sugar", "salt", "packing"]))
        for name in ("sugar", "salt"):
            assert odds.loc[name, "note"] == (
                f"no upper end can be had: sugar and salt together put {IN_ORDER}"
            )
            assert odds.loc[name, "estimate"] == np.inf
            assert odds.loc[name, "low"] > 0
        assert odds.loc["packing: seaweed − sawdust", "note"] == (
            f"judged without sugar and salt, which together put {IN_ORDER}"
        )


class TestSentences:
    def test_clear_amount(self, odds):
        assert re.fullmatch(
            r"For each gram of sugar, pots were rated higher: the odds of a higher rating were [\d.]+ times "
            r"as large \(95 % interval [\d.]+ to [\d.]+\), judged on 36 pots in 6 firings\.",
            odds.sentence("sugar"),
        )

    def test_with_or_without(self):
        table = shelf(firings=8)
        table["sugar [g]"] = (table["sugar [g]"] > 1) * 4.0
        said = fit_ratings(table, ["sugar"], forms={"sugar": "with or without"}).sentence("sugar")
        assert said.startswith("Pots with sugar were rated higher: the odds of a higher rating were ")

    def test_unclear(self, odds):
        assert re.fullmatch(
            r"Between pots with packing seaweed and pots with packing sawdust, the data cannot tell: "
            r"anywhere from 0\.\d+ to [\d.]+ times the odds of a higher rating fits for seaweed, "
            r"judged on 36 pots in 6 firings\.",
            odds.sentence("packing"),
        )
        assert odds.sentence("clay").startswith("Against the mean of the 3 kinds of clay: for buff the data ")

    def test_shown(self, odds):
        assert len(odds.sentences()) == 4
        assert not re.search("signific|caused", repr(odds))
        assert "<table>" in odds._repr_html_()

    def test_unknown_name(self, odds):
        with pytest.raises(UnknownNameError, match="odds of 'salt': the model has no such factor"):
            odds.sentence("salt")


class TestRefusals:
    def test_parts_of_ratings(self):
        assert refusal(shelf().assign(rating=2.5), ["sugar"]) == (
            "column 'rating': it holds 2.5, and ratings are whole numbers. Write 1 to 5."
        )

    def test_words(self):
        assert "it is not a column of numbers" in refusal(shelf().assign(rating="fine"), ["sugar"])

    def test_one_rating(self):
        assert refusal(shelf().assign(rating=3), ["sugar"]) == (
            "column 'rating': every pot is rated 3. Rate the pots against each other."
        )

    def test_a_measure(self):
        measured = shelf().assign(rating=np.arange(36) % 26 * 2 + 50)
        assert refusal(measured, ["sugar"]) == (
            "column 'rating': it holds 26 different numbers, from 50 to 100, and that is no scale of "
            "ratings. Write 1 to 5; for a measure, name its column in another way and use fit_effects."
        )

    def test_a_scale_of_ten_is_taken(self):
        assert fit_ratings(shelf().assign(rating=np.arange(36) % 10 + 1), ["sugar"]).pots == 36

    @pytest.mark.parametrize("slip", [55, -20])
    def test_a_slip_of_the_pen(self, slip):
        table = shelf()
        table.loc[7, "rating"] = slip
        assert refusal(table, ["sugar"]) == (
            f"column 'rating': p007 is rated {slip}, where the others have 1 to 5. "
            "Mend it, or leave it blank."
        )
        assert "row 7 is rated" in refusal(table.drop(columns="pot"), ["sugar"])

    def test_wide_steps_throughout_are_no_slip(self):
        table = shelf()
        table["rating"] = np.where(table["rating"] == 5, 4, table["rating"]) * 10
        table.loc[7, "rating"] = 50
        assert fit_ratings(table, ["sugar"]).pots == 36

    def test_firings_all_rated_alike(self):
        table = shelf(firings=2)
        table["rating"] = np.where(table["firing"] == "f00", 1, 2)
        assert refusal(table, ["sugar"]) == (
            "model of rating: no firing tells anything: each has one pot, or one rating at an end of the "
            "scale. Add firings whose pots are rated differently."
        )

    def test_too_few_pots(self):
        assert refusal(shelf(firings=5, pots=2), ["sugar", "packing"]) == (
            "model of rating: 10 pots cannot settle 10 figures. Ask for fewer factors, or rate more pots."
        )

    def test_what_always_changes_together(self):
        table = shelf().assign(salt=lambda t: 2 * t["sugar [g]"])
        assert "salt" in refusal(table, ["sugar", "salt"])
