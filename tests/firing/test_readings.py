"""Readings: every way in which a temperature record is written, read to the same curve."""

import numpy as np
import pandas as pd
import pytest

from sagglab.columns import READINGS, empty
from sagglab.errors import FileFormatError, MissingFileError, ReadingsError, UnitError
from sagglab.firing.flags import FLAGS
from sagglab.firing.readings import read_readings
from sagglab.firing.thermocouple import emf_mV

MINUTES = [0.0, 10.0, 20.0, 60.0]
CELSIUS = [20.0, 320.5, 750.0, 250.0]


@pytest.fixture
def read(tmp_path):
    """Write a record down and read it."""

    def write_and_read(text, encoding="utf-8", **options):
        file = tmp_path / "log.csv"
        file.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return read_readings(file, **options)

    return write_and_read


def assert_curve(readings, minutes=MINUTES, celsius=CELSIUS, within=1e-6):
    np.testing.assert_allclose(readings.table["minutes"], minutes, rtol=0, atol=1e-6)
    np.testing.assert_allclose(readings.table["temperature_C"], celsius, rtol=0, atol=within)
    assert (readings.table["flag"] == "").all()


SHAPES = {
    "comma": "time [min],temperature [degC]\n0,20\n10,320.5\n20,750\n60,250\n",
    "semicolon and decimal comma": "time [min];temperature [degC]\n0;20,0\n10;320,5\n20;750,0\n60;250,0\n",
    "tab": "time [min]\ttemperature [degC]\n0\t20\n10\t320.5\n20\t750\n60\t250\n",
    "tab and decimal comma": "time [min]\ttemperature [degC]\n0\t20\n10\t320,5\n20\t750\n60\t250\n",
    "spaces": "time [min]   temperature [degC]\n 0   20\n10   320.5\n20   750\n60   250\n",
    "single spaces": "time [min] temperature [degC]\n0 20\n10 320.5\n20 750\n60 250\n",
    "spaces and decimal comma": "time [min]  temperature [degC]\n0  20,0\n10  320,5\n20  750,0\n60  250,0\n",
    "quoted": '"time [min]","temperature [degC]"\n"0","20"\n"10","320,5"\n"20","750"\n"60","250"\n',
    "line ends of old": "time [min],temperature [degC]\r0,20\r10,320.5\r20,750\r60,250\r",
    "blank lines": "\n\ntime [min],temperature [degC]\n\n0,20\n10,320.5\n\n20,750\n60,250\n\n",
    "temperature first": "temperature [degC],time [min]\n20,0\n320.5,10\n750,20\n250,60\n",
    "a numbered row": "no,time [min],temperature [degC]\n1,0,20\n2,10,320.5\n3,20,750\n4,60,250\n",
    "seconds": "time [s],temperature [degC]\n0,20\n600,320.5\n1200,750\n3600,250\n",
    "hours": "hours,temperature [degC]\n0,20\n0.16666666667,320.5\n0.33333333333,750\n1,250\n",
    "lapsed h:mm:ss": "time,temperature [degC]\n0:00:00,20\n0:10:00,320.5\n0:20:00,750\n1:00:00,250\n",
    "lapsed mm:ss": "the time [mm:ss],temperature [degC]\n00:00,20\n10:00,320.5\n20:00,750\n60:00,250\n",
    "clock": "clock,temperature [degC]\n9:00,20\n9:10,320.5\n9:20,750\n10:00,250\n",
    "clock past midnight": "clock,temperature [degC]\n23:45,20\n23:55,320.5\n0:05,750\n0:45,250\n",
    "am and pm": "time,temperature [degC]\n11:50 am,20\n12:00 pm,320.5\n12:10 PM,750\n12:50 p.m.,250\n",
    "pm past midnight": "time,temperature [degC]\n11:45 pm,20\n11:55 pm,320.5\n12:05 am,750\n12:45 am,250\n",
    "ISO": "taken,temperature [degC]\n2026-05-01 23:50,20\n2026-05-02T00:00:00,320.5\n"
    "2026-05-02 00:10,750\n2026-05-02 00:50,250\n",
    "ISO with offsets": "taken,temperature [degC]\n2026-05-01T09:00:00Z,20\n2026-05-01T09:10:00+00:00,320.5\n"
    "2026-05-01T11:20:00+02:00,750\n2026-05-01T10:00:00Z,250\n",
    "°F": "time [min],temperature [degF]\n0,68\n10,608.9\n20,1382\n60,482\n",
    "K": "time [min],temperature [K]\n0,293.15\n10,593.65\n20,1023.15\n60,523.15\n",
    "°C in round brackets": "time (min),temp (°C)\n0,20\n10,320.5\n20,750\n60,250\n",
    "C at the end": "minutes,temp C\n0,20\n10,320.5\n20,750\n60,250\n",
    "the unit alone": "min,°C\n0,20\n10,320.5\n20,750\n60,250\n",
    "units on a line of their own": "time;temperature\n[min];[°F]\n0;68\n10;608.9\n20;1382\n60;482\n",
    "a preamble": "Kiln log\nSerial,12345\nStarted,2026-05-01 09:00\n\ntime [min],temperature [degC]\n"
    "0,20\n10,320.5\n20,750\n60,250\n",
    "a preamble padded by a spreadsheet": "Kiln log,,\nSerial,12345,\nLimits,20,1000\n,,\n"
    "time [min],temperature [degC],notes\n0,20,\n10,320.5,lit\n20,750,\n60,250,out\n",
    "notes behind": "time [min],temperature [degC],notes\n0,20,\n10,320.5,second burner\n20,750,\n60,250,\n",
    "delimiters behind": "time [min],temperature [degC]\n0,20,\n10,320.5,\n20,750,\n60,250,\n",
}


