"""A batch book with all that was measured: tables, review pictures, and what went wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.errors import Problem, Problems, SagglabError
from sagglab.firing.departures import departures
from sagglab.firing.record_place import firing_readings, firing_schedule
from sagglab.measures import gather_results, measure_firings, measure_photos
from sagglab.photo.flags import FLAGS
from sagglab.setups.correction import Correction
from sagglab.study.left import leave, table_text, take_away
from sagglab.units import both_scales

#: Most photographs that are named one by one when they share a flag.
NAMED = 3

_TABLES = ("measures", "firings", "results")


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
        """All that went wrong with the book, its records and its photographs, each told once.

        What makes colours less sure is told once for all the photographs that are flagged with it.
        """
        found = list(self.book.problems)
        for table, key, rows in (("firings", "firing", self.firings), ("photos", "photo", self.measures)):
            own = getattr(self.book, table)
            told = {own[key].get(problem.row) for problem in self.book.problems.of(table)}
            for row in rows[rows["problems"] != ""].to_dict("records"):
                if row[key] not in told:
                    found.append(Problem(table, row[key], "", row["problems"], "", stops=False))
        return Problems([*found, *_flag_lines(self.measures)])

    def firing_lines(self) -> list[str]:
        """Say what each firing did, with its bounds, and how it kept to its schedule."""
        return [_firing_line(self.book, row) for row in self.firings.to_dict("records")]


def _flag_lines(measures: pd.DataFrame) -> list[Problem]:
    # Blank where the table was read back from its file.
    flags = measures["flags"].astype(object).fillna("").str.split("; ").explode()
    found = []
    for name in (name for name in flags.unique() if name):
        photos = measures.loc[flags.index[flags == name], "photo"]
        many = "1 photograph is" if len(photos) == 1 else f"{len(photos)} photographs are"
        named = f" ({', '.join(photos)})" if len(photos) <= NAMED else ""
        _, remedy = FLAGS[name]
        found.append(
            Problem("photos", None, "", f"{many} flagged '{name}'{named}", remedy, stops=False, flag=name)
        )
    return found


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


def measure_book(
    book: Book,
    into: Path,
    jobs: int = -1,
    afresh: bool = False,
    corrections: Sequence[Correction] = (),
) -> MeasuredBook:
    """Measure all of a book, and write tables and review pictures into a folder.

    Parameters
    ----------
    book : Book
    into : Path
        Made where it is missing. Tables of the same name are replaced, and so is the folder ``review``'s
        content, which would otherwise mix two books.
    jobs : int
        Processes that share the photographs; −1 takes one for each core.
    afresh : bool
        Whether to measure again what was measured before.
    corrections : sequence of Correction
        Each brings the colours of one setup to another's; nothing is corrected unless asked for.

    Raises
    ------
    BookError
        The book has faults that make a number wrong.
    """
    book.require("pots", "firings", "photos", "setups")
    book.require_entries()
    reviews = charts.reviews_in(into / "review")
    measures = measure_photos(book, jobs, reviews, afresh=afresh)
    # Only now, so that a run that is stopped leaves what it had not yet come to.
    drawn = measures.loc[measures["mean ΔE00"].notna(), "photo"]
    pictures = [reviews.path(photo, ending).name for photo in drawn for ending in (".jpg", "-small.jpg")]
    take_away(reviews.folder, ["*.jpg"], pictures)
    for correction in corrections:
        measures = correction.apply(measures)
    measured = MeasuredBook(book, measures, measure_firings(book), gather_results(book, measures))
    leave(into, {f"{name}.csv": table_text(getattr(measured, name)) for name in _TABLES})
    return measured
