"""Leaving out: how well pots of one firing are predicted from the others, at given variances."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

# A column that the other firings do not tell leaves a zero here, up to rounding.
_SINGULAR = 1e-10


class Gathered:
    """Normal equations of a random level for each firing, gathered firing by firing.

    Parameters
    ----------
    y : ndarray, shape (n,)
    X : ndarray, shape (candidates, n, p)
        Several sets of columns, of which one is chosen by the data; the first of each is the constant.
    fires : ndarray of int, shape (n,)
        Which firing each row belongs to, from 0 up.
    ratio : float
        Variance between firings over that within them.
    """

    def __init__(
        self, y: NDArray[np.float64], X: NDArray[np.float64], fires: NDArray[np.intp], ratio: float
    ) -> None:
        self.X, self.rows = X, [np.flatnonzero(fires == firing) for firing in range(fires.max() + 1)]
        # The constant takes up any shift of y, and less is lost to rounding near zero.
        self.y = y - y.mean()
        parts = []
        for rows in self.rows:
            # V⁻¹ = W'W with W = I − (1 − 1/√(1 + m ratio)) 11'/m for the m pots of one firing.
            shrink = 1 - 1 / np.sqrt(1 + len(rows) * ratio)
            a, b = X[:, rows], self.y[rows]
            a = a - shrink * a.mean(axis=1, keepdims=True)
            b = b - shrink * b.mean()
            parts.append((a.transpose(0, 2, 1) @ a, b @ a, b @ b))
        self.normal, self.moments, self.squares = (np.array(part) for part in zip(*parts, strict=True))

    def choose(self) -> int:
        """Choose the candidate that leaves the least squares over all firings."""
        _, left = _solve(self.normal.sum(axis=0), self.moments.sum(axis=0), self.squares.sum())
        return int(np.argmin(left))

    def errors(self) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Predict each firing's pots from the other firings, the candidate chosen by those others alone.

        Returns
        -------
        errors : ndarray, shape (n,)
            Observed minus predicted, the firing's own level unknown; NaN where the others cannot tell.
        told : ndarray of bool, shape (firings,)
            False for a firing without which the columns cannot all be told.
        """
        normal = self.normal.sum(axis=0) - self.normal
        moments = self.moments.sum(axis=0) - self.moments
        squares = self.squares.sum() - self.squares
        coefficients, left = _solve(normal, moments, squares[:, None])
        chosen = np.argmin(left, axis=1)
        told = np.isfinite(left).any(axis=1)
        errors = np.full(len(self.y), np.nan)
        for firing in np.flatnonzero(told):
            rows, candidate = self.rows[firing], chosen[firing]
            errors[rows] = self.y[rows] - self.X[candidate, rows] @ coefficients[firing, candidate]
        return errors, told


def _solve(
    normal: NDArray[np.float64], moments: NDArray[np.float64], squares: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coefficients and the squares they leave; infinite where the equations have no single answer."""
    diagonal = np.diagonal(normal, axis1=-2, axis2=-1)
    sizes = np.sqrt(np.where(diagonal > 0, diagonal, 1))
    scaled = normal / (sizes[..., :, None] * sizes[..., None, :])
    solvable = np.linalg.eigvalsh(scaled)[..., 0] > _SINGULAR
    scaled = np.where(solvable[..., None, None], scaled, np.eye(normal.shape[-1]))
    coefficients = np.linalg.solve(scaled, (moments / sizes)[..., None])[..., 0] / sizes
    left = squares - np.sum(coefficients * moments, axis=-1)
    return coefficients, np.where(solvable, left, np.inf)


def judge(
    errors: Mapping[str, NDArray[np.float64]], fires: NDArray[np.intp], level_asked: bool
) -> pd.DataFrame:
    """Set the left-out errors of several models side by side.

    Parameters
    ----------
    errors : mapping of str to ndarray, shape (n,)
        Of each model; NaN where it could not predict.
    fires : ndarray of int, shape (n,)
    level_asked : bool
        False takes each firing's own mean error out and divides the squares by rows less firings.

    Returns
    -------
    DataFrame
        Indexed by model: left-out error (root mean square), difference from the least, and its standard
        error over firings, to first order in the firings' mean squares.
    """
    counts = np.bincount(fires)
    weights = counts - (0.0 if level_asked else 1.0)
    columns = ["left-out error", "difference", "standard error"]
    table = pd.DataFrame(np.nan, index=list(errors), columns=columns)
    influences = {}
    for name, error in errors.items():
        if np.isnan(error).any():
            continue
        if not level_asked:
            error = error - (np.bincount(fires, weights=error) / counts)[fires]
        squares = np.bincount(fires, weights=error**2)
        size = np.sqrt(squares.sum() / weights.sum())
        table.loc[name, "left-out error"] = size
        # What one firing adds to the root mean square, so that the scatter of a difference can be had.
        influences[name] = (squares - size**2 * weights) / (2 * size * weights.mean())
    if influences:
        least = table["left-out error"].idxmin()
        table["difference"] = table["left-out error"] - table.loc[least, "left-out error"]
        for name, influence in influences.items():
            apart = influence - influences[least]
            table.loc[name, "standard error"] = apart.std(ddof=1) / np.sqrt(len(counts))
    return table
