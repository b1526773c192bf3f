"""Departures: how far a firing departed from its schedule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ScheduleError
from sagglab.firing.readings import Readings
from sagglab.firing.schedule import Schedule
from sagglab.markup import framed, paragraph


@dataclass(frozen=True, repr=False)
class Departures:
    """How far a firing departed from its schedule; hotter than planned is ahead, also where the plan falls.

    Attributes
    ----------
    table : DataFrame
        ``minutes``, ``temperature_C``, ``planned_C`` and ``departure_C`` of each reading that counts; not a
        number where nothing was planned.
    ahead_C, ahead_minute : float
        Of the reading furthest ahead; 0 and not a number when none was.
    behind_C, behind_minute : float
        The same of the one furthest behind; positive, too.
    area_C_h : float
        The area between both curves, over the time that both cover.
    mean_C : float
        The mean departure over that time; negative when it was mostly behind.

    Examples
    --------
    >>> from sagglab.firing.schedule import read_schedule
    >>> record = pd.DataFrame({"minutes": [0.0, 60], "temperature_C": [20.0, 120], "flag": ""})
    >>> found = departures(Readings("example", record, ()), read_schedule("80 degC/h to 600 degC"))
    >>> round(found.ahead_C, 6), found.ahead_minute, found.behind_C
    (20.0, 60.0, 0.0)
    """

    table: pd.DataFrame
    ahead_C: float
    ahead_minute: float
    behind_C: float
    behind_minute: float
    area_C_h: float
    mean_C: float

    @property
    def sentence(self) -> str:
        """The same in a sentence."""
        parts = [
            f"{_degrees(size)} {word} at minute {minute:.0f}"
            for size, word, minute in (
                (self.ahead_C, "hotter", self.ahead_minute),
                (self.behind_C, "colder", self.behind_minute),
            )
            if size > 0
        ]
        if not parts:
            return "The firing followed its schedule."
        mean = f"{_degrees(abs(self.mean_C))} {'colder' if self.mean_C < 0 else 'hotter'}"
        return (
            f"At most {' and '.join(parts)} than planned; on average {mean}, {self.area_C_h:.1f} °C h apart."
        )

    def __repr__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        return framed(paragraph(self.sentence, "answer"))


def _degrees(difference_C: float) -> str:
    return f"{difference_C:.0f} °C ({difference_C * 1.8:.0f} °F)"


def departures(readings: Readings, schedule: Schedule) -> Departures:
    """Compare a firing with its schedule; minute 0 of both is the start.

    Parameters
    ----------
    readings : Readings
    schedule : Schedule

    Returns
    -------
    Departures

    Raises
    ------
    ScheduleError
        No reading that counts falls into the time of the schedule.

    Examples
    --------
    >>> from sagglab.firing.schedule import read_schedule
    >>> record = pd.DataFrame({"minutes": [0.0, 60], "temperature_C": [20.0, 120], "flag": ""})
    >>> departures(Readings("example", record, ()), read_schedule("80 degC/h to 600 degC"))
    At most 20 °C (36 °F) hotter at minute 60 than planned; on average 10 °C (18 °F) hotter, 10.0 °C h apart.
    """
    counted = readings.counted
    minutes, heat = counted["minutes"].to_numpy(), counted["temperature_C"].to_numpy()
    planned = schedule.temperature_C(minutes)
    departure = heat - planned
    if np.isnan(departure).all():
        raise ScheduleError(
            readings.source,
            f"none of its readings falls into the {schedule.minutes:.0f} minutes of the schedule",
            "check that minute 0 of the record is the start",
        )
    table = counted[["minutes", "temperature_C"]].assign(planned_C=planned, departure_C=departure)
    corners = schedule.table["minutes"].to_numpy()
    first, last = max(minutes[0], 0.0), min(minutes[-1], corners[-1])
    at = np.unique(np.concatenate([minutes, corners, [first, last]]))
    at = at[(at >= first) & (at <= last)]
    gap = np.interp(at, minutes, heat) - schedule.temperature_C(at)
    area, mean = _area(at, gap)
    top, low = int(np.nanargmax(departure)), int(np.nanargmin(departure))
    ahead = (departure[top], minutes[top]) if departure[top] > 0 else (0.0, np.nan)
    behind = (-departure[low], minutes[low]) if departure[low] < 0 else (0.0, np.nan)
    return Departures(table, *map(float, (*ahead, *behind, area, mean)))


def _area(minutes: NDArray[np.float64], gap: NDArray[np.float64]) -> tuple[float, float]:
    """Give the area between two curves of straight pieces, in °C h, and their mean gap in °C, exactly."""
    lasts = np.diff(minutes)
    if not lasts.size:
        return 0.0, gap[0]
    start, end = np.abs(gap[:-1]), np.abs(gap[1:])
    # Where the curves cross, the piece is two triangles: (a² + b²) / (a + b) / 2 is their mean height.
    crossing = gap[:-1] * gap[1:] < 0
    both = np.where(crossing, start + end, 1.0)
    height = np.where(crossing, (start**2 + end**2) / both, start + end) / 2
    return (lasts @ height) / 60, lasts @ (gap[:-1] + gap[1:]) / 2 / lasts.sum()
