"""The workshop handout: what a student takes home, as data, as printed pages and as a page for a phone."""

from __future__ import annotations

import datetime as dt
import html
import os
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from sagglab.charts.alt import alt_text
from sagglab.charts.files import chart_svg
from sagglab.handout.page_pictures import PagePictures
from sagglab.handout.paper import SCREEN_PPI
from sagglab.handout.phone import phone_page
from sagglab.handout.printed import page_count, print_handout
from sagglab.writing import write_whole

PRINTED, PHONE = "handout.pdf", "handout.html"


@dataclass(frozen=True, eq=False)
class PotShown:
    """One pot of the picture row.

    Attributes
    ----------
    pot : str
    level : str
        What it had of what is asked, as ``4 g``.
    outcome : str
        What came out, as ``L* 34``.
    lab : ndarray, shape (3,), or None
        Its measured L*, a*, b*; None when it was not measured.
    picture : bytes or None
        The pot cut out of its photograph, a JPEG in calibrated colours; None when there is no photograph.
    """

    pot: str
    level: str
    outcome: str
    lab: NDArray[np.float64] | None
    picture: bytes | None


@dataclass(frozen=True, eq=False)
class RecipeCard:
    """One recipe and what it came out like.

    Attributes
    ----------
    pots : tuple of str
        Those that had it.
    lab : ndarray, shape (3,), or None
        Mean measured L*, a*, b* of these pots; None when none was measured.
    measured : str
        The same in words, with how many pots it is the mean of.
    rows : tuple of (str, str, str)
        Material, amount per pot, and amount for 100 cm² of the pot's side; empty where one cannot be stated.
    note : str
        What to know of the recipe, such as that its pots had unlike sizes; may be empty.
    """

    pots: tuple[str, ...]
    lab: NDArray[np.float64] | None
    measured: str
    rows: tuple[tuple[str, str, str], ...]
    note: str = ""


@dataclass(frozen=True, eq=False)
class Drawing:
    """A chart on the page.

    Attributes
    ----------
    svg : str
        From `charts.chart_svg`.
    alt : str
        What it says, in words.
    narrow : str
        The same for a phone held upright; empty where there is none.
    """

    svg: str
    alt: str
    narrow: str = ""

    @classmethod
    def of(cls, ax: Axes) -> Drawing:
        """Take a chart, which is let go."""
        return cls(chart_svg(ax), alt_text(ax))

    def on_phone(self, drawn: Drawing) -> Drawing:
        """Take one that was drawn `narrow` beside this; of a chart that cannot be, it is the same again."""
        return replace(self, narrow="" if drawn.svg == self.svg else drawn.svg)


@dataclass(frozen=True, eq=False)
class FiringToFollow:
    """A firing to go by.

    Attributes
    ----------
    said : str
        Whose climb it is and how far to trust it, in a sentence.
    points : DataFrame
        ``minutes``, ``temperature_C``, ``temperature_F`` at each 100 °C, and at the peak, which is the last.
    drawing : Drawing
    """

    said: str
    points: pd.DataFrame
    drawing: Drawing


@dataclass(frozen=True, eq=False)
class TryNext:
    """What to fire next.

    Attributes
    ----------
    said : tuple of str
        What it asks, and what it will be able to tell, a sentence each.
    headings : tuple of str
    rows : tuple of tuple of str
        One for each recipe: its amounts, then for how many pots it is.
    """

    said: tuple[str, ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, repr=False, eq=False)
class Handout:
    """A workshop handout.

    Attributes
    ----------
    question : str
        In the reader's words.
    answer : str
        One sentence with its doubt; or why these pots cannot tell.
    pots : tuple of PotShown
        From the least to the most of what is asked.
    pots_said : str
        How they were chosen.
    drawing : Drawing or None
        The chart that the answer rests on.
    cards : tuple of RecipeCard
    firing : FiringToFollow or None
    next : TryNext or None
    cautions : tuple of str
    measured : tuple of str
        How it was measured, in three lines.
    heading, note : str
        The user's own: whose workshop it is, and what to add; may be empty.
    dated : date
        On which it was made.
    version : str
        Of the batch book and of sagglab.
    paper : str
        ``A4`` or ``letter``.
    in_short : str
        The answer in a short sentence without numbers of statistics, to stand large before it; empty where
        the answer itself is to stand so.

    Examples
    --------
    >>> handout = Handout("Does sugar matter?", "These pots cannot tell.", (), "", None, (), None, None, (),
    ...                   (), "", "", dt.date(2026, 5, 1), "")  # fmt: skip
    >>> handout.pdf[:5], "These pots cannot tell." in handout.html
    (b'%PDF-', True)
    """

    question: str
    answer: str
    pots: tuple[PotShown, ...]
    pots_said: str
    drawing: Drawing | None
    cards: tuple[RecipeCard, ...]
    firing: FiringToFollow | None
    next: TryNext | None
    cautions: tuple[str, ...]
    measured: tuple[str, ...]
    heading: str
    note: str
    dated: dt.date
    version: str
    paper: str = "A4"
    in_short: str = ""

    @cached_property
    def pdf(self) -> bytes:
        """The printed pages: two to four, tagged, the last a blank bench sheet; always the same bytes.

        What had to be left out for that is told on the pages. Cautions never are: where they alone fill four
        pages, there are more.

        Raises
        ------
        UnknownNameError
            There is no such paper.
        """
        return print_handout(self)

    @cached_property
    def pages(self) -> int:
        """How many pages are printed."""
        return page_count(self.pdf)

    @cached_property
    def html(self) -> str:
        """The same for a phone: one page that needs no other file and no network."""
        return phone_page(self)

    def pictures(self) -> PagePictures:
        """Give the printed pages as pictures, to be looked at."""
        return PagePictures.of(print_handout(self, "png", SCREEN_PPI), PRINTED)

    def save(self, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
        """Write the handout into a folder, which is made when it is not there.

        Returns
        -------
        tuple of Path
            ``handout.pdf`` and ``handout.html``.

        Raises
        ------
        UnknownNameError
            There is no such paper.
        OSError
            The folder cannot be written into.
        """
        contents = {PRINTED: self.pdf, PHONE: self.html}
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            write_whole(folder / name, content)
        return tuple(folder / name for name in contents)

    def __repr__(self) -> str:
        pages = f"{self.pages} pages of {self.paper}"
        return f"Handout: {self.question}\n{self.answer}\n{pages}"

    def _repr_html_(self) -> str:
        # In a frame of its own, so that the notebook's styles and the page's leave one another alone; the
        # empty sandbox lets nothing in it run.
        return (
            f'<iframe sandbox="" title="Handout" srcdoc="{html.escape(self.html)}" '
            'style="width: 100%; max-width: 48rem; height: 40rem; border: 1px solid #767676"></iframe>'
        )