@pytest.mark.parametrize("shape", SHAPES)
def test_each_shape_reads_to_the_same_curve(read, shape):
    assert_curve(read(SHAPES[shape]))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_each_encoding_reads_to_the_same_curve(read, encoding):
    assert_curve(read(SHAPES["°C in round brackets"], encoding=encoding))


def test_the_columns_of_the_table(read):
    pd.testing.assert_series_equal(read(SHAPES["comma"]).table.dtypes, empty(READINGS).dtypes)


def test_millivolts_with_a_cold_junction(read):
    millivolts = emf_mV(CELSIUS, "K") - emf_mV(22.0, "K")
    rows = "".join(f"{m},{v:.6f}\n" for m, v in zip(MINUTES, millivolts, strict=True))
    measured = read(f"time [min],signal [mV]\n{rows}", thermocouple="K", cold_junction_C=22.0)
    assert_curve(measured, within=1e-3)


@pytest.mark.parametrize("options", [{}, {"thermocouple": "K"}, {"cold_junction_C": 20.0}])
def test_millivolts_alone_are_not_enough(read, options):
    with pytest.raises(
        ReadingsError, match="which need the thermocouple's type and the cold junction's temperature"
    ):
        read("time [min],signal [mV]\n0,1\n10,2\n", **options)


# --- what is left out is flagged


@pytest.mark.parametrize("mark", ["", "open", "OPEN", "----", "OL", "O.L.", "err", "Error", "NaN", "n/a"])
def test_an_open_sensor_is_flagged_and_left_out(read, mark):
    readings = read(f"time [min],temperature [degC]\n0,20\n10,{mark}\n20,750\n")
    assert readings.table["flag"].tolist() == ["", "open", ""]
    assert readings.counted["minutes"].tolist() == [0, 20]
    assert readings.problems[0].cause == f"1 of 3 readings left out as 'open': {FLAGS['open'].meaning}"
    assert not readings.problems.stopping


@pytest.mark.parametrize("first", ["0,open", "0,", "0,----", "0,,", "0,,burner lit"])
def test_an_open_sensor_at_the_start_is_not_dropped(read, first):
    readings = read(f"time [min],temperature [degC],notes\n{first}\n10,320\n20,750\n")
    assert readings.table["flag"].tolist() == ["open", "", ""]
    assert readings.table["minutes"].tolist() == [0, 10, 20]


def test_what_is_neither_number_nor_mark_is_flagged(read):
    readings = read("time [min],temperature [degC]\n0,20\n10,hot\n?,500\n20,750\n")
    assert readings.table["flag"].tolist() == ["", "unreadable", "unreadable", ""]


def test_a_row_out_of_order_is_flagged(read):
    readings = read("time [min],temperature [degC]\n0,20\n10,320\n5,330\n12,340\n20,750\n")
    assert readings.table["flag"].tolist() == ["", "", "out of order", "", ""]


def test_one_slip_in_the_times_does_not_cost_the_readings_after_it(read):
    readings = read("time [min],temperature [degC]\n0,20\n10,320\n1500,480\n20,600\n25,750\n30,740\n")
    assert readings.table["flag"].tolist() == ["", "", "out of order", "", "", ""]


def test_two_values_at_one_time(read):
    readings = read("time [min],temperature [degC]\n0,20\n10,320\n10,330\n20,600\n")
    assert readings.table["flag"].tolist() == ["", "", "same time", ""]
    assert readings.problems[0].row == 4


def test_a_clock_that_steps_back_a_little_has_not_passed_midnight(read):
    readings = read("clock,temperature [degC]\n9:00,20\n9:10,320\n9:08,330\n9:20,750\n")
    assert readings.table["flag"].tolist() == ["", "", "out of order", ""]
    assert readings.table["minutes"].tolist() == [0, 10, 8, 20]


