"""Regular fractions: the catalogue held to brute force, generators, fold-over."""

import numpy as np
import pytest

from sagglab.errors import PlanError
from sagglab.plan.fractions import (
    expand,
    fold_over,
    from_generators,
    minimum_aberration,
    read_fractions,
    smallest_of_resolution,
)
from sagglab.plan.words import defining_words, resolution, word_lengths

ENTRIES = list(read_fractions().index)


def test_the_catalogue_holds_every_size():
    sizes = [
        (2**basic, factors)
        for basic in range(2, 8)
        for factors in range(max(basic, 3), min(2**basic - 1, 15) + 1)
    ]
    assert sorted(ENTRIES) == sorted(sizes)


@pytest.mark.parametrize(("runs", "factors"), ENTRIES)
def test_every_entry_is_what_it_says(runs, factors):
    entry = read_fractions().loc[(runs, factors)]
    signs = expand(minimum_aberration(factors, runs), runs)
    assert signs.shape == (runs, factors)
    assert len(np.unique(signs, axis=0)) == runs
    found = word_lengths(signs)
    assert found[:3].tolist() == [1, 0, 0]
    assert found[3:].tolist() == list(entry["word lengths"])
    assert resolution(signs) == entry["resolution"]
    assert sum(found) == 2**factors / runs


def test_more_pots_never_make_a_fraction_worse():
    table = read_fractions()["word lengths"]
    for runs, factors in ENTRIES:
        if (2 * runs, factors) in table.index:
            assert table.loc[(2 * runs, factors)] <= table.loc[(runs, factors)]


def test_a_factor_fewer_never_makes_a_fraction_worse():
    table = read_fractions()
    for runs, factors in ENTRIES:
        if (runs, factors - 1) in table.index:
            # Taking a factor away from the larger fraction leaves one that the smaller must not fall behind.
            signs = expand(table.loc[(runs, factors), "columns"], runs)
            smaller = table.loc[(runs, factors - 1), "word lengths"]
            for place in range(factors):
                left = word_lengths(np.delete(signs, place, axis=1))[3:]
                assert smaller <= tuple(left)


def test_the_smallest_of_a_resolution_is_the_smallest():
    for factors in range(3, 16):
        for wanted in range(3, 9):
            enough = [
                runs
                for runs, count in ENTRIES
                if count == factors
                and not word_lengths(expand(minimum_aberration(factors, runs), runs))[1:wanted].any()
            ]
            if enough:
                assert smallest_of_resolution(factors, wanted) == min(enough)
            else:
                with pytest.raises(PlanError, match="more than 128 pots"):
                    smallest_of_resolution(factors, wanted)


def test_what_can_be_had_is_told():
    with pytest.raises(PlanError) as told:
        smallest_of_resolution(15, 5)
    assert str(told.value) == (
        "resolution 5 for 15 factors: it would take more than 128 pots. "
        "Take resolution 3 with 16 pots; resolution 4 with 32 pots, or fewer factors."
    )
    with pytest.raises(PlanError, match=r"there is none\. Take 16, 32, 64 or 128 pots"):
        minimum_aberration(9, 8)
    with pytest.raises(PlanError, match="16 factors are not listed"):
        minimum_aberration(16, 32)
    with pytest.raises(PlanError, match="2 factors are not listed"):
        smallest_of_resolution(2, 3)


def test_generators_make_the_words_they_say():
    columns, signs = from_generators(7, ["E=ABC", "f = -bcd", "G=−ACD"])
    words = defining_words(expand(columns, 16, signs))
    assert words[(0, 1, 2, 4)] == 1
    assert words[(1, 2, 3, 5)] == -1
    assert words[(0, 2, 3, 6)] == -1
    assert len(words) == 7


def test_generators_may_stand_in_any_order_and_for_any_factor():
    columns, signs = from_generators(5, ["B=-DE", "A=BC"])
    words = defining_words(expand(columns, 8, signs))
    assert words == {(0, 1, 2): 1, (1, 3, 4): -1, (0, 2, 3, 4): -1}


def test_the_ninth_factor_is_the_ninth_letter():
    columns, _ = from_generators(9, ["I=ABCD"])
    assert columns == (1, 2, 4, 8, 16, 32, 64, 128, 15)


@pytest.mark.parametrize(
    ("generators", "cause"),
    [
        (["D=ABX"], "names X, which is no factor"),
        (["D=ABC", "D=AB"], "'D=AB' defines D a second time"),
        (["D=AD"], "'D=AD' defines D by itself"),
        (["D=A"], "makes D the same as A"),
        (["D=AB", "C=AB"], "makes C the same as D"),
        (["D=-AB", "C=AB"], "makes C the same as D"),
        (["D=AA"], "'D=AA' is the same as the mean"),
        (["D=1"], "'D=1' is the same as the mean"),
        (["C=D", "D=C"], "'C=D' comes back to C itself; 'D=C' comes back to D itself"),
        (["ABCD"], "'ABCD' is not written like E=ABC"),
        (["D=AX", "E=AB", "C=C"], "'D=AX' names X.*'E=AB' names E.*'C=C' defines C by itself"),
    ],
)
def test_bad_generators_are_named(generators, cause):
    with pytest.raises(PlanError, match=cause):
        from_generators(4, generators)


def test_columns_must_fit_the_pots():
    with pytest.raises(PlanError, match="12 pots are no power of two"):
        expand([1, 2], 12)
    for column in (0, 8):
        with pytest.raises(PlanError, match="not among 1 … 7"):
            expand([1, column], 8)


def test_fold_over_frees_factors_from_pairs():
    signs = expand(minimum_aberration(7, 8), 8)
    assert resolution(signs) == 3
    assert resolution(np.vstack([signs, fold_over(signs)])) == 4


def test_fold_over_on_one_frees_it_and_its_pairs():
    signs = expand(minimum_aberration(7, 8), 8)
    both = np.vstack([signs, fold_over(signs, on=[3])])
    assert not any(3 in word and len(word) <= 4 for word in defining_words(both))
    assert resolution(both) == 3
    np.testing.assert_array_equal(signs, expand(minimum_aberration(7, 8), 8))


@pytest.mark.parametrize("on", [[], [7], [-1]])
def test_fold_over_needs_factors_that_are_there(on):
    with pytest.raises(PlanError, match="fold-over"):
        fold_over(expand(minimum_aberration(7, 8), 8), on=on)
