"""Photo review: target corners and pot outline put right with the mouse, and saved in the table photos."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import traitlets
from numpy.typing import NDArray

from sagglab.book import Book, open_book
from sagglab.charts.alt import picture_html
from sagglab.charts.contact_sheet import reasons_to_look
from sagglab.charts.overlay import Overlay, as_jpeg, drawn_small, shown
from sagglab.colour import AXES, as_hex, delta_e_2000, lab_to_srgb
from sagglab.errors import SagglabError, UnknownNameError
from sagglab.markup import paragraph
from sagglab.measures.places import START, give_places, measure_with, places_of
from sagglab.measures.views import measure_photos, measure_view
from sagglab.photo.image import Photo, read_photo
from sagglab.widgets.live import LiveWidget, look, script

#: Longest side of the photograph that is shown, and its quality as JPEG: some 200 kB.
SHOWN, QUALITY = 1200, 85
#: Side, in pixels of the photograph, of what the magnifier is sent at once, uncompressed to the eye.
NEAR, NEAR_QUALITY = 240, 92
#: Small pictures and rows in the still view, so that a stored notebook stays small: at most some 150 kB.
MOST_SMALL, SMALL, SMALL_QUALITY = 6, 320, 75
MOST_ROWS = 40
#: A rise of the error of left-out patches, ΔE00, from which the target is said to be read less surely: of a
#: target some 270 pixels wide, a corner moved by up to 12 pixels raised it by at most 0.01, one by 20 by 0.4.
WORSE = 0.1

_FOUND = ["found corners", "found outline"]
_LEFT_OUT = "left-out mean ΔE00"
_TARGET_FLAGS = (
    "hidden patches",
    "doubtful patches",
    "clipped patches",
    "blurred target",
    "poor calibration",
)


class PhotoReview(LiveWidget):
    """The photographs of a book, those that need a look first, with their places to be put right.

    The same without a mouse: `measures.places.places_of`, `measure_with` and `give_places`.

    Parameters
    ----------
    book : Book
    measures : DataFrame, optional
        From `measure_photos`; measured when it is not given.

    Attributes
    ----------
    book : Book
        Opened anew whenever places were written.
    photos : list of dict
        ``name``, ``what`` (pot and side), ``why`` (reasons to look, maybe none), ``saved`` (whether
        places were, in this review).
    chosen : int
    picture : bytes
        The photograph, upright, as JPEG.
    places : dict
        ``size`` (rows, columns), ``corners``, ``outline``, and where both come from.
    measured : list of dict
        Rows of what was measured: as in the measures, and with the places that are shown.

    Raises
    ------
    UnknownNameError
        The measures have no photograph of this book.
    SagglabError
        As `measure_photos` raises them.
    """

    _esm = script("magnifier.js", "measured_table.js", "photo_review.js")
    _css = look("photo_review.css")

    photos = traitlets.List().tag(sync=True)
    chosen = traitlets.Int(0).tag(sync=True)
    picture = traitlets.Bytes(b"").tag(sync=True)
    places = traitlets.Dict().tag(sync=True)
    near = traitlets.Dict().tag(sync=True)
    measured = traitlets.List().tag(sync=True)

    def __init__(self, book: Book, measures: pd.DataFrame | None = None) -> None:
        measures = measure_photos(book) if measures is None else measures
        rows = [row for row in measures.to_dict("records") if row["photo"] in set(book.photos["photo"])]
        if not rows:
            raise UnknownNameError(
                "measures", "they have no photograph of this book", "give those of measure_photos(book)"
            )
        why = {row["photo"]: reasons_to_look(row) for row in rows}
        # Many reasons first: a photograph that failed altogether has its problem, and no confidence to judge.
        self._rows = sorted(rows, key=lambda row: (not why[row["photo"]], not pd.isna(row["mean ΔE00"])))
        self._photo: Photo | None = None
        self.book = book
        listed = [
            {"name": row["photo"], "what": _what(row), "why": list(why[row["photo"]]), "saved": False}
            for row in self._rows
        ]
        super().__init__(photos=listed)
        with self.told():
            self.asked_choose(0)

    @property
    def name(self) -> str:
        """The photograph that is shown, as the table ``photos`` names it."""
        return self.photos[self.chosen]["name"]

    def asked_choose(self, place: int) -> None:
        """Show another photograph."""
        name, photo, picture, places = self.photos[place]["name"], None, b"", {}
        self.say("")
        try:
            photo = read_photo(self.book.path(name))
            picture = as_jpeg(shown(photo, SHOWN), QUALITY)
            places = self._told_places(place, photo.picture.size)
        finally:
            # All at once, and not before it is read: emptied meanwhile, the page would jump.
            with self.hold_sync():
                self.chosen, self.picture, self.places, self.near = place, picture, places, {}
                self.measured = [_measured("before", self._rows[place])]
            self._photo = photo

    def asked_near(self, x: float, y: float) -> None:
        """Send the photograph's own pixels around a place, for the magnifier."""
        if self._photo is None:
            return
        rows, columns = self._photo.picture.size
        left = int(np.clip(x - NEAR / 2, 0, max(0, columns - NEAR)))
        top = int(np.clip(y - NEAR / 2, 0, max(0, rows - NEAR)))
        column, row = np.meshgrid(
            np.arange(left, min(columns, left + NEAR)), np.arange(top, min(rows, top + NEAR))
        )
        light = self._photo.display(self._photo.picture.at(column, row))
        jpeg = as_jpeg(np.rint(255 * light).astype(np.uint8), NEAR_QUALITY)
        self.near = {"left": left, "top": top, "size": list(row.shape), "picture": jpeg}

    def asked_measure(self, corners: list | None, outline: list | None) -> None:
        """Measure with the places that are shown; None leaves what the book says, or what is found."""
        done = measure_with(self.book, self.name, corners, outline)
        after = _measured("with these places", done.table.iloc[0])
        before = self.measured[0]
        self.measured = [before, after]
        doubt = _less_sure(self._rows[self.chosen], done.table.iloc[0])
        self.say(_change(before["lab"], after["lab"]) + doubt + ". Nothing is saved yet")

    def asked_save(self, corners: list | None, outline: list | None) -> None:
        """Write the places into the table ``photos``."""
        if corners is None and outline is None:
            self.say("No place has been moved, so that there is nothing to save")
            return
        file = give_places(self.book, self.name, corners, outline)
        what = [name for name, there in (("target corners", corners), ("pot outline", outline)) if there]
        self._written(True)
        self.say(f"Saved: {' and '.join(what)}, in {file.name}, row {self._row_number()} ({self.name})")
        self._show_places()

    def asked_automatic(self) -> None:
        """Have target and pot searched for again, and clear what the table says."""
        row = self.book.photos[self.book.photos["photo"] == self.name].iloc[0]
        given = [name for name in ("target corners", "pot outline") if row[name]]
        if given:
            file = give_places(self.book, self.name, "", "")
            self._written(False)
            told = f"Cleared: {' and '.join(given)}, in {file.name}, row {self._row_number()}"
        else:
            told = "These are the places that were found; the table says nothing else"
        found = dict.fromkeys(_FOUND, "")
        with suppress(SagglabError):  # what cannot be found gets a place to start from, which says so
            found = measure_view(self.book, self.name).table.iloc[0][_FOUND].to_dict()
        # Measures made with places that were given hold those as found: cleared, they would come back.
        self._rows[self.chosen] = {**self._rows[self.chosen], **found}
        self._show_places()
        self.say(told)

    def _show_places(self) -> None:
        size = None if self._photo is None else self._photo.picture.size
        self.places = self._told_places(self.chosen, size)

    def _told_places(self, place: int, size: tuple[int, int] | None) -> dict[str, Any]:
        places = places_of(self.book, self.photos[place]["name"], self._rows[place], size)
        return {
            "size": list(places.size),
            "corners": places.corners.round(2).tolist(),
            "outline": places.outline.round(2).tolist(),
            "corners_from": places.corners_from,
            "outline_from": places.outline_from,
            "corners_start": places.corners_from == START,
            "outline_start": places.outline_from == START,
            # Places that were searched for again, or are the next photograph's, can be the same as before:
            # without a number the front end would not hear of them, and keep those moved and not saved.
            "number": self.places.get("number", 0) + 1,
        }

    def _written(self, saved: bool) -> None:
        self.book = open_book(self.book.folder)
        self.photos = [
            {**each, "saved": saved} if place == self.chosen else each
            for place, each in enumerate(self.photos)
        ]

    def _row_number(self) -> int:
        photos = self.book.photos
        return int(photos.index[photos["photo"] == self.name][0])

    def still(self) -> str:
        """Give those that need a look as a table, the first few with a small picture; else the first few."""
        marked = [row for row, each in zip(self._rows, self.photos, strict=True) if each["why"]]
        count = f"{len(marked)} of {len(self._rows)} photographs need a look"
        if len(marked) == 1:
            count = count.replace("need", "needs")
        if not marked:
            return self._first()
        body = []
        for place, row in enumerate(marked[:MOST_ROWS]):
            picture = _small(self.book, row) if place < MOST_SMALL else ""
            why = "".join(f"<li>{escape(reason)}</li>" for reason in reasons_to_look(row))
            given = "; ".join(
                f"{name}: {row[found]}"
                for name, found in (("target corners", "found corners"), ("pot outline", "found outline"))
                if row.get(found)
            )
            body.append(
                f"<tr><td>{picture}</td><th scope='row'>{escape(row['photo'])}<br>{escape(_what(row))}</th>"
                f"<td class='words'><ul>{why}</ul><details><summary>Its places, for photos</summary>"
                f"<p>{escape(given or 'none were found')}</p></details></td></tr>"
            )
        return (
            f"<p class='answer'><strong>▲ {count}</strong></p><div class='wide'><table><thead><tr>"
            "<th scope='col'>picture</th><th scope='col'>photograph</th><th scope='col'>why</th></tr></thead>"
            f"<tbody>{''.join(body)}</tbody></table></div>"
            + (f"<p>And {len(marked) - MOST_ROWS} more.</p>" if len(marked) > MOST_ROWS else "")
        )

    def _first(self) -> str:
        rows = self._rows[:MOST_SMALL]
        titled = "".join(
            f'<span class="titled">{_small(self.book, row)}<br>{escape(row["photo"])}</span>' for row in rows
        )
        count = len(self._rows)
        said = "The photograph needs no look" if count == 1 else f"None of {count} photographs needs a look"
        shown = (
            "" if count == 1 else f"The first {len(rows)}, with" if len(rows) < count else "All of them, with"
        )
        drawn = f"{shown} what was found drawn over" if shown else "What was found is drawn over it"
        return paragraph(f"✓ {said}.", "answer") + paragraph(f"{drawn}:", "quiet") + titled


