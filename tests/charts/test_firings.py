"""Charts of firings: what was drawn is what the record says."""

import time

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.patches import Rectangle

from sagglab.charts import firing_curve, firing_curves
from sagglab.charts.alt import alt_text
from sagglab.charts.look import LINES
from sagglab.errors import ReadingsError, SagglabError, UnknownNameError
from sagglab.firing.heat import heat_measures
from sagglab.firing.schedule import Schedule, Segment
from sagglab.units import both_scales, rate_in_both_scales

TARGETS_C = {"f1": 750, "f2": 725, "f3": 775, "f4": 775, "f5": 750, "f6": 725}
TAGS = sorted(TARGETS_C)
FAST = Schedule((Segment(1100, 573, 3), Segment(900, 700, 5), Segment(600, 750, 10), Segment(300, 300)))


def curves_of(ax):
    """Give the lines of records: all but levels, which cross the whole chart."""
    return [line for line in ax.lines if len(line.get_xdata()) > 10]


def curve_of(ax):
    return next(line for line in ax.lines if line.get_color() == LINES[0][0])


def marks_of(ax, flag):
    return next(line for line in ax.lines if line.get_label() == flag)


def steps_of(ax):
    return [patch for patch in ax.patches if isinstance(patch, Rectangle)]


def assert_both_units(ax):
    ax.figure.canvas.draw()
    right = ax.child_axes[0]
    assert (ax.get_ylabel(), right.get_ylabel()) == ("°C", "°F")
    low, high = ax.get_ylim()
    np.testing.assert_allclose(right.get_ylim(), [low * 1.8 + 32, high * 1.8 + 32])
    assert "minutes" in ax.get_xlabel()


@pytest.mark.parametrize("tag", TAGS)
def test_one_firing_holds_its_readings_in_both_units(all_records, tag):
    ax = firing_curve(all_records[tag])
    counted = all_records[tag].counted
    np.testing.assert_array_equal(curve_of(ax).get_ydata(), counted["temperature_C"])
    np.testing.assert_array_equal(curve_of(ax).get_xdata(), counted["minutes"] - counted["minutes"][0])
    assert_both_units(ax)


@pytest.mark.parametrize("tag", TAGS)
def test_words_of_one_firing_are_readable(all_records, tag, assert_readable):
    assert_readable(firing_curve(all_records[tag], target_C=TARGETS_C[tag]))


@pytest.mark.parametrize("width", [6.0, 7.6, 10.0])
def test_words_beside_flags_are_readable(faulty, width, assert_readable):
    ax = plt.subplots(figsize=(width, 4.6), layout="constrained")[1]
    assert_readable(firing_curve(faulty, target_C=760, ax=ax))


def test_few_readings_are_shown_as_dots(all_records):
    assert curve_of(firing_curve(all_records["f6"])).get_marker() == "o"
    assert curve_of(firing_curve(all_records["f1"])).get_marker() in ("", "None")


def test_peak_target_and_levels_are_named_in_both_units(record, texts):
    shown = set(texts(firing_curve(record([0, 40, 100], [20, 740, 260]), target_C=750)))
    assert {
        "peak 740 °C (1364 °F), minute 40",
        "target 750 °C (1382 °F)",
        "quartz inversion, 573 °C (1063 °F)",
        "foil can melt, 660.3 °C (1220.6 °F)",
    } <= shown


def test_target_and_levels_are_drawn_where_they_are(all_records):
    ax = firing_curve(all_records["f1"], target_C=750)
    levels = [line.get_ydata()[0] for line in ax.lines if list(line.get_xdata()) == [0, 1]]
    assert sorted(levels) == [573, 660.323, 750]


def test_climbs_are_those_of_the_measures(all_records):
    measures = heat_measures(all_records["f1"])
    bands = [
        ("start", 0, "100", 100),
        ("100", 100, "573", 573),
        ("573", 573, "660", 660.323),
        ("660", 660.323, "peak", measures["peak_C"]),
    ]
    steps = steps_of(firing_curve(all_records["f1"]))
    assert len(steps) == 4
    start = all_records["f1"].counted["temperature_C"][0]
    for step, (low, low_C, high, high_C) in zip(steps, bands, strict=True):
        climb = measures[f"climb_{low}_to_{high}_C_per_h"]
        assert step.get_height() == pytest.approx(high_C)
        assert step.get_width() == pytest.approx((high_C - (low_C or start)) / climb * 60)


