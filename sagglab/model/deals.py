"""Deals: ratings dealt anew within their firings, against which a likelihood ratio is held."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from sagglab.model.odds import WITHOUT, Line
from sagglab.model.ordered import Ordered, any_endless, endless, fit_ordered
from sagglab.model.terms import Factor, Row
from sagglab.model.wording import label

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

#: Times that the ratings are dealt anew.
DEALS = 999
_SEED = 750
#: Log odds per standard deviation past which no end is looked for.
_FAR = 30.0
#: Ratios closer than this are one ratio.
_SAME = 1e-7
_IN_ORDER = "the ratings within firings in order without a miss"


@dataclass(frozen=True)
class Deals:
    """The ratings as given and as dealt anew, and the best fit of each.

    Attributes
    ----------
    ratings : ndarray of int, shape (1 + DEALS, n)
        Counted from 0. The first row is as given, the others dealt anew.
    firings : ndarray, shape (n, firings − 1)
        The blocks.
    coded : dict of Factor to ndarray
        The factors within firings, each column of standard deviation 1.
    scales : dict of Factor to ndarray
        What each column was divided by.
    """

    ratings: Whole
    firings: Floats
    coded: dict[Factor, Floats]
    scales: dict[Factor, Floats]

    @classmethod
    def dealt(cls, y: Whole, blocks: Whole, coded: Mapping[Factor, Floats]) -> Deals:
        """Deal the ratings anew within firings.

        Parameters
        ----------
        y : ndarray of int, shape (n,)
            Counted from 0, every rating used.
        blocks : ndarray of int, shape (n,)
            The firing of each pot.
        coded : mapping of Factor to ndarray, shape (n, columns)
            Each firing's mean taken off.
        """
        rng = np.random.default_rng(_SEED)
        names, blocks = np.unique(blocks, return_inverse=True)
        ratings = np.tile(y, (1 + DEALS, 1))
        for firing in range(len(names)):
            inside = np.flatnonzero(blocks == firing)
            ratings[1:, inside] = rng.permuted(ratings[1:, inside], axis=1)
        scales = {factor: block.std(axis=0) for factor, block in coded.items()}
        coded = {factor: block / scales[factor] for factor, block in coded.items()}
        return cls(ratings, np.eye(len(names))[blocks][:, 1:], coded, scales)

    def only(self, factors: Sequence[Factor]) -> Deals:
        """Keep the same deals, and some of the factors."""
        kept = {factor: block for factor, block in self.coded.items() if factor in factors}
        return Deals(self.ratings, self.firings, kept, self.scales)

    def judged(self, line: Line, factor: Factor, row: Row) -> Line:
        """Fill in what the ratings say of one row."""
        if not self.ordering:
            return self._judged(line, factor, row, "")
        for group in self.ordering:
            if factor in group:
                with_it = self if len(self.ordering) == 1 else self.only([*self.rest.coded, *group])
                return with_it._judged(line, factor, row, f"{_put(group)} {_IN_ORDER}")
        if not any(all(self._open(factor, each)) for each in factor.rows()):
            # Those that put the ratings in order leave ties, and on the ties the factor can be judged.
            group = [each for group in self.ordering for each in group]
            return self._judged(line, factor, row, f"{_put([*group, factor])} {_IN_ORDER}")
        found = self.rest._judged(line, factor, row, "")
        return found._replace(note="; ".join(filter(None, [found.note, f"{WITHOUT}{self._left_out()}"])))

    def _left_out(self) -> str:
        """Name what the rest is judged without, and why."""
        alone = [group[0] for group in self.ordering if len(group) == 1]
        said = [f"{_put(group, ', which')} {_IN_ORDER}" for group in self.ordering if len(group) > 1]
        if len(alone) == 1:
            said.insert(0, f"{_put(alone, ', which')} {_IN_ORDER}")
        elif alone:
            said.insert(0, f"{_names(alone)}, each of which puts {_IN_ORDER}")
        return ", and without ".join(said)

    @cached_property
    def ordering(self) -> list[tuple[Factor, ...]]:
        """The fewest factors that put the ratings in order by themselves; then of the others, and so on."""
        found, left = [], list(self.coded)
        while left and self._ends_nowhere(left):
            for number in range(1, len(left) + 1):
                groups = [group for group in combinations(left, number) if self._ends_nowhere(group)]
                if groups:
                    break
            found += groups
            left = [factor for factor in left if not any(factor in group for group in groups)]
        return found

    @cached_property
    def rest(self) -> Deals:
        """The model without the factors that put the ratings in order."""
        out = {factor for group in self.ordering for factor in group}
        return self.only([factor for factor in self.coded if factor not in out])

    def _ends_nowhere(self, factors: Sequence[Factor]) -> bool:
        return any_endless(self.ratings[0], self.firings, np.hstack([self.coded[one] for one in factors]))

    @cached_property
    def _blocks(self) -> Ordered:
        """The best fit of the firings alone, which is the same for every deal."""
        return fit_ordered(self.ratings[:1], self.firings)

    @cached_property
    def _best(self) -> Ordered:
        return self._fitted(np.hstack(list(self.coded.values())))

    def _fitted(self, X: Floats) -> Ordered:
        """Fit firings and the columns of X to every deal."""
        blocks = self._blocks
        start = np.concatenate([blocks.cuts[0], blocks.slopes[0], np.zeros(X.shape[1])])
        return fit_ordered(self.ratings, np.hstack([self.firings, X]), start=start)

    def _ratios(self, without: Floats) -> Floats:
        """Twice the log likelihood lost without a row, by deal."""
        lost = self._fitted(without) if without.shape[1] else self._blocks
        return 2 * (self._best.loglik - lost.loglik)

    def _along(self, factor: Factor, row: Row) -> tuple[Floats, Floats, Floats]:
        """One step along a row, as a unit vector and in the pots, (n,); and all else but the firings."""
        weights = row.weights / self.scales[factor]
        unit = weights / np.linalg.norm(weights)
        others = [block for other, block in self.coded.items() if other != factor]
        rest = np.hstack([*others, self.coded[factor] @ linalg.null_space(unit[None])])
        return unit, self.coded[factor] @ unit, rest

    def _open(self, factor: Factor, row: Row) -> tuple[bool, bool]:
        """Tell whether the row's slope has no end below, and none above."""
        _, along, rest = self._along(factor, row)
        rest = np.hstack([self.firings, rest])
        below, above = (endless(self.ratings[0], rest, side * along) for side in (-1, 1))
        return below, above

    def _judged(self, line: Line, factor: Factor, row: Row, why: str) -> Line:
        unit, along, rest = self._along(factor, row)
        X = np.hstack([self.firings, rest])

        def fall(slopes: Floats) -> Floats:
            """Twice the log likelihood lost when the row's slope is held at each of these."""
            held = fit_ordered(np.tile(self.ratings[0], (len(slopes), 1)), X, slopes[:, None] * along)
            return 2 * (self._best.loglik[0] - held.loglik)

        if not self._best.settled[0]:
            return line._replace(note="the fit did not settle")
        ratios = self._ratios(rest)
        p = float(np.mean(ratios >= ratios[0] - _SAME))
        # As many deals as may lie beyond while p is at most 0.05: test and interval then agree.
        reach = np.sqrt(max(np.sort(ratios[1:])[-int(0.05 * len(ratios))], 0.0))
        below, above = self._open(factor, row) if why else (False, False)
        if below or above:
            estimate = np.nan if below and above else np.inf if above else -np.inf
            low = -np.inf if below else -_near_end(lambda slopes: fall(-slopes), reach)
            high = np.inf if above else _near_end(fall, reach)
        else:
            sizes = [self.firings.shape[1], *(block.shape[1] for block in self.coded.values())]
            slopes = np.split(self._best.slopes[0], np.cumsum(sizes)[:-1])[1:]
            estimate = float(dict(zip(self.coded, slopes, strict=True))[factor] @ unit)
            low, high = (_end(fall, estimate, side, reach) for side in (-1, 1))
        ends = (("lower", low, below), ("upper", high, above))
        notes = [
            f"no {end} end can be had: {why if runs_off else 'the ratings allow any'}"
            for end, at, runs_off in ends
            if np.isinf(at)
        ]
        if below and above:
            notes = [f"no end can be had: {why}"]
        if len(factor.levels) > 2:
            others = [block for other, block in self.coded.items() if other != factor]
            whole = self._ratios(np.hstack([np.zeros((len(along), 0)), *others]))
            notes.append(f"{factor.name} as a whole: p {np.mean(whole >= whole[0] - _SAME):.3g}")
        length = float(np.linalg.norm(row.weights / self.scales[factor]))
        at = {"estimate": estimate * length, "low": low * length, "high": high * length}
        return line._replace(**at, p=p, note="; ".join(notes))


