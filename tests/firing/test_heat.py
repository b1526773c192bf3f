"""Heat measures, and their bounds, against curves worked by hand, and any curve that the bounds allow."""

import copy
import pickle
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sagglab.columns import FIRING_MEASURES, HEAT_MEASURES
from sagglab.errors import Problems, UnknownNameError
from sagglab.firing.between import rate_limits
from sagglab.firing.flags import HIGHEST_C, LOWEST_C
from sagglab.firing.heat import HeatMeasures, heat_measures
from sagglab.firing.readings import Readings


def record(minutes, celsius, flags=None, **steps):
    table = pd.DataFrame(
        {
            "minutes": np.array(minutes, float),
            "temperature_C": np.array(celsius, float),
            "flag": flags or [""] * len(minutes),
        }
    )
    return Readings("by hand", table, Problems(), **steps)


def measured(*points, flags=None, **how):
    minutes, celsius = zip(*points, strict=True)
    steps = {name: how.pop(name) for name in ("step_C", "step_minutes") if name in how}
    return heat_measures(record(minutes, celsius, flags, **steps), **how)


# 20 °C/min up to 800 °C in 39 min from 20 °C; 10 °C/min down to 200 °C.
TENT = (0, 20), (39, 800), (99, 200)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("peak_C", 800),
        ("minutes_to_peak", 39),
        ("minutes_above_600_C", 200 / 20 + 200 / 10),
        ("minutes_above_660_C", 139.677 / 20 + 139.677 / 10),
        ("minutes_above_700_C", 100 / 20 + 100 / 10),
        ("minutes_peak_to_300_C", 50),
        ("climb_C_per_h", 1200),
        ("climb_100_to_573_C_per_h", 1200),
        ("climb_573_to_660_C_per_h", 1200),
        ("climb_start_to_100_C_per_h", 1200),
        ("climb_660_to_peak_C_per_h", 1200),
        ("overshoot_C", 50),
        ("minutes_of_longest_stall", 10 / 20),
        ("cooling_peak_to_573_C_per_h", 600),
        ("cooling_573_to_300_C_per_h", 600),
        ("minutes_through_573_up", 50 / 20),
        ("minutes_through_573_down", 50 / 10),
    ],
)
def test_straight_up_and_straight_down(name, value):
    assert measured(*TENT, target_C=750)[name] == pytest.approx(value, rel=1e-12)


def test_the_measures_are_those_declared():
    tent = measured(*TENT)
    assert tent.table.index.tolist() == [column.name for column in HEAT_MEASURES]
    assert list(tent.row) == tent.table.index.tolist()
    own = [column.name for column in FIRING_MEASURES if column.name not in ("firing", "problems")]
    assert list(tent.row_with_bounds) == own


def test_more_readings_on_the_same_lines_change_nothing():
    more = measured((0, 20), (10, 220), (31, 640), (39, 800), (40, 790), (80, 390), (99, 200))
    np.testing.assert_allclose(more.table["value"], measured(*TENT).table["value"], rtol=1e-9)


def test_climb_by_band():
    # 10 °C/min to 573 °C, then 2 °C/min to 660.323 °C and on to 700 °C.
    curve = measured((0, 20), (55.3, 573), (118.8, 700))
    assert curve["climb_100_to_573_C_per_h"] == pytest.approx(600)
    assert curve["climb_573_to_660_C_per_h"] == pytest.approx(120)
    assert curve["climb_C_per_h"] == pytest.approx(680 / 118.8 * 60)


def test_a_hold_on_top_counts_from_its_start():
    # 20 to 720 °C in 35 min, held for 25 min, then 10 °C/min down.
    curve = measured((0, 20), (35, 720), (60, 720), (112, 200))
    assert curve["minutes_to_peak"] == 35
    assert curve["minutes_above_700_C"] == pytest.approx(1 + 25 + 2)
    assert curve["minutes_peak_to_300_C"] == pytest.approx(25 + 42)


def test_time_above_adds_up_over_two_humps():
    assert measured((0, 500), (10, 700), (20, 500), (30, 700), (40, 500))["minutes_above_600_C"] == 20


def test_a_hold_at_the_threshold_is_not_above_it():
    assert measured((0, 500), (10, 600), (70, 600), (80, 500))["minutes_above_600_C"] == 0


