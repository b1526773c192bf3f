"""Rows that share one fault, so that it is told once."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

_NAMED = 6


def also(rows: Sequence[int] | pd.Index) -> str:
    """Name the rows that share a fault with the first of them; empty where it is the only one.

    Examples
    --------
    >>> also([2]), also([2, 3]), also([2, 3, 4, 7])
    ('', ', also in row 3', ', also in rows 3, 4 and 7')
    >>> also(range(2, 20))
    ', also in rows 3, 4, 5, 6, 7, 8 and 11 more'
    """
    others = [str(row) for row in rows[1:]]
    if len(others) < 2:
        return "".join(f", also in row {row}" for row in others)
    last = others[-1] if len(others) <= _NAMED else f"{len(others) - _NAMED} more"
    named = others[:-1] if len(others) <= _NAMED else others[:_NAMED]
    return f", also in rows {', '.join(named)} and {last}"
