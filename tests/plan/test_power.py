import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.power import firings_needed, hundred, power_of, smallest_told


def test_no_difference_is_found_at_five_percent():
    np.testing.assert_allclose(power_of(0, 1, [1, 2, 5, 50]), 0.05, atol=1e-12)


def test_power_grows_with_the_difference_and_stays_below_one():
    power = power_of([1, 2, 5, 10, 1e3, 1e9], 1.0, 6)
    assert (np.diff(power) >= 0).all()
    assert power[-1] == pytest.approx(1)


def test_no_degrees_of_freedom_no_power():
    assert np.isnan(power_of(5, 1, [0, -1, np.nan])).all()
    assert np.isnan(smallest_told(1.0, 0.0))
    assert np.isnan(smallest_told(np.nan, 4.0))


@pytest.mark.parametrize("df", [1, 2, 4, 60])
@pytest.mark.parametrize("wanted", [0.5, 0.8, 0.95])
def test_the_smallest_difference_is_told_as_often_as_wanted(df, wanted):
    assert power_of(smallest_told(3.0, df, wanted), 3.0, df) == pytest.approx(wanted, abs=1e-9)


def test_table_covers_every_firing_and_pot():
    needed = firings_needed(firings=range(2, 6), pots=(8, 4))
    assert needed.table["pots per firing"].tolist() == [4] * 4 + [8] * 4
    assert needed.table["firings"].tolist() == [2, 3, 4, 5] * 2
    # Two firings, one at each level: nothing is left to judge them by.
    assert np.isnan(needed.table.loc[needed.table["firings"] == 2, "firing-level"]).all()


def test_needed_agrees_with_the_table():
    needed = firings_needed(firings=range(3, 40))
    for pots, wanted in needed.needed.iloc[:-1][["pots per firing", "firing-level"]].to_numpy():
        part = needed.table[needed.table["pots per firing"] == pots]
        assert part.loc[part["firing-level"] >= 0.8, "firings"].min() == wanted


def test_more_terms_cost_degrees_of_freedom():
    one, three = (
        firings_needed(firings=[6], pots=[6], firing_terms=n, pot_terms=n).table.iloc[0] for n in (1, 3)
    )
    assert one["firing-level df"] - three["firing-level df"] == 2
    assert one["pot-level df"] - three["pot-level df"] == 2
    assert one["firing-level"] > three["firing-level"]


def test_it_says_what_it_rests_on_and_what_pots_are_worth():
    needed = firings_needed(pots=[6])
    head, square, within, between, few = repr(needed).splitlines()
    assert square.startswith("This is of plans as square as can be, each of two levels on half of the pots")
    assert head == (
        "A change of 5 L* between two levels, with a scatter of 3 L* between firings and 4 L* between pots "
        "of one firing (typical, common practice, no source: give your own studio's where you can)"
    )
    assert within == (
        "To be told in 80 of 100 such batches, a change made within each firing (pot against pot) needs "
        "4 firings of 6 pots."
    )
    assert between == (
        "To be told in 80 of 100 such batches, a change made from firing to firing needs 17 firings of 6 "
        "pots. However many pots each firing held, it would still need 14 firings, since firings are "
        "compared there, not pots."
    )
    assert few == (
        "With 3 firings it is told in 8 of 100 such batches even at 6 pots each: what can be varied "
        "from pot to pot should be."
    )
    assert "typical" not in firings_needed(5, 2, 3).head
    assert "significant" not in needed._repr_html_()


@pytest.mark.parametrize(("given", "typical"), [("firings", "pots"), ("pots", "firings")])
def test_of_two_scatters_it_is_said_which_is_typical(given, typical):
    needed = firings_needed(**{f"{given.removesuffix('s')}_sd": 2.0})
    assert needed.typical == (typical,)
    assert f"(that between {given} as given; that between {typical} typical, common practice" in needed.head


