"""Screening against published studies, to the digits printed, and against chance drawn anew."""

from itertools import combinations, product

import numpy as np
import pandas as pd
import pytest

from sagglab.model.lenth import cut_offs, pseudo_standard_error, t_cut_offs
from sagglab.model.screening import screen_effects


def in_standard_order(y, names):
    """All recipes of factors at −1 and +1, the first factor changing fastest, fired together."""
    rows = [row[::-1] for row in product((-1.0, 1.0), repeat=len(names))]
    return pd.DataFrame(rows, columns=list(names)).assign(firing="one", y=y)


def screened(y, names):
    return screen_effects(in_standard_order(y, names), outcome="y", factors=list(names))


def estimates(screening):
    return screening.table.set_index("term")["estimate"].to_dict()


class TestEddyCurrent:
    # NIST/SEMATECH e-Handbook of Statistical Methods, chapter 5, eddy current probe: the data, and its
    # effects, which are half of the differences between means.
    @pytest.fixture(scope="class")
    @classmethod
    def screening(cls):
        return screened([1.70, 4.57, 0.55, 3.39, 1.51, 4.59, 0.67, 4.29], ["X1", "X2", "X3"])

    def test_effects(self, screening):
        halves = {
            "X1": 1.55125, "X2": -0.43375, "X3": 0.10625,
            "X1 × X2": 0.06375, "X1 × X3": 0.12375, "X2 × X3": 0.14875, "X1 × X2 × X3": 0.07125,
        }  # fmt: skip
        assert estimates(screening) == pytest.approx({k: 2 * v for k, v in halves.items()}, abs=1e-12)

    def test_pseudo_standard_error(self, screening):
        # Computed from the printed effects with a general-purpose library.
        assert screening.margins["PSE"].item() == pytest.approx(0.345, abs=1e-12)


class TestPilotPlant:
    # Data: Box, Hunter and Hunter, Statistics for Experimenters. Margins computed from them by
    # Lenth's formulas with a general-purpose library.
    @pytest.fixture(scope="class")
    @classmethod
    def screening(cls):
        return screened([60, 72, 54, 68, 52, 83, 45, 80], ["T", "C", "K"])

    def test_effects(self, screening):
        assert estimates(screening) == pytest.approx(
            {"T": 23, "C": -5, "K": 1.5, "T × C": 1.5, "T × K": 10, "C × K": 0, "T × C × K": 0.5}, abs=1e-12
        )

    def test_margins(self, screening):
        margins = screening.margins.iloc[0]
        assert margins["PSE"] == pytest.approx(2.25, abs=1e-12)
        assert round(margins["margin for one by t"], 2) == 8.47
        assert round(margins["margin for all by t"], 2) == 20.27


class TestFiltration:
    # Montgomery, Design and Analysis of Experiments: filtration rate of a chemical product.
    @pytest.fixture(scope="class")
    @classmethod
    def screening(cls):
        return screened(
            [45, 71, 48, 65, 68, 60, 80, 65, 43, 100, 45, 104, 75, 86, 70, 96], ["A", "B", "C", "D"]
        )

    def test_effects(self, screening):
        found = estimates(screening)
        printed = {"A": 21.625, "C": 9.875, "D": 14.625, "A × C": -18.125, "A × D": 16.625}
        assert {term: found[term] for term in printed} == pytest.approx(printed, abs=1e-12)

    def test_margins(self, screening):
        # Lenth, Technometrics 31 (1989), for the method; computed from the data.
        margins = screening.margins.iloc[0]
        assert margins["PSE"] == pytest.approx(2.625, abs=1e-12)
        assert round(margins["margin for one by t"], 3) == 6.748
        assert round(margins["margin for all by t"], 3) == 13.699

    def test_the_five_that_the_book_takes_to_be_real_stand_out(self, screening):
        table = screening.table
        assert set(table.loc[table["beyond"] != "", "term"]) == {"A", "C", "D", "A × C", "A × D"}


