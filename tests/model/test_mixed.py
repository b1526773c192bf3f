import warnings

import numpy as np
import pytest
from scipy import linalg

from sagglab.errors import ModelError
from sagglab.model.mixed import fit_mixed, indicators


def unbalanced(seed, firings=7, firing_sd=2.0, pot_sd=2.5):
    """Pots unevenly spread over firings, with an amount that varies within and one that varies between."""
    rng = np.random.default_rng(seed)
    labels = np.repeat(np.arange(firings), rng.integers(2, 8, firings))
    X = np.column_stack(
        [np.ones(len(labels)), rng.integers(0, 4, len(labels)), rng.normal(750, 20, firings)[labels] - 750]
    )
    y = X @ [44, -1.8, -0.05] + firing_sd * rng.normal(size=firings)[labels]
    return y + pot_sd * rng.normal(size=len(labels)), X, labels


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_an_independent_fit(seed):
    from statsmodels.regression.mixed_linear_model import MixedLM

    y, X, labels = unbalanced(seed, firings=12, firing_sd=4)
    ours = fit_mixed(y, X, {"firing": labels})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(y, X, groups=labels).fit(reml=True, method="bfgs", gtol=1e-9)
    assert ours.coefficients == pytest.approx(theirs.fe_params, rel=1e-4)
    assert ours.variances == pytest.approx([theirs.cov_re.item(), theirs.scale], rel=1e-4)
    assert ours.minus_two_reml == pytest.approx(-2 * theirs.llf, abs=1e-6)


def refined(rough):
    """Central differences at steps 1, 1/2 and 1/4, extrapolated twice by Richardson's rule."""
    first, second, third = (rough(step) for step in (1, 0.5, 0.25))
    return (16 * (4 * third - second) - (4 * second - first)) / 45


def second_difference(function, at, i, j):
    """∂²f/∂θi∂θj, from steps of a twentieth of each variance."""
    a, b = (np.eye(len(at))[k] * at[k] / 20 for k in (i, j))

    def rough(h):
        ends = [sign * function(at + h * (s * a + t * b)) for s, t, sign in SIGNS]
        return sum(ends) / (4 * h**2 * a[i] * b[j])

    return refined(rough)


SIGNS = ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))


def first_difference(function, at, i):
    a = np.eye(len(at))[i] * at[i] / 20
    return refined(lambda h: (function(at + h * a) - function(at - h * a)) / (2 * h * a[i]))


@pytest.mark.parametrize("seed", range(4))
def test_kenward_roger_by_numerical_derivatives(seed):
    y, X, labels = unbalanced(seed, firing_sd=3)
    fit = fit_mixed(y, X, {"firing": labels})
    Z = indicators(labels)
    contrasts = linalg.null_space(X.T)
    truth = fit.variances

    def covariance(variances):
        return variances[0] * Z @ Z.T + variances[1] * np.eye(len(y))

    def phi(variances):
        return linalg.inv(X.T @ linalg.solve(covariance(variances), X))

    def expected_criterion(variances):
        # −log restricted likelihood, averaged over observations that follow the fitted variances.
        inner = contrasts.T @ covariance(variances) @ contrasts
        mean = np.trace(linalg.solve(inner, contrasts.T @ covariance(truth) @ contrasts))
        return 0.5 * (np.linalg.slogdet(inner)[1] + mean)

    pairs = [(i, j) for i in range(2) for j in range(2)]
    information = np.array([second_difference(expected_criterion, truth, i, j) for i, j in pairs]).reshape(
        2, 2
    )
    W = linalg.inv(information)
    assert fit.variance_covariance == pytest.approx(W, rel=1e-6)
    # With V linear in the variances Kenward and Roger's adjustment is −Σ Wij ∂²Φ/∂θi∂θj.
    curvature = sum(W[i, j] * second_difference(phi, truth, i, j) for i, j in pairs)
    assert fit.covariance == pytest.approx(phi(truth) - curvature, rel=1e-6)
    for weights in ([0, 1, 0], [0, 0, 1], [1, 2, 10.0]):
        weights = np.array(weights)
        # For one contrast the df are 2 v² / var(v), v the variance of the contrast in the variances.
        slope = np.array([first_difference(lambda v, w=weights: w @ phi(v) @ w, truth, i) for i in range(2)])
        variance = weights @ phi(truth) @ weights
        contrast = fit.contrast(weights)
        assert contrast.df == pytest.approx(2 * variance**2 / (slope @ W @ slope), rel=1e-6)
        joint = fit.joint(weights)
        assert joint.f == pytest.approx(contrast.t**2, rel=1e-9)
        assert joint.denominator_df == pytest.approx(contrast.df, rel=1e-9)
        assert joint.p == pytest.approx(contrast.p, rel=1e-9)


