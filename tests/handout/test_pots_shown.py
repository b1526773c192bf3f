"""The picture row: chosen by rule, from the least to the most, told in words, whatever the book lacks."""

import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.columns import MEASURES, empty
from sagglab.handout import pots_shown as room
from sagglab.handout.pots_shown import choose_pots, lab_of, level_in_words, outcome_in_words, pots_shown


@pytest.fixture(scope="module")
def results(demo):
    """The demo's recipes with their true colours."""
    truth = pd.read_csv(demo / "truth/pots.csv").rename(columns={"peak [degC]": "peak_C"})
    table = open_book(demo).pots.merge(truth[["pot", "peak_C", "L*", "a*", "b*"]], on="pot")
    return table.assign(setup="phone")


def some(lightness, **columns):
    """Make results of pots p1, p2, … of these lightnesses."""
    table = pd.DataFrame({"pot": [f"p{k + 1}" for k in range(len(lightness))], "L*": lightness})
    return table.assign(**{"a*": 5.0, "b*": 5.0, "state": "whole"}).assign(**columns)


def test_two_of_each_amount_at_the_quarters_from_least_to_most(results):
    pots, said = choose_pots(results, "sugar [g]", "L*")
    shown = results.set_index("pot").loc[pots]
    assert shown["sugar [g]"].tolist() == [0, 0, 2, 2, 4, 4]
    for amount, two in shown.groupby("sugar [g]"):
        level = results[(results["sugar [g]"] == amount) & (results["state"] == "whole")]
        ranks = level["L*"].rank()[level["pot"].isin(two.index)].to_numpy() / len(level)
        assert np.sort(ranks) == pytest.approx([0.25, 0.75], abs=0.1)
        assert two["L*"].is_monotonic_increasing
    assert said == (
        "From no sugar to 4 g. Of each amount, the pots a quarter and three quarters of the way from the "
        "darkest to the lightest."
    )


def test_both_ends_of_a_level_are_treated_alike():
    for number in range(2, 30):
        for most in range(2, 9):
            ranks = room._even(number, most)
            assert len(set(ranks)) == len(ranks) == min(number, most)
            assert (np.diff(ranks) > 0).all()
            assert ranks.tolist() == (number - 1 - ranks[::-1]).tolist() or (number % 2 == 0 and most % 2)


def test_the_order_of_the_rows_makes_no_difference(results):
    mixed = results.sample(frac=1, random_state=3)
    assert choose_pots(mixed, "clay", "a*") == choose_pots(results, "clay", "a*")


def test_a_category_shows_each_of_its_words(results):
    pots, said = choose_pots(results, "clay", "a*")
    assert results.set_index("pot").loc[pots, "clay"].value_counts().tolist() == [4, 4]
    assert said == (
        "Clay: groggy buff, smooth white. "
        "Of each clay, 4 pots at even steps from the greenest to the reddest."
    )


def test_more_levels_than_room_are_taken_at_even_steps():
    table = some(np.linspace(30, 50, 21), **{"sugar [g]": np.arange(21.0)})
    pots, said = choose_pots(table, "sugar [g]", "L*", most=5)
    assert table.set_index("pot").loc[pots, "sugar [g]"].tolist() == [0, 5, 10, 15, 20]
    assert said == "From no sugar to 20 g. 5 of 21 amounts at even steps."


def test_a_measure_of_the_firing_is_told_in_both_scales(results):
    pots, said = choose_pots(results, "peak_C", "L*")
    assert results.set_index("pot").loc[pots, "peak_C"].is_monotonic_increasing
    assert len(pots) == 6  # one of each firing, the one in the middle
    assert said == (
        "Peak from 729 °C (1344 °F) to 781 °C (1437 °F). "
        "Of each value, the pot in the middle from the darkest to the lightest."
    )


def test_without_a_question_pots_go_by_the_outcome(results):
    pots, said = choose_pots(results, None, "L*")
    whole = results[results["state"] == "whole"].sort_values("L*")["pot"].tolist()
    assert [pots[0], pots[-1], len(pots)] == [whole[0], whole[-1], 8]
    assert said == f"Of {len(whole)} pots, from the darkest to the lightest, at even steps."


def test_pots_that_are_lost_or_were_not_measured_are_not_shown():
    table = some([30.0, 40, np.nan, 50, 60], state=["whole", "lost", "whole", "", "cracked"])
    table["sugar [g]"] = [0, 2, 2, 4, 4.0]
    pots, said = choose_pots(table, "sugar [g]", "L*")
    assert (pots, said) == (["p1", "p4"], "From no sugar to 4 g. All 2 pots that were measured.")


def test_where_the_state_is_asked_about_lost_pots_are_shown():
    table = some([30.0, 40], state=["whole", "lost"], **{"sugar [g]": [2.0, 2.0]})
    assert choose_pots(table, "sugar [g]", "state")[0] == ["p2", "p1"]


def test_a_rating_needs_no_measured_colour():
    table = some([np.nan, np.nan], rating=[2.0, 5.0], **{"sugar [g]": [2.0, 2.0]})
    assert choose_pots(table, "sugar [g]", "rating") == (
        ["p1", "p2"],
        "Sugar 2 g. All 2 pots that were measured.",
    )


