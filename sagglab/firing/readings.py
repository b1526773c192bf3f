"""Readings: one firing's temperature record, from a logger's export or from paper."""

from __future__ import annotations

import html
import os
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.columns import READINGS, conform
from sagglab.delimited import delimiter_of, number, read_text
from sagglab.errors import Problem, Problems, ReadingsError, UnitError
from sagglab.firing.clock import is_time, minutes_from_clock, minutes_from_dates
from sagglab.firing.thermocouple import temperature_from_mV
from sagglab.units import both_scales, convert, parse_heading, working_unit

#: Why a reading is left out of the measures.
FLAGS = {
    "open": "the instrument gave no temperature: an open sensor, or a blank cell",
    "unreadable": "the cell holds neither a number nor a known mark",
    "out of order": "its time is not later than that of the reading before it",
}

_OPEN_MARKS = re.compile(r"|-+|open|o\.?l\.?|err(or)?|nan|n/?a", re.IGNORECASE)

#: No small gas kiln gets there; a record that does is in another unit.
HIGHEST_C = 1400.0


@dataclass(frozen=True)
class Readings:
    """One firing's temperature record.

    Attributes
    ----------
    source : str
        The file it came from.
    table : DataFrame
        ``minutes``, ``temperature_C`` and ``flag``; one row per reading, in the order of the file. The flag
        is empty for a reading that counts, and else a key of ``FLAGS``.
    problems : Problems
        What was left out or taken for granted.
    """

    source: str
    table: pd.DataFrame
    problems: Problems

    @property
    def counted(self) -> pd.DataFrame:
        """The readings that count, in order of time."""
        return self.table[self.table["flag"] == ""].reset_index(drop=True)

    def _repr_html_(self) -> str:
        counted = self.counted
        last = counted["minutes"].iloc[-1] - counted["minutes"].iloc[0]
        summary = (
            f"{html.escape(Path(self.source).name)}: {len(counted)} readings over {last:.0f} min, "
            f"up to {both_scales(counted['temperature_C'].max())}"
        )
        return f"<p>{summary}</p>{self.problems._repr_html_()}"


def read_readings(
    path: str | os.PathLike[str],
    unit: str | None = None,
    thermocouple: str | None = None,
    cold_junction_C: float | None = None,
    column: str | None = None,
) -> Readings:
    """Read a temperature record.

    Parameters
    ----------
    path : path
        A text table with a time column and a temperature column, separated by comma, semicolon, tab or
        spaces. Lines before the headings are passed over.
    unit : str, optional
        Unit of the temperature (``degC``, ``degF``, ``K``, ``mV``), for a file whose heading states none;
        it also wins over the heading.
    thermocouple : str, optional
        Type of the thermocouple (K, N, S, R), needed for a record in mV.
    cold_junction_C : float, optional
        Temperature of the cold junction, needed for a record in mV.
    column : str, optional
        Heading of the temperature column, for a record of several channels.

    Returns
    -------
    Readings

    Raises
    ------
    MissingFileError
        There is no such file.
    ReadingsError
        The file is no such table, states no unit, or cannot be right in the unit that it states.
    UnitError
        The unit is not one of temperature.

    Notes
    -----
    Times are minutes, seconds or hours, as the heading says; clock times with or without am and pm, past
    midnight; ``h:mm:ss`` since the start; ISO dates and times. Clock times and dates count from the first.
    """
    source = str(path)
    head, rows, first_row = _cells(read_text(Path(path)), source)
    time_column, heat_column = _columns(head, rows, source, unit, column)
    times = [row[time_column] if time_column < len(row) else "" for row in rows]
    cells = [row[heat_column] if heat_column < len(row) else "" for row in rows]
    problems: list[Problem] = []
    minutes = _minutes(times, head[time_column], source, problems)
    values = np.array([number(cell) for cell in cells])
    stated = unit or _stated_unit(head[heat_column])
    if stated is None:
        raise ReadingsError(
            f"{source}, column '{head[heat_column]}'",
            "no unit is stated, and none is guessed",
            "write the heading as 'temperature [degC]' or 'temperature [degF]', or give unit=",
        )
    temperature = _to_celsius(values, stated, thermocouple, cold_junction_C, source)
    flags = _flags(cells, minutes, temperature)
    table = conform(
        [
            {"minutes": minute, "temperature_C": degrees, "flag": flag}
            for minute, degrees, flag in zip(minutes, temperature, flags, strict=True)
        ],
        READINGS,
    )
    _check_range(table, stated, source, first_row)
    for flag, meaning in FLAGS.items():
        flagged = np.flatnonzero(table["flag"] == flag)
        if len(flagged):
            problems.append(
                Problem(
                    source,
                    first_row + int(flagged[0]),
                    head[heat_column],
                    f"{len(flagged)} of {len(table)} readings left out as '{flag}': {meaning}",
                    "look at these lines of the record",
                    stops=False,
                )
            )
    return Readings(source, table, Problems(problems))


