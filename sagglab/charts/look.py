"""Look: the colours, type sizes and axes that every chart shares."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import matplotlib as mpl
import matplotlib.pyplot as plt
import seaborn as sns
from matplotlib.axes import Axes

#: What is said: lines, words and marks.
INK = "#2b2b2b"
#: What stands behind it.
QUIET = "#707070"

#: What draws the eye to a fault or a lack.
WARN = "#b23a00"

#: A colour and dashes for each of several lines. Every colour has a contrast of at least 3 to white paper, so
#: that it prints; neighbours differ in lightness and in dashes, so that they part in grey.
LINES = (
    ("#1f4e79", "-"),
    ("#c1440e", (0, (6, 1.5))),
    ("#00806a", (0, (1.2, 1.2))),
    ("#2b2b2b", (0, (6, 1.5, 1.2, 1.5))),
    ("#3b8fd1", (0, (10, 2))),
    ("#8e3b8e", (0, (3, 1.5))),
    ("#a66f00", (0, (6, 1.5, 1.2, 1.5, 1.2, 1.5))),
    ("#757575", (0, (9, 1.5, 3, 1.5))),
)

#: Type of what is written into a chart, in points.
SMALL = 9

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


def axes(ax: Axes | None, width: float, height: float) -> Axes:
    """Give the axes that were given, or new ones of so many inches."""
    if ax is not None:
        return ax
    return plt.subplots(figsize=(width, height), layout="constrained")[1]
