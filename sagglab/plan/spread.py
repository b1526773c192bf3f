"""The range of what is varied: what an effect is stated over, and how well a recipe's mean is told in it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import reduce
from itertools import combinations, product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.model.strata import FittedStrata
from sagglab.model.terms import Factor, Term
from sagglab.plan.factors import Factor as Varied

#: Random recipes, and corners, that are looked at; the seed is fixed so that a plan has one answer.
_POINTS, _CORNERS, _SEED = 2000, 4096, 1
_SHARES = (0.25, 0.5, 0.75, 0.9)
#: Up to so many kinds are compared two by two; of more, each with the first.
_EACH_TWO = 4


@dataclass(frozen=True)
class Stated:
    """An effect over the whole range of what is varied.

    Attributes
    ----------
    name : str
    weights : ndarray, shape (columns of the term,)
        Combination of the term's coefficients.
    start, end : str
        From where to where.
    """

    name: str
    weights: NDArray[np.float64]
    start: str
    end: str


def stated_over_range(term: Term, varied: Mapping[str, Varied]) -> list[Stated]:
    """State a term over the plan's own range, kinds two by two.

    Parameters
    ----------
    term : Term
        Of the analysis.
    varied : mapping of str to Factor
        The factors of the plan by heading. Their levels are the range, not what the pots happen to have:
        pots fired before, and axial points, may lie beyond.

    Returns
    -------
    list of Stated
        Of an amount, its change from the first level to the last; of a square, how far the middle lies off
        the line between both; of a category of up to four kinds, each two of them, of more, each against the
        first; of two factors, how a change of the one differs between both ends of the other's.

    Examples
    --------
    >>> clay = Factor("clay", "clay", "", ("buff", "raku", "white"))
    >>> for row in stated_over_range(Term((clay,)), {"clay": Varied("clay", ["white", "raku", "buff"])}):
    ...     print(row.name, row.weights)
    clay: raku − white [1. 2.]
    clay: buff − white [2. 1.]
    clay: buff − raku [ 1. -1.]
    """
    if term.is_square:
        low, high = _ends(varied[term.factors[0].heading])
        # The square of an amount is stated over half its range each way.
        return [Stated(term.name, np.array([(high - low) ** 2 / 4]), "line between the ends", "middle")]
    each = [_changes(factor, varied[factor.heading]) for factor in term.factors]
    return [
        Stated(
            " × ".join(change.name for change in changes),
            reduce(np.kron, [change.weights for change in changes]),
            " × ".join(change.start for change in changes),
            " × ".join(change.end for change in changes),
        )
        for changes in product(*each)
    ]


def _changes(factor: Factor, varied: Varied) -> list[Stated]:
    if factor.is_amount:
        low, high = _ends(varied)
        unit = factor.unit.replace("deg", "°")
        said = [f"{end:g} {unit}".strip() for end in (low, high)]
        return [Stated(factor.term_name, np.array([high - low]), *said)]
    effects = dict(zip(factor.levels, factor.levels_from_coefficients, strict=True))
    # Two kinds in the order of the analysis, whose row this is; more in the order of the plan.
    kinds = factor.levels if len(effects) == 2 else [kind for kind in varied.levels if kind in effects]
    pairs = combinations(kinds, 2) if len(kinds) <= _EACH_TWO else product(kinds[:1], kinds[1:])
    return [Stated(f"{factor.name}: {b} − {a}", effects[b] - effects[a], a, b) for a, b in pairs]


def _ends(varied: Varied) -> tuple[float, float]:
    return float(varied.levels[0]), float(varied.levels[-1])


def spread_over_range(
    blocks: Mapping[Term, NDArray[np.float64]], fitted: FittedStrata, varied: Mapping[str, Varied]
) -> pd.DataFrame:
    """Give the standard error of a recipe's mean at the centre, on average, at shares of the range, at worst.

    Parameters
    ----------
    blocks : mapping of Term to ndarray
        The terms of the analysis, in the order of its columns.
    fitted : FittedStrata
        The analysis to be expected.
    varied : mapping of str to Factor
        The factors of the plan by heading.

    Returns
    -------
    DataFrame
        Columns ``where`` and ``standard error``. The range is that of the plan's levels; limits on what may
        go together are not looked at. The centre of a category is the average of its kinds. The worst is
        looked for at the corners as well, where it lies unless a square is asked.
    """
    rng = np.random.default_rng(_SEED)
    factors = {factor.heading: factor for term in blocks for factor in term.factors}
    ends = {
        heading: _ends(varied[heading]) if factor.is_amount else factor.levels
        for heading, factor in factors.items()
    }
    inside = {
        heading: rng.uniform(*ends[heading], _POINTS)
        if factor.is_amount
        else rng.choice(np.array(factor.levels, dtype=object), _POINTS)
        for heading, factor in factors.items()
    }
    # Every kind with every other, the amounts at the middle: on average, the centre.
    middle = {
        heading: (float(np.mean(ends[heading])),) if factor.is_amount else factor.levels
        for heading, factor in factors.items()
    }
    errors = _errors(pd.DataFrame(inside), blocks, fitted)
    corners = _errors(_corners(ends, rng), blocks, fitted)
    said = {
        "at the centre": _errors(_each_with_each(middle), blocks, fitted, average=True)[0],
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


def _corners(ends: Mapping[str, Collection], rng: np.random.Generator) -> pd.DataFrame:
    if np.prod([float(len(levels)) for levels in ends.values()]) <= _CORNERS:
        return _each_with_each(ends)
    return pd.DataFrame(
        {
            heading: rng.choice(
                np.array(levels, dtype=object if isinstance(levels[0], str) else float), _CORNERS
            )
            for heading, levels in ends.items()
        }
    )


def _each_with_each(levels: Mapping[str, Collection]) -> pd.DataFrame:
    return pd.DataFrame(list(product(*levels.values())), columns=list(levels))
