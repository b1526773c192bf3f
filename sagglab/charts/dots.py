"""Dots in the colours that were measured on what they stand for."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from sagglab.charts.look import INK, WARN
from sagglab.colour import lab_to_srgb

#: What an orange edge means, for the words below a chart.
OUTSIDE = "orange edge: a colour that the display cannot show"

#: Square points of a dot among few others, and among so many that they would cover one another.
_FEW, _MANY, _CROWD = 46, 22, 60


def measured_dots(ax: Axes, x: ArrayLike, y: ArrayLike, lab: ArrayLike) -> bool:
    """Draw dots in their measured colours, with a thin edge that parts them from the paper.

    Parameters
    ----------
    ax : Axes
    x, y : array_like, shape (n,)
    lab : array_like, shape (n, 3)
        L*, a*, b*.

    Returns
    -------
    bool
        Whether the display cannot show one of them; it has an orange edge.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    colours, outside = lab_to_srgb(lab)
    size, wide = (_FEW, 1.6) if len(x) <= _CROWD else (_MANY, 1.0)
    for cut, edge, width in ((False, INK, 0.5), (True, WARN, wide)):
        chosen = outside == cut
        if chosen.any():
            ax.scatter(
                x[chosen], y[chosen], s=size, facecolors=colours[chosen],
                edgecolors=edge, linewidths=width, zorder=3,
            )  # fmt: skip
    return bool(outside.any())
