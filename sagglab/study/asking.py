"""Asking: which choices a book can judge, and the model that fits the outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from sagglab.columns import BOOK_TABLES, RESULTS
from sagglab.errors import ModelError, UnknownNameError
from sagglab.measures.results import OWN_MEASURES
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.losses import fit_losses
from sagglab.model.odds import Odds
from sagglab.model.ratings import fit_ratings
from sagglab.model.rows import find_column
from sagglab.model.table_checks import check_name_of_outcome
from sagglab.model.terms import FORMS, SCALES
from sagglab.pages.headings import unit_of

#: A text column with more levels than this is a remark, not a choice that pots share.
MOST_LEVELS = 6
#: Outcomes that are no measures: an order, and what became of the pot.
RATING, LOSSES = "rating", "state"
STAND_IN = "any outcome"
#: The one measure of a firing that is judged unasked, and what a reader calls it.
PEAK, PEAK_NAME = "peak_C", "peak temperature"

#: Columns that no one chose: measures, and the book's own records but for the clay.
NO_CHOICES = {column.heading for columns in (*BOOK_TABLES.values(), RESULTS) for column in columns} - {"clay"}


def askable(results: pd.DataFrame, outcome: str = "L*") -> tuple[list[str], tuple[str, ...]]:
    """Tell which choices the results can judge together, and why not the others.

    Parameters
    ----------
    results : DataFrame
        From `measures.gather_results`, or any table with a row for each pot and a column ``firing``.
    outcome : str

    Returns
    -------
    factors : list of str
        The columns that are neither measures nor the book's own records, in their order, then the firing's
        peak, where the results have it.
    not_judged : tuple of str
        Each of the others, with the reason.

    Raises
    ------
    UnknownNameError
        There is no such outcome.
    ModelError
        The outcome is not a column of numbers, or one that has no mean.

    Examples
    --------
    >>> pots = {"firing": ["f1", "f1", "f2", "f2"] * 2, "sugar [g]": [0, 4] * 4, "clay": "buff"}
    >>> askable(pd.DataFrame(pots | {"L*": [44, 40, 43, 41, 45, 40, 42, 39]}))
    (['sugar [g]'], ('clay: it is the same on every pot, so it explains no difference',))
    """
    outcome = find_column(results, outcome, "outcome")
    if outcome not in (RATING, LOSSES):
        check_name_of_outcome(outcome)
        if results[outcome].isna().all():
            raise ModelError(
                f"outcome '{outcome}'",
                "no pot has it yet",
                "photograph the pots with the colour target, and write each photograph into the table photos"
                if outcome in {column.heading for column in RESULTS}
                else "fill it in",
            )
        if not pd.api.types.is_numeric_dtype(results[outcome].dtype):
            raise ModelError(
                f"outcome '{outcome}'",
                "it holds words",
                "name a column of numbers, such as L*, a* or dark share",
            )
    seen = results[results[outcome].notna() & (results[outcome].astype(str) != "")]
    if outcome in (RATING, LOSSES):
        # Whether factors can be told apart is a question of the recipes: any numbers do for an outcome.
        stand_in = np.random.default_rng(0).normal(size=len(seen))
        # Joined on, not put in: results that were read back from a file come column by column, of which
        # pandas warns.
        seen = pd.concat([seen, pd.Series(stand_in, index=seen.index, name=STAND_IN)], axis=1)
    measured = NO_CHOICES | set(results.attrs.get(OWN_MEASURES, ()))
    candidates = [str(heading) for heading in results.columns if str(heading) not in measured]
    candidates += [PEAK] * (PEAK in results)
    factors: list[str] = []
    reasons: dict[str, str] = {}
    for heading in candidates:
        values = seen[heading]
        blank = int(values.isna().sum() + (values == "").sum())
        if blank == len(values) or heading == outcome:
            continue
        if blank:
            reasons[heading] = _blank(seen, heading)
        elif not pd.api.types.is_numeric_dtype(values.dtype) and values.nunique() > MOST_LEVELS:
            reasons[heading] = f"it has {values.nunique()} different words"
        else:
            try:
                fit_effects(seen, STAND_IN if STAND_IN in seen else outcome, [*factors, heading])
                factors.append(heading)
            except ModelError as error:
                reasons[heading] = error.cause
    if PEAK in reasons:
        reasons[PEAK_NAME] = reasons.pop(PEAK)
    return factors, tuple(f"{heading}: {reason}" for heading, reason in reasons.items())


def _blank(seen: pd.DataFrame, heading: str) -> str:
    """Say of how many pots a choice is blank, and what to do; of the peak, which firings have no record."""
    values = seen[heading]
    blank = values.isna() | (values == "")
    if heading == PEAK:
        firings = seen.loc[blank, "firing"].dropna().astype(str).unique()
        named = f"firing{'s' * (len(firings) > 1)} {', '.join(firings)}"
        return f"{named} {'have' if len(firings) > 1 else 'has'} no temperature record that could be read"
    remedy = "write 0 where there was none"
    if not pd.api.types.is_numeric_dtype(values.dtype):
        remedy = "write a word for it, such as none, where there was none"
    elif unit_of(heading) in ("", *SCALES):
        remedy = "fill in what it was"
    return f"it is blank for {blank.sum()} of {len(values)} pots; {remedy}"


def judge(results: pd.DataFrame, outcome: str, factors: Sequence[str], **options: Any) -> Effects | Odds:
    """Fit the model that the outcome asks for: ordered for a rating, of losses for a state, of measures else.

    Parameters
    ----------
    results : DataFrame
    outcome : str
    factors : sequence of str
    **options
        As `fit_effects` takes them by name.

    Raises
    ------
    ModelError, UnknownNameError
        As the models; or options are given for an outcome whose model has none.
    """
    if outcome not in (RATING, LOSSES):
        return fit_effects(results, outcome, factors, **options)
    _refuse_options(outcome, options)
    return fit_ratings(results, factors) if outcome == RATING else fit_losses(results, factors)


def check_question(
    expected: pd.DataFrame, outcome: str, factors: Sequence[str] | None, options: Mapping[str, Any]
) -> str:
    """Tell what is wrong with a question before anything is measured.

    Parameters
    ----------
    expected : DataFrame
        With the columns that the results will have; those of the book filled in.
    outcome : str
    factors : sequence of str or None
    options : mapping
        As `fit_effects` takes them by name.

    Returns
    -------
    str
        The outcome's heading.

    Raises
    ------
    UnknownNameError
        The results will have no such column, or there is no such form.
    ModelError
        The outcome has no mean or holds words; its model does not take the options; a square of words.
    """
    outcome = find_column(expected, outcome, "outcome")
    forms, squares, together = (options.get(name) or () for name in ("forms", "squares", "together"))
    for factor in factors or ():
        find_column(expected, factor, "factor")
    words = {name for name in expected if pd.api.types.is_string_dtype(expected[name].dtype)}
    pairs = [tuple(find_column(expected, name, "factor") for name in pair) for pair in together]
    for name, form in dict(forms).items():
        told = f"form '{form}' of {name}"
        if form not in FORMS:
            raise UnknownNameError(told, "there is no such form", f"it can be {', '.join(FORMS)}")
        if find_column(expected, name, "factor") in words:
            raise ModelError(told, "the column holds words", "leave its form out")
    for name in squares:
        if find_column(expected, name, "factor") in words:
            raise ModelError(f"square of {name}", "a category has none", "leave it out")
    if options.get("above"):
        find_column(expected, options["above"], "column")
    doubled = next((pair for pair in pairs if pair[0] == pair[1]), None)
    if doubled:
        raise ModelError(f"together {doubled[0]}", "it names one factor twice", "name two factors")
    if outcome in (RATING, LOSSES):
        _refuse_options(outcome, options)
    else:
        check_name_of_outcome(outcome)
        if outcome in words:
            raise ModelError(
                f"outcome '{outcome}'",
                "it holds words",
                "name a column of numbers, such as L*, a* or dark share",
            )
    return outcome


def _refuse_options(outcome: str, options: Mapping[str, Any]) -> None:
    asked = ", ".join(name for name, value in options.items() if value)
    if asked:
        raise ModelError(f"model of {outcome}", f"it does not take {asked}", f"leave {asked} out")
