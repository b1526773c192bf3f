"""Amounts: where a column of amounts of somebody's notes goes, its unit stated or asked for."""

from __future__ import annotations

from dataclasses import replace

from sagglab.columns import BOOK_TABLES
from sagglab.materials import find_material
from sagglab.notes.cells import read_amount, same_kind
from sagglab.notes.evidence import Evidence
from sagglab.notes.mapping import OPEN, YES_OR_NO, MappedColumn
from sagglab.notes.words import SPOONS

#: Above this many degrees a peak in °C would be hotter than foil and fuel of a saggar firing make it; 900 °F
#: is colder than any. No source: potters' practice.
HOT = 900


def propose_amount(
    column: MappedColumn, table: str, name: str, unit: str | None, evidence: Evidence, everything: str
) -> MappedColumn:
    """Propose a column of amounts: its unit is stated, or asked for."""
    material = find_material(name)
    if not evidence.are_amounts:
        if evidence.are_ticks and material is not None:
            blank = "" if evidence.says_no else ", and no where it is blank"
            why = f"{column.why}, and its cells say yes or no{blank}: how much is not told"
            return replace(column, to=f"{table}: {name}", cells=YES_OR_NO, sure="perhaps", why=why)
        why = f"{column.why}, but its cells are no amounts: kept as text"
        return replace(column, to=f"{table}: {name} (as noted)", sure="perhaps", why=why)
    comma = evidence.comma(everything)
    unit = None if unit == "degrees" else unit
    stated = [unit] if unit else list(evidence.units)
    spoon = next((one for one in SPOONS if one in stated), "")
    if spoon and material is not None:
        measure = "" if spoon == "spoon" else f", or {spoon} for the spoon as a measure"
        why = f"{column.why}, in spoons: say what one level {SPOONS[spoon]} of it weighs, as 4.1 g{measure}"
        why += f", or keep the text as '{name} (as noted)'"
        to = f"{table}: {name} [{OPEN}]"
        return replace(column, to=to, cells=comma, spoon=spoon, sure=OPEN, why=why)
    wanted = next((c.unit for c in BOOK_TABLES[table] if c.name == name), "degC" if "peak" in name else "")
    alike = all(same_kind(one, wanted or stated[0]) for one in stated)
    if stated and not alike:
        why = f"{column.why}, but in {' and '.join(stated)}, which cannot be joined: kept as text"
        return replace(column, to=f"{table}: {name} (as noted)", sure="perhaps", why=why)
    if unit is None and (not stated or evidence.bare):
        return replace(
            column,
            to=f"{table}: {name} [{OPEN}]",
            cells=comma,
            sure=OPEN,
            why=f"{column.why}; no unit is stated{hint_of(name, evidence)}: say which it is",
        )
    chosen = unit or evidence.units.most_common(1)[0][0]
    why = f"{column.why}, in {chosen.replace('deg', '°')}" + ("" if unit else ", as its cells say")
    if comma == OPEN:
        why += f"; a comma as in '{_open_comma(evidence)}' can stand before decimals or thousands: say which"
    sure = OPEN if comma == OPEN else column.sure
    return replace(column, to=f"{table}: {name} [{chosen}]", cells=comma, sure=sure, why=why)


def _open_comma(evidence: Evidence) -> str:
    return next(cell for cell in evidence.texts if read_amount(cell) is None and "," in cell)


def hint_of(name: str, evidence: Evidence) -> str:
    """Say what the numbers hint at; no more than a hint."""
    if evidence.units:
        cells = f"{evidence.bare} cell{'s' if evidence.bare > 1 else ''}"
        return f" in {cells}, and {' and '.join(evidence.units)} in others"
    values = [amount.value for amount in evidence.amounts]
    if "peak" in name or "temp" in name:
        if max(values) > HOT:
            return f" (above {HOT} hints at °F)"
        return f" (none above {HOT}: °C more likely than °F)"
    material = find_material(name)
    few = all(value == int(value) and 0 <= value <= 6 for value in values)
    if material is not None and material.use == "coat" and few:
        return f" (whole numbers from {min(values):g} to {max(values):g}: coats?)"
    if set(values) <= {0, 1}:
        return " (0 and 1 alone: yes or no?)"
    return ""
