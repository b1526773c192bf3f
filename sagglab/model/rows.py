"""Rows: which columns a question is about, and which rows of the table can answer it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.colour import AXES
from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.table_checks import (
    check_amount,
    check_arguments,
    check_measures,
    check_name_of_outcome,
    check_nested,
    check_pots,
    check_spelling,
)
from sagglab.model.terms import Factor, read_factor
from sagglab.model.wording import outcomes_like
from sagglab.pages.headings import columns_like
from sagglab.units import parse_heading


@dataclass(frozen=True)
class Rows:
    """The part of a table that a question can use.

    Attributes
    ----------
    table : DataFrame
        The columns outcome, groups and factors, tidied, every value present; and ``pot``,
        ``place``, ``L*``, ``a*``, ``b*`` where the table has them.
    outcome : str
        Its heading.
    groups : tuple of str
        The headings of what holds what, from the outermost.
    factors : tuple of Factor
    left_out : DataFrame
        Columns ``row`` (the table's index), ``pot`` and ``reason`` of each row that could not be used.
    colour : tuple of float or None
        Mean L*, a*, b* of the rows used, where the table has them.
    """

    table: pd.DataFrame
    outcome: str
    groups: tuple[str, ...]
    factors: tuple[Factor, ...]
    left_out: pd.DataFrame
    colour: tuple[float, float, float] | None

    @property
    def y(self) -> NDArray[np.float64]:
        """The outcome, shape (n,)."""
        return self.table[self.outcome].to_numpy(dtype=float)

    def labels(self, group: str) -> NDArray[np.object_]:
        """Name the group that each row belongs to, shape (n,)."""
        return self.table[group].to_numpy(dtype=object)


def find_column(table: pd.DataFrame, wanted: str, role: str) -> str:
    """Find a column by its heading or by its bare name.

    Parameters
    ----------
    table : DataFrame
    wanted : str
        ``sugar [g]`` or ``sugar``.
    role : str
        What the column is for, as the error names it.

    Raises
    ------
    UnknownNameError
        No such column.
    ModelError
        More than one column answers to the name.

    Examples
    --------
    >>> find_column(pd.DataFrame({"pot": ["p1"], "sugar [g]": [2.0]}), "sugar", "factor")
    'sugar [g]'
    """
    headings = [str(heading) for heading in table.columns]
    found = [heading for heading in headings if heading == wanted]
    found = found or [heading for heading in headings if parse_heading(heading).name == wanted]
    if not found:
        like = outcomes_like if role == "outcome" else columns_like
        raise UnknownNameError(f"{role} '{wanted}'", "the table has no such column", like(wanted, headings))
    if len(found) > 1:
        named = " and ".join(f"'{heading}'" for heading in found)
        remedy = "rename one of them" if len(set(found)) == 1 else "name one of them in full"
        raise ModelError(f"{role} '{wanted}'", f"it can mean {named}", remedy)
    return found[0]


def tidy(values: pd.Series) -> NDArray[np.float64] | NDArray[np.object_]:
    """Floats from a column of numbers, text from any other; what is blank or not finite becomes missing."""
    values = values.infer_objects()
    if pd.api.types.is_bool_dtype(values.dtype):
        return values.astype(object).map({True: "yes", False: "no"}).to_numpy(dtype=object)
    if pd.api.types.is_numeric_dtype(values.dtype):
        numbers = values.to_numpy(dtype=float, na_value=np.nan)
        return np.where(np.isfinite(numbers), numbers, np.nan)
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        # Days without their midnight.
        days = (values.dropna() == values.dropna().dt.normalize()).all()
        values = values.dt.strftime("%Y-%m-%d" if days else "%Y-%m-%d %H:%M")
    text = [
        None if missing else str(value).strip() for value, missing in zip(values, values.isna(), strict=True)
    ]
    return np.array([value or None for value in text], dtype=object)


def read_rows(
    results: pd.DataFrame,
    outcome: str,
    factors: Sequence[str],
    groups: Sequence[str],
    forms: Mapping[str, str] | None = None,
) -> Rows:
    """Find the columns that a question is about, leave out the rows that lack one, and check what is left.

    Parameters
    ----------
    results : DataFrame
    outcome : str
        A column of numbers, by heading or bare name.
    factors : sequence of str
        At least one.
    groups : sequence of str
        The columns of what holds what, from the outermost: ``["day", "firing"]``. Where one of them is not
        ``pot``, a column ``pot`` must not name a pot twice.
    forms : mapping of str to str, optional
        The form in which an amount enters, by factor; one of `terms.FORMS`.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        No factors, a column named twice, no usable rows, words for numbers, a pot in two rows.
    """
    check_arguments(results, factors, forms)
    results = results.rename(columns=str)
    outcome = find_column(results, outcome, "outcome")
    groups = tuple(find_column(results, group, "column") for group in groups)
    headings = [find_column(results, factor, "factor") for factor in factors]
    roles = [outcome, *groups, *headings]
    twice = sorted({heading for heading in roles if roles.count(heading) > 1})
    if twice:
        raise ModelError(
            f"column '{', '.join(twice)}'",
            "it is named twice",
            "name each column once: as outcome, firing or factor",
        )
    tidied = {heading: tidy(results[heading]) for heading in roles}
    tidied |= {group: _tags(tidied[group]) for group in groups}
    missing = {heading: pd.isna(values) for heading, values in tidied.items()}
    bad = np.any(list(missing.values()), axis=0)
    used = pd.DataFrame(
        {heading: values[~bad] for heading, values in tidied.items()}, index=results.index[~bad]
    )
    if used.empty:
        raise ModelError(
            f"model of {outcome}",
            f"no row has all of {', '.join(roles)}",
            "fill in the gaps, or leave out the factor that is blank",
        )
    for heading in headings:
        check_amount(heading, results[heading])
        if used[heading].dtype != float:
            check_spelling(heading, used[heading].to_numpy(), "factor")
    for group in groups:
        check_spelling(group, used[group].to_numpy(), "column")
    for outer, inner in pairwise(groups):
        check_nested(outer, inner, used)
    if "pot" in results and "pot" not in groups:
        check_pots(tidy(results["pot"]), tidied[groups[-1]])
    if used[outcome].dtype != float:
        raise ModelError(f"outcome '{outcome}'", "it is not a column of numbers", "name one that is")
    reasons = [
        "no " + ", no ".join(heading for heading, gaps in missing.items() if gaps[row])
        for row in np.flatnonzero(bad)
    ]
    index = results.index[bad]
    pots = results["pot"].to_numpy(dtype=object)[bad] if "pot" in results else index.to_numpy(dtype=object)
    left_out = pd.DataFrame({"row": index, "pot": pots, "reason": pd.Series(reasons, dtype="str")})
    for heading in ("pot", "place", *AXES):
        if heading in results and heading not in used:
            used[heading] = tidy(results[heading])[~bad]
    factors = _factors(results, used, headings, forms or {})
    return Rows(used, outcome, groups, factors, left_out, _mean_colour(used))


def _factors(
    results: pd.DataFrame, used: pd.DataFrame, headings: list[str], forms: Mapping[str, str]
) -> tuple[Factor, ...]:
    names = [parse_heading(heading).name for heading in headings]
    asked = {find_column(used[headings], name, "form"): form for name, form in forms.items()}
    return tuple(
        read_factor(
            heading,
            used[heading],
            _order(results[heading]),
            names.count(name) > 1,
            asked.get(heading, "amount"),
        )
        for heading, name in zip(headings, names, strict=True)
    )


def read_measures(
    results: pd.DataFrame,
    outcome: str,
    factors: Sequence[str],
    groups: Sequence[str],
    forms: Mapping[str, str] | None = None,
) -> Rows:
    """Read rows as `read_rows`, for an outcome that is a measure, whose mean says something.

    Raises
    ------
    UnknownNameError, ModelError
        As `read_rows`; and for angles, ratings, an outcome that never differs, a lightness that cannot be.
    """
    check_name_of_outcome(outcome)
    rows = read_rows(results, outcome, factors, groups, forms)
    check_measures(rows.outcome, rows.y)
    return rows


def _tags(values: NDArray) -> NDArray[np.object_]:
    """Names from numbers: firing 3, not 3.0."""
    if values.dtype != float:
        return values
    return np.array([None if np.isnan(value) else f"{value:g}" for value in values], dtype=object)


def _mean_colour(used: pd.DataFrame) -> tuple[float, float, float] | None:
    if not set(AXES) <= set(used.columns):
        return None
    held = [used[name].to_numpy() for name in AXES]
    if any(values.dtype != float or np.isnan(values).all() for values in held):
        return None
    return tuple(float(np.nanmean(values)) for values in held)


def _order(values: pd.Series) -> list[str]:
    return (
        [str(level).strip() for level in values.cat.categories]
        if isinstance(values.dtype, pd.CategoricalDtype)
        else []
    )
