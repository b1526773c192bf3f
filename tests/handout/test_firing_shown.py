"""The firing to follow: a stated plan, else the record that is known best, and how far it may be off."""

import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.firing.readings import read_readings
from sagglab.handout.firing_shown import firing_to_follow

PLAN = "900 degC/h to 600 degC, hold 5 min; 400 degC/h to 750 degC, hold 3 min; 200 degC/h to 300 degC"


@pytest.fixture(scope="module")
def book(demo):
    return open_book(demo)


@pytest.fixture(scope="module")
def pots(book):
    return book.pots[["pot", "firing"]]


@pytest.fixture(scope="module")
def followed(book, pots):
    """A pot of f3 and one of f6, whose record was written by hand."""
    return firing_to_follow(book, pots, of(pots, "f3", "f6"))


def of(pots, *firings):
    return [pots.loc[pots["firing"] == firing, "pot"].iloc[0] for firing in firings]


def with_firings(book, **columns):
    return replace(book, firings=book.firings.assign(**columns))


def without_records(book, folder):
    """The same book where no record can be read."""
    for name in ("readings", "targets"):
        (folder / name).mkdir()
    for table in ("pots", "firings", "photos", "setups"):
        shutil.copy(book.folder / f"{table}.csv", folder)
    return open_book(folder)


def test_the_record_that_is_known_best_goes_before_one_written_by_hand(followed):
    assert followed.said == (
        "As f3 was fired: peak 776 °C (1430 °F), known to lie between 771 and 783 °C (1419 and 1442 °F), "
        "after 39 min; foil can melt above 660 °C (1221 °F). It is shown because it aimed at 775 °C "
        "(1427 °F), nearest to 750 °C (1382 °F), the middle of the book's target peaks; of those that "
        "did, its record is the surest."
    )
    assert followed.drawing.svg.count("<svg") == 1
    assert "Firing curve of f3" in followed.drawing.svg
    assert "776 °C (1430 °F)" in followed.drawing.alt


def test_the_points_are_where_the_record_first_was_at_each_hundred(followed, demo):
    points, record = followed.points, read_readings(demo / "readings/f3.csv").counted
    assert points["temperature_C"].tolist() == [100, 200, 300, 400, 500, 600, 700, 776.5]
    assert points["temperature_F"].to_numpy() == pytest.approx(points["temperature_C"] * 1.8 + 32)
    since = record["minutes"] - record["minutes"].iloc[0]
    for minute, heat in points.iloc[:-1][["minutes", "temperature_C"]].to_numpy():
        first = int((record["temperature_C"] >= heat).to_numpy().argmax())
        assert since[first - 1] <= minute <= since[first]
        assert np.interp(minute, since, record["temperature_C"]) == pytest.approx(heat)
    assert points["minutes"].iloc[-1] == pytest.approx(since[record["temperature_C"].idxmax()])
    assert points["minutes"].is_monotonic_increasing


def test_a_record_by_hand_alone_says_how_far_it_may_be_off(book, pots):
    said = firing_to_follow(book, pots, of(pots, "f6")).said
    assert said.startswith(
        "As f6 was fired: peak 729 °C (1344 °F), known to lie between 723 and 766 °C (1333 and 1410 °F), "
        "after 40 min"
    )
    assert said.endswith("No other firing of these pots has a record that can be read.")


def test_of_equally_good_records_that_of_the_most_pots_is_followed(book, pots):
    two = pots.loc[pots["firing"] == "f4", "pot"].iloc[:2].tolist()
    assert firing_to_follow(book, pots, [*of(pots, "f3"), *two]).said.startswith("As f4 was fired")


def test_a_stated_schedule_goes_before_any_record(book, pots):
    planned = with_firings(book, schedule=np.where(book.firings["firing"] == "f6", PLAN, ""))
    followed = firing_to_follow(planned, pots, of(pots, "f3", "f6"))
    assert followed.said == (
        "As f6 was planned: 750 °C (1382 °F) after 66 min, held for 3 min; it was fired to 729 °C (1344 °F), "
        "known to lie between 723 and 766 °C (1333 and 1410 °F); foil can melt above 660 °C (1221 °F)."
    )
    # 900 °C/h from 20 °C: 100 °C after 5.33 min; at 600 °C the hold has a point of its own; the peak is last.
    minutes = [16 / 3, 12, 56 / 3, 76 / 3, 32, 116 / 3, 131 / 3, 176 / 3, 397 / 6]
    assert followed.points["minutes"].to_numpy() == pytest.approx(minutes)
    assert followed.points["temperature_C"].tolist() == [100, 200, 300, 400, 500, 600, 600, 700, 750]
    assert "750 °C (1382 °F)" in followed.drawing.alt


def test_a_schedule_needs_no_record_and_one_that_cannot_be_read_is_passed_over(book, pots, tmp_path):
    bare = without_records(book, tmp_path)
    planned = with_firings(bare, schedule="600 degC/h to 620 degC")
    followed = firing_to_follow(planned, pots, of(pots, "f1"))
    assert followed.said == "As f1 was planned: 620 °C (1148 °F) after 60 min."
    unread = with_firings(book, schedule="as hot as it gets")
    assert firing_to_follow(unread, pots, of(pots, "f3")).said.startswith("As f3 was fired")


def test_a_sensor_of_no_known_class_is_said_to_be_left_out(book, pots):
    for known in ("", "seven"):
        other = with_firings(book, **{"sensor class": known})
        said = firing_to_follow(other, pots, of(pots, "f3")).said
        assert "between 776 and 777 °C (1430 and 1431 °F), not counting what the sensor is off, after" in said


def test_a_record_that_ends_at_its_peak_knows_no_bound(book, pots, tmp_path):
    bare = without_records(book, tmp_path)
    record = pd.DataFrame({"minutes": np.arange(31.0), "temperature [degC]": 120 + 20 * np.arange(31.0)})
    record.to_csv(tmp_path / "readings/f1.csv", index=False)
    followed = firing_to_follow(bare, pots, of(pots, "f1"))
    assert (
        "peak 720 °C (1328 °F) or hotter, since its record begins or ends there, after 30 min"
        in followed.said
    )
    # It began above 100 °C, of which it can tell no minute.
    assert followed.points["temperature_C"].tolist() == [200, 300, 400, 500, 600, 700, 720]


def test_without_records_schedules_or_pots_there_is_none(book, pots, tmp_path):
    bare = without_records(book, tmp_path)
    assert firing_to_follow(bare, pots, of(pots, "f1", "f2")) is None
    assert firing_to_follow(book, pots, []) is None
    assert firing_to_follow(book, pots.assign(firing="f9"), ["p01"]) is None
