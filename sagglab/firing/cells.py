"""Cells of a record, turned into numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import ReadingsError, UnitError
from sagglab.firing.clock import ClockTimes, is_clock
from sagglab.firing.dates import IsoDates, WrittenDates, is_date_time, is_iso
from sagglab.firing.headings import (
    WRITE_HEADINGS,
    Columns,
    is_made_up,
    is_open_mark,
    is_time,
    time_unit,
    value_of,
)
from sagglab.firing.layout import Layout
from sagglab.firing.thermocouple import temperature_from_mV
from sagglab.firing.times import CountedTimes, TimeReader, Times
from sagglab.units import convert, working_unit


@dataclass
class Cells:
    """The cells of a record as numbers.

    Attributes
    ----------
    lines : ndarray of int, shape (N,)
        The line that each row stands on.
    times : Times
    values : ndarray, shape (N,)
        Temperatures in whatever unit; not a number where a cell holds none.
    marks : ndarray of bool, shape (N,)
        Where an open sensor is marked.
    kept_flags : ndarray of str, shape (N,)
        What a column of flags says; empty without one.
    written : Seen
        Each different cell of temperatures.
    """

    lines: NDArray[np.int64]
    times: Times
    values: NDArray[np.float64]
    marks: NDArray[np.bool_]
    kept_flags: NDArray[np.object_]
    written: Seen

    @classmethod
    def read(cls, layout: Layout, columns: Columns) -> Cells:
        """Go through the whole record once."""
        heading = layout.head[columns.time]
        where = f"{layout.source}, column '{heading}'"
        reader = time_reader(layout.sample_times(columns), heading, where)
        seen = Seen()
        parts: list[tuple[NDArray, ...]] = []
        for lines, times, heats, flags in layout.blocks(columns):
            values = np.fromiter(map(seen.__getitem__, heats), float, len(heats))
            # Only where there is no number can there be a mark: most records hold few such cells.
            marks = np.isnan(values)
            marks[marks] = [is_open_mark(heats[k]) for k in np.flatnonzero(marks)]
            parts.append((lines, reader.read(times), values, marks, np.array(flags, dtype=object)))
        lines, numbers, values, marks, kept = (np.concatenate(part) for part in zip(*parts, strict=True))
        return cls(lines, reader.finish(numbers), values, marks, kept, seen).oldest_first()

    def unit(self, stated: str | None, where: str) -> str | None:
        """Give the unit that stands behind the numbers, when one does.

        Raises
        ------
        ReadingsError
            Some cells are in another unit than the others, or than the heading states.
        """
        units = self.written.units
        if not units:
            return None
        bare = any(not np.isnan(value) for cell, value in self.written.items() if cell not in units)
        others = set(units.values()) | ({stated or "no unit"} if stated or bare else set())
        if len(others) > 1:
            shown = next(cell for cell in units if units[cell] != stated)
            raise ReadingsError(
                where,
                f"'{shown}' among its cells is not in the unit of the others: {', '.join(sorted(others))}",
                "write all of them in the unit that the heading states",
            )
        return others.pop()

    def oldest_first(self) -> Cells:
        """Turn a record round that was written from its end to its start."""
        minutes = self.times.minutes
        steps = np.diff(minutes[~np.isnan(minutes)])
        if steps.size < 2 or (steps < 0).mean() < 0.8:
            return self
        return replace(
            self,
            lines=self.lines[::-1],
            times=self.times.turned(),
            values=self.values[::-1],
            marks=self.marks[::-1],
            kept_flags=self.kept_flags[::-1],
        )

    def check_commas(self, where: str) -> None:
        """Refuse "1,234" beside plain whole numbers: it is 1234 to one reader and 1.234 to another."""
        shown = [cell for cell, value in self.written.items() if "," in cell and not np.isnan(value)]
        if shown and all(re.fullmatch(r"-?[1-9]\d{0,2},\d{3}", cell) for cell in shown):
            if any(cell.isdigit() for cell in self.written):
                raise ReadingsError(
                    where,
                    f"'{shown[0]}' can mean thousands or decimals",
                    "write the numbers without a comma between the thousands",
                )


class Seen(dict[str, float]):
    """Temperatures read already: a long record shows the same few thousand again and again.

    Attributes
    ----------
    units : dict of str to str
        The unit of each cell in which one stands behind the number.
    """

    def __init__(self) -> None:
        self.units: dict[str, str] = {}

    def __missing__(self, cell: str) -> float:
        value, unit = value_of(cell)
        if unit is not None:
            self.units[cell] = unit
        self[cell] = value
        return value


def to_celsius(
    values: NDArray[np.float64],
    unit: str,
    thermocouple: str | None,
    cold_junction_C: float | None,
    source: str,
) -> NDArray[np.float64]:
    """Turn temperatures in any unit, or a thermocouple's voltages, into °C.

    Raises
    ------
    ReadingsError
        Voltages lack the thermocouple's type or its cold junction.
    UnitError
        The unit is none of temperature.
    """
    if unit.lower() == "mv":
        if thermocouple is None or cold_junction_C is None:
            raise ReadingsError(
                source,
                "it is in millivolts, which need the thermocouple's type and the cold junction's temperature",
                "give thermocouple='K' (or N, S, R) and cold_junction_C=; in a batch book, fill in the "
                "columns thermocouple and cold junction [degC] of firings",
            )
        return temperature_from_mV(values, thermocouple, cold_junction_C)
    if working_unit(unit) != "degC":
        raise UnitError(f"{source}: unit [{unit}]", "it is no temperature", "give degC, degF, K or mV")
    return convert(values, unit, "degC")


def least_step(
    values: NDArray[np.float64], unit: str, thermocouple: str | None, cold_junction_C: float | None
) -> float:
    """Find the least difference that a record can show, in °C, by the grid on which its numbers stand."""
    shown = np.unique(values[~np.isnan(values)])
    if not shown.size:
        return 0.0
    step = 0.0
    for grid in (10, 5, 2, 1, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001):
        on_grid = np.isclose(shown / grid, np.rint(shown / grid), rtol=0, atol=1e-6)
        # A dial is read to its marks; that a few readings are round tens says nothing.
        if grid > 1 and (shown.size < 10 or not on_grid.all()):
            continue
        # Somebody who reads half degrees now and then reads whole ones.
        if on_grid.mean() >= 0.75:
            step = grid
            break
    ends = np.median(shown) + np.array([0.0, step])
    return float(np.diff(to_celsius(ends, unit, thermocouple, cold_junction_C, ""))[0])


def time_reader(cells: list[str], heading: str, where: str) -> TimeReader:
    """Settle how a record writes its times.

    Parameters
    ----------
    cells : list of str
        Some of them, blanks left out.
    heading : str
        The heading of their column.
    where : str
        The file and column, for an error.

    Raises
    ------
    ReadingsError
        They are numbers, and the heading does not say of what.
    """
    first = next((cell for cell in cells if is_time(cell)), "")
    if is_clock(first):
        return ClockTimes(heading, first)
    if is_date_time(first):
        return IsoDates() if all(map(is_iso, filter(is_date_time, cells))) else WrittenDates(where, first)
    unit = time_unit(heading)
    if unit is None:
        raise ReadingsError(
            where,
            "it does not say whether these times are seconds, minutes or hours",
            WRITE_HEADINGS
            if is_made_up(heading)
            else "write the heading as 'time [min]', 'time [s]' or 'time [h]'",
        )
    return CountedTimes(unit)