def test_climbs_are_written_where_they_fit(record, texts):
    slow = record([0, 480, 600], [20, 660, 900])
    assert "80 °C/h\n(144 °F/h)" in texts(firing_curve(slow))
    # Through 573–660 °C in one of a hundred minutes: there is no room for words.
    quick = record([0, 20, 21, 40, 100], [20, 573, 660.323, 700, 300])
    words = " ".join(texts(firing_curve(quick)))
    assert "5239 °C/h" not in words
    assert len(steps_of(firing_curve(quick))) == 4


def test_words_of_a_climb_stay_in_their_step(all_records, texts):
    ax = firing_curve(all_records["f1"])
    climbs = [box for words, box in texts(ax).items() if "°C/h" in words]
    assert len(climbs) == 3
    for box in climbs:
        assert any(
            step.get_window_extent().contains(*corner) for step in steps_of(ax) for corner in [box.min]
        )
        assert sum(step.get_window_extent().overlaps(box) for step in steps_of(ax)) == 1


@pytest.mark.parametrize("bands_C", [((None, None),), ((100, 300), (300, 600), (600, 700))])
def test_other_bands(all_records, bands_C):
    assert len(steps_of(firing_curve(all_records["f1"], bands_C=bands_C))) == len(bands_C)


def test_a_band_that_was_not_reached_has_no_step(record):
    assert len(steps_of(firing_curve(record([0, 60, 120], [20, 600, 100])))) == 2
    # Begun above 100 °C: when that was passed is unknown.
    assert [step.get_height() for step in steps_of(firing_curve(record([0, 60], [200, 640])))] == []


def test_every_flagged_reading_keeps_a_hollow_mark(faulty, texts):
    ax = firing_curve(faulty)
    for flag, count in (("spike", 3), ("open", 10), ("after a gap", 1)):
        marks = marks_of(ax, flag)
        assert len(marks.get_xdata()) == count
        assert marks.get_markerfacecolor() == "none"
    assert {
        "spike: 3 left out, up to 1050 °C (1922 °F)",
        "open: 10 left out",
        "after a gap: 1 counted",
    } <= set(texts(ax))


def test_flags_differ_in_shape_and_not_in_colour_alone(faulty):
    ax = firing_curve(faulty)
    assert len({marks_of(ax, flag).get_marker() for flag in ("spike", "open", "after a gap")}) == 3


def test_marks_that_have_no_place_are_at_the_edge(faulty):
    ax = firing_curve(faulty)
    low, high = ax.get_ylim()
    assert high < 1000
    assert marks_of(ax, "spike").get_ydata()[-1] == pytest.approx(high, abs=0.02 * (high - low))
    np.testing.assert_allclose(marks_of(ax, "open").get_ydata(), low, atol=0.02 * (high - low))


def test_flagged_readings_are_not_in_the_curve(faulty):
    assert np.nanmax(curve_of(firing_curve(faulty)).get_ydata()) == faulty.counted["temperature_C"].max()


def test_the_curve_is_dotted_over_a_gap(faulty):
    solid, dotted = [line for line in firing_curve(faulty).lines if line.get_color() == LINES[0][0]]
    gap = np.flatnonzero(np.isnan(solid.get_ydata()))
    assert gap.size == 1
    np.testing.assert_array_equal(dotted.get_xdata()[:2], solid.get_xdata()[[gap[0] - 1, gap[0] + 1]])
    assert dotted.get_xdata()[1] == 80


def test_a_flagged_reading_without_a_time_is_told(record, texts):
    readings = record([0, 20, np.nan, 60], [20, 400, 500, 700], ["", "", "unreadable", ""])
    ax = firing_curve(readings)
    assert "unreadable: 1 left out, 1 without a time" in texts(ax)
    assert len(marks_of(ax, "unreadable").get_xdata()) == 0


def test_minutes_count_from_the_first_reading_that_counts(record):
    readings = record([95, 100, 130, 160], [np.nan, 20, 700, 300], ["open", "", "", ""])
    assert list(curve_of(firing_curve(readings)).get_xdata()) == [0, 30, 60]


