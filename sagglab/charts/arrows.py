"""Arrows: where each colour of one setup lies in another, on the plane of a* and b*."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import ArrowStyle, FancyArrowPatch
from numpy.typing import NDArray

from sagglab.charts.alt import describe
from sagglab.charts.dots import OUTSIDE, measured_dots
from sagglab.charts.labels import AROUND, Labels
from sagglab.charts.look import INK, QUIET, axes, check_result, look, wrapped
from sagglab.model.wording import count
from sagglab.setups.pairs import Pairs

#: So many of the longest arrows are named, in lines of so many letters.
_NAMES, _NAME = 5, 24
#: Letters in a line above and below.
_LINE = 58
#: All arrows are tiny when the longest is below this share of the chart's side, which a dot covers; they are
#: then drawn longer, until the longest takes up the second share.
_TINY, _SEEN = 0.035, 0.14
#: Points that a dot reaches from its middle: an arrow that ends within it gets a ring instead.
_DOT = 4.5


def arrow_chart(pairs: Pairs, ax: Axes | None = None) -> Axes:
    """Draw an arrow from the colour of each pot or patch in the first setup to that in the second.

    The dot at its start has the colour measured there. An arrow too short to be seen is a ring about the dot.
    Where all are tiny they are drawn several times as long, and the words below say so. The longest few are
    named. Lightness is not seen on this plane.

    Parameters
    ----------
    pairs : Pairs
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes

    Raises
    ------
    ModelError
        It was given something else than pairs.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.setups.pairs import pair_pots
    >>> old = pd.DataFrame({"photo": "", "pot": ["bowl", "jar"], "view": "front", "setup": "old",
    ...                     "taken": pd.NaT, "L*": [32, 41], "a*": [9, 12], "b*": [8, 14]})
    >>> new = old.assign(setup="new", **{"a*": [12, 16], "b*": [12, 14]})
    >>> print(alt_text(arrow_chart(pair_pots(old, new))))  # doctest: +NORMALIZE_WHITESPACE
    Arrows on the plane of a* and b*. From old to new, 2 pots, after calibration: mean Δa* +3.5, Δb* +2.0;
    the longest are bowl 5.0, jar 4.0.
    >>> plt.close()
    """
    check_result(pairs, Pairs, "arrow_chart", "pair_pots")
    starts, tips = (pairs.lab(which)[:, 1:] for which in ("first", "second"))
    low, high, times = _plane(starts, tips)
    tips = starts + times * (tips - starts)
    width, height = 6.4 * np.sqrt((high - low) / (high - low).max())
    with look():
        ax = axes(ax, max(width, 4.8) + 0.8, max(height, 3.6) + 1.5)
        ax.set_xlim(low[0], high[0])
        ax.set_ylim(low[1], high[1])
        ax.set_aspect("equal")
        ax.axhline(0, color=QUIET, linewidth=0.7, zorder=0)
        ax.axvline(0, color=QUIET, linewidth=0.7, zorder=0)
        outside = measured_dots(ax, *starts.T, pairs.lab("first"))
        ax.set_title(_title(pairs))
        ax.set_ylabel("b*\n← bluer      yellower →", linespacing=1.4)
        below = [
            "a*\n← greener      redder →",
            wrapped(f"dot: {pairs.first}; tip: {pairs.second}", _LINE),
            "ring: hardly any change; lightness is not shown",
            *[f"arrows drawn {times} times as long as they are"] * (times > 1),
            *[OUTSIDE] * outside,
        ]
        ax.set_xlabel("\n".join(below), linespacing=1.4)
        labels = Labels(ax)
        labels.avoid([low[0], high[0]], [0, 0])
        labels.avoid([0, 0], [low[1], high[1]])
        seen = ~_draw(labels, starts, tips)
        _name(labels, pairs.table[seen], starts[seen], tips[seen])
    return describe(ax, _in_words(pairs, times))


def _in_words(pairs: Pairs, times: int) -> str:
    moved = pairs.table[["Δa*", "Δb*"]]
    length = np.hypot(*moved.to_numpy().T)
    mean = ", ".join(f"{name} {value:+.1f}" for name, value in moved.mean().items()).replace("-", "−")
    order = np.argsort(-length, kind="stable")[:3]
    longest = ", ".join(f"{pairs.table['item'].iloc[k]} {length[k]:.1f}" for k in order)
    drawn = f" They are drawn {times} times as long." if times > 1 else ""
    return (
        f"Arrows on the plane of a* and b*. {_title(pairs)}: mean {mean}; the longest are {longest}.{drawn}"
    )


def _title(pairs: Pairs) -> str:
    number = count(len(pairs.items), "pot") if pairs.kind == "pots" else f"{len(pairs.items)} patches"
    return wrapped(f"From {pairs.first} to {pairs.second}, {number}, {pairs.colours}", _LINE)


def _plane(
    starts: NDArray[np.float64], tips: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """Choose the corners of the plane, which holds the neutral point, and how long arrows are drawn."""
    lengths = np.hypot(*(tips - starts).T)
    longest, side = lengths.max(initial=0.0), _corners(starts, tips)[2]
    times = 1
    if 0 < longest < _TINY * side:
        times = max(n for n in (1, 2, 5, 10, 20, 50, 100) if n == 1 or n * longest <= _SEEN * side)
    low, high, _ = _corners(starts, starts + times * (tips - starts))
    return low, high, times


def _corners(
    *places: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Enclose all places and the neutral point, at most twice as long one way as the other."""
    all_places = np.concatenate([*places, np.zeros((1, 2))])
    low, high = all_places.min(axis=0), all_places.max(axis=0)
    side = max(float((high - low).max()), 1.0)
    middle, reach = (low + high) / 2, np.maximum((high - low) / 2, side / 4) + 0.07 * side
    return middle - reach, middle + reach, 2 * float(reach.max())


def _draw(labels: Labels, starts: NDArray[np.float64], tips: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Draw the arrows, rings in place of those too short to be seen, and tell which these are."""
    ax = labels.ax
    pixels = np.hypot(*(ax.transData.transform(tips) - ax.transData.transform(starts)).T)
    short = pixels < _DOT * ax.get_figure(root=True).dpi / 72
    ax.plot(
        *starts[short].T, "o", markersize=2.6 * _DOT, markerfacecolor="none", markeredgecolor=INK,
        markeredgewidth=0.9, linestyle="none", zorder=2,
    )  # fmt: skip
    head = ArrowStyle("-|>", head_width=1.6, head_length=3.2)
    for ends in np.stack([starts, tips], axis=1)[~short]:
        # Over any words that find no other room: an arrow is never hidden.
        style = {"arrowstyle": head, "color": INK, "linewidth": 1.1, "shrinkA": 0, "shrinkB": 0, "zorder": 6}
        ax.add_patch(FancyArrowPatch(*ends, **style))
        labels.avoid(*ends.T)
    labels.avoid_marks(*starts.T)
    return short


def _name(
    labels: Labels, table: pd.DataFrame, starts: NDArray[np.float64], tips: NDArray[np.float64]
) -> None:
    """Name arrows, the longest first; the view with the pot where it shows several."""
    views = table.groupby("item")["view"].transform("nunique") > 1
    for place in np.argsort(-np.hypot(*(tips - starts).T), kind="stable")[:_NAMES]:
        item, view = table.loc[table.index[place], ["item", "view"]]
        name = wrapped(f"{item} {view}" if views.iloc[place] else item, _NAME)
        ends = (tuple(tips[place]), tuple(starts[place]))
        labels.put(name, [(end, offset) for offset in AROUND for end in ends], leader=True)
