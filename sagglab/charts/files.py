"""Files: charts drawn without a window, and saved."""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
from matplotlib.axes import Axes


def draw_to_files() -> None:
    """Draw to files only from here on, unless a notebook or a window is drawn to already.

    A shell and its worker processes would otherwise open a window for each chart where there is a screen.
    """
    if mpl.get_backend(auto_select=False) is None:
        mpl.use("Agg")


def save_chart(ax: Axes, path: Path) -> None:
    """Save the chart's whole figure, and let go of it."""
    ax.figure.savefig(path)
    plt.close(ax.figure)
