"""The mapping: where each column of somebody's notes goes in the batch book, kept as TOML."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sagglab.columns import BOOK_TABLES, RESULTS, Column
from sagglab.delimited import LARGEST
from sagglab.errors import BookError, UnitError, UnknownNameError
from sagglab.markup import framed, listed, paragraph, text_table
from sagglab.materials import find_material
from sagglab.notes.cells import COMMAS, ORDERS, same_kind
from sagglab.notes.mapping_file import read_document, refuse, write_document
from sagglab.notes.words import SPOONS, states_asked
from sagglab.units import Heading, parse_heading, working_unit

#: What is written where only the maker can say it.
OPEN = "?"
LEFT_OUT = "-"
YES_OR_NO = "yes or no"
CELLS = ("", YES_OR_NO, *ORDERS, *COMMAS, OPEN)
#: How pots come to a firing, and to a name.
FIRINGS = ("as noted", "by date", "one", "each pot", OPEN)
POTS = ("as noted", "numbered")
SURENESS = ("sure", "perhaps", OPEN)
_TABLES = ("pots", "firings", "photos")


@dataclass(frozen=True)
class MappedColumn:
    """One column of the notes, and where it goes.

    Attributes
    ----------
    letter, heading : str
        The column as the spreadsheet letters it, and its heading as written.
    to : str
        ``TABLE: heading`` in the batch book, with the unit in which the cells are; ``-`` for left out.
    why : str
        Why this was proposed, in words.
    sure : str
        One of `SURENESS`.
    cells : str
        How its cells are read, one of `CELLS`; mostly empty.
    spoon : str
        Which spoon the cells speak of: ``tsp``, ``tbsp``, or ``spoon`` for one of the maker's own.
    spoon_g : float, optional
        What that spoon weighs when level, in grams.
    view : str
        The side that photographs show.
    down : bool
        True when a blank cell means what stands above it.
    such_as : tuple of str
        Some of its cells.
    """

    letter: str
    heading: str
    to: str
    why: str = ""
    sure: str = "sure"
    cells: str = ""
    spoon: str = ""
    spoon_g: float | None = None
    view: str = ""
    down: bool = False
    such_as: tuple[str, ...] = ()

    @property
    def table(self) -> str:
        """The table of the batch book; empty when the column is left out."""
        return self.to.partition(": ")[0] if ": " in self.to else ""

    @property
    def goal(self) -> Heading:
        """The heading in that table, taken apart."""
        return parse_heading(self.to.partition(": ")[2])

    @property
    def declared(self) -> Column | None:
        """The book's own column of that name; none for one of the maker's."""
        return next((c for c in BOOK_TABLES.get(self.table, ()) if c.name == self.goal.name), None)

    @property
    def is_open(self) -> bool:
        """Whether the maker has still to say something."""
        return OPEN in (self.goal.unit, self.cells)

    @property
    def named(self) -> str:
        """The column as it is spoken of: ``D 'Sugar (g)'``."""
        return f"{self.letter} '{self.heading}'"


@dataclass(frozen=True, repr=False)
class Mapping:
    """Where all columns of the notes go.

    Attributes
    ----------
    notes, sheet : str
        The file and the sheet that it was made for.
    firings : str
        How pots come to their firing, one of `FIRINGS`.
    pots : str
        How pots come to their name, one of `POTS`.
    columns : tuple of MappedColumn
    around : tuple of str
        What else is to be known of the notes before they are mapped, each a phrase: where the headings were
        found, sheets that were not read, what is merged, what belongs to no pot.
    """

    notes: str
    sheet: str
    firings: str
    pots: str
    columns: tuple[MappedColumn, ...] = field(default=())
    around: tuple[str, ...] = ()

    def going_to(self, goal: str) -> MappedColumn | None:
        """Give the column that goes to ``TABLE: heading``; none when no column does."""
        return next((column for column in self.columns if column.to == goal), None)

    def column(self, letter: str) -> MappedColumn:
        """Give a column by its letter, or by its heading.

        Raises
        ------
        UnknownNameError
            There is none.
        """
        for column in self.columns:
            if letter in (column.letter, column.heading):
                return column
        known = ", ".join(column.named for column in self.columns)
        raise UnknownNameError(
            f"column '{letter}'", f"the notes have {known}", "name one of these by its letter"
        )

    def with_column(self, letter: str, **changed: Any) -> Mapping:
        """Send a column elsewhere, or read its cells otherwise.

        Parameters
        ----------
        letter : str
            Its letter, or its heading.
        **changed
            Fields of `MappedColumn`, such as ``to="pots: sugar [g]"`` or ``cells="day first"``.

        Raises
        ------
        UnknownNameError
            There is no such column.
        BookError
            The column cannot go there; `faults` says why.
        """
        old = self.column(letter)
        new = replace(old, **{"sure": "sure", "why": "as you said", **changed})
        made = replace(self, columns=tuple(new if c is old else c for c in self.columns))
        said = list(column_faults(new)) + [fault for fault in made.faults() if fault not in self.faults()]
        if said:
            raise BookError(new.named, said[0], "")
        return made

    def faults(self) -> list[str]:
        """List what cannot be, each with how to mend it; open questions are none."""
        said = [f"{column.named}: {fault}" for column in self.columns for fault in column_faults(column)]
        goals: dict[str, list[MappedColumn]] = {}
        for column in self.columns:
            if column.table and column.to not in ("pots: notes", "photos: photo"):
                goals.setdefault(f"{column.table}: {column.goal.name}", []).append(column)
        for goal, columns in goals.items():
            if len(columns) > 1:
                both = " and ".join(column.named for column in columns)
                said.append(f"{both} both go to '{goal}': keep one, and give the other another name")
        for what, one, kinds, goal in (
            ("firings", self.firings, FIRINGS, "pots: firing"),
            ("pots", self.pots, POTS, "pots: pot"),
        ):
            if one not in kinds:
                said.append(f"{what} is '{one}': write one of {_quoted(kinds)}")
            elif one == "as noted" and goal not in goals:
                other = "'by date', 'one' or 'each pot'" if what == "firings" else "'numbered'"
                said.append(
                    f"{what} is 'as noted', and no column goes to '{goal}': send one there, or write {other}"
                )
        if self.firings == "by date" and "firings: date" not in goals:
            said.append("firings is 'by date', and no column goes to 'firings: date': send one there")
        return said

    @property
    def open(self) -> tuple[str, ...]:
        """What the maker has still to say, each in a phrase."""
        said = [f"{column.named}: {column.why}" for column in self.columns if column.is_open]
        if self.firings == OPEN:
            said.append("which pots were fired together: say 'one', 'each pot', or which column tells it")
        return tuple(said)

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the mapping down as TOML, to be read and changed by hand."""
        path = Path(path)
        columns = {}
        for column in self.columns:
            entry: dict[str, Any] = {"heading": column.heading, "to": column.to}
            for key in ("cells", "spoon", "spoon_g", "view", "down"):
                if getattr(column, key):
                    entry[key] = getattr(column, key)
            columns[column.letter] = entry | {
                "sure": column.sure,
                "why": column.why,
                "such_as": " | ".join(column.such_as),
            }
        document = {key: getattr(self, key) for key in ("notes", "sheet", "firings", "pots")}
        write_document(document | {"around": list(self.around), "columns": columns}, path)
        return path

    def __repr__(self) -> str:
        lines = [f"{c.letter:>3}  {c.heading[:24]:24}  {_said(c.sure):7}  {c.to}" for c in self.columns]
        lines += [f"firings: {self.firings}; pots: {self.pots}", *map("to say: {}".format, self.open)]
        return "\n".join([*self.around, *lines])

    def _repr_html_(self) -> str:
        heads = ("column", "such as", "goes to", "how sure", "why")
        rows = [
            (f"{c.letter} {c.heading}", " | ".join(c.such_as), c.to, _said(c.sure), c.why)
            for c in self.columns
        ]
        asked = [f"{len(self.open)} still to be said:", *self.open] if self.open else []
        return framed(
            listed(self.around),
            *map(paragraph, asked[:1]),
            listed(asked[1:]),
            text_table(heads, rows),
            paragraph(f"Firings: {_said(self.firings)}. Pots: {self.pots}.", "quiet"),
        )


