"""Readings of any curve, and of any text."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sagglab.errors import SagglabError
from sagglab.firing.readings import Readings, read_readings
from sagglab.units import convert


def _clock(minute, start=0):
    seconds = round((start + minute) * 60)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def _day_clock(minute):
    seconds = round((22 * 60 + minute) * 60) % 86400
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def _half_day_clock(minute):
    hours, rest = _day_clock(minute).split(":", 1)
    return f"{(int(hours) - 1) % 12 + 1}:{rest} {'pm' if int(hours) >= 12 else 'am'}"


def _date(minute):
    return str(pd.Timestamp("2026-05-01 22:00") + pd.Timedelta(minutes=minute))


WRITERS = {
    "minutes, °C": ("time [min],temperature [degC]", "{},{}", lambda m: f"{m:.6f}", "degC", "."),
    "seconds, °F": ("time [s];temperature [degF]", "{};{}", lambda m: f"{m * 60:.4f}", "degF", "."),
    "decimal comma": ("time [min];temperature [degC]", "{};{}", lambda m: f"{m:.6f}", "degC", ","),
    "hours, tab": ("time [h]\ttemperature [K]", "{}\t{}", lambda m: f"{m / 60:.9f}", "K", "."),
    "spaces": ("time [min]   temperature [degC]", "{}   {}", lambda m: f"{m:.6f}", "degC", "."),
    "lapsed": ("lapsed [h:mm:ss],temperature [degC]", "{},{}", _clock, "degC", "."),
    "clock": ("clock,temperature [degC]", "{},{}", _day_clock, "degC", "."),
    "am and pm": ("clock,temperature [degF]", "{},{}", _half_day_clock, "degF", "."),
    "dates": ("taken,temperature [degC]", "{},{}", _date, "degC", "."),
}


@pytest.mark.parametrize("shape", WRITERS)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(
        st.tuples(st.integers(1, 3600), st.floats(-20, 1390, allow_nan=False)), min_size=2, max_size=12
    )
)
def test_any_curve_reads_back(tmp_path, shape, steps):
    heading, row, write_time, unit, point = WRITERS[shape]
    seconds = np.cumsum([step for step, _ in steps])
    minutes = (seconds - seconds[0]) / 60
    celsius = np.array([degrees for _, degrees in steps])
    lines = [
        row.format(write_time(minute), f"{value:.6f}").replace(".", point)
        for minute, value in zip(minutes, convert(celsius, "degC", unit), strict=True)
    ]
    file = tmp_path / "log.csv"
    file.write_text("\n".join([heading, *lines]), encoding="utf-8")
    table = read_readings(file).table
    assert (table["flag"] == "").all()
    np.testing.assert_allclose(table["minutes"], minutes, rtol=0, atol=1e-5)
    np.testing.assert_allclose(table["temperature_C"], celsius, rtol=0, atol=1e-5)


PIECES = st.one_of(
    st.sampled_from(["time", "[min]", "°C", "temperature [degC]", "0", "20", "0:10", "23:59:59", "open", "-"])
    | st.sampled_from(
        [",", ";", "\t", "  ", "\n", '"', "2026-05-01 09:00", "1e999", "am", "flag", "9" * 5000]
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