def test_a_restricted_maximum_is_found_within_the_bounds():
    for seed in range(20):
        y, X, labels = unbalanced(seed, firings=4, firing_sd=0.5)
        fit = fit_mixed(y, X, {"firing": labels})
        contrasts, Z = linalg.null_space(X.T), indicators(labels)
        seen = contrasts.T @ y

        def criterion(firing, pot, contrasts=contrasts, Z=Z, seen=seen):
            inner = contrasts.T @ (firing * Z @ Z.T + pot * np.eye(len(Z))) @ contrasts
            return np.linalg.slogdet(inner)[1] + seen @ linalg.solve(inner, seen)

        best = criterion(*fit.variances)
        grid = [
            criterion(firing, pot)
            for firing in [0, 1e-4, *np.geomspace(0.01, 100, 15)]
            for pot in fit.variances[1] * np.geomspace(0.5, 2, 9)
        ]
        assert best <= min(grid) + 1e-9


def test_the_higher_of_two_maxima_is_found():
    rng = np.random.default_rng(11)
    for _ in range(120):
        firings = rng.integers(3, 7)
        sizes = rng.integers(1, 9, firings)
        sizes[0] = 4
        labels = np.repeat(np.arange(firings), sizes)
        X = np.column_stack([np.ones(len(labels)), rng.normal(size=(len(labels), 2))])
        y = rng.choice([0, 0.5, 2]) * rng.normal(size=firings)[labels] + rng.normal(size=len(labels))
        if np.linalg.matrix_rank(np.column_stack([X, indicators(labels)])) == len(labels):
            continue
        firing, pot = fit_mixed(y, X, {"firing": labels}).variances
        # With one grouping the criterion depends on the ratio alone, over the residual space's own axes.
        contrasts, Z = linalg.null_space(X.T), indicators(labels)
        reach, axes = np.linalg.eigh(contrasts.T @ Z @ Z.T @ contrasts)
        squares = (axes.T @ contrasts.T @ y) ** 2

        def profile(ratio, reach=reach, squares=squares):
            spread = 1 + np.asarray(ratio)[..., None] * np.maximum(reach, 0)
            return len(squares) * np.log((squares / spread).mean(axis=-1)) + np.log(spread).sum(axis=-1)

        best = profile(np.append(0, np.geomspace(1e-4, 1e4, 200))).min()
        assert profile(firing / pot) <= best + 1e-7


