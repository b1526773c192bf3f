"""A pot seen from all around: its views unrolled and joined."""

from __future__ import annotations

import re

from sagglab.book import Book
from sagglab.columns.treated import views_after
from sagglab.errors import SurfaceError, UnknownNameError
from sagglab.measures.views import measure_view
from sagglab.photo.around import Around, join_maps
from sagglab.photo.measuring import Measuring

_WORDS = {"front": 0.0, "back": 180.0}


def turn_of(view: str) -> float | None:
    """How far the pot was turned for a view, in degrees; None where the view does not tell.

    Examples
    --------
    >>> turn_of("back"), turn_of("120°"), turn_of("240 deg"), turn_of("by the window") is None
    (180.0, 120.0, 240.0, True)
    """
    name = view.strip().lower()
    told = re.fullmatch(r"(-?\d+(?:\.\d+)?)\s*(?:°|deg|degrees)?", name)
    return float(told[1]) if told else _WORDS.get(name)


def measure_around(
    book: Book, pot: str, setup: str | None = None, measuring: Measuring | None = None
) -> Around:
    """Unroll all views of a pot as it came out, and join them into one map that goes all around.

    Parameters
    ----------
    book : Book
        Its table ``photos`` says in ``view`` how far the pot was turned: ``front``, ``back``, ``120°``. It is
        turned to the left as the camera sees it, so that what stood to the right comes to the front.
    pot : str
    setup : str, optional
        Whose views are taken; where there are several, that with the most views of the pot.
    measuring : Measuring, optional
        As `measure_photos` takes it.

    Returns
    -------
    Around

    Raises
    ------
    UnknownNameError
        The table ``photos`` has no such pot.
    SurfaceError
        Fewer than three of its views tell how far it was turned and show the pot.
    SagglabError
        As `measure_view` raises them, where one of these views cannot be measured.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from sagglab import open_book
    >>> book = open_book("data/demo")
    >>> left = book.photos[book.photos["photo"] == "photos/p36-90.jpg"].assign(view="left")
    >>> try:
    ...     measure_around(replace(book, photos=left), "p36")
    ... except SurfaceError as error:
    ...     print(error.cause)
    0 of its views show the pot and tell how far it was turned; 'left' does not
    """
    views = book.photos[book.photos["pot"] == pot]
    if views.empty:
        raise UnknownNameError(f"pot '{pot}'", "no photograph shows it", "name a pot of the table photos")
    views = views_after(views)
    views = views.assign(turn=views["view"].map(turn_of))
    silent = [f"'{view}'" for view in views.loc[views["turn"].isna(), "view"]]
    views = views.dropna(subset="turn")
    views = views.drop_duplicates(["setup", "turn"])
    if setup is None and len(views):
        setup = views["setup"].mode().iloc[0]
    views = views[views["setup"] == setup]
    sides = {
        turn: measure_view(book, photo, measuring).side
        for photo, turn in views[["photo", "turn"]].itertuples(index=False)
    }
    seen = {turn: side.map for turn, side in sides.items() if side is not None}
    if len(seen) < 3:
        raise SurfaceError(
            f"pot '{pot}'",
            f"{len(seen)} of its views show the pot and tell how far it was turned"
            + (f"; {', '.join(silent)} does not" if silent else ""),
            "photograph three sides or more, and write under view how far it was turned, as 0, 120 and 240",
        )
    return join_maps(list(seen.values()), list(seen))
