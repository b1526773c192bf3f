"""Balanced studies: exact F and t, each effect judged by the mean square of its own stratum.

Where every firing holds as many pots, and the terms lie squarely within the strata, the mean square of a
stratum is independent of the effects in it: no degrees of freedom need be approximated, and an effect that is
not there is taken for one in 5 of 100 studies, however few the firings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.model.contrasts import Contrast, JointTest
from sagglab.model.mixed import indicators

#: Share of a sum of squares that rounding may leave where there is nothing.
_NOTHING = 1e-9


@dataclass(frozen=True)
class Balanced:
    """An analysis of variance by strata.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Least-squares estimates, which in a balanced study are the generalised ones as well.
    strata : tuple of str
        The groupings from the outermost, then the residual.
    mean_squares : ndarray, shape (k,)
        Residual mean square of each stratum; NaN where it has no degrees of freedom.
    df : ndarray, shape (k,)
        Its degrees of freedom.
    shares : ndarray, shape (k, p, p)
        For each stratum (X'X)⁻¹X' S X(X'X)⁻¹, S the projection on the stratum: the covariance of the
        coefficients is their sum, each times its expected mean square.
    """

    coefficients: NDArray[np.float64]
    strata: tuple[str, ...]
    mean_squares: NDArray[np.float64]
    df: NDArray[np.float64]
    shares: NDArray[np.float64]

    def contrast(self, weights: ArrayLike) -> Contrast | None:
        """Estimate one combination of the coefficients by t; None when it lies in more than one stratum."""
        weights = np.asarray(weights, dtype=float)
        stratum = self._stratum(weights[None])
        if stratum is None:
            return None
        variance = self.mean_squares[stratum] * (weights @ self.shares[stratum] @ weights)
        return Contrast(float(weights @ self.coefficients), float(np.sqrt(variance)), float(self.df[stratum]))

    def joint(self, weights: ArrayLike) -> JointTest | None:
        """Test several combinations together by F; None when they lie in more than one stratum."""
        rows = np.atleast_2d(np.asarray(weights, dtype=float))
        stratum = self._stratum(rows)
        if stratum is None:
            return None
        estimates = rows @ self.coefficients
        spread = rows @ self.shares[stratum] @ rows.T
        f = estimates @ np.linalg.solve(spread, estimates) / len(rows) / self.mean_squares[stratum]
        return JointTest(float(f), len(rows), float(self.df[stratum]))

    @property
    def model_covariance(self) -> NDArray[np.float64]:
        """Covariance of the coefficients at these mean squares, shape (p, p)."""
        return np.tensordot(self.mean_squares, self.shares, 1)

    @property
    def at_boundary(self) -> tuple[str, ...]:
        """No variance is held at zero here."""
        return ()

    def _stratum(self, rows: NDArray[np.float64]) -> int | None:
        sizes = np.einsum("qa,kab,qb->kq", rows, self.shares, rows)
        inside = sizes >= (1 - _NOTHING) * sizes.sum(axis=0)
        found = np.flatnonzero(inside.all(axis=1) & (self.df > 0.5) & (self.mean_squares > 0))
        return int(found[0]) if len(found) == 1 else None


def expected_balanced(
    X: NDArray[np.float64], groups: Mapping[str, NDArray], residual: str, variances: ArrayLike
) -> Balanced | None:
    """Analyse a balanced study before it is made: its mean squares are those that the scatter leads to.

    Parameters
    ----------
    X, groups, residual
        As for `fit_balanced`.
    variances : array_like, shape (k,)
        One for each grouping, then the residual's.

    Returns
    -------
    Balanced or None
        Its coefficients are zero; None where `fit_balanced` gives None.

    Examples
    --------
    >>> sugar = np.column_stack([np.ones(8), [-1, 1] * 4])
    >>> study = expected_balanced(sugar, {"firing": np.repeat([1, 2, 3, 4], 2)}, "pot", [9, 16])
    >>> study.mean_squares.tolist(), study.contrast([0, 2])  # doctest: +ELLIPSIS
    ([34.0, 16.0], Contrast(estimate=0.0, standard_error=2.828..., df=3.0))
    """
    study = fit_balanced(np.zeros(len(X)), X, groups, residual)
    if study is None:
        return None
    # A mean square holds the scatter of its groups and of all inside them, each times how many pots share it.
    sizes = [len(labels) / indicators(labels).shape[1] for labels in groups.values()]
    parts = np.array([*sizes, 1.0]) * np.asarray(variances, dtype=float)
    return replace(study, mean_squares=np.cumsum(parts[::-1])[::-1])


def fit_balanced(
    y: NDArray[np.float64], X: NDArray[np.float64], groups: Mapping[str, NDArray], residual: str
) -> Balanced | None:
    """Analyse a balanced study by strata.

    Parameters
    ----------
    y : ndarray, shape (n,)
    X : ndarray, shape (n, p)
        Linearly independent columns, the constant among them.
    groups : mapping of str to ndarray, shape (n,)
        The groupings from the outermost, each within the one before.
    residual : str
        Name of the innermost stratum.

    Returns
    -------
    Balanced or None
        None when groups differ in size, or when a term has part of itself in one stratum and part in
        another, so that its estimate would depend on the ratio of the scatters.

    References
    ----------
    Nelder, Proc. R. Soc. A 283 (1965), for orthogonal block structure.
    """
    basis, triangle = np.linalg.qr(X)
    means: list[NDArray] = []
    for labels in groups.values():
        block = indicators(labels)
        sizes = block.sum(axis=0)
        if np.ptp(sizes):
            return None
        means.append(block / np.sqrt(sizes[0]))
    # A table within each stratum: what the group means hold beyond those of the groups that hold them.
    stacked = np.column_stack([X, y])
    averaged = [np.ones((len(y), 1)) * stacked.mean(axis=0)]
    averaged += [block @ (block.T @ stacked) for block in means] + [stacked]
    parts = [later - earlier for earlier, later in zip(averaged[:-1], averaged[1:], strict=True)]
    parts[0] = parts[0] + averaged[0]
    ranks = [0, *(block.shape[1] for block in means), len(y)]
    back = np.linalg.inv(triangle)
    mean_squares, df, shares = [], [], []
    for part, rank, held in zip(parts, ranks[1:], ranks[:-1], strict=True):
        inside = basis.T @ part
        left = part - basis @ inside
        if np.any(np.sum(left[:, :-1] ** 2, axis=0) > _NOTHING * np.sum(X**2, axis=0)):
            return None
        # Of the basis, as of X: its part within the stratum.
        reach = inside[:, :-1] @ back
        taken = float(np.trace(reach))
        df.append(rank - held - taken)
        squares = float(left[:, -1] @ left[:, -1])
        mean_squares.append(squares / df[-1] if df[-1] > 0.5 else np.nan)
        shares.append(back @ (reach @ reach.T) @ back.T)
    return Balanced(
        back @ (basis.T @ y),
        (*groups, residual),
        np.array(mean_squares),
        np.array(df).round(9),
        np.array(shares),
    )
