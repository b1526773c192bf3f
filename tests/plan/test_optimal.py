"""Plans by exchange, against every plan there is, and against optima that are known."""

from itertools import combinations_with_replacement, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagglab.errors import PlanError
from sagglab.plan.choices import Shared, draw, shake
from sagglab.plan.factors import Factor
from sagglab.plan.optimal import Ask, best_plan, information_of, starts_for, unused_levels, value_of
from sagglab.plan.terms import read_model

PEAK = Factor("peak", [700, 800], "degC", per="firing")
PEAK3 = Factor("peak", [700, 750, 800], "degC", per="firing")
TIME = Factor("time", [35, 50], "min", per="firing")
SUGAR, SALT = Factor("sugar", [0, 4], "g"), Factor("copper sulphate", [0, 1], "g")
DUST, WEED = Factor("sawdust", [0, 10], "g"), Factor("seaweed", [0, 5], "g")
CLAY = Factor("clay", ["white", "red", "black"])

LARGE = read_model([PEAK3, TIME, SUGAR, SALT, DUST, WEED])
#: Log determinant of the best of 1,000 starts (seed 9000): `tests/benchmarks/optimal_plans.py`.
LARGE_BEST = 71.1503


def every_plan(pots=4):
    """All plans of two firings of one factor per firing and two per pot, all of two levels."""
    recipes = list(product((-1.0, 1.0), repeat=2))
    firings = [
        [(peak, *recipe) for recipe in chosen]
        for peak in (-1.0, 1.0)
        for chosen in combinations_with_replacement(recipes, pots)
    ]
    return np.array([one + other for one, other in product(firings, repeat=2)])


@pytest.fixture(scope="module")
def all_plans():
    return every_plan()


TERMS = read_model([PEAK, SUGAR, SALT])


@pytest.mark.parametrize("ratio", [0.0, 1.0, 10.0])
@pytest.mark.parametrize("criterion", ["D", "I"])
def test_no_plan_at_all_is_better(all_plans, ratio, criterion):
    ask = Ask(TERMS, (4, 4), ratio, criterion=criterion)
    values = value_of(ask, all_plans)
    best = values.max() if criterion == "D" else values.min()
    found = best_plan(ask, seed=11, starts=24)
    assert found.value == pytest.approx(best, abs=1e-9)
    assert found.value == pytest.approx(float(value_of(ask, found.coded)), abs=1e-9)
    assert np.isfinite(found.reached).all()


@pytest.mark.parametrize("named", [(2,), (4, 5), (6,)])
def test_no_plan_sharpens_the_named_effects_more(all_plans, named):
    ask = Ask(TERMS, (4, 4), 1.0, sharpen=named)
    best = value_of(ask, all_plans).min()
    # The effects not named count a little, so that they can be estimated: a loss of 1 % is granted.
    assert best_plan(ask, seed=12, starts=24).value <= best + 0.01 * len(named)


def test_no_plan_within_the_limits_is_better(all_plans):
    def not_both_at_high_peak(coded):
        return ~((coded[..., 0] > 0) & (coded[..., 1] > 0) & (coded[..., 2] > 0))

    terms = read_model([PEAK, SUGAR, SALT], ["peak", "sugar", "copper sulphate", ("peak", "sugar")])
    ask = Ask(terms, (4, 4), 1.0, allowed=not_both_at_high_peak, shared=(Shared(1, (0, 4), 12),))
    keeps = not_both_at_high_peak(all_plans).all(axis=1) & ((all_plans[..., 1] > 0).sum(axis=1) <= 3)
    best = value_of(ask, all_plans[keeps]).max()
    assert best < value_of(ask, all_plans).max() - 0.1
    assert best_plan(ask, seed=13, starts=24).value == pytest.approx(best, abs=1e-9)


