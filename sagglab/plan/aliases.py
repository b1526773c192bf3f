"""Aliases of a plan: what its pots cannot tell apart, wholly or in part, in the factors' names."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.plan.terms import Terms

#: What is too small to be a share of anything.
_NOTHING = 1e-8
#: Shares in part below this are not named.
_SLIGHT = 0.05
#: Those above this are warned of: a pair as strong as the factor would shift it by as much.
_A_THIRD = 0.33
#: So many are named in a note.
_NAMED = 6
#: So many words of three factors are looked at; fifteen factors have 455.
_MOST_TRIPLES = 1000


def independent(columns: NDArray[np.float64], terms: Terms) -> list[int]:
    """Tell which terms can be told apart: each in turn that those before it do not give.

    Parameters
    ----------
    columns : ndarray, shape (pots, columns of the model)
        With the mean first.
    terms : Terms

    Returns
    -------
    list of int
        Places among the terms. A term counts only when all its columns do.
    """
    basis = columns[:, :1] / np.linalg.norm(columns[:, 0])
    kept = []
    for place, span in enumerate(terms.spans):
        added, r = np.linalg.qr(_left_over(columns[:, span], basis))
        lengths = np.linalg.norm(columns[:, span], axis=0)
        if (
            len(columns) >= basis.shape[1] + added.shape[1]
            and (np.abs(np.diag(r)) > _NOTHING * np.maximum(lengths, 1)).all()
        ):
            kept.append(place)
            basis = np.hstack([basis, added])
    return kept


def _left_over(columns: NDArray[np.float64], basis: NDArray[np.float64]) -> NDArray[np.float64]:
    # Twice, or rounding would leave a shadow of what was taken off.
    columns = columns - basis @ (basis.T @ columns)
    return columns - basis @ (basis.T @ columns)


def alias_table(coded: NDArray[np.float64], firings: NDArray, terms: Terms) -> pd.DataFrame:
    """Say for the mean and each term that can be told what is mixed into it.

    Parameters
    ----------
    coded : ndarray, shape (pots, factors)
    firings : ndarray, shape (pots,)
        The firing of each pot.
    terms : Terms
        The terms asked.

    Returns
    -------
    DataFrame
        ``term``; ``cannot be told from``, with signs: what comes out as this term or its opposite; ``mixed in
        part with``, and how much of each is added; ``judged against``: ``pots`` where it differs within
        firings alone, ``firings`` where between them alone, else ``pots and firings``. Looked at are the
        terms asked, all pairs, squares of amounts of three levels or more, and, for what cannot be told at
        all, words of three factors.
    """
    lines = []
    for name, column, mixed in _mixtures(coded, terms):
        lines.append(
            (
                name,
                " ".join(_signed(other, weight) for other, weight, whole in mixed if whole),
                " ".join(_signed(other, weight) for other, weight, whole in mixed if not whole),
                _judged(column, firings) if name != "mean" else "",
            )
        )
    return pd.DataFrame(
        lines, columns=["term", "cannot be told from", "mixed in part with", "judged against"]
    )


def alias_notes(coded: NDArray[np.float64], terms: Terms) -> list[str]:
    """Say in words which factors come out together with a pair of others, wholly or to a third and more.

    Parameters
    ----------
    coded : ndarray, shape (pots, factors)
    terms : Terms
    """
    single = {factor.name for factor in terms.factors}
    whole, partly = [], []
    for name, _, mixed in _mixtures(coded, terms):
        name = name.rpartition(" (")[0] if name not in single else name
        if name not in single or name in partly:
            continue
        pairs = [(other, w) for other, w, one in mixed if one and other.count(" × ") < 2]
        if pairs:
            whole.append(f"{name} cannot be told from {', '.join(other for other, _ in pairs[:_NAMED])}")
        elif any(abs(weight) > _A_THIRD for _, weight, one in mixed if not one):
            partly.append(name)
    notes = [note + " and more" * (len(whole) > _NAMED) for note in ["; ".join(whole[:_NAMED])] if note]
    if partly:
        named = ", ".join(partly[:_NAMED]) + f" and {len(partly) - _NAMED} more" * (len(partly) > _NAMED)
        notes.append(f"mixed in part with what pairs of others do, a third of it or more: {named}")
    return notes


def _mixtures(
    coded: NDArray[np.float64], terms: Terms
) -> list[tuple[str, NDArray[np.float64], list[tuple[str, float, bool]]]]:
    """Give the mean and each term that can be told: name, column, what is mixed in, how much, if wholly."""
    words = _words(terms)
    columns = words.expand(coded)
    names = words.column_names
    kept = independent(terms.expand(coded), terms)
    held = np.concatenate([[0], *(np.arange(span.stop)[span] for span in (terms.spans[k] for k in kept))])
    held = held.astype(int)
    rest = [k for k in range(columns.shape[1]) if k not in set(held.tolist())]
    weights, *_ = np.linalg.lstsq(columns[:, held], columns[:, rest], rcond=None)
    left = np.linalg.norm(columns[:, rest] - columns[:, held] @ weights, axis=0)
    sizes = np.linalg.norm(columns[:, rest], axis=0)
    whole = (left <= _NOTHING * np.maximum(sizes, 1)) & (np.sum(np.abs(weights) > _SLIGHT, axis=0) == 1)
    # Threes are named where they cannot be told at all: their slight shares would only hide the pairs.
    short = np.concatenate([[True], np.repeat([len(m) < 3 for m in words.members], words.widths)])
    found = []
    for row, column in zip(weights, held, strict=True):
        mixed = [
            (names[k], w, one)
            for k, w, one in zip(rest, row, whole, strict=True)
            if abs(w) > _SLIGHT and (one or short[k])
        ]
        found.append((names[column], columns[:, column], mixed))
    return found


def _signed(name: str, weight: float) -> str:
    size = f"{abs(weight):.2g}"
    return f"{'−' if weight < 0 else '+'} {'' if size == '1' else size + ' '}{name}"


def _words(terms: Terms) -> Terms:
    """All that is looked at: the terms asked, then the pairs, squares and threes that were not."""
    every = range(len(terms.factors))
    members = list(terms.members)
    more: list[tuple[int, ...]] = [(k,) for k in every]
    more += combinations(every, 2)
    more += [(k, k) for k in every if terms.factors[k].is_amount and len(terms.factors[k].levels) > 2]
    if math.comb(len(every), 3) <= _MOST_TRIPLES:
        more += combinations(every, 3)
    return Terms(terms.factors, (*members, *(word for word in more if word not in members)))


def _judged(column: NDArray[np.float64], firings: NDArray) -> str:
    means = pd.Series(column).groupby(firings).transform("mean").to_numpy()
    scale = np.abs(column).max(initial=1e-300)
    if np.abs(column - means).max() <= _NOTHING * scale:
        return "firings"
    return "pots" if np.ptp(means) <= _NOTHING * scale else "pots and firings"


def given_to_firings(coded: NDArray[np.float64], firings: NDArray, terms: Terms) -> list[str]:
    """Name what pots could differ in, but is the same on all pots of each firing: the firings hide it.

    Parameters
    ----------
    coded : ndarray, shape (pots, factors)
    firings : ndarray, shape (pots,)
    terms : Terms

    Returns
    -------
    list of str
        Factors and words of two and three of them, at least one of which is set per pot.
    """
    words = _words(terms)
    columns = words.expand(coded)
    return [
        name
        for name, span, member in zip(words.names, words.spans, words.members, strict=True)
        if any(terms.factors[k].per == "pot" for k in member)
        and all(_judged(column, firings) == "firings" for column in columns[:, span].T)
        and np.ptp(columns[:, span], axis=0).max() > _NOTHING
    ]
