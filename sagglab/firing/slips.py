"""Slips: why a reading typed at the kiln is asked for again before it is kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from sagglab.firing.jumps import FASTEST_C_PER_MIN, LEAST_STEP_C, falls_too_far
from sagglab.firing.typed_line import TypedLine
from sagglab.units import both_scales

#: A first reading outside of these is asked for again: no kiln is begun so cold, and few so hot.
COLDEST_BEGIN_C, HOTTEST_BEGIN_C = 0.0, 200.0

#: A bare number that can be a time of day, and is so much colder than the last reading, is asked for again.
TIME_LIKE_FALL_C = 1.0

#: A reading that was taken longer ago is asked for again: an hour of twelve may be meant.
OLD = dt.timedelta(hours=6)


@dataclass(frozen=True)
class SoFar:
    """The readings so far that count, against which another one is held.

    Attributes
    ----------
    at : tuple of datetime
    celsius : tuple of float
    target_C : float or None
        What is wanted.
    """

    at: tuple[dt.datetime, ...]
    celsius: tuple[float, ...]
    target_C: float | None = None

    def doubt(self, line: str, read: TypedLine, now: dt.datetime) -> str:
        """Say why a typed reading looks like a slip, and what to do; empty when it does not.

        Parameters
        ----------
        line : str
            As it was typed.
        read : TypedLine
            What it means.
        now : datetime
            When it was typed.
        """
        why = self._why(line, read, now)
        return f"{why}. Type the same again if it is right{self._or_else(read)}" if why else ""

    def _why(self, line: str, read: TypedLine, now: dt.datetime) -> str:
        shown = both_scales(read.celsius)
        if "+" in line:
            return f"'{line}' means {shown}, and not so much more than the last reading"
        ago = now - read.at
        if ago > OLD:
            return f"{read.at:%H:%M} was {ago / dt.timedelta(hours=1):.0f} h ago"
        if not self.at:
            if read.celsius < COLDEST_BEGIN_C:
                return f"{shown} is cold for a first reading"
            return f"{shown} is hot for a first reading" if read.celsius > HOTTEST_BEGIN_C else ""
        if read.at <= self.at[-1]:
            return ""
        last, coldest = self.celsius[-1], min(self.celsius)
        if read.like_time and read.celsius < last - TIME_LIKE_FALL_C:
            return f"'{line}' means {shown}, which is colder than the last reading"
        if self._out_of_reach(read.at, read.celsius):
            lapsed = (read.at - self.at[-1]) / dt.timedelta(minutes=1)
            kiln = "a kiln" if read.celsius > last else "a kiln that is shut"
            return f"from {both_scales(last)} to {shown} in {lapsed:.1f} min is more than {kiln} can do"
        # After some minutes a fall to any cold would be slow enough; but none goes below the air's own heat.
        if read.celsius < coldest - LEAST_STEP_C:
            return f"{shown} is colder than any reading of this firing so far, {both_scales(coldest)}"
        return ""

    def _or_else(self, read: TypedLine) -> str:
        """Say what else can have been meant, or can have been the slip."""
        if not self.at:
            return ""
        if read.like_time:
            return f"; if {read.like_time} is a time, type the temperature behind it, as {read.like_time} 680"
        if not self._last_stands_out(read):
            return ""
        last = both_scales(self.celsius[-1])
        return f"; if the last reading, {last}, is the slip, strike it out with - first"

    def _last_stands_out(self, read: TypedLine) -> bool:
        """Whether the last reading is a dip, or was doubtful itself, and without it this one would do."""
        before = SoFar(self.at[:-1], self.celsius[:-1], self.target_C)
        if not before.at or not self._out_of_reach(read.at, read.celsius):
            return False
        last = self.celsius[-1]
        dips = last < min(before.celsius[-1], read.celsius)
        doubtful = dips or before._out_of_reach(self.at[-1], last)
        return doubtful and not before._out_of_reach(read.at, read.celsius)

    def _out_of_reach(self, at: dt.datetime, celsius: float) -> bool:
        """Whether no kiln comes from the last reading to another one in the time between."""
        last, hottest = self.celsius[-1], max(self.celsius)
        lapsed = (at - self.at[-1]) / dt.timedelta(minutes=1)
        if abs(celsius - last) > LEAST_STEP_C + FASTEST_C_PER_MIN * lapsed:
            return True
        # Once it was where it is wanted, or cools, a kiln may be opened, and its sensor falls as it likes.
        there = self.target_C is not None and hottest >= self.target_C
        climbing = last >= hottest - LEAST_STEP_C and not there
        return climbing and falls_too_far(last, celsius, lapsed)