def _cells(text: str, source: str) -> tuple[list[str], list[list[str]], int]:
    """Find the headings and the rows under them, and the first row's line number."""
    lines = text.splitlines()
    for position, line in enumerate(lines):
        delimiter = delimiter_of(line)
        row = _cut(line, delimiter)
        if len(row) < 2 or not any(is_time(cell) for cell in row) or not re.search(r"\d", row[-1]):
            continue
        above = next((_cut(lines[k], delimiter) for k in range(position - 1, -1, -1) if lines[k].strip()), [])
        head = above if len(above) >= len(row) else [f"column {k + 1}" for k in range(len(row))]
        rows = [_cut(line, delimiter) for line in lines[position:]]
        return head, [row for row in rows if any(row)], position + 1
    raise ReadingsError(
        source,
        "it holds no readings: no line has a time and a temperature",
        "export it again as CSV, with one reading on each line",
    )


def _cut(line: str, delimiter: str | None) -> list[str]:
    cells = re.split(r"\s{2,}|\t", line.strip()) if delimiter is None else line.split(delimiter)
    if delimiter is None and len(cells) < 2:
        cells = line.split()
    return [cell.strip().strip('"').strip() for cell in cells]


def _stated_unit(heading: str) -> str | None:
    """Find the unit of temperature in a heading: in brackets, or at its end as in ``temperature_C``."""
    found = re.search(r"[\[(_ ]\s*(deg ?[CFK]|°\s?[CF]|[CFK]|mV)\s*[\])]?$", heading)
    return None if found is None else found[1].replace(" ", "")


def _time_unit(heading: str) -> str | None:
    """Find the unit of time in a heading: in brackets, or as a word."""
    found = re.search(r"(?:^|[\W_])(second|sec|s|minute|min|hour|hr|h)s?(?:$|[\W_])", heading.lower())
    return None if found is None else {"s": "s", "m": "min", "h": "h"}[found[1][0]]


def _time_column(head: list[str], first: list[str]) -> int:
    """Settle the time column: a clock or a date, else the one that states a unit of time, else the first."""
    shown = list(zip(head, first, strict=False))
    for is_it in (
        lambda heading, cell: ":" in cell and is_time(cell),
        lambda heading, cell: _time_unit(heading) is not None and is_time(cell),
    ):
        for position, (heading, cell) in enumerate(shown):
            if is_it(heading, cell):
                return position
    return 0


def _columns(
    head: list[str], rows: list[list[str]], source: str, unit: str | None, column: str | None
) -> tuple[int, int]:
    """Settle which column is the time and which the temperature."""
    time = _time_column(head, rows[0])
    others = [k for k in range(len(head)) if k != time]
    if column is not None:
        named = [k for k in others if column in (head[k], parse_heading(head[k]).name)]
        if len(named) != 1:
            raise ReadingsError(
                source,
                f"no single column is called '{column}'",
                f"give one of {', '.join(head[k] for k in others)}",
            )
        return time, named[0]
    heats = [k for k in others if _stated_unit(head[k]) is not None]
    if not heats:
        heats = [k for k in others if not np.isnan(number(rows[0][k] if k < len(rows[0]) else ""))]
    if len(heats) > 1:
        raise ReadingsError(
            source,
            f"it has several temperature columns: {', '.join(head[k] for k in heats)}",
            "name the one that you mean, column=",
        )
    if not heats:
        raise ReadingsError(
            source,
            f"none of its columns ({', '.join(head)}) holds temperatures",
            "write one heading as 'temperature [degC]'",
        )
    return time, heats[0]


