"""Turned: one cell of notes as the batch book writes it, or what is wrong with it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from sagglab.book.tables import blank_is_none
from sagglab.delimited import number
from sagglab.errors import UnitError
from sagglab.materials import find_material
from sagglab.notes.cells import Amount, in_unit, read_amount, read_date, same_kind, written
from sagglab.notes.evidence import DASHES, NOT_KNOWN
from sagglab.notes.mapping import YES_OR_NO, MappedColumn
from sagglab.notes.words import SPOONS, cell_word, read_heading, state_named, states_asked
from sagglab.units import working_unit

#: No clay is fired below this; "1.050" for 1050 is.
COLDEST_PEAK_C = 200.0


@dataclass(frozen=True)
class Turned:
    """A cell as it goes into the book.

    Attributes
    ----------
    cell : str
        What stands in the table.
    kept : str
        What has to be kept in the notes of the pot besides.
    cause, remedy : str
        What is to be known of it; empty when all is well.
    stops : bool
        True when the book has a number less, or a wrong one, until it is mended.
    """

    cell: str
    kept: str = ""
    cause: str = ""
    remedy: str = ""
    stops: bool = False


def turn(column: MappedColumn, text: str) -> Turned:
    """Turn one cell that is not blank into what the column's goal holds."""
    goal, declared = column.goal, column.declared
    if text in NOT_KNOWN and (declared is not None or goal.unit is not None or column.cells == YES_OR_NO):
        return _unknown(column, text)
    if column.cells == YES_OR_NO:
        said = cell_word({"1": "yes", "0": "no"}.get(text, text))
        word = {"yes": "yes", "no": "no", "none": "no"}.get(said or "", text)
        if declared is None:
            return Turned(word)
        # "ok" is a yes elsewhere; of a pot it says that it is whole, whatever the heading asks.
        return Turned(state_named(text) or states_asked(column.heading).get(word, text))
    if declared is not None and declared.kind == "date":
        day = read_date(text, column.cells)
        return Turned(day) if day else _not_turned(text, "is no date", "write it as 2026-05-31")
    if goal.name == "rating" and declared is not None:
        return _rating(text)
    if goal.unit is not None:
        return _amount(column, text)
    if goal.name == "state" and declared is not None:
        return Turned(state_named(text) or text)
    if declared is None and read_amount(text) is not None and number(text) == number(text):
        # The book takes a bare number under such a name for an amount without a unit, and stops.
        if find_material(goal.name) is not None or "temperature" in goal.name.casefold():
            return _not_turned(text, "is a number, and the heading has no unit", "give the heading its unit")
    return Turned(text)


def counts_as_none(column: MappedColumn) -> bool:
    """Whether the book takes a blank cell of this column for none of it: dustings and packings."""
    if column.table != "pots" or column.declared is not None or column.goal.unit is None:
        return False
    return blank_is_none(column.goal.name, working_unit(column.goal.unit))


def _unknown(column: MappedColumn, text: str) -> Turned:
    if counts_as_none(column):
        cause = f"'{text}' says that it is not known, and a blank would count as none"
        return Turned(text, "", cause, f"write how many {column.goal.unit} it was, or 0", True)
    return _not_turned(text, "says that it is not known: left blank", "write it there when you know it")


def _not_turned(text: str, cause: str, remedy: str, stops: bool = False) -> Turned:
    return Turned("", text, f"'{text}' {cause}", remedy, stops)


def _rating(text: str) -> Turned:
    stars = re.fullmatch(r"[★*]{1,5}", text)
    if stars:
        return Turned(str(len(text)))
    of_five = re.fullmatch(r"([\d.,]+)\s*/\s*5", text)
    said = of_five[1] if of_five else text
    # "1,250" can be a thousand and more as well.
    if re.fullmatch(r"[1-5](?:[.,]\d{1,2})?", said) and number(said) <= 5:
        return Turned(written(number(said)))
    return _not_turned(text, "is no rating from 1 to 5", "write 1 to 5, or give the column another name")


def _amount(column: MappedColumn, text: str) -> Turned:
    if text in DASHES:
        return Turned("", "", f"'{text}' was taken for a blank", "write 0 where there was none")
    if cell_word(text) == "none":
        return Turned("0")
    amount = read_amount(text, column.cells)
    value, cause = None, "is no amount"
    if amount is not None:
        value, cause = _value(column, amount)
    if value is None:
        remedy = f"write a number in {column.goal.unit}"
        if counts_as_none(column):
            # Left blank it would count as none, without a word: in its place the book goes on to name it.
            return Turned(text, "", f"'{text}' {cause}", remedy, True)
        return _not_turned(text, cause, remedy)
    if amount.about:
        return Turned(
            written(value),
            text,
            f"'{text}' was taken for {written(value)}",
            "write the exact one where it is known",
        )
    if column.table == "firings" and "peak" in column.goal.name and _in_degC(column, value) < COLDEST_PEAK_C:
        cause = f"'{text}' is colder than any firing"
        return Turned(written(value), "", cause, "see that thousands and unit are right", True)
    return Turned(written(value))


def _in_degC(column: MappedColumn, value: float) -> float:
    return in_unit(Amount(value, column.goal.unit), "degC")


def _value(column: MappedColumn, amount: Amount) -> tuple[float | None, str]:
    goal, stated = column.goal.unit, read_heading(column.heading).unit
    stated = None if stated == "degrees" else stated
    unit = amount.unit
    if stated and unit and unit != stated and not (stated in SPOONS and unit in SPOONS):
        return None, f"is in {unit}, and the heading says {stated}"
    unit = unit or stated
    if unit in SPOONS and column.spoon_g is not None:
        if unit != column.spoon and "spoon" in (unit, column.spoon):
            return None, f"is in {unit}, and what was weighed is one {column.spoon}"
        return in_unit(Amount(amount.value, unit), column.spoon) * column.spoon_g, ""
    if unit is None and column.spoon_g is not None and amount.value != 0:
        return None, "may be spoons or grams"
    if unit == "spoon":
        return None, "is in spoons, and what one weighs is not told"
    # Without a unit in the cell or the heading, that which the maker named counts.
    unit = unit or goal
    try:
        value = in_unit(Amount(amount.value, unit), goal)
    except UnitError:
        return None, f"is in {unit}, which cannot be turned into {goal}"
    if value < 0 and not same_kind(goal, "degC"):
        return None, "is below nothing"
    return value, ""
