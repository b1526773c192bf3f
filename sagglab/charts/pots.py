"""Pots in the colours that were measured on them."""

from __future__ import annotations

from numbers import Real

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.look import axes, look, wrapped
from sagglab.charts.shown import is_share, name_of, value_in_words
from sagglab.charts.swatches import OUTSIDE, ink_on, swatch
from sagglab.colour import AXES
from sagglab.errors import ModelError
from sagglab.model.rows import find_column
from sagglab.model.wording import count
from sagglab.pages.headings import unit_of

#: Letters in a line of a level's name, and of a pot's name on its swatch.
_LEVEL, _POT = 26, 7


def pot_swatches(results: pd.DataFrame, by: str, ax: Axes | None = None) -> Axes:
    """Draw every measured pot in its own mean colour, in one row for each level of a column.

    Parameters
    ----------
    results : DataFrame
        One row per pot, with ``pot``, ``L*``, ``a*``, ``b*``.
    by : str
        A column of it, such as ``sugar [g]``, by its heading or its bare name. Within a level the pots stand
        from dark to light. A colour that the display cannot show has a corner cut off.
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes

    Raises
    ------
    UnknownNameError
        There is no such column.
    ModelError
        No pot has a colour and a level.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> pots = {"pot": ["p1", "p2", "p3"], "sugar [g]": [4, 0, 4]}
    >>> pots = pd.DataFrame(pots | {"L*": [40, 50, 30], "a*": [8, 12, 10], "b*": [6, 9, 8]})
    >>> ax = pot_swatches(pots, by="sugar")
    >>> [row.get_text() for row in ax.get_yticklabels()], [pot.get_text() for pot in ax.texts]
    (['0 g', '4 g'], ['p2', 'p3', 'p1'])
    >>> plt.close()
    """
    column = find_column(results, by, "column")
    lab = [find_column(results, axis, "column") for axis in AXES]
    shown = results[results[lab].notna().all(axis=1) & results[column].notna()]
    if shown.empty:
        raise ModelError(
            "pot_swatches", f"no pot with {column} has a colour", "measure photographs of some, and join them"
        )
    levels = list(shown.groupby(column, sort=True))
    longest = max((len(pots) for _, pots in levels), default=1)
    name = name_of(str(column))
    labels = [wrapped(_level(str(column), level), _LEVEL) for level, _ in levels]
    widest = max((len(line) for label in labels for line in label.split("\n")), default=0)
    width = max(1.6, 0.6 + 0.092 * widest) + 0.5 * longest
    with look():
        ax = axes(ax, width, 1.1 + 0.72 * len(levels))
        outside = False
        for place, (_, pots) in enumerate(levels):
            pots = pots.sort_values(lab[0])
            for k, (pot, colour) in enumerate(zip(pots["pot"], pots[lab].to_numpy(), strict=True)):
                outside |= swatch(ax, k, place - 0.36, 0.94, 0.72, colour)
                style = {"ha": "center", "va": "center", "fontsize": 8, "color": ink_on(colour[0])}
                ax.text(k + 0.47, place, wrapped(str(pot), _POT), **style)
        ax.set_yticks(range(len(levels)), labels)
        ax.set_xlim(0, longest)
        ax.set_ylim(len(levels) - 0.5, -0.5)
        ax.set_xticks([])
        said = "; ".join(["each pot's mean colour, from dark to light", *[OUTSIDE] * outside])
        ax.set_xlabel(wrapped(said, max(30, int(5 * longest))))
        ax.tick_params(length=0)
        for spine in ax.spines.values():
            spine.set_visible(False)
        ax.set_title(wrapped(f"The pots by {name}", max(30, int(5 * longest))))
    rows = "; ".join(
        f"{label.replace(chr(10), ' ')}: {count(len(pots), 'pot')}, mean "
        + ", ".join(f"{axis} {mean:.0f}" for axis, mean in zip(AXES, pots[lab].mean(), strict=True)).replace(
            "-", "−"
        )
        for label, (_, pots) in zip(labels, levels, strict=True)
    )
    words = f"Swatches of {count(len(shown), 'pot')} in their measured colours, in rows by {name}. {rows}."
    return describe(ax, words)


def _level(column: str, level: object) -> str:
    """Write a level with its unit; a plain number, such as a rating, without decimals that it has not got."""
    if isinstance(level, str | bool | np.bool_) or not isinstance(level, Real):
        return str(level)
    return value_in_words(column, level) if unit_of(column) or is_share(column) else f"{level:.4g}"
