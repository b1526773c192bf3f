"""How alike the terms of a plan are: the darker, the harder to tell apart."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Rectangle

from sagglab.charts.look import INK, QUIET, SMALL, axes, check_result, look, wrapped
from sagglab.plan.precision import Precision

#: Above this a number is written into its field.
_SAID = 0.3
#: Inches of one field, and letters in a line of a name.
_FIELD, _LETTERS = 0.44, 26
_GREYS = LinearSegmentedColormap.from_list("greys", ["#ffffff", "#d0d0d0", "#8c8c8c", INK])


def likeness_chart(precision: Precision, ax: Axes | None = None) -> Axes:
    """Draw how alike each two terms of a plan are among its pots.

    Parameters
    ----------
    precision : Precision
        From `precision`.
    ax : Axes, optional
        Where to draw; a new figure without it.

    Returns
    -------
    Axes
        A stair of fields. Each term stands at the end of its row, and its column hangs below it. White has
        nothing in common, black cannot be told apart; the number is written above 0.3. A term that is the
        same on every pot has its fields struck through.

    Raises
    ------
    ModelError
        It is not the result of precision.
    """
    check_result(precision, Precision, "likeness_chart", "precision")
    alike = precision.correlations
    values, names = alike.to_numpy(dtype=float), [wrapped(str(name), _LETTERS) for name in alike.index]
    count = len(names)
    letters = max(len(line) for name in names for line in name.split("\n"))
    # A letter of this size is about 0.075 inches wide.
    beside = 0.075 * letters / _FIELD + 0.6
    with look():
        ax = axes(ax, max((count + beside) * _FIELD, 4.5), max((count + 1.6) * _FIELD, 2.2))
        for row in range(count):
            for column in range(row):
                _field(ax, row, column, values[row, column])
            ax.text(row + 0.18, row + 0.5, names[row], va="center", fontsize=SMALL, linespacing=0.95)
        ax.set(xlim=(-0.1, count + beside), ylim=(count + 0.1, -0.1), xticks=[], yticks=[], aspect="equal")
        ax.spines[:].set_visible(False)
        ax.set_title("How alike the terms are among these pots", fontsize=12)
        ax.set_xlabel(
            wrapped("0: nothing in common; 1: cannot be told apart", int((count + beside) * _FIELD / 0.08)),
            fontsize=SMALL,
            color=QUIET,
            loc="left",
        )
    return ax


def _field(ax: Axes, row: int, column: int, value: float) -> None:
    known = np.isfinite(value)
    ax.add_patch(
        Rectangle(
            (column, row),
            1,
            1,
            facecolor=_GREYS(value) if known else "#ffffff",
            edgecolor="#bdbdbd",
            linewidth=0.6,
        )
    )
    if not known:
        ax.plot([column, column + 1], [row + 1, row], color="#bdbdbd", linewidth=0.6)
    elif value > _SAID:
        said = "1" if value > 0.995 else f"{value:.2f}".removeprefix("0")
        colour = "white" if value > 0.55 else INK
        ax.text(column + 0.5, row + 0.52, said, ha="center", va="center", fontsize=SMALL, color=colour)
