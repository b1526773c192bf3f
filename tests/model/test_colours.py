import html

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.colour import delta_e_2000
from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.colours import COLUMNS, fit_colour
from sagglab.model.effects import fit_effects
from sagglab.model.predict import MEAN, NEW_FIRING

FACTORS = ["sugar", "copper sulphate", "clay", "packing", "peak_C"]
COORDINATES = ("L*", "a*", "b*")


def study(firings=6, pots=6, seed=3, pot_sd=1.2):
    """An invented studio: sugar darkens and reddens, seaweed turns bluer, copper sulphate does nothing."""
    rng = np.random.default_rng(seed)
    n = firings * pots
    label = np.repeat(np.arange(firings), pots)
    table = pd.DataFrame(
        {
            "pot": [f"p{i:03d}" for i in range(n)],
            "firing": [f"f{i:02d}" for i in label],
            "sugar [g]": rng.permutation(np.arange(n) % 4).astype(float),
            "copper sulphate [g]": rng.permutation(np.arange(n) % 2) * 2.0,
            "clay": rng.permutation(np.array(["buff", "white", "red"])[np.arange(n) % 3]),
            "packing": rng.permutation(np.array(["sawdust", "seaweed"])[np.arange(n) % 2]),
            "peak_C": np.linspace(720, 780, firings)[label],
        }
    )
    clay = table["clay"].map({"buff": 4.0, "red": -4.0, "white": 0.0})
    seaweed = table["packing"] == "seaweed"
    for name, mean in [
        ("L*", 44 - 1.8 * table["sugar [g]"] + clay),
        ("a*", 12 + 2 * table["sugar [g]"] - clay),
        ("b*", 15 - 3 * seaweed),
    ]:
        table[name] = mean + rng.normal(size=firings)[label] + pot_sd * rng.normal(size=n)
    return table


@pytest.fixture(scope="module")
def colours():
    return fit_colour(study(), FACTORS)


class TestTable:
    def test_columns_and_rows(self, colours):
        assert tuple(colours.table.columns) == COLUMNS
        assert colours.table["term"].tolist() == colours.outcomes.effects["L*"].table["term"].tolist()
        assert colours.table["stratum"].tolist() == ["pot"] * 8 + ["firing"]

    def test_differences_are_those_between_the_ends(self, colours):
        for name in COORDINATES:
            single = fit_effects(study(), outcome=name, factors=FACTORS).table
            expected = (single["to"] - single["from"]).to_numpy()
            assert colours.table[f"Δ{name}"].to_numpy() == pytest.approx(expected, abs=1e-9)

    def test_intervals_hold_all_three_at_once(self, colours):
        for name in COORDINATES:
            single = fit_effects(study(), outcome=name, factors=FACTORS).table.set_index("term")
            for term, span in [("sugar", 3), ("with sugar", 1), ("clay: red", 1), ("peak_C", 60)]:
                line = single.loc[term]
                reach = stats.t.ppf(1 - 0.05 / 6, line["df"]) * line["standard error"] * span
                row = colours.table.set_index("term").loc[term]
                middle = line["estimate"] * span
                assert row[f"Δ{name} low"] == pytest.approx(middle - reach)
                assert row[f"Δ{name} high"] == pytest.approx(middle + reach)

    def test_the_difference_is_that_of_the_two_colours(self, colours):
        singles = [fit_effects(study(), outcome=name, factors=FACTORS).table for name in COORDINATES]
        start, end = (np.column_stack([single[side] for single in singles]) for side in ("from", "to"))
        assert colours.table["ΔE00"].to_numpy() == pytest.approx(delta_e_2000(start, end))

    def test_least_and_greatest_agree_with_many_points_of_the_box(self, colours):
        rng = np.random.default_rng(1)
        # Drawn from a larger box and pushed back: faces, edges and corners get their share.
        steps = np.clip(rng.uniform(-1.3, 1.3, (60_000, 3)), -1, 1)
        singles = [effects.table.set_index("term") for effects in colours.outcomes.effects.values()]
        for _, row in colours.table.iterrows():
            start = np.array([single.loc[row["term"], "from"] for single in singles])
            low, high = (
                np.array([row[f"Δ{name} {end}"] for name in COORDINATES], dtype=float)
                for end in ("low", "high")
            )
            differences = delta_e_2000(start, start + (low + high) / 2 + (high - low) / 2 * steps)
            assert row["ΔE00 high"] == pytest.approx(differences.max(), abs=0.02)
            if np.all((low <= 0) & (high >= 0)):
                assert row["ΔE00 low"] == 0
            else:
                assert row["ΔE00 low"] == pytest.approx(differences.min(), abs=0.02)
            assert row["ΔE00 low"] <= row["ΔE00"] <= row["ΔE00 high"]

    def test_both_cases_occur(self, colours):
        assert (colours.table["ΔE00 low"] == 0).any()
        assert (colours.table["ΔE00 low"] > 1).any()

    def test_the_probability_is_the_least_of_the_three(self, colours):
        adjusted = [effects.table["p Holm"] for effects in colours.outcomes.effects.values()]
        assert colours.table["p Holm"].tolist() == np.min(adjusted, axis=0).tolist()

    def test_squares_and_pairs_have_no_two_colours(self):
        found = fit_colour(study(), ["sugar", "packing"], squares=["sugar"], together=[("sugar", "packing")])
        assert found.table["term"].tolist() == ["sugar", "packing: seaweed − sawdust"]

    def test_a_coordinate_must_be_there(self):
        with pytest.raises(UnknownNameError, match=r"outcome 'b\*': the table has no such column"):
            fit_colour(study().drop(columns="b*"), FACTORS)
        with pytest.raises(ModelError):
            fit_colour(study(), [])


