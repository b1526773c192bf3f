"""Aliases: what the pots cannot tell apart, named as signed chains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from sagglab.errors import ModelError
from sagglab.model.terms import SCALES, Factor
from sagglab.model.wording import label


def independent_basis(
    X: NDArray[np.float64],
    names: Sequence[str],
    where: str,
    amounts: Mapping[str, Factor] = MappingProxyType({}),
) -> NDArray[np.float64]:
    """Orthonormal basis of linearly independent columns, or the chain that ties them together.

    Parameters
    ----------
    X : ndarray, shape (n, p)
    names : sequence of str
        One for each column.
    where : str
        What the error names as the place.
    amounts : mapping of str to Factor
        By name, columns that are an amount less its mean. Two of them are tied in words: their chain lacks
        the constant that the mean takes off.

    Returns
    -------
    ndarray, shape (n, p)

    Raises
    ------
    ModelError
        A column is a sum of multiples of the others; every such chain is named, with its signs or in words.

    Examples
    --------
    >>> independent_basis(  # doctest: +ELLIPSIS
    ...     np.array([[1.0, -2], [-1, 2], [0, 0]]), ["salt", "sugar"], "the model"
    ... )
    Traceback (most recent call last):
    sagglab.errors.ModelError: the model: the pots cannot tell apart what always changes together: ...
    """
    norms = np.linalg.norm(X, axis=0)
    # Columns of one length, each a hair shorter than the one before, so that a tie blames the later factor.
    weights = (1 - 1e-6 * np.arange(X.shape[1])) / np.where(norms > 0, norms, 1)
    basis, triangle, order = linalg.qr(X * weights, mode="economic", pivoting=True)
    sizes = np.abs(np.diag(triangle))
    rank = int(np.sum(sizes > 1e-9 * max(sizes.max(initial=0), 1e-300)))
    if rank == X.shape[1]:
        return basis
    ties = linalg.solve_triangular(triangle[:rank, :rank], triangle[:rank, rank:])
    chains = []
    for tie, lost in zip(ties.T, order[rank:], strict=True):
        multiples = tie * weights[order[:rank]] / weights[lost]
        kept = [(names[order[i]], multiples[i]) for i in np.argsort(order[:rank]) if abs(tie[i]) > 1e-7]
        tied = [amounts.get(name) for name in (names[lost], *(name for name, _ in kept))]
        if len(tied) == 2 and all(tied):
            chains.append(_together(tied[1], tied[0], kept[0][1]))
        else:
            constant = ", but for a constant" if len(tied) > 2 and all(tied) else ""
            chains.append(f"{names[lost]} = {_signed(kept)}{constant}")
    raise ModelError(
        where,
        f"the pots cannot tell apart what always changes together: {' and '.join(chains)}",
        "leave one of them out, or fire pots that have one without the other",
    )


def _together(one: Factor, other: Factor, multiple: float) -> str:
    """Say how the amounts of a pair change together."""
    if all(f.form == "with or without" or (f.lacking and len(f.tried) == 2) for f in (one, other)):
        if multiple > 0:
            return f"the pots with {label(one)} are those with {label(other)}"
        return f"every pot has either {label(one)} or {label(other)}"
    more, theirs = (
        ("a higher", "a lower") if factor.unit in SCALES else ("more", "less") for factor in (one, other)
    )
    had = theirs[0] if multiple > 0 else theirs[1]
    return f"every pot with {more[0]} {label(one)} had {had} {label(other)}, in one fixed ratio"


def _signed(kept: Sequence[tuple[str, float]]) -> str:
    parts = []
    for name, multiple in kept:
        sign = "−" if multiple < 0 else "+"
        size = f"{abs(multiple):.3g}"
        parts.append(f"{sign}{' ' if parts else ''}{'' if size == '1' else size + ' '}{name}")
    return " ".join(parts) if parts else "0"
