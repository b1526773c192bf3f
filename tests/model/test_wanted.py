import time

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.colour import delta_e_2000
from sagglab.errors import ModelError
from sagglab.model.colours import fit_colour
from sagglab.model.predict import NEW_FIRING
from sagglab.model.wanted import MOST_RECIPES, TOLD, _student

FACTORS = ["sugar", "clay", "peak_C"]


def study(firings=9, pots=8, seed=3, pot_sd=1.0, firing_sd=0.8):
    """An invented studio: sugar darkens, red clay reddens, a hot firing turns yellower; all else is known."""
    rng = np.random.default_rng(seed)
    n = firings * pots
    label = np.repeat(np.arange(firings), pots)
    table = pd.DataFrame(
        {
            "pot": [f"p{i:03d}" for i in range(n)],
            "firing": [f"f{i:02d}" for i in label],
            "sugar [g]": rng.permutation(np.arange(n) % 4).astype(float),
            "clay": rng.permutation(np.array(["buff", "red"])[np.arange(n) % 2]),
            "peak_C": np.array([720.0, 750, 780])[label % 3],
        }
    )
    for number in (1, 2, 3):
        table[f"oxide {number} [g]"] = rng.permutation(np.arange(n) % 7) * 0.5
    # The scatter of the coordinates goes together: a dark pot is a dull one.
    shared = rng.normal(size=n)
    for name, truth in (("L*", 0), ("a*", 1), ("b*", 2)):
        own = 0.6 * shared + 0.8 * rng.normal(size=n)
        firing = firing_sd * rng.normal(size=firings)[label]
        table[name] = mean_colour(table)[:, truth] + firing + pot_sd * own
    return table


def mean_colour(table):
    return np.column_stack(
        [
            55 - 6 * table["sugar [g]"],
            8 + 9 * (table["clay"] == "red"),
            14 + 0.15 * (table["peak_C"] - 750),
        ]
    )


@pytest.fixture(scope="module")
def colours():
    return fit_colour(study(), FACTORS)


def refusal(colours, *args):
    with pytest.raises(ModelError) as caught:
        colours.recipes_for(*args)
    return str(caught.value)


class TestRanking:
    @pytest.mark.parametrize(
        ("sugar", "clay", "peak"), [(3.0, "red", 780.0), (0.0, "buff", 720.0), (1.0, "red", 720.0)]
    )
    def test_the_recipe_of_the_colour_is_found(self, colours, sugar, clay, peak):
        asked = pd.DataFrame({"sugar [g]": [sugar], "clay": [clay], "peak_C": [peak]})
        best = colours.recipes_for(mean_colour(asked)[0]).table.iloc[0]
        assert best[["sugar [g]", "clay", "peak_C"]].tolist() == [sugar, clay, peak]

    def test_the_likeliest_comes_first(self, colours):
        table = colours.recipes_for([45, 12, 14]).table
        assert table["probability"].is_monotonic_decreasing
        assert table["probability"].between(0, 1).all()
        assert len(table) == TOLD

    def test_only_what_was_tried(self):
        table = study()
        factors = [*FACTORS, "oxide 1"]
        ranked = fit_colour(table, factors).recipes_for([20, 40, 40])
        for heading in ("sugar [g]", "peak_C", "oxide 1 [g]"):
            assert ranked.table[heading].between(table[heading].min(), table[heading].max()).all()
        assert set(ranked.table["clay"]) <= {"buff", "red"}
        # Three amounts of the oxide that no pot had lie between those that some had.
        assert set(ranked.table["oxide 1 [g]"]) <= {0, 0.75, 1.5, 2.25, 3}
        assert ranked.tried <= 4 * 2 * 3 * 5

    def test_firing_level_factors_are_in_it(self, colours):
        assert colours.recipes_for([45, 12, 14]).table.columns.tolist() == [
            "sugar [g]", "clay", "peak_C", "L*", "a*", "b*", "ΔE00", "probability",
        ]  # fmt: skip

    def test_recipes_beyond_the_pots_as_a_whole_are_not_looked_at(self):
        table = study()
        # Much of both was never fired.
        table["oxide 1 [g]"] = np.where(table["sugar [g]"] > 1, 0.0, table["oxide 1 [g]"])
        ranked = fit_colour(table, ["sugar", "oxide 1"]).recipes_for(table[["L*", "a*", "b*"]].mean())
        assert ranked.tried < 4 * 5
        assert not ((ranked.table["sugar [g]"] == 3) & (ranked.table["oxide 1 [g]"] == 3)).any()

    def test_expected_colour_and_its_distance(self, colours):
        wanted = [45, 12, 14]
        line = colours.recipes_for(wanted).table.iloc[3]
        recipe = line[["sugar [g]", "clay", "peak_C"]].to_dict()
        predicted = colours.predict(recipe).table
        middle = predicted.loc[predicted["what"] == NEW_FIRING, "estimate"].to_numpy()
        assert line[["L*", "a*", "b*"]].to_numpy(dtype=float) == pytest.approx(middle)
        assert line["ΔE00"] == pytest.approx(float(delta_e_2000(wanted, middle)))

    def test_the_same_question_has_the_same_answer(self, colours):
        one, other = (colours.recipes_for([45, 12, 14]) for _ in range(2))
        pd.testing.assert_frame_equal(one.table, other.table)


