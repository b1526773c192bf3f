"""Treated: pots as they came out, and pots to which something was done since, told apart by their views."""

from __future__ import annotations

import pandas as pd

from sagglab.errors import UnknownNameError

#: What was done to the pot that a view shows; measures of old lack the column.
AFTER = "after"


def treatments(measures: pd.DataFrame) -> pd.Series:
    """Tell what was done to the pot of each view since it was unpacked; blank as it came out.

    Examples
    --------
    >>> treatments(pd.DataFrame({"pot": ["p01", "p02"], "after": ["Wax", None]})).tolist()
    ['wax', '']
    >>> treatments(pd.DataFrame({"pot": ["p01"]})).tolist()
    ['']
    """
    if AFTER not in measures:
        return pd.Series("", index=measures.index, dtype="str")
    # Blank when read back; "Wax" and "wax" are the same to whoever writes them.
    return measures[AFTER].astype(object).fillna("").astype(str).str.strip().str.casefold()


def views_after(measures: pd.DataFrame, after: str = "") -> pd.DataFrame:
    """Take the views of pots to which this was done, and nothing else.

    Parameters
    ----------
    measures : DataFrame
        One row per view, or the book's table ``photos``.
    after : str
        As the table ``photos`` names it, such as ``wax``; blank for pots as they came out.

    Raises
    ------
    UnknownNameError
        No photograph shows a pot after that.
    """
    done, wanted = treatments(measures), after.strip().casefold()
    if wanted and not (done == wanted).any():
        there = ", ".join(f"'{name}'" for name in dict.fromkeys(done) if name)
        raise UnknownNameError(
            f"after '{after}'",
            f"photographs show pots after {there}" if there else "all photographs show pots as they came out",
            f"{'name one of these, or ' if there else ''}write '{after}' under after in the table photos",
        )
    return measures[done == wanted]


def sides(measures: pd.DataFrame) -> pd.Series:
    """Name what each view shows so that only like is compared with like: ``front``, ``front after wax``.

    Examples
    --------
    >>> sides(pd.DataFrame({"view": ["front", "front"], "after": ["", "wax"]})).tolist()
    ['front', 'front after wax']
    """
    view, done = measures["view"].astype(object).fillna("").astype(str), treatments(measures)
    return view.where(done == "", (view + " after " + done).str.strip())
