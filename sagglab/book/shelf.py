"""The shelf checked: each material there once, spoons and packets that hold something, one currency."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from sagglab.errors import Problem
from sagglab.materials import find_material


def check_shelf(shelf: pd.DataFrame) -> Iterator[Problem]:
    """Yield every fault of the shelf that shows only when its rows and columns are seen together.

    Parameters
    ----------
    shelf : DataFrame
        The book's table ``shelf``, typed.
    """
    first_rows: dict[str, int] = {}
    for row, name in shelf["material"].items():
        if name == "":
            yield Problem("shelf", row, "material", "it is blank", "give each row its material")
            continue
        material = find_material(name)
        # Two names for one material would count its stock twice, or once, by chance.
        key = name.lower() if material is None else material.name
        first = first_rows.setdefault(key, row)
        if first != row:
            cause = f"'{name}' is there already, as '{shelf['material'][first]}' in row {first}"
            yield Problem("shelf", row, "material", cause, "keep one row for each material")
    for heading in ("spoon [g]", "packet [g]"):
        for row in shelf.index[shelf[heading] == 0]:
            cause = f"a {heading.removesuffix(' [g]')} that holds nothing measures nothing"
            yield Problem("shelf", row, heading, cause, "weigh it, or leave it blank")
    for row in shelf.index[shelf["price"].notna() & shelf["packet [g]"].isna()]:
        yield Problem(
            "shelf",
            row,
            "packet [g]",
            "it is blank, so that the price tells no cost",
            "say how much a packet holds",
            stops=False,
        )
    currencies = sorted(set(shelf["currency"]) - {""})
    if len(currencies) > 1:
        cause = f"{', '.join(currencies)} cannot be added up"
        yield Problem("shelf", None, "currency", cause, "give all prices in one currency")
