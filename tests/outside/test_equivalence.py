"""Two one-sided tests against statsmodels, and the value that its own tests carry."""

import numpy as np
import pytest
from statsmodels.stats.weightstats import DescrStatsW

from sagglab.setups.equivalence import two_one_sided


def test_the_paired_value_of_statsmodels_own_tests():
    # statsmodels, stats/tests/test_tost.py: paired difference .164667, standard error .135751, 14 degrees of
    # freedom, margin .6; p .0031669, there from the R package equivalence.
    assert two_one_sided(0.164667, 0.135751, 14, 0.6) == pytest.approx(0.0031669, rel=2e-4)


@pytest.mark.parametrize("seed", range(5))
def test_as_statsmodels_has_it(seed):
    differences = np.random.default_rng(seed).normal(0.4, 0.8, 12)
    error = differences.std(ddof=1) / np.sqrt(12)
    p, *_ = DescrStatsW(differences).ttost_mean(-1.0, 1.0)
    assert two_one_sided(differences.mean(), error, 11, 1.0) == pytest.approx(p, rel=1e-9)
