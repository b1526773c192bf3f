from itertools import product

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.lenth import MARGINS
from sagglab.model.screening import COLUMNS, screen_effects

FACTORS = ["sugar", "salt", "clay", "peak_C"]


def recipes(k, first_fastest=True):
    rows = np.array(list(product((-1.0, 1.0), repeat=k)))
    return rows[:, ::-1] if first_fastest else rows


def study(signs=None, effects=None, noise=1.0, seed=1):
    """Pots of four factors in one firing; effects as {columns: full effect}."""
    signs = recipes(4) if signs is None else signs
    rng = np.random.default_rng(seed)
    y = 50 + noise * rng.normal(size=len(signs))
    for columns, effect in (effects or {}).items():
        y = y + effect / 2 * signs[:, list(columns)].prod(axis=1)
    up = signs > 0
    return pd.DataFrame(
        {
            "pot": [f"p{i:02d}" for i in range(1, len(signs) + 1)],
            "firing": "f1",
            "sugar [g]": np.where(up[:, 0], 3.0, 0.0),
            "salt [g]": np.where(up[:, 1], 2.0, 1.0),
            "clay": np.where(up[:, 2], "white", "buff"),
            "peak_C": np.where(up[:, 3], 780.0, 720.0),
            "L*": y,
        }
    )


def in_firings(pots, columns):
    return pots.assign(firing=pots[columns].astype(str).agg(" ".join, axis=1))


def rows(screening):
    return screening.table.set_index("term")


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        screen_effects(*args, **kwargs)
    return str(caught.value)


class TestTable:
    def test_columns_terms_and_units(self):
        screening = screen_effects(study(), factors=FACTORS)
        assert tuple(screening.table.columns) == COLUMNS
        assert tuple(screening.margins.columns) == MARGINS
        assert screening.table["term"].tolist()[:7] == [*FACTORS, "sugar × salt", "sugar × clay"] + [
            "sugar × peak_C"
        ]
        assert len(screening.table) == 15
        assert set(screening.table["unit"]) == {"L*"}
        assert set(screening.table["stratum"]) == {"pot"}

    def test_an_effect_is_the_mean_at_the_high_level_minus_that_at_the_low(self):
        pots = study(effects={(0,): -4, (2,): 2, (0, 2): 6})
        table = rows(screen_effects(pots, factors=FACTORS))
        means = pots.groupby("clay")["L*"].mean()
        assert table.loc["clay", "estimate"] == pytest.approx(means["white"] - means["buff"], abs=1e-12)
        cells = pots.groupby(["sugar [g]", "clay"])["L*"].mean()
        gap = (cells[3, "white"] - cells[0, "white"]) - (cells[3, "buff"] - cells[0, "buff"])
        assert table.loc["sugar × clay", "estimate"] == pytest.approx(gap / 2, abs=1e-12)

    def test_levels_in_a_given_order(self):
        pots = study(effects={(2,): 8})
        pots["clay"] = pd.Categorical(pots["clay"], ["white", "buff", "red"], ordered=True)
        assert rows(screen_effects(pots, factors=FACTORS)).loc["clay", "estimate"] < -5

    def test_what_stands_out(self):
        screening = screen_effects(study(effects={(0,): -12, (0, 2): 8, (3,): 1.5}), factors=FACTORS)
        beyond = rows(screening)["beyond"]
        assert beyond[["sugar", "sugar × clay", "peak_C", "salt"]].tolist() == [
            *("margin for all", "margin for all", "margin for one", "")
        ]
        margins = screening.margins.iloc[0]
        np.testing.assert_allclose(
            screening.table["ratio"], screening.table["estimate"].abs() / margins["PSE"], rtol=1e-12
        )

    def test_rows_and_factors_in_another_order_give_the_same(self):
        pots = study(effects={(0,): -6})
        one = rows(screen_effects(pots, factors=FACTORS))
        other = rows(screen_effects(pots.sample(frac=1, random_state=5), factors=FACTORS[::-1]))
        assert other.loc["clay × sugar", "estimate"] == pytest.approx(one.loc["sugar × clay", "estimate"])
        assert other.loc["sugar", "ratio"] == pytest.approx(one.loc["sugar", "ratio"])

    def test_the_table_given_is_left_as_it_was(self):
        pots = study()
        before = pots.copy()
        screen_effects(pots, factors=FACTORS)
        pd.testing.assert_frame_equal(pots, before)

    def test_columns_hold_text_where_all_are_empty(self):
        table = screen_effects(study(), factors=FACTORS).table
        assert [str(table[column].dtype) for column in ("term", "beyond", "aliases", "note")] == ["str"] * 4


