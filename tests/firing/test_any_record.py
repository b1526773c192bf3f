"""Readings of any curve in any shape, and of any text."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from sagglab.errors import SagglabError
from sagglab.firing.readings import Readings, read_readings
from sagglab.firing.thermocouple import emf_mV
from sagglab.units import convert

START = pd.Timestamp("2026-05-01 22:00")


def clock(minute, start=0):
    seconds = round((start + minute) * 60)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def day_clock(minute):
    seconds = round((22 * 60 + minute) * 60) % 86400
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def half_day_clock(minute):
    hours, rest = day_clock(minute).split(":", 1)
    return f"{(int(hours) - 1) % 12 + 1}:{rest} {'pm' if int(hours) >= 12 else 'am'}"


def date(minute, form="%Y-%m-%d %H:%M:%S"):
    return (START + pd.Timedelta(seconds=round(minute * 60))).strftime(form)


# heading of times, delimiter, how a time is written, unit of temperatures, decimal point
SHAPES = {
    "minutes, °C": ("time [min]", ",", lambda m: f"{m:.6f}", "degC", "."),
    "seconds, °F": ("time [s]", ";", lambda m: f"{m * 60:.4f}", "degF", "."),
    "decimal comma": ("Zeit [min]", ";", lambda m: f"{m:.6f}", "degC", ","),
    "hours, tab": ("time [h]", "\t", lambda m: f"{m / 60:.9f}", "K", "."),
    "spaces": ("time [min]", "   ", lambda m: f"{m:.6f}", "degC", "."),
    "spaces, decimal comma": ("time [min]", "   ", lambda m: f"{m:.6f}", "degC", ","),
    "lapsed": ("lapsed [h:mm:ss]", ",", clock, "degC", "."),
    "clock": ("clock", ",", day_clock, "degC", "."),
    "am and pm": ("clock", ",", half_day_clock, "degF", "."),
    "dates": ("taken", ",", date, "degC", "."),
    "dates with offset": ("taken", ",", lambda m: date(m, "%Y-%m-%dT%H:%M:%S+02:00"), "degC", "."),
    "dates, day first": ("date", ";", lambda m: date(m, "%d.%m.%Y %H:%M:%S"), "degC", ","),
    "dates, am and pm": ("date", ",", lambda m: date(m, "%m/%d/%Y %I:%M:%S %p"), "degF", "."),
    "date beside clock": ("day;time", ";", lambda m: date(m, "%d.%m.%Y;%H:%M:%S"), "degC", "."),
}

# Seconds since the reading before, and the climb meanwhile in °C a minute: a restless kiln, but a kiln.
curves = st.lists(
    st.tuples(st.integers(1, 3600), st.floats(-25, 25, allow_nan=False)), min_size=2, max_size=12
)


def curve(steps):
    seconds = np.cumsum([lasted for lasted, _ in steps])
    celsius = [20.0]
    for lasted, climb in steps[1:]:
        celsius.append(float(np.clip(celsius[-1] + climb * lasted / 60, -20, 1090)))
    return (seconds - seconds[0]) / 60, np.array(celsius)


def written(shape, steps):
    """Give minutes, °C, and the lines of a record."""
    heading, delimiter, write_time, unit, point = SHAPES[shape]
    minutes, celsius = curve(steps)
    lines = [f"{heading}{delimiter}temperature [{unit}]"]
    for minute, value in zip(minutes, convert(celsius, "degC", unit), strict=True):
        number = f"{value:.6f}".replace(".", point)
        time = write_time(minute)
        lines.append(f"{time if ':' in time else time.replace('.', point)}{delimiter}{number}")
    return minutes, celsius, lines


def assert_read(readings, minutes, celsius, within=1e-5):
    """Every reading is there as it was, and counts."""
    np.testing.assert_allclose(readings.table["minutes"], minutes, rtol=0, atol=1e-5)
    np.testing.assert_allclose(readings.table["temperature_C"], celsius, rtol=0, atol=within)
    assert readings.table["flag"].isin(["", "after a gap"]).all()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=curves)
def test_any_curve_reads_back(tmp_path, shape, encoding, steps):
    minutes, celsius, lines = written(shape, steps)
    file = tmp_path / "log.csv"
    file.write_text("\n".join(["Kiln log of the shed", "", *lines]), encoding=encoding)
    assert_read(read_readings(file), minutes, celsius)


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=10, deadline=None)
@given(steps=curves)
def test_any_curve_reads_back_from_a_table(shape, steps):
    minutes, celsius, lines = written(shape, steps)
    delimiter = SHAPES[shape][1]
    head, *rows = [line.split(delimiter) for line in lines]
    assert_read(read_readings(pd.DataFrame(rows, columns=head)), minutes, celsius)


@pytest.mark.parametrize("shape", ["minutes, °C", "lapsed", "dates, day first"])
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=curves)
def test_any_curve_reads_back_from_a_sheet(tmp_path, shape, steps):
    minutes, celsius, lines = written(shape, steps)
    workbook = Workbook()
    for line in lines:
        workbook.active.append(line.split(SHAPES[shape][1]))
    workbook.save(tmp_path / "log.xlsx")
    assert_read(read_readings(tmp_path / "log.xlsx"), minutes, celsius)


@pytest.mark.parametrize("kind", ["K", "N", "S", "R"])
@settings(max_examples=15, deadline=None)
@given(steps=curves, cold=st.floats(-10, 45))
def test_any_curve_reads_back_from_millivolts(kind, steps, cold):
    minutes, celsius = curve(steps)
    signal = emf_mV(celsius, kind) - emf_mV(cold, kind)
    table = pd.DataFrame({"time [min]": minutes, "signal [mV]": signal})
    readings = read_readings(table, thermocouple=kind, cold_junction_C=cold)
    assert_read(readings, minutes, celsius, within=2e-3)


PIECES = st.one_of(
    st.sampled_from(["time", "[min]", "°C", "temperature [degC]", "0", "20", "0:10", "23:59:59", "open", "-"])
    | st.sampled_from(
        [
            ",",
            ";",
            "\t",
            "  ",
            "\n",
            '"',
            "2026-05-01 09:00",
            "1e999",
            "am",
            "flag",
            "9" * 5000,
            "31.12.99 9:00",
        ]
    ),
    st.text(max_size=4),
)


@settings(max_examples=150, deadline=2000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(PIECES, max_size=30))
def test_odd_text_is_read_or_refused_and_nothing_else(tmp_path, pieces):
    file = tmp_path / "log.csv"
    file.write_bytes("".join(pieces).encode("utf-8", "replace"))
    try:
        assert isinstance(read_readings(file), Readings)
    except SagglabError:
        pass


ROWS = st.lists(
    st.tuples(
        st.sampled_from(["0", "1", "2", "2.5", "3", "3", "1", "-4", "", "x", "1e9"]),
        st.sampled_from(["20", "21", "300", "700", "700", "700", "9999", "-300", "", "open", "hot", "1e14"]),
    ),
    max_size=25,
)


@settings(max_examples=300, deadline=2000)
@given(rows=ROWS)
def test_odd_readings_are_flagged_or_refused_and_none_is_lost(rows):
    table = pd.DataFrame(rows, columns=["time [min]", "temperature [degC]"])
    try:
        readings = read_readings(table)
    except SagglabError:
        return
    assert len(readings.table) == sum(any(row) for row in rows)
    counted = readings.counted
    assert (np.diff(counted["minutes"]) > 0).all() and counted["temperature_C"].between(-60, 1100).all()
