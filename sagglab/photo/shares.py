"""Shares: kinds of colour, by bounds in lightness, chroma and hue, whose part of the surface is told.

Those of `shares.csv` are built in; their bounds are this project's choice. A table of the same columns adds
to them.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import lab_to_lch
from sagglab.columns import MEASURES
from sagglab.delimited import delimiter_of, number, read_text, split_rows
from sagglab.errors import BookError, Problem, Problems

BUILT_IN = files("sagglab.photo") / "shares.csv"

BOUNDS = ("L* from", "L* to", "C*ab from", "C*ab to", "hue from", "hue to")
#: The coordinates that are bounded, with the least and the greatest that a bound may be.
BOUNDED = {"L*": (0.0, 100.0), "C*ab": (0.0, np.inf), "hue": (0.0, 360.0)}


@dataclass(frozen=True)
class Share:
    """A kind of colour; bounds are (from, to), and `to` itself lies outside.

    Attributes
    ----------
    name : str
        The measure's name, as ``dark share``.
    lightness, chroma : tuple of float
        Bounds in L* and C*ab; without end where there is none.
    hue : tuple of float or None
        Bounds of the hue angle in degrees, counted upwards: from 340 to 20 goes through 0.
    meaning : str
    """

    name: str
    lightness: tuple[float, float] = (-np.inf, np.inf)
    chroma: tuple[float, float] = (-np.inf, np.inf)
    hue: tuple[float, float] | None = None
    meaning: str = ""

    def inside(self, lab: ArrayLike) -> NDArray[np.bool_]:
        """Tell which colours, shape (..., 3), are of this kind.

        Examples
        --------
        >>> Share("pink", hue=(340, 20)).inside([[50, 30, 0], [50, 0, 30]])
        array([ True, False])
        """
        return self.holds(lab_to_lch(lab))

    def holds(self, lch: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell the same of L*, C*ab and hue angle, for many shares of the same colours."""
        held = np.ones(lch.shape[:-1], dtype=bool)
        for bounds, values in ((self.lightness, lch[..., 0]), (self.chroma, lch[..., 1])):
            # Two comparisons for each bound that is none would be a third of the time.
            if bounds != (-np.inf, np.inf):
                held &= (values >= bounds[0]) & (values < bounds[1])
        if self.hue is not None:
            least, end = self.hue
            held &= (lch[..., 2] - least) % 360 < ((end - least) % 360 or 360)
        return held


def read_shares(table: pd.DataFrame | str | os.PathLike[str] | None = None) -> tuple[Share, ...]:
    """Read a table of shares, which adds to those built in and replaces those of the same name.

    Parameters
    ----------
    table : DataFrame or path, optional
        With the columns ``share``, ``L* from``, ``L* to``, ``C*ab from``, ``C*ab to``, ``hue from`` and
        ``hue to`` (degrees); one that is missing bounds nothing, nor does a blank (NaN in a DataFrame, whose
        index is the row as a spreadsheet numbers it). A column ``meaning`` may say what each is for.

    Returns
    -------
    tuple of Share
        Those built in first, in the order of their table.

    Raises
    ------
    MissingFileError, FileFormatError
        There is no such file, or it is no text table.
    BookError
        The table has faults; all are listed.

    Examples
    --------
    >>> [share.name for share in read_shares()]
    ['dark share', 'red-orange share', 'pale share', 'grey share']
    """
    with BUILT_IN.open(encoding="utf-8") as stream:
        built_in = _shares(pd.read_csv(stream), "built-in shares", ())
    if table is None:
        return built_in
    if isinstance(table, pd.DataFrame):
        where = "shares"
    else:
        where, table = str(table), _read_table(Path(table))
    known = {share.name for share in built_in}
    taken = {column.heading for column in MEASURES} - known
    own = _shares(table, where, taken)
    joined = {share.name: share for share in (*built_in, *own)}
    return tuple(joined.values())


