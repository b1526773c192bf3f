"""What to try next: recipes of a plan with how many pots each, amounts with their units."""

from sagglab.handout.next_shown import try_next
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.standard import Factorial

PEAK = Factor("peak", [725, 775], "degC", per="firing")
SAME = {"slip [coats]": 2, "height [cm]": 11}


def plan(names, firings=4, pots=4):
    amounts = [Factor(name, [0, 4], "g") for name in names]
    return plan_batch(
        [PEAK, *amounts],
        firings,
        pots,
        "main",
        Factorial(replicates=2 if len(names) == 1 else 1),
        seed=1,
        same=SAME,
    )


def test_each_recipe_has_a_row_with_its_pots():
    told = try_next(plan(["sugar"], firings=4, pots=2), ["It will tell."])
    assert told.headings == ("peak", "sugar", "pots")
    assert told.rows == (
        ("725 °C (1337 °F)", "none", "2"),
        ("725 °C (1337 °F)", "4 g", "2"),
        ("775 °C (1427 °F)", "none", "2"),
        ("775 °C (1427 °F)", "4 g", "2"),
    )
    assert told.said == (
        "8 pots in 4 firings, to tell what peak and sugar do. Deal recipes and places by lot, so that no "
        "place in the kiln favours one.",
        "The same on every pot: slip 2 coats.",
        "It will tell.",
    )


def test_of_many_recipes_the_rest_is_told():
    told = try_next(plan(["sugar", "salt", "straw"]), [])
    assert len(told.rows) == 8
    assert told.said[-1] == "The plan has 8 recipes more."
