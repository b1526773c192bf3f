"""Pots of one kind against pots of another in the same firing, checked against other implementations."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.matched import ALONE, COLUMNS, FIRING_COLUMNS, UNJOINED, compare


def paired(firings=8, seed=41):
    """One pot of each kind in every firing."""
    rng = np.random.default_rng(seed)
    y = 40 + rng.normal(0, 3, firings)[:, None] + rng.normal(0, 2, (firings, 2)) - [0, 3]
    return pd.DataFrame(
        {
            "firing": np.repeat([f"f{k}" for k in range(firings)], 2),
            "sugar [g]": np.tile([0.0, 2.0], firings),
            "L*": y.ravel(),
        }
    )


def uneven(seed=43):
    """Five firings of three kinds of clay, uneven, one firing without white."""
    rng = np.random.default_rng(seed)
    firing = np.repeat(np.arange(5), [4, 6, 5, 3, 7])
    clay = rng.permutation(np.array(["buff", "red", "white"])[np.arange(25) % 3])
    clay[firing == 3] = ["buff", "red", "red"]
    shift = pd.Series(clay).map({"buff": 0.0, "red": -4.0, "white": 3.0}).to_numpy()
    y = 40 + rng.normal(0, 3, 5)[firing] + shift + rng.normal(0, 2, 25)
    return pd.DataFrame({"firing": [f"f{k}" for k in firing], "clay": clay, "L*": y})


def small(values, sugar=(0, 2), firings=3):
    each = len(values) // firings
    return pd.DataFrame(
        {
            "firing": np.repeat([f"f{k + 1}" for k in range(firings)], each),
            "sugar [g]": np.tile(np.resize(sugar, each), firings).astype(float),
            "L*": np.asarray(values, dtype=float),
        }
    )


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        compare(*args, **kwargs)
    return str(caught.value)


class TestAgainstOthers:
    def test_one_pot_of_each_kind_is_the_paired_t_test_both_ways(self):
        results = paired()
        row = compare(results, "sugar").table.iloc[0]
        without, having = results["L*"].to_numpy().reshape(-1, 2).T
        theirs = stats.ttest_rel(having, without)
        interval = theirs.confidence_interval()
        expected = [(having - without).mean(), interval.low, interval.high, theirs.df, theirs.pvalue]
        for names in (
            ["estimate", "low", "high", "df", "p"],
            ["by firing", "by firing low", "by firing high", "by firing df", "by firing p"],
        ):
            np.testing.assert_allclose(row[names].to_numpy(dtype=float), expected, rtol=1e-10)
        assert row["estimate"] / row["standard error"] == pytest.approx(theirs.statistic, rel=1e-10)

    def test_uneven_firings_are_least_squares_with_dummies(self):
        from statsmodels.formula.api import ols
        from statsmodels.stats.multitest import multipletests

        results = uneven()
        table = compare(results, "clay").table.set_index("pair")
        fit = ols("y ~ C(firing) + C(clay)", results.rename(columns={"L*": "y"})).fit()
        red, white = "C(clay)[T.red]", "C(clay)[T.white]"
        asked = {
            "clay: red − buff": f"{red} = 0",
            "clay: white − buff": f"{white} = 0",
            "clay: white − red": f"{white} - {red} = 0",
        }
        assert set(table.index) == set(asked)
        for pair, hypothesis in asked.items():
            test = fit.t_test(hypothesis)
            low, high = test.conf_int()[0]
            expected = [test.effect[0], test.sd[0, 0], low, high, test.df_denom, float(test.pvalue)]
            ours = table.loc[pair, ["estimate", "standard error", "low", "high", "df", "p"]]
            np.testing.assert_allclose(ours.to_numpy(dtype=float), expected, rtol=1e-8)
        np.testing.assert_allclose(table["p Holm"], multipletests(table["p"], method="holm")[1], rtol=1e-10)

    def test_firing_by_firing_is_a_t_test_of_the_firings_differences(self):
        results = uneven()
        comparison = compare(results, "clay")
        means = results.groupby(["firing", "clay"])["L*"].mean().reset_index()
        means = means.pivot_table(index="firing", columns="clay", values="L*")
        for first, second in (("red", "buff"), ("white", "buff"), ("white", "red")):
            differences = (means[first] - means[second]).dropna()
            theirs = stats.ttest_1samp(differences, 0)
            interval = theirs.confidence_interval()
            pair = f"clay: {first} − {second}"
            row = comparison.table.set_index("pair").loc[pair]
            names = ["by firing", "by firing low", "by firing high", "by firing df", "by firing p"]
            expected = [differences.mean(), interval.low, interval.high, theirs.df, theirs.pvalue]
            np.testing.assert_allclose(row[names].to_numpy(dtype=float), expected, rtol=1e-10)
            assert row["firings"] == len(differences)
            shown = comparison.firings[comparison.firings["pair"] == pair].set_index("firing")
            np.testing.assert_allclose(shown["difference"], differences[shown.index], rtol=1e-12)

    def test_only_firing_by_firing_keeps_its_level_where_the_effect_varies_between_firings(self):
        # Slope SD 2 on the coding −1, +1 is a difference of SD 4. At 300 studies the binomial keeps 5 %
        # between 4 and 27 in all but one case in a thousand.
        rng = np.random.default_rng(47)
        studies, hits = 300, np.zeros(2)
        base = pd.DataFrame({"firing": np.repeat(np.arange(6), 6), "sugar [g]": np.tile([0.0, 2.0], 18)})
        fires, sides = base["firing"].to_numpy(), np.where(base["sugar [g]"] > 0, 1.0, -1.0)
        for _ in range(studies):
            levels, slopes = rng.normal(0, 4, 6), rng.normal(0, 2, 6)
            base["L*"] = levels[fires] + slopes[fires] * sides + rng.normal(0, 3, 36)
            row = compare(base, "sugar").table.iloc[0]
            hits += [row["p"] < 0.05, row["by firing p"] < 0.05]
        assert hits[0] > 0.12 * studies
        assert 4 <= hits[1] <= 27


class TestTable:
    def test_columns_and_counts(self):
        comparison = compare(uneven(), "clay")
        assert tuple(comparison.table.columns) == COLUMNS
        assert tuple(comparison.firings.columns) == FIRING_COLUMNS
        assert (comparison.pots, comparison.firing_count) == (25, 5)
        assert set(comparison.table["unit"]) == {"L*"}
        sides = comparison.firings.set_index(["pair", "firing"]).loc[("clay: red − buff", "f3")]
        assert (sides["pots"], sides["pots against"]) == (2, 1)

    def test_results_are_left_alone_and_the_order_of_rows_does_not_matter(self):
        results = uneven()
        before = results.copy(deep=True)
        table = compare(results, "clay").table
        pd.testing.assert_frame_equal(results, before)
        shuffled = compare(results.sample(frac=1, random_state=2), "clay").table
        pd.testing.assert_frame_equal(shuffled, table, rtol=1e-9)

    def test_an_amount_that_some_lack_is_with_against_without_whatever_the_amounts(self):
        results = uneven().drop(columns="clay")
        results["sugar [g]"] = np.resize([0.0, 1, 2.5, 0, 4], 25)
        coded = results.assign(sweet=np.where(results["sugar [g]"] > 0, "yes", "no"))
        ours, theirs = compare(results, "sugar").table, compare(coded, "sweet").table
        assert ours["pair"].item() == "with sugar − without"
        numbers = ["estimate", "standard error", "df", "p", "by firing", "by firing p"]
        np.testing.assert_allclose(ours[numbers], theirs[numbers])

    def test_an_amount_that_none_lack_has_its_values_for_kinds(self):
        results = uneven().drop(columns="clay")
        results["slip [coats]"] = np.resize([1.0, 2, 3], 25)
        comparison = compare(results, "slip")
        pairs = ["slip: 2 − 1 coats", "slip: 3 − 1 coats", "slip: 3 − 2 coats"]
        assert list(comparison.table["pair"]) == pairs
        assert "ots with 2 coats slip" in comparison.sentences()[0]
        assert "pots with 1 coat slip" in comparison.sentences()[0]

    def test_kinds_that_only_other_kinds_join(self):
        results = pd.DataFrame(
            {
                "firing": ["f1"] * 4 + ["f2"] * 4 + ["f3"] * 4,
                "clay": ["buff", "red"] * 2 + ["red", "white"] * 2 + ["grey", "grog"] * 2,
                "L*": [40.0, 37, 41, 36, 39, 44, 38, 45, 33, 31, 34, 30],
            }
        )
        comparison = compare(results, "clay")
        table = comparison.table.set_index("pair")
        # Levels: 5 kinds in 2 parts, 3 firings: 12 − 3 − (5 − 2).
        assert set(table["df"].dropna()) == {6.0}
        through = table.loc["clay: white − buff"]
        assert through["estimate"] == pytest.approx(-4 + 6)
        assert (through["firings"], np.isnan(through["by firing"])) == (0, True)
        assert through["note"] == "no firing holds both; compared by way of other kinds"
        apart = table.loc["clay: grey − buff"]
        assert (np.isnan(apart["estimate"]), apart["note"]) == (True, UNJOINED)
        assert np.isnan(apart["p Holm"])
        assert "though no firing held both: judged by way of other kinds" in comparison.sentence()
        never = "Pots with clay grey and pots with clay buff were never fired so that they could be compared."
        assert never in comparison.sentences()

    def test_one_firing_has_no_check(self):
        comparison = compare(small([40, 35, 42, 36, 41, 34], firings=1), "sugar")
        row = comparison.table.iloc[0]
        theirs = stats.ttest_ind([35, 36, 34], [40, 42, 41])
        assert (row["p"], row["df"]) == (pytest.approx(theirs.pvalue), theirs.df)
        assert row[["by firing low", "by firing high", "by firing df", "by firing p"]].isna().all()
        assert row["note"] == "one firing holds both: no check firing by firing"
        assert "on 6 pots in 1 firing; it cannot be asked firing by firing." in comparison.sentence()

    def test_firings_that_all_show_the_same_difference_leave_no_check(self):
        row = compare(small([40, 37, 41, 38, 44, 41, 45, 42], firings=2), "sugar").table.iloc[0]
        assert row["by firing"] == -3
        assert row[["by firing low", "by firing p"]].isna().all()
        assert row["note"] == "every firing shows the same difference: no scatter to check by"

    def test_rows_without_a_value_are_named(self):
        results = small([40, 35, 42, 36, 41, 34])
        results.loc[4, "L*"] = np.nan
        comparison = compare(results, "sugar")
        assert comparison.left_out["reason"].tolist() == ["no L*"]
        assert repr(comparison).startswith("L* of 5 pots in 3 firings; 1 row left out (4: no L*)\n")


class TestSentence:
    def test_a_clear_difference(self):
        said = compare(small([40, 35, 42, 36, 41, 34, 38, 33, 45, 39, 43, 38]), "sugar").sentences()
        assert said == (
            "Pots with sugar came out 5.7 L* darker than pots without in the same firing "
            "(95 % interval 4.2 to 7.2 darker), judged on 12 pots in 3 firings.",
            ALONE,
        )

    def test_a_difference_that_the_data_cannot_tell(self):
        said = compare(small([40, 38, 39, 42, 41, 40, 38, 41, 45, 42, 43, 44]), "sugar").sentence()
        assert said == (
            "Between pots with sugar and pots without in the same firing the data cannot tell: anywhere from "
            "1.9 L* darker to 2.3 L* lighter fits, judged on 12 pots in 3 firings. "
            "Other choices are not taken into account."
        )

    def test_the_two_ways_disagree(self):
        # Hardly any scatter within a kind, and an effect that is strong in one firing and absent in another.
        values = [40, 39.9, 40.2, 40, 42, 38, 42.1, 38.2, 44, 36, 44.2, 36.3]
        said = compare(small(values), "sugar").sentences()[0]
        assert said.startswith("Pots with sugar came out 4.0 L* darker than pots without")
        assert said.endswith(
            "; asked firing by firing, the data cannot tell: "
            "anywhere from 13.7 L* darker to 5.7 L* lighter fits."
        )

    def test_firing_by_firing_is_clear_where_all_together_are_not(self):
        values = [30, 29, 50, 48.9, 31, 30.1, 49, 47.9, 33, 32, 52, 51.1]
        said = compare(small(values), "sugar").sentences()[0]
        assert "the data cannot tell" in said
        assert "; yet asked firing by firing, they came out 1.00 L* darker (95 % interval " in said

    def test_one_of_many_pairs_may_look_clear_by_chance(self):
        rng = np.random.default_rng(0)
        results = pd.DataFrame(
            {
                "firing": np.repeat(["f1", "f2", "f3"], 8),
                "clay": list("abcdabcd") * 3,
                "L*": rng.normal(40, 3, 24),
            }
        )
        table = compare(results, "clay").table
        row = table.loc[(table["p"] < 0.05) & (table["p Holm"] > 0.05)]
        assert len(row) == 1
        said = compare(results, "clay").sentences()[row.index[0]]
        assert ", yet of 6 pairs compared one may look so by chance, judged on" in said

    def test_shares_are_said_in_points(self):
        results = small([0.40, 0.52, 0.42, 0.56, 0.41, 0.54]).rename(columns={"L*": "dark share"})
        row = compare(results, "sugar", outcome="dark share")
        assert "percentage points larger in dark share than pots without" in row.sentence()
        assert row.table["unit"].item() == "share"

    def test_html_is_escaped(self):
        results = small([40, 35, 42, 36, 41, 34]).rename(columns={"sugar [g]": "<b>sugar"})
        page = compare(results, "<b>sugar")._repr_html_()
        assert "<b>" not in page
        assert "&lt;b&gt;sugar" in page


class TestRefusals:
    def test_no_firing_holds_both(self):
        results = small([40, 35, 42, 36, 41, 34]).assign(peak_C=[720.0, 720, 750, 750, 780, 780])
        assert refusal(results, "peak_C") == (
            "factor 'peak_C': no firing holds both: within each firing, peak_C is the same on every pot. "
            "Ask fit_effects(results, factors=['peak_C']), which sets firing against firing."
        )

    def test_nothing_left_to_judge_by(self):
        assert refusal(small([40, 35], firings=1), "sugar") == (
            "comparison of sugar: 2 pots in 1 firing leave nothing to judge it by. "
            "Fire more pots of each kind, or more firings that hold both."
        )

    def test_no_scatter(self):
        assert refusal(small([40, 35, 42, 37, 41, 36]), "sugar") == (
            "comparison of sugar: pots of one kind do not differ at all, so there is no scatter to judge the "
            "difference by. Add pots, or an outcome measured more finely."
        )

    def test_too_many_amounts(self):
        results = small([40, 35, 42, 36, 41, 34, 39, 33], firings=2).assign(
            height=[9.0, 9.1, 9.2, 9.3, 9.4, 9.5, 9.6, 9.7]
        )
        assert refusal(results, "height") == (
            "factor 'height': no pot is without it and it has 8 different amounts, too many to compare in "
            "pairs. Ask fit_effects(results, factors=['height']) for its effect per unit."
        )

    def test_all_the_same(self):
        assert refusal(small([40, 35, 42, 36, 41, 34], sugar=(2,)), "sugar") == (
            "factor 'sugar': it is the same on every pot. Compare something that differs between pots."
        )

    def test_unknown_factor(self):
        with pytest.raises(UnknownNameError, match="factor 'glitter'"):
            compare(paired(), "glitter")
