"""Climbs: a step under the curve for each band of temperature, with how fast the firing went through it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from sagglab.charts.curves import Curve
from sagglab.charts.labels import Labels
from sagglab.charts.look import INK
from sagglab.units import rate_in_both_scales

_STEPS = ("#efede7", "#e2dfd6")


def draw_climbs(
    ax: Axes, curve: Curve, bands_C: Sequence[tuple[float | None, float | None]]
) -> list[tuple[Rectangle, float]]:
    """Draw a step for each band that the climb went through; give each with its climb in °C/h."""
    steps = []
    minutes, heat = (part[: curve.peak + 1] for part in curve[:2])
    bottom = ax.get_ylim()[0]
    for number, (low, high) in enumerate(bands_C):
        begins = minutes[0] if low is None else _rise(minutes, heat, low)
        ends = minutes[-1] if high is None else _rise(minutes, heat, high)
        base, goal = heat[0] if low is None else low, heat[-1] if high is None else high
        if ends > begins and goal > base:
            step = Rectangle(
                (begins, bottom), ends - begins, goal - bottom, facecolor=_STEPS[number % 2], zorder=0,
                linewidth=0,
            )  # fmt: skip
            ax.add_patch(step)
            steps.append((step, (goal - base) / (ends - begins) * 60))
    return steps


def _rise(minutes: NDArray[np.float64], heat: NDArray[np.float64], level: float) -> float:
    """Find when the level was first reached; not a number if it was not, or if the record began above it."""
    after = int((heat >= level).argmax())
    if after == 0:
        return np.nan
    share = (level - heat[after - 1]) / (heat[after] - heat[after - 1])
    return float(minutes[after - 1] + share * (minutes[after] - minutes[after - 1]))


def write_climb(labels: Labels, step: Rectangle, climb: float) -> None:
    """Write a climb along the bottom of its step, or upwards in it, or not at all."""
    box = step.get_window_extent()
    place = (step.get_x() + step.get_width() / 2, step.get_y())
    line = rate_in_both_scales(climb)
    for words, rotation in ((line.replace(" (", "\n("), 0), (line, 90)):
        width, height = labels.size(words, rotation)
        if width + 4 <= box.width and height + 8 <= box.height:
            if labels.put_if_free(words, (place, (0, 5)), INK, rotation):
                return
