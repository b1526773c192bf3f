"""A pot of the demo from all around, and views that do not tell how far it was turned."""

import importlib
import sys
from dataclasses import replace

import numpy as np
import pytest

from sagglab.book import open_book
from sagglab.errors import SurfaceError, UnknownNameError
from sagglab.measures import measure_around, turn_of


@pytest.fixture(scope="module")
def book(demo):
    return open_book(demo)


@pytest.fixture(scope="module")
def around(book):
    return measure_around(book, "p36")


def test_four_views_show_the_whole_pot(around):
    assert len(around.overlaps) == 4
    assert around.overlaps["view"].tolist() == [0, 90, 180, 270]
    assert around.uncovered < 0.01
    assert around.sentence.startswith("4 views show the whole side.")
    assert not around.problems
    # To scale, by the pot's height in the book.
    assert around.map.step_mm.sum() == pytest.approx(10 * 10.3, rel=0.1)


def test_neighbours_agree_within_a_few_units(around):
    assert (around.overlaps["ΔE00"] < 5).all()
    assert around.disagreement["L*"] < 2


def test_the_map_is_the_pots_surface(around, demo):
    sys.path.insert(0, str(demo))
    try:
        surface = importlib.import_module("generator.book").surface("p36")
    finally:
        sys.path.remove(str(demo))
    true = np.average(surface.lab.astype(float).mean(axis=1), axis=0, weights=surface.area)
    seen = around.map.area > 0
    found = np.average(around.map.lab[seen], axis=0, weights=around.map.area[seen])
    np.testing.assert_allclose(found, true, atol=1.5)


@pytest.mark.parametrize(
    ("view", "turn"),
    [("front", 0), ("Back", 180), ("120", 120), ("120°", 120), (" 240 deg ", 240), ("-90 degrees", -90)],
)
def test_views_that_tell_a_turn(view, turn):
    assert turn_of(view) == turn


@pytest.mark.parametrize("view", ["", "left", "by the window", "12 oz", "front 2"])
def test_views_that_tell_none(view):
    assert turn_of(view) is None


def test_two_views_do_not_go_around(book):
    with pytest.raises(SurfaceError, match="'p01': 2 of its views show the pot and tell how far"):
        measure_around(book, "p01")


def test_a_view_that_tells_no_turn_is_not_joined(book):
    photos = book.photos.copy()
    photos.loc[photos["view"].isin(["90°", "back"]), "view"] = "somewhere"
    with pytest.raises(SurfaceError, match="Photograph three sides or more"):
        measure_around(replace(book, photos=photos), "p36")


def test_an_unknown_pot_is_named(book):
    with pytest.raises(UnknownNameError, match="p99"):
        measure_around(book, "p99")
