import re

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.dependence import pieces
from sagglab.model.effect_rows import COLUMNS
from sagglab.model.effects import fit_effects
from sagglab.model.mixed import MixedFit
from sagglab.model.strata import EXACT, ONE_FIRING, ONE_POT_EACH, REML, LeastSquares


def study(firings=6, pots=6, seed=3, firing_sd=2.0, pot_sd=2.5):
    """An invented studio: every effect known."""
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
            "packing": rng.permutation(np.array(["sawdust", "seaweed"])[np.arange(n) % 2]),
            "peak_C": np.linspace(720, 780, firings)[label],
            "minutes_above_660_C": np.tile([14.0, 22, 11, 30, 19, 25], 20)[label],
        }
    )
    table["L*"] = (
        44
        - 1.8 * table["sugar [g]"]
        + 0.6 * table["copper sulphate [g]"]
        + 2 * (table["packing"] == "seaweed")
        + table["clay"].map({"buff": 1.0, "red": -1.0, "white": 0.0})
        - 0.05 * (table["peak_C"] - 750)
        + firing_sd * rng.normal(size=firings)[label]
        + pot_sd * rng.normal(size=n)
    )
    return table


ALL = ["sugar", "copper sulphate", "clay", "packing", "peak_C"]


def rows(effects):
    return effects.table.set_index("term")


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        fit_effects(*args, **kwargs)
    return str(caught.value)


class TestTable:
    def test_columns_terms_and_units(self):
        table = fit_effects(study(), factors=ALL).table
        assert tuple(table.columns) == COLUMNS
        assert dict(zip(table["term"], table["unit"], strict=True)) == {
            "sugar": "L* per g",
            "with sugar": "L*",
            "copper sulphate": "L* per g",
            "with copper sulphate": "L*",
            "clay: buff": "L*",
            "clay: red": "L*",
            "clay: white": "L*",
            "packing: seaweed − sawdust": "L*",
            "peak_C": "L* per degC",
        }
        assert set(table["method"]) == {REML}
        assert (table["stratum"] == "firing").tolist() == [False] * 8 + [True]

    def test_known_effects_are_found_in_a_large_study(self):
        table = rows(fit_effects(study(firings=40, pots=12, firing_sd=0.2, pot_sd=0.5), factors=ALL))
        truth = {
            "sugar": -1.8,
            "copper sulphate": 0.6,
            "with copper sulphate": 1.2,
            "clay: buff": 1,
            "clay: red": -1,
            "clay: white": 0,
            "packing: seaweed − sawdust": 2,
            "peak_C": -0.05,
        }
        for term, value in truth.items():
            line = table.loc[term]
            assert abs(line["estimate"] - value) < 4 * line["standard error"]

    def test_levels_add_up_to_zero(self):
        table = rows(fit_effects(study(), factors=ALL))
        assert table.filter(like="clay", axis=0)["estimate"].sum() == pytest.approx(0, abs=1e-9)

    def test_the_row_of_a_single_amount_is_the_scaled_slope(self):
        table = rows(fit_effects(study(), factors=ALL))
        slope, presence = table.loc["copper sulphate"], table.loc["with copper sulphate"]
        for column in ("estimate", "standard error", "low", "high"):
            assert presence[column] == pytest.approx(2 * slope[column])
        assert presence["df"] == pytest.approx(slope["df"])

    def test_with_and_without_is_the_model_of_a_coded_column(self):
        table = study()
        coded = table.assign(sweet=np.where(table["sugar [g]"] > 0, "b yes", "a no"))
        ours = rows(fit_effects(table, factors=ALL)).loc["with sugar"]
        other = rows(fit_effects(coded, factors=["sweet", *ALL[1:]])).loc["sweet: b yes − a no"]
        for column in ("estimate", "standard error", "low", "high", "df", "p"):
            assert ours[column] == pytest.approx(other[column], rel=1e-6)

    def test_balanced_study_has_whole_degrees_of_freedom(self):
        table = study(firings=6, pots=6)
        table["sugar [g]"] = np.tile([0.0, 0, 1, 1, 3, 3], 6)
        effects = rows(fit_effects(table, factors=["sugar", "peak_C"]))
        assert effects["df"].to_numpy() == pytest.approx([36 - 6 - 1, 36 - 6 - 1, 6 - 2], abs=1e-6)

    def test_row_order_and_firing_names_do_not_matter(self):
        table = study()
        shuffled = table.sample(frac=1, random_state=1)
        shuffled["firing"] = shuffled["firing"].map(lambda name: int(name[1:]) * 7)
        one, other = (fit_effects(t, factors=ALL).table for t in (table, shuffled))
        numbers = ["estimate", "standard error", "df", "p"]
        assert other[numbers].to_numpy() == pytest.approx(one[numbers].to_numpy(), rel=1e-6)

    def test_the_input_is_left_as_it_was(self):
        table = study()
        before = table.copy(deep=True)
        fit_effects(table, factors=ALL)
        pd.testing.assert_frame_equal(table, before)

    def test_categories_keep_a_stated_order(self):
        table = study()
        table["packing"] = pd.Categorical(table["packing"], ["seaweed", "sawdust"])
        table["waxed"] = np.arange(36) % 5 > 2
        terms = fit_effects(table, factors=["packing", "waxed"]).table["term"].tolist()
        assert terms == ["packing: sawdust − seaweed", "waxed: yes − no"]

    def test_a_category_of_several_levels_is_tested_as_a_whole(self):
        notes = rows(fit_effects(study(), factors=["clay"])).loc["clay: red", "note"]
        assert notes.startswith("clay as a whole: F ")
        assert " on 2 and " in notes

    def test_zero_on_a_scale_is_not_absence(self):
        table = study()
        table["minutes_above_660_C"] -= table["minutes_above_660_C"].min()
        table["tilt"] = np.tile([-1.0, 0, 1], 12)
        terms = fit_effects(table, factors=["minutes_above_660_C", "tilt"]).table["term"].tolist()
        assert terms == ["minutes_above_660_C", "tilt"]

    def test_counts_variances_and_fit(self):
        effects = fit_effects(study(), factors=ALL)
        assert (effects.outcome, effects.pots, effects.firings) == ("L*", 36, 6)
        assert effects.variances["component"].tolist() == ["firing", "pot"]
        assert effects.variances["standard deviation"].to_numpy() ** 2 == pytest.approx(
            effects.variances["variance"].to_numpy()
        )
        assert isinstance(effects.fitted.fit, MixedFit)

    def test_a_boundary_is_named(self):
        table = study()
        table["L*"] -= table.groupby("firing")["L*"].transform("mean")
        effects = fit_effects(table, factors=["peak_C"])
        assert effects.variances["note"].tolist() == ["none showed: taken as zero", ""]
        assert effects.table["df"].item() == pytest.approx(4)