def _minutes(times: list[str], heading: str, source: str, problems: list[Problem]) -> NDArray[np.float64]:
    filled = next(cell for cell in times if cell)
    if re.match(r"\d{4}-\d\d-\d\d", filled):
        return minutes_from_dates(times)
    if ":" in filled:
        two_figures = filled.count(":") == 1
        words = heading.lower()
        short_is_minutes = two_figures and "mm:ss" in words and "h" not in words
        if two_figures and not re.search("clock|h|day|mm:ss|am|pm", words):
            problems.append(
                Problem(
                    source,
                    None,
                    heading,
                    f"'{filled}' was read as hours and minutes",
                    "if it means minutes and seconds, write the heading as 'time [mm:ss]'",
                    stops=False,
                )
            )
        minutes = minutes_from_clock(times, short_is_minutes)
        return minutes - np.nanmin(minutes)
    minutes = np.array([number(cell) for cell in times])
    stated = _time_unit(heading)
    if stated is None:
        raise ReadingsError(
            f"{source}, column '{heading}'",
            "it does not say whether these times are seconds, minutes or hours",
            "write the heading as 'time [min]', 'time [s]' or 'time [h]'",
        )
    return convert(minutes, stated, "min")


def _to_celsius(
    values: NDArray[np.float64],
    unit: str,
    thermocouple: str | None,
    cold_junction_C: float | None,
    source: str,
) -> NDArray[np.float64]:
    if unit.lower() == "mv":
        if thermocouple is None or cold_junction_C is None:
            raise ReadingsError(
                source,
                "it is in millivolts, which need the thermocouple's type and the cold junction's temperature",
                "give thermocouple='K' (or N, S, R) and cold_junction_C=",
            )
        return temperature_from_mV(values, thermocouple, cold_junction_C)
    if working_unit(unit) != "degC":
        raise UnitError(f"{source}: unit [{unit}]", "it is no temperature", "give degC, degF, K or mV")
    return convert(values, unit, "degC")


def _flags(cells: list[str], minutes: NDArray[np.float64], temperature: NDArray[np.float64]) -> list[str]:
    flags = []
    latest = -np.inf
    for cell, minute, degrees in zip(cells, minutes, temperature, strict=True):
        if np.isnan(degrees):
            flags.append("open" if _OPEN_MARKS.fullmatch(cell) else "unreadable")
        elif np.isnan(minute):
            flags.append("unreadable")
        elif minute <= latest:
            flags.append("out of order")
        else:
            flags.append("")
            latest = minute
    return flags


def _check_range(table: pd.DataFrame, unit: str, source: str, first_row: int) -> None:
    counted = table.loc[table["flag"] == "", "temperature_C"]
    if len(counted) < 2:
        raise ReadingsError(
            source,
            f"it holds {len(counted)} readings that count",
            "at least two are needed to measure a firing",
        )
    coldest, hottest = counted.idxmin(), counted.idxmax()
    if counted[coldest] < -273.15:
        raise ReadingsError(
            f"{source}, line {first_row + coldest}",
            f"{counted[coldest]:.0f} °C is below absolute zero",
            f"check the unit, which is stated as [{unit}]",
        )
    if counted[hottest] > HIGHEST_C:
        raise ReadingsError(
            f"{source}, line {first_row + hottest}",
            f"{counted[hottest]:.0f} °C is hotter than any kiln of this kind gets",
            f"check the unit, which is stated as [{unit}]; a record in °F wants [degF]",
        )
