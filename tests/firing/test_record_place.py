"""Records of a batch book, read as the book says."""

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from sagglab.book import open_book
from sagglab.errors import ReadingsError, SagglabError, UnknownNameError
from sagglab.firing.record_place import firing_readings, firing_schedule, place_of_record
from sagglab.firing.thermocouple import emf_mV
from sagglab.measures import check_files, measure_firings

MINUTES = np.arange(0, 121, 1.0)
CELSIUS = np.interp(MINUTES, [0, 38, 120], [20, 750, 260]).round(1)


@pytest.fixture
def book(tmp_path):
    """Write a book of firings alone, with the records given by name, and open it."""

    def written(firings, **records):
        (tmp_path / "readings").mkdir(exist_ok=True)
        (tmp_path / "firings.csv").write_text(firings, encoding="utf-8")
        for name, table in records.items():
            table.to_csv(tmp_path / f"readings/{name}.csv", index=False)
        return open_book(tmp_path)

    return written


def test_a_channel_of_several(book):
    record = pd.DataFrame({"time [min]": MINUTES, "lid [degC]": CELSIUS - 50, "shelf [degC]": CELSIUS})
    opened = book("firing,readings,channel\nf1,readings/f1.csv,shelf\nf2,readings/f1.csv,\n", f1=record)
    assert firing_readings(opened, "f1").counted["temperature_C"].max() == 750
    with pytest.raises(ReadingsError, match="several temperature columns"):
        firing_readings(opened, "f2")


def test_millivolts_with_the_cold_junction_in_any_unit(book):
    signal = emf_mV(CELSIUS, "N") - emf_mV(25.0, "N")
    record = pd.DataFrame({"time [min]": MINUTES, "signal [mV]": signal})
    heading = "firing,readings,thermocouple,cold junction [degF]"
    opened = book(f"{heading}\nf1,readings/f1.csv,N,77\n", f1=record)
    np.testing.assert_allclose(firing_readings(opened, "f1").table["temperature_C"], CELSIUS, atol=1e-3)


def test_a_blank_name_means_the_file_called_as_the_firing(book):
    record = pd.DataFrame({"time [min]": MINUTES, "shelf [degC]": CELSIUS})
    opened = book("firing,readings\nf1,\nf2,\n", f1=record)
    assert opened.firings["readings"].tolist() == ["readings/f1.csv", ""]
    assert len(firing_readings(opened, "f1").table) == len(MINUTES)
    with pytest.raises(ReadingsError, match=r"no readings are named, and there is no readings/f2\.csv"):
        firing_readings(opened, "f2")


@pytest.mark.parametrize("name", ["../f1", "a/b", ".."])
def test_a_firings_name_does_not_lead_out_of_its_folder(book, tmp_path, name):
    (tmp_path / "f1.csv").write_text("time [min],t [degC]\n0,20\n9,300\n")
    opened = book(f"firing,readings\n{name},\n")
    assert opened.firings["readings"].tolist() == [""]
    with pytest.raises(SagglabError):
        firing_readings(opened, name)


def test_a_sheet_of_the_books_own_workbook(tmp_path):
    workbook = Workbook()
    tables = {"firings": [["firing", "readings"], ["f1", "by hand"], ["f2", "no sheet"]]}
    rows = zip(MINUTES[::4], CELSIUS[::4], strict=True)
    tables["by hand"] = [["minutes", "temperature [degC]"], *([float(m), float(t)] for m, t in rows)]
    for name, cells in tables.items():
        sheet = workbook.create_sheet(name)
        for row in cells:
            sheet.append(row)
    workbook.save(tmp_path / "book.xlsx")
    opened = open_book(tmp_path)
    assert place_of_record(opened, "f1").sheet == "by hand"
    assert firing_readings(opened, "f1").counted["temperature_C"].max() == CELSIUS[::4].max()
    causes = [problem.cause for problem in opened.problems.of("firings")]
    assert causes == ["'no sheet': there is no such file in the book"]


# --- one record of several firings


@pytest.fixture
def fortnight():
    """A logger's record that holds a firing on one day, and two on another."""
    start = pd.Timestamp("2026-05-01 00:00")
    minutes = np.arange(0, 4 * 1440, 2.0)
    celsius = np.full(minutes.size, 15.0)
    for begin, peak in ((600, 740), (3 * 1440 + 500, 750), (3 * 1440 + 800, 730)):
        celsius = np.maximum(celsius, np.interp(minutes - begin, [0, 40, 130, 600], [15, peak, 290, 15]))
    taken = start + pd.to_timedelta(minutes, unit="min")
    return pd.DataFrame({"taken": taken, "shelf [degC]": celsius.round(1)})


