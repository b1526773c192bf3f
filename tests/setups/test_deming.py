import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.setups.deming import deming, deming_table
from sagglab.setups.pairs import pair_pots
from sagglab.setups.repeatability import repeatability


def noisy(rng, n=12, slope=0.9, error=(0.4, 0.8)):
    truth = rng.uniform(30, 60, n)
    return truth + rng.normal(0, error[0], n), 3 + slope * truth + rng.normal(0, error[1], n)


@given(st.integers(0, 10**6), st.floats(0.05, 20))
def test_turned_round_it_is_the_same_line(seed, ratio):
    x, y = noisy(np.random.default_rng(seed))
    there, back = deming(x, y, ratio), deming(y, x, 1 / ratio)
    assert there.slope == pytest.approx(1 / back.slope)
    assert there.intercept == pytest.approx(-back.intercept / back.slope)


@pytest.mark.parametrize(("ratio", "way"), [(1e9, "y on x"), (1e-9, "x on y")])
def test_one_error_alone_is_least_squares(ratio, way):
    x, y = noisy(np.random.default_rng(1))
    slope = np.polyfit(x, y, 1)[0] if way == "y on x" else 1 / np.polyfit(y, x, 1)[0]
    assert deming(x, y, ratio).slope == pytest.approx(slope)


def test_a_slope_near_nought_and_a_falling_one():
    x = np.arange(6.0)
    assert deming(x, np.full(6, 2.0)).slope == 0
    assert deming(x, 5 - 2 * x).slope == pytest.approx(-2)


def test_intervals_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(2)
    lines = [deming(*noisy(rng), 4.0) for _ in range(2000)]
    held = np.mean([line.slope_low <= 0.9 <= line.slope_high for line in lines])
    reached = np.mean([line.intercept_low <= 3 <= line.intercept_high for line in lines])
    assert 0.93 <= held <= 0.975 and 0.93 <= reached <= 0.975
    assert np.mean([line.slope for line in lines]) == pytest.approx(0.9, abs=0.003)


def test_readings_without_direction_make_no_line():
    assert np.isnan(deming([1, 1, 1], [2, 2, 2]).slope)
    line = deming([1, 1, 2], [2, 2, 5])
    assert line.slope == pytest.approx(3) and np.isnan(line.slope_high)


@pytest.mark.parametrize(
    ("x", "y", "ratio", "said"),
    [
        ([1, 2], [1, 2], 1, "2 points leave nothing"),
        ([1, 2, 3], [1, 2], 1, "3 values meet 2"),
        ([1, 2, np.nan], [1, 2, 3], 1, "missing"),
        ([1, 2, 4], [1, 2, 3], 0, "0 is no ratio"),
    ],
)
def test_what_cannot_be_fitted_is_refused(x, y, ratio, said):
    with pytest.raises(SetupError, match=said):
        deming(x, y, ratio)


def measures(setup, lab, repeats):
    pots = np.repeat([f"p{n}" for n in range(len(lab))], repeats)
    table = pd.DataFrame(np.repeat(lab, repeats, axis=0), columns=AXES)
    photos = [f"{setup}-{n}" for n in range(len(table))]
    return table.assign(setup=setup, pot=pots, view="front", taken=pd.NaT, photo=photos)


def test_the_error_ratio_is_that_of_the_means():
    rng = np.random.default_rng(3)
    lab = rng.uniform([30, 5, 5], [60, 15, 15], (40, 3))
    first, second = measures("phone", lab, 2), measures("camera", lab, 4)
    first[list(AXES)] += rng.normal(0, 0.4, (80, 3))
    second[list(AXES)] += rng.normal(0, 0.8, (160, 3))
    pairs = pair_pots(first, second)
    table = deming_table(pairs, repeatability(pairs)).set_index("coordinate")
    assert list(table.index) == ["L*", "a*", "b*", "C*ab"]
    assert set(table["error ratio from"]) == {"repeatability"}
    # (0.8² / 4) / (0.4² / 2); the ratio of two variances from 40 and 120 degrees of freedom is sure to 26 %.
    assert table["error ratio"].to_numpy() == pytest.approx(np.full(4, 2.0), rel=0.6)
    assert (table["slope low"] < 1).all() and (1 < table["slope high"]).all()
    line = deming(pairs.table["L* first"], pairs.table["L* second"], table.loc["L*", "error ratio"])
    assert table.loc["L*", ["slope", "intercept", "n"]].tolist() == [line.slope, line.intercept, 40]


def test_an_unknown_error_ratio_is_assumed_and_says_so():
    lab = np.array([[30, 5, 5], [40, 6, 9], [60, 12, 7.0]])
    pairs = pair_pots(measures("phone", lab, 1), measures("camera", lab * 1.1, 2))
    table = deming_table(pairs, repeatability(pairs))
    assert set(table["error ratio from"]) == {"assumed"} and set(table["error ratio"]) == {1.0}
    assert table["slope"].to_numpy() == pytest.approx(np.full(4, 1.1))


def test_views_of_one_pot_are_one_point():
    lab = np.array([[30, 5, 5], [40, 6, 9], [60, 12, 7.0]])
    fronts = [measures(name, lab, 1) for name in ("phone", "camera")]
    backs = [table.assign(view="back", photo=table["photo"] + "b") for table in fronts]
    backs[0]["L*"] += 2
    pairs = pair_pots(*(pd.concat(both) for both in zip(fronts, backs, strict=True)))
    table = deming_table(pairs, repeatability(pairs)).set_index("coordinate")
    assert table["n"].tolist() == [3, 3, 3, 3]
    assert table.loc["L*", ["slope", "intercept"]].tolist() == pytest.approx([1, -1])