class TestAliases:
    def test_a_factor_that_always_goes_with_another_is_its_alias(self):
        pots = study(recipes(3)[:, [0, 1, 2, 0]] * [1, 1, 1, -1])
        table = rows(screen_effects(pots, factors=FACTORS))
        assert len(table) == 7
        assert table.loc["sugar", "aliases"] == "− peak_C"
        assert table.loc["salt", "aliases"] == "− sugar × salt × peak_C"

    def test_interactions_mixed_in_part_are_left_out_and_said(self):
        signs = np.array([1, -1, 1, -1, -1, -1, 1, 1, 1, -1, 1])
        design = np.vstack([np.roll(signs, k) for k in range(11)] + [-np.ones(11)])
        names = [f"x{k}" for k in range(11)]
        pots = pd.DataFrame(design, columns=names).assign(
            firing="f1", **{"L*": np.random.default_rng(1).normal(size=12)}
        )
        screening = screen_effects(pots, factors=names)
        assert screening.table["term"].tolist() == names
        assert set(screening.table["note"]) == {
            "mixed in part (up to 0.33) with 45 interactions of two factors"
        }
        assert "mixed in part" in screening.notes[0]

    def test_of_very_many_factors_only_short_words_are_looked_at(self):
        basis = recipes(5)
        words = [np.flatnonzero([mask >> k & 1 for k in range(5)]) for mask in range(1, 32)]
        design = np.column_stack([basis[:, word].prod(axis=1) for word in words])
        names = [f"x{k}" for k in range(31)]
        pots = pd.DataFrame(design, columns=names).assign(
            firing="f1", **{"L*": np.random.default_rng(1).normal(size=32)}
        )
        screening = screen_effects(pots, factors=names)
        assert screening.table["term"].tolist() == names
        assert screening.notes == (
            "Interactions of more than 3 factors were not looked at: there are too many.",
        )


class TestStrata:
    def test_between_firings_and_within_are_judged_apart(self):
        pots = in_firings(study(), ["peak_C"])
        screening = screen_effects(pots, factors=FACTORS)
        table = rows(screening)
        assert table.index[table["stratum"] == "firing"].tolist() == ["peak_C"]
        assert np.isnan(table.loc["peak_C", "ratio"])
        assert pd.isna(table.loc["peak_C", "beyond"])
        assert table.loc["peak_C", "note"] == "fewer than 7 effects"
        assert screening.margins["stratum"].tolist() == ["pot", "firing"]
        assert screening.margins["effects"].tolist() == [14, 1]
        assert screening.margins.loc[1, MARGINS[2:]].isna().all()

    def test_an_interaction_mixed_with_the_firings_is_between_firings(self):
        signs = recipes(4)
        pots = study(signs).assign(firing=np.where(signs.prod(axis=1) > 0, "f1", "f2"))
        table = rows(screen_effects(pots, factors=FACTORS))
        assert table.index[table["stratum"] == "firing"].tolist() == ["sugar × salt × clay × peak_C"]

    def test_one_pot_in_each_firing(self):
        pots = study().assign(firing=[f"f{k}" for k in range(16)])
        screening = screen_effects(pots, factors=FACTORS)
        assert set(screening.table["stratum"]) == {"firing"}

    def test_what_lies_partly_between_firings_is_held_against_theirs(self):
        # Four pots were fired singly, the others by twos: peak and what goes with it straddle.
        signs = recipes(4, first_fastest=False)
        fires = np.repeat(np.arange(8), 2)
        fires[:4] = [0, 1, 2, 3]
        fires[4:] += 2
        screening = screen_effects(study(signs).assign(firing=[f"f{k}" for k in fires]), factors=FACTORS)
        table, margins = rows(screening), screening.margins.set_index("stratum")
        assert margins["effects"].to_dict() == {"firing": 7, "both": 8}
        assert margins.loc["both", "PSE"] == margins.loc["firing", "PSE"]
        assert margins.loc["both", "margin for one"] > margins.loc["firing", "margin for one"]
        assert margins.loc["both", "margin for all"] == margins.loc["firing", "margin for all"]
        assert table.loc["peak_C", "note"] == (
            "differs partly between firings, partly within: held against the scatter of firings"
        )
        assert "different numbers of pots" in screening.notes[0]

    def test_scatter_between_firings_does_not_make_pots_stand_out_nor_the_other_way_round(self):
        rng = np.random.default_rng(8)
        signs = recipes(6, first_fastest=False)
        names = ["peak_C", "hold", "pace", "sugar", "salt", "clay"]
        pots = pd.DataFrame(signs, columns=names)
        pots["firing"] = np.repeat([f"f{k}" for k in range(8)], 8)
        pots["L*"] = 5 * rng.normal(size=8)[np.repeat(np.arange(8), 8)] + 0.5 * rng.normal(size=64)
        pots["L*"] += pots["sugar"]  # an effect of 2, small beside the firings
        screening = screen_effects(pots, factors=names)
        margins = screening.margins.set_index("stratum")
        assert margins["effects"].to_dict() == {"pot": 56, "firing": 7}
        # Standard deviation of an effect: 2 σ / √64 of pots; √(4 σf² / 8 + …) of firings.
        assert margins.loc["pot", "PSE"] == pytest.approx(2 * 0.5 / 8, rel=0.25)
        assert margins.loc["firing", "PSE"] == pytest.approx(2 * 5 / np.sqrt(8), rel=0.5)
        table = rows(screening)
        assert table.loc["sugar", "beyond"] == "margin for all"
        assert (table.loc[table["stratum"] == "firing", "beyond"] == "").all()
        largest = table.loc[table["stratum"] == "firing", "estimate"].abs().max()
        assert largest > 2 > margins.loc["pot", "margin for all"]


