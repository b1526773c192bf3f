"""Contrasts: combinations of a fit's coefficients, and how far they are from zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special


@dataclass(frozen=True)
class Contrast:
    """One linear combination of the coefficients, judged by t.

    Attributes
    ----------
    estimate, standard_error : float
        In units of the observations.
    df : float
        Degrees of freedom.
    """

    estimate: float
    standard_error: float
    df: float

    @property
    def t(self) -> float:
        """The estimate over its standard error."""
        return self.estimate / self.standard_error

    @property
    def p(self) -> float:
        """Two-sided probability of a t as far from zero, were there no effect."""
        return float(2 * special.stdtr(self.df, -abs(self.t)))

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Lower and upper end of the confidence interval."""
        reach = special.stdtrit(self.df, (1 + level) / 2) * self.standard_error
        return float(self.estimate - reach), float(self.estimate + reach)


@dataclass(frozen=True)
class JointTest:
    """Several linear combinations judged together by F."""

    f: float
    numerator_df: int
    denominator_df: float

    @property
    def p(self) -> float:
        """Probability of an F as large, were there no effect."""
        return float(special.fdtrc(self.numerator_df, self.denominator_df, self.f))


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Adjust probabilities for having asked several questions at once.

    Parameters
    ----------
    p : array_like, shape (n,)
        What is NaN was not asked.

    Returns
    -------
    ndarray, shape (n,)
        The chance that any question without an effect falls below a limit is at most that limit.

    References
    ----------
    Holm, Scandinavian Journal of Statistics 6 (1979).

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03]).round(3)
    array([0.03, 0.06, 0.06])
    """
    # statsmodels has it (`multipletests`), at 2.1 s for the import where this takes microseconds.
    p = np.asarray(p, dtype=float)
    order = np.argsort(p)
    left = np.sum(~np.isnan(p)) - np.arange(len(p))
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(np.maximum.accumulate(left * p[order]), 1)
    return np.where(np.isnan(p), np.nan, adjusted)