def test_what_has_been_fired_counts(all_plans):
    fired = information_of(TERMS, all_plans[1234], (4, 4), 1.0)
    ask = Ask(TERMS, (4, 4), 1.0, fired=fired)
    best = value_of(ask, all_plans).max()
    assert best_plan(ask, seed=14, starts=24).value == pytest.approx(best, abs=1e-9)
    assert best > value_of(Ask(TERMS, (4, 4), 1.0), all_plans).max()


@pytest.mark.parametrize("ratio", [0.0, 0.5625, 10.0])
def test_an_orthogonal_plan_is_found_where_there_is_one(ratio):
    terms = read_model([PEAK, SUGAR, SALT, DUST], "main")
    found = best_plan(Ask(terms, (4,) * 4, ratio), seed=3, starts=32)
    # No determinant exceeds the product of the diagonal: 16 for each pot-level column, and for the mean and
    # peak 16 / (1 + 4 ratio).
    bound = 3 * np.log(16) + 2 * np.log(16 / (1 + 4 * ratio))
    assert found.value == pytest.approx(bound, abs=1e-9)


@pytest.mark.parametrize(("criterion", "counts"), [("D", (4, 4, 4)), ("I", (3, 6, 3))])
def test_a_curve_of_one_amount_is_measured_at_its_known_levels(criterion, counts):
    # Weights 1/3, 1/3, 1/3 are D-optimal for a parabola and 1/4, 1/2, 1/4 I-optimal (Atkinson, Donev & Tobias
    # 2007, Optimum Experimental Designs).
    terms = read_model([Factor("sugar", [0, 1, 2, 3, 4], "g")], "quadratic")
    found = best_plan(Ask(terms, (12,), 0.0, criterion=criterion), seed=5, starts=12)
    levels, times = np.unique(found.coded, return_counts=True)
    assert tuple(levels) == (-1, 0, 1)
    assert tuple(times) == counts


def test_every_seed_comes_within_one_percent_of_long_search():
    for seed in (501, 502):
        found = best_plan(Ask(LARGE, (6,) * 6, 0.5625), seed, starts=24)
        assert np.exp((found.value - LARGE_BEST) / 22) >= 0.99
    assert found.starts == 24
    assert found.reached.max() == found.value


def test_the_plan_of_a_pot_beats_the_full_factorial():
    found = best_plan(Ask(LARGE, (6,) * 6, 0.5625), 503, starts=24)
    full = np.array(list(product((-1.0, 0.0, 1.0), *[(-1.0, 1.0)] * 5)))
    whole = value_of(Ask(LARGE, (16,) * 6, 0.5625), full)
    assert np.exp((found.value - whole) / 22) / (36 / 96) >= 1.15


def test_the_same_seed_gives_the_same_plan():
    ask = Ask(LARGE, (6,) * 6, 0.5625)
    one, again = (best_plan(ask, seed=7, starts=8) for _ in range(2))
    np.testing.assert_array_equal(one.coded, again.coded)
    assert (best_plan(ask, seed=8, starts=8).coded != one.coded).any()


@pytest.mark.parametrize("ratio", [0.0, 1.0, 10.0])
def test_unequal_firings_and_kinds_agree_between_seeds(ratio):
    terms = read_model([PEAK3, CLAY, SUGAR, DUST])
    ask = Ask(terms, (4, 6, 8, 5), ratio)
    values = [best_plan(ask, seed, starts=48).value for seed in (21, 22, 23)]
    columns = 1 + sum(terms.widths)
    assert np.exp((min(values) - max(values)) / columns) > 0.99


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6), st.integers(20, 60), st.integers(4, 12))
def test_limits_hold_whatever_they_are(seed, stock, white):
    def light(coded):
        return 2 * (coded[..., 2] + 1) + 5 * (coded[..., 3] + 1) <= 10

    terms = read_model([PEAK, CLAY, SUGAR, DUST], "main")
    shared = (Shared(2, (0, 4), stock), Shared(1, (1, 0, 0), white), Shared(3, (2, 10), 90))
    found = best_plan(Ask(terms, (6, 5, 7, 6), 0.7, light, shared), seed, starts=3)
    assert light(found.coded).all()
    assert 4 * (found.coded[:, 2] > 0).sum() <= stock
    assert (found.coded[:, 1] < -0.5).sum() <= white
    assert np.where(found.coded[:, 3] > 0, 10, 2).sum() <= 90


