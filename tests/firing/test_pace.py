"""Pace: the line at the kiln, worked by hand, and how often its interval holds."""

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagglab.errors import Problems, ReadingsError
from sagglab.firing.pace import pace
from sagglab.firing.readings import Readings


def record(minutes, celsius, flags="", step_C=0.0):
    table = pd.DataFrame({"minutes": minutes, "temperature_C": celsius, "flag": flags}).astype(
        {"minutes": float, "temperature_C": float}
    )
    return Readings("record", table, Problems(), step_C=step_C)


#: 12 °C a minute, and at minute 22 at 560 °C.
STEADY = record(np.arange(2.0, 24, 2), 320 + 12 * np.arange(0.0, 22, 2))


def test_the_climb_that_is_needed():
    # (750 - 560) / (35 - 22) * 60
    assert pace(STEADY, 750, 35).climb_needed_C_per_h == pytest.approx(11400 / 13, rel=1e-12)


def test_the_climb_now():
    assert pace(STEADY, 750, 35).climb_now_C_per_h == pytest.approx(720, rel=1e-12)


def test_the_line():
    found = pace(STEADY, 750, 35)
    assert found.line.startswith(
        "minute 22: 560 °C (1040 °F). Needs 877 °C/h (1578 °F/h) to be at 750 °C (1382 °F) at minute 35; "
        "climbing 720 °C/h (1296 °F/h): "
    )
    assert f"{found.late_minutes:.0f} min behind, there about minute {found.arrival:.0f} (" in found.line
    assert found.low < found.arrival < found.high
    assert found.late_minutes == found.arrival - 35


def test_ahead_behind_and_on_time():
    arrival = pace(STEADY, 750).arrival
    assert "4 min behind, there about" in pace(STEADY, 750, arrival - 4).line
    assert "4 min ahead, there about" in pace(STEADY, 750, arrival + 4).line
    assert ": on time, there about" in pace(STEADY, 750, arrival + 0.3).line


def test_a_steady_climb_arrives_no_sooner_than_at_its_pace():
    assert pace(STEADY, 750).arrival >= 22 + 190 / 12


def test_near_the_target_the_interval_closes_in():
    far, near = pace(STEADY, 900), pace(STEADY, 600)
    assert near.high - near.low < (far.high - far.low) / 4


def test_one_reading_is_too_few():
    found = pace(record([0], [20]), 750, 40)
    assert found.climb_needed_C_per_h == pytest.approx(730 * 1.5, rel=1e-12)
    assert np.isnan([found.climb_now_C_per_h, found.arrival, found.low, found.high]).all()
    assert found.line == (
        "minute 0: 20 °C (68 °F). Needs 1095 °C/h (1971 °F/h) to be at 750 °C (1382 °F) at minute 40; "
        "it is too soon to see how it climbs."
    )


def test_two_readings_give_a_wide_interval():
    found = pace(record([0, 5], [20, 170]), 750)
    assert (found.high - 5) / (found.low - 5) > 4


@pytest.mark.parametrize("last", [[300, 300, 300], [300, 290, 280]])
def test_a_kiln_that_does_not_climb(last):
    found = pace(record([0, 10, 15, 20], [20, *last]), 750, 40)
    assert np.isnan(found.arrival)
    assert found.line.endswith("; not climbing.")


def test_a_single_warm_up_that_only_fell():
    assert pace(record([0, 10, 20], [50, 30, 31]), 750).line.count("there about") <= 1


@pytest.mark.parametrize("target", [560, 500])
def test_already_there(target):
    found = pace(STEADY, target, 35)
    assert found.is_there
    assert np.isnan([found.arrival, found.climb_needed_C_per_h]).all()
    assert "It is already there" in found.line


def test_it_has_been_there():
    found = pace(record([0, 20, 40, 60], [20, 400, 755, 600]), 750, 45)
    assert found.is_there and "It has been already there" in found.line
    assert np.isnan(found.climb_needed_C_per_h)


def test_a_few_seconds_show_no_climb():
    found = pace(record([0, 0.1], [20, 22]), 750)
    assert np.isnan(found.climb_now_C_per_h) and "too soon to see" in found.line


@pytest.mark.parametrize("minute", [22, 10])
def test_the_minute_has_passed(minute):
    found = pace(STEADY, 750, minute)
    assert np.isnan(found.climb_needed_C_per_h)
    assert f"was wanted at minute {minute}, which has passed; climbing" in found.line
    assert found.late_minutes > 0


def test_without_a_minute_there_is_only_the_projection():
    found = pace(STEADY, 750)
    assert np.isnan([found.climb_needed_C_per_h, found.late_minutes]).all()
    assert "750 °C (1382 °F) is wanted; climbing 720 °C/h (1296 °F/h): there about minute" in found.line


def test_without_a_target_there_is_only_the_climb():
    assert pace(STEADY).line == "minute 22: 560 °C (1040 °F); climbing 720 °C/h (1296 °F/h)."


def test_what_does_not_count_is_left_out():
    minutes, heat = np.arange(0.0, 12, 2), np.array([20.0, 60, 100, 900, 180, 220])
    flags = ["", "", "", "spike", "", ""]
    assert pace(record(minutes, heat, flags), 300).climb_now_C_per_h == pytest.approx(1200, rel=1e-12)


def test_nothing_that_counts_is_an_error():
    with pytest.raises(ReadingsError, match="none of its readings counts"):
        pace(record([0], [20], ["struck out"]), 750)


def test_a_coarse_dial_widens_the_interval():
    fine = pace(STEADY, 562)
    coarse = pace(record(STEADY.table["minutes"], STEADY.table["temperature_C"], step_C=10.0), 562)
    assert coarse.low == 22 and coarse.high > fine.high


@given(
    st.lists(st.tuples(st.floats(0.02, 90), st.floats(-40, 1100)), min_size=1, max_size=12),
    st.floats(-40, 1100),
    st.one_of(st.none(), st.floats(0.1, 500)),
)
def test_any_record_gives_a_line(steps, target, minute):
    minutes = np.cumsum([lasts for lasts, _ in steps])
    found = pace(record(minutes, [celsius for _, celsius in steps]), target, minute)
    assert found.line.startswith(f"minute {minutes[-1]:.0f}: ") and found.line.endswith(".")
    assert "nan" not in found.line and "inf" not in found.line
    if not np.isnan(found.arrival):
        assert minutes[-1] <= found.low <= found.arrival <= found.high


def test_how_often_the_interval_holds():
    # On the seeds 1000 to 1199, none of them used to choose the figures, it held in .97 of all cases: .97 of
    # gas, 1.00 of approach, .94 of ramps. These seeds are others again.
    place = Path(__file__).parents[1] / "benchmarks" / "pace_arrivals.py"
    spec = importlib.util.spec_from_file_location("pace_arrivals", place)
    arrivals = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(arrivals)
    held = arrivals.summary(arrivals.judged(range(2000, 2020)), "firing")["held"]
    assert (held >= 0.9).all()
