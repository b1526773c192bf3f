"""Words: what headings, units and cells of notes are called, in the languages that potters write them in.

The table is `words.csv`, from memory: English, German, French, Spanish, Italian and Dutch, as far as its
writer was sure of a word. Names of materials come from `sagglab.materials` as well.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from sagglab.columns import BOOK_TABLES
from sagglab.materials import find_material

#: Below this likeness two words are two: "weight" and "height" have 0.83, "diametr" and "diameter" 0.93.
LIKENESS = 0.85

#: Spoons that amounts come in, as pint names them, and in words; pint has no spoon of no known size.
SPOONS = {"tsp": "teaspoon", "tbsp": "tablespoon", "spoon": "spoon"}


@dataclass(frozen=True)
class ReadHeading:
    """What a heading seems to say.

    Attributes
    ----------
    name : str
        The heading without its unit, as written.
    unit : str or None
        The unit that it states, as headings of a book write it.
    meanings : tuple of str
        Where a column of this name can go, ``TABLE: heading``, or ``material: NAME``; empty when unknown.
    exact : bool
        False when the name is only like a known word.
    word : str
        The known word.
    """

    name: str
    unit: str | None
    meanings: tuple[str, ...]
    exact: bool
    word: str


def plain(text: str) -> str:
    """Write a word without case, accents, dots and doubled spaces.

    Examples
    --------
    >>> plain(" Höhe_(Topf). "), plain("Pot #"), plain("N° pièce")
    ('hohe (topf)', 'pot #', 'n° piece')
    """
    decomposed = unicodedata.normalize("NFKD", text.replace("º", "°").casefold())
    letters = "".join(letter for letter in decomposed if not unicodedata.combining(letter))
    return re.sub(r"[\s_.:?!*]+", " ", letters).strip(" -,;")


@cache
def _known() -> dict[str, dict[str, tuple[str, ...]]]:
    """Give, for each kind of word, the meanings of each, in the order of the table."""
    known: dict[str, dict[str, tuple[str, ...]]] = {}

    def add(kind: str, word: str, means: str) -> None:
        meanings = known.setdefault(kind, {}).get(plain(word), ())
        if means not in meanings:
            known[kind][plain(word)] = (*meanings, means)

    for table, columns in BOOK_TABLES.items():
        for column in columns if table in ("pots", "firings", "photos") else ():
            # What several tables have is meant of the pot where nothing else is said.
            if column.name not in ("setup", "taken", "plan", "day", "channel", "after", "view"):
                add("heading", column.name, f"{table}: {column.heading}")
    text = (files("sagglab.notes") / "words.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        kind, _, means = row["means"].partition(": ")
        heads = kind in ("pots", "firings", "photos", "material")
        for word in row["words"].split(";"):
            if heads:
                add("heading", word, row["means"])
            else:
                add(kind, word, means)
    return known


def unit_named(text: str) -> str | None:
    """Name a unit as a heading of the book writes it; none for what is no unit.

    Examples
    --------
    >>> unit_named("ounces"), unit_named("Schichten"), unit_named("°F"), unit_named("handful")
    ('oz', 'coats', 'degF', None)
    """
    return _first("unit", text)


def cell_word(text: str) -> str | None:
    """Say whether a cell is ``yes``, ``no``, ``none`` or heads a ``total``; none for any other.

    Examples
    --------
    >>> cell_word("x"), cell_word("Nein"), cell_word("Total"), cell_word("sugar")
    ('yes', 'no', 'total', None)
    """
    return _first("cell", text)


def state_named(text: str) -> str | None:
    """Name the state of a pot, ``whole``, ``cracked`` or ``lost``; none for any other text."""
    return _first("state", text)


@cache
def states_asked(heading: str) -> dict[str, str]:
    """Give the states that yes and no tell below a heading; none where it does not ask of one.

    Examples
    --------
    >>> states_asked("Cracked?"), states_asked("survived"), states_asked("State")
    ({'yes': 'cracked', 'no': 'whole'}, {'yes': 'whole', 'no': 'lost'}, {})
    """
    read = read_heading(heading)
    asked = re.split(" or ", read.word)[0]
    yes = state_named(asked) if "pots: state" in read.meanings else None
    return {} if yes is None else {"yes": yes, "no": "lost" if yes == "whole" else "whole"}


def view_named(text: str) -> str:
    """Name the side that a heading of photographs speaks of; empty for none."""
    words = plain(text).split()
    return next((view for word in words if (view := _first("view", word))), "")


def month_named(text: str) -> int | None:
    """Give the number of a month that is written as a word."""
    month = _first("month", text)
    return None if month is None else int(month)


def _first(kind: str, text: str) -> str | None:
    meanings = _known()[kind].get(plain(text))
    return meanings[0] if meanings else None


@cache
def read_heading(text: str) -> ReadHeading:
    """Take the heading of somebody's notes apart.

    Examples
    --------
    >>> read_heading("Sugar g").meanings, read_heading("Sugar g").unit
    (('material: sugar',), 'g')
    >>> read_heading("Höchsttemp. °C").meanings, read_heading("Höchsttemp. °C").unit
    (('firings: noted peak [degC]',), 'degC')
    >>> read_heading("What I felt").meanings
    ()
    >>> read_heading("Spitze in °C").name, read_heading("Spitze in °C").unit
    ('Spitze', 'degC')
    """
    likely: ReadHeading | None = None
    stripped = _without_noise(text)
    cuts = [(cut, False) for cut in _cuts(text)] + [
        (cut, True) for cut in _cuts(stripped) if stripped != text
    ]
    for loose in (False, True):
        for (name, unit, bracketed), numbers_only in cuts:
            meanings, exact, word = _meanings(name, loose)
            # A last word such as "C" or "in" is a unit, and "number of" is noise, only about amounts.
            if (numbers_only or (unit and not bracketed)) and not all(map(is_of_numbers, meanings)):
                continue
            read = ReadHeading(name, unit, meanings, exact, word)
            if meanings and exact:
                return read
            better = likely is None or (not likely.meanings and loose) or (unit and likely.unit is None)
            # Nothing else is written with this sign and letter, whatever the name.
            degrees = unit in ("degC", "degF") and re.search(r"[°º][CF]$|[℃℉]$", text, re.IGNORECASE)
            if (meanings or bracketed or degrees) and better:
                likely = read
    return likely or ReadHeading(text.strip(), None, (), False, "")


def is_of_numbers(meaning: str) -> bool:
    """Whether a meaning is a column of amounts or marks."""
    return meaning.startswith("material") or "[" in meaning or meaning == "pots: rating"


def _cuts(text: str) -> list[tuple[str, str | None, bool]]:
    """Cut a heading into name and unit in every way that it can be meant, the likeliest first."""
    text = " ".join(text.split())
    cuts: list[tuple[str, str | None, bool]] = []
    bracketed = re.fullmatch(r"(.*?)\s*[(\[]\s*(?:in |en )?([^()\[\]]*?)\s*[)\]]\s*(.*)", text)
    if bracketed:
        before, inside, after = bracketed.groups()
        inside = _without_noise(inside)
        unit = unit_named(
            re.sub(r"\s*(?:/|per|je|par|por)\s*(?:pot|piece|topf|stück|pièce|pieza)$", "", inside)
        )
        if unit and (before or after):
            cuts.append((f"{before} {after}".strip(), unit, True))
        elif before:
            cuts.append((before, None, False))
    cuts.insert(len(cuts) if cuts and cuts[0][2] else 0, (text, None, False))
    for pattern in (
        r"(.*?)\s*[,/]\s*([^,/]+)",
        r"(.*?\S)\s+(?:in |en )?(\S+ \S+)",
        r"(.*?\S)\s+(?:in |en )?(\S+)",
        r"(.*?)\s*(?:\b(?:in|en)\s*)?([°º][CF])",
    ):
        match = re.fullmatch(pattern, text)
        if match and (unit := unit_named(match[2])) and match[1]:
            cuts.append((match[1].rstrip(" ,-"), unit, False))
    first = text.split(" ", 1)
    if len(first) > 1 and (unit := unit_named(first[0])) and len(first[0]) > 1:
        cuts.append((re.sub(r"^(?:of|de|d') ?", "", first[1]), unit, False))
    return cuts


def _meanings(name: str, loose: bool) -> tuple[tuple[str, ...], bool, str]:
    words = _known()["heading"]
    plainly = plain(name)
    forms = [plainly, re.sub(r"\s*[#°]$|^[#°]\s*", "", plainly) or plainly]
    if loose:
        # The first name of two, as in "pot / piece" and "date & time", and one of several, as in "photo 2".
        forms = [re.split(r"\s*[/(&]", plainly, maxsplit=1)[0].strip(), re.sub(r"\s*\d+$", "", plainly)]
    forms = [form for form in forms if form]
    forms += [form[:-1] for form in forms if len(form) > 3 and form[-1] == "s"]
    for form in dict.fromkeys(forms):
        if form in words:
            return words[form], True, form
        material = find_material(form)
        if material is not None:
            return (f"material: {material.name}",), True, form
    if not loose:
        return (), False, ""
    # The same words in another order, as "wire (copper)", or an amount with more said of it: "height of pot".
    parts = re.findall(r"[^\s()/,]+", plainly)
    other = next((word for word in words if len(parts) > 1 and sorted(word.split()) == sorted(parts)), "")
    starts = [" ".join(parts[:count]) for count in range(len(parts) - 1, 0, -1)]
    for start in filter(None, [other, *starts]):
        material = find_material(start)
        meanings = words.get(start, () if material is None else (f"material: {material.name}",))
        if meanings and (start == other or (len(start) > 3 and all(map(is_of_numbers, meanings)))):
            return meanings, False, start
    # Short words are like each other by chance.
    near = get_close_matches(plainly, words, 1, LIKENESS) if len(plainly) > 4 else []
    return (words[near[0]], False, near[0]) if near else ((), False, "")


def _without_noise(text: str) -> str:
    """Take away what says nothing at either end, such as "amount of"."""
    shorter = plain(text)
    for word in sorted(_known()["noise"], key=len, reverse=True):
        shorter = re.sub(rf"(^{re.escape(word)} | {re.escape(word)}$)", "", shorter).strip()
    return text if shorter == plain(text) else shorter