class TestRefusals:
    def test_more_levels_than_two(self):
        pots = study()
        pots["sugar [g]"] = np.arange(16) % 4
        pots["clay"] = np.array(["buff", "red", "white"])[np.arange(16) % 3]
        assert refusal(pots, factors=FACTORS) == (
            "factor sugar, clay: sugar has 4 levels (0, 1, 2, 3) and clay has 3 levels (buff, red, white) "
            "where two are wanted. Use fit_effects, leave it out, or give it a column with the two values "
            "aimed at."
        )

    def test_one_level(self):
        assert refusal(study().assign(clay="buff"), factors=FACTORS) == (
            "factor clay: clay has 1 level (buff) where two are wanted. Use fit_effects, leave it out, or "
            "give it a column with the two values aimed at."
        )

    def test_a_pot_missing(self):
        said = refusal(study().drop(index=6), factors=FACTORS)
        assert said == (
            "screening of L*: sugar at 3 g is on 8 pots and sugar at 0 g on 7, salt at 2 g is on 7 pots and "
            "salt at 1 g on 8, clay white is on 7 pots and clay buff on 8, peak at 780 °C is on 8 pots "
            "and peak at 720 °C on 7; too few pots with sugar at 0 g, salt at 2 g, clay white, peak at 720 "
            "°C. Mend the pots, or use fit_effects, which needs no balance."
        )

    def test_a_pot_missing_from_half_of_the_recipes(self):
        signs = recipes(4)
        half = signs[signs.prod(axis=1) > 0]
        said = refusal(study(half[1:]), factors=FACTORS)
        assert "too few pots with sugar at 0 g, salt at 1 g, clay buff, peak at 720 °C." in said

    def test_a_pot_doubled(self):
        pots = study()
        said = refusal(pd.concat([pots, pots.iloc[[3]].assign(pot="p17")]), factors=FACTORS)
        assert "pots p04, p17 share one recipe where others have 1" in said

    def test_a_pot_without_an_outcome(self):
        pots = study()
        pots.loc[2, "L*"] = np.nan
        assert "left out: p03 (no L*)" in refusal(pots, factors=FACTORS)

    def test_factors_that_change_together_in_part(self):
        signs = np.vstack([recipes(2)] * 4)
        signs[[0, 3], 0] *= -1
        pots = study(np.column_stack([signs, np.repeat(recipes(2), 4, axis=0)]))
        assert "sugar and salt change together in part" in refusal(pots, factors=["sugar", "salt"])

    def test_too_few_effects(self):
        pots = in_firings(study(recipes(3)[:, [0, 1, 2, 2]]), ["clay"])
        assert refusal(pots, factors=["sugar", "salt", "clay"]) == (
            "screening of L*: no effect can be judged: there are 6 between pots (fewer than 7 effects), "
            "1 between firings (fewer than 7 effects). It takes 7 effects between pots or between firings, "
            "as three factors in all 8 recipes give: try more factors, or fire more pots and use fit_effects."
        )

    def test_nothing_but_straddling(self):
        pots = study().assign(firing=["f1"] * 5 + ["f2"] * 11)
        assert "give each firing as many pots at the high as at the low level" in refusal(
            pots, factors=FACTORS
        )

    def test_no_scatter_at_all(self):
        told = refusal(study().assign(**{"L*": 40.1}), factors=FACTORS)
        assert "it is 40.1 on every pot, so there is nothing to explain" in told

    def test_scatter_in_a_few_pots_only(self):
        table = study().assign(**{"L*": 40.1})
        table["L*"] += 2.0 * (table["sugar [g]"] > 0)
        told = refusal(table, factors=FACTORS)
        assert "there are 15 between pots (more than half of the effects are zero)" in told

    def test_an_unknown_column(self):
        with pytest.raises(UnknownNameError, match="factor 'wax'"):
            screen_effects(study(), factors=["sugar", "wax"])

    def test_two_effects_of_one_name(self):
        pots = study().rename(columns={"clay": "sugar × salt"})
        said = refusal(pots, factors=["sugar", "salt", "sugar × salt", "peak_C"])
        assert said == (
            "screening of L*: two effects would be called 'sugar × salt'. Rename one of the columns."
        )