def test_minutes_count_from_the_first_clock_time(read):
    readings = read("clock,temperature [degC]\n9:00,20\n8:59,25\n9:20,750\n")
    assert readings.table["minutes"].tolist() == [0, -1, 20]


def test_a_fault_is_told_with_its_line(read):
    readings = read("log\n\ntime [min],temperature [degC]\n0,20\n\n10,hot\n20,750\n")
    assert readings.problems[0].row == 6


def test_two_figures_under_a_plain_heading_are_taken_for_hours_and_told(read):
    readings = read("the time,temperature [degC]\n0:00,20\n0:10,320\n")
    assert readings.table["minutes"].tolist() == [0, 10]
    assert "was read as hours and minutes" in readings.problems[0].cause


def clocked(read, minutes, climb, begins=0):
    """Read a record of so many °C a minute, its times two figures under a plain heading."""
    lines = [
        f"{(begins + minute) // 60 % 24}:{minute % 60:02d},{20 + climb * minute:.1f}" for minute in minutes
    ]
    return read("\n".join(["the time,temperature [degC]", *lines]))


@pytest.mark.parametrize("begins", [14 * 60, 20 * 60, 23 * 60])
def test_two_figures_that_only_a_clock_can_show_need_no_word(read, begins):
    readings = clocked(read, range(0, 70, 5), 7.4, begins)
    assert readings.table["minutes"].tolist() == list(range(0, 70, 5)) and not readings.problems


def test_two_figures_that_can_mean_both_are_told(read):
    # 60 °C an hour for eleven hours, or 60 °C a minute for eleven minutes
    cause = clocked(read, range(0, 690, 15), 1.0).problems[0].cause
    assert cause == "'0:00' was read as hours and minutes"


def test_hours_beyond_a_day_are_read_where_no_kiln_makes_seconds_of_them(read):
    lines = [f"{20 + minute // 60}:{minute % 60:02d},{20 + 2 * minute}" for minute in range(0, 260, 5)]
    readings = read("\n".join(["the time,temperature [degC]", *lines]))
    assert readings.table["minutes"].iloc[-1] == 255 and not readings.problems


def test_a_spike_does_not_settle_two_figures(read):
    # Minutes and seconds in truth: 13 minutes at 40 °C a minute, with one reading that stands out.
    heats = [20 + 10 * k for k in range(52)]
    heats[20] = 1050
    lines = [f"{k // 4}:{15 * (k % 4):02d},{heat}" for k, heat in enumerate(heats)]
    assert "hours and minutes" in read("\n".join(["the time,temperature [degC]", *lines])).problems[0].cause


@pytest.mark.parametrize("flag", ["struck out", "open"])
@pytest.mark.parametrize("times", [["9:00", "9:05", "9:10"], [f"2026-05-01 09:{k:02d}" for k in (0, 5, 10)]])
def test_minutes_count_from_the_first_reading_that_counts(read, times, flag):
    rows = zip(times, (20, 30, 150), (flag, "", ""), strict=True)
    readings = read("clock,temperature [degC],flag\n" + "".join(f"{a},{b},{c}\n" for a, b, c in rows))
    assert readings.table["minutes"].tolist() == [-5, 0, 5]
    assert readings.started is None or f"{readings.started:%H:%M}" == "09:05"


def test_minutes_that_the_record_counts_itself_stay(read):
    readings = read("time [min],temperature [degC],flag\n0,20,struck out\n5,30,\n10,150,\n")
    assert readings.table["minutes"].tolist() == [0, 5, 10]


@pytest.mark.parametrize("heading", ["clock", "time [h:mm]", "time of day", "hours"])
def test_a_heading_that_says_so_needs_no_word_about_it(read, heading):
    assert not read(f"{heading},temperature [degC]\n0:00,20\n0:10,320\n").problems


def test_am_and_pm_need_no_word_about_them(read):
    assert not read(SHAPES["am and pm"]).problems


# --- what is refused, and how to mend it


def test_no_unit_is_an_error_that_says_how_to_state_it(read):
    with pytest.raises(ReadingsError) as caught:
        read("time [min],temperature\n0,20\n10,320\n")
    assert str(caught.value).endswith(
        "log.csv, column 'temperature': no unit is stated, and none is guessed. "
        "Write the heading as 'temperature [degC]' or 'temperature [degF]'."
    )


def test_the_unit_can_be_given_instead(read):
    assert_curve(read("time [min],temperature\n0,68\n10,608.9\n20,1382\n60,482\n", unit="degF"))


def test_the_unit_given_wins_over_the_heading(read):
    assert_curve(read("time [min],temperature [degC]\n0,68\n10,608.9\n20,1382\n60,482\n", unit="degF"))


