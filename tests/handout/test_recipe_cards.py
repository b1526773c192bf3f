"""Recipe cards: each recipe once, with all pots that had it, grams per pot and for its surface."""

import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.errors import UnknownNameError
from sagglab.handout.recipe_cards import recipe_cards, recipe_headings
from sagglab.measures.results import OWN_MEASURES

AREA = "surface area [cm2]"


@pytest.fixture(scope="module")
def results(demo):
    """The demo's recipes with their true colours, and a side of 300 cm² for each pot."""
    truth = pd.read_csv(demo / "truth/pots.csv")
    table = open_book(demo).pots.merge(truth[["pot", "L*", "a*", "b*"]], on="pot")
    return table.assign(**{AREA: 300.0})


def made(**columns):
    """Make results of three pots with the same recipe."""
    table = pd.DataFrame({"pot": ["p1", "p2", "p3"], "clay": "white", "sugar [g]": 4.0, "sawdust [g]": 30.0})
    return table.assign(**{"L*": [30.0, 40, 50], "a*": 6.0, "b*": -3.0, AREA: 200.0}).assign(**columns)


def test_the_recipe_is_clay_and_materials_and_nothing_else(results):
    assert recipe_headings(results) == [
        "clay",
        "slip [coats]",
        "ferric chloride [coats]",
        "sugar [g]",
        "copper sulphate [g]",
        "sawdust [g]",
        "seaweed [g]",
        "copper wire [cm]",
    ]
    own = made(**{"rust spots [count]": 4.0, "horse hair": 3.0, "salt [mL]": 1.0})
    assert recipe_headings(own)[-2:] == [
        "rust spots [count]",
        "salt [mL]",
    ] or "horse hair" in recipe_headings(own)
    own.attrs[OWN_MEASURES] = ["rust spots [count]"]
    assert "rust spots [count]" not in recipe_headings(own)


def test_each_recipe_has_one_card_in_the_order_of_the_pots(results):
    pots = ["p03", "p01", "p02"]
    cards = recipe_cards(results, pots)
    assert [next(pot for pot in pots if pot in card.pots) for card in cards] == pots
    assert [card.pots for card in recipe_cards(results, ["p21", "p06"])] == [("p06", "p21")]


def test_a_card_stands_for_all_pots_that_had_just_that_recipe(results):
    headings = recipe_headings(results)
    for card in recipe_cards(results, results["pot"].tolist(), most=40):
        had = results[results["pot"].isin(card.pots)]
        assert len(had[headings].drop_duplicates()) == 1
        same = results.merge(had[headings].drop_duplicates(), on=headings)
        assert set(same["pot"]) == set(card.pots)
        assert card.lab == pytest.approx(had[["L*", "a*", "b*"]].mean().to_numpy())


def test_what_was_used_is_printed_with_its_unit_and_zero_is_not(results):
    (card,) = recipe_cards(results, ["p01"])
    # p01 by data/demo/pots.csv; 4 g on 300 cm² are 1.33 g on 100 cm².
    assert card.rows == (
        ("clay", "smooth white", ""),
        ("slip", "2 coats", ""),
        ("ferric chloride", "2 coats", ""),
        ("sugar", "4 g", "1.33 g"),
        ("sawdust", "30 g", ""),
        ("copper wire", "60 cm", ""),
    )
    assert card.note == ""
    assert card.measured == "L* 35, a* 9, b* 10; 1 pot"


def test_the_mean_is_told_with_how_many_pots_and_how_far_apart():
    (card,) = recipe_cards(made(), ["p2"])
    assert card.pots == ("p1", "p2", "p3")
    assert card.measured == "L* 40, a* 6, b* −3; mean of 3 pots, L* 30 to 50"


def test_pots_that_were_not_measured_do_not_count():
    (card,) = recipe_cards(made(**{"L*": [30.0, 40, np.nan]}), ["p1"])
    assert card.pots == ("p1", "p2")
    (card,) = recipe_cards(made(**{"L*": np.nan}), ["p1"])
    assert card.pots == ("p1", "p2", "p3")
    assert (card.lab, card.measured) == (None, "3 pots, not measured")


def test_pots_of_unlike_size_have_a_range():
    (card,) = recipe_cards(made(**{AREA: [160.0, 200, 240]}), ["p1"])
    assert card.rows[1] == ("sugar", "4 g", "2 g")
    assert card.note == "For 100 cm² by the size of the pot: sugar 1.67 to 2.5 g."
    assert recipe_cards(made(**{AREA: [198.0, 200, 202]}), ["p1"])[0].note == ""


def test_where_no_area_is_known_it_says_how_to_get_it():
    (card,) = recipe_cards(made(**{AREA: np.nan}), ["p1"])
    assert card.rows[1] == ("sugar", "4 g", "")
    assert card.note == "Amounts for 100 cm² need the pot's area, from a photograph with the target."
    # What is packed around a pot needs none.
    assert recipe_cards(made(**{AREA: np.nan, "sugar [g]": 0.0}), ["p1"])[0].note == ""


def test_amounts_that_are_for_the_surface_already_stay_so():
    table = made(**{"sugar [g]": 0.0, "salt [g/100cm2]": 1.5})
    assert ("salt", "", "1.5 g") in recipe_cards(table, ["p1"])[0].rows


def test_blank_is_not_none():
    wire = made(**{"copper wire [cm]": [60.0, 0.0, np.nan]})
    cards = recipe_cards(wire, ["p1", "p2", "p3"])
    assert [card.pots for card in cards] == [("p1",), ("p2",), ("p3",)]
    assert [card.note for card in cards] == ["", "", "Not noted: copper wire."]


def test_amounts_turned_from_ounces_are_the_same_recipe():
    ounces = 28.349523125
    assert (
        len(recipe_cards(made(**{"sugar [g]": [2 * ounces, 56.69904625, ounces + ounces]}), ["p1", "p3"]))
        == 1
    )


def test_of_more_recipes_than_room_the_first_and_the_last_are_kept():
    table = pd.DataFrame({"pot": [f"p{k}" for k in range(9)], "sugar [g]": np.arange(9.0) + 1})
    cards = recipe_cards(table.assign(**{"L*": 40.0, "a*": 1.0, "b*": 1.0}), table["pot"].tolist(), most=5)
    assert [card.pots[0] for card in cards] == ["p0", "p2", "p4", "p6", "p8"]


def test_a_book_without_recipes_says_so():
    (card,) = recipe_cards(made()[["pot", "L*", "a*", "b*"]], ["p1"])
    assert (card.rows, card.note) == ((), "The book tells of no material that was used.")


def test_no_pots_no_cards(results):
    assert recipe_cards(results, []) == ()
    assert recipe_cards(results.iloc[:0], []) == ()


def test_a_pot_that_is_not_there_is_named(results):
    with pytest.raises(UnknownNameError, match="pot 'p99': the results have no such pot"):
        recipe_cards(results, ["p01", "p99"])
