"""Schedules: the climbs, holds and falls that are planned."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.delimited import number
from sagglab.errors import ScheduleError, UnitError
from sagglab.markup import framed, paragraph, text_table
from sagglab.units import ABSOLUTE_ZERO_C, both_scales, convert, convert_rate, rate_in_both_scales

#: A slower, longer, faster or hotter plan is a slip of the pen.
LONGEST_DAYS, FASTEST_C_PER_H, HOTTEST_C = 60, 100_000.0, 2000.0

_NUMBER = r"[-+\u2212]?[\d.,]+(?:e[-+]?\d+)?"
_FROM = re.compile(rf"from\s+({_NUMBER})\s*(.*)", re.IGNORECASE)
_CLIMB = re.compile(
    rf"(?:\d+[.)]\s+)?(?:then\s+)?(?:(climb|heat|cool|fall)\s+)?(?:at\s+)?({_NUMBER})\s*(.*?)\s*\b"
    rf"(up\s+|down\s+)?to\s+({_NUMBER})\s*(.*?)(?:\s*(?:,|\band\b|(?=\bhold\b))\s*(hold\b.*))?",
    re.IGNORECASE,
)
_HOLD = re.compile(rf"(?:then\s+)?hold\s+(?:for\s+)?({_NUMBER})\s*(.*)", re.IGNORECASE)
_AS_IN = "write it as in '80 degC/h to 600 degC; 150 degC/h to 995 degC, hold 10 min'"


@dataclass(frozen=True)
class Segment:
    """One climb or fall, and the hold after it.

    Attributes
    ----------
    climb_C_per_h : float
        How fast, without a sign: whether it climbs or falls follows from the target.
    target_C : float
        Where it leads.
    hold_minutes : float
        How long the temperature is held there.

    Examples
    --------
    >>> print(Segment(900, 750, hold_minutes=5))
    900 degC/h to 750 degC, hold 5 min
    """

    climb_C_per_h: float
    target_C: float
    hold_minutes: float = 0.0

    def __str__(self) -> str:
        hold = f", hold {_plain(self.hold_minutes)} min" if self.hold_minutes else ""
        return f"{_plain(self.climb_C_per_h)} degC/h to {_plain(self.target_C)} degC{hold}"


def _plain(value: float) -> str:
    """Write a number with all its digits, and no more."""
    return repr(float(value)).removesuffix(".0")


@dataclass(frozen=True, repr=False)
class Schedule:
    """What is planned for one firing.

    Attributes
    ----------
    segments : tuple of Segment
    start_C : float
        Temperature at minute 0.

    Raises
    ------
    ScheduleError
        No kiln can follow it; the error names the segment.

    Examples
    --------
    >>> plan = Schedule([Segment(80, 600), Segment(150, 995, hold_minutes=10)])
    >>> plan
    2 segments, 10 h 03 min, from 20 °C (68 °F) up to 995 °C (1823 °F)
    >>> print(plan)
    80 degC/h to 600 degC; 150 degC/h to 995 degC, hold 10 min
    """

    segments: tuple[Segment, ...]
    start_C: float = 20.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "segments", tuple(self.segments))
        _check(self)

    @cached_property
    def table(self) -> pd.DataFrame:
        """The corners of the plan: ``minutes``, ``temperature_C``, and the ``segment`` that ends there.

        Segments are numbered from 1; the start belongs to none and is 0. A hold has a corner of its own.
        """
        rows = [(0.0, float(self.start_C), 0)]
        for place, segment in enumerate(self.segments, start=1):
            minute, here, _ = rows[-1]
            minute += abs(segment.target_C - here) / segment.climb_C_per_h * 60
            rows.append((minute, float(segment.target_C), place))
            if segment.hold_minutes:
                rows.append((minute + segment.hold_minutes, float(segment.target_C), place))
        return pd.DataFrame(rows, columns=["minutes", "temperature_C", "segment"])

    @property
    def minutes(self) -> float:
        """How long it takes."""
        return float(self.table["minutes"].iloc[-1])

    def temperature_C(self, minutes: ArrayLike) -> NDArray[np.float64]:
        """Give what is planned at some minutes; not a number before the start and after the end."""
        return np.interp(
            minutes, self.table["minutes"], self.table["temperature_C"], left=np.nan, right=np.nan
        )

    def minute_of(self, temperature_C: float) -> float:
        """Give the first minute at which a temperature is planned; not a number when it never is."""
        minutes, heat = self.table["minutes"].to_numpy(), self.table["temperature_C"].to_numpy()
        met = np.flatnonzero((heat[:-1] - temperature_C) * (heat[1:] - temperature_C) <= 0)
        if not met.size:
            return np.nan
        start, end = heat[met[0]], heat[met[0] + 1]
        share = (temperature_C - start) / (end - start) if end != start else 0.0
        return float(minutes[met[0]] + share * (minutes[met[0] + 1] - minutes[met[0]]))

    def finish(self, start: dt.datetime | str) -> dt.datetime:
        """Tell when it is over, if it begins then; text is ISO, as ``2026-05-31 14:05``."""
        return clock_after(_time(start), self.minutes)

    def latest_start(self, finish: dt.datetime | str) -> dt.datetime:
        """Tell when it must begin at the latest to be over by then."""
        return clock_after(_time(finish), -self.minutes)

    def __str__(self) -> str:
        start = f"from {_plain(self.start_C)} degC; " if self.start_C != 20.0 else ""
        return start + "; ".join(map(str, self.segments))

    def __repr__(self) -> str:
        count = len(self.segments)
        return (
            f"{count} segment{'' if count == 1 else 's'}, {_hours(self.minutes)}, from "
            f"{both_scales(self.start_C)} up to {both_scales(self.table['temperature_C'].max())}"
        )

    def _repr_html_(self) -> str:
        ends = self.table.groupby("segment")["minutes"].last()
        rows = [
            (
                str(place),
                rate_in_both_scales(segment.climb_C_per_h),
                both_scales(segment.target_C),
                f"{segment.hold_minutes:g} min" if segment.hold_minutes else "none",
                _hours(ends[place]),
            )
            for place, segment in enumerate(self.segments, start=1)
        ]
        heads = ("segment", "rate", "to", "hold", "done after")
        return framed(paragraph(repr(self), "answer"), text_table(heads, rows))


def _hours(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"


def _time(time: dt.datetime | str) -> dt.datetime:
    if isinstance(time, dt.datetime):
        return time
    try:
        return dt.datetime.fromisoformat(time)
    except (TypeError, ValueError) as error:
        raise ScheduleError(
            f"time '{time}'", "it is no date with its time of day", "write it as 2026-05-31 14:05"
        ) from error


def clock_after(time: dt.datetime, minutes: float) -> dt.datetime:
    """Tell the time so many minutes later, right across a change of the clocks too."""
    lapse = dt.timedelta(minutes=minutes)
    if time.tzinfo is None:
        return time + lapse
    # By way of UTC: a kiln does not wait when the clocks are changed.
    return (time.astimezone(dt.UTC) + lapse).astimezone(time.tzinfo)


def _check(schedule: Schedule) -> None:
    if not schedule.segments:
        raise ScheduleError("schedule", "it has no segments", _AS_IN)
    if not ABSOLUTE_ZERO_C < schedule.start_C <= HOTTEST_C:
        raise ScheduleError(
            "schedule", f"it cannot start at {schedule.start_C:g} °C", "give the kiln's temperature, start_C="
        )
    for place, segment in enumerate(schedule.segments, start=1):
        where = f"segment {place} of the schedule"
        if not 0 < segment.climb_C_per_h <= FASTEST_C_PER_H:
            raise ScheduleError(
                where,
                f"its rate is {segment.climb_C_per_h:g} °C/h",
                "give a rate above zero that a kiln can follow; whether it climbs or falls follows from the "
                "target",
            )
        if not ABSOLUTE_ZERO_C < segment.target_C <= HOTTEST_C:
            raise ScheduleError(
                where, f"its target is {segment.target_C:g} °C", "give a temperature that a kiln can reach"
            )
        if not 0 <= segment.hold_minutes < np.inf:
            raise ScheduleError(
                where, f"its hold is {segment.hold_minutes:g} min", "give zero or more minutes"
            )
    if schedule.minutes > LONGEST_DAYS * 24 * 60:
        raise ScheduleError(
            "schedule",
            f"it would take {schedule.minutes / 24 / 60:.0f} days",
            "check its rates and holds, and their units",
        )


def read_schedule(text: str, start_C: float = 20.0) -> Schedule:
    """Read a schedule in plain words.

    Parameters
    ----------
    text : str
        Segments parted by ``;`` or by line ends, each as ``80 degC/h to 600 degC, hold 10 min``. A hold may
        stand on its own, after the segment that it belongs to. Rates are in degrees per hour or minute,
        temperatures in any scale, holds in any unit of time. ``from 15 degC`` in front says where it starts.
    start_C : float
        Where it starts, when the text does not say so.

    Returns
    -------
    Schedule

    Raises
    ------
    ScheduleError
        A segment cannot be understood, or no kiln can follow it.
    UnitError
        A unit is missing or of the wrong kind; none is guessed.

    Examples
    --------
    >>> read_schedule("80 degC/h to 600 degC; 270 °F/h to 1823 °F, hold 0.5 h")
    2 segments, 10 h 23 min, from 20 °C (68 °F) up to 995 °C (1823 °F)
    """
    segments: list[Segment] = []
    here = start_C
    parts = [part.strip() for part in re.split(r"[;\n\r]", text)]
    for place, part in enumerate(filter(None, parts)):
        where = f"schedule, '{part}'"
        if place == 0 and (found := _FROM.fullmatch(part)):
            start_C = here = _temperature(*found.groups(), where)
        elif found := _HOLD.fullmatch(part):
            if not segments:
                raise ScheduleError(where, "there is nothing before it to hold", _AS_IN)
            before = segments[-1]
            hold = before.hold_minutes + _minutes(*found.groups(), where)
            segments[-1] = Segment(before.climb_C_per_h, before.target_C, hold)
        elif found := _CLIMB.fullmatch(part):
            segments.append(_segment(found, here, where))
            here = segments[-1].target_C
        else:
            raise ScheduleError(where, "it is no segment", _AS_IN)
    return Schedule(tuple(segments), start_C)


def _segment(found: re.Match[str], here: float, where: str) -> Segment:
    verb, rate, rate_unit, way, heat, heat_unit, hold = found.groups()
    verb = verb or (way or "").strip()
    if not rate_unit:
        raise UnitError(where, "its rate has no unit, and none is guessed", f"write '{rate} degC/h', say")
    climb = _converted(convert_rate, rate, rate_unit, "degC/h", where)
    target = _temperature(heat, heat_unit, where)
    if verb and (verb.lower() in ("cool", "fall", "down")) != (target < here):
        raise ScheduleError(
            where, f"it says {verb.lower()}, and leads from {here:g} °C to {target:g} °C", "correct either"
        )
    if hold is None:
        return Segment(climb, target)
    held = _HOLD.fullmatch(hold)
    if held is None:
        raise ScheduleError(where, f"'{hold}' is no hold", "write it as 'hold 10 min'")
    return Segment(climb, target, _minutes(*held.groups(), where))


def _temperature(value: str, unit: str, where: str) -> float:
    if not unit:
        raise UnitError(
            where, "a temperature in it has no unit, and none is guessed", f"write '{value} degC', say"
        )
    return _converted(convert, value, unit, "degC", where)


def _minutes(value: str, unit: str, where: str) -> float:
    if not unit:
        raise UnitError(where, "its hold has no unit, and none is guessed", f"write 'hold {value} min', say")
    return _converted(convert, value, unit, "min", where)


def _converted(by, value: str, unit: str, to: str, where: str) -> float:
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", value):
        raise ScheduleError(where, f"'{value}' can mean thousands or decimals", "write it without the comma")
    plain = number(value)
    if np.isnan(plain):
        raise ScheduleError(where, f"'{value}' is no number", _AS_IN)
    try:
        return float(by(plain, re.sub(r"(?<=[°g])\s+(?=[CFK])", "", unit), to))
    except UnitError as error:
        raise UnitError(f"{where}, {error.where}", error.cause, _AS_IN) from error
