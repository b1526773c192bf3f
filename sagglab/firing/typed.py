"""The record that is typed at the kiln: a plain table, saved whole after each reading."""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from sagglab.delimited import delimiter_of, number, open_text
from sagglab.errors import FileFormatError, MissingFileError, Problems, ReadingsError
from sagglab.firing.readings import Readings, read_readings
from sagglab.units import convert, parse_heading
from sagglab.writing import write_whole

#: The units in which a record can be kept.
UNITS = ("degC", "degF")
STRUCK_OUT = "struck out"
_IN_FULL = {"C": "degC", "°C": "degC", "degC": "degC", "F": "degF", "°F": "degF", "degF": "degF"}


def unit_in_full(unit: str) -> str | None:
    """Give the unit that a record is kept in for a unit as it is typed; none for any other.

    Examples
    --------
    >>> unit_in_full("c"), unit_in_full("°F"), unit_in_full("K")
    ('degC', 'degF', None)
    """
    unit = unit.replace(" ", "")
    return _IN_FULL.get(unit[:-1] + unit[-1:].upper())


@dataclass(frozen=True)
class TypedReading:
    """One row of the record.

    Attributes
    ----------
    line : int
        The place of its line in the file, from 0.
    at : datetime
    temperature : float
        In the record's unit.
    flag : str
    """

    line: int
    at: dt.datetime
    temperature: float
    flag: str


@dataclass(frozen=True)
class TypedRecord:
    """A record that is typed at the kiln.

    Attributes
    ----------
    path : Path
        A table with the columns ``time`` (ISO 8601 with its offset from UTC), ``temperature [degC]`` or
        ``[degF]``, and ``flag``; it comes to be with the first reading.
    unit : str
        ``degC`` or ``degF``.

    Notes
    -----
    Before each change the file is read again, so that what was edited by hand meanwhile stays, rows that
    nobody understands among it; then it is written whole (`write_whole`). Two people who type into one
    record at the same instant can still lose a reading of one of them.
    """

    path: Path
    unit: str

    @classmethod
    def begin_or_go_on(cls, path: str | os.PathLike[str], unit: str = "degC") -> TypedRecord:
        """Go on with a record, or begin one where there is no file.

        Parameters
        ----------
        path : path
        unit : str
            The unit to begin in. A record that is there already keeps its own.

        Raises
        ------
        FileFormatError
            The file is none that was begun here; it is left as it is.
        """
        path = Path(path)
        own = unit_of_record(path)
        if own is None and unit not in UNITS:
            raise FileFormatError(str(path), f"no record is kept in {unit}", f"give {' or '.join(UNITS)}")
        return cls(path, own or unit)

    def add(self, temperature: float, unit: str, at: dt.datetime) -> None:
        """Keep a reading; when this returns, it is on the disk.

        Parameters
        ----------
        temperature : float
        unit : str
            The unit of the number, whatever the record's is.
        at : datetime
            When it was read; without an offset, by this computer's clock.

        Raises
        ------
        ReadingsError
            It is not a number, or it was not read after the last one that counts.
        UnitError
            The unit is none of temperature.
        OSError
            It could not be saved.
        """
        value = float(convert(temperature, unit, self.unit))
        if not np.isfinite(value):
            raise ReadingsError(str(self.path), f"{temperature} is no temperature", "give a number")
        at = at.astimezone().replace(microsecond=0) if at.tzinfo is None else at.replace(microsecond=0)
        text = self._text()
        before = [row.at for row in self._rows(text) if row.flag != STRUCK_OUT]
        if before and at <= before[-1]:
            last = before[-1].astimezone(at.tzinfo)
            remedy = "strike that one out with - first, then type this one"
            if at < before[-1]:
                remedy += ", and that one again if it was right"
            if (since := sum(earlier >= at for earlier in before)) > 1:
                remedy = f"strike out the last {since} with - first; then type this one, and those again"
            raise ReadingsError(
                str(self.path),
                f"{at:%H:%M:%S} is not after the last reading, at {last:%H:%M:%S}",
                remedy,
            )
        end = _line_end(text)
        if not text.strip():
            text = f"time,temperature [{self.unit}],flag\n"
        elif not text.endswith(("\n", "\r")):
            text += end
        shown = repr(round(value, 4)).removesuffix(".0")
        self._write(text + _joined([at.isoformat(timespec="seconds"), shown, ""], _delimiter(text)) + end)

    def strike_out(self) -> TypedReading | None:
        """Strike out the last reading that still counts: it stays in the file, with a flag that says so.

        Returns
        -------
        TypedReading or None
            What was struck out; none when there was nothing.
        """
        text = self._text()
        rows = [row for row in self._rows(text) if row.flag != STRUCK_OUT]
        if not rows:
            return None
        lines = text.splitlines(keepends=True)
        line = lines[rows[-1].line]
        body = line.rstrip("\r\n")
        cells = _cut(body, _delimiter(text))
        cells += [""] * (3 - len(cells))
        cells[2] = STRUCK_OUT
        lines[rows[-1].line] = _joined(cells, _delimiter(text)) + line[len(body) :]
        self._write("".join(lines))
        return rows[-1]

    def changed_to(self, unit: str) -> TypedRecord:
        """Go on in another unit, into which what the record holds is converted.

        Parameters
        ----------
        unit : str

        Raises
        ------
        FileFormatError
            The file is none that was begun here.
        OSError
            It could not be saved.
        """
        text = self._text()
        if unit == self.unit or not text.strip():
            return replace(self, unit=unit)
        lines, delimiter = text.splitlines(keepends=True), _delimiter(text)
        head = next(place for place, line in enumerate(lines) if line.strip())
        cells = {head: f"temperature [{unit}]"}
        for row in self._rows(text):
            value = round(float(convert(row.temperature, self.unit, unit)), 4)
            cells[row.line] = repr(value).removesuffix(".0")
        for place, cell in cells.items():
            body = lines[place].rstrip("\r\n")
            line = _cut(body, delimiter)
            line[1] = cell
            lines[place] = _joined(line, delimiter) + lines[place][len(body) :]
        self._write("".join(lines))
        return replace(self, unit=unit)

    def rows(self) -> list[TypedReading]:
        """Give the rows that hold a time and a temperature, in the order of the file."""
        return self._rows(self._text())

    def readings(self) -> Readings:
        """Read the record as any other.

        Raises
        ------
        MissingFileError
            Nothing has been typed yet.
        ReadingsError
            No reading counts, or the record makes no sense.
        """
        rows = [row for row in self.rows() if row.flag != STRUCK_OUT]
        if len(rows) != 1:
            return read_readings(self.path)
        # A firing cannot be measured by one reading, but at the kiln it is a beginning.
        table = pd.DataFrame(
            {
                "minutes": [0.0],
                "temperature_C": [float(convert(rows[0].temperature, self.unit, "degC"))],
                "flag": pd.Series([""], dtype="str"),
            }
        )
        started = pd.Timestamp(rows[0].at.replace(tzinfo=None))
        return Readings(str(self.path), table, Problems(), step_minutes=1 / 60, started=started)

    def _text(self) -> str:
        text = _text_of(self.path)
        found = _unit_in(text)
        if text.strip() and found is None:
            raise _not_typed_here(self.path)
        if found not in (None, self.unit):
            raise FileFormatError(
                str(self.path), f"its unit was changed to {found} meanwhile", "begin again with this record"
            )
        return text

    def _rows(self, text: str) -> list[TypedReading]:
        rows = []
        delimiter = _delimiter(text)
        for line, body in enumerate(text.splitlines()):
            cells = [*_cut(body, delimiter), "", "", ""]
            temperature = number(cells[1])
            try:
                at = dt.datetime.fromisoformat(cells[0])
            except ValueError:
                continue
            if not np.isnan(temperature):
                rows.append(TypedReading(line, at.astimezone(), temperature, cells[2]))
        return rows

    def _write(self, text: str) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(self.path, text)


