"""What a declared column is, and tables laid out by them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Column:
    """One declared column.

    Attributes
    ----------
    name : str
        The name without its unit.
    kind : str
        ``text``, ``number``, ``date`` or ``flag`` (true or false).
    meaning : str
        One phrase.
    unit : str
        The working unit, empty when it has none.
    required : bool
        True when the table is of no use without it.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    required: bool = False

    @property
    def heading(self) -> str:
        """The name, with its unit in brackets where it has one."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


_DTYPES = {"text": "str", "number": "float64", "date": "datetime64[us]", "flag": "bool"}
_BLANKS = {"text": "", "number": float("nan"), "date": pd.NaT, "flag": False}


def empty(columns: tuple[Column, ...]) -> pd.DataFrame:
    """Make an empty, correctly typed table.

    Examples
    --------
    >>> table = empty((Column("minutes", "number", "time"), Column("flag", "text", "what is wrong")))
    >>> table.dtypes.astype(str).tolist()
    ['float64', 'str']
    """
    return pd.DataFrame({column.heading: pd.Series(dtype=_DTYPES[column.kind]) for column in columns})


def conform(rows: list[dict[str, object]], columns: tuple[Column, ...]) -> pd.DataFrame:
    """Lay rows out in the declared columns, order and types; what a row lacks is left blank."""
    # Kind by kind: typed column by column, one row of the measures took as long as decoding a photograph.
    parts = []
    for kind, dtype in _DTYPES.items():
        names = [column.heading for column in columns if column.kind == kind]
        cells = [[row.get(name, _BLANKS[kind]) for name in names] for row in rows]
        part = pd.DataFrame(cells, columns=names, dtype="float64" if kind == "number" else object)
        if kind in ("text", "flag"):
            part = part.mask(part.isna(), _BLANKS[kind])
        parts.append(part.astype(dtype))
    return pd.concat(parts, axis=1)[[column.heading for column in columns]].copy()
