"""Dates with times of day, turned into minutes."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.delimited import year_in_full
from sagglab.errors import ReadingsError
from sagglab.firing.clock import CLOCK, ClockTimes
from sagglab.firing.times import MINUTES_PER_DAY, TimeReader, Times, first_time, without_clock_changes

_DATE = r"(\d{1,4})(?P<mark>[-/.])(\d{1,2})(?P=mark)(\d{4}|\d\d)"
_IS_DATE = re.compile(_DATE)
_IS_DATE_TIME = re.compile(rf"{_DATE}[T ,]+{CLOCK}", re.IGNORECASE)
_OFFSET = r"\s*(?:Z|[+-]\d\d(?::?\d\d)?)"
_IS_ISO = re.compile(rf"\d{{4}}-\d\d-\d\d[T ]\d\d:\d\d(?P<seconds>:\d\d(?:[.,]\d+)?)?(?P<offset>{_OFFSET})?")


def is_date(cell: str) -> bool:
    """Whether a cell is a date alone."""
    return _IS_DATE.fullmatch(cell) is not None


def is_iso(cell: str) -> bool:
    """Whether a cell is an ISO 8601 date and time."""
    return _IS_ISO.fullmatch(cell) is not None


def is_date_time(cell: str) -> bool:
    """Whether a cell is a date and a time of day, in any order of day, month and year."""
    return is_iso(cell) or _IS_DATE_TIME.fullmatch(cell) is not None


@dataclass
class IsoDates(TimeReader):
    """ISO 8601 dates and times, offsets from UTC honoured."""

    first: str = ""
    offsets: bool = False

    def read(self, cells: list[str]) -> NDArray[np.float64]:
        """Read minutes since 1970 in UTC."""
        if not self.first:
            self.first = next(filter(is_iso, cells), "")
            self.offsets = self.first != "" and _IS_ISO.fullmatch(self.first)["offset"] is not None
        text = pd.Series(cells, dtype="str")
        if "," in self.first:  # ISO 8601 writes seconds with a comma as well
            text = text.str.replace(",", ".")
        times = pd.to_datetime(text, errors="coerce", format="ISO8601", utc=True)
        return ((times - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(minutes=1)).to_numpy()

    def finish(self, numbers: NDArray[np.float64]) -> Times:
        """Count from the first; without offsets, take out the ends of summer time."""
        # Where the kiln stood, its clock said so.
        local = re.sub(rf"{_OFFSET}$", "", self.first.replace(",", "."))
        started = pd.Timestamp(local) if local else None
        seconds = self.first and _IS_ISO.fullmatch(self.first)["seconds"]
        step, told = (1 / 60 if seconds else 1.0), ()
        minutes = numbers - first_time(numbers)
        if not self.offsets:
            minutes, told = _dated_clock(numbers)
        return Times(minutes, started, step, told)


@dataclass
class WrittenDates(TimeReader):
    """Dates in other orders, each with a clock time."""

    where: str
    first: str
    dates: dict[str, int] = field(default_factory=dict)
    codes: list[NDArray[np.int64]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.clock = ClockTimes("", self.first)
        self.day_is_open = False

    def read(self, cells: list[str]) -> NDArray[np.float64]:
        """Read the times of day, and remember the dates."""
        parts = [re.split(r"[T ,]+", cell, maxsplit=1) for cell in cells]
        clocks = [part[1] if len(part) > 1 and is_date(part[0]) else "" for part in parts]
        codes = [self.dates.setdefault(part[0], len(self.dates)) if clock else -1
                 for part, clock in zip(parts, clocks, strict=True)]  # fmt: skip
        self.codes.append(np.array(codes, dtype=np.int64))
        return self.clock.read(clocks)

    def finish(self, numbers: NDArray[np.float64]) -> Times:
        """Settle the order of the figures, and count from the first."""
        days, told = self._days()
        codes = np.concatenate([*self.codes, np.empty(0, dtype=np.int64)])
        minutes = np.where(codes >= 0, days[codes] * MINUTES_PER_DAY, np.nan) + numbers
        first = first_time(minutes)
        unknown = np.isnan(first) or self.day_is_open
        started = None if unknown else pd.Timestamp(0) + pd.Timedelta(minutes=round(first, 6))
        minutes, changed = _dated_clock(minutes)
        return Times(minutes, started, 1 / 60 if self.first.count(":") > 1 else 1.0, (*told, *changed))

    def _days(self) -> tuple[NDArray[np.float64], tuple[tuple[str, str], ...]]:
        """Count the days; which figure is the month is settled by the dates themselves."""
        orders = {}
        for order in ("year-month-day", "day-month-year", "month-day-year"):
            days = [_day(date, order) for date in self.dates]
            if None not in days:
                orders[order] = np.array([*days, 0], dtype=float)
        if not orders:
            raise ReadingsError(
                self.where,
                f"its dates, such as '{next(iter(self.dates))}', are in no one order",
                "write them as 2026-05-31 14:05",
            )
        if len(orders) == 1:
            return next(iter(orders.values())), ()
        if len(self.dates) == 1:
            date = next(iter(self.dates))
            cause = f"'{date}' can mean {' or '.join(orders)}: on which day this was is left open"
            self.day_is_open = len({days[0] for days in orders.values()}) > 1
            told = ((cause, "write dates as 2026-05-31 14:05 to settle it"),) if self.day_is_open else ()
            return next(iter(orders.values())), told
        spans = {order: np.ptp(days[:-1]) for order, days in orders.items()}
        order, other = sorted(spans, key=spans.__getitem__)
        if spans[order] > 20 or spans[order] == spans[other]:
            raise ReadingsError(
                self.where,
                f"'{next(iter(self.dates))}' can mean {order} or {other}",
                "write dates as 2026-05-31 14:05",
            )
        cause = f"'{next(iter(self.dates))}' was read as {order}: so the record's days follow on each other"
        return orders[order], ((cause, "write dates as 2026-05-31 14:05 to settle it"),)


def _day(date: str, order: str) -> float | None:
    """Count the days from 1970 to a date; none when it is no date in this order."""
    first, mark, second, third = _IS_DATE.fullmatch(date).groups()
    if (len(first) > 2) != (order == "year-month-day"):
        return None
    # With full stops, the day goes first: common practice where dates are written so, no source.
    if mark == "." and order == "month-day-year":
        return None
    figures = dict(zip(order.split("-"), map(int, (first, second, third)), strict=True))
    try:
        day = pd.Timestamp(year=year_in_full(figures["year"]), month=figures["month"], day=figures["day"])
    except ValueError:
        return None
    return (day - pd.Timestamp(0)) / pd.Timedelta(days=1)


def _dated_clock(
    minutes: NDArray[np.float64],
) -> tuple[NDArray[np.float64], tuple[tuple[str, str], ...]]:
    counted = minutes.copy()
    known = np.flatnonzero(~np.isnan(minutes))
    counted[known], told = without_clock_changes(minutes[known], dated=True)
    return counted - first_time(counted), told
