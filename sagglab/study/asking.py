"""Asking: which choices a book can judge, and the model that fits the outcome."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from sagglab.columns import BOOK_TABLES
from sagglab.errors import ModelError
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.losses import fit_losses
from sagglab.model.odds import Odds
from sagglab.model.ratings import fit_ratings

#: A text column with more levels than this is a remark, not a choice that pots share.
MOST_LEVELS = 6
#: Outcomes that are no measures: an order, and what became of the pot.
RATING, LOSSES = "rating", "state"
STAND_IN = "any outcome"


def askable(results: pd.DataFrame, outcome: str = "L*") -> tuple[list[str], tuple[str, ...]]:
    """Tell which choices the results can judge together, and why not the others.

    Parameters
    ----------
    results : DataFrame
        From `measures.gather_results`.
    outcome : str

    Returns
    -------
    factors : list of str
        Recipe columns in their order, then the firing's peak.
    not_judged : tuple of str
        Each of the others, with the reason.

    Raises
    ------
    ModelError
        The outcome is not a column of numbers.
    """
    if outcome != LOSSES and not pd.api.types.is_numeric_dtype(results[outcome].dtype):
        raise ModelError(
            f"outcome '{outcome}'", "it holds words", "name a column of numbers, such as L*, a* or dark share"
        )
    named = {column.heading for columns in BOOK_TABLES.values() for column in columns} - {"clay"}
    own = list(results.columns[: results.columns.get_loc("peak_C")])
    candidates = [heading for heading in own if heading not in named] + ["peak_C"]
    seen = results[results[outcome].notna() & (results[outcome] != "")]
    if outcome in (RATING, LOSSES):
        # Whether factors can be told apart is a question of the recipes: any numbers do for an outcome.
        seen = seen.assign(**{STAND_IN: np.random.default_rng(0).normal(size=len(seen))})
    factors: list[str] = []
    reasons: dict[str, str] = {}
    for heading in candidates:
        values = seen[heading]
        blank = int(values.isna().sum() + (values == "").sum())
        if blank == len(values) or heading == outcome:
            continue
        if blank:
            reasons[heading] = f"it is blank for {blank} of {len(values)} pots; write 0 where there was none"
        elif values.dtype != float and values.nunique() > MOST_LEVELS:
            reasons[heading] = f"it has {values.nunique()} different words"
        else:
            try:
                fit_effects(seen, STAND_IN if STAND_IN in seen else outcome, [*factors, heading])
                factors.append(heading)
            except ModelError as error:
                reasons[heading] = error.cause
    return factors, tuple(f"{heading}: {reason}" for heading, reason in reasons.items())


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
    if any(options.values()):
        asked = ", ".join(name for name, value in options.items() if value)
        raise ModelError(f"model of {outcome}", f"it does not take {asked}", f"leave {asked} out")
    return fit_ratings(results, factors) if outcome == RATING else fit_losses(results, factors)
