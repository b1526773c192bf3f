"""Exchange of recipes: many plans at once, each bettered pot by pot and firing by firing until nothing helps.

A pot's row x of the model enters the information of its firing, X'X − c s s' with s the sum of the rows and
c = ratio / (1 + pots · ratio), as K + (1 − c)(x − a)(x − a)' with a = c / (1 − c) (s − x). K and a hold
nothing of the pot itself, so another recipe on it is a change of rank two whatever the firings vary by, and
one product with the inverse values all recipes that it could have.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.plan.choices import Choices

#: A change must better a plan by more than this share: equal plans would take turns for ever.
LEAST_GAIN = 1e-9
#: Sweeps over all pots and firings: of 2,656 starts of thirteen problems none took more than 22.
SWEEPS = 60
#: Least eigenvalue of the information, against the greatest, of a plan that can estimate all it is asked.
LEAST_EIGENVALUE = 1e-9
#: How much the columns not named count when named effects are sharpened: they must stay estimable.
REST = 0.05

_LEAST_RATIO = 1e-3  # a change that leaves less of the determinant leaves something hardly estimable


def information_of_rows(
    rows: NDArray[np.float64], sizes: tuple[int, ...], ratio: float, fired: NDArray[np.float64] | None = None
) -> NDArray[np.float64]:
    """Give X'V⁻¹X where the pots of a firing share its deviation.

    Parameters
    ----------
    rows : ndarray, shape (..., pots, columns)
    sizes : tuple of int
        Pots in each firing.
    ratio : float
        Variance between firings over the variance between pots of a firing.
    fired : ndarray, shape (columns, columns), optional
        Information there is already.

    Returns
    -------
    ndarray, shape (..., columns, columns), in units of one pot's variance
    """
    starts = np.cumsum([0, *sizes[:-1]])
    sums = np.add.reduceat(rows, starts, axis=-2)
    shrunk = sums * shrinkage(sizes, ratio)[:, None]
    total = rows.swapaxes(-1, -2) @ rows - sums.swapaxes(-1, -2) @ shrunk
    return total if fired is None else total + fired


def shrinkage(sizes: tuple[int, ...], ratio: float) -> NDArray[np.float64]:
    """Give what a firing's deviation takes from the sum of its pots, shape (firings,)."""
    return ratio / (1 + np.array(sizes) * ratio)