def test_plans_are_found_where_hardly_any_draw_could_do():
    # As many firings as things to tell of firings: 2 draws of 100 have seven settings of the eight.
    factors = [Factor(f"setting {k}", [0, 1], "min", per="firing") for k in range(3)]
    terms = read_model([*factors, SUGAR])
    assert terms.per_firing.sum() == 7
    found = best_plan(Ask(terms, (2,) * 7, 1.0), seed=1, starts=16)
    assert np.isfinite(found.value)


def test_starts_follow_from_the_size_alone():
    small, large = Ask(TERMS, (4, 4), 1.0), Ask(LARGE, (6,) * 6, 0.5625)
    assert starts_for(small, 2.0) == 1000
    assert 200 < starts_for(large, 2.0) < 600
    assert starts_for(large, 1.0) == pytest.approx(starts_for(large, 2.0) / 2, abs=1)


def test_levels_left_out_are_named():
    found = best_plan(Ask(LARGE, (6,) * 6, 0.5625), seed=2, starts=4)
    assert unused_levels(LARGE, found.coded) in ([("peak", 750.0)], [])
    assert unused_levels(LARGE, np.where(found.coded == 0, 1, found.coded)) == [("peak", 750.0)]
    kinds = read_model([CLAY, SUGAR], "main")
    assert unused_levels(kinds, np.array([[-1.0, 1], [1, 1]])) == [("clay", "red"), ("sugar", 0.0)]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Ask(TERMS, (), 1.0), "firings hold"),
        (lambda: Ask(TERMS, (4, 0), 1.0), "firings hold"),
        (lambda: Ask(TERMS, (4, 4), -1.0), "Write 0 or a positive number"),
        (lambda: Ask(TERMS, (4, 4), 1.0, criterion="A"), "there is no such aim"),
        (lambda: Ask(TERMS, (4, 4), 1.0, criterion="I", sharpen=(1,)), "sharpens no named effects"),
        (lambda: best_plan(Ask(TERMS, (3, 3), 1.0), 1), "it asks 7 things, the mean among them, of 6 pots"),
        (lambda: best_plan(Ask(TERMS, (8,), 1.0), 1), "it asks 2 things of 1 firing"),
        (
            lambda: best_plan(Ask(TERMS, (4, 4), 1.0, lambda c: c[..., 1] + c[..., 2] < 1.5), 1, starts=4),
            "sugar × copper sulphate",
        ),
        (
            lambda: best_plan(Ask(TERMS, (4, 4), 1.0, lambda c: c[..., 1] > 2), 1, starts=4),
            "no pots were found",
        ),
        (
            lambda: best_plan(Ask(TERMS, (4, 4), 1.0, shared=(Shared(1, (1, 4), 7),)), 1, starts=4),
            "no pots were found",
        ),
    ],
)
def test_what_cannot_be_is_told(make, said):
    with pytest.raises(PlanError, match=said):
        make()


def test_going_on_from_a_plan_keeps_its_limits():
    def light(coded):
        return coded[..., 1] + coded[..., 2] < 1.5

    terms = read_model([PEAK, SUGAR, SALT, DUST], "main")
    choices = Ask(terms, (6, 6), 1.0, light, (Shared(3, (0, 10), 60),)).choices
    rng = np.random.default_rng(4)
    drawn = draw(choices, rng, 20)
    assert drawn.shape == (20, 12, 4)
    shaken = shake(choices, rng, drawn, pots=6)
    assert (shaken != drawn).any(axis=(1, 2)).all()
    np.testing.assert_array_equal(shaken[..., 0], drawn[..., 0])
    for levels in (drawn, shaken):
        assert light(choices.code(levels)).all()
        assert (levels[..., 3].sum(axis=1) <= 6).all()
