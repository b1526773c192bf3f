"""Results: recipes, firings and colours joined, one row per pot."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.book import Book
from sagglab.columns import MEASURES, RESULTS
from sagglab.columns.treated import views_after
from sagglab.columns.views import CORRECTED_TO
from sagglab.errors import SetupError
from sagglab.materials import lies_on_surface
from sagglab.measures.firings import measure_firings
from sagglab.measures.pots import pot_row
from sagglab.measures.views import measuring_of
from sagglab.pages.table import Table
from sagglab.units import PER_AREA, Heading, parse_heading

#: Where the results note which of their columns are the user's own shares and measures.
OWN_MEASURES = "own measures"

#: What tells one view from another, and from the same seen again.
_SEEN = ["pot", "setup", "view"]

#: As which setup's a view counts.
_AS_OF = "as of"


def gather_results(
    book: Book, measures: pd.DataFrame, per_area: bool = False, after: str = ""
) -> pd.DataFrame:
    """Join recipes, firings and colours.

    Parameters
    ----------
    book : Book
    measures : DataFrame
        From `measure_photos`.
    per_area : bool
        Whether to give what is dusted or coated on by weight for the pot's surface: ``sugar [g/100cm2]``, in
        grams for 100 cm² of its side, in place of ``sugar [g]``. What is packed around a pot stays as it is.
    after : str
        Pots as they were photographed after this was done to them, by the column ``after``, such as ``wax``;
        as they came out unless given. To compare the two, see `before_and_after`.

    Returns
    -------
    DataFrame
        One row per pot: the book's columns for the pot and its firing, those that ``columns.RESULTS``
        declares, and those of the user's own shares and measures. Colours are means over the pot's views, by
        the area that each measured. When a pot was photographed in several setups, only the views of one of
        them are taken, that which holds the most views of the book: two setups are not mixed before they
        have been shown to agree. Of a view that was photographed again on later days, the first day counts,
        since colours go on changing. Views that were corrected to a setup count as its own, but for pots that
        were photographed in it: what was measured goes before what was corrected. ``setup`` tells where the
        views are from, ``corrected to`` what they were corrected to.

    Raises
    ------
    BookError
        The tables ``pots`` or ``firings`` have faults that make a number wrong.
    UnknownNameError
        No photograph shows a pot after that.

    Examples
    --------
    >>> from sagglab import open_book
    >>> from sagglab.columns import conform
    >>> front = {"photo": "photos/p01-front.jpg", "pot": "p01", "view": "front", "setup": "phone", "L*": 32.0}
    >>> results = gather_results(open_book("data/demo"), conform([front], MEASURES))
    >>> results.loc[[0], ["pot", "firing", "sugar [g]", "L*"]].to_numpy().tolist()
    [['p01', 'f1', 4.0, 32.0]]
    """
    book.require("pots", "firings")
    measures = views_after(measures, after)
    heat = measure_firings(book).rename(columns={"problems": "firing problems"})
    firings = _firing_columns(book).merge(heat, on="firing", how="left")
    results = book.pots.merge(firings, on="firing", how="left", validate="many_to_one")
    own = own_columns(measures)
    results = results.merge(_colours(measures, own), on="pot", how="left", validate="one_to_one")
    told = ["setup", CORRECTED_TO, "flags"]
    results[told] = results[told].fillna("")
    results["views"] = results["views"].fillna(0)
    problems = results[["firing problems", "view problems"]].fillna("")
    results["problems"] = ["; ".join(filter(None, pair)) for pair in problems.itertuples(index=False)]
    results = results.reindex(columns=list(dict.fromkeys([*result_columns(book), *own])))
    if per_area:
        results = _per_area(results, book.pots.columns)
    results = Table(results.copy())  # in one piece, or whoever adds a column is warned
    results.attrs[OWN_MEASURES] = own
    return results


def before_and_after(book: Book, measures: pd.DataFrame, after: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Gather the results of pots as they came out and after something was done to them, side by side.

    A pot's sides differ, and setups do: of each pot, only sides are taken that one setup shows both ways.
    Where a side was photographed as it came out on several days, that day counts which is nearest to the
    treatment, since colours go on changing.

    Parameters
    ----------
    book, measures
        As `gather_results` takes them.
    after : str
        What was done, such as ``wax``.

    Returns
    -------
    before, after : DataFrame
        Of the same pots in the same order, as `gather_results` has them.

    Raises
    ------
    BookError, UnknownNameError
        As `gather_results` raises them.
    SetupError
        No side of a pot is shown both ways by one setup.

    Examples
    --------
    >>> from sagglab import open_book
    >>> from sagglab.columns import conform
    >>> front = {"photo": "p05-front.jpg", "pot": "p05", "view": "front", "setup": "phone", "L*": 32.0}
    >>> waxed = front | {"photo": "p05-front-wax.jpg", "after": "wax", "L*": 28.0}
    >>> before, after = before_and_after(open_book("data/demo"), conform([front, waxed], MEASURES), "wax")
    >>> (after["L*"] - before["L*"]).tolist()
    [-4.0]
    """
    shown = measures[(measures["pot"] != "") & measures["L*"].notna()]
    plain, treated = views_after(shown), _first_day(views_after(shown, after))
    both = plain[_SEEN].merge(treated[_SEEN]).drop_duplicates()
    if both.empty:
        raise SetupError(
            f"before and after {after}",
            "no side of a pot is photographed both ways in one setup",
            "photograph the same sides of some pots before and after, with the same camera and light",
        )
    # Of a pot that two setups show both ways, the views of one are taken, as ever.
    order = list(both["setup"].value_counts().index)
    taken = both.groupby("pot")["setup"].transform(lambda setups: _first(order, setups))
    both = both[both["setup"] == taken]
    plain, treated = _nearest_day(plain.merge(both), treated.merge(both)), treated.merge(both)
    found = (gather_results(book, plain), gather_results(book, treated, after=after))
    return tuple(results[results["pot"].isin(both["pot"])].reset_index(drop=True) for results in found)


