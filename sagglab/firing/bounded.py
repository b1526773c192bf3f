"""Bounded: when a firing was where, as read off the record and at the earliest and latest.

Every bound is interval arithmetic on the lowest and the highest curve that could have run through the
readings: on the way up the highest is the first through a temperature and the lowest the last, and on the way
down the other way round. A bound is not a number where the value is: it is for a firing that did get there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from sagglab.firing.between import Curve, between, with_sensor
from sagglab.firing.readings import Readings
from sagglab.firing.sensor import tolerance_C
from sagglab.firing.stall import FirstTimes, longest_rise


class Bounded(NamedTuple):
    """A value, and what it lies between."""

    value: float
    low: float
    high: float

    def less(self, other: Bounded, at_least: float = 0.0) -> Bounded:
        """Take another away from it; no bound is less than what the difference must be at least."""
        return Bounded(self.value - other.value, max(self.low - other.high, at_least), self.high - other.low)

    def into(self, amount: float) -> Bounded:
        """Divide an amount by it; a time that may have been nothing makes a rate without upper bound."""
        with np.errstate(divide="ignore", invalid="ignore"):
            value, high, low = amount / np.array([self.value, self.low, self.high])
        return Bounded(float(value), float(low), float(high))


UNKNOWN = Bounded(np.nan, np.nan, np.nan)


@dataclass(frozen=True)
class FiringCurves:
    """The curves of one firing.

    Attributes
    ----------
    straight, low, high : Curve
        Straight between the readings; the lowest and the highest that can have been.
    low_unsensed, high_unsensed : Curve
        The same with nothing for the sensor. A sensor is taken to be off by the same at nearly the same
        temperature, so that it moves neither the minute of the peak nor the time that a small rise took.
    half_step_C, half_step_minutes : float
        Half the resolution of the record.
    start_C, peak_C : Bounded
        Temperature of the first reading, and of the highest point.
    """

    straight: Curve
    low: Curve
    high: Curve
    low_unsensed: Curve
    high_unsensed: Curve
    half_step_C: float
    half_step_minutes: float
    start_C: Bounded
    peak_C: Bounded

    @classmethod
    def of(cls, readings: Readings, sensor_class: str | int | None = None) -> FiringCurves:
        """Draw them for a record; without a class the sensor is taken to be right."""
        counted = readings.counted
        straight = Curve(counted["minutes"].to_numpy(), counted["temperature_C"].to_numpy())
        unsensed = between(readings)
        low, high = unsensed if sensor_class is None else with_sensor(*unsensed, sensor_class)
        half_step = readings.step_C / 2

        def read(temperature: float) -> Bounded:
            ends = np.array([temperature - half_step, temperature + half_step])
            off = 0.0 if sensor_class is None else tolerance_C(ends, sensor_class)
            return Bounded(float(temperature), *(ends + [-1, 1] * np.broadcast_to(off, 2)).tolist())

        # However late the highest reading was taken, the kiln was so hot then.
        peak = read(straight.temperature_C.max())._replace(high=float(high.temperature_C.max()))
        start = read(straight.temperature_C[0])
        return cls(straight, low, high, *unsensed, half_step, readings.step_minutes / 2, start, peak)

    @cached_property
    def start(self) -> Bounded:
        """The minute of the first reading."""
        first = float(self.straight.minutes[0])
        return Bounded(first, first - self.half_step_minutes, first + self.half_step_minutes)

    @cached_property
    def peak(self) -> Bounded:
        """The minute of the peak, which cannot lie where the highest curve is below the highest reading."""
        reading = float(self.straight.minutes[self.straight.temperature_C.argmax()])
        least = self.peak_C.value - self.half_step_C
        earliest = self.high_unsensed.first_rise(least)
        latest = self.high_unsensed.last_minute_at(least)
        return Bounded(reading, min(earliest, reading), max(latest, reading))

    @cached_property
    def top(self) -> Curve:
        """The highest curve over the minutes at which the peak may have been."""
        return self.high.part(self.peak.low, self.peak.high)

    @cached_property
    def low_within(self) -> Curve:
        """The lowest curve over the time that the record is sure to cover."""
        if not self.half_step_minutes:
            return self.low
        first, last = self.start.high, float(self.straight.minutes[-1]) - self.half_step_minutes
        return self.low.part(min(first, last), last)

    def rise(self, level_C: float) -> Bounded:
        """Give the minute of the first rise through a level; not known to a record that starts above it."""
        value = self.straight.first_rise(level_C)
        if self.straight.temperature_C[0] >= level_C or value == np.inf:
            return UNKNOWN
        # Whatever was reached at all was reached by the peak.
        latest = min(self.low.first_rise(level_C), self.peak.high)
        return Bounded(value, self.high.first_rise(level_C), latest)

    def fall(self, level_C: float) -> Bounded:
        """Give the minute of the first fall through a level after the peak; at the latest infinity."""
        value = self.straight.first_fall(level_C, self.peak.value)
        if self.peak_C.value <= level_C or value == np.inf:
            return UNKNOWN
        earliest = self.low.first_fall(level_C, self.peak.low)
        return Bounded(value, earliest, self.high.first_fall(level_C, self.peak.high))

    def climb_C_per_h(self, start_C: float | None, end_C: float | None) -> Bounded:
        """Give the mean climb between two temperatures; None is the first reading, or the peak."""
        begins = self.start if start_C is None else self.rise(start_C)
        ends = self.peak if end_C is None else self.rise(end_C)
        base = self.start_C if start_C is None else Bounded(start_C, start_C, start_C)
        goal = self.peak_C if end_C is None else Bounded(end_C, end_C, end_C)
        if not ends.value > begins.value:
            return UNKNOWN
        value = (goal.value - base.value) / (ends.value - begins.value)
        slowest = max(goal.low - base.high, 0) / (ends.high - begins.low)
        if ends.low <= begins.high:
            steepest = np.inf
        elif end_C is None:
            # The highest curve is not at its top at the earliest minute. The climb is monotone along each of
            # its straight pieces, so the steepest is had at a vertex.
            steepest = ((self.top.temperature_C - base.low) / (self.top.minutes - begins.high)).max()
        else:
            steepest = (goal.high - base.low) / (ends.low - begins.high)
        return Bounded(value * 60, slowest * 60, float(steepest) * 60)

    def cooling_C_per_h(self, end_C: float) -> Bounded:
        """Give the mean fall from the peak to a temperature."""
        ends = self.fall(end_C)
        if not ends.value > self.peak.value:
            return UNKNOWN
        value = (self.peak_C.value - end_C) / (ends.value - self.peak.value)
        slowest = max(self.peak_C.low - end_C, 0) / (ends.high - self.peak.low)
        if ends.low <= self.peak.high:
            steepest = np.inf
        else:
            steepest = ((self.top.temperature_C - end_C) / (ends.low - self.top.minutes)).max()
        return Bounded(value * 60, slowest * 60, float(steepest) * 60)

    def minutes_above(self, level_C: float) -> Bounded:
        """Give the time above a temperature."""
        curves = (self.straight, self.low_within, self.high)
        return Bounded(*(curve.minutes_above(level_C) for curve in curves))

    def longest_stall_minutes(self, rise_C: float) -> Bounded:
        """Give the longest time that it took on the way up to get so much hotter than ever before."""
        start, peak = self.start_C.value, self.peak_C.value
        if peak - start < rise_C:
            return UNKNOWN
        straight = FirstTimes.of(self.straight)
        value = longest_rise(straight, straight, rise_C, start, peak)
        low, high = FirstTimes.of(self.low_unsensed), FirstTimes.of(self.high_unsensed)
        least = longest_rise(low, high, rise_C, start, peak - self.half_step_C)
        most = longest_rise(
            high,
            low,
            rise_C,
            start - self.half_step_C,
            float(self.high_unsensed.temperature_C.max()),
            latest=self.peak.high,
        )
        return Bounded(value, max(least, 0.0), most)