def _what(row: Mapping[str, object]) -> str:
    if not row["pot"]:
        return "no pot"
    return f"pot {row['pot']}" + (f", {row['view']}" if row["view"] else "")


def _measured(of: str, row: Mapping[str, object]) -> dict[str, Any]:
    lab = [float(row[axis]) for axis in AXES]
    known = not np.isnan(lab).any()
    colour, outside = lab_to_srgb(np.array(lab)) if known else (np.zeros(3), False)
    error = float(row["mean ΔE00"])
    return {
        "of": of,
        "lab": lab if known else None,
        "swatch": as_hex(colour) if known else "",
        "outside": bool(outside),
        "numbers": [f"{value:.1f}" if known else "–" for value in lab]
        + ["–" if np.isnan(error) else f"{error:.2f}"],
        "flags": str(row["flags"] or ""),
        "problems": str(row["problems"] or ""),
    }


def _change(before: list[float] | None, after: list[float] | None) -> str:
    if after is None:
        return "The target serves; no colour of a pot was measured"
    if before is None:
        return "Measured with these places; there was no colour before"
    differ = float(delta_e_2000(np.array(before), np.array(after)))
    return f"Measured with these places: ΔE00 {differ:.2f} from before"


def _less_sure(before: Mapping[str, object], after: Mapping[str, object]) -> str:
    """Say where the target is read less surely with other places; its own ΔE00 can be the better for it.

    Patches that a wrong corner puts off the chart lose their weight, and no longer count in the mean.
    """
    if pd.isna(before["mean ΔE00"]):
        return ""
    had, has = (str(row["flags"]).split("; ") for row in (before, after))
    new = [flag for flag in _TARGET_FLAGS if flag in has and flag not in had]
    was, now = float(before[_LEFT_OUT]), float(after[_LEFT_OUT])
    if now - was > WORSE:
        new.append(f"{_LEFT_OUT} {now:.2f}, where it was {was:.2f}")
    return f". ⚠ The target is read less surely than before: {', '.join(new)}" if new else ""