def test_a_schedule_is_dashed_and_keeps_its_place(record, texts, assert_readable):
    readings = record([10, 40, 100], [200, 740, 260])
    ax = firing_curve(readings, schedule=FAST)
    plan = next(line for line in ax.lines if line.get_label() == "schedule")
    assert plan.is_dashed()
    np.testing.assert_allclose(plan.get_xdata(), FAST.table["minutes"] - 10)
    assert ax.get_xlim()[0] == -10
    assert "schedule" in texts(ax)
    assert_readable(ax)


def test_one_reading_is_enough(record):
    assert list(curve_of(firing_curve(record([3], [400]))).get_ydata()) == [400]


def test_no_reading_at_all(record):
    with pytest.raises(ReadingsError, match="none of its readings counts"):
        firing_curve(record([0, 1], [np.nan, np.nan], "open"))


def test_a_frosty_morning_is_on_the_chart(record):
    assert firing_curve(record([0, 40, 100], [-8, 740, 260])).get_ylim()[0] <= -8


def test_a_million_readings_are_drawn_soon_and_keep_their_peak(record):
    minutes = np.linspace(0, 150, 1_000_000)
    heat = np.interp(minutes, [0, 40, 150], [20, 750, 250]) + np.random.default_rng(1).normal(0, 1, 1_000_000)
    heat[400_000] = 830.0

    def draw(readings):
        start = time.perf_counter()
        ax = firing_curve(readings, target_C=750)
        ax.figure.canvas.draw()
        return ax, time.perf_counter() - start

    _, took_few = draw(record(minutes[::200], heat[::200]))
    ax, took_all = draw(record(minutes, heat))
    # Two to three times as long where it was measured, for two hundred times as many.
    assert took_all < 10 * took_few
    drawn = curve_of(ax)
    assert len(drawn.get_xdata()) < 7000
    assert drawn.get_ydata().max() == 830
    assert drawn.get_xdata()[[0, -1]].tolist() == [0, 150]


def test_firing_curves_hold_the_readings(records, texts):
    ax = firing_curves(records)
    curves = curves_of(ax)
    assert len(curves) == 2
    for curve, readings in zip(curves, records.values(), strict=True):
        assert max(curve.get_ydata()) == readings.counted["temperature_C"].max()
        assert min(curve.get_xdata()) == 0
    assert ax.get_legend() is None
    assert {"f1", "f5"} <= set(texts(ax))


@pytest.mark.parametrize("align", ["start", "peak"])
def test_firing_curves_have_both_units(records, align):
    assert_both_units(firing_curves(records, align=align))


def test_firing_curves_mark_where_foil_can_melt(records):
    levels = [line.get_ydata()[0] for line in firing_curves(records).lines if len(line.get_ydata()) == 2]
    assert 660.323 in levels
    assert 573 in levels


def test_firings_aligned_at_their_peaks(all_records):
    ax = firing_curves(all_records, align="peak")
    for curve in curves_of(ax):
        assert curve.get_xdata()[np.argmax(curve.get_ydata())] == 0
    assert ax.get_xlim()[0] == min(curve.get_xdata()[0] for curve in curves_of(ax)) < 0
    assert "peak" in ax.get_xlabel()


def test_an_unknown_alignment(records):
    with pytest.raises(UnknownNameError) as caught:
        firing_curves(records, align="end")
    assert str(caught.value) == "align 'end': it is unknown. Give one of start, peak."
    assert isinstance(caught.value, SagglabError)


@pytest.mark.parametrize("align", ["start", "peak"])
def test_names_at_the_ends_are_readable_and_in_the_line_s_colour(all_records, align, assert_readable):
    ax = firing_curves(all_records, align=align)
    assert ax.get_legend() is None
    assert_readable(ax)
    colours = {line.get_label(): line.get_color() for line in curves_of(ax)}
    named = {text.get_text(): text.get_color() for text in ax.texts if text.get_text() in colours}
    assert named == colours


