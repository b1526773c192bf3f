"""Times as loggers and people write them, turned into minutes."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.delimited import number

MINUTES_PER_DAY = 24 * 60

_CLOCK = re.compile(r"(\d{1,6}):([0-5]?\d)(?::([0-5]?\d(?:[.,]\d+)?))?\s*([ap])?\.?m?\.?", re.IGNORECASE)


def is_time(cell: str) -> bool:
    """Whether a cell can be a time: a number, a clock time, or an ISO date and time."""
    return bool(_CLOCK.fullmatch(cell)) or _is_date_time(cell) or not np.isnan(number(cell))


def _is_date_time(cell: str) -> bool:
    return bool(re.match(r"\d{4}-\d\d-\d\d[T ]\d\d?:\d\d", cell))


def minutes_from_clock(cells: list[str], short_is_minutes: bool) -> NDArray[np.float64]:
    """Minutes from clock times or from lapsed ``h:mm:ss``, going on past midnight.

    Parameters
    ----------
    cells : list of str
        ``h:mm:ss``, ``h:mm``, with or without am or pm.
    short_is_minutes : bool
        Whether two figures mean ``mm:ss``; they mean ``h:mm`` otherwise.

    Returns
    -------
    ndarray, shape (len(cells),)
        Minutes since midnight of the first day, or since the clock stood at zero; not a number for a cell
        that is no time.

    Examples
    --------
    >>> minutes_from_clock(["23:50", "0:10"], short_is_minutes=False)
    array([1430., 1450.])
    >>> minutes_from_clock(["11:58 am", "12:02 pm"], short_is_minutes=False)
    array([718., 722.])
    """
    minutes = np.full(len(cells), np.nan)
    for index, cell in enumerate(cells):
        match = _CLOCK.fullmatch(cell.strip())
        if match is None:
            continue
        first, second, third, half = match.groups()
        if short_is_minutes and third is None:
            minutes[index] = int(first) + int(second) / 60
            continue
        hours = int(first)
        if half is not None:
            hours = hours % 12 + (12 if half.lower() == "p" else 0)
        minutes[index] = hours * 60 + int(second) + number(third or "0") / 60
    # A clock that falls by more than half a day has passed midnight; a smaller fall is a row out of order.
    known = np.flatnonzero(~np.isnan(minutes))
    days = np.cumsum(np.diff(minutes[known], prepend=minutes[known[:1]]) < -MINUTES_PER_DAY / 2)
    minutes[known] += MINUTES_PER_DAY * days
    return minutes


def minutes_from_dates(cells: list[str]) -> NDArray[np.float64]:
    """Minutes from ISO dates and times, offsets from UTC honoured; counted from the first of them.

    Examples
    --------
    >>> minutes_from_dates(["2026-05-01 09:00", "2026-05-01T09:07:30"])
    array([0. , 7.5])
    """
    times = pd.to_datetime(pd.Series(cells, dtype="str"), errors="coerce", format="ISO8601", utc=True)
    return ((times - times.dropna().min()) / pd.Timedelta(minutes=1)).to_numpy()
