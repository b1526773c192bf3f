"""A fresh batch book: tables without rows, or with the rows of somebody's notes, that explain their columns.

As a workbook every heading carries a note, cells offer what is known, and a sheet ``columns`` explains all;
as text tables the explanations are a table of their own. A value that is not among those offered is never
refused: it is asked about where the book would list it as a fault, and taken where any word will do.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from sagglab.book.tables import WORKBOOK
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES, STATES, THERMOCOUPLES, Column
from sagglab.targets import built_in_targets
from sagglab.units import parse_heading
from sagglab.workbook import Rows

#: The sheet, or text table, that explains the columns of all others.
EXPLANATIONS = "columns"

#: Where a fresh book has its own table of reference values, to be edited.
OWN_TARGET = "targets/own-target.csv"

EXPLAINED = ("table", "column", "unit", "must be there", "meaning", "example", "known values")

ANY = "one of the usual materials: rename or delete the column, and add any material as 'name [unit]'"


@dataclass(frozen=True)
class Offer:
    """What cells of a column offer: values, or the names of another table's rows.

    ``asks`` tells whether anything else is asked about; it is where the book would list it as a fault.
    """

    values: tuple[str, ...] = ()
    table: str = ""
    asks: bool = True


#: What a fresh table of pots has beside its declared columns, after the clay.
MATERIALS = (
    Column("slip", "number", "coats of slip", unit="coats"),
    Column("ferric chloride", "number", "coats of ferric chloride", unit="coats"),
    *(
        Column(name, "number", f"{name} on, in or around the pot; blank is none", unit="g")
        for name in ("sugar", "table salt", "copper sulphate", "sawdust", "seaweed")
    ),
    Column("copper wire", "number", "copper wire wound around the pot", unit="cm"),
)

#: Told of the columns that users add, where all columns are explained.
_ADDED = ["pots", "name [unit]", "any", "no", "add a column for each other material", "iron sulphate [g]", ""]

OFFERS: dict[tuple[str, str], Offer] = {
    ("pots", "firing"): Offer(table="firings"),
    ("pots", "rating"): Offer(("1", "2", "3", "4", "5")),
    ("pots", "state"): Offer(STATES),
    ("firings", "fuel"): Offer(("propane", "natural gas", "wood"), asks=False),
    ("firings", "wind"): Offer(("calm", "breezy", "gusty"), asks=False),
    ("firings", "thermocouple"): Offer(THERMOCOUPLES),
    ("firings", "sensor class"): Offer(("1", "2", "special", "standard")),
    ("photos", "pot"): Offer(table="pots"),
    ("photos", "view"): Offer(("front", "back", "90°", "180°", "270°"), asks=False),
    ("photos", "after"): Offer(("wax",), asks=False),
    ("photos", "setup"): Offer(table="setups"),
    ("setups", "target"): Offer((*built_in_targets(), OWN_TARGET)),
}

EXAMPLES: dict[str, dict[str, str]] = {
    "pots": {
        "pot": "p01",
        "firing": "f1",
        "clay": "smooth white",
        "slip": "2",
        "ferric chloride": "1",
        "sugar": "4",
        "table salt": "2.5",
        "copper sulphate": "0.5",
        "sawdust": "30",
        "seaweed": "12",
        "copper wire": "60",
        "height": "12.5",
        "diameter": "9",
        "place": "lower left",
        "rating": "4",
        "state": "whole",
        "plan": "next batch",
        "notes": "a chip at the rim",
    },
    "firings": {
        "firing": "f1",
        "date": "2026-05-31",
        "day": "1",
        "kiln": "small gas kiln",
        "fuel": "propane",
        "wind": "calm",
        "target peak": "750",
        "schedule": "1500 degC/h to 600 degC; 900 degC/h to 750 degC, hold 5 min",
        "readings": "readings/f1.csv",
        "channel": "middle [degC]",
        "thermocouple": "K",
        "cold junction": "20",
        "sensor class": "2",
        "notes": "gusts from the west",
    },
    "photos": {
        "photo": "photos/p01-front.jpg",
        "pot": "p01",
        "view": "front",
        "after": "wax",
        "setup": "phone",
        "taken": "2026-06-02 10:15",
        "target corners": "812 300; 1630 310; 1622 850; 805 842",
        "pot outline": "masks/p01-front.png",
    },
    "setups": {"setup": "phone", "target": built_in_targets()[-1], "flat": "photos/phone-flat.jpg"},
    "shelf": {
        "material": "sugar",
        "in stock": "900",
        "spoon": "4.1",
        "packet": "1000",
        "price": "1.60",
        "currency": "EUR",
        "notes": "granulated",
    },
    "shares": {
        "share": "rust share",
        "L* from": "20",
        "L* to": "60",
        "C*ab from": "20",
        "C*ab to": "80",
        "hue from": "30",
        "hue to": "60",
        "meaning": "rust red to orange",
    },
}


def fresh_columns() -> dict[str, tuple[Column, ...]]:
    """Give the columns of each table of a fresh book, in their order.

    Examples
    --------
    >>> [column.heading for column in fresh_columns()["setups"]]
    ['setup', 'target', 'flat']
    """
    columns = BOOK_TABLES | OPTIONAL_TABLES
    pots = columns["pots"]
    after = [column.name for column in pots].index("clay") + 1
    return columns | {"pots": (*pots[:after], *MATERIALS, *pots[after:])}


def fresh_texts(rows: Mapping[str, Rows] | None = None) -> dict[str, str]:
    """Give a fresh book as text tables.

    Parameters
    ----------
    rows : mapping of str to rows of text, optional
        Rows by the name of their table, the headings first.

    Returns
    -------
    dict of str
        By the file's name. Each begins with a byte order mark, without which a spreadsheet takes UTF-8 for
        something else.
    """
    tables = {name: filled(name, columns, rows) for name, columns in fresh_columns().items()}
    tables[EXPLANATIONS] = [list(EXPLAINED), *explanations()]
    texts = {}
    for name, table in tables.items():
        into = io.StringIO()
        csv.writer(into, lineterminator="\r\n").writerows(table)
        texts[f"{name}.csv"] = f"\ufeff{into.getvalue()}"
    return texts


def first_entry(tables: Mapping[str, pd.DataFrame]) -> tuple[str, str] | None:
    """Say what is to be written first into a book that lacks rows.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Those that every book has.

    Returns
    -------
    tuple of str, or None
        What is missing and what to do, each a phrase without its full stop; None when each table has a row.
    """
    return next((said for name, said in _FIRST.items() if tables[name].empty), None)


#: In the order of work.
_FIRST = {
    "firings": (
        "no firing is written down yet",
        "begin with the table firings, a row for each kiln load, and the table pots, a row for each pot with "
        "its firing and what went on, in and around it",
    ),
    "pots": (
        "no pot is written down yet",
        "give each pot a row in the table pots, with its firing and what went on, in and around it",
    ),
    "setups": (
        "no setup is written down yet",
        "give each camera, with its light and place, a row in the table setups, with the colour target that "
        "stands in its photographs",
    ),
    "photos": (
        "no photograph is written down yet",
        "copy them into the folder photos, and give each a row in the table photos, with its pot and setup",
    ),
}


def filled(name: str, columns: tuple[Column, ...], rows: Mapping[str, Rows] | None) -> Rows:
    """Give the headings and rows of a table; what its rows lack of the declared columns is added, blank."""
    if not rows or name not in rows:
        return [[column.heading for column in columns]]
    head, *body = rows[name]
    there = {parse_heading(heading).name for heading in head if heading}
    declared = (BOOK_TABLES | OPTIONAL_TABLES)[name]
    return [[*head, *(column.heading for column in declared if column.name not in there)], *body]


def explanations() -> Rows:
    """Give a row for each column of each table, under the headings ``EXPLAINED``."""
    explained = []
    for name, columns in fresh_columns().items():
        for column in columns:
            offer = OFFERS.get((name, column.name), Offer())
            known = f"those of the table {offer.table}" if offer.table else ", ".join(offer.values)
            must = "yes" if column.required else "no"
            example = EXAMPLES[name][column.name]
            explained.append([name, column.heading, column.unit, must, column.meaning, example, known])
        if name == "pots":
            explained.append(_ADDED)
    return explained


#: The files that hold a book's tables, by any of which a folder is one already.
TABLE_FILES = (WORKBOOK, *(f"{name}.csv" for name in BOOK_TABLES | OPTIONAL_TABLES))
