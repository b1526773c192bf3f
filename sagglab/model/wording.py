"""Words: how a difference, its size, its unit and its step are said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from sagglab.model.scale import Scale
from sagglab.model.terms import Factor
from sagglab.pages.headings import UNIT_SIGNS, columns_like, spoken, unit_of
from sagglab.units import parse_heading

#: Outcome: its unit in words, the word for less, the word for more.
_OUTCOMES = {
    "L*": ("L*", "darker", "lighter"),
    "a*": ("a*", "greener", "redder"),
    "b*": ("b*", "bluer", "yellower"),
    "C*ab": ("C*ab", "less colourful", "more colourful"),
}
#: What is asked of most, named to who asks for a column that is not there.
_ASKED = ("L*", "a*", "b*", "C*ab", "dark share", "rating", "state")
#: Plain words for what they are: hue and colour as a whole have no mean, and are asked by their coordinates.
_PLAIN_WORDS = {
    **dict.fromkeys(("lightness", "brightness", "darkness", "light", "dark", "lighter", "darker"), ("L*",)),
    **dict.fromkeys(("redness", "greenness", "red", "green", "redder", "greener"), ("a*",)),
    **dict.fromkeys(("yellowness", "blueness", "yellow", "blue", "yellower", "bluer"), ("b*",)),
    **dict.fromkeys(("chroma", "saturation", "colourfulness", "colorfulness"), ("C*ab",)),
    "hue": ("a*", "b*"),
    **dict.fromkeys(("colour", "color"), ("L*", "a*", "b*")),
}
#: Units of the measures whose headings state none.
_MEASURED = {"dark share": "share", "glare share": "share", "hue angle": "degrees"}
_SPELT = {
    "g": "gram",
    "oz": "ounce",
    "lb": "pound",
    "kg": "kilogram",
    "mm": "millimetre",
    "coats": "coat",
    "cm": "centimetre",
    "mL": "millilitre",
    "count": "piece",
}
#: Scales on which one unit is too small a step to speak of.
_STEPS = {
    "degC": ("10 °C", "higher"),
    "degF": ("10 °F", "higher"),
    "degC/h": ("10 °C/h", "higher"),
    "min": ("10 minutes", "more"),
}


@dataclass(frozen=True)
class Words:
    """How differences of one outcome are said.

    Attributes
    ----------
    unit, less, more : str
        Unit as spoken, empty when there is none; the words for a smaller and for a larger value.
    tail : str
        What follows the word where the word alone does not name the outcome.
    scale : float
        Spoken value over tabled value.
    """

    unit: str
    less: str
    more: str
    tail: str = ""
    scale: float = 1.0

    def size(self, value: float, decimals: int) -> str:
        """Write the value without its sign."""
        return f"{round(abs(value) * self.scale, decimals) + 0.0:.{max(decimals, 0)}f}"

    def word(self, value: float) -> str:
        """Choose the word for the value's sign, with the tail."""
        return (self.less if value < 0 else self.more) + self.tail

    def said(self, value: float, decimals: int) -> str:
        """Say the value in full: size, unit, direction."""
        return " ".join(part for part in (self.size(value, decimals), self.unit, self.word(value)) if part)


def words_for(outcome: str) -> Words:
    """Choose the words for an outcome.

    Examples
    --------
    >>> words_for("L*").said(-5.43, 1), words_for("dark share").said(0.042, 1)
    ('5.4 L* darker', '4.2 percentage points larger in dark share')
    """
    name, unit = parse_heading(outcome)
    base, _, kind = name.partition(" ")
    if base in _OUTCOMES and kind in ("", "mean", "median"):
        return Words(*_OUTCOMES[base], tail=" in the median" if kind == "median" else "")
    unit = unit or unit_of(name) or _MEASURED.get(name, "")
    if unit == "share" or name.endswith("share"):
        # A share is kept as 0 to 1 unless its heading says otherwise.
        scale = 1.0 if unit in ("%", "percent") else 100.0
        return Words("percentage points", "smaller", "larger", f" in {name}", scale)
    return Words(unit, "lower", "higher", f" in {name}")


