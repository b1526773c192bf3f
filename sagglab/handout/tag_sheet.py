"""Tags for pots, printed to cut out: with each pot's name, or blank to fill in."""

from __future__ import annotations

from collections.abc import Iterable

from sagglab.errors import PlanError
from sagglab.handout.content import FOOT, STEPS
from sagglab.handout.paper import print_pages
from sagglab.handout.wording import breakable, printable

#: Blank tags, as many as a page of either paper holds with room for handwriting: two abreast, five deep.
BLANK = 10

#: How tags are used, and how a pot is marked for the fire. Common practice, no source.
NOTES = (
    "Cut along the dashed lines. A tag goes with its pot on the bench, and beside the saggar or hung "
    "outside it. Paper burns: never inside.",
    "For the fire mark the pot itself: its name scratched into the foot before it dries, or written there "
    "in iron oxide or underglaze pencil. The arrow points to the pot's front, 0° in photographs.",
)


def tag_sheet(paper: str = "A4", pots: Iterable[str] | None = None) -> bytes:
    """Print tags to cut out and fill in.

    Parameters
    ----------
    paper : str
        ``A4`` or ``letter``.
    pots : iterable of str, optional
        Names, each large on a tag of its own, in this order; without, a page of blank tags.

    Returns
    -------
    bytes
        A PDF, tagged, to the accessibility standard PDF/UA-1. The same names give the same bytes.

    Raises
    ------
    UnknownNameError
        There is no such paper.
    PlanError
        There are no pots, or a name is no text, or blank.

    Examples
    --------
    >>> tag_sheet(pots=["p01", "p02"])[:5]
    b'%PDF-'
    """
    return print_pages("tag-sheet.typ", tag_content(pots), paper)


def tag_content(pots: Iterable[str] | None = None) -> dict[str, object]:
    """Gather all words of a sheet of tags, as plain data for its layout.

    Raises
    ------
    PlanError
        There are no pots, or a name is no text, or blank.
    """
    names = [""] * BLANK if pots is None else _names(pots)
    return {
        "title": "Tags for pots",
        "count": f"{len(names)} to cut out",
        "notes": NOTES,
        "named": pots is not None,
        "pots": [breakable(name) for name in names],
        "steps": STEPS,
        "arrow_alt": "An arrow: this way to the pot's front.",
        "foot": FOOT,
    }


def _names(pots: Iterable[str]) -> list[str]:
    # A text is a sequence, too: of letters, each of which would get a tag.
    if isinstance(pots, str | bytes) or not isinstance(pots, Iterable):
        raise PlanError("pots", f"it is {pots!r}", "give a list of their names")
    given = list(pots)
    names = [" ".join(printable(pot).split()) if isinstance(pot, str) else "" for pot in given]
    nameless = [f"{place} ({given[place - 1]!r})" for place, name in enumerate(names, 1) if not name]
    if nameless:
        raise PlanError("pots", f"no name at {', '.join(nameless)}", "give each pot's name as text")
    if not names:
        raise PlanError("pots", "the list is empty", "name one or more, or leave it out for blank tags")
    return names
