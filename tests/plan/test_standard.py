"""Standard kinds in firings: every recipe as often as it should be, and what is hidden is named."""

from collections import Counter
from itertools import combinations, product

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.limits import Limits
from sagglab.plan.standard import BoxBehnken, CentralComposite, Factorial, Fraction, Screening

NAMES = ("straw", "hair", "weed", "husk", "bark")
A, B, C, D, E = (Factor(name, [0, 1], "g") for name in NAMES)
PEAK = Factor("peak", [700, 800], "degC", per="firing")
TIME = Factor("time", [35, 50], "min", per="firing")
DUSTINGS = [Factor(name, [0, 1], "g") for name in ("sugar", "copper sulphate", "table salt")]
THREE = [Factor(name, [1, 2, 3], "g") for name in ("straw", "hair", "weed")]


def plan(factors, firings=None, pots=6, model="main + two-way", kind="factorial", limits=None):
    return plan_batch(factors, firings, pots, model, kind, seed=5, limits=limits)


def told(*asked, **more):
    with pytest.raises(PlanError) as caught:
        plan(*asked, **more)
    return str(caught.value)


def codes(made):
    return made.coded.drop(columns="firing").to_numpy()


def recipes(made):
    return Counter(map(tuple, np.round(codes(made), 9).tolist()))


def sizes(made):
    return sorted(made.runs.groupby("firing").size())


def keeps_firings(made, pots):
    held = [factor.name for factor in made.factors if factor.per == "firing"]
    assert (made.coded.groupby("firing")[held].nunique() == 1).all(axis=None)
    assert max(sizes(made)) <= pots


def hidden(made):
    """Words of pot-level factors that are the same on all pots of each firing, by brute force."""
    table, names = made.coded, [factor.name for factor in made.factors]
    found = set()
    for length in (1, 2, 3):
        for word in combinations(names, length):
            column = table[list(word)].prod(axis=1)
            if column.nunique() > 1 and (column.groupby(table["firing"]).nunique() == 1).all():
                found.add(" × ".join(word))
    return found


def clear_of_pairs(made):
    """No factor's column shares anything with the column of a pair."""
    x = codes(made)
    pairs = np.column_stack([x[:, i] * x[:, j] for i, j in combinations(range(x.shape[1]), 2)])
    return np.abs((x - x.mean(axis=0)).T @ (pairs - pairs.mean(axis=0))).max() < 1e-9


@pytest.mark.parametrize(
    ("factors", "firings", "pots", "times"),
    [
        ([A, B, C], 2, 4, 1),
        ([A, B, C], 4, 2, 1),
        ([A, B, C, D], 4, 4, 1),
        ([A, B, C, D], 3, 6, 1),
        ([A, B, C, D], None, 6, 1),
        ([PEAK, A, B], 4, 4, 2),
        ([PEAK, TIME, A, B], 8, 6, 2),
        ([Factor("straw", [0, 1, 4], "g"), B, C], 2, 6, 1),
        ([Factor("straw", [0, 1, 4], "g"), Factor("hair", [0, 1, 2], "g")], 3, 3, 1),
        ([Factor("clay", ["buff", "white", "red"]), A, PEAK], 4, 6, 2),
    ],
)
def test_a_factorial_has_every_recipe_equally_often(factors, firings, pots, times):
    made = plan(factors, firings, pots, "main", Factorial(replicates=times))
    every = product(*(np.round(factor.coded, 9).tolist() for factor in factors))
    assert recipes(made) == {recipe: times for recipe in every}
    assert firings is None or made.firings == firings
    keeps_firings(made, pots)


def test_two_firings_of_eight_recipes_hide_the_word_of_three():
    made = plan([A, B, C], 2, 4)
    assert hidden(made) == {"straw × hair × weed"}
    assert (
        "the differences between firings hide straw × hair × weed: judged against the scatter of "
        "firings, if at "
        "all"
    ) in made.notes


def test_four_firings_of_sixteen_recipes_hide_one_pair_at_the_least():
    # Of three words given to the firings two have three factors, their product two (Box, Hunter & Hunter).
    made = plan([A, B, C, D], 4, 4)
    assert sorted(word.count("×") for word in hidden(made)) == [1, 2, 2]
    assert all(word in " ".join(made.notes) for word in hidden(made))


def test_mixed_levels_in_two_firings_hide_nothing_wholly_and_balance_each_factor():
    made = plan([Factor("straw", [0, 1, 4], "g"), B, C], 2, 6)
    assert hidden(made) == set()
    by_firing = made.runs.groupby("firing")[["straw [g]", "hair [g]", "weed [g]"]].sum()
    assert (by_firing.nunique() == 1).all()


def test_mixed_levels_with_uneven_firings_name_what_they_hide():
    made = plan([Factor("straw", [0, 1, 4], "g"), B, C], 3, 4)
    assert all(word in " ".join(made.notes) for word in hidden(made))


