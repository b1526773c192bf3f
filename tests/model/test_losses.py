import itertools
import math
import re

import numpy as np
import pandas as pd
import pytest
from scipy import special

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.losses import METHOD, fit_losses
from sagglab.model.odds import COLUMNS


def load(firings=5, pots=6, seed=4):
    """An invented studio in which sugar cracks pots."""
    rng = np.random.default_rng(seed)
    n = firings * pots
    label = np.repeat(np.arange(firings), pots)
    table = pd.DataFrame(
        {
            "pot": [f"p{i:02d}" for i in range(n)],
            "firing": [f"f{i}" for i in label],
            "sugar [g]": rng.permutation(np.arange(n) % 4).astype(float),
            "clay": rng.permutation(np.array(["buff", "red", "white"])[np.arange(n) % 3]),
            "packing": rng.permutation(np.array(["sawdust", "seaweed"])[np.arange(n) % 2]),
            "peak_C": np.linspace(720, 780, firings)[label],
        }
    )
    lost = special.expit(table["sugar [g]"] - 2.5) > rng.random(n)
    table["state"] = np.where(lost, np.where(label % 2, "cracked", "lost"), "whole")
    return table


def rows(odds):
    return odds.table.set_index("term")


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        fit_losses(*args, **kwargs)
    return str(caught.value)


def enumerated(table, column):
    """Every way to lose as many pots of each firing: sums, and how often each comes."""
    sums = [0.0]
    for _, firing in table.groupby("firing"):
        number = int((firing["state"] != "whole").sum())
        here = [sum(some) for some in itertools.combinations(firing[column], number)]
        sums = [a + b for a in sums for b in here]
    return np.unique(np.round(sums, 6), return_counts=True)


class TestAgainstEveryWayCounted:
    @pytest.mark.parametrize("seed", [1, 4, 7])
    @pytest.mark.parametrize("step", [1.0, 0.1, 0.35])
    def test_amounts(self, seed, step):
        table = load(firings=3, pots=5, seed=seed)
        table["sugar [g]"] = table["sugar [g]"] * step + 0.3
        odds = rows(fit_losses(table, ["sugar"])).loc["sugar"]
        sums, ways = enumerated(table, "sugar [g]")
        seen = table.loc[table["state"] != "whole", "sugar [g]"].sum()
        at = int(np.argmin(abs(sums - seen)))
        assert odds["p"] == pytest.approx(ways[ways <= ways[at]].sum() / ways.sum(), rel=1e-9)

        def shares(slope):
            return special.softmax(np.log(ways) + slope * sums)

        if math.isfinite(odds["estimate"]):
            assert shares(odds["estimate"]) @ sums == pytest.approx(seen, rel=1e-8)
        if math.isfinite(odds["low"]):
            assert shares(odds["low"])[at:].sum() == pytest.approx(0.025, rel=1e-7)
        if math.isfinite(odds["high"]):
            assert shares(odds["high"])[: at + 1].sum() == pytest.approx(0.025, rel=1e-7)

    def test_many_pots_do_not_overflow(self):
        table = load(firings=60, pots=30)
        odds = rows(fit_losses(table, ["sugar"])).loc["sugar"]
        assert 0.5 < odds["low"] < odds["estimate"] < odds["high"] < 1.5


