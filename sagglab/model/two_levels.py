"""Factors at two levels: their columns of signs, which effects those tell apart, and what spoils them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.rows import Rows
from sagglab.model.terms import Factor, Term
from sagglab.model.wording import amount_in_words, label

#: Words of more factors than make these are left out: thirty factors have a thousand million.
MOST_WORDS = 20_000
#: So many recipes or pots are named in a refusal.
_NAMED = 4


@dataclass(frozen=True)
class Chain:
    """Effects that the pots cannot tell apart: one column of signs, and the words that give it.

    Attributes
    ----------
    column : ndarray, shape (n,)
        −1 and +1, as the first word gives it.
    words : tuple of Term
        From the fewest factors to the most, and then in the order of the factors.
    signs : tuple of int
        +1 where a word gives the column, −1 where its opposite.
    """

    column: NDArray[np.float64]
    words: tuple[Term, ...]
    signs: tuple[int, ...]

    @property
    def aliases(self) -> str:
        """All words but the first, with their signs."""
        rest = zip(self.words[1:], self.signs[1:], strict=True)
        return " ".join(f"{'+' if sign > 0 else '−'} {word.name}" for word, sign in rest)


def level(factor: Factor, up: bool) -> str:
    """Name a factor at its high or its low level, as it is spoken.

    Examples
    --------
    >>> level(Factor("peak_C", "peak_C", "degC", tried=(720.0, 780.0)), True)
    'peak at 780 °C'
    >>> level(Factor("clay", "clay", "", ("buff", "white")), False)
    'clay buff'
    """
    if not factor.is_amount:
        return f"{label(factor)} {factor.levels[int(up)]}"
    return f"{label(factor)} at {amount_in_words(factor, factor.high if up else factor.low)}"


def read_signs(rows: Rows) -> NDArray[np.float64]:
    """Code each factor as −1 (low, or the first level) and +1 (high, or the second).

    Returns
    -------
    ndarray, shape (n, factors)

    Raises
    ------
    ModelError
        A factor has more levels than two, or one; the two levels of a factor are not on equally many pots; or
        two factors go together in part.
    """
    signs = np.column_stack([_signs(factor, rows) for factor in rows.factors])
    wrong = {f: levels for f in rows.factors if len(levels := _levels(f)) != 2}
    if wrong:
        raise ModelError(
            f"factor {', '.join(factor.name for factor in wrong)}",
            " and ".join(
                f"{factor.name} has {len(levels)} level{'s' * (len(levels) > 1)} ({', '.join(levels)})"
                for factor, levels in wrong.items()
            )
            + " where two are wanted",
            "use fit_effects, leave it out, or give it a column with the two values aimed at",
        )
    spoilt = _spoilt(rows.factors, signs)
    if spoilt:
        raise ModelError(
            f"screening of {rows.outcome}",
            "; ".join([spoilt, *_doubled_or_missing(rows, signs)]),
            "mend the pots, or use fit_effects, which needs no balance",
        )
    return signs


def _levels(factor: Factor) -> tuple[str, ...]:
    return factor.levels or tuple(f"{value:g}" for value in factor.tried)


def _signs(factor: Factor, rows: Rows) -> NDArray[np.float64]:
    top = factor.high if factor.is_amount else factor.levels[-1]
    return np.where(rows.table[factor.heading].to_numpy() == top, 1.0, -1.0)


def _spoilt(factors: tuple[Factor, ...], signs: NDArray[np.float64]) -> str:
    """Say which factors are out of balance or go together in part; empty when all is well."""
    ups = np.sum(signs > 0, axis=0)
    off = [
        f"{level(factor, True)} is on {up} pots and {level(factor, False)} on {len(signs) - up}"
        for factor, up in zip(factors, ups, strict=True)
        if 2 * up != len(signs)
    ]
    together = np.abs(signs.T @ signs)
    # Wholly together is one effect with two names; it is partly together that no contrast can part.
    partly = np.argwhere(np.triu((together > 0) & (together < len(signs)), 1))
    off = off or [f"{factors[i].name} and {factors[j].name} change together in part" for i, j in partly]
    return ", ".join(off[:_NAMED]) + f" and {len(off) - _NAMED} more" * (len(off) > _NAMED)


def _doubled_or_missing(rows: Rows, signs: NDArray[np.float64]) -> list[str]:
    """Say which pots are doubled and which recipes missing, as far as the pots let it be told."""
    recipes, which, counts = np.unique(signs, axis=0, return_inverse=True, return_counts=True)
    usual = np.bincount(counts).argmax()
    said = []
    if 0 < np.sum(counts > usual) <= _NAMED:
        names = rows.table["pot"] if "pot" in rows.table else rows.table.index.to_series()
        for recipe in np.flatnonzero(counts > usual):
            pots = ", ".join(map(str, names[which.reshape(-1) == recipe]))
            said.append(f"pots {pots} share one recipe where others have {usual}")
    lacking = [*recipes[counts < usual], *_missing(recipes)]
    if 0 < len(lacking) <= _NAMED:
        said.append(
            "too few pots with "
            + " or with ".join(
                ", ".join(level(f, sign > 0) for f, sign in zip(rows.factors, recipe, strict=True))
                for recipe in lacking
            )
        )
    left = [f"{pot} ({reason})" for pot, reason in rows.left_out[["pot", "reason"]].to_numpy()[:_NAMED]]
    return [*said, *([f"left out: {', '.join(left)}"] if left else [])]


def _missing(recipes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Find what the smallest regular set around these recipes has beside them, shape (missing, factors)."""
    first = recipes[0] > 0
    basis: list[NDArray[np.bool_]] = []
    # Elimination over the signs: what remains of the recipes when all that is known is taken off.
    for rest in recipes > 0:
        rest = rest ^ first
        for known in basis:
            if rest[known.argmax()]:
                rest = rest ^ known
        if rest.any():
            basis.append(rest)
    if 2 ** len(basis) - len(recipes) > _NAMED:
        return np.empty((0, recipes.shape[1]))
    whole = first[None]
    for step in basis:
        whole = np.concatenate([whole, whole ^ step])
    there = {row.tobytes() for row in recipes > 0}
    return np.where([row for row in whole if row.tobytes() not in there], 1.0, -1.0).reshape(
        -1, recipes.shape[1]
    )


