import re

import numpy as np
import pandas as pd
import pytest
from scipy import linalg, special

from sagglab.errors import ModelError, UnknownNameError
from sagglab.materials import TAKE_CARE
from sagglab.model.colours import fit_colour
from sagglab.model.effects import fit_effects
from sagglab.model.predict import MEAN, NEW_FIRING


def one_way(firings=5, pots=4, seed=2):
    """Pots of one recipe in several firings, and a column that never matters."""
    rng = np.random.default_rng(seed)
    labels = np.repeat(np.arange(firings), pots)
    y = 40 + 4 * rng.normal(size=firings)[labels] + 3 * rng.normal(size=len(labels))
    table = pd.DataFrame({"firing": [f"f{k}" for k in labels], "L*": y})
    return table.assign(tilt=np.tile(np.linspace(-1, 1, pots), firings))


def uneven(seed=4, firing_sd=3.0, share=False):
    rng = np.random.default_rng(seed)
    sizes = [6, 3, 5, 4, 6, 2]
    labels = np.repeat(np.arange(6), sizes)
    n = len(labels)
    table = pd.DataFrame(
        {
            "firing": [f"f{k}" for k in labels],
            "sugar [g]": rng.integers(0, 4, n).astype(float),
            "clay": rng.choice(["buff", "white"], n),
            "peak_C": rng.normal(750, 15, 6)[labels],
        }
    )
    table["L*"] = 42 - 1.5 * table["sugar [g]"] - 0.05 * (table["peak_C"] - 750) + 2.5 * rng.normal(size=n)
    table["L*"] += firing_sd * rng.normal(size=6)[labels]
    table["a*"], table["b*"] = 8 + 0.1 * table["L*"], 10.0 + rng.normal(size=n)
    if share:
        table["dark share"] = special.expit((35 - table["L*"]) / 4)
    return table


def row(prediction, what):
    return prediction.table.set_index("what").loc[what]


class TestNewFiring:
    def test_of_a_balanced_study_in_closed_form(self):
        table = one_way()
        found = row(fit_effects(table, factors=["tilt"]).predict({"tilt": 0.0}), NEW_FIRING)
        y = table["L*"].to_numpy().reshape(5, 4)
        x = table["tilt"].to_numpy().reshape(5, 4)
        slope = np.sum((x - x.mean()) * y) / np.sum((x - x.mean()) ** 2)
        left = y - y.mean(axis=1, keepdims=True) - slope * x
        between, within = 4 * y.mean(axis=1).var(ddof=1), np.sum(left**2) / 14
        # σf² (1 + 1/J) + σe² (1 + 1/(J n)) in mean squares, with Satterthwaite's degrees of freedom.
        a, b = 1.2 * between / 4, 0.75 * within
        assert found["estimate"] == pytest.approx(y.mean())
        assert found["standard error"] ** 2 == pytest.approx(a + b, rel=1e-6)
        assert found["df"] == pytest.approx((a + b) ** 2 / (a**2 / 4 + b**2 / 14), rel=1e-6)
        reach = special.stdtrit(found["df"], 0.975) * np.sqrt(a + b)
        assert (found["low"], found["high"]) == pytest.approx((y.mean() - reach, y.mean() + reach), rel=1e-6)

    @pytest.mark.parametrize("seed", [4, 5, 6])
    def test_of_an_uneven_study_by_numerical_derivatives(self, seed):
        effects = fit_effects(uneven(seed), factors=["sugar", "clay", "peak_C"])
        found = row(effects.predict({"sugar": 3.0, "clay": "buff", "peak_C": 765.0}), NEW_FIRING)
        second = by_second_route(effects, {"sugar [g]": 3.0, "clay": "buff", "peak_C": 765.0}, None)
        assert (found["estimate"], found["standard error"], found["df"]) == pytest.approx(second, rel=1e-5)


