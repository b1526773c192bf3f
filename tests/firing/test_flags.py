"""Flags: what is wrong with a reading is found, and nothing else is."""

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import ReadingsError
from sagglab.firing.flags import FLAGS, in_order, stuck
from sagglab.firing.jumps import jumping
from sagglab.firing.readings import read_readings


def read(minutes, celsius, **columns):
    return read_readings(pd.DataFrame({"time [min]": minutes, "temperature [degC]": celsius, **columns}))


def flagged(readings, name):
    return np.flatnonzero(readings.table["flag"] == name).tolist()


@pytest.fixture(scope="module")
def firing():
    """A restless record at every five seconds: a climb with a stall, and a slow fall."""
    minutes = np.arange(0, 140, 1 / 12)
    smooth = np.interp(minutes, [0, 15, 20, 38, 60, 140], [20, 480, 505, 750, 560, 240])
    return minutes, (smooth + np.random.default_rng(5).normal(0, 0.4, minutes.size)).round(1)


def test_each_flag_has_one_sentence():
    for name, flag in FLAGS.items():
        assert name and flag.meaning and not flag.meaning.endswith(".")
    assert [name for name, flag in FLAGS.items() if flag.counts] == ["after a gap"]


def test_a_sound_record_has_no_flags(firing):
    readings = read(*firing)
    assert (readings.table["flag"] == "").all() and not readings.problems


@pytest.mark.parametrize("by", [25.0, -25.0, 300.0])
@pytest.mark.parametrize("length", [1, 2, 30])
def test_a_spike_is_found_and_nothing_beside_it(firing, by, length):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[400 : 400 + length] += by
    readings = read(minutes, celsius)
    assert flagged(readings, "spike") == list(range(400, 400 + length))
    assert len(readings.counted) == len(celsius) - length
    assert f"{length} of {len(celsius)} readings left out as 'spike'" in readings.problems[0].cause


def test_a_slip_of_the_pen_between_readings_minutes_apart():
    readings = read([0, 4, 8, 12, 16, 20], [20, 136, 301, 46, 507, 540])
    assert flagged(readings, "spike") == [3]


def test_a_quick_climb_between_sparse_readings_is_no_spike():
    assert (read([0, 5, 10, 14, 20], [20, 290, 520, 745, 700]).table["flag"] == "").all()


def test_an_open_sensor_that_shows_a_number_is_out_of_range(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[[200, 201, 300]] = [1372, 9999, -210]
    readings = read(minutes, celsius)
    assert flagged(readings, "out of range") == [200, 201, 300]
    assert readings.counted["temperature_C"].max() < 752


def test_a_sensor_that_begins_open_is_out_of_range(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[:2] = 9999
    assert flagged(read(minutes, celsius), "out of range") == [0, 1]


def test_a_record_that_climbs_out_of_range_is_refused(firing):
    minutes, celsius = firing
    with pytest.raises(ReadingsError, match=r"line \d+: 110\d °C is hotter .* a record in °F wants \[degF\]"):
        read(minutes, celsius * 9 / 5 + 32)


def test_a_sensor_that_is_pulled_out_has_jumped(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[900:] = 18.0
    readings = read(minutes, celsius)
    assert flagged(readings, "jump") == list(range(900, len(celsius)))


def test_a_sensor_that_was_pulled_out_shows_the_next_firing(firing):
    minutes, celsius = firing
    first = celsius.copy()
    first[900:] = 18.0
    wait = np.full(600, 18.0)
    both = np.concatenate([first, wait, celsius])
    readings = read(np.arange(both.size) / 12, both)
    assert flagged(readings, "jump")[0] == 900
    again = first.size + wait.size
    assert flagged(readings, "jump")[-1] < again + 5
    assert (readings.table["flag"][again + 5 :] != "jump").all()


def test_a_sensor_that_is_put_in_late_had_not_been_in_the_kiln(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[:150] = 18.0
    assert flagged(read(minutes, celsius), "jump") == list(range(150))


def test_a_few_wrong_readings_at_the_start_have_jumped(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[:3] = 600
    assert flagged(read(minutes, celsius), "jump") == [0, 1, 2]


@pytest.mark.parametrize("slip", [900, 5, 1950])
def test_a_slip_in_the_last_reading_does_not_cost_those_before_it(slip):
    readings = read(range(7), [20, 55, 90, 125, 160, 195, slip])
    assert np.flatnonzero(readings.table["flag"] != "").tolist() == [6]


def test_a_sensor_that_sticks_while_the_kiln_goes_on(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[300:400] = celsius[300]
    readings = read(minutes, celsius)
    assert flagged(readings, "stuck") == list(range(301, 400))
    assert flagged(readings, "jump") == flagged(readings, "spike") == []


def test_a_restless_sensor_that_falls_silent_at_the_end_is_stuck(firing):
    minutes, celsius = firing
    celsius = celsius.copy()
    celsius[-200:] = celsius[-200]
    assert len(flagged(read(minutes, celsius), "stuck")) == 199


def test_a_hold_is_not_stuck():
    minutes = np.arange(0.0, 120)
    celsius = np.minimum(20 + 15 * minutes, 750).round()
    assert (read(minutes[:80], celsius[:80]).table["flag"] == "").all()
    celsius[90:] = 750 - 6 * (minutes[90:] - 89)
    assert (read(minutes, celsius).table["flag"] == "").all()


def test_a_cold_kiln_is_not_stuck():
    minutes = np.arange(0.0, 120, 0.25)
    celsius = np.where(minutes < 60, 20.0, 20 + (minutes - 60) * 12)
    assert (read(minutes, celsius).table["flag"] == "").all()


def test_a_gap_is_marked_and_its_reading_counts(firing):
    minutes, celsius = firing
    kept = np.r_[0:200, 320 : len(minutes)]
    readings = read(minutes[kept], celsius[kept])
    assert flagged(readings, "after a gap") == [200]
    assert len(readings.counted) == len(kept)
    assert "marked 'after a gap'" in readings.problems[0].cause


def test_readings_by_hand_have_no_gaps():
    assert not flagged(read([0, 3, 8, 11, 16, 28], [20, 90, 200, 260, 380, 600]), "after a gap")


def test_what_was_struck_out_stays_so():
    readings = read([0, 4, 8], [20, 56, 300], flag=["", "struck out", ""])
    assert flagged(readings, "struck out") == [1]
    assert readings.counted["temperature_C"].tolist() == [20, 300]


def test_a_column_that_is_no_temperature_is_not_flagged_reading_by_reading():
    noise = np.random.default_rng(0).uniform(0, 900, 400)
    spikes, jumps = jumping(np.arange(400) / 60, noise)
    assert spikes.size == jumps.size == 0


def test_the_fewest_are_out_of_order():
    # Checked against every subset of a short run.
    rng = np.random.default_rng(1)
    for _ in range(200):
        times = rng.integers(0, 8, 7).astype(float)
        kept = in_order(times)
        assert (np.diff(times[kept]) > 0).all()
        best = max(
            sum(chosen)
            for code in range(2**7)
            if (np.diff(times[(chosen := np.array([code >> k & 1 for k in range(7)], dtype=bool))]) > 0).all()
        )
        assert kept.sum() == best


@pytest.mark.parametrize("size", [0, 1, 2])
def test_next_to_no_readings(size):
    minutes, celsius = np.arange(float(size)), np.full(size, 20.0)
    assert in_order(minutes).all() and not stuck(minutes, celsius).size
    assert not any(found.size for found in jumping(minutes, celsius))