def test_a_record_that_starts_hot():
    # Its climb through 100 °C was not seen, so no climb from there is stated.
    curve = measured((0, 400), (10, 600), (20, 700), (60, 250))
    assert np.isnan(curve["climb_100_to_573_C_per_h"])
    assert curve["climb_573_to_660_C_per_h"] == pytest.approx(87.323 / (16.0323 - 8.65) * 60)
    assert curve["climb_C_per_h"] == 900


def test_a_record_of_cooling_alone():
    curve = measured((0, 750), (45, 300), (60, 200))
    assert (curve["peak_C"], curve["minutes_to_peak"], curve["minutes_peak_to_300_C"]) == (750, 0, 45)
    assert np.isnan(curve["climb_C_per_h"])


def test_a_firing_that_never_gets_there():
    curve = measured((0, 20), (30, 500), (60, 280))
    assert curve["minutes_above_600_C"] == curve["minutes_above_700_C"] == 0
    assert np.isnan(curve["climb_100_to_573_C_per_h"]) and np.isnan(curve["climb_573_to_660_C_per_h"])
    assert curve["minutes_peak_to_300_C"] == pytest.approx(200 / 220 * 30)


def test_a_record_that_stops_before_the_kiln_is_opened():
    assert np.isnan(measured((0, 20), (35, 750), (60, 400))["minutes_peak_to_300_C"])


def test_a_peak_below_300_has_no_cooling_to_300():
    assert np.isnan(measured((0, 20), (35, 250), (60, 100))["minutes_peak_to_300_C"])


def test_flagged_readings_do_not_count():
    curve = measured((0, 20), (20, 1300), (39, 800), (99, 200), flags=["", "unreadable", "", ""])
    np.testing.assert_allclose(curve.table, measured(*TENT).table, rtol=1e-12)


def test_bands_and_thresholds_of_ones_own():
    curve = measured(
        *TENT, thresholds_C=(500, 750), bands_C=((None, 200), (300, 400), (500, None), (None, None))
    )
    assert [name for name in curve.table.index if name.startswith(("climb", "minutes_above"))] == [
        "climb_C_per_h",
        "climb_start_to_200_C_per_h",
        "climb_300_to_400_C_per_h",
        "climb_500_to_peak_C_per_h",
        "climb_start_to_peak_C_per_h",
        "minutes_above_500_C",
        "minutes_above_750_C",
    ]
    assert curve["minutes_above_750_C"] == pytest.approx(50 / 20 + 50 / 10)
    assert curve["climb_start_to_peak_C_per_h"] == curve["climb_C_per_h"]


def test_the_overshoot_is_negative_below_the_target_and_unknown_without_one():
    assert measured(*TENT, target_C=830).overshoot_C == -30
    assert measured(*TENT, target_C=830, step_C=1).bounds("overshoot_C")[0] == -30.5
    for target in (None, np.nan):
        assert np.isnan(measured(*TENT, target_C=target).overshoot_C)


@pytest.mark.parametrize(
    ("points", "minutes"),
    [
        # 10 °C/min; a hold of 30 min at 300 °C lies within one rise of 10 °C: 30 min more.
        (((0, 20), (28, 300), (58, 300), (108, 800)), 30 + 1),
        # A fall and a climb back count like a hold.
        (((0, 20), (28, 300), (33, 250), (38, 300), (88, 800)), 10 + 1),
        # Two holds less than 10 °C apart stand in the way of the same rise.
        (((0, 20), (28, 300), (40, 300), (40.5, 305), (52.5, 305), (102, 800)), 12 + 12 + 1),
        # A hold at the very top is no stall on the way up: it never got hotter.
        (((0, 20), (78, 800), (200, 800), (240, 400)), 1),
        # At 1 °C/min the whole way: nothing but the climb.
        (((0, 20), (600, 620)), 10),
    ],
)
def test_the_longest_stall(points, minutes):
    assert measured(*points).minutes_of_longest_stall == pytest.approx(minutes, rel=0.01)


def test_the_longest_stall_is_exact():
    # From 300 °C, 30 min there, and at 5 °C/min on to 310 °C; from 290 °C to just above 300 °C it was 31.
    curve = measured((0, 20), (28, 300), (58, 300), (118, 600))
    assert curve.minutes_of_longest_stall == pytest.approx(30 + 10 / 5, rel=1e-12)
    curve = measured((0, 20), (28, 300), (58, 300), (108, 800))
    assert curve.minutes_of_longest_stall == pytest.approx(31, rel=1e-12)


