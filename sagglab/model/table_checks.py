"""Table checks: what a table of results must not hold, since the answer would be silently wrong."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.units import parse_heading


def check_arguments(results: object, factors: object, forms: object) -> None:
    """Refuse what is no table, no list of factors, or no forms."""
    if not isinstance(results, pd.DataFrame):
        raise ModelError(
            "results", f"a table is wanted, not {_kind(results)}", "give the DataFrame from gather_results"
        )
    if isinstance(factors, str):
        raise ModelError("factors", "a word was given where a list is wanted", f"write factors=['{factors}']")
    if not isinstance(factors, Sequence) or not len(factors):
        raise ModelError(
            "factors", "no list of factors was given", "name at least one, as in factors=['sugar']"
        )
    if forms is not None and not isinstance(forms, Mapping):
        raise ModelError(
            "forms", f"{_kind(forms)} is no form for each amount", f"write forms={{'{factors[0]}': 'log1p'}}"
        )


def _kind(value: object) -> str:
    return repr(value) if isinstance(value, str) or value is None else f"a {type(value).__name__}"


def check_name_of_outcome(outcome: str) -> None:
    """Refuse outcomes that have no mean."""
    if outcome.startswith("hue angle"):
        raise ModelError(
            f"outcome '{outcome}'",
            "angles run past 360° to 0°, so they have no mean",
            "ask for a* and b*, or for the colour as a whole with fit_colour",
        )
    if outcome == "rating":
        raise ModelError(
            f"outcome '{outcome}'",
            "it is an order, not a measure: the step from 1 to 2 need not be that from 4 to 5",
            "use fit_ratings",
        )


def check_measures(outcome: str, values: NDArray[np.float64]) -> None:
    """Refuse measures that are all the same, and a lightness that cannot be."""
    if values.min() == values.max():
        raise ModelError(
            f"outcome '{outcome}'",
            f"it is {values[0]:.4g} on every pot, so there is nothing to explain",
            "ask for an outcome that differs",
        )
    name = parse_heading(outcome).name
    # A calibration may carry a measured lightness a little past 0 or 100; a slip of the decimal goes further.
    if name in ("L*", "L* median") and (values.min() < -50 or values.max() > 150):
        wrong = values.min() if values.min() < -50 else values.max()
        raise ModelError(
            f"outcome '{outcome}'", f"L* lies between 0 and 100, and here is {wrong:.4g}", "mend the values"
        )


def check_amount(heading: str, values: pd.Series) -> None:
    """Refuse numbers kept as text, and words under a heading with a unit: amounts would become names."""
    if isinstance(values.dtype, pd.CategoricalDtype) or pd.api.types.is_numeric_dtype(values.dtype):
        return
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        return
    text = values.dropna().astype(str).str.strip()
    text = text[text != ""]
    numbers = pd.to_numeric(text.str.replace(",", ".", regex=False), errors="coerce")
    if len(text) and numbers.notna().all():
        raise ModelError(
            f"factor '{heading}'",
            f"its numbers are kept as text, as '{text.iloc[0]}'",
            "turn them into numbers with pandas.to_numeric, decimal commas into points first; where they are "
            "names, use astype('category')",
        )
    if parse_heading(heading).unit and len(text):
        raise ModelError(
            f"factor '{heading}'",
            f"it holds '{text[numbers.isna()].iloc[0]}', which is no number",
            "make it a column of numbers",
        )


def check_spelling(heading: str, values: NDArray[np.object_], role: str) -> None:
    """Refuse names that differ only in case or in blanks: they would count as two."""
    alike = defaultdict(set)
    for value in values:
        alike["".join(str(value).split()).casefold()].add(str(value))
    twice = [sorted(names) for names in alike.values() if len(names) > 1]
    if twice:
        named = ", ".join(" and ".join(f"'{name}'" for name in names) for names in twice)
        raise ModelError(
            f"{role} '{heading}'", f"{named} differ only in how they are written", "write them alike"
        )


def check_pots(pots: NDArray[np.object_], firings: NDArray[np.object_]) -> None:
    """Refuse a pot that counts more than once: two views of one pot are not two pots."""
    table = pd.DataFrame({"pot": pots, "firing": firings})
    twice = sorted(set(table.loc[table["pot"].notna() & table.duplicated(), "pot"].astype(str)))
    if twice:
        named = ", ".join(twice[:3]) + (f" and {len(twice) - 3} more" if len(twice) > 3 else "")
        raise ModelError(
            f"pot {named}",
            "it has more than one row, and a pot counts once",
            "gather its views into one row; fit_effects also takes views, with below='pot'",
        )


def check_nested(outer: str, inner: str, table: pd.DataFrame) -> None:
    """Refuse an inner group that lies in two outer ones, as a firing with two dates."""
    held = table.groupby(inner, sort=False)[outer].unique()
    split = held[held.map(len) > 1]
    if len(split):
        name, where = split.index[0], ", ".join(map(str, split.iloc[0][:3]))
        raise ModelError(
            f"{inner} '{name}'",
            f"it lies in more than one {outer}: {where}",
            f"mend the {outer}, or give each {inner} a tag of its own",
        )
