import numpy as np
import pytest
from scipy import stats

from sagglab.model.balanced import fit_balanced
from sagglab.model.mixed import fit_mixed


def study(seed=0, firings=6, pots=6, firing_sd=3.0):
    """Balanced: a firing-level column, and two within firings that are orthogonal to each other."""
    rng = np.random.default_rng(seed)
    labels = np.repeat(np.arange(firings), pots)
    X = np.column_stack(
        [
            np.ones(len(labels)),
            (labels % 2) - 0.5,
            np.tile(np.arange(pots) % 2 - 0.5, firings),
            np.tile(np.arange(pots) // 2 - (pots / 2 - 1) / 2, firings),
        ]
    )
    y = X @ [40, 1, 2, -1] + firing_sd * rng.normal(size=firings)[labels] + 2.5 * rng.normal(size=len(labels))
    return y, X, labels


def test_firing_level_is_the_t_test_of_firing_means():
    y, X, labels = study()
    contrast = fit_balanced(y, X, {"firing": labels}, "pot").contrast([0, 1, 0, 0])
    means = y.reshape(6, 6).mean(axis=1)
    other = stats.ttest_ind(means[1::2], means[::2])
    assert contrast.estimate == pytest.approx(means[1::2].mean() - means[::2].mean(), rel=1e-12)
    assert (contrast.t, contrast.df, contrast.p) == pytest.approx(
        (other.statistic, 4, other.pvalue), rel=1e-10
    )


def test_pot_level_is_the_paired_t_test():
    # Two pots in each firing: the difference within firings is the paired t of SciPy.
    rng = np.random.default_rng(3)
    labels = np.repeat(np.arange(9), 2)
    X = np.column_stack([np.ones(18), np.tile([0.0, 1], 9)])
    y = X @ [40, 2] + 5 * rng.normal(size=9)[labels] + rng.normal(size=18)
    contrast = fit_balanced(y, X, {"firing": labels}, "pot").contrast([0, 1])
    other = stats.ttest_rel(y[1::2], y[::2])
    assert (contrast.t, contrast.df, contrast.p) == pytest.approx(
        (other.statistic, 8, other.pvalue), rel=1e-10
    )


@pytest.mark.parametrize("seed", range(4))
def test_it_is_kenward_roger_while_no_variance_is_zero(seed):
    y, X, labels = study(seed)
    mixed, exact = (fit(y, X, {"firing": labels}) for fit in (fit_mixed, lambda *a: fit_balanced(*a, "pot")))
    assert mixed.at_boundary == ()
    for row in np.eye(4)[1:]:
        one, other = mixed.contrast(row), exact.contrast(row)
        assert (one.estimate, one.standard_error, one.df) == pytest.approx(
            (other.estimate, other.standard_error, other.df), rel=1e-6
        )
    one, other = mixed.joint(np.eye(4)[2:]), exact.joint(np.eye(4)[2:])
    assert (one.f, one.denominator_df) == pytest.approx((other.f, other.denominator_df), rel=1e-6)


def test_at_the_boundary_the_firings_own_mean_square_judges():
    y, X, labels = study(1, firing_sd=0.0)
    for firing in range(6):  # firing means made to differ by half of what their pots would make them
        here = labels == firing
        y[here] -= 0.5 * (y[here].mean() - X[here].mean(axis=0) @ [40, 1, 2, -1])
    mixed = fit_mixed(y, X, {"firing": labels})
    exact = fit_balanced(y, X, {"firing": labels}, "pot")
    assert mixed.at_boundary == ("firing",)
    assert exact.contrast([0, 1, 0, 0]).standard_error < mixed.contrast([0, 1, 0, 0]).standard_error
    assert exact.mean_squares[0] < exact.mean_squares[1]


def test_three_levels():
    # Two days of three firings of four pots: what differs between days rests on days alone.
    rng = np.random.default_rng(5)
    day, firing = np.repeat(np.arange(6), 12), np.repeat(np.arange(18), 4)
    X = np.column_stack([np.ones(72), (day % 2) - 0.5, (firing % 3) - 1.0, np.tile([-0.5, 0.5], 36)])
    y = 4 * rng.normal(size=6)[day] + 2 * rng.normal(size=18)[firing] + rng.normal(size=72)
    exact = fit_balanced(y, X, {"day": day, "firing": firing}, "pot")
    assert exact.strata == ("day", "firing", "pot")
    assert exact.df.tolist() == [6 - 2, 18 - 6 - 1, 72 - 18 - 1]
    assert [exact.contrast(row).df for row in np.eye(4)[1:]] == [4, 11, 53]
    means = y.reshape(6, 12).mean(axis=1)
    assert exact.contrast([0, 1, 0, 0]).t == pytest.approx(stats.ttest_ind(means[1::2], means[::2]).statistic)


def test_firings_of_unequal_size_are_not_balanced():
    y, X, labels = study()
    assert fit_balanced(y[1:], X[1:], {"firing": labels[1:]}, "pot") is None


def test_a_term_in_two_strata_is_not_balanced():
    y, X, labels = study()
    X[0, 3] += 1
    assert fit_balanced(y, X, {"firing": labels}, "pot") is None


def test_a_contrast_in_two_strata_has_no_exact_answer():
    y, X, labels = study()
    exact = fit_balanced(y, X, {"firing": labels}, "pot")
    assert exact.contrast([0, 1, 1, 0]) is None
    assert exact.joint(np.eye(4)[1:3]) is None
    assert exact.contrast([1, 0, 0, 0]).df == 4


def test_chance_is_taken_for_an_effect_five_times_in_a_hundred():
    # 4 firings of 6 pots, firing SD 4, pot SD 3; four standard errors of 1,000 draws are .028.
    rng = np.random.default_rng(77)
    labels = np.repeat(np.arange(4), 6)
    X = np.column_stack([np.ones(24), (labels % 2) - 0.5, np.tile([-0.5, 0.5], 12)])
    found = np.zeros(2)
    for _ in range(1000):
        y = 4 * rng.normal(size=4)[labels] + 3 * rng.normal(size=24)
        exact = fit_balanced(y, X, {"firing": labels}, "pot")
        found += [exact.contrast(row).p < 0.05 for row in np.eye(3)[1:]]
    assert found / 1000 == pytest.approx([0.05, 0.05], abs=0.028)