def _said(sure: str) -> str:
    return "to say" if sure == OPEN else sure


def _quoted(words: Iterable[str]) -> str:
    """List words that can be written down; what is still open is none."""
    return ", ".join(f"'{word}'" for word in words if word not in ("", OPEN))


def column_faults(column: MappedColumn) -> Iterator[str]:
    """Say what cannot be about where one column goes, with how to mend it."""
    if column.to == LEFT_OUT:
        return
    if column.cells not in CELLS:
        yield f"cells is '{column.cells}': write one of {_quoted(CELLS)}, or nothing"
    if column.table not in _TABLES or not column.goal.name:
        yield f"'{column.to}' says no table: write 'pots: sugar [g]', 'firings: kiln', 'photos: photo' or '-'"
        return
    name, unit, declared = column.goal.name, column.goal.unit, column.declared
    if declared is None and column.table == "photos":
        known = ", ".join(c.name for c in BOOK_TABLES["photos"])
        yield f"photos has no column '{name}': write one of {known}"
    if column.table == "firings" and name == "firing":
        yield "the firing of a pot goes to 'pots: firing'; the table firings is made from it"
    if column.table == "photos" and name == "pot":
        yield "the pot of a row goes to 'pots: pot'; photographs get it from there"
    if declared is not None and declared.unit and unit is None:
        yield f"{name} needs its unit: write '{column.table}: {declared.heading}', with the unit you used"
    if declared is not None and not declared.unit and unit is not None:
        yield f"{name} has no unit: write '{column.table}: {name}'"
    if declared is None and re.search(r"[\[\]\n]", name):
        yield f"'{name}' cannot be a heading: write a name, and a unit in brackets at its end"
    if unit not in (None, OPEN):
        try:
            kind = working_unit(unit)
        except UnitError as error:
            yield f"[{unit}]: {error.cause}; {error.remedy}"
        else:
            if declared is not None and declared.unit and not same_kind(kind, declared.unit):
                yield f"[{unit}] does not measure a {name}: write one such as [{declared.unit}]"
    if declared is None and name.casefold() in {one.name.casefold() for one in RESULTS}:
        yield f"'{name}' is what sagglab measures: write it as '{name} (as noted)'"
    weighed = column.spoon_g is None or 0 < column.spoon_g < LARGEST
    if not weighed or (column.spoon_g is not None and (unit != "g" or find_material(name) is None)):
        yield "spoon_g needs grams above 0, and a material that goes to 'pots: MATERIAL [g]'"
    if column.spoon not in ("", *SPOONS) or (column.spoon_g is not None and not column.spoon):
        yield f"spoon says which one was weighed: write one of {_quoted(SPOONS)}"
    asked = states_asked(column.heading) if column.to == "pots: state" else {}
    if column.cells == YES_OR_NO and not asked and (unit is not None or declared is not None):
        yield f"yes or no has no unit, and is none of the book's own columns: write 'pots: {name}'"


