"""What the class pack's pages say, as plain data for them to lay out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from sagglab.handout.blank_sheet import student_sheet
from sagglab.handout.content import sheet_content
from sagglab.handout.wording import breakable, unbroken

if TYPE_CHECKING:
    from sagglab.handout.class_pack import ClassPack

#: What a leader has ready before anybody comes. Common practice, no source.
AT_HAND = (
    "Water: running, or two full buckets; for skin and for grass, never into a hot kiln or onto molten foil.",
    "Fire extinguisher: dry powder, in date, where nobody has to pass the fire to reach it. A gas flame is "
    "put out by shutting the cylinder.",
    "Carbon monoxide alarm: tested today, where people stand.",
    "Eye wash: sealed bottles or clean running water, near where coats and salts are used; rinse for a "
    "quarter of an hour, and call for help.",
    "First aid: a box with burn dressings; cool a burn under running water for twenty minutes.",
    "Telephone: charged, with the emergency number and the address of this place written beside it.",
    "Safety data sheets: of each material on these pages, on paper.",
    "Goggles, gloves, respirators: for everybody and two to spare, in date.",
    "Rinsings: a labelled tub with a lid for what holds ferric chloride or salts.",
    "A person: one who does nothing but watch the kiln, and can shut the gas.",
)

#: How tags are used. Common practice, no source.
TAGS_NOTE = (
    "Cut along the dashed lines; tie a tag to each pot at the bench. Paper burns: for the fire scratch the "
    "tag into the foot of the pot, or wire a steel one to the saggar. Aluminium melts."
)

#: Letters of a name on paper; all of it stands in the table.
_LONGEST_NAME = 60


def pack_content(pack: ClassPack) -> dict[str, object]:
    """Gather all words of a class pack.

    Parameters
    ----------
    pack : ClassPack

    Returns
    -------
    dict
        Texts, lists and numbers alone, ready to be written as JSON.

    Raises
    ------
    PlanError
        A firing's schedule cannot be understood.
    """
    batch = sheet_content(pack.sheet)
    pots = _by_row(pack, batch)
    foil = _foil(pack)
    people = len(pack.participants)
    kept = (
        "foot",
        "tag",
        "order",
        "totals",
        "totals_note",
        "short",
        "foil_note",
        "notes",
        "work",
        "cautions",
    )
    return {
        **{key: batch[key] for key in kept},
        "title": f"Class pack: {batch['tag']}",
        "heading": breakable(pack.heading),
        "counts": f"{people} participant{'' if people == 1 else 's'}, {batch['counts']}",
        "list": _leaders_list(pack, pots),
        "foil": foil,
        "foil_in_all": _metres(pack.sheet.foil.pieces),
        "at_hand": AT_HAND,
        "tags_note": TAGS_NOTE,
        "tags": [_tag(pack, pots[row], number) for row, number in pack.table["number"].items()],
        "sheets": [_sheet(pack, pots[row], row, number) for row, number in pack.table["number"].items()],
    }


def _by_row(pack: ClassPack, batch: dict) -> dict[int, dict[str, object]]:
    """Give what the bench sheet's pages say of each pot, by its row in the sheet's table."""
    table = pack.sheet.table
    told = {}
    for firing, page in zip(pack.sheet.firings["firing"], batch["firings"], strict=True):
        for row, pot in zip(table.index[table["firing"] == firing], page["pots"], strict=True):
            told[row] = {**pot, "fired": page}
    return told


def _leaders_list(pack: ClassPack, pots: dict) -> list[list[str]]:
    rows, named = [], set()
    for row, number in pack.table["number"].items():
        pot = pots[row]
        # The number on each row, since the list goes on over pages; the name once.
        name = "" if number in named else _name(pack, number)
        named.add(number)
        rows.append([str(number), name, pot["pot"], pot["fired"]["firing"], _day(pot), pot["place"]])
    return rows


def _day(pot: dict) -> str:
    return pot["fired"]["day"].removeprefix("day ")


def _name(pack: ClassPack, number: int) -> str:
    name = pack.participants[number - 1]
    if len(name) > _LONGEST_NAME:
        name = f"{name[:_LONGEST_NAME].rstrip()}…"
    return breakable(name)


def _whose(pack: ClassPack, number: int) -> str:
    """Say whose a pot is: by number, and by name where there is one."""
    name = _name(pack, number)
    return f"{number} · {name}" if name else f"participant {number}"


def _amounts(step: list[list[str]]) -> list[tuple[str, str]]:
    return [(name, f"{amount} ({spoons})" if spoons else amount) for name, amount, spoons in step]


def _tag(pack: ClassPack, pot: dict, number: int) -> dict[str, str]:
    fired = pot["fired"]
    recipe = [" ".join(filter(None, amount)) for step in pot["steps"] for amount in _amounts(step)]
    return {
        "pot": pot["pot"],
        "whose": _whose(pack, number),
        "where": " · ".join(filter(None, [fired["firing"], fired["day"], pot["place"]])),
        "recipe": ", ".join([*pot["about"], *recipe]) or "nothing added",
    }


def _sheet(pack: ClassPack, pot: dict, row: int, number: int) -> dict[str, object]:
    fired = pot["fired"]
    coated, dusted, wrapped = (_amounts(step) for step in pot["steps"])
    pieces = pack.sheet.foil.pieces.loc[row]
    filled = student_sheet(
        name=f"{number} · {_name(pack, number)}",  # where there is no name, one is written behind it
        pot=pot["pot"],
        clay=", ".join(pot["about"]),
        firing=" · ".join(filter(None, [fired["firing"], fired["day"]])),
        place=pot["place"].removeprefix("place "),
        peak=", ".join(filter(None, [fired["peak"], fired["minutes"]])),
        steps=(coated, dusted, [*wrapped, ("foil to cut", _cut(pieces))]),
        climb=fired["climb"],
    )
    return {**filled, "whose": f"pot {pot['pot']} of {_whose(pack, number).removesuffix(' ·')}"}


def _length_cm(lengths: pd.Series | float) -> pd.Series | float:
    # Rounded up, with room for a figure's last bits: a strip that is too short wraps nothing.
    return np.ceil(lengths - 1e-6)


def _cut(pieces: pd.Series) -> str:
    count = int(pieces["pieces"])
    size = f"{_length_cm(pieces['length [cm]']):.0f} × {pieces['width [cm]']:g} cm"
    return f"{count} piece{'' if count == 1 else 's'}, {unbroken(size)}"


def _metres(pieces: pd.DataFrame) -> str:
    tenths = (pieces["pieces"] * _length_cm(pieces["length [cm]"])).sum() / 10
    return f"{np.ceil(tenths) / 10:.1f} m"


def _foil(pack: ClassPack) -> list[list[str]]:
    """Tell what to cut, pots that need the same together: which, each, pieces in all, off the roll."""
    pieces = pack.sheet.foil.pieces
    keys = [pieces["pieces"], _length_cm(pieces["length [cm]"]), pieces["width [cm]"]]
    groups = [alike for _, alike in pieces.groupby(keys, sort=False)]
    all_alike = f"all {len(pieces)} pots" if len(groups) == 1 < len(pieces) else ""
    return [
        [
            all_alike or ", ".join(breakable(str(pot)) for pot in alike["pot"]),
            _cut(alike.iloc[0]),
            str(int(alike["pieces"].sum())),
            _metres(alike),
        ]
        for alike in groups
    ]