class TestNotes:
    def test_few_firings(self):
        table = rows(fit_effects(study(firings=4), factors=["sugar", "peak_C"]))
        assert table.loc["sugar", "note"] == ""
        assert table.loc["peak_C", "note"] == (
            "rests on few firings: 2 left over to judge by; "
            "conservative: below six firings the interval is wider than it need be"
        )

    def test_enough_firings(self):
        line = rows(fit_effects(study(firing_sd=5), factors=["peak_C"])).loc["peak_C"]
        assert (line["note"], line["method"]) == ("", EXACT)

    def test_no_scatter_of_firings(self):
        table = study()
        table["L*"] -= table.groupby("firing")["L*"].transform("mean")
        assert rows(fit_effects(table, factors=["peak_C"])).loc["peak_C", "note"] == (
            "no scatter of firings showed: taken as zero, their degrees of freedom kept"
        )


class TestNames:
    def test_bare_name_and_heading_are_one(self):
        one, other = (fit_effects(study(), factors=[name]) for name in ("sugar", "sugar [g]"))
        pd.testing.assert_frame_equal(one.table, other.table)
        assert one.sentence("sugar") == one.sentence("sugar [g]") == other.sentence("sugar")

    def test_an_ambiguous_name_is_refused(self):
        table = study().rename(
            columns={"sugar [g]": "ferric chloride [g]", "copper sulphate [g]": "ferric chloride [coats]"}
        )
        assert refusal(table, factors=["ferric chloride"]) == (
            "factor 'ferric chloride': it can mean 'ferric chloride [g]' and 'ferric chloride [coats]'. "
            "Name one of them in full."
        )
        effects = fit_effects(table, factors=["ferric chloride [g]", "ferric chloride [coats]"])
        assert effects.table["term"].tolist() == [
            "ferric chloride [g]",
            "with ferric chloride [g]",
            "ferric chloride [coats]",
            "with ferric chloride [coats]",
        ]
        assert "for each coat" in effects.sentence("ferric chloride [coats]")

    def test_a_missing_column_is_refused(self):
        with pytest.raises(UnknownNameError) as caught:
            fit_effects(study()[["firing", "clay", "L*"]], factors=["salt"])
        assert str(caught.value) == (
            "factor 'salt': the table has no such column. Its columns are firing, clay, L*."
        )

    def test_an_unknown_sentence_is_refused(self):
        with pytest.raises(UnknownNameError) as caught:
            fit_effects(study(), factors=["sugar", "clay"]).sentence("salt")
        assert str(caught.value) == "effect 'salt': the model has no such factor. It has sugar, clay."


