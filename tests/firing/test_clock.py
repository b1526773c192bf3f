"""Times turned into minutes."""

import numpy as np
import pytest

from sagglab.errors import ReadingsError
from sagglab.firing.cells import time_reader
from sagglab.firing.headings import is_time, time_unit


def times(cells, heading="clock"):
    reader = time_reader([cell for cell in cells if cell], heading, "record")
    return reader.finish(reader.read(cells))


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
        "2026-05-01T09:00:00.250+02:00",
        "31.5.2026 14:05",
        "5/31/26 2:05 pm",
    ],
)
def test_times(cell):
    assert is_time(cell)


@pytest.mark.parametrize(
    "cell", ["", "time", "9:75", "9:", ":30", "2026-05-01", "9:00 xm", "9" * 5000 + ":00", "1/2-2026 9:00"]
)
def test_no_times(cell):
    assert not is_time(cell)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("time [s]", "s"),
        ("minutes", "min"),
        ("hours", "h"),
        ("Zeit [min]", "min"),
        ("Zeit in Minuten", "min"),
        ("Sekunden", "s"),
        ("heures", "h"),
        ("minuti", "min"),
        ("clock", None),
        ("Uhrzeit", None),
    ],
)
def test_the_unit_of_a_heading(heading, unit):
    assert time_unit(heading) == unit


@pytest.mark.parametrize(
    ("cells", "minutes"),
    [
        (["12:00 am", "12:30 AM"], 30),
        (["11:59 a.m.", "12:00 pm"], 1),
        (["11:50 pm", "12:10 am"], 20),
        (["0:00:00", "0:00:30"], 0.5),
        (["0:00:00", "0:00:07,5"], 0.125),
        (["35:00:00", "36:10:00"], 70),
    ],
)
def test_two_clock_times(cells, minutes):
    assert times(cells).minutes[1] == pytest.approx(minutes)


def test_two_figures_can_be_minutes_and_seconds():
    read = times(["0:00", "61:30"], "time [mm:ss]")
    assert read.minutes.tolist() == [0, 61.5] and not read.told


def test_two_figures_beyond_a_day_are_minutes_and_seconds_and_told():
    read = times(["0:00", "12:30", "25:00"], "the time")
    assert read.minutes.tolist() == [0, 12.5, 25]
    assert read.told[0][0] == "'0:00' was read as minutes and seconds"
    assert "write the heading as 'time [h:mm]'" in read.told[0][1]


def test_two_midnights():
    cells = ["23:00", "1:00", "12:00", "23:30", "0:30"]
    assert times(cells).minutes.tolist() == [0, 120, 780, 1470, 1530]


def test_a_cell_that_is_no_time_leaves_the_others_alone():
    np.testing.assert_array_equal(times(["23:50", "?", "0:10"]).minutes, [0, np.nan, 20])


def test_a_clock_of_twelve_hours_without_am_and_pm_goes_on_past_noon_and_is_told():
    read = times(["11:50", "12:10", "12:50", "1:05", "2:00"])
    assert read.minutes.tolist() == [0, 20, 60, 75, 130]
    assert "read as one of twelve hours" in read.told[0][0]


def test_times_with_and_without_a_half_of_the_day_do_not_mix():
    np.testing.assert_array_equal(times(["9:00 am", "9:10", "9:20 am"]).minutes, [0, np.nan, 20])


def test_a_day_at_every_second_is_read_by_its_figures():
    seconds = np.arange(86_000, 87_000)
    cells = [f"{s // 3600 % 24:02d}:{s // 60 % 60:02d}:{s % 60:02d}" for s in seconds]
    np.testing.assert_allclose(times(cells).minutes, (seconds - seconds[0]) / 60, atol=1e-9)


# --- dates


def test_dates_honour_offsets():
    cells = ["2026-05-01T09:00:00+02:00", "2026-05-01T07:30:00Z", "2026-02-31 09:00"]
    read = times(cells)
    np.testing.assert_array_equal(read.minutes, [0, 30, np.nan])
    assert str(read.started) == "2026-05-01 09:00:00"


def test_iso_seconds_with_a_comma_and_a_date_alone_among_them():
    read = times(["2026-05-01", "2026-05-01T09:00:00,5", "2026-05-01T09:00:30,5"], "taken")
    assert read.minutes[2] - read.minutes[1] == pytest.approx(0.5)
    assert str(read.started) == "2026-05-01 09:00:00.500000"


