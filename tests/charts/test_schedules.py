"""Charts of schedules: the plan, its words, and what departs from it."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sagglab.charts import schedule_chart
from sagglab.charts.alt import alt_text
from sagglab.errors import ReadingsError
from sagglab.firing.departures import departures
from sagglab.firing.schedule import Schedule, Segment, clock_after

BISQUE = Schedule((Segment(80, 600), Segment(150, 995)))
FAST = Schedule(
    (
        Segment(1100, 573, 3),
        Segment(900, 700, 5),
        Segment(600, 750, 10),
        Segment(500, 600, 15),
        Segment(300, 300),
    )
)


def planned(ax):
    return next(line for line in ax.lines if line.get_label() == "planned")


def shading(ax, name):
    return next(area for area in ax.collections if area.get_label() == name)


def area_C_h(collection):
    """Give the area of what was shaded, by the shoelace rule."""
    total = 0.0
    for path in collection.get_paths():
        x, y = path.vertices[path.codes != 79].T
        total += abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
    return total / 60


@pytest.fixture
def slow(record):
    """A bisque that was ahead at first and behind later."""
    minutes = np.arange(0, 590, 2.0)
    heat = np.interp(minutes, BISQUE.table["minutes"], BISQUE.table["temperature_C"])
    return record(minutes, heat + 30 * np.sin(minutes / 90))


@pytest.mark.parametrize("schedule", [BISQUE, FAST])
def test_the_plan_is_drawn_in_both_units(schedule):
    ax = schedule_chart(schedule)
    np.testing.assert_array_equal(planned(ax).get_xdata(), schedule.table["minutes"])
    np.testing.assert_array_equal(planned(ax).get_ydata(), schedule.table["temperature_C"])
    ax.figure.canvas.draw()
    right = ax.child_axes[0]
    assert (ax.get_ylabel(), right.get_ylabel()) == ("°C", "°F")
    np.testing.assert_allclose(right.get_ylim(), np.array(ax.get_ylim()) * 1.8 + 32)
    assert "minutes" in ax.get_xlabel()


def test_each_segment_has_its_climb(texts):
    shown = set(texts(schedule_chart(BISQUE)))
    assert {
        "80 °C/h (144 °F/h)\nto 600 °C (1112 °F)",
        "150 °C/h (270 °F/h)\nto 995 °C (1823 °F)",
    } <= shown


def test_holds_and_falls_are_named(texts):
    shown = set(texts(schedule_chart(FAST)))
    assert {"hold 3 min", "hold 5 min", "hold 10 min", "hold 15 min"} <= shown
    assert "500 °C/h (900 °F/h) down\nto 600 °C (1112 °F)" in shown


def test_the_whole_takes_so_long():
    # 580/80 h + 395/150 h = 9.883 h
    assert schedule_chart(BISQUE).get_title(loc="left") == "Schedule: 9 h 53 min, up to 995 °C (1823 °F)"


@pytest.mark.parametrize("schedule", [BISQUE, FAST])
@pytest.mark.parametrize("start", [None, dt.datetime(2026, 6, 13, 17, 20)])
def test_words_are_readable(schedule, start, assert_readable):
    assert_readable(schedule_chart(schedule, start=start))


@pytest.mark.parametrize("tag", ["f1", "f6"])
def test_words_over_a_firing_are_readable(all_records, tag, assert_readable):
    assert_readable(schedule_chart(FAST, readings=all_records[tag]))


def test_words_over_a_bisque_are_readable(slow, assert_readable):
    assert_readable(schedule_chart(BISQUE, readings=slow))


def ticks(ax):
    ax.figure.canvas.draw()
    low, high = ax.get_xlim()
    return {
        text.get_text(): position
        for position, text in zip(ax.get_xticks(), ax.get_xticklabels(), strict=True)
        if low <= position <= high
    }


def test_minutes_of_a_long_schedule_stand_over_hours():
    assert ticks(schedule_chart(BISQUE))["240\n4 h"] == 240


def test_clock_times_are_round_and_right():
    ax = schedule_chart(BISQUE, start=dt.datetime(2026, 6, 13, 17, 20))
    shown = ticks(ax)
    assert shown["18:00"] == 40
    assert shown["00:00\n2026-06-14"] == 400
    assert ax.get_xlabel() == "time of day, from 2026-06-13 17:20 to 2026-06-14 03:13"


def test_a_start_with_seconds_keeps_its_place():
    shown = ticks(schedule_chart(FAST, start=dt.datetime(2026, 6, 13, 14, 5, 30)))
    assert shown["14:20"] == 14.5


def test_the_clocks_are_changed_while_it_fires():
    start = dt.datetime(2026, 10, 24, 23, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    # Summer time ends at 03:00 on 25 October 2026: four hours later the clock shows three hours more.
    assert clock_after(start, 300).strftime("%H:%M") == "03:00"
    assert ticks(schedule_chart(BISQUE, start=start))["03:00"] == 300


def test_shading_is_the_area_between(slow):
    ax = schedule_chart(BISQUE, readings=slow)
    found = departures(slow, BISQUE)
    both = area_C_h(shading(ax, "hotter")) + area_C_h(shading(ax, "colder"))
    assert both == pytest.approx(found.area_C_h, rel=1e-3)


def test_hotter_and_colder_part_in_grey(slow):
    ax = schedule_chart(BISQUE, readings=slow)
    assert shading(ax, "hotter").get_hatch() is None
    assert shading(ax, "colder").get_hatch()
    grey = {
        name: shading(ax, name).get_facecolor()[0][:3] @ [0.2126, 0.7152, 0.0722]
        for name in ("hotter", "colder")
    }
    assert grey["colder"] - grey["hotter"] > 0.1


def test_hotter_is_where_it_was_hotter(slow):
    ax = schedule_chart(BISQUE, readings=slow)
    hot = np.concatenate([path.vertices for path in shading(ax, "hotter").get_paths()])
    assert (hot[:, 1] >= BISQUE.temperature_C(np.clip(hot[:, 0], 0, BISQUE.minutes)) - 1e-6).all()
    assert len(hot)


def test_the_largest_departures_are_marked_and_told(slow, texts):
    ax = schedule_chart(BISQUE, readings=slow)
    found = departures(slow, BISQUE)
    for name, far, minute in (
        ("hotter", found.ahead_C, found.ahead_minute),
        ("colder", found.behind_C, found.behind_minute),
    ):
        mark = next(line for line in ax.lines if line.get_label() == f"most {name}")
        assert list(mark.get_xdata()) == [minute, minute]
        assert np.ptp(mark.get_ydata()) == pytest.approx(far)
        assert f"{far:.0f} °C ({far * 1.8:.0f} °F) {name}, minute {minute:.0f}" in texts(ax)


def test_a_firing_that_kept_to_its_schedule_needs_no_words(record, texts):
    kept = record(BISQUE.table["minutes"], BISQUE.table["temperature_C"])
    assert not [
        words
        for words in texts(schedule_chart(BISQUE, readings=kept))
        if "hotter" in words or "colder" in words
    ]


def test_the_plan_is_dashed_beside_a_firing(slow):
    assert not planned(schedule_chart(BISQUE)).is_dashed()
    assert planned(schedule_chart(BISQUE, readings=slow)).is_dashed()


def test_minute_0_of_both_is_the_start(record):
    late = record([100, 200, 300], [150, 300, 420])
    fired = next(line for line in schedule_chart(BISQUE, readings=late).lines if line.get_label() == "fired")
    assert list(fired.get_xdata()) == [100, 200, 300]


def test_its_words_tell_each_piece_and_how_the_firing_kept_to_it(slow):
    words = alt_text(schedule_chart(FAST))
    assert words.startswith(
        "Schedule as a line, 2 h 35 min in all, from 20 °C (68 °F) up to 750 °C (1382 °F):"
    )
    assert "1100 °C/h (1980 °F/h) to 573 °C (1063 °F), then hold 3 min, then 900 °C/h" in words
    assert "then 500 °C/h (900 °F/h) down to 600 °C (1112 °F)" in words
    assert alt_text(schedule_chart(BISQUE, slow)).endswith(departures(slow, BISQUE).sentence)


def test_a_firing_without_readings(record):
    with pytest.raises(ReadingsError, match="none of its readings counts"):
        schedule_chart(BISQUE, readings=record([0, 1], [np.nan, np.nan], "open"))


def test_the_title_says_which_line_is_which(records):
    title = schedule_chart(BISQUE, records["f1"]).get_title(loc="left")
    assert title.startswith("Schedule (dashed) and firing: 9 h 53 min")
