"""Tables of the batch book, made of somebody's own notes; nothing that stands in them gets lost."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from sagglab.errors import BookError, Problem, Problems
from sagglab.notes.cells import is_photograph, photographs
from sagglab.notes.firings import cells_of, firing_of_rows, spelt_otherwise, unlike_rows
from sagglab.notes.mapping import LEFT_OUT, YES_OR_NO, MappedColumn, Mapping
from sagglab.notes.sheet import Notes
from sagglab.notes.turned import turn
from sagglab.workbook import Rows

NOTES = "notes"
#: Where a fresh book keeps its photographs.
_PHOTOS = "photos"


@dataclass
class _Making:
    """The tables while they are made."""

    notes: Notes
    mapping: Mapping
    cells: dict[str, dict[int, str]] = field(default_factory=dict)  # by letter and row, as the book has them
    kept: dict[int, list[str]] = field(default_factory=dict)  # for the notes of each row's pot
    problems: list[Problem] = field(default_factory=list)

    def tell(
        self, row: int | None, column: MappedColumn | None, cause: str, remedy: str, stops: bool = False
    ) -> None:
        where = f"{column.letter} {column.heading}".strip() if column else ""
        self.problems.append(Problem(NOTES, row, where, cause, remedy, stops))

    def keep(self, row: int, column: MappedColumn, text: str) -> None:
        self.kept.setdefault(row, []).append(f"{column.heading or f'column {column.letter}'}: {text}")


def book_tables(notes: Notes, mapping: Mapping) -> tuple[dict[str, Rows], Problems]:
    """Make tables of the batch book out of notes.

    Parameters
    ----------
    notes : Notes
    mapping : Mapping
        With nothing left open.

    Returns
    -------
    tables : dict of list of list of str
        Rows of text, the headings first, of ``pots`` and ``firings``; of ``photos`` where photographs are
        named, and of ``shelf`` where it is said what a spoon weighs.
    problems : Problems
        Each cell that could not be turned, by the row and column of the notes. It is kept in the notes of its
        pot; but where a blank would count as none it stays in its place, and the book names it as a fault
        until it is mended. What was left out on purpose is listed as well.

    Raises
    ------
    BookError
        Something is still open, cannot be, or was mapped for other notes.

    Examples
    --------
    >>> from pathlib import Path
    >>> heads, rows = {"A": "Pot", "B": "Sugar (oz)"}, {2: ("A1", "0.5"), 3: ("A2", "")}
    >>> notes = Notes(Path("notes.csv"), "", (1,), heads, rows, {})
    >>> pot = MappedColumn("A", "Pot", "pots: pot")
    >>> sugar = MappedColumn("B", "Sugar (oz)", "pots: sugar [oz]")
    >>> tables, problems = book_tables(notes, Mapping("notes.csv", "", "one", "as noted", (pot, sugar)))
    >>> tables["pots"]
    [['pot', 'firing', 'sugar [oz]', 'notes'], ['A1', 'f1', '0.5', ''], ['A2', 'f1', '', '']]
    """
    _refuse(notes, mapping)
    making = _Making(notes, mapping)
    for row, text in notes.aside.items():
        making.tell(row, None, f"'{text}' belongs to no pot: left out", "")
    for phrase in notes.beside:
        making.tell(None, None, phrase, "")
    for column in mapping.columns:
        _turn_column(making, column)
    for (row, letter), text in notes.remarks.items():
        column = next((column for column in mapping.columns if column.letter == letter), None)
        if row in notes.rows and column is not None:
            making.keep(row, column, text)
        else:
            making.tell(row, None, f"the comment '{text}' belongs to no pot: left out", "")
    firings = firing_of_rows(notes, mapping)
    tables = {"firings": _firings(making, firings)}
    pots = _pot_names(making, firings)
    photos = _photos(making, pots)
    tables = {"pots": _pots(making, pots, firings)} | tables
    if len(photos) > 1:
        tables["photos"] = photos
    spoons = [
        [column.goal.name, f"{column.spoon_g:g}"] for column in mapping.columns if column.spoon_g is not None
    ]
    if spoons:
        tables["shelf"] = [["material", "spoon [g]"], *spoons]
    return tables, Problems(making.problems)


def _refuse(notes: Notes, mapping: Mapping) -> None:
    faults = mapping.faults() + [f"still to be said: {question}" for question in mapping.open]
    mapped = {column.letter: column.heading for column in mapping.columns}
    for letter, heading in notes.headings.items():
        if letter not in mapped:
            faults.append(f"column {letter} '{heading}' of the notes is not mapped: add [columns.{letter}]")
        elif mapped[letter] != heading:
            faults.append(
                f"column {letter} is headed '{heading}' in the notes, and '{mapped[letter]}' in the mapping"
            )
    faults += [
        f"the notes have no column {letter}: take it out" for letter in mapped.keys() - notes.headings.keys()
    ]
    if faults:
        listed = "".join(f"\n  {fault}" for fault in faults)
        raise BookError(
            f"the mapping of {notes.path.name}",
            f"it cannot be used yet:{listed}",
            "say or correct it, and go on",
        )


def _turn_column(making: _Making, column: MappedColumn) -> None:
    cells = cells_of(making.notes, column)
    turned: dict[int, str] = {}
    filled = {row: text for row, text in cells.items() if text}
    if column.to == LEFT_OUT:
        if filled:
            count = f"{len(filled)} cell{'s' if len(filled) > 1 else ''}"
            making.tell(None, column, f"left out on purpose, with {count}", "")
        return
    dashes: list[int] = []
    for row, text in filled.items():
        if column.to == "photos: photo":
            if is_photograph(text):
                turned[row] = text
            else:
                making.keep(row, column, text)
                making.tell(
                    row, column, f"'{text}' names no photograph", "write the file's name, as pot-1.jpg"
                )
            continue
        made = turn(column, text)
        turned[row] = made.cell
        if made.kept:
            making.keep(row, column, made.kept)
        elif made.cause and not made.cell:
            dashes.append(row)
            continue
        if made.cause:
            making.tell(row, column, made.cause, made.remedy, made.stops)
    if dashes:
        where = ", ".join(map(str, dashes))
        making.tell(None, column, f"a dash was taken for a blank (row{'s' * (len(dashes) > 1)} {where})", "")
    # Where only yes is ever written, a blank is what says no.
    no = turn(column, "no").cell
    if column.cells == YES_OR_NO and no not in turned.values():
        turned |= {row: no for row, text in cells.items() if not text}
    making.cells[column.letter] = turned


def _rows_of_firings(making: _Making) -> set[int]:
    """Find rows that name a firing above the rows of its pots; one with more to keep stays a pot."""
    columns = making.mapping.columns
    of_firing = [column for column in columns if column.table == "firings" or column.to == "pots: firing"]
    if making.mapping.pots != "as noted" or not any(column.down for column in of_firing):
        return set()
    others = [making.notes.cells(column.letter) for column in columns if column not in of_firing]
    return set(making.notes.rows).difference(making.kept, *others)


def _pot_names(making: _Making, firings: dict[int, str]) -> dict[int, str]:
    """Name the pot of each row, each by a name of its own."""
    of_firings = _rows_of_firings(making)
    for row in sorted(of_firings):
        making.tell(row, None, "it tells of a firing, and names no pot: no pot was made of it", "")
    rows = [row for row in making.notes.rows if row not in of_firings]
    noted = making.mapping.going_to("pots: pot")
    names = making.cells[noted.letter] if noted else {}
    digits = max(2, len(str(len(rows))))
    taken = set(names.values())
    named = {}
    for number, row in enumerate(rows, start=1):
        name = names.get(row, "")
        if not name:
            name = f"p{number:0{digits}}"
            while name in taken:
                name += "+"
            if noted:
                making.tell(
                    row, noted, f"it is blank: the pot is called '{name}'", "write that on the pot's tag"
                )
        named[row] = name
    several: dict[str, list[int]] = {}
    for row, name in named.items():
        several.setdefault(name, []).append(row)
    taken |= set(named.values())
    for name, same in several.items():
        if len(same) == 1:
            continue
        for row in same:
            new = base = f"{firings[row]}-{name}" if firings[row] else name
            number = 1
            while new in taken:
                number += 1
                new = f"{base} ({number})"
            taken.add(new)
            named[row] = new
        where, new = ", ".join(map(str, same)), ", ".join(f"'{named[row]}'" for row in same)
        making.tell(None, noted, f"'{name}' is there more than once (rows {where}): called {new}", "")
    return named


def _firings(making: _Making, firings: dict[int, str]) -> Rows:
    """Lay out one row per firing; what differs within one stays with the pots, and is told."""
    columns = [column for column in making.mapping.columns if column.table == "firings"]
    names = list(dict.fromkeys(filter(None, firings.values())))
    if making.mapping.firings == "by date":
        names.sort(key=lambda name: int(name[1:]))
    table = [["firing", *(str(column.goal) for column in columns)], *([name] for name in names)]
    for alike in spelt_otherwise(names):
        noted = making.mapping.going_to("pots: firing")
        remedy = "write them alike in the tables pots and firings if they are one"
        making.tell(None, noted, f"{alike} became different firings", remedy)
    for column in columns if making.mapping.firings == "by date" else ():
        kilns = making.cells[column.letter].values() if column.goal.name == "kiln" else ()
        for alike in spelt_otherwise(kilns):
            remedy = "write them alike in the notes, and begin anew, if they are one"
            making.tell(None, column, f"pots of {alike} were kept in firings of their own", remedy)
    for row, firing in firings.items():
        if not firing:
            making.tell(
                row, None, "in which firing the pot was cannot be told", "say it in the table pots", True
            )
    for column in columns:
        turned, unlike = making.cells[column.letter], unlike_rows(making.notes, column, firings)
        for firing, rows in unlike.items():
            where = ", ".join(map(str, rows))
            cause = (
                f"it differs within firing '{firing}' (rows {where}): left blank there, kept with the pots"
            )
            making.tell(None, column, cause, "correct it in the table firings", True)
        source = cells_of(making.notes, column)
        for row, firing in firings.items():
            if source[row] and turned.get(row) and (not firing or firing in unlike):
                making.keep(row, column, source[row])
        said: dict[str, str] = {}
        for row, cell in turned.items():
            if cell:
                said.setdefault(firings[row], cell)
        for entry in table[1:]:
            entry.append("" if entry[0] in unlike else said.get(entry[0], ""))
    return table


def _photos(making: _Making, pots: dict[int, str]) -> Rows:
    """Lay out one row per photograph."""
    columns = [column for column in making.mapping.columns if column.table == "photos"]
    naming = [column for column in columns if column.goal.name == "photo"]
    others = [column for column in columns if column.goal.name != "photo"]
    heads = ["photo", "pot", "view", "setup"]
    heads += [column.goal.name for column in others if column.goal.name not in heads]
    table: Rows = [heads]
    shown: dict[str, str] = {}
    for row, pot in pots.items():
        first = len(table)
        for column in naming:
            for written_name in photographs(making.cells[column.letter].get(row, "")):
                name = _in_book(written_name)
                if name in shown:
                    making.keep(row, column, written_name)
                    cause = f"'{written_name}' shows '{shown[name]}' already: kept in the notes of the pot"
                    making.tell(row, column, cause, "name one pot for each photograph")
                    continue
                if _lies_elsewhere(written_name):
                    making.tell(
                        row, column, f"'{written_name}' lies elsewhere", f"copy it to {name} in the book"
                    )
                shown[name] = pot
                table.append([name, pot, column.view, *[""] * (len(heads) - 3)])
        for column in others:
            cell = making.cells[column.letter].get(row, "")
            for entry in table[first:]:
                entry[heads.index(column.goal.name)] = cell
            if cell and first == len(table):
                making.keep(row, column, cell)
    return table


def _lies_elsewhere(name: str) -> bool:
    """Whether a file is named by its place on a disk, on the web, or outside the folder."""
    return re.match(r"[A-Za-z]:|[A-Za-z]+://|[\\/]|(?:.*[\\/])?\.\.(?:[\\/]|$)", name) is not None


def _in_book(name: str) -> str:
    """Place a photograph in the book: in its folder of photographs where nothing else is said."""
    path = name.replace("\\", "/")
    if _lies_elsewhere(path):
        path = path.rsplit("/", 1)[-1].split(":")[-1]
    return path if "/" in path else f"{_PHOTOS}/{path}"


def _pots(making: _Making, pots: dict[int, str], firings: dict[int, str]) -> Rows:
    """Lay out one row per pot, with all that found no other place in its notes."""
    given = ("pots: pot", "pots: firing", "pots: notes")
    columns = [c for c in making.mapping.columns if c.table == "pots" and c.to not in given]
    remarks = [c for c in making.mapping.columns if c.to == "pots: notes"]
    table: Rows = [["pot", "firing", *(str(column.goal) for column in columns), NOTES]]
    for row, pot in pots.items():
        said = []
        for column in remarks:
            cell = making.cells[column.letter].get(row, "")
            if cell:
                said.append(cell if column is remarks[0] else f"{column.heading}: {cell}")
        cells = [making.cells[column.letter].get(row, "") for column in columns]
        table.append([pot, firings[row], *cells, "; ".join(said + making.kept.get(row, []))])
    return table