def test_jitter_is_no_stall():
    minutes = np.arange(0, 70, 1 / 6)
    jitter = np.random.default_rng(5).normal(0, 0.2, len(minutes))
    stall = measured(*zip(minutes, 20 + 10 * minutes + jitter, strict=True)).minutes_of_longest_stall
    assert 1 <= stall < 1.1


def test_a_climb_of_less_than_ten_degrees_has_no_stall():
    assert np.isnan(measured((0, 700), (10, 709), (60, 300)).minutes_of_longest_stall)


def test_bounds_of_the_peak_by_hand():
    # Steady at 10 °C/min up and down, every 4 min, the peak read: bends only about the top and the ends.
    up = [(4 * k, 20 + 40 * k) for k in range(19)]
    down = [(72 + 4 * k, 740 - 40 * k) for k in range(1, 15)]
    curve = measured(*up, *down, step_C=1.0, sensor_class="2")
    wander = 4 * (10 + 20 + 20 + 10) / 32 / 4  # °C/min
    # In the gap before the top: up by 10 + 10 at most, half the bend the other way, down by 10.
    rise, fall = 10 + 20 / 2 + wander, -10 - wander
    top = 700 + rise * 4 * (10 - fall) / (rise - fall)
    tolerance = 0.0075 * (top + 0.5)
    low, high = curve.bounds("peak_C")
    assert low == pytest.approx(739.5 - 0.0075 * 739.5, abs=1e-9)
    assert high == pytest.approx(top + 0.5 + tolerance, abs=1e-9)


def test_bounds_of_the_minutes_by_hand():
    # Straight at 10 °C/min between readings 4 min apart, save for the ends: only the step of 1 °C widens.
    up = [(4 * k, 20 + 40 * k) for k in range(19)]
    curve = measured(*up, step_C=1.0)
    wander = 4 * (10 + 10) / 18 / 4
    low, high = curve.bounds("minutes_above_600_C")
    # 600 °C lies half way between readings, where each curve is off by the wander over two minutes and half a
    # step; the lowest then catches up as steeply as the highest had gone ahead.
    assert low == pytest.approx(14 - (0.5 + 2 * wander) / (10 + wander), abs=1e-9)
    # The record ends at its hottest, and nobody knows what the kiln did then.
    assert high == np.inf


@pytest.mark.parametrize(
    ("points", "open_above"),
    [
        (((0, 20), (35, 680)), {"peak_C", "minutes_to_peak", "minutes_above_600_C", "minutes_above_660_C"}),
        (((0, 620), (5, 700), (60, 300)), {"minutes_above_600_C"}),
        (((0, 20), (35, 750), (99, 210)), set()),
    ],
)
def test_a_record_that_begins_or_ends_hot_bounds_nothing_above(points, open_above):
    table = measured(*points).table
    asked = ["peak_C", "minutes_to_peak", "minutes_above_600_C", "minutes_above_660_C", "minutes_above_700_C"]
    assert {name for name in asked if table.loc[name, "high"] == np.inf} == open_above
    ends_hot = max(points[0][1], points[-1][1]) > 500
    assert (table.loc["heat_work_minutes_at_750_C", "high"] == np.inf) == ends_hot


def test_an_uncut_record_of_several_firings_says_so():
    curve = measured((0, 20), (40, 750), (300, 20), (340, 740), (600, 20))
    assert curve.notes[0].startswith("The record holds 2 firings")
    assert not any("holds" in note for note in measured(*TENT).notes)


def test_the_sensor_does_not_move_the_minute_of_the_peak():
    points = (0, 20), (20, 500), (36, 730), (40, 750), (44, 735), (60, 600)
    bare, sensed = measured(*points), measured(*points, sensor_class="2")
    assert bare.bounds("minutes_to_peak") == sensed.bounds("minutes_to_peak")
    assert bare.bounds("minutes_of_longest_stall") == sensed.bounds("minutes_of_longest_stall")
    low, high = sensed.bounds("minutes_above_600_C")
    bare_low, bare_high = bare.bounds("minutes_above_600_C")
    assert low < bare_low and high > bare_high


