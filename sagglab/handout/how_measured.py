"""How it was measured, in three lines: colour, heat, and what told the recipe from the firing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.columns.treated import views_after
from sagglab.handout.wording import span_in_both_scales
from sagglab.model.effects import Effects
from sagglab.model.odds import Odds
from sagglab.model.wording import count


def how_measured(
    measures: pd.DataFrame, firings: pd.DataFrame, effects: Effects | Odds | None
) -> tuple[str, str, str]:
    """Say in three lines how colour and heat were measured, and how the answer was reckoned.

    Parameters
    ----------
    measures : DataFrame
        From `measures.measure_photos`.
    firings : DataFrame
        From `measures.measure_firings`.
    effects : Effects, Odds or None
        What the answer is from.
    """
    return (_colour(measures), _heat(firings), _reckoned(effects))


def _colour(measures: pd.DataFrame) -> str:
    # Of pots as they came out, which alone are answered from.
    shown = views_after(measures[measures["L*"].notna()])
    if shown.empty:
        return "Colour: no pot has been measured."
    off = shown["left-out mean ΔE00"].median()
    error = f" (left-out patches ΔE00 {off:.1f} off)" if np.isfinite(off) else ""
    photographs, pots = count(len(shown), "photograph"), count(shown["pot"].nunique(), "pot")
    return f"Colour: {photographs} of {pots} with a target{error}; CIELAB, D50, 2°."


def _heat(firings: pd.DataFrame) -> str:
    known = firings[firings["peak_C"].notna()]
    if known.empty:
        return "Heat: no record of a firing could be read."
    width = known["peak_C high"] - known["peak_C low"]
    records, open_ended = count(len(known), "pyrometer record"), int((~np.isfinite(width)).sum())
    if open_ended:
        # A record that begins or ends at its hottest has no most.
        return f"Heat: {records}; of {open_ended} it is not known how much hotter the peak was."
    least_sure = known.loc[width.idxmax()]
    span = span_in_both_scales(least_sure["peak_C low"], least_sure["peak_C high"])
    which = f"the least sure peak, that of {least_sure['firing']}," if len(known) > 1 else "the peak"
    return f"Heat: {records}; {which} lies between {span}, by its sensor and the gaps in its record."


def _reckoned(effects: Effects | Odds | None) -> str:
    if effects is None:
        return "Reckoning: none, since these pots cannot tell."
    asked = len(effects.factors)
    together = f"{asked} choices together, " if asked > 1 else ""
    return f"Reckoning: {together}pots within firings; of twenty 95 % intervals nineteen hold the truth."
