"""Thermocouple voltages and temperature scales against published values."""

import numpy as np
import pytest
import thermocouple_its90

from sagglab.errors import UnitError
from sagglab.firing.heat import ALUMINIUM_FREEZES_C
from sagglab.firing.thermocouple import emf_mV, temperature_from_mV


@pytest.mark.parametrize(
    ("temperature_C", "millivolts"),
    # NIST Monograph 175 (ITS-90), type K reference function.
    [
        (0, 0.0),
        (100, 4.0962),
        (300, 12.2086),
        (600, 24.9055),
        (660.323, 27.4607),
        (750, 31.2135),
        (1000, 41.2756),
    ],
)
def test_type_k_to_the_printed_digits(temperature_C, millivolts):
    assert emf_mV(temperature_C, "K") == pytest.approx(millivolts, abs=0.5e-4)


@pytest.mark.parametrize(
    ("kind", "low", "high"), [("K", -50, 1372), ("N", -50, 1300), ("S", -50, 1768), ("R", -50, 1768)]
)
def test_each_type_agrees_with_a_second_implementation(kind, low, high):
    # The PyPI package thermocouple-its90: the tables of NIST Standard Reference Database 60 in pure Python.
    other = thermocouple_its90.get(kind)
    temperature = np.linspace(low, high, 400)
    expected = [other.emf(float(degrees)) for degrees in temperature]
    np.testing.assert_allclose(emf_mV(temperature, kind), expected, rtol=0, atol=1e-9)


@pytest.mark.parametrize("kind", ["K", "N", "S", "R"])
def test_the_cold_junction_agrees_with_a_second_implementation(kind):
    other = thermocouple_its90.get(kind)
    measured = np.linspace(other.emf(30.0), other.emf(1250.0), 100)
    expected = [other.temperature(float(mV), reference=23.0) for mV in measured]
    np.testing.assert_allclose(temperature_from_mV(measured, kind, 23.0), expected, rtol=0, atol=2e-4)


@pytest.mark.parametrize(("kind", "high"), [("K", 1371), ("N", 1299), ("S", 1767), ("R", 1767)])
def test_there_and_back(kind, high):
    temperature = np.linspace(-40, high, 1000)
    np.testing.assert_allclose(
        temperature_from_mV(emf_mV(temperature, kind), kind), temperature, rtol=0, atol=1e-4
    )


def test_the_inverse_is_closer_than_the_published_polynomials():
    # NIST's inverse polynomials for type K are stated to be within -0.05 and +0.06 °C over 0 to 1372 °C.
    temperature = np.linspace(0, 1371, 1000)
    back = temperature_from_mV(emf_mV(temperature, "K"), "K")
    assert np.abs(back - temperature).max() < 0.05


def test_out_of_range_is_not_a_number():
    assert np.isnan(emf_mV([-300, 1373], "K")).all()
    assert np.isnan(temperature_from_mV([-10, 60], "K")).all()


def test_a_type_is_known_by_either_case_and_others_are_refused():
    assert emf_mV(100, "k") == emf_mV(100, "K")
    with pytest.raises(UnitError, match="Give one of K, N, S, R"):
        emf_mV(100, "Z")


def test_the_freezing_point_of_aluminium():
    # A defining fixed point of ITS-90.
    assert ALUMINIUM_FREEZES_C == 660.323
