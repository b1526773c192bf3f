"""How alike the terms of a plan are among its pots: what is alike can hardly be told apart."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

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