class TestProbability:
    @pytest.mark.parametrize("within", [2.0, 4.0, 8.0])
    def test_it_agrees_with_pots_drawn_otherwise(self, colours, within):
        wanted = np.array([45, 12, 14])
        ranked = colours.recipes_for(wanted, within)
        rng = np.random.default_rng(77)
        left = [
            effects.fitted.y - effects.fitted.X @ effects.fitted.fit.coefficients
            for effects in colours.outcomes.effects.values()
        ]
        draws = 40_000
        normal = rng.multivariate_normal(np.zeros(3), np.corrcoef(left), size=draws)
        for k in (0, 4, 11):
            line = ranked.table.iloc[k]
            predicted = colours.predict(line[["sugar [g]", "clay", "peak_C"]].to_dict()).table
            rows = predicted[predicted["what"] == NEW_FIRING]
            t = stats.t.ppf(stats.norm.cdf(normal), rows["df"].to_numpy())
            pots = rows["estimate"].to_numpy() + rows["standard error"].to_numpy() * t
            share = np.mean(delta_e_2000(wanted, pots) <= within)
            spread = np.sqrt(share * (1 - share) * (1 / draws + 1 / 5000))
            assert abs(line["probability"] - share) < 4 * spread + 1e-3

    def test_it_holds_for_pots_fired_after_the_study(self):
        # How often one new pot of the best recipe, in a new firing, comes near: over many studies the mean of
        # what was told must be the share that did.
        told, came = [], []
        rng = np.random.default_rng(5)
        recipe = pd.DataFrame({"sugar [g]": [2.0], "clay": ["red"], "peak_C": [750.0]})
        truth = mean_colour(recipe)[0]
        for seed in range(12):
            found = fit_colour(study(seed=100 + seed), FACTORS).recipes_for(truth).table
            line = found[(found[["sugar [g]", "clay", "peak_C"]] == recipe.iloc[0]).all(axis=1)].iloc[0]
            told.append(line["probability"])
            pots = truth + 0.8 * rng.normal(size=(500, 3))
            pots += 0.6 * rng.normal(size=(500, 1)) + 0.8 * rng.normal(size=(500, 3))
            came.append(np.mean(delta_e_2000(truth, pots) <= 3))
        assert np.mean(told) == pytest.approx(np.mean(came), abs=0.05)

    def test_quantiles_of_t(self):
        uniform = np.linspace(0.001, 0.999, 41)
        df = np.array([2.2, 3.0, 3.1, 7.0, 40.0])
        assert _student(df, uniform) == pytest.approx(stats.t.ppf(uniform, df[:, None]), rel=0.02, abs=0.002)
        assert _student(df[1:3], uniform) == pytest.approx(stats.t.ppf(uniform, df[1:3, None]), rel=1e-5)
        assert _student(df[:1], uniform) == pytest.approx(stats.t.ppf(uniform, df[:1, None]))

    def test_farther_is_likelier(self, colours):
        chances = [colours.recipes_for([45, 12, 14], within).table["probability"][0] for within in (1, 3, 9)]
        assert chances == sorted(chances)
        assert chances[0] < chances[2]

    def test_pots_without_one_coordinate_do_no_harm(self):
        table = study()
        table.loc[3, "a*"] = np.nan
        assert len(fit_colour(table, FACTORS).recipes_for([45, 12, 14]).table)


