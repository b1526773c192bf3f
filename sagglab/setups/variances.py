"""Variances: mean squares joined into the variance that is asked for, and how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special


@dataclass(frozen=True)
class MeanSquare:
    """A mean square, and the share of it that counts.

    Attributes
    ----------
    value : float
        Sum of squares over `df`.
    df : float
        Degrees of freedom; above zero.
    share : float
        What it is multiplied by; not below zero.
    """

    value: float
    df: float
    share: float = 1.0

    def shared(self, share: float) -> MeanSquare:
        """Take this share of it instead."""
        return MeanSquare(self.value, self.df, share)


@dataclass(frozen=True)
class Variance:
    """A variance as the sum of shares of independent mean squares.

    Attributes
    ----------
    parts : tuple of MeanSquare
        None where nothing was repeated, and nothing is known.
    """

    parts: tuple[MeanSquare, ...]

    @property
    def value(self) -> float:
        """The variance; NaN where nothing is known."""
        return sum(part.share * part.value for part in self.parts) if self.parts else math.nan

    @property
    def df(self) -> float:
        """Degrees of freedom of the sum.

        References
        ----------
        Satterthwaite, Biometrics Bulletin 2 (1946), 110-114.
        """
        if not self.parts:
            return 0.0
        if not self.value:
            return min(part.df for part in self.parts)
        return self.value**2 / sum((part.share * part.value) ** 2 / part.df for part in self.parts)

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Lower and upper end of the variance.

        That of chi-square for a single mean square; for a sum, each part's own distances, joined as the
        sides of a right angle.

        References
        ----------
        Graybill and Wang, Journal of the American Statistical Association 75 (1980), 869-873; Zou,
        Statistical Methods in Medical Research 22 (2013), 630-642.

        Examples
        --------
        >>> low, high = Variance((MeanSquare(4.0, 10),)).interval()
        >>> round(low, 3), round(high, 3)
        (1.953, 12.319)
        """
        if not self.parts:
            return math.nan, math.nan
        below = above = 0.0
        for part in self.parts:
            most, least = (special.chdtri(part.df, (1 - sign * confidence) / 2) for sign in (1, -1))
            below += (part.share * part.value * (1 - part.df / most)) ** 2
            above += (part.share * part.value * (part.df / least - 1)) ** 2
        return max(self.value - math.sqrt(below), 0.0), self.value + math.sqrt(above)
