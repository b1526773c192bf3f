"""Words of a plan: counted by brute force, whatever made the plan."""

from itertools import combinations, product

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.fractions import expand
from sagglab.plan.words import MOST_FACTORS, defining_words, product_sums, resolution, word_lengths


def every_set(signs):
    """Give the mean product of every set of columns, one by one."""
    factors = signs.shape[1]
    for size in range(factors + 1):
        for places in combinations(range(factors), size):
            yield places, signs[:, places].prod(axis=1).mean()


def test_counts_are_those_of_looking_at_each_product():
    rng = np.random.default_rng(4)
    for pots, factors in ((7, 3), (12, 5), (20, 7)):
        signs = rng.choice([-1.0, 1.0], size=(pots, factors))
        lengths = np.zeros(factors + 1)
        for places, mean in every_set(signs):
            lengths[len(places)] += mean**2
            assert product_sums(signs)[sum(1 << place for place in places)] == round(mean * pots)
        np.testing.assert_allclose(word_lengths(signs), lengths, rtol=1e-12, atol=0)


def test_a_full_factorial_has_no_words():
    signs = np.array(list(product([-1, 1], repeat=4)))
    assert word_lengths(signs).tolist() == [1, 0, 0, 0, 0]
    assert resolution(signs) == 5
    assert defining_words(signs) == {}


def test_doubled_columns_and_lost_balance_are_seen():
    assert resolution(expand([1, 2, 1], 4)) == 2
    assert resolution(expand([1, 2, 4], 8)[:-1]) == 1
    assert defining_words([[1, -1], [1, 1]]) == {(0,): 1}


def test_words_come_with_their_sign():
    signs = expand([1, 2, 4, 7, 3], 8, signs=[1, 1, 1, -1, 1])
    assert defining_words(signs) == {(0, 1, 4): 1, (2, 3, 4): -1, (0, 1, 2, 3): -1}


def test_repeated_pots_change_nothing():
    signs = expand([1, 2, 4, 7], 8)
    np.testing.assert_array_equal(word_lengths(np.tile(signs, (3, 1))), word_lengths(signs))


@pytest.mark.parametrize(
    ("signs", "cause"),
    [
        ([1, -1], "shape"),
        (np.zeros((0, 3)), "shape"),
        ([[1, 0]], "other numbers"),
        ([[1, np.nan]], "other numbers"),
        (np.ones((2, MOST_FACTORS + 1)), "too many"),
    ],
)
def test_what_is_no_table_of_signs_is_refused(signs, cause):
    with pytest.raises(PlanError, match=cause):
        word_lengths(signs)
