"""Firing pacer: readings typed beside the kiln, each kept before it is answered, and the curve so far."""

from __future__ import annotations

import datetime as dt
import math
from contextlib import suppress
from typing import Any, ClassVar

import traitlets

from sagglab.book import Book
from sagglab.cautions import kiln_cautions
from sagglab.charts import alt_text, chart_png, chart_svg, firing_curve
from sagglab.charts.alt import as_webp, picture_html
from sagglab.errors import FileFormatError, SagglabError
from sagglab.firing.flags import FLAGS
from sagglab.firing.headings import temperature_C
from sagglab.firing.kiln_log import HELP, Answer, KilnLog, counting, short_unit
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_readings
from sagglab.firing.typed import STRUCK_OUT, TypedReading
from sagglab.markup import listed, paragraph, text_table
from sagglab.units import both_scales, convert
from sagglab.widgets.live import LiveWidget, look, script

#: So many of the last readings typed here are listed, and of another record all or none; the curve holds all.
MOST_LISTED = 200


class FiringPacer(LiveWidget):
    """A record typed at the kiln, and how the firing goes; ``sagglab pace`` does the same in a shell.

    A record that was not typed here, such as a logger's, is shown, and nothing can be added to it.

    Parameters
    ----------
    book : Book
    firing : str
        As the table `firings` names it.
    target : float or str, optional
        The temperature that is wanted, in °C, or with its unit, as "1382 degF"; the target peak in the table
        `firings`, or the hottest of its schedule, unless given.
    minute : float, optional
        When it is wanted, in minutes from the first reading; as the schedule has it unless given.
    unit : str, optional
        ``degC`` or ``degF``, for a number that is typed without one.

    Attributes
    ----------
    kiln_log : KilnLog
        What keeps the readings: ``kiln_log.answer("680")`` is the same without the widget.

    Raises
    ------
    SagglabError
        As `KilnLog.of_firing`, `firing_readings` and `temperature_C`.
    """

    _esm = script("firing_pacer.js")
    _css: ClassVar[str] = look("firing_pacer.css")

    firing = traitlets.Unicode().tag(sync=True)
    typed_here = traitlets.Bool(True).tag(sync=True)
    wanted = traitlets.Unicode().tag(sync=True)
    cautions = traitlets.List().tag(sync=True)
    unit = traitlets.Unicode().tag(sync=True)
    answer = traitlets.Dict().tag(sync=True)
    readings = traitlets.List().tag(sync=True)
    kept = traitlets.Unicode().tag(sync=True)
    last = traitlets.Unicode().tag(sync=True)
    picture = traitlets.Dict().tag(sync=True)

    def __init__(
        self,
        book: Book,
        firing: str,
        target: float | str | None = None,
        minute: float | None = None,
        unit: str | None = None,
    ) -> None:
        target = temperature_C(target) if isinstance(target, str) else target
        self.kiln_log = KilnLog.of_firing(book, firing, target, minute, unit)
        self._ahead: dict[str, float] = {}
        self._recorded: Readings | None = None
        try:
            begun = self.kiln_log.go_on()
        except FileFormatError:  # a logger's record, say
            self._recorded = firing_readings(book, firing)
            begun = Answer((f"{self.kiln_log.path.name} was not typed here: it is shown, and not added to.",))
        super().__init__()
        self.firing, self.typed_here = firing, self._recorded is None
        self.wanted = _wanted(self.kiln_log)
        self.cautions = list(kiln_cautions())
        self._answer(begun or Answer(("No reading was kept so far.",)))
        self._draw()

    def asked_keep(self, line: str, number: int, page: str, at: float) -> None:
        """Keep what was typed, answer it, and only then draw the curve.

        Parameters
        ----------
        line : str
            As `KilnLog.answer` takes it.
        number : int
            Goes back with the answer.
        page : str
            Names the page in which it was typed, of which several can show this widget.
        at : float
            When it was typed, in milliseconds since 1970 by the clock of that page's machine.
        """
        answer = self.kiln_log.answer(line, self._typed_at(page, at))
        self._answer(answer, page, number)
        if answer.kept:
            self._draw()

    def asked_clock(self, page: str, at: float) -> None:
        """Learn how far the clock of a page's machine is behind this one's."""
        self._typed_at(page, at)

    def _typed_at(self, page: str, at: float) -> dt.datetime:
        """Give the time of typing by this machine's clock.

        While the kernel is busy, what is typed waits; kept with the time at which its turn came, a reading
        would be minutes late. The clocks differ by the least delay of all messages so far.
        """
        now = self.kiln_log.now()
        behind = now.timestamp() - at / 1000
        self._ahead[page] = min(self._ahead.get(page, math.inf), behind)
        return now - dt.timedelta(seconds=behind - self._ahead[page])

    def _answer(self, answer: Answer, page: str = "", number: int = 0) -> None:
        # Of a record that cannot be read any more, which the answer says, there stays what was listed.
        with suppress(SagglabError):
            self._list()
        self.unit = short_unit(self.kiln_log.unit)
        self.answer = {
            "page": page,
            "number": number,
            "said": list(answer.said),
            "help": answer.said == HELP,
            "kept": answer.kept,
            "refused": answer.refused,
            "again": answer.asks_again,
        }

    def _list(self) -> None:
        rows = self.kiln_log.rows()
        if self._recorded is None:
            self.readings = self._laid_out(rows)[:MOST_LISTED]
            self.kept = self.kiln_log.where_they_are() + "." if rows else ""
        else:
            # Of a logger's thousands the last minutes would be listed, which tell less than the curve.
            few = len(self._recorded.table) <= MOST_LISTED
            self.readings = _laid_out(self._recorded) if few else []
            self.kept = f"{len(self._recorded.table)} readings, in {self.kiln_log.path}."
        counted = counting(rows)[-1:]
        own = short_unit(self.kiln_log.record.unit) if counted else ""
        self.last = f"{counted[0].temperature:g} {own} at {counted[0].at:%H:%M}" if counted else ""

    def _laid_out(self, rows: list[TypedReading]) -> list[list[str]]:
        """Lay the readings out, the last first: time, minute, °C, °F, and what is to be said of it."""
        flags = self._flags(rows)
        counted = (
            row.at for row, flag in zip(rows, flags, strict=True) if flag not in FLAGS or FLAGS[flag].counts
        )
        first = next(counted, rows[0].at if rows else None)
        lines = []
        for row, flag in zip(rows, flags, strict=True):
            celsius = float(convert(row.temperature, self.kiln_log.record.unit, "degC"))
            minute = (row.at - first) / dt.timedelta(minutes=1)
            lines.append([f"{row.at:%H:%M:%S}", *_cells(minute, celsius, flag)])
        return lines[::-1]

    def _flags(self, rows: list[TypedReading]) -> list[str]:
        own = [row.flag for row in rows]
        try:
            readings = self.kiln_log.readings()
        except SagglabError:  # the answer says what is wrong with the record
            return own
        # A line that was edited by hand can be a reading to one and not to the other.
        if readings is None or len(readings.table) != len(rows):
            return own
        return readings.table["flag"].tolist()

    def _draw(self) -> None:
        try:
            ax = self._curve()
            self.picture = {} if ax is None else {"alt": alt_text(ax), "svg": chart_svg(ax)}
        except SagglabError as error:
            self.picture = {"alt": f"No curve can be drawn: {error}"}

    def _curve(self) -> Any:
        readings = self.kiln_log.readings() if self._recorded is None else self._recorded
        if readings is None or readings.counted.empty:
            return None
        return firing_curve(readings, self.kiln_log.target_C, schedule=self.kiln_log.schedule)

    def still(self) -> str:
        """Give how the firing goes, the curve, the readings and the cautions."""
        # A column in which nothing stands is left out: times that a record lacks, flags where there are none.
        used = [place for place in range(len(_HEADS)) if any(cells[place] for cells in self.readings)]
        table = text_table(
            [_HEADS[place] for place in used],
            [[cells[place] for place in used] for cells in self.readings],
            "Readings, the last on top",
        )
        return (
            paragraph(f"Firing {self.firing}. {self.wanted}")
            + listed(self.cautions)
            + "".join(paragraph(line, "answer") for line in self.answer["said"])
            + self._image()
            + (table if self.readings else "")
            + paragraph(self.kept, "quiet")
        )

    def _image(self) -> str:
        if "svg" not in self.picture:
            return paragraph(self.picture.get("alt", ""))
        # A logger's record of 120 readings is 240 kB as vectors, and 95 kB as pixels.
        curve = as_webp(chart_png(self._curve()))
        return picture_html("image/webp", curve, self.picture["alt"], {"width": 760})


