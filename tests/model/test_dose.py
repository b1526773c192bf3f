"""The shapes that an outcome follows as an amount grows: fits, left-out errors and refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.dose import COLUMNS, CURVE_COLUMNS, compare_doses
from sagglab.model.mixed import fit_mixed
from sagglab.model.shapes import EACH, K_SPAN, NONE, PRESENCE, ROOT, SATURATING, SHAPES, STRAIGHT


def study(truth, seed=1, firings=6, doses=(0.0, 1, 2, 3, 4, 6), firing_sd=2.0, pot_sd=1.0):
    """Each firing has every dose once, in an order of its own."""
    rng = np.random.default_rng(seed)
    fires = np.repeat(np.arange(firings), len(doses))
    sugar = np.concatenate([rng.permutation(doses) for _ in range(firings)])
    y = 40 + truth(sugar) + rng.normal(0, firing_sd, firings)[fires] + rng.normal(0, pot_sd, len(fires))
    return pd.DataFrame(
        {
            "pot": [f"p{k:02d}" for k in range(len(fires))],
            "firing": [f"f{k + 1}" for k in fires],
            "sugar [g]": sugar,
            "clay": rng.permutation(np.array(["buff", "red", "white"])[np.arange(len(fires)) % 3]),
            "peak_C": np.linspace(720, 780, firings)[fires],
            "L*": y,
        }
    )


def uneven(seed=3):
    """Firings of four to seven pots, doses as they came."""
    rng = np.random.default_rng(seed)
    results = study(lambda dose: -6 * (1 - np.exp(-dose / 2)), seed=seed, doses=(0.0, 0, 1, 2, 2, 4, 6))
    return results.drop(index=rng.choice(len(results), 9, replace=False))


def steep(dose):
    return -12 * (1 - np.exp(-dose / 1.5))


def straight(dose):
    return -2.0 * dose


def by_shape(doses):
    return doses.table.set_index("shape")


def refusal(*args, **kwargs):
    with pytest.raises(ModelError) as caught:
        compare_doses(*args, **kwargs)
    return str(caught.value)


def columns_of(shape, dose, k):
    return {
        NONE: np.empty((len(dose), 0)),
        PRESENCE: (dose > 0)[:, None].astype(float),
        STRAIGHT: dose[:, None],
        ROOT: np.sqrt(dose)[:, None],
        SATURATING: (1 - np.exp(-dose / k))[:, None],
        EACH: (dose[:, None] == np.unique(dose)[1:]).astype(float),
    }[shape]


def generalised(y, X, V):
    inverse = np.linalg.inv(V)
    b = np.linalg.solve(X.T @ inverse @ X, X.T @ inverse @ y)
    return b, float((y - X @ b) @ inverse @ (y - X @ b))


def left_out_by_hand(results, shape, others, variances, ks, within):
    """Leave out one firing after the other with whole covariance matrices; the mean square and k of each."""
    y, dose = results["L*"].to_numpy(), results["sugar [g]"].to_numpy()
    firing = results["firing"].to_numpy()
    squares, weight = 0.0, 0
    for left in np.unique(firing):
        out = firing == left
        V = variances[0] * (firing[~out][:, None] == firing[~out]) + variances[1] * np.eye(np.sum(~out))
        found = []
        for k in ks if shape == SATURATING else [1.0]:
            X = np.hstack([others, columns_of(shape, dose, k)])
            b, size = generalised(y[~out], X[~out], V)
            found.append((size, y[out] - X[out] @ b))
        error = min(found, key=lambda pair: pair[0])[1]
        error = error - error.mean() if within else error
        squares += error @ error
        weight += len(error) - within
    return np.sqrt(squares / weight)


class TestAgainstOthers:
    @pytest.mark.parametrize("shape", list(SHAPES))
    def test_left_out_errors_are_those_of_whole_covariance_matrices(self, shape):
        results = uneven()
        doses = compare_doses(results, "sugar", factors=["clay"])
        clay = results["clay"].to_numpy()
        others = np.column_stack([np.ones(len(clay)), clay == "red", clay == "white"]).astype(float)
        ks = 6 * np.geomspace(*K_SPAN, 121)
        variances = doses.fits[EACH].variances
        expected = left_out_by_hand(results, shape, others, variances, ks, within=True)
        assert by_shape(doses).loc[shape, "left-out error"] == pytest.approx(expected, rel=1e-8)

    def test_level_is_asked_where_the_amount_varies_between_firings_only(self):
        results = study(straight, firings=8, firing_sd=0.7)
        results["sugar [g]"] = results["firing"].map(
            dict(zip(results["firing"].unique(), [0, 1, 2, 3] * 2, strict=True))
        )
        results["sugar [g]"] = results["sugar [g]"].astype(float)
        doses = compare_doses(results, "sugar")
        assert not doses.within
        ones = np.ones((len(results), 1))
        variances = doses.fits[EACH].variances
        ks = 3 * np.geomspace(*K_SPAN, 121)
        for shape in SHAPES:
            expected = left_out_by_hand(results, shape, ones, variances, ks, within=False)
            assert by_shape(doses).loc[shape, "left-out error"] == pytest.approx(expected, rel=1e-8)

    def test_standard_error_of_a_difference_in_balance_is_that_of_the_firings_mean_squares(self):
        # In equal firings a root mean square moves, to first order, by the mean square over twice the root.
        results = study(straight)
        doses = compare_doses(results, "sugar")
        table = by_shape(doses)
        dose, y, firing = (results[name].to_numpy() for name in ("sugar [g]", "L*", "firing"))
        means = {}
        for shape in (STRAIGHT, ROOT):
            X = np.hstack([np.ones((36, 1)), columns_of(shape, dose, 1.0)])
            V = 0.0 + (firing[:, None] == firing) * doses.fits[EACH].variances[0]
            V = V + np.eye(36) * doses.fits[EACH].variances[1]
            errors = []
            for left in np.unique(firing):
                out = firing == left
                b, _ = generalised(y[~out], X[~out], V[np.ix_(~out, ~out)])
                error = y[out] - X[out] @ b
                errors.append(np.sum((error - error.mean()) ** 2) / (out.sum() - 1))
            means[shape] = np.array(errors)
        assert doses.best == STRAIGHT
        roots = {shape: np.sqrt(mean.mean()) for shape, mean in means.items()}
        apart = means[ROOT] / (2 * roots[ROOT]) - means[STRAIGHT] / (2 * roots[STRAIGHT])
        assert table.loc[ROOT, "difference"] == pytest.approx(roots[ROOT] - roots[STRAIGHT], rel=1e-8)
        assert table.loc[ROOT, "standard error"] == pytest.approx(stats.sem(apart), rel=1e-8)

    def test_k_leaves_the_least_squares_at_the_variances_of_the_richest_shape(self):
        results = uneven()
        doses = compare_doses(results, "sugar")
        y, dose = results["L*"].to_numpy(), results["sugar [g]"].to_numpy()
        firing = results["firing"].to_numpy()
        variances = doses.fits[EACH].variances
        V = variances[0] * (firing[:, None] == firing) + variances[1] * np.eye(len(y))
        ks = 6 * np.geomspace(*K_SPAN, 121)
        ones = np.ones((len(y), 1))
        sizes = [generalised(y, np.hstack([ones, columns_of(SATURATING, dose, k)]), V)[1] for k in ks]
        assert by_shape(doses).loc[SATURATING, "k"] == pytest.approx(ks[np.argmin(sizes)])

    def test_straight_line_is_that_of_another_mixed_model(self):
        from statsmodels.regression.mixed_linear_model import MixedLM

        results = study(straight)
        doses = compare_doses(results, "sugar")
        X = np.column_stack([np.ones(36), results["sugar [g]"]])
        theirs = MixedLM(results["L*"].to_numpy(), X, results["firing"]).fit(reml=True)
        curve = doses.curve[doses.curve["shape"] == STRAIGHT]
        assert curve["effect"].iloc[-1] == pytest.approx(6 * theirs.fe_params[1], rel=1e-5)


class TestCurve:
    def test_columns_amounts_and_shapes(self):
        doses = compare_doses(study(steep), "sugar")
        assert tuple(doses.table.columns) == COLUMNS
        assert tuple(doses.curve.columns) == CURVE_COLUMNS
        assert list(doses.table["shape"]) == list(SHAPES)
        for shape, curve in doses.curve.groupby("shape"):
            amounts = [0, 1, 2, 3, 4, 6] if shape == EACH else np.linspace(0, 6, 61)
            np.testing.assert_allclose(curve["amount"], amounts)
            assert (curve[["effect", "low", "high"]].iloc[0] == 0).all()

    @pytest.mark.parametrize("shape", [PRESENCE, STRAIGHT, ROOT, SATURATING, EACH])
    def test_band_is_the_interval_of_the_contrast(self, shape):
        results = uneven()
        doses = compare_doses(results, "sugar")
        k = by_shape(doses).loc[SATURATING, "k"]
        dose = results["sugar [g]"].to_numpy()
        X = np.hstack([np.ones((len(dose), 1)), columns_of(shape, dose, k)])
        fit = fit_mixed(results["L*"], X, {"firing": results["firing"]})
        last = columns_of(shape, np.unique(dose), k)[-1]
        contrast = fit.contrast([0, *last])
        drawn = doses.curve[doses.curve["shape"] == shape].iloc[-1]
        expected = [6, contrast.estimate, *contrast.interval()]
        np.testing.assert_allclose(drawn[["amount", "effect", "low", "high"]].to_numpy(dtype=float), expected)

    def test_pots_lie_about_the_curve_and_not_about_their_firing(self):
        results = study(steep, firing_sd=30)
        doses = compare_doses(results, "sugar", factors=["clay"])
        assert list(doses.points.index) == list(results.index)
        curve = doses.curve[doses.curve["shape"] == doses.best]
        apart = doses.points["effect"] - np.interp(doses.points["amount"], curve["amount"], curve["effect"])
        assert apart.abs().max() < 4
        np.testing.assert_allclose(apart.groupby(doses.points["firing"]).mean(), 0, atol=0.05)

    def test_results_are_left_alone_and_the_order_of_rows_does_not_matter(self):
        results = uneven()
        before = results.copy(deep=True)
        one = compare_doses(results, "sugar", factors=["clay"])
        pd.testing.assert_frame_equal(results, before)
        other = compare_doses(results.sample(frac=1, random_state=4), "sugar", factors=["clay"])
        pd.testing.assert_frame_equal(one.table, other.table, rtol=1e-6)
        pd.testing.assert_frame_equal(one.points, other.points.loc[one.points.index], rtol=1e-6)


class TestBest:
    @pytest.mark.parametrize(
        ("truth", "shape"),
        [
            (lambda dose: 0 * dose, NONE),
            (lambda dose: -8.0 * (dose > 0), PRESENCE),
            (straight, STRAIGHT),
            (lambda dose: -6 * np.sqrt(dose), ROOT),
            (steep, SATURATING),
            (lambda dose: 5 * np.sin(2 * dose), EACH),
        ],
    )
    def test_each_shape_is_found_where_the_scatter_is_small(self, truth, shape):
        # A single study can lead astray even so: one of the first five with the steep curve does.
        found = [
            compare_doses(study(truth, seed=seed, firings=12, pot_sd=0.3), "sugar").best
            for seed in range(1, 6)
        ]
        assert found.count(shape) >= 4

    def test_k_is_found_where_the_scatter_is_small(self):
        row = by_shape(compare_doses(study(steep, pot_sd=0.1), "sugar")).loc[SATURATING]
        assert row["k"] == pytest.approx(1.5, rel=0.05)
        assert row["note"].startswith("its interval takes k as known: ")

    def test_simplest_of_those_within_one_standard_error(self):
        doses = compare_doses(study(straight, seed=3), "sugar")
        table = by_shape(doses)
        near = table[table["difference"] <= table["standard error"]]
        assert table["difference"].min() == 0
        assert set(near.index) == {STRAIGHT, SATURATING}
        assert doses.best == STRAIGHT

    def test_an_amount_that_none_lack_is_counted_from_the_least(self):
        results = study(straight, doses=(1.0, 2, 3, 4, 5, 6))
        doses = compare_doses(results, "sugar")
        assert PRESENCE not in set(doses.table["shape"])
        assert doses.reference == 1
        assert doses.curve["amount"].min() == 1
        assert "from 1 g to 6 g" in by_shape(doses).loc[ROOT, "coefficients"]

    def test_doses_of_a_single_firing_have_no_shape_of_their_own(self):
        results = study(straight)
        results.loc[[0, 1], "sugar [g]"] = [5.0, 7.5]
        row = by_shape(compare_doses(results, "sugar")).loc[EACH]
        assert np.isnan(row["left-out error"])
        assert row["note"] == "not tried: one firing alone had 5 g, 7.5 g"

    def test_none_that_one_firing_alone_had_cannot_be_left_out(self):
        results = study(straight, doses=(1.0, 2, 3, 4, 5, 6))
        results.loc[:1, "sugar [g]"] = 0.0
        row = by_shape(compare_doses(results, "sugar")).loc[PRESENCE]
        assert np.isnan(row["left-out error"])
        assert row["note"] == "cannot be told without firing f1"
        assert row["coefficients"]


class TestSentences:
    def test_the_preferred_shape_and_those_that_cannot_be_told_from_it(self):
        doses = compare_doses(study(straight, seed=3), "sugar")
        first, second, third = doses.sentences()
        error = by_shape(doses)["left-out error"].min()
        assert first == (
            f"Each firing in turn predicted from the others, 'per unit' (a straight line) comes nearest: "
            f"pots lie {error:.2f} L* off, judged on 36 pots in 6 firings."
        )
        assert second == (
            "Within one standard error of it lies 'saturating': these cannot be told apart, "
            "and the simplest, 'per unit' (a straight line), is preferred."
        )
        assert third == f"By 'per unit': {by_shape(doses).loc[STRAIGHT, 'coefficients']}."
        assert " L* darker for each gram of sugar (95 % interval " in third

    def test_no_effect(self):
        doses = compare_doses(study(lambda dose: 0 * dose, firings=12, pot_sd=0.3), "sugar")
        assert doses.sentences()[-1] == "So these pots do not show that sugar makes a difference."

    def test_coefficients_in_words(self):
        said = by_shape(compare_doses(study(steep, pot_sd=0.01), "sugar"))["coefficients"]
        assert said[NONE] == "no difference"
        assert said[PRESENCE].endswith(" with any amount of sugar")
        assert said[ROOT].endswith(", growing with the square root")
        assert said[SATURATING].startswith("11.7")
        assert "63 % of the way to where it levels off at 1.491 g" in said[SATURATING]
        assert [part.partition(":")[0] for part in said[EACH].split("; ")] == [
            "1 g",
            "2 g",
            "3 g",
            "4 g",
            "6 g",
        ]

    def test_shares_are_said_in_points(self):
        results = study(lambda dose: 0.05 * dose, firing_sd=0.02, pot_sd=0.01)
        results["dark share"] = results["L*"] - 39.7
        doses = compare_doses(results, "sugar", outcome="dark share")
        assert "percentage points larger in dark share for each gram of sugar" in doses.sentence()

    def test_text_and_html(self):
        results = study(straight).rename(columns={"sugar [g]": "<i>sugar [g]"})
        results.loc[0, "L*"] = np.nan
        doses = compare_doses(results, "<i>sugar")
        assert repr(doses).startswith("L* by <i>sugar [g]: 35 pots in 6 firings; 1 row left out\n")
        assert "<i>" not in doses._repr_html_()


class TestRefusals:
    def test_two_amounts(self):
        results = study(straight, doses=(0.0, 0, 0, 2, 2, 2))
        assert refusal(results, "sugar") == (
            "doses of sugar: two amounts cannot show a shape. "
            "Fire pots with a third, or ask compare(results, 'sugar')."
        )

    def test_one_amount(self):
        assert "one amount cannot show a shape" in refusal(study(straight, doses=(2.0,) * 6), "sugar")

    def test_two_firings(self):
        assert refusal(study(straight, firings=2), "sugar") == (
            "doses of sugar: 2 firings cannot leave one out and predict it. Fire at least 3."
        )

    def test_words(self):
        assert refusal(study(straight), "clay") == (
            "doses of clay: it is no amount: the column holds words. Name a column of numbers."
        )

    def test_below_zero(self):
        assert refusal(study(straight, doses=(-1.0, 0, 1, 2, 3, 4)), "sugar") == (
            "doses of sugar: some amounts are below zero. Mend them, or leave those pots out."
        )

    def test_a_factor_that_never_varies(self):
        assert refusal(study(straight).assign(clay="buff"), "sugar", factors=["clay"]) == (
            "factor clay: it is the same on every pot, so it explains no difference. "
            "Leave it out, or add pots that differ in it."
        )

    def test_a_factor_that_goes_with_the_amount(self):
        results = study(straight)
        results["syrup [g]"] = 2 * results["sugar [g]"]
        said = refusal(results, "sugar", factors=["syrup"])
        assert said.startswith("doses of sugar: the pots cannot tell apart what always changes together: ")
        assert "sugar (per unit)" in said
        assert "syrup" in said

    def test_a_level_that_one_firing_alone_had(self):
        results = study(straight).assign(place="low")
        results.loc[[1, 3], "place"] = "high"
        assert refusal(results, "sugar", factors=["place"]) == (
            "doses of sugar: cannot be told without firing f1. "
            "Leave out the factor that only that firing tells."
        )

    def test_a_word_for_a_list(self):
        with pytest.raises(ModelError, match=r"write factors=\['clay'\]|Write factors=\['clay'\]"):
            compare_doses(study(straight), "sugar", factors="clay")

    def test_unknown_amount(self):
        with pytest.raises(UnknownNameError, match="glitter"):
            compare_doses(study(straight), "glitter")
