import numpy as np
import pytest

from sagglab.errors import ModelError
from sagglab.model.balanced import expected_balanced, fit_balanced
from sagglab.model.judges import read_strata
from sagglab.model.mixed import expected_mixed, fit_mixed
from sagglab.model.strata import EXACT, ONE_FIRING, ONE_POT_EACH, REML, expected, fit_strata
from sagglab.model.terms import Factor, Term

PEAK, SUGAR = (Term((Factor(name, name, ""),)) for name in ("peak", "sugar"))


def study(pots):
    """Peaks in turn, sugar on every second pot."""
    firing = np.repeat(np.arange(len(pots)), pots)
    within = np.concatenate([np.arange(many) % 2 for many in pots])
    blocks = {PEAK: firing[:, None] % 2 - 0.5, SUGAR: within[:, None] - 0.5}
    return blocks, {"firing": firing}


def drawn(firing, seed=0):
    rng = np.random.default_rng(seed)
    return 5 * rng.normal(size=firing.max() + 1)[firing] + 2 * rng.normal(size=len(firing))


def test_strata_are_those_of_the_fit():
    blocks, groups = study([4, 3, 5, 4])
    read = read_strata(blocks, groups, "pot", "plan")
    fitted = fit_strata(drawn(groups["firing"]), blocks, groups, "pot", "plan")
    assert read.strata == fitted.strata == {PEAK: "firing", SUGAR: "pot"}
    assert read.spare == fitted.spare == {"firing": 2, "pot": 11}
    assert (read.spans, read.varies) == (fitted.spans, fitted.varies)


@pytest.mark.parametrize("pots", [[4, 4], [1, 1], [2]])
def test_refusals_are_those_of_the_fit(pots):
    blocks, groups = study(pots)
    said = []
    for ask in (read_strata, lambda *a: expected(*a, {"firing": 3, "pot": 4})):
        with pytest.raises(ModelError) as raised:
            ask(blocks, groups, "pot", "plan")
        said.append(str(raised.value))
    with pytest.raises(ModelError) as raised:
        fit_strata(drawn(groups["firing"]), blocks, groups, "pot", "plan")
    assert said == [str(raised.value)] * 2


@pytest.mark.parametrize(("pots", "method"), [([4, 4, 4, 4], EXACT), ([4, 3, 5, 4, 6], REML)])
def test_at_the_scatter_of_a_fit_its_contrasts_come_back(pots, method):
    blocks, groups = study(pots)
    fitted = fit_strata(drawn(groups["firing"]), blocks, groups, "pot", "plan")
    spread = dict(fitted.variances[["component", "standard deviation"]].to_numpy())
    assert not fitted.fit.at_boundary
    foretold = expected(blocks, groups, "pot", "plan", spread)
    for weights in np.eye(3)[1:]:
        (one, how), (other, same) = fitted.contrast(weights), foretold.contrast(weights)
        assert how == same == method
        assert (other.standard_error, other.df) == pytest.approx((one.standard_error, one.df), rel=1e-6)
        assert other.estimate == 0


def test_one_firing_and_one_pot_each():
    blocks, groups = study([6])
    one = expected({SUGAR: blocks[SUGAR]}, groups, "pot", "plan", {"firing": 3, "pot": 4})
    contrast, method = one.contrast(np.array([0.0, 1]))
    assert method == ONE_FIRING
    assert (contrast.standard_error, contrast.df) == pytest.approx((4 * np.sqrt(2 / 3), 4))
    blocks, groups = study([1] * 6)
    each = expected({PEAK: blocks[PEAK]}, groups, "pot", "plan", {"firing": 3, "pot": 4})
    contrast, method = each.contrast(np.array([0.0, 1]))
    assert method == ONE_POT_EACH
    # Both scatters fall on each pot: 9 + 16 = 5².
    assert (contrast.standard_error, contrast.df) == pytest.approx((5 * np.sqrt(2 / 3), 4))


def test_joint_tests_keep_their_degrees_of_freedom():
    blocks, groups = study([4, 3, 5, 4, 6])
    X = np.hstack([np.ones((22, 1)), *blocks.values()])
    fit = fit_mixed(drawn(groups["firing"]), X, groups)
    foretold = expected_mixed(X, groups, fit.variances)
    np.testing.assert_allclose(foretold.covariance, fit.covariance, rtol=1e-8)
    rows = np.eye(3)[1:]
    assert foretold.joint(rows).denominator_df == pytest.approx(fit.joint(rows).denominator_df, rel=1e-8)


def test_mean_squares_are_those_that_the_scatter_leads_to():
    blocks, groups = study([4] * 6)
    X = np.hstack([np.ones((24, 1)), *blocks.values()])
    foretold = expected_balanced(X, groups, "pot", [9, 16])
    seen = np.mean(
        [
            fit_balanced(
                3 * rng.normal(size=6)[groups["firing"]] + 4 * rng.normal(size=24), X, groups, "pot"
            ).mean_squares
            for rng in map(np.random.default_rng, range(2000))
        ],
        axis=0,
    )
    assert foretold.mean_squares.tolist() == [52, 16]
    # 2,000 draws leave 1.6 % and 0.8 %: three of these.
    np.testing.assert_allclose(seen, [52, 16], rtol=0.048)
    assert expected_balanced(X[:-1], {"firing": groups["firing"][:-1]}, "pot", [9, 16]) is None
