"""Thinning: what is left out cannot be seen."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sagglab.charts.thin import COLUMNS, thinned


def test_a_short_record_keeps_all():
    assert len(thinned(np.arange(100.0), np.zeros(100))) == 100


def test_each_column_keeps_its_extremes_and_its_ends():
    rng = np.random.default_rng(2)
    minutes = np.sort(rng.uniform(0, 100, 50_000))
    heat = rng.normal(500, 100, 50_000)
    kept = thinned(minutes, heat)
    assert len(kept) <= 4 * (COLUMNS + 1)
    assert (np.diff(kept) > 0).all()
    assert {0, 49_999, int(heat.argmax()), int(heat.argmin())} <= set(kept.tolist())
    column = ((minutes - minutes[0]) / np.ptp(minutes) * COLUMNS).astype(int)
    for number in range(0, COLUMNS, 97):
        inside = np.flatnonzero(column == number)
        chosen = kept[column[kept] == number]
        assert heat[chosen].min() == heat[inside].min()
        assert heat[chosen].max() == heat[inside].max()
        assert {inside[0], inside[-1]} <= set(chosen.tolist())


@given(arrays(float, 7000, elements=st.floats(-50, 1100)))
def test_the_highest_and_the_lowest_are_always_kept(heat):
    kept = thinned(np.linspace(0, 1, 7000), heat)
    assert heat[kept].max() == heat.max()
    assert heat[kept].min() == heat.min()


def test_readings_of_one_minute():
    assert len(thinned(np.full(10_000, 5.0), np.arange(10_000.0))) == 10_000
