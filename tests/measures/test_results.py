"""Results: dustings for their surface, and the columns of the user's own."""

import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.columns import MEASURES, conform
from sagglab.measures import gather_results
from sagglab.measures.views import _unlike
from sagglab.study import askable


@pytest.fixture(scope="module")
def book(small_book):
    return open_book(small_book)


@pytest.fixture(scope="module")
def measures(book):
    """Measures of three pots, as if they had been photographed; the third has no scale."""
    rng = np.random.default_rng(2)
    rows = [
        {
            "photo": f"photos/{pot}.jpg",
            "pot": pot,
            "setup": "phone",
            "view": "front",
            "surface area [cm2]": area,
        }
        | {name: rng.uniform(20, 60) for name in ("L*", "a*", "b*")}
        for pot, area in (("p01", 250.0), ("p02", 200.0), ("p03", np.nan))
    ]
    return conform(rows, MEASURES)


def test_dustings_are_given_for_a_hundred_square_centimetres(book, measures):
    plain = gather_results(book, measures).set_index("pot")
    results = gather_results(book, measures, per_area=True).set_index("pot")
    assert "sugar [g]" not in results and "sugar [g/100cm2]" in results
    # p01: 4 g of sugar on 250 cm².
    assert plain.loc["p01", "sugar [g]"] == 4
    assert results.loc["p01", "sugar [g/100cm2]"] == pytest.approx(1.6)
    assert results.loc["p02", "copper sulphate [g/100cm2]"] == pytest.approx(1.5)


def test_what_is_packed_around_a_pot_or_counted_in_coats_stays(book, measures):
    results = gather_results(book, measures, per_area=True)
    assert {"sawdust [g]", "seaweed [g]", "copper wire [cm]", "ferric chloride [coats]"} <= set(results)


def test_a_coat_by_weight_and_an_unknown_material_are_for_the_surface_too(book, measures):
    pots = book.pots.assign(**{"ferric chloride [g]": 5.0, "borax [g]": 1.0})
    results = gather_results(replace(book, pots=pots), measures, per_area=True).set_index("pot")
    assert results.loc["p01", "ferric chloride [g/100cm2]"] == pytest.approx(2)
    assert results.loc["p01", "borax [g/100cm2]"] == pytest.approx(0.4)


def test_without_a_surface_none_stays_none_and_some_is_not_known(book, measures):
    results = gather_results(book, measures, per_area=True).set_index("pot")
    assert book.pots.set_index("pot").loc["p03", ["sugar [g]", "copper sulphate [g]"]].tolist() == [4, 3]
    assert np.isnan(results.loc["p03", "sugar [g/100cm2]"])
    assert "its surface area is not known" in results.loc["p03", "problems"]
    assert results.loc["p02", "sugar [g/100cm2]"] == 0
    assert results.loc["p01", "problems"] == ""


def test_own_shares_and_measures_are_results_but_no_choices(book, measures):
    table = measures.assign(**{"rust share": [0.1, 0.2, 0.3], "spots": [1.0, 2.0, 3.0]})
    results = gather_results(book, table)
    assert results.columns[-2:].tolist() == ["rust share", "spots"]
    assert results.set_index("pot")["spots"].to_dict() == pytest.approx(
        {"p01": 1, "p02": 2, "p03": 3, "p04": np.nan}, nan_ok=True
    )
    factors, not_judged = askable(results, "rust share")
    assert not [told for told in (*factors, *not_judged) if told.startswith(("rust", "spots"))]


def test_shares_of_the_book_have_their_column_even_where_nothing_is_measured(book):
    shares = pd.DataFrame([{"share": "rust share", "hue from": 30.0, "hue to": 60.0}])
    results = gather_results(replace(book, shares=shares), conform([], MEASURES))
    assert results["rust share"].isna().all()


def test_the_unit_can_be_typed_into_a_book(small_book, tmp_path):
    folder = shutil.copytree(small_book, tmp_path / "book")
    pots = pd.read_csv(folder / "pots.csv", dtype=str).rename(columns={"sugar [g]": "sugar [g/100cm2]"})
    pots.to_csv(folder / "pots.csv", index=False)
    opened = open_book(folder)
    assert not opened.problems.of("pots").stopping
    assert opened.pots["sugar [g/100cm2]"].iloc[0] == 4


