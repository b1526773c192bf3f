"""The workshop handout and the class pack, the whole way: from a batch book to pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.cautions import cautions
from sagglab.charts.look import narrow
from sagglab.errors import PlanError
from sagglab.handout.class_pack import ClassPack, class_pack, names_of
from sagglab.handout.climb import peak_C, planned_climb
from sagglab.handout.firing_shown import firing_to_follow
from sagglab.handout.handout import Drawing, FiringToFollow, Handout, TryNext
from sagglab.handout.how_measured import how_measured
from sagglab.handout.in_short import in_short
from sagglab.handout.next_shown import peak_beside, try_next
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
class Asked:
    """A question asked of a measured book, from which a handout and a class pack are made.

    Attributes
    ----------
    measured : MeasuredBook
    answered : Answered
    plan_file : Path or None
        What the next batch shall be; None for a small one that asks the question once more.
    """

    measured: MeasuredBook
    answered: Answered
    plan_file: Path | None

    def handout(
        self,
        paper: str = PAPERS[0],
        ask: str = "",
        heading: str = "",
        note: str = "",
        dated: dt.date | None = None,
    ) -> Handout:
        """Make the handout; see `make_handout`."""
        book, results, answered = self.measured.book, self.measured.results, self.answered
        check_paper(paper)
        charts.draw_to_files()
        # What became of a pot has no order to stand in: cracked or not, they are shown from dark to light.
        outcome = "L*" if answered.outcome == LOSSES else answered.outcome
        pots, said = pots_shown(book, self.measured.measures, results, answered.heading, outcome)
        tags = [pot.pot for pot in pots] or results["pot"].astype(str).tolist()
        effects = answered.effects
        firing = firing_to_follow(book, results, tags)
        return Handout(
            question=ask or answered.question,
            answer=answered.answer,
            pots=pots,
            pots_said=_about_pots(said, answered, len(pots)),
            drawing=_drawing(answered, results),
            cards=recipe_cards(results, tags),
            firing=firing,
            next=self._next(firing),
            cautions=cautions(book.pots, _highest(self.measured), book.photos["after"]),
            measured=how_measured(self.measured.measures, self.measured.firings, effects),
            heading=heading,
            note=note,
            dated=dated or dt.date.today(),
            version=f"Batch book {book.version}, sagglab {version('sagglab')}",
            paper=paper,
            in_short="" if effects is None else in_short(effects, answered.heading),
        )

    def class_pack(
        self, participants: int | Iterable[str], paper: str = PAPERS[0], heading: str = ""
    ) -> ClassPack:
        """Make the class pack; see `make_class_pack`."""
        names = names_of(participants)
        return class_pack(self._planned(len(names)).sheet, names, paper, heading)

    def _planned(self, pots: int) -> PlannedBatch:
        book = self.measured.book
        if self.plan_file is not None:
            return plan_from_file(book, self.plan_file)
        return usual_plan(book, self.measured.results, self.answered, pots)

    def _next(self, followed: FiringToFollow | None) -> TryNext:
        try:
            planned = self._planned(USUAL_POTS)
        except PlanError:
            if self.plan_file is not None:
                raise
            return TryNext(
                ("Nothing to compare yet: fire some pots with one thing and some without.",), (), ()
            )
        # What a plan can tell is reckoned for means: of ratings and losses it says nothing. What would help
        # it is for whoever plans.
        of_means = self.answered.outcome not in (RATING, LOSSES)
        told = [one.told for one in planned.precision.foretold if of_means]
        if followed is not None:
            sheet = planned.sheet
            aims = [peak_C(sheet, one, planned_climb(sheet, one)) for one in sheet.firings["firing"]]
            whose = "the plan's" if self.plan_file is not None else "the middle of the book's target peaks"
            told = [*filter(None, [peak_beside(aims, followed, whose)]), *told]
        return try_next(planned.plan, told)


def ask_book(
    book: Book,
    question: str | None = None,
    outcome: str = "L*",
    plan: Path | None = None,
    jobs: int = -1,
    afresh: bool = False,
    corrections: Sequence[Correction] = (),
) -> Asked:
    """Measure a book, and ask it the question of a handout; parameters and errors as `make_handout`."""
    book.require("pots", "firings", "photos", "setups", "shelf")
    book.require_entries()
    measures = measure_photos(book, jobs, afresh=afresh)
    for correction in corrections:
        measures = correction.apply(measures)
    measured = MeasuredBook(book, measures, measure_firings(book), gather_results(book, measures))
    return Asked(measured, answer_question(measured.results, question, outcome), plan)


def make_handout(
    book: Book,
    question: str | None = None,
    paper: str = PAPERS[0],
    *,
    ask: str = "",
    heading: str = "",
    note: str = "",
    dated: dt.date | None = None,
    **asking: Any,
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
    ask : str
        The question in your own words, to stand in place of sagglab's.
    heading, note : str
        Whose workshop it is, and what else students shall read.
    dated : date, optional
        To be printed; today, unless given.
    **asking
        ``outcome``: what is to be explained, as ``a*`` or ``dark share``; ``L*``, unless given. ``plan``: a
        plan file, of which the next batch is told; a small batch that asks the question once more, unless
        given. ``jobs``, ``afresh``, ``corrections``: as `study` takes them.

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

    Examples
    --------
    >>> from dataclasses import replace
    >>> from sagglab import open_book
    >>> book = open_book("data/demo")
    >>> handout = make_handout(replace(book, photos=book.photos[:0], firings=book.firings[:0]), "sugar")
    >>> print(handout.question)
    Do pots with sugar come out darker or lighter, and by how much?
    >>> print(handout.answer)
    These pots cannot tell: no pot has been measured yet.
    """
    check_paper(paper)
    return ask_book(book, question, **asking).handout(paper, ask, heading, note, dated)


