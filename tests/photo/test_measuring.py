"""What is asked of a surface: the band, shares, measures of the user's own."""

import pickle

import numpy as np
import pytest

from sagglab.columns import MEASURES
from sagglab.errors import OwnMeasureError, SurfaceError
from sagglab.photo.measuring import Measuring
from sagglab.photo.shares import Share, read_shares

LAB, AREA = np.array([[40.0, 10, 12], [60.0, 2, 8]]), np.array([1.0, 3.0])


def light(lab, weights, surface_map):
    return {"light share": weights[lab[:, 0] > 50].sum() / weights.sum()}


def test_usual_measuring_has_the_built_in_shares_and_no_more_columns():
    measuring = Measuring()
    assert measuring.shares == read_shares()
    assert measuring.columns == ()
    assert measuring.own_measures(LAB, AREA, None) == {}


def test_other_shares_are_columns():
    measuring = Measuring(shares=(*read_shares(), Share("rust share", hue=(40, 70), meaning="rust")))
    assert [(column.heading, column.meaning) for column in measuring.columns] == [("rust share", "rust")]


def test_an_own_measure_is_given_colours_areas_and_the_map():
    given = []
    measuring = Measuring(own=(light, lambda *args: given.append(args) or {"n": len(args[0])}))
    assert measuring.own_measures(LAB, AREA, "the map") == {"light share": 0.75, "n": 2.0}
    assert given[0][2] == "the map"


@pytest.mark.parametrize(
    ("own", "told"),
    [
        (lambda lab, weights, surface_map: 3.0, "gives no dict of names and numbers"),
        (lambda lab, weights, surface_map: {"a": "much"}, "gives no dict of names and numbers"),
        (lambda lab, weights, surface_map: 1 / 0, "it fails: ZeroDivisionError"),
        (lambda lab, weights: {"a": 1}, "it fails: TypeError"),
        (lambda lab, weights, surface_map: {"L*": 1}, r"the name 'L\*' is taken"),
        (lambda lab, weights, surface_map: {"light share": 1}, "the name 'light share' is taken"),
    ],
    ids=["a number", "a word", "fails", "too few arguments", "a measure's name", "another's name"],
)
def test_an_own_measure_that_cannot_be_used_is_named(own, told):
    with pytest.raises(OwnMeasureError, match=told) as caught:
        Measuring(own=(light, own)).own_measures(LAB, AREA, None)
    assert "your own measure" in str(caught.value)
    assert type(pickle.loads(pickle.dumps(caught.value))) is OwnMeasureError


@pytest.mark.parametrize("own", [light, "light", (light, 3)], ids=["no brackets", "a word", "a number"])
def test_own_measures_are_a_tuple_of_functions(own):
    with pytest.raises(OwnMeasureError, match="no tuple of functions"):
        Measuring(own=own)


@pytest.mark.parametrize("degrees", [0, -5, 76, np.nan, "wide"])
def test_a_band_that_cannot_be_seen_is_refused(degrees):
    with pytest.raises(SurfaceError, match="band"):
        Measuring(band_degrees=degrees)


def test_each_share_that_is_built_in_is_a_declared_column():
    assert {share.name for share in read_shares()} <= {column.heading for column in MEASURES}
