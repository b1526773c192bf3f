"""Thermocouple voltages and temperature scales against published values."""

import numpy as np
import pytest
import thermocouple_its90

from sagglab.errors import UnitError
from sagglab.firing.heat import ALUMINIUM_FREEZES_C
from sagglab.firing.sensor import tolerance_C
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


@pytest.mark.parametrize(
    ("sensor_class", "temperature_C", "limit"),
    # IEC 60584-1, types K and N: class 1 ±1.5 °C or 0.4 %, class 2 ±2.5 °C or 0.75 %; ASTM E230: special
    # 1.1 °C or 0.4 %, standard 2.2 °C or 0.75 %, the larger. Secondary sources: tables that makers print.
    [
        ("1", 750, 3.0),
        ("1", 375, 1.5),
        ("1", 100, 1.5),
        ("2", 750, 5.625),
        ("2", 333, 2.5),
        ("N 2", 750, 5.625),
        ("special", 750, 3.0),
        ("special", 100, 1.1),
        ("standard", 750, 5.625),
        ("standard", 100, 2.2),
    ],
)
def test_limits_of_base_metal_sensors(sensor_class, temperature_C, limit):
    assert tolerance_C(temperature_C, sensor_class) == pytest.approx(limit, rel=1e-12)


@pytest.mark.parametrize(
    ("sensor_class", "temperature_C", "limit"),
    # Types R and S, by the same secondary sources. IEC 60584-1: class 1 ±1 °C to 1100 °C, then
    # 1 + 0.003 (t − 1100) (one source, and memory; another prints 1000 in place of 1100); class 2 ±1.5 °C to
    # 600 °C, then 0.25 %. ASTM E230: standard 1.5 °C or 0.25 %, special 0.6 °C or 0.1 %, the larger.
    [
        ("S 1", 750, 1.0),
        ("R 1", 1100, 1.0),
        ("S 1", 1300, 1.6),
        ("S 2", 600, 1.5),
        ("R 2", 1000, 2.5),
        ("S standard", 400, 1.5),
        ("S standard", 750, 1.875),
        ("R special", 500, 0.6),
        ("R special", 750, 0.75),
    ],
)
def test_limits_of_noble_metal_sensors(sensor_class, temperature_C, limit):
    assert tolerance_C(temperature_C, sensor_class) == pytest.approx(limit, rel=1e-12)
