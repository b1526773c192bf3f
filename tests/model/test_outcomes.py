import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.effect_rows import holm_of
from sagglab.model.effects import fit_effects
from sagglab.model.outcomes import fit_outcomes

FACTORS = ["sugar", "copper sulphate", "clay", "peak_C"]
OUTCOMES = ["L*", "a*", "b*"]


def study(firings=6, pots=6, seed=3):
    """An invented studio: sugar darkens and reddens, nothing else matters much."""
    rng = np.random.default_rng(seed)
    n = firings * pots
    label = np.repeat(np.arange(firings), pots)
    table = pd.DataFrame(
        {
            "pot": [f"p{i:03d}" for i in range(n)],
            "firing": [f"f{i:02d}" for i in label],
            "sugar [g]": rng.permutation(np.arange(n) % 4).astype(float),
            "copper sulphate [g]": rng.permutation(np.arange(n) % 2) * 2.0,
            "clay": rng.permutation(np.array(["buff", "white", "red"])[np.arange(n) % 3]),
            "peak_C": np.linspace(720, 780, firings)[label],
        }
    )
    for outcome, start, slope in [("L*", 44, -1.2), ("a*", 12, 0.9), ("b*", 15, 0.0)]:
        table[outcome] = (
            start + slope * table["sugar [g]"] + rng.normal(size=firings)[label] + 1.5 * rng.normal(size=n)
        )
    return table


def in_two_ways(questions):
    """Holm of all questions by another hand, the two ways of asking after sugar joined for each outcome."""
    adjusted = pd.Series(multipletests(questions["p"], method="holm")[1], index=questions.index)
    for _, rows in questions[questions["term"].isin(["sugar", "with sugar"])].groupby("outcome"):
        adjusted[rows.index] = np.maximum(adjusted[rows.index].min(), rows["p"])
    return adjusted.to_numpy()


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        fit_outcomes(*args, **kwargs)
    return str(caught.value)


class TestHolm:
    def test_it_is_that_of_all_questions_of_all_outcomes(self):
        table = fit_outcomes(study(), OUTCOMES, FACTORS).table
        # Of the two amounts of copper sulphate, "with" and "per gram" are one question.
        again = table["term"] == "with copper sulphate"
        assert again.sum() == 3
        asked = table[~again]
        assert asked["p Holm"].to_numpy() == pytest.approx(in_two_ways(asked), rel=1e-6)
        slopes = table.loc[table["term"] == "copper sulphate", "p Holm"]
        assert table.loc[again, "p Holm"].to_numpy() == pytest.approx(slopes.to_numpy())

    def test_of_two_ways_of_asking_one_that_is_sure_leaves_the_other_to_be_clear(self):
        units = ["L* per g", "L*", "L*", "L* per g", "L*"]
        terms = ["sugar", "with sugar", "clay: white − buff", "salt", "with salt"]
        table = pd.DataFrame({"term": terms, "unit": units, "p": [0.0014, 0.018, 0.4, 0.03, 0.02]})
        # 0.0014 of 5 questions; 0.018, sugar being sure by then; 0.018 of 4 bounds those after it.
        assert holm_of([table])[0] == pytest.approx([0.007, 0.018, 0.4, 0.072, 0.072])

    def test_a_second_look_is_known_by_its_unit(self):
        # Another amount, called 'with sugar' by its maker, is a question of its own.
        terms = ["sugar", "with sugar", "salt"]
        table = pd.DataFrame({"term": terms, "unit": ["L* per g"] * 3, "p": [0.001, 0.03, 0.04]})
        assert holm_of([table])[0] == pytest.approx([0.003, 0.06, 0.06])

    def test_several_outcomes_are_judged_more_strictly_than_one(self):
        table = study()
        one = fit_effects(table, outcome="L*", factors=FACTORS).table.set_index("term")
        all_three = fit_outcomes(table, OUTCOMES, FACTORS).effects["L*"].table.set_index("term")
        assert all_three.loc["sugar", "p"] == pytest.approx(one.loc["sugar", "p"])
        assert all_three.loc["sugar", "p Holm"] > 2 * one.loc["sugar", "p Holm"]

    def test_both_places_hold_the_same(self):
        found = fit_outcomes(study(), OUTCOMES, FACTORS)
        for name, effects in found.effects.items():
            part = found.table.loc[found.table["outcome"] == name, "p Holm"]
            assert part.tolist() == effects.table["p Holm"].tolist()

    def test_what_one_firing_cannot_tell_is_not_asked(self):
        table = fit_outcomes(study(firings=1, pots=14), OUTCOMES, FACTORS).table
        untold = table[table["term"] == "peak_C"]
        assert untold["p Holm"].isna().all()
        asked = table[(table["term"] != "with copper sulphate") & table["p"].notna()]
        assert asked["p Holm"].to_numpy() == pytest.approx(in_two_ways(asked))


