"""Firing curves: one firing with its climbs and flags, or all the firings of a book together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from textwrap import shorten
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from sagglab.charts.alt import describe
from sagglab.charts.climbs import draw_climbs, write_climb
from sagglab.charts.curves import Curve, Flagged, draw_curve, draw_flagged
from sagglab.charts.labels import ABOVE, AROUND, Labels, Spot
from sagglab.charts.look import INK, LINES, PLANNED, axes, look
from sagglab.charts.scales import (
    LEVELS,
    avoid_levels,
    label_level,
    legend_beside,
    mark_levels,
    minute_scale,
    name_levels,
    temperature_scales,
)
from sagglab.errors import ReadingsError, UnknownNameError
from sagglab.firing.heat import BANDS_C
from sagglab.firing.readings import Readings
from sagglab.firing.schedule import Schedule
from sagglab.model.wording import count
from sagglab.units import both_scales, rate_in_both_scales

#: So many lines are named at their ends; more get a legend.
FEW_FIRINGS = 8

#: So many peaks are told one by one in words.
_TOLD = 12

#: The next after the curve's own, from which it parts in grey, too.
_TARGET = LINES[1][0]


def firing_curve(
    readings: Readings,
    target_C: float | None = None,
    bands_C: Sequence[tuple[float | None, float | None]] = BANDS_C,
    schedule: Schedule | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw one firing: its curve, its peak, how fast it climbed, and every reading that was flagged.

    Parameters
    ----------
    readings : Readings
    target_C : float, optional
        The peak that was aimed at.
    bands_C : sequence of pairs of float or None
        The climb over each is drawn as a step and written into it where it fits; None is the first reading,
        or the peak.
    schedule : Schedule, optional
        What was planned; its minute 0 is that of the record.
    ax : Axes, optional

    Returns
    -------
    Axes
        A flagged reading has a hollow mark, at the edge where it lies beyond the chart or has no temperature.
        Where readings are missing, the curve is dotted.

    Raises
    ------
    ReadingsError
        None of the readings counts.

    Examples
    --------
    >>> import pandas as pd
    >>> from sagglab.firing.readings import read_readings
    >>> readings = read_readings(pd.DataFrame({"time [min]": [0, 20, 40, 60], "°C": [20, 400, 740, 500]}))
    >>> firing_curve(readings, target_C=750).get_xlabel()
    'minutes from the first reading'
    """
    curve = Curve.of(readings)
    zero = curve.minutes[0]
    curve = curve.from_minute(zero)
    plan = np.empty((0, 2))
    if schedule is not None:
        plan = schedule.table[["minutes", "temperature_C"]].to_numpy(dtype=float) - [zero, 0]
    peak = float(curve.minutes[curve.peak]), float(curve.temperature_C[curve.peak])
    levels = [LEVELS[-1][0], *([] if target_C is None else [target_C])]
    with look():
        ax = axes(ax, 7.6, 4.6)
        temperature_scales(ax, curve.temperature_C.min(), max(peak[1], *levels, *plan[:, 1]))
        last = max(curve.minutes[-1], 1.0, *plan[:, 0])
        minute_scale(ax, min(0.0, *plan[:1, 0]) if len(plan) else 0.0, 1.02 * last, "the first reading")
        steps = draw_climbs(ax, curve, bands_C)
        mark_levels(ax)
        if target_C is not None:
            ax.axhline(target_C, color=_TARGET, linewidth=0.9, zorder=1)
        if schedule is not None:
            ax.plot(*plan.T, color=PLANNED, linewidth=1.3, linestyle=(0, (5, 3)), label="schedule")
        drawn = curve.thin()
        draw_curve(ax, drawn)
        ax.plot(*peak, "^", color=INK, markersize=6, zorder=4, label="peak")
        flagged = draw_flagged(ax, readings, zero)
        ax.set_title(f"Firing curve of {shorten(Path(readings.source).name, 60, placeholder=' …')}")

        labels = Labels(ax)
        labels.avoid(*drawn[:2])
        if schedule is not None:
            labels.avoid(*plan.T)
        labels.avoid_marks(*peak)
        for marks in flagged:
            labels.avoid_marks(marks.minutes, marks.temperature_C)
        avoid_levels(labels, *levels)
        words = f"peak {both_scales(peak[1])}, minute {peak[0]:.0f}"
        labels.put(words, [(peak, offset) for offset in ABOVE])
        for marks in flagged:
            labels.put(marks.words, _beside(marks), marks.colour, leader=True)
        name_levels(labels)
        if target_C is not None:
            label_level(labels, target_C, f"target {both_scales(target_C)}", _TARGET)
        if schedule is not None:
            labels.put("schedule", _along(plan), PLANNED)
        for step, climb in steps:
            write_climb(labels, step, climb)
    name = shorten(Path(readings.source).name, 60, placeholder=" …")
    said = [
        f"Firing curve of {name} over {curve.minutes[-1]:.0f} minutes: from "
        f"{both_scales(curve.temperature_C[0])} to a {words.replace('peak', 'peak of', 1)}."
    ]
    if target_C is not None:
        said.append(f"The target was {both_scales(target_C)}.")
    if steps:
        climbs = [
            f"{rate_in_both_scales(climb)} up to {both_scales(step.get_y() + step.get_height())}"
            for step, climb in steps
        ]
        said.append(f"It climbed {', then '.join(climbs)}.")
    said += [f"Flagged are {'; '.join(marks.words for marks in flagged)}."] if flagged else []
    if schedule is not None:
        said.append(f"A dashed line is the schedule, up to {both_scales(plan[:, 1].max())}.")
    return describe(ax, " ".join(said))


