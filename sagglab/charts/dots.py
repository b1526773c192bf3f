"""Dots in the colours that were measured on what they stand for."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.path import Path
from numpy.typing import ArrayLike

from sagglab.charts.look import INK, QUIET
from sagglab.colour import lab_to_srgb

#: What a dot with a corner, and a hollow one, mean, for the words below a chart.
OUTSIDE = "a dot with a corner: a colour that the display cannot show"
UNMEASURED = "hollow: no colour was measured"

#: Square points of a dot among few others, and among so many that they would cover one another.
_FEW, _MANY, _CROWD = 46, 22, 60

# In quarters, whose Bézier handles do not reach beyond the circle: matplotlib scales a marker by its handles,
# too, and this one has to come out as wide as the plain circle.
_ROUND = Path.arc(90, 360, n=3)
#: A circle whose quarter at the right and above is filled out to a square corner.
CORNERED = Path(
    np.concatenate([_ROUND.vertices, [(1, 1), (0, 1), (0, 1)]]),
    np.concatenate([_ROUND.codes, [Path.LINETO, Path.LINETO, Path.CLOSEPOLY]]),
)


def measured_dots(ax: Axes, x: ArrayLike, y: ArrayLike, lab: ArrayLike) -> bool:
    """Draw dots in their measured colours, with a thin edge that parts them from the paper.

    Parameters
    ----------
    ax : Axes
    x, y : array_like, shape (n,)
    lab : array_like, shape (n, 3)
        L*, a*, b*; of what was not measured not numbers, and its dot is hollow.

    Returns
    -------
    bool
        Whether the display cannot show one of them; its dot has a corner, which the words below the chart
        have to tell (`OUTSIDE`).
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    lab = np.asarray(lab, dtype=float).reshape(-1, 3)
    known = np.isfinite(lab).all(axis=1)
    colours, outside = lab_to_srgb(np.where(known[:, None], lab, 0.0))
    size = _FEW if len(x) <= _CROWD else _MANY
    for chosen, mark in ((known & ~outside, "o"), (known & outside, CORNERED)):
        if chosen.any():
            ax.scatter(
                x[chosen], y[chosen], s=size, marker=mark, facecolors=colours[chosen], edgecolors=INK,
                linewidths=0.5, zorder=2.5,
            )  # fmt: skip
    if not known.all():
        ring = {"facecolors": "none", "edgecolors": QUIET, "linewidths": 0.8}
        ax.scatter(x[~known], y[~known], s=size, zorder=2.5, **ring)
    return bool(outside.any())
