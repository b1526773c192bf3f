"""Pots to which something was done since they were unpacked: kept apart from what came out of the kiln."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.colour import AXES
from sagglab.columns import MEASURES, OF_PHOTO, conform
from sagglab.errors import SetupError, SurfaceError, UnknownNameError
from sagglab.measures import before_and_after, gather_results, measure_around, measure_photos, measure_targets

#: One row per view: pot, view, after, setup, day, L*.
VIEWS = (
    ("p01", "front", "", "phone", "2026-05-01", 40.0),
    ("p01", "back", "", "phone", "2026-05-01", 50.0),
    ("p01", "front", "wax", "phone", "2026-05-08", 36.0),
    ("p01", "back", "wax", "phone", "2026-05-08", 45.0),
    ("p02", "front", "", "phone", "2026-05-01", 42.0),
    ("p02", "back", "", "phone", "2026-05-01", 60.0),
    ("p02", "front", "wax", "phone", "2026-05-08", 39.0),
    ("p03", "front", "", "phone", "2026-05-01", 44.0),
    ("p03", "front", "", "camera", "2026-05-02", 46.0),
    ("p03", "front", "wax", "camera", "2026-05-09", 43.0),
)


def table(rows=VIEWS):
    """Measures of these views."""
    columns = ["pot", "view", "after", "setup", "taken", "L*"]
    made = pd.DataFrame(rows, columns=columns).assign(**{"a*": 9.0, "b*": 9.0, "usable share": 0.3})
    made["taken"] = pd.to_datetime(made["taken"])
    made["photo"] = [f"photos/{number}.jpg" for number in range(len(made))]
    for axis in AXES:
        for error in ("calibration", "light", "sampling"):
            made[f"{axis} error of {error}"] = 0.1
    return conform(made.to_dict("records"), MEASURES)


@pytest.fixture(scope="module")
def book(small_book):
    return open_book(small_book)


def test_the_table_of_photographs_says_what_was_done_and_measures_repeat_it(demo):
    photos = open_book(demo).photos
    assert (photos["after"] == "wax").sum() == 5 and set(photos["after"]) == {"", "wax"}
    assert "after" in [column.heading for column in OF_PHOTO]


def test_a_book_without_the_column_has_pots_as_they_came_out(two_cameras):
    book = open_book(two_cameras)
    assert not book.problems and set(book.photos["after"]) == {""}


def test_results_are_of_pots_as_they_came_out(book):
    measures = table()
    results = gather_results(book, measures)
    without = gather_results(book, measures[measures["after"] == ""])
    pd.testing.assert_frame_equal(results, without)
    assert results.set_index("pot")["L*"].dropna().to_dict() == {"p01": 45.0, "p02": 51.0, "p03": 44.0}


@pytest.mark.parametrize("after", ["wax", " Wax"])
def test_results_after_wax(book, after):
    results = gather_results(book, table(), after=after).set_index("pot")
    assert results["L*"].dropna().to_dict() == {"p01": 40.5, "p02": 39.0, "p03": 43.0}
    assert results["views"].to_dict() == {"p01": 2, "p02": 1, "p03": 1, "p04": 0}
    assert results.loc["p03", "setup"] == "camera"


@pytest.mark.parametrize("blank", [np.nan, None])
def test_measures_read_back_and_measures_of_old(book, blank):
    measures = table()
    wanted = gather_results(book, measures)
    read_back = measures.assign(after=measures["after"].astype(object).replace("", blank))
    pd.testing.assert_frame_equal(gather_results(book, read_back), wanted)
    old = measures[measures["after"] == ""].drop(columns="after")
    pd.testing.assert_frame_equal(gather_results(book, old), wanted)


def test_what_was_not_done_is_refused_with_what_was(book):
    with pytest.raises(UnknownNameError) as caught:
        gather_results(book, table(), after="oil")
    assert str(caught.value) == (
        "after 'oil': photographs show pots after 'wax'. "
        "Name one of these, or write 'oil' under after in the table photos."
    )
    with pytest.raises(UnknownNameError, match="all photographs show pots as they came out"):
        gather_results(book, table().drop(columns="after"), after="wax")


def test_what_went_wrong_with_a_waxed_view_is_told_of_the_waxed_pot_alone(book):
    measures = table()
    measures.loc[2, "problems"], measures.loc[2, "L*"] = "the pot is not found", np.nan
    assert "not found" not in gather_results(book, measures)["problems"].iloc[0]
    assert "not found" in gather_results(book, measures, after="wax")["problems"].iloc[0]


def test_before_and_after_are_the_same_sides_by_the_same_setup(book):
    before, after = before_and_after(book, table(), "wax")
    assert before["pot"].tolist() == after["pot"].tolist() == ["p01", "p02", "p03"]
    # p02's back was not waxed, or not photographed; p03 was waxed before the camera alone.
    assert before["L*"].tolist() == [45.0, 42.0, 46.0]
    assert after["L*"].tolist() == [40.5, 39.0, 43.0]
    assert before["setup"].tolist() == after["setup"].tolist() == ["phone", "phone", "camera"]
    assert before["views"].tolist() == after["views"].tolist() == [2, 1, 1]


def test_before_is_the_day_nearest_to_the_treatment(book):
    rows = [("p01", "front", "", "phone", f"2026-0{month}-01", 40.0 + month) for month in (5, 6, 7)]
    before, after = before_and_after(
        book, table([*rows, ("p01", "front", "wax", "phone", "2026-06-20", 30.0)]), "wax"
    )
    assert (before["L*"].tolist(), after["L*"].tolist()) == ([47.0], [30.0])


def test_a_pot_in_two_setups_both_ways_is_taken_from_one(book):
    """Also where the one has more photographs of before, and the other more of after."""
    rows = [
        ("p01", "front", after, setup, "2026-05-01", lightness)
        for setup, after, lightness in (
            ("camera", "", 50.0),
            ("camera", "wax", 45.0),
            ("phone", "", 40.0),
            ("phone", "wax", 36.0),
        )
    ]
    rows += [("p02", "front", after, "phone", "2026-05-01", 42.0) for after in ("", "", "wax")]
    rows += [("p03", "front", after, "camera", "2026-05-01", 42.0) for after in ("", "wax", "wax")]
    before, after = before_and_after(book, table(rows), "wax")
    assert before["setup"].tolist() == after["setup"].tolist()
    assert (before["L*"][0], after["L*"][0]) in ((50.0, 45.0), (40.0, 36.0))


def test_nothing_both_ways_says_what_to_photograph(book):
    rows = [
        ("p01", "front", "", "phone", "2026-05-01", 40),
        ("p01", "back", "wax", "phone", "2026-05-08", 36),
    ]
    with pytest.raises(SetupError, match="the same sides of some pots before and after"):
        before_and_after(book, table(rows), "wax")


def test_a_pot_all_around_is_as_it_came_out(demo):
    """A waxed side is not joined with others, and not taken for the front."""
    book = open_book(demo)
    photos = book.photos.assign(
        after=book.photos["after"].mask(book.photos["photo"] == "photos/p36-90.jpg", "oil")
    )
    photos["after"] = photos["after"].mask(photos["photo"] == "photos/p36-270.jpg", "oil")
    with pytest.raises(SurfaceError, match="2 of its views"):
        measure_around(replace(book, photos=photos), "p36")


@pytest.fixture(scope="module")
def waxed(demo):
    """The demo's five waxed pots, before and after, as measured from their photographs."""
    book = open_book(demo)
    pots = set(book.photos.loc[book.photos["after"] == "wax", "pot"])
    shown = (
        book.photos["pot"].isin(pots) & (book.photos["view"] == "front") & (book.photos["setup"] == "phone")
    )
    flat = book.photos["photo"] == "photos/phone-flat.jpg"
    some = replace(book, photos=book.photos[shown | flat])
    return some, measure_photos(some, jobs=1)


def test_wax_in_photographs_is_found_as_it_is_true(waxed, demo):
    book, measures = waxed
    before, after = before_and_after(book, measures, "wax")
    assert before["pot"].tolist() == ["p05", "p10", "p17", "p21", "p29"]
    views, waxed_views = (pd.read_csv(demo / f"truth/{name}.csv") for name in ("views", "waxed"))
    fronts = [part[part["view"] == "front"].set_index("pot") for part in (views, waxed_views)]
    axes, pots = list(AXES), before["pot"]
    true = (fronts[1].loc[pots, axes] - fronts[0].loc[pots, axes]).to_numpy()
    found = (after[axes] - before[axes]).to_numpy()
    assert (true[:, 0] < -2.9).all()
    # Measured when the photographs were made: 0.35 at most, 0.15 in the mean of L*.
    np.testing.assert_allclose(found, true, atol=0.5)
    np.testing.assert_allclose(found.mean(axis=0), true.mean(axis=0), atol=0.25)


def test_patches_repeat_what_was_done(waxed):
    book, measures = waxed
    patches = measure_targets(book, jobs=1)
    assert patches.groupby("photo")["after"].first().to_dict() == dict(
        zip(measures["photo"], measures["after"], strict=True)
    )
