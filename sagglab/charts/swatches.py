"""Swatches: patches in colours that were measured, or that a model expects."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.path import Path
from numpy.typing import ArrayLike

from sagglab.charts.look import QUIET
from sagglab.colour import lab_to_srgb

#: What a swatch without its corner means, for the words below a chart.
OUTSIDE = "a cut corner: a colour that the display cannot show"

#: From this lightness on a swatch has a thin edge, which parts it from the paper; below the other, words on
#: it are white.
_PALE, _DARK = 85, 55
#: How much of the shorter side the cut takes, and the least and the most of it, in points.
_CUT, _LEAST, _MOST = 0.3, 4.0, 9.0


class Swatch(Rectangle):
    """A patch in a colour; where it is `cut`, without the corner that is seen at the right and above.

    How much is cut goes by how large the swatch is drawn, so that the cut is seen on a narrow one, too, and
    slants alike on all.
    """

    cut = False

    def get_path(self) -> Path:
        """Give the outline, where the whole patch is 1 wide and 1 high."""
        if not self.cut:
            return super().get_path()
        low, high = self.get_transform().transform([(0, 0), (1, 1)])
        sides = np.maximum(np.abs(high - low), 1e-9)
        point = self.get_figure(root=True).dpi / 72
        cut = np.clip(_CUT * sides.min(), _LEAST * point, _MOST * point)
        across, down = np.minimum(cut / sides, 1)
        corners = np.array([(0, 0), (1, 0), (1, 1 - down), (1 - across, 1), (0, 1), (0, 0)])
        # Where an axis runs the other way, what is seen at the right and above is another corner.
        return Path(np.where(high < low, 1 - corners, corners), closed=True)


def swatch(
    ax: Axes,
    x: float,
    y: float,
    width: float,
    height: float,
    lab: ArrayLike,
) -> bool:
    """Draw a colour as a patch, its upper right corner cut off where the display cannot show it.

    Parameters
    ----------
    ax : Axes
    x, y, width, height : float
        Where the patch begins, and how far it reaches, in the data's units.
    lab : array_like, shape (3,)
        L*, a*, b*. Where one is not a number, the patch is empty within a thin edge.

    Returns
    -------
    bool
        Whether the display cannot show it, which the words below the chart have to tell (`OUTSIDE`).
    """
    lab = np.asarray(lab, dtype=float)
    known = bool(np.isfinite(lab).all())
    colour, outside = lab_to_srgb(lab if known else np.zeros(3))
    edged = not known or lab[0] > _PALE
    patch = Swatch(
        (x, y), width, height, facecolor=colour if known else "none",
        edgecolor=QUIET if edged else "none", linewidth=0.5 if edged else 0, clip_on=False,
    )  # fmt: skip
    patch.cut = bool(outside)
    ax.add_patch(patch)
    return bool(outside)


def ink_on(lightness: float) -> str:
    """Choose what words on a swatch of a lightness are written in.

    Examples
    --------
    >>> ink_on(20.0), ink_on(80.0)
    ('white', 'black')
    """
    return "white" if lightness < _DARK else "black"
