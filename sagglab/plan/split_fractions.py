"""Regular fractions laid into firings: split plots and blocks, seen as one thing.

With J = 2^f firings of n pots, N = J n = 2^q, the first f basic columns (masks below J) and all their
products are the same on every pot of a firing: the firing space. Factors set per firing take columns inside
it, factors set per pot outside. Whatever falls inside is judged against how firings differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.plan.fractions import MOST_FACTORS, MOST_RUNS, expand, minimum_aberration
from sagglab.plan.words import word_lengths

#: Classes of part-made fractions kept from one factor to the next. Up to 10 factors and 128 pots there are at
#: most 239 (all 846 sizes tried), so that none is dropped.
KEPT = 250
_ALL_CLASSES = 10
#: Above 10 factors fewer are kept, so that 15 factors in 128 pots take some 3 s: kept × sets of factors.
_WORK = 2**17
#: Firing spaces drawn for a fraction of the catalogue.
_SPACES, _SEED = 400, 12
_KEYS = np.random.default_rng(8).integers(1, 2**20, size=(3, 16, 16)).astype(float)
_MIX = np.uint64(0x9E3779B97F4A7C15)


def in_firings(per_firing: Sequence[bool], firings: int, pots: int) -> tuple[int, ...]:
    """Give each factor a column, so that firings are respected and short words are as few as can be.

    Parameters
    ----------
    per_firing : sequence of bool
        For each factor, whether all pots of a firing share its level.
    firings, pots : int
        Number of firings, and of pots in each: powers of two.

    Returns
    -------
    tuple of int
        The mask of each factor, for `fractions.expand` with firings × pots runs. Run r belongs to firing
        r modulo `firings`.

    Raises
    ------
    PlanError
        It cannot be done: it says what it would take.

    Notes
    -----
    Best means: fewest words of 3, then of 4 … factors; among equals, fewest pairs with a factor set per pot
    inside the firing space; then fewest threes. Columns are given one factor after the other, keeping one
    member of each class of part-made fractions, told apart by the words that factors share. Up to 10
    factors that looks at every class; above, only the best so far are kept, so that better ones may exist;
    where no factor is set per firing, the catalogue's fraction is then taken if its words are fewer.
    Short words are barred at first, which leaves few classes, and allowed where there is no other way.

    References
    ----------
    D. Bingham and R. R. Sitter, Technometrics 41 (1999): split-plot fractions of minimum aberration.

    Examples
    --------
    >>> in_firings([True, True, False, False, False], firings=4, pots=4)
    (1, 2, 4, 8, 15)
    """
    held = tuple(bool(each) for each in per_firing)
    _check(held, firings, pots)
    order = sorted(range(len(held)), key=lambda place: not held[place])
    found = _search(sum(held), len(held), firings, firings * pots)
    if not any(held) and len(held) > _ALL_CLASSES:
        found = _catalogued(found, firings, firings * pots)
    columns = dict(zip(order, found, strict=True))
    return tuple(columns[place] for place in range(len(held)))


def in_firing_space(columns: Sequence[int], firings: int, word: Sequence[int]) -> bool:
    """Tell whether the product of some factors is the same on all pots of a firing.

    Parameters
    ----------
    columns : sequence of int
        As `in_firings` gives them.
    firings : int
    word : sequence of int
        Places of the factors.

    Examples
    --------
    >>> in_firing_space((1, 2, 4, 8, 15), firings=4, word=(2, 3, 4))
    True
    """
    return int(np.bitwise_xor.reduce([columns[place] for place in word])) < firings


def _check(held: tuple[bool, ...], firings: int, pots: int) -> None:
    where = f"fraction in {firings} firings of {pots} pots"
    for count, name in ((firings, "firings"), (pots, "pots in a firing")):
        if count < 1 or count & (count - 1):
            below = 1 << (max(count, 1).bit_length() - 1)
            raise PlanError(
                where, f"{count} {name} are no power of two", f"take {below} or {2 * below} {name}"
            )
    runs = firings * pots
    if not 1 <= len(held) <= MOST_FACTORS or runs > MOST_RUNS:
        raise PlanError(
            where,
            f"{len(held)} factors in {runs} pots are out of reach",
            f"give 1 to {MOST_FACTORS} factors and at most {MOST_RUNS} pots",
        )
    between, within = sum(held), len(held) - sum(held)
    if between > firings - 1:
        needed = 1 << between.bit_length()
        raise PlanError(
            where,
            f"{between} factors set per firing need more firings",
            f"take {needed} firings, or set at most {firings - 1} factors per firing",
        )
    room = runs - firings
    if within > room:
        needed = 2
        while firings * needed - firings < within:
            needed *= 2
        raise PlanError(
            where,
            f"{within} factors set per pot need more pots",
            f"take {needed} pots in a firing, or vary at most {room} factors per pot",
        )


@dataclass(frozen=True)
class _Part:
    """A part-made fraction.

    Attributes
    ----------
    columns : tuple of int
    sums : ndarray, shape (2**made,)
        The mask of every set of its factors.
    words : ndarray, shape (factors + 1,)
        Words by length.
    inside : ndarray, shape (factors + 1,)
        Sets with a factor set per pot that lie in the firing space, by size.
    shared : ndarray, shape (factors, factors)
        For each two factors, the sum of the keys of the words and sets inside that hold both.
    """

    columns: tuple[int, ...]
    sums: NDArray[np.int64]
    words: NDArray[np.int64]
    inside: NDArray[np.int64]
    shared: NDArray[np.float64]

    @property
    def worth(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """What is to be least."""
        return tuple(self.words.tolist()), tuple(self.inside.tolist())


@lru_cache(maxsize=64)
def _search(between: int, factors: int, firings: int, runs: int) -> tuple[int, ...]:
    empty = _Part(
        (),
        np.zeros(1, dtype=np.int64),
        np.zeros(factors + 1, dtype=np.int64),
        np.zeros(factors + 1, dtype=np.int64),
        np.zeros((factors, factors)),
    )
    shortest = max(factors + 1, 3)
    parts: list[_Part] = []
    # With words of three allowed there is always a way: `_check` made sure that there are columns for all.
    while not parts:
        parts = [empty]
        for made in range(factors):
            parts = _grow(parts, made, between, firings, runs, shortest)
        shortest -= 1
    return parts[0].columns


@lru_cache(maxsize=64)
def _catalogued(found: tuple[int, ...], firings: int, runs: int) -> tuple[int, ...]:
    """Give the catalogue's fraction where its words are fewer, the firing space drawn to hide few pairs."""
    listed = minimum_aberration(len(found), runs)
    if _words(listed, runs) >= _words(found, runs):
        return found
    pairs = [a ^ b for a, b in combinations(listed, 2)]
    rng = np.random.default_rng(_SEED)
    best, fewest = found, len(pairs) + 1
    for _ in range(_SPACES):
        # Each column as a product of new basic columns, of which the first tell the firings apart.
        products = [0]
        while len(products) < runs:
            basic = int(rng.integers(1, runs))
            if basic not in products:
                products += [basic ^ product for product in products]
        masks = {product: mask for mask, product in enumerate(products)}
        hidden = sum(masks[pair] < firings for pair in pairs)
        if hidden < fewest and min(masks[column] for column in listed) >= firings:
            best, fewest = tuple(masks[column] for column in listed), hidden
    return best