@pytest.mark.parametrize(
    ("widths", "told", "flagged"),
    [
        ({"p01": [8.5, 8.4]}, np.nan, []),
        ({"p01": [8.5, 4.0]}, np.nan, [0, 1]),
        ({"p01": [8.5, 8.3, 4.0]}, np.nan, [2]),
        ({"p01": [8.5, 8.4]}, 11.0, [0, 1]),
        ({"p01": [8.5], "p02": [4.0]}, np.nan, []),
        ({"p01": [8.5, np.nan]}, np.nan, []),
        ({"": [8.5, 4.0]}, np.nan, []),
    ],
    ids=["alike", "two differ", "one of three", "not the book's", "two pots", "no scale", "no pot"],
)
def test_views_whose_pot_has_another_width_are_flagged(book, widths, told, flagged):
    pots = book.pots.assign(**{"diameter [cm]": told})
    rows = [{"pot": pot, "measured diameter [cm]": wide} for pot, each in widths.items() for wide in each]
    assert _unlike(replace(book, pots=pots), rows) == flagged


@pytest.fixture
def two_setups(measures):
    """p01 in both setups, p02 with the phone, p03 with the camera alone."""
    camera = measures.assign(setup="camera", photo=measures["photo"] + "-camera", **{"L*": 70.0})
    both = pd.concat([measures[measures["pot"] != "p03"], camera[camera["pot"] != "p02"]])
    return both.reset_index(drop=True)


def taken(book, table):
    results = gather_results(book, table).set_index("pot")
    return results[["setup", "corrected to", "views"]].T.to_dict("list")


def test_as_measured_nothing_says_that_it_was_corrected(book, two_setups):
    found = taken(book, two_setups)
    assert found["p01"] == ["phone", "", 1] and found["p02"] == ["phone", "", 1]
    assert found["p03"] == ["camera", "", 1] and found["p04"] == ["", "", 0]
    assert taken(book, two_setups.drop(columns="corrected to")) == found


def test_corrected_views_count_as_of_that_setup_where_it_has_none_of_the_pot(book, two_setups):
    camera = two_setups["setup"] == "camera"
    corrected = two_setups.assign(**{"corrected to": np.where(camera, "phone", "")})
    # More views of the camera, yet what was measured goes before what was corrected.
    corrected = pd.concat([corrected, corrected[camera]], ignore_index=True)
    found = taken(book, corrected)
    assert found["p01"] == ["phone", "", 1] and found["p02"] == ["phone", "", 1]
    assert found["p03"] == ["camera", "phone", 2]
    results = gather_results(book, corrected).set_index("pot")
    assert results.loc["p03", "L*"] == pytest.approx(70) and results.loc["p01", "L*"] < 61


def test_corrected_views_make_their_setup_the_one_with_the_most_views(book, two_setups):
    camera = two_setups["setup"] == "camera"
    third = two_setups[camera & (two_setups["pot"] == "p03")].assign(setup="tablet")
    table = pd.concat([two_setups, third], ignore_index=True)
    # As measured, p03 is the camera's, which has more views than the tablet; corrected to the phone, the
    # tablet's goes before.
    assert taken(book, table)["p03"] == ["camera", "", 1]
    table["corrected to"] = np.where(table["setup"] == "tablet", "phone", "")
    assert taken(book, table)["p03"] == ["tablet", "phone", 1]
    # Two that were corrected to one are not mixed.
    table["corrected to"] = np.where(table["setup"] == "phone", "", "phone")
    assert taken(book, table)["p03"] == ["camera", "phone", 1]


def test_measures_read_back_from_a_file_give_the_same_results(book, two_setups, tmp_path):
    camera = two_setups["setup"] == "camera"
    corrected = two_setups.assign(**{"corrected to": np.where(camera, "phone", "")})
    corrected.to_csv(tmp_path / "measures.csv", index=False)
    read = pd.read_csv(tmp_path / "measures.csv")
    read["problems"] = ""
    assert taken(book, read) == taken(book, corrected)


def test_a_view_photographed_again_later_counts_as_it_was_on_the_first_day(book, measures, tmp_path):
    measures = measures.assign(taken=pd.Timestamp("2026-05-01 10:00"))
    before = gather_results(book, measures).set_index("pot")
    later = measures.assign(taken=measures["taken"] + pd.Timedelta(days=60), **{"L*": 90.0})
    both = pd.concat([later, measures], ignore_index=True)
    after = gather_results(book, both).set_index("pot")
    pd.testing.assert_series_equal(after["L*"], before["L*"])
    pd.testing.assert_series_equal(after["views"], before["views"])
    both.to_csv(tmp_path / "measures.csv", index=False)
    read = gather_results(book, pd.read_csv(tmp_path / "measures.csv")).set_index("pot")
    pd.testing.assert_series_equal(read["L*"], before["L*"])
    # On the same day it is a repeat, and without a date nobody knows.
    for taken_again in (measures["taken"] + pd.Timedelta(minutes=5), pd.NaT):
        again = measures.assign(taken=taken_again, **{"L*": 90.0})
        repeated = gather_results(book, pd.concat([measures, again], ignore_index=True)).set_index("pot")
        assert (repeated["views"] == 2 * before["views"]).all()