class TestSentences:
    def test_a_clear_amount_is_told_by_with_and_without(self, colours):
        row = colours.table.set_index("term").loc["with sugar"]
        told = colours.sentence("sugar")
        assert told.startswith(
            f"With sugar: a difference of ΔE00 {row['ΔE00']:.1f} ({row['ΔE00 low']:.1f} to "
            f"{row['ΔE00 high']:.1f}), "
        )
        assert " L* darker, " in told
        assert told.endswith(" a* redder. On 36 pots in 6 firings.")

    def test_an_unclear_one(self, colours):
        told = colours.sentence("copper sulphate")
        assert "(0.0 to " in told
        assert told.endswith(
            ", at the least too little for an eye to see, at the most plain to see; "
            "no coordinate is clear of zero. On 36 pots in 6 firings."
        )

    def test_a_category_of_two(self, colours):
        told = colours.sentence("packing")
        assert told.startswith("Packing seaweed against sawdust: a difference of ΔE00 ")
        assert " b* bluer. On" in told

    def test_a_category_of_three(self, colours):
        told = colours.sentence("clay")
        for level in ("buff", "red", "white"):
            assert f"Clay {level} against the mean of the 3 kinds: a difference of ΔE00 " in told
        assert told.count("On 36 pots") == 1

    def test_an_amount_that_no_pot_lacks(self, colours):
        assert colours.sentence("peak_C").startswith("Peak from 720 to 780 °C: a difference of ΔE00 ")

    def test_a_form(self):
        found = fit_colour(study(), ["sugar"], forms={"sugar": "square root"})
        assert found.sentence("sugar").startswith("Sugar from 0 to 3 g: a difference of ΔE00 ")

    def test_one_firing(self):
        found = fit_colour(study(firings=1, pots=14), FACTORS)
        assert found.sentence("peak_C") == "One firing cannot tell about peak."
        assert found.sentence("sugar").endswith(" On 14 pots in 1 firing.")
        assert "peak_C" not in found.table["term"].tolist()

    def test_every_factor_in_the_order_asked(self, colours):
        assert colours.sentences() == tuple(colours.sentence(name) for name in FACTORS)
        assert repr(colours) == "\n".join(colours.sentences())

    def test_an_unknown_factor(self, colours):
        with pytest.raises(UnknownNameError) as caught:
            colours.sentence("salt")
        assert str(caught.value) == (
            "effect 'salt': the model has no such factor. It has sugar, copper sulphate, clay, packing, "
            "peak_C."
        )

    def test_no_number_in_a_sentence_carries_a_sign(self, colours):
        assert not any(" -" in sentence or "−" in sentence for sentence in colours.sentences())