class TestTable:
    def test_columns_terms_and_units(self):
        odds = fit_losses(load(), ["sugar", "clay", "packing", "peak_C"])
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
        assert "one factor at a time" in METHOD
        assert odds.table["odds ratio"].to_numpy() == pytest.approx(
            np.exp(odds.table["estimate"].to_numpy()), nan_ok=True
        )

    def test_a_level_is_held_against_all_others(self):
        table = load()
        table["red"] = np.where(table["clay"] == "red", "yes", "no")
        odds = rows(fit_losses(table, ["clay", "red"]))
        assert odds.loc["clay: red", "estimate"] == pytest.approx(odds.loc["red: yes − no", "estimate"])
        assert "Against all other kinds of clay: " in fit_losses(table, ["clay"]).sentence("clay")

    def test_the_unit_scales_the_estimate(self):
        table = load()
        table["sugar [oz]"] = table["sugar [g]"] / 28.349523125
        odds = rows(fit_losses(table, ["sugar [g]", "sugar [oz]"]))
        grams, ounces = (odds.loc[f"sugar [{unit}]"] for unit in ("g", "oz"))
        assert ounces["p"] == pytest.approx(grams["p"])
        for column in ("estimate", "low", "high"):
            assert ounces[column] == pytest.approx(28.349523125 * grams[column], rel=1e-8)

    def test_lost_turned_round_turns_the_sign(self):
        table = load()
        other = table.assign(state=np.where(table["state"] == "whole", "lost", "whole"))
        one, two = (rows(fit_losses(each, ["sugar"])).loc["sugar"] for each in (table, other))
        assert two["p"] == pytest.approx(one["p"])
        assert [two["estimate"], two["low"], two["high"]] == pytest.approx(
            [-one["estimate"], -one["high"], -one["low"]]
        )

    def test_with_or_without(self):
        odds = fit_losses(load(), ["sugar"], forms={"sugar": "with or without"})
        assert odds.table["term"].tolist() == ["with sugar"]
        assert "ots with sugar" in odds.sentence("sugar")

    def test_only_the_states_named_count_as_lost(self):
        table = load()
        odds = fit_losses(table, ["sugar"], lost=["lost"])
        number = (table["state"] == "lost").sum()
        assert odds.warnings[0] == f"{number} of 30 pots were lost."

    def test_one_pot_lost(self):
        table = load().assign(state=["cracked"] + ["whole"] * 29)
        assert fit_losses(table, ["sugar"]).warnings[0] == "1 of 30 pots was cracked or lost."

    @pytest.mark.parametrize(
        ("bad", "good", "lost", "whole", "said"),
        [
            ("gerissen", "heil", ["gerissen"], ["heil"], "gerissen"),
            (" Gerissen", "HEIL ", ["gerissen "], ["Heil"], "gerissen"),
            (True, False, [True], [False], "lost"),
            (1, 0, [1], [0], "lost"),
            (1.0, 0.0, ["1"], ["0"], "lost"),
            ("1", "0", [1.0], [0], "lost"),
            (False, True, [False], [True], "lost"),
        ],
    )
    def test_states_in_words_of_ones_own(self, bad, good, lost, whole, said):
        table = load()
        own = table.assign(state=[good if state == "whole" else bad for state in table["state"]])
        odds = fit_losses(own, ["sugar"], lost=lost, whole=whole)
        pd.testing.assert_frame_equal(odds.table, fit_losses(table, ["sugar"]).table)
        assert f"the odds of being {said} " in odds.sentence("sugar")

    def test_zeros_and_ones_with_a_gap(self):
        table = load()
        own = table.assign(state=(table["state"] != "whole").astype(float))
        own.loc[0, "state"] = np.nan
        odds = fit_losses(own, ["sugar"], lost=[1], whole=[0])
        assert odds.left_out["reason"].tolist() == ["no state"]

    def test_the_table_given_is_left_as_it_was(self):
        table = load()
        before = table.copy(deep=True)
        fit_losses(table, ["sugar", "clay"])
        pd.testing.assert_frame_equal(table, before)


class TestWhatCannotBeTold:
    def test_a_factor_of_the_firing(self):
        odds = fit_losses(load(), ["peak_C", "sugar"])
        row = rows(odds).loc["peak_C"]
        assert row[["estimate", "low", "high", "odds ratio", "p", "p Holm"]].isna().all()
        assert row["stratum"] == "firing"
        assert odds.sentence("peak_C") == (
            "About peak nothing can be said: it never differs within a firing, so it cannot be told from the "
            "firing itself."
        )
        assert rows(odds).loc["sugar", "p Holm"] == rows(odds).loc["sugar", "p"]

    def test_a_factor_that_never_varies(self):
        odds = fit_losses(load().assign(kiln="small"), ["kiln"])
        assert odds.table["note"].tolist() == ["it is the same on every pot"]

    def test_a_factor_that_varies_where_nothing_was_lost(self):
        table = load()
        table.loc[table["firing"] == "f0", "state"] = "whole"
        table["wire"] = np.where(table.index < 3, "yes", "no")
        odds = fit_losses(table, ["wire"])
        assert odds.table["note"].tolist() == [
            "it differs only in firings where all pots or none were cracked or lost"
        ]
        assert odds.table["stratum"].tolist() == ["pot"]

    def test_firings_that_tell_nothing_are_counted(self):
        table = load()
        table.loc[table["firing"].isin(["f0", "f1"]), "state"] = "whole"
        table.loc[table["firing"] == "f2", "state"] = "lost"
        odds = fit_losses(table, ["sugar"])
        assert odds.warnings[1:] == (
            "2 firings lost no pot and tell nothing here.",
            "1 firing lost every pot and tells nothing here.",
        )
        assert odds.sentence("sugar").endswith("judged on 12 pots in 2 firings.")
        assert (odds.pots, odds.firings) == (30, 5)
        left = fit_losses(table[table["firing"].isin(["f3", "f4"])], ["sugar"])
        assert rows(left).loc["sugar", "p"] == rows(odds).loc["sugar", "p"]

    def test_too_many_sums(self):
        table = load(firings=8, pots=12)
        table["weight"] = np.random.default_rng(1).normal(size=len(table))
        assert fit_losses(table, ["weight"]).table["note"].tolist() == [
            "its amounts add up in too many ways to count; round them"
        ]

    def test_blank_states_are_listed(self):
        table = load()
        table.loc[2, "state"] = " "
        table.loc[3, "state"] = None
        odds = fit_losses(table, ["sugar"])
        assert odds.left_out[["pot", "reason"]].to_numpy().tolist() == [
            ["p02", "no state"],
            ["p03", "no state"],
        ]
        assert odds.pots == 28
        assert "2 rows left out" in repr(odds)


