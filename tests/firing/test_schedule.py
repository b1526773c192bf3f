"""Schedules: plain words to a plan, and a firing against it."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from sagglab.errors import Problems, SagglabError, ScheduleError, UnitError
from sagglab.firing.departures import departures
from sagglab.firing.readings import Readings
from sagglab.firing.schedule import Schedule, Segment, read_schedule
from sagglab.units import convert_rate, rate_in_both_scales

BISQUE = "80 degC/h to 600 degC; 150 degC/h to 995 degC"


def readings(minutes, celsius):
    return Readings(
        "record", pd.DataFrame({"minutes": minutes, "temperature_C": celsius, "flag": ""}), Problems()
    )


def test_the_bisque_schedule_takes_ten_hours():
    # Arithmetic: 580/80 + 395/150 h; common practice calls it about ten hours.
    assert read_schedule(BISQUE).minutes / 60 == pytest.approx(9.88, abs=0.005)
    assert read_schedule(BISQUE).minutes == pytest.approx((580 / 80 + 395 / 150) * 60, rel=1e-14)


@pytest.mark.parametrize(
    "text",
    [
        "80 degC/h to 600 degC; 150 degC/h to 995 degC, hold 10 min",
        "80 °C/h to 600 °C\n150 °C/h to 995 °C, hold 10 min\n",
        "80 K/h to 873.15 K; 150 C/h to 995 C, hold 600 s",
        "144 degF/h to 1112 degF; 4.5 degF/min to 1823 degF hold 10 min",
        "at 80 degC/h to 600 degC; then 2.5 degC/min up to 995 degC; hold for 10 min;",
        "Climb 80 degC per hour to 600 degC; heat at 150 deg C / h to 995 ° C and hold 0,5 min; hold 9.5 min",
        "from 20 degC; 80degC/h to 600degC; 150degC/h to 995degC,hold 10min",
    ],
)
def test_ways_to_write_one_plan(text):
    plan = read_schedule(text)
    assert plan.segments[0].climb_C_per_h == pytest.approx(80, rel=1e-12)
    assert plan.segments[0].target_C == pytest.approx(600, rel=1e-12)
    assert plan.segments[1].climb_C_per_h == pytest.approx(150, rel=1e-12)
    assert plan.segments[1].target_C == pytest.approx(995, rel=1e-12)
    assert [segment.hold_minutes for segment in plan.segments] == pytest.approx([0, 10], rel=1e-12)


@pytest.mark.parametrize("text", ["100 degC/h to 500 degC", "cool 100 degC/h to 500 degC"])
def test_a_fall_follows_from_its_target(text):
    plan = read_schedule(text, start_C=900)
    assert plan.minutes == 240
    assert plan.temperature_C(60) == 800


def test_the_corners():
    plan = read_schedule("120 degC/h to 140 degC, hold 30 min; 60 degC/h to 100 degC")
    pd.testing.assert_frame_equal(
        plan.table,
        pd.DataFrame(
            {
                "minutes": [0.0, 60, 90, 130],
                "temperature_C": [20.0, 140, 140, 100],
                "segment": [0, 1, 1, 2],
            }
        ),
    )
    np.testing.assert_array_equal(
        plan.temperature_C([-1, 0, 30, 75, 110, 131]), [np.nan, 20, 80, 140, 120, np.nan]
    )


@pytest.mark.parametrize(("celsius", "minute"), [(20, 0), (80, 30), (140, 60), (120, 50), (141, np.nan)])
def test_the_first_minute_of_a_temperature(celsius, minute):
    plan = read_schedule("120 degC/h to 140 degC, hold 30 min; 60 degC/h to 100 degC")
    np.testing.assert_equal(plan.minute_of(celsius), minute)


def test_finish_and_latest_start():
    plan = read_schedule("60 degC/h to 110 degC")
    start = dt.datetime(2026, 5, 1, 22, 45)
    assert plan.finish(start) == dt.datetime(2026, 5, 2, 0, 15)
    assert plan.latest_start(plan.finish(start)) == start


def test_a_kiln_does_not_wait_for_the_clocks_to_be_changed():
    # Europe/Berlin, 2026-10-25: at 3:00 the clocks go back to 2:00.
    start = dt.datetime(2026, 10, 25, 1, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    finish = read_schedule("60 degC/h to 140 degC").finish(start)
    assert finish.isoformat() == "2026-10-25T02:30:00+01:00"


FAULTS = {
    "80 to 600 degC": (UnitError, "its rate has no unit, and none is guessed"),
    "80 degC/h to 600": (UnitError, "a temperature in it has no unit"),
    "80 degC/h to 600 degC, hold 10": (UnitError, "its hold has no unit"),
    "80 degC to 600 degC": (UnitError, "it is no rate of climb"),
    "80 g/h to 600 degC": (UnitError, "it is no rate of climb"),
    "80 degC/h to 600 min": (UnitError, "it cannot be turned into degC"),
    "80 degC/h to 600 degC, hold 10 degC": (UnitError, "it cannot be turned into min"),
    "80 bananas/h to 600 degC": (UnitError, "it is unknown"),
    "80 __import__('os')/h to 600 degC": (UnitError, "it is not a unit"),
    "hold 10 min": (ScheduleError, "there is nothing before it to hold"),
    "as fast as it goes": (ScheduleError, "it is no segment"),
    "80 degC/h to 600 degC, soak 10 min": (SagglabError, "soak"),
    "1.2.3 degC/h to 600 degC": (ScheduleError, "'1.2.3' is no number"),
    "80 degC/h to 1,100 degC": (ScheduleError, "can mean thousands or decimals"),
    "80 degC/h to 600 degC; -100 degC/h to 300 degC": (
        ScheduleError,
        "segment 2 of the schedule: its rate is -100",
    ),
    "0 degC/h to 600 degC": (ScheduleError, "segment 1 of the schedule: its rate is 0"),
    "80 degC/h to 600 degC, hold -1 min": (ScheduleError, "segment 1 of the schedule: its hold is -1"),
    "80 degC/h to 6000 degC": (ScheduleError, "segment 1 of the schedule: its target is 6000"),
    "0.001 degC/h to 600 degC": (ScheduleError, "it would take"),
    "cool 100 degC/h to 500 degC": (ScheduleError, "it says cool, and leads from 20 °C to 500 °C"),
    " ; \n": (ScheduleError, "it has no segments"),
}


@pytest.mark.parametrize("text", FAULTS)
def test_what_is_refused(text):
    kind, words = FAULTS[text]
    with pytest.raises(kind) as caught:
        read_schedule(text)
    assert words in str(caught.value)
    assert caught.value.where and caught.value.cause and caught.value.remedy


@pytest.mark.parametrize("bad", [0, -5, np.nan, np.inf])
def test_a_rate_that_is_none_is_told_with_its_segment(bad):
    with pytest.raises(ScheduleError, match="segment 2 of the schedule: its rate"):
        Schedule([Segment(80, 600), Segment(bad, 900)])


@pytest.mark.parametrize("bad", [-1, np.nan, np.inf])
def test_a_hold_that_is_none_is_told_with_its_segment(bad):
    with pytest.raises(ScheduleError, match="segment 1 of the schedule: its hold"):
        Schedule([Segment(80, 600, bad)])


@pytest.mark.parametrize("bad", [-300, np.nan, np.inf])
def test_a_target_that_is_none_is_told_with_its_segment(bad):
    with pytest.raises(ScheduleError, match="segment 1 of the schedule: its target"):
        Schedule([Segment(80, bad)])


def test_a_start_that_is_none_is_told():
    with pytest.raises(ScheduleError, match="it cannot start at nan"):
        Schedule([Segment(80, 600)], start_C=np.nan)


plans = st.builds(
    Schedule,
    st.lists(
        st.builds(Segment, st.floats(5, 5000), st.floats(-40, 1300), st.floats(0, 600)),
        min_size=1,
        max_size=6,
    ).map(tuple),
    st.floats(-40, 1300),
)


@given(plans)
def test_its_text_reads_back_the_same(plan):
    assert read_schedule(str(plan)) == plan


@given(plans, st.floats(0, 1))
def test_the_plan_is_followed_without_a_step(plan, share):
    minute = share * plan.minutes
    steepest = max(segment.climb_C_per_h for segment in plan.segments) / 60
    near = plan.temperature_C([minute, max(minute - 0.01, 0)])
    assert abs(np.diff(near)[0]) <= steepest * 0.01 + 1e-6


def test_what_is_shown_has_both_scales():
    plan = read_schedule(BISQUE + ", hold 10 min")
    assert repr(plan) == "2 segments, 10 h 03 min, from 20 °C (68 °F) up to 995 °C (1823 °F)"
    assert "150 °C/h (270 °F/h)" in plan._repr_html_()


@pytest.mark.parametrize(
    ("value", "unit", "per_hour"),
    # Exact: a degree Fahrenheit is 5/9 of a degree Celsius.
    [(1, "degC/min", 60), (1.8, "degF/h", 1), (3, "°F/min", 100), (80, "K/h", 80), (1, "degC/s", 3600)],
)
def test_rates(value, unit, per_hour):
    assert convert_rate(value, unit) == pytest.approx(per_hour, rel=1e-12)


@pytest.mark.parametrize("unit", ["degC", "h", "g/h", "degC/g", "degC/h/h", "", "/", "degC/h to"])
def test_what_is_no_rate(unit):
    with pytest.raises(UnitError):
        convert_rate(1, unit)


def test_a_rate_in_both_scales():
    assert rate_in_both_scales(900) == "900 °C/h (1620 °F/h)"
    assert rate_in_both_scales(2.5, 1) == "2.5 °C/h (4.5 °F/h)"


# --- a firing against its schedule

PLAN = read_schedule("60 degC/h to 140 degC")  # 120 min


def test_departures_worked_by_hand():
    # Ahead by 20 °C at the half, on the plan at its end: two triangles of 60 min by 20 °C.
    found = departures(readings([0.0, 60, 120], [20.0, 100, 140]), PLAN)
    assert found.table["planned_C"].tolist() == [20, 80, 140]
    assert found.table["departure_C"].tolist() == [0, 20, 0]
    assert (found.ahead_C, found.ahead_minute) == (20, 60)
    assert found.behind_C == 0 and np.isnan(found.behind_minute)
    assert found.area_C_h == pytest.approx(20, rel=1e-12)
    assert found.mean_C == pytest.approx(10, rel=1e-12)


def test_a_crossing_is_counted_on_both_sides():
    # From 10 °C behind to 10 °C ahead: two triangles of 60 min by 10 °C, which cancel in the mean.
    found = departures(readings([0.0, 120], [10.0, 150]), PLAN)
    assert found.area_C_h == pytest.approx(10, rel=1e-12)
    assert found.mean_C == pytest.approx(0, abs=1e-12)
    assert (found.behind_C, found.behind_minute, found.ahead_C, found.ahead_minute) == (10, 0, 10, 120)
    assert found.sentence.startswith("At most 10 °C (18 °F) hotter at minute 120 and 10 °C (18 °F) colder")


def test_only_the_time_that_both_cover_counts():
    found = departures(readings([-30.0, 0, 120, 300], [20.0, 20, 140, 900]), PLAN)
    assert np.isnan(found.table["departure_C"]).tolist() == [True, False, False, True]
    assert found.area_C_h == pytest.approx(0, abs=1e-9)
    assert found.sentence == "The firing followed its schedule."


def test_without_a_common_minute_there_is_nothing_to_compare():
    with pytest.raises(ScheduleError, match="none of its readings falls into the 120 minutes"):
        departures(readings([200.0, 300], [20.0, 140]), PLAN)


@given(
    plans,
    st.lists(st.tuples(st.floats(0.5, 200), st.floats(-20, 1100)), min_size=2, max_size=8),
)
def test_the_area_agrees_with_quadrature(plan, steps):
    minutes = np.cumsum([0.0, *(lasts for lasts, _ in steps[1:])])
    heat = np.array([celsius for _, celsius in steps])
    found = departures(readings(minutes, heat), plan)
    last = min(minutes[-1], plan.minutes)
    fine = np.linspace(0, last, 200_001)
    gap = np.abs(np.interp(fine, minutes, heat) - plan.temperature_C(np.minimum(fine, plan.minutes)))
    rough = np.trapezoid(gap, fine) / 60
    assert found.area_C_h == pytest.approx(rough, rel=1e-3, abs=1e-3 * (1 + gap.max() * last / 60))


def test_the_area_agrees_with_quadrature_to_many_digits():
    minutes, heat = [0.0, 33, 71, 120], [25.0, 48, 99, 120]

    def gap(minute):
        return abs(np.interp(minute, minutes, heat) - (20 + minute))

    # In short pieces, so that the kinks of the absolute value cost no digits.
    whole = sum(quad(gap, start, start + 0.5)[0] for start in np.arange(0, 120, 0.5)) / 60
    assert departures(readings(minutes, heat), PLAN).area_C_h == pytest.approx(whole, rel=1e-6)


def test_down_leads_down():
    assert read_schedule("1. 200 degC/h up to 700 degC; 2. 100 degC/h down to 300 degC").minutes > 0
    with pytest.raises(ScheduleError, match="it says down, and leads from 20 °C to 300 °C"):
        read_schedule("200 degC/h down to 300 degC")


def test_times_are_given_as_text_too():
    plan = read_schedule("80 degC/h to 180 degC")
    assert plan.finish("2026-05-31 14:05").isoformat() == "2026-05-31T16:05:00"
    assert plan.latest_start("2026-05-31 16:05").isoformat() == "2026-05-31T14:05:00"
    with pytest.raises(ScheduleError, match="write it as 2026-05-31 14:05|Write it as 2026-05-31 14:05"):
        plan.finish("at five")
