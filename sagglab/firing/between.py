"""Between: the curves that could have run through the readings of a firing.

A record says what the kiln did at its readings; between them it may have run otherwise than straight. How
far is bounded by how steeply it can have gone there, and that is judged by the record itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.firing.flags import HIGHEST_C, LOWEST_C
from sagglab.firing.readings import Readings
from sagglab.firing.sensor import tolerance_C

# How the limits of rate follow from the record. Chosen on thinned records of drawn firings so that at least
# 95 of 100 bounds hold; the figures, on other firings, come from tests/benchmarks/thinned_records.py.
#: A gap may run as steeply as the record did beside it, and half as much beyond its own mean the other way.
OTHER_WAY = 0.5
#: And it may wander by as much as the record usually bends from one gap to the next.
WANDER = 1.0


#: Gaps worked on at a time.
_AT_A_TIME = 1 << 16


@dataclass(frozen=True)
class Curve:
    """A curve of straight pieces.

    Attributes
    ----------
    minutes : ndarray, shape (N,)
        Never falling.
    temperature_C : ndarray, shape (N,)
    """

    minutes: NDArray[np.float64]
    temperature_C: NDArray[np.float64]

    def _meets(self, level_C: float, vertex: int) -> float:
        """Give the minute at which the piece that ends in a vertex meets a level."""
        start, end = self.temperature_C[vertex - 1 : vertex + 1]
        begins, ends = self.minutes[vertex - 1 : vertex + 1]
        return float(min(begins + (level_C - start) / (end - start) * (ends - begins), ends))

    def first_rise(self, level_C: float) -> float:
        """Give the first minute at a level or above: the start if it is there already, infinity if never."""
        there = self.temperature_C >= level_C
        vertex = int(there.argmax())
        if not there[vertex]:
            return np.inf
        return float(self.minutes[0]) if vertex == 0 else self._meets(level_C, vertex)

    def last_minute_at(self, level_C: float) -> float:
        """Give the last minute at a level or above: minus infinity if it never is there."""
        there = self.temperature_C[::-1] >= level_C
        back = int(there.argmax())
        if not there[back]:
            return -np.inf
        return float(self.minutes[-1]) if back == 0 else self._meets(level_C, len(there) - back)

    def first_fall(self, level_C: float, after: float) -> float:
        """Give the first minute from ``after`` on at a level or below: infinity if never."""
        if np.interp(after, self.minutes, self.temperature_C) <= level_C:
            return after
        start = int(np.searchsorted(self.minutes, after, side="right"))
        there = self.temperature_C[start:] <= level_C
        if not there.any():
            return np.inf
        return max(self._meets(level_C, start + int(there.argmax())), after)

    def minutes_above(self, level_C: float) -> float:
        """Give the time above a level; time spent exactly on it is not above it."""
        above = self.temperature_C > level_C
        lasts = np.diff(self.minutes)
        whole = float(lasts[above[1:] & above[:-1]].sum())
        # Only the pieces that cross the level need a division: few, however long the record.
        cut = np.flatnonzero(above[1:] != above[:-1])
        start, end = self.temperature_C[cut], self.temperature_C[cut + 1]
        return whole + float(np.dot(lasts[cut], (np.maximum(start, end) - level_C) / np.abs(end - start)))

    def part(self, first: float, last: float) -> Curve:
        """Cut out the part between two minutes."""
        inside = slice(*np.searchsorted(self.minutes, [first, last], side="right"))
        ends = np.interp([first, last], self.minutes, self.temperature_C)
        return Curve(
            np.concatenate([[first], self.minutes[inside], [last]]),
            np.concatenate([ends[:1], self.temperature_C[inside], ends[1:]]),
        )

    def kept(self, lowest_C: float, highest_C: float) -> Curve:
        """Cut off what lies below or above two temperatures, with a vertex at each cut."""
        minutes, temperature = self.minutes, self.temperature_C
        for level in (lowest_C, highest_C):
            beyond = temperature < level
            cut = np.flatnonzero(beyond[1:] != beyond[:-1])
            start, end = temperature[cut], temperature[cut + 1]
            at = minutes[cut] + (level - start) / (end - start) * (minutes[cut + 1] - minutes[cut])
            minutes = np.insert(minutes, cut + 1, at)
            temperature = np.insert(temperature, cut + 1, level)
        return Curve(minutes, np.clip(temperature, lowest_C, highest_C))


def rate_limits(
    minutes: NDArray[np.float64], temperature_C: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Judge how steeply the temperature may have gone in each gap between two readings.

    Parameters
    ----------
    minutes, temperature_C : ndarray, shape (N,)
        A record, in order of time, of two readings at least.

    Returns
    -------
    lowest, highest : ndarray, shape (N − 1,)
        Limits of the rate, in °C per minute; the gap's own mean lies between them.

    Notes
    -----
    A gap's mean rate is compared with that of the record over as long a stretch just before it and just
    after it. The rate may have gone as far as either of them, so that a bend anywhere in the gap is allowed,
    and half as far the other way, for a short stall or spurt that the mean hides; on top of that it may
    wander by the bend that the record's gaps have in the mean, less in gaps shorter than usual. Before its
    first and after its last reading the kiln is taken to be at rest. What came and went between two readings
    and left no trace in either, nor in the rest of the record, is beyond these limits.

    Examples
    --------
    >>> lowest, highest = rate_limits(np.array([0.0, 5, 10, 15]), np.array([20.0, 120, 220, 220]))
    >>> bool((lowest[1] <= 0) and (highest[1] >= 20))
    True
    """
    lasts = np.diff(minutes)
    mean = np.diff(temperature_C) / lasts
    before = _rate(minutes, temperature_C, minutes[:-1], -lasts) - mean
    after = _rate(minutes, temperature_C, minutes[1:], lasts) - mean
    steeper = np.maximum(np.maximum(before, after), 0)
    flatter = np.maximum(np.maximum(-before, -after), 0)
    # In °C, not °C per minute: the jitter of a fast logger is no rate that lasts through a long gap.
    bend = np.maximum(steeper, flatter)
    usual = WANDER * (bend * lasts).mean()
    wander = usual * np.minimum(1 / lasts, 1 / np.median(lasts))
    return (
        mean - np.maximum(flatter, OTHER_WAY * steeper) - wander,
        mean + np.maximum(steeper, OTHER_WAY * flatter) + wander,
    )