@pytest.mark.parametrize(
    ("rows", "pots", "said"),
    [
        (0, [], "No pot is shown: none is whole and measured, with what it had written down."),
        (1, ["p1"], "All had no sugar. The one pot that was measured."),
        (2, ["p1", "p2"], "From no sugar to 4 g. All 2 pots that were measured."),
    ],
)
def test_few_pots(rows, pots, said):
    table = some([30.0, 40.0], **{"sugar [g]": [0.0, 4.0]}).iloc[:rows]
    assert choose_pots(table, "sugar [g]", "L*") == (pots, said)


def test_amounts_and_outcomes_in_words():
    assert level_in_words("ferric chloride [coats]", 1.0) == "1 coat"
    assert level_in_words("climb_C_per_h", 900.0) == "900 °C/h (1620 °F/h)"
    assert level_in_words("target peak [degC]", 0.0) == "0 °C (32 °F)"  # none of it there is not
    assert outcome_in_words("b*", -3.4) == "b* −3"
    assert outcome_in_words("hue angle", 41.8) == "hue angle 42°"


@pytest.fixture(scope="module")
def views(small_book):
    """The small book with measures of its views: two sides of p01, one of which is waxed, and p02."""
    book = open_book(small_book)
    rows = book.photos[book.photos["pot"].isin(["p01", "p02"])]
    measures = pd.concat([empty(MEASURES), rows[["photo", "pot", "view", "setup", "taken"]]])
    return book, measures.assign(**{"L*": 40.0, "a*": 5.0, "b*": 5.0})


def shown_of(views, results, monkeypatch, measures=None, cut=None):
    book, measured = views
    taken = []

    def cut_outs(_, photos):
        taken.extend(photos)
        return [photo.encode() or None for photo in photos]

    monkeypatch.setattr(room, "cut_outs", cut or cut_outs)
    pots, said = pots_shown(book, measured if measures is None else measures, results, "sugar [g]", "L*")
    return pots, said, taken


def test_a_pot_is_shown_with_what_it_had_and_what_came_out(views, results, monkeypatch):
    pots, _, taken = shown_of(views, results.iloc[:3], monkeypatch)
    assert [(pot.pot, pot.level, pot.outcome) for pot in pots] == [
        ("p02", "no sugar", "L* 45"),
        ("p01", "4 g", "L* 35"),
        ("p03", "4 g", "L* 44"),
    ]
    assert taken == ["photos/p02-front.jpg", "photos/p01-front.jpg", ""]
    assert [pot.picture for pot in pots] == [b"photos/p02-front.jpg", b"photos/p01-front.jpg", None]
    assert pots[1].lab == pytest.approx(results.loc[0, ["L*", "a*", "b*"]].to_numpy(dtype=float))


def test_a_pot_is_shown_as_it_came_out_and_in_the_setup_of_its_results(views, results, monkeypatch):
    _, measures = views
    front = measures["photo"] == "photos/p01-front.jpg"
    waxed = measures.assign(after=np.where(front, "wax", ""))
    assert shown_of(views, results.iloc[:1], monkeypatch, waxed)[2] == ["photos/p01-back.jpg"]
    elsewhere = measures.assign(setup=np.where(front, "camera", "phone"))
    assert shown_of(views, results.iloc[:1], monkeypatch, elsewhere)[2] == ["photos/p01-back.jpg"]
    unmeasured = measures.assign(**{"L*": np.where(front, np.nan, 40.0)})
    assert shown_of(views, results.iloc[:1], monkeypatch, unmeasured)[2] == ["photos/p01-back.jpg"]


def test_without_any_measures_the_row_holds(views, results, monkeypatch):
    pots, _, taken = shown_of(views, results.iloc[:2], monkeypatch, empty(MEASURES))
    assert taken == ["", ""]
    assert [pot.picture for pot in pots] == [None, None]


def test_no_pots_no_row(views, results):
    book, measures = views
    pots, said = pots_shown(book, measures, results.iloc[:0], "sugar [g]", "L*")
    assert pots == ()
    assert said.startswith("No pot is shown")


def test_a_pot_without_all_of_its_colour_has_none():
    assert lab_of(pd.Series({"L*": 40.0, "a*": np.nan, "b*": 3.0})) is None
    assert lab_of(pd.Series({"pot": "p01"})) is None


def test_days_and_yes_or_no_can_be_asked_about(views, results, monkeypatch):
    book, measures = views
    dated = results.iloc[:2].assign(date=pd.to_datetime(["2026-04-18", "2026-05-16"]), lid=[True, False])
    monkeypatch.setattr(room, "cut_outs", lambda _, photos: [None] * len(photos))
    assert [pot.level for pot in pots_shown(book, measures, dated, "date", "L*")[0]] == [
        "2026-04-18",
        "2026-05-16",
    ]
    assert [pot.level for pot in pots_shown(book, measures, dated, "lid", "L*")[0]] == ["no", "yes"]
