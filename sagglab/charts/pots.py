"""Pots in the colours that were measured on them."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from sagglab.charts.look import axes, look, wrapped
from sagglab.colour import lab_to_srgb
from sagglab.model.rows import find_column
from sagglab.units import parse_heading

#: Letters in a line of a level's name, and of a pot's name on its swatch.
_LEVEL, _POT = 26, 7


def pot_swatches(results: pd.DataFrame, by: str, ax: Axes | None = None) -> Axes:
    """Draw every measured pot in its own mean colour, in one row for each level of a column.

    Parameters
    ----------
    results : DataFrame
        One row per pot, with ``L*``, ``a*``, ``b*``.
    by : str
        A column of it, such as ``sugar [g]``, by its heading or its bare name. Within a level the pots stand
        from dark to light. A colour that the display cannot show has a corner cut off.

    Raises
    ------
    UnknownNameError
        There is no such column.
    """
    column = find_column(results, by, "column")
    shown = results[results["L*"].notna()]
    levels = list(shown.groupby(column, sort=True))
    longest = max((len(pots) for _, pots in levels), default=1)
    name, unit = parse_heading(str(column))
    labels = [
        wrapped(f"{level:.3g} {unit or ''}".strip() if isinstance(level, float) else str(level), _LEVEL)
        for level, _ in levels
    ]
    widest = max((len(line) for label in labels for line in label.split("\n")), default=0)
    width = max(1.6, 0.6 + 0.092 * widest) + 0.5 * longest
    with look():
        ax = axes(ax, width, 1.1 + 0.72 * len(levels))
        for place, (_, pots) in enumerate(levels):
            pots = pots.sort_values("L*")
            colours, outside = lab_to_srgb(pots[["L*", "a*", "b*"]].to_numpy())
            for k, (colour, cut) in enumerate(zip(colours, outside, strict=True)):
                corner = (
                    [(k + 0.94, place + 0.36)]
                    if not cut
                    else [(k + 0.7, place + 0.36), (k + 0.94, place + 0.12)]
                )
                shape = [(k, place + 0.36), (k, place - 0.36), (k + 0.94, place - 0.36), *corner[::-1]]
                ax.add_patch(Polygon(shape, facecolor=colour, edgecolor="none"))
                ink = "white" if pots["L*"].iloc[k] < 55 else "black"
                pot = wrapped(str(pots["pot"].iloc[k]), _POT)
                ax.text(k + 0.47, place, pot, ha="center", va="center", fontsize=8, color=ink)
        ax.set_yticks(range(len(levels)), labels)
        ax.set_xlim(0, longest)
        ax.set_ylim(len(levels) - 0.5, -0.5)
        ax.set_xticks([])
        ax.set_xlabel("each pot's mean colour, from dark to light")
        ax.tick_params(length=0)
        for spine in ax.spines.values():
            spine.set_visible(False)
        ax.set_title(wrapped(f"The pots by {name}", max(30, int(5 * longest))))
    return ax
