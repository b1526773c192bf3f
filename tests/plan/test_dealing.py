"""Dealing: all recipes go into firings, of even sizes, with the factors balanced before their pairs."""

from itertools import combinations, product

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.dealing import deal
from sagglab.plan.factors import Factor

A, B, C, D = (Factor(name, [0, 1], "g") for name in ("straw", "hair", "weed", "husk"))
PEAK = Factor("peak", [700, 800], "degC", per="firing")


def corners(factors):
    return np.array(list(product([-1.0, 1.0], repeat=factors)))


def dealt(coded, factors, pots, firings=None, seed=0):
    return deal(coded, factors, pots, firings, np.random.default_rng(seed))


def told(*asked):
    with pytest.raises(PlanError) as caught:
        dealt(*asked)
    return str(caught.value)


def between(blocks):
    """Sum of squares of the factors, and of pairs, that lies between firings."""
    k = blocks[0].shape[1]
    with_pairs = [
        np.column_stack([b, *(b[:, i] * b[:, j] for i, j in combinations(range(k), 2))]) for b in blocks
    ]
    means = np.array([block.mean(axis=0) for block in with_pairs])
    weights = np.array([len(b) for b in blocks])
    spread = weights @ (means - weights @ means / weights.sum()) ** 2
    return spread[:k].sum(), spread[k:].sum()


@pytest.mark.parametrize(
    ("pots", "firings"), [(4, None), (4, 4), (6, None), (6, 3), (8, 2), (5, 5), (16, 1), (1, 16)]
)
def test_every_pot_is_dealt_once_into_firings_of_even_sizes(pots, firings):
    blocks = dealt(corners(4), [A, B, C, D], pots, firings)
    assert sorted(map(tuple, np.vstack(blocks))) == sorted(map(tuple, corners(4)))
    sizes = [len(block) for block in blocks]
    assert max(sizes) <= pots
    assert max(sizes) - min(sizes) <= 1
    assert len(blocks) == (firings or -(-16 // pots))


@pytest.mark.parametrize("seed", range(5))
def test_eight_recipes_in_two_firings_lose_neither_factor_nor_pair(seed):
    assert between(dealt(corners(3), [A, B, C], 4, 2, seed)) == (0, 0)


def test_no_split_of_eight_in_four_firings_keeps_more():
    # Every split in pairs: the 105 ways of eight recipes two by two.
    def splits(left):
        if not left:
            yield []
            return
        first, *rest = left
        for other in rest:
            for more in splits([k for k in rest if k != other]):
                yield [[first, other], *more]

    x = corners(3)
    every = [between([x[pair] for pair in split]) for split in splits(list(range(8)))]
    assert len(every) == 105
    best = min(10 * single + pairs for single, pairs in every)
    single, pairs = between(dealt(x, [A, B, C], 2, 4))
    assert 10 * single + pairs == pytest.approx(best)


def test_pots_of_one_setting_of_the_kiln_stay_together():
    blocks = dealt(np.repeat(corners(3), 2, axis=0), [PEAK, A, B], 4, 4)
    assert all(np.ptp(block[:, 0]) == 0 for block in blocks)
    assert [sorted(block[:, 0])[0] for block in blocks].count(-1) == 2
    assert between(blocks)[1] == 0


def test_more_firings_than_settings_go_to_the_fullest():
    uneven = np.vstack([np.repeat([[-1.0, -1]], 6, axis=0), [[1.0, 1], [1, -1]]])
    blocks = dealt(uneven, [PEAK, A], 6, 3)
    assert sorted(len(block) for block in blocks) == [2, 3, 3]


def test_the_same_lot_deals_the_same():
    one, two = (dealt(corners(4), [A, B, C, D], 6, 3, seed=9) for _ in range(2))
    assert all((a == b).all() for a, b in zip(one, two, strict=True))


def test_too_few_or_too_many_firings_are_refused():
    assert told(corners(3), [PEAK, A, B], 4, 1) == (
        "firings: 8 pots in 2 settings of the kiln do not go into 1 firing of 4. Plan 2 firings, or "
        "kind='best', "
        "which takes any number."
    )
    assert told(corners(2), [A, B], 4, 5) == (
        "firings: there are 4 pots for 5 firings. Plan 4 firings or fewer, or more replicates."
    )
