"""Long records: each heat-up and cool-down cut out of a logger's days and weeks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import find_peaks

from sagglab.errors import Problems
from sagglab.firing.readings import LEAST_RISE_C, Readings

#: It begins on the first part of its climb, with the last reading before which the temperature had risen less
#: than this in so many minutes, as a shed does that the sun warms; and it ends likewise.
FOOT, SHED_WARMS_C, SHED_MINUTES = 0.05, 2.5, 15.0
#: A shorter wait at either end stays with the firing.
IDLE_MINUTES = 5.0
#: Before and after its record, the kiln is taken to have been no hotter.
COLD_C = 50.0


def firings_in(readings: Readings) -> tuple[Readings, ...]:
    """Cut a long record into its firings.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    tuple of Readings
        One for each heat-up with its cool-down, in order of time, minutes counted from where the climb
        begins; ``started`` says when that was, where the record has dates. Empty when nothing got hot.

    Notes
    -----
    A firing is a peak that stands `LEAST_RISE_C` above the valleys on both sides, whether or not the kiln
    went cold between two of them. The record is cut at the coldest reading of each valley. Readings that do
    not count go with the firing in whose time they lie; what is told of the whole record stays with it.

    Examples
    --------
    >>> celsius = [20, 20, 400, 750, 500, 300, 150, 90, 420, 760, 480, 250, 90, 30, 20]
    >>> record = pd.DataFrame({"time [min]": range(0, 300, 20), "°C": celsius})
    >>> from sagglab import read_readings
    >>> [repr(firing) for firing in firings_in(read_readings(record))]  # doctest: +NORMALIZE_WHITESPACE
    ['table, firing 1 of 2: 7 readings over 120 min, up to 750 °C (1382 °F)',
     'table, firing 2 of 2: 8 readings over 140 min, up to 760 °C (1400 °F)']
    """
    counted = readings.counted
    minutes, temperature = counted["minutes"].to_numpy(), counted["temperature_C"].to_numpy()
    peaks = firing_peaks(minutes, temperature)
    cuts = [0]
    for one, other in zip(peaks[:-1], peaks[1:], strict=True):
        cuts.append(one + int(temperature[one:other].argmin()))
    cuts.append(temperature.size - 1)
    found = []
    for number, peak in enumerate(peaks):
        low, high = cuts[number], cuts[number + 1]
        up, down = temperature[low : peak + 1], temperature[peak : high + 1]
        # Logged before it was lit, or long after it was cold: that is no part of the firing.
        start = low + _lit(minutes[low : peak + 1], up)
        end = high - _lit(-minutes[peak : high + 1][::-1], down[::-1])
        start = start if minutes[start] - minutes[low] > IDLE_MINUTES else low
        end = end if minutes[high] - minutes[end] > IDLE_MINUTES else high
        found.append(_part(readings, minutes[start], minutes[end], f"firing {number + 1} of {len(peaks)}"))
    return tuple(found)


def firing_peaks(minutes: NDArray[np.float64], temperature: NDArray[np.float64]) -> list[int]:
    """Find the positions of the peaks of all firings in a record, in order of time."""
    # The hottest reading of each minute will do, and a fortnight then has some 20,000 of them.
    begins = np.concatenate([[0], np.flatnonzero(np.diff(np.floor(minutes - minutes[0]))) + 1])
    # Cold on both sides, so that a record which begins or ends hot still shows a peak.
    cold = [min(temperature.min(), COLD_C)]
    level = np.concatenate([cold, np.maximum.reduceat(temperature, begins), cold])
    places, _ = find_peaks(level, prominence=LEAST_RISE_C)
    ends = np.append(begins[1:], temperature.size)
    return [
        int(begins[place]) + int(temperature[begins[place] : ends[place]].argmax()) for place in places - 1
    ]


def _lit(minutes: NDArray[np.float64], temperature: NDArray[np.float64]) -> int:
    """Find the last reading before a climb at which the kiln was not climbing yet, but for a warming shed."""
    foot = temperature.min() + FOOT * (temperature[-1] - temperature.min())
    cold = int(np.flatnonzero(temperature <= foot)[-1]) + 1
    climb = temperature - np.interp(minutes - SHED_MINUTES, minutes, temperature)
    waiting = np.flatnonzero(climb[:cold] < SHED_WARMS_C)
    return int(waiting[-1]) if waiting.size else 0


def _part(readings: Readings, start: float, end: float, name: str) -> Readings:
    table = readings.table
    inside = table[table["minutes"].between(start, end)].reset_index(drop=True)
    started = readings.started
    return replace(
        readings,
        source=f"{readings.source}, {name}",
        table=inside.assign(minutes=inside["minutes"] - start),
        problems=Problems(),
        started=None if started is None else started + pd.Timedelta(minutes=start),
    )
