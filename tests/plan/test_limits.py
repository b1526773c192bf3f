"""Limits: contradictions are named, and every plan keeps to what it was given."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sagglab.errors import PlanError, SagglabError
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.limits import Limits

PEAK = Factor("peak", [700, 800], "degC", per="firing")
SUGAR, SALT = Factor("sugar", [0, 4], "g"), Factor("copper sulphate", [0, 3], "g")
CLAY = Factor("clay", ["buff", "white"])
FACTORS = [PEAK, SUGAR, SALT, CLAY]
QUICK = Best(starts=4)


def plan(factors=FACTORS, firings=6, pots=4, model="main", kind=QUICK, seed=1, limits=None, **more):
    return plan_batch(factors, firings, pots, model, kind, seed, limits=limits, **more)


def told(**asked):
    with pytest.raises(PlanError) as caught:
        plan(**asked)
    return str(caught.value)


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        (
            {"dusting_g": 2},
            "limits: no pot may have sugar at 4 g. Allow more grams on one pot, forbid less, or take "
            "other levels.",
        ),
        ({"dusting_g": 0}, "limit dusting_g: 0 is no weight. Write the grams allowed."),
        ({"dusting_g": "7"}, "limit dusting_g: '7' is no weight. Write the grams allowed."),
        (
            {"stock": {"sugar": 3}},
            "limit stock, sugar: 3 g does not let one of 24 pots have 4 of it. Have 48 g, enough "
            "for half of the pots, or take lower levels.",
        ),
        ({"stock": {"clay": 3}}, "limit stock, clay: it is no amount that pots take. Leave it out."),
        ({"stock": {"peak": 3}}, "limit stock, peak: it is no amount that pots take. Leave it out."),
        (
            {"stock": {"suger": 3}},
            "limit stock: there is no factor 'suger'. The factors are peak, sugar, copper sulphate, clay.",
        ),
        ({"stock": {"sugar": "3"}}, "limit stock, sugar: '3' is no amount. Write a number."),
        ({"stock": 3}, "limit stock: it is 3. Write {'sugar': 60}."),
        (
            {"pots": {"clay": {"buff": 10, "white": 10}}},
            "limit pots, clay: there are 20 pots, and the plan takes 24. Make more, or plan for fewer.",
        ),
        (
            {"pots": {"clay": {"red": 10}}},
            "limit pots, clay: it has no kind 'red'. Its kinds are buff, white.",
        ),
        (
            {"pots": {"clay": {"buff": 0}}},
            "limit pots, clay: there is no pot of buff. Leave the kind out of the factor.",
        ),
        ({"pots": {"clay": {"buff": 3.5}}}, "limit pots, clay: 3.5 is no number of pots. Count them."),
        ({"pots": {"clay": 3}}, "limit pots, clay: it is 3. Count the pots of each kind."),
        (
            {"pots": {"sugar": {4: 3}}},
            "limit pots, sugar: it is no kind of pot. Name a category, such as the clay.",
        ),
        (
            {"places": 3},
            "limit places: 4 pots in one firing have 3 places. Fire fewer pots at a time, or name "
            "more places.",
        ),
        (
            {"places": ["low", "low", "mid", "high"]},
            "limit places: place low is there twice. Name each place of the kiln once.",
        ),
        ({"places": "low"}, "limit places: it is 'low'. Write their number, or a list of names."),
        (
            {"never": [{"suger": 4}]},
            "limit never {'suger': 4}: there is no factor 'suger'. The factors are peak, sugar, "
            "copper sulphate, "
            "clay.",
        ),
        ({"never": [{"sugar": 5}]}, "limit never {'sugar': 5}: sugar has no level 5. Its levels are 0, 4."),
        (
            {"never": [{"peak": 800, "sugar": [0, 4]}]},
            "limits: no pot may have peak at 800 degC. Allow more grams on one pot, forbid less, or "
            "take other "
            "levels.",
        ),
        ({"never": [{}]}, "limit never {}: it is no combination. Write {'sugar': 4, 'copper sulphate': 3}."),
        ({"never": 3}, "limit never: it is 3. Write [{'sugar': 4, 'copper sulphate': 3}]."),
    ],
    ids=str,
)
def test_each_contradiction_is_named_with_its_remedy(limits, said):
    def make():
        plan(limits=Limits(**limits))

    with pytest.raises(PlanError) as caught:
        make()
    assert str(caught.value) == said


def test_limits_that_leave_no_recipe_say_so():
    never = [{"sugar": 0}, {"sugar": 4}]
    assert "limits: they contradict each other: no recipe is left" in told(limits=Limits(never=never))


def test_dustings_in_ounces_count_in_grams_and_packings_do_not_count():
    ounces = Factor("sugar", [0, 0.2], "oz")  # 5.67 g
    assert "no pot may have sugar at 0.2 oz" in told(factors=[ounces, CLAY], limits=Limits(dusting_g=5.5))
    packed = Factor("sawdust", [0, 20], "g")
    assert len(plan([packed, CLAY], limits=Limits(dusting_g=5.5)).runs) == 24


def test_a_dusting_that_is_on_every_pot_counts():
    assert "no pot may have copper sulphate at 3 g" in told(
        factors=[SALT, CLAY], limits=Limits(dusting_g=5), same={"sugar [g]": 4}
    )
    assert "no pot may have copper sulphate at 3 g" not in repr(
        plan([SALT, CLAY], limits=Limits(dusting_g=7), same={"sugar [g]": 4})
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (
            {"firings": 2, "pots": 8},
            "model: with 2 firings nothing is left to judge peak by. Fire at least 3 times.",
        ),
        (
            {"factors": [PEAK, Factor("time", [35, 50], "min", per="firing"), SUGAR], "firings": 4, "pots": 8,
             "model": "main + two-way"},
            "model: with 4 firings nothing is left to judge peak, time, peak × time by. Fire at least "
             "5 times, or "
            "leave out of the model what goes together: model='main'.",
        ),
        (
            {"firings": 3, "pots": 2, "model": "main + two-way"},
            "model of 10 terms: it has 11 columns, the mean among them, for 6 pots. Plan at least 12 "
             "pots, or ask "
            "for less, such as model='main'.",
        ),
        (
            {"factors": [SUGAR, SALT, CLAY, Factor("seaweed", [0, 15], "g")], "firings": 7, "pots": 2,
             "model": "main + two-way"},
            "model of 10 terms: within firings 7 differences between pots are there to tell 10 "
             "columns. Plan at "
            "least 4 more pots, two or more in each firing, or ask for less.",
        ),
        ({"firings": None}, "firings: their number is not stated. Say how many firings there can be."),
        ({"firings": 0}, "firings: 0 is no number of firings. Write a number such as 6."),
        ({"firings": 2.0}, "firings: 2.0 is no number of firings. Write a number such as 6."),
        ({"pots": [4, 4]}, "pots_per_firing: 2 numbers stand for 6 firings. Write one for each."),
        ({"pots": "six"}, "pots_per_firing: 'six' is no number of pots. Write a number such as 6."),
        ({"seed": -1}, "seed: -1 is no seed. Write a whole number, 0 or more."),
        ({"firings_per_day": 0}, "firings_per_day: 0 is no number of firings. Write a number such as 2."),
        ({"kind": "bset"}, "kind 'bset': there is no such kind of plan. Write one of best, factorial, "
         "fraction, "
         "screening, central composite, box-behnken."),
        ({"kind": Best(starts="9")}, "kind 'best', starts: it is '9'. Write a whole number."),
        ({"kind": Best(sharpest="all")}, "sharpest 'all': there is no such aim. Write effects or "
         "predictions."),
        ({"same": {"sugar [g]": 1}}, "same 'sugar [g]': it is varied as well. Leave it out of one of "
         "the two."),
        ({"same": {"place": "low"}}, "same 'place': a plan has a column of this name already. Give it "
         "another name."),
        ({"same": {"straw": 4}}, "same 'straw': no unit is stated, and none is guessed. Write 'straw "
         "[g]'."),
        ({"same": {"straw [g]": -4}}, "same 'straw [g]': -4 g is a negative amount. Correct it."),
        ({"same": {"slip [coats]": 1.5}}, "same 'slip [coats]': there is no part of a coat. Write "
         "whole numbers."),
        ({"same": {"straw [g]": "much"}}, "same 'straw [g]': 'much' is no amount. Write a number."),
        ({"same": {"straw [gg]": 1}}, "same 'straw [gg]': unit [gg]: it is unknown. Write one such as "
         "[g], [oz], "
         "[cm], [degC], [min]."),
        ({"same": 3}, "same: it is 3. Write {'slip [coats]': 2}."),
    ],
    ids=str,
)  # fmt: skip
def test_what_cannot_be_planned_says_what_it_would_take(asked, said):
    assert told(**asked) == said


@st.composite
def specifications(draw):
    """Small batches with limits, many of which contradict each other."""
    sugar = Factor("sugar", draw(st.sampled_from([[0, 4], [0, 2, 4], [1, 3]])), "g")
    salt = Factor("copper sulphate", [0, draw(st.integers(1, 3))], "g")
    clay = Factor("clay", draw(st.sampled_from([["buff", "white"], ["buff", "white", "red"]])))
    factors = draw(st.permutations([sugar, salt, clay, PEAK]))[: draw(st.integers(2, 4))]
    named = {factor.name: factor for factor in factors}
    sizes = draw(st.lists(st.integers(2, 6), min_size=2, max_size=6))
    limits = {"places": draw(st.none() | st.integers(5, 8))}
    if draw(st.booleans()):
        limits["dusting_g"] = draw(st.integers(1, 8))
    if draw(st.booleans()):
        forbidden = draw(st.lists(st.sampled_from(factors), min_size=1, max_size=2, unique=True))
        limits["never"] = [{factor.name: draw(st.sampled_from(factor.levels)) for factor in forbidden}]
    if "sugar" in named and draw(st.booleans()):
        limits["stock"] = {"sugar": draw(st.integers(0, 60))}
    if "clay" in named and draw(st.booleans()):
        limits["pots"] = {"clay": {kind: draw(st.integers(1, 20)) for kind in clay.levels[:2]}}
    kind = draw(st.sampled_from([QUICK, QUICK, QUICK, "factorial"]))
    return factors, sizes, Limits(**limits), kind, draw(st.integers(0, 99))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(specifications())
def test_a_plan_is_refused_in_words_or_keeps_every_limit(specification):
    factors, sizes, limits, kind, seed = specification
    try:
        made = plan(factors, len(sizes), sizes, "main", kind, seed, limits=limits)
    except SagglabError as error:
        assert error.where
        assert error.cause
        assert error.remedy
        return
    keeps_every_limit(made, factors, sizes, limits, kind)


def keeps_every_limit(made, factors, sizes, limits, kind):
    runs = made.runs
    firing = runs.groupby("firing", sort=False)
    if kind == "factorial":
        assert firing.size().max() <= max(sizes)
    else:
        assert sorted(firing.size()) == sorted(sizes)
    assert not runs.duplicated(["firing", "place"]).any()
    assert runs["pot"].is_unique
    for factor in factors:
        assert runs[factor.heading].isin(factor.levels).all()
        if factor.per == "firing":
            assert (firing[factor.heading].nunique() == 1).all()
    dusted = runs[[h for h in ("sugar [g]", "copper sulphate [g]") if h in runs]].sum(axis=1)
    assert limits.dusting_g is None or (dusted <= limits.dusting_g).all()
    headings = {factor.name: factor.heading for factor in factors}
    for never in limits.never:
        hit = np.logical_and.reduce([runs[headings[name]] == level for name, level in never.items()])
        assert not hit.any()
    for name, most in limits.stock.items():
        assert runs[headings[name]].sum() <= most
    for name, counts in limits.pots.items():
        assert all((runs[headings[name]] == kind).sum() <= most for kind, most in counts.items())


def test_a_standard_kind_is_held_to_the_pots_that_it_takes():
    two = Limits(pots={"clay": {"buff": 4, "white": 4}})
    assert len(plan([CLAY, SUGAR, SALT], 2, 6, "main", "factorial", limits=two).runs) == 8
    one = Limits(pots={"clay": {"buff": 3}})
    assert "limits: the plan takes 4 of clay, of 3" in told(
        factors=[CLAY, SUGAR, SALT], firings=2, kind="factorial", limits=one
    )
