"""The proposal: to which column of the batch book each column of somebody's notes goes, and why."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from sagglab.columns import BOOK_TABLES, RESULTS
from sagglab.materials import find_material
from sagglab.notes.amounts import hint_of, propose_amount
from sagglab.notes.cells import read_date, same_kind
from sagglab.notes.evidence import Evidence
from sagglab.notes.firings import cells_of, firing_of_rows, spelt_otherwise, unlike_rows
from sagglab.notes.mapping import LEFT_OUT, OPEN, YES_OR_NO, MappedColumn, Mapping
from sagglab.notes.sheet import Notes
from sagglab.notes.words import (
    ReadHeading,
    cell_word,
    is_of_numbers,
    read_heading,
    state_named,
    states_asked,
    view_named,
)
from sagglab.units import parse_heading

#: So many cells of the first column tell whether it holds headings: a name that is like no word takes 7 ms.
_HEADINGS = 20

#: How a heading says from where to where marks go: "1-10", "out of 10", "von 10", "/10".
_SCALE = (
    r"(?:\b(?P<least>\d+)\s*(?:[-–—]|\.\.+|to|bis|à|a|tot)|\b(?:out of|of|von|sur|de|su|van)\b|/)"
    r"\s*(?P<most>\d+)\b"
)

#: Names that a column of the maker's own cannot have.
_TAKEN = {one.name.casefold() for table in (RESULTS, *BOOK_TABLES.values()) for one in table}


def propose_mapping(notes: Notes) -> Mapping:
    """Propose where each column of the notes goes, with the reason; what cannot be known stays open.

    Parameters
    ----------
    notes : Notes

    Returns
    -------
    Mapping
        Its `open` questions have to be answered before tables can be made of it.

    Examples
    --------
    >>> from pathlib import Path
    >>> heads = {"A": "Pot", "B": "Sugar (g)", "C": "Peak"}
    >>> rows = {2: ("A1", "4", "750"), 3: ("A2", "", "780")}
    >>> notes = Notes(Path("notes.csv"), "", (1,), heads, rows, {})
    >>> [column.to for column in propose_mapping(notes).columns]
    ['pots: pot', 'pots: sugar [g]', 'firings: noted peak [?]']
    """
    everything = "\n".join(" ".join(filter(None, cells)) for cells in notes.rows.values())
    proposed = []
    for letter, heading in notes.headings.items():
        evidence = Evidence(notes.cells(letter))
        column = MappedColumn(letter, heading, LEFT_OUT, such_as=evidence.shown)
        proposed.append(_one(column, read_heading(heading), evidence, everything))
    columns = list(_each_once(proposed))
    goals = {column.to: column for column in columns}
    firings, pots = "as noted", "as noted" if "pots: pot" in goals else "numbered"
    noted = goals.get("pots: firing")
    if noted is not None and "firings: date" not in goals:
        evidence = Evidence(notes.cells(noted.letter))
        if evidence.are_dates:
            columns[columns.index(noted)] = _date(replace(noted, to="firings: date"), evidence)
            noted = None
    if noted is None:
        firings = "by date" if any(column.to == "firings: date" for column in columns) else OPEN
    by = "pots: firing" if noted else "firings: date"
    columns = [_going_down(column, notes) if column.to == by else column for column in columns]
    columns = [_spelt_alike(column, notes) for column in columns]
    around = (notes.told, *_other_shapes(notes), *notes.around)
    mapping = Mapping(notes.path.name, notes.sheet, firings, pots, tuple(columns), around)
    return replace(mapping, columns=tuple(_told_apart(notes, mapping)))


def _other_shapes(notes: Notes) -> Iterator[str]:
    """Say where there seems to be no row for each pot."""
    of_pots = [
        f"{letter} '{heading}'"
        for letter, heading in notes.headings.items()
        if re.search(r"\d\s*$", heading) and "pots: pot" in read_heading(heading).meanings
    ]
    if len(of_pots) > 1:
        yield (
            f"a row seems to hold several pots ({', '.join(of_pots)}), and each row becomes one pot: stop "
            "here, and give each pot a row of its own first"
        )
    first = next(iter(notes.headings))
    named = {read_heading(cell).meanings for cell in list(notes.cells(first).values())[:_HEADINGS]} - {()}
    known = [heading for heading in notes.headings.values() if read_heading(heading).meanings]
    if len(named) > max(2, len(known)) and 2 * len(known) < len(notes.headings):
        yield (
            f"column {first} seems to hold headings, and each row becomes one pot: stop here, and swap rows "
            "and columns first (a spreadsheet can paste them transposed)"
        )


def _one(column: MappedColumn, read: ReadHeading, evidence: Evidence, everything: str) -> MappedColumn:
    """Propose for one column, by its heading and its cells."""
    if not evidence.cells:
        return replace(column, why="it has no cells")
    if not evidence.texts:
        return replace(column, to=f"pots: {_own_name(column)}", sure="perhaps", why="its cells say nothing")
    meanings = read.meanings
    if len(meanings) > 1:  # "Note" is a mark in one language and a remark in another
        wants = [is_of_numbers(meaning) == evidence.are_amounts for meaning in meanings]
        meanings = tuple(m for m, fits in zip(meanings, wants, strict=True) if fits) or meanings
    if evidence.are_photographs and (not meanings or meanings[0].startswith("photos")):
        why = "its cells name photographs"
        return replace(column, to="photos: photo", view=view_named(column.heading), why=why)
    if not meanings:
        return _own(column, read, evidence, everything)
    why = f"'{read.name}' is {_called(meanings[0])}"
    if parse_heading(meanings[0].partition(": ")[2]).name == read.name.casefold():
        why = f"'{read.name}' is known by that name"
    if not read.exact:
        why = f"'{read.name}' is like '{read.word}'"
    column = replace(column, why=why, sure="sure" if read.exact else "perhaps")
    kind, _, goal = meanings[0].partition(": ")
    if kind == "material":
        return propose_amount(column, "pots", goal, read.unit, evidence, everything)
    declared = next((c for c in BOOK_TABLES[kind] if c.name == parse_heading(goal).name), None)
    if goal == "date":
        return _date(replace(column, to="firings: date"), evidence)
    if parse_heading(goal).unit is not None:
        return propose_amount(column, kind, parse_heading(goal).name, read.unit, evidence, everything)
    if declared is not None and declared.kind == "number":
        told = _no_rating(column.heading, evidence)
        return (
            _own(column, read, evidence, everything, told) if told else replace(column, to=f"{kind}: {goal}")
        )
    if goal == "state":
        return _state(column, read, evidence, everything)
    if kind == "photos":
        return _own(column, read, evidence, everything)
    if goal.endswith("(as noted)"):
        return replace(
            column, to=f"{kind}: {goal}", why=why + "; a number of its own would be taken for a dusting"
        )
    return replace(column, to=f"{kind}: {goal}")


def _called(meaning: str) -> str:
    kind, _, goal = meaning.partition(": ")
    name = parse_heading(goal).name
    known = {
        "noted peak": "the peak that the firing came to",
        "pot": "what the pot is called",
        "firing": "the firing",
        "photo": "the photograph",
    }
    return name if kind == "material" else known.get(name, f"the {kind.removesuffix('s')}'s {name}")


def _no_rating(heading: str, evidence: Evidence) -> str:
    """Say why a column cannot be the book's rating; nothing where it can."""
    scale = re.search(_SCALE, heading, re.IGNORECASE)
    if scale and (scale["most"] != "5" or scale["least"] not in (None, "1")):
        return f"the book's rating goes from 1 to 5, and the heading says '{scale[0].strip()}'"
    for cell in evidence.texts:
        if not re.fullmatch(r"[1-5](?:[.,]\d+)?(?:\s*/\s*5)?|[★*]{1,5}", cell):
            return f"the book's rating goes from 1 to 5, and a cell says '{cell}'"
    return ""