def test_where_nothing_differs_in_a_firing_it_is_filled_with_its_like():
    made = plan([PEAK, TIME], 8, 5, kind=Factorial(replicates=2))
    assert sizes(made) == [5] * 8
    assert set(recipes(made).values()) == {10}
    assert set(recipes(plan([PEAK], 8, 5, kind="factorial")).values()) == {20}
    assert sizes(plan([PEAK, TIME], 8, 6, kind=Fraction(fold_over=True))) == [6] * 8


def test_firings_not_stated_are_enough_to_judge_what_they_share():
    for made in (
        plan([PEAK, A, B], pots=8, model="main"),
        plan([PEAK, A, B, C], kind=Fraction(resolution=4)),
    ):
        assert made.firings >= 3
        keeps_firings(made, 8)


@pytest.mark.parametrize("wanted", [3, 4, 5])
@pytest.mark.parametrize("factors", [[A, B, C, D, E], [PEAK, A, B, C, D], [PEAK, TIME, A, B, C]], ids=len)
@pytest.mark.parametrize("pots", [4, 6, 8])
def test_the_resolution_asked_is_reached_in_the_pots_themselves(factors, wanted, pots):
    made = plan(factors, None, pots, "main", Fraction(resolution=wanted))
    assert made.resolution >= wanted
    x = codes(made)
    for length in range(1, wanted):
        for word in combinations(range(5), length):
            assert abs(x[:, word].prod(axis=1).sum()) < 1e-9
    keeps_firings(made, pots)


@pytest.mark.parametrize("sign", ["", "-"])
def test_a_generator_holds_with_its_sign(sign):
    made = plan([A, B, C, D], 2, 4, "main", Fraction(generators=[f"D={sign}ABC"]))
    x = codes(made)
    assert (x[:, 3] == (-1 if sign else 1) * x[:, :3].prod(axis=1)).all()
    assert (made.resolution, made.word_lengths) == (4, (0, 0, 0, 1))
    assert set(recipes(made).values()) == {1}


def test_folding_over_frees_each_factor_from_pairs():
    half = plan([A, B, C, D, E], 2, 4, "main", Fraction(generators=["D=AB", "E=AC"]))
    assert half.resolution == 3
    assert not clear_of_pairs(half)
    whole = plan([A, B, C, D, E], 4, 4, "main", Fraction(generators=["D=AB", "E=AC"], fold_over=True))
    assert whole.resolution == 4
    assert clear_of_pairs(whole)
    assert set(recipes(whole).values()) == {1}


def test_folding_over_one_factor_frees_it_and_its_pairs():
    kind = Fraction(generators=["D=AB", "E=AC"], fold_over=["straw"])
    made = plan([A, B, C, D, E], 4, 4, "main", kind)
    x = codes(made)
    others = [x[:, i] * x[:, j] for i, j in combinations(range(1, 5), 2)]
    assert all(abs(x[:, 0] @ pair) < 1e-9 for pair in others)
    assert "there is no factor 'moss'" in told(
        [A, B, C, D], 4, 4, kind=Fraction(generators=["D=AB"], fold_over=["moss"])
    )


def test_a_folded_firing_keeps_what_is_set_per_firing():
    keeps_firings(plan([PEAK, A, B, C], 4, 4, "main", Fraction(fold_over=True)), 4)


@pytest.mark.parametrize("pots", [8, 12, 20])
def test_screening_judges_each_factor_by_itself(pots):
    made = plan([A, B, C, D, E], None, 6, "main", Screening(pots=pots))
    x = codes(made)
    assert len(x) == pots
    assert (x.T @ x == pots * np.eye(5)).all()
    folded = plan([A, B, C, D, E], None, 6, "main", Screening(pots=pots, fold_over=True))
    assert clear_of_pairs(folded)
    assert len(folded.runs) == 2 * pots


def test_screening_takes_the_fewest_pots_that_hold_the_factors():
    many = [Factor(f"husk {number}", [0, 1], "g") for number in range(8)]
    assert len(plan(many, None, 6, "main", "screening").runs) == 12
    assert told(many, None, 6, "main", Screening(pots=8)).startswith(
        "screening in 8 pots: it holds 7 factors at most, not 8."
    )


def test_the_middle_has_every_amount_half_way_in_each_firing():
    made = plan([A, B, Factor("clay", ["buff", "white"])], 2, 6, "main", Factorial(centre=2))
    middle = made.runs[made.runs["straw [g]"] == 0.5]
    assert middle.groupby("firing").size().tolist() == [2, 2]
    assert (middle["hair [g]"] == 0.5).all()
    # Kinds have no middle, and come in turn.
    assert middle.groupby("firing")["clay"].nunique().tolist() == [2, 2]
    assert (made.runs.groupby("firing").size() == 6).all()


@pytest.mark.parametrize(("axial", "reach"), [("faced", 1), ("inscribed", 1), ("circumscribed", 8**0.25)])
def test_a_central_composite_plan_has_corners_axes_and_middle(axial, reach):
    made = plan(THREE, 3, 6, "quadratic", CentralComposite(axial, centre=4))
    found = recipes(made)
    alone = [recipe for recipe in found if np.count_nonzero(recipe) == 1]
    corners = [recipe for recipe in found if np.count_nonzero(recipe) == 3]
    assert (len(corners), len(alone), found[(0, 0, 0)]) == (8, 6, 4)
    # (2³)^¼ = 1.682 for rotatable plans of three amounts: Box & Hunter 1957.
    assert np.abs(alone).max() == pytest.approx(reach)
    assert sizes(made) == [6, 6, 6]
    assert len(made.terms.members) == 9


