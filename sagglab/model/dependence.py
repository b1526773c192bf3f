"""Dependence: what one factor does for each kind of another, and over each half of what was tried."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.model.contrasts import Contrast
from sagglab.model.strata import FittedStrata
from sagglab.model.terms import Factor, Row, Term
from sagglab.model.wording import amount_in_words, label, step


@dataclass(frozen=True)
class Piece:
    """An effect under one circumstance.

    Attributes
    ----------
    where : str
        The circumstance, as it is spoken.
    of : str
        What the difference is for, as it is spoken: ``for each gram``; empty for all that ``where`` names.
    contrast : Contrast
        For the step that is spoken of.
    """

    where: str
    of: str
    contrast: Contrast


def pieces(fitted: FittedStrata, term: Term) -> list[Piece]:
    """Take a square or a pair of factors apart.

    Parameters
    ----------
    fitted : FittedStrata
    term : Term

    Returns
    -------
    list of Piece
        For a square, the lower and the upper half of what was tried; for a pair, what the one with a single
        effect does at each level of the other, or at its least and greatest amount. Empty where both have
        several effects, or where the factors by themselves are not in the model.
    """
    if not all(Term((factor,)) in fitted.spans for factor in term.factors):
        return []
    return _halves(fitted, term) if term.is_square else _in_each(fitted, term)


def _halves(fitted: FittedStrata, term: Term) -> list[Piece]:
    factor = term.factors[0]
    ends = [factor.low, (factor.low + factor.high) / 2, factor.high]
    coded = factor.code(pd.Series(ends))[:, 0]
    rows = fitted.spread(Term((factor,)), coded[:, None]) + fitted.spread(term, coded[:, None] ** 2)
    return [
        Piece(
            f"from {ends[k]:.4g} to {amount_in_words(factor, ends[k + 1])}",
            "",
            fitted.contrast(rows[k + 1] - rows[k])[0],
        )
        for k in range(2)
    ]


def _in_each(fitted: FittedStrata, term: Term) -> list[Piece]:
    single = [len(factor.rows()) == 1 for factor in term.factors]
    if not any(single):
        return []
    place = single.index(True)
    acting, other = term.factors[place], term.factors[1 - place]
    row = acting.rows()[0]
    size = step(acting)[2] if acting.is_amount and acting.form == "amount" else 1.0
    found = []
    for where, code in _circumstances(other):
        crossed = np.kron(row.weights, code) if place == 0 else np.kron(code, row.weights)
        weights = fitted.spread(Term((acting,)), row.weights) + fitted.spread(term, crossed)
        found.append(Piece(where, _of(acting, row), fitted.contrast(size * weights)[0]))
    return found


def _circumstances(factor: Factor) -> list[tuple[str, NDArray[np.float64]]]:
    if not factor.is_amount:
        codes = factor.levels_from_coefficients
        return [
            (f"with {label(factor)} {level}", code) for level, code in zip(factor.levels, codes, strict=True)
        ]
    ends = [factor.low, factor.high]
    codes = factor.code(pd.Series(ends))
    return [
        (f"at {amount_in_words(factor, end)} of {label(factor)}", code)
        for end, code in zip(ends, codes, strict=True)
    ]


def _of(factor: Factor, row: Row) -> str:
    if not factor.is_amount:
        return f"with {factor.levels[1]} against {factor.levels[0]}"
    if factor.form == "amount":
        return f"for {step(factor)[0]}"
    return "with against without" if factor.form == "with or without" else f"for each {row.per}"
