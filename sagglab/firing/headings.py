"""Headings of a record, in any language: which column is what, and in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from sagglab.delimited import number
from sagglab.errors import ReadingsError, UnitError
from sagglab.firing.clock import is_clock
from sagglab.firing.dates import is_date, is_date_time
from sagglab.units import convert, parse_heading

_OPEN_MARKS = re.compile(
    r"|[-\u2013\u2014_*#?]+|(t/?c |sensor |probe )?(open|fault|fail|break|burn ?out|short)\w*|o\.?l\.?"
    r"|err(or)?|nan|n/?a|#n/a|null|none|inf|no (probe|sensor)",
    re.IGNORECASE,
)
_UNIT = r"deg\.? ?[CFK]|°\s?[CF]|[CFK]|mV|celsius|centigrade|fahrenheit|kelvin"
# In a few languages; any other states its unit in brackets.
_TIME_WORDS = {
    "s": "s|secs?|se[ck]ond[esn]*|sekund(?:e|en|er|y)|segundos?|secondi",
    "min": "mins?|minut(?:e|es|en|er|i|os?|y)?",
    "h": "h|hrs?|hours?|heures?|stunden?|horas?|ore|timer",
}
_NUMBER_WITH_UNIT = re.compile(rf"([-+\u2212]?[\d.,]+)\s*({_UNIT})", re.IGNORECASE)


def is_time(cell: str) -> bool:
    """Whether a cell can be a time: a number, a clock time, or a date and time."""
    return is_clock(cell) or is_date_time(cell) or not np.isnan(number(cell))


def is_temperature(cell: str) -> bool:
    """Whether a cell can be a temperature: a number, its unit behind it or not, or an open sensor's mark."""
    return not np.isnan(value_of(cell)[0]) or is_open_mark(cell)


def is_open_mark(cell: str) -> bool:
    """Whether a cell is what instruments write for an open sensor; a blank cell is one."""
    return _OPEN_MARKS.fullmatch(cell) is not None


def value_of(cell: str) -> tuple[float, str | None]:
    """Read a temperature, and the unit where it stands behind the number.

    Examples
    --------
    >>> value_of("750,5"), value_of("1382 °F"), value_of("hot")
    ((750.5, None), (1382.0, 'degF'), (nan, None))
    """
    value = number(cell)
    if np.isnan(value) and (found := _NUMBER_WITH_UNIT.fullmatch(cell)):
        return number(found[1]), _unit_name(found[2])
    return value, None


def temperature_C(text: str) -> float:
    """Read a temperature that is stated with its unit, in °C.

    Raises
    ------
    ReadingsError
        It is no temperature, or has no unit.

    Examples
    --------
    >>> temperature_C("750 degC"), round(temperature_C("1382 °F"), 6)
    (750.0, 750.0)
    """
    value, unit = value_of(text.strip())
    if unit is None or unit.lower() == "mv" or np.isnan(value):
        cause = f"'{text}' is no temperature with its unit"
        raise ReadingsError("target", cause, 'write the number and its unit, such as "750 degC"')
    return float(convert(value, unit, "degC"))


def time_unit(heading: str) -> str | None:
    """Find the unit of time in a heading: in brackets, or as a word.

    Examples
    --------
    >>> time_unit("time [s]"), time_unit("minutes"), time_unit("clock")
    ('s', 'min', None)
    """
    for unit, words in _TIME_WORDS.items():
        if re.search(rf"(?:^|[\W_])(?:{words})(?:$|[\W_])", heading.lower()):
            return unit
    return None


def stated_unit(heading: str) -> str | None:
    """Find the unit of temperature in a heading: in brackets, as a word, or at its end.

    Examples
    --------
    >>> stated_unit("Temperatur [°C]"), stated_unit("T (degF) left"), stated_unit("sensor C")
    ('degC', 'degF', None)
    """
    heading = _plain(heading)
    found = re.search(rf"[\[(]\s*(?:grad )?({_UNIT})\s*[\])]", heading, re.IGNORECASE)
    if found is None:
        words = r"(\b(?:celsius|centigrade|fahrenheit|kelvin)\b|°\s?[cf]\b|\bdeg\.? ?[cfk]\b)"
        found = re.search(words, heading, re.IGNORECASE)
    if found is not None:
        return _unit_name(found[1])
    found = re.search(r"([_ ]|^)([CFK]|mV)$", heading.strip())
    if found is None:
        return None
    # "sensor C" is the third sensor; "temp C" is a unit.
    if found[2] != "mV" and found[1].strip() == "" and "temp" not in heading.lower():
        return None
    return _unit_name(found[2])


