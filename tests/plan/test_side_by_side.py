"""Plans side by side: what each would tell and what it takes, as a table and in a sentence each."""

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import PlanError
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.side_by_side import compare_plans

PEAK = Factor("peak", [700, 800], "degC", per="firing")
SUGAR, SALT = Factor("sugar", [0, 4], "g"), Factor("copper sulphate", [0, 3], "g")
CLAY = Factor("clay", ["buff", "white", "red"])
QUICK = Best(starts=4)


@pytest.fixture(scope="module")
def plans():
    return {
        "short": plan_batch([PEAK, SUGAR], 4, 4, "main", QUICK, 1),
        "long": plan_batch([PEAK, SUGAR, SALT], 8, 6, "main", QUICK, 1),
    }


@pytest.fixture(scope="module")
def compared(plans):
    return compare_plans(plans, firing_sd=3, pot_sd=4)


def test_one_row_for_each_plan_with_what_it_takes(plans, compared):
    table = compared.table.set_index("plan")
    assert table.index.tolist() == ["short", "long"]
    assert table["firings"].tolist() == [4, 8]
    assert table["pots"].tolist() == [16, 48]
    # Half of all pots have each dusting, and a tenth is allowed for spills.
    assert table["weighed out [g]"].tolist() == pytest.approx([1.1 * 8 * 4, 1.1 * 24 * (4 + 3)])
    assert np.isnan(table.loc["short", "told: copper sulphate"])


def test_what_is_told_is_what_the_precision_says(plans, compared):
    for name, plan in plans.items():
        own = plan.precision(firing_sd=3, pot_sd=4).table.set_index("term")["smallest difference"]
        line = compared.table.set_index("plan").loc[name]
        for factor in plan.factors:
            assert line[f"told: {factor.name}"] == own[factor.name]
    assert list(compared.precisions) == ["short", "long"]


def test_more_firings_tell_smaller_changes(compared):
    told = compared.table.set_index("plan")
    for factor in ("peak", "sugar"):
        assert told.loc["long", f"told: {factor}"] < told.loc["short", f"told: {factor}"]


def test_each_plan_has_a_sentence(compared):
    sugar, peak = compared.table.loc[0, ["told: sugar", "told: peak"]]
    assert compared.sentences[0] == (
        f"short: 16 pots, 4 firings. 80 of 100 such batches would tell a change of {sugar:.1f} L* by sugar, "
        f"and one of {peak:.1f} by peak."
    )
    assert repr(compared) == "\n".join(compared.sentences)


def test_one_factor_is_told_of_once():
    alone = compare_plans({"alone": plan_batch([SUGAR], 2, 4, "main", QUICK, 1)})
    assert repr(alone).count("sugar") == 1


def test_a_category_is_as_sure_as_its_least_sure_kind():
    plan = plan_batch([CLAY, SUGAR], 3, 5, "main", QUICK, 1)
    rows = plan.precision().table.set_index("term")["smallest difference"]
    worst = max(value for term, value in rows.items() if term.startswith("clay: "))
    assert compare_plans({"a": plan}).table.loc[0, "told: clay"] == worst


def test_a_factor_that_is_not_asked_for_is_left_blank():
    plan = plan_batch([PEAK, SUGAR], 4, 4, ["sugar"], QUICK, 1)
    compared = compare_plans({"a": plan})
    assert np.isnan(compared.table.loc[0, "told: peak"])
    assert "peak" not in repr(compared)


def test_prices_on_the_shelf_give_a_cost(plans):
    shelf = pd.DataFrame(
        {"material": ["sugar"], "in stock [g]": [500.0], "price": [2.0], "packet [g]": [1000.0]}
    )
    table = compare_plans(plans, shelf=shelf).table
    assert table["cost"].tolist() == pytest.approx([1.1 * 32 * 0.002, 1.1 * 96 * 0.002])
    assert compare_plans(plans).table["cost"].isna().all()


def test_names_are_escaped_and_empty_columns_left_out_on_a_page(plans):
    page = compare_plans({"<b>one</b>": plans["short"]})._repr_html_()
    assert "&lt;b&gt;one&lt;/b&gt;" in page
    assert "<b>" not in page
    assert "cost" not in page


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "plans: there are none to compare. Write compare_plans({'short': plan, …})."),
        ([3], "plans: there are none to compare. Write compare_plans({'short': plan, …})."),
        ({"short": 3}, "plan 'short': it is none. Give what plan_batch returned."),
    ],
)
def test_what_cannot_be_compared_is_told(asked, said):
    with pytest.raises(PlanError) as caught:
        compare_plans(asked)
    assert str(caught.value) == said


def test_a_plan_without_anything_left_to_judge_by_cannot_be_compared():
    full = plan_batch([SUGAR, SALT, Factor("seaweed", [0, 15], "g")], 2, 4, kind="factorial", seed=1)
    with pytest.raises(PlanError, match="use up every difference between pots of one firing"):
        compare_plans({"full": full})
