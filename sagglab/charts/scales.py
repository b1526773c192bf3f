"""Scales: temperature in °C and °F, time in minutes or by the clock, and the levels that matter."""

from __future__ import annotations

import datetime as dt
import math

from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MultipleLocator
from matplotlib.transforms import offset_copy

from sagglab.charts.labels import Labels
from sagglab.charts.look import QUIET, SMALL
from sagglab.firing.heat import ALUMINIUM_FREEZES_C, QUARTZ_INVERTS_C
from sagglab.firing.schedule import clock_after
from sagglab.units import both_scales, convert

LEVELS = (
    (QUARTZ_INVERTS_C, f"quartz inversion, {both_scales(QUARTZ_INVERTS_C)}"),
    (ALUMINIUM_FREEZES_C, f"foil can melt, {both_scales(ALUMINIUM_FREEZES_C, 1)}"),
)

#: Ticks stand apart by one of these, in minutes.
STEPS_MINUTES = (1, 2, 5, 10, 20, 30, 60, 120, 240, 360, 720, 1440, 2880)
MOST_TICKS = 9
#: A legend of more rows is taller than its chart, and with longer names it leaves the chart no width.
LEGEND_ROWS, LEGEND_LETTERS = 20, 28


def temperature_scales(ax: Axes, low_C: float, high_C: float) -> None:
    """Give an axes °C on the left and °F on the right, from the lowest to the highest that it must hold."""
    ax.set_ylim(min(0.0, low_C), high_C + 0.15 * (high_C - min(0.0, low_C)))
    ax.set_ylabel("°C", rotation=0, labelpad=10, va="center")
    right = ax.secondary_yaxis(
        "right", functions=(lambda c: convert(c, "degC", "degF"), lambda f: convert(f, "degF", "degC"))
    )
    right.set_ylabel("°F", rotation=0, labelpad=10, va="center")
    right.spines["right"].set_visible(True)


def minute_scale(ax: Axes, first: float, last: float, since: str) -> None:
    """Lay minutes along the bottom, with hours under them where they are many."""
    ax.set_xlim(first, last)
    step = _step(last - first)
    ax.xaxis.set_major_locator(MultipleLocator(step))
    long = last - first > 240
    if long:
        ax.xaxis.set_major_formatter(FuncFormatter(lambda minute, _: f"{minute:g}\n{minute / 60:g} h"))
    ax.set_xlabel(f"minutes{' and hours' if long else ''} from {since}")


def clock_scale(ax: Axes, last: float, start: dt.datetime, finish: dt.datetime) -> None:
    """Lay the time of day along the bottom, with the date where a day begins."""
    ax.set_xlim(0, last)
    step = _step(last)
    since_midnight = start.hour * 60 + start.minute + start.second / 60
    first = math.ceil(since_midnight / step) * step - since_midnight
    ticks = [first + step * number for number in range(math.floor((last - first) / step) + 1)]
    ax.xaxis.set_major_locator(FixedLocator(ticks))
    times = [clock_after(start, minute) for minute in ticks]
    days = [start.date(), *(time.date() for time in times)]
    ax.set_xticklabels(
        [
            f"{time:%H:%M}" + (f"\n{time:%Y-%m-%d}" if time.date() != before else "")
            for time, before in zip(times, days, strict=False)
        ]
    )
    other_day = f"{finish:%Y-%m-%d} " if finish.date() != start.date() else ""
    ax.set_xlabel(f"time of day, from {start:%Y-%m-%d %H:%M} to {other_day}{finish:%H:%M}")


def _step(span: float) -> float:
    return next((step for step in STEPS_MINUTES if span / step <= MOST_TICKS), STEPS_MINUTES[-1])


def mark_levels(ax: Axes) -> None:
    """Draw a line at each temperature that matters to a pot in foil."""
    for level, _ in LEVELS:
        ax.axhline(level, color=QUIET, linewidth=0.7, linestyle=(0, (4, 3)), zorder=0.5)


def name_levels(labels: Labels) -> None:
    """Write the names of the levels beside their lines, where there is room."""
    for level, words in LEVELS:
        label_level(labels, level, words, QUIET)


def avoid_levels(labels: Labels, *others_C: float) -> None:
    """Keep words off the lines of the levels, and of others that cross the whole chart."""
    for level in [*(level for level, _ in LEVELS), *others_C]:
        labels.avoid(labels.ax.get_xlim(), (level, level), weight=6.0)


def label_level(labels: Labels, level_C: float, words: str, colour: str) -> None:
    """Write the name of a level on it: at the right end, or wherever else it is free."""
    first, last = labels.ax.get_xlim()
    spots = [
        ((first + share * (last - first), level_C), (dx, dy))
        for share, dx in ((1, -3), (0, 3), (0.5, 0), (0.75, 0), (0.25, 0))
        for dy in (2, -2)
    ]
    labels.put(words, spots, colour=colour)


def legend_beside(ax: Axes, title: str) -> None:
    """Put a legend to the right of the °F, where it hides no line."""
    lines = [line for line in ax.lines if not line.get_label().startswith("_")]
    columns = -(-len(lines) // LEGEND_ROWS)
    names = [_shortened(line.get_label(), LEGEND_LETTERS // max(columns, 1)) for line in lines]
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    scale = ax.child_axes[0].get_tightbbox()
    beyond = (scale.x1 - ax.bbox.x1) / figure.dpi + 0.1
    ax.legend(
        lines, names, title=title, frameon=False, loc="upper left", borderaxespad=0, ncols=columns,
        handlelength=3.2, fontsize=SMALL, columnspacing=1,
        bbox_to_anchor=(1, 1), bbox_transform=offset_copy(ax.transAxes, ax.figure, x=beyond),
    )  # fmt: skip


def _shortened(name: str, letters: int) -> str:
    """Leave out the middle of a name: what tells names apart tends to stand at either end."""
    if len(name) <= letters:
        return name
    return f"{name[: letters // 2]}…{name[len(name) - letters // 2 + 1 :]}"