def one_firing(had, lacked):
    """A firing of pots with and without seaweed: (lost, whole) of each."""
    return pd.DataFrame(
        {
            "firing": "f1",
            "packing": ["seaweed"] * sum(had) + ["sawdust"] * sum(lacked),
            "state": ["lost"] * had[0] + ["whole"] * had[1] + ["lost"] * lacked[0] + ["whole"] * lacked[1],
        }
    )


class TestEnds:
    @pytest.mark.parametrize(
        ("had", "lacked", "said"),
        [
            ((3, 2), (0, 5), "no upper end can be had: every cracked or lost pot had packing seaweed"),
            ((3, 0), (2, 5), "no upper end can be had: every pot with packing seaweed was cracked or lost"),
            ((0, 5), (3, 2), "no lower end can be had: no cracked or lost pot had packing seaweed"),
            (
                (2, 5),
                (3, 0),
                "no lower end can be had: every pot without packing seaweed was cracked or lost",
            ),
        ],
    )
    def test_an_infinite_end_is_said(self, had, lacked, said):
        odds = fit_losses(one_firing(had, lacked), ["packing"])
        row = odds.table.iloc[0]
        assert row["note"] == said
        assert said in odds.sentence("packing")
        infinite = "odds high" if "upper" in said else "odds low"
        assert row[infinite] == (math.inf if "upper" in said else 0)

    def test_of_an_amount(self):
        table = one_firing((2, 0), (0, 4)).assign(**{"sugar [g]": [5.0, 4, 1, 2, 3, 0]})
        odds = fit_losses(table, ["sugar"])
        assert odds.table["note"].tolist() == [
            "no upper end can be had: in every firing judged the cracked or lost pots were those with "
            "the most sugar"
        ]


class TestSentences:
    def test_clear(self):
        said = fit_losses(load(firings=20), ["sugar"]).sentence("sugar [g]")
        assert re.fullmatch(
            r"For each gram of sugar, pots were cracked or lost more often: the odds of being cracked or "
            r"lost were \d\.\d times as large \(95 % interval \d\.\d to \d\.\d\), "
            r"judged on \d+ pots in \d+ firings\.",
            said,
        )

    def test_clear_without_an_upper_end(self):
        assert fit_losses(one_firing((6, 1), (0, 7)), ["packing"]).sentence("packing") == (
            "Pots with packing seaweed were cracked or lost more often than pots with packing sawdust: the "
            "odds of being cracked or lost were at least 2.5 times as large (lower end of the 95 % "
            "interval); no upper end can be had: every cracked or lost pot had packing seaweed, "
            "judged on 14 pots of one firing."
        )

    def test_several_questions_are_not_sure(self):
        table = one_firing((6, 2), (1, 8))
        rng = np.random.default_rng(1)
        for name in "abcdef":
            table[name] = rng.permutation(["x", "y"] * 8 + ["x"])
        odds = fit_losses(table, ["packing", *"abcdef"])
        first = odds.table.iloc[0]
        assert first["p"] < 0.05 < first["p Holm"]
        assert odds.sentence("packing").endswith(" That is not sure, since 7 questions were asked at once.")

    def test_digits_fit_the_width(self):
        def said(table, **columns):
            return fit_losses(table.assign(**columns), ["sugar"]).sentence("sugar")

        # The lower end is 1.0018: more digits of it say nothing beside an upper end of hundreds.
        odds = fit_losses(one_firing((6, 3), (1, 8)), ["packing"])
        assert odds.table["odds low"][0] == pytest.approx(1.0018, abs=5e-5)
        assert re.search(r" from 1\.0 to \d+ times the odds|interval 1\.0 to \d+\)", odds.sentence("packing"))
        # An interval that is narrow is told by its distance from 1.
        many = load(firings=20)
        assert re.search(
            r"were 1\.\d{3} times as large \(95 % interval 1\.\d{3} to 1\.\d{3}\)",
            said(many, **{"sugar [g]": 100 * many["sugar [g]"]}),
        )

    def test_shown(self):
        table = load().rename(columns={"clay": "clay <b>"})
        odds = fit_losses(table, ["sugar", "clay <b>"])
        assert repr(odds).splitlines()[0] == "state of 30 pots in 5 firings"
        assert "Each factor is judged by itself, whatever else differed between the pots." in repr(odds)
        assert "<b>" not in odds._repr_html_()
        assert "clay &lt;b&gt;" in odds._repr_html_()
        assert not re.search("signific|caused", repr(odds))

    def test_unknown_name(self):
        with pytest.raises(UnknownNameError) as caught:
            fit_losses(load(), ["sugar"]).sentence("salt")
        assert str(caught.value) == "odds of 'salt': the model has no such factor. It has sugar."