@pytest.mark.parametrize("unit", ["g", "deg", "bananas", "__import__('os')"])
def test_a_unit_that_is_no_temperature_is_refused(read, unit):
    with pytest.raises(UnitError):
        read(SHAPES["comma"], unit=unit)


def test_the_third_sensor_is_not_taken_for_celsius(read):
    with pytest.raises(ReadingsError, match="several temperature columns: sensor A, sensor B, sensor C"):
        read("time [min],sensor A,sensor B,sensor C\n0,20,21,22\n10,320,321,322\n")


def test_times_without_a_unit_are_refused(read):
    with pytest.raises(
        ReadingsError, match=r"seconds, minutes or hours\. Write the heading as 'time \[min\]'"
    ):
        read("time,temperature [degC]\n0,20\n10,320\n")


def test_fahrenheit_under_a_celsius_heading_is_found_out(read):
    with pytest.raises(ReadingsError, match=r"line 4: 1500 °C is hotter .* a record in °F wants \[degF\]"):
        read("time [min],temperature [degC]\n0,68\n10,608\n20,1500\n")


def test_below_absolute_zero_is_found_out(read):
    with pytest.raises(ReadingsError, match=r"line 3: -300 °C is below absolute zero\. Check the unit"):
        read("time [min],temperature [degC]\n0,20\n10,-300\n")


@pytest.mark.parametrize(("cell", "words"), [("20", "only one of its"), ("open", "none of its")])
def test_fewer_than_two_readings_are_no_record(read, cell, words):
    with pytest.raises(ReadingsError, match=f"{words} readings counts. At least two are needed"):
        read(f"time [min],temperature [degC]\n0,{cell}\n10,open\n")


@pytest.mark.parametrize("text", ["", "\n\n", "time [min],temperature [degC]\n", "lit the kiln at nine\n"])
def test_a_file_without_readings_is_refused(read, text):
    with pytest.raises(ReadingsError, match="it holds no readings"):
        read(text)


def test_a_binary_file_is_refused(read):
    with pytest.raises(FileFormatError, match="it is no text file"):
        read(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(MissingFileError, match=r"gone\.csv: there is no such file"):
        read_readings(tmp_path / "gone.csv")


TWO = "time [min],shelf [degC],flue [degC]\n0,20,30\n10,320.5,400\n20,750,800\n60,250,260\n"


def test_several_channels_are_listed(read):
    with pytest.raises(ReadingsError, match=r"several temperature columns: shelf \[degC\], flue \[degC\]"):
        read(TWO)


@pytest.mark.parametrize("name", ["shelf", "shelf [degC]"])
def test_one_channel_of_several_is_picked_by_name(read, name):
    assert_curve(read(TWO, column=name))


@pytest.mark.parametrize("name", ["lid", "time"])
def test_a_channel_that_is_not_there_is_refused_with_those_that_are(read, name):
    with pytest.raises(ReadingsError, match=rf"'{name}'\. Give one of shelf \[degC\], flue \[degC\]"):
        read(TWO, column=name)


def test_a_comma_between_thousands_is_not_taken_for_a_decimal_one(read):
    with pytest.raises(ReadingsError, match="'1,382' can mean thousands or decimals"):
        read('time [min],temperature [degF]\n0,68\n10,608\n20,"1,382"\n60,482\n')


# --- the table as a file


def test_the_table_reads_back_the_same(read, tmp_path):
    rows = "0,open\n10,320.5\n12,330\n9,331\n12,335\n15,hot\n16,9999\n20,550\n?,9\n30,250\n"
    first = read(f"time [min],temperature [degC]\n{rows}")
    assert set(first.table["flag"]) == {"", "open", "out of order", "same time", "unreadable", "out of range"}
    first.table.to_csv(tmp_path / "again.csv", index=False)
    again = read_readings(tmp_path / "again.csv")
    pd.testing.assert_frame_equal(again.table, first.table)
    pd.testing.assert_frame_equal(read_readings(first.table).table, first.table)


def test_a_summary_says_what_was_left_out(read):
    text = repr(read("time [min],temperature [degC]\n0,20\n10,open\n20,750\n25,----\n26,hot\n60,250\n"))
    assert text.endswith("up to 750 °C (1382 °F); left out: 2 'open', 1 'unreadable'")


@pytest.mark.parametrize("unit", ["degF", "F", "°F", "Fahrenheit", "fahrenheit"])
def test_the_unit_is_given_in_any_writing(read, unit):
    assert_curve(read("time [min],temperature\n0,68\n10,608.9\n20,1382\n60,482\n", unit=unit))


def test_a_summary_shows_both_scales(read):
    assert "4 readings over 60 min, up to 750 °C (1382 °F)" in read(SHAPES["comma"])._repr_html_()
