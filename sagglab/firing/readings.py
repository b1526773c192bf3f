"""Readings: one temperature record, from a logger's export or from paper."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.delimited import open_text
from sagglab.errors import Problem, Problems, ReadingsError
from sagglab.firing.cells import Cells, least_step, to_celsius
from sagglab.firing.flags import FLAGS, HIGHEST_C, counts, flag_readings
from sagglab.firing.headings import choose_columns, stated_unit, unit_of
from sagglab.firing.jumps import FASTEST_C_PER_MIN
from sagglab.firing.layout import Line, lay_out
from sagglab.firing.times import Times
from sagglab.markup import framed, paragraph
from sagglab.units import both_scales, convert, rate_in_both_scales
from sagglab.workbook import Rows, read_sheets

#: What rises less is no firing.
LEAST_RISE_C = 250.0


@dataclass(frozen=True, repr=False)
class Readings:
    """One temperature record.

    Attributes
    ----------
    source : str
        The file it came from.
    table : DataFrame
        ``minutes``, ``temperature_C`` and ``flag``; one row per reading, in the order of the file, or turned
        round where it was written newest first. The flag
        is a key of ``FLAGS``, and empty where there is nothing to say.
    problems : Problems
        What was left out or taken for granted.
    step_C : float
        The least difference of temperature that the record can show; zero where it is not known.
    step_minutes : float
        The same of its times.
    started : Timestamp, optional
        Date and time at which minute 0 stands, where the record says so.

    Examples
    --------
    >>> readings = read_readings(pd.DataFrame({"time [min]": [0, 20, 40], "°C": [20, 490, 750]}))
    >>> readings.counted["temperature_C"].tolist()
    [20.0, 490.0, 750.0]
    """

    source: str
    table: pd.DataFrame
    problems: Problems
    step_C: float = 0.0
    step_minutes: float = 0.0
    started: pd.Timestamp | None = None

    @property
    def counted(self) -> pd.DataFrame:
        """The readings that count, in order of time."""
        measured = counts(self.table["flag"])
        # A shallow copy is as safe as a deep one, and a long record is not held twice.
        return self.table.copy(deep=False) if measured.all() else self.table[measured].reset_index(drop=True)

    def __repr__(self) -> str:
        counted = self.counted
        lasted = counted["minutes"].max() - counted["minutes"].min()
        why = self.table.loc[~counts(self.table["flag"]), "flag"].value_counts()
        left_out = ", ".join(f"{number} '{flag}'" for flag, number in why.items())
        return (
            f"{Path(self.source).name}: {len(counted)} readings over {lasted:.0f} min, "
            f"up to {both_scales(counted['temperature_C'].max())}"
            + (f"; left out: {left_out}" if left_out else "")
        )

    def _repr_html_(self) -> str:
        return framed(paragraph(repr(self), "answer"), self.problems.html if self.problems else "")


def read_readings(
    path_or_table: str | os.PathLike[str] | pd.DataFrame,
    unit: str | None = None,
    thermocouple: str | None = None,
    cold_junction_C: float | None = None,
    column: str | None = None,
    sheet: str | None = None,
) -> Readings:
    """Read a temperature record.

    Parameters
    ----------
    path_or_table : path or DataFrame
        A text table with a time column and a temperature column, separated by comma, semicolon, tab or
        spaces; or an ``.xlsx`` workbook; or a table with such headings. Lines before the headings are passed
        over.
    unit : str, optional
        Unit of the temperature (``degC``, ``degF``, ``K``, ``mV``), for a record whose heading states none;
        it also wins over the heading.
    thermocouple : str, optional
        Type of the thermocouple (K, N, S, R), needed for a record in mV.
    cold_junction_C : float, optional
        Temperature of the cold junction, needed for a record in mV.
    column : str, optional
        Heading of the temperature column, for a record of several channels.
    sheet : str, optional
        Name of the sheet, for a workbook in which several hold readings.

    Returns
    -------
    Readings

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It is neither text nor a workbook.
    ReadingsError
        It is no such table, states no unit, or cannot be right in the unit that it states.
    UnitError
        The unit is not one of temperature.

    Notes
    -----
    Times are minutes, seconds or hours, as the heading says; clock times with or without am and pm, past
    midnight; ``h:mm:ss`` since the start; dates with times, in one column or two, with or without an offset
    from UTC. Clock times and dates count from the first reading that counts. Two figures are hours and
    minutes, or minutes and seconds, as the heading says, or else as a kiln can have made the record; where it
    can have made both, what they were taken for is told.

    Examples
    --------
    >>> read_readings(pd.DataFrame({"time [min]": [0, 20, 40], "pyrometer [degF]": [68, 914, 1382]}))
    table: 3 readings over 40 min, up to 750 °C (1382 °F)
    """
    if isinstance(path_or_table, pd.DataFrame):
        return _read(_rows_of(path_or_table), "table", unit, thermocouple, cold_junction_C, column)
    path = Path(path_or_table)
    if path.suffix.lower() == ".xlsx":
        name, rows = _sheet_of(path, sheet)
        return _read(rows, f"{path}, sheet {name}", unit, thermocouple, cold_junction_C, column)
    with open_text(path) as lines:
        return _read(lines, str(path), unit, thermocouple, cold_junction_C, column)


def _rows_of(table: pd.DataFrame) -> Rows:
    """Write a table out as rows of text, so that it reads like any other."""
    if table.index.name is not None or isinstance(table.index, pd.DatetimeIndex | pd.TimedeltaIndex):
        table = table.reset_index(names=table.index.name or "time")
    columns = []
    for position in range(table.shape[1]):
        cells = table.iloc[:, position]
        if pd.api.types.is_timedelta64_dtype(cells.dtype):
            head = f"{table.columns[position]} [s]"
            columns.append([head, *map(_cell, cells / pd.Timedelta(seconds=1))])
        else:
            columns.append([str(table.columns[position]), *map(_cell, cells)])
    return list(map(list, zip(*columns, strict=True)))


def _cell(value: object) -> str:
    if isinstance(value, dt.datetime | pd.Timestamp) and not pd.isna(value):
        return value.isoformat(sep=" ")
    return "" if value is None or value is pd.NA or value != value else str(value).strip()


def _sheet_of(path: Path, wanted: str | None) -> tuple[str, Rows]:
    sheets = read_sheets(path)
    if wanted is not None:
        if wanted not in sheets:
            raise ReadingsError(
                str(path), f"no sheet is called '{wanted}'", f"give one of {', '.join(sheets)}"
            )
        return wanted, sheets[wanted]
    holding = {}
    for name, rows in sheets.items():
        try:
            lay_out(rows, name)
        except ReadingsError:
            continue
        holding[name] = rows
    if len(holding) > 1:
        raise ReadingsError(
            str(path),
            f"several of its sheets hold readings: {', '.join(holding)}",
            "name the one that you mean: sheet= in Python, or save it as a file of its own",
        )
    # With none of them, the first is read, and says what it lacks.
    return next(iter((holding or sheets).items()))


def _read(
    lines: Iterable[Line],
    source: str,
    unit: str | None,
    thermocouple: str | None,
    cold_junction_C: float | None,
    column: str | None,
) -> Readings:
    layout = lay_out(lines, source)
    columns = choose_columns(layout.head, layout.sample, column, source)
    cells = Cells.read(layout, columns)
    heading = layout.head[columns.heat]
    stated = _unit_given(unit) or stated_unit(heading)
    stated = cells.unit(stated, f"{source}, column '{heading}'") or stated or unit_of(heading, source)
    cells.check_commas(f"{source}, column '{heading}'")
    temperature = to_celsius(cells.values, stated, thermocouple, cold_junction_C, source)
    times = _settled(cells.times, temperature)
    flags = flag_readings(cells, times.minutes, temperature, stated, source)
    first = next((place for place, flag in enumerate(flags) if not flag or FLAGS[flag].counts), None)
    # A reading that was struck out, or came from an open sensor, begins nothing.
    if first is not None and not times.own_zero:
        times = times.counted_from(float(times.minutes[first]))
    minutes = times.minutes
    table = pd.DataFrame(
        {"minutes": minutes, "temperature_C": temperature, "flag": pd.Series(flags, dtype="str")}
    )
    problems = [
        Problem(source, None, layout.head[columns.time], cause, remedy, stops=False)
        for cause, remedy in (*times.told, *_odd_times(minutes, temperature, flags))
    ]
    found = set(pd.unique(flags))
    for flag, about in FLAGS.items():
        if flag in found:
            flagged = np.flatnonzero(flags == flag)
            did = "marked" if about.counts else "left out as"
            cause = f"{flagged.size} of {len(table)} readings {did} '{flag}': {about.meaning}"
            remedy = "look at these lines of the record"
            problems.append(
                Problem(source, int(cells.lines[flagged[0]]), heading, cause, remedy, stops=False)
            )
    problems += _doubts(table, stated, source, heading)
    readings = Readings(
        source,
        table,
        Problems(problems),
        least_step(cells.values, stated, thermocouple, cold_junction_C),
        times.step,
        times.started,
    )
    if len(readings.counted) < 2:
        raise ReadingsError(
            source,
            f"{'only one' if len(readings.counted) else 'none'} of its readings counts",
            "at least two are needed to measure a firing",
        )
    return readings


def _settled(times: Times, temperature: NDArray[np.float64]) -> Times:
    """Take times that can mean two things in the one in which a kiln can have made the record."""
    if times.other is None:
        return times
    known = ~np.isnan(times.minutes) & ~np.isnan(temperature)
    # A few spikes, which are flagged only once the times are known, are no rise.
    rise = float(np.subtract(*np.percentile(temperature[known], [95, 5]))) if known.sum() > 2 else 0.0
    if rise < LEAST_RISE_C:
        return times
    either = [
        one for one in (times, times.other)
        if rise <= FASTEST_C_PER_MIN * float(np.subtract(*one.minutes[known][[-1, 0]]))
    ]  # fmt: skip
    return replace(either[0], told=either[0].told[1:], other=None) if len(either) == 1 else times


def _odd_times(
    minutes: NDArray[np.float64], temperature: NDArray[np.float64], flags: NDArray[np.object_]
) -> list[tuple[str, str]]:
    """Doubt times that make a climb that no kiln makes, or readings hours apart of something that got hot."""
    # Of a long record, some thousands of readings tell as well.
    few = slice(None, None, max(minutes.size // 5000, 1))
    good = flags[few] == ""
    lapsed, heat = np.diff(minutes[few][good]), temperature[few][good]
    if heat.size < 3 or np.ptp(heat) < LEAST_RISE_C:
        return []
    # Over a few readings, so that one brisk step between two is no matter.
    climb = np.max((heat[2:] - heat[:-2]) / (lapsed[1:] + lapsed[:-1]))
    remedy = "look whether the times are in the unit that their heading states"
    if climb > 2 * FASTEST_C_PER_MIN:
        return [(f"it climbs {rate_in_both_scales(climb * 60)}, faster than any kiln", remedy)]
    if np.median(lapsed) >= 60:
        return [(f"its readings are {np.median(lapsed):.0f} min apart, too few for a firing", remedy)]
    return []


def _unit_given(unit: str | None) -> str | None:
    """Write the unit that was given as the headings' are; an unknown one is refused where it is used."""
    return None if unit is None else stated_unit(f"[{unit}]") or str(unit)


def _doubts(table: pd.DataFrame, unit: str, source: str, heading: str) -> list[Problem]:
    """Say when a record in °F would look more like a firing in °C."""
    counted = table.loc[counts(table["flag"]), "temperature_C"]
    peak_F = convert(counted.max(), "degC", "degF") if counted.size else np.nan
    if unit.lower().lstrip("deg°") != "f" or not 550 <= peak_F <= HIGHEST_C:
        return []
    cause = f"its peak is {both_scales(counted.max())}, which is low for a firing"
    remedy = f"if the numbers are in °C, write the heading as '{heading.split('[')[0].strip()} [degC]'"
    return [Problem(source, None, heading, cause, remedy, stops=False)]
