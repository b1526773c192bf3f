"""Results: recipes, firings and colours joined, one row per pot."""

from __future__ import annotations

import pandas as pd

from sagglab.book import Book
from sagglab.colour import lab_to_lch
from sagglab.columns import COLOUR_MEASURES, RESULTS
from sagglab.measures.firings import measure_firings
from sagglab.photo.flags import join_flags


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
    results[["setup", "flags"]] = results[["setup", "flags"]].fillna("")
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
        row["flags"] = join_flags(good["flags"].astype(object).fillna(""))  # blank when read back
        bad = its_views[its_views["problems"] != ""]
        row["view problems"] = "; ".join(f"{view.photo}: {view.problems}" for view in bad.itertuples())
        rows.append(row)
    columns = ["pot", "setup", "views", "flags", "view problems", "L* between views"]
    return pd.DataFrame(rows, columns=[*columns, *(column.heading for column in COLOUR_MEASURES)])
