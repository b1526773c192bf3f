"""Losses: which choices go with cracked and lost pots.

Losses are few, so nothing rests on large numbers: given how many pots each firing lost, every way in which
they could have been lost is counted. One factor is judged at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, special

from sagglab.errors import ModelError
from sagglab.model.odds import Line, Odds, OddsWords
from sagglab.model.rows import find_column, read_rows
from sagglab.model.states import LOST, WHOLE, States
from sagglab.model.terms import Factor, Row
from sagglab.model.wording import count, label

#: How the odds were had.
METHOD = "exact conditional logistic, firings as blocks, one factor at a time"
#: Sums closer than this share of the factor's range are one sum: decimals added in another order.
_SAME = 1e-9
#: Sums counted at once at most: some 50 MB.
_MOST_SUMS = 2_000_000
_TAIL = 0.025
_OTHERS = "all other kinds of {name}"


class _TooManySums(Exception):
    """Not every sum can be counted."""


@dataclass(frozen=True)
class _Sums:
    """Sums of a factor over the pots lost, and the logarithm of how many ways lead to each.

    Attributes
    ----------
    sums, ways : ndarray, shape (s,)
        Sums ascending.
    """

    sums: NDArray[np.float64]
    ways: NDArray[np.float64]

    @classmethod
    def merged(cls, sums: NDArray[np.float64], ways: NDArray[np.float64]) -> _Sums:
        """Put equal sums together."""
        order = np.argsort(sums, kind="stable")
        sums, ways = sums[order], ways[order]
        starts = np.flatnonzero(np.concatenate([[True], np.diff(sums) > _SAME]))
        return cls(sums[starts], np.logaddexp.reduceat(ways, starts))

    def plus(self, other: _Sums) -> _Sums:
        """Add every sum of one firing to every sum of another."""
        if len(self.sums) * len(other.sums) > _MOST_SUMS:
            raise _TooManySums
        return _Sums.merged(
            (self.sums[:, None] + other.sums).ravel(), (self.ways[:, None] + other.ways).ravel()
        )


def fit_losses(
    results: pd.DataFrame,
    factors: Sequence[str],
    state: str = "state",
    firing: str = "firing",
    lost: Sequence[object] = LOST,
    forms: Mapping[str, str] | None = None,
    whole: Sequence[object] = WHOLE,
) -> Odds:
    """Judge which factors go with pots that were cracked or lost.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    factors : sequence of str
        Columns, by heading (``sugar [g]``) or by bare name (``sugar``). Numbers are amounts, text is a
        category. Each is judged by itself: what goes together in the pots goes together in the odds.
    state : str
        The column that says what became of the pot; a pot without a state is left out.
    firing : str
        The column that says which firing a pot went through.
    lost : sequence
        The states that count as lost, as the column has them, in capitals or not: ``["split"]``. True and
        False, 1 and 0 mean nothing of themselves: ``lost=[True], whole=[False]``.
    forms : mapping of str to str, optional
        The form in which an amount enters, by factor, such as ``with or without``.
    whole : sequence
        The states that count as not lost, in the same way. Where it is not given, the states of a batch book
        that `lost` does not name count as not lost, too.

    Returns
    -------
    Odds
        The estimate is the conditional maximum-likelihood log odds ratio per unit; a category of two levels
        has one row, the second against the first; of more, each level against all others. The p sums all
        outcomes no more likely than the one seen; the interval cuts 2.5 % off either tail.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        Unknown words of state, no pot lost, none left, no firing that lost some pots and kept others.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 8,
    ...     "packing": ["seaweed"] * 4 + ["sawdust"] * 4,
    ...     "state": ["cracked", "lost", "cracked", "whole"] + ["whole"] * 4,
    ... })
    >>> odds = fit_losses(pots, ["packing"])
    >>> odds.table[["term", "low", "high", "p"]].round(3).to_numpy().tolist()
    [['packing: seaweed − sawdust', -0.629, inf, 0.143]]
    >>> print(odds.sentence("packing"))  # doctest: +NORMALIZE_WHITESPACE
    Between pots with packing seaweed and pots with packing sawdust, the data cannot tell: anything from 0.53
    times the odds of being cracked or lost upwards fits for seaweed; no upper end can be had: every cracked
    or lost pot had packing seaweed, judged on 8 pots of one firing.
    """
    results = results.rename(columns=str)
    states = States.named(lost, whole)
    heading = find_column(results, state, "state")
    results = results.assign(**{heading: states.was_lost(results[heading], heading)})
    rows = read_rows(results, heading, factors, [firing], forms)
    was_lost = rows.y.astype(bool)
    said = states.said
    codes, names = pd.factorize(rows.labels(rows.groups[-1]))
    losses, pots = np.bincount(codes, was_lost), np.bincount(codes)
    mixed = (losses > 0) & (losses < pots)
    if not was_lost.any():
        raise ModelError("losses", f"no pot was {said}, so nothing goes with it", "ask again when some were")
    if was_lost.all():
        raise ModelError("losses", f"every pot was {said}", "add pots that came out whole")
    if not mixed.any():
        cause = f"in each firing all pots were {said}, or none, and pots are compared within a firing"
        raise ModelError("losses", cause, "add firings that lost some of their pots")
    found = _Found(was_lost, codes, mixed[codes], said)
    lines = [line for factor in rows.factors for line in _lines(factor, rows.table[factor.heading], found)]
    words_of = OddsWords(
        f"were {said} more often", f"were {said} less often", f"the odds of being {said}", _OTHERS
    )
    warned = _warnings(losses, pots, len(rows.factors), said)
    counts = len(was_lost), len(names)
    return Odds.from_lines(lines, heading, counts, rows.left_out, warned, rows.factors, words_of)


def _warnings(losses: NDArray[np.float64], pots: NDArray[np.int64], factors: int, said: str) -> list[str]:
    number = int(losses.sum())
    warned = [f"{number} of {count(int(pots.sum()), 'pot')} {'was' if number == 1 else 'were'} {said}."]
    if factors > 1:
        warned.append("Each factor is judged by itself, whatever else differed between the pots.")
    for kind, number in (("lost no pot", np.sum(losses == 0)), ("lost every pot", np.sum(losses == pots))):
        if number:
            tells = "tells" if number == 1 else "tell"
            warned.append(f"{count(int(number), 'firing')} {kind} and {tells} nothing here.")
    return warned


@dataclass(frozen=True)
class _Found:
    """What became of the pots, shape (n,) each, and how to say it."""

    was_lost: NDArray[np.bool_]
    codes: NDArray[np.int64]
    telling: NDArray[np.bool_]
    said: str


def _lines(factor: Factor, column: pd.Series, found: _Found) -> list[Line]:
    if factor.is_amount:
        values, named = [factor.code(column)[:, 0] + factor.centre], [label(factor)]
    else:
        asked = factor.levels[1:] if len(factor.levels) == 2 else factor.levels
        values = [(column == level).to_numpy(dtype=float) for level in asked]
        named = [f"{label(factor)} {level}" for level in asked]
    return [
        _line(row, x, name, factor, found) for row, x, name in zip(factor.rows(), values, named, strict=True)
    ]


def _line(row: Row, x: NDArray[np.float64], name: str, factor: Factor, found: _Found) -> Line:
    was_lost, codes, said = found.was_lost, found.codes, found.said
    within = pd.Series(x).groupby(codes)
    least = within.transform("min").to_numpy()
    varies = within.transform("max").to_numpy() > least
    used = varies & found.telling
    counts = int(used.sum()), len(np.unique(codes[used]))
    reason = ""
    if x.min() == x.max():
        reason = "it is the same on every pot"
    elif not varies.any():
        reason = "it never differs within a firing, so it cannot be told from the firing itself"
    elif not used.any():
        reason = f"it differs only in firings where all pots or none were {said}"
    scale = x.max() - x.min()
    unknown = Line(
        *(row.name, np.nan, np.nan, np.nan, np.nan, row.per),
        *("pot" if varies.any() else "firing", METHOD, reason, *counts),
    )
    if reason:
        return unknown
    # A firing's least amount taken off shifts every sum alike, and keeps the sums few and short.
    shifted = (x - least)[used] / scale
    try:
        sums = _all_sums(shifted, was_lost[used], codes[used])
    except _TooManySums:
        return unknown._replace(note="its amounts add up in too many ways to count; round them")
    seen = float(shifted[was_lost[used]].sum())
    estimate, low, high, p = judge(sums.sums, sums.ways, seen)
    note = ""
    if np.isinf(high):
        note = f"no upper end can be had: {_why(x, was_lost, name, factor, said, most=True)}"
    elif np.isinf(low):
        note = f"no lower end can be had: {_why(x, was_lost, name, factor, said, most=False)}"
    return unknown._replace(estimate=estimate / scale, low=low / scale, high=high / scale, p=p, note=note)


def _why(
    x: NDArray[np.float64], was_lost: NDArray[np.bool_], name: str, factor: Factor, said: str, most: bool
) -> str:
    """Say what about the pots leaves an end open."""
    if factor.levels or factor.form == "with or without":
        has = x > 0
        if most and has[was_lost].all():
            return f"every {said} pot had {name}"
        if most and was_lost[has].all():
            return f"every pot with {name} was {said}"
        if not most and not has[was_lost].any():
            return f"no {said} pot had {name}"
        if not most and was_lost[~has].all():
            return f"every pot without {name} was {said}"
    return f"in every firing judged the {said} pots were those with the {'most' if most else 'least'} {name}"


def _all_sums(x: NDArray[np.float64], was_lost: NDArray[np.bool_], codes: NDArray[np.int64]) -> _Sums:
    total = _Sums(np.zeros(1), np.zeros(1))
    for firing in np.unique(codes):
        inside = codes == firing
        total = total.plus(_subset_sums(x[inside], int(was_lost[inside].sum())))
    return total


def _subset_sums(x: NDArray[np.float64], chosen: int) -> _Sums:
    """Add up every choice of `chosen` pots of one firing."""
    if chosen > len(x) / 2:
        # To choose the pots lost is to choose the pots kept.
        kept = _subset_sums(x, len(x) - chosen)
        return _Sums((x.sum() - kept.sums)[::-1], kept.ways[::-1])
    amounts, pots = np.unique(x, return_counts=True)
    reached: dict[int, _Sums] = {0: _Sums(np.zeros(1), np.zeros(1))}
    for amount, alike in zip(amounts, pots, strict=True):
        taken = np.arange(min(alike, chosen) + 1)
        ways = special.gammaln(alike + 1) - special.gammaln(taken + 1) - special.gammaln(alike - taken + 1)
        parts: dict[int, list[tuple[NDArray, NDArray]]] = {}
        for before, sums in reached.items():
            for take in taken[: chosen - before + 1]:
                parts.setdefault(before + int(take), []).append(
                    (sums.sums + take * amount, sums.ways + ways[take])
                )
        if max(sum(len(sums) for sums, _ in found) for found in parts.values()) > _MOST_SUMS:
            raise _TooManySums
        reached = {
            number: _Sums.merged(*map(np.concatenate, zip(*found, strict=True)))
            for number, found in parts.items()
        }
    return reached[chosen]


def judge(
    sums: NDArray[np.float64], ways: NDArray[np.float64], seen: float
) -> tuple[float, float, float, float]:
    """Estimate, lower end, upper end of the log odds ratio, and p, from all sums that could have been seen.

    Parameters
    ----------
    sums, ways : ndarray, shape (s,)
        Every possible sum of the factor over the lost pots, and the logarithm of the number of ways to it.
    seen : float
        The sum that was seen.

    References
    ----------
    Cox, The Analysis of Binary Data (1970); Hirji, Mehta and Patel, J. Am. Stat. Assoc. (1987).

    Examples
    --------
    >>> [round(value, 3) for value in judge(np.array([0.0, 1, 2]), np.log([1, 4, 1]), 1.0)]
    [0.0, -5.051, 5.051, 1.0]
    """
    at = int(np.argmin(np.abs(sums - seen)))
    away = sums - sums[at]
    null = ways - special.logsumexp(ways)
    # Equal ways may differ in the last digits of their logarithms.
    p = min(float(np.exp(special.logsumexp(null[null <= null[at] + 1e-9]))), 1.0)

    def mean(slope: float) -> float:
        return float(special.softmax(ways + slope * away) @ away)

    def tail(slope: float, part: NDArray[np.bool_]) -> float:
        tilted = ways + slope * away
        return float(special.logsumexp(tilted[part]) - special.logsumexp(tilted) - np.log(_TAIL))

    least, most = at == 0, at == len(sums) - 1
    estimate = -np.inf if least else np.inf if most else _root(mean)
    low = -np.inf if least else _root(lambda slope: tail(slope, away >= 0))
    high = np.inf if most else _root(lambda slope: -tail(slope, away <= 0))
    return estimate, low, high, p


def _root(rising: Callable[[float], float]) -> float:
    """Find where a rising function of any slope is zero."""
    reach = 1.0
    while rising(-reach) > 0 or rising(reach) < 0:
        reach *= 2
    return float(optimize.brentq(rising, -reach, reach, xtol=1e-12, rtol=1e-13))