def _state(column: MappedColumn, read: ReadHeading, evidence: Evidence, everything: str) -> MappedColumn:
    if evidence.are_states:
        return replace(column, to="pots: state")
    asked = states_asked(column.heading)
    others = [cell for cell in evidence.texts if state_named(cell) is None]
    untold = [cell for cell in others if not asked or cell_word(cell) not in ("yes", "no", "none")]
    if not untold:
        says_no = evidence.says_no or asked["no"] in map(state_named, evidence.texts)
        blank = "" if says_no else " or a blank"
        why = f"{column.why}; yes is taken for {asked['yes']}, and no{blank} for {asked['no']}"
        return replace(column, to="pots: state", cells=YES_OR_NO, sure="perhaps", why=why)
    told = f"the book's state is whole, cracked or lost, and a cell says '{untold[0]}'"
    return _own(column, read, evidence, everything, told)


def _date(column: MappedColumn, evidence: Evidence) -> MappedColumn:
    if not evidence.are_dates:
        why = f"{column.why}, but its cells are no dates"
        return replace(column, to=f"pots: {_own_name(column)}", sure="perhaps", why=why)
    order = evidence.order
    if order == OPEN:
        why = f"'{evidence.dates[0]}' can be read with the day or the month first: say which"
        return replace(column, cells=OPEN, sure=OPEN, why=why)
    told = f"; its dates have the {order}" if order else ""
    if by_stops := evidence.by_stops:
        told = f"; with full stops the day goes first, so that '{by_stops}' is {read_date(by_stops)}: "
        column = replace(column, sure="perhaps", why=column.why + told + "if not, say month first")
        return replace(column, cells=order)
    return replace(column, cells=order, why=column.why + told)


def _own_name(column: MappedColumn) -> str:
    """Name a column of the maker's own as the notes do, in a form that a heading of the book can have."""
    name = " ".join(column.heading.replace("[", "(").replace("]", ")").split()).rstrip(":")
    name = name or f"column {column.letter}"
    if name.casefold() in _TAKEN or find_material(name) is not None:
        name += " (as noted)"
    return name