def _put(group: Sequence[Factor], which: str = "") -> str:
    """Say which factors, and that one puts or several together put."""
    return f"{_names(group)}{which} {'puts' if len(group) == 1 else 'together put'}"


def _names(group: Sequence[Factor]) -> str:
    names = [label(factor) for factor in group]
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _end(fall: Callable[[Floats], Floats], estimate: float, side: int, reach: float) -> float:
    """Find how far from the estimate the root of the fall stays within reach, on one side."""
    steps = np.concatenate([[0.0], np.geomspace(0.05, _FAR, 20)])
    crossing = _crossing(lambda at: fall(estimate + side * at), steps, reach)
    return float(estimate + side * crossing)


def _near_end(fall: Callable[[Floats], Floats], reach: float) -> float:
    """Find the upper end where the slope has none below: the fall grows all the way up."""
    steps = np.geomspace(0.05, _FAR, 20)
    return _crossing(fall, np.concatenate([-steps[::-1], [0.0], steps]), reach)


def _crossing(fall: Callable[[Floats], Floats], steps: Floats, reach: float) -> float:
    """Find the step at which the root of a growing fall comes to reach; infinite where none does."""
    for turn in range(3):
        # Many at once cost hardly more than one, and the root of the fall is nearly straight.
        roots = np.sqrt(np.maximum(fall(steps), 0))
        if roots[-1] <= reach and not turn:
            return np.inf
        beyond = int(np.clip(np.searchsorted(roots, reach), 1, len(steps) - 1))
        inside, outside = steps[beyond - 1], steps[beyond]
        crossing = np.interp(reach, roots[beyond - 1 : beyond + 1], (inside, outside))
        steps = np.linspace(inside, outside, 12)
    return float(crossing)
