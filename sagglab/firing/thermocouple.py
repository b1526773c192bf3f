"""Thermocouples: millivolts to °C by the ITS-90 reference functions.

Types K, N, S and R. The coefficients in `its90.csv` are those of NIST Monograph 175 (NIST Standard Reference
Database 60, a work of the United States government).
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import UnitError


@cache
def _pieces() -> dict[str, list[tuple[float, float, Polynomial, tuple[float, ...]]]]:
    table = pd.read_csv(files("sagglab.firing") / "its90.csv", keep_default_na=False)
    pieces: dict[str, list] = {}
    for kind, low, high, coefficients, exponential in table.itertuples(index=False):
        polynomial = Polynomial([float(number) for number in coefficients.split()])
        pieces.setdefault(kind, []).append(
            (float(low), float(high), polynomial, tuple(float(number) for number in exponential.split()))
        )
    return pieces


def _of(kind: str) -> list[tuple[float, float, Polynomial, tuple[float, ...]]]:
    try:
        return _pieces()[kind.upper()]
    except KeyError as error:
        raise UnitError(
            f"thermocouple type '{kind}'", "it is unknown", f"give one of {', '.join(_pieces())}"
        ) from error


def emf_mV(temperature_C: ArrayLike, kind: str) -> NDArray[np.float64]:
    """Voltage of a thermocouple against a junction at 0 °C.

    Parameters
    ----------
    temperature_C : array_like
    kind : str
        K, N, S or R.

    Returns
    -------
    ndarray
        Millivolts, not a number outside the range of the reference function.

    Raises
    ------
    UnitError
        The type is unknown.

    References
    ----------
    NIST Monograph 175.

    Examples
    --------
    >>> emf_mV([0, 660.323, 750], "K").round(4) + 0.0
    array([ 0.    , 27.4607, 31.2135])
    """
    temperature = np.asarray(temperature_C, dtype=float)
    emf = np.full(temperature.shape, np.nan)
    for low, high, polynomial, exponential in _of(kind):
        here = (temperature >= low) & (temperature <= high)
        emf[here] = polynomial(temperature[here])
        if exponential:
            size, rate, centre = exponential
            emf[here] += size * np.exp(rate * (temperature[here] - centre) ** 2)
    return emf


@cache
def _inverse_grid(kind: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    pieces = _of(kind)
    # No kiln shed is colder than −50 °C; below that type K is no longer steep enough to be read well.
    temperature = np.arange(max(-50.0, pieces[0][0]), pieces[-1][1], 0.1)
    return emf_mV(temperature, kind), temperature


def temperature_from_mV(emf: ArrayLike, kind: str, cold_junction_C: float = 0.0) -> NDArray[np.float64]:
    """Temperature from a thermocouple's voltage.

    Parameters
    ----------
    emf : array_like
        Millivolts as measured.
    kind : str
        K, N, S or R.
    cold_junction_C : float
        Temperature of the cold junction; its voltage is added before the function is inverted.

    Returns
    -------
    ndarray
        °C, not a number outside the range.

    Notes
    -----
    Inverted by interpolation in the reference function itself at every 0.1 °C, which is within 0.0001 °C of
    it, where the published inverse polynomials are only within 0.06 °C.

    Examples
    --------
    >>> temperature_from_mV([27.4607], "K").round(2)
    array([660.32])
    """
    total = np.asarray(emf, dtype=float) + emf_mV(cold_junction_C, kind)
    return np.interp(total, *_inverse_grid(kind.upper()), left=np.nan, right=np.nan)