class TestTable:
    def test_order_and_columns(self):
        found = fit_outcomes(study(), ["b*", "L*"], ["clay", "sugar"])
        assert found.table.columns[0] == "outcome"
        assert list(found.effects) == ["b*", "L*"]
        told = ["clay: buff", "clay: red", "clay: white", "sugar", "with sugar"]
        assert found.table["term"].tolist() == told * 2
        assert found.table["outcome"].tolist() == ["b*"] * 5 + ["L*"] * 5
        assert found.table.index.tolist() == list(range(10))

    def test_all_else_is_as_asked_by_itself(self):
        table = study()
        found = fit_outcomes(table, OUTCOMES, FACTORS)
        for name in OUTCOMES:
            alone = fit_effects(table, outcome=name, factors=FACTORS).table.drop(columns="p Holm")
            pd.testing.assert_frame_equal(found.effects[name].table.drop(columns="p Holm"), alone)

    def test_options_reach_the_fit(self):
        found = fit_outcomes(study(), ["L*"], ["sugar"], squares=["sugar"], forms={"sugar": "square root"})
        assert found.table["term"].tolist() == ["square root of sugar", "square root of sugar squared"]

    def test_each_outcome_keeps_the_pots_that_have_it(self):
        table = study()
        table.loc[4, "a*"] = np.nan
        found = fit_outcomes(table, ["L*", "a*"], ["sugar"])
        assert [effects.pots for effects in found.effects.values()] == [36, 35]


class TestWords:
    def test_sentences_name_every_outcome_in_turn(self):
        found = fit_outcomes(study(), OUTCOMES, ["sugar", "clay"])
        sentences = found.sentences()
        assert len(sentences) == 6
        assert " L* darker" in sentences[0]
        assert " a* redder" in sentences[2]
        assert sentences[0] == found.effects["L*"].sentence("sugar")

    def test_doubt_allows_for_all(self):
        found = fit_outcomes(study(seed=5), OUTCOMES, FACTORS)
        doubted = [sentence for sentence in found.sentences() if "allowing for all, " in sentence]
        unsure = found.table[(found.table["p"] < 0.05) & (found.table["p Holm"] > 0.05)]
        assert bool(doubted) == bool(len(unsure))
        assert len(unsure)

    def test_text_and_page(self):
        found = fit_outcomes(study().rename(columns={"clay": "<i>clay</i>"}), ["L*", "a*"], ["<i>clay</i>"])
        assert repr(found).startswith("L* of 36 pots in 6 firings\n")
        assert "\na* of 36 pots in 6 firings\n" in repr(found)
        page = found._repr_html_()
        assert page.count("<ul>") == 2
        assert "<i>" not in page
        assert "&lt;i&gt;clay&lt;/i&gt;: red" in page
        assert "nan" not in page.lower()


class TestRefusals:
    @pytest.mark.parametrize("outcomes", ["L*", [], ["L*", "L*"]], ids=["word", "none", "twice"])
    def test_a_list_of_different_columns_is_wanted(self, outcomes):
        assert refusal(study(), outcomes, ["sugar"]) == (
            "outcomes: a list of different columns is wanted. Write outcomes=['L*', 'a*', 'b*']."
        )

    def test_one_column_by_two_names(self):
        table = study().assign(**{"weight [g]": np.arange(36) % 7 * 1.0})
        assert refusal(table, ["weight", "weight [g]"], ["sugar"]) == (
            "outcomes: two of them mean the column 'weight [g]'. Name each column once."
        )

    def test_what_the_fit_refuses(self):
        with pytest.raises(UnknownNameError):
            fit_outcomes(study(), ["L*", "gloss"], ["sugar"])
        assert "angles run past" in refusal(study().assign(**{"hue angle": 3.0}), ["hue angle"], ["sugar"])
