"""Look: the colours, type sizes and axes that every chart shares, and how names are written in them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

import matplotlib as mpl
import matplotlib.pyplot as plt
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.text import Text

from sagglab.errors import ModelError

#: What is said: lines, words and marks.
INK = "#2b2b2b"
#: What stands behind it.
QUIET = "#707070"

#: What draws the eye to a fault or a lack.
WARN = "#b23a00"

#: A colour and dashes for each of several lines. Every colour has a contrast of at least 4.5 to white paper,
#: so that a name written in it can be read. Dark and middling ones take turns: neighbours part by ΔE00 17 or
#: more in grey and for colour-blind readers of each kind, and their dashes differ, too.
LINES = (
    ("#173f66", "-"),
    ("#b8531f", (0, (6, 1.5))),
    ("#004a3c", (0, (1.2, 1.2))),
    ("#2d78b8", (0, (6, 1.5, 1.2, 1.5))),
    ("#5a2459", (0, (10, 2))),
    ("#84691a", (0, (3, 1.5))),
    ("#2b2b2b", (0, (6, 1.5, 1.2, 1.5, 1.2, 1.5))),
    ("#767676", (0, (9, 1.5, 3, 1.5))),
)

#: What was planned, beside the line of what came of it, which is the first: the two part in grey, too.
PLANNED = LINES[3][0]

#: Type of what is written into a chart, in points.
SMALL = 9

#: So many letters of a chart's type stand in an inch.
LETTERS = 9

#: What draws each result of a model.
_DRAWN_BY = {
    "Effects": "give it to effect_chart",
    "Doses": "give it to dose_chart",
    "Screening": "give it to half_normal_chart",
    "ColourEffects": "give one of its outcomes to effect_chart, such as colours.outcomes.effects['L*']",
    "Outcomes": "give one of its outcomes to effect_chart, such as outcomes.effects['L*']",
}

LOOK = {
    "font.size": 11,
    "axes.titlesize": 12,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    # Names are the potter's own: "$" is money there, not mathematics.
    "text.parse_math": False,
    "figure.dpi": 110,
    "savefig.dpi": 160,
}


@contextmanager
def look() -> Iterator[None]:
    """Draw in the one look of all charts, and leave matplotlib's settings as they were."""
    # matplotlib's own rc_context also puts back "interactive", which a notebook's backend sets when it is
    # first used: used first in here, no chart after it would be shown. Only what is changed is put back.
    look = {**sns.axes_style("ticks"), **LOOK}
    before = {name: mpl.rcParams[name] for name in look}
    mpl.rcParams.update(look)
    try:
        yield
    finally:
        mpl.rcParams.update(before)


#: Whether a chart is drawn for a phone held upright.
_narrow: ContextVar[bool] = ContextVar("narrow", default=False)


@contextmanager
def narrow() -> Iterator[None]:
    """Draw for a phone held upright, as far as a chart can be drawn so."""
    before = _narrow.set(True)
    try:
        yield
    finally:
        _narrow.reset(before)


def across(usual: float, least: float) -> float:
    """Give the inches across of what is drawn: the least at which it is read, where it is drawn `narrow`.

    Examples
    --------
    >>> with narrow():
    ...     across(7.6, 4.2)
    4.2
    """
    return least if _narrow.get() else usual


def axes(ax: Axes | None, width: float, height: float) -> Axes:
    """Give the axes that were given, or new ones of so many inches."""
    if ax is None:
        return plt.subplots(figsize=(width, height), layout="constrained")[1]
    # Their title, labels and ticks were made outside the look, and are filled in here.
    for text in set(ax.findobj(Text)).difference(ax.texts):
        text.set_parse_math(False)
    return ax


def wrapped(text: str, letters: int) -> str:
    """Break words over lines of at most so many letters, a number and its % kept together.

    Examples
    --------
    >>> print(wrapped("copper sulphate pentahydrate dusted twice", 28))
    copper sulphate pentahydrate
    dusted twice
    """
    held = text.replace(" %", "\u00a0%")
    return textwrap.fill(held, letters, break_on_hyphens=False).replace("\u00a0%", " %")


def check_result(given: object, wanted: type, chart: str, made_by: str) -> None:
    """Refuse what a chart does not draw, and say what does.

    Raises
    ------
    ModelError
        It is not the wanted result of a model.
    """
    if isinstance(given, wanted):
        return
    kind = type(given).__name__
    remedy = _DRAWN_BY.get(kind, f"give {chart}({made_by}(…))")
    raise ModelError(chart, f"it takes the result of {made_by}, not {kind}", remedy)
