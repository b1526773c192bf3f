"""How well a plan tells the mean of a recipe, over the whole range of what is varied."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.model.strata import FittedStrata
from sagglab.model.terms import Factor, Term

#: Random recipes, and corners, that are looked at; the seed is fixed so that a plan has one answer.
_POINTS, _CORNERS, _SEED = 2000, 4096, 1
_SHARES = (0.25, 0.5, 0.75, 0.9)


def spread_over_range(blocks: Mapping[Term, NDArray[np.float64]], fitted: FittedStrata) -> pd.DataFrame:
    """Give the standard error of a recipe's mean at the centre, on average, at shares of the range, at worst.

    Parameters
    ----------
    blocks : mapping of Term to ndarray
        The terms of the analysis, in the order of its columns.
    fitted : FittedStrata
        The analysis to be expected.

    Returns
    -------
    DataFrame
        Columns ``where`` and ``standard error``. The range is what the pots try; limits on what may go
        together are not looked at. The centre of a category is the average of its kinds. The worst is looked
        for at the corners as well, where it lies unless a square is asked.
    """
    rng = np.random.default_rng(_SEED)
    factors = list({factor.heading: factor for term in blocks for factor in term.factors}.values())
    inside = {
        factor.heading: rng.uniform(factor.low, factor.high, _POINTS)
        if factor.is_amount
        else rng.choice(np.array(factor.levels, dtype=object), _POINTS)
        for factor in factors
    }
    errors = _errors(pd.DataFrame(inside), blocks, fitted)
    corners = _errors(_corners(factors, rng), blocks, fitted)
    said = {
        "at the centre": _errors(_middle(factors), blocks, fitted, average=True)[0],
        "on average": float(errors.mean()),
        **{
            f"in {round(100 * share)} of 100 recipes at most": float(np.quantile(errors, share))
            for share in _SHARES
        },
        "at the worst": float(max(errors.max(), corners.max())),
    }
    return pd.DataFrame({"where": list(said), "standard error": list(said.values())})


def _errors(
    recipes: pd.DataFrame,
    blocks: Mapping[Term, NDArray[np.float64]],
    fitted: FittedStrata,
    average: bool = False,
) -> NDArray[np.float64]:
    columns = np.hstack([np.ones((len(recipes), 1)), *(term.code(recipes) for term in blocks)])
    if average:
        columns = columns.mean(axis=0, keepdims=True)
    covariance = fitted.fit.model_covariance
    return np.sqrt(np.einsum("ia,ab,ib->i", columns, covariance, columns))


def _corners(factors: Collection[Factor], rng: np.random.Generator) -> pd.DataFrame:
    ends = [(factor.low, factor.high) if factor.is_amount else factor.levels for factor in factors]
    headings = [factor.heading for factor in factors]
    if np.prod([float(len(levels)) for levels in ends]) <= _CORNERS:
        return pd.DataFrame(list(product(*ends)), columns=headings)
    drawn = [rng.choice(np.array(levels, dtype=object), _CORNERS) for levels in ends]
    return pd.DataFrame(dict(zip(headings, drawn, strict=True)))


def _middle(factors: Collection[Factor]) -> pd.DataFrame:
    """Every kind with every other, the amounts at the middle: on average, the centre."""
    levels = [((factor.low + factor.high) / 2,) if factor.is_amount else factor.levels for factor in factors]
    return pd.DataFrame(list(product(*levels)), columns=[factor.heading for factor in factors])
