"""Clock times and lapsed times with colons, turned into minutes."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagglab.delimited import number
from sagglab.firing.times import MINUTES_PER_DAY, TimeReader, Times, first_time, without_clock_changes

#: Hours, minutes, seconds and half of the day.
CLOCK = r"(\d{1,6}):([0-5]?\d)(?::([0-5]?\d(?:[.,]\d+)?))?\s*([ap]\.?m\.?)?"
_IS_CLOCK = re.compile(CLOCK, re.IGNORECASE)

#: A memory of what was read already is emptied when it holds so many cells.
_REMEMBERED = 100_000


def is_clock(cell: str) -> bool:
    """Whether a cell is a time of day, or a lapsed time written with colons."""
    return _IS_CLOCK.fullmatch(cell) is not None


class _Remembered(dict[str, float]):
    """Minutes for the text on one side of the first colon of a clock time.

    A day holds few different hours, and an hour 3600 different rests, so that each is taken apart once and
    not at each reading.
    """

    def __init__(self, minutes_of: Callable[[str], float]) -> None:
        self.minutes_of = minutes_of

    def __missing__(self, text: str) -> float:
        if len(self) > _REMEMBERED:
            self.clear()
        self[text] = value = self.minutes_of(text)
        return value


def _half(cell: str) -> str:
    """Tell whether a clock time is before or after noon; empty when it does not say."""
    return cell.lower().rstrip(" m.")[-1:].strip("0123456789")


@dataclass
class ClockTimes(TimeReader):
    """Clock times and lapsed ``h:mm:ss``, going on past midnight."""

    heading: str
    first: str

    def __post_init__(self) -> None:
        self.halves = _half(self.first) != ""
        self.hours = _Remembered(self._hours)
        self.rests = _Remembered(self._rest)

    def _hours(self, text: str) -> float:
        if not text.strip().isdecimal() or len(text) > 6:
            return np.nan
        return int(text) % 12 * 60 if self.halves else int(text) * 60

    def _rest(self, text: str) -> float:
        match = _IS_CLOCK.fullmatch(f"0:{text.strip()}")
        # Without am or pm beside others that have it, nobody can tell the time.
        if match is None or (match[4] is not None) != self.halves:
            return np.nan
        return int(match[2]) + number(match[3] or "0") / 60 + (720 if _half(text) == "p" else 0)

    def read(self, cells: list[str]) -> NDArray[np.float64]:
        """Read minutes since midnight, or since the clock stood at zero."""
        hours, rests = self.hours, self.rests
        return np.array(
            [hours[hour] + rests[rest] for hour, _, rest in (cell.partition(":") for cell in cells)]
        )

    def finish(self, numbers: NDArray[np.float64]) -> Times:
        """Settle what two figures mean, and go on past midnight."""
        if np.isnan(numbers).all():
            return Times(numbers)
        words = self.heading.lower()
        two_figures = self.first.count(":") == 1 and not self.halves
        if two_figures and "mm:ss" in words and "h:mm" not in words:
            return _of_seconds(numbers)
        if not two_figures or re.search(r"clock|hour|day|\bhh?\b|mm:ss", words):
            return self._of_hours(numbers)
        hours, seconds = self._of_hours(numbers), _of_seconds(numbers)
        names = "hours and minutes", "minutes and seconds"
        hours = self._left_open(hours, *names, "time [mm:ss]")
        seconds = self._left_open(seconds, *names[::-1], "time [h:mm]")
        # No clock stands at 24 or more, and a record of more than a day is written with its date.
        if np.nanmax(numbers) >= MINUTES_PER_DAY:
            return replace(seconds, other=hours)
        return replace(hours, other=seconds)

    def _left_open(self, times: Times, taken: str, other: str, heading: str) -> Times:
        """Say first what two figures were taken for, and how to say otherwise."""
        remedy = f"if it means {other}, write the heading as '{heading}'"
        told = (f"'{self.first}' was read as {taken}", remedy)
        return replace(times, told=(told, *times.told))

    def _of_hours(self, numbers: NDArray[np.float64]) -> Times:
        """Read hours and minutes, and seconds where there are three figures."""
        told = []
        known = np.flatnonzero(~np.isnan(numbers))
        minutes = numbers.copy()
        went = minutes[known]
        # A clock that falls by more than half its round has passed midnight, or noon; a smaller fall is a row
        # out of order, or the end of summer time.
        round_of = MINUTES_PER_DAY
        twelve = not self.halves and went.min() >= 60 and went.max() < 13 * 60
        if twelve and (np.diff(went) < -360).any():
            went, round_of = went % 720, 720
            told.append(
                (
                    "its clock goes from 12 to 1, and was read as one of twelve hours",
                    "write the times of a whole day as 13:05, or with am and pm",
                )
            )
        rounds = np.cumsum(np.diff(went, prepend=went[:1]) < -round_of / 2)
        went, changed = without_clock_changes(went + round_of * rounds, dated=False)
        minutes[known] = went
        step = 1.0 if self.first.count(":") == 1 else 1 / 60
        return Times(minutes - first_time(minutes), step=step, told=(*told, *changed))


def _of_seconds(numbers: NDArray[np.float64]) -> Times:
    """Read two figures as minutes and seconds."""
    minutes = numbers / 60
    return Times(minutes - first_time(minutes), step=1 / 60)
