"""A recipe: turned into a row of the model, and said in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.terms import SCALES, Factor, find_factor
from sagglab.model.wording import amount_in_words, label, tried_in_words
from sagglab.pages.headings import unit_of
from sagglab.units import parse_heading

if TYPE_CHECKING:
    from sagglab.model.effects import Effects


def code_recipe(
    effects: Effects, recipe: Mapping[str, object]
) -> tuple[NDArray[np.float64], dict[str, object], list[str]]:
    """Turn a recipe into the row of the model, shape (p,), with its headings and what must be noted.

    Raises
    ------
    UnknownNameError, ModelError
        As `predict`.
    """
    if not isinstance(recipe, Mapping):
        first = effects.factors[0].name
        raise ModelError("recipe", "it names no amount for each factor", f"write {{'{first}': …}}")
    asked: dict[Factor, object] = {}
    for name, value in recipe.items():
        factor = find_factor(effects.factors, name)
        if factor in asked:
            raise ModelError(f"recipe, {factor.name}", "it is given twice", "give it once")
        asked[factor] = value
    notes, values = [], {}
    for factor, value in asked.items():
        values[factor.heading], told = _value(factor, value)
        notes += told
    given = [factor for factor in asked if not factor.constant]
    row = np.zeros(effects.fitted.X.shape[1])
    row[0] = 1
    table = pd.DataFrame({factor.heading: [values[factor.heading]] for factor in given})
    for term, span in effects.fitted.spans.items():
        if all(factor in asked for factor in term.factors):
            row[span] = term.code(table)[0]
    for factor in effects.factors:
        if factor not in asked and not factor.constant:
            mean = (
                amount_in_words(factor, float(effects.rows.table[factor.heading].mean()))
                if (factor.is_amount)
                else "the mean of its levels"
            )
            notes.append(f"{label(factor)} was not given: taken at {mean}")
    return row, values, notes


def _value(factor: Factor, value: object) -> tuple[object, list[str]]:
    if not factor.is_amount:
        value = {True: "yes", False: "no"}[bool(value)] if isinstance(value, bool | np.bool_) else value
        if str(value) not in factor.levels:
            raise UnknownNameError(
                f"{factor.name} '{value}'",
                "no pot fired had it",
                f"it can be {', '.join(factor.levels)}",
            )
        return str(value), []
    try:
        amount = float(value)
    except (TypeError, ValueError):
        amount = np.nan
    if not np.isfinite(amount):
        raise ModelError(
            f"{factor.name} {value!r}", "it is no number", f"write the amount in {factor.unit or 'numbers'}"
        )
    if amount < 0 <= factor.low and factor.unit not in SCALES:
        raise ModelError(f"{factor.name} {value!r}", "it is below zero", "write the amount that was used")
    if factor.constant and amount != factor.low:
        raise ModelError(
            f"{factor.name} {value!r}",
            f"every pot fired had {amount_in_words(factor, factor.low)}, so nothing tells what another does",
            "leave it out, or fire pots that differ in it",
        )
    if factor.low <= amount <= factor.high:
        return amount, []
    return amount, [
        f"{label(factor)} {amount_in_words(factor, amount)} lies outside the {tried_in_words(factor)} tried"
    ]


def said_recipe(recipe: Mapping[str, object]) -> str:
    """Write a recipe.

    Examples
    --------
    >>> said_recipe({"sugar [g]": 2.0, "clay": "buff", "peak_C": 750.0})
    'sugar 2 g, clay buff, peak 750 °C'
    """
    parts = []
    for heading, value in recipe.items():
        factor = Factor(heading, parse_heading(heading).name, unit_of(heading))
        said = amount_in_words(factor, value) if isinstance(value, float) else str(value)
        parts.append(f"{label(factor)} {said}")
    return ", ".join(parts) or "a pot of the mean recipe"
