"""Right edge: names in a column beside the ends of lines, none over another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike
from scipy.optimize import isotonic_regression

from sagglab.charts.labels import Labels
from sagglab.charts.look import INK, QUIET

#: Pixels between two names, and between the lines' ends and the column, as a share of the lines' width.
_APART, _BEFORE = 3.0, 0.05


def name_ends(ax: Axes, names: Sequence[str], ends: ArrayLike, colours: Sequence[str] | None = None) -> int:
    """Write names to the right of all that is drawn, each joined by a thin line to its end.

    The axes are widened by the column; their scale stays as far as it goes now.

    Parameters
    ----------
    ax : Axes
        Its limits, title and labels must be set.
    names : sequence of str
        The most telling first: where there is no room for all, the last are left out.
    ends : array_like, shape (n, 2)
        Where each line ends, in the data's units.
    colours : sequence of str, optional
        Of the names; ink unless given.

    Returns
    -------
    int
        How many are written.
    """
    left, right = ax.get_xlim()
    ax.set_xticks([tick for tick in ax.get_xticks() if left <= tick <= right])
    ax.spines["bottom"].set_bounds(left, right)
    labels = Labels(ax)
    sizes = np.array([labels.size(name) for name in names]).reshape(-1, 2)
    taken = np.cumsum(sizes[:, 1] + _APART)
    written = int(np.searchsorted(taken, labels.room.height + _APART, side="right"))
    if not written:
        return 0
    sizes, ends = sizes[:written], np.asarray(ends, dtype=float)[:written]
    column = right + _BEFORE * (right - left)
    room = labels.room.width
    words = min(sizes[:, 0].max() + 8, 0.6 * room)
    # The layout stays, since no tick is added.
    ax.set_xlim(left, left + (column - left) * room / (room - words))
    # Heights in pixels, least moved from the ends so that each name stands clear of the one below.
    # Of ends at one height the first named stands on top, whatever rounding does to them.
    order = np.lexsort((-np.arange(written), ax.transData.transform(ends)[:, 1].round()))
    steps = (sizes[order[1:], 1] + sizes[order[:-1], 1]) / 2 + _APART
    up = np.concatenate([[0.0], np.cumsum(steps)])
    pixels = ax.transData.transform(ends[order])[:, 1]
    lowest = labels.room.y0 + sizes[order[0], 1] / 2
    highest = labels.room.y1 - sizes[order[-1], 1] / 2 - up[-1]
    heights = np.clip(isotonic_regression(pixels - up).x, lowest, max(lowest, highest)) + up
    for place, height in zip(order, heights, strict=True):
        at = (column, float(ax.transData.inverted().transform((0, height))[1]))
        ax.plot([ends[place, 0], column], [ends[place, 1], at[1]], color=QUIET, linewidth=0.5, zorder=1)
        labels.put(names[place], [(at, (3, 0))], INK if colours is None else colours[place])
    return written