def _plain(heading: str) -> str:
    """Write the degree sign in one way: keyboards offer several that look alike."""
    return re.sub(r"[\u00ba\u02da]", "°", heading.replace("\u2103", "°C").replace("\u2109", "°F"))


def _without_unit(heading: str) -> str:
    return re.sub(rf"\s*[\[(]?\s*({_UNIT})\s*[\])]?$", "", _plain(heading), flags=re.IGNORECASE)


def is_unit_alone(cell: str) -> bool:
    """Whether a cell is a unit of time or temperature and nothing else, as on a line under the names."""
    return re.fullmatch(rf"[\[(]?\s*({_UNIT}|s|sec|min|h|h?h:mm(:ss)?|mm:ss)\s*[\])]?", cell) is not None


def _unit_name(text: str) -> str:
    return {"c": "degC", "f": "degF", "k": "K", "m": "mV"}[re.sub(r"deg|[\W\s]", "", text.lower())[0]]


#: What to do about a record without headings.
WRITE_HEADINGS = "write headings on a line above the readings, as 'time [min],temperature [degC]'"


def is_made_up(heading: str) -> bool:
    """Whether a heading only counts a column that has none."""
    return re.fullmatch(r"column \d+", heading) is not None


def unit_of(heading: str, source: str) -> str:
    """Give the unit that a heading of temperatures states.

    Raises
    ------
    UnitError
        It states one that is none of temperature.
    ReadingsError
        It states none.
    """
    unit = stated_unit(heading)
    if unit is not None:
        return unit
    remedy = "write the heading as 'temperature [degC]' or 'temperature [degF]'"
    if is_made_up(heading):
        remedy = WRITE_HEADINGS
    odd = parse_heading(heading).unit
    if odd:
        raise UnitError(f"{source}, column '{heading}'", f"[{odd}] is no unit of temperature", remedy)
    raise ReadingsError(f"{source}, column '{heading}'", "no unit is stated, and none is guessed", remedy)


@dataclass(frozen=True)
class Columns:
    """Which column of a record is what, by position.

    Attributes
    ----------
    time, heat : int
    date : int or None
        A column of dates beside that of clock times.
    flag : int or None
    """

    time: int
    heat: int
    date: int | None
    flag: int | None


def choose_columns(head: list[str], sample: list[list[str]], column: str | None, source: str) -> Columns:
    """Settle which column is the time and which the temperature.

    Parameters
    ----------
    head : list of str
        The headings.
    sample : list of list of str
        Some rows under them.
    column : str or None
        Heading of the temperature column, where it was named.
    source : str
        What to call the record in an error.

    Raises
    ------
    ReadingsError
        No column, or more than one, holds temperatures, or none is called as asked.
    """
    cells = {
        k: [row[k].strip() for row in sample if k < len(row) and row[k].strip()] for k in range(len(head))
    }
    time = _time_column(head, cells)
    clock = any(map(is_clock, cells[time]))
    date = next((k for k in cells if clock and cells[k] and all(map(is_date, cells[k]))), None)
    flag = head.index("flag") if "flag" in head else None
    others = [k for k in cells if k not in (time, date, flag)]
    if column is not None:
        named = [
            k for k in others if column in (head[k], parse_heading(head[k]).name, _without_unit(head[k]))
        ]
        if len(named) != 1:
            raise ReadingsError(
                source,
                f"no single column is called '{column}'",
                f"give one of {', '.join(head[k] for k in others)}",
            )
        return Columns(time, named[0], date, flag)
    heats = [k for k in others if stated_unit(head[k]) is not None]
    if not heats:
        heats = [k for k in others if any(value_of(cell)[1] for cell in cells[k])]
    if not heats:
        heats = [k for k in others if any(not np.isnan(number(cell)) for cell in cells[k])]
        # Blank throughout the sample: an open sensor, when it is the only column left.
        heats = heats or (others if len(others) == 1 else [])
    if len(heats) > 1:
        raise ReadingsError(
            source,
            f"it has several temperature columns: {', '.join(head[k] for k in heats)}",
            "name the one that you mean: column= in Python, the column channel of firings in a batch book",
        )
    if not heats:
        raise ReadingsError(
            source,
            f"none of its columns ({', '.join(head)}) holds temperatures",
            "write one heading as 'temperature [degC]'",
        )
    return Columns(time, heats[0], date, flag)


def _time_column(head: list[str], cells: dict[int, list[str]]) -> int:
    """Settle the time column: a clock or a date, else the one that states a unit of time, else the first."""
    for position in cells:
        if any(":" in cell and is_time(cell) for cell in cells[position]):
            return position
    for position in cells:
        if time_unit(head[position]) is not None and any(map(is_time, cells[position])):
            return position
    return 0
