"""What a handout shows, as plain data: the same for the printed pages and for the page on a phone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sagglab.charts.swatches import OUTSIDE
from sagglab.colour import as_hex, lab_to_srgb
from sagglab.handout.blank_sheet import student_sheet
from sagglab.handout.content import FOOT
from sagglab.handout.ranks import even_ranks
from sagglab.handout.wording import printable, unbroken
from sagglab.model.wording import count

if TYPE_CHECKING:
    from sagglab.handout.handout import Drawing, Handout, PotShown, RecipeCard, TryNext

#: More pots in one row are too small to be seen at arm's length.
MOST_POTS = 8
#: Letters of the question, and of whose workshop it is: more would leave no room on the first page.
_QUESTION, _HEADING = 300, 160
#: A head longer than this is a sentence of its own.
_HEAD = 60
#: Of a colour outside, for who does not see the cut corner.
_NOT_SHOWN = ", as near as the display can show it,"


def shown(handout: Handout) -> dict[str, object]:
    """Gather all that a handout shows, in its order.

    Returns
    -------
    dict
        Texts, lists and numbers; pictures as bytes, or None.
    """
    pots = [_pot(handout.pots[rank]) for rank in even_ranks(len(handout.pots), MOST_POTS)]
    cards = [_card(card) for card in handout.cards]
    left_out = len(handout.pots) - len(pots)
    row = f"{len(pots)} of {len(handout.pots)} pots are shown, evenly spread over all." if left_out else ""
    return {
        "title": f"Handout: {cut_off(said(handout.question), _QUESTION)}",
        "heading": cut_off(said(handout.heading), _HEADING),
        "question": cut_off(said(handout.question), _QUESTION),
        # The one that students read, and below it what it rests on.
        "answer": said(handout.in_short or handout.answer),
        "in_full": said(handout.answer) if handout.in_short else "",
        "pots": pots,
        "pots_said": " ".join(filter(None, [said(handout.pots_said), row])),
        "drawing": _drawing(handout.drawing),
        "cards": cards,
        "outside": f"Swatches: {OUTSIDE}." if any(one["outside"] for one in (*pots, *cards)) else "",
        "firing": None
        if handout.firing is None
        else {
            "said": said(handout.firing.said),
            "points": [_point(row) for row in handout.firing.points.itertuples()],
            "drawing": _drawing(handout.firing.drawing),
        },
        "next": _next(handout.next),
        "note": "\n\n".join(filter(None, map(said, re.split(r"\n\s*\n", handout.note)))),
        "cautions": [_headed(said(caution)) for caution in handout.cautions],
        "measured": [said(line) for line in handout.measured],
        "made": f"Made on {handout.dated.isoformat()}",
        "version": said(handout.version),
        "foot": FOOT,
        "sheet": student_sheet(),
    }


def said(text: str) -> str:
    """Give a text as one line, without what cannot be printed."""
    return " ".join(printable(text).split())


def cut_off(text: str, letters: int) -> str:
    """Cut a text to so many letters, at a blank where there is one near, and show that it was cut.

    Examples
    --------
    >>> cut_off("Saturday with everyone", 14), cut_off("Saturday", 14), cut_off("x" * 9, 5)
    ('Saturday with…', 'Saturday', 'xxxx…')
    """
    if len(text) <= letters:
        return text
    kept = text[: letters - 1]
    whole = kept.rpartition(" ")[0] if text[letters - 1] != " " else kept
    return f"{(whole if len(whole) > letters / 2 else kept).rstrip()}…"


def _colour(lab: NDArray[np.float64] | None) -> tuple[str, bool]:
    """Give a colour as ``#rrggbb``, empty where it is not known, and whether the display cannot show it."""
    if lab is None or not np.isfinite(lab).all():
        return "", False
    colour, outside = lab_to_srgb(lab)
    return as_hex(colour), bool(outside)


def _pot(pot: PotShown) -> dict[str, object]:
    colour, outside = _colour(pot.lab)
    name, level, outcome = said(pot.pot), said(pot.level), said(pot.outcome)
    told = ", ".join(filter(None, [f"pot {name}", level, outcome]))
    kind = (
        "Photograph of" if pot.picture is not None else f"Swatch{_NOT_SHOWN * outside} of the mean colour of"
    )
    return {
        "pot": name,
        "level": level,
        "outcome": outcome,
        "picture": pot.picture,
        "colour": colour,
        "outside": outside and pot.picture is None,
        "alt": f"{kind} {told}.",
    }


def _card(card: RecipeCard) -> dict[str, object]:
    colour, outside = _colour(card.lab)
    return {
        "pots": ", ".join(map(said, card.pots)),
        "count": count(len(card.pots), "pot"),
        "measured": said(card.measured),
        "colour": colour,
        "outside": outside,
        "alt": f"Swatch{_NOT_SHOWN * outside} of the mean colour: {said(card.measured)}",
        "rows": [[said(row[0]), *(unbroken(said(cell)) for cell in row[1:])] for row in card.rows],
        "by_area": any(row[2] for row in card.rows),
        "note": said(card.note),
    }


def _drawing(drawing: Drawing | None) -> dict[str, str] | None:
    if drawing is None:
        return None
    return {"svg": drawing.svg, "narrow": drawing.narrow, "alt": said(drawing.alt)}


def _point(row: object) -> list[str]:
    return [
        "" if np.isnan(one) else f"{one:.0f}" for one in (row.minutes, row.temperature_C, row.temperature_F)
    ]


def _next(tried: TryNext | None) -> dict[str, object] | None:
    if tried is None:
        return None
    return {
        "said": [said(line) for line in tried.said],
        "headings": [said(heading) for heading in tried.headings],
        "rows": [[said(cell) for cell in row] for row in tried.rows],
    }


def _headed(caution: str) -> list[str]:
    """Part a caution's head, up to the first colon, from the rest."""
    head, colon, rest = caution.partition(": ")
    return [f"{head}:", rest] if colon and len(head) <= _HEAD else ["", caution]