@dataclass(frozen=True)
class Aim:
    """What makes a plan good, as a figure to be raised.

    Attributes
    ----------
    ratio : float
    fired : ndarray, shape (columns, columns), or None
    rest : ndarray of int, or None
        The columns beside the named ones, where named ones are to be sharp.
    moments : ndarray, shape (columns, columns), or None
        Mean of x x' over the range, where predictions are to be sharp.
    """

    ratio: float
    fired: NDArray[np.float64] | None = None
    rest: NDArray[np.intp] | None = None
    moments: NDArray[np.float64] | None = None

    def score(self, matrices: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give each information's figure, on a log scale; −inf where something cannot be estimated."""
        signs, sizes = np.linalg.slogdet(matrices)
        # A determinant that is nothing but rounding would make a fine quotient of two.
        fine = signs > 0 if self.rest is None and self.moments is None else is_full(matrices)
        score = np.where(fine, sizes, -np.inf)
        if self.rest is not None:
            score[fine] -= (1 - REST) * np.linalg.slogdet(self.beside(matrices[fine]))[1]
        elif self.moments is not None:
            spread = _trace(np.linalg.inv(matrices[fine]), self.moments)
            score[fine] = np.where(spread > 0, -np.log(np.abs(spread)), -np.inf)
        return score

    def beside(self, matrices: NDArray[np.float64]) -> NDArray[np.float64]:
        """Leave out the rows and columns of the named effects."""
        return matrices[..., self.rest[:, None], self.rest]


def _trace(left: NDArray[np.float64], right: NDArray[np.float64]) -> NDArray[np.float64]:
    """Trace of products of symmetric matrices."""
    return np.einsum("...ij,...ij->...", left, right)


def is_full(matrices: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell whether each information lets everything be estimated."""
    values = np.linalg.eigvalsh(matrices)
    return values[..., 0] > LEAST_EIGENVALUE * np.maximum(values[..., -1], 1e-300)


class _Plans:
    """Several plans on their way to the best, with what a sweep needs kept up to date."""

    def __init__(self, choices: Choices, aim: Aim, levels: NDArray[np.intp]) -> None:
        self.choices, self.aim, self.levels = choices, aim, levels
        self.shrink = shrinkage(choices.sizes, aim.ratio)
        self.rows = choices.look_up(levels)[0]
        self.bettered = np.zeros(len(levels), dtype=bool)

    def sweep(self) -> None:
        """Try every change of every firing and pot once."""
        choices = self.choices
        self.matrices = information_of_rows(self.rows, choices.sizes, self.aim.ratio, self.aim.fired)
        if len(choices.firing_turns) > 1:
            for firing in range(len(choices.sizes)):
                self._change_firing(firing)
        if len(choices.pot_turns) > 1:
            # The inverses are made afresh in every sweep, so that rounding cannot pile up.
            self.inverse = np.linalg.inv(self.matrices)
            if self.aim.rest is not None:
                self.beside = np.linalg.inv(self.aim.beside(self.matrices))
            self.sums = np.add.reduceat(self.rows, np.cumsum([0, *choices.sizes[:-1]]), axis=1)
            for pot in range(len(choices.firing_of)):
                self._change_pot(pot)
        for limit in choices.shared:
            if not choices.held[limit.factor]:
                for pot in range(len(choices.firing_of) - 1):
                    self._swap(pot, limit.factor)

    def _change_firing(self, firing: int) -> None:
        choices = self.choices
        pots = np.flatnonzero(choices.firing_of == firing)
        options = (self.levels[:, None, pots] + choices.firing_turns[:, None]) % choices.counts
        rows, may = choices.look_up(options)
        size = choices.sizes[firing : firing + 1]
        part = information_of_rows(rows, size, self.aim.ratio)
        matrices = self.matrices[:, None] - part[:, :1] + part
        score = self.aim.score(matrices)
        may = may.all(axis=-1) & choices.room(self.levels, pots, options)
        who, which = self._pick(np.where(may, _growth(score), 0.0))
        self.levels[who[:, None], pots] = options[who, which]
        self.rows[who[:, None], pots] = rows[who, which]
        self.matrices[who] = matrices[who, which]

    def _change_pot(self, pot: int) -> None:
        choices = self.choices
        firing = choices.firing_of[pot]
        options = (self.levels[:, pot, None] + choices.pot_turns) % choices.counts
        rows, may = choices.look_up(options)
        weight = 1 - self.shrink[firing]
        others = (self.sums[:, firing] - self.rows[:, pot]) * (self.shrink[firing] / weight)
        moved = (rows - others[:, None]) * np.sqrt(weight)
        change = _Change(self.inverse, moved)
        gain = change.ratio
        if self.aim.rest is not None:
            apart = _Change(self.beside, moved[..., self.aim.rest])
            gain = np.where(gain > _LEAST_RATIO, gain / np.maximum(apart.ratio, 1e-12) ** (1 - REST), 0.0)
        elif self.aim.moments is not None:
            gain = change.narrowing(self.inverse, self.aim.moments)
        may = may & choices.room(self.levels, np.array([pot]), options[:, :, None])
        who, which = self._pick(np.where(may, gain, 0.0))
        if not len(who):
            return
        self.inverse[who] = change.made(self.inverse[who], who, which)
        if self.aim.rest is not None:
            self.beside[who] = apart.made(self.beside[who], who, which)
        self.sums[who, firing] += rows[who, which] - self.rows[who, pot]
        self.rows[who, pot] = rows[who, which]
        self.levels[who, pot] = options[who, which]

    def _swap(self, pot: int, factor: int) -> None:
        """Try to change one factor's levels about between a pot and each later one: no limit forbids that."""
        choices = self.choices
        pairs = np.array([[pot, other] for other in range(pot + 1, len(choices.firing_of))])
        options = self.levels[:, pairs].copy()
        options[..., factor] = options[..., ::-1, factor]
        rows, may = choices.look_up(options)
        every = np.repeat(self.rows[:, None], len(pairs) + 1, axis=1)
        every[:, 1 + np.arange(len(pairs))[:, None], pairs] = rows
        score = self.aim.score(information_of_rows(every, choices.sizes, self.aim.ratio, self.aim.fired))
        who, which = self._pick(np.where(may.all(axis=-1), _growth(score)[:, 1:], 0.0))
        self.rows[who[:, None], pairs[which]] = rows[who, which]
        self.levels[who[:, None], pairs[which]] = options[who, which]

    def _pick(self, gain: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Choose the best option of each plan that one betters; of equal ones the first, on any machine."""
        best = gain.max(axis=1)
        who = np.flatnonzero(best > 1 + LEAST_GAIN)
        self.bettered[who] = True
        return who, (gain[who] >= best[who, None] * (1 - LEAST_GAIN)).argmax(axis=1)


def _growth(score: NDArray[np.float64]) -> NDArray[np.float64]:
    """By how much each option betters the first; one that cannot estimate everything does not."""
    now = np.maximum(score[:, :1], -1e4)
    return np.exp(np.clip(score - now, -50.0, 50.0))


class _Change:
    """What it does to an inverse if the first of several vectors gives way to each."""

    def __init__(self, inverse: NDArray[np.float64], moved: NDArray[np.float64]) -> None:
        self.moved = moved
        self.across = moved @ inverse
        self.each = np.einsum("bcp,bcp->bc", self.across, moved)
        self.both = (self.across @ moved[:, 0, :, None])[..., 0]
        #: By how much the determinant of the information grows, shape (plans, options).
        self.ratio = (1 - self.each[:, :1]) * (1 + self.each) + self.both**2

    def narrowing(self, inverse: NDArray[np.float64], moments: NDArray[np.float64]) -> NDArray[np.float64]:
        """By how much the mean variance of a prediction shrinks, shape (plans, options)."""
        spread = self.across @ moments
        each = np.einsum("bcp,bcp->bc", spread, self.across)
        both = (spread @ self.across[:, 0, :, None])[..., 0]
        less = (1 - self.each[:, :1]) * each + 2 * self.both * both - (1 + self.each) * each[:, :1]
        now = _trace(inverse, moments)[:, None]
        left = now - less / np.maximum(self.ratio, _LEAST_RATIO)
        return np.where((self.ratio > _LEAST_RATIO) & (left > 0), now / np.maximum(left, 1e-12 * now), 0.0)

    def made(
        self, inverse: NDArray[np.float64], who: NDArray[np.intp], which: NDArray[np.intp]
    ) -> NDArray[np.float64]:
        """Give the inverses of the plans ``who`` after their change: the new vector in, then the old out."""
        new, old = self.across[who, which], self.across[who, 0]
        grown, both = 1 + self.each[who, which], self.both[who, which]
        old = old - new * (both / grown)[:, None]
        left = self.ratio[who, which] / grown
        return (
            inverse
            - new[:, :, None] * (new / grown[:, None])[:, None]
            + old[:, :, None] * (old / left[:, None])[:, None]
        )


def improve(choices: Choices, aim: Aim, levels: NDArray[np.intp]) -> NDArray[np.intp]:
    """Better every plan until no change of a pot, a firing or a pair of pots helps.

    Parameters
    ----------
    choices : Choices
    aim : Aim
    levels : ndarray of int, shape (plans, pots, factors)
        Plans within the limits, each of which can estimate everything.

    Returns
    -------
    ndarray of int, shape (plans, pots, factors)
    """
    levels = levels.copy()
    going = np.arange(len(levels))
    for _ in range(SWEEPS):
        plans = _Plans(choices, aim, levels[going])
        plans.sweep()
        levels[going] = plans.levels
        going = going[plans.bettered]
        if not len(going):
            break
    return levels
