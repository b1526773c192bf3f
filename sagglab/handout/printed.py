"""The handout on paper: two to four pages, closer set and with less on them where there is much to say."""

from __future__ import annotations

import bisect
import re
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from sagglab.handout.paper import check_paper, print_pages
from sagglab.handout.shown import cut_off, shown
from sagglab.handout.wording import breakable
from sagglab.model.wording import count

if TYPE_CHECKING:
    from sagglab.handout.handout import Handout

#: With the bench sheet; more are no longer read at a workshop.
MOST_PAGES = 4
LAYOUT = "handout.typ"
#: Letters of a recipe's pots, and of what is to be known of it.
_NAMES, _NOTE = 120, 300
_REST = "There is no room for the rest of this note; it stands in the page for phones."


@dataclass(frozen=True)
class Density:
    """How close the pages are set.

    Attributes
    ----------
    type, card, caution : float
        Type of the text, of tables, of cautions, in points.
    gap, inset : float
        White between the parts, in mm, and within the tables' rows, in points.
    picture, chart, curve : float
        The tallest that a pot's photograph, the chart, and the firing's curve may be, in mm; 0 leaves the
        curve to its table.
    breaks : bool
        Whether the recipes begin on a page of their own.
    """

    type: float
    card: float
    caution: float
    gap: float
    inset: float
    picture: float
    chart: float
    curve: float
    breaks: bool


@dataclass(frozen=True)
class Room:
    """How much of a handout the pages hold.

    Attributes
    ----------
    cards, rows : int
        Most recipes, and most rows of what to try next.
    note, name : int
        Most letters of the user's note, and of a name in the picture row or in a table.
    """

    cards: int
    rows: int
    note: int
    name: int


#: From roomy to close. Type stays readable at arm's length: text at least 11 points, tables and cautions 10.
ROOMY = Density(12, 11, 11, 5, 3.6, 62, 118, 78, True)
CLOSE = Density(11, 10, 10, 1.5, 2.6, 36, 84, 54, False)
CLOSEST = Density(11, 10, 10, 0.8, 2.4, 30, 84, 0, False)
ALL = Room(8, 12, 4000, 90)

#: The first that fits is taken: first all of it, set closer; then less of it.
STEPS = (
    (ROOMY, ALL),
    (Density(11.5, 10.5, 11, 3.5, 3, 54, 108, 72, True), ALL),
    (Density(11, 10, 10.5, 2.5, 2.8, 50, 106, 64, True), ALL),
    (Density(11, 10, 10, 2.2, 2.8, 50, 106, 64, True), ALL),
    (Density(11, 10, 10, 1.5, 2.6, 44, 90, 54, True), ALL),
    (Density(11, 10, 10.5, 2.5, 2.8, 46, 86, 56, False), ALL),
    (CLOSE, ALL),
    (CLOSE, Room(7, 10, 2000, 60)),
    (CLOSE, Room(6, 10, 1500, 60)),
    (CLOSE, Room(5, 8, 1000, 60)),
    (CLOSE, Room(4, 8, 800, 40)),
    (CLOSE, Room(3, 6, 600, 40)),
    (CLOSEST, Room(3, 6, 400, 40)),
    (CLOSEST, Room(2, 4, 300, 24)),
    (CLOSEST, Room(1, 2, 160, 24)),
)


def print_handout(handout: Handout, form: str = "pdf", ppi: float = 144.0) -> bytes | list[bytes]:
    """Print a handout.

    Parameters
    ----------
    handout : Handout
    form : str
        ``pdf``, or ``png`` for a picture of each page.
    ppi : float
        As `print_pages` takes it.

    Returns
    -------
    bytes, or list of bytes
        A tagged PDF of two to four pages. What had to be left out for that is told on them. Cautions are
        never left out: where they alone fill four pages, there are more.

    Raises
    ------
    UnknownNameError
        There is no such paper.
    """
    check_paper(handout.paper)
    made: dict[int, bytes] = {}

    def fits(step: int) -> bool:
        content, pictures = page_content(handout, *STEPS[step])
        made[step] = print_pages(LAYOUT, content, handout.paper, pictures)
        return page_count(made[step]) <= MOST_PAGES

    # Most handouts fit at once. A closer step hardly ever needs more pages, so that the others can be halved.
    last = len(STEPS) - 1
    step = 0 if fits(0) else bisect.bisect_left(range(1, last), True, key=fits) + 1
    if form == "pdf" and step in made:
        return made[step]
    content, pictures = page_content(handout, *STEPS[step])
    return print_pages(LAYOUT, content, handout.paper, pictures, form, ppi)


def page_count(pdf: bytes) -> int:
    """Count the pages of a document that typst made, which leaves their entries uncompressed."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def page_content(
    handout: Handout, density: Density = ROOMY, room: Room = ALL
) -> tuple[dict[str, object], dict[str, bytes]]:
    """Give the words of the printed pages, and their pictures by file name."""
    told = shown(handout)
    pictures: dict[str, bytes] = {}

    def drawing(drawn: dict[str, str] | None, file: str) -> dict[str, str] | None:
        if drawn is None:
            return None
        pictures[file] = drawn["svg"].encode("utf-8")
        return {"file": file, "alt": drawn["alt"]}

    told["drawing"] = drawing(told["drawing"], "chart.svg")
    if told["firing"] is not None:
        told["firing"]["drawing"] = drawing(told["firing"]["drawing"], "firing.svg")
    for number, pot in enumerate(told["pots"]):
        file = f"pot-{number}.jpg" if pot["picture"] is not None else ""
        if file:
            pictures[file] = pot["picture"]
        pot["picture"] = file
    for pot in told["pots"]:
        pot |= {part: cut_off(pot[part], room.name) for part in ("pot", "level", "outcome")}
    told["cards_left_out"] = _keep(told["cards"], room.cards, "the book's tables")
    for card in told["cards"]:
        card["rows"] = _cut_cells(card["rows"], room.name)
        card["pots"], card["note"] = cut_off(card["pots"], _NAMES), cut_off(card["note"], _NOTE)
    told["rows_left_out"] = ""
    if told["next"] is not None:
        told["rows_left_out"] = _keep(told["next"]["rows"], room.rows, "the plan")
        told["next"]["headings"], *told["next"]["rows"] = _cut_cells(
            [told["next"]["headings"], *told["next"]["rows"]], room.name
        )
    if len(told["note"]) > room.note:
        told["note"] = f"{cut_off(told['note'], room.note)}\n\n{_REST}"
    return {**_breakable(told), "density": asdict(density)}, pictures


def _keep(recipes: list[object], most: int, where: str) -> str:
    """Keep the first of a list of recipes, and say how many more there are, and where."""
    left_out = len(recipes) - most
    del recipes[most:]
    return f"{count(left_out, 'more recipe')}: see {where}." if left_out > 0 else ""


def _cut_cells(rows: list[list[str]], letters: int) -> list[list[str]]:
    return [[cut_off(cell, letters) for cell in row] for row in rows]


def _breakable(told: object) -> object:
    if isinstance(told, str):
        return breakable(told)
    if isinstance(told, dict):
        return {key: _breakable(held) for key, held in told.items()}
    return [_breakable(held) for held in told] if isinstance(told, (list, tuple)) else told
