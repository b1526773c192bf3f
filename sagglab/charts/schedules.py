"""Schedules: what was planned, how long it takes, and how the firing kept to it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.curves import Curve
from sagglab.charts.labels import AROUND, Labels, Spot
from sagglab.charts.look import INK, LINES, PLANNED, WARN, axes, look
from sagglab.charts.scales import (
    avoid_levels,
    clock_scale,
    mark_levels,
    minute_scale,
    name_levels,
    temperature_scales,
)
from sagglab.firing.departures import Departures, departures
from sagglab.firing.readings import Readings
from sagglab.firing.schedule import Schedule
from sagglab.units import both_scales, rate_in_both_scales

#: A smaller departure is not worth its words.
LEAST_DEPARTURE_C = 1.0

_HOTTER = {"facecolor": "#f3b795", "edgecolor": "none"}
_COLDER = {"facecolor": "#e6eef6", "edgecolor": "#9fb6cd", "hatch": "////", "linewidth": 0}


def schedule_chart(
    schedule: Schedule,
    readings: Readings | None = None,
    start: dt.datetime | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw a schedule with the climb of each segment, and how a firing kept to it.

    Parameters
    ----------
    schedule : Schedule
    readings : Readings, optional
        The firing; its minute 0 is the schedule's start. Where it was hotter than planned the area between
        both is plain, where it was colder it is hatched.
    start : datetime, optional
        When it begins: the time of day stands along the bottom then, in place of minutes.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ReadingsError
        None of the readings counts.
    ScheduleError
        None of them falls into the time of the schedule.

    Examples
    --------
    >>> from sagglab.firing.schedule import read_schedule
    >>> schedule_chart(read_schedule("900 degC/h to 750 degC, hold 5 min")).get_xlabel()
    'minutes from the start'
    """
    table = schedule.table
    minutes, planned = table["minutes"].to_numpy(dtype=float), table["temperature_C"].to_numpy(dtype=float)
    actual = None if readings is None else Curve.of(readings).thin()
    kept = None if readings is None else departures(readings, schedule)
    heats = planned if actual is None else np.concatenate([planned, actual.temperature_C])
    last = 1.02 * max(minutes[-1], 1.0, 0.0 if actual is None else actual.minutes[-1])
    with look():
        ax = axes(ax, 7.6, 4.6)
        temperature_scales(ax, heats.min(), heats.max())
        if start is None:
            minute_scale(ax, 0, last, "the start")
        else:
            clock_scale(ax, last, start, schedule.finish(start))
        mark_levels(ax)
        colour, dashes = (INK, "-") if actual is None else (PLANNED, (0, (5, 3)))
        style = {"color": colour, "linewidth": 1.3, "linestyle": dashes}
        ax.plot(minutes, planned, zorder=2, label="planned", **style)
        top = both_scales(planned.max())
        lines = "Schedule" if readings is None else "Schedule (dashed) and firing"
        ax.set_title(f"{lines}: {_lasting(schedule.minutes)}, up to {top}")
        labels = Labels(ax)
        labels.avoid(minutes, planned)
        avoid_levels(labels)
        if actual is not None:
            _draw_actual(ax, labels, actual, minutes, planned)
        name_levels(labels)
        if actual is not None:
            for words, spots in _draw_departures(ax, kept):
                labels.put(words, spots, WARN, leader=True)
        for words, spots in _segments(minutes, planned):
            labels.put(words, spots, INK, leader=True)
    return describe(ax, f"{_in_words(schedule, minutes, planned)} {'' if kept is None else kept.sentence}")


def _in_words(schedule: Schedule, minutes: np.ndarray, planned: np.ndarray) -> str:
    pieces = [
        _piece(minutes[k] - minutes[k - 1], planned[k - 1], planned[k]).replace("\n", " ")
        for k in range(1, len(minutes))
        if minutes[k] > minutes[k - 1]
    ]
    return (
        f"Schedule as a line, {_lasting(schedule.minutes)} in all, from {both_scales(planned[0])} up to "
        f"{both_scales(planned.max())}: {', then '.join(pieces)}."
    )


def _piece(lasts: float, start_C: float, end_C: float) -> str:
    """Say what is done in one piece of a schedule."""
    change = end_C - start_C
    if change == 0:
        return f"hold {_lasting(lasts)}"
    way = "" if change > 0 else " down"
    return f"{rate_in_both_scales(abs(change) / lasts * 60)}{way}\nto {both_scales(end_C)}"


def _lasting(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def _segments(minutes: np.ndarray, planned: np.ndarray) -> Iterator[tuple[str, list[Spot]]]:
    """Yield what to write at each piece of the schedule, and where it may stand."""
    pieces = range(1, len(minutes))
    # Holds first: they are short, and have to find room beside the climbs' longer words.
    for k in sorted(pieces, key=lambda k: planned[k] != planned[k - 1]):
        lasts, change = minutes[k] - minutes[k - 1], planned[k] - planned[k - 1]
        if lasts <= 0:
            continue
        offsets = [(dx, -dy if change > 0 else dy) for dx, dy in AROUND] if change else AROUND
        yield (
            _piece(lasts, planned[k - 1], planned[k]),
            [
                (
                    (minutes[k - 1] + share * lasts, planned[k - 1] + share * change),
                    offset,
                )
                for reach in range(0, len(offsets), 8)
                for share in (0.5, 0.35, 0.65, 0.2, 0.8)
                for offset in offsets[reach : reach + 8]
            ],
        )


def _draw_actual(ax: Axes, labels: Labels, actual: Curve, minutes: np.ndarray, planned: np.ndarray) -> None:
    """Draw the firing, and shade between it and the schedule over the time that both cover."""
    ax.plot(*actual[:2], color=LINES[0][0], linewidth=1.7, zorder=3, label="fired")
    labels.avoid(*actual[:2])
    grid = np.union1d(actual.minutes, minutes)
    grid = grid[(grid >= actual.minutes[0]) & (grid <= min(actual.minutes[-1], minutes[-1]))]
    was = np.interp(grid, actual.minutes, actual.temperature_C)
    should = np.interp(grid, minutes, planned)
    for name, where, style in (("hotter", was >= should, _HOTTER), ("colder", was <= should, _COLDER)):
        ax.fill_between(grid, was, should, where=where, interpolate=True, label=name, zorder=1, **style)
    # Words can be read on the shading, too, but better beside it.
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):
        labels.avoid(grid, was + share * (should - was), weight=1.5)


def _draw_departures(ax: Axes, found: Departures) -> Iterator[tuple[str, list[Spot]]]:
    """Mark where the firing was furthest from the schedule to either side; yield what to write there."""
    table = found.table.set_index("minutes")
    for name, far, minute in (
        ("hotter", found.ahead_C, found.ahead_minute),
        ("colder", found.behind_C, found.behind_minute),
    ):
        if far < LEAST_DEPARTURE_C:
            continue
        low, high = sorted(table.loc[minute, ["temperature_C", "planned_C"]])
        ax.plot([minute, minute], [low, high], color=WARN, linewidth=1.2, zorder=4, label=f"most {name}")
        places = [(minute, low + share * (high - low)) for share in (0.5, 0.2, 0.8, 0, 1)]
        words = f"{far:.0f} °C ({far * 1.8:.0f} °F) {name}, minute {minute:.0f}"
        yield words, [(place, offset) for offset in AROUND for place in places]
