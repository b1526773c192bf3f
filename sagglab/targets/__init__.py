"""Colour targets: the reference values of a grid of known patches."""

from __future__ import annotations

import math
import os
import re
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.delimited import delimiter_of, number, read_text, split_rows
from sagglab.errors import MissingFileError, TargetError, UnitError
from sagglab.units import convert, parse_heading

BUILT_IN = files("sagglab.targets")

NUMBERS = ["row", "column", "L*", "a*", "b*"]

#: What the values must hold for, as it may be written.
CONDITIONS = {"illuminant": "D50", "observer": r"2(\.0)? ?(°|deg|degrees?)?"}


@dataclass(frozen=True)
class Target:
    """A colour target's reference values.

    Attributes
    ----------
    name : str
        The built-in name or the table's file name.
    lab : ndarray, shape (rows, columns, 3)
        L*, a*, b* of each patch under D50, 2° observer; row 1, column 1 first.
    patches : tuple of str
        A name for each patch, row by row.
    stated : bool
        Whether the table states its illuminant and observer; D50 and 2° are taken where it does not.
    pitch_mm : float
        From the middle of one patch to that of the next, along a row; NaN where the table does not tell.
    """

    name: str
    lab: NDArray[np.float64]
    patches: tuple[str, ...]
    stated: bool = True
    pitch_mm: float = math.nan

    @property
    def rows(self) -> int:
        """The number of rows of patches."""
        return self.lab.shape[0]

    @property
    def columns(self) -> int:
        """The number of columns of patches."""
        return self.lab.shape[1]


def built_in_targets() -> tuple[str, ...]:
    """Names of the reference tables that come with sagglab.

    Examples
    --------
    >>> built_in_targets()
    ('24-patch-before-2014-11', '24-patch-from-2014-11')
    """
    return tuple(
        sorted(entry.name.removesuffix(".csv") for entry in BUILT_IN.iterdir() if entry.name.endswith(".csv"))
    )


def read_target(target: str | os.PathLike[str] | Target) -> Target:
    """Read a target's reference table.

    Parameters
    ----------
    target : str or path
        A built-in name, or the path to a CSV table with the columns ``row``, ``column``, ``L*``, ``a*``,
        ``b*``, and, where stated, ``illuminant``, ``observer``, ``patch`` (a name) and ``patch pitch`` in
        a unit of length, as ``patch pitch [mm]``. A target that is already read is returned as it is.

    Returns
    -------
    Target

    Raises
    ------
    MissingFileError
        No such table, nor a built-in target of that name.
    FileFormatError
        The file is no text table.
    TargetError
        The table is not a whole grid of CIELAB values under D50 and the 2° observer.

    Examples
    --------
    >>> read_target("24-patch-from-2014-11").lab[3, 5]
    array([20.64,  0.07, -0.46])
    """
    if isinstance(target, Target):
        return target
    where = f"target '{target}'"
    if str(target) in built_in_targets():
        path = BUILT_IN / f"{target}.csv"
    elif Path(target).is_file():
        path = Path(target)
    else:
        raise MissingFileError(
            where,
            "there is no such table, and no built-in target of that name",
            f"give the path to a table, or one of {', '.join(built_in_targets())}",
        )
    text = read_text(path)
    head, *rows = split_rows(text, delimiter_of(text.partition("\n")[0]) or ",") or [[]]
    twice = sorted({heading for heading in head if heading and head.count(heading) > 1})
    if twice:
        raise TargetError(where, f"the column {', '.join(twice)} is there twice", "keep one")
    filled = {line: row for line, row in enumerate(rows, start=2) if any(row)}
    table = pd.DataFrame.from_dict(
        {line: [*row, *[""] * len(head)][: len(head)] for line, row in filled.items()},
        orient="index",
        columns=head,
        dtype="str",
    )
    return _checked(table, where, Path(target).stem)


def _checked(table: pd.DataFrame, where: str, name: str) -> Target:
    """Make a target of a table of text whose index is the row as a spreadsheet numbers it."""
    missing = [column for column in NUMBERS if column not in table]
    if missing:
        raise TargetError(
            where, f"the column {', '.join(missing)} is missing", f"its columns are {', '.join(NUMBERS)}"
        )
    numbers = table[NUMBERS].map(number)
    if numbers.isna().any(axis=None):
        row, column = np.argwhere(numbers.isna().to_numpy())[0]
        place = f"row {numbers.index[row]}, column '{NUMBERS[column]}'"
        raise TargetError(where, f"{place}, is no number", "fill it in")
    for column, wanted in CONDITIONS.items():
        stated = sorted(set(table[column])) if column in table else []
        if not all(re.fullmatch(wanted, value) for value in stated if value):
            raise TargetError(
                where,
                f"its {column} is {', '.join(stated)}",
                "give the values under D50 for the 2° observer; under another they describe other colours",
            )
    numbers = numbers.sort_values(["row", "column"])
    shape = numbers["row"].nunique(), numbers["column"].nunique()
    whole = len(numbers) == shape[0] * shape[1] and not numbers.duplicated(["row", "column"]).any()
    if not whole or min(shape) < 2:
        raise TargetError(
            where,
            f"{len(numbers)} patches do not fill a grid of {shape[0]} rows by {shape[1]} columns",
            "give each patch of the grid once, in at least two rows and two columns",
        )
    if "patch" in table:
        patches = tuple(table.loc[numbers.index, "patch"])
    else:
        places = zip(numbers["row"], numbers["column"], strict=True)
        patches = tuple(f"row {row:g}, column {column:g}" for row, column in places)
    return Target(
        name=name,
        lab=numbers[["L*", "a*", "b*"]].to_numpy().reshape(*shape, 3),
        patches=patches,
        stated=all(column in table and (table[column] != "").all() for column in CONDITIONS),
        pitch_mm=_pitch_mm(table, where),
    )


def _pitch_mm(table: pd.DataFrame, where: str) -> float:
    """How far apart the patches lie, from the column that tells it; every row tells the same, or is blank."""
    headings = [heading for heading in table if parse_heading(str(heading)).name == "patch pitch"]
    told = {cell for heading in headings for cell in table[heading] if cell}
    if not told:
        return math.nan
    remedy = "write how far apart the middles of neighbouring patches lie, as 13 under 'patch pitch [mm]'"
    unit = parse_heading(str(headings[0])).unit
    pitch = number(told.pop())
    if told or len(headings) > 1 or not (pitch is not None and 0 < pitch < math.inf) or unit is None:
        raise TargetError(where, "its patch pitch is not one length with a unit", remedy)
    try:
        return float(convert(pitch, unit, "mm"))
    except UnitError as error:
        raise TargetError(where, f"its patch pitch has no unit of length: {error.cause}", remedy) from error