_HEADS = ("time", "minute", "°C", "°F", "flag")


def _laid_out(record: Readings) -> list[list[str]]:
    """Lay out a record that was not typed here, the last reading first."""
    table = record.table
    times = [""] * len(table)
    if record.started is not None:
        times = [f"{record.started + dt.timedelta(minutes=minute):%H:%M:%S}" for minute in table["minutes"]]
    rows = zip(table["minutes"], table["temperature_C"], table["flag"], strict=True)
    return [[at, *_cells(*row)] for at, row in zip(times, rows, strict=True)][::-1]


def _cells(minute: float, celsius: float, flag: str) -> list[str]:
    if math.isnan(celsius):
        return [f"{minute:.0f}", "", "", flag]
    fahrenheit = float(convert(celsius, "degC", "degF"))
    meaning = f": {FLAGS[flag].meaning}" if flag in FLAGS and flag != STRUCK_OUT else ""
    return [f"{minute:.0f}", f"{celsius:.0f}", f"{fahrenheit:.0f}", flag + meaning]


def _wanted(log: KilnLog) -> str:
    if log.target_C is None:
        return "No target is known: write one into the table firings, or give target."
    when = "" if log.minute is None else f" at minute {log.minute:.0f}"
    return f"Wanted: {both_scales(log.target_C)}{when}."