class TestWords:
    screening = staticmethod(
        lambda **kwargs: screen_effects(study(effects={(0,): -12, (0, 2): 8}, **kwargs), factors=FACTORS)
    )

    def test_what_stands_out(self):
        said = self.screening().sentence("sugar")
        assert said.startswith("Pots with sugar at 3 g came out 11.80 L* darker than pots")
        assert said.endswith("farther than chance carries even the largest of 15 effects between pots.")

    def test_two_together(self):
        said = self.screening().sentence("clay × sugar [g]")
        assert said.startswith("Sugar and clay depend on one another: pots with sugar at 3 g came out 3.")
        assert " L* darker than pots with sugar at 0 g where both had clay white, and 20." in said

    def test_what_the_data_cannot_tell(self):
        screening = self.screening()
        said = screening.sentence("clay")
        assert said.startswith("Between pots with clay white and pots with clay buff, the data cannot tell: ")
        assert said.endswith(" fits for clay white.")
        said = screening.sentence("salt × clay")
        assert said.startswith(
            "Whether salt and clay depend on one another, the data cannot tell: anywhere from "
        )

    def test_a_hint(self):
        said = screen_effects(study(effects={(3,): 1.5}), factors=FACTORS).sentence("peak_C")
        assert said.endswith("but not the largest of 15 effects between pots: try it again.")

    def test_aliases_are_said(self):
        signs = np.column_stack([recipes(3), recipes(3).prod(axis=1)])
        said = screen_effects(study(signs), factors=FACTORS).sentence("sugar × salt")
        assert said.endswith(" These pots cannot tell it from + clay × peak_C.")

    def test_what_is_not_judged(self):
        screening = screen_effects(in_firings(study(), ["peak_C"]), factors=FACTORS)
        assert screening.sentence("peak_C").startswith("Pots with peak at 780 °C came out ")
        assert screening.sentence("peak_C").endswith("; not judged (fewer than 7 effects).")

    def test_all(self):
        screening = self.screening()
        said = screening.sentences()
        assert len(said) == 6
        assert said[4] == screening.sentence("sugar × clay")
        assert said[5].startswith("Of 10 interactions between pots the data cannot tell: the largest, ")
        assert said[5].endswith(" L* either way.")
        for text in said:
            assert "significant" not in text
            assert "cause" not in text

    def test_a_recipe_fired_twice_is_said(self):
        pots = pd.concat([study(), study(seed=2)], ignore_index=True)
        pots["pot"] = [f"p{k}" for k in range(32)]
        assert screen_effects(pots, factors=FACTORS).sentences()[0] == (
            "16 recipes were fired as 32 pots: where recipes were fired more than once, fit_effects can "
            "judge better than this."
        )

    def test_a_share_is_said_in_percentage_points(self):
        pots = study(effects={(0,): -12}).rename(columns={"L*": "dark share"})
        pots["dark share"] /= 100
        said = screen_effects(pots, outcome="dark share", factors=FACTORS).sentence("sugar")
        assert " percentage points smaller in dark share than pots with sugar at 0 g (give or take " in said

    def test_an_unknown_effect(self):
        with pytest.raises(UnknownNameError) as caught:
            screen_effects(study(recipes(3)[:, [0, 1, 2, 0]]), factors=FACTORS[:3]).sentence("wax")
        assert str(caught.value) == (
            "effect 'wax': the screening has no such effect. It has sugar, salt, clay, sugar × salt, "
            "sugar × clay, salt × clay, sugar × salt × clay."
        )

    def test_as_text_and_as_a_page(self):
        pots = study(effects={(0,): -12}).rename(columns={"clay": "clay <b>"})
        screening = screen_effects(pots, factors=["sugar", "salt", "clay <b>", "peak_C"])
        assert repr(screening).startswith("L* of 16 pots in 1 firing: 15 effects\nPots with sugar at 3 g")
        page = screening._repr_html_()
        assert "clay &lt;b&gt;" in page
        assert "<b>" not in page
