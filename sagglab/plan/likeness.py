"""How alike the terms of a plan are among its pots: what is alike can hardly be told apart, or not at all."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError, PlanError
from sagglab.model.rows import read_rows
from sagglab.model.terms import Term, read_terms
from sagglab.plan.terms import Terms, read_model


def likeness(terms: Terms, pots: pd.DataFrame) -> pd.DataFrame:
    """Correlate the terms asked, and all pairs of factors, among the pots of a plan.

    Parameters
    ----------
    terms : Terms
    pots : DataFrame
        One row for each pot, every factor under its heading.

    Returns
    -------
    DataFrame, shape (terms, terms)
        From 0 (nothing in common) to 1 (the same, save for a factor): the absolute correlation of the two
        columns; of a term of several columns the greatest that any mixture of them has, which does not depend
        on how kinds are coded. NaN where a term is the same on every pot.

    Examples
    --------
    >>> from sagglab.plan.factors import Factor
    >>> terms = read_model([Factor("sugar", [0, 4], "g"), Factor("salt", [0, 2], "g")], "main")
    >>> pots = pd.DataFrame({"sugar [g]": [0, 4, 0, 4], "salt [g]": [0, 2, 2, 2]})
    >>> likeness(terms, pots).loc["sugar"].round(3)
    sugar           1.000
    salt            0.577
    sugar × salt    0.577
    Name: sugar, dtype: float64
    """
    pairs = read_model(terms.factors, "main + two-way").members
    asked = Terms(terms.factors, (*terms.members, *(pair for pair in pairs if pair not in terms.members)))
    columns = asked.expand(np.column_stack([factor.code(pots[factor.heading]) for factor in terms.factors]))
    bases = [_basis(columns[:, span]) for span in asked.spans]
    alike = np.full((len(bases), len(bases)), np.nan)
    for i, one in enumerate(bases):
        for j, other in enumerate(bases[: i + 1]):
            if one.shape[1] and other.shape[1]:
                alike[i, j] = alike[j, i] = min(np.linalg.norm(one.T @ other, 2), 1.0)
    return pd.DataFrame(alike, index=list(asked.names), columns=list(asked.names))


def _basis(block: NDArray[np.float64]) -> NDArray[np.float64]:
    """Orthonormal basis of what the columns hold beside their means; none where they never vary."""
    left, sizes, _ = np.linalg.svd(block - block.mean(axis=0), full_matrices=False)
    return left[:, sizes > 1e-9 * max(np.linalg.norm(block), 1e-300)]


def tellable(judged: pd.DataFrame, terms: Terms) -> tuple[dict[Term, NDArray[np.float64]], dict[str, str]]:
    """Give the terms that the pots can tell, with their columns, and why each of the others is left out.

    Of terms that the pots cannot tell apart, those asked first are kept.

    Parameters
    ----------
    judged : DataFrame
        As `Plan.judged`.
    terms : Terms

    Returns
    -------
    blocks : dict of Term to ndarray
        In the order of the columns of the analysis.
    left_out : dict of str to str
        Term, and what is said of it.

    Raises
    ------
    PlanError
        The pots do not differ in anything asked.
    """
    question = terms.question
    outcome = "planned outcome"
    runs = judged.assign(**{outcome: np.arange(len(judged), dtype=float)})
    try:
        read = read_rows(runs, outcome, question["factors"], ["firing"])
    except ModelError as error:
        raise PlanError(error.where, error.cause, error.remedy) from error
    still = {factor.name for factor in read.factors if factor.constant}
    squares = [name for name in question["squares"] if name not in still]
    together = [pair for pair in question["together"] if not still & set(pair)]
    left_out = dict.fromkeys(sorted(still), "the same on every pot")
    blocks: dict[Term, NDArray[np.float64]] = {}
    held = np.ones((len(runs), 1))
    for term in read_terms(read.factors, squares, together):
        block = term.code(read.table)
        more = np.hstack([held, block / np.maximum(np.linalg.norm(block, axis=0), 1e-300)])
        if np.linalg.matrix_rank(more, tol=1e-9) < more.shape[1]:
            left_out[term.name] = _twin(term, block, blocks)
        else:
            blocks[term], held = block, more
    if not blocks:
        raise PlanError("the plan", "its pots do not differ in anything asked", "vary at least one factor")
    return blocks, left_out


def _twin(term: Term, block: NDArray, blocks: dict[Term, NDArray]) -> str:
    """Say what a term cannot be told apart from: one other where it is one, else the terms before it."""
    centred = block - block.mean(axis=0)
    nothing = 1e-9 * np.linalg.norm(block)
    if np.linalg.norm(centred) <= nothing:
        return "the same on every pot"
    for other, columns in blocks.items():
        basis = np.linalg.qr(columns - columns.mean(axis=0))[0]
        if np.linalg.norm(centred - basis @ (basis.T @ centred)) <= nothing:
            return f"aliased: cannot be told apart from {other.name}"
    return "aliased: cannot be told apart from the terms before it together"