def _read_table(path: Path) -> pd.DataFrame:
    """Read a text table; a cell that is no number where one belongs stays as it is, to be told of."""
    text = read_text(path)
    head, *rows = split_rows(text, delimiter_of(text.partition("\n")[0]) or ",") or [[]]
    filled = {line: row for line, row in enumerate(rows, start=2) if any(row)}
    cells = {line: [*row, *[""] * len(head)][: len(head)] for line, row in filled.items()}
    table = pd.DataFrame.from_dict(cells, orient="index", columns=head, dtype=object)
    return table.loc[:, [bool(heading) for heading in head]]


def _bound(value: object) -> float:
    """Read a bound; NaN for none. Raises ValueError of what is no number."""
    if value is None or (isinstance(value, str) and not value.strip()):
        return np.nan
    if not isinstance(value, str):
        return float(value)
    read = number(value)
    if not np.isfinite(read):
        raise ValueError(value)
    return read


def _shares(table: pd.DataFrame, where: str, taken: Iterable[str]) -> tuple[Share, ...]:
    """Make shares of a table, or raise with all its faults."""
    faults: list[Problem] = []

    def fault(row: int | None, column: str, cause: str, remedy: str) -> None:
        faults.append(Problem("shares", row, column, cause, remedy))

    twice = sorted({str(heading) for heading in table.columns[table.columns.duplicated()]})
    for heading in twice:
        fault(None, heading, "the column is there twice", "keep one")
    if "share" not in table:
        fault(None, "share", "the column is missing", f"its columns are share, {', '.join(BOUNDS)}")
    for heading in table.columns:
        if heading not in ("share", *BOUNDS, "meaning"):
            fault(None, str(heading), "no such column is known", f"the bounds are {', '.join(BOUNDS)}")
    if faults:
        raise BookError.from_problems(where, Problems(faults))
    shares: dict[str, Share] = {}
    for row, values in zip(table.index, table.to_dict("records"), strict=True):
        name = "" if pd.isna(values["share"]) else str(values["share"]).strip()
        if not name:
            fault(row, "share", "it has no name", "name it, as in 'red share'")
        elif name in shares:
            fault(row, "share", f"'{name}' is there twice", "give each its own name")
        elif name in taken:
            fault(row, "share", f"'{name}' is the name of another measure", "name it otherwise")
        bounds = {}
        for heading in BOUNDS:
            try:
                bounds[heading] = _bound(values.get(heading))
            except (TypeError, ValueError):
                fault(row, heading, f"'{values[heading]}' is no number", "write a number, or leave it blank")
                bounds[heading] = np.nan
                continue
            least, most = BOUNDED[heading.split()[0]]
            if bounds[heading] < least or bounds[heading] > most:
                told = f"{least:g} to {most:g}" if np.isfinite(most) else f"{least:g} upwards"
                fault(row, heading, f"{bounds[heading]:g} is out of bounds", f"write a number from {told}")
        _check_order(bounds, row, fault)
        low, high, dull, strong, first, last = bounds.values()
        hue = None if np.isnan(first) and np.isnan(last) else (_or(first, 0.0), _or(last, 360.0))
        meaning = values.get("meaning")
        shares[name] = Share(
            name,
            (_or(low, -np.inf), _or(high, np.inf)),
            (_or(dull, -np.inf), _or(strong, np.inf)),
            hue,
            "" if pd.isna(meaning) else str(meaning),
        )
    if faults:
        raise BookError.from_problems(where, Problems(faults))
    return tuple(shares.values())


def _check_order(bounds: dict[str, float], row: int, fault: object) -> None:
    """Tell of bounds that hold nothing, or everything."""
    for name in BOUNDED:
        least, end = bounds[f"{name} from"], bounds[f"{name} to"]
        # Hues go round: only there may the end be the smaller.
        if least == end or (name != "hue" and least > end):
            cause = f"it reaches from {least:g} to {end:g}, which holds no colour"
            fault(row, f"{name} to", cause, "write the smaller number under 'from'")
    if np.isnan(list(bounds.values())).all():
        fault(row, "", "it has no bounds, so that all colours are of this kind", "write at least one bound")


def _or(value: float, otherwise: float) -> float:
    return otherwise if np.isnan(value) else value
