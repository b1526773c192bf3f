"""Adding to what has been fired: chains are broken, what is named is sharpened, and odd books are read."""

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import PlanError
from sagglab.plan.adding import add_firings
from sagglab.plan.aliases import alias_table
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.limits import Limits
from sagglab.plan.standard import Factorial

PEAK = Factor("peak", [700, 800], "degC", per="firing")
SUGAR, SALT = Factor("sugar", [0, 4], "g"), Factor("copper sulphate", [0, 3], "g")
CLAY = Factor("clay", ["buff", "white"])
FACTORS = [PEAK, SUGAR, SALT, CLAY]
MAIN = ["peak", "sugar", "copper sulphate", "clay"]
PAIRS = [*MAIN, ("sugar", "clay"), ("peak", "sugar"), ("sugar", "copper sulphate")]
QUICK = Best(starts=8)


@pytest.fixture
def fired():
    """Four firings in which copper sulphate always came with sugar."""
    return pd.DataFrame(
        {
            "pot": f"p{4 * firing + pot + 1:02d}",
            "firing": f"f{firing + 1}",
            "sugar [g]": 4.0 * (pot % 2),
            "copper sulphate [g]": 3.0 * (pot % 2),
            "peak_C": (702.0, 797.0)[firing % 2],
            "clay": ("buff", "white")[pot // 2],
        }
        for firing in range(4)
        for pot in range(4)
    )


def add(fired, model=MAIN, firings=2, pots=4, factors=FACTORS, **more):
    return add_firings(fired, factors, firings, pots, model, **{"kind": QUICK, "seed": 1, **more})


def told(fired, **more):
    with pytest.raises(PlanError) as caught:
        add(fired, **more)
    return str(caught.value)


def chain_of(table, term):
    return table.set_index("term").loc[term, "cannot be told from"]


def test_firings_that_are_added_break_a_chain(fired):
    codes = np.column_stack(
        [
            PEAK.code(fired["peak_C"]),
            SUGAR.code(fired["sugar [g]"]),
            SALT.code(fired["copper sulphate [g]"]),
            CLAY.code(fired["clay"]),
        ]
    )
    made = add(fired)
    before = alias_table(codes, fired["firing"].to_numpy(), made.terms)
    assert chain_of(before, "sugar") == "+ copper sulphate"
    after = made.aliases()
    assert chain_of(after, "sugar") == ""
    assert {"sugar", "copper sulphate"} <= set(after["term"])
    # Apart on every new pot: nothing else tells one from the other.
    assert ((made.runs["sugar [g]"] > 0) != (made.runs["copper sulphate [g]"] > 0)).all()


@pytest.mark.parametrize(
    ("named", "least"), [("sugar", 0.05), ("copper sulphate", 0.05), ("sugar × copper sulphate", 0.05)]
)
def test_what_is_named_is_sharpened(fired, named, least):
    def error(sharpen):
        table = add(fired, PAIRS, sharpen=sharpen).precision(firing_sd=3, pot_sd=4).table
        return table.set_index("term").loc[named, "standard error"]

    assert error([named]) < (1 - least) * error([])


def test_the_whole_is_judged_fired_and_new(fired):
    made = add(fired)
    assert len(made.judged) == 24
    assert made.judged["firing"].unique().tolist() == ["f1", "f2", "f3", "f4", "f5", "f6"]
    assert made.fired["peak [degC]"].iloc[0] == 702
    told = made.precision(firing_sd=3, pot_sd=4)
    assert (told.pots, told.firings) == (24, 6)
    assert "Added to 16 pots in 4 firings." in repr(made)
    assert "kind 'best, added'" in repr(made)


def test_new_pots_lie_on_the_levels_go_on_in_tags_and_keep_limits(fired):
    made = add(fired, limits=Limits(dusting_g=4, places=6), firings_per_day=2, same={"slip [coats]": 2})
    assert made.runs["pot"].tolist() == [f"p{number}" for number in range(17, 25)]
    assert made.runs["firing"].unique().tolist() == ["f5", "f6"]
    assert set(made.coded["firing"]) == {"f5", "f6"}
    assert set(made.runs["peak [degC]"]) <= {700.0, 800.0}
    assert (made.runs["sugar [g]"] + made.runs["copper sulphate [g]"] <= 4).all()
    assert (made.runs["slip [coats]"] == 2).all()
    pd.testing.assert_frame_equal(
        made.runs,
        add(fired, limits=Limits(dusting_g=4, places=6), firings_per_day=2, same={"slip [coats]": 2}).runs,
    )


def test_amounts_fired_may_lie_off_the_levels(fired):
    odd = fired.assign(**{"sugar [g]": 6.5 * (fired["sugar [g]"] > 0) + 0.5})
    made = add(odd)
    assert set(made.fired["sugar [g]"]) == {0.5, 7.0}
    assert set(made.runs["sugar [g]"]) <= {0.0, 4.0}


def test_other_units_are_turned_into_those_of_the_factors(fired):
    ounces = fired.assign(**{"sugar [oz]": fired["sugar [g]"] / 28.349523125}).drop(columns="sugar [g]")
    assert add(ounces).fired["sugar [g]"].to_numpy() == pytest.approx(fired["sugar [g]"].to_numpy())
    warm = fired.assign(**{"peak [degF]": 32 + 1.8 * fired["peak_C"]}).drop(columns="peak_C")
    assert add(warm).fired["peak [degC]"].to_numpy() == pytest.approx(fired["peak_C"].to_numpy())


def test_the_peak_of_the_record_goes_before_the_target_and_the_target_before_nothing(fired):
    both = fired.assign(**{"target peak [degC]": 750.0})
    assert set(add(both).fired["peak [degC]"]) == {702.0, 797.0}
    unread = fired.assign(peak_C=np.nan, **{"target peak [degC]": fired["peak_C"].round(-2)})
    assert set(add(unread).fired["peak [degC]"]) == {700.0, 800.0}


def test_pots_of_a_clay_that_the_plan_has_not_are_left_out_and_told(fired):
    fired.loc[fired["firing"] == "f4", "clay"] = "porcelain"
    made = add(fired)
    assert "4 pots of the book left out, for a blank or a kind that the plan has not" in made.notes
    assert len(made.judged) == 20
    # The tag f4 is taken all the same.
    assert made.runs["firing"].unique().tolist() == ["f5", "f6"]


def test_blank_rows_and_cells_are_left_out(fired):
    blank = pd.concat([fired, pd.DataFrame([dict.fromkeys(fired.columns, np.nan)])], ignore_index=True)
    made = add(blank)
    assert len(made.fired) == 16
    assert "1 pot of the book left out, for a blank or a kind that the plan has not" in made.notes
    fired.loc[0, "sugar [g]"] = np.nan
    assert len(add(fired).fired) == 15


def test_one_firing_can_be_added_and_the_kind_may_be_named(fired):
    made = add(fired, firings=1, kind="best")
    assert made.firings == 1
    assert made.kind == "best, added"


def test_the_order_of_the_pots_fired_does_not_matter(fired):
    # A search that counts firings as the rows come would add to a book that nobody fired.
    uneven = fired.drop(index=[0, 1, 2, 5])
    kind = Best(variance_ratio=20, starts=8)
    errors = [
        add(table, PAIRS, firings=1, pots=5, kind=kind)
        .precision(firing_sd=9, pot_sd=2)
        .table["standard error"]
        .to_numpy()
        for table in (uneven, *(uneven.sample(frac=1, random_state=lot) for lot in range(2)))
    ]
    for other in errors[1:]:
        assert other == pytest.approx(errors[0])


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"sharpen": "sugar"}, "sharpen: a word was given where a list is wanted. Write ['sugar']."),
        (
            {"sharpen": ["suger"]},
            "sharpen 'suger': it is no term of the model. They are peak, sugar, copper sulphate, clay.",
        ),
        ({"sharpen": 3}, "sharpen: it is 3. Write a list out of peak, sugar, copper sulphate, clay."),
        (
            {"kind": Factorial()},
            "kind Factorial(replicates=1, centre=0): what has been fired can be added to by Best "
             "alone. Leave "
            "kind out.",
        ),
        ({"kind": Best(starts="9")}, "kind 'best', starts: it is '9'. Write a whole number."),
        ({"firings": None}, "firings: their number is not stated. Say how many firings there can be."),
        ({"limits": Limits(places=3)}, "limit places: 4 pots in one firing have 3 places. Fire fewer "
         "pots at a "
         "time, or name more places."),
        ({"same": {"clay": "buff"}}, "same 'clay': it is varied as well. Leave it out of one of the two."),
    ],
)  # fmt: skip
def test_what_cannot_be_added_is_told(fired, more, said):
    assert told(fired, **more) == said


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            lambda table: table.iloc[:0],
            "pots fired: there are none. Give the results of a book, one row for each pot.",
        ),
        (
            lambda table: table.drop(columns="clay"),
            "pots fired, factor 'clay': the table has no such column. Its columns are pot, firing, "
            "sugar [g], "
            "copper sulphate [g], peak_C.",
        ),
        (
            lambda table: table.assign(clay=1.0),
            "pots fired, column 'clay': it holds numbers. Give the factor such levels.",
        ),
        (
            lambda table: table.rename(columns={"sugar [g]": "sugar [cm]"}),
            "pots fired, column 'sugar [cm]': its unit is not that of factor sugar. Correct one.",
        ),
        (
            lambda table: table.assign(clay="porcelain"),
            "pots fired: none has all of peak, sugar, copper sulphate, clay, of kinds that the plan "
            "has. Give the "
            "factors the kinds that were fired.",
        ),
    ],
    ids=["none", "no column", "numbers", "unit", "clay"],
)
def test_a_book_that_cannot_be_added_to_is_told(fired, change, said):
    assert told(change(fired)) == said


def test_what_is_sharpened_may_be_named_either_way_round(fired):
    one = add(fired, model=PAIRS, sharpen=["sugar × clay"])
    other = add(fired, model=PAIRS, sharpen=["clay × sugar"])
    assert one.runs.equals(other.runs)