def read_chains(factors: tuple[Factor, ...], signs: NDArray[np.float64]) -> tuple[list[Chain], int]:
    """Gather all interactions by the column that they give.

    Parameters
    ----------
    factors : tuple of Factor
    signs : ndarray, shape (n, factors)

    Returns
    -------
    chains : list of Chain
        In the order of their first words; what equals the constant is not among them.
    longest : int
        The number of factors in the longest words looked at: all of them, unless there are too many.
    """
    n, k = signs.shape
    small = signs.astype(np.int8)
    found: dict[bytes, tuple[NDArray, list[tuple[int, ...]], list[int]]] = {}
    constant = np.packbits(np.ones(n, dtype=bool)).tobytes()
    words, longest = 0, 0
    for order in range(1, k + 1):
        words += math.comb(k, order)
        if order > 1 and words > MOST_WORDS:
            break
        longest = order
        picked = list(combinations(range(k), order))
        columns = small[:, picked].prod(axis=2, dtype=np.int8)
        turned = columns * columns[0]
        keys = np.packbits(turned > 0, axis=0)
        for place, word in enumerate(picked):
            key = keys[:, place].tobytes()
            if key != constant:
                _, named, starts = found.setdefault(key, (columns[:, place], [], []))
                named.append(word)
                starts.append(int(columns[0, place]))
    chains = [
        Chain(
            column.astype(float),
            tuple(Term(tuple(factors[i] for i in word)) for word in named),
            tuple(start * starts[0] for start in starts),
        )
        for column, named, starts in found.values()
    ]
    return chains, longest


def apart(chains: list[Chain]) -> tuple[list[Chain], list[str]]:
    """Keep the chains that can be told apart: each in turn that is at right angles to all before it.

    Returns
    -------
    kept : list of Chain
        All of them where the recipes are a regular part of all; else the factors, and what goes with them.
    notes : list of str
        For each, which interactions of two factors are mixed into it in part.
    """
    n = len(chains[0].column)
    columns = np.column_stack([chain.column for chain in chains])
    kept: list[int] = []
    basis = np.zeros((n, n))
    for place in np.flatnonzero(columns.sum(axis=0) == 0):
        if len(kept) < n and not (basis[: len(kept)] @ columns[:, place]).any():
            basis[len(kept)] = columns[:, place]
            kept.append(int(place))
    pairs = [k for k, chain in enumerate(chains) if len(chain.words[0].factors) == 2 and k not in set(kept)]
    share = np.abs(columns[:, kept].T @ columns[:, pairs]) / n
    notes = [
        f"mixed in part (up to {row.max():.2g}) with {np.sum(row > 0)} interactions of two factors"
        if row.any()
        else ""
        for row in share
    ]
    return [chains[k] for k in kept], notes
