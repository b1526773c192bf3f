"""Standard arrays: balance, shapes, and what is refused."""

from itertools import combinations

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.arrays import SIZES, full_factorial, plackett_burman
from sagglab.plan.words import resolution


@pytest.mark.parametrize("runs", SIZES)
def test_plackett_burman_columns_are_balanced_against_each_other(runs):
    plan = plackett_burman(runs)
    assert plan.shape == (runs, runs - 1)
    full = np.column_stack([np.ones(runs), plan])
    assert set(np.unique(full)) == {-1, 1}
    np.testing.assert_array_equal(full @ full.T, runs * np.eye(runs))
    np.testing.assert_array_equal(full.T @ full, runs * np.eye(runs))
    np.testing.assert_array_equal(plan[0], np.ones(runs - 1))


@pytest.mark.parametrize("runs", [12, 20, 24, 28, 36, 44, 48])
def test_no_factor_shares_a_pair_s_column_wholly(runs):
    plan = plackett_burman(runs)
    pairs = np.column_stack([plan[:, i] * plan[:, j] for i, j in combinations(range(runs - 1), 2)])
    assert np.abs(plan.T @ pairs).max() < runs


@pytest.mark.parametrize("runs", [8, 12, 20, 28, 36, 40])
def test_added_to_its_fold_over_no_factor_shares_with_a_pair(runs):
    plan = plackett_burman(runs)[:, :9]
    assert resolution(np.vstack([plan, -plan])) >= 4


@pytest.mark.parametrize("runs", [0, 4, 10, 52])
def test_sizes_that_are_not_there(runs):
    with pytest.raises(PlanError, match="there is none"):
        plackett_burman(runs)


def test_all_combinations_of_mixed_levels():
    plan = full_factorial([2, 3, 4])
    assert plan.shape == (24, 3)
    assert len(np.unique(plan, axis=0)) == 24
    np.testing.assert_array_equal(plan[:2, 0], [-1, 1])
    np.testing.assert_array_equal(plan[:6, 1], [-1, -1, 0, 0, 1, 1])
    np.testing.assert_allclose(np.unique(plan[:, 2]), [-1, -1 / 3, 1 / 3, 1], rtol=1e-15)
    np.testing.assert_allclose(plan.T @ plan, np.diag(np.diag(plan.T @ plan)), atol=1e-14)


@pytest.mark.parametrize(
    ("levels", "cause"),
    [([], "the levels are"), ([2, 1], "the levels are"), ([2] * 17, "131,072"), ([9] * 40, "more than")],
)
def test_combinations_that_cannot_be(levels, cause):
    with pytest.raises(PlanError, match=cause):
        full_factorial(levels)
