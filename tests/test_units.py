"""Units: headings, conversion, and what is refused."""

import numpy as np
import pytest

from sagglab.errors import UnitError
from sagglab.units import Heading, both_scales, convert, parse_heading, registry, working_unit


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    # Exact by the definition of the scales: °F = 1.8 °C + 32.
    [(750, 1382), (300, 572), (90, 194), (995, 1823), (-40, -40), (0, 32)],
)
def test_celsius_and_fahrenheit(celsius, fahrenheit):
    assert convert(celsius, "degC", "degF") == pytest.approx(fahrenheit, abs=1e-9)
    assert convert(fahrenheit, "degF", "degC") == pytest.approx(celsius, abs=1e-9)


def test_kelvin():
    assert convert(273.15, "K", "degC") == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("amount", "unit", "to", "expected"),
    [
        # International Yard and Pound Agreement, 1959: exact.
        (1, "lb", "g", 453.59237),
        (1, "oz", "g", 28.349523125),
        (1, "in", "cm", 2.54),
        (1, "ft", "cm", 30.48),
        (1, "kg", "g", 1000),
        (25, "mm", "cm", 2.5),
        (1, "h", "min", 60),
        (90, "s", "min", 1.5),
        (1, "L", "mL", 1000),
        (5, "cm3", "mL", 5),
        (1, "coat", "coats", 1),
        (3, "g/100cm2", "g/100cm2", 3),
    ],
)
def test_amounts(amount, unit, to, expected):
    assert convert(amount, unit, to) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("short", "full"), [("C", "degC"), ("F", "degF"), ("°C", "degC"), ("°F", "degF")])
def test_a_lone_letter_on_a_kiln_log_is_a_temperature(short, full):
    assert convert(700, short, "K") == convert(700, full, "K")


@pytest.mark.parametrize(
    ("unit", "kept_in"),
    [
        ("oz", "g"),
        ("lb", "g"),
        ("in", "cm"),
        ("degF", "degC"),
        ("K", "degC"),
        ("h", "min"),
        ("cup", "mL"),
        ("cm3", "mL"),
        ("coat", "coats"),
        ("coats", "coats"),
        ("count", "count"),
    ],
)
def test_each_kind_of_amount_has_one_working_unit(unit, kept_in):
    assert working_unit(unit) == kept_in


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "xyz",
        "spoonful",
        "g g",
        "g*g",
        "g**999999999",
        "9**9**9",
        "1e999",
        "__import__('os').getcwd()",
        "lambda: 0",
        "().__class__",
        "g\n",
        "m" * 10_000,
        "and",
        "None",
        "%",
    ],
)
def test_what_is_no_unit_is_refused(text):
    with pytest.raises(UnitError, match=r"it is (no|not a|un)"):
        working_unit(text)


@pytest.mark.parametrize("unit", ["V", "kg2", "m2", "Pa", "mV"])
def test_a_unit_that_no_column_holds_is_refused(unit):
    with pytest.raises(UnitError):
        working_unit(unit)


def test_units_of_different_kinds_are_not_turned_into_each_other():
    with pytest.raises(
        UnitError, match=r"^unit \[g\]: it cannot be turned into degC\. Write a unit of the same kind"
    ):
        convert(1, "g", "degC")


def test_a_missing_amount_stays_missing():
    np.testing.assert_array_equal(convert([1, np.nan], "kg", "g"), [1000, np.nan])


def test_what_was_given_is_not_changed():
    given = np.array([100.0, 200.0])
    convert(given, "degF", "degC")
    assert given.tolist() == [100, 200]


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("sugar [g]", "sugar", "g"),
        ("  copper   wire [ cm ] ", "copper   wire", "cm"),
        ("sugar[g]", "sugar", "g"),
        ("clay", "clay", None),
        ("clay (white)", "clay (white)", None),
        ("sugar []", "sugar", ""),
        ("a [b] [g]", "a [b]", "g"),
    ],
)
def test_headings(text, name, unit):
    assert parse_heading(text) == Heading(name, unit)


def test_a_heading_is_written_as_it_is_read():
    assert str(Heading("sugar", "g")) == "sugar [g]"
    assert str(Heading("clay", None)) == "clay"


def test_both_scales():
    assert both_scales(660.323, 1) == "660.3 °C (1220.6 °F)"


def test_there_is_one_registry():
    assert registry() is registry()


@pytest.mark.parametrize("unit", ["gr", "deg", "ppm", "dB"])
def test_a_unit_that_can_be_meant_two_ways_or_counts_nothing_is_refused(unit):
    with pytest.raises(UnitError):
        working_unit(unit)
