"""The typed record: nothing accepted is lost, nothing of others is touched."""

import datetime as dt
import os
import subprocess
import sys

import pytest

from sagglab.errors import FileFormatError, ReadingsError, UnitError
from sagglab.firing.readings import read_readings
from sagglab.firing.typed import TypedRecord

START = dt.datetime(2026, 5, 1, 14, 5, tzinfo=dt.timezone(dt.timedelta(hours=2)))


def after(minutes):
    return START + dt.timedelta(minutes=minutes)


@pytest.fixture
def record(tmp_path):
    return TypedRecord.begin_or_go_on(tmp_path / "readings" / "f1.csv", "degC")


def typed(record, *temperatures):
    for place, temperature in enumerate(temperatures):
        record.add(temperature, record.unit, after(5 * place))
    return record


def test_the_file(record):
    typed(record, 20, 150.5).strike_out()
    assert record.path.read_text() == (
        "time,temperature [degC],flag\n"
        "2026-05-01T14:05:00+02:00,20,\n"
        "2026-05-01T14:10:00+02:00,150.5,struck out\n"
    )


def test_nothing_is_written_before_the_first_reading(record):
    assert not record.path.parent.exists()
    assert record.rows() == []
    assert record.strike_out() is None
    assert not record.path.exists()


def test_it_reads_as_any_record(record):
    readings = typed(record, 20, 150, 300).readings()
    assert readings.table["minutes"].tolist() == [0, 5, 10]
    assert readings.table["temperature_C"].tolist() == [20, 150, 300]
    assert (readings.table["flag"] == "").all()


def test_one_reading_is_a_beginning(record):
    readings = typed(record, 20).readings()
    assert readings.counted["temperature_C"].tolist() == [20]
    assert readings.counted["minutes"].tolist() == [0]


def test_what_is_struck_out_stays_and_does_not_count(record):
    typed(record, 20, 150, 999)
    struck = record.strike_out()
    assert (struck.temperature, struck.at) == (999, after(10))
    readings = record.readings()
    assert readings.table["flag"].tolist() == ["", "", "struck out"]
    assert readings.counted["temperature_C"].tolist() == [20, 150]


def test_striking_out_goes_on_backwards(record):
    typed(record, 20, 150, 300)
    assert [record.strike_out().temperature for _ in range(3)] == [300, 150, 20]
    assert record.strike_out() is None
    assert [row.flag for row in record.rows()] == ["struck out"] * 3


def test_after_striking_out_an_earlier_time_is_free(record):
    typed(record, 20, 150, 300).strike_out()
    record.add(290, "degC", after(9))
    assert record.rows()[-1].temperature == 290


@pytest.mark.parametrize("minute", [5, 4, 5.01])
def test_a_time_that_is_not_after_the_last_is_refused(record, minute):
    before = typed(record, 20, 150).path.read_bytes()
    with pytest.raises(ReadingsError, match="is not after the last reading, at 14:10:00"):
        record.add(160, "degC", after(minute))
    assert record.path.read_bytes() == before


def test_the_record_keeps_its_unit(tmp_path):
    record = TypedRecord.begin_or_go_on(tmp_path / "f1.csv", "degF")
    record.add(68, "degF", START)
    again = TypedRecord.begin_or_go_on(tmp_path / "f1.csv", "degC")
    assert again.unit == "degF"
    again.add(680, "degC", after(30))
    assert [row.temperature for row in again.rows()] == [68, 1256]
    assert again.readings().table["temperature_C"].tolist() == pytest.approx([20, 680], abs=1e-9)


def test_a_unit_that_is_none_is_refused(record):
    with pytest.raises(UnitError):
        record.add(20, "bananas", START)
    assert not record.path.exists()


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(record, value):
    with pytest.raises(ReadingsError, match="is no temperature"):
        record.add(value, "degC", START)
    assert not record.path.exists()


OTHERS = {
    "a logger's export": "time,temperature [degC]\n0:00:00,20.0\n0:00:05,22.2\n",
    "other headings": "when,how hot,flag\n",
    "no unit": "time,temperature,flag\n2026-05-01T14:05:00+02:00,20,\n",
    "kelvin": "time,temperature [K],flag\n2026-05-01T14:05:00+02:00,293,\n",
    "the table of pots": "pot,firing\np1,f1\n",
    "words": "lit the kiln at nine\n",
}


@pytest.mark.parametrize("other", OTHERS)
def test_a_file_of_another_kind_is_refused_and_left(tmp_path, other):
    path = tmp_path / "f1.csv"
    path.write_text(OTHERS[other])
    with pytest.raises(FileFormatError, match="it is not a record that was typed here"):
        TypedRecord.begin_or_go_on(path, "degC")
    assert path.read_text() == OTHERS[other]


def test_a_binary_file_is_refused_and_left(tmp_path):
    (tmp_path / "f1.csv").write_bytes(b"\x89PNG\0\0")
    with pytest.raises(FileFormatError, match="it is no text file"):
        TypedRecord.begin_or_go_on(tmp_path / "f1.csv", "degC")
    assert (tmp_path / "f1.csv").read_bytes() == b"\x89PNG\0\0"


def test_a_file_that_became_another_meanwhile_is_left(record):
    typed(record, 20)
    record.path.write_text(OTHERS["a logger's export"])
    for change in (lambda: record.add(30, "degC", after(9)), record.strike_out):
        with pytest.raises(FileFormatError):
            change()
    assert record.path.read_text() == OTHERS["a logger's export"]


def test_a_unit_that_was_changed_meanwhile_is_told(record):
    typed(record, 20)
    record.path.write_text(record.path.read_text().replace("degC", "degF"))
    with pytest.raises(FileFormatError, match="its unit was changed to degF meanwhile"):
        record.add(30, "degC", after(9))


