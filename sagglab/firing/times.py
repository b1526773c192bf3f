"""Times of a record: what all their kinds have in common.

A record's times are of one kind: numbers in a stated unit, a clock, or dates with a clock. Each kind reads
cells block by block, and then makes minutes of them all at once, since only the whole tells where midnight
was passed or which figure of a date is the month.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.delimited import number
from sagglab.units import convert

MINUTES_PER_DAY = 24 * 60


@dataclass(frozen=True)
class Times:
    """The times of a record.

    Attributes
    ----------
    minutes : ndarray, shape (N,)
        Not a number for a cell that is no time.
    started : Timestamp, optional
        Date and time of minute 0, where dates say so.
    step : float
        The least difference, in minutes, that they can show; zero where it is not known.
    told : tuple of (str, str)
        What was taken for granted, and how to say otherwise.
    own_zero : bool
        Whether the record itself says where minute 0 is. Clocks and dates do not, and count from the first
        cell that is a time.
    other : Times, optional
        What they mean otherwise, where the cells and their heading leave two meanings open; then both say
        so first of what they tell.
    """

    minutes: NDArray[np.float64]
    started: pd.Timestamp | None = None
    step: float = 0.0
    told: tuple[tuple[str, str], ...] = ()
    own_zero: bool = False
    other: Times | None = None

    def counted_from(self, minute: float) -> Times:
        """Move minute 0 to another one."""
        started = None if self.started is None else self.started + pd.Timedelta(minutes=minute)
        return replace(self, minutes=self.minutes - minute, started=started)

    def turned(self) -> Times:
        """Turn times round that were written from the end of a record to its start."""
        minutes = self.minutes[::-1]
        told = ("it was written newest first, and was turned round", "nothing is to be done if that is right")
        other = None if self.other is None else self.other.turned()
        times = replace(self, minutes=minutes, told=(*self.told, told), other=other)
        # Clocks and dates counted from the newest; from now on they do from the oldest.
        return times.counted_from(min(first_time(minutes), 0.0))


class TimeReader(ABC):
    """Reads the time cells of one record, block by block."""

    @abstractmethod
    def read(self, cells: list[str]) -> NDArray[np.float64]:
        """Turn a block of cells into numbers, shape (len(cells),); not a number where a cell is no time."""

    @abstractmethod
    def finish(self, numbers: NDArray[np.float64]) -> Times:
        """Make minutes of what `read` gave for the whole record."""


@dataclass
class CountedTimes(TimeReader):
    """Seconds, minutes or hours."""

    unit: str

    def read(self, cells: list[str]) -> NDArray[np.float64]:
        """Read the numbers."""
        return np.array([number(cell) for cell in cells])

    def finish(self, numbers: NDArray[np.float64]) -> Times:
        """Turn them into minutes, from where the record counts."""
        minutes = convert(numbers, self.unit, "min")
        known = minutes[~np.isnan(minutes)]
        # Whole minutes at even intervals come from a logger and are exact; at uneven ones, from a clock.
        by_hand = known.size > 2 and (known % 1 == 0).all() and np.ptp(np.diff(known)) > 0
        return Times(minutes, step=1.0 if by_hand else 0.0, own_zero=True)


def without_clock_changes(
    minutes: NDArray[np.float64], dated: bool
) -> tuple[NDArray[np.float64], tuple[tuple[str, str], ...]]:
    """Take out the hour by which a clock without offset is moved at the ends of summer time.

    Only a regular record shows it for certain: at night it steps back by an hour less one interval, or, on a
    full hour and with its date, forth by an hour and one interval.
    """
    steps = np.diff(minutes)
    if steps.size < 10:
        return minutes, ()
    interval = np.median(steps)
    if not 0 < interval <= 5 or np.mean(np.abs(steps - interval) < interval / 2) < 0.8:
        return minutes, ()
    night = minutes[:-1] % MINUTES_PER_DAY < 4 * 60
    near = interval / 2
    back = night & (np.abs(steps + 60 - interval) < near)
    to_the_hour = (minutes[1:] + near) % 60 < interval
    forth = night & to_the_hour & (np.abs(steps - 60 - interval) < near) & dated
    if not back.any() and not forth.any():
        return minutes, ()
    shift = np.concatenate([[0.0], np.cumsum(60.0 * back - 60.0 * forth)])
    words = " and ".join(filter(None, ["back" * bool(back.any()), "forth" * bool(forth.any())]))
    remedy = "export the times with their offset from UTC if that is wrong, as 2026-10-25T02:30:00+02:00"
    return minutes + shift, ((f"its clock is moved {words} by an hour, which was taken out", remedy),)


def first_time(minutes: NDArray[np.float64]) -> float:
    """Give the first that is a time, or not a number."""
    known = minutes[~np.isnan(minutes)]
    return float(known[0]) if known.size else np.nan
