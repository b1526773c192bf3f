"""Rows: which columns a question is about, and which rows of the table can answer it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.terms import Factor, read_factor
from sagglab.units import parse_heading

#: The coordinates of a colour, which together say how it looks.
COORDINATES = ("L*", "a*", "b*")


@dataclass(frozen=True)
class Rows:
    """The part of a table that a question can use.

    Attributes
    ----------
    table : DataFrame
        The columns outcome, groups and factors, tidied, every value present; and ``pot``,
        ``place`` where the table has them.
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
        """Name the group that each row belongs to, within the groups that hold it, shape (n,)."""
        upto = self.groups[: self.groups.index(group) + 1]
        return np.array(
            ["\x1f".join(map(str, row)) for row in self.table[list(upto)].to_numpy()], dtype=object
        )


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
        raise UnknownNameError(
            f"{role} '{wanted}'", "the table has no such column", f"its columns are {', '.join(headings)}"
        )
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
    if isinstance(factors, str):
        raise ModelError("factors", "a word was given where a list is wanted", f"write factors=['{factors}']")
    if not len(factors):
        raise ModelError(
            "factors", "no list of factors was given", "name at least one, as in factors=['sugar']"
        )
    results = results.rename(columns=str)
    outcome = find_column(results, outcome, "outcome")
    groups = tuple(
        find_column(results, group, "group" if group != "firing" else "firing") for group in groups
    )
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
        _check_amount(heading, results[heading])
    if "pot" in results and "pot" not in groups:
        _check_pots(results, groups[-1])
    if used[outcome].dtype != float:
        raise ModelError(f"outcome '{outcome}'", "it is not a column of numbers", "name one that is")
    reasons = [
        "no " + ", no ".join(heading for heading, gaps in missing.items() if gaps[row])
        for row in np.flatnonzero(bad)
    ]
    index = results.index[bad]
    pots = results["pot"].to_numpy(dtype=object)[bad] if "pot" in results else index.to_numpy(dtype=object)
    left_out = pd.DataFrame({"row": index, "pot": pots, "reason": pd.Series(reasons, dtype="str")})
    for heading in ("pot", "place"):
        if heading in results and heading not in used:
            used[heading] = tidy(results[heading])[~bad]
    factors = _factors(results, used, headings, forms or {})
    return Rows(used, outcome, groups, factors, left_out, _mean_colour(results.loc[~bad]))


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


def _mean_colour(results: pd.DataFrame) -> tuple[float, float, float] | None:
    if not set(COORDINATES) <= set(results.columns):
        return None
    held = [tidy(results[name]) for name in COORDINATES]
    if any(values.dtype != float or np.isnan(values).all() for values in held):
        return None
    return tuple(float(np.nanmean(values)) for values in held)


def _check_amount(heading: str, values: pd.Series) -> None:
    """Refuse words under a heading with a unit: one slip would turn all amounts into names."""
    kept_as_levels = isinstance(values.dtype, pd.CategoricalDtype)
    if not parse_heading(heading).unit or kept_as_levels or pd.api.types.is_numeric_dtype(values.dtype):
        return
    words = sorted(set(values[pd.to_numeric(values, errors="coerce").isna() & values.notna()].astype(str)))
    told = f"it holds '{words[0]}', which is no number" if words else "its numbers are kept as text"
    raise ModelError(f"factor '{heading}'", told, "make it a column of numbers")


def _check_pots(results: pd.DataFrame, firing: str) -> None:
    """Refuse a pot that counts more than once: two views of one pot are not two pots."""
    pots = pd.DataFrame({"pot": tidy(results["pot"]), "firing": tidy(results[firing])})
    twice = pots[pots["pot"].notna() & pots.duplicated()]
    if len(twice):
        raise ModelError(
            f"pot {', '.join(sorted(set(twice['pot'].astype(str))))}",
            "it has more than one row, and a pot counts once",
            "gather its views into one row",
        )


def _order(values: pd.Series) -> list[str]:
    return (
        [str(level).strip() for level in values.cat.categories]
        if isinstance(values.dtype, pd.CategoricalDtype)
        else []
    )
