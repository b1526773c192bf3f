"""The whole way once: from a batch book to tables, charts and a written answer."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import pandas as pd

from sagglab.book import Book
from sagglab.colour import AXES
from sagglab.errors import ModelError
from sagglab.measures import result_columns
from sagglab.model.colours import ColourEffects, fit_colour
from sagglab.model.dose import Doses, compare_doses
from sagglab.model.effects import Effects
from sagglab.model.matched import Comparison, compare
from sagglab.setups.correction import Correction
from sagglab.study.answer import Study
from sagglab.study.asking import askable, check_question, judge
from sagglab.study.files import write_study
from sagglab.study.measured import MeasuredBook, measure_book

#: An amount of fewer steps has no shape to tell.
FEWEST_STEPS = 3


def study(
    book: Book,
    into: Path,
    outcome: str = "L*",
    factors: Sequence[str] | None = None,
    jobs: int = -1,
    afresh: bool = False,
    corrections: Sequence[Correction] = (),
    **options: Any,
) -> Study:
    """Go the whole way, and write tables, charts, review pictures and the answer into a folder.

    Parameters
    ----------
    book : Book
    into : Path
        As `measure_book` takes it.
    outcome : str
        The column of the results to explain; ``rating`` and ``state`` have models of their own.
    factors : sequence of str, optional
        What to judge; all that the book can tell of, unless given.
    jobs : int
        Processes that share the photographs; −1 takes one for each core.
    afresh : bool
        Whether to measure again what was measured before.
    corrections : sequence of Correction
        As `measure_book` takes them.
    **options
        As `fit_effects` takes them by name: ``forms``, ``squares``, ``together``, ``above``.

    Raises
    ------
    BookError
        The book has faults that make a number wrong.
    UnknownNameError
        The results will have no such outcome or factor.
    ModelError
        The book cannot answer.
    """
    # What is wrong with the question is told now, not after all photographs.
    expected = pd.DataFrame({name: pd.Series(dtype="float64") for name in result_columns(book)})
    own = [name for name in book.pots.columns if name in expected]
    outcome = check_question(expected.assign(**book.pots[own]), outcome, factors, options)
    measured = measure_book(book, into, jobs, afresh, corrections)
    done = study_results(measured, outcome, factors, **options)
    write_study(done, into)
    return done


def study_results(
    measured: MeasuredBook, outcome: str = "L*", factors: Sequence[str] | None = None, **options: Any
) -> Study:
    """Judge what a measured book says; as `study`, without measuring or writing."""
    results = measured.results
    if factors is None:
        factors, not_judged = askable(results, outcome)
    else:
        not_judged = ()
    if not factors:
        cause = f"no choice can be judged ({'; '.join(not_judged)})"
        raise ModelError(f"model of {outcome}", cause, "see what the reasons ask for")
    effects = judge(results, outcome, factors, **options)
    if not isinstance(effects, Effects):
        return Study(measured, effects, not_judged)
    return Study(
        measured,
        effects,
        not_judged,
        _colour(effects, results, factors, options),
        tuple(_side_by_side(effects, results)),
        tuple(_doses(effects, results)),
        effects.checks(),
    )


def _colour(
    effects: Effects, results: pd.DataFrame, factors: Sequence[str], options: dict[str, Any]
) -> ColourEffects | None:
    if effects.outcome not in AXES:
        return None
    with suppress(ModelError):  # a* or b* may have no scatter to be judged by; the outcome has its own answer
        return fit_colour(results, factors, **options)
    return None


def _side_by_side(effects: Effects, results: pd.DataFrame) -> list[Comparison]:
    found = []
    for factor in effects.factors:
        if factor.lacking or not factor.is_amount:
            with suppress(ModelError):  # no firing holds both: the effects judge it, from the firings
                found.append(compare(results, factor.heading, effects.outcome))
    return found


def _doses(effects: Effects, results: pd.DataFrame) -> list[Doses]:
    found = []
    for factor in effects.factors:
        if factor.lacking and len(factor.tried) >= FEWEST_STEPS and not effects.scale.is_share:
            others = [other.heading for other in effects.factors if other != factor]
            with suppress(
                ModelError
            ):  # too few firings to leave one out, or a dose that one firing alone had
                found.append(compare_doses(results, factor.heading, effects.outcome, others))
    return found
