"""Factors: what may be varied, and how levels lie on −1 to 1."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagglab.errors import PlanError
from sagglab.plan.factors import Factor, written

AMOUNTS = st.lists(st.integers(0, 10_000), min_size=2, max_size=6, unique=True).map(
    lambda tenths: [n / 10 for n in tenths]
)
KINDS = st.lists(st.text("abcdefg ", min_size=1, max_size=6).map(str.strip), min_size=2, unique=True).filter(
    lambda kinds: "" not in kinds
)


def told(*given, **named):
    """What the potter reads when the factor cannot be."""
    with pytest.raises(PlanError) as caught:
        Factor(*given, **named)
    assert isinstance(caught.value, ValueError)
    return str(caught.value)


def test_amounts_are_kept_ascending_and_headed_with_their_unit():
    sugar = Factor("sugar", [4, 0, 2], "g")
    assert sugar.levels == (0.0, 2.0, 4.0)
    assert (sugar.heading, sugar.is_amount, sugar.per) == ("sugar [g]", True, "pot")


def test_kinds_keep_their_order_and_have_no_unit():
    clay = Factor("clay", ["smooth white ", "groggy buff"])
    assert clay.levels == ("smooth white", "groggy buff")
    assert (clay.heading, clay.is_amount) == ("clay", False)


def test_levels_off_the_middle_are_coded_to_scale_and_kinds_evenly():
    assert Factor("sugar", [0, 1, 4], "g").coded == pytest.approx([-1, -0.5, 1])
    assert Factor("clay", ["a", "b", "c"]).coded == pytest.approx([-1, 0, 1])


@given(AMOUNTS, st.sampled_from(["g", "cm", "min", "oz"]))
def test_amounts_come_back_as_they_were_written(levels, unit):
    factor = Factor("seaweed", levels, unit)
    assert factor.decode(factor.coded).tolist() == sorted(levels)
    assert (factor.coded[0], factor.coded[-1]) == (-1, 1)
    assert (np.diff(factor.coded) > 0).all()


def test_a_kiln_load_has_one_temperature():
    with pytest.raises(PlanError, match="share its temperatures. Write per='firing' for it"):
        Factor("peak", [700, 800], "degC")
    with pytest.raises(PlanError, match="level 75000 degC is hotter than a kiln goes"):
        Factor("peak", [700, 75000], "degC", per="firing")
    with pytest.raises(PlanError, match="Name one thing alone"):
        Factor("sugar × salt", [0, 1], "g")


@given(KINDS, st.data())
def test_kinds_come_back_in_any_shape(kinds, data):
    factor = Factor("clay", kinds)
    wanted = data.draw(st.lists(st.sampled_from(kinds), min_size=4, max_size=4))
    codes = factor.code(np.array(wanted, dtype=object).reshape(2, 2))
    assert codes.shape == (2, 2)
    assert factor.decode(codes).ravel().tolist() == wanted


def test_a_kind_that_is_not_there_is_named():
    with pytest.raises(PlanError, match="factor 'clay': it has no level 'red'. Its levels are buff, white."):
        Factor("clay", ["buff", "white"]).code(["red", "buff"])


def test_a_factor_cannot_be_changed_and_equal_ones_are_equal():
    sugar = Factor("sugar", [0, 4], "g")
    with pytest.raises(AttributeError):
        sugar.levels = (1, 2)
    assert sugar == Factor("sugar", (4.0, 0.0), "g")
    assert len({sugar, Factor("sugar", np.array([0, 4]), "g")}) == 1


def test_levels_are_written_without_an_idle_point():
    assert [written(level) for level in (4.0, 0.5, 0.1 + 0.2, "white")] == ["4", "0.5", "0.3", "white"]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            ("sugar", [-1, 4], "g"),
            "factor 'sugar': level -1 g is a negative amount. Correct it.",
        ),
        (
            ("peak", [-300, 700], "degC"),
            "factor 'peak': level -300 degC is below absolute zero. Correct it.",
        ),
        (
            ("peak", [-460, 700], "degF"),
            "factor 'peak': level -460 degF is below absolute zero. Correct it.",
        ),
        (
            ("slip", [1, 1.5], "coats"),
            "factor 'slip': there is no part of a coat. Write whole numbers.",
        ),
        (
            ("sugar", [4], "g"),
            "factor 'sugar': it has the one level 4, so nothing would differ. Give two levels or more, or "
            "write it under what is the same on every pot.",
        ),
        (
            ("sugar", [], "g"),
            "factor 'sugar': it has no level, so nothing would differ. Give two levels or more, or write it "
            "under what is the same on every pot.",
        ),
        (
            ("sugar", [4, 0, 4], "g"),
            "factor 'sugar': level 4 is there twice. Name each level once.",
        ),
        (
            ("clay", ["white", "white "]),
            "factor 'clay': level white is there twice. Name each level once.",
        ),
        (
            ("sugar", [0, 4], "gg"),
            "factor 'sugar': unit [gg]: it is unknown. Write one such as [g], [oz], [cm], [degC], [min].",
        ),
        (
            ("sugar", [0, 4]),
            "factor 'sugar': no unit is stated, and none is guessed. State the unit, such as 'g'.",
        ),
        (
            ("sugar", [0, "much"], "g"),
            "factor 'sugar': its levels mix numbers and words. Write all as numbers, or all as words.",
        ),
        (
            ("clay", ["buff", "white"], "g"),
            "factor 'clay': its levels are words, but it has the unit [g]. Write amounts as numbers without "
            "quotes, or leave out the unit.",
        ),
        (
            ("place", ["low", "high"]),
            "factor 'place': a plan has a column of this name already. Give it another name.",
        ),
        (
            ("sugar [g]", [0, 4]),
            "factor 'sugar [g]': the name is a whole heading. Write Factor('sugar', …, 'g').",
        ),
        (
            ("sugar", [0, 4], "g", "day"),
            "factor 'sugar': it is set per 'day'. Write per='pot' or per='firing'.",
        ),
        (
            ("clay", ["buff", " "]),
            "factor 'clay': one of its levels is blank. Name each kind.",
        ),
        (
            ("wax", [False, True]),
            "factor 'wax': a level is true or false. Write numbers or words.",
        ),
    ],
    ids=lambda value: " ".join(map(str, value))[:30] if isinstance(value, tuple) else "",
)
def test_each_fault_is_named_with_its_remedy(given, said):
    assert told(*given) == said


@pytest.mark.parametrize("name", ["pot", "firing", "day", "place", "plan", "state", "rating", "notes"])
def test_columns_of_a_plan_are_no_factors(name):
    assert "a plan has a column of this name already" in told(name, ["a", "b"])


@pytest.mark.parametrize(
    ("given", "part"),
    [
        (("", [0, 4], "g"), "it has no name"),
        ((None, [0, 4], "g"), "it has no name"),
        ((" sugar", [0, 4], "g"), "the name begins or ends in a blank"),
        (("sugar", "04", "g"), "its levels are '04', no list"),
        (("sugar", 4, "g"), "its levels are 4, no list"),
        (("sugar", [0, float("nan")], "g"), "a level is not finite"),
        (("sugar", [0, float("inf")], "g"), "a level is not finite"),
        (("sugar", [0, None], "g"), "a level is no number"),
        (("sugar", [0, 4], None), "its unit is None, no word"),
        (("sugar", [0, 45], "deg"), "it measures nothing that a batch book holds"),
    ],
)
def test_what_is_no_factor_at_all_is_refused(given, part):
    assert part in told(*given)


def test_temperatures_may_be_below_freezing_and_other_things_need_no_unit():
    assert Factor("yard", [-10, 20], "degC", per="firing").levels == (-10.0, 20.0)
    assert Factor("holes in the lid", [0, 3]).heading == "holes in the lid"
