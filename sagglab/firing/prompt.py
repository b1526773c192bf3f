"""The prompt at the kiln: a reading is typed, kept, and answered with the pace."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from sagglab.delimited import number
from sagglab.errors import ReadingsError, SagglabError
from sagglab.firing.flags import FLAGS, HIGHEST_C, LOWEST_C
from sagglab.firing.jumps import FASTEST_C_PER_MIN, LEAST_STEP_C
from sagglab.firing.pace import pace
from sagglab.firing.readings import Readings
from sagglab.firing.typed import STRUCK_OUT, TypedReading, TypedRecord, unit_in_full, unit_of_record
from sagglab.units import both_scales, convert

SHORT_HELP = "Type a temperature and press Enter; - strikes out the last one, help says more, done ends."
HELP = (
    "680           a reading, taken now, in the unit that stands at the start of the line",
    "680 C, 1256 F a reading in the unit that you say",
    "14:05 680     a reading taken at that time; 2:05 pm 680 is the same",
    "-             strikes out the last reading; it stays in the file, and no longer counts",
    "(nothing)     says once more how the firing goes",
    "help or ?     says this",
    "There about minute 30 (21 to 57) means: most likely then, hardly before 21 or after 57.",
    "done          ends; so do Ctrl-D and Ctrl-C. You can go on later with the same command",
)

_READING = re.compile(r"(?:(\S*:\S*(?:\s*[ap]\.?m\.?)?)\s+)?([-+\u2212]?[\d.,]+)\s*(.*)", re.IGNORECASE)
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?\s*([ap])?\.?(?:m\.?)?", re.IGNORECASE)

#: A reading that was taken longer ago is asked for again: an hour of twelve may be meant.
OLD = dt.timedelta(hours=6)


class _Refused(Exception):
    """A line that keeps nothing; its text says why."""


def _now() -> dt.datetime:
    return dt.datetime.now().astimezone()


@dataclass
class KilnPrompt:
    """The prompt at the kiln for one record.

    Attributes
    ----------
    path : Path
        The file of the record.
    unit : str or None
        The unit of a number without one; none until the first reading says it.
    target_C, minute : float or None
        What is wanted, and when.
    ask : callable
        Gives the next line for a prompt; raises EOFError or KeyboardInterrupt at the end.
    say : callable
        Shows a line.
    now : callable
        Gives the time, with its offset.
    """

    path: Path
    unit: str | None
    target_C: float | None
    minute: float | None
    ask: Callable[[str], str]
    say: Callable[[str], None]
    now: Callable[[], dt.datetime] = field(default_factory=lambda: _now)
    record: TypedRecord | None = field(default=None, init=False)
    _doubted: str | None = field(default=None, init=False)

    def run(self) -> None:
        """Take readings until there are no more.

        Raises
        ------
        FileFormatError
            The file is no record that was typed here.
        """
        unit = unit_of_record(self.path)
        if unit is not None:
            self.record = TypedRecord.begin_or_go_on(self.path)
            self.unit = self.unit or unit
            self._try(self._say_how_it_goes)
        self.say(SHORT_HELP)
        try:
            while (line := self.ask(f"{_short(self.unit)}> ").strip()).lower() != "done":
                self._try(lambda line=line: self._answer(line))
        except (EOFError, KeyboardInterrupt):
            self.say("")
        self._try(self._say_where_they_are)

    def _try(self, step: Callable[[], None]) -> None:
        """Take one step; what goes wrong is told, and the prompt goes on."""
        try:
            step()
        except _Refused as refused:
            self.say(f"Nothing was kept: {refused}.")
        except SagglabError as error:
            self.say(str(error))

    def _answer(self, line: str) -> None:
        if line.lower() in ("help", "?"):
            for words in HELP:
                self.say(words)
        elif line == "":
            self._say_how_it_goes()
        elif line in ("-", "\u2212"):
            self._strike_out()
        else:
            at, temperature, unit = self._understood(line)
            doubt = self._doubt(at, float(convert(temperature, unit, "degC")))
            # A slip that went into the record would be hard to take out again with gloves on.
            if doubt and line != self._doubted:
                self._doubted = line
                raise _Refused(f"{doubt}. Type the same again if it is right")
            self._doubted = None
            self._keep(at, temperature, unit)
            self._say_how_it_goes(typed=True)

    def _keep(self, at: dt.datetime, temperature: float, unit: str) -> None:
        record = self.record or TypedRecord.begin_or_go_on(self.path, self.unit or unit)
        try:
            record.add(temperature, unit, at)
        except ReadingsError as error:
            raise _Refused(error.cause) from error
        except OSError as error:  # a disk that is full, a stick that was pulled out
            raise _Refused(f"it could not be saved ({error.strerror or error})") from error
        self.record, self.unit = record, self.unit or unit

    def _doubt(self, at: dt.datetime, celsius: float) -> str:
        """Say why a reading looks like a slip; empty when it does not."""
        ago = self.now() - at
        if ago > OLD:
            return f"{at:%H:%M} was {ago / dt.timedelta(hours=1):.0f} h ago"
        before = _counting(self.record.rows())[-1:] if self.record else []
        if not before or at <= before[0].at:
            return ""
        lapsed = (at - before[0].at) / dt.timedelta(minutes=1)
        earlier = float(convert(before[0].temperature, self.record.unit, "degC"))
        if abs(celsius - earlier) <= LEAST_STEP_C + FASTEST_C_PER_MIN * lapsed:
            return ""
        step = f"from {both_scales(earlier)} to {both_scales(celsius)}"
        return f"{step} in {lapsed:.1f} min is more than a kiln can do"

    def _understood(self, line: str) -> tuple[dt.datetime, float, str]:
        """Take a typed reading apart.

        Returns
        -------
        at : datetime
        temperature : float
        unit : str

        Raises
        ------
        _Refused
        """
        found = _READING.fullmatch(line)
        temperature = np.nan if found is None else number(found[2])
        if np.isnan(temperature):
            raise _Refused(f"'{line}' is no temperature; help says what can be typed")
        if found[3].startswith(":"):
            raise _Refused(f"'{line}' is a time without a temperature; type it as {line} 680")
        if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", found[2]):
            raise _Refused(f"'{found[2]}' can mean thousands or decimals; type it without the comma")
        unit = unit_in_full(found[3]) if found[3] else self.unit
        if unit is None and found[3]:
            raise _Refused(f"'{found[3]}' is no unit of temperature; type C or F behind the number")
        if unit is None:
            raise _Refused(f"say the unit with the first reading, as in {found[2]} C or {found[2]} F")
        celsius = float(convert(temperature, unit, "degC"))
        if celsius > HIGHEST_C:
            raise _Refused(f"{both_scales(celsius)} is hotter than any kiln of this kind gets")
        if celsius < LOWEST_C:
            raise _Refused(f"{both_scales(celsius)} is colder than any kiln shed")
        return self._time(found[1]), temperature, unit

    def _time(self, clock: str | None) -> dt.datetime:
        """Give the time that a clock time means: the last one that has come, today or before midnight."""
        now = self.now()
        if clock is None:
            return now
        figures = _CLOCK.fullmatch(clock)
        if figures is None:
            raise _Refused(f"'{clock}' is no time of day; type it as 14:05")
        hour, minute, second = (int(figure or 0) for figure in figures.groups()[:3])
        if figures[4]:
            hour = hour % 12 + (12 if figures[4].lower() == "p" else 0)
        # Made anew from the local clock, so that the offset is that of the hour meant.
        local = dt.datetime.combine(now.date(), dt.time(hour, minute, second))
        at = local.astimezone(now.tzinfo)
        if at - now > dt.timedelta(hours=12):
            return at - dt.timedelta(days=1)
        if at - now > dt.timedelta(minutes=1):
            raise _Refused(f"{clock} is still to come: this computer's clock says {now:%H:%M}")
        return at

    def _strike_out(self) -> None:
        try:
            struck = None if self.record is None else self.record.strike_out()
        except OSError as error:
            raise _Refused(f"it could not be struck out ({error.strerror or error})") from error
        if struck is None:
            raise _Refused("there is no reading to strike out")
        self.say(f"Struck out: {struck.temperature:g} {_short(self.record.unit)} at {struck.at:%H:%M:%S}.")
        self._say_how_it_goes()

    def _say_how_it_goes(self, typed: bool = False) -> None:
        """Say the pace, and whether the reading just typed is doubted."""
        readings = self._readings()
        if readings is None or readings.counted.empty:
            self.say("No reading counts yet.")
            return
        flag = readings.table["flag"].iloc[-1]
        if typed and flag:
            self.say(f"That reading is marked '{flag}': {FLAGS[flag].meaning}.")
        ago = self._minutes_since_the_last()
        since = f" That was {ago:.0f} min ago." if not typed and ago >= 1 else ""
        self.say(pace(readings, self.target_C, self.minute).line + since)

    def _readings(self) -> Readings | None:
        if self.record is None or not _counting(self.record.rows()):
            return None
        return self.record.readings()

    def _minutes_since_the_last(self) -> float:
        rows = _counting(self.record.rows())
        return (self.now() - rows[-1].at) / dt.timedelta(minutes=1)

    def _say_where_they_are(self) -> None:
        rows = [] if self.record is None else self.record.rows()
        if not rows:
            self.say("No reading was kept.")
            return
        count, struck = len(_counting(rows)), len(rows) - len(_counting(rows))
        out = f", {struck} more struck out" if struck else ""
        self.say(f"{count} reading{'' if count == 1 else 's'}{out}, in {self.path}")


def _counting(rows: list[TypedReading]) -> list[TypedReading]:
    return [row for row in rows if row.flag != STRUCK_OUT]


def _short(unit: str | None) -> str:
    return "" if unit is None else unit.replace("deg", "°")
