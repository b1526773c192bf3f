"""The plan as a potter gets it: a table in grams, one coded, what must be known, the fit it is for."""

from dataclasses import FrozenInstanceError

import numpy as np
import pandas as pd
import pytest

import sagglab.errors
from sagglab.errors import PlanError
from sagglab.model.effects import fit_effects
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.limits import Limits
from sagglab.plan.standard import Fraction, Screening

PEAK = Factor("peak", [700, 800], "degC", per="firing")
SUGAR = Factor("sugar", [0, 1, 4], "g")
CLAY = Factor("clay", ["buff", "white", "red"])
WRAP = Factor("wrap", ["none", "wire"])
QUICK = Best(starts=6)


@pytest.fixture(scope="module")
def plan():
    return plan_batch(
        [PEAK, SUGAR, CLAY], 6, 6, kind=QUICK, seed=4, same={"slip [coats]": 2, "kiln shelf": "low"}
    )


def simulated(runs, effects, seed, firing_sd=1.0, pot_sd=0.5):
    """Pots with known effects, and scatter of firings and of pots."""
    rng = np.random.default_rng(seed)
    firings = {firing: rng.normal(0, firing_sd) for firing in runs["firing"].unique()}
    lightness = 40 + runs["firing"].map(firings) + rng.normal(0, pot_sd, len(runs))
    for effect in effects:
        lightness += effect(runs)
    return runs.assign(**{"L*": lightness})


def test_runs_have_one_row_for_each_pot_in_order_of_work(plan):
    runs = plan.runs
    assert runs.columns.tolist() == [
        "pot", "firing", "place", "peak [degC]", "sugar [g]", "clay", "slip [coats]", "kiln shelf",
    ]  # fmt: skip
    assert runs.index.tolist() == list(range(1, 37))
    assert runs["pot"].tolist() == [f"p{number:02d}" for number in range(1, 37)]
    assert runs["firing"].tolist() == [f"f{number}" for number in range(1, 7) for _ in range(6)]
    assert (runs["slip [coats]"] == 2).all()
    assert (runs["kiln shelf"] == "low").all()


def test_coded_and_runs_say_the_same(plan):
    assert plan.coded.columns.tolist() == ["firing", "peak", "sugar", "clay"]
    assert plan.coded.index.equals(plan.runs.index)
    assert (plan.coded["firing"] == plan.runs["firing"]).all()
    for factor in plan.factors:
        assert factor.decode(plan.coded[factor.name]).tolist() == plan.runs[factor.heading].tolist()
        assert plan.coded[factor.name].between(-1, 1).all()


def test_a_plan_cannot_be_changed(plan):
    with pytest.raises(FrozenInstanceError):
        plan.seed = 5


def test_it_says_in_words_what_it_is(plan):
    said = repr(plan)
    assert said.startswith(
        "36 pots in 6 firings of 6, kind 'best', dealt by lot with seed 4.\nIt asks for peak, "
    )
    assert "Decorative ware only." in said
    assert "Decorative ware only." in plan._repr_html_()


def test_a_level_that_is_never_used_is_told():
    made = plan_batch([SUGAR, PEAK], 4, 4, "main", QUICK, 1)
    assert set(made.runs["sugar [g]"]) == {0.0, 4.0}
    assert (
        "sugar is never at 1: a straight effect is sharpest between the ends; ask for the model "
        "'quadratic' if it "
        "may bend"
    ) in made.notes
    bent = plan_batch([SUGAR, PEAK], 4, 4, "quadratic", QUICK, 1)
    assert set(bent.runs["sugar [g]"]) == {0.0, 1.0, 4.0}


def test_few_firings_are_warned_of():
    made = plan_batch([PEAK, SUGAR], 3, 4, "main", QUICK, 1)
    assert (
        "3 firings leave 1 over to judge what is set per firing by: only a huge difference will show"
    ) in made.notes


def test_names_are_escaped_on_a_page():
    made = plan_batch(
        [Factor("<b>moss</b>", [0, 1], "g"), WRAP], 3, 4, "main", QUICK, 1, same={"<i>tag</i>": "<u>&</u>"}
    )
    page = made._repr_html_()
    assert not any(tag in page for tag in ("<b>", "<i>", "<u>"))
    assert "&lt;b&gt;moss&lt;/b&gt; [g]" in page


