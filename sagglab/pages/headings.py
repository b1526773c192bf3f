"""Headings: a column's unit, and its heading as a page shows it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches

from sagglab.units import parse_heading

#: Units that the names of a firing's measures end in; the longer ending goes first.
_NAMED_UNITS = {"_C_per_h": "degC/h", "_C": "degC"}

#: Units as they are written for people.
UNIT_SIGNS = {"degC": "°C", "degF": "°F", "degC/h": "°C/h", "cm2": "cm²", "g/100cm2": "g/100 cm²"}

#: Of more columns than these an error names the first ones: results have some 200.
_LISTED = 12


def unit_of(heading: str) -> str:
    """Name the unit that a heading states, in brackets or in the name of a firing measure.

    Examples
    --------
    >>> [unit_of(heading) for heading in ("sugar [g]", "peak_C", "minutes_above_660_C", "clay")]
    ['g', 'degC', 'min', '']
    """
    name, unit = parse_heading(heading)
    if unit:
        return unit
    if name.startswith("minutes_") or "_minutes_" in name:
        return "min"
    return next((unit for ending, unit in _NAMED_UNITS.items() if name.endswith(ending)), "")


def spoken(heading: str) -> str:
    """Name a column as it is spoken: a firing measure without its unit and its underscores.

    Examples
    --------
    >>> [spoken(name) for name in ("salt_1", "sugar [g]", "peak_C", "minutes_above_660_C")]
    ['salt_1', 'sugar', 'peak', 'minutes above 660 °C']
    >>> spoken("minutes_through_573_up")
    'minutes through 573 °C up'
    """
    name = parse_heading(heading).name
    if not unit_of(name):  # a name of the user's own stays as written
        return name
    if unit_of(name) != "min":
        # 'climb_100_to_573_C_per_h' lies between two temperatures, which keep their sign.
        name = re.sub(r"(?<=\d_C)_per_h$|(?<!\d)_C(_per_h)?$", "", name)
    # 'minutes_through_573_up' names a temperature without its sign.
    return re.sub(r"(\d) C\b|(?<= through )(\d+)\b", r"\1\2 °C", name.replace("_", " "))


def shown_heading(heading: str) -> str:
    """Write a heading with its unit as people write it.

    Examples
    --------
    >>> [shown_heading(name) for name in ("peak_C", "target peak [degC]", "sugar [g]", "hue angle", "L*")]
    ['peak [°C]', 'target peak [°C]', 'sugar [g]', 'hue angle [°]', 'L*']
    >>> shown_heading("minutes_above_660_C")
    'minutes above 660 °C'
    """
    unit = "°" if heading == "hue angle" else unit_of(heading)
    # 'minutes above 660 °C' says its unit by itself.
    if not unit or (unit == "min" and "minutes" in heading):
        return spoken(heading)
    return f"{spoken(heading)} [{UNIT_SIGNS.get(unit, unit)}]"


def columns_like(wanted: str, headings: Sequence[str]) -> str:
    """Say which columns may have been meant; when none is like it, the first, and how to see all.

    Examples
    --------
    >>> columns_like("sugr", ["pot", "sugar [g]"])
    "did you mean 'sugar [g]'?"
    """
    names = {parse_heading(heading).name.casefold(): heading for heading in headings}
    near = [names[name] for name in get_close_matches(wanted.casefold(), names, 3, 0.7)]
    if near:
        return f"did you mean {' or '.join(repr(name) for name in near)}?"
    if len(headings) > _LISTED:
        first = ", ".join(headings[:_LISTED])
        return f"its first columns are {first}, and {len(headings) - _LISTED} more follow"
    return f"its columns are {', '.join(headings)}" if headings else "it has no columns at all"
