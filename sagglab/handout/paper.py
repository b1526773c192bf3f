"""Paper: layouts and their words made into pages, the same on every computer."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

from sagglab.errors import UnknownNameError
from sagglab.handout.wording import printable
from sagglab.plan.sheet import PAPERS

#: Pixels in an inch of pages that are looked at on a screen: 11 points are 12 pixels.
SCREEN_PPI = 80.0

_NAMED = dict(zip(PAPERS, ("a4", "us-letter"), strict=True))


def check_paper(paper: str) -> None:
    """Refuse a paper that there is none of.

    Raises
    ------
    UnknownNameError
    """
    if paper not in PAPERS:
        raise UnknownNameError(f"paper '{paper}'", "there is no such paper", f"write {' or '.join(PAPERS)}")


def print_pages(
    layout: str,
    content: Mapping[str, object],
    paper: str,
    pictures: Mapping[str, bytes] | None = None,
    form: str = "pdf",
    ppi: float = 144.0,
) -> bytes | list[bytes]:
    """Lay out words and pictures on paper; the same content gives the same bytes.

    Parameters
    ----------
    layout : str
        A file of this room, such as ``bench.typ``. It reads ``content.json``, never as markup, and the size
        of the paper from there.
    content : mapping
        Texts, lists and numbers alone.
    paper : str
        ``A4`` or ``letter``.
    pictures : mapping of str to bytes, optional
        Files that the layout finds beside it, by name.
    form : str
        ``pdf``: tagged, to the accessibility standard PDF/UA-1, typefaces embedded. ``png``: one per page.
    ppi : float
        Pixels of a picture in an inch of the page.

    Returns
    -------
    bytes, or list of bytes
        A picture for each page, where there are several.

    Raises
    ------
    UnknownNameError
        There is no such paper.
    """
    check_paper(paper)
    # Loaded here: the compiler takes 40 MB and Matplotlib 0.1 s, which only printing needs.
    import matplotlib
    import typst

    room = files("sagglab.handout")
    with tempfile.TemporaryDirectory(prefix="sagglab-pages-") as name:
        place = Path(name)
        for layout_file in room.iterdir():
            if layout_file.name.endswith(".typ"):
                (place / layout_file.name).write_bytes(layout_file.read_bytes())
        words = json.dumps(_printable({**content, "paper": _NAMED[paper]}))
        (place / "content.json").write_text(words, encoding="utf-8")
        for picture, held in (pictures or {}).items():
            (place / picture).write_bytes(held)
        # Matplotlib brings a plain typeface with Greek, Cyrillic and fractions, the same on every computer;
        # other scripts in a user's names fall back on what the computer has.
        return typst.compile(
            place / layout,
            root=place,
            format=form,
            ppi=ppi,
            font_paths=[str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")],
            pdf_standards=["ua-1"] if form == "pdf" else [],
            timestamp=0,
        )


def _printable(told: object) -> object:
    """Clean all texts of what the standard for printed pages refuses."""
    if isinstance(told, str):
        return printable(told)
    if isinstance(told, Mapping):
        return {key: _printable(held) for key, held in told.items()}
    return [_printable(held) for held in told] if isinstance(told, list | tuple) else told
