"""Aliases: chains with their signs, shares in part, and what each term is judged against."""

from itertools import product

import numpy as np
import pytest

from sagglab.plan.aliases import alias_table, given_to_firings, independent
from sagglab.plan.arrays import plackett_burman
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.standard import Fraction, Screening
from sagglab.plan.terms import read_model

A, B, C, D, E = (Factor(name, [0, 1], "g") for name in ("straw", "hair", "weed", "husk", "bark"))
PEAK = Factor("peak", [700, 800], "degC", per="firing")
CLAY = Factor("clay", ["buff", "white", "red"])


def half(sign=1):
    """The half of all recipes of four factors with husk = ± straw × hair × weed."""
    corners = np.array(list(product([-1.0, 1.0], repeat=3)))
    return np.column_stack([corners, sign * corners.prod(axis=1)])


def chains(table):
    return dict(zip(table["term"], table["cannot be told from"], strict=True))


def test_a_half_of_four_factors_pairs_each_pair_with_the_other_two():
    # With D = ABC: A = BCD, B = ACD, C = ABD, D = ABC, AB = CD, AC = BD, AD = BC (Box, Hunter & Hunter).
    table = alias_table(half(), np.zeros(8), read_model([A, B, C, D]))
    assert chains(table) == {
        "mean": "",
        "straw": "+ hair × weed × husk",
        "hair": "+ straw × weed × husk",
        "weed": "+ straw × hair × husk",
        "husk": "+ straw × hair × weed",
        "straw × hair": "+ weed × husk",
        "straw × weed": "+ hair × husk",
        "straw × husk": "+ hair × weed",
    }
    assert (table["mixed in part with"] == "").all()


def test_the_other_half_has_the_same_chains_with_minus_signs():
    signed = {
        term: chain.replace("+", "−")
        for term, chain in chains(alias_table(half(), np.zeros(8), read_model([A, B, C, D]))).items()
    }
    assert chains(alias_table(half(-1), np.zeros(8), read_model([A, B, C, D]))) == signed


@pytest.mark.parametrize(("generator", "sign"), [("D=ABC", "+"), ("D=-ABC", "−")])
def test_a_plan_tells_its_generators_sign(generator, sign):
    made = plan_batch([A, B, C, D], 2, 4, "main", Fraction(generators=[generator]), 3)
    assert chains(made.aliases())["husk"] == f"{sign} straw × hair × weed"


def test_longer_chains_name_each_member():
    # 2⁷⁻⁴: each factor is mixed with three pairs.
    seven = [Factor(f"salt {letter}", [0, 1], "g") for letter in "abcdefg"]
    made = plan_batch(seven, 2, 4, "main", Fraction(generators=["D=AB", "E=AC", "F=BC", "G=ABC"]), 3)
    first = chains(made.aliases())["salt a"]
    assert [pair in first for pair in ("+ salt b × salt d", "+ salt c × salt e", "+ salt f × salt g")] == [
        True
    ] * 3


def test_twelve_pots_mix_a_third_of_each_pair_into_the_other_factors():
    # Plackett & Burman 1946: ± 1/3 (checks by brute force).
    signs = plackett_burman(12)[:, :4]
    table = alias_table(signs, np.zeros(12), read_model([A, B, C, D], "main"))
    assert (table["cannot be told from"] == "").all()
    for place, factor in enumerate((A, B, C, D)):
        told = table.loc[table["term"] == factor.name, "mixed in part with"].item()
        others = [k for k in range(4) if k != place]
        for i, j in ((i, j) for i in others for j in others if i < j):
            share = (signs[:, place] * signs[:, i] * signs[:, j]).mean()
            assert abs(share) == pytest.approx(1 / 3)
            names = (A, B, C, D)[i].name, (A, B, C, D)[j].name
            assert f"{'+' if share > 0 else '−'} 0.33 {names[0]} × {names[1]}" in told
        assert told.count("0.33") == 3


def test_folding_over_clears_the_shares_of_pairs():
    made = plan_batch([A, B, C, D, E], 4, 6, "main", Screening(pots=12, fold_over=True), 3)
    assert (made.aliases()["mixed in part with"] == "").all()


def test_kinds_that_go_with_an_amount_are_named_by_column():
    # All red pots have straw, all others none: only one column of the clay is left to tell.
    codes = np.array([[-1, -1], [-1, -1], [0, -1], [0, -1], [1, 1], [1, 1.0]])
    terms = read_model([A, CLAY], "main")
    clay_first = read_model([CLAY, A], "main")
    table = alias_table(codes[:, ::-1], np.zeros(6), read_model([A, CLAY], "main"))
    assert independent(terms.expand(codes[:, ::-1]), terms) == [0]
    assert independent(clay_first.expand(codes), clay_first) == [0]
    assert table["term"].tolist() == ["mean", "straw"]
    told = alias_table(codes, np.zeros(6), clay_first).set_index("term")["mixed in part with"]
    # Straw is −1, −1, 1 on buff, white, red: −1/3, and −2/3 of each column that sets a kind against red.
    assert told["mean"].startswith("− 0.33 straw")
    assert told["clay (1 of 2)"].startswith("− 0.67 straw")
    assert told["clay (2 of 2)"].startswith("− 0.67 straw")


def test_a_balanced_category_is_mixed_with_nothing():
    made = plan_batch([CLAY, A, B], 2, 6, kind="factorial", seed=1)
    table = made.aliases()
    assert table["term"].tolist()[1:3] == ["clay (1 of 2)", "clay (2 of 2)"]
    assert (table["cannot be told from"] == "").all()


def test_terms_are_judged_against_pots_firings_or_both():
    firings = np.repeat(["f1", "f2", "f3", "f4"], 2)
    codes = np.array(
        [
            [-1, -1, -1],
            [-1, 1, -1],
            [1, -1, -1],
            [1, 1, -1],
            [-1, -1, 1],
            [-1, 1, 1],
            [1, -1, 1],
            [1, 1, -1.0],
        ]
    )
    table = alias_table(codes, firings, read_model([PEAK, A, B], "main")).set_index("term")
    assert table.loc["mean", "judged against"] == ""
    assert table.loc[["peak", "straw", "hair"], "judged against"].tolist() == [
        "firings", "pots", "pots and firings",
    ]  # fmt: skip


def test_what_pots_could_differ_in_but_firings_hide_is_named():
    firings = np.repeat(["f1", "f2"], 4)
    codes = np.array(sorted(product([-1.0, 1.0], repeat=3), key=np.prod))
    assert given_to_firings(codes, firings, read_model([A, B, C])) == ["straw × hair × weed"]
    # What is set per firing is meant to lie between firings.
    assert given_to_firings(codes, firings, read_model([PEAK, A, B])) == ["peak × straw × hair"]
    assert given_to_firings(codes[:, :1], np.repeat(["f1", "f2"], 4), read_model([A])) == []


def test_terms_that_cannot_be_told_are_left_in_the_order_asked():
    x = half()
    terms = read_model([A, B, C, D])
    kept = [terms.names[place] for place in independent(terms.expand(x), terms)]
    assert kept == [
        "straw", "hair", "weed", "husk", "straw × hair", "straw × weed", "straw × husk",
    ]  # fmt: skip
