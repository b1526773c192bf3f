"""Sensors: how far off a new thermocouple may be, by the tolerance class that it was sold with."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import UnknownNameError

#: A constant in °C and a share of the temperature, the larger of which holds, and the temperature above
#: which the share is counted, on top of the constant. By metal and class: base metal is type K and N.
_LIMITS = {
    ("base", "1"): (1.5, 0.004),
    ("base", "2"): (2.5, 0.0075),
    ("base", "special"): (1.1, 0.004),
    ("base", "standard"): (2.2, 0.0075),
    ("noble", "1"): (1.0, 0.003),
    ("noble", "2"): (1.5, 0.0025),
    ("noble", "special"): (0.6, 0.001),
    ("noble", "standard"): (1.5, 0.0025),
}
#: Class 1 of types R and S grows only from here on.
_NOBLE_CLASS_1_FROM_C = 1100.0
_METAL = {"K": "base", "N": "base", "R": "noble", "S": "noble"}
#: The classes known, each to be written alone or after a type.
CLASSES = ("1", "2", "special", "standard")

_WRITTEN = re.compile(
    r"(?:type\s*)?([KNRS])?[\s,]*(?:class\s*)?(1|2|special|standard)(?:\.0+)?", re.IGNORECASE
)


def tolerance_C(temperature_C: ArrayLike, sensor_class: str | int) -> NDArray[np.float64]:
    """Give how far from the truth a new thermocouple of a class may read.

    Parameters
    ----------
    temperature_C : array_like
    sensor_class : str or int
        ``1`` or ``2`` (IEC 60584-1), ``special`` or ``standard`` (ASTM E230), with the type in front where
        it is known: ``K 2``, ``S 1``. Without a type, K is taken; type N has the same limits.

    Returns
    -------
    ndarray
        Limits in °C, to either side.

    Raises
    ------
    UnknownNameError
        There is no such class.

    Notes
    -----
    The limits hold for new wire; what use does to it is not in them. Outside the range of temperature that a
    standard names for its class (0 or −40 °C up to 1000 °C or more) the same rule is carried on.

    References
    ----------
    IEC 60584-1 and ASTM E230, by secondary sources: the tables that several makers of thermocouples print
    agree on every limit here. One prints the limit of class 1 for types R and S as growing from 1000 °C;
    another, and memory, have 1100 °C, which is taken.

    Examples
    --------
    >>> tolerance_C([100, 750], "2")
    array([2.5  , 5.625])
    >>> tolerance_C(750, "S 1").item()
    1.0
    """
    metal, grade = _parsed(sensor_class)
    constant, share = _LIMITS[metal, grade]
    heat = np.abs(np.asarray(temperature_C, dtype=float))
    if (metal, grade) == ("noble", "1"):
        return constant + share * np.maximum(heat - _NOBLE_CLASS_1_FROM_C, 0)
    return np.maximum(constant, share * heat)


def _parsed(sensor_class: str | int) -> tuple[str, str]:
    match = _WRITTEN.fullmatch(str(sensor_class).strip())
    if match is None:
        raise UnknownNameError(
            f"sensor class '{sensor_class}'",
            "it is unknown",
            f"give one of {', '.join(CLASSES)}, with the type K, N, R or S in front where it is known, "
            "as in 'K 2'",
        )
    return _METAL[(match[1] or "K").upper()], match[2].lower()
