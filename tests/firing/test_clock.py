"""Times turned into minutes."""

import numpy as np
import pytest

from sagglab.firing.clock import is_time, minutes_from_clock, minutes_from_dates


@pytest.mark.parametrize(
    "cell",
    [
        "0",
        "2,5",
        "9:05",
        "0:00:30",
        "12:00 am",
        "11:59 P.M.",
        "36:10:00",
        "2026-05-01 09:00",
        "2026-05-01T9:00",
    ],
)
def test_times(cell):
    assert is_time(cell)


@pytest.mark.parametrize(
    "cell", ["", "time", "9:75", "9:", ":30", "2026-05-01", "9:00 xm", "9" * 5000 + ":00"]
)
def test_no_times(cell):
    assert not is_time(cell)


@pytest.mark.parametrize(
    ("cell", "minutes"),
    [
        ("12:00 am", 0),
        ("12:30 AM", 30),
        ("1:00 am", 60),
        ("11:59 a.m.", 719),
        ("12:00 pm", 720),
        ("11:59 pm", 1439),
        ("0:00:30", 0.5),
        ("0:00:07,5", 0.125),
        ("36:10:00", 2170),
    ],
)
def test_one_clock_time(cell, minutes):
    assert minutes_from_clock([cell], short_is_minutes=False)[0] == pytest.approx(minutes)


def test_two_figures_can_be_minutes_and_seconds():
    assert minutes_from_clock(["61:30"], short_is_minutes=True) == 61.5


def test_two_midnights():
    cells = ["23:00", "1:00", "12:00", "23:30", "0:30"]
    assert minutes_from_clock(cells, short_is_minutes=False).tolist() == [1380, 1500, 2160, 2850, 2910]


def test_a_cell_that_is_no_time_leaves_the_others_alone():
    minutes = minutes_from_clock(["23:50", "?", "0:10"], short_is_minutes=False)
    np.testing.assert_array_equal(minutes, [1430, np.nan, 1450])


def test_dates_honour_offsets():
    cells = ["2026-05-01T09:00:00+02:00", "2026-05-01T07:30:00Z", "2026-02-31 09:00"]
    np.testing.assert_array_equal(minutes_from_dates(cells), [0, 30, np.nan])