def test_box_and_behnken_keep_off_the_corners():
    # 15 pots for three amounts with the usual centre: Box & Behnken, Technometrics 2 (1960).
    made = plan(THREE, 3, 5, "quadratic", BoxBehnken())
    assert len(made.runs) == 15
    assert max(np.count_nonzero(recipe) for recipe in recipes(made)) == 2
    held = plan(
        [Factor("peak", [700, 750, 800], "degC", per="firing"), *THREE[:2]],
        None,
        6,
        "quadratic",
        "box-behnken",
    )
    keeps_firings(held, 6)


@pytest.mark.parametrize(
    ("factors", "more", "said"),
    [
        (DUSTINGS, {"firings": 2, "limits": Limits(dusting_g=2), "pots": 4},
         "limits: 1 of 8 pots break them. Use kind='best'."),
        ([A, B], {"firings": 2, "limits": Limits(stock={"straw": 3}), "kind": Factorial(replicates=2)},
         "limits: the plan takes 4 of straw, of 3. Use kind='best'."),
        # The middle takes half a gram each: 2 + 4 × 0.5.
        ([A, B], {"firings": 1, "limits": Limits(stock={"straw": 3}), "kind": Factorial(centre=4), "pots": 8},
         "limits: the plan takes 4 of straw, of 3. Use kind='best'."),
        ([A, B, C, D], {"firings": 2},
         "firings: 16 pots in 1 setting of the kiln do not go into 2 firings of 6. Plan 3 firings, or "
         "kind='best', which takes any number."),
        ([PEAK, TIME], {"firings": 3},
         "firings: 4 settings of the kiln do not go into 3 firings. Plan 4 firings."),
        ([PEAK, A], {"firings": 4},
         "firings: 4 pots in 4 firings leave one alone in some. Plan 2 firings or fewer, or more "
         "replicates."),
        ([PEAK, A, B], {"firings": 2},
         "model: with 2 firings nothing is left to judge peak by. Fire at least 3 times."),
        ([Factor("straw", [0, 1, 2], "g"), B], {"kind": "fraction", "firings": 2},
         "fraction: it takes two levels of each factor, not those of straw (3). Use kind='best'."),
        ([A, B, C, D], {"kind": Fraction(resolution=4, generators=["D=ABC"])},
         "fraction: both resolution and generators are stated. State one of them."),
        ([A, B, C, D], {"kind": "fraction"},
         "fraction: neither firings, resolution nor generators are stated. State one of them."),
        ([PEAK, A, B, C, D], {"kind": Fraction(resolution=7)},
         "fraction of resolution 7: 5 factors cannot have it in firings of 6 pots. Ask a lower "
         "resolution, fewer factors, or more firings."),
        ([A, B], {"firings": 3, "kind": Factorial(replicates=2)},
         "firings: 3 cannot be shared by 2 repetitions. Plan a multiple of 2."),
        ([A, B], {"firings": 2, "kind": Factorial(centre=6)},
         "centre: 6 pots of 6 leave no room. Take fewer in the middle."),
        ([A, B], {"kind": Factorial(replicates="2")},
         "kind 'factorial', replicates: it is '2'. Write a whole number."),
        ([A, B, C, D], {"kind": Fraction(generators="D=ABC")},
         "kind 'fraction', generators: it is 'D=ABC'. Write a list: ['D=ABC']."),
        ([Factor("clay", ["buff", "white"]), A], {"kind": "central composite"},
         "central composite: clay has kinds, which have no middle. Use kind='best'."),
        ([A, B], {"kind": CentralComposite("circumscribed")},
         "factor 'straw': a pot would get -0.207107 g. Raise its lowest level, or take "
         "CentralComposite(axial='faced') or 'inscribed'."),
        ([Factor("slip", [1, 2], "coats"), A], {"kind": Factorial(centre=1), "firings": 1},
         "factor 'slip': a pot would get 1.5 coats. Take levels with a whole number half-way between "
         "them, or a plan without middle or axial points."),
    ],
)  # fmt: skip
def test_what_a_standard_kind_cannot_is_refused_in_words(factors, more, said):
    assert told(factors, **{"model": "main", **more}) == said


def test_a_fraction_of_wanted_resolution_may_be_one_firing():
    letters = [Factor(name, [0, 1]) for name in "vwxyz"]
    whole = plan_batch(letters, 1, 16, "main", kind=Fraction(resolution=5), seed=1)
    assert (whole.firings, len(whole.runs), whole.resolution) == (1, 16, 5)
    with pytest.raises(
        PlanError, match="6 firings cannot share a regular fraction alike. Plan 4 or 8 firings"
    ):
        plan_batch(letters, 6, 4, "main", kind=Fraction(resolution=4), seed=1)
