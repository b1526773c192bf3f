"""Deming regression: the straight line from one setup to another where both read with errors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import SetupError
from sagglab.model.contrasts import Contrast
from sagglab.setups.pairs import Pairs
from sagglab.setups.repeatability import COORDINATES

#: Points that a line with a jackknifed interval needs: one more than it has to pass through.
_LEAST = 3


@dataclass(frozen=True)
class Deming:
    """A straight line y = intercept + slope · x with errors in both.

    Attributes
    ----------
    slope, intercept : float
        NaN where the points tell no direction, as when all readings are the same.
    slope_low, slope_high, intercept_low, intercept_high : float
        Ends of the 95 % intervals; NaN also where leaving a single point out leaves no direction.
    error_ratio : float
        Variance of y's error over that of x's.
    n : int
        Points.
    """

    slope: float
    intercept: float
    slope_low: float
    slope_high: float
    intercept_low: float
    intercept_high: float
    error_ratio: float
    n: int


def deming(x: ArrayLike, y: ArrayLike, error_ratio: float = 1.0) -> Deming:
    """Fit a straight line where both coordinates have errors of a known ratio.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        At least three points.
    error_ratio : float
        Variance of y's error over that of x's; with 1 the line is the nearest at right angles.

    Returns
    -------
    Deming
        Intervals are those of the jackknife, by t with n − 2 degrees of freedom.

    Raises
    ------
    SetupError
        There are fewer than three points, a value is missing, or the ratio is not above zero.

    References
    ----------
    W. E. Deming, Statistical Adjustment of Data, Wiley 1943; K. Linnet, Statistics in Medicine 9 (1990),
    1463-1473, for the jackknife.

    Examples
    --------
    >>> line = deming([0, 1, 2, 3], [1.1, 2.9, 5.1, 6.9])
    >>> round(line.slope, 3), round(line.intercept, 3)
    (1.963, 1.056)
    """
    x, y = (np.asarray(values, dtype=float).ravel() for values in (x, y))
    _check(x, y, error_ratio)
    slope, intercept = _line(x, y, error_ratio)
    n = len(x)
    without = np.array(
        [_line(np.delete(x, left), np.delete(y, left), error_ratio) for left in range(n)],
    )
    errors = np.sqrt((n - 1) / n * np.sum((without - without.mean(axis=0)) ** 2, axis=0))
    ends = [
        Contrast(estimate, float(error), n - 2).interval()
        for estimate, error in zip((slope, intercept), errors, strict=True)
    ]
    return Deming(slope, intercept, *ends[0], *ends[1], float(error_ratio), n)


def deming_table(pairs: Pairs, repeatability: pd.DataFrame) -> pd.DataFrame:
    """Fit the line of each coordinate from the first setup to the second, on means of things.

    The error ratio is that of both setups' own scatter about a thing, divided by how many readings a mean
    rests on. What all patches of a photograph share is left out of it: it moves the line, and not the
    points about it.

    Parameters
    ----------
    pairs : Pairs
        At least three things.
    repeatability : DataFrame
        Of the same pairs, from `repeatability`.

    Returns
    -------
    DataFrame
        One row per coordinate (``L*``, ``a*``, ``b*``, ``C*ab``): ``coordinate``, ``slope``, ``slope low``,
        ``slope high``, ``intercept``, ``intercept low``, ``intercept high`` (95 %), ``error ratio`` (variance
        of the second's error over that of the first's), ``error ratio from`` (``repeatability``, or
        ``assumed`` where a setup's is not known), ``n``.

    Raises
    ------
    SetupError
        There are fewer than three things.
    """
    by = repeatability.set_index(["setup", "coordinate"])
    rows = []
    for coordinate in COORDINATES.values():
        first, second = (_means(pairs, coordinate, which) for which in ("first", "second"))
        own = [
            _own_variance(by.loc[(setup, coordinate)]) * _share(pairs.table, which)
            for setup, which in ((pairs.first, "first"), (pairs.second, "second"))
        ]
        known = all(math.isfinite(variance) and variance > 0 for variance in own)
        line = deming(first, second, own[1] / own[0] if known else 1.0)
        rows.append(
            {
                "coordinate": coordinate,
                "slope": line.slope,
                "slope low": line.slope_low,
                "slope high": line.slope_high,
                "intercept": line.intercept,
                "intercept low": line.intercept_low,
                "intercept high": line.intercept_high,
                "error ratio": line.error_ratio,
                "error ratio from": "repeatability" if known else "assumed",
                "n": line.n,
            }
        )
    return pd.DataFrame(rows)


def _check(x: NDArray[np.float64], y: NDArray[np.float64], error_ratio: float) -> None:
    if len(x) != len(y):
        raise SetupError(
            "Deming regression", f"{len(x)} values meet {len(y)}", "give as many of one setup as of the other"
        )
    if len(x) < _LEAST:
        raise SetupError(
            "Deming regression",
            f"{len(x)} points leave nothing to tell how sure a line is",
            f"photograph at least {_LEAST} pots in both setups",
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise SetupError("Deming regression", "a value is missing or infinite", "leave its pair out")
    if not 0 < error_ratio < math.inf:
        raise SetupError(
            "Deming regression",
            f"{error_ratio:g} is no ratio of two variances",
            "give the variance of y's error over that of x's, a number above zero",
        )


def _line(x: NDArray[np.float64], y: NDArray[np.float64], ratio: float) -> tuple[float, float]:
    # In closed form. SciPy is giving up its orthogonal distance regression for a package of its own, which
    # searches for the same line: both agree to 2e-9 (tests/outside/test_agreement.py).
    across, along = x - x.mean(), y - y.mean()
    excess = along @ along - ratio * (across @ across)
    both = across @ along
    if both == 0 and excess >= 0:
        return math.nan, math.nan
    # Of the two forms of the root, the one that does not subtract like from like.
    root = math.hypot(excess, 2 * math.sqrt(ratio) * both)
    slope = (excess + root) / (2 * both) if excess > 0 else 2 * ratio * both / (root - excess)
    return float(slope), float(y.mean() - slope * x.mean())


def _means(pairs: Pairs, coordinate: str, which: str) -> NDArray[np.float64]:
    if coordinate == "C*ab":
        values = np.hypot(pairs.table[f"a* {which}"], pairs.table[f"b* {which}"])
    else:
        values = pairs.table[f"{coordinate} {which}"]
    return values.groupby(pairs.table["item"], sort=False).mean().to_numpy()


def _own_variance(row: pd.Series) -> float:
    return row["SD"] ** 2 - np.nan_to_num(row["SD common"]) ** 2


def _share(table: pd.DataFrame, which: str) -> float:
    """Variance of a thing's mean over that of a single reading, in the mean over things."""
    views = table.groupby("item")["item"].transform("size")
    return float(np.sum(1 / (table[f"photographs {which}"] * views**2))) / table["item"].nunique()