def unit_of_record(path: Path) -> str | None:
    """Give the unit of a record that was typed at the kiln; none when there is no such file yet.

    Raises
    ------
    FileFormatError
        The file is another one, such as a logger's export.
    """
    if path.suffix.lower() != ".csv":
        raise FileFormatError(str(path), "a record that is typed here is a .csv file", "name one")
    text = _text_of(path)
    unit = _unit_in(text)
    if text.strip() and unit is None:
        raise _not_typed_here(path)
    return unit


def _text_of(path: Path) -> str:
    try:
        with open_text(path) as text:
            # Decoded as a whole, so that line ends stay what they are.
            return text.buffer.read().decode(text.encoding)
    except MissingFileError:
        return ""


def _not_typed_here(path: Path) -> FileFormatError:
    return FileFormatError(
        str(path),
        "it is not a record that was typed here: its headings are others than time, temperature [degC] or "
        "[degF], and flag",
        "it was left as it is; name another file in the table firings, column readings",
    )


def _unit_in(text: str) -> str | None:
    """Find the unit in the headings; none when they are not those of a typed record."""
    head = next((line for line in text.splitlines() if line.strip()), "")
    cells = _cut(head, delimiter_of(head) or ",")
    if len(cells) < 3 or (cells[0], cells[2]) != ("time", "flag"):
        return None
    name, unit = parse_heading(cells[1])
    return unit if name == "temperature" and unit in UNITS else None


def _delimiter(text: str) -> str:
    """Tell what parts the cells: a spreadsheet may have changed it."""
    return delimiter_of(next((line for line in text.splitlines() if line.strip()), "")) or ","


def _line_end(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _cut(line: str, delimiter: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error:
        return []


def _joined(cells: list[str], delimiter: str) -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="").writerow(cells)
    return text.getvalue()