def test_a_workbook_is_no_place_for_it(tmp_path):
    with pytest.raises(FileFormatError, match=r"a \.csv file"):
        TypedRecord.begin_or_go_on(tmp_path / "f1.xlsx", "degC")


def test_what_was_edited_by_hand_stays(record):
    typed(record, 20, 150)
    odd = ["# second burner lit", "14:12,about 200,", "", '2026-05-01T14:13:00+02:00,180,"a, b"']
    record.path.write_text(record.path.read_text().replace(",150,", ",155,") + "\n".join(odd))
    record.add(300, "degC", after(10))
    record.strike_out()
    lines = record.path.read_text().splitlines()
    assert lines[2] == "2026-05-01T14:10:00+02:00,155,"
    assert lines[3:7] == odd
    assert lines[7:] == ["2026-05-01T14:15:00+02:00,300,struck out"]


def test_what_a_spreadsheet_made_of_it_goes_on(record):
    typed(record, 20, 150.5)
    text = record.path.read_text().replace(",", ";").replace("150.5", "150,5").replace("\n", "\r\n")
    record.path.write_bytes(("\ufeff" + text).encode())
    record.add(300, "degC", after(10))
    assert record.path.read_bytes().endswith(b";150,5;\r\n2026-05-01T14:15:00+02:00;300;\r\n")
    assert record.readings().table["temperature_C"].tolist() == [20, 150.5, 300]


def test_another_unit_converts_what_was_struck_out(record):
    typed(record, 20)
    record.strike_out()
    text = record.path.read_text().replace(",", ";").replace("\n", "\r\n")
    record.path.write_bytes(text.encode())
    other = record.changed_to("degF")
    assert record.path.read_bytes().splitlines(keepends=True)[0] == b"time;temperature [degF];flag\r\n"
    assert record.path.read_bytes().endswith(b";68;struck out\r\n")
    assert (other.unit, [row.temperature for row in other.rows()]) == ("degF", [68])


def test_a_column_of_notes_behind_is_no_hindrance(record):
    record.path.parent.mkdir()
    record.path.write_text(
        "time,temperature [degC],flag,notes\n2026-05-01T14:05:00+02:00,20,,lit\n"
        "2026-05-01T14:10:00+02:00,150,,second burner\n"
    )
    record.strike_out()
    assert record.path.read_text().endswith(",150,struck out,second burner\n")
    record.add(160, "degC", after(6))
    assert record.readings().counted["temperature_C"].tolist() == [20, 160]


def test_a_file_without_a_last_line_end_is_not_run_together(record):
    typed(record, 20)
    record.path.write_text(record.path.read_text().rstrip("\n"))
    record.add(150, "degC", after(5))
    assert [row.temperature for row in record.rows()] == [20, 150]


def test_an_empty_file_is_a_beginning(tmp_path):
    (tmp_path / "f1.csv").touch()
    record = TypedRecord.begin_or_go_on(tmp_path / "f1.csv", "degF")
    record.add(68, "degF", START)
    assert (tmp_path / "f1.csv").read_text().startswith("time,temperature [degF],flag\n")


TYPISTS = """
import datetime as dt, os, random, signal, sys, time
from pathlib import Path
from sagglab.firing.typed import TypedRecord

path, chance = Path(sys.argv[1]), random.Random(11)


def type_on(told):
    record = TypedRecord.begin_or_go_on(path, "degC")
    rows = record.rows()
    at = rows[-1].at if rows else dt.datetime(2026, 5, 1, 9, tzinfo=dt.timezone.utc)
    count = int(rows[-1].temperature) if rows else 0
    while True:
        count, at = count + 1, at + dt.timedelta(seconds=1)
        record.add(count, "degC", at)
        os.write(told, b"%8d" % count)


# What is slow the first time is done once, and not in each of those who are killed.
other, noon = TypedRecord.begin_or_go_on(path.with_name("other.csv"), "degC"), dt.datetime(2026, 5, 1, 12)
other.add(0, "degC", noon)
start = time.perf_counter()
for minute in range(1, 6):
    other.add(minute, "degC", noon + dt.timedelta(minutes=minute))
one = (time.perf_counter() - start) / 5
for line in sys.stdin:
    hears, told = os.pipe()
    typist = os.fork()
    if typist == 0:
        type_on(told)
    os.close(told)
    time.sleep(chance.uniform(0.5, 4.5) * one)
    os.kill(typist, signal.SIGKILL)
    os.waitpid(typist, 0)
    heard = b""
    while part := os.read(hears, 65536):
        heard += part
    os.close(hears)
    print(int(heard[-8:]) if heard else 0, flush=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no kill -9 there")
def test_killed_at_any_moment_no_accepted_reading_is_lost(tmp_path):
    path, kept, cut, kills = tmp_path / "f1.csv", 0, 0, 0
    with subprocess.Popen(
        [sys.executable, "-c", TYPISTS, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as typists:
        # Each is killed outright at another moment, in a write or between two; on a busy machine
        # it takes more of them until enough was typed, and a write was hit.
        while kills < 40 or (kills < 400 and (kept <= 20 or not cut)):
            kills += 1
            typists.stdin.write("on\n")
            typists.stdin.flush()
            accepted = int(typists.stdout.readline()) or kept
            values = [int(row.temperature) for row in TypedRecord.begin_or_go_on(path).rows()]
            assert values == list(range(1, len(values) + 1))
            # The last may have been saved without having been told.
            assert len(values) in (accepted, accepted + 1)
            kept = len(values)
            cut = len(list(tmp_path.glob(".*.new")))
        typists.stdin.close()
    # Some were killed while a file was being written, and many readings were typed between the kills.
    assert cut > 0
    assert kept > 20
    readings = read_readings(path)
    assert len(readings.table) == kept
