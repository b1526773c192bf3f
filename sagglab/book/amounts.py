"""Amounts that are written otherwise than the heading says: with a unit in the cell, or in another unit."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import pandas as pd

from sagglab.book.rows import also
from sagglab.delimited import number
from sagglab.errors import Problem, UnitError
from sagglab.units import Heading, convert

#: A number above which another unit than the heading's was hardly not meant: the unit in which the column is
#: kept, the most in it, and the other unit. From memory: foil melts at 660 °C, and saggars of it are fired to
#: 1000 °C at most (1832 °F); pots of a small kiln are lower than 60 cm.
_MOST = {
    ("firings", "target peak"): ("degC", 1100.0, "degF"),
    ("pots", "height"): ("cm", 60.0, "mm"),
    ("pots", "diameter"): ("cm", 60.0, "mm"),
}
_SHOWN = {"degC": "°C", "degF": "°F"}


def number_wanted(cell: str, unit: str | None) -> str:
    """Say what to write in place of a cell that is no number.

    Examples
    --------
    >>> number_wanted("4 g", "g")
    'write the number of g alone, as 4'
    >>> number_wanted("1 oz", "g")
    'write the number of g alone: 1 oz is 28.35'
    >>> number_wanted("1 tsp", "g")
    'convert it to g, and write the number alone'
    >>> number_wanted("lots", "g")
    'write a number, or leave it blank'
    """
    # Units are letters; a fraction or a range before them is no number either.
    parts = re.fullmatch(r"\s*([\d.,]*\d)\s*([^\W\d_]+|°\s?[CF])\.?\s*", cell)
    if not unit or parts is None or math.isnan(amount := number(parts[1])):
        return "write a number, or leave it blank"
    try:
        converted = float(convert(amount, parts[2], unit))
    except UnitError:
        return f"convert it to {unit}, and write the number alone"
    if math.isclose(converted, amount):
        return f"write the number of {unit} alone, as {parts[1]}"
    return f"write the number of {unit} alone: {cell.strip()} is {converted:.4g}"


def too_large(table: str, heading: Heading, values: pd.Series) -> Iterator[Problem]:
    """Yield a warning where numbers are so large that another unit may have been meant.

    Parameters
    ----------
    table : str
    heading : Heading
        As it is written; a number that stands under another unit than the usual one is believed.
    values : Series of float
        In the working unit, by row.
    """
    if heading.unit is None or (table, heading.name) not in _MOST:
        return
    kept, most, meant = _MOST[table, heading.name]
    try:
        if not math.isclose(convert(1.0, heading.unit, kept), 1.0):
            return
    except UnitError:  # a fault that is told already
        return
    rows = values.index[values > most]
    if len(rows):
        unit, other = (_SHOWN.get(name, name) for name in (kept, meant))
        yield Problem(
            table,
            int(rows[0]),
            str(heading),
            f"it is {values[rows[0]]:g} {unit}{also(rows)}",
            f"if {other} was meant, write the heading as {heading.name} [{meant}]",
            stops=False,
        )
