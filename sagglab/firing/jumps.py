"""Jumps: readings that no kiln can have got to, found as a person would with a ruler.

The limits are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

#: Nothing in a small gas kiln heats or cools a sensor faster, there and back again.
FASTEST_C_PER_MIN = 60.0
#: A record that is so much hotter than it was before shows another firing.
CLIMBS_AGAIN_C = 50.0
#: A smaller step than this is no fault, however quick.
LEAST_STEP_C = 5.0
#: In so many minutes on its way up, a kiln that is shut keeps more than this share of its heat above that of
#: a room, whatever becomes of its flame, once it is so hot. The demo's six records keep 0.83 of it. By finite
#: differences, a wall of 25 mm of fibre with 2 to 5 kg of pots to the square metre keeps 0.10 to 0.12 when
#: the flame goes out after 5 minutes at 230 °C, and 0.17 to 0.32 after 10 to 45 minutes. A number that was
#: typed a place short leaves less.
KEPT_SHARE, KEPT_MINUTES, KEPT_FROM_C, ROOM_C = 0.1, 10.0, 200.0, 20.0
#: An excursion that lasts longer is a jump.
LONGEST_SPIKE_MINUTES = 10.0


def falls_too_far(before_C: float, after_C: float, minutes: float) -> bool:
    """Tell whether no kiln that is shut, and was on its way up, falls so far in so many minutes.

    Examples
    --------
    >>> falls_too_far(300, 44, 5), falls_too_far(300, 100, 5), falls_too_far(300, 44, 15)
    (True, False, False)
    """
    if before_C < KEPT_FROM_C or minutes > KEPT_MINUTES:
        return False
    return after_C - ROOM_C < KEPT_SHARE * (before_C - ROOM_C)


@dataclass(frozen=True)
class Reach:
    """How far a record can go from one of its readings, its own climb and restlessness allowed for.

    Attributes
    ----------
    minutes, temperature : ndarray, shape (N,)
        The record.
    climb : ndarray, shape (N,)
        The usual climb about each reading, in °C per minute.
    at_once_C : float
        A step that may happen from one reading to the next, however close they are.
    """

    minutes: NDArray[np.float64]
    temperature: NDArray[np.float64]
    climb: NDArray[np.float64]
    at_once_C: float

    @classmethod
    def of(cls, minutes: NDArray[np.float64], temperature: NDArray[np.float64]) -> Reach:
        """Measure the climb and the restlessness of a record."""
        bend = np.abs(temperature[1:-1] - (temperature[:-2] + temperature[2:]) / 2)
        # Of sparse readings it is the curve that bends, not the noise: hence no more than 2 °C of it.
        noise = min(1.4826 * float(np.median(bend)), 2.0) if bend.size else 0.0
        # The median of seven, so that a spike of three readings does not make its own climb.
        slopes = np.append(np.diff(temperature) / np.diff(minutes), 0.0)
        climb = np.clip(median_filter(slopes, 7, mode="nearest"), -FASTEST_C_PER_MIN, FASTEST_C_PER_MIN)
        return cls(minutes, temperature, climb, LEAST_STEP_C + 8 * noise)

    def exceeded(self, one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Tell whether no kiln goes from the one reading to the other."""
        lapsed = self.minutes[other] - self.minutes[one]
        off = self.temperature[other] - self.temperature[one] - self.climb[one] * lapsed
        return np.abs(off) > self.at_once_C + FASTEST_C_PER_MIN * lapsed


def jumping(
    minutes: NDArray[np.float64], temperature: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Find spikes and jumps.

    Parameters
    ----------
    minutes, temperature : ndarray, shape (N,)
        In order of time.

    Returns
    -------
    spikes, jumps : ndarray of int
        Positions of readings.

    Notes
    -----
    The record falls into runs, parted by steps that no kiln makes. A run that is left again within
    `LONGEST_SPIKE_MINUTES`, for where the record could have gone meanwhile, is a spike. Else the record has
    jumped, and one side is given up: a run of few readings beside many, or else the colder one, since a
    sensor that is out of the kiln, or not yet in it, reads cold. A long run is given up only until it climbs
    again by `CLIMBS_AGAIN_C`: there it shows another firing.
    """
    none = np.empty(0, dtype=np.int64)
    if minutes.size < 4:  # which of them is wrong, nobody can tell
        return none, none
    reach = Reach.of(minutes, temperature)
    places = np.arange(minutes.size)
    steps = np.flatnonzero(reach.exceeded(places[:-1], places[1:])) + 1
    # So many steps are no faults of single readings: the column is no kiln's temperature, or all noise.
    if not steps.size or steps.size > minutes.size / 3 + 2:
        return none, none
    spikes, jumps = [none], [none]
    begin, last, passed = 0, steps[0] - 1, 0  # the run that counts, and how far the record was looked through
    for start, stop in pairwise([*steps.tolist(), minutes.size]):
        if start < passed:
            continue
        if not reach.exceeded(last, start):
            last = stop - 1
            continue
        soon = (minutes[steps] - minutes[last] <= LONGEST_SPIKE_MINUTES) | (steps == start + 1)
        back = steps[(steps > start) & soon & ~reach.exceeded(last, steps)]
        if back.size:
            spikes.append(np.arange(start, back[0]))
            passed = back[0]
            continue
        before, after = np.arange(begin, last + 1), np.arange(start, stop)
        if _few(minutes, before) and before.size < after.size:
            jumps.append(before)
            begin, last = start, stop - 1
        elif _few(minutes, after) and after.size < before.size:
            jumps.append(after)
        elif temperature[start] < temperature[last]:
            out = _until_it_climbs(temperature[after])
            jumps.append(after[:out])
            last = last if out == after.size else stop - 1
        else:
            out = _until_it_climbs(temperature[before[::-1]])
            jumps.append(before[before.size - out :])
            begin, last = start, stop - 1
    return np.concatenate(spikes), np.concatenate(jumps)


def _few(minutes: NDArray[np.float64], run: NDArray[np.int64]) -> bool:
    return run.size < 10 or minutes[run[-1]] - minutes[run[0]] <= LONGEST_SPIKE_MINUTES


def _until_it_climbs(temperature: NDArray[np.float64]) -> int:
    """Count the readings of a run before it begins to climb again."""
    climbs = temperature - np.minimum.accumulate(temperature) > CLIMBS_AGAIN_C
    if not climbs.any():
        return temperature.size
    climbed = int(climbs.argmax())
    return climbed - int(temperature[climbed::-1].argmin())