def test_pots_that_were_planned_can_answer_what_they_were_planned_for(plan):
    results = simulated(
        plan.runs,
        [
            lambda runs: 0.1 * (runs["peak [degC]"] - 750),
            lambda runs: 2.0 * runs["sugar [g]"],
            lambda runs: runs["clay"].map({"buff": -3.0, "white": 0.0, "red": 3.0}),
        ],
        seed=11,
    )
    found = fit_effects(results, "L*", **plan.terms.question)
    assert found.table["term"].str.split(":").str[0].unique().tolist() == list(plan.terms.names)
    rows = found.table.set_index("term")
    for term, truth in (("peak", 0.1), ("sugar", 2.0), ("clay: buff", -3.0), ("clay: red", 3.0)):
        assert rows.loc[term, "low"] < truth < rows.loc[term, "high"]
    assert rows.loc["sugar", "high"] - rows.loc["sugar", "low"] < 1
    again = plan.fit(results)
    assert again.table.equals(found.table)


def test_a_bend_that_was_planned_for_is_found():
    made = plan_batch([PEAK, SUGAR, WRAP], 6, 6, "quadratic", QUICK, 2)
    results = simulated(made.runs, [lambda runs: -1.5 * (runs["sugar [g]"] - 2) ** 2], seed=3)
    rows = made.fit(results).table.set_index("term")
    assert rows.loc["sugar squared", "p"] < 1e-6
    assert rows.loc["peak", "p"] > 0.01


def test_the_peak_as_the_record_has_it_is_what_is_judged():
    made = plan_batch([PEAK, WRAP], 6, 4, "main", QUICK, 2)
    results = simulated(made.runs, [lambda runs: 0.1 * runs["peak [degC]"]], 5)
    recorded = results.assign(peak_C=results["peak [degC]"] + np.repeat([-9.0, 4, 8, -3, 1, 6], 4))
    one, other = made.fit(results).table, made.fit(recorded).table
    assert one.loc[0, "estimate"] != pytest.approx(other.loc[0, "estimate"], rel=1e-6)
    same = fit_effects(recorded.assign(**{"peak [degC]": recorded["peak_C"]}), "L*", **made.terms.question)
    assert other.loc[0, "estimate"] == pytest.approx(same.table.loc[0, "estimate"])


def test_results_without_a_factor_are_refused_by_name(plan):
    results = simulated(plan.runs, [], 1).drop(columns="sugar [g]")
    with pytest.raises(sagglab.errors.PlanError, match="factor 'sugar': the table has no such column"):
        plan.fit(results)


def test_tags_go_on_from_those_of_a_book(plan):
    later = plan.continuing(["p07", "vase"], ["f6"])
    assert later.runs["pot"].iloc[[0, -1]].tolist() == ["p08", "p43"]
    assert later.runs["firing"].unique().tolist() == ["f7", "f8", "f9", "f10", "f11", "f12"]
    assert (later.coded["firing"] == later.runs["firing"]).all()
    assert later.runs.drop(columns=["pot", "firing"]).equals(plan.runs.drop(columns=["pot", "firing"]))
    assert later.aliases().equals(plan.aliases())


def test_words_are_counted_in_the_pots_and_refused_off_the_ends(plan):
    four = [Factor(name, [0, 1], "g") for name in ("straw", "hair", "weed", "husk")]
    made = plan_batch(four, 2, 4, "main", Fraction(generators=["D=ABC"]), 1)
    assert (made.resolution, made.word_lengths) == (4, (0, 0, 0, 1))
    for asked in ("resolution", "word_lengths"):
        with pytest.raises(sagglab.errors.PlanError, match="a factor is not at its two ends alone"):
            getattr(plan, asked)


def test_what_it_will_tell_and_the_bench_sheet_follow_from_the_plan():
    made = plan_batch([PEAK, WRAP, SUGAR], 4, 4, "main", QUICK, 2, same={"slip [coats]": 2})
    told = made.precision(firing_sd=3, pot_sd=4, difference=5)
    assert told.table["term"].tolist() == ["peak", "wrap: wire − none", "sugar"]
    assert told.table.loc[0, "df"] == pytest.approx(2)
    assert made.bench_sheet().pots["pot"].tolist() == made.runs["pot"].tolist()


def test_unequal_firings_keep_their_sizes_and_one_firing_will_do_for_recipes():
    made = plan_batch([SUGAR, WRAP], 3, [3, 6, 4], "main", QUICK, 8)
    assert sorted(made.runs.groupby("firing").size()) == [3, 4, 6]
    assert "13 pots in 3 firings of 3 to 6" in repr(made)
    alone = plan_batch([SUGAR, WRAP], 1, 8, "main", QUICK, 8)
    assert "8 pots in 1 firing of 8" in repr(alone)


