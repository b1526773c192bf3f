"""The workshop handout: what a student takes home, as data, as printed pages and as a page for a phone."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Drawing:
    """A chart on the page.

    Attributes
    ----------
    svg : str
        From `charts.chart_svg`.
    alt : str
        What it says, in words.
    """

    svg: str
    alt: str


@dataclass(frozen=True)
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


@dataclass(frozen=True)
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


@dataclass(frozen=True, repr=False)
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