def make_class_pack(
    book: Book,
    participants: int | Iterable[str],
    question: str | None = None,
    paper: str = PAPERS[0],
    *,
    heading: str = "",
    **asking: Any,
) -> ClassPack:
    """Make what a class needs to fire the next batch together: tags, bench sheets, totals, cautions.

    Parameters
    ----------
    book : Book
    participants : int or iterable of str
        How many there are, or their names.
    question, paper, heading, **asking
        As `make_handout` takes them. Without a plan file each participant makes one pot of a batch that asks
        the question once more; with one, the plan's pots are shared out.

    Returns
    -------
    ClassPack

    Raises
    ------
    UnknownNameError, BookError, PlanError
        As `make_handout`; or there are no participants, or more than the plan has pots.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from sagglab import open_book
    >>> book = open_book("data/demo")
    >>> pack = make_class_pack(replace(book, photos=book.photos[:0]), ["Asa", "Bo", "Cem"], "sugar")
    >>> pack.table[["number", "participant", "pot"]].to_numpy().tolist()
    [[1, 'Asa', 'p37'], [2, 'Bo', 'p38'], [3, 'Cem', 'p39']]
    """
    check_paper(paper)
    names = names_of(participants)
    return ask_book(book, question, **asking).class_pack(names, paper, heading)


def _drawing(answered: Answered, results: pd.DataFrame) -> Drawing | None:
    """Draw the chart that an answer rests on, and once more for a phone."""
    drawn = drawing_of(answered, results)
    if drawn is None:
        return None
    with narrow():
        return drawn.on_phone(drawing_of(answered, results))


def _about_pots(said: str, answered: Answered, shown: int) -> str:
    """Say how the pots of the row were chosen, what else they differ in, and what the numbers mean."""
    name = "" if answered.heading is None else spoken(answered.heading)
    more = f"They differ in more than {name}: the answer allows for that, the row does not."
    told = [said, more if name and shown > 1 else "", outcome_explained(answered.outcome)]
    return " ".join(filter(None, told))


def _highest(measured: MeasuredBook) -> float:
    """Give the highest peak that was reached or aimed at; not a number where none is known."""
    return float(pd.concat([measured.firings["peak_C"], measured.book.firings["target peak [degC]"]]).max())