def _beside(marks: Flagged) -> list[Spot]:
    """List the spots around the middle mark, and around the first and last: a run may be hemmed in."""
    if not len(marks.minutes):
        return [((0.0, 0.0), offset) for offset in AROUND]
    ranks = [int(share * (len(marks.minutes) - 1)) for share in (0.5, 0, 1)]
    places = [(marks.minutes[rank], marks.temperature_C[rank]) for rank in ranks]
    return [(place, offset) for offset in AROUND for place in places]


def _along(plan: NDArray[np.float64]) -> list[Spot]:
    """List the spots along a line of straight pieces, its later part first."""
    minutes = np.linspace(plan[-1, 0], plan[0, 0], 11)[1:-1]
    places = zip(minutes, np.interp(minutes, *plan.T), strict=True)
    return [(place, offset) for place in places for offset in AROUND[:8]]


def firing_curves(
    firings: Mapping[str, Readings], align: Literal["start", "peak"] = "start", ax: Axes | None = None
) -> Axes:
    """Draw the temperature records of several firings, °C on the left and °F on the right.

    Parameters
    ----------
    firings : mapping of str to Readings
        Each firing's tag and its record.
    align : {"start", "peak"}
        What minute 0 is: the first reading of each, or its peak.
    ax : Axes, optional

    Returns
    -------
    Axes
        Each line is named at its end, or in a legend where there are many or their names would overlap.

    Raises
    ------
    UnknownNameError
        Records cannot be aligned so.
    ReadingsError
        There is no firing, or none of the readings of one counts.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> import pandas as pd
    >>> from sagglab.charts import alt_text
    >>> from sagglab.firing.readings import read_readings
    >>> records = {"f1": [20, 400, 740, 500], "f2": [20, 690, 450, 300]}
    >>> firings = {tag: read_readings(pd.DataFrame({"time [min]": [0, 20, 40, 60], "°C": heat}))
    ...            for tag, heat in records.items()}
    >>> print(alt_text(firing_curves(firings, align="peak")))  # doctest: +NORMALIZE_WHITESPACE
    Firing curves of 2 firings over minutes, aligned at the peak. Peaks: f1 740 °C (1364 °F) after 40 minutes,
    f2 690 °C (1274 °F) after 20 minutes.
    >>> plt.close()
    """
    if not firings:
        raise ReadingsError("firing_curves", "it was given no firing", "give it at least one with its record")
    if align not in ("start", "peak"):
        raise UnknownNameError(f"align '{align}'", "it is unknown", "give one of start, peak")
    curves = {}
    for tag, readings in firings.items():
        curve = Curve.of(readings)
        zero = curve.minutes[curve.peak if align == "peak" else 0]
        curves[str(tag)] = curve.from_minute(zero).thin()
    first = min(curve.minutes[0] for curve in curves.values())
    last = max(curve.minutes[-1] for curve in curves.values())
    heats = [curve.temperature_C for curve in curves.values()]
    with look():
        ax = axes(ax, 7.6, 4.4)
        temperature_scales(
            ax,
            min(heat.min() for heat in heats),
            max([LEVELS[-1][0], *(heat.max() for heat in heats)]),
        )
        since = "the first reading" if align == "start" else "the peak, before it (−) and after it"
        minute_scale(ax, first, max(last, first + 1), since)
        mark_levels(ax)
        for number, (tag, curve) in enumerate(curves.items()):
            colour, dashes = _line(number)
            ax.plot(*curve.broken(), color=colour, linestyle=dashes, linewidth=1.5, label=tag, zorder=2)
        ax.set_title("Firing curves" + (", aligned at the peak" if align == "peak" else ""))
        if len(curves) > FEW_FIRINGS or not _name_ends(ax, curves):
            legend_beside(ax, "firing")
            labels = Labels(ax)
            for curve in curves.values():
                labels.avoid(curve.minutes, curve.temperature_C)
            avoid_levels(labels)
            name_levels(labels)
    return describe(ax, _in_words(curves, align))