def test_what_the_record_cannot_bound():
    # The record ends at 299 °C: the lowest curve fell through 300 °C, the highest did not.
    curve = measured((0, 20), (35, 750), (70, 400), (80, 299), sensor_class="2")
    assert curve["minutes_peak_to_300_C"] == pytest.approx(45 - 1 / 10.1)
    assert curve.bounds("minutes_peak_to_300_C")[1] == np.inf
    assert curve.bounds("cooling_573_to_300_C_per_h")[0] == 0
    # What is not in the record has no bounds either.
    assert np.isnan(measured((0, 20), (35, 750), (60, 400)).bounds("minutes_peak_to_300_C")).all()


CLOCK = st.sampled_from([0.0, 1.0])
SHARES = st.lists(st.tuples(st.floats(0.01, 1), st.floats(0.01, 1), st.booleans()), min_size=11, max_size=11)


def _allowed(minutes, celsius, limits, shares):
    """Draw a curve within the limits of rate: in each gap one piece steeper and one flatter than its mean."""
    drawn = [(minutes[0], celsius[0])]
    for gap, (steeper, flatter, first) in zip(range(len(minutes) - 1), shares, strict=False):
        lasts = minutes[gap + 1] - minutes[gap]
        mean = (celsius[gap + 1] - celsius[gap]) / lasts
        steep = mean + steeper * (limits[1][gap] - mean)
        flat = mean - flatter * (mean - limits[0][gap])
        if steep - flat > 1e-6:
            for_steep = lasts * (mean - flat) / (steep - flat)
            turn, rate = (for_steep, steep) if first else (lasts - for_steep, flat)
            drawn.append((minutes[gap] + turn, celsius[gap] + rate * turn))
        drawn.append((minutes[gap + 1], celsius[gap + 1]))
    at, run = map(np.array, zip(*drawn, strict=True))
    keep = np.concatenate([[True], np.diff(at) > 1e-9])
    return at[keep], run[keep]


@settings(max_examples=400, deadline=None)
@given(
    points=st.lists(st.tuples(st.floats(1, 12), st.integers(20, 1000)), min_size=3, max_size=12),
    shares=SHARES,
    late=st.lists(st.floats(-0.5, 0.5), min_size=12, max_size=12),
    off=st.lists(st.floats(-0.5, 0.5), min_size=12, max_size=12),
    step_minutes=CLOCK,
    step_C=CLOCK,
    sensor_off=st.sampled_from([None, -2.5, 0.0, 2.5]),
)
def test_the_bounds_hold_for_every_curve_that_keeps_to_the_limits(
    points, shares, late, off, step_minutes, step_C, sensor_off
):
    minutes = np.cumsum([gap for gap, _ in points])
    celsius = np.array([float(value) for _, value in points])
    limits = rate_limits(minutes, celsius)
    true_minutes, true_celsius = minutes.copy(), celsius.copy()
    for k in range(len(minutes)):
        moved = (late[k] * step_minutes, off[k] * step_C)
        # A reading is moved as far as it was rounded only where the limits of rate still hold.
        before = (true_minutes[k - 1] - minutes[k - 1], true_celsius[k - 1] - celsius[k - 1]) if k else (0, 0)
        true_minutes[k], true_celsius[k] = minutes[k] + moved[0], celsius[k] + moved[1]
        if k:
            lasts = true_minutes[k] - true_minutes[k - 1]
            mean = (true_celsius[k] - true_celsius[k - 1]) / lasts if lasts > 0 else np.inf
            if not limits[0][k - 1] < mean < limits[1][k - 1]:
                true_minutes[k], true_celsius[k] = minutes[k] + before[0], celsius[k] + before[1]
    at, run = _allowed(true_minutes, true_celsius, limits, shares)
    assume(run.min() > LOWEST_C and run.max() < HIGHEST_C)
    sensor_class = None if sensor_off is None else "2"
    truth = heat_measures(record(at, run + (sensor_off or 0.0)), target_C=750).table["value"]
    few = record(minutes, celsius, step_C=step_C, step_minutes=step_minutes)
    bounds = heat_measures(few, target_C=750, sensor_class=sensor_class).table
    known = truth.notna() & bounds["value"].notna()
    near = 1e-6 * (1 + truth.abs())
    assert (truth >= bounds["low"] - near)[known].all(), pd.concat([truth, bounds], axis=1)[known]
    assert (truth <= bounds["high"] + near)[known].all(), pd.concat([truth, bounds], axis=1)[known]


