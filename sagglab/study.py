"""The whole way once: from a batch book to tables, charts and a written answer."""

from __future__ import annotations

import re
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
from sagglab.firing.departures import departures
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_readings, firing_schedule
from sagglab.measures import all_readings, gather_results, measure_firings, measure_photos, result_columns
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.rows import find_column
from sagglab.model.sentences import LIMIT
from sagglab.units import both_scales

#: A text column with more levels than this is a remark, not a choice that pots share.
MOST_LEVELS = 6

#: What the numbers of an answer mean, for a reader who meets them first.
WORDS = (
    "L* is lightness: 0 is black, 100 is white, and a difference of about 1 can just be seen. a* goes from "
    "green (below 0) to red (above 0), b* from blue to yellow.",
    "The 95 % interval is what the pots leave open: of twenty such intervals, nineteen hold the true "
    "difference. Where it holds zero, the data cannot tell.",
)


@dataclass(frozen=True)
class MeasuredBook:
    """A batch book with all that was measured.

    Attributes
    ----------
    book : Book
    measures : DataFrame
        One row per view.
    firings : DataFrame
        One row per firing.
    results : DataFrame
        One row per pot.
    """

    book: Book
    measures: pd.DataFrame
    firings: pd.DataFrame
    results: pd.DataFrame

    @property
    def problems(self) -> Problems:
        """All that went wrong with the book, its records and its photographs, each told once."""
        found = list(self.book.problems)
        for table, key, rows in (("firings", "firing", self.firings), ("photos", "photo", self.measures)):
            own = getattr(self.book, table)
            told = {own[key].get(problem.row) for problem in self.book.problems.of(table)}
            for row in rows[rows["problems"] != ""].to_dict("records"):
                if row[key] not in told:
                    found.append(Problem(table, row[key], "", row["problems"], "", stops=False))
        return Problems(found)

    def firing_lines(self) -> list[str]:
        """Say what each firing did, with its bounds, and how it kept to its schedule."""
        return [_firing_line(self.book, row) for row in self.firings.to_dict("records")]


def _firing_line(book: Book, row: dict[str, object]) -> str:
    firing = row["firing"]
    if pd.isna(row["peak_C"]):
        return f"{firing}: {row['problems']}."
    low, high = row["peak_C low"], row["peak_C high"]
    said = (
        f"{firing}: peak {both_scales(row['peak_C'])}, between {low:.0f} and {high:.0f} °C, after "
        f"{row['minutes_to_peak']:.0f} min; {row['minutes_above_660_C']:.0f} min "
        f"({row['minutes_above_660_C low']:.0f} to {row['minutes_above_660_C high']:.0f}) above 660.3 °C."
    )
    try:
        schedule = firing_schedule(book, firing)
        if schedule is not None:
            said += f" {departures(firing_readings(book, firing), schedule).sentence}"
    except SagglabError as error:
        said += f" Its schedule: {error.cause}."
    return said


@dataclass(frozen=True)
class Study:
    """What a batch book says, and what it cannot say.

    Attributes
    ----------
    measured : MeasuredBook
    effects : Effects
    not_judged : tuple of str
        Each column that was not judged, with the reason.
    """

    measured: MeasuredBook
    effects: Effects
    not_judged: tuple[str, ...]

    @property
    def findings(self) -> tuple[str, ...]:
        """A sentence on how many choices showed, then one for each factor, those that showed first."""
        table = self.effects.table
        sure = set(table.loc[table["p Holm"] <= LIMIT, "term"])
        showed, open_still = [], []
        for factor in self.effects.factors:
            terms = {factor.presence().term_name, *(row.name for row in factor.rows())}
            (showed if terms & sure else open_still).append(factor)
        names = ", ".join(factor.name for factor in showed) or "none"
        first = (
            f"Of {len(self.effects.factors)} choices judged, {len(showed)} changed {self.effects.outcome} by "
            f"more than these pots leave open: {names}."
        )
        return (first, *(self.effects.sentence(factor.heading) for factor in [*showed, *open_still]))

    def answer(self) -> str:
        """Write the answer down, in Markdown: what was found, what was not judged, what went wrong."""
        results, measures = self.measured.results, self.measured.measures
        first, *sentences = self.findings
        lines = [
            f"# What changed {self.effects.outcome}",
            "",
            f"{results['L*'].notna().sum()} of {len(results)} pots measured, on "
            f"{measures['L*'].notna().sum()} photographs, fired in {len(self.measured.firings)} firings.",
            "",
            first,
            "",
            *(f"- {sentence}" for sentence in sentences),
            "",
            *WORDS,
        ]
        lines += ["", "## The firings", "", *(f"- {line}" for line in self.measured.firing_lines())]
        if self.not_judged:
            lines += ["", "## Not judged", "", *(f"- {line}." for line in self.not_judged)]
        if self.measured.problems:
            lines += ["", "## To look at", "", *(f"- {problem}" for problem in self.measured.problems)]
        said = cautions(self.measured.book.pots, self.measured.firings["peak_C"].max())
        lines += ["", "## Cautions", "", *(f"- {caution}" for caution in said)]
        return "\n".join(lines) + "\n"


