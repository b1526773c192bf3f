"""Layout: records as they come out of a kiln shed."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from sagglab.errors import FileFormatError, MissingFileError, ReadingsError, UnitError
from sagglab.firing.headings import is_open_mark, stated_unit, value_of
from sagglab.firing.readings import read_readings

MINUTES = [0.0, 10.0, 20.0, 60.0]
CELSIUS = [20.0, 320.5, 750.0, 250.0]


@pytest.fixture
def read(tmp_path):
    """Write a record down and read it."""

    def write_and_read(text, **options):
        file = tmp_path / "log.csv"
        file.write_text(text, encoding="utf-8")
        return read_readings(file, **options)

    return write_and_read


def assert_curve(readings, minutes=MINUTES, celsius=CELSIUS):
    np.testing.assert_allclose(readings.table["minutes"], minutes, rtol=0, atol=1e-6)
    np.testing.assert_allclose(readings.table["temperature_C"], celsius, rtol=0, atol=1e-6)


SHAPES = {
    "German": "Zeit [min];Ofentemperatur [°C]\n0;20\n10;320,5\n20;750\n60;250\n",
    "French": "Heure;Température (°C)\n9:00;20\n9:10;320,5\n9:20;750\n10:00;250\n",
    "Japanese": "時刻,温度 [degC]\n9:00,20\n9:10,320.5\n9:20,750\n10:00,250\n",
    "units in words": "minutes,Temperature in Celsius\n0,20\n10,320.5\n20,750\n60,250\n",
    "unit before a channel's name": "minutes,Temp (C) shelf\n0,20\n10,320.5\n20,750\n60,250\n",
    "units behind the numbers": "minutes,pyrometer\n0,20 °C\n10,320.5 °C\n20,750 °C\n60,250 °C\n",
    "units behind the numbers, °F": "minutes;pyrometer\n0;68F\n10;608,9F\n20;1382F\n60;482F\n",
    "names above units": "time;shelf;notes\n[min];[°C];\n0;20;\n10;320,5;\n20;750;lit\n60;250;\n",
    "date beside clock": "Date,Time,Temp [degC]\n2026-05-01,23:50:00,20\n2026-05-02,0:00:00,320.5\n"
    "2026-05-02,0:10:00,750\n2026-05-02,0:50:00,250\n",
    "date beside clock, spaces": "Date  Time  Temp[°C]\n01.05.2026 23:50:00 20\n02.05.2026 00:00:00 320.5\n"
    "02.05.2026 00:10:00 750\n02.05.2026 00:50:00 250\n",
    "am and pm, single spaces": "time temp[°C]\n11:50 am 20\n12:00 pm 320.5\n12:10 PM 750\n12:50 p.m. 250\n",
    "a comma at each end": "time [min],temperature [degC],\n0,20,\n10,320.5,\n20,750,\n60,250,\n",
    "tab and spaces": "time [min]\ttemperature [degC]\n 0 \t 20 \n 10\t320.5\n20 \t750\n60\t 250\n",
    "a footer": "time [min],temperature [degC]\n0,20\n10,320.5\n20,750\n60,250\nend of record\n",
}


@pytest.mark.parametrize("shape", SHAPES)
def test_each_shape_reads_to_the_same_curve(read, shape):
    readings = read(SHAPES[shape])
    if shape == "a footer":
        assert readings.table["flag"].tolist() == ["", "", "", "", "unreadable"]
        assert len(readings.counted) == 4
    else:
        assert_curve(readings)
        assert (readings.table["flag"] == "").all()


def test_names_above_units_name_the_channels(read):
    text = "time;shelf;flue\n[min];[°C];[°C]\n0;20;30\n10;320,5;400\n20;750;800\n60;250;260\n"
    with pytest.raises(ReadingsError, match=r"several temperature columns: shelf \[°C\], flue \[°C\]"):
        read(text)
    assert_curve(read(text, column="shelf"))


FIXED = """\
Kiln shed, three sensors
  time [min]   shelf [degC]   flue [degC]   lid [degC]
         0          20.0          21.0         19.0
        10                       400.0        300.0
        20         750.0                      610.0
        60         250.0         260.0