class TestLeftOut:
    def test_rows_with_gaps_are_listed(self):
        table = study()
        table.loc[3, "L*"] = np.nan
        table.loc[7, ["L*", "sugar [g]"]] = [np.inf, np.nan]
        table.loc[9, "clay"] = " "
        effects = fit_effects(table, factors=["sugar", "clay"])
        assert effects.pots == 33
        assert effects.left_out.to_numpy().tolist() == [
            [3, "p003", "no L*"],
            [7, "p007", "no L*, no sugar [g]"],
            [9, "p009", "no clay"],
        ]

    def test_nothing_left_out_is_an_empty_table(self):
        left_out = fit_effects(study(), factors=["sugar"]).left_out
        assert left_out.columns.tolist() == ["row", "pot", "reason"]
        assert left_out.empty


class TestOneFiring:
    def test_effects_within_it_are_least_squares(self):
        table = study().query("firing == 'f01'")
        table["sugar [g]"] = [0.0, 1, 3, 0, 1, 3]
        effects = fit_effects(table, factors=["sugar", "peak_C"])
        assert isinstance(effects.fitted.fit, LeastSquares)
        x = table["sugar [g]"] - table["sugar [g]"].mean()
        assert rows(effects).loc["sugar", "estimate"] == pytest.approx(
            np.polyfit(x, table["L*"], 1)[0], rel=1e-9
        )
        assert rows(effects).loc["sugar", "df"] == 4
        assert set(effects.table["method"]) == {ONE_FIRING}
        peak = rows(effects).loc["peak_C"]
        assert np.isnan(peak["estimate"])
        assert np.isnan(peak["p"])
        assert peak["note"] == "one firing cannot tell: every pot shared the same peak_C"
        assert effects.sentence("peak_C") == "One firing cannot tell about peak: all 6 pots shared it."
        assert effects.variances["note"].tolist() == ["one firing cannot tell", ""]
        assert effects.sentence("sugar").endswith("judged on 6 pots of one firing.")

    def test_only_firing_factors_leave_no_numbers(self):
        table = study().query("firing == 'f01'").assign(kiln="small")
        effects = fit_effects(table, factors=["peak_C", "kiln"])
        assert effects.table["estimate"].isna().all()
        assert effects.table["unit"].tolist() == ["L* per degC", "L*"]
        assert "cannot tell" in effects._repr_html_()


class TestOnePotInEachFiring:
    def test_all_is_judged_between_firings(self):
        table = study(firings=12, pots=6).drop_duplicates("firing")
        effects = fit_effects(table, factors=["sugar", "peak_C"])
        assert set(effects.table["stratum"]) == {"firing"}
        assert set(effects.table["method"]) == {ONE_POT_EACH}
        assert effects.table["df"].tolist() == [9, 9, 9]
        assert effects.variances["component"].tolist() == ["firing and pot together"]
        assert effects.variances["note"].tolist() == ["one pot in each firing: the two cannot be told apart"]


