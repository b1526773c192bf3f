"""Colour targets: the reference values of a grid of known patches."""

from __future__ import annotations

import os
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import MissingFileError, TargetError

BUILT_IN = files("sagglab.targets")


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
    """

    name: str
    lab: NDArray[np.float64]
    patches: tuple[str, ...]

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
        ``b*``, and, where stated, ``illuminant``, ``observer`` and ``patch`` (a name). A target that is
        already read is returned as it is.

    Returns
    -------
    Target

    Raises
    ------
    MissingFileError
        No such table, nor a built-in target of that name.
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
        table = pd.read_csv(BUILT_IN / f"{target}.csv")
    elif not Path(target).is_file():
        raise MissingFileError(
            where,
            "there is no such table, and no built-in target of that name",
            f"give the path to a table, or one of {', '.join(built_in_targets())}",
        )
    else:
        try:
            table = pd.read_csv(target, sep=None, engine="python", encoding="utf-8-sig")
        except (ValueError, OSError) as error:
            raise TargetError(where, f"it cannot be read as a table ({error})", "save it as CSV") from error
    return _check(table.rename(columns=lambda name: str(name).strip()), where, Path(target).stem)


def _check(table: pd.DataFrame, where: str, name: str) -> Target:
    columns = ["row", "column", "L*", "a*", "b*"]
    missing = [column for column in columns if column not in table]
    if missing:
        raise TargetError(
            where, f"the column {', '.join(missing)} is missing", f"its columns are {', '.join(columns)}"
        )
    numbers = table[columns].apply(pd.to_numeric, errors="coerce")
    if numbers.isna().any(axis=None):
        row, column = np.argwhere(numbers.isna().to_numpy())[0]
        raise TargetError(where, f"row {row + 2}, {columns[column]}, is not a number", "fill it in")
    for column, wanted in {"illuminant": ("D50",), "observer": ("2", "2°", "2 deg", "2.0")}.items():
        stated = table[column].astype(str).str.strip() if column in table else pd.Series(dtype=str)
        if not stated.isin(wanted).all():
            raise TargetError(
                where,
                f"its {column} is {', '.join(sorted(set(stated)))}",
                f"give the values for {wanted[0]}; values under another {column} describe other colours",
            )
    table = table.assign(**numbers).sort_values(["row", "column"])
    shape = table["row"].nunique(), table["column"].nunique()
    whole = len(table) == shape[0] * shape[1] and not table.duplicated(["row", "column"]).any()
    if not whole or min(shape) < 2:
        raise TargetError(
            where,
            f"{len(table)} patches do not fill a grid of {shape[0]} rows by {shape[1]} columns",
            "give each patch of the grid once, in at least two rows and two columns",
        )
    if "patch" in table:
        patches = tuple(table["patch"].astype(str))
    else:
        patches = tuple(
            f"row {row:g}, column {column:g}"
            for row, column in zip(table["row"], table["column"], strict=True)
        )
    return Target(name, table[["L*", "a*", "b*"]].to_numpy().reshape(*shape, 3), patches)
