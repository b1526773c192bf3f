"""Colour measures: weights, quantiles, and hues that are there and that are not."""

import numpy as np
import pytest

from sagglab.colour import lab_to_lch
from sagglab.photo.colour_measures import (
    COORDINATES,
    HUE_CHROMA,
    LEAST_HUED,
    STATISTICS,
    colour_measures,
    weighted_quantile,
)
from sagglab.photo.shares import Share, read_shares


def of_hues(hues, chroma=20.0, lightness=50.0):
    angle = np.radians(hues)
    return np.column_stack([np.full(len(hues), lightness), chroma * np.cos(angle), chroma * np.sin(angle)])


def hue_columns(measures):
    return [measures[f"hue angle{what}"] for what in STATISTICS]


def test_names_and_kinds():
    lab = np.random.default_rng(1).normal([50, 15, 20], 5, (500, 3))
    measures = colour_measures(lab, np.ones(500), read_shares())
    assert list(measures)[:7] == ["L*", "L* median", "L* SD", "L* 5 %", "L* 25 %", "L* 75 %", "L* 95 %"]
    wanted = [f"{name}{what}" for name in COORDINATES for what in STATISTICS]
    assert list(measures) == [*wanted, *(share.name for share in read_shares())]
    assert all(type(value) is float and np.isfinite(value) for value in measures.values())


def test_an_even_surface():
    measures = colour_measures(np.tile([40.0, 3, 4], (10, 1)), np.ones(10), ())
    for name, value in (("L*", 40), ("a*", 3), ("b*", 4), ("C*ab", 5)):
        assert measures[f"{name} SD"] == 0
        assert {measures[f"{name}{what}"] for what in STATISTICS if what != " SD"} == {value}
    assert measures["hue angle"] == pytest.approx(np.degrees(np.arctan2(4, 3)))
    assert measures["hue angle SD"] == pytest.approx(0, abs=1e-6)


def test_weights_are_as_good_as_repeats():
    rng = np.random.default_rng(2)
    lab, counts = rng.normal([50, 15, 20], [12, 6, 6], (300, 3)), rng.integers(0, 4, 300)
    weighted = colour_measures(lab, 2.5 * counts, read_shares())
    repeated = colour_measures(np.repeat(lab, counts, axis=0), np.ones(counts.sum()), read_shares())
    assert weighted == pytest.approx(repeated, abs=1e-9)


def test_shares_are_of_the_area():
    dark = Share("dark share", lightness=(-np.inf, 30))
    measures = colour_measures([[20, 0, 0], [30, 0, 0], [60, 0, 0]], [1.0, 2.0, 5.0], [dark])
    assert measures["dark share"] == pytest.approx(1 / 8)


def test_nothing_measured():
    assert colour_measures(np.empty((0, 3)), np.empty(0), read_shares()) == {}
    assert colour_measures([[50, 0, 0]], [0.0], ()) == {}


@pytest.mark.parametrize("middle", [0.0, 90.0, 179.5, 180.0, 359.0])
def test_hue_across_the_seam(middle):
    hues = middle + np.linspace(-20, 20, 401)
    mean, median, sd, low, lower, upper, high = hue_columns(colour_measures(of_hues(hues), np.ones(401), ()))
    found = np.array([mean, median, low, lower, upper, high])
    assert ((found >= 0) & (found < 360)).all()
    aside = (found - middle + 180) % 360 - 180
    assert aside == pytest.approx([0, 0, -18, -10, 10, 18], abs=0.11)
    assert sd == pytest.approx(np.std(hues), rel=0.02)


def test_places_without_a_hue_do_not_tell():
    lab = np.concatenate([of_hues(np.full(60, 40.0)), of_hues(np.full(40, 200.0), chroma=HUE_CHROMA - 0.1)])
    measures = colour_measures(lab, np.ones(100), ())
    assert measures["hue angle"] == pytest.approx(40)
    assert measures["C*ab"] == pytest.approx(0.6 * 20 + 0.4 * (HUE_CHROMA - 0.1))


@pytest.mark.parametrize("share", [LEAST_HUED - 0.01, LEAST_HUED + 0.01])
def test_a_surface_of_which_little_has_a_hue(share):
    weights = [share, 1 - share]
    measures = colour_measures(np.concatenate([of_hues([40.0]), [[50, 1, 0]]]), weights, ())
    assert np.isnan(hue_columns(measures)).all() == (share < LEAST_HUED)
    assert np.isfinite(measures["C*ab"])


@pytest.mark.parametrize(("half", "blank"), [(120, False), (150, True), (180, True)])
def test_hues_that_point_all_ways(half, blank):
    # Even over a sector of half the width h, the resultant is sin(h) / h: .41, .19 and 0; .29 is the least.
    measures = colour_measures(of_hues(np.linspace(-half, half, 721)), np.ones(721), ())
    assert np.isnan(hue_columns(measures)).all() == blank


def test_quantiles_are_numpys():
    rng = np.random.default_rng(3)
    shares = [0.0, 0.001, 0.05, 0.25, 0.5, 0.75, 0.95, 0.999, 1.0]
    for values in (rng.normal(50, 15, 5000), rng.integers(0, 9, 5000) * 1.0, rng.lognormal(0, 3, 5000)):
        for weights in (np.ones(5000), rng.uniform(0, 2, 5000)):
            expected = np.quantile(values, shares, weights=weights, method="inverted_cdf")
            assert weighted_quantile(values, weights, shares).tolist() == expected.tolist()


def test_chroma_is_of_the_places():
    lab = of_hues([0.0, 180.0])
    measures = colour_measures(lab, np.ones(2), ())
    assert measures["C*ab"] == pytest.approx(20)
    assert lab_to_lch(lab.mean(axis=0))[1] == pytest.approx(0)
