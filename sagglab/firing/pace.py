"""Pace: while the kiln is firing, the climb that is needed, the climb that is, and when it will get there.

The projection starts from the pace over the last fifth of the degrees climbed so far. A gas kiln slows down
as it gets hot, and stalls; so the time that this pace would need is stretched, the more so the longer the way
ahead is compared with the way behind, and the more the pace has varied. The figures of `_STRETCH`,
`_LATEST` and `_EARLIEST` were chosen on simulated firings, seeds 0 to 199 of
``tests/benchmarks/pace_arrivals.py``, which measures on other seeds how often the interval holds the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import ReadingsError
from sagglab.firing.readings import Readings
from sagglab.markup import framed, paragraph
from sagglab.units import both_scales, rate_in_both_scales

#: The climb now is that of the last readings, at least so many, over this share of the time so far.
LEAST_RECENT, RECENT_SHARE, RECENT_MINUTES, LEAST_MINUTES = 3, 0.15, (3.0, 15.0), 0.5
#: The way so far is looked at in so many parts, each of as many degrees.
PARTS = 5

#: The time ahead is e to the power of these times as long as at the recent pace: a constant, what the way
#: ahead adds as a share of the whole way, what the unsteadiness so far adds, and the most that it can be.
_STRETCH = (0.0, 0.2, 0.4, 1.3)
_LATEST = (0.1, 2.0, 0.9, 1.3)
_EARLIEST = (-0.1, -1.5, 0.0, -0.7)


@dataclass(frozen=True, repr=False)
class Pace:
    """Where a firing stands, and when it will be where it is wanted.

    Attributes
    ----------
    minute, temperature_C : float
        The last reading.
    hottest_C : float
        The highest reading.
    target_C, wanted_minute : float
        Where and when it is wanted; not a number where nobody said.
    climb_needed_C_per_h : float
        From here on, to be there in time; not a number when it is there already or the minute has passed.
    climb_now_C_per_h : float
        By the recent readings; not a number for a single one, or over less than half a minute.
    arrival, low, high : float
        Minute at which it will probably be there, and an interval for it; not a number when it cannot be
        projected.

    Examples
    --------
    >>> import pandas as pd
    >>> record = pd.DataFrame({"minutes": [0.0, 10, 20], "temperature_C": [20.0, 220, 420], "flag": ""})
    >>> now = pace(Readings("example", record, ()), target_C=720, minute=40)
    >>> round(now.climb_needed_C_per_h), round(now.climb_now_C_per_h), now.is_there
    (900, 1200, False)
    """

    minute: float
    temperature_C: float
    hottest_C: float
    target_C: float
    wanted_minute: float
    climb_needed_C_per_h: float
    climb_now_C_per_h: float
    arrival: float
    low: float
    high: float

    @property
    def late_minutes(self) -> float:
        """The projected arrival less the wanted minute: positive when it is behind."""
        return self.arrival - self.wanted_minute

    @property
    def is_there(self) -> bool:
        """Whether a reading was at the target already."""
        return self.hottest_C >= self.target_C

    @property
    def line(self) -> str:
        """All of it in one line, for use at the kiln."""
        here = f"minute {self.minute:.0f}: {both_scales(self.temperature_C)}"
        if np.isnan(self.target_C):
            return f"{here}; {self._climbing}."
        goal = both_scales(self.target_C)
        if self.is_there:
            was = "It is" if self.temperature_C >= self.target_C else "It has been"
            return f"{here}. {was} already there: {goal} was wanted."
        if np.isnan(self.wanted_minute):
            wanted = f"{goal} is wanted"
        elif self.wanted_minute <= self.minute:
            wanted = f"{goal} was wanted at minute {self.wanted_minute:.0f}, which has passed"
        else:
            needed = rate_in_both_scales(self.climb_needed_C_per_h)
            wanted = f"Needs {needed} to be at {goal} at minute {self.wanted_minute:.0f}"
        return f"{here}. {wanted}; {self._climbing}{self._there}."

    @property
    def _climbing(self) -> str:
        if np.isnan(self.climb_now_C_per_h):
            return "it is too soon to see how it climbs"
        if self.climb_now_C_per_h <= 0:
            return "not climbing"
        return f"climbing {rate_in_both_scales(self.climb_now_C_per_h)}"

    @property
    def _there(self) -> str:
        if np.isnan(self.arrival):
            return ""
        about = f"there about minute {self.arrival:.0f} ({self.low:.0f} to {self.high:.0f})"
        if np.isnan(self.wanted_minute):
            return f": {about}"
        late = round(abs(self.late_minutes))
        side = f"{late} min {'behind' if self.late_minutes > 0 else 'ahead'}" if late else "on time"
        return f": {side}, {about}"

    def __repr__(self) -> str:
        return self.line

    def _repr_html_(self) -> str:
        return framed(paragraph(self.line, "answer"))


def pace(readings_so_far: Readings, target_C: float | None = None, minute: float | None = None) -> Pace:
    """Tell how a firing goes, from its readings so far.

    Parameters
    ----------
    readings_so_far : Readings
    target_C : float, optional
        The temperature that is wanted.
    minute : float, optional
        The minute of the record at which it is wanted.

    Returns
    -------
    Pace

    Raises
    ------
    ReadingsError
        No reading counts.

    Notes
    -----
    The interval says what firings of this kind do when nobody turns the gas up or down. It was measured on
    simulated firings only. On a kiln whose controller changes to another rate, nobody can foresee that from
    the readings.

    Examples
    --------
    >>> import pandas as pd
    >>> record = {"minutes": [0.0, 5, 10, 15], "temperature_C": [20.0, 170, 310, 440], "flag": ""}
    >>> line = pace(Readings("example", pd.DataFrame(record), ()), target_C=750, minute=35).line
    >>> line.partition("; ")[0]
    'minute 15: 440 °C (824 °F). Needs 930 °C/h (1674 °F/h) to be at 750 °C (1382 °F) at minute 35'
    >>> line.partition("; ")[2]
    'climbing 1620 °C/h (2916 °F/h): 5 min ahead, there about minute 30 (21 to 56).'
    """
    counted = readings_so_far.counted
    if counted.empty:
        raise ReadingsError(readings_so_far.source, "none of its readings counts", "take a reading")
    minutes, heat = counted["minutes"].to_numpy(), counted["temperature_C"].to_numpy()
    target = np.nan if target_C is None else float(target_C)
    wanted = np.nan if minute is None else float(minute)
    now, here = float(minutes[-1]), float(heat[-1])
    climb_now = _climb_now(minutes, heat)
    needed = (target - here) / (wanted - now) * 60 if wanted > now and heat.max() < target else np.nan
    arrival = low = high = np.nan
    # The way so far begins where the kiln was coldest.
    begun = int(heat.argmin())
    if heat.max() < target and climb_now > 0 and here > heat[begun]:
        ahead, step = target - here, readings_so_far.step_C
        climb, usual, latest, earliest = _outlook(minutes[begun:], heat[begun:], target)
        arrival = now + ahead / climb * usual
        # A dial shows the target half a mark early or late, and so it showed this reading.
        low = now + max(ahead - step, 0.0) / climb * earliest
        high = now + (ahead + step) / climb * latest + readings_so_far.step_minutes / 2
    return Pace(now, here, float(heat.max()), target, wanted, needed, climb_now, arrival, low, high)


def _climb_now(minutes: NDArray[np.float64], heat: NDArray[np.float64]) -> float:
    """Give the slope of a straight line through the recent readings, in °C/h."""
    # Over a few seconds, the steps of the instrument look like a climb.
    if minutes.size < 2 or minutes[-1] - minutes[0] < LEAST_MINUTES:
        return np.nan
    over = np.clip(RECENT_SHARE * (minutes[-1] - minutes[0]), *RECENT_MINUTES)
    first = min(int(np.searchsorted(minutes, minutes[-1] - over)), minutes.size - LEAST_RECENT)
    at, of = minutes[max(first, 0) :], heat[max(first, 0) :]
    at = at - at.mean()
    return float(at @ (of - of.mean()) / (at @ at) * 60)


def _outlook(
    minutes: NDArray[np.float64], heat: NDArray[np.float64], target_C: float
) -> tuple[float, float, float, float]:
    """Give the pace of late in °C/min, and by how much the time ahead is longer than it says.

    Returns
    -------
    climb, usual, latest, earliest : float
    """
    climbs = _climbs(minutes, heat)
    share = (target_C - heat[-1]) / (target_C - heat[0])
    # A few readings show little of how the pace varies.
    varied = max(np.log(climbs.max() / climbs.min()), 1 / (minutes.size - 1))
    stretch = [
        np.exp(np.sign(most) * min(abs(base + far * share + rough * varied), abs(most)))
        for base, far, rough, most in (_STRETCH, _LATEST, _EARLIEST)
    ]
    return float(climbs[-1]), *map(float, stretch)


def _climbs(minutes: NDArray[np.float64], heat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the pace over each part of the way so far, in °C/min.

    The parts are of as many degrees, and each begins when the kiln is first so hot; so neither wobbles nor
    the spacing of the readings matter, and a hold or a stall shows as the slow part that it is.
    """
    highest = np.maximum.accumulate(heat)
    rises = np.concatenate([[True], np.diff(highest) > 0])
    parts = max(min(PARTS, int(rises.sum()) - 1), 1)
    levels = np.linspace(heat[0], highest[-1], parts + 1)
    passed = np.interp(levels, highest[rises], minutes[rises])
    passed[-1] = minutes[-1]
    return np.diff(levels) / np.diff(passed)
