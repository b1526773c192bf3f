"""Fractions and standard arrays against published values and against a second implementation.

pyDOE3 is the second opinion: a general design-of-experiments library, whose answers are counted by the same
brute force as ours.
"""

from itertools import combinations

import numpy as np
import pyDOE3
import pytest

from sagglab.errors import PlanError
from sagglab.plan.arrays import full_factorial, plackett_burman
from sagglab.plan.fractions import (
    expand,
    from_generators,
    minimum_aberration,
    read_fractions,
    smallest_of_resolution,
)
from sagglab.plan.surfaces import axial_distance, box_behnken, central_composite
from sagglab.plan.words import defining_words, resolution, word_lengths


def words(signs):
    """Words by length, those that there are."""
    return {length: count for length, count in enumerate(word_lengths(signs)) if length and count}


class TestFractions:
    def test_eight_factors_in_32(self):
        # NIST/SEMATECH e-Handbook 5.3.3.4.7 lists 2^(8-3) as resolution IV; the words of these generators
        # were counted for the project's list of outside checks.
        columns, signs = from_generators(8, ["F=ABC", "G=ABD", "H=BCDE"])
        table = expand(columns, 32, signs)
        assert resolution(table) == 4
        assert words(table) == {4: 3, 5: 4}
        assert words(expand(minimum_aberration(8, 32), 32)) == {4: 3, 5: 4}

    @pytest.mark.parametrize(
        ("factors", "runs", "expected"),
        [(8, 16, {4: 14, 8: 1}), (7, 8, {3: 7, 4: 7, 7: 1})],
    )
    def test_saturated_fractions(self, factors, runs, expected):
        # Box, Hunter & Hunter, Statistics for Experimenters: 2^(8-4) and 2^(7-4).
        assert words(expand(minimum_aberration(factors, runs), runs)) == expected

    @pytest.mark.parametrize(
        ("factors", "runs", "expected"),
        # NIST/SEMATECH e-Handbook 5.3.3.4.7, summary of useful fractional factorial designs (second hand:
        # numbers of runs and resolutions as commonly reprinted from Box, Hunter & Hunter).
        [
            (3, 4, 3),
            (4, 8, 4),
            (5, 16, 5),
            (5, 8, 3),
            (6, 32, 6),
            (6, 16, 4),
            (6, 8, 3),
            (7, 64, 7),
            (7, 32, 4),
            (7, 16, 4),
            (7, 8, 3),
            (8, 64, 5),
            (8, 32, 4),
            (8, 16, 4),
            (9, 128, 6),
            (9, 64, 4),
            (9, 32, 4),
            (9, 16, 3),
            (10, 128, 5),
            (10, 64, 4),
            (10, 32, 4),
            (10, 16, 3),
            (11, 128, 5),
            (11, 64, 4),
            (11, 32, 4),
            (11, 16, 3),
            (15, 16, 3),
        ],
    )
    def test_commonly_listed_resolutions(self, factors, runs, expected):
        assert resolution(expand(minimum_aberration(factors, runs), runs)) == expected

    @pytest.mark.parametrize(
        ("factors", "runs"),
        # NIST, Dataplot file DEXRES4.TXT, index of minimal-sample-size resolution-4 2**(k-p) designs.
        [(4, 8), *((factors, 16) for factors in range(5, 9)), *((factors, 32) for factors in range(9, 16))],
    )
    def test_fewest_pots_that_keep_factors_from_pairs(self, factors, runs):
        assert smallest_of_resolution(factors, 4) == runs

    @pytest.mark.parametrize(
        ("factors", "expected"),
        # As listed in H. Xu, Technometrics 51 (2009), quoted from memory; the first four meet a bound by
        # integer programming too, and so stand without the quotation.
        [
            (8, {8: 1}),
            (9, {6: 3}),
            (10, {5: 3, 6: 3, 7: 1}),
            (11, {5: 6, 6: 6, 7: 2, 8: 1}),
            (12, {4: 1, 5: 8, 6: 12}),
            (13, {4: 2, 5: 16}),
            (14, {4: 3, 5: 24}),
            (15, {4: 7, 5: 32}),
        ],
    )
    def test_128_runs(self, factors, expected):
        found = words(expand(minimum_aberration(factors, 128), 128))
        assert {length: found[length] for length in expected} == expected
        assert min(found) == min(expected)

    def test_which_are_proved(self):
        evidence = read_fractions()["evidence"]
        proved = evidence == "meets the integer programming bound"
        assert set(evidence[~proved]) == {"least of all classes told apart by their words"}
        assert list(evidence.index[~proved]) == [
            (32, 11),
            (64, 11),
            (64, 13),
            (64, 14),
            (64, 15),
            (128, 12),
            (128, 13),
            (128, 14),
            (128, 15),
        ]

    def test_beside_another_generator(self):
        short = set()
        for factors in range(3, 16):
            for wanted in range(3, 8):
                try:
                    theirs = pyDOE3.fracfact_by_res(factors, wanted)
                except ValueError:
                    continue
                if len(theirs) <= 128:
                    # For the pots that they take we are never worse, whatever was asked.
                    ours = expand(minimum_aberration(factors, len(theirs)), len(theirs))
                    assert tuple(word_lengths(ours)) <= tuple(word_lengths(theirs))
                if resolution(theirs) < wanted:
                    short.add((factors, wanted, resolution(theirs)))
                try:
                    runs = smallest_of_resolution(factors, wanted)
                except PlanError:
                    continue
                assert resolution(expand(minimum_aberration(factors, runs), runs)) >= wanted
                # Fewer pots than ours are taken only where what was asked is not kept.
                assert runs <= len(theirs) or (factors, wanted, resolution(theirs)) in short
        # pyDOE3 1.6: asked for, and what brute force counts in what came back.
        assert {(factors, 5, 4) for factors in range(7, 16)} <= short
        assert {(factors, 6, 4) for factors in range(8, 16)} <= short
        assert {(factors, 7, 4) for factors in range(9, 16)} <= short

    def test_the_same_generators_make_the_same_fraction(self):
        theirs = pyDOE3.fracfact("a b c d e abc abd bcde")
        columns, signs = from_generators(8, ["F=ABC", "G=ABD", "H=BCDE"])
        ours = expand(columns, 32, signs)
        assert sorted(map(tuple, ours)) == sorted(map(tuple, theirs))
        assert defining_words(ours) == defining_words(theirs)