class TestRefusals:
    def test_no_factor(self):
        text = "factors: no list of factors was given. Name at least one, as in factors=['sugar']."
        assert refusal(study()) == text

    def test_a_word_in_place_of_a_list(self):
        text = "factors: a word was given where a list is wanted. Write factors=['sugar']."
        assert refusal(study(), factors="sugar") == text

    def test_words_under_a_heading_with_a_unit(self):
        pots = study()
        words = pots.assign(**{"sugar [g]": pots["sugar [g]"].astype(str)})
        told = (
            "factor 'sugar [g]': its numbers are kept as text, as '0.0'. Turn them into numbers with "
            "pandas.to_numeric, decimal commas into points first; where they are names, use "
            "astype('category')."
        )
        assert refusal(words, factors=["sugar"]) == told
        words.loc[words.index[0], "sugar [g]"] = "two"
        told = "factor 'sugar [g]': it holds 'two', which is no number. Make it a column of numbers."
        assert refusal(words, factors=["sugar"]) == told

    def test_one_column_in_two_roles(self):
        assert refusal(study(), factors=["sugar", "sugar [g]"]) == (
            "column 'sugar [g]': it is named twice. Name each column once: as outcome, firing or factor."
        )
        assert refusal(study(), factors=["L*"]).startswith("column 'L*': it is named twice.")

    def test_no_rows(self):
        assert refusal(study().assign(**{"L*": np.nan}), factors=["sugar"]) == (
            "model of L*: no row has all of L*, firing, sugar [g]. "
            "Fill in the gaps, or leave out the factor that is blank."
        )

    def test_an_outcome_of_text(self):
        assert refusal(study(), outcome="clay", factors=["sugar"]) == (
            "outcome 'clay': it is not a column of numbers. Name one that is."
        )

    def test_a_pot_in_two_rows(self):
        table = study()
        table.loc[1, "pot"] = "p000"
        assert refusal(table, factors=["sugar"]) == (
            "pot p000: it has more than one row, and a pot counts once. "
            "Gather its views into one row; fit_effects also takes views, with below='pot'."
        )
        table.loc[1, "pot"] = "p035"
        assert fit_effects(table, factors=["sugar"]).pots == 36

    def test_a_constant_factor(self):
        assert refusal(study().assign(straw=2.0), factors=["sugar", "straw"]) == (
            "factor straw: it is the same on every pot, so it explains no difference. "
            "Leave it out, or add pots that differ in it."
        )

    def test_hue_angles_across_zero(self):
        table = study().assign(**{"hue angle": np.tile([359.0, 2, 5], 12)})
        assert refusal(table, outcome="hue angle", factors=["sugar"]) == (
            "outcome 'hue angle': angles run past 360° to 0°, so they have no mean. "
            "Ask for a* and b*, or for the colour as a whole with fit_colour."
        )

    def test_too_few_firings(self):
        assert refusal(study(firings=2), factors=["sugar", "peak_C"]) == (
            "model of L*: with 2 firings nothing is left to judge peak_C by: "
            "it needs at least 1 more firing. Fire more, or leave out peak_C."
        )
        assert refusal(study(firings=2), factors=["sugar", "peak_C", "minutes_above_660_C"]) == (
            "model of L*: with 2 firings nothing is left to judge peak_C, minutes_above_660_C by: "
            "it needs at least 2 more firings. Fire more, or leave out peak_C, minutes_above_660_C."
        )

    def test_factors_that_add_up_to_a_firing_factor(self):
        table = study(firings=2)
        table["sawdust [g]"] = np.where(table["firing"] == "f00", 5, 9) - table["sugar [g]"]
        assert "it needs at least 1 more firing" in refusal(table, factors=["sugar", "sawdust"])

    def test_too_few_pots(self):
        table = study(firings=2, pots=2).assign(clay=list("abca"), **{"sugar [g]": [0.0, 1, 3, 0]})
        assert refusal(table, factors=["sugar", "clay"]) == (
            "model of L*: 4 pots cannot carry 3 effects and the mean. "
            "Add at least 1 more pot, leave out factors, or use screen_effects."
        )

    def test_no_scatter_left_within_firings(self):
        table = study(firings=3, pots=2).assign(**{"sugar [g]": [0.0, 1, 0, 2, 0, 4]})
        table["wax [coats]"] = [1.0, 2, 2, 1, 3, 2]
        table["slip [coats]"] = [2.0, 1, 1, 1, 1, 2]
        assert refusal(table, factors=["sugar", "wax", "slip"]) == (
            "model of L*: the 3 effects asked together use up every difference between pots of one firing. "
            "Add at least 1 more pot to a firing, leave out factors, or use screen_effects."
        )

    def test_aliased_factors_are_named_with_their_sign(self):
        table = study()
        table["salt [g]"] = 6 - 2 * table["sugar [g]"]
        assert refusal(table, factors=["sugar", "salt"]) == (
            "model of L*: the pots cannot tell apart what always changes together: every pot with more "
            "sugar had less salt, in one fixed ratio. "
            "Leave one of them out, or fire pots that have one without the other."
        )
        table["salt [g]"] = table["sugar [g]"] + 0.5 * table["copper sulphate [g]"]
        text = refusal(table, factors=["sugar", "copper sulphate", "salt"])
        assert "sugar" in text
        assert "copper sulphate" in text
        assert "salt" in text
        assert ", but for a constant." in text

    def test_aliased_amounts_that_are_there_or_not(self):
        table = study()
        there = table["copper sulphate [g]"] > 0
        table["salt [g]"] = there * 5.0
        pair = ["copper sulphate", "salt"]
        assert "together: the pots with copper sulphate are those with salt." in refusal(table, factors=pair)
        table["salt [g]"] = 5.0 - there * 5.0
        assert "together: every pot has either copper sulphate or salt." in refusal(table, factors=pair)
        # 3 g against 8 g: no pot is without it.
        table["salt [g]"] = 3.0 + there * 5.0
        told = "every pot with more copper sulphate had more salt, in one fixed ratio."
        assert told in refusal(table, factors=pair)

    def test_an_aliased_peak_is_higher_not_more(self):
        table = study()
        table["gas [kg]"] = 900 - table["peak_C"]
        assert "every pot with a higher peak had less gas, in" in refusal(table, factors=["peak_C", "gas"])

    def test_a_form_that_bends_keeps_its_chain(self):
        table = study()
        table["salt [g]"] = 4 * table["sugar [g]"]
        forms = {"sugar": "square root", "salt": "square root"}
        text = refusal(table, factors=["sugar", "salt"], forms=forms)
        assert "square root of salt = +2 square root of sugar" in text

    def test_a_category_that_repeats_another(self):
        table = study().assign(body=lambda t: t["clay"].str.upper())
        text = refusal(table, factors=["clay", "body"])
        assert "always changes together: body: BUFF = +clay: buff and body: RED = +clay: red" in text

    def test_pots_without_any_scatter(self):
        table = study()
        table["L*"] = 40 - table["sugar [g]"]
        assert "the terms reproduce every" in refusal(table, factors=["sugar"])
        table["L*"] += table["firing"].str[1:].astype(float)
        assert refusal(table, factors=["sugar"]) == (
            "model of L*: the terms leave no scatter within a group, so nothing can be judged by it. "
            "Drop terms or add observations."
        )

    def test_with_and_without_that_cannot_be_had_is_said_in_its_row(self):
        table = study(firings=3, pots=4)
        # Every firing is all with or all without: the amounts differ within, the presence only between.
        table["sugar [g]"] = [0.0] * 4 + [1, 2, 3, 4] + [1, 2, 4, 3]
        effects = fit_effects(table, factors=["sugar", "minutes_above_660_C"])
        line = rows(effects).loc["with sugar"]
        assert np.isnan(line["estimate"])
        assert line["note"].startswith("cannot be had: with 3 firings nothing is left to judge with sugar")
        assert "without" not in effects.sentence("sugar")


