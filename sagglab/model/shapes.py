"""Shapes that an outcome can follow as an amount grows: their columns, their fits, their words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.aliases import independent_basis
from sagglab.model.contrasts import Contrast
from sagglab.model.mixed import MixedFit, fit_mixed
from sagglab.model.rows import Rows
from sagglab.model.terms import Factor, Term
from sagglab.model.wording import Words, amount_in_words, label, step
from sagglab.pages.numbers import digits_for

NONE, PRESENCE, STRAIGHT, ROOT = "none", "with or without", "per unit", "square root"
SATURATING, EACH = "saturating", "each dose its own"
#: Each shape in plain words.
SHAPES: Mapping[str, str] = {
    NONE: "no effect",
    PRESENCE: "the same for any amount",
    STRAIGHT: "a straight line",
    ROOT: "a curve that flattens like the square root",
    SATURATING: "a curve that levels off",
    EACH: "each amount apart",
}
#: What a shape of one column makes of doses, given k.
_COLUMN: Mapping[str, Callable[[NDArray, float], NDArray]] = {
    PRESENCE: lambda dose, k: (dose > 0).astype(float),
    STRAIGHT: lambda dose, k: dose,
    ROOT: lambda dose, k: np.sqrt(dose),
    SATURATING: lambda dose, k: -np.expm1(-dose / k),
}
#: The least and the greatest k tried over the greatest dose: from nearly a step to nearly a straight line.
K_SPAN = (1 / 20, 3.0)
_POINTS = 61


@dataclass(frozen=True)
class DoseStudy:
    """What all shapes share.

    Attributes
    ----------
    amount : Factor
    dose : ndarray, shape (n,)
        Amounts, counted from the least.
    y : ndarray, shape (n,)
    others : ndarray, shape (n, q)
        The constant, then the columns of the other factors.
    names : tuple of str
        One for each of those columns.
    labels : ndarray, shape (n,)
        The firing that each pot belongs to.
    """

    amount: Factor
    dose: NDArray[np.float64]
    y: NDArray[np.float64]
    others: NDArray[np.float64]
    names: tuple[str, ...]
    labels: NDArray[np.object_]

    @classmethod
    def of(cls, rows: Rows) -> DoseStudy:
        """Gather it from rows whose first factor is the amount."""
        amount, *others = rows.factors
        terms = [Term((factor,)) for factor in others]
        columns = [np.ones((len(rows.table), 1)), *(term.code(rows.table) for term in terms)]
        names = ("the constant", *(name for term in terms for name in term.columns))
        dose = rows.table[amount.heading].to_numpy(dtype=float) - amount.low
        return cls(amount, dose, rows.y, np.hstack(columns), names, rows.labels(rows.groups[0]))

    def columns(self, shape: str, k: float, dose: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """Columns of a shape, all zero at dose zero, shape (doses, columns)."""
        dose = self.dose if dose is None else dose
        if shape == EACH:
            return (dose[:, None] == np.unique(self.dose)[None, 1:]).astype(float)
        return np.empty((len(dose), 0)) if shape == NONE else _COLUMN[shape](dose, k)[:, None]

    def design(self, shape: str, k: float = 1.0) -> NDArray[np.float64]:
        """All columns of a shape's model: the others, then its own."""
        return np.hstack([self.others, self.columns(shape, k)])

    def fit(self, shape: str, k: float = 1.0) -> MixedFit:
        """Fit a shape beside the other factors, with scatter between firings and within them."""
        X = self.design(shape, k)
        own = [f"{self.amount.name} ({shape})"] * (X.shape[1] - len(self.names))
        independent_basis(X, [*self.names, *own], f"doses of {self.amount.name}")
        try:
            return fit_mixed(self.y, X, {"firing": self.labels})
        except ModelError as error:
            raise ModelError(f"doses of {self.amount.name}", error.cause, error.remedy) from error

    def curve(self, shape: str, fit: MixedFit, k: float) -> pd.DataFrame:
        """Effect of amounts against the least, with the 95 % interval of each."""
        steps = shape == EACH
        dose = np.unique(self.dose) if steps else np.linspace(0, self.dose.max(), _POINTS)
        columns = self.columns(shape, k, dose)
        effect = np.zeros((3, len(dose)))
        contrasts = self.contrasts(fit)
        if steps:
            effect[:, 1:] = np.array([(c.estimate, *c.interval()) for c in contrasts]).T
        elif contrasts:
            # Each amount is the one coefficient times a number, and so are the ends of its interval.
            effect = np.outer((contrasts[0].estimate, *contrasts[0].interval()), columns[:, 0])
        return pd.DataFrame(
            {
                "amount": self.amount.low + dose,
                "shape": shape,
                "effect": effect[0],
                "low": effect[1],
                "high": effect[2],
            }
        )

    def contrasts(self, fit: MixedFit) -> list[Contrast]:
        """Judge each coefficient of the amount."""
        p, others = len(fit.coefficients), len(self.names)
        return [fit.contrast(row) for row in np.eye(p)[others:]]

    def told(self, shape: str, fit: MixedFit, words: Words, k: float) -> str:
        """Say the coefficients of a shape in words."""
        contrasts = self.contrasts(fit)
        if shape == NONE:
            return "no difference"
        name = label(self.amount)
        if shape == EACH:
            amounts = self.amount.low + np.unique(self.dose)[1:]
            told = (
                f"{amount_in_words(self.amount, amount)}: {_said(contrast, words)}"
                for amount, contrast in zip(amounts, contrasts, strict=True)
            )
            return "; ".join(told)
        contrast = contrasts[0]
        if shape == PRESENCE:
            return f"{_said(contrast, words)} with any amount of {name}"
        if shape == STRAIGHT:
            _, each, size = step(self.amount)
            return _said(_times(contrast, size), words, f" for {each}")
        # Not where it would level off: that may be far beyond what was tried.
        most = _times(contrast, self.columns(shape, k, self.dose.max(keepdims=True)).item())
        said = _said(most, words, f" {self.upto}")
        if shape == ROOT:
            return f"{said}, growing with the square root"
        return f"{said}; 63 % of the way to where it levels off at {self.beyond(k)}"

    @property
    def upto(self) -> str:
        """Say the greatest amount; where no pot was without, the least too."""
        most = amount_in_words(self.amount, self.amount.high)
        least = amount_in_words(self.amount, self.amount.low)
        return f"at {most}" if self.amount.low == 0 else f"from {least} to {most}"

    def beyond(self, dose: float) -> str:
        """Say a dose; where no pot was without, as beyond the least amount."""
        said = amount_in_words(self.amount, dose)
        return (
            said if self.amount.low == 0 else f"{said} beyond {amount_in_words(self.amount, self.amount.low)}"
        )


def _times(contrast: Contrast, number: float) -> Contrast:
    return Contrast(contrast.estimate * number, contrast.standard_error * number, contrast.df)


def _said(contrast: Contrast, words: Words, tail: str = "") -> str:
    low, high = contrast.interval()
    decimals = digits_for((high - low) / 2 * words.scale)
    ends = sorted((low, high), key=abs)
    if low <= 0 <= high:
        ends = f"{words.size(low, decimals)} {words.less} to {words.size(high, decimals)} {words.more}"
    else:
        word = words.less if contrast.estimate < 0 else words.more
        ends = f"{words.size(ends[0], decimals)} to {words.size(ends[1], decimals)} {word}"
    return f"{words.said(contrast.estimate, decimals)}{tail} (95 % interval {ends})"