class TestSeenFiring:
    def test_of_a_balanced_study_in_closed_form(self):
        table = one_way()
        effects = fit_effects(table, factors=["tilt"])
        found = row(effects.predict({"tilt": 0.0}, firing="f3"), "a new pot in firing f3")
        firing, pot = effects.variances["variance"]
        means = table.groupby("firing")["L*"].mean()
        shrunk = 4 * firing / (4 * firing + pot)
        assert found["estimate"] == pytest.approx(means.mean() + shrunk * (means["f3"] - means.mean()))

    @pytest.mark.parametrize("seed", [4, 5, 6])
    def test_of_an_uneven_study_by_numerical_derivatives(self, seed):
        effects = fit_effects(uneven(seed), factors=["sugar", "clay", "peak_C"])
        recipe = {"sugar [g]": 0.0, "clay": "white", "peak_C": 740.0}
        found = row(effects.predict(recipe, firing="f1"), "a new pot in firing f1")
        second = by_second_route(effects, recipe, "f1")
        assert (found["estimate"], found["standard error"], found["df"]) == pytest.approx(second, rel=1e-5)

    def test_lies_between_the_firing_and_the_mean(self):
        table = uneven()
        effects = fit_effects(table, factors=["sugar"])
        mean = row(effects.predict({"sugar": 1}), MEAN)["estimate"]
        own = row(effects.predict({"sugar": 1}, firing="f2"), "a new pot in firing f2")["estimate"]
        assert own != pytest.approx(mean, abs=0.01)

    def test_an_unknown_firing(self):
        with pytest.raises(UnknownNameError) as caught:
            fit_effects(uneven(), factors=["sugar"]).predict({"sugar": 1}, firing="f9")
        assert str(caught.value) == (
            "firing 'f9': no pot of it is in the model. There are f0, f1, f2, f3, f4, f5."
        )


def by_second_route(effects, recipe, firing):
    """Estimate, standard error and df with V written out, its derivatives by central differences."""
    table, y = effects.rows.table, effects.rows.y
    X = effects.fitted.X
    x = np.array([1.0, *(recipe["sugar [g]"] - table["sugar [g]"].mean(),), 1.0, 0])
    x[2] = 1.0 if recipe["clay"] == "buff" else -1.0
    x[3] = recipe["peak_C"] - table["peak_C"].mean()
    Z = pd.get_dummies(table["firing"]).to_numpy(dtype=float)
    z = np.zeros(len(y)) if firing is None else Z @ (pd.get_dummies(table["firing"]).columns == firing)

    def weights(theta):
        V = theta[0] * Z @ Z.T + theta[1] * np.eye(len(y))
        inverse = linalg.inv(V)
        phi = linalg.inv(X.T @ inverse @ X)
        c = theta[0] * z
        rest = x - X.T @ inverse @ c
        return inverse @ c + inverse @ X @ phi @ rest, V, phi, c, rest, inverse

    def error_variance(theta):
        _, _, phi, c, rest, inverse = weights(theta)
        return theta.sum() - c @ inverse @ c + rest @ phi @ rest

    theta = effects.fitted.fit.variances
    W = effects.fitted.fit.variance_covariance
    steps = np.diag(theta * 1e-4)
    D = np.array([(weights(theta + h)[0] - weights(theta - h)[0]) / (2 * h.sum()) for h in steps])
    slope = np.array([(error_variance(theta + h) - error_variance(theta - h)) / (2 * h.sum()) for h in steps])
    b, V = weights(theta)[:2]
    plain = error_variance(theta)
    return b @ y, np.sqrt(plain + 2 * np.trace(W @ D @ V @ D.T)), 2 * plain**2 / (slope @ W @ slope)


class TestMean:
    def test_is_the_contrast_of_the_fit(self):
        effects = fit_effects(uneven(), factors=["sugar"])
        found = row(effects.predict({"sugar": 2}), MEAN)
        centre = effects.factors[0].centre
        contrast, _ = effects.fitted.contrast(np.array([1, 2 - centre]))
        assert (found["estimate"], found["df"]) == pytest.approx((contrast.estimate, contrast.df))
        assert (found["low"], found["high"]) == pytest.approx(contrast.interval())


class TestOtherFits:
    def test_one_firing_has_no_new_firing(self):
        table = one_way(firings=1, pots=9)
        table["L*"] += table["tilt"]
        effects = fit_effects(table, factors=["tilt"])
        prediction = effects.predict({"tilt": 0.5}, firing="f0")
        assert np.isnan(row(prediction, NEW_FIRING)["low"])
        from statsmodels.regression.linear_model import OLS

        X = np.column_stack([np.ones(9), table["tilt"]])
        theirs = OLS(table["L*"], X).fit().get_prediction([[1, 0.5]]).summary_frame(alpha=0.05)
        seen, mean = row(prediction, "a new pot in firing f0"), row(prediction, MEAN)
        assert (seen["low"], seen["high"]) == pytest.approx(
            (theirs["obs_ci_lower"][0], theirs["obs_ci_upper"][0])
        )
        assert (mean["low"], mean["high"]) == pytest.approx(
            (theirs["mean_ci_lower"][0], theirs["mean_ci_upper"][0])
        )
        assert "a new pot in a new firing: cannot be had" in repr(prediction)

    def test_one_pot_in_each_firing_is_least_squares(self):
        table = one_way(firings=12, pots=1).assign(tilt=np.linspace(-1, 1, 12))
        from statsmodels.regression.linear_model import OLS

        X = np.column_stack([np.ones(12), table["tilt"]])
        theirs = OLS(table["L*"], X).fit().get_prediction([[1, 0.5]]).summary_frame(alpha=0.05)
        prediction = fit_effects(table, factors=["tilt"]).predict({"tilt": 0.5}, firing="f3")
        found = row(prediction, NEW_FIRING)
        assert (found["low"], found["high"]) == pytest.approx(
            (theirs["obs_ci_lower"][0], theirs["obs_ci_upper"][0])
        )
        assert np.isnan(row(prediction, "a new pot in firing f3")["low"])

    def test_shares_stay_shares(self):
        effects = fit_effects(uneven(share=True), "dark share", ["sugar"])
        table = effects.predict({"sugar": 3}, firing="f0").table
        assert ((table["low"] > 0) & (table["low"] < table["estimate"])).all()
        assert ((table["high"] < 1) & (table["high"] > table["estimate"])).all()

    def test_a_day_above_the_firings_adds_its_scatter(self):
        table = uneven()
        table["day"] = table["firing"].map(dict(zip([f"f{k}" for k in range(6)], "aabbcc", strict=True)))
        effects = fit_effects(table, factors=["sugar"], above="day")
        found = row(effects.predict({"sugar": 1}), NEW_FIRING)
        assert found["standard error"] ** 2 > effects.variances["variance"].sum()