class TestForms:
    def test_a_form_is_the_model_of_a_column_made_so(self):
        table = study()
        table["root"] = np.sqrt(table["sugar [g]"])
        ours = rows(fit_effects(table, factors=["sugar", "clay"], forms={"sugar [g]": "square root"}))
        other = rows(fit_effects(table, factors=["root", "clay"]))
        line, same = ours.loc["square root of sugar"], other.loc["root"]
        assert line["unit"] == "L* per √(g)"
        for column in ("estimate", "low", "high", "df", "p"):
            assert line[column] == pytest.approx(same[column])
        assert "with square root of sugar" not in ours.index

    def test_log1p_and_with_or_without(self):
        table = study()
        forms = {"sugar": "log1p", "copper sulphate": "with or without"}
        ours = rows(fit_effects(table, factors=["sugar", "copper sulphate"], forms=forms))
        assert ours.index.tolist() == ["log(1 + sugar)", "with copper sulphate"]
        assert ours["unit"].tolist() == ["L* per log(g)", "L*"]
        plain = rows(fit_effects(table, factors=["copper sulphate"]))
        alone = rows(
            fit_effects(table, factors=["copper sulphate"], forms={"copper sulphate": "with or without"})
        )
        assert alone.loc["with copper sulphate", "estimate"] == pytest.approx(
            plain.loc["with copper sulphate", "estimate"]
        )

    def test_refusals(self):
        with pytest.raises(UnknownNameError) as caught:
            fit_effects(study(), factors=["sugar"], forms={"sugar": "cube"})
        assert str(caught.value) == (
            "form 'cube' of sugar: there is no such form. "
            "It can be amount, square root, log1p, with or without."
        )
        assert refusal(study(), factors=["clay"], forms={"clay": "log1p"}) == (
            "form 'log1p' of clay: the column holds words. Leave its form out."
        )
        table = study().assign(tilt=np.tile([-1.0, 0, 1], 12))
        assert refusal(table, factors=["tilt"], forms={"tilt": "square root"}) == (
            "form 'square root' of tilt: some amounts are below zero. Leave its form out."
        )
        with pytest.raises(UnknownNameError):
            fit_effects(study(), factors=["sugar"], forms={"peak_C": "log1p"})


