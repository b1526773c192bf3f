"""The log at the kiln: one typed line is kept, and answered with the pace.

The shell's prompt and the notebook's pacer both keep their readings through it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from sagglab.book import Book
from sagglab.errors import ReadingsError, SagglabError
from sagglab.firing.flags import FLAGS
from sagglab.firing.pace import pace
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_schedule, place_of_record
from sagglab.firing.schedule import Schedule
from sagglab.firing.slips import SoFar
from sagglab.firing.typed import STRUCK_OUT, TypedReading, TypedRecord, unit_of_record
from sagglab.firing.typed_line import read_line
from sagglab.units import convert

HELP = (
    "680           a reading, taken now, in the unit that is shown",
    "680 C, 1256 F a reading in the unit that you say",
    "14:05 680     a reading taken at that time, after the last one; 2:05 pm 680 is the same",
    "-             strikes out the last reading; it stays in the file, and no longer counts",
    "(nothing)     says once more how the firing goes",
    "help or ?     says this",
    "There about minute 30 (21 to 57) means: most likely then, hardly before 21 or after 57.",
)


@dataclass(frozen=True)
class Answer:
    """What came of one typed line.

    Attributes
    ----------
    said : tuple of str
        What there is to say, in lines.
    kept : bool
        Whether the record on the disk was changed: a reading kept, or one struck out.
    refused : bool
        Whether the line asked for a change, and nothing was changed.
    asks_again : bool
        Whether the same line, typed again, will be kept: it looks like a slip.
    """

    said: tuple[str, ...]
    kept: bool = False
    refused: bool = False
    asks_again: bool = False


def _now() -> dt.datetime:
    return dt.datetime.now().astimezone()


@dataclass
class KilnLog:
    """The log at the kiln for one record.

    Attributes
    ----------
    path : Path
        The file of the record.
    unit : str or None
        The unit of a number without one; none until the first reading says it.
    target_C, minute : float or None
        What is wanted, and when.
    schedule : Schedule or None
        What was planned.
    now : callable
        Gives the time, with its offset.
    record : TypedRecord or None
        None until there is a file.
    """

    path: Path
    unit: str | None = None
    target_C: float | None = None
    minute: float | None = None
    schedule: Schedule | None = None
    now: Callable[[], dt.datetime] = field(default_factory=lambda: _now)
    record: TypedRecord | None = field(default=None, init=False)
    _begun_in: str | None = field(default=None, init=False)
    _doubted: str | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self._begun_in = self.unit

    @classmethod
    def of_firing(
        cls,
        book: Book,
        firing: str,
        target_C: float | None = None,
        minute: float | None = None,
        unit: str | None = None,
    ) -> KilnLog:
        """Make the log of a firing in a batch book.

        Parameters
        ----------
        book : Book
        firing : str
            As the table `firings` names it.
        target_C : float, optional
            The target peak in the table `firings` unless given, or the hottest of its schedule.
        minute : float, optional
            When it is wanted, from the first reading; as the schedule has it unless given.
        unit : str, optional
            ``degC`` or ``degF``.

        Raises
        ------
        SagglabError
            As `place_of_record` and `firing_schedule`.
        """
        place = place_of_record(book, firing)
        schedule = firing_schedule(book, firing)
        planned_C = None if schedule is None else float(schedule.table["temperature_C"].max())
        target_C = next((heat for heat in (target_C, place.target_C, planned_C) if heat is not None), None)
        if minute is None and schedule is not None and target_C is not None:
            planned = schedule.minute_of(target_C)
            minute = None if math.isnan(planned) else planned
        return cls(place.path, unit, target_C, minute, schedule)

    def go_on(self) -> Answer | None:
        """Go on with the record, and say how the firing goes; None where there is no file yet.

        Raises
        ------
        FileFormatError
            The file is no record that was typed here.
        """
        unit = unit_of_record(self.path)
        if unit is None:
            return None
        self.record = TypedRecord.begin_or_go_on(self.path)
        self.unit = self.unit or (None if self._all_struck_out() else unit)
        return self._told(lambda: Answer(tuple(self.how_it_goes())))

    def answer(self, line: str, typed: dt.datetime | None = None) -> Answer:
        """Do what one typed line asks for, and say what came of it; nothing is raised for what was typed.

        Parameters
        ----------
        line : str
            A reading, ``-`` to strike out the last one, nothing, or ``help``. When this returns with `kept`,
            the reading is on the disk.
        typed : datetime, optional
            When it was typed; now unless given.
        """
        line = line.strip()
        if asks_for_help(line):
            return Answer(HELP)
        if line == "":
            return self._told(lambda: Answer(tuple(self.how_it_goes())))
        if line in ("-", "\u2212"):
            return self._told(self._strike_out)
        return self._told(lambda: self._take(line, typed or self.now()))

    def rows(self) -> list[TypedReading]:
        """Give what the record holds, struck out or not; nothing before it is begun."""
        return [] if self.record is None else self.record.rows()

    def readings(self) -> Readings | None:
        """Read the record as any other; None where no reading counts.

        Raises
        ------
        ReadingsError
            The record makes no sense.
        """
        return self.record.readings() if counting(self.rows()) else None

    def how_it_goes(self, typed: bool = False) -> Iterator[str]:
        """Say the pace; of a reading just typed, whether it is doubted, of another how long ago it was.

        Raises
        ------
        ReadingsError
            The record makes no sense.
        """
        readings = self.readings()
        if readings is None or readings.counted.empty:
            yield "No reading counts yet."
            return
        flag = readings.table["flag"].iloc[-1]
        if typed and flag:
            yield f"That reading is marked '{flag}': {FLAGS[flag].meaning}."
        ago = (self.now() - counting(self.rows())[-1].at) / dt.timedelta(minutes=1)
        since = f" That was {ago:.0f} min ago." if not typed and ago >= 1 else ""
        yield pace(readings, self.target_C, self.minute).line + since

    def where_they_are(self) -> str:
        """Say how many readings were kept, and in which file."""
        rows = self.rows()
        if not rows:
            return "No reading was kept."
        count = len(counting(rows))
        struck = len(rows) - count
        out = f", {struck} more struck out" if struck else ""
        return f"{count} reading{'' if count == 1 else 's'}{out}, in {self.path}"

    def _told(self, step: Callable[[], Answer]) -> Answer:
        """Take one step; what goes wrong is told."""
        try:
            return step()
        except SagglabError as error:
            return Answer((str(error),), refused=True)

    def _take(self, line: str, now: dt.datetime) -> Answer:
        try:
            read = read_line(line, self.unit, now)
        except ReadingsError as error:
            return _refused(error.cause)
        # A file that was not begun here is refused at once, and not asked about first.
        record = self.record or TypedRecord.begin_or_go_on(self.path, self.unit or read.unit)
        doubt = self._so_far().doubt(line, read, now)
        # A slip that went into the record would be hard to take out again with gloves on.
        if doubt and line != self._doubted:
            self._doubted = line
            return _refused(doubt, asks_again=True)
        self._doubted = None
        try:
            if self._all_struck_out():
                self.record = record = record.changed_to(read.unit)
            record.add(read.temperature, read.unit, read.at)
        except ReadingsError as error:
            return _refused(f"{error.cause}. {error.remedy[:1].upper()}{error.remedy[1:]}")
        except OSError as error:  # a disk that is full, a stick that was pulled out
            return _refused(f"it could not be saved ({error.strerror or error})")
        self.record, self.unit = record, self.unit or read.unit
        return self._kept([], typed=True)

    def _strike_out(self) -> Answer:
        try:
            struck = None if self.record is None else self.record.strike_out()
        except OSError as error:
            return _refused(f"it could not be struck out ({error.strerror or error})")
        if struck is None:
            return _refused("there is no reading to strike out")
        said = f"Struck out: {struck.temperature:g} {short_unit(self.record.unit)} at {struck.at:%H:%M:%S}."
        if self._all_struck_out():
            self.unit = self._begun_in
        return self._kept([said])

    def _kept(self, said: list[str], typed: bool = False) -> Answer:
        """Answer after a change; where the pace cannot be told, what was changed stays changed."""
        try:
            said += self.how_it_goes(typed)
        except SagglabError as error:
            said.append(str(error))
        return Answer(tuple(said), kept=True)

    def _all_struck_out(self) -> bool:
        """Whether there are readings, and none that counts: then the unit may be chosen anew."""
        rows = self.rows()
        return bool(rows) and not counting(rows)

    def _so_far(self) -> SoFar:
        before = counting(self.rows())
        celsius = (float(convert(row.temperature, self.record.unit, "degC")) for row in before)
        return SoFar(tuple(row.at for row in before), tuple(celsius), self.target_C)


def asks_for_help(line: str) -> bool:
    """Whether a typed line asks what can be typed."""
    return line.lower() in ("help", "?")


def counting(rows: list[TypedReading]) -> list[TypedReading]:
    """Give the rows that were not struck out."""
    return [row for row in rows if row.flag != STRUCK_OUT]


def short_unit(unit: str | None) -> str:
    """Write a unit as it stands on a dial; empty where nobody said it.

    Examples
    --------
    >>> short_unit("degC"), short_unit(None)
    ('°C', '')
    """
    return "" if unit is None else unit.replace("deg", "°")


def _refused(why: str, asks_again: bool = False) -> Answer:
    return Answer((f"Nothing was kept: {why}.",), refused=True, asks_again=asks_again)
