"""Colour map: the pots in a plane of CIELAB, each in its own colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from sagglab.charts.alt import describe
from sagglab.charts.dots import measured_dots
from sagglab.charts.labels import AROUND, BEHIND, Labels
from sagglab.charts.look import QUIET, axes, look, wrapped
from sagglab.charts.shown import about_dots, short_tag, shown_pots
from sagglab.colour import AXES, lab_to_lch
from sagglab.errors import UnknownNameError
from sagglab.model.wording import count


@dataclass(frozen=True)
class _Plane:
    """What is across and upwards, in words, and what the title says of it."""

    title: str
    across: str
    upwards: str
    names: tuple[str, str]


_PLANES = {
    "a*b*": _Plane(
        "How red and how yellow",
        "a*\n← greener          redder →",
        "b*\n← bluer          yellower →",
        ("a*", "b*"),
    ),
    "L*C*": _Plane(
        "How light and how colourful",
        "C*ab of the mean colour\n← greyer          more colourful →",
        "L*\n← darker          lighter →",
        ("C*ab", "L*"),
    ),
}

#: Letters in a line above and below.
_LINE = 58
#: Circles and the cross of the neutral axes: seen, and still read over.
_FAINT = "#c8c8c8"
#: Least span of each axis, so that pots that hardly differ do not seem to.
_LEAST = 10.0
#: Points from the middle of a dot to its rim.
_RIM = 3.8
#: Share of the span that stays free around the dots.
_EDGE = 0.07


def colour_map(results: pd.DataFrame, plane: str = "a*b*", ax: Axes | None = None) -> Axes:
    """Draw each pot as a dot in its own colour, at its place in a plane of CIELAB.

    Parameters
    ----------
    results : DataFrame
        One row per pot, with ``L*``, ``a*``, ``b*``.
    plane : str
        ``a*b*``: how green or red, and how blue or yellow, both to one scale, with circles of equal
        colourfulness (C*ab) around the neutral point. ``L*C*``: how light against how colourful. C*ab is
        that of the mean colour, as the dot has it; the results' own ``C*ab``, a mean over places, is larger.
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes
        Pots are named where there is room beside their dots, the outermost first.

    Raises
    ------
    UnknownNameError
        There is no such plane, or no such columns.
    ModelError
        It is no table, one of the columns is not of numbers, or no pot has a colour.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> pots = pd.DataFrame({"pot": ["p1", "p2"], "L*": [30, 50], "a*": [3, 12], "b*": [4, 9]})
    >>> print(alt_text(colour_map(pots)))  # doctest: +NORMALIZE_WHITESPACE
    Map of colours, a* and b*: a dot in the measured colour of each of 2 pots. Across a* from 3.0 (p1) to
    12.0 (p2); upwards b* from 4.0 (p1) to 9.0 (p2). The most colourful is p2 with C*ab 15.0, the least p1
    with 5.0.
    >>> plt.close()
    """
    if plane not in _PLANES:
        raise UnknownNameError(f"plane '{plane}'", "there is no such plane", f"name {' or '.join(_PLANES)}")
    shown = shown_pots(results, AXES, AXES, "colour_map")
    lch, said = lab_to_lch(shown.lab), _PLANES[plane]
    spots = shown.lab[:, 1:] if plane == "a*b*" else lch[:, 1::-1]
    title = f"{said.title}: {count(len(spots), 'pot')}"
    below = [said.across, *about_dots(shown.lab), *filter(None, [wrapped(shown.left_out, _LINE)])]
    with look():
        ax = axes(ax, 6.6, 5.6 + 0.2 * (len("\n".join(below).split("\n")) - 2))
        ax.set_title(wrapped(title, _LINE))
        ax.set_xlabel("\n".join(below), linespacing=1.4)
        ax.set_ylabel(said.upwards, linespacing=1.4)
        _frame(ax, plane, spots)
        labels = Labels(ax)
        _avoid_dots(labels, spots)
        if plane == "a*b*":
            _circles(labels, spots)
        measured_dots(ax, *spots.T, shown.lab)
        _name(labels, shown.table["pot"], spots)
    return describe(ax, _said(said, shown.table["pot"], spots, lch, shown.left_out))


def _frame(ax: Axes, plane: str, spots: NDArray[np.float64]) -> None:
    """Set the limits, which hold the neutral point: colourfulness is seen as the way from it."""
    held = np.vstack([spots, np.zeros(2)]) if plane == "a*b*" else np.vstack([spots, [0, spots[0, 1]]])
    low, high = held.min(axis=0), held.max(axis=0)
    middle, reach = (low + high) / 2, np.maximum(high - low, _LEAST) * (0.5 + _EDGE)
    low, high = middle - reach, middle + reach
    if plane == "a*b*":
        ax.set_aspect("equal")
        low, high = middle - reach.max(), middle + reach.max()
        ax.axhline(0, color=_FAINT, linewidth=0.8, zorder=0)
        ax.axvline(0, color=_FAINT, linewidth=0.8, zorder=0)
    else:
        low[0] = 0.0
    ax.set_xlim(low[0], high[0])
    ax.set_ylim(low[1], high[1])
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))


def _avoid_dots(labels: Labels, spots: NDArray[np.float64]) -> None:
    """Keep words off all of each dot, its rim too."""
    ax = labels.ax
    reach = _RIM * ax.get_figure(root=True).dpi / 72
    turn = np.radians(np.arange(0, 360, 45))
    rim = ax.transData.transform(spots)[:, None] + reach * np.column_stack([np.cos(turn), np.sin(turn)])
    labels.avoid_marks(*ax.transData.inverted().transform(rim.reshape(-1, 2)).T)
    labels.avoid_marks(*spots.T)


def _circles(labels: Labels, spots: NDArray[np.float64]) -> None:
    """Draw circles of equal C*ab about the neutral point, and name each where it is farthest from dots."""
    ax = labels.ax
    farthest = np.hypot(*spots.T).max()
    ticks = MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(0, max(farthest, _LEAST / 2))
    turn = np.radians(np.arange(0, 361, 2))
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    low, high = (np.array(ends) for ends in zip(ax.get_xlim(), ax.get_ylim(), strict=True))
    for radius in ticks[ticks > 0]:
        ring = radius * unit
        ax.plot(*ring.T, color=_FAINT, linewidth=0.8, zorder=0, scalex=False, scaley=False)
        inside = ring[((ring > low) & (ring < high)).all(axis=1)]
        # Clear of the cross, whose lines would run through the words.
        inside = inside[np.abs(inside).min(axis=1) > 0.3 * radius]
        apart = np.hypot(*np.moveaxis(inside[:, None] - spots, -1, 0)).min(axis=1)
        for spot in inside[np.argsort(-apart, kind="stable")]:
            if labels.put_if_free(f"C*ab {radius:g}", (tuple(spot), (0.0, 0.0)), QUIET):
                # The circle stops at its name.
                ax.texts[-1].set_bbox(BEHIND)
                break


def _name(labels: Labels, pots: pd.Series, spots: NDArray[np.float64]) -> None:
    """Name pots where there is room, the outermost first: they are asked for."""
    aside = np.hypot(*((spots - np.median(spots, axis=0)) / np.maximum(np.ptp(spots, axis=0), 1e-9)).T)
    for k in np.argsort(-aside, kind="stable"):
        tag = short_tag(pots.iloc[k])
        any(labels.put_if_free(tag, (tuple(spots[k]), offset)) for offset in AROUND[:8])


def _said(
    plane: _Plane, pots: pd.Series, spots: NDArray[np.float64], lch: NDArray[np.float64], left_out: str
) -> str:
    """Say in words what the map shows."""
    across, upwards = (
        f"{name} from {values.min():.1f} ({pots[values.argmin()]}) to {values.max():.1f} "
        f"({pots[values.argmax()]})".replace("-", "−")
        for name, values in zip(plane.names, spots.T, strict=True)
    )
    said = (
        f"Map of colours, {plane.names[0]} and {plane.names[1]}: a dot in the measured colour of each of "
        f"{count(len(spots), 'pot')}. Across {across}; upwards {upwards}."
    )
    if plane.names[0] == "a*":
        chroma = lch[:, 1]
        said += (
            f" The most colourful is {pots[chroma.argmax()]} with C*ab {chroma.max():.1f}, "
            f"the least {pots[chroma.argmin()]} with {chroma.min():.1f}."
        )
    return f"{said} {left_out}." if left_out else said
