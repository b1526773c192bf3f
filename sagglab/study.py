"""The whole way once: from a batch book to tables, charts and a written answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.cautions import cautions
from sagglab.columns import BOOK_TABLES
from sagglab.errors import ModelError, Problem, Problems, SagglabError
from sagglab.firing.readings import Readings, read_readings
from sagglab.measures import gather_results, measure_firings, measure_photos, result_columns
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.terms import find_column

#: A text column with more levels than this is a remark, not a choice that pots share.
MOST_LEVELS = 6


@dataclass(frozen=True)
class Study:
    """What a batch book says, and what it cannot say.

    Attributes
    ----------
    book : Book
    measures : DataFrame
        One row per view.
    firings : DataFrame
        One row per firing.
    results : DataFrame
        One row per pot.
    effects : Effects
    passed_over : dict of str
        Each factor that was not judged, with the reason.
    """

    book: Book
    measures: pd.DataFrame
    firings: pd.DataFrame
    results: pd.DataFrame
    effects: Effects
    passed_over: dict[str, str]

    @property
    def problems(self) -> Problems:
        """All that went wrong with the book, its records and its photographs."""
        found = list(self.book.problems)
        for table, key, rows in (
            ("firings", "firing", self.firings),
            ("photos", "photo", self.measures),
        ):
            for row in rows[rows["problems"] != ""].to_dict("records"):
                remedy = "see the review picture" if key == "photo" else "look at its record"
                found.append(Problem(table, row[key], "", row["problems"], remedy, stops=False))
        return Problems(found)

    def answer(self) -> str:
        """Write the answer down, in Markdown: what was found, what was passed over, what went wrong."""
        measured = int(self.results["L*"].notna().sum())
        lines = [
            f"# What changed {self.effects.outcome}",
            "",
            f"{measured} of {len(self.results)} pots measured on {len(self.measures)} photographs, "
            f"fired in {len(self.firings)} firings.",
            "",
            *(f"- {sentence}" for sentence in self.effects.sentences()),
        ]
        if self.passed_over:
            lines += ["", "## Not judged", ""]
            lines += [f"- {name}: {reason}." for name, reason in self.passed_over.items()]
        if self.problems:
            lines += ["", "## To look at", "", *(f"- {problem}" for problem in self.problems)]
        pots = self.book.pots
        lines += ["", "## Cautions", ""]
        lines += [f"- {caution}" for caution in cautions(pots, self.firings["peak_C"].max())]
        return "\n".join(lines) + "\n"


def study(
    book: Book,
    into: Path,
    outcome: str = "L*",
    factors: Sequence[str] | None = None,
    jobs: int = -1,
) -> Study:
    """Go the whole way, and write tables, charts, review pictures and the answer into a folder.

    Parameters
    ----------
    book : Book
    into : Path
        Made where it is missing; files of the same name are replaced.
    outcome : str
        The column of the results to explain.
    factors : sequence of str, optional
        What to judge; all that the book can tell of, unless given.
    jobs : int
        Processes that share the photographs; −1 takes one for each core.

    Raises
    ------
    BookError
        The book has faults that make a number wrong.
    UnknownNameError
        The results will have no such outcome or factor.
    ModelError
        The book cannot answer.
    """
    book.require("pots", "firings", "photos", "setups")
    expected = pd.DataFrame(columns=result_columns(book))
    for name, role in ((outcome, "outcome"), *((factor, "factor") for factor in factors or ())):
        find_column(expected, name, role)  # a misspelt name is told now, not after all photographs
    reviews = into / "review"
    reviews.mkdir(parents=True, exist_ok=True)
    measures = measure_photos(book, jobs=jobs, review=partial(charts.save_review, reviews))
    results = gather_results(book, measures)
    passed_over: dict[str, str] = {}
    if factors is None:
        factors, passed_over = askable(results, outcome)
    effects = fit_effects(results, outcome=outcome, factors=factors)
    done = Study(book, measures, measure_firings(book), results, effects, passed_over)
    _write(done, into)
    return done


def askable(results: pd.DataFrame, outcome: str = "L*") -> tuple[list[str], dict[str, str]]:
    """Tell which factors the results can judge together, and why not the others.

    Parameters
    ----------
    results : DataFrame
        From `measures.gather_results`.
    outcome : str

    Returns
    -------
    factors : list of str
        Recipe columns in their order, then the firing's peak.
    passed_over : dict of str
        The reason for each of the others.
    """
    named = {column.heading for columns in BOOK_TABLES.values() for column in columns} - {"clay"}
    own = list(results.columns[: results.columns.get_loc("peak_C")])
    candidates = [heading for heading in own if heading not in named] + ["peak_C"]
    seen = results[results[outcome].notna()]
    factors: list[str] = []
    passed_over: dict[str, str] = {}
    for heading in candidates:
        values = seen[heading]
        blank = int(values.isna().sum() + (values == "").sum())
        if blank == len(values):
            continue
        if blank:
            passed_over[heading] = f"it is blank for {blank} of {len(values)} pots"
        elif values.dtype != float and values.nunique() > MOST_LEVELS:
            passed_over[heading] = f"it has {values.nunique()} different words"
        else:
            try:
                fit_effects(seen, outcome=outcome, factors=[*factors, heading])
                factors.append(heading)
            except ModelError as error:
                passed_over[heading] = error.cause
    return factors, passed_over


def _write(done: Study, into: Path) -> None:
    for name, table in (
        ("measures", done.measures),
        ("firings", done.firings),
        ("results", done.results),
        ("effects", done.effects.table),
    ):
        table.to_csv(into / f"{name}.csv", index=False)
    charts.draw_to_files()
    charts.save_chart(charts.effect_chart(done.effects), into / "effects.png")
    charts.save_chart(charts.firing_curves(all_readings(done.book)), into / "firings.png")
    for factor in done.effects.factors:
        if factor.heading in done.book.pots:
            charts.save_chart(
                charts.pot_swatches(done.results, factor.heading), into / f"pots by {factor.name}.png"
            )
    (into / "answer.md").write_text(done.answer(), encoding="utf-8")


def all_readings(book: Book) -> dict[str, Readings]:
    """Read every record that can be read, by firing."""
    records = {}
    for firing, file in zip(book.firings["firing"], book.firings["readings"], strict=True):
        try:
            records[firing] = read_readings(book.path(file))
        except SagglabError:
            continue  # `measure_firings` lists it
    return records
