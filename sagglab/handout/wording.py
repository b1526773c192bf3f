"""Amounts and words as they are printed: quarters of a spoon, °C, long names that may break."""

from __future__ import annotations

import re

from sagglab.units import convert

_QUARTERS = ("", "¼", "½", "¾")
_UNITS = {"degC": "°C", "degF": "°F", "count": ""}

_UNPRINTABLE = re.compile(
    "[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef\ufeff\ufffe\uffff]"
)

#: A word longer than this may be broken anywhere, so that it cannot run off the page.
LONGEST_WORD = 14


#: What the coordinates of a colour mean, for a student who meets them first.
_COORDINATES = (
    "L* is lightness, from 0, black, to 100, white; a* goes from green, below 0, to red, "
    "and b* from blue to yellow."
)
_DARK = "The dark share is that of the surface with L* below 30."


def outcome_explained(outcome: str) -> str:
    """Say what the numbers of an outcome mean, and those of the colours beside it.

    Examples
    --------
    >>> outcome_explained("dark share").endswith("L* below 30.")
    True
    """
    return f"{_COORDINATES} {_DARK}" if outcome == "dark share" else _COORDINATES


def spoons_in_words(spoons: float) -> str:
    """Write level spoons with their quarters.

    Examples
    --------
    >>> spoons_in_words(1.25), spoons_in_words(0.5), spoons_in_words(1), spoons_in_words(3)
    ('1¼ spoons', '½ spoon', '1 spoon', '3 spoons')
    """
    whole, quarters = divmod(round(spoons * 4), 4)
    number = f"{whole or ''}{_QUARTERS[quarters]}"
    return f"{number} spoon{'s' if spoons > 1 else ''}"


def amount_in_words(amount: float, unit: str | None) -> str:
    """Write an amount with its unit: no finer than a bench scale shows.

    Examples
    --------
    >>> amount_in_words(4.0, "g"), amount_in_words(56.699, "g"), amount_in_words(1, "coats")
    ('4 g', '56.7 g', '1 coat')
    >>> amount_in_words(1188.4, "cm"), amount_in_words(0.254, "g")
    ('1188 cm', '0.25 g')
    """
    digits = 2 if abs(amount) < 10 else 1 if abs(amount) < 100 else 0
    number = f"{amount:.{digits}f}"
    number = number.rstrip("0").rstrip(".") if "." in number else number
    unit = "coat" if unit == "coats" and number == "1" else _UNITS.get(unit or "", unit or "")
    return f"{number} {unit}".rstrip()


def span_in_both_scales(low_C: float, high_C: float) -> str:
    """Write the ends between which a temperature lies, in °C with °F beside it.

    Examples
    --------
    >>> span_in_both_scales(721, 795)
    '721 and 795 °C (1330 and 1463 °F)'
    """
    low_F, high_F = convert([low_C, high_C], "degC", "degF")
    return f"{low_C:.0f} and {high_C:.0f} °C ({low_F:.0f} and {high_F:.0f} °F)"


def unbroken(text: str) -> str:
    r"""Keep an amount and its unit on one line.

    Examples
    --------
    >>> unbroken("4 g")
    '4\xa0g'
    """
    return text.replace(" ", "\u00a0") if len(text) <= LONGEST_WORD else text


def printable(text: str) -> str:
    r"""Leave out what no page can show: control signs but line ends, marks of byte order and of direction.

    The standard for printed pages refuses some of them; a mark of direction would turn what stands after it.

    Examples
    --------
    >>> printable("p\x0001\n4\x7f g\ufeff")
    'p01\n4 g'
    """
    return _UNPRINTABLE.sub("", text)


def breakable(text: str) -> str:
    """Let the long words of a text break: a zero-width space after each few of their signs.

    Examples
    --------
    >>> breakable("p01 sugar"), len(breakable("x" * 30)) > 30
    ('p01 sugar', True)
    """
    # Not a soft hyphen: a hyphen that stands in no name would be printed.
    return re.sub(rf"\S{{{LONGEST_WORD + 1},}}", lambda word: re.sub(r"(.{6})", "\\1\u200b", word[0]), text)