def measure_book(book: Book, into: Path, jobs: int = -1) -> MeasuredBook:
    """Measure all of a book, and write tables and review pictures into a folder.

    Parameters
    ----------
    book : Book
    into : Path
        Made where it is missing. Tables of the same name are replaced, and so is the folder ``review``'s
        content, which would otherwise mix two books.
    jobs : int
        Processes that share the photographs; −1 takes one for each core.

    Raises
    ------
    BookError
        The book has faults that make a number wrong.
    """
    book.require("pots", "firings", "photos", "setups")
    reviews = into / "review"
    reviews.mkdir(parents=True, exist_ok=True)
    _clear(reviews, "*.jpg")
    measures = measure_photos(book, jobs=jobs, review=partial(charts.save_review, reviews))
    measured = MeasuredBook(book, measures, measure_firings(book), gather_results(book, measures))
    for name in ("measures", "firings", "results"):
        _write_table(getattr(measured, name), into / f"{name}.csv")
    return measured


def study(
    book: Book, into: Path, outcome: str = "L*", factors: Sequence[str] | None = None, jobs: int = -1
) -> Study:
    """Go the whole way, and write tables, charts, review pictures and the answer into a folder.

    Parameters
    ----------
    book : Book
    into : Path
        As `measure_book` takes it.
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
    expected = pd.DataFrame(columns=result_columns(book))
    # A misspelt name is told now, not after all photographs.
    outcome = find_column(expected, outcome, "outcome")
    for factor in factors or ():
        find_column(expected, factor, "factor")
    measured = measure_book(book, into, jobs)
    if factors is None:
        factors, not_judged = askable(measured.results, outcome)
    else:
        not_judged = ()
    if not factors:
        cause = f"no choice can be judged ({'; '.join(not_judged)})"
        raise ModelError(f"model of {outcome}", cause, "see what the reasons ask for")
    done = Study(measured, fit_effects(measured.results, outcome=outcome, factors=factors), not_judged)
    write_study(done, into)
    return done


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
    if not pd.api.types.is_numeric_dtype(results[outcome].dtype):
        raise ModelError(
            f"outcome '{outcome}'", "it holds words", "name a column of numbers, such as L*, a* or dark share"
        )
    named = {column.heading for columns in BOOK_TABLES.values() for column in columns} - {"clay"}
    own = list(results.columns[: results.columns.get_loc("peak_C")])
    candidates = [heading for heading in own if heading not in named] + ["peak_C"]
    seen = results[results[outcome].notna()]
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
                fit_effects(seen, outcome=outcome, factors=[*factors, heading])
                factors.append(heading)
            except ModelError as error:
                reasons[heading] = error.cause
    return factors, tuple(f"{heading}: {reason}" for heading, reason in reasons.items())


def write_study(done: Study, into: Path) -> None:
    """Write the effects, the charts and the answer into a folder, beside the tables of `measure_book`."""
    into.mkdir(parents=True, exist_ok=True)
    _write_table(done.effects.table, into / "effects.csv")
    charts.draw_to_files()
    charts.save_chart(charts.effect_chart(done.effects), into / "effects.png")
    records = all_readings(done.measured.book)
    charts.save_chart(charts.firing_curves(records), into / "firings.png")
    _clear(into, "firing *.png")
    for firing, readings in records.items():
        chart = _firing_chart(done.measured.book, firing, readings)
        charts.save_chart(chart, into / f"firing {_file_name(firing)}.png")
    _clear(into, "pots by *.png")
    for factor in done.effects.factors:
        if factor.heading in done.measured.book.pots:
            swatches = charts.pot_swatches(done.measured.results, factor.heading)
            charts.save_chart(swatches, into / f"pots by {_file_name(factor.name)}.png")
    (into / "answer.md").write_text(done.answer(), encoding="utf-8")


def _firing_chart(book: Book, firing: str, readings: Readings):
    target_C = book.firings.set_index("firing").loc[firing, "target peak [degC]"]
    try:
        schedule = firing_schedule(book, firing)
    except SagglabError:
        schedule = None  # the answer says what is wrong with it
    return charts.firing_curve(readings, None if pd.isna(target_C) else float(target_C), schedule=schedule)


def _file_name(name: str) -> str:
    """Take out of a name from a table whatever could lead elsewhere."""
    return re.sub(r"[^\w ()-]", "-", name)


def _clear(folder: Path, pattern: str) -> None:
    """Take away what an earlier run left under names that only sagglab gives."""
    for picture in folder.glob(pattern):
        picture.unlink()


def _write_table(table: pd.DataFrame, path: Path) -> None:
    # Eight digits: more than any measure holds, and no 24.999999999999975.
    table.to_csv(path, index=False, float_format="%.8g")
