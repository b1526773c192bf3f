"""The exchange: its sums against the plain ones, and what it must never do."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagglab.plan.choices import Choices, Shared
from sagglab.plan.exchange import Aim, _Change, _Plans, improve, information_of_rows, is_full, shrinkage
from sagglab.plan.factors import Factor
from sagglab.plan.terms import read_model

FACTORS = (
    Factor("peak", [700, 750, 800], "degC", per="firing"),
    Factor("clay", ["white", "red", "black"]),
    Factor("sugar", [0, 2, 4], "g"),
    Factor("sawdust", [0, 3], "g"),
)
TERMS = read_model(FACTORS, "quadratic")
SIZES = (5, 4, 6, 5, 6)


def anything(coded):
    return np.ones(coded.shape[:-1], dtype=bool)


def by_lot(choices, seed, count=4):
    rng = np.random.default_rng(seed)
    levels = rng.integers(choices.counts, size=(count, len(choices.firing_of), len(choices.counts)))
    settings = rng.integers(choices.counts, size=(count, len(choices.sizes), len(choices.counts)))
    return np.where(choices.held, settings[:, choices.firing_of], levels)


def full_by_lot(choices, aim, seed, count=4):
    drawn = by_lot(choices, seed, 200)
    full = is_full(information_of_rows(choices.look_up(drawn)[0], choices.sizes, aim.ratio, aim.fired))
    return drawn[full][:count]


def score_of(choices, aim, levels):
    return aim.score(information_of_rows(choices.look_up(levels)[0], choices.sizes, aim.ratio, aim.fired))


def aims():
    columns = 1 + sum(TERMS.widths)
    root = np.random.default_rng(3).normal(size=(columns, columns))
    fired = np.diag(np.arange(columns) % 3.0)
    return [
        Aim(0.0),
        Aim(0.6),
        Aim(10.0, fired=fired),
        Aim(0.6, rest=np.arange(3, columns)),
        Aim(0.6, moments=root @ root.T),
        Aim(2.0, moments=root @ root.T, fired=fired),
    ]


@pytest.mark.parametrize("ratio", [0.0, 0.5625, 10.0])
def test_information_is_that_of_the_covariance_written_out(ratio):
    rows = np.random.default_rng(0).normal(size=(2, sum(SIZES), 7))
    firing = np.repeat(np.arange(len(SIZES)), SIZES)
    V = np.eye(sum(SIZES)) + ratio * (firing[:, None] == firing)
    plain = rows.swapaxes(1, 2) @ np.linalg.inv(V) @ rows
    np.testing.assert_allclose(information_of_rows(rows, SIZES, ratio), plain, atol=1e-11)
    np.testing.assert_allclose(
        information_of_rows(rows, SIZES, ratio, np.eye(7)), plain + np.eye(7), atol=1e-11
    )


@pytest.mark.parametrize("aim", aims())
def test_every_option_of_a_pot_is_valued_as_if_all_were_computed_anew(aim):
    choices = Choices(TERMS, SIZES, anything)
    levels = full_by_lot(choices, aim, 1)
    rows = choices.look_up(levels)[0]
    before = score_of(choices, aim, levels)
    inverse = np.linalg.inv(information_of_rows(rows, SIZES, aim.ratio, aim.fired))
    for pot in (0, 7, 25):
        options = (levels[:, pot, None] + choices.pot_turns) % choices.counts
        firing = choices.firing_of[pot]
        c = shrinkage(SIZES, aim.ratio)[firing]
        others = rows[:, choices.firing_of == firing].sum(axis=1) - rows[:, pot]
        moved = (choices.look_up(options)[0] - c / (1 - c) * others[:, None]) * np.sqrt(1 - c)
        change = _Change(inverse, moved)
        for option in range(options.shape[1]):
            changed = levels.copy()
            changed[:, pot] = options[:, option]
            plain = Aim(aim.ratio, aim.fired)
            growth = score_of(choices, plain, changed) - score_of(choices, plain, levels)
            some = change.ratio[:, option] > 1e-6
            np.testing.assert_allclose(np.log(change.ratio[some, option]), growth[some], atol=1e-7)
            if aim.moments is not None:
                growth = np.exp(score_of(choices, aim, changed) - before)
                narrower = change.narrowing(inverse, aim.moments)[:, option]
                some = change.ratio[:, option] > 2e-3
                np.testing.assert_allclose(narrower[some], growth[some], rtol=1e-7)


@pytest.mark.parametrize("aim", aims())
def test_a_sweep_keeps_its_inverse_true(aim):
    choices = Choices(TERMS, SIZES, anything)
    plans = _Plans(choices, aim, full_by_lot(choices, aim, 2))
    before = aim.score(information_of_rows(plans.rows, SIZES, aim.ratio, aim.fired))
    plans.sweep()
    assert plans.bettered.all()
    rows = choices.look_up(plans.levels)[0]
    np.testing.assert_array_equal(plans.rows, rows)
    matrices = information_of_rows(rows, SIZES, aim.ratio, aim.fired)
    np.testing.assert_allclose(
        plans.inverse @ matrices, np.eye(matrices.shape[-1])[None] + 0 * matrices, atol=1e-7
    )
    if aim.rest is not None:
        np.testing.assert_allclose(plans.beside, np.linalg.inv(aim.beside(matrices)), rtol=1e-6, atol=1e-9)
    assert (aim.score(matrices) > before).all()


@pytest.mark.parametrize("aim", aims())
def test_no_change_betters_what_was_improved(aim):
    choices = Choices(TERMS, SIZES, anything)
    better = improve(choices, aim, full_by_lot(choices, aim, 4))
    best = score_of(choices, aim, better)
    for pot in (3, 11, 20):
        for turn in choices.pot_turns[1:]:
            changed = better.copy()
            changed[:, pot] = (changed[:, pot] + turn) % choices.counts
            assert (score_of(choices, aim, changed) < best + 1e-7).all()
    for firing in range(len(SIZES)):
        for turn in choices.firing_turns[1:]:
            changed = better.copy()
            pots = choices.firing_of == firing
            changed[:, pots] = (changed[:, pots] + turn) % choices.counts
            assert (score_of(choices, aim, changed) < best + 1e-7).all()


def test_plans_improved_together_are_those_improved_alone():
    choices, aim = Choices(TERMS, SIZES, anything), Aim(0.6)
    drawn = full_by_lot(choices, aim, 5, count=6)
    alone = [improve(choices, aim, drawn[k : k + 1]) for k in range(6)]
    np.testing.assert_array_equal(improve(choices, aim, drawn), np.concatenate(alone))


def test_settings_of_a_firing_stay_on_all_its_pots():
    choices, aim = Choices(TERMS, SIZES, anything), Aim(0.6)
    better = improve(choices, aim, full_by_lot(choices, aim, 6))
    first = np.cumsum([0, *SIZES[:-1]])
    assert (better[:, first, 0][:, choices.firing_of] == better[..., 0]).all()


def test_where_recipes_are_many_a_pot_changes_in_one_or_two_factors():
    factors = [Factor(f"material {k}", [0, 1, 2], "g") for k in range(6)]
    choices = Choices(read_model(factors, "main"), (30,), anything)
    assert choices.pot_turns.shape == (1 + 6 * 2 + 15 * 4, 6)
    assert not choices.pot_turns[0].any()
    assert ((choices.pot_turns > 0).sum(axis=1) <= 2).all()


def test_rows_looked_up_are_those_made(monkeypatch):
    looked_up, made = Choices(TERMS, SIZES, anything), Choices(TERMS, SIZES, anything)
    levels = by_lot(looked_up, 7)
    monkeypatch.setattr("sagglab.plan.choices._TABLE", 0)
    np.testing.assert_array_equal(made.look_up(levels)[0], TERMS.expand(made.code(levels)))
    assert made._table is None
    monkeypatch.undo()
    np.testing.assert_array_equal(looked_up.look_up(levels)[0], made.look_up(levels)[0])
    assert looked_up._table is not None


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 1.0, 5.0]), st.integers(0, 5))
def test_an_exchange_never_leaves_its_limits(seed, ratio, spare):
    def light(coded):
        return 2 * (coded[..., 2] + 1) + 1.5 * (coded[..., 3] + 1) < 6.5

    rng = np.random.default_rng(seed)
    choices = Choices(TERMS, SIZES, light)
    drawn = by_lot(choices, rng, 300)
    drawn = (
        drawn[choices.look_up(drawn)[1].all(axis=1)]
        if seed % 2
        else np.where(choices.look_up(drawn)[1][..., None], drawn, drawn * [1, 1, 1, 0])
    )
    drawn = drawn[:5]
    lent = 0.01 * np.eye(1 + sum(TERMS.widths))
    sugar = np.array([0, 2, 4])[drawn[..., 2]].sum(axis=1).max(initial=0) + spare
    white = (drawn[..., 1] == 0).sum(axis=1).max(initial=0)
    choices = Choices(TERMS, SIZES, light, (Shared(2, (0, 2, 4), sugar), Shared(1, (1, 0, 0), white)))
    better = improve(choices, Aim(ratio, fired=lent), drawn)
    assert light(choices.code(better)).all()
    assert (np.array([0, 2, 4])[better[..., 2]].sum(axis=1) <= sugar).all()
    assert ((better[..., 1] == 0).sum(axis=1) <= white).all()


def test_pots_change_about_where_the_stock_is_all_used():
    factors = [Factor("sugar", [0, 4], "g"), Factor("clay", ["white", "red"])]
    terms = read_model(factors, "main + two-way")
    stock = (Shared(0, (0, 4), 16), Shared(0, (1, 0), 4), Shared(1, (1, 0), 4), Shared(1, (0, 1), 4))
    choices = Choices(terms, (8,), anything, stock)
    levels = np.array([[[0, 0]] * 3 + [[0, 1]] + [[1, 0]] + [[1, 1]] * 3])
    better = improve(choices, Aim(0.0), levels)
    # Four pots of each sugar and clay, and now two of each pair.
    np.testing.assert_array_equal(np.bincount(better[0] @ [2, 1]), [2, 2, 2, 2])