class TestRecipe:
    def test_what_is_left_out_is_taken_at_its_mean_and_told(self):
        effects = fit_effects(uneven(), factors=["sugar", "clay", "peak_C"])
        prediction = effects.predict({"sugar": 2})
        mean = effects.rows.table["peak_C"].mean()
        assert prediction.notes == (
            "clay was not given: taken at the mean of its levels",
            f"peak was not given: taken at {mean:.4g} °C",
        )
        full = [effects.predict({"sugar": 2, "clay": clay, "peak_C": mean}) for clay in ("buff", "white")]
        both = np.mean([row(one, MEAN)["estimate"] for one in full])
        assert row(prediction, MEAN)["estimate"] == pytest.approx(both)
        assert not prediction.extrapolated

    def test_outside_what_was_tried(self):
        prediction = fit_effects(uneven(), factors=["sugar"]).predict({"sugar": 9})
        assert prediction.extrapolated
        assert "sugar 9 g lies outside the 0 to 3 g tried" in prediction.notes

    def test_a_corner_that_no_pot_came_near(self):
        table = one_way(firings=6, pots=6)
        amount = np.tile(np.arange(6.0), 6)
        table = table.assign(**{"sugar [g]": amount, "salt [g]": 5 - amount + np.tile([0.0, 0.5], 18)})
        prediction = fit_effects(table, factors=["sugar", "salt"]).predict({"sugar": 5, "salt": 5})
        assert prediction.extrapolated
        assert prediction.notes == (
            "no pot fired is as far from the others as this recipe: the prediction goes beyond them",
        )

    def test_squares_pairs_and_forms_are_coded_as_in_the_fit(self):
        table = uneven()
        effects = fit_effects(
            table, factors=["sugar", "clay"], forms={"sugar": "square root"}, together=[("sugar", "clay")]
        )
        found = row(effects.predict({"sugar": 2, "clay": "white"}), MEAN)["estimate"]
        root = np.sqrt(2) - np.sqrt(table["sugar [g]"]).mean()
        assert found == pytest.approx(effects.fitted.fit.coefficients @ [1, root, -1, -root])

    @pytest.mark.parametrize(
        ("recipe", "error", "told"),
        [
            (
                {"salt": 1},
                UnknownNameError,
                "factor 'salt': the model has no such factor. It has sugar, clay.",
            ),
            ({"clay": "red"}, UnknownNameError, "clay 'red': no pot fired had it. It can be buff, white."),
            ({"sugar": "two"}, ModelError, "sugar 'two': it is no number. Write the amount in g."),
            ({"sugar": np.inf}, ModelError, "sugar inf: it is no number. Write the amount in g."),
        ],
    )
    def test_refusals(self, recipe, error, told):
        with pytest.raises(error) as caught:
            fit_effects(uneven(), factors=["sugar", "clay"]).predict(recipe)
        assert str(caught.value) == told

    def test_lightness_beyond_black(self):
        table = uneven()
        table["L*"] -= table["L*"].min() - 1
        prediction = fit_effects(table, factors=["sugar"]).predict({"sugar": 3})
        assert "the interval runs past what L* can be, 0 to 100: take its end for that" in prediction.notes