class TestSquaresAndPairs:
    def test_a_square_is_of_the_centred_amount(self):
        table = study()
        centred = table["sugar [g]"] - table["sugar [g]"].mean()
        table["bend"] = centred**2
        ours = rows(fit_effects(table, factors=["sugar"], squares=["sugar"]))
        other = rows(fit_effects(table, factors=["sugar", "bend"]))
        assert ours.index.tolist() == ["sugar", "sugar squared"]
        assert ours.loc["sugar squared", "unit"] == "L* per g²"
        for column in ("estimate", "low", "high", "p"):
            assert ours.loc["sugar squared", column] == pytest.approx(other.loc["bend", column])

    def test_a_pair_is_the_difference_of_differences(self):
        table = study()
        ours = rows(
            fit_effects(
                table, factors=["packing", "copper sulphate"], together=[("packing", "copper sulphate")]
            )
        )
        name = "packing: seaweed − sawdust × copper sulphate"
        assert name in ours.index
        assert ours.loc[name, "unit"] == "L* per g"
        # A large study with a planted pair finds it: seaweed undoes what copper does.
        large = study(firings=40, pots=12, firing_sd=0.2, pot_sd=0.5)
        large["L*"] -= 1.2 * large["copper sulphate [g]"] * (large["packing"] == "seaweed")
        found = rows(
            fit_effects(
                large, factors=["packing", "copper sulphate"], together=[("packing", "copper sulphate")]
            )
        ).loc[name]
        assert found["low"] <= -1.2 <= found["high"]
        assert found["high"] < 0

    def test_main_effects_are_of_the_average_of_the_other_factor(self):
        table = study(firings=6, pots=6)
        table["sugar [g]"] = np.tile([0.0, 0, 2, 2, 4, 4], 6)
        table["packing"] = np.tile(["sawdust", "seaweed"], 18)
        alone, paired = (
            rows(fit_effects(table, factors=["sugar", "packing"], together=pairs))
            for pairs in ([], [("sugar", "packing")])
        )
        for term in ("sugar", "packing: seaweed − sawdust"):
            assert paired.loc[term, "estimate"] == pytest.approx(alone.loc[term, "estimate"])

    def test_sentences(self):
        effects = fit_effects(
            study(), factors=["sugar", "clay"], squares=["sugar"], together=[("sugar", "clay")]
        )
        assert len(effects.sentences()) == 4
        assert effects.sentence("sugar squared") == effects.sentences()[2]
        assert effects.sentence("sugar × clay: red") == effects.sentence("sugar × clay")
        with pytest.raises(UnknownNameError) as caught:
            effects.sentence("wax")
        assert str(caught.value).endswith("It has sugar, clay, sugar squared, sugar × clay.")

    @pytest.mark.parametrize(
        ("asked", "told"),
        [
            ({"squares": ["clay"]}, "square of clay: a category has none. Leave it out."),
            (
                {"together": [("sugar", "sugar")]},
                "together ('sugar', 'sugar'): it names one factor twice. Write squares=['sugar'].",
            ),
            (
                {"together": ["sugar"]},
                "together 'sugar': it is not a pair. Write together=[('sugar', …)].",
            ),
            (
                {"together": [("sugar", "clay"), ("clay", "sugar")]},
                "term sugar × clay: it is asked twice. Ask it once.",
            ),
        ],
    )
    def test_refusals(self, asked, told):
        assert refusal(study(), factors=["sugar", "clay"], **asked) == told

    def test_a_square_of_two_amounts_is_aliased(self):
        text = refusal(study(), factors=["copper sulphate"], squares=["copper sulphate"])
        assert "copper sulphate squared = " in text


class TestLevels:
    def test_every_term_knows_where_it_varies(self):
        table = study()
        table["salt [g]"] = np.tile([0.0, 0, 1, 1, 2, 2], 6)
        varies = rows(fit_effects(table, factors=["salt", "sugar", "peak_C"]))["varies"]
        assert varies.tolist() == ["within firings"] * 2 + ["both"] * 2 + ["between firings"]

    def test_a_day_above_the_firings(self):
        table = study(firings=8)
        table["day"] = table["firing"].map(lambda name: f"d{int(name[1:]) // 2}")
        table["wind"] = table["day"].map({"d0": "calm", "d1": "gusty", "d2": "calm", "d3": "gusty"})
        effects = fit_effects(table, factors=["sugar", "peak_C", "wind"], above="day")
        assert effects.variances["component"].tolist() == ["day", "firing", "pot"]
        assert rows(effects)["stratum"].tolist() == ["pot", "pot", "firing", "day"]
        assert rows(effects).loc["wind: gusty − calm", "df"] < 3
        assert "few days: 2 left over" in rows(effects).loc["wind: gusty − calm", "note"]
        assert effects.sentence("wind").endswith("judged on 4 days.")

    def test_views_below_the_pots(self):
        table = study().loc[lambda t: t.index.repeat(2)].reset_index(drop=True)
        table["L*"] += np.random.default_rng(2).normal(0, 0.5, len(table))
        told = refusal(table, factors=["sugar"])
        assert told.startswith("pot p000, p001, p002 and 33 more: it has more than one row")
        effects = fit_effects(table, factors=["sugar", "peak_C"], below="pot")
        assert (effects.pots, effects.firings) == (36, 6)
        assert effects.variances["component"].tolist() == ["firing", "pot", "view"]
        means = table.groupby(["pot", "firing", "sugar [g]", "peak_C"], as_index=False)["L*"].mean()
        by_pot = rows(fit_effects(means, factors=["sugar", "peak_C"]))
        # Two views each: the fit of the views judges pots as the fit of their means does.
        assert rows(effects)["estimate"].to_numpy() == pytest.approx(by_pot["estimate"].to_numpy(), rel=1e-6)
        assert rows(effects)["df"].to_numpy() == pytest.approx(by_pot["df"].to_numpy(), rel=1e-3)

    def test_one_day_cannot_be_told(self):
        assert refusal(study().assign(day="d1"), factors=["sugar"], above="day") == (
            "model of L*: there is one day, so the scatter of days cannot be told. Leave day out."
        )

    def test_a_day_for_each_firing_cannot_be_told(self):
        table = study()
        told = refusal(table.assign(day=table["firing"]), factors=["sugar"], above="day")
        assert told == (
            "model of L*: each day holds one firing, so that their scatters cannot be told apart. Leave day "
            "out."
        )

    def test_too_few_days(self):
        table = study(firings=8)
        table["day"] = table["firing"].map(lambda name: f"d{int(name[1:]) // 4}")
        table["wind"] = table["day"].map({"d0": "calm", "d1": "gusty"})
        assert "with 2 days nothing is left to judge wind by: it needs at least 1 more day" in refusal(
            table, factors=["wind"], above="day"
        )


