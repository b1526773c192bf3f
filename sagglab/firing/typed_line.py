"""One line that is typed at the kiln, taken apart: a temperature, its unit, and when it was read."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np

from sagglab.delimited import number
from sagglab.errors import ReadingsError
from sagglab.firing.flags import HIGHEST_C, LOWEST_C
from sagglab.firing.typed import unit_in_full
from sagglab.units import both_scales, convert

_READING = re.compile(r"(?:([^\s:]*:\S*(?:\s*[ap]\.?m\.?)?)\s+)?([-+\u2212]?[\d.,]+)\s*(.*)", re.IGNORECASE)
_LIKE_A_TIME = re.compile(r"([01]?\d|2[0-3])[.,]([0-5]?\d)")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?\s*([ap])?\.?(?:m\.?)?", re.IGNORECASE)


@dataclass(frozen=True)
class TypedLine:
    """What a line means.

    Attributes
    ----------
    at : datetime
    temperature : float
        In `unit`.
    unit : str
        ``degC`` or ``degF``.
    like_time : str
        The time of day that a bare number can be, were its comma or point a colon; else empty.
    """

    at: dt.datetime
    temperature: float
    unit: str
    like_time: str = ""

    @property
    def celsius(self) -> float:
        """The temperature in °C."""
        return float(convert(self.temperature, self.unit, "degC"))


def read_line(line: str, unit: str | None, now: dt.datetime) -> TypedLine:
    """Take a typed reading apart.

    Parameters
    ----------
    line : str
        As ``680``, ``680 C`` or ``14:05 680``.
    unit : str or None
        The unit of a number without one; none where nobody has said it yet.
    now : datetime
        When it was typed, with its offset; a reading without a time was read then.

    Returns
    -------
    TypedLine

    Raises
    ------
    ReadingsError
        It is no reading, or none that a kiln can have; ``cause`` says why.

    Examples
    --------
    >>> noon = dt.datetime(2026, 5, 1, 12, tzinfo=dt.timezone.utc)
    >>> read_line("11:40 1256 F", "degC", noon).at.minute
    40
    >>> read_line("11,4", "degC", noon).like_time
    '11:04'
    """
    found = _READING.fullmatch(line)
    temperature = np.nan if found is None else number(found[2])
    if np.isnan(temperature):
        raise _refused(f"'{line}' is no temperature; help says what can be typed")
    if found[3].startswith(":"):
        raise _refused(f"'{line}' is a time without a temperature; type it as {line} 680")
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", found[2]):
        raise _refused(f"'{found[2]}' can mean thousands or decimals; type it without the comma")
    if not np.isnan(number(found[3])):
        raise _refused(f"'{line}' holds two numbers; type a time with a colon, as 14:05 680")
    stated = unit_in_full(found[3]) if found[3] else unit
    if stated is None and found[3]:
        raise _refused(f"'{found[3]}' is no unit of temperature; type C or F behind the number")
    if stated is None:
        raise _refused(f"say the unit with the first reading, as in {found[2]} C or {found[2]} F")
    celsius = float(convert(temperature, stated, "degC"))
    if celsius > HIGHEST_C:
        raise _refused(f"{both_scales(celsius)} is hotter than any kiln of this kind gets")
    if celsius < LOWEST_C:
        raise _refused(f"{both_scales(celsius)} is colder than any kiln shed")
    like = _LIKE_A_TIME.fullmatch(line)
    like_time = "" if like is None else f"{int(like[1])}:{int(like[2]):02d}"
    return TypedLine(_time(found[1], now), temperature, stated, like_time)


def _refused(cause: str) -> ReadingsError:
    return ReadingsError("typed line", cause, "")


def _time(clock: str | None, now: dt.datetime) -> dt.datetime:
    """Give the time that a clock time means: the last one that has come, today or before midnight."""
    if clock is None:
        return now
    figures = _CLOCK.fullmatch(clock)
    if figures is None:
        raise _refused(f"'{clock}' is no time of day; type it as 14:05")
    hour, minute, second = (int(figure or 0) for figure in figures.groups()[:3])
    if figures[4]:
        hour = hour % 12 + (12 if figures[4].lower() == "p" else 0)
    # Made anew from the local clock, so that the offset is that of the hour meant.
    local = dt.datetime.combine(now.date(), dt.time(hour, minute, second))
    at = local.astimezone(now.tzinfo)
    if at - now > dt.timedelta(hours=12):
        return at - dt.timedelta(days=1)
    if at - now > dt.timedelta(minutes=1):
        raise _refused(f"{clock} is still to come: this computer's clock says {now:%H:%M}")
    return at