def balanced(firings=6, pots=4, seed=0):
    rng = np.random.default_rng(seed)
    labels = np.repeat(np.arange(firings), pots)
    X = np.column_stack([np.ones(len(labels)), (labels % 2) - 0.5, np.tile([-0.5, 0.5], len(labels) // 2)])
    return X @ [40, 1, 2] + rng.normal(size=len(labels)), X, labels


def test_firing_variance_at_its_boundary_keeps_the_firing_degrees_of_freedom():
    y, X, labels = balanced()
    # Firing means made to agree with their level: no scatter between firings is left.
    for firing in range(6):
        y[labels == firing] += (40 + X[labels == firing, 1].mean()) - y[labels == firing].mean()
    fit = fit_mixed(y, X, {"firing": labels})
    assert fit.at_boundary == ("firing",)
    assert fit.variances[0] == 0
    assert fit.contrast([0, 1, 0]).df == pytest.approx(6 - 2)
    assert fit.contrast([0, 0, 1]).df == pytest.approx(24 - 6 - 1)


@pytest.mark.parametrize("scale", [1e-8, 1e8])
def test_the_unit_does_not_matter(scale):
    y, X, labels = unbalanced(3)
    one, other = (fit_mixed(y * size, X * [1, size, 1], {"firing": labels}) for size in (1, scale))
    assert other.variances == pytest.approx(one.variances * scale**2, rel=1e-6)
    for row in np.eye(3):
        assert other.contrast(row).df == pytest.approx(one.contrast(row).df, rel=1e-6)
        assert other.contrast(row).t == pytest.approx(one.contrast(row).t, rel=1e-6)


def test_many_uneven_studies_settle():
    rng = np.random.default_rng(8)
    for _ in range(300):
        labels = np.repeat(np.arange(5), rng.integers(1, 7, 5) + 1)
        X = np.column_stack([np.ones(len(labels)), rng.normal(size=(len(labels), 2))])
        y = rng.choice([0, 0.3, 1, 30]) * rng.normal(size=5)[labels] + rng.normal(size=len(labels))
        contrast = fit_mixed(y, X, {"firing": labels}).contrast([0, 1, 0])
        assert 0 < contrast.df < len(labels) - 2
        assert 0 <= contrast.p <= 1


def rejections(column, fits=400):
    """Share of studies without any effect in which p < .05: 4 firings of 6 pots, firing SD 4, pot SD 3."""
    rng = np.random.default_rng(20)
    labels = np.repeat(np.arange(4), 6)
    X = np.column_stack([np.ones(24), (labels % 2) - 0.5, np.tile([-0.5, 0.5], 12)])
    weights = np.eye(3)[column]
    count = 0
    for _ in range(fits):
        y = 4 * rng.normal(size=4)[labels] + 3 * rng.normal(size=24)
        count += fit_mixed(y, X, {"firing": labels}).contrast(weights).p < 0.05
    return count / fits


def test_chance_is_seldom_taken_for_an_effect():
    # 200,000 draws gave .033 (firing level) and .051 (pot level); four standard errors of 400 draws are .036
    # and .044.
    assert rejections(1) == pytest.approx(0.033, abs=0.036)
    assert rejections(2) == pytest.approx(0.051, abs=0.044)


def refusal(call, *args):
    with pytest.raises(ModelError) as caught:
        call(*args)
    return str(caught.value)


def test_dependent_columns_are_refused():
    y, X, labels = unbalanced(1)
    text = refusal(fit_mixed, y, np.column_stack([X, 2 * X[:, 1]]), {"firing": labels})
    assert text == (
        "mixed model: the pots cannot tell apart what always changes together: column 4 = +2 column 2. "
        "Leave one of them out, or fire pots that have one without the other."
    )


def test_too_few_observations_are_refused():
    assert refusal(fit_mixed, [1, 2], np.eye(2), {"firing": [1, 2]}) == (
        "mixed model: 2 observations leave nothing to judge 2 columns by. Drop columns or add rows."
    )


def test_scatters_that_cannot_be_told_apart_are_refused():
    assert refusal(fit_mixed, [1, 2, 4, 7], np.ones((4, 1)), {"firing": [1, 2, 3, 4]}) == (
        "mixed model: the scatter of firing and residual cannot be told apart. "
        "Observe more than once in each group."
    )


def test_a_used_up_grouping_is_refused():
    X = indicators([1, 1, 2, 2])
    assert refusal(fit_mixed, [1, 2, 4, 7], X, {"firing": [1, 1, 2, 2]}) == (
        "mixed model: the terms use up every difference between firings. Add firings or drop terms."
    )


def test_observations_without_scatter_are_refused():
    assert refusal(fit_mixed, [5.0] * 4, np.ones((4, 1)), {"firing": [1, 1, 2, 2]}) == (
        "mixed model: the terms reproduce every observation exactly. Drop terms or add observations."
    )
    assert refusal(fit_mixed, [5.0, 5, 7, 7, 8, 8], np.ones((6, 1)), {"firing": [1, 1, 2, 2, 3, 3]}) == (
        "mixed model: the terms leave no scatter within a group, so nothing can be judged by it. "
        "Drop terms or add observations."
    )


def test_missing_and_mismatched_input_is_refused():
    assert refusal(fit_mixed, [1, np.nan, 3], np.ones((3, 1)), {"firing": [1, 1, 2]}) == (
        "mixed model: a value is missing or not finite. Leave its row out."
    )
    assert "missing" in refusal(fit_mixed, [1, 2, 3], np.ones((3, 1)), {"firing": ["a", None, "b"]})
    assert refusal(fit_mixed, [1, 2, 3], np.ones((3, 1)), {"firing": [1, 1]}) == (
        "mixed model: lengths differ: [2, 3]. Give one row to each observation."
    )


def test_scatters_of_very_different_size_are_found():
    y, X, labels = unbalanced(2, firings=20, firing_sd=1e5)
    fit = fit_mixed(y, X, {"firing": labels})
    assert np.sqrt(fit.variances) == pytest.approx([1e5, 2.5], rel=0.5)
    assert fit.contrast([0, 1, 0]).estimate == pytest.approx(-1.8, abs=1.5)


def test_a_joint_test_of_very_few_pots_leaves_four_degrees():
    # Nine pots of two firings, a category of three levels beside an amount: the matched variance of the
    # scaled F runs to infinity.
    firing = np.repeat([0, 1], [6, 3])
    clay = np.array([[1.0, 0], [0, 1], [0, 1], [1, 0], [1, 0], [-1, -1], [1, 0], [1, 0], [1, 0]])
    sugar = np.array([2.0, 2, 2, 1, 2, 2, 1, 0, 0])
    X = np.column_stack([np.ones(9), sugar - sugar.mean(), clay])
    rng = np.random.default_rng(0)
    joint = fit_mixed(rng.normal(40, 3, 9), X, {"firing": firing}).joint(np.eye(4)[2:])
    assert joint.numerator_df == 2
    assert joint.denominator_df > 2
    assert 0 <= joint.p <= 1


def test_groups_that_scatter_in_a_slope_agree_with_an_independent_fit():
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(11)
    groups = np.repeat(np.arange(9), rng.integers(3, 7, 9))
    months = rng.uniform(0, 6, len(groups))
    y = 40 + (0.5 + rng.normal(0, 0.6, 9)[groups]) * months + rng.normal(0, 0.4, len(groups))
    X = np.column_stack([months, indicators(groups)])
    ours = fit_mixed(y, X, {"pot": months[:, None] * indicators(groups)})
    theirs = MixedLM(y, X, groups=groups, exog_re=months[:, None]).fit(reml=True, method="bfgs", gtol=1e-9)
    assert ours.coefficients == pytest.approx(theirs.fe_params, rel=1e-4)
    assert ours.variances == pytest.approx([theirs.cov_re.item(), theirs.scale], rel=1e-3)
    assert ours.minus_two_reml == pytest.approx(-2 * theirs.llf, abs=1e-6)


def test_slopes_on_balanced_months_keep_the_degrees_of_freedom_of_their_groups():
    rng = np.random.default_rng(12)
    groups, months = np.repeat(np.arange(6), 4), np.tile([0.0, 1, 2, 3], 6)
    slopes = rng.normal(0.5, 1, 6)
    y = slopes[groups] * months + rng.normal(0, 0.3, 24)
    fit = fit_mixed(
        y, np.column_stack([months, indicators(groups)]), {"pot": months[:, None] * indicators(groups)}
    )
    found = [np.polyfit([0, 1, 2, 3], y[groups == group], 1)[0] for group in range(6)]
    mean = fit.contrast([1, 0, 0, 0, 0, 0, 0])
    assert mean.estimate == pytest.approx(np.mean(found))
    assert mean.standard_error == pytest.approx(np.std(found, ddof=1) / np.sqrt(6))
    assert mean.df == pytest.approx(5)
