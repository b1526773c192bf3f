import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sagglab.errors import SetupError
from sagglab.setups.control import (
    D2,
    D3,
    FIRST,
    LEAST_VALUES,
    ODD,
    WEIGHT,
    Level,
    Widths,
    exponentially_weighted,
    individuals,
    level_of,
    run_widths,
)

STEADY = Level(10.0, 1.0)


def out(chart):
    return chart.table["out"].tolist()


def alarms(runs, widths):
    """Give the share of runs in which something is out."""
    number = 0
    for values in runs:
        level = level_of(values, FIRST, ODD)
        charts = individuals(values, level, widths), exponentially_weighted(values, level, widths)
        number += any(any(out(chart)) for chart in charts)
    return number / len(runs)


def test_constants_are_those_of_how_far_two_values_are_apart():
    apart = stats.halfnorm(scale=math.sqrt(2))
    assert pytest.approx((apart.mean(), apart.std()), rel=1e-12) == (D2, D3)


def test_usual_limits():
    """By hand: moving ranges 1, 2, 1, 0, 2, 1, 0, mean 1."""
    chart = individuals([10, 11, 13, 12, 12, 10, 11, 11])
    row = chart.table.iloc[-1]
    assert row["centre"] == 11.25
    assert row["upper limit"] - row["centre"] == pytest.approx(3 / D2)
    assert row["centre"] - row["lower limit"] == pytest.approx(3 / D2)
    assert row["moving range limit"] == pytest.approx(1 + 3 * D3 / D2)
    assert math.isnan(chart.table["moving range"].iloc[0])
    assert out(chart) == [""] * 8
    assert chart.note == ""


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ([10, 13.1, 12, 13.05], ["", "by itself", "", "by itself"]),
        ([10, 12.9, 8.9], ["", "", "jump"]),
        ([10, 14, 10], ["", "by itself, jump", "jump"]),
        ([6.9], ["by itself"]),
    ],
)
def test_what_is_out_is_told(values, told):
    # The moving range's limit at a standard deviation of 1 is 3.686.
    assert out(individuals(values, STEADY)) == told


def test_weighted_mean_and_its_limits():
    chart = exponentially_weighted([11, 9, 10], STEADY, weight=0.5)
    assert chart.table["weighted"].tolist() == [10.5, 9.75, 9.875]
    # Variances by hand: 1/4; 1/4 + 1/16; 1/4 + 1/16 + 1/64.
    reach = 3 * np.sqrt([0.25, 0.3125, 0.328125])
    assert chart.table["weighted upper"].to_numpy() == pytest.approx(10 + reach)
    assert chart.table["weighted lower"].to_numpy() == pytest.approx(10 - reach)


def test_weighted_mean_finds_what_no_value_shows_by_itself():
    values = [10.0] * 5 + [11.5] * 10
    assert not any(out(individuals(values, STEADY)))
    told = out(exponentially_weighted(values, STEADY))
    assert told[:8] == [""] * 8
    assert told[-1] == "weighted"


def test_weight_of_one_is_the_values_themselves():
    values = [9.0, 12.0, 13.5, 10.0]
    chart = exponentially_weighted(values, STEADY, weight=1.0)
    assert chart.table["weighted"].tolist() == values
    assert [bool(each) for each in out(chart)] == [False, False, True, False]


def test_widths_are_taken():
    chart = individuals([10, 14, 10], STEADY, Widths(individual=5, moving_range=5))
    assert out(chart) == ["", "", ""]
    assert out(exponentially_weighted([14.0], STEADY, Widths(weighted=3.9))) == ["weighted"]
    assert out(exponentially_weighted([14.0], STEADY, Widths(weighted=4.1))) == [""]


def test_short_run_has_no_limits_and_says_so():
    for chart in (individuals([1, 2, 30]), exponentially_weighted([1, 2, 30])):
        assert chart.note == "3 values are too few for limits, which need 8"
        assert out(chart) == ["", "", ""]
        assert chart.table.filter(regex="limit|lower|upper").isna().all(axis=None)
        assert chart.level.centre == 11


def test_no_value_at_all():
    assert individuals([]).table.empty
    assert exponentially_weighted([]).table.empty


def test_level_leaves_out_the_drift():
    values = [1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 101.0, 102.0, 101.0]
    assert level_of(values, first=4, odd=1) == Level(1.5, pytest.approx(1 / D2))
    assert level_of(values).centre > 30


@given(
    st.lists(st.floats(-100, 100), min_size=8, max_size=20),
    st.floats(-50, 50),
    st.floats(0.1, 10),
)
def test_limits_move_and_scale_with_the_values(values, shift, scale):
    values = np.array(values)
    plain, moved = level_of(values, FIRST, ODD), level_of(values * scale + shift, FIRST, ODD)
    assert moved.centre == pytest.approx(plain.centre * scale + shift, abs=1e-9)
    assert moved.sd == pytest.approx(plain.sd * scale, abs=1e-9)


@pytest.mark.parametrize("rate", [0.05, 0.3])
def test_so_many_runs_without_change_have_an_alarm(rate):
    """Fresh runs, three charts together; within four standard errors."""
    runs = np.random.default_rng(77).normal(5, 3, size=(1500, 12))
    assert alarms(runs, run_widths(12, rate)) == pytest.approx(
        rate, abs=4 * math.sqrt(rate * (1 - rate) / 1500)
    )


def test_usual_widths_make_many_false_alarms():
    runs = np.random.default_rng(78).normal(size=(400, 14))
    assert alarms(runs, Widths()) > 0.4


def test_widths_narrow_as_the_scale_is_better_known():
    """Not that of the weighted mean: in a long run the centre, of five values, is what is known worst."""
    short, long = run_widths(LEAST_VALUES, 0.05), run_widths(40, 0.05)
    for kind in ("individual", "moving_range"):
        assert getattr(short, kind) > getattr(long, kind)


def test_a_step_is_found_and_one_odd_value_too():
    """Of 14 values, the 9th; 300 fresh runs. Measured in 8,000 runs: 98 and 93 of 100."""
    runs = np.random.default_rng(79).normal(size=(300, 14))
    step, odd = runs.copy(), runs.copy()
    step[:, 8:] += 6
    odd[:, 8] += 10
    widths = run_widths(14, 0.05 / 8)
    assert alarms(step, widths) > 0.94
    assert alarms(odd, widths) > 0.87


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (
            lambda: individuals([1, math.nan, 2]),
            "control chart: value 2 is not a number. Leave it out, or measure it again.",
        ),
        (
            lambda: exponentially_weighted([1, 2, math.inf], STEADY),
            "control chart: value 3 is not a number. Leave it out, or measure it again.",
        ),
        (
            lambda: exponentially_weighted([1, 2], STEADY, weight=0),
            "control chart: a weight of 0. Give one above 0 and at most 1.",
        ),
        (lambda: level_of([1.0]), "control chart: there are 1 values. Give at least 2."),
        (lambda: level_of([1.0, 2.0, 3.0], first=5), "control chart: there are 3 values. Give at least 5."),
        (lambda: level_of([1.0, 2.0, 3.0], odd=2), "control chart: there are 3 values. Give at least 4."),
    ],
)
def test_what_cannot_be_judged_is_said(call, told):
    with pytest.raises(SetupError) as error:
        call()
    assert str(error.value) == told


def test_usual_weight_is_that_of_the_charts_together():
    assert exponentially_weighted([11.0], STEADY).table["weighted"].item() == pytest.approx(10 + WEIGHT)