def _words(columns: tuple[int, ...], runs: int) -> list[float]:
    return word_lengths(expand(columns, runs)).round(6).tolist()


def _grow(parts: list[_Part], made: int, between: int, firings: int, runs: int, shortest: int) -> list[_Part]:
    """Give one more factor its column in every way that leads to another class; the best first."""
    sets = np.arange(2**made)
    size = np.bitwise_count(sets)
    of_firings = np.bitwise_count(sets & ((1 << min(made, between)) - 1))
    # Each row says which factors a set holds; a set grown by the new factor holds that one too.
    holds = np.column_stack([(sets[:, None] >> np.arange(made)) & 1, np.ones(len(sets), dtype=int)])
    rows, columns = map(np.array, zip(*combinations_with_replacement(range(made + 1), 2), strict=True))
    both = (holds[:, rows] * holds[:, columns]).astype(float)
    per_pot = made >= between
    lengths = (size[:, None] + 1 == np.arange(len(parts[0].words) if parts else 1)).astype(float)
    choices = np.arange(firings, runs) if per_pot else np.arange(1, firings)
    found: dict[int, _Part] = {}
    for part in parts:
        barred = np.unique(part.sums[size <= shortest - 2])
        fresh = np.setdiff1d(choices, barred)
        if not len(fresh):
            continue
        whole = (part.sums == fresh[:, None]).astype(float)
        inside = (part.sums // firings == (fresh // firings)[:, None]).astype(float) if per_pot else whole
        grown = inside * _KEYS[0][size, of_firings] + whole * _KEYS[1][size, of_firings]
        shared = np.zeros((len(fresh), *part.shared.shape))
        shared[:, rows, columns] = shared[:, columns, rows] = grown @ both
        shared += part.shared
        words = part.words + (whole @ lengths).astype(np.int64)
        # Sets of firing factors alone always lie inside, so only those with a factor per pot are counted.
        within = part.inside + ((inside if per_pot else 0 * inside) @ lengths).astype(np.int64)
        numbers = _numbers(shared[:, : made + 1, : made + 1], between)
        for place, number in enumerate(numbers.tolist()):
            if number not in found:
                column = int(fresh[place])
                found[number] = _Part(
                    (*part.columns, column),
                    np.concatenate([part.sums, part.sums ^ column]),
                    words[place],
                    within[place],
                    shared[place],
                )
    return sorted(found.values(), key=lambda part: part.worth)[: min(KEPT, _WORK >> made)]


def _mixed(values: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Scatter whole numbers over 64 bits, so that sums of them tell collections apart."""
    values = (values ^ (values >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    values = (values ^ (values >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return values ^ (values >> np.uint64(31))


def _numbers(shared: NDArray[np.float64], between: int) -> NDArray[np.uint64]:
    """Give fractions that differ only by the order of their factors one number."""
    pairs = shared.astype(np.uint64)
    made = pairs.shape[-1]
    kinds = np.where(np.arange(made) < between, _KEYS[2][0, 0], _KEYS[2][0, 1]).astype(np.uint64)
    own = _mixed(np.einsum("cii->ci", pairs) * _MIX + kinds)
    for _ in range(2):
        own = _mixed(own * _MIX + _mixed(pairs * _MIX + own[:, None, :]).sum(axis=-1))
    return _mixed(own).sum(axis=-1)