class TestOutcomes:
    def test_a_rating_is_an_order(self):
        assert refusal(study().assign(rating=3.0), outcome="rating", factors=["sugar"]) == (
            "outcome 'rating': it is an order, not a measure: the step from 1 to 2 need not be that from 4 "
            "to 5. Use fit_ratings."
        )

    def test_shares_are_modelled_as_logits(self):
        table = study()
        share = 1 / (1 + np.exp((table["L*"] - 36) / 4))
        table["dark share"], table["logit"] = share, (36 - table["L*"]) / 4
        ours = fit_effects(table, "dark share", ALL)
        other = rows(fit_effects(table, "logit", ALL))
        for column in ("estimate", "low", "high", "df", "p"):
            assert rows(ours)[column].to_numpy() == pytest.approx(other[column].to_numpy())
        for end in ("from", "to", "to low", "to high"):
            expected = 1 / (1 + np.exp(-other[end].to_numpy()))
            assert rows(ours)[end].to_numpy() == pytest.approx(expected)
        assert rows(ours).loc["sugar", "unit"] == "log odds of dark share per g"

    def test_none_and_all_dark_have_a_logit(self):
        table = study()
        table["dark share"] = np.clip(1 / (1 + np.exp((table["L*"] - 36) / 4)), 0.2, 1).where(
            lambda s: s > 0.2, 0
        )
        effects = fit_effects(table, "dark share", ["sugar"])
        assert np.isfinite(effects.table[["estimate", "low", "high"]].to_numpy()).all()
        ends = effects.table[["from", "to"]].to_numpy()
        assert ((ends >= 0) & (ends <= 1)).all()

    def test_a_share_beyond_all_is_refused(self):
        table = study().assign(**{"dark share": np.linspace(0, 40, 36)})
        assert refusal(table, outcome="dark share", factors=["sugar"]) == (
            "outcome 'dark share': a share lies between 0 and 1, and here are 0 and 40. "
            "Mend the values, or put [percent] into its heading where it counts to 100."
        )
        table = table.rename(columns={"dark share": "dark share [percent]"})
        assert fit_effects(table, "dark share", ["sugar"]).table["to"].between(0, 100).all()


class TestEnds:
    def test_from_and_to(self):
        table = study()
        effects = fit_effects(table, factors=ALL)
        lines = rows(effects)
        middle = effects.fitted.fit.coefficients[0]
        sugar = lines.loc["sugar"]
        assert sugar["to"] - sugar["from"] == pytest.approx(3 * sugar["estimate"])
        assert sugar["from"] == pytest.approx(middle - sugar["estimate"] * table["sugar [g]"].mean())
        packing = lines.loc["packing: seaweed − sawdust"]
        assert (packing["from"] + packing["to"]) / 2 == pytest.approx(middle)
        assert packing["to high"] - packing["from"] == pytest.approx(packing["high"])
        copper = lines.loc[["copper sulphate", "with copper sulphate"]]
        for end in ("from", "to", "to low", "to high"):
            assert copper[end].iloc[0] == pytest.approx(copper[end].iloc[1])

    def test_allowing_for_all(self):
        from statsmodels.stats.multitest import multipletests

        table = rows(fit_effects(study(), factors=ALL))
        questions = table.drop(index="with copper sulphate")
        expected = pd.Series(multipletests(questions["p"], method="holm")[1], index=questions.index)
        # The two ways of asking after sugar are one question.
        asked = ["sugar", "with sugar"]
        assert table.loc[asked, "p"].max() < expected[asked].min() < 0.05
        expected[asked] = expected[asked].min()
        assert questions["p Holm"].to_numpy() == pytest.approx(expected.to_numpy())
        assert table.loc["with copper sulphate", "p Holm"] == table.loc["copper sulphate", "p Holm"]