class TestPredict:
    RECIPE = {"sugar": 2, "copper sulphate": 0, "clay": "red", "packing": "seaweed", "peak_C": 740}

    def test_each_coordinate_is_predicted_as_by_itself(self, colours):
        found = colours.predict(self.RECIPE, firing="f02")
        assert found.table["outcome"].tolist() == [name for name in COORDINATES for _ in range(3)]
        for name in COORDINATES:
            alone = fit_effects(study(), outcome=name, factors=FACTORS).predict(self.RECIPE, "f02").table
            part = found.table[found.table["outcome"] == name].drop(columns="outcome")
            pd.testing.assert_frame_equal(part.reset_index(drop=True), alone)
        assert found.notes == ()
        assert not found.extrapolated

    def test_three_colours(self, colours):
        found = colours.predict(self.RECIPE)
        rows = found.table[found.table["what"] == NEW_FIRING].set_index("outcome")
        assert found.colours[:, 0] == pytest.approx(rows.loc["L*", ["low", "estimate", "high"]].to_list())
        for place, name in ((1, "a*"), (2, "b*")):
            assert found.colours[:, place] == pytest.approx([rows.loc[name, "estimate"]] * 3)

    def test_colours_stay_on_the_scale_of_lightness(self):
        table = study()
        table["L*"] -= 38
        found = fit_colour(table, FACTORS).predict(self.RECIPE)
        assert found.table["low"].min() < 0
        assert found.colours[:, 0].min() == 0
        assert any("runs past what L* can be" in note for note in found.notes)

    def test_one_firing_shows_the_mean(self):
        found = fit_colour(study(firings=1, pots=14), FACTORS[:4]).predict({"sugar": 1})
        rows = found.table[found.table["what"] == MEAN].set_index("outcome")
        assert found.colours[:, 0] == pytest.approx(rows.loc["L*", ["low", "estimate", "high"]].to_list())
        assert "a new pot in a new firing: L* cannot be had, a* cannot be had, b* cannot be had" in repr(
            found
        )
        assert "nan" not in found._repr_html_().lower()

    def test_notes_say_what_was_assumed_once(self, colours):
        found = colours.predict({"sugar": 9})
        assert found.extrapolated
        assert found.notes[:2] == (
            "sugar 9 g lies outside the 0 to 3 g tried",
            "copper sulphate was not given: taken at 1 g",
        )
        assert len(set(found.notes)) == len(found.notes)

    def test_text(self, colours):
        lines = repr(colours.predict(self.RECIPE)).splitlines()
        assert lines[0].startswith("colour of sugar 2 g, ")
        assert lines[1].startswith("  mean of such pots: L* ")
        assert lines[2].startswith("  a new pot in a new firing: L* ")


class TestPage:
    def test_names_are_escaped(self):
        table = study().rename(columns={"sugar [g]": "<b>salt</b> [g]"})
        table["clay"] = table["clay"].map(lambda level: f"<i>{level}</i>")
        found = fit_colour(table, ["<b>salt</b>", "clay"])
        predicted = found.predict({"<b>salt</b>": 1.0, "clay": "<i>red</i>"})
        for page in (found._repr_html_(), predicted._repr_html_()):
            assert "<b>" not in page
            assert "<i>" not in page
            assert html.escape("<b>salt</b>") in page
            assert "nan" not in page.lower()

    def test_three_swatches(self, colours):
        page = colours.predict(TestPredict.RECIPE)._repr_html_()
        assert page.count('role="img"') == 3
        assert "dashed" not in page

    def test_what_the_display_cannot_show_lacks_a_corner(self):
        table = study()
        table["a*"] += 100
        page = fit_colour(table, FACTORS).predict(TestPredict.RECIPE)._repr_html_()
        assert page.count('class="patch cut"') == 3
        assert "beyond what the display can show" in page