def _in_words(curves: Mapping[str, Curve], align: str) -> str:
    peaks = [
        f"{tag} {both_scales(curve.temperature_C.max())} after "
        f"{curve.minutes[curve.peak] - curve.minutes[0]:.0f} minutes"
        for tag, curve in curves.items()
    ]
    many = f" and {len(peaks) - _TOLD} more" if len(peaks) > _TOLD else ""
    heats = sorted(curve.temperature_C.max() for curve in curves.values())
    said = [
        f"Firing curves of {count(len(curves), 'firing')} over minutes, aligned at the "
        f"{'first reading' if align == 'start' else 'peak'}.",
        f"Peaks: {', '.join(peaks[:_TOLD])}{many}.",
    ]
    if many:
        said.append(f"The lowest is {both_scales(heats[0])}, the highest {both_scales(heats[-1])}.")
    return " ".join(said)


def _line(number: int) -> tuple[str, str | tuple]:
    """Give each line a colour, and other dashes to it when the colours come round again."""
    size = len(LINES)
    return LINES[number % size][0], LINES[(number + number // size) % size][1]


def _name_ends(ax: Axes, curves: Mapping[str, Curve]) -> bool:
    """Name each line at its end, and the levels; or give up, and leave nothing behind."""
    labels = Labels(ax)
    first = min(curve.minutes[0] for curve in curves.values())
    needed = [ax.get_xlim()[1]]
    for tag, curve in curves.items():
        width = min(labels.size(tag)[0] + 16, 0.4 * labels.room.width)
        share = labels.room.width / (labels.room.width - width)
        needed.append(first + (curve.minutes[-1] - first) * share)
    limits = ax.get_xlim()
    ax.set_xlim(limits[0], max(needed))
    for curve in curves.values():
        labels.avoid(curve.minutes, curve.temperature_C)
    avoid_levels(labels)
    for number, (tag, curve) in enumerate(curves.items()):
        end = (curve.minutes[-1], curve.temperature_C[-1])
        if not labels.put(tag, [(end, offset) for offset in AROUND], _line(number)[0], leader=True):
            labels.clear()
            ax.set_xlim(limits)
            return False
    name_levels(labels)
    return True