def outcomes_like(wanted: str, headings: Sequence[str]) -> str:
    """Say which outcome may have been meant; when no column is like it, those that are asked of most.

    Examples
    --------
    >>> outcomes_like("hue", ["pot", "L*", "a*", "b*"])
    "did you mean 'a*' or 'b*'?"
    >>> outcomes_like("shine", ["pot", "L*", "rating"])
    'it can be L*, rating, or another column of numbers'
    """
    there = [name for name in _ASKED if name in headings]
    meant = [name for name in _PLAIN_WORDS.get(wanted.strip().casefold(), ()) if name in there]
    if meant:
        return f"did you mean {' or '.join(repr(name) for name in meant)}?"
    like = columns_like(wanted, headings)
    if not there or like.startswith("did you mean"):
        return like
    return f"it can be {', '.join(there)}, or another column of numbers"


def label(factor: Factor) -> str:
    """Name the factor as it is spoken: a firing measure without its unit and its underscores.

    Examples
    --------
    >>> [label(Factor(name, name, "")) for name in ("salt_1", "peak_C", "minutes_above_660_C")]
    ['salt_1', 'peak', 'minutes above 660 °C']
    """
    return spoken(factor.name)


def step(factor: Factor) -> tuple[str, str, float]:
    """Say the step of an amount, short and in full, and its size in the column's unit."""
    if factor.unit in _STEPS:
        step, word = _STEPS[factor.unit]
        said = label(factor)
        said = said.removeprefix("minutes ") if factor.name.startswith("minutes_") else said
        return f"each {step} {word}", f"each {step} {word} {said}", 10.0
    spelt = _SPELT.get(factor.unit, factor.unit or "unit")
    return f"each {spelt}", f"each {spelt} of {label(factor)}", 1.0


def amount_in_words(factor: Factor, value: float) -> str:
    """Write an amount with its unit.

    Examples
    --------
    >>> sugar, iron = Factor("sugar [g]", "sugar", "g"), Factor("iron [coats]", "iron", "coats")
    >>> amount_in_words(sugar, 4.0), amount_in_words(iron, 1.0)
    ('4 g', '1 coat')
    """
    unit = UNIT_SIGNS.get(factor.unit, factor.unit)
    return f"{value:.4g} {'coat' if unit == 'coats' and value == 1 else unit}".strip()


def tried_in_words(factor: Factor) -> str:
    """Write from where to where an amount was tried.

    Examples
    --------
    >>> tried_in_words(Factor("peak_C", "peak_C", "degC", tried=(731.4, 769.5)))
    '731.4 to 769.5 °C'
    """
    return f"{factor.low:.4g} to {amount_in_words(factor, factor.high)}"


def count(number: int, noun: str) -> str:
    """Say how many.

    Examples
    --------
    >>> count(1, "pot"), count(3, "pot")
    ('1 pot', '3 pots')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def counted(outcome: str, pots: int, firings: int, left_out: pd.DataFrame) -> str:
    """Say on what an answer rests, and which rows were left out, with the reason.

    Examples
    --------
    >>> counted("L*", 36, 6, pd.DataFrame({"pot": ["p05"], "reason": ["no clay"]}))
    'L* of 36 pots in 6 firings; 1 row left out (p05: no clay)'
    """
    said = f"{outcome} of {count(pots, 'pot')} in {count(firings, 'firing')}"
    if left_out.empty:
        return said
    named = [f"{pot}: {reason}" for pot, reason in left_out[["pot", "reason"]].to_numpy()]
    more = f"; and {len(named) - 4} more" if len(named) > 4 else ""
    return f"{said}; {count(len(named), 'row')} left out ({'; '.join(named[:4])}{more})"


def said_p(p: float) -> str:
    """Write a probability with two significant digits.

    Examples
    --------
    >>> said_p(0.0312), said_p(0.00001), said_p(0.248)
    ('0.031', 'below 0.001', '0.25')
    """
    return "below 0.001" if p < 0.001 else f"{p:.2g}"


def effect_unit(outcome: str, per: str, scale: Scale | None = None) -> str:
    """Name the unit of an effect.

    Examples
    --------
    >>> effect_unit("L*", "g"), effect_unit("L*", ""), effect_unit("dark share", "coats", Scale(whole=1))
    ('L* per g', 'L*', 'log odds of dark share per coat')
    """
    name, unit = parse_heading(outcome)
    base = name.partition(" ")[0]
    unit = unit or unit_of(name) or (base if base in _OUTCOMES else _MEASURED.get(name, name))
    if scale is not None and scale.is_share:
        unit = f"log odds of {name}"
    return f"{unit} per {_SPELT[per] if per == 'coats' else per}" if per else unit