def test_names_begin_near_the_end_of_their_line(all_records, texts):
    ax = firing_curves(all_records)
    boxes = texts(ax)
    for line in curves_of(ax):
        end = ax.transData.transform([line.get_xdata()[-1], line.get_ydata()[-1]])
        box = boxes[line.get_label()]
        away = np.maximum(np.maximum(box.min - end, end - box.max), 0)
        assert np.hypot(*away) < 60 * ax.figure.dpi / 72


def test_records_that_end_together_are_named_all_the_same(all_records, assert_readable):
    ax = firing_curves({f"batch {number}": all_records["f1"] for number in range(6)})
    assert ax.get_legend() is None
    assert_readable(ax)


def test_many_firings_get_a_legend_that_hides_nothing(all_records):
    ax = firing_curves({f"2026-{number:02d}": all_records["f6"] for number in range(20)})
    ax.figure.canvas.draw()
    legend = ax.get_legend().get_window_extent()
    assert len(ax.get_legend().get_texts()) == 20
    assert legend.x0 > ax.child_axes[0].get_tightbbox().x1
    assert ax.figure.bbox.padded(1).contains(*legend.max)
    assert not {"2026-00"} & {text.get_text() for text in ax.texts}


def test_long_names_get_a_legend(all_records):
    tag = "a firing whose name goes on and on, as somebody's may, to the end of the page"
    ax = firing_curves({tag: all_records["f1"]})
    (name,) = ax.get_legend().get_texts()
    assert name.get_text() == "a firing whose…d of the page"
    ax.figure.canvas.draw()
    assert ax.get_position().width > 0.4


def test_no_two_lines_look_alike(all_records):
    ax = firing_curves({f"{number}": all_records["f6"] for number in range(40)})
    looks = {(line.get_color(), str(line._unscaled_dash_pattern)) for line in curves_of(ax)}
    assert len(looks) == 40


def test_no_firings_at_all_are_refused():
    with pytest.raises(ReadingsError) as caught:
        firing_curves({})
    assert str(caught.value) == (
        "firing_curves: it was given no firing. Give it at least one with its record."
    )


def test_the_words_of_one_firing_tell_peak_target_climbs_and_flags(all_records, faulty):
    words = alt_text(firing_curve(all_records["f1"], TARGETS_C["f1"], schedule=FAST))
    measures = heat_measures(all_records["f1"])
    peak = both_scales(measures["peak_C"])
    assert f"a peak of {peak}, minute {measures['minutes_to_peak']:.0f}. The target was 750 °C" in words
    climb = rate_in_both_scales(measures["climb_100_to_573_C_per_h"])
    assert f"{climb} up to 573 °C (1063 °F), then" in words
    assert words.endswith("A dashed line is the schedule, up to 750 °C (1382 °F).")
    assert "spike: 3 left out, up to 1050 °C (1922 °F); open: 10 left out" in alt_text(firing_curve(faulty))


@pytest.mark.parametrize("align", ["start", "peak"])
def test_the_words_of_several_firings_tell_their_peaks(all_records, align):
    words = alt_text(firing_curves(all_records, align=align))
    assert words.startswith("Firing curves of 6 firings over minutes, aligned at the ")
    for tag, readings in all_records.items():
        counted = readings.counted
        hottest = counted["temperature_C"].to_numpy().argmax()
        minutes = counted["minutes"].iloc[hottest] - counted["minutes"].iloc[0]
        peak = both_scales(counted["temperature_C"].max())
        assert f"{tag} {peak} after {minutes:.0f} minutes" in words


def test_of_many_firings_the_words_tell_the_range(all_records):
    words = alt_text(firing_curves({f"{tag}.{k}": all_records[tag] for tag in TAGS for k in range(4)}))
    assert "and 12 more. The lowest is 729 °C" in words and "the highest 780 °C" in words


def test_lines_of_several_firings_break_at_gaps(record):
    minutes = np.concatenate([np.arange(0, 40.0), np.arange(90, 130.0)])
    heat = np.interp(minutes, [0, 40, 130], [20, 750, 260])
    flags = np.where(minutes == 90, "after a gap", "")
    ax = firing_curves({"f1": record(minutes, heat, flags)})
    (line,) = (line for line in ax.get_lines() if line.get_label() == "f1")
    drawn = line.get_ydata()
    assert np.isnan(drawn).sum() == 1 and np.isnan(drawn[40])
    assert len(drawn) == len(minutes) + 1
