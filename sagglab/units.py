"""Units: the one pint registry, headings that carry their unit, and temperatures in both scales.

Amounts enter and leave with a unit; inside, columns hold plain floats in the working unit of their kind and
the heading says which: grams, centimetres, °C, minutes, millilitres, coats.
"""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

import numpy as np
import pint
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import UnitError

ABSOLUTE_ZERO_C = -273.15

#: A dusting for its surface, in grams for 100 cm².
PER_AREA = "g/100cm2"

#: The working unit of each kind of amount, by pint's dimensionality.
WORKING_UNITS = {
    "[mass]": "g",
    "[length]": "cm",
    "[temperature]": "degC",
    "[time]": "min",
    "[length] ** 3": "mL",
    "[mass] / [length] ** 2": PER_AREA,
    "[coat]": "coats",
    "dimensionless": "count",
}

# pint reads a lone C as coulomb and F as farad; on a kiln log neither can be meant.
_SHORT_FOR = {"C": "degC", "F": "degF", "°C": "degC", "°F": "degF", "grams": "g"}


class Heading(NamedTuple):
    """A column heading such as ``sugar [g]``, taken apart."""

    name: str
    unit: str | None

    def __str__(self) -> str:
        return self.name if self.unit is None else f"{self.name} [{self.unit}]"


def parse_heading(text: str) -> Heading:
    """Take a heading apart into its name and its unit.

    Examples
    --------
    >>> parse_heading("copper wire [cm]")
    Heading(name='copper wire', unit='cm')
    >>> parse_heading("clay").unit is None
    True
    """
    match = re.fullmatch(r"\s*(.*?)\s*\[\s*([^\[\]]*?)\s*\]\s*", text)
    return Heading(text.strip(), None) if match is None else Heading(*match.groups())


@cache
def registry() -> pint.UnitRegistry:
    """Make the one unit registry when it is first needed."""
    units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    units.define("coat = [coat]")
    return units


@cache
def _unit(text: str) -> pint.Unit:
    if text == PER_AREA:
        return registry().Unit("g/dm**2")
    text = _SHORT_FOR.get(text, text)
    if text == "gr":
        raise UnitError("unit [gr]", "it can mean gram or grain", "write [g] or [grain]")
    # Units come out of users' tables: only what a unit is written with goes on to pint's parser.
    if not re.fullmatch(r"[A-Za-zµ°]{1,20}[23]?", text):
        raise UnitError(
            f"unit [{text}]", "it is not a unit", "write one such as [g], [oz], [cm], [degC], [min]"
        )
    try:
        # "cm3" is how a keyboard writes it; pint wants the power spelt out.
        return registry().Unit(re.sub(r"(?=[23]$)", "**", text))
    except (pint.UndefinedUnitError, ValueError) as error:
        raise UnitError(
            f"unit [{text}]", "it is unknown", "write one such as [g], [oz], [cm], [degC], [min]"
        ) from error


def working_unit(unit: str) -> str:
    """Name the unit in which amounts of this kind are kept.

    Parameters
    ----------
    unit : str
        A unit as written in a heading.

    Raises
    ------
    UnitError
        The unit is unknown, or of a kind that no column holds.

    Examples
    --------
    >>> working_unit("oz"), working_unit("degF"), working_unit("coats")
    ('g', 'degC', 'coats')
    """
    kind = str(_unit(unit).dimensionality)
    # Degrees of an angle, ppm and decibels have no dimension either, but nothing is counted in them.
    if kind not in WORKING_UNITS or (kind == "dimensionless" and unit != "count"):
        raise UnitError(
            f"unit [{unit}]",
            "it measures nothing that a batch book holds",
            "write one such as [g], [oz], [cm], [degC], [min]",
        )
    return WORKING_UNITS[kind]


def convert(values: ArrayLike, unit: str, to: str) -> NDArray:
    """Convert plain numbers from one unit to another.

    Raises
    ------
    UnitError
        A unit is unknown, or the two are not of one kind.

    Examples
    --------
    >>> convert([750, 300], "degC", "degF").round(6)
    array([1382.,  572.])
    """
    try:
        return registry().Quantity(np.asarray(values, dtype=float), _unit(unit)).to(_unit(to)).magnitude
    except pint.DimensionalityError as error:
        raise UnitError(
            f"unit [{unit}]", f"it cannot be turned into {to}", f"write a unit of the same kind as {to}"
        ) from error


def both_scales(temperature_C: float, digits: int = 0) -> str:
    """Write a temperature in °C with °F beside it.

    Examples
    --------
    >>> both_scales(750)
    '750 °C (1382 °F)'
    """
    return f"{temperature_C:.{digits}f} °C ({convert(temperature_C, 'degC', 'degF'):.{digits}f} °F)"


def convert_rate(values: ArrayLike, unit: str, to: str = "degC/h") -> NDArray:
    """Convert plain numbers from one rate of climb to another.

    Parameters
    ----------
    values : array_like
    unit, to : str
        Degrees over a time, as ``degC/h``, ``°F/min`` or ``K per hour``.

    Raises
    ------
    UnitError
        A unit is no such rate.

    Examples
    --------
    >>> convert_rate([144, 270], "degF/h").round(6)
    array([ 80., 150.])
    """
    return registry().Quantity(np.asarray(values, dtype=float), _rate(unit)).to(_rate(to)).magnitude


@cache
def _rate(text: str) -> pint.Unit:
    parts = re.split(r"\s*/\s*|\s+per\s+", text.strip())
    units = [_unit(re.sub(r"\s+", "", part)) for part in parts]
    if [str(unit.dimensionality) for unit in units] != ["[temperature]", "[time]"]:
        raise UnitError(
            f"unit [{text}]", "it is no rate of climb", "write one such as degC/h, degF/h, degC/min"
        )
    degrees, time = map(str, units)
    # A difference of degrees: 36 °F/h is 20 °C/h, not 2.2.
    return registry().Unit(f"{degrees if degrees == 'kelvin' else 'delta_' + degrees} / {time}")


def rate_in_both_scales(rate_C_per_h: float, digits: int = 0) -> str:
    """Write a rate of climb in °C/h with °F/h beside it.

    Examples
    --------
    >>> rate_in_both_scales(900)
    '900 °C/h (1620 °F/h)'
    """
    rate_F_per_h = convert_rate(rate_C_per_h, "degC/h", "degF/h")
    return f"{rate_C_per_h:.{digits}f} °C/h ({rate_F_per_h:.{digits}f} °F/h)"