def result_columns(book: Book) -> list[str]:
    """Give the columns that the results of a book have: its own for pots and firings, then the measures."""
    own = [*book.pots.columns, *_firing_columns(book).columns.drop("firing")]
    shares = [column.heading for column in measuring_of(book).columns]
    return [*own, *(column.heading for column in RESULTS), *shares]


def own_columns(measures: pd.DataFrame) -> list[str]:
    """Name the columns of the user's own shares and measures."""
    declared = {column.heading for column in MEASURES}
    return [name for name in measures if name not in declared]


def _firing_columns(book: Book) -> pd.DataFrame:
    about_the_record = ["schedule", "readings", "channel", "thermocouple", "cold junction [degC]"]
    firings = book.firings.drop(columns=["notes", *about_the_record])
    shared = firings.columns.intersection(book.pots.columns).drop("firing")
    return firings.rename(columns={name: f"{name} of firing" for name in shared})


def _colours(measures: pd.DataFrame, own: list[str]) -> pd.DataFrame:
    """Join the views of each pot, all of one setup."""
    views = measures[measures["pot"] != ""]
    # A column that measures of old lack; blank when read back.
    to = views.get(CORRECTED_TO, pd.Series("", index=views.index)).astype(object).fillna("").astype(str)
    as_of = to.where(to != "", views["setup"])
    # Joined on, not put in: measures that were read back come column by column, of which pandas warns.
    views = views.drop(columns=CORRECTED_TO, errors="ignore")
    views = pd.concat([views, to.rename(CORRECTED_TO), as_of.rename(_AS_OF)], axis=1)
    shown = views["L*"].notna()
    most_used, most_views = (
        list(views.loc[shown, name].value_counts(sort=True).index) for name in (_AS_OF, "setup")
    )
    rows = []
    for pot, its_views in views.groupby("pot", sort=False):
        good = its_views[its_views["L*"].notna()]
        taken = good[good[_AS_OF] == _first(most_used, good[_AS_OF])]
        # As measured goes before corrected, and two setups that were corrected to one are not mixed either.
        own_views = taken[taken[CORRECTED_TO] == ""]
        taken = taken if own_views.empty else own_views
        setup = _first(most_views, taken["setup"])
        taken = _first_day(taken[taken["setup"] == setup])
        row = {"pot": pot, "setup": setup, CORRECTED_TO: "" if taken.empty else taken[CORRECTED_TO].iloc[0]}
        row |= pot_row(taken, own)
        bad = its_views[its_views["problems"] != ""]
        row["view problems"] = "; ".join(
            f"{view.photo}: {view.problems}" for view in bad[["photo", "problems"]].itertuples()
        )
        rows.append(row)
    measured = [column.heading for column in RESULTS if column.heading in measures]
    empty = ["pot", "setup", CORRECTED_TO, "views", "flags", "view problems"]
    between = [f"{axis} between views" for axis in ("L*", "a*", "b*")]
    return pd.DataFrame(rows, columns=list(dict.fromkeys([*empty, *measured, *between, *own])))


def _first_day(views: pd.DataFrame) -> pd.DataFrame:
    """Leave out views that were photographed again on a later day: pots go on changing."""
    day = _days(views)
    first = day.groupby([views["pot"], views["setup"], views["view"].astype(object).fillna("")]).transform(
        "min"
    )
    return views[day.isna() | (day == first)]


def _nearest_day(views: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """Of views that were photographed on several days, take those of the day nearest to the others."""
    wanted = others.assign(wanted=_days(others))[[*_SEEN, "wanted"]].drop_duplicates(_SEEN)
    apart = (_days(views) - views[_SEEN].merge(wanted, how="left")["wanted"]).abs().fillna(pd.Timedelta(0))
    return views[apart == apart.groupby([views[name] for name in _SEEN], dropna=False).transform("min")]


def _days(views: pd.DataFrame) -> pd.Series:
    return pd.to_datetime(views["taken"], errors="coerce").dt.normalize()  # words, when read back


def _first(order: list[str], among: pd.Series) -> str:
    """Give the first name that is there; empty where none is."""
    return next((name for name in order if (among == name).any()), "")


def _per_area(results: pd.DataFrame, pots: pd.Index) -> pd.DataFrame:
    """Give for 100 cm² what lies on the surface by weight."""
    results = results.copy()
    area = results["surface area [cm2]"]
    renamed, unknown = {}, np.zeros(len(results), dtype=bool)
    for column in pots.intersection(results.columns):
        name, unit = parse_heading(str(column))
        if not lies_on_surface(name, unit):
            continue
        # None of it is none of it, however large the pot.
        unknown |= (area.isna() & (results[column] > 0)).to_numpy()
        results[column] = (results[column] / area * 100).mask(results[column] == 0, 0.0)
        renamed[column] = str(Heading(name, PER_AREA))
    cause = "its surface area is not known, nor its dustings for 100 cm²: fill in height [cm]"
    told = results.loc[unknown, "problems"]
    results.loc[unknown, "problems"] = [f"{problems}; {cause}" if problems else cause for problems in told]
    return results.rename(columns=renamed)
