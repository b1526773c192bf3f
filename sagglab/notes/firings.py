"""Firings of notes: which rows were fired together, and what differs where it should not."""

from __future__ import annotations

from collections.abc import Iterable

from sagglab.book.likeness import one_spelling
from sagglab.notes.cells import read_date
from sagglab.notes.mapping import MappedColumn, Mapping
from sagglab.notes.sheet import Notes


def cells_of(notes: Notes, column: MappedColumn) -> dict[int, str]:
    """Give a column's cells by the number of their row, blank ones too; where it is so, from above."""
    filled, above, cells = notes.cells(column.letter), "", {}
    for row in notes.rows:
        above = filled.get(row, above)
        cells[row] = above if column.down else filled.get(row, "")
    return cells


def firing_of_rows(notes: Notes, mapping: Mapping) -> dict[int, str]:
    """Name the firing of each row; blank where it cannot be told.

    Firings by date are those of one day in one kiln, and are numbered by it.
    """
    if mapping.firings == "one":
        return dict.fromkeys(notes.rows, "f1")
    if mapping.firings == "each pot":
        return {row: f"f{number}" for number, row in enumerate(notes.rows, start=1)}
    if mapping.firings == "as noted":
        return cells_of(notes, mapping.going_to("pots: firing"))
    dates = mapping.going_to("firings: date")
    if dates is None:  # still open: nothing can differ within a firing that is not known
        return dict.fromkeys(notes.rows, "")
    kilns = mapping.going_to("firings: kiln")
    days = {
        row: (read_date(cell, dates.cells) or cell) if cell else ""
        for row, cell in cells_of(notes, dates).items()
    }
    kiln = dict.fromkeys(notes.rows, "") if kilns is None else cells_of(notes, kilns)
    loads = {row: (days[row], kiln[row]) for row in notes.rows}
    # The order of the dates where all are read, else of the rows.
    order = sorted if all(read_date(day) for day in days.values() if day) else list
    dated = dict.fromkeys(load for load in loads.values() if load[0])
    numbers = {load: f"f{number}" for number, load in enumerate(order(dated), start=1)}
    return {row: numbers.get(load, "") for row, load in loads.items()}


def spelt_otherwise(names: Iterable[str]) -> list[str]:
    """List names that are one in several spellings, as the book would count them: each in a phrase.

    Examples
    --------
    >>> spelt_otherwise(["load 2", "Load 2", "load 2", "load 3"])
    ["'load 2' and 'Load 2'"]
    """
    spellings: dict[str, list[str]] = {}
    for name in dict.fromkeys(filter(None, names)):
        spellings.setdefault(one_spelling(name), []).append(f"'{name}'")
    return [" and ".join(several) for several in spellings.values() if len(several) > 1]


def unlike_rows(notes: Notes, column: MappedColumn, firings: dict[int, str]) -> dict[str, list[int]]:
    """Give the rows of each firing in which a column does not say the same throughout; blanks say nothing."""
    seen: dict[str, dict[str, list[int]]] = {}
    for row, cell in cells_of(notes, column).items():
        if cell and firings[row]:
            seen.setdefault(firings[row], {}).setdefault(cell.casefold(), []).append(row)
    return {firing: sorted(sum(said.values(), [])) for firing, said in seen.items() if len(said) > 1}