def test_predictions_put_more_pots_into_the_middle_than_effects_do():
    # Weights 1/3 each for effects, 1/4, 1/2, 1/4 for predictions: Atkinson, Donev & Tobias 2007.
    amount = [Factor("sugar", [0, 2, 4], "g")]
    effects = plan_batch(amount, 2, 6, "quadratic", Best(starts=12), 1)
    predictions = plan_batch(amount, 2, 6, "quadratic", Best("predictions", starts=12), 1)
    assert [(p.runs["sugar [g]"] == 2).sum() for p in (effects, predictions)] == [4, 6]


def test_plans_with_middle_levels_tell_bends_of_amounts_given_two():
    factors = [Factor(name, [1, 3], "g") for name in ("sugar", "salt", "borax")]
    plan = plan_batch(factors, pots_per_firing=8, model="quadratic", kind="box-behnken", seed=1)
    assert plan.terms.question["squares"] == ["sugar", "salt", "borax"]
    assert "squared" not in " ".join(plan.sentences[1:])
    straight = plan_batch(factors, pots_per_firing=8, kind="central composite", seed=1)
    assert straight.terms.question["squares"] == []
    assert any("ask for the model 'quadratic'" in note for note in straight.notes)
    best = plan_batch(factors, firings=4, pots_per_firing=6, model="quadratic", seed=1)
    assert best.terms.question["squares"] == []


def test_what_cannot_be_told_apart_is_told_before_anything_is_fired():
    letters = [Factor(name, [0, 1]) for name in "abcdefg"]
    third = Fraction(generators=["D=AB", "E=AC", "F=BC", "G=ABC"])
    whole = plan_batch(letters, pots_per_firing=8, model="main", kind=third, seed=1)
    assert any("a cannot be told from " in note for note in whole.notes)
    partly = plan_batch(letters, pots_per_firing=12, model="main", kind=Screening(pots=12), seed=1)
    assert any("pairs of others do, a third of it or more: a, b, c" in note for note in partly.notes)
    four = plan_batch(letters[:4], firings=4, pots_per_firing=4, model="main", kind="factorial", seed=1)
    assert "cannot be told from" not in str(four)


def test_limits_under_which_no_pots_could_tell_are_named():
    pair = [Factor("sugar", [0, 6], "g"), Factor("salt", [0, 3], "g")]
    with pytest.raises(PlanError) as caught:
        plan_batch(pair, firings=4, pots_per_firing=6, limits=Limits(dusting_g=7), seed=1)
    assert str(caught.value) == (
        "limits: no pot may have sugar at 6 with salt at 3, so sugar × salt cannot be told. Allow more grams "
        "on one pot or forbid less, take lower levels, or leave sugar × salt out of the model."
    )
    told = plan_batch(pair, firings=4, pots_per_firing=6, model="main", limits=Limits(dusting_g=7), seed=1)
    assert "the limit of 7 g on one pot counts sugar, salt" in told.notes


def test_a_plan_asks_its_own_pots_alone():
    made = plan_batch([Factor("sugar", [0, 4], "g")], firings=4, pots_per_firing=4, model="main", seed=1)
    rng = np.random.default_rng(1)
    results = made.runs.assign(**{"L*": 40 - 2 * made.runs["sugar [g]"] + rng.normal(size=16)})
    others = results.assign(
        pot=[f"q{n}" for n in range(16)], firing="g1", **{"L*": 90.0 + rng.normal(size=16)}
    )
    both = made.fit(pd.concat([results, others], ignore_index=True))
    assert both.pots == 16
    with pytest.raises(PlanError, match=r"none of the planned pots \(p01 to p16\) is among them"):
        made.fit(others)


def test_a_kind_that_leaves_places_empty_says_so():
    letters = [Factor(name, [0, 1]) for name in "abc"]
    made = plan_batch(letters, firings=4, pots_per_firing=4, model="main", kind="screening", seed=1)
    assert "this kind takes 8 of the 16 pots that there is room for" in made.notes
    bent = plan_batch(letters, firings=4, pots_per_firing=4, model="quadratic", seed=1)
    assert "no amount has three levels, so that no bend is asked for" in bent.notes
