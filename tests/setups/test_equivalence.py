"""Equivalence: two one-sided tests of each coordinate, and of all of them along every direction."""

import numpy as np
import pytest
from scipy import stats

from sagglab.colour import delta_e_2000
from sagglab.setups.equivalence import equivalence, square_form, two_one_sided

BROWNS = np.array([[38.0, 9, 9], [46, 13, 12], [33, 8, 7], [42, 11, 14]])


def test_two_one_sided_tests_are_the_larger_of_two_t_tests():
    below = stats.t.sf((1.5 - 0.4) / 0.3, 9)
    above = stats.t.sf((1.5 + 0.4) / 0.3, 9)
    assert two_one_sided(0.4, 0.3, 9, 1.5) == pytest.approx(max(below, above), rel=1e-12)
    assert two_one_sided(-0.4, 0.3, 9, 1.5) == two_one_sided(0.4, 0.3, 9, 1.5)


def test_a_bias_beyond_the_margin_is_never_shown_to_be_within():
    assert two_one_sided(2.0, 0.1, 9, 1.5) > 0.5
    assert two_one_sided(2.0, 0.0, 9, 1.5) == 1.0
    assert two_one_sided(1.0, 0.0, 9, 1.5) == 0.0


def test_the_form_gives_the_difference_of_a_small_shift():
    rng = np.random.default_rng(3)
    form = square_form(BROWNS)
    for shift in rng.normal(0, 0.6, (20, 3)):
        true = np.sqrt(np.mean(delta_e_2000(BROWNS, BROWNS + shift) ** 2))
        assert np.sqrt(shift @ form @ shift) == pytest.approx(true, rel=0.03)


def test_the_size_and_the_margins_are_in_the_same_units():
    judged = equivalence([0, 0, 1.2], np.eye(3) * 0.01, 7, BROWNS, 1.8)
    alone = judged.table.set_index("coordinate")["margin"]
    assert judged.size == pytest.approx(1.2 / alone["Δb*"] * 1.8, rel=1e-9)


def test_with_error_in_one_direction_alone_the_joint_test_is_the_one_of_that_direction():
    # All scatter in L*, none elsewhere: nothing is left but the t test of L*.
    covariance = np.diag([0.3, 1e-9, 1e-9]) ** 2
    judged = equivalence([0.8, 0, 0], covariance, 6, BROWNS, 1.8)
    assert judged.p == pytest.approx(judged.table["p"].iloc[0], rel=0.02)


def test_the_bound_and_the_probability_say_the_same():
    rng = np.random.default_rng(8)
    sides = []
    for _ in range(60):
        differences = rng.normal([0.9, 0.3, 0.5], [0.8, 0.4, 0.6], (8, 3))
        judged = equivalence(differences.mean(axis=0), np.cov(differences.T) / 8, 7, BROWNS, 1.8)
        assert (judged.p <= 0.05) == (judged.at_most <= 1.8 + 1e-6)
        sides.append(judged.p <= 0.05)
    assert 0 < sum(sides) < 60


def test_at_the_margin_itself_it_is_shown_in_no_more_than_one_of_twenty():
    rng = np.random.default_rng(21)
    form, shown = square_form(BROWNS), 0
    for _ in range(200):
        direction = rng.standard_normal(3)
        bias = 1.8 * direction / np.sqrt(direction @ form @ direction)
        differences = bias + rng.normal(0, [0.8, 0.4, 0.6], (8, 3))
        judged = equivalence(differences.mean(axis=0), np.cov(differences.T) / 8, 7, BROWNS, 1.8)
        shown += judged.p <= 0.05
    # 10 of 200 are expected at the most; 19 or more come by chance once in 170 times.
    assert shown <= 18
