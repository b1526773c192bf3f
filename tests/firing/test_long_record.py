"""Firings cut out of long records."""

import numpy as np
import pandas as pd
import pytest

from sagglab.firing.heat import heat_measures
from sagglab.firing.long_record import firings_in
from sagglab.firing.readings import read_readings


def record(*points, every=0.5, **columns):
    hours, celsius = zip(*points, strict=True)
    minutes = np.arange(0, hours[-1] * 60 + every / 2, every)
    temperature = np.interp(minutes / 60, hours, celsius)
    return read_readings(pd.DataFrame({"time [min]": minutes, "temperature [degC]": temperature, **columns}))


TWO_IN_A_DAY = (0, 20), (2, 20), (2.7, 750), (4.2, 180), (4.5, 180), (5.1, 720), (7, 200), (15, 20), (30, 20)


def test_two_firings_in_a_day_are_parted_at_the_valley():
    one, other = firings_in(record(*TWO_IN_A_DAY))
    assert one.counted["temperature_C"].max() == pytest.approx(750, abs=0.1)
    assert other.counted["temperature_C"].max() == pytest.approx(720, abs=0.1)
    # Neither the cold hours before and after, nor the wait between two firings, are part of one.
    assert one.counted["minutes"].max() == pytest.approx(2.2 * 60, abs=1)
    assert heat_measures(one)["minutes_to_peak"] == pytest.approx(42, abs=1)
    assert heat_measures(other)["minutes_to_peak"] == pytest.approx(36, abs=1)
    assert [firing.source for firing in (one, other)] == ["table, firing 1 of 2", "table, firing 2 of 2"]


@pytest.mark.parametrize("per_hour", [-1.5, -0.5, 0.5, 2.0, 3.0])
def test_a_shed_that_warms_or_cools_does_not_begin_a_firing(per_hour):
    rng = np.random.default_rng(4)
    minutes = np.arange(0, 24 * 60, 1.0)
    shed = 18 + per_hour * np.minimum(minutes, 600) / 60
    kiln = np.interp(minutes - 600, [0, 40, 130, 600], [0, 730, 270, 0])
    celsius = (shed + kiln + rng.normal(0, 0.3, minutes.size)).round(1)
    (one,) = firings_in(read_readings(pd.DataFrame({"time [min]": minutes, "kiln [degC]": celsius})))
    assert heat_measures(one)["minutes_to_peak"] == pytest.approx(40, abs=2)


@pytest.mark.parametrize("per_hour", [20, 60, 200])
def test_a_slow_climb_begins_where_it_begins(per_hour):
    hours = 740 / per_hour
    (one,) = firings_in(record((0, 20), (3, 20), (3 + hours, 760), (10 + hours, 100), every=2.0))
    assert heat_measures(one)["minutes_to_peak"] == pytest.approx(60 * hours, abs=8)


def test_a_rest_on_the_way_up_does_not_part_a_firing():
    (one,) = firings_in(record((0, 20), (1, 600), (1.5, 450), (2, 750), (5, 60)))
    assert one.counted["temperature_C"].max() == pytest.approx(750, abs=0.1)


def test_a_record_of_one_firing_stays_whole():
    readings = record((0, 20), (0.7, 750), (2, 280))
    (one,) = firings_in(readings)
    pd.testing.assert_frame_equal(one.table, readings.table)


def test_a_record_that_begins_hot_or_ends_hot():
    first, last = firings_in(record((0, 700), (3, 30), (6, 30), (6.8, 740)))
    assert first.counted["temperature_C"].iloc[0] == 700
    assert last.counted["temperature_C"].iloc[-1] == pytest.approx(740)


def test_a_cold_record_holds_no_firing():
    assert firings_in(record((0, 18), (10, 24), (20, 16))) == ()
    assert firings_in(record((0, 20), (1, 200), (5, 20))) == ()


def test_dates_say_when_each_began():
    minutes = np.arange(0, 30 * 60, 2.0)
    celsius = np.interp(minutes / 60, *zip(*TWO_IN_A_DAY, strict=True))
    taken = pd.Timestamp("2026-05-01 06:00") + pd.to_timedelta(minutes, unit="min")
    one, other = firings_in(read_readings(pd.DataFrame({"taken": taken, "kiln [degC]": celsius})))
    assert str(one.started) == "2026-05-01 08:00:00" and str(other.started) == "2026-05-01 10:30:00"


def test_flagged_readings_go_with_their_firing():
    minutes = np.arange(0, 300, 0.5)
    celsius = np.interp(minutes, [0, 40, 130, 150, 190, 300], [20, 750, 150, 150, 740, 100])
    celsius[[40, 340]] = 9999
    one, other = firings_in(read_readings(pd.DataFrame({"time [min]": minutes, "kiln [degC]": celsius})))
    for firing in (one, other):
        assert (firing.table["flag"] == "out of range").sum() == 1
        assert firing.counted["temperature_C"].max() < 760


def test_many_firings_in_a_noisy_fortnight():
    rng = np.random.default_rng(3)
    minutes = np.arange(0, 14 * 24 * 60, 0.5)
    starts = np.sort(rng.choice(np.arange(1, 27), 9, replace=False)) * 12 * 60.0
    celsius = np.full(minutes.size, 15.0)
    for start in starts:
        celsius = np.maximum(celsius, np.interp(minutes - start, [0, 38, 130, 600], [15, 750, 290, 15]))
    celsius = (celsius + rng.normal(0, 0.5, minutes.size)).round(1)
    found = firings_in(read_readings(pd.DataFrame({"time [min]": minutes, "kiln [degC]": celsius})))
    assert len(found) == 9
    peaks = [firing.counted["temperature_C"].max() for firing in found]
    assert np.ptp(peaks) < 3
    assert [heat_measures(f)["minutes_to_peak"] for f in found] == pytest.approx([38] * 9, abs=1.5)
