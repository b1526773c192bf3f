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
from sagglab.delimited import number, read_text
from sagglab.errors import Problem, Problems, ReadingsError, UnitError
from sagglab.firing.clock import is_time, minutes_from_clock, minutes_from_dates
from sagglab.firing.layout import choose_columns, is_open_mark, lay_out, stated_unit, time_unit
from sagglab.firing.thermocouple import temperature_from_mV
from sagglab.units import both_scales, convert, working_unit

#: Why a reading is left out of the measures.
FLAGS = {
    "open": "the instrument gave no temperature: an open sensor, or a blank cell",
    "unreadable": "the cell holds neither a number nor a known mark",
    "out of order": "its time is not later than that of the reading before it",
}

#: No small gas kiln gets there; a record that does is in another unit.
HIGHEST_C = 1400.0


@dataclass(frozen=True, repr=False)
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
    step_C : float
        The least difference of temperature that the record can show; zero where it is not known.
    step_minutes : float
        The same of its times.
    started : Timestamp, optional
        Date and time at which minute 0 stands, where the record says so.
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
        return self.table[self.table["flag"] == ""].reset_index(drop=True)

    def __repr__(self) -> str:
        counted = self.counted
        lasted = counted["minutes"].max() - counted["minutes"].min()
        return (
            f"{Path(self.source).name}: {len(counted)} readings over {lasted:.0f} min, "
            f"up to {both_scales(counted['temperature_C'].max())}"
        )

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>{self.problems._repr_html_() if self.problems else ''}"


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
    layout = lay_out(read_text(Path(path)), source)
    time_column, heat_column = choose_columns(layout, source, column)
    heading = layout.head[heat_column]
    cells = layout.column(heat_column)
    problems: list[Problem] = []
    minutes = _minutes(layout.column(time_column), layout.head[time_column], source, problems)
    values = np.array([number(cell) for cell in cells])
    _check_commas(cells, f"{source}, column '{heading}'")
    stated = unit or stated_unit(heading)
    if stated is None:
        raise ReadingsError(
            f"{source}, column '{heading}'",
            "no unit is stated, and none is guessed",
            "write the heading as 'temperature [degC]' or 'temperature [degF]', or give unit=",
        )
    temperature = _to_celsius(values, stated, thermocouple, cold_junction_C, source)
    flags = _flags(cells, minutes, temperature, layout.named("flag"))
    table = conform(
        [
            {"minutes": minute, "temperature_C": degrees, "flag": flag}
            for minute, degrees, flag in zip(minutes, temperature, flags, strict=True)
        ],
        READINGS,
    )
    _check_range(table, stated, source, layout.lines)
    for flag, meaning in FLAGS.items():
        flagged = np.flatnonzero(table["flag"] == flag)
        if len(flagged):
            problems.append(
                Problem(
                    source,
                    layout.lines[int(flagged[0])],
                    heading,
                    f"{len(flagged)} of {len(table)} readings left out as '{flag}': {meaning}",
                    "look at these lines of the record",
                    stops=False,
                )
            )
    return Readings(source, table, Problems(problems))


def _minutes(times: list[str], heading: str, source: str, problems: list[Problem]) -> NDArray[np.float64]:
    filled = next((cell for cell in times if is_time(cell)), "")
    if re.match(r"\d{4}-\d\d-\d\d", filled):
        return minutes_from_dates(times)
    if ":" in filled:
        two_figures = filled.count(":") == 1
        words = heading.lower()
        short_is_minutes = two_figures and "mm:ss" in words and "h:mm" not in words
        if two_figures and not re.search(
            r"clock|hour|day|\bhh?\b|mm:ss|\b[ap]m\b", words + filled[-3:].lower()
        ):
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
        return minutes - minutes[~np.isnan(minutes)][:1]
    minutes = np.array([number(cell) for cell in times])
    stated = time_unit(heading)
    if stated is None:
        raise ReadingsError(
            f"{source}, column '{heading}'",
            "it does not say whether these times are seconds, minutes or hours",
            "write the heading as 'time [min]', 'time [s]' or 'time [h]'",
        )
    return convert(minutes, stated, "min")


def _check_commas(cells: list[str], where: str) -> None:
    """Refuse "1,234" beside plain whole numbers: it is 1234 to one reader and 1.234 to another."""
    shown = [cell for cell in cells if "," in cell and not np.isnan(number(cell))]
    plain = any(cell.isdigit() for cell in cells)
    if shown and plain and all(re.fullmatch(r"-?[1-9]\d{0,2},\d{3}", cell) for cell in shown):
        raise ReadingsError(
            where,
            f"'{shown[0]}' can mean thousands or decimals",
            "write the numbers without a comma between the thousands",
        )


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


def _flags(
    cells: list[str], minutes: NDArray[np.float64], temperature: NDArray[np.float64], kept: list[str]
) -> list[str]:
    flags = []
    latest = -np.inf
    for cell, minute, degrees, flag in zip(cells, minutes, temperature, kept, strict=True):
        if flag in FLAGS:  # the record was written by sagglab, or flagged by hand
            flags.append(flag)
        elif np.isnan(degrees):
            flags.append("open" if is_open_mark(cell) else "unreadable")
        elif np.isnan(minute):
            flags.append("unreadable")
        elif minute <= latest:
            flags.append("out of order")
        else:
            flags.append("")
            latest = minute
    return flags


def _check_range(table: pd.DataFrame, unit: str, source: str, lines: list[int]) -> None:
    counted = table.loc[table["flag"] == "", "temperature_C"]
    if len(counted) < 2:
        raise ReadingsError(
            source,
            f"{'only one' if len(counted) else 'none'} of its readings counts",
            "at least two are needed to measure a firing",
        )
    coldest, hottest = counted.idxmin(), counted.idxmax()
    if counted[coldest] < -273.15:
        raise ReadingsError(
            f"{source}, line {lines[coldest]}",
            f"{counted[coldest]:.0f} °C is below absolute zero",
            f"check the unit, which is stated as [{unit}]",
        )
    if counted[hottest] > HIGHEST_C:
        raise ReadingsError(
            f"{source}, line {lines[hottest]}",
            f"{counted[hottest]:.0f} °C is hotter than any kiln of this kind gets",
            f"check the unit, which is stated as [{unit}]; a record in °F wants [degF]",
        )