def test_offsets_over_the_end_of_summer_time():
    cells = ["2026-10-25T02:30:00+02:00", "2026-10-25T02:10:00+01:00", "2026-10-25T03:00:00+01:00"]
    read = times(cells)
    assert read.minutes.tolist() == [0, 40, 90] and not read.told


EVERY_TWO = np.arange(0, 240, 2.0)


def clock_over(changes, minutes=EVERY_TWO, start="2026-10-25 00:30"):
    """Write local times without offset; after so many minutes the clock is moved by so many."""
    stamp = np.datetime64(start.replace(" ", "T"))
    local = minutes + sum(by * (minutes >= at) for at, by in changes)
    return [str((stamp + (m * 60).astype("timedelta64[s]")).astype("M8[s]")).replace("T", " ") for m in local]


@pytest.mark.parametrize(("at", "by", "word"), [(150, -60, "back"), (90, 60, "forth")])
def test_a_clock_without_offset_that_is_moved_by_an_hour_is_told(at, by, word):
    read = times(clock_over([(at, by)]))
    assert read.minutes.tolist() == EVERY_TWO.tolist()
    assert read.told[0][0] == f"its clock is moved {word} by an hour, which was taken out"


def test_a_pause_of_an_hour_by_day_is_a_pause():
    minutes = np.concatenate([np.arange(0, 90, 2.0), np.arange(150, 240, 2.0)])
    read = times(clock_over([], minutes, start="2026-10-25 12:30"))
    assert read.minutes.tolist() == minutes.tolist() and not read.told


@pytest.mark.parametrize(
    ("cells", "minutes"),
    [
        (["31.05.2026 23:50", "01.06.2026 0:10"], 20),
        (["31/05/2026 23:50", "01/06/2026 0:10"], 20),
        (["05/31/2026 11:50 PM", "06/01/2026 12:10 AM"], 20),
        (["5/31/26 23:50:00", "6/1/26 0:00:30"], 10.5),
        (["2026/05/31 23:50", "2026/06/01 00:10"], 20),
        (["2026-05-31 9:50", "2026-05-31 10:10"], 20),
        (["31-05-2026 9:50", "31-05-2026 10:10"], 20),
    ],
)
def test_dates_in_other_orders(cells, minutes):
    read = times(cells)
    assert read.minutes.tolist() == pytest.approx([0, minutes]) and not read.told
    assert read.started.date().isoformat() == "2026-05-31"


def test_days_that_follow_on_each_other_settle_the_order_and_are_told():
    read = times(["01/05/2026 9:00", "02/05/2026 9:00", "03/05/2026 9:00"])
    assert read.minutes.tolist() == [0, 1440, 2880]
    assert "was read as day-month-year" in read.told[0][0]


def test_one_day_needs_no_order_and_is_left_open():
    read = times(["01/05/2026 9:00", "01/05/2026 9:30"])
    assert read.minutes.tolist() == [0, 30] and read.started is None
    assert read.told[0][0] == (
        "'01/05/2026' can mean day-month-year or month-day-year: on which day this was is left open"
    )
    same = times(["05/05/2026 9:00", "05/05/2026 9:30"])
    assert str(same.started) == "2026-05-05 09:00:00" and not same.told


def test_dates_that_can_mean_two_things_are_refused():
    with pytest.raises(ReadingsError, match=r"'01/05/2026' can mean .* Write dates as 2026-05-31 14:05"):
        times(["01/05/2026 9:00", "07/08/2026 9:00"])


def test_dates_in_no_one_order_are_refused():
    with pytest.raises(ReadingsError, match="are in no one order"):
        times(["13/05/2026 9:00", "05/14/2026 9:00"])


@pytest.mark.parametrize(
    ("cells", "heading", "step"),
    [
        (["9:00", "9:04", "9:09"], "clock", 1),
        (["9:00:00", "9:04:10"], "clock", 1 / 60),
        (["2026-05-01 09:00", "2026-05-01 09:04"], "taken", 1),
        (["2026-05-01 09:00:00", "2026-05-01 09:04:10"], "taken", 1 / 60),
        (["0", "4", "9"], "time [min]", 1),
        (["0", "1", "2"], "time [min]", 0),
        (["0.5", "4.25"], "time [min]", 0),
    ],
)
def test_how_finely_times_are_written(cells, heading, step):
    assert times(cells, heading).step == pytest.approx(step)
