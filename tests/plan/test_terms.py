"""Terms: what a model asks, and the columns that ask it."""

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.factors import Factor
from sagglab.plan.terms import read_model

SUGAR = Factor("sugar", [0, 2, 4], "g")
SALT = Factor("copper sulphate", [0, 3], "g")
CLAY = Factor("clay", ["buff", "white", "red"])
PEAK = Factor("peak", [700, 800], "degC", per="firing")


def told(factors, model="main"):
    with pytest.raises(PlanError) as caught:
        read_model(factors, model)
    return str(caught.value)


def test_named_models_hold_what_they_say():
    factors = [SUGAR, SALT, PEAK]
    main = ("sugar", "copper sulphate", "peak")
    pairs = ("sugar × copper sulphate", "sugar × peak", "copper sulphate × peak")
    assert read_model(factors, "main").names == main
    assert read_model(factors).names == main + pairs
    # Two levels show no bend, so only sugar has a square.
    assert read_model(factors, "quadratic").names == (*main, *pairs, "sugar squared")


def test_a_category_of_three_kinds_takes_two_columns_which_sum_to_zero():
    terms = read_model([CLAY, SALT])
    assert terms.widths == (2, 1, 2)
    assert terms.column_names[1:4] == ("clay (1 of 2)", "clay (2 of 2)", "copper sulphate")
    columns = terms.expand(np.array([[-1.0, 1], [0, 1], [1, 1]]))
    assert columns.shape == (3, 6)
    assert columns[:, 1:3].sum(axis=0) == pytest.approx([0, 0])
    assert columns[:, 4:] == pytest.approx(columns[:, 1:3])


def test_columns_are_the_mean_the_codes_their_products_and_squares():
    terms = read_model([SUGAR, SALT], "quadratic")
    assert terms.expand(np.array([0.5, -1.0])) == pytest.approx([1, 0.5, -1, -0.5, 0.25])
    assert terms.expand(np.zeros((2, 3, 2))).shape == (2, 3, 5)


def test_two_kinds_have_signs_as_amounts_have():
    clay = Factor("clay", ["buff", "white"])
    assert read_model([clay], "main").expand(clay.coded[:, None])[:, 1].tolist() == [-1, 1]


def test_only_what_is_made_of_firing_factors_alone_is_the_same_in_a_firing():
    time = Factor("time", [35, 50], "min", per="firing")
    terms = read_model([PEAK, time, SALT])
    held = [name for name, one in zip(terms.column_names, terms.per_firing, strict=True) if one]
    assert held == ["mean", "peak", "time", "peak × time"]


def test_a_list_asks_for_terms_by_name_factors_first():
    terms = read_model([SUGAR, SALT, PEAK], [("sugar", "peak"), "peak", "sugar", ("sugar", "sugar")])
    assert terms.names == ("peak", "sugar", "sugar × peak", "sugar squared")
    assert terms.question == {
        "factors": ["peak [degC]", "sugar [g]"],
        "squares": ["sugar"],
        "together": [("sugar", "peak")],
    }


@pytest.mark.parametrize(
    ("model", "said"),
    [
        (
            "mean",
            "model 'mean': there is no such model. Write one of main, main + two-way, quadratic, or a list.",
        ),
        (
            ["suger"],
            "model term 'suger': there is no factor 'suger'. The factors are sugar, copper sulphate.",
        ),
        (
            ["copper sulphate", ("copper sulphate", "copper sulphate")],
            "square of copper sulphate: two levels, or kinds, show no bend. Give three amounts or more.",
        ),
        (["sugar", "sugar"], "model term 'sugar': it is asked twice. Ask it once."),
        (
            ["sugar", "copper sulphate", ("sugar", "copper sulphate"), ("copper sulphate", "sugar")],
            "model term ('copper sulphate', 'sugar'): it is asked twice. Ask it once.",
        ),
        (
            ["sugar", ("sugar", "copper sulphate")],
            "model: it asks how copper sulphate goes with another, or bends, but not what it does alone. "
            "Add 'copper sulphate'.",
        ),
        ([], "model: it holds no term. Name at least one factor."),
        (3, "model 3: it is no list of factors and pairs. Write one of main, main + two-way, quadratic."),
        ([3], "model [3]: it is no list of factors and pairs. Write one of main, main + two-way, quadratic."),
    ],
)
def test_each_fault_of_a_model_is_named(model, said):
    assert told([SUGAR, SALT], model) == said


def test_words_of_three_factors_are_no_terms():
    assert "it is neither a factor nor a pair" in told(
        [SUGAR, SALT, PEAK], [("sugar", "copper sulphate", "peak")]
    )


def test_factors_must_be_there_and_have_names_of_their_own():
    assert told([]) == "factors: there are none. Write a list such as [Factor('sugar', [0, 4], 'g')]."
    assert "'sugar' is no factor" in told(["sugar"])
    assert told([SUGAR, SUGAR]) == "factors: sugar is there twice. Name each factor once."
