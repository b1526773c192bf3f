"""The log at the kiln: minute 0, slips asked for again, and what to do where a line is refused."""

import datetime as dt
from pathlib import Path

import pytest

from sagglab.book import open_book
from sagglab.firing.kiln_log import KilnLog
from sagglab.firing.record_place import firing_readings
from sagglab.firing.slips import SoFar
from sagglab.firing.typed_line import TypedLine

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
CLOCK = dt.datetime(2026, 5, 1, 15, 32).astimezone()


@pytest.fixture
def typed(tmp_path):
    """Give a function that types lines into a record, at half past three or so, and gives the last answer."""

    def typed_in(*lines, target_C=750.0, unit="degC"):
        log = KilnLog(tmp_path / "f1.csv", unit, target_C, 38.0, now=lambda: CLOCK)
        log.go_on()
        for line in lines:
            answer = log.answer(line)
        return " ".join(answer.said), answer, log

    return typed_in


def kept(log):
    return [f"{row.at:%H:%M} {row.temperature:g}" for row in log.rows() if not row.flag]


CLIMB = ("15:00 20", "15:05 150", "15:10 300")


# --- minute 0


def test_minute_0_is_that_of_the_first_reading_that_counts(typed):
    typed("20", "-")
    assert typed("15:00 20")[0].startswith("minute 0: 20 °C")
    said, _, log = typed("15:05 150")
    assert said.startswith("minute 5: 150 °C") and "at minute 38" in said
    readings = log.readings()
    assert readings.table["minutes"].tolist() == [32, 0, 5]
    assert f"{readings.started:%H:%M}" == "15:00"


def test_it_stays_so_when_the_first_that_counted_is_struck_out(typed):
    said, _, log = typed("15:00 20", "15:02 25", "-", "-", "15:04 20", "15:09 150")
    assert said.startswith("minute 5: 150 °C")
    assert log.readings().table["minutes"].tolist() == [-4, -2, 0, 5]


# --- falls that no kiln makes


@pytest.mark.parametrize("line", ["15:15 44", "15:15 111 F", "15:20 44"])
def test_a_fall_that_no_shut_kiln_makes_is_asked_for_again(typed, line):
    said, answer, log = typed(*CLIMB, line)
    assert answer.asks_again and kept(log) == list(CLIMB)
    assert said.startswith("Nothing was kept: from 300 °C (572 °F) to 44 °C (111 °F) in ")
    assert said.endswith(" min is more than a kiln that is shut can do. Type the same again if it is right.")
    assert typed(*[line] * 2)[1].kept


@pytest.mark.parametrize("line", ["15:15 110", "15:20 60", "15:30 44"])
def test_the_flame_may_go_out(typed, line):
    assert typed(*CLIMB, line)[1].kept


@pytest.mark.parametrize("opened", [("15:15 305", "15:20 44"), ("15:15 250", "15:20 40")])
def test_a_kiln_that_was_where_it_is_wanted_or_cools_may_be_opened(typed, opened):
    _, answer, log = typed(*CLIMB, *opened, target_C=305.0)
    assert answer.kept and len(kept(log)) == 5


@pytest.mark.parametrize("firing", ["f1", "f2", "f3", "f4", "f5", "f6"])
def test_an_honest_firing_is_never_asked_about(firing):
    record = firing_readings(open_book(DEMO), firing).counted
    at = [CLOCK + dt.timedelta(minutes=minute) for minute in record["minutes"]]
    celsius = record["temperature_C"].tolist()
    # Every reading of a record kept by hand; of a logger's, one in some four minutes.
    every = max(len(at) // 30, 1)
    for place in range(every, len(at), every):
        so_far = SoFar(tuple(at[:place:every]), tuple(celsius[:place:every]))
        read = TypedLine(at[place], celsius[place], "degC")
        assert so_far.doubt("680", read, at[place]) == ""


# --- times typed with a comma or a point


@pytest.mark.parametrize("line", ["15,5", "15.05", "15,05"])
@pytest.mark.parametrize("before", [("15:00 20",), CLIMB])
def test_a_time_typed_with_a_comma_is_asked_for_again(typed, before, line):
    said, answer, log = typed(*before, line)
    assert answer.asks_again and kept(log) == list(before)
    assert f"'{line}' means " in said and said.endswith("type the temperature behind it, as 15:05 680.")
    assert typed(line, line)[1].kept


@pytest.mark.parametrize(
    ("lines", "celsius"),
    [
        (("15,5",), 15.5),
        (("15:10 19,5", "21,3"), 21.3),
        (("15:10 20,5", "20,1"), 20.1),
        ((*CLIMB, "440,5"), 440.5),
    ],
)
def test_decimal_commas_of_temperatures_are_kept(typed, lines, celsius):
    _, answer, log = typed(*lines)
    assert answer.kept and log.rows()[-1].temperature == celsius


@pytest.mark.parametrize("line", ["15,05 440", "15.05 440", "1505 440"])
def test_a_time_without_a_colon_before_a_temperature_is_told(typed, line):
    said, answer, _ = typed("15:00 20", line)
    assert answer.refused and not answer.asks_again
    assert said == f"Nothing was kept: '{line}' holds two numbers; type a time with a colon, as 14:05 680."


# --- the way back from a slip


def test_a_leap_after_a_dip_names_the_dip(typed):
    said, _, log = typed(*CLIMB, "15:15 44", "15:15 44", "15:20 1040 F")
    assert said == (
        "Nothing was kept: from 44 °C (111 °F) to 560 °C (1040 °F) in 5.0 min is more than a kiln can do. "
        "Type the same again if it is right; "
        "if the last reading, 44 °C (111 °F), is the slip, strike it out with - first."
    )
    assert typed("-", "15:15 440", "15:20 1040 F")[1].kept
    assert kept(log) == [*CLIMB, "15:15 440", "15:20 560"]


def test_a_fall_after_a_leap_names_the_leap(typed):
    said = typed(*CLIMB, "15:15 900", "15:15 900", "15:20 560")[0]
    assert said.endswith("; if the last reading, 900 °C (1652 °F), is the slip, strike it out with - first.")


def test_a_leap_after_sound_readings_names_none_of_them(typed):
    assert typed(*CLIMB, "15:15 980")[0].endswith("Type the same again if it is right.")


def test_another_reading_of_the_same_minute_says_how_to_replace_the_last(typed):
    said, answer, log = typed(*CLIMB, "15:10 310")
    assert answer.refused and said == (
        "Nothing was kept: 15:10:00 is not after the last reading, at 15:10:00. "
        "Strike that one out with - first, then type this one."
    )
    assert typed("-", "15:10 310")[1].kept and kept(log) == [*CLIMB[:2], "15:10 310"]


def test_an_earlier_reading_says_how_many_to_strike_out_first(typed):
    said = typed(*CLIMB, "15:08 200")[0]
    assert said.endswith(" first, then type this one, and that one again if it was right.")
    said, _, log = typed("15:02 60")
    assert said.endswith("Strike out the last 2 with - first; then type this one, and those again.")
    assert typed("-", "-", "15:02 60", *CLIMB[1:])[1].kept
    assert kept(log) == [CLIMB[0], "15:02 60", *CLIMB[1:]]
