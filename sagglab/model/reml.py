"""The search for the variances that make the residual likelihood (REML) greatest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import ModelError

# The criterion is flat to second order at its optimum: a decrement of 1e-16 leaves each variance within about
# 1e-8 of its own standard error, far below any printed digit. With hundreds of observations rounding can keep
# it above that: then the search ends where the decrement is small and no longer shrinks.
_DECREMENT = 1e-16
_SMALL_DECREMENT = 1e-11
_MOST_STEPS = 500


@dataclass(frozen=True)
class Parts:
    """The residual space in two parts: that which the groups reach, and within them, where V is σe² I.

    Attributes
    ----------
    reached : list of ndarray, shape (r, groups)
        Zk in an orthonormal basis of the first part.
    seen : ndarray, shape (r,)
        The observations in that basis.
    within_df, within_squares : int, float
        Dimension of the second part, and the sum of squares of the observations in it.
    """

    reached: list[NDArray[np.float64]]
    seen: NDArray[np.float64]
    within_df: int
    within_squares: float


@dataclass(frozen=True)
class State:
    """What one set of variances gives; `criterion` is −2 × the log likelihood less its constant."""

    criterion: float
    score: NDArray[np.float64]
    information: NDArray[np.float64]


def part(flat: NDArray, basis: NDArray, blocks: list[NDArray]) -> Parts:
    """Part the residual space of the observations.

    Parameters
    ----------
    flat : ndarray, shape (n,)
        The observations less their projection on the fixed part.
    basis : ndarray, shape (n, p)
        Orthonormal basis of the fixed part.
    blocks : list of ndarray, shape (n, groups)
        The indicators of each grouping.
    """
    # In these parts a step costs r³ rather than n³, and the scatter within groups never suffers from
    # cancelling against that between them: with V as a whole the search failed from a ratio of 1e6 on.
    cleared = np.hstack([block - basis @ (basis.T @ block) for block in blocks])
    left, sizes, _ = np.linalg.svd(cleared, full_matrices=False)
    left = left[:, sizes > 1e-9 * sizes.max(initial=0)]
    seen = left.T @ flat
    within = flat - left @ seen
    df = len(flat) - basis.shape[1] - left.shape[1]
    return Parts([left.T @ block for block in blocks], seen, df, float(within @ within))


def evaluate(parts: Parts, variances: NDArray) -> State:
    """Criterion, score and expected information at these variances, the residual's last."""
    residual = variances[-1]
    covariance = residual * np.eye(len(parts.seen))
    for variance, reached in zip(variances[:-1], parts.reached, strict=True):
        covariance += variance * (reached @ reached.T)
    inverse = np.linalg.inv(covariance)
    solved = inverse @ parts.seen
    criterion = np.linalg.slogdet(covariance)[1] + parts.within_df * np.log(residual)
    criterion += parts.seen @ solved + parts.within_squares / residual
    through = [inverse @ reached for reached in parts.reached]
    traces = [np.sum(a * b) for a, b in zip(through, parts.reached, strict=True)]
    traces.append(np.trace(inverse) + parts.within_df / residual)
    squares = [np.sum((reached.T @ solved) ** 2) for reached in parts.reached]
    squares.append(solved @ solved + parts.within_squares / residual**2)
    k = len(through)
    information = np.empty((k + 1, k + 1))
    for i, a in enumerate(through):
        for j in range(i, k):
            information[i, j] = information[j, i] = np.sum((parts.reached[j].T @ a) ** 2)
        information[i, k] = information[k, i] = np.sum(a**2)
    information[k, k] = np.sum(inverse**2) + parts.within_df / residual**2
    return State(float(criterion), 0.5 * np.subtract(squares, traces), 0.5 * information)


def maximise(parts: Parts) -> tuple[NDArray, State, int]:
    """Find the variances by Fisher scoring, bounded at zero.

    Parameters
    ----------
    parts : Parts
        Of observations on a scale where their residual variance is about one.

    Returns
    -------
    variances : ndarray, shape (k,)
        One for each grouping, then the residual's.
    state : State
    steps : int
        Steps taken from the start that led to them.

    Raises
    ------
    ModelError
        The search does not settle.
    """
    # With very uneven groups the likelihood can have two maxima: 1 in 300 studies of three to six firings of
    # one to eight pots ended in the lower one when the search had a single start.
    found = [_climb(parts, share) for share in (0.5, 0.0, 10.0)]
    return min(found, key=lambda end: end[1].criterion)


def _climb(parts: Parts, share: float) -> tuple[NDArray, State, int]:
    groups = len(parts.reached)
    floor = np.zeros(groups + 1)
    # The score of the residual variance is positive below this, whatever the others are.
    floor[-1] = 0.9 * parts.within_squares / (parts.within_df + len(parts.seen))
    variances = np.append(np.full(groups, share), parts.within_squares / parts.within_df)
    state = evaluate(parts, variances)
    last = np.inf
    for steps in range(_MOST_STEPS):
        free = (variances > floor) | (state.score > 0)
        step = np.zeros_like(variances)
        step[free] = inverse_of(state.information[np.ix_(free, free)]) @ state.score[free]
        decrement = step @ state.score
        if decrement <= _DECREMENT or last <= decrement <= _SMALL_DECREMENT:
            return variances, state, steps
        last = decrement
        for halvings in range(30):
            trial = np.maximum(variances + step / 2**halvings, floor)
            moved = evaluate(parts, trial)
            # Rounding alone moves the criterion by 1e-13 of its size; no step can be told closer than that.
            if moved.criterion <= state.criterion + 1e-12 * max(1, abs(state.criterion)):
                break
        variances, state = trial, moved
    raise ModelError(
        "mixed model",
        f"the variances did not settle in {_MOST_STEPS} steps",
        "leave out the term that few observations bear on",
    )


def inverse_of(information: NDArray[np.float64]) -> NDArray[np.float64]:
    """Invert a matrix of information whose diagonal may span many powers of ten."""
    scale = 1 / np.sqrt(np.diag(information))
    return np.linalg.inv(information * np.outer(scale, scale)) * np.outer(scale, scale)