@pytest.mark.parametrize(
    ("zero", "silent", "left"),
    [("firing", "from firing to", "within each"), ("pot", "within each", "from firing to")],
)
def test_of_what_is_not_varied_nothing_is_said(zero, silent, left):
    needed = firings_needed(firings=range(4, 8), pots=[6, 8], **{f"{zero}_terms": 0})
    said = " ".join(needed.sentences)
    assert silent not in said
    assert left in said
    assert needed.table[[f"{zero}-level", f"{zero}-level df"]].isna().all(axis=None)
    assert needed.needed[f"{zero}-level"].isna().all()
    assert f"{zero}-level" not in needed._repr_html_()
    other = {"firing": "pot", "pot": "firing"}[zero]
    both = firings_needed(firings=range(4, 8), pots=[6, 8])
    assert needed.table[f"{other}-level"].tolist() == both.table[f"{other}-level"].tolist()


def test_it_speaks_of_the_number_that_is_planned():
    assert "With 5 firings it is told in 22 of 100" in repr(firings_needed(firings=[5, 4, 9], pots=10))
    assert firings_needed(firings=[5, 4, 9]).table["firings"].unique().tolist() == [4, 5, 9]


def test_a_single_number_will_do():
    one = firings_needed(firings=6, pots=np.int64(6)).table
    assert one[["firings", "pots per firing"]].to_numpy().tolist() == [[6, 6]]


@pytest.mark.parametrize(
    ("asked", "head"),
    [
        ({"outcome": "b*"}, "A change of 4 b* between two levels, with a scatter of 2 b* between firings"),
        ({"outcome": "dark share"}, "A change of 4 log odds of dark share between two levels"),
        ({"unit": "stone"}, "A change of 4 stone between two levels"),
    ],
)
def test_the_unit_is_that_of_the_outcome(asked, head):
    assert firings_needed(4, 2, 3, **asked).head.startswith(head)


def test_page_has_a_column_for_each_kind_and_number_of_pots():
    page = firings_needed(pots=[4, 6])._repr_html_()
    for heading in ("pot-level, 4 pots", "pot-level, 6 pots", "firing-level, 4 pots", "firing-level, 6 pots"):
        assert f">{heading}</th>" in page


def test_a_scatter_so_large_that_no_number_of_firings_tells():
    assert "more than 500 firings" in repr(firings_needed(0.1, 30, 4, pots=[6]))


def test_hundred_claims_neither_the_certain_nor_the_impossible():
    assert [hundred(share) for share in (0.0001, 0.144, 0.9999, 1.0)] == ["1", "14", "99", "100"]


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"difference": 0}, "difference 0: no batch tells it. Write a size above zero, such as 5"),
        ({"difference": np.nan}, "difference nan: no batch tells it"),
        ({"firing_sd": -1}, "firing_sd -1: it is no size of scatter. Write zero or more"),
        ({"pot_sd": 0}, "pot_sd 0: pots of one firing always scatter. Write more than zero"),
        ({"pots": []}, "pots in a firing: none is named"),
        ({"firings": [2.5]}, "firings: 2.5 is no number of them. Write whole numbers from 1"),
        ({"wanted": 1}, "wanted 1: no such share"),
        ({"pot_terms": 0, "firing_terms": 0}, "terms: a change is asked about"),
        ({"pot_terms": -1}, "terms: a change is asked about"),
        ({"outcome": "a*"}, "scatter of a*: none is typical of it. Give firing_sd and pot_sd"),
    ],
)
def test_what_cannot_be_is_named(asked, text):
    with pytest.raises(PlanError) as raised:
        firings_needed(**asked)
    assert text in str(raised.value)


def test_no_scatter_between_firings_is_said_to_be_too_hopeful():
    assert "real firings always differ a little" in firings_needed(4, 0.0, 3.0).head
    assert "differ a little" not in firings_needed(4, 1.0, 3.0).head