"""


@pytest.mark.parametrize(
    ("column", "celsius"),
    [
        ("shelf", [20, np.nan, 750, 250]),
        ("flue", [21, 400, np.nan, 260]),
        ("lid", [19, 300, 610, np.nan]),
    ],
)
def test_fixed_space_text_keeps_its_columns_where_cells_are_blank(read, column, celsius):
    readings = read(FIXED, column=column)
    np.testing.assert_array_equal(readings.table["temperature_C"], celsius)
    assert (readings.table["flag"] == "open").sum() == 1


def test_a_channel_that_begins_blank_is_still_a_channel(read):
    rows = "".join(f"{m},,{t}\n" for m, t in zip(range(5), range(20, 70, 10), strict=True))
    text = f"time [min],A,B\n{rows}5,90,70\n6,95,80\n"
    with pytest.raises(ReadingsError, match="several temperature columns: A, B"):
        read(text, unit="degC")
    readings = read(text, unit="degC", column="A")
    assert readings.table["flag"].tolist() == ["open"] * 5 + ["", ""]


def test_decimal_commas_between_commas_are_refused(read):
    with pytest.raises(ReadingsError, match=r"line 2: it has more numbers than the 2 headings above it"):
        read("time [min],temperature [degC]\n0,0,20,5\n10,0,320,5\n20,0,750,0\n")


def test_thousands_among_commas_are_refused_wherever_they_come(read):
    rows = "".join(f"{m},{t}\n" for m, t in zip(range(0, 300), range(600, 900), strict=True))
    with pytest.raises(ReadingsError, match=r"line 302: it has more numbers than the 2 headings above it"):
        read(f"time [min],temperature [degF]\n{rows}300,1,382\n")
    readings = read("time [min],temperature [degC]\n0,20\n10,320,lit\n20,750,,\n60,250\n")
    assert (readings.table["flag"] == "").all()


def test_one_cell_in_another_unit_does_not_turn_the_column(read):
    rows = "0,20\n10,320\n20,580 F\n60,250\n"
    with pytest.raises(ReadingsError, match=r"'580 F' among its cells is not .*: degC, degF\."):
        read(f"time [min],temperature [degC]\n{rows}")
    with pytest.raises(ReadingsError, match=r"'580 F' among its cells is not .*: degF, no unit\."):
        read(f"time [min],temperature\n{rows}")
    assert read(f"time [min],temperature [degF]\n{rows}").counted["temperature_C"].max() < 310


@pytest.mark.parametrize("times", ["time [min]", "clock", "dated"])
def test_a_record_written_newest_first_is_turned_round_and_told(read, times):
    write = {
        "time [min]": str,
        "clock": lambda m: f"{9 + m // 60}:{m % 60:02d}",
        "dated": lambda m: f"2026-05-01 {9 + m // 60:02d}:{m % 60:02d}",
    }[times]
    rows = "".join(f"{write(int(m))},{t}\n" for m, t in zip(MINUTES[::-1], CELSIUS[::-1], strict=True))
    readings = read(f"{times},temperature [degC]\n{rows}")
    assert_curve(readings)
    assert readings.problems[0].cause == "it was written newest first, and was turned round"
    assert times != "dated" or str(readings.started) == "2026-05-01 09:00:00"


@pytest.mark.parametrize(
    ("heading", "told"),
    [("time [s]", "faster than any kiln"), ("time [h]", "its readings are 240 min apart")],
)
def test_minutes_under_another_unit_of_time_are_doubted(read, heading, told):
    minutes = np.arange(0, 120, 4.0)
    celsius = np.interp(minutes, [0, 40, 120], [20, 750, 260])
    rows = "".join(f"{m},{t:.1f}\n" for m, t in zip(minutes, celsius, strict=True))
    causes = [problem.cause for problem in read(f"{heading},temperature [degC]\n{rows}").problems]
    assert any(told in cause for cause in causes)
    assert not read(f"time [min],temperature [degC]\n{rows}").problems


@pytest.mark.parametrize("rows", ["0,20\n10,320\n", "9:00,20\n9:10,320\n"])
def test_a_record_without_headings_is_told_so(read, rows):
    with pytest.raises(ReadingsError, match="Write headings on a line above the readings, as 'time"):
        read(rows)


def test_an_unknown_unit_is_named(read):
    with pytest.raises(UnitError, match=r"column 'heat \[bananas\]': \[bananas\] is no unit of temperature"):
        read("time [min],heat [bananas]\n0,20\n10,320\n")


def test_cells_in_two_units_are_refused(read):
    with pytest.raises(
        ReadingsError, match="'20 °C' among its cells is not in the unit of the others: degC, degF"
    ):
        read("time [min],pyrometer\n0,20 °C\n10,608 °F\n20,750 °C\n")


def test_celsius_under_a_fahrenheit_heading_is_doubted(read):
    readings = read("time [min],temperature [degF]\n0,20\n10,320\n20,750\n60,250\n")
    assert readings.problems[-1].cause == "its peak is 399 °C (750 °F), which is low for a firing"
    assert readings.problems[-1].remedy.endswith("write the heading as 'temperature [degC]'")
    assert not read("time [min],temperature [degF]\n0,68\n10,608\n20,1382\n60,482\n").problems


def test_a_long_preamble(read):
    preamble = "".join(f"setting {k},{k}\n" for k in range(900))
    assert_curve(read(preamble + "\ntime [min],temperature [degC]\n0,20\n10,320.5\n20,750\n60,250\n"))


def test_rows_with_quotes_among_plain_ones_and_blank_ones(read):
    rows = '0,20,\n10,320.5,"lit, smoky"\n\n20,750,\n,,\n60,250,opened\n'
    readings = read(f"time [min],temperature [degC],notes\n{rows}")
    assert_curve(readings)


def test_a_record_of_many_blocks_reads_like_one_of_few(tmp_path, monkeypatch):
    minutes = np.arange(1000) / 10
    celsius = np.interp(minutes, [0, 40, 100], [20, 750, 260]).round(1)
    lines = [f"{m:.1f},{c},x" for m, c in zip(minutes, celsius, strict=True)]
    lines[500] += ',"a, b"'
    lines.insert(700, "")
    lines[800] = lines[800].replace(",", ",open ", 1)
    file = tmp_path / "log.csv"
    file.write_text("\n".join(["time [min],temperature [degC],notes", *lines]))
    whole = read_readings(file)
    monkeypatch.setattr("sagglab.firing.layout.BLOCK_ROWS", 64)
    pd.testing.assert_frame_equal(read_readings(file).table, whole.table)
    assert read_readings(file).problems == whole.problems
    assert len(whole.table) == 1000


@pytest.mark.parametrize(
    "mark", ["", "-", "----", "*****", "T/C OPEN", "probe fault", "#N/A", "no probe", "—"]
)
def test_open_marks(mark):
    assert is_open_mark(mark)


@pytest.mark.parametrize("cell", ["20", "hot", "opal", "-5", "lit"])
def test_no_open_marks(cell):
    assert not is_open_mark(cell)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("temperature [degC]", "degC"),
        ("temperature_C", "degC"),
        ("T (Deg C)", "degC"),
        ("T [DEGC]", "degC"),
        ("Temp. Fahrenheit", "degF"),
        ("kiln °F", "degF"),
        ("signal [mV]", "mV"),
        ("Kelvin", "K"),
        ("°C kiln", "degC"),
        ("Temperature/°C", "degC"),
        ("T \u2103", "degC"),
        ("T [\u00baF]", "degF"),
        ("Deg F", "degF"),
        ("[Grad C]", "degC"),
        ("sensor C", None),
        ("temperature", None),
        ("pressure [kPa]", None),
        ("level [m]", None),
    ],
)
def test_the_unit_of_a_heading(heading, unit):
    assert stated_unit(heading) == unit


def test_a_number_with_its_unit():
    assert value_of("750°C") == (750, "degC") and value_of("1382,5 f") == (1382.5, "degF")


# --- how finely it was written


@pytest.mark.parametrize(
    ("heading", "cells", "step"),
    [
        ("[degC]", [20, 155, 317.5, 453, 493, 548], 1),
        ("[degC]", [20.1, 155.4, 317.5, 453.2], 0.1),
        ("[degC]", [20.25, 155.5, 317.75, 453.0], 0.25),
        ("[degF]", [68, 311, 603, 847], 5 / 9),
        ("[degC]", list(range(20, 620, 50)), 10),
        ("[degC]", [20, 30, 50], 1),
    ],
)
def test_the_least_step_of_a_record(heading, cells, step):
    table = pd.DataFrame({"time [min]": range(0, 5 * len(cells), 5), f"t {heading}": cells})
    assert read_readings(table).step_C == pytest.approx(step)


def test_the_least_step_of_millivolts_is_in_celsius():
    table = pd.DataFrame({"time [min]": [0, 5, 9, 14], "t [mV]": [0.01, 8.14, 12.21, 20.64]})
    step = read_readings(table, thermocouple="K", cold_junction_C=20).step_C
    assert step == pytest.approx(0.01 / 0.041, rel=0.05)  # type K gives about 41 µV for each degree


# --- sheets and tables


@pytest.fixture
def workbook(tmp_path):
    book = Workbook()
    book.active.title = "about"
    book.active.append(["fired in the shed"])
    sheet = book.create_sheet("f1")
    sheet.append(["firing one"])
    sheet.append(["clock", "temperature [degC]"])
    for minute, celsius in zip(MINUTES, CELSIUS, strict=True):
        sheet.append([dt.time(23 if minute < 60 else 0, int(minute) % 60), celsius])
    path = tmp_path / "firings.xlsx"

    def save():
        book.save(path)
        return path

    return book, save


def test_the_one_sheet_that_holds_readings_is_read(workbook):
    _, save = workbook
    readings = read_readings(save())
    assert_curve(readings)
    assert readings.source.endswith("firings.xlsx, sheet f1")


def test_several_sheets_with_readings_are_listed(workbook):
    book, save = workbook
    book.copy_worksheet(book["f1"]).title = "f2"
    path = save()
    with pytest.raises(ReadingsError, match=r"several of its sheets hold readings: f1, f2\. Name the one"):
        read_readings(path)
    assert_curve(read_readings(path, sheet="f2"))
    with pytest.raises(ReadingsError, match=r"no sheet is called 'f3'\. Give one of about, f1, f2"):
        read_readings(path, sheet="f3")


def test_dates_and_durations_in_a_sheet(workbook):
    book, save = workbook
    for name, start in (("dated", dt.datetime(2026, 5, 1, 23, 30)), ("lapsed", dt.timedelta(hours=30))):
        sheet = book.create_sheet(name)
        sheet.append(["time", "temperature [degF]"])
        for minute, celsius in zip(MINUTES, CELSIUS, strict=True):
            sheet.append([start + dt.timedelta(minutes=minute), celsius * 9 / 5 + 32])
    path = save()
    assert_curve(read_readings(path, sheet="dated"))
    assert_curve(read_readings(path, sheet="lapsed"))


def test_a_workbook_without_readings_or_that_is_none(workbook, tmp_path):
    book, save = workbook
    del book["f1"]
    with pytest.raises(ReadingsError, match="it holds no readings"):
        read_readings(save())
    (tmp_path / "junk.xlsx").write_bytes(b"PK\x03\x04 no workbook")
    with pytest.raises(FileFormatError, match="it cannot be read"):
        read_readings(tmp_path / "junk.xlsx")
    with pytest.raises(MissingFileError):
        read_readings(tmp_path / "gone.xlsx")


def test_a_table_by_its_columns():
    assert_curve(read_readings(pd.DataFrame({"time [min]": MINUTES, "kiln [degC]": CELSIUS})))


@pytest.mark.parametrize(
    "times",
    [
        pd.to_datetime("2026-05-01 23:50") + pd.to_timedelta(MINUTES, unit="min"),
        (pd.to_datetime("2026-10-25 02:30") + pd.to_timedelta(MINUTES, unit="min")).tz_localize("UTC"),
        pd.to_timedelta(MINUTES, unit="min"),
    ],
    ids=["dates", "dates with offset", "durations"],
)
@pytest.mark.parametrize("where", ["column", "index"])
def test_a_table_with_pandas_times(times, where):
    table = pd.DataFrame({"kiln [degC]": CELSIUS}, index=times)
    assert_curve(read_readings(table if where == "index" else table.reset_index(names="taken")))


def test_missing_values_in_a_table_are_an_open_sensor():
    table = pd.DataFrame({"time [min]": MINUTES, "kiln [degC]": [20, np.nan, 750, None]})
    assert read_readings(table).table["flag"].tolist() == ["", "open", "", "open"]


def test_an_empty_table_is_refused():
    with pytest.raises(ReadingsError, match="table: it holds no readings"):
        read_readings(pd.DataFrame({"time [min]": [], "kiln [degC]": []}))


@pytest.mark.parametrize(
    "odd", [b"\x00\x01\x02", b"PK\x03\x04\x00\x00", bytes(range(256)) * 20, b"\xff\xfe\x00"]
)
def test_binary_junk_is_refused(tmp_path, odd):
    file = tmp_path / "log.csv"
    file.write_bytes(odd)
    with pytest.raises((FileFormatError, ReadingsError), match="it is no text file|it holds no readings"):
        read_readings(file)
