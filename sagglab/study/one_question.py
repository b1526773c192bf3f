"""One question asked of a book's results: in the reader's words, with its answer, its doubt and its chart."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

import pandas as pd

from sagglab import charts
from sagglab.errors import ModelError
from sagglab.handout.handout import Drawing
from sagglab.model.dose import Doses, compare_doses
from sagglab.model.effects import Effects
from sagglab.model.odds import Odds
from sagglab.model.rows import find_column
from sagglab.model.terms import SCALES, Factor
from sagglab.model.wording import count, label, words_for
from sagglab.pages.headings import unit_of
from sagglab.study.answer import sureness
from sagglab.study.asking import LOSSES, RATING, askable, judge
from sagglab.study.whole import FEWEST_STEPS
from sagglab.units import parse_heading

#: A choice of more levels has no strip of pots for each.
_STRIPS = 8


@dataclass(frozen=True)
class Answered:
    """A question and what the pots say to it.

    Attributes
    ----------
    outcome : str
    heading : str or None
        The column that is asked about; None where nothing can be asked.
    question : str
        In the reader's words.
    answer : str
        One sentence with its doubt; or why these pots cannot tell.
    effects : Effects, Odds or None
        Of all that was judged together with it; None where the pots cannot tell.
    doses : Doses or None
        For an amount of three steps or more, the shape that it follows.
    """

    outcome: str
    heading: str | None
    question: str
    answer: str
    effects: Effects | Odds | None = None
    doses: Doses | None = None


def answer_question(results: pd.DataFrame, question: str | None = None, outcome: str = "L*") -> Answered:
    """Ask what one choice did to an outcome, with all others that the pots can judge allowed for.

    Parameters
    ----------
    results : DataFrame
        From `measures.gather_results`.
    question : str, optional
        The column, by its heading or its bare name; what showed most surely, unless given.
    outcome : str

    Returns
    -------
    Answered
        Where the pots cannot tell, it says why.

    Raises
    ------
    UnknownNameError
        There is no such column.
    """
    outcome = find_column(results, outcome, "outcome")
    heading = None if question is None else find_column(results, question, "question")
    not_judged: Sequence[str] = ()
    try:
        factors, not_judged = askable(results, outcome)
        if heading is not None and heading not in factors:
            # What nobody chose, as the wind, may be asked about; what cannot be told, the model says why.
            factors = [*factors, heading]
        if not factors:
            return _unanswered(results, None, outcome, not_judged)
        effects = judge(results, outcome, factors)
    except ModelError as error:
        return _unanswered(results, heading, outcome, [f"{error.where}: {error.cause}"])
    heading = heading or min(effects.factors, key=partial(sureness, effects)).heading
    others = [factor for factor in factors if factor != heading]
    return Answered(
        outcome,
        heading,
        in_words(results, heading, outcome),
        _counted(results, outcome) + effects.sentence(heading),
        effects,
        _doses(effects, results, heading, others),
    )


def _unanswered(results: pd.DataFrame, heading: str | None, outcome: str, reasons: Sequence[str]) -> Answered:
    if not results[outcome].notna().any():
        reasons = ["no pot has been measured yet"]
    why = "; ".join(reasons) or "too few pots have been fired"
    return Answered(outcome, heading, in_words(results, heading, outcome), f"These pots cannot tell: {why}.")


def _counted(results: pd.DataFrame, outcome: str) -> str:
    """Count the pots that were lost: odds of few of them say little by themselves."""
    if outcome != LOSSES:
        return ""
    states = results.loc[results[LOSSES] != "", LOSSES]
    return f"{(states != 'whole').sum()} of {count(len(states), 'pot')} cracked or got lost. "


def in_words(results: pd.DataFrame, heading: str | None, outcome: str) -> str:
    """Ask the question as a reader would.

    Examples
    --------
    >>> table = pd.DataFrame({"sugar [g]": [0.0, 4], "clay": ["buff", "white"], "L*": [50.0, 40]})
    >>> in_words(table, "sugar [g]", "L*")
    'Do pots with sugar come out darker or lighter, and by how much?'
    >>> in_words(table, "clay", "L*")
    'Do pots of one clay come out darker or lighter than those of another, and by how much?'
    """
    came_out = _came_out(outcome)
    if heading is None:
        return f"Do pots {came_out} by what they were given, and by how much?"
    unit, name = unit_of(heading), spoken(heading)
    if not pd.api.types.is_numeric_dtype(results[heading].dtype):
        of = "of" if name == "clay" else "with"
        return f"Do pots {of} one {name} {came_out} than those {of} another, and by how much?"
    if unit in ("", *SCALES):
        return f"Do pots {came_out} with a higher {name}, and by how much?"
    return f"Do pots with {name} {came_out}, and by how much?"


def spoken(heading: str) -> str:
    """Name a column as a reader would.

    Examples
    --------
    >>> spoken("sugar [g]"), spoken("peak_C")
    ('sugar', 'peak')
    """
    return label(Factor(heading, parse_heading(heading).name, unit_of(heading)))


def _came_out(outcome: str) -> str:
    if outcome == LOSSES:
        return "crack or get lost more often"
    if outcome == RATING:
        return "get higher or lower ratings"
    words = words_for(outcome)
    if words.tail and words.unit == "percentage points":
        return f"come out with a {words.less} or {words.more} {parse_heading(outcome).name}"
    return f"come out {words.less} or {words.more}{words.tail}"


def _doses(
    effects: Effects | Odds, results: pd.DataFrame, heading: str, others: Sequence[str]
) -> Doses | None:
    factor = next(factor for factor in effects.factors if factor.heading == heading)
    if isinstance(effects, Odds) or effects.scale.is_share:
        return None
    if factor.lacking and len(factor.tried) >= FEWEST_STEPS:
        with suppress(ModelError):  # too few firings to leave one out: the effects stand alone
            return compare_doses(results, heading, effects.outcome, others)
    return None


def drawing_of(answered: Answered, results: pd.DataFrame) -> Drawing | None:
    """Draw the chart that an answer rests on: of doses, else pots in strips, else effects; None where none.

    Parameters
    ----------
    answered : Answered
    results : DataFrame
        The same that was asked.
    """
    if answered.doses is not None:
        doses = answered.doses
        # A student needs the shape that the answer goes by; the others stand in the study.
        curve = doses.curve[doses.curve["shape"] == doses.best]
        return Drawing.of(charts.dose_chart(replace(doses, curve=curve)))
    if answered.heading is None or not results["L*"].notna().any():
        return None
    few = results[answered.heading].nunique() <= _STRIPS
    if few and answered.outcome in (RATING, LOSSES):  # neither has a mean to draw
        return Drawing.of(charts.pot_swatches(results, answered.heading))
    if few:
        return Drawing.of(charts.outcome_strips(results, answered.heading, answered.outcome))
    if isinstance(answered.effects, Effects):
        return Drawing.of(charts.effect_chart(answered.effects))
    return None