class TestCutOffs:
    # Simulated by an implementation independent of this one, to two digits after the point. The
    # standard errors beside them are those of 100,000 drawn studies, measured over seeds; three are allowed.
    @pytest.mark.parametrize(
        ("effects", "one", "largest", "errors"),
        [
            (7, 2.31, 4.94, (0.007, 0.04)),
            (15, 2.16, 4.22, (0.004, 0.02)),
            (31, 2.07, 3.93, (0.003, 0.01)),
        ],
    )
    def test_against_another_simulation(self, effects, one, largest, errors):
        found = cut_offs(effects)
        assert found[0] == pytest.approx(one, abs=0.005 + 3 * errors[0])
        assert found[1] == pytest.approx(largest, abs=0.005 + 3 * errors[1])

    @pytest.mark.parametrize("effects", [7, 12, 15, 31, 63])
    def test_chance_drawn_anew_goes_beyond_as_often_as_it_should(self, effects):
        drawn = np.abs(np.random.default_rng(20_260_101).normal(size=(40_000, effects)))
        ratio = drawn / pseudo_standard_error(drawn)[:, None]
        one, largest, _ = cut_offs(effects)
        assert np.mean(ratio > one) == pytest.approx(0.05, abs=0.002)
        # Standard error of 40,000 draws at 5 %: 0.0011.
        assert np.mean(ratio.max(axis=1) > largest) == pytest.approx(0.05, abs=0.0035)

    def test_of_effects_held_against_the_scatter_of_others(self):
        drawn = np.abs(np.random.default_rng(20_260_102).normal(size=(40_000, 15)))
        ratio = drawn / pseudo_standard_error(drawn[:, :7])[:, None]
        one, largest, one_beside = cut_offs(7, 8)
        assert np.mean(ratio[:, :7] > one) == pytest.approx(0.05, abs=0.002)
        assert np.mean(ratio[:, 7:] > one_beside) == pytest.approx(0.05, abs=0.0025)
        assert np.mean(ratio.max(axis=1) > largest) == pytest.approx(0.05, abs=0.0035)

    def test_margins_by_t_are_wider(self):
        # Too wide, since a third as many degrees of freedom as effects are too few.
        for effects in (7, 15, 31):
            assert t_cut_offs(effects)[0] > cut_offs(effects)[0]
            assert t_cut_offs(effects)[1] > cut_offs(effects)[1]

    def test_pseudo_standard_error_against_its_definition(self):
        drawn = np.random.default_rng(4).standard_t(2, size=(500, 12))
        for effects, found in zip(drawn, pseudo_standard_error(drawn), strict=True):
            sizes = np.abs(effects)
            s0 = 1.5 * np.median(sizes)
            assert found == pytest.approx(1.5 * np.median(sizes[sizes < 2.5 * s0]), rel=1e-12)


def test_whole_studies_of_nothing_but_scatter():
    """One study in twenty has anything beyond the margin for all: pots of 2⁴ recipes."""
    rng = np.random.default_rng(77)
    pots = in_standard_order(0.0, "ABCD")
    beyond = [
        (
            screen_effects(pots.assign(y=rng.normal(40, 3, 16)), outcome="y", factors=list("ABCD")).table[
                "beyond"
            ]
        )
        for _ in range(200)
    ]
    # Standard error of 200 at 5 %: 0.0154.
    assert np.mean([(found == "margin for all").any() for found in beyond]) == pytest.approx(0.05, abs=0.046)
    assert np.mean([(found != "").mean() for found in beyond]) == pytest.approx(0.05, abs=0.02)


def chains(names, made):
    """Screen a regular part of all recipes, its last factors made from the first by words with a sign."""
    base = len(names) - len(made)
    pots = in_standard_order(0.0, names[:base])
    for name, (sign, word) in zip(names[base:], made, strict=True):
        pots[name] = sign * pots[list(word)].prod(axis=1)
    pots["y"] = np.random.default_rng(2).normal(size=len(pots))
    return screen_effects(pots, outcome="y", factors=list(names)).table.set_index("term")["aliases"].to_dict()