class TestPlackettBurman:
    def test_the_cyclic_row_of_twelve(self):
        # Plackett & Burman, Biometrika 33 (1946), second hand: all plus, then − + − + + + − − − + − shifted.
        row = np.array([-1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1])
        expected = np.vstack([np.ones(11), *(np.roll(row, shift) for shift in range(11))])
        np.testing.assert_array_equal(plackett_burman(12), expected)

    def test_twelve_share_a_third_with_each_pair(self):
        # Well known: in 12 pots each factor shares ±1/3 with each pair of the others.
        plan = plackett_burman(12)
        for one in range(11):
            for pair in combinations(sorted(set(range(11)) - {one}), 2):
                shared = np.mean(plan[:, one] * plan[:, pair[0]] * plan[:, pair[1]])
                assert abs(shared) == pytest.approx(1 / 3, abs=1e-15)

    def test_words_of_twelve(self):
        # 165 threes, each a ninth; Deng & Tang's count for the 12-run plan with 5 factors: 10/9 of three,
        # 5/9 of four (arithmetic: every three and every four has |mean| 1/3).
        found = word_lengths(plackett_burman(12)[:, :5])
        np.testing.assert_allclose(found[:5], [1, 0, 0, 10 / 9, 5 / 9], rtol=1e-14, atol=0)

    @pytest.mark.parametrize("runs", [8, 12, 16, 20, 24, 32, 40, 48])
    def test_beside_another_generator(self, runs):
        # pyDOE3 1.6 has none of 28, 36 and 44. Signs and order differ, so counts are compared: how much
        # threes share, over all of them.
        theirs = pyDOE3.pbdesign(runs - 1)
        assert theirs.shape == (runs, runs - 1)
        full = np.column_stack([np.ones(runs), theirs])
        np.testing.assert_array_equal(full.T @ full, runs * np.eye(runs))
        ours = threes(plackett_burman(runs))
        if runs in (24, 48):
            # It doubles the plan of 12, where some factors share wholly with pairs; ours comes of residues.
            assert max(threes(theirs)) == runs > max(ours)
        else:
            assert threes(theirs) == ours


def threes(plan):
    """Count the threes by how much they share."""
    values = [abs(int(np.sum(plan[:, i] * plan[:, j] * plan[:, k]))) for i, j, k in all_threes(plan)]
    return {value: values.count(value) for value in sorted(set(values))}


def all_threes(plan):
    return combinations(range(plan.shape[1]), 3)


class TestSurfaces:
    @pytest.mark.parametrize(
        ("factors", "corners", "expected"),
        # NIST/SEMATECH e-Handbook 5.3.3.6.1, table of alpha for rotatability; half fraction at five.
        [
            (2, 4, "1.414"),
            (3, 8, "1.682"),
            (4, 16, "2.000"),
            (5, 32, "2.378"),
            (6, 64, "2.828"),
            (5, 16, "2.000"),
        ],
    )
    def test_rotatable_distance(self, factors, corners, expected):
        assert f"{axial_distance(factors, corners, 3):.3f}" == expected

    @pytest.mark.parametrize(
        ("factors", "runs"),
        # Box & Behnken, Technometrics 2 (1960), with the usual middle pots; 15, 27, 46 and 54 also as listed
        # beside central composite plans in the NIST/SEMATECH e-Handbook 5.3.3.6.3. All from memory.
        [(3, 15), (4, 27), (5, 46), (6, 54), (7, 62)],
    )
    def test_box_behnken_sizes(self, factors, runs):
        assert len(box_behnken(factors)) == runs

    @pytest.mark.parametrize("factors", [3, 4, 5])
    def test_box_behnken_beside_another_generator(self, factors):
        # For six and seven factors pyDOE3 takes all pairs (66 and 90 pots) instead of the published threes.
        theirs = pyDOE3.bbdesign(factors)
        assert sorted(map(tuple, box_behnken(factors))) == sorted(map(tuple, theirs))

    @pytest.mark.parametrize("factors", [2, 3, 4])
    @pytest.mark.parametrize(
        ("axial", "face"), [("circumscribed", "ccc"), ("faced", "ccf"), ("inscribed", "cci")]
    )
    def test_central_composite_beside_another_generator(self, factors, axial, face):
        theirs = pyDOE3.ccdesign(factors, center=(0, 4), alpha="rotatable", face=face)
        ours = central_composite(factors, axial=axial, centre=4)
        np.testing.assert_allclose(rows_in_order(ours), rows_in_order(theirs), atol=1e-12)

    def test_all_combinations_beside_another_generator(self):
        theirs = pyDOE3.fullfact([2, 3, 4])
        np.testing.assert_allclose(full_factorial([2, 3, 4]), 2 * theirs / [1, 2, 3] - 1, atol=1e-15)


def rows_in_order(table):
    rounded = np.round(table, 9) + 0.0
    return rounded[np.lexsort(rounded.T)]
