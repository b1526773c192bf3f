"""Cells of notes: amounts with or without their unit, dates in any order, names of photographs."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass

from sagglab.delimited import number, year_in_full
from sagglab.errors import UnitError
from sagglab.notes.words import month_named, unit_named
from sagglab.units import convert

#: How dates of figures alone can be ordered where the year does not go first.
ORDERS = ("day first", "month first")
#: What a comma before three figures can be: "1,250" is one and a quarter, or a thousand and more.
COMMAS = ("decimal comma", "thousands comma")

_ABOUT = r"(?:(?:~|≈|about|approx\.?|circa|ca\.?|etwa|env\.?|environ)\s*)?"
_FRACTION = r"(?:(?P<whole>\d+)[\s-]+)?(?P<above>\d+)\s*[/⁄]\s*(?P<below>[1-9]\d*)"
#: A space between thousands is what ISO 80000-1 asks for (from memory), and what France writes: "1 020".
_SPACED = r"[1-9]\d{0,2}(?: \d{3})+(?![\d/⁄])(?:[.,]\d+)?"
_FIGURES = rf"[-+−]?(?:{_SPACED}|\d[\d.,]*(?:[eE][-+]?\d+)?|[.,]\d+)"
_AMOUNT = re.compile(
    rf"(?P<about>{_ABOUT})(?:{_FRACTION}|(?P<number>{_FIGURES}))(?P<rest>.*)", re.IGNORECASE | re.DOTALL
)
_PICTURE = r"\.(?:jpe?g|png|tiff?|heic|heif|dng|cr2|cr3|nef|arw|raf|orf|rw2)"
#: What stands between two names that end as files do; a name may have such a word in it.
_AND = rf"({_PICTURE})(?:\s*[/+&]\s*|\s+(?:and|und|et|y|e|en)\s+)"
_CAMERA_NAME = re.compile(r"(?:img|dsc[fn]?|pxl|mvimg)[_-]?\d{3,}\S*", re.IGNORECASE)


@dataclass(frozen=True)
class Amount:
    """A number as it was noted.

    Attributes
    ----------
    value : float
    unit : str or None
        The unit beside it, as headings write it; none where there is none.
    about : bool
        True when it was noted as a rough or a doubtful one.
    """

    value: float
    unit: str | None = None
    about: bool = False


def read_amount(cell: str, comma: str = "") -> Amount | None:
    """Read an amount; none when the cell is no single number, with a known unit or without.

    Parameters
    ----------
    cell : str
    comma : str
        One of `COMMAS`, where a comma before three figures is settled; without, such a number is not read.

    Examples
    --------
    >>> read_amount("4g"), read_amount("1 1/2 oz").value, read_amount("½").value, read_amount("2,5").value
    (Amount(value=4.0, unit='g', about=False), 1.5, 0.5, 2.5)
    >>> read_amount("1,350 F") is None, read_amount("1,350 F", "thousands comma").value
    (True, 1350.0)
    >>> read_amount("1 020 °C").value, read_amount("1 350,5").value, read_amount("2 125").value
    (1020.0, 1350.5, 2125.0)
    >>> read_amount("~4 g").about, read_amount("4 g?").about
    (True, True)
    >>> read_amount("2-3 g") is None, read_amount("a pinch") is None
    (True, True)
    """
    sure = cell.strip().rstrip("? ")
    match = _AMOUNT.fullmatch(_fractions_spelt(sure))
    if match is None:
        return None
    if match["number"] is None:
        value = int(match["whole"] or 0) + int(match["above"]) / int(match["below"])
    else:
        value = _plain_number(match["number"], comma)
    unit = re.sub(r"\s+(?:of|each)$", "", match["rest"].strip())
    named = unit_named(unit) if unit else None
    if value is None or value != value or (unit and named is None):
        return None
    return Amount(value, None if named == "degrees" else named, bool(match["about"]) or sure != cell.strip())


def _fractions_spelt(cell: str) -> str:
    spelt = re.sub(r"\s+", " ", cell)
    for letter in set(spelt):
        if unicodedata.category(letter) == "No" and "⁄" in (parts := unicodedata.normalize("NFKD", letter)):
            spelt = re.sub(rf"(?<=\d)\s*{letter}", f" {parts}", spelt).replace(letter, parts)
    return spelt


def _plain_number(text: str, comma: str) -> float | None:
    text = text.replace("−", "-")
    if " " in text:
        return number(text.replace(" ", ""))
    groups = re.fullmatch(r"([-+]?\d{1,3})((?:,\d{3})+)(\.\d+)?", text)
    if groups and (groups[3] or groups[2].count(",") > 1):
        return float(text.replace(",", ""))
    # Full stops between thousands, where a comma follows: "1.250,5".
    if re.fullmatch(r"[-+]?\d{1,3}(?:\.\d{3})+,\d+", text):
        return float(text.replace(".", "").replace(",", "."))
    if comma_is_open(text):
        if comma == "thousands comma":
            return float(text.replace(",", ""))
        return float(text.replace(",", ".")) if comma == "decimal comma" else None
    return number(text)


def comma_is_open(cell: str) -> bool:
    """Whether a cell's number has one comma, and three figures behind it.

    Examples
    --------
    >>> comma_is_open("1,350"), comma_is_open("0,350"), comma_is_open("2,5"), comma_is_open("1,350 °F")
    (True, False, False, True)
    """
    return re.match(r"[-+]?[1-9]\d{0,2},\d{3}(?![\d.,])", cell.strip()) is not None


def in_unit(amount: Amount, unit: str) -> float:
    """Turn an amount with a unit into another one.

    Raises
    ------
    UnitError
        The two are not of one kind.
    """
    return amount.value if amount.unit in (None, unit) else float(convert(amount.value, amount.unit, unit))


def same_kind(unit: str, other: str) -> bool:
    """Whether amounts in one unit can be turned into the other."""
    try:
        convert(0.0, unit, other)
    except UnitError:
        return False
    return True


def written(value: float) -> str:
    """Write a number as a cell, without the noise of turning it: seven figures are more than a scale has.

    Examples
    --------
    >>> written(42.5242828), written(1350.0), written(0.1 + 0.2)
    ('42.52428', '1350', '0.3')
    """
    return f"{value:.7g}" if abs(value) < 1e7 else repr(value)


def read_date(cell: str, order: str = "") -> str | None:
    """Read a date as ISO 8601, with its time where it has one; none when it is no date.

    Parameters
    ----------
    cell : str
    order : str
        One of `ORDERS`; without it, only dates that need none are read.

    Examples
    --------
    >>> read_date("2025-04-12"), read_date("12.4.25"), read_date("April 12, 2025"), read_date("12. Mai 2025")
    ('2025-04-12', '2025-04-12', '2025-04-12', '2025-05-12')
    >>> read_date("4/12/2025") is None, read_date("4/12/2025", "month first"), read_date("25/12/2025")
    (True, '2025-04-12', '2025-12-25')
    >>> read_date("12.4.98"), read_date("12.4.98", "month first")
    ('1998-04-12', '1998-12-04')
    """
    text = " ".join(cell.split())
    clock = re.search(r"[T ,]+(\d{1,2}:\d\d(?::\d\d)?)$", text)
    time = ""
    if clock:
        text, time = text[: clock.start()], " " + clock[1].zfill(5 if clock[1].count(":") == 1 else 8)
        if not re.fullmatch(r" (?:[01]\d|2[0-3]):[0-5]\d(?::[0-5]\d)?", time):
            return None
    days = _possible(text, order)
    if order:
        days = {way: day for way, day in days.items() if way in (order, "settled")}
    return next(iter(days.values())) + time if len(set(days.values())) == 1 else None


def orders_of(cells: list[str]) -> tuple[str, ...]:
    """Give the orders in which every one of these cells is a date.

    Examples
    --------
    >>> orders_of(["3/4/2025", "14/4/2025"]), orders_of(["3/4/2025"])
    (('day first',), ('day first', 'month first'))
    """
    return tuple(order for order in ORDERS if all(read_date(cell, order) for cell in cells))


def _possible(text: str, order: str) -> dict[str, str]:
    figures = re.fullmatch(r"(\d{1,4})([-/.])\s?(\d{1,2})\2\s?(\d{4}|\d\d)", text)
    if figures:
        first, mark, second, third = figures.groups()
        if len(first) > 2:
            return _days(settled=(first, second, third)) if len(first) == 4 else {}
        # With full stops the day goes first, as in `sagglab.firing.dates`, where nobody says otherwise.
        if mark == "." and order != "month first":
            return _days(settled=(third, second, first))
        return _days(**{"day first": (third, second, first), "month first": (third, first, second)})
    words = [word for word in re.split(r"[\s,./-]+", text) if word]
    if len(words) != 3:
        return {}
    months = [(place, month) for place, word in enumerate(words) if (month := month_named(word))]
    if len(months) != 1:
        return {}
    place, month = months[0]
    others = [re.sub(r"(?<=\d)(?:st|nd|rd|th|er)$", "", word) for word in words[:place] + words[place + 1 :]]
    if not all(other.isascii() and other.isdigit() for other in others):
        return {}
    year, day = others if len(others[0]) == 4 else others[::-1]
    return _days(settled=(year, str(month), day))


def _days(**ways: tuple[str, str, str]) -> dict[str, str]:
    days = {}
    for way, parts in ways.items():
        year, month, day = map(int, parts)
        try:
            days[way] = dt.date(year_in_full(year), month, day).isoformat()
        except ValueError:
            continue
    return days


def is_photograph(cell: str) -> bool:
    """Whether a cell names photographs.

    Examples
    --------
    >>> is_photograph("IMG_2031.JPG, IMG_2032.JPG"), is_photograph("DSC_0412"), is_photograph("yes")
    (True, True, False)
    """
    names = photographs(cell)
    return bool(names) and all(
        re.search(_PICTURE + "$", name, re.IGNORECASE) or _CAMERA_NAME.fullmatch(name) for name in names
    )


def photographs(cell: str) -> list[str]:
    """Split a cell into the files that it names; a name may have spaces in it.

    Examples
    --------
    >>> photographs("a front.jpg; b.png"), photographs("IMG_1 + IMG_2"), photographs("one.jpg two.jpg")
    (['a front.jpg', 'b.png'], ['IMG_1', 'IMG_2'], ['one.jpg', 'two.jpg'])
    >>> photographs("one.jpg and two.jpg"), photographs("one.jpg/two.jpg"), photographs("pot and lid.jpg")
    (['one.jpg', 'two.jpg'], ['one.jpg', 'two.jpg'], ['pot and lid.jpg'])
    """
    parts = re.split(r"[;,\n|]|\s[+&/]\s", re.sub(_AND, r"\1;", cell, flags=re.IGNORECASE))
    names = []
    for part in filter(None, map(str.strip, parts)):
        found = re.findall(rf".+?{_PICTURE}(?=\s|$)", part, re.IGNORECASE)
        names += [*found, part[len("".join(found)) :]]
    return list(filter(None, map(str.strip, names)))