class TestTables:
    """What would be silently wrong is refused, and says how to mend it."""

    def test_numbers_as_text_without_a_unit(self):
        table = study().rename(columns={"sugar [g]": "sugar"})
        told = refusal(
            table.assign(sugar=table["sugar"].astype(str).str.replace(".", ",")), factors=["sugar"]
        )
        assert told.startswith(
            "factor 'sugar': its numbers are kept as text, as '0,0'. Turn them into numbers"
        )
        kept = table.assign(sugar=table["sugar"].astype(str).astype("category"))
        assert len(fit_effects(kept, factors=["sugar"]).factors[0].levels) == 4

    @pytest.mark.parametrize(("column", "role"), [("clay", "factor"), ("firing", "column")])
    def test_names_that_differ_only_in_how_they_are_written(self, column, role):
        table = study()
        table.loc[3, column] = table.loc[3, column].upper() + " "
        assert f"{role} '{column}': '" in refusal(table, factors=["sugar", "clay"])
        assert refusal(table, factors=["sugar", "clay"]).endswith(
            "differ only in how they are written. Write them alike."
        )

    def test_a_firing_of_two_days(self):
        table = study().assign(day=np.repeat(["d1", "d2", "d3"], 12))
        table.loc[0, "day"] = "d2"
        assert refusal(table, factors=["sugar"], above="day") == (
            "firing 'f00': it lies in more than one day: d2, d1. "
            "Mend the day, or give each firing a tag of its own."
        )

    def test_views_named_in_place_of_pots(self):
        table = study().loc[lambda t: t.index.repeat(2)].reset_index(drop=True)
        table["view"] = np.tile(["front", "back"], 36)
        assert refusal(table, factors=["sugar"], below="view").startswith(
            "view 'front': it lies in more than one firing"
        )

    def test_an_outcome_that_never_differs(self):
        assert refusal(study().assign(**{"L*": 30.0}), factors=["sugar"]) == (
            "outcome 'L*': it is 30 on every pot, so there is nothing to explain. "
            "Ask for an outcome that differs."
        )

    def test_a_lightness_with_its_decimal_slipped(self):
        table = study()
        assert refusal(table.assign(**{"L*": table["L*"] * 10}), factors=["sugar"]).startswith(
            "outcome 'L*': L* lies between 0 and 100, and here is "
        )

    def test_no_table_no_list_no_forms(self):
        assert refusal([1, 2], factors=["sugar"]) == (
            "results: a table is wanted, not a list. Give the DataFrame from gather_results."
        )
        assert refusal(study(), factors=["sugar"], forms="log1p") == (
            "forms: 'log1p' is no form for each amount. Write forms={'sugar': 'log1p'}."
        )
        assert refusal(study(), factors=["sugar"], squares="sugar") == (
            "squares: a word was given where a list is wanted. Write squares=['sugar']."
        )
        assert refusal(study(), factors=["sugar", "clay"], together="sugar clay") == (
            "together: a word was given where pairs are wanted. Write together=[('sugar', 'clay')]."
        )

    def test_a_name_that_is_nearly_right(self):
        with pytest.raises(UnknownNameError) as caught:
            fit_effects(study(), factors=["suger"])
        assert str(caught.value) == (
            "factor 'suger': the table has no such column. Did you mean 'sugar [g]'?"
        )

    def test_firings_that_are_numbers_or_dates(self):
        table = study()
        table["firing"] = table["firing"].str[1:].astype(int)
        assert "a new pot in firing 3" in repr(fit_effects(table, factors=["sugar"]).predict({"sugar": 1}, 3))
        table["day"] = pd.to_datetime("2026-05-01") + pd.to_timedelta(table["firing"] // 2, unit="D")
        effects = fit_effects(table, factors=["sugar"], above="day")
        assert set(effects.fitted.groups["day"]) == {"2026-05-01", "2026-05-02", "2026-05-03"}


class TestDependence:
    def test_what_sugar_does_on_each_clay(self):
        table = study(firings=12, firing_sd=0.5, pot_sd=0.5)
        table["L*"] += 3.0 * table["sugar [g]"] * (table["clay"] == "red")
        effects = fit_effects(table, factors=ALL, together=[("clay", "sugar")])
        said = effects.sentence("clay × sugar")
        assert said.startswith("What clay does depends on sugar: ") or said.startswith("What sugar does")
        assert "with clay red 1.1" in said.replace("1.2", "1.1").replace("1.3", "1.1")
        assert "L* lighter for each gram (" in said
        alone = [
            fit_effects(part, factors=["sugar"]).table["estimate"].iloc[0]
            for _, part in table.groupby("clay")
        ]
        found = pieces(effects.fitted, effects.terms[-1])
        assert [piece.where for piece in found] == ["with clay buff", "with clay red", "with clay white"]
        assert [piece.contrast.estimate for piece in found] == pytest.approx(alone, abs=0.35)

    def test_both_halves_of_a_bend(self):
        table = study(firings=12, firing_sd=0.5, pot_sd=0.5)
        table["L*"] += 2.0 * (table["sugar [g]"] - 1.5) ** 2
        effects = fit_effects(table, factors=ALL, squares=["sugar"])
        said = effects.sentence("sugar squared")
        assert re.match(
            r"What sugar does bends: from 0 to 1\.5 g \d\.\d+ L\* darker \(.*\); "
            r"from 1\.5 to 3 g \d\.\d+ L\* lighter",
            said,
        )
        first, second = pieces(effects.fitted, effects.terms[-1])
        assert first.contrast.estimate == pytest.approx(-4.5 - 2.7, abs=0.8)
        assert second.contrast.estimate == pytest.approx(4.5 - 2.7, abs=0.8)
