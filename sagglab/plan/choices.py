"""What can be put on the pots of a plan: recipes, what a pot can change to, limits, and plans by lot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement, product

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.plan.terms import Terms

_ALL_RECIPES = 64  # up to so many are all tried on a pot; else those that differ in one or two factors
_ALL_SETTINGS = 64  # likewise for a firing
_LOOKED_AT = 256  # recipes drawn for a pot where they are too many to look at all
_POINTS = 2**13  # pots at which the mean variance of a prediction is taken
_TABLE = 3_000_000  # numbers in the table of all rows of the model: 24 MB


@dataclass(frozen=True)
class Shared:
    """A limit over the whole batch: stock on the shelf, or pots of one clay.

    Attributes
    ----------
    factor : int
        Whose levels use it.
    amounts : tuple of float
        What a pot at each level uses.
    most : float
        What there is for all pots.
    """

    factor: int
    amounts: tuple[float, ...]
    most: float


@dataclass(frozen=True)
class Choices:
    """What can be put on the pots and how they lie in firings; levels are numbers from 0.

    Attributes
    ----------
    terms : Terms
    sizes : tuple of int
        Pots in each firing.
    allowed : callable
        Of codes of shape (..., factors), which pots may be made; shape (...).
    shared : tuple of Shared
    """

    terms: Terms
    sizes: tuple[int, ...]
    allowed: Callable[[NDArray[np.float64]], NDArray[np.bool_]]
    shared: tuple[Shared, ...] = ()

    @cached_property
    def counts(self) -> NDArray[np.intp]:
        """Levels of each factor."""
        return np.array([len(factor.levels) for factor in self.terms.factors])

    @cached_property
    def held(self) -> NDArray[np.bool_]:
        """Which factors are set per firing."""
        return np.array([factor.per == "firing" for factor in self.terms.factors])

    @cached_property
    def firing_of(self) -> NDArray[np.intp]:
        """The firing of each pot."""
        return np.repeat(np.arange(len(self.sizes)), self.sizes)

    @cached_property
    def pot_turns(self) -> NDArray[np.intp]:
        """How many levels on each factor goes, in every change of a pot; the first is no change."""
        return _turns(np.where(self.held, 1, self.counts), _ALL_RECIPES)

    @cached_property
    def firing_turns(self) -> NDArray[np.intp]:
        """Likewise for every change of a firing."""
        return _turns(np.where(self.held, self.counts, 1), _ALL_SETTINGS)

    @cached_property
    def _codes(self) -> NDArray[np.float64]:
        codes = np.zeros((len(self.counts), self.counts.max()))
        for place, factor in enumerate(self.terms.factors):
            codes[place, : len(factor.levels)] = factor.coded
        return codes

    def code(self, levels: NDArray[np.intp]) -> NDArray[np.float64]:
        """Put levels on −1 to 1, shape (..., factors)."""
        return self._codes[np.arange(len(self.counts)), levels]

    @cached_property
    def _strides(self) -> NDArray[np.intp]:
        return np.concatenate([np.cumprod(self.counts[:0:-1])[::-1], [1]]).astype(np.intp)

    @cached_property
    def _table(self) -> tuple[NDArray[np.float64], NDArray[np.bool_]] | None:
        # Built once, since a look-up of rows took a fifth of the time of making them.
        if np.prod(self.counts.astype(float)) * (1 + sum(self.terms.widths)) > _TABLE:
            return None
        codes = self.code(np.array(list(product(*map(range, self.counts)))))
        return self.terms.expand(codes), np.asarray(self.allowed(codes), dtype=bool)

    def look_up(self, levels: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Give the rows of the model, shape (..., columns), and which pots may be made, shape (...)."""
        if self._table is None:
            codes = self.code(levels)
            return self.terms.expand(codes), np.asarray(self.allowed(codes), dtype=bool)
        places = levels @ self._strides
        rows, may = self._table
        return rows[places], may[places]

    def may(self, levels: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Tell which pots may be made, shape (...)."""
        if self._table is None:
            return np.asarray(self.allowed(self.code(levels)), dtype=bool)
        return self._table[1][levels @ self._strides]

    def room(
        self, levels: NDArray[np.intp], pots: NDArray[np.intp], options: NDArray[np.intp]
    ) -> NDArray[np.bool_] | bool:
        """Tell which options for some of the pots keep the limits over the batch.

        Parameters
        ----------
        levels : ndarray, shape (plans, pots, factors)
        pots : ndarray, shape (some,)
        options : ndarray, shape (plans, options, some, factors)
        """
        keeps: NDArray[np.bool_] | bool = True
        for limit in self.shared:
            uses = np.array(limit.amounts)
            now = uses[levels[..., limit.factor]]
            others = now.sum(axis=1) - now[:, pots].sum(axis=1)
            total = others[:, None] + uses[options[..., limit.factor]].sum(axis=-1)
            keeps = keeps & (total <= limit.most + 1e-9 * max(1.0, limit.most))
        return keeps

    def moments(self) -> NDArray[np.float64]:
        """Give the mean of x x' over the pots allowed: amounts anywhere in their range, each kind alike."""
        # Loaded here: few plans are for predictions, and it takes half a second.
        from scipy.stats import qmc

        factors = self.terms.factors
        # A fixed set of evenly spread points: the same plan comes from the same seed.
        codes = 2 * qmc.Sobol(len(factors), rng=0).random(_POINTS) - 1
        for place, factor in enumerate(factors):
            if not factor.is_amount:
                kind = ((codes[:, place] + 1) / 2 * len(factor.levels)).astype(int)
                codes[:, place] = factor.coded[np.minimum(kind, len(factor.levels) - 1)]
        rows = self.terms.expand(codes[np.asarray(self.allowed(codes), dtype=bool)])
        if not len(rows):
            raise nothing_allowed()
        return rows.T @ rows / len(rows)


def nothing_allowed() -> PlanError:
    """Make the error for limits that leave no plan."""
    return PlanError(
        "limits",
        "no pots were found that keep to all of them together",
        "ease one of them, or ask for fewer pots",
    )


def _turns(counts: NDArray[np.intp], most: int) -> NDArray[np.intp]:
    """Every combination of turns of the factors, or where they are too many those of one or two factors."""
    if np.prod(counts.astype(float)) <= most:
        return np.array(list(product(*map(range, counts))))
    one = np.eye(len(counts), dtype=np.intp)
    turns = [
        (by * one[first] + also * one[second]) % counts
        for first, second in combinations_with_replacement(range(len(counts)), 2)
        for by, also in product(range(counts[first]), range(counts[second]))
    ]
    return np.unique(turns, axis=0)


def draw(choices: Choices, rng: np.random.Generator, count: int) -> NDArray[np.intp]:
    """Draw plans within the limits: a recipe for pot after pot, each of those that still can be alike."""
    pots, factors = len(choices.firing_of), len(choices.counts)
    levels = np.zeros((count, pots, factors), dtype=np.intp)
    settings = rng.integers(choices.counts, size=(count, len(choices.sizes), factors))
    levels[:] = np.where(choices.held, settings[:, choices.firing_of], levels)
    uses = [np.array(limit.amounts) for limit in choices.shared]
    left = np.array([limit.most for limit in choices.shared]) * np.ones((count, 1))
    free = [not choices.held[limit.factor] for limit in choices.shared]
    turns = choices.pot_turns
    every = np.prod(np.where(choices.held, 1, choices.counts).astype(float)) <= len(turns)
    alive = np.ones(count, dtype=bool)
    for number, pot in enumerate(rng.permutation(pots)):
        if every:
            options = (levels[:, pot, None] + turns) % choices.counts
        else:
            options = rng.integers(choices.counts, size=(count, _LOOKED_AT, factors))
            options = np.where(choices.held, levels[:, pot, None], options)
        may = choices.may(options)
        for k, limit in enumerate(choices.shared):
            # The pots still to come need at least the least amount each.
            need = uses[k].min() * (pots - number - 1) if free[k] else 0.0
            spent = uses[k][options[..., limit.factor]]
            may = may & (spent + need <= left[:, k, None] + 1e-9 * max(1.0, limit.most))
        which = np.where(may, rng.random(may.shape), -1.0).argmax(axis=1)
        chosen = np.arange(count), which
        alive &= may[chosen]
        levels[:, pot] = options[chosen]
        for k, limit in enumerate(choices.shared):
            left[:, k] -= uses[k][levels[:, pot, limit.factor]]
    return levels[alive]


def shake(
    choices: Choices, rng: np.random.Generator, levels: NDArray[np.intp], pots: int
) -> NDArray[np.intp]:
    """Give some pots of each plan another recipe by lot, and leave those where a limit forbids it."""
    levels, plans = levels.copy(), np.arange(len(levels))
    for _ in range(pots):
        pot = rng.integers(levels.shape[1], size=len(levels))
        turn = choices.pot_turns[rng.integers(len(choices.pot_turns), size=len(levels))]
        option = (levels[plans, pot] + turn) % choices.counts
        for plan in np.flatnonzero(choices.may(option)):
            one = levels[plan : plan + 1]
            if np.all(choices.room(one, pot[plan : plan + 1], option[plan].reshape(1, 1, 1, -1))):
                levels[plan, pot[plan]] = option[plan]
    return levels
