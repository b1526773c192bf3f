"""Aliases: what the pots cannot tell apart, named as signed chains."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from sagglab.errors import ModelError


def independent_basis(X: NDArray[np.float64], names: Sequence[str], where: str) -> NDArray[np.float64]:
    """Orthonormal basis of linearly independent columns, or the chain that ties them together.

    Parameters
    ----------
    X : ndarray, shape (n, p)
    names : sequence of str
        One for each column.
    where : str
        What the error names as the place.

    Returns
    -------
    ndarray, shape (n, p)

    Raises
    ------
    ModelError
        A column is a sum of multiples of the others; every such chain is named with its signs.

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
        kept = [(order[i], multiples[i]) for i in np.argsort(order[:rank]) if abs(tie[i]) > 1e-7]
        chains.append(f"{names[lost]} = {_signed(names, kept)}")
    raise ModelError(
        where,
        f"the pots cannot tell apart what always changes together: {' and '.join(chains)}",
        "leave one of them out, or fire pots that have one without the other",
    )


def _signed(names: Sequence[str], kept: Sequence[tuple[int, float]]) -> str:
    parts = []
    for column, multiple in kept:
        sign = "−" if multiple < 0 else "+"
        size = f"{abs(multiple):.3g}"
        parts.append(f"{sign}{' ' if parts else ''}{'' if size == '1' else size + ' '}{names[column]}")
    return " ".join(parts) if parts else "0"
