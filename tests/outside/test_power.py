"""Power against values from outside: printed digits, no looser."""

import numpy as np
import pytest
from scipy import integrate, stats
from statsmodels.stats.power import TTestIndPower

from sagglab.plan.power import firings_needed, power_of, smallest_told


@pytest.mark.parametrize(
    ("firings", "pot_level", "firing_level"),
    # Computed with SciPy's noncentral distributions (table "power" of the outside checks): firing SD 3, pot
    # SD 4, difference 5, 6 pots in each firing.
    # It prints .433 for a firing-level factor in 8 firings; its own formula (λ = 4.286 on 6 degrees of
    # freedom) gives .413 in SciPy, and so did 400,000 drawn t tests (.4135): that is what is held to.
    [(3, 0.694, 0.082), (4, 0.827, 0.144), (6, 0.952, 0.282), (8, 0.988, 0.413)],
)
def test_table_of_firings(firings, pot_level, firing_level):
    table = firings_needed(5, 3, 4, firings=[firings], pots=[6]).table
    assert table[["pot-level", "firing-level"]].round(3).to_numpy().tolist() == [[pot_level, firing_level]]


def test_seventeen_firings_and_pots_without_end():
    # The same table: 17 firings of 6 pots for 80 of 100; .35 with pots without end in 6 firings.
    needed = firings_needed(5, 3, 4, pots=[6]).needed
    assert needed["firing-level"].iloc[0] == 17
    endless = firings_needed(5, 3, 4, firings=[6], pots=[10**9]).table
    assert round(endless["firing-level"].item(), 2) == 0.35


@pytest.mark.parametrize("df", [1, 2, 3.5, 18, 400])
@pytest.mark.parametrize("ratio", [0.1, 1.0, 2.5, 6.0])
def test_power_is_scipys_noncentral_t_and_f(df, ratio):
    # SciPy (scipy.stats.nct and ncf), a second implementation.
    cut = stats.t.ppf(0.975, df)
    both = stats.nct.sf(cut, df, ratio) + stats.nct.cdf(-cut, df, ratio)
    assert power_of(2 * ratio, 2, df) == pytest.approx(both, abs=1e-9)
    assert power_of(2 * ratio, 2, df) == pytest.approx(stats.ncf.sf(cut**2, 1, df, ratio**2), abs=1e-9)


@pytest.mark.parametrize("df", [2, 7])
def test_power_by_the_definition_of_t(df):
    # By quadrature over the chi-square of the standard error: no noncentral distribution at all.
    cut, shift = stats.t.ppf(0.975, df), 2.0

    def told(square):
        size = cut * np.sqrt(square / df)
        return (stats.norm.sf(size - shift) + stats.norm.cdf(-size - shift)) * stats.chi2.pdf(square, df)

    assert power_of(shift, 1, df) == pytest.approx(integrate.quad(told, 0, np.inf)[0], abs=1e-7)


def test_two_groups_as_statsmodels_has_them():
    # statsmodels TTestIndPower: two groups of 10, difference 1.2 standard deviations, 18 degrees of freedom.
    other = TTestIndPower().power(1.2, 10, 0.05)
    assert power_of(1.2, np.sqrt(2 / 10), 18) == pytest.approx(other, abs=1e-8)
    needed = TTestIndPower().solve_power(None, 10, 0.05, 0.8)
    assert smallest_told(np.sqrt(2 / 10), 18) == pytest.approx(needed, rel=1e-5)