@settings(max_examples=200, deadline=None)
@given(
    points=st.lists(st.tuples(st.floats(0.1, 60), st.floats(-20, 1390)), min_size=2, max_size=12),
    step_minutes=CLOCK,
    step_C=CLOCK,
    sensor_class=st.sampled_from([None, "2", "S 1", "special"]),
)
def test_every_value_lies_within_its_bounds(points, step_minutes, step_C, sensor_class):
    minutes = np.cumsum([gap for gap, _ in points])
    readings = record(minutes, [value for _, value in points], step_C=step_C, step_minutes=step_minutes)
    table = heat_measures(readings, target_C=750, sensor_class=sensor_class).table
    known = table[table["value"].notna()]
    near = 1e-9 * (1 + known["value"].abs())
    assert (known["low"] <= known["value"] + near).all(), known
    assert (known["value"] <= known["high"] + near).all(), known
    assert table[table["value"].isna()].isna().all(axis=None)
    assert not known.isna().any(axis=None)


def test_a_measure_is_had_by_either_way_and_survives_copying():
    tent = measured(*TENT)
    for curve in (tent, pickle.loads(pickle.dumps(tent)), copy.deepcopy(tent), copy.copy(tent)):
        assert isinstance(curve, HeatMeasures)
        assert curve.peak_C == curve["peak_C"] == 800
        with pytest.raises(AttributeError):
            _ = curve.no_such_measure


def test_an_unknown_measure_is_refused_with_the_choices():
    for ask in (lambda: measured(*TENT)["peak"], lambda: measured(*TENT).bounds("peak")):
        with pytest.raises(UnknownNameError, match="measure 'peak': it is unknown. Give one of peak_C, "):
            ask()


def test_an_unknown_sensor_class_is_refused():
    with pytest.raises(UnknownNameError, match="sensor class '7'"):
        measured(*TENT, sensor_class=7)


def test_values_with_their_bounds_in_one_row():
    curve = measured(*TENT, step_C=1)
    row = curve.row_with_bounds
    assert row["peak_C"] == curve.row["peak_C"] == 800
    assert (row["peak_C low"], row["peak_C high"]) == curve.bounds("peak_C") and row["peak_C low"] == 799.5


def test_heat_work_is_shown_for_other_energies_too():
    # Held at 750 °C for 25 min, the way there and back too short to matter much.
    curve = measured((0, 740), (0.5, 750), (25.5, 750), (26, 740))
    assert curve.heat_work["Q_kJ_per_mol"].tolist() == [200, 300, 400]
    # The minute on the way counts for less the higher the energy.
    assert 26 > curve.heat_work["value"][0] > curve.heat_work["value"][1] > curve.heat_work["value"][2] > 25
    assert curve.heat_work_minutes_at_750_C == curve.heat_work["value"][1]
    assert curve.bounds("heat_work_minutes_at_750_C") == tuple(curve.heat_work.loc[1, ["low", "high"]])


def test_what_the_bounds_allow_for_is_said():
    said = " ".join(measured(*TENT).notes)
    assert "the widest 60 min long" in said
    assert "How finely the record was written is not known" in said
    assert "No sensor class is given, so the bounds leave the sensor out." in said
    assert "assumption without source" in said
    said = " ".join(measured(*TENT, step_C=1.0, step_minutes=1.0, sensor_class="K 2").notes)
    assert "half a step of the record to either side; its steps are 1 °C and 60 s." in said
    assert "a new sensor of class K 2" in said


@pytest.mark.parametrize("show", [repr, HeatMeasures._repr_html_])
def test_what_the_record_does_not_hold_is_said_in_words(show):
    shown = show(measured((0, 750), (45, 300), target_C=760))
    assert "not in the record" in shown and "no target is given" not in shown
    assert "-10 °C (-18 °F)" in shown
    shown = show(measured(*TENT, step_C=1.0))
    assert "800 °C (1472 °F)" in shown and "1200 °C/h (2160 °F/h)" in shown and "2.5 min" in shown
    assert "no target is given" in shown and "at least" in shown
    assert not re.search(r"\b(nan|inf)\b", shown)


def test_the_source_is_escaped():
    table = measured(*TENT)
    assert "<b>" not in HeatMeasures("<b>", table.table, table.heat_work, ("a < b",))._repr_html_()
