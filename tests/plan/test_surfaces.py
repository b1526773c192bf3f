"""Central composite and Box–Behnken plans: rotatability, orthogonality and shapes, by their definitions."""

from itertools import combinations, combinations_with_replacement

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.fractions import minimum_aberration
from sagglab.plan.surfaces import axial_distance, box_behnken, central_composite


def quadratic(table):
    """The mean, each factor, and all pairs and squares."""
    pairs = combinations_with_replacement(range(table.shape[1]), 2)
    return np.column_stack([np.ones(len(table)), table, *(table[:, i] * table[:, j] for i, j in pairs)])


def scatter_of_prediction(table, points):
    columns = quadratic(points)
    return np.sum(columns @ np.linalg.inv(quadratic(table).T @ quadratic(table)) * columns, axis=1)


@pytest.mark.parametrize("factors", range(2, 9))
def test_a_rotatable_plan_is_as_sure_in_every_direction(factors):
    table = central_composite(factors)
    ways = np.random.default_rng(factors).normal(size=(50, factors))
    for distance in (0.5, 1.0, 1.5):
        points = distance * ways / np.linalg.norm(ways, axis=1, keepdims=True)
        found = scatter_of_prediction(table, points)
        np.testing.assert_allclose(found, found[0], rtol=1e-9)


@pytest.mark.parametrize("factors", range(2, 9))
@pytest.mark.parametrize("centre", [0, 1, 4])
def test_an_orthogonal_plan_keeps_squares_apart(factors, centre):
    table = central_composite(factors, distance="orthogonal", centre=centre)
    squares = table**2 - np.mean(table**2, axis=0)
    shared = squares.T @ squares
    np.testing.assert_allclose(shared - np.diag(np.diag(shared)), 0, atol=1e-9)


@pytest.mark.parametrize("factors", range(2, 9))
@pytest.mark.parametrize("axial", ["circumscribed", "faced", "inscribed"])
def test_every_kind_answers_bends_and_pairs(factors, axial):
    table = central_composite(factors, axial=axial)
    corners = 2**factors if factors < 5 else 2 ** (factors - 1)
    assert table.shape == (corners + 2 * factors + 3, factors)
    assert np.linalg.matrix_rank(quadratic(table)) == quadratic(table).shape[1]
    np.testing.assert_array_equal(table[-3:], 0)
    np.testing.assert_array_equal((table[corners:-3] != 0).sum(axis=1), 1)
    if axial != "circumscribed":
        assert np.abs(table).max() == pytest.approx(1, abs=1e-15)


def test_faced_has_three_levels():
    assert np.unique(central_composite(4, axial="faced")).tolist() == [-1, 0, 1]


def test_inscribed_is_circumscribed_made_smaller():
    outer = central_composite(3)
    np.testing.assert_allclose(central_composite(3, axial="inscribed"), outer / outer.max(), rtol=1e-15)


def test_an_orthogonal_distance_within_the_corners_stays_in_range():
    assert axial_distance(2, 4, 0, "orthogonal") < 1
    table = central_composite(2, axial="inscribed", distance="orthogonal", centre=0)
    assert np.abs(table).max() == 1


def test_corners_can_be_a_fraction_of_ones_own():
    table = central_composite(8, fraction=minimum_aberration(8, 64))
    assert table.shape == (64 + 16 + 3, 8)
    assert np.linalg.matrix_rank(quadratic(table)) == quadratic(table).shape[1]


@pytest.mark.parametrize("factors", range(3, 8))
def test_box_behnken_is_balanced_and_never_at_a_corner(factors):
    table = box_behnken(factors, centre=1)
    assert set(np.unique(table)) == {-1, 0, 1}
    assert len(np.unique(table, axis=0)) == len(table)
    assert np.all((table != 0).sum(axis=1) < factors)
    pairs = [table[:, i] * table[:, j] for i, j in combinations(range(factors), 2)]
    odd = np.column_stack([table, *pairs])
    shared = odd.T @ odd
    np.testing.assert_array_equal(shared, np.diag(np.diag(shared)))
    assert np.linalg.matrix_rank(quadratic(table)) == quadratic(table).shape[1]


@pytest.mark.parametrize(
    ("make", "cause"),
    [
        (lambda: central_composite(1), "there are 1 factors"),
        (lambda: central_composite(9), "there are 9 factors"),
        (lambda: central_composite(3, axial="round"), "no 'round' points"),
        (lambda: central_composite(3, distance="far"), "no distance 'far'"),
        (lambda: central_composite(3, centre=-1), "-1 pots in the middle"),
        (lambda: central_composite(3, fraction=[1, 2]), "2 columns are given for 3 factors"),
        (lambda: central_composite(3, fraction=[0, 0, 0]), "a column is not among|no power of two"),
        (lambda: box_behnken(2), "none for 2 factors"),
        (lambda: box_behnken(8), "none for 8 factors"),
        (lambda: box_behnken(3, centre=-1), "-1 pots in the middle"),
    ],
)
def test_what_is_not_there_is_refused(make, cause):
    with pytest.raises(PlanError, match=cause):
        make()