class TestRefusals:
    def test_unknown_states(self):
        table = load()
        table.loc[0, "state"], table.loc[1, "state"] = "craked", "fine"
        assert refusal(table, ["sugar"]) == (
            "column 'state': it holds 'cracked', 'craked', 'fine', 'lost' and 'whole', and nothing says "
            "whether 'craked' and 'fine' mean lost or whole. Mend the spelling, or put each into one of two "
            "lists, as in lost=['cracked', 'lost', 'craked', 'fine'] or whole=['whole', 'craked', 'fine']."
        )

    def test_states_in_other_words(self):
        table = load().assign(state=lambda t: np.where(t["state"] == "whole", "heil", "gerissen"))
        assert refusal(table, ["sugar"]) == (
            "column 'state': it holds 'gerissen' and 'heil', and nothing says whether 'gerissen' and 'heil' "
            "mean lost or whole. Say so, as with lost=['gerissen'], whole=['heil'] if 'heil' is what whole "
            "pots are."
        )
        assert refusal(table, ["sugar"], lost=["gerissen"]).endswith(
            "Mend the spelling, or write lost=['gerissen', 'heil'] or whole=['heil']."
        )

    def test_true_and_false_say_nothing_of_themselves(self):
        table = load().assign(state=lambda t: t["state"] != "whole")
        assert "lost=[True], whole=[False] if 'false' is what whole pots are" in refusal(table, ["sugar"])

    def test_a_word_that_no_pot_has(self):
        assert refusal(load(), ["sugar"], lost=["craked"]) == (
            "lost: no pot is 'craked', and column 'state' holds 'cracked', 'lost' and 'whole'. "
            "Name those of them that count as lost."
        )

    def test_a_state_that_is_both(self):
        assert refusal(load(), ["sugar"], lost=["lost", "whole"]) == (
            "lost: 'whole' cannot be lost and whole at once. Name each state in `lost` or in `whole`."
        )

    def test_whole_that_names_nothing(self):
        assert refusal(load(), ["sugar"], whole=[" "]).startswith("whole: it must name states of pots that ")
        assert refusal(load(), ["sugar"], lost=True) == "lost: a list is wanted. Write lost=[True]."

    def test_nothing_lost(self):
        assert refusal(load().assign(state="whole"), ["sugar"]) == (
            "losses: no pot was cracked or lost, so nothing goes with it. Ask again when some were."
        )

    def test_all_lost(self):
        assert refusal(load().assign(state="Lost"), ["sugar"]) == (
            "losses: every pot was cracked or lost. Add pots that came out whole."
        )

    def test_each_firing_all_or_none(self):
        table = load()
        table["state"] = np.where(table["firing"] == "f1", "lost", "whole")
        assert refusal(table, ["sugar"]) == (
            "losses: in each firing all pots were cracked or lost, or none, and pots are compared within a "
            "firing. Add firings that lost some of their pots."
        )

    def test_lost_as_a_word(self):
        assert refusal(load(), ["sugar"], lost="lost") == (
            "lost: a word was given where a list is wanted. Write lost=['lost']."
        )

    def test_lost_that_names_whole(self):
        assert refusal(load(), ["sugar"], lost=["whole"]) == (
            "lost: it must name states of pots that were lost. Write lost=['lost']."
        )

    def test_no_such_column(self):
        with pytest.raises(UnknownNameError, match="state 'fate': the table has no such column"):
            fit_losses(load(), ["sugar"], state="fate")
