"""Judges: which scatter each term is judged by, and whether the pots and firings leave enough of it.

No outcome is needed, so that a plan can be held to what its analysis will ask before anything is fired.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.aliases import independent_basis
from sagglab.model.mixed import indicators
from sagglab.model.terms import Term
from sagglab.model.wording import count

#: Forms of an amount whose pairs can be said to go together in one ratio, or to be one or the other.
STRAIGHT = ("amount", "with or without")


@dataclass(frozen=True)
class Strata:
    """Pots within firings, and what judges which term.

    Attributes
    ----------
    X : ndarray, shape (n, p)
        The constant and then the columns of the terms, in order.
    groups : dict of str to ndarray, shape (n,)
        The groupings from the outermost.
    kept : dict of str to ndarray, shape (n,)
        Those of them whose scatter can be told: more than one group, fewer than rows.
    residual : str
        What a row is: ``pot``, or ``view`` where pots are grouped, too.
    spans : dict of Term to slice
        The term's columns.
    strata : dict of Term to str
        What the term is judged against: the innermost grouping within which it varies, ``pot`` or
        ``firing`` in most studies.
    varies : dict of Term to str
        ``within firings``, ``between firings`` or ``both``.
    spare : dict of str to int
        How many of each stratum are left over to judge by.
    """

    X: NDArray[np.float64]
    groups: dict[str, NDArray]
    kept: dict[str, NDArray]
    residual: str
    spans: dict[Term, slice]
    strata: dict[Term, str]
    varies: dict[Term, str]
    spare: dict[str, int]


def read_strata(
    terms: Mapping[Term, NDArray[np.float64]], groups: Mapping[str, NDArray], residual: str, where: str
) -> Strata:
    """Find what judges each term, and refuse what the pots and firings cannot carry.

    Parameters
    ----------
    terms : mapping of Term to ndarray, shape (n, columns)
        Each term with its columns; at least one.
    groups : mapping of str to ndarray, shape (n,)
        The groupings from the outermost, each within the one before; ``firing`` among them.
    residual : str
        What a row is: ``pot``, or ``view`` where pots are grouped, too.
    where : str
        What an error names as the place.

    Raises
    ------
    ModelError
        Too few pots or firings for the terms; terms, or scatters, that cannot be told apart.

    Examples
    --------
    >>> from sagglab.model.terms import Factor
    >>> sugar = Term((Factor("sugar [g]", "sugar", "g"),))
    >>> amounts = np.array([[-1.0], [1], [-1], [1]])
    >>> read = read_strata({sugar: amounts}, {"firing": np.array([1, 1, 2, 2])}, "pot", "the plan")
    >>> read.strata[sugar], read.spare
    ('pot', {'firing': 1, 'pot': 1})
    """
    rows = len(next(iter(groups.values())))
    firings = groups["firing"]
    counts = {name: len(pd.unique(labels)) for name, labels in groups.items()}
    outer = [name for name in groups if name != "firing" and counts[name] == 1]
    if outer:
        raise ModelError(
            where,
            f"there is one {outer[0]}, so the scatter of {outer[0]}s cannot be told",
            f"leave {outer[0]} out",
        )
    for outside, inside in pairwise(groups):
        if counts[outside] == counts[inside] > 1:
            raise ModelError(
                where,
                f"each {outside} holds one {inside}, so that their scatters cannot be told apart",
                f"leave {outside} out" if inside == "firing" else "gather the views of each pot into one row",
            )
    kept = {name: labels for name, labels in groups.items() if 1 < counts[name] < rows}
    strata = {term: _stratum(block, groups, residual) for term, block in terms.items()}
    X = np.hstack([np.ones((rows, 1)), *terms.values()])
    spare = _spare(X, terms, strata, groups, residual, where)
    starts = np.cumsum([1, *(block.shape[1] for block in terms.values())])
    spans = {term: slice(a, b) for term, a, b in zip(terms, starts[:-1], starts[1:], strict=True)}
    varies = {term: _varies(block, firings) for term, block in terms.items()}
    return Strata(X, dict(groups), kept, residual, spans, strata, varies, spare)


def _stratum(block: NDArray[np.float64], groups: Mapping[str, NDArray], residual: str) -> str:
    """Name the outermost grouping within which the columns never vary."""
    held = (name for name, labels in groups.items() if not _varies_within(block, labels))
    return next(held, residual)


def _varies_within(block: NDArray[np.float64], labels: NDArray) -> bool:
    return bool(np.abs(block - _means(block, labels)).max() > 1e-9 * np.abs(block).max())


def _means(block: NDArray[np.float64], labels: NDArray) -> NDArray[np.float64]:
    held = indicators(labels)
    return held @ ((held.T @ block) / held.sum(axis=0)[:, None])


def _varies(block: NDArray[np.float64], firings: NDArray) -> str:
    if not _varies_within(block, firings):
        return "between firings"
    means = _means(block, firings)
    between = np.abs(means - means.mean(axis=0)).max() > 1e-9 * np.abs(block).max()
    return "both" if between else "within firings"


def _spare(
    X: NDArray[np.float64],
    terms: Mapping[Term, NDArray[np.float64]],
    strata: dict[Term, str],
    groups: Mapping[str, NDArray],
    residual: str,
    where: str,
) -> dict[str, int]:
    """Count what each stratum has left over to judge by, and refuse what pots and firings cannot carry."""
    rows, columns = X.shape
    held = {name: indicators(labels) for name, labels in groups.items()}
    for name, blocks in held.items():
        inside = list(held)[: list(held).index(name) + 1]
        of_it = [term for term in terms if strata[term] in inside]
        taken = 1 + sum(terms[term].shape[1] for term in of_it)
        if 1 < blocks.shape[1] <= taken and any(strata[term] == name for term in of_it):
            raise _too_few(of_it, name, blocks.shape[1], taken, where)
    if rows <= columns:
        short = columns + 1 - rows
        raise ModelError(
            where,
            f"{count(rows, residual)} cannot carry {count(columns - 1, 'effect')} and the mean",
            f"add at least {count(short, f'more {residual}')}, leave out factors, or use screen_effects",
        )
    names = [name for term in terms for name in term.columns]
    if names:
        # In a form that bends, more of one does not go with more of another in one ratio.
        amounts = {
            term.name: term.factors[0]
            for term in terms
            if len(term.factors) == 1 and term.factors[0].is_amount and term.factors[0].form in STRAIGHT
        }
        independent_basis(X[:, 1:] - X[:, 1:].mean(axis=0), names, where, amounts)
    scaled = X / np.linalg.norm(X, axis=0)
    ranks = [columns]
    for blocks in held.values():
        # Columns that vary within firings may still add up to one that does not: the rank counts those too.
        ranks.append(int(np.linalg.matrix_rank(np.hstack([scaled, blocks]))))
    ranks.append(rows)
    left = dict(zip([*held, residual], np.diff(ranks).tolist(), strict=True))
    for name, blocks in held.items():
        if left[name] <= 0 and blocks.shape[1] > 1:
            of_it = [term for term in terms if strata[term] == name] or list(terms)
            raise _too_few(of_it, name, blocks.shape[1], blocks.shape[1], where)
    inner = list(held)[-1]
    if held[inner].shape[1] < rows and left[residual] <= 0:
        raise ModelError(
            where,
            f"the {columns - 1} effects asked together use up every "
            f"difference between {residual}s of one {inner}",
            f"add at least 1 more {residual} to a {inner}, leave out factors, or use screen_effects",
        )
    return left


def _too_few(terms: Iterable[Term], group: str, there: int, taken: int, where: str) -> ModelError:
    named = ", ".join(term.name for term in terms)
    return ModelError(
        where,
        f"with {there} {group}s nothing is left to judge {named} by: it needs at least "
        f"{count(taken + 1 - there, f'more {group}')}",
        f"fire more, or leave out {named}",
    )
