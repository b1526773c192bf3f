"""The workshop handout and the class pack, the whole way: from a batch book to pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.cautions import cautions
from sagglab.errors import PlanError, Problems
from sagglab.handout.class_pack import ClassPack, class_pack, names_of
from sagglab.handout.firing_shown import firing_to_follow
from sagglab.handout.handout import Handout, TryNext
from sagglab.handout.how_measured import how_measured
from sagglab.handout.next_shown import try_next
from sagglab.handout.paper import check_paper
from sagglab.handout.pots_shown import pots_shown
from sagglab.handout.recipe_cards import recipe_cards
from sagglab.handout.wording import outcome_explained
from sagglab.measures import gather_results, measure_firings, measure_photos
from sagglab.plan.sheet import PAPERS
from sagglab.setups.correction import Correction
from sagglab.study.asking import LOSSES, RATING
from sagglab.study.measured import MeasuredBook
from sagglab.study.one_question import Answered, answer_question, drawing_of, spoken
from sagglab.study.planned import PlannedBatch, plan_from_file
from sagglab.study.usual_plan import usual_plan

#: A plan of ours has so many pots, where nobody says how many.
USUAL_POTS = 12


@dataclass(frozen=True)
class HandedOut:
    """What was handed out.

    Attributes
    ----------
    handout : Handout
    pack : ClassPack or None
    files : tuple of Path
        What was written.
    problems : Problems
        What is wrong with the book, its records and its photographs.
    """

    handout: Handout
    pack: ClassPack | None
    files: tuple[Path, ...]
    problems: Problems


@dataclass(frozen=True)
class _Asked:
    """A question asked of a measured book."""

    book: Book
    measures: pd.DataFrame
    firings: pd.DataFrame
    results: pd.DataFrame
    answered: Answered

    @property
    def problems(self) -> Problems:
        """All that went wrong, each told once."""
        return MeasuredBook(self.book, self.measures, self.firings, self.results).problems

    def planned(self, plan_file: Path | None, pots: int) -> PlannedBatch:
        """Plan as the file wants it, or as is usual."""
        if plan_file is not None:
            return plan_from_file(self.book, plan_file)
        return usual_plan(self.book, self.results, self.answered, pots)


def _ask(
    book: Book,
    question: str | None,
    outcome: str,
    jobs: int,
    afresh: bool,
    corrections: Sequence[Correction],
) -> _Asked:
    book.require("pots", "firings", "photos", "setups", "shelf")
    measures = measure_photos(book, jobs, afresh=afresh)
    for correction in corrections:
        measures = correction.apply(measures)
    results = gather_results(book, measures)
    return _Asked(book, measures, measure_firings(book), results, answer_question(results, question, outcome))


def make_handout(
    book: Book,
    question: str | None = None,
    paper: str = PAPERS[0],
    *,
    outcome: str = "L*",
    ask: str = "",
    heading: str = "",
    note: str = "",
    plan: Path | None = None,
    dated: dt.date | None = None,
    jobs: int = -1,
    afresh: bool = False,
    corrections: Sequence[Correction] = (),
) -> Handout:
    """Make a workshop handout: one question, what the pots say to it, and what to try next.

    Parameters
    ----------
    book : Book
    question : str, optional
        The choice that is asked about, by its column's heading or bare name, such as ``sugar``; that which
        showed most surely, unless given.
    paper : str
        ``A4`` or ``letter``.
    outcome : str
        What is to be explained, as ``L*``, ``a*`` or ``dark share``.
    ask : str
        The question in your own words, to stand in place of sagglab's.
    heading, note : str
        Whose workshop it is, and what else students shall read.
    plan : path, optional
        A plan file, of which the next batch is told. Where there is none, a small batch is planned that asks
        the question once more.
    dated : date, optional
        To be printed; today, unless given.
    jobs, afresh, corrections
        As `study` takes them.

    Returns
    -------
    Handout
        With ``pdf``, ``html`` and ``save(folder)``. Where the pots cannot tell, it says why, and holds all
        the rest.

    Raises
    ------
    UnknownNameError
        There is no such paper, or the results have no such outcome or question.
    BookError, PlanError
        The book has faults that make a number wrong; the plan file cannot be used.
    """
    check_paper(paper)
    asked = _ask(book, question, outcome, jobs, afresh, corrections)
    return _handout(asked, paper, ask, heading, note, plan, dated)


def _handout(
    asked: _Asked, paper: str, ask: str, heading: str, note: str, plan: Path | None, dated: dt.date | None
) -> Handout:
    book, firings, results, answered = asked.book, asked.firings, asked.results, asked.answered
    charts.draw_to_files()
    # What became of a pot has no order to stand in: those that cracked or not are shown from dark to light.
    outcome = "L*" if answered.outcome == LOSSES else answered.outcome
    pots, pots_said = pots_shown(book, asked.measures, results, answered.heading, outcome)
    tags = [pot.pot for pot in pots] or results["pot"].astype(str).tolist()
    return Handout(
        question=ask or answered.question,
        answer=answered.answer,
        pots=pots,
        pots_said=_about_pots(pots_said, answered, len(pots)),
        drawing=drawing_of(answered, results),
        cards=recipe_cards(results, tags),
        firing=firing_to_follow(book, results, tags),
        next=_next(asked, plan),
        cautions=cautions(book.pots, _highest(firings, book), book.photos["after"]),
        measured=how_measured(asked.measures, firings, answered.effects),
        heading=heading,
        note=note,
        dated=dated or dt.date.today(),
        version=f"batch book {book.version}, sagglab {version('sagglab')}",
        paper=paper,
    )


def make_class_pack(
    book: Book,
    participants: int | Sequence[str],
    question: str | None = None,
    paper: str = PAPERS[0],
    *,
    outcome: str = "L*",
    heading: str = "",
    plan: Path | None = None,
    jobs: int = -1,
    afresh: bool = False,
    corrections: Sequence[Correction] = (),
) -> ClassPack:
    """Make what a class needs to fire the next batch together: tags, bench sheets, totals, cautions.

    Parameters
    ----------
    book : Book
    participants : int or sequence of str
        How many there are, or their names.
    question, paper, outcome, heading, plan, jobs, afresh, corrections
        As `make_handout` takes them. Without a plan file each participant makes one pot of a batch that asks
        the question once more; with one, the plan's pots are shared out.

    Returns
    -------
    ClassPack

    Raises
    ------
    UnknownNameError, BookError, PlanError
        As `make_handout`; or there are no participants, or more than the plan has pots.
    """
    check_paper(paper)
    asked = _ask(book, question, outcome, jobs, afresh, corrections)
    return _class_pack(asked, participants, paper, heading, plan)


def _class_pack(
    asked: _Asked, participants: int | Sequence[str], paper: str, heading: str, plan: Path | None
) -> ClassPack:
    names = names_of(participants)
    return class_pack(asked.planned(plan, len(names)).sheet, names, paper, heading)


def hand_out(
    book: Book,
    into: Path,
    participants: int | Sequence[str] = 0,
    *,
    question: str | None = None,
    paper: str = PAPERS[0],
    outcome: str = "L*",
    ask: str = "",
    heading: str = "",
    note: str = "",
    plan: Path | None = None,
    jobs: int = -1,
    afresh: bool = False,
    corrections: Sequence[Correction] = (),
) -> HandedOut:
    """Write the handout, and the class pack where there are participants, into a folder.

    Parameters
    ----------
    book : Book
    into : Path
    participants : int or sequence of str
        As `make_class_pack` takes them; none, and there is no class pack.
    question, paper, outcome, ask, heading, note, plan, jobs, afresh, corrections
        As `make_handout` takes them.

    Returns
    -------
    HandedOut

    Raises
    ------
    UnknownNameError, BookError, PlanError
        As `make_class_pack`. The handout is written, too, where a class pack cannot be made.
    OSError
        The folder cannot be written into.
    """
    check_paper(paper)
    if participants:
        names_of(participants)
    into.mkdir(parents=True, exist_ok=True)  # where it cannot be made, that is told before all is measured
    asked = _ask(book, question, outcome, jobs, afresh, corrections)
    handout = _handout(asked, paper, ask, heading, note, plan, None)
    files = handout.save(into)
    if not participants:
        return HandedOut(handout, None, files, asked.problems)
    pack = _class_pack(asked, participants, paper, heading, plan)
    return HandedOut(handout, pack, (*files, *pack.save(into)), asked.problems)


def _about_pots(said: str, answered: Answered, shown: int) -> str:
    """Say how the pots of the row were chosen, what else they differ in, and what the numbers mean."""
    name = "" if answered.heading is None else spoken(answered.heading)
    more = f"They differ in more than {name}: the answer allows for that, the row does not."
    told = [said, more if name and shown > 1 else "", outcome_explained(answered.outcome)]
    return " ".join(filter(None, told))


def _next(asked: _Asked, plan: Path | None) -> TryNext | None:
    try:
        planned = asked.planned(plan, USUAL_POTS)
    except PlanError:
        if plan is not None:
            raise
        return TryNext(("Nothing to compare yet: fire some pots with one thing and some without.",), (), ())
    # What a plan can tell is reckoned for means: of ratings and losses it says nothing.
    told = () if asked.answered.outcome in (RATING, LOSSES) else planned.precision.sentences
    # What would help a plan is for whoever plans, and stands in `sagglab plan`.
    told = [sentence.partition(" What helps:")[0] for sentence in told]
    return try_next(planned.plan, told)


def _highest(firings: pd.DataFrame, book: Book) -> float:
    """Give the highest peak that was reached or aimed at; not a number where none is known."""
    peaks = pd.concat([firings["peak_C"], book.firings["target peak [degC]"]]).to_numpy(dtype=float)
    return float(np.nanmax(peaks)) if np.isfinite(peaks).any() else np.nan