def read_mapping(path: str | os.PathLike[str]) -> Mapping:
    """Read a mapping that was written down, and perhaps changed by hand.

    Parameters
    ----------
    path : path
        A file that `Mapping.save` wrote.

    Returns
    -------
    Mapping

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It is no TOML.
    BookError
        It holds what it may not hold, or lacks what it needs; every such fault is named.

    Examples
    --------
    >>> import tempfile
    >>> pot, sugar = MappedColumn("A", "Pot", "pots: pot"), MappedColumn("B", "Sugar", "pots: sugar [g]")
    >>> mapping = Mapping("notes.csv", "", "one", "as noted", (pot, sugar))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     read_mapping(mapping.save(Path(folder, "mapping.toml"))) == mapping
    True
    """
    path = Path(path)
    held = read_document(path)
    columns = []
    for letter, entry in held["columns"].items():
        such_as = tuple(filter(None, entry.pop("such_as", "").split(" | ")))
        # For the reader alone: whatever a person writes there does no harm.
        sure = entry.pop("sure", "")
        columns.append(
            MappedColumn(letter=letter, such_as=such_as, sure=sure if sure in SURENESS else "sure", **entry)
        )
    around = tuple(map(str, held.get("around", ())))
    mapping = Mapping(*(held[key] for key in ("notes", "sheet", "firings", "pots")), tuple(columns), around)
    refuse(path, mapping.faults())
    return mapping