class TestWords:
    def test_sentence(self, colours):
        ranked = colours.recipes_for([37, 17, 18.5], 4)
        chance = ranked.table["probability"][0]
        assert ranked.sentence() == (
            f"Of {ranked.tried} recipes inside the range that was fired, sugar 3 g, clay red, peak 780 °C is "
            f"the likeliest to come within ΔE00 4 of that colour: {100 * chance:.0f} in 100 new pots would."
        )
        assert repr(ranked).startswith(ranked.sentence())

    def test_a_colour_out_of_reach(self, colours):
        assert "fewer than 1 in 100 new pots would." in colours.recipes_for([95, -60, 60]).sentence()

    def test_page(self):
        table = study().rename(columns={"sugar [g]": "<b>salt</b> [g]"})
        table["a*"] -= 25
        page = fit_colour(table, ["<b>salt</b>", "clay"]).recipes_for([45, -12, 14])._repr_html_()
        assert "<b>" not in page
        assert "&lt;b&gt;salt&lt;/b&gt; [g]" in page
        assert "nan" not in page.lower()
        assert "a* −" in page
        assert '<td class="n">−' in page
        assert "-1" not in page.replace("inline-block", "").replace("text-align", "")


class TestRefusals:
    @pytest.mark.parametrize(
        "colour", [[35, 12], "red", [35, 12, np.nan], [135, 0, 0], [[35, 12, 18]], None, ["a", "b", "c"]]
    )
    def test_no_colour(self, colours, colour):
        assert refusal(colours, colour) == (
            "colour: it is no L*, a*, b*. Write three numbers, such as [35, 12, 18]."
        )

    @pytest.mark.parametrize("within", [0, -1, np.nan])
    def test_no_distance(self, colours, within):
        assert refusal(colours, [35, 12, 18], within) == (
            "within: it is not above zero. Write a ΔE00 such as 3."
        )

    def test_one_firing(self):
        found = fit_colour(study(firings=1, pots=16), ["sugar", "clay"])
        assert refusal(found, [35, 12, 18]) == (
            "model of the colour: one firing cannot tell how firings scatter. Add pots of another firing."
        )


class TestSize:
    def test_six_factors_are_quick(self):
        found = fit_colour(study(), [*FACTORS, "oxide 1", "oxide 2", "oxide 3"])
        found.recipes_for([45, 12, 14])
        start = time.process_time()
        ranked = found.recipes_for([45, 12, 14])
        assert time.process_time() - start < 1.5
        assert 100 < ranked.tried <= MOST_RECIPES

    def test_many_factors_are_drawn_from(self):
        rng = np.random.default_rng(0)
        table = study(firings=12, pots=10)
        more = [f"glaze {k} [g]" for k in range(9)]
        for heading in more:
            table[heading] = rng.permutation(np.arange(120) % 3) * 1.0
        ranked = fit_colour(table, [*FACTORS, *more]).recipes_for([45, 12, 14])
        assert 0 < ranked.tried <= MOST_RECIPES
        assert len(ranked.table.drop_duplicates()) == len(ranked.table) == TOLD
