"""Measures: photographs to colour, firings to heat, and both joined with the recipes into results."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace

import joblib
import pandas as pd
from tqdm.auto import tqdm

from sagglab.book import Book
from sagglab.book.check import is_places
from sagglab.colour import lab_to_lch
from sagglab.columns import COLOUR_MEASURES, FIRING_MEASURES, MEASURES, RESULTS, conform
from sagglab.errors import Problem, Problems, SagglabError, UnknownNameError
from sagglab.firing.heat import heat_measures
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_readings, firing_schedule
from sagglab.firing.sensor import tolerance_C
from sagglab.photo.image import check_photo
from sagglab.photo.measure import MeasuredPhoto, measure_photo


def measure_photos(
    book: Book, jobs: int = -1, review: Callable[[MeasuredPhoto], object] | None = None
) -> pd.DataFrame:
    """Measure every photograph of a batch book, flat fields excepted.

    Parameters
    ----------
    book : Book
    jobs : int
        How many processes share the work, through joblib; −1 takes one for each core.
    review : callable, optional
        Called with each `MeasuredPhoto`, in the process that measured it, as `charts.save_review` can be.

    Returns
    -------
    DataFrame
        One row per view, in the columns that ``columns.MEASURES`` declares. A photograph that cannot be
        measured keeps its row, blank, with the reason in ``problems``.

    Raises
    ------
    BookError
        The tables ``photos`` or ``setups`` have faults that make a number wrong.
    """
    book.require("photos", "setups")
    flats = set(book.setups["flat"])
    photos = [row for row in book.photos.to_dict("records") if row["photo"] not in flats]
    tasks = (joblib.delayed(_measure_row)(book, row, review) for row in photos)
    measured = joblib.Parallel(n_jobs=jobs, return_as="generator")(tasks)
    bar = "{desc} {percentage:3.0f}% |{bar}| {n_fmt} of {total_fmt} photographs, {remaining} left"
    rows = list(tqdm(measured, total=len(photos), desc="measuring", bar_format=bar))
    return conform(rows, MEASURES)


def measure_view(book: Book, photo: str) -> MeasuredPhoto:
    """Measure one photograph as the book says: with its setup's target and flat field, and what was given.

    Parameters
    ----------
    book : Book
    photo : str
        The photograph as the table ``photos`` names it.

    Raises
    ------
    UnknownNameError
        The table ``photos`` has no such photograph, or ``setups`` not its setup.
    SagglabError
        As `measure_photo` raises them.
    """
    view = _row_of(book.photos, "photos", "photo", photo)
    setup = _row_of(book.setups, "setups", "setup", view["setup"])
    target, outline = setup["target"], view["pot outline"]
    return measure_photo(
        book.path(photo),
        target=book.path(target) if book.path(target).is_file() else target,
        flat=book.path(setup["flat"]) if setup["flat"] else None,
        outline=(outline if is_places(outline) else book.path(outline)) if outline else None,
        corners=view["target corners"] or None,
    )


def _row_of(table: pd.DataFrame, name: str, key: str, wanted: str) -> pd.Series:
    rows = table[table[key] == wanted]
    if rows.empty:
        raise UnknownNameError(f"{key} '{wanted}'", f"it is not in the table {name}", "add it there")
    return rows.iloc[0]


def _measure_row(
    book: Book, photo: dict[str, object], review: Callable[[MeasuredPhoto], object] | None
) -> dict[str, object]:
    about = {name: photo[name] for name in ("photo", "pot", "view", "setup", "taken")}
    try:
        measured = measure_view(book, photo["photo"])
    except SagglabError as error:
        return about | {"problems": f"{error.cause}; {error.remedy}"}
    if not photo["pot"]:
        # A photograph of the target alone has no pot to be found.
        its_own = Problems(problem for problem in measured.problems if problem.column != "pot outline")
        measured = replace(measured, problems=its_own)
    if review is not None:
        review(measured)
    return measured.table.iloc[0].to_dict() | about | {"problems": measured.problems.told}


def check_files(book: Book) -> Problems:
    """Open every record, schedule and photograph that the book has, and list what is wrong with them.

    Records are read whole, photographs only opened: damage inside one shows when it is measured.
    """
    found = []
    for name, key, told_by, check in (
        ("firings", "readings", "firing", firing_readings),
        ("firings", "schedule", "firing", firing_schedule),
        ("firings", "sensor class", "sensor class", lambda _, name: tolerance_C(0.0, name)),
        ("photos", "photo", "photo", lambda book, photo: check_photo(book.path(photo))),
    ):
        table = getattr(book, name)
        told = {problem.row for problem in book.problems.of(name)}
        for row, values in table.loc[~table.index.isin(told) & (table[key] != "")].iterrows():
            try:
                read = check(book, values[told_by])
                if isinstance(read, Readings):
                    found += [_in_book(book, problem) for problem in read.problems]
            except SagglabError as error:
                # Line and column within the file, too, but not where the book lies.
                where = error.where.replace(f"{book.folder}{os.sep}", "")
                cause = f"{where}: {error.cause}"
                found.append(Problem(name, row, key, cause, error.remedy, stops=False))
    return Problems(found)


def _in_book(book: Book, problem: Problem) -> Problem:
    """Name a record by its place in the book."""
    return replace(problem, table=problem.table.replace(f"{book.folder}{os.sep}", ""))


def all_readings(book: Book) -> dict[str, Readings]:
    """Read every record that can be read, by firing."""
    records = {}
    for firing in book.firings["firing"]:
        try:
            records[firing] = firing_readings(book, firing)
        except SagglabError:
            continue  # `measure_firings` lists it
    return records


def measure_firings(book: Book) -> pd.DataFrame:
    """Measure every firing of a batch book.

    Returns
    -------
    DataFrame
        One row per firing, in the columns that ``columns.FIRING_MEASURES`` declares. A firing whose record
        cannot be read keeps its row, blank, with the reason in ``problems``.

    Raises
    ------
    BookError
        The table ``firings`` has faults that make a number wrong.
    """
    book.require("firings")
    wanted = book.firings[["firing", "target peak [degC]", "sensor class"]]
    rows = []
    for firing, target_C, sensor_class in wanted.itertuples(index=False):
        row = {"firing": firing}
        try:
            readings = firing_readings(book, firing)
            told = [readings.problems.told]
            try:
                measured = heat_measures(readings, target_C, sensor_class or None)
            except UnknownNameError as error:  # it bears on the bounds alone
                measured = heat_measures(readings, target_C)
                told.append(f"{error.where}: {error.cause}; {error.remedy}")
            row |= measured.row_with_bounds
            row["problems"] = "; ".join(filter(None, told))
        except SagglabError as error:
            row["problems"] = f"{error.where}: {error.cause}; {error.remedy}"
        rows.append(row)
    return conform(rows, FIRING_MEASURES)


def gather_results(book: Book, measures: pd.DataFrame) -> pd.DataFrame:
    """Join recipes, firings and colours.

    Parameters
    ----------
    book : Book
    measures : DataFrame
        From `measure_photos`.

    Returns
    -------
    DataFrame
        One row per pot: the book's columns for the pot and its firing, and those that ``columns.RESULTS``
        declares. Colours are the means over the pot's views. When a pot was photographed in several setups,
        only the views of one of them are taken, that which holds the most views of the book: two setups are
        not mixed before they have been shown to agree.

    Raises
    ------
    BookError
        The tables ``pots`` or ``firings`` have faults that make a number wrong.
    """
    book.require("pots", "firings")
    heat = measure_firings(book).rename(columns={"problems": "firing problems"})
    firings = _firing_columns(book).merge(heat, on="firing", how="left")
    results = book.pots.merge(firings, on="firing", how="left", validate="many_to_one")
    results = results.merge(_colours(measures), on="pot", how="left", validate="one_to_one")
    results["setup"] = results["setup"].fillna("")
    results["views"] = results["views"].fillna(0)
    told = results[["firing problems", "view problems"]].fillna("")
    results["problems"] = ["; ".join(filter(None, pair)) for pair in told.itertuples(index=False)]
    return results[result_columns(book)]


def result_columns(book: Book) -> list[str]:
    """Give the columns that the results of a book have: its own for pots and firings, then the measures."""
    own = [*book.pots.columns, *_firing_columns(book).columns.drop("firing")]
    return own + [column.heading for column in RESULTS]


def _firing_columns(book: Book) -> pd.DataFrame:
    about_the_record = ["schedule", "readings", "channel", "thermocouple", "cold junction [degC]"]
    firings = book.firings.drop(columns=["notes", *about_the_record])
    shared = firings.columns.intersection(book.pots.columns).drop("firing")
    return firings.rename(columns={name: f"{name} of firing" for name in shared})


def _colours(measures: pd.DataFrame) -> pd.DataFrame:
    """Mean over the views of each pot, all of one setup."""
    views = measures[measures["pot"] != ""]
    most_used = views.loc[views["L*"].notna(), "setup"].value_counts(sort=True)
    rows = []
    for pot, its_views in views.groupby("pot", sort=False):
        good = its_views[its_views["L*"].notna()]
        setup = next((name for name in most_used.index if (good["setup"] == name).any()), "")
        good = good[good["setup"] == setup]
        row = {"pot": pot, "setup": setup, "views": len(good)}
        row |= good[[column.heading for column in COLOUR_MEASURES]].mean().to_dict()
        for kind in ("", " median"):
            # Chroma and hue belong to the colour of all views; the mean of two hue angles can point anywhere.
            colour = [row[f"{name}{kind}"] for name in ("L*", "a*", "b*")]
            _, row[f"C*ab{kind}"], row[f"hue angle{kind}"] = lab_to_lch(colour)
        row["L* between views"] = good["L*"].std()
        bad = its_views[its_views["problems"] != ""]
        row["view problems"] = "; ".join(f"{view.photo}: {view.problems}" for view in bad.itertuples())
        rows.append(row)
    columns = ["pot", "setup", "views", "view problems", "L* between views"]
    return pd.DataFrame(rows, columns=[*columns, *(column.heading for column in COLOUR_MEASURES)])