def _small(book: Book, row: Mapping[str, object]) -> str:
    """Draw what was found over a small picture; as read where nothing was."""
    try:
        photo = read_photo(book.path(str(row["photo"])))
        places = places_of(book, str(row["photo"]), row, photo.picture.size)
    except SagglabError:
        return "not to be opened"
    seen = [
        (name, ring)
        for name, ring, of in (
            ("target", places.corners, places.corners_from),
            ("outline", places.outline, places.outline_from),
        )
        if of != START and len(ring)
    ]
    picture = drawn_small(photo, _lines(dict(seen)), SMALL)
    drawn = f", with {' and '.join(name for name, _ in seen)} drawn over it" if seen else ", as read"
    alt = f"{row['photo']}: {_what(row)}{drawn}"
    return picture_html("image/jpeg", as_jpeg(picture, SMALL_QUALITY), alt, {"width": picture.shape[1]})


def _lines(rings: Mapping[str, NDArray[np.float64]]) -> Overlay:
    nowhere, none = np.empty((0, 2)), np.empty(0)
    outline = (np.vstack([rings["outline"], rings["outline"][:1]]),) if "outline" in rings else ()
    corners = rings.get("target", nowhere)
    return Overlay(outline, (), (), nowhere, nowhere, corners, nowhere, none, none.astype(bool))