def _own(
    column: MappedColumn, read: ReadHeading, evidence: Evidence, everything: str, because: str = ""
) -> MappedColumn:
    """Keep a column as one of the maker's own."""
    name = _own_name(column)
    why = "kept as a column of its own" + (f": {because}" if because else "")
    if evidence.are_ticks:
        return replace(column, to=f"pots: {name}", cells=YES_OR_NO, sure="perhaps", why=f"{why}: yes or no")
    if evidence.are_dates:
        why += "; its cells are dates: send it to firings: date if that is when the pots were fired"
    named = read.name.replace("[", "(").replace("]", ")").strip()
    if len(evidence.amounts) == len(evidence.texts) and named:
        unit = read.unit if read.unit not in ("degrees", "spoon") else None
        units = [unit] if unit else list(evidence.units)
        if units and "spoon" not in units and all(same_kind(one, units[0]) for one in units):
            column = replace(column, why=why, sure="perhaps")
            short = propose_amount(
                column, "pots", _own_name(replace(column, heading=named)), unit, evidence, everything
            )
            if same_kind(units[0], "g") or same_kind(units[0], "mL"):
                why = f"{short.why}; the book takes it for a dusting or packing: send it to firings, or "
                return replace(short, why=why + "leave the unit out, if it is none")
            if same_kind(units[0], "degC"):
                peak = f"firings: noted peak [{short.goal.unit}]"
                return replace(
                    short, why=f"{short.why}; send it to {peak} if that is what the firing came to"
                )
            return short
        if re.search(r"temp", name, re.IGNORECASE):
            hint = hint_of("temp", evidence)
            why = f"{why}; a temperature needs its unit{hint}"
            return replace(column, to=f"pots: {name} [{OPEN}]", sure=OPEN, why=why)
    return replace(column, to=f"pots: {name}", sure="perhaps", why=why)


def _each_once(columns: list[MappedColumn]) -> Iterator[MappedColumn]:
    """Fill each column of the book from one column of the notes; the others keep a name of their own."""
    best: dict[str, MappedColumn] = {}
    rank = ("sure", OPEN, "perhaps")
    for column in columns:
        goal = f"{column.table}: {column.goal.name}"
        if goal not in best or rank.index(column.sure) < rank.index(best[goal].sure):
            best[goal] = column
    taken = {goal.casefold() for goal in best}
    for column in columns:
        goal = f"{column.table}: {column.goal.name}"
        if column.to in (LEFT_OUT, "pots: notes", "photos: photo") or best[goal] is column:
            yield column
            continue
        name = own = _own_name(column)
        while f"pots: {own}".casefold() in taken:
            own = f"{name} ({column.letter})" if own == name else f"{own} again"
        taken.add(f"pots: {own}".casefold())
        why = f"{best[goal].named} goes to '{goal}' already; kept as text"
        yield replace(column, to=f"pots: {own}", cells="", sure="perhaps", why=why)


def _going_down(column: MappedColumn, notes: Notes) -> MappedColumn:
    """Read blank cells below a filled one as the same again, in the column that tells firings apart."""
    filled = notes.cells(column.letter)
    if len(filled) == len(notes.rows) or next(iter(notes.rows)) not in filled:
        return column
    why = f"{column.why}; a blank cell means what stands above it"
    return replace(column, down=True, sure="perhaps" if column.sure == "sure" else column.sure, why=why)


def _spelt_alike(column: MappedColumn, notes: Notes) -> MappedColumn:
    """Say of names of firings and kilns that they are there in several spellings."""
    what = {"pots: firing": "firings", "firings: kiln": "kilns"}.get(column.to)
    alike = spelt_otherwise(cells_of(notes, column).values()) if what else []
    if not alike:
        return column
    why = f"{column.why}; {', '.join(alike)} count as different {what}: write them alike in the notes first"
    return replace(column, sure="perhaps", why=f"{why} if they are one")


def _told_apart(notes: Notes, mapping: Mapping) -> Iterator[MappedColumn]:
    """Keep with the pots what is not the same for all pots of a firing."""
    firings = firing_of_rows(notes, mapping)
    for column in mapping.columns:
        unlike = unlike_rows(notes, column, firings) if column.table == "firings" else {}
        if not unlike or (column.goal.name == "date" and mapping.firings == "by date"):
            yield column
            continue
        firing, rows = next(iter(unlike.items()))
        where = ", ".join(map(str, rows[:4])) + (", …" if len(rows) > 4 else "")
        why = (
            f"{column.why}; but it differs within firing '{firing}' (rows {where}), so it stays with the pots"
        )
        if column.goal.name == "date":
            yield replace(column, to="pots: date (as noted)", cells="", sure="perhaps", why=why)
        else:
            sure = column.sure if column.sure == OPEN else "perhaps"
            yield replace(column, to=f"pots: {column.goal}", sure=sure, why=why)