class TestLooks:
    def test_three_colours(self):
        table = uneven()
        prediction = fit_effects(table, factors=["sugar"]).predict({"sugar": 2})
        low, middle, high = prediction.colours
        line = row(prediction, NEW_FIRING)
        assert (low[0], middle[0], high[0]) == pytest.approx((line["low"], line["estimate"], line["high"]))
        assert middle[1:] == pytest.approx(table[["a*", "b*"]].mean().to_numpy())
        page = prediction._repr_html_()
        assert page.count('role="img"') == 3
        assert "nan" not in page
        bare = fit_effects(table.drop(columns="a*"), factors=["sugar"]).predict({"sugar": 2})
        assert bare.colours is None

    def test_text(self):
        text = repr(fit_effects(uneven(), factors=["sugar"]).predict({"sugar": 2}, firing="f1"))
        assert re.fullmatch(
            r"L\* of sugar 2 g\n"
            r"  mean of such pots: \d+\.\d \(95 % interval \d+\.\d to \d+\.\d\)\n"
            r"  a new pot in a new firing: \d+\.\d \(95 % interval \d+\.\d to \d+\.\d\)\n"
            r"  a new pot in firing f1: \d+\.\d \(95 % interval \d+\.\d to \d+\.\d\)\n"
            r"Take care: .* Decorative ware only\.",
            text,
        )


def test_intervals_hold_about_as_often_as_they_say():
    # 200 studies of 4 firings of 6 pots; four standard errors of .94 are .067. A benchmark has the long run.
    rng = np.random.default_rng(9)
    labels = np.repeat(np.arange(4), 6)
    table = pd.DataFrame({"firing": labels.astype(str), "tilt": np.tile([-1.0, 1], 12)})
    held = np.zeros(2)
    for _ in range(200):
        firings = 4 * rng.normal(size=5)
        effects = fit_effects(
            table.assign(**{"L*": 40 + firings[labels] + 3 * rng.normal(size=24)}), factors=["tilt"]
        )
        found = effects.predict({"tilt": 1.0}, firing="2").table
        pots = 40 + firings[[4, 2]] + 3 * rng.normal(size=2)
        held += (found["low"][1:].to_numpy() <= pots) & (pots <= found["high"][1:].to_numpy())
    assert held / 200 == pytest.approx([0.944, 0.941], abs=0.067)


class TestOddRecipes:
    """What a recipe may hold in place of a plain amount or a level."""

    def told(self, recipe, table=None, factors=("sugar", "clay")):
        with pytest.raises(ModelError) as caught:
            fit_effects(uneven() if table is None else table, factors=factors).predict(recipe)
        return str(caught.value)

    def test_what_never_varied_cannot_be_predicted(self):
        table = one_way(firings=1, pots=9).assign(**{"sugar [g]": 0.0})
        table["L*"] += table["tilt"]
        assert self.told({"tilt": 0, "sugar": 4}, table, ["tilt", "sugar"]) == (
            "sugar 4: every pot fired had 0 g, so nothing tells what another does. "
            "Leave it out, or fire pots that differ in it."
        )
        effects = fit_effects(table, factors=["tilt", "sugar"])
        assert effects.predict({"tilt": 0, "sugar": 0}).recipe == {"tilt": 0.0, "sugar [g]": 0.0}

    def test_below_zero(self):
        assert self.told({"sugar": -1}) == "sugar -1: it is below zero. Write the amount that was used."

    def test_given_twice(self):
        assert self.told({"sugar": 1, "sugar [g]": 2}) == "recipe, sugar: it is given twice. Give it once."

    @pytest.mark.parametrize("recipe", [None, "sugar", ["sugar"]])
    def test_no_recipe(self, recipe):
        assert self.told(recipe) == ("recipe: it names no amount for each factor. Write {'sugar': …}.")

    def test_yes_and_no(self):
        table = uneven().assign(wax=np.arange(26) % 2 == 0)
        effects = fit_effects(table, factors=["wax"])
        assert (
            effects.predict({"wax": True}).recipe == effects.predict({"wax": "yes"}).recipe == {"wax": "yes"}
        )

    def test_a_share_is_printed_in_per_cent(self):
        text = repr(fit_effects(uneven(share=True), "dark share", ["sugar"]).predict({"sugar": 3}))
        assert re.search(r"mean of such pots: \d+ % \(95 % interval \d+ % to \d+ %\)", text)


def test_cautions_stand_wherever_a_recipe_is_shown():
    table = uneven()
    prediction = fit_effects(table, factors=["sugar"]).predict({"sugar": 2})
    colours = fit_colour(table, ["sugar", "clay"])
    recipes = colours.recipes_for([35, 11, 10])
    for shown in (prediction, colours.predict({"sugar": 2}), recipes):
        assert TAKE_CARE in repr(shown)
        assert TAKE_CARE in shown._repr_html_()
