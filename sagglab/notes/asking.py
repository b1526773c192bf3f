"""Asking: each column of the notes is shown with its proposal, and the maker agrees or corrects."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable
from dataclasses import replace

from sagglab.errors import BookError
from sagglab.materials import find_material
from sagglab.notes.cells import COMMAS, ORDERS, read_amount, read_date
from sagglab.notes.evidence import Evidence
from sagglab.notes.mapping import FIRINGS, LEFT_OUT, OPEN, YES_OR_NO, MappedColumn, Mapping
from sagglab.notes.words import SPOONS, unit_named
from sagglab.units import Heading, parse_heading

#: A shell is at least so wide.
_WIDTH = 79
_HELP = (
    "Enter                takes the proposal",
    "g   oz   coats   F   the unit of these amounts",
    "sugar [g]            the heading in the table of pots; without [ ] it is text",
    "firings: kiln        the table and the heading there; photos: photo",
    "yes or no            the cells are ticks",
    "day first            how the dates are written; or month first",
    "decimal comma        what the comma in 1,250 is; or thousands comma",
    "4.1 g                what one level spoon weighs, where cells are in spoons",
    "-                    leaves the column out",
    "back                 goes back to the column before",
    "Ctrl-C               ends all of it; nothing is written then",
)
_FIRED = {
    "by date": "by day and kiln",
    "one": "all in one firing",
    "each pot": "each in a firing of its own",
}
#: Said to a machine, and never the heading of a column.
_NO_HEADINGS = frozenset(
    "y yes ok okay n no none next skip quit exit q stop cancel end undo pots firings photos".split()
)
#: Units that amounts of a material come in, the likeliest first, by its use.
_UNITS = {
    "coat": "coats, g, oz or tsp",
    "dusting": "g, oz, tsp or coats",
    "packing": "g, oz, lb or count",
    "wrap": "cm, in, g or count",
}


def ask_mapping(
    mapping: Mapping, ask: Callable[[str], str] | None = None, say: Callable[[str], None] | None = None
) -> Mapping:
    """Show each proposal and let it be accepted or corrected.

    Parameters
    ----------
    mapping : Mapping
        As `propose_mapping` makes it.
    ask : callable, optional
        Gives the answer to a prompt; `input` when it is not given.
    say : callable, optional
        Shows a line; `print` when it is not given.

    Returns
    -------
    Mapping
        With nothing left open.

    Raises
    ------
    BookError
        The answers ended before all was said, or Ctrl-C stopped the questions.

    Examples
    --------
    >>> from sagglab.notes.mapping import MappedColumn
    >>> pot, sugar = MappedColumn("A", "Pot", "pots: pot"), MappedColumn("B", "Sugar", "pots: sugar [g]")
    >>> proposed = Mapping("notes.csv", "", "one", "as noted", (pot, sugar))
    >>> answers = iter(["", "-"])
    >>> said = ask_mapping(proposed, lambda prompt: next(answers), say=[].append)
    >>> [column.to for column in said.columns]
    ['pots: pot', '-']
    """
    ask, say = ask or input, say or print
    for phrase in mapping.around:
        _wrapped(phrase, say, "")
    say(f"{mapping.notes}: where do its {len(mapping.columns)} columns go?")
    say("Enter takes what is proposed, ? or help explains.")
    # How pots come to firing and name is settled last: until then any column can be sent elsewhere.
    firings, mapping = mapping.firings, replace(mapping, firings=OPEN, pots="numbered")
    place, asked = 0, None
    try:
        while place < len(mapping.columns):
            if asked != (mapping, place):
                _show(mapping.columns[place], place, len(mapping.columns), say)
            asked = mapping, place
            answer = ask("> ").strip()
            if _asks_for_help(answer):
                for line in _HELP:
                    say(f"  {line}")
                asked = None
            elif answer.casefold() == "back":
                place, asked = max(0, place - 1), None
            else:
                mapping, place = _answered(mapping, place, answer, say)
        return _grouped(replace(mapping, firings=firings), ask, say)
    except (EOFError, KeyboardInterrupt) as error:
        say("")  # the shell's line with the question is still open
        stopped = isinstance(error, KeyboardInterrupt)
        raise BookError(
            f"the mapping of {mapping.notes}",
            f"{'stopped' if stopped else 'the answers ended before all was said'}; nothing was written",
            "run it again, or correct the mapping in a file and give that",
        ) from error


def _asks_for_help(answer: str) -> bool:
    return answer.casefold() in ("?", "help")


def _wrapped(text: str, say: Callable[[str], None], indent: str = "  ") -> None:
    say("\n".join(textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent="  ")))


def _show(column: MappedColumn, place: int, count: int, say: Callable[[str], None]) -> None:
    say("")
    say(_short(f"{place + 1} of {count}: column {column.letter}, '{column.heading}'"))
    if column.such_as:
        say(_short(f"  such as  {' | '.join(column.such_as)}"))
    goal = "left out" if column.to == LEFT_OUT else column.to
    read = f", {column.cells}" if column.cells not in ("", OPEN) else ""
    view = f", {column.view}" if column.view else ""
    say(_short(f"  goes to  {goal}{read}{view}"))
    mark = {"sure": "because", "perhaps": "perhaps", OPEN: "to say"}[column.sure]
    lines = textwrap.wrap(column.why, _WIDTH - 11) or [""]
    say(f"  {mark:7}  {lines[0]}")
    for line in lines[1:]:
        say(f"           {line}")


def _short(line: str) -> str:
    line = " ".join(line.splitlines())
    return line if len(line) <= _WIDTH else line[: _WIDTH - 1] + "…"


def _answered(mapping: Mapping, place: int, answer: str, say: Callable[[str], None]) -> tuple[Mapping, int]:
    column = mapping.columns[place]
    if not answer:
        if column.is_open:
            _wrapped(f"This has to be said first: {_can_type(column)}", say)
            return mapping, place
        return mapping, place + 1
    try:
        mapping = mapping.with_column(column.letter, **changes_by(column, answer))
        mapping = _with_figures_open(mapping, place)
    except BookError as error:
        # The units that any heading may have are not those that fit here.
        cause = error.cause.partition("; write")[0]
        _wrapped(f"{cause}. You can {_can_type(column)}", say)
        return mapping, place
    say(_short(f"  {_where_to(mapping.columns[place])}"))
    # What is still open after this answer is asked at once, before the next column.
    if mapping.columns[place].is_open:
        left = "its unit" if mapping.columns[place].goal.unit == OPEN else "how its figures are written"
        now = replace(mapping.columns[place], sure=OPEN, why=f"{left} is still to be said ({column.why})")
        columns = (*mapping.columns[:place], now, *mapping.columns[place + 1 :])
        return replace(mapping, columns=columns), place
    return mapping, place + 1


def _with_figures_open(mapping: Mapping, place: int) -> Mapping:
    """Leave open how dates or commas are written, where a column was sent to such and does not tell it."""
    column = mapping.columns[place]
    evidence, cells = Evidence(dict(enumerate(column.such_as))), column.cells
    if column.declared is not None and column.declared.kind == "date":
        cells = cells or evidence.order
    elif column.goal.unit is not None:
        cells = cells or evidence.comma("")
    columns = (*mapping.columns[:place], replace(column, cells=cells), *mapping.columns[place + 1 :])
    return replace(mapping, columns=columns)


def _where_to(column: MappedColumn) -> str:
    if column.to == LEFT_OUT:
        return "it is left out"
    known = column.declared or column.goal.unit is not None or find_material(column.goal.name)
    # Any word can be a heading, and may have been meant otherwise.
    return f"it goes to {column.to}" + ("" if known else ", a column of your own; back changes it")


def _can_type(column: MappedColumn) -> str:
    """Say what can be typed of a column."""
    rest = "; - leaves the column out, ? explains."
    if column.goal.unit == OPEN and column.spoon:
        return f"type what one level {SPOONS[column.spoon]} weighs, as 4.1 g{rest}"
    if column.goal.unit == OPEN:
        material, declared = find_material(column.goal.name), column.declared
        units = _UNITS[material.use] if material else "g, oz, coats, cm, in, C, F or min"
        if re.search("temp|peak", column.goal.name, re.IGNORECASE):
            units = "C or F"
        elif declared:
            units = {"cm": "cm, mm or in", "min": "min or h"}.get(declared.unit, declared.unit)
        return f"type the unit: {units}{rest}"
    if column.cells == OPEN:
        dates = any(read_date(cell, order) for cell in column.such_as for order in ORDERS)
        return f"type {' or '.join(ORDERS if dates else COMMAS)}{rest}"
    return f"type a heading, such as sugar [g] or firings: kiln, or Enter for what is proposed{rest}"


def changes_by(column: MappedColumn, answer: str) -> dict[str, object]:
    """Understand an answer to the question where a column goes.

    Parameters
    ----------
    column : MappedColumn
        As it is proposed.
    answer : str

    Returns
    -------
    dict
        What `Mapping.with_column` shall change.

    Raises
    ------
    BookError
        It is a word that heads no column.

    Examples
    --------
    >>> changes_by(MappedColumn("D", "Sugar", "pots: sugar [?]"), "oz")
    {'to': 'pots: sugar [oz]'}
    >>> changes_by(MappedColumn("D", "Sugar", "pots: sugar [?]"), "firings: kiln")
    {'to': 'firings: kiln', 'cells': ''}
    """
    word = answer.casefold()
    if word.rstrip(":") in _NO_HEADINGS:
        raise BookError(column.named, f"'{answer}' is not understood", "")
    if answer == LEFT_OUT:
        return {"to": LEFT_OUT, "cells": "", "spoon_g": None}
    if word in (*ORDERS, *COMMAS):
        return {"cells": word}
    if word in (YES_OR_NO, "yes/no"):
        return {"cells": YES_OR_NO, "to": f"{column.table or 'pots'}: {column.goal.name or column.heading}"}
    unit = unit_named(answer.strip("[] "))
    if unit not in (None, "degrees", "spoon") and column.goal.unit is not None:
        return {"to": f"{column.table}: {Heading(column.goal.name, unit)}"}
    weight = read_amount(answer)
    if weight is not None and column.goal.unit is not None:
        grams = weight.value if weight.unit == "g" else float("nan")
        return {"spoon_g": grams, "to": f"{column.table}: {Heading(column.goal.name, 'g')}"}
    whole = re.match(r"(pots|firings|photos): ", answer)
    if column.goal.unit == OPEN and not whole and "[" not in answer and column.goal.name not in answer:
        # A misspelt unit would else become the name of a column of text.
        return {"to": f"{column.table}: {Heading(column.goal.name, answer)}"}
    to = answer if whole else f"pots: {answer}"
    goal = parse_heading(to.partition(": ")[2])
    # How figures are written stays to be said when the column only gets another name.
    keeps = goal.unit is not None and column.goal.unit is not None
    return {"to": to} | ({} if keeps else {"cells": ""})


def _grouped(mapping: Mapping, ask: Callable[[str], str], say: Callable[[str], None]) -> Mapping:
    """Ask how pots come to their firing and name where no column tells it any more."""
    goals = {column.to for column in mapping.columns}
    pots = "as noted" if "pots: pot" in goals else "numbered"
    firings = mapping.firings
    if "pots: firing" in goals:
        firings = "as noted"
    elif firings == "as noted" or (firings == "by date" and "firings: date" not in goals):
        firings = OPEN
    if pots == "numbered":
        say("\nNo column names the pots: they are numbered p01, p02, … in the order of the rows.")
    possible = [kind for kind in FIRINGS[1:4] if kind != "by date" or "firings: date" in goals]
    while firings == OPEN:
        say("\nNo column tells the firing. How were the pots fired?")
        _wrapped("; ".join(f"{kind}: {_FIRED[kind]}" for kind in possible), say)
        answer = ask("> ").strip()
        firings = answer.casefold() if answer.casefold() in possible else OPEN
        if firings == OPEN and not _asks_for_help(answer):
            why = f"'{answer}' is not understood" if answer else "This has to be said"
            say(_short(f"  {why}: type {' or '.join(possible)}."))
    made = replace(mapping, pots=pots, firings=firings)
    if made.faults():
        raise BookError(f"the mapping of {mapping.notes}", "; ".join(made.faults()), "run it again")
    return made