def _rate(
    minutes: NDArray[np.float64],
    temperature_C: NDArray[np.float64],
    start: NDArray[np.float64],
    stretch: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Give the mean rate over a stretch before or after; zero where the record has less than half of it."""
    end = np.clip(start + stretch, minutes[0], minutes[-1])
    ran = end - start
    known = np.abs(ran) >= np.abs(stretch) / 2
    rise = np.interp(end, minutes, temperature_C) - np.interp(start, minutes, temperature_C)
    return np.divide(rise, ran, out=np.zeros_like(rise), where=known)


def between(readings: Readings, sensor_class: str | int | None = None) -> tuple[Curve, Curve]:
    """Give the lowest and the highest curve that could have run through the readings.

    Parameters
    ----------
    readings : Readings
    sensor_class : str or int, optional
        As in `tolerance_C`; the sensor is taken to be right when none is given.

    Returns
    -------
    low, high : Curve
        No curve that keeps to `rate_limits`, and to what a kiln can be, runs outside them. The resolution
        of the record is allowed for: half a step of temperature to either side, and as much as the rate
        allows in half a step of time; both curves begin and end half a step of time beyond the readings.

    Examples
    --------
    >>> import pandas as pd
    >>> record = pd.DataFrame({"minutes": [0.0, 20, 40], "temperature_C": [20.0, 420, 420], "flag": ""})
    >>> low, high = between(Readings("example", record, (), step_C=1.0))
    >>> [float(np.interp(20, curve.minutes, curve.temperature_C)) for curve in (low, high)]
    [419.5, 420.5]
    """
    counted = readings.counted
    minutes = counted["minutes"].to_numpy()
    temperature = counted["temperature_C"].to_numpy()
    lowest, highest = rate_limits(minutes, temperature)
    late, half_step = readings.step_minutes / 2, readings.step_C / 2
    low = _turned(_upper(minutes, -temperature, -highest, -lowest, late, half_step))
    high = _upper(minutes, temperature, lowest, highest, late, half_step)
    bottom, top = low.temperature_C.min(), high.temperature_C.max()
    if bottom < LOWEST_C or top > HIGHEST_C:  # Only between readings far apart.
        limits = min(LOWEST_C, temperature.min() - half_step), max(HIGHEST_C, temperature.max() + half_step)
        low, high = low.kept(*limits), high.kept(*limits)
    return (low, high) if sensor_class is None else with_sensor(low, high, sensor_class)


def with_sensor(low: Curve, high: Curve, sensor_class: str | int) -> tuple[Curve, Curve]:
    """Widen the lowest and the highest curve by the sensor's tolerance at each temperature."""
    # At the vertices is enough: the tolerance is convex, so its chords lie above it.
    return (
        Curve(low.minutes, low.temperature_C - tolerance_C(low.temperature_C, sensor_class)),
        Curve(high.minutes, high.temperature_C + tolerance_C(high.temperature_C, sensor_class)),
    )


def _turned(curve: Curve) -> Curve:
    return Curve(curve.minutes, np.negative(curve.temperature_C, out=curve.temperature_C))


def _upper(
    minutes: NDArray[np.float64],
    temperature_C: NDArray[np.float64],
    lowest: NDArray[np.float64],
    highest: NDArray[np.float64],
    late: float,
    half_step: float,
) -> Curve:
    """Rise from each reading as steeply as allowed, and go so to the next: 2N − 1 vertices."""
    # With room for half a step of time at both ends.
    whole_at, whole_top = np.empty(2 * len(minutes) + 1), np.empty(2 * len(minutes) + 1)
    at, top = whole_at[1:-1], whole_top[1:-1]
    at[::2], top[::2] = minutes, temperature_C
    # Piece by piece, so that what lies between does not take as much memory again as a long record.
    for start in range(0, len(minutes) - 1, _AT_A_TIME):
        stop = min(start + _AT_A_TIME, len(minutes) - 1)
        here, there = slice(start, stop), slice(start + 1, stop + 1)
        lasts, spread = minutes[there] - minutes[here], highest[here] - lowest[here]
        # A reading taken earlier or later than it was written lifts its line.
        left = temperature_C[here] + np.abs(highest[here]) * late
        right = temperature_C[there] + np.abs(lowest[here]) * late
        meet = np.divide(right - left - lowest[here] * lasts, spread, out=lasts / 2, where=spread > 0)
        np.clip(meet, 0, lasts, out=meet)
        at[2 * start + 1 : 2 * stop : 2] = minutes[here] + meet
        top[2 * start + 1 : 2 * stop : 2] = np.minimum(
            left + highest[here] * meet, right - lowest[here] * (lasts - meet)
        )
        for vertex, lifted in ((2 * start, left), (2 * start + 2, right)):
            readings = slice(vertex, vertex + 2 * (stop - start) - 1, 2)
            top[readings] = np.maximum(top[readings], lifted)
    top += half_step
    if not late:
        return Curve(at, top)
    whole_at[[0, -1]] = at[0] - late, at[-1] + late
    whole_top[[0, -1]] = top[[0, -1]]
    return Curve(whole_at, whole_top)
