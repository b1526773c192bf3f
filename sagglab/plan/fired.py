"""Fired: the pots of a book or of its results, read as a plan has them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import PlanError, UnitError, UnknownNameError
from sagglab.model.rows import find_column, tidy
from sagglab.model.wording import count
from sagglab.pages.headings import unit_of
from sagglab.plan.factors import Factor
from sagglab.units import convert

#: What a firing's record calls what a plan sets.
_RECORDED_AS = {
    "peak": ("peak_C", "target peak [degC]"),
    "time": ("minutes_to_peak",),
    "time to peak": ("minutes_to_peak",),
}


def read_fired(
    fired: pd.DataFrame, factors: Sequence[Factor]
) -> tuple[pd.DataFrame, NDArray[np.float64], list[str]]:
    """Read the pots fired as the plan has them.

    Parameters
    ----------
    fired : DataFrame
        One row for each pot, with ``firing`` and each factor by heading, bare name, or as a record has it.
    factors : sequence of Factor

    Returns
    -------
    table : DataFrame
        ``firing`` and each factor under its heading, in its unit.
    codes : ndarray, shape (pots, factors)
        Each factor as `Factor.code` gives it; amounts may lie beyond −1 and 1.
    notes : list of str
        What was left out.

    Raises
    ------
    PlanError
        A column is not there or holds something else, or no pot can be used.
    """
    if not isinstance(fired, pd.DataFrame) or fired.empty:
        raise PlanError("pots fired", "there are none", "give the results of a book, one row for each pot")
    columns = {"firing": tidy(fired[_column(fired, "firing")])}
    for factor in factors:
        columns[factor.heading] = values_of(fired, factor)
    table = pd.DataFrame(columns)
    usable = table.notna().all(axis=1)
    for factor in factors:
        if not factor.is_amount:
            usable &= table[factor.heading].isin(factor.levels)
    if not usable.any():
        raise PlanError(
            "pots fired",
            f"none has all of {', '.join(factor.name for factor in factors)}, of kinds that the plan has",
            "give the factors the kinds that were fired",
        )
    kept = table[usable].astype({"firing": str}).reset_index(drop=True)
    codes = np.column_stack([factor.code(kept[factor.heading]) for factor in factors])
    lost = int((~usable).sum())
    told = f"{count(lost, 'pot')} of the book left out, for a blank or a kind that the plan has not"
    return kept, codes, [told] if lost else []


def values_of(fired: pd.DataFrame, factor: Factor) -> NDArray:
    """Give a factor's column of what was fired, in the factor's unit; what is blank is missing.

    Raises
    ------
    PlanError
        The column is not there, or holds something else.
    """
    heading = _column(fired, factor.name, *_RECORDED_AS.get(factor.name, ()))
    values = tidy(fired[heading])
    if factor.is_amount != (values.dtype == float):
        holds = "numbers" if values.dtype == float else "words"
        raise PlanError(f"pots fired, column '{heading}'", f"it holds {holds}", "give the factor such levels")
    unit = unit_of(heading)
    if not factor.is_amount or unit == factor.unit:
        return values
    try:
        return convert(values, unit, factor.unit)
    except UnitError as error:
        raise PlanError(
            f"pots fired, column '{heading}'", f"its unit is not that of factor {factor.name}", "correct one"
        ) from error


def _column(fired: pd.DataFrame, *names: str) -> str:
    found = []
    for name in names[1:]:
        with suppress(UnknownNameError):
            found.append(find_column(fired, name, "factor"))
    # A column that no firing filled, as where none has readings, gives way to the next.
    if filled := [heading for heading in found if fired[heading].notna().any()]:
        return filled[0]
    try:
        return find_column(fired, names[0], "factor")
    except UnknownNameError as error:
        if found:
            return found[0]
        raise PlanError(f"pots fired, {error.where}", error.cause, error.remedy) from error