@pytest.mark.parametrize(
    ("date", "peak"),
    [("2026-05-01", 740), ("2026-05-04 08:20", 750), ("2026-05-04 13:00", 730)],
)
def test_the_date_tells_which_firing_of_a_long_record_is_meant(book, fortnight, date, peak):
    opened = book(f"firing,date,readings\nf1,{date},readings/shed.csv\n", shed=fortnight)
    readings = firing_readings(opened, "f1")
    assert readings.counted["temperature_C"].max() == peak
    assert readings.counted["minutes"].iloc[0] == 0


@pytest.mark.parametrize(
    ("date", "told"),
    [
        ("2026-05-04", "begun 2026-05-01 10:00, 2026-05-04 08:20, 2026-05-04 13:28; 2 of them"),
        ("2026-05-02", "; 0 of them on the firing's date"),
        ("", "nothing says on which date each began"),
    ],
)
def test_which_firing_is_meant_is_not_guessed(book, fortnight, date, told):
    opened = book(f"firing,date,readings\nf1,{date},readings/shed.csv\n", shed=fortnight)
    with pytest.raises(ReadingsError, match=told):
        firing_readings(opened, "f1")
    assert told in measure_firings(opened).loc[0, "problems"]


def test_hours_before_the_kiln_was_lit_are_cut_off(book):
    lead = pd.DataFrame({"time [min]": np.arange(0, 180.0), "t [degC]": 20.0})
    record = pd.DataFrame({"time [min]": MINUTES + 180, "t [degC]": CELSIUS})
    opened = book("firing,readings\nf1,readings/f1.csv\n", f1=pd.concat([lead, record]))
    assert measure_firings(opened).loc[0, "minutes_to_peak"] == 38


def test_a_record_of_another_day_is_doubted(book):
    taken = pd.Timestamp("2026-05-01 09:00") + pd.to_timedelta(MINUTES, unit="min")
    record = pd.DataFrame({"taken": taken, "t [degC]": CELSIUS})
    opened = book("firing,date,readings\nf1,2026-06-13,readings/f1.csv\n", f1=record)
    assert measure_firings(opened).loc[0, "problems"] == (
        "the record begins on 2026-05-01, and the firing is dated 2026-06-13"
    )


# --- what the book says of the heat


def test_target_and_sensor_class_go_into_the_measures(book):
    record = pd.DataFrame({"time [min]": MINUTES, "t [degC]": CELSIUS})
    heading = "firing,target peak [degC],sensor class,readings"
    rows = "".join(f"f{k},740,{name},readings/f1.csv\n" for k, name in enumerate(["", "2", "K 1", "best"]))
    table = measure_firings(book(f"{heading}\n{rows}", f1=record))
    assert table["overshoot_C"].tolist() == [10] * 4
    widths = (table["peak_C high"] - table["peak_C low"]).tolist()
    assert widths[0] == widths[3] < widths[2] < widths[1]
    assert table.loc[:2, "problems"].tolist() == [""] * 3
    assert "sensor class 'best': it is unknown" in table.loc[3, "problems"]


def test_a_schedule_is_read_and_checked(book):
    rows = "f1,80 degC/h to 600 degC; 150 degC/h to 995 degC\nf2,\nf3,as fast as it goes\n"
    opened = book(f"firing,schedule\n{rows}")
    assert firing_schedule(opened, "f1").minutes == pytest.approx(9.88 * 60, abs=1)
    assert firing_schedule(opened, "f2") is None
    (problem,) = check_files(opened)
    assert (problem.row, problem.column) == (4, "schedule") and "it is no segment" in problem.cause


def test_a_check_tells_what_the_records_leave_out_and_an_unknown_class(book):
    record = pd.DataFrame({"time [min]": MINUTES, "t [degC]": np.where(MINUTES == 7, np.nan, CELSIUS)})
    opened = book("firing,readings,sensor class\nf1,readings/f1.csv,best\n", f1=record)
    told = [str(problem) for problem in check_files(opened)]
    assert told[0].startswith(
        "readings/f1.csv, row 9, column 't [degC]': 1 of 121 readings left out as 'open'"
    )
    assert "sensor class 'best': it is unknown" in told[1] and len(told) == 2


def test_an_unknown_firing_is_named_with_those_there_are(book):
    opened = book("firing,readings\nf1,\nf2,\n")
    with pytest.raises(UnknownNameError, match="Give one of those in the table firings \\(f1, f2\\)"):
        firing_readings(opened, "f9")
