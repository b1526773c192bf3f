"""Heat measures against curves worked by hand."""

import pickle

import numpy as np
import pandas as pd
import pytest

from sagglab.columns import HEAT_MEASURES
from sagglab.errors import Problems
from sagglab.firing.heat import HeatMeasures, heat_measures
from sagglab.firing.readings import Readings


def measured(*points, flags=None):
    minutes, celsius = zip(*points, strict=True)
    table = pd.DataFrame(
        {
            "minutes": np.array(minutes, float),
            "temperature_C": np.array(celsius, float),
            "flag": flags or [""] * len(points),
        }
    )
    return heat_measures(Readings("by hand", table, Problems()))


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
    ],
)
def test_straight_up_and_straight_down(name, value):
    assert measured(*TENT)[name] == pytest.approx(value, rel=1e-12)


def test_the_measures_are_those_declared():
    assert measured(*TENT).table.columns.tolist() == [column.name for column in HEAT_MEASURES]


def test_more_readings_on_the_same_lines_change_nothing():
    more = measured((0, 20), (10, 220), (31, 640), (39, 800), (40, 790), (80, 390), (99, 200))
    np.testing.assert_allclose(more.table, measured(*TENT).table, rtol=1e-12)


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


def test_a_measure_is_had_by_either_way_and_survives_pickling():
    curve = pickle.loads(pickle.dumps(measured(*TENT)))
    assert isinstance(curve, HeatMeasures)
    assert curve.peak_C == curve["peak_C"] == 800
    with pytest.raises(AttributeError):
        _ = curve.no_such_measure


def test_what_the_record_does_not_hold_is_said_in_words():
    assert "not in the record" in measured((0, 750), (45, 300))._repr_html_()
    assert "800 °C (1472 °F)" in measured(*TENT)._repr_html_()