class TestAliases:
    # Words of the defining relation times each effect, as any text on fractional factorials has it, such as
    # NIST/SEMATECH e-Handbook 5.3.3.4: checked here by hand.
    def test_half_of_five_factors(self):
        found = chains("ABCDE", [(1, "ABCD")])
        assert len(found) == 15
        assert found["A"] == "+ B × C × D × E"
        assert found["A × B"] == "+ C × D × E"
        assert found["D × E"] == "+ A × B × C"

    def test_the_other_half(self):
        found = chains("ABCD", [(-1, "ABC")])
        assert found == {
            "A": "− B × C × D", "B": "− A × C × D", "C": "− A × B × D", "D": "− A × B × C",
            "A × B": "− C × D", "A × C": "− B × D", "A × D": "− B × C",
        }  # fmt: skip

    def test_seven_factors_in_eight_recipes(self):
        # D = AB, E = AC, F = BC, G = ABC: 3 × 7 words of three letters give each factor three pairs.
        found = chains("ABCDEFG", [(1, "AB"), (1, "AC"), (1, "BC"), (1, "ABC")])
        assert list(found) == list("ABCDEFG")
        assert found["A"].startswith("+ B × D + C × E + F × G ")
        assert found["G"].startswith("+ A × F + B × E + C × D ")
        assert {text.count("+") for text in found.values()} == {15}

    def test_eight_factors_of_resolution_four(self):
        # F = ABC, G = ABD, H = BCDE: the shortest words of the relation have four letters: no factor goes
        # with a pair, and CF = AB, DG = AB, FG = CD.
        found = chains("ABCDEFGH", [(1, "ABC"), (1, "ABD"), (1, "BCDE")])
        assert len(found) == 31
        pairs = [text for term, text in found.items() if term.count("×") == 0]
        assert not any(word.count("×") == 1 for text in pairs for word in text.split(" + "))
        assert found["C × D"].startswith("+ F × G ")
        assert found["A × B"].startswith("+ C × F + D × G ")


class TestPlackettBurman:
    # Plackett and Burman, Biometrika 33 (1946): 12 runs, a row of signs moved on one place at a time, and a
    # row of one sign; here as all plus, then the shifts of − + − + + + − − − + −.
    shifts = np.add.outer(np.arange(11), np.arange(11)) % 11
    signs = np.vstack([np.ones(11), np.array([-1.0, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1])[shifts]])
    names = tuple(f"x{k}" for k in range(1, 12))

    def screened(self, y):
        pots = pd.DataFrame(self.signs, columns=list(self.names)).assign(firing="one", y=y)
        return screen_effects(pots, outcome="y", factors=self.names)

    def test_main_effects(self):
        noise = np.random.default_rng(5).normal(size=12)
        table = self.screened(50 + 4 * self.signs[:, 2] - 3 * self.signs[:, 7] + 0.1 * noise).table
        assert table["term"].tolist() == list(self.names)
        differences = [
            (noise * 0.1)[self.signs[:, k] > 0].mean() - (noise * 0.1)[self.signs[:, k] < 0].mean()
            + {2: 8, 7: -6}.get(k, 0)
            for k in range(11)
        ]  # fmt: skip
        np.testing.assert_allclose(table["estimate"], differences, atol=1e-12)
        assert set(table.loc[table["beyond"] == "margin for all", "term"]) == {"x3", "x8"}

    def test_an_interaction_of_two_shows_by_a_third_in_each_other_factor(self):
        for one, other in combinations(range(11), 2):
            y = self.signs[:, one] * self.signs[:, other]
            found = np.array([y @ self.signs[:, k] * 2 / 12 for k in range(11)])
            rest = np.delete(found, [one, other])
            np.testing.assert_allclose(np.abs(rest), 2 / 3, atol=1e-12)
        noise = 1e-3 * np.random.default_rng(1).normal(size=12)
        estimates = self.screened(y + noise).table["estimate"]
        np.testing.assert_allclose(np.abs(estimates[:9]), 2 / 3, atol=0.01)
        np.testing.assert_allclose(estimates[9:], 0, atol=0.01)


def test_of_firings_with_a_scatter_of_their_own_few_effects_are_taken_to_be_real():
    """Three factors of firings and three of pots, nothing real: firings scatter, pots hardly."""
    rng = np.random.default_rng(11)
    names = ["peak", "hold", "pace", "sugar", "salt", "clay"]
    pots = pd.DataFrame(list(product((-1.0, 1.0), repeat=6)), columns=names)
    fires = np.repeat(np.arange(8), 8)
    pots["firing"] = [f"f{k}" for k in fires]
    apart, mixed = [], []
    for _ in range(100):
        pots["y"] = 5 * rng.normal(size=8)[fires] + rng.normal(size=64)
        table = screen_effects(pots, outcome="y", factors=names).table
        of_firings = table["stratum"] == "firing"
        apart.append((table.loc[of_firings, "beyond"] == "margin for all").any())
        ratio = table["estimate"].abs() / pseudo_standard_error(table["estimate"])
        mixed.append((ratio[of_firings] > cut_offs(63)[1]).any())
    # Standard error of 100 at 5 %: 0.022. Judged all together, nearly every study would show something.
    assert np.mean(apart) <= 0.05 + 3 * 0.022
    assert np.mean(mixed) > 0.9
