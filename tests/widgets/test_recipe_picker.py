"""Recipe picker: what it shows is what `predict` says, for amounts within what was tried and beyond."""

import numpy as np
import pandas as pd
import pytest

from sagglab.model.colours import fit_colour
from sagglab.widgets import RecipePicker

STUDY = """
import numpy as np, pandas as pd
def study(firings=4, red=12.0):
    rng = np.random.default_rng(3)
    n = 6 * firings
    firing = np.repeat(np.arange(firings), 6)
    sugar, clay = rng.permutation(np.arange(n) % 4) + 0.0, rng.permutation(np.arange(n) % 2)
    colour = {"L*": 44 - 1.8 * sugar, "a*": red + 2 * sugar, "b*": 15 + 4 * clay}
    seen = colour.items()
    return pd.DataFrame({
        "pot": [f"p{i}" for i in range(n)], "firing": [f"f{i}" for i in firing], "sugar [g]": sugar,
        "clay": np.array(["buff", "<i>white</i>"])[clay],
        "peak_C": np.linspace(721.3, 779.8, firings)[firing],
        **{axis: mean + rng.normal(size=firings)[firing] + rng.normal(size=n) for axis, mean in seen},
    })
"""
_MADE = {}
exec(STUDY, _MADE)
study = _MADE["study"]


@pytest.fixture(scope="module")
def colours():
    return fit_colour(study(), ["sugar", "clay", "peak_C"])


@pytest.fixture
def picker(colours):
    return RecipePicker(colours)


def test_the_controls(picker):
    sugar, clay, peak = picker.controls
    assert (sugar["unit"], sugar["low"], sugar["high"], sugar["step"]) == ("g", 0, 3, 0.1)
    assert clay["levels"] == ["<i>white</i>", "buff"]
    # Whole steps that lie within what was tried.
    assert (peak["low"], peak["high"], peak["step"], peak["tried"]) == (722, 778, 2, "721.3 to 779.8 °C")
    assert picker.firings == ["f0", "f1", "f2", "f3"]
    assert picker.recipe == {"sugar [g]": 1.5, "peak_C": 750}


@pytest.mark.parametrize("firing", [None, "f2"])
def test_it_shows_what_predict_says(picker, colours, firing):
    recipe = {"sugar [g]": 2.0, "clay": "buff", "peak_C": 740.0}
    picker.asked_predict(recipe, firing, number=7)
    found = colours.predict(recipe, firing)
    line = found.table[found.table["outcome"] == "L*"].iloc[1 if firing is None else 2]
    assert picker.shown["number"] == 7
    assert picker.shown["what"] == line["what"]
    assert picker.shown["numbers"][0][1].startswith(f"{line['estimate']:.1f} ({line['low']:.1f} to ")
    assert picker.shown["heats"] == {"peak_C": "740 °C (1364 °F)"}
    told = eval(picker.shown["code"], {"colour": colours})
    pd.testing.assert_frame_equal(told.table, found.table)


def test_amounts_begin_in_the_middle_of_what_was_tried():
    made = study()
    # Two coats on two pots of three, and ash on one of eight: the means lie off the middle.
    made["slip [coats]"] = np.array([2, 2, 1])[np.arange(len(made)) % 3]
    made["iron [coats]"] = np.array([1, 4])[np.arange(len(made)) % 2]
    made["ash [g]"] = np.where(np.arange(len(made)) % 8 == 0, 40.0, 0.0)
    picker = RecipePicker(fit_colour(made, ["slip", "iron", "ash"]))
    assert picker.recipe == {"slip [coats]": 1.5, "iron [coats]": 2, "ash [g]": 20}
    assert [control["step"] for control in picker.controls] == [0.5, 1, 1]


def test_beyond_what_was_tried_it_says_so(picker):
    picker.asked_predict({"sugar [g]": 9.0})
    assert "sugar 9 g lies outside the 0 to 3 g tried" in picker.shown["notes"]


def test_a_colour_that_the_display_cannot_show_has_a_cut_corner():
    picker = RecipePicker(fit_colour(study(red=95.0), ["sugar"]))
    assert [swatch["cut"] for swatch in picker.shown["swatches"]] == [True] * 3


def test_one_firing_has_no_new_one():
    picker = RecipePicker(fit_colour(study(firings=1), ["sugar"]))
    assert picker.shown["what"] == "mean of such pots"
    assert picker.shown["notes"][0].startswith("one firing cannot tell how a new firing would come out")
    assert "mean of such pots" in picker.still()


def test_recipes_kept_side_by_side(picker):
    for amount in (0.0, 1.0, 1.0, 2.0, 3.0, 2.5):
        picker.asked_predict({"sugar [g]": amount})
        picker.asked_keep()
    assert [one["recipe"] for one in picker.kept] == [f"sugar {amount} g" for amount in range(4)]
    assert picker.said["cause"].startswith("4 recipes are kept already")
    picker.asked_drop(1)
    assert len(picker.kept) == 3


def test_the_still_view(picker):
    picker.asked_predict({"sugar [g]": 2.0, "clay": "<i>white</i>"})
    still = picker.still()
    assert "<i>white" not in still and "&lt;i&gt;white" in still and "http" not in still
    assert "sugar 0 g" in still and "sugar 3 g" in still and "peak 779.8 °C" in still
    assert np.all([axis in still for axis in ("L*", "a*", "b*")])


def test_by_keyboard_alone(lab, contrast):
    page = lab.opened(
        STUDY,
        "from sagglab import fit_colour\nfrom sagglab.widgets import RecipePicker\n"
        "RecipePicker(fit_colour(study(), ['sugar', 'clay', 'peak_C']))",
        wait=".sagglab-picker",
    )
    code = page.get_by_role("textbox", name="The same as a line of Python")
    before = page.locator(".sagglab-field").nth(1).evaluate("field => field.style.backgroundColor")
    page.get_by_role("slider", name="sugar [g]").focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.wait_for_function("field => field.value.includes(\"'sugar [g]': 2.0,\")", arg=code.element_handle())
    assert page.get_by_role("slider", name="sugar [g]").get_attribute("aria-valuetext") == "2 g"
    assert page.get_by_role("combobox", name="Firing", exact=True).count() == 1
    assert page.locator(".sagglab-field").nth(1).evaluate("field => field.style.backgroundColor") != before
    page.get_by_role("spinbutton", name="sugar [g], as a number").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("9")
    page.get_by_text("sugar 9 g lies outside the 0 to 3 g tried").wait_for()
    page.get_by_role("combobox", name="clay", exact=True).press("ArrowDown")
    page.wait_for_function("field => field.value.includes('<i>white</i>')", arg=code.element_handle())
    page.get_by_role("button", name="Keep this one").press("Enter")
    page.get_by_role("button", name="Take away 1").wait_for()
    assert contrast(page, ".sagglab-live") >= 4.5
    lab.theme("JupyterLab Dark")
    assert contrast(page, ".sagglab-live") >= 4.5
    lab.theme("JupyterLab Light")
    assert lab.elsewhere == []


def test_two_views_show_one_recipe(lab):
    page = lab.opened(
        STUDY,
        "from sagglab import fit_colour\nfrom sagglab.widgets import RecipePicker\n"
        "picker = RecipePicker(fit_colour(study(), ['sugar', 'clay']))\n"
        "picker.asked_predict({'sugar [g]': 2.5, 'clay': 'buff'}, 'f2')",
        "picker",
        "picker",
        wait=".sagglab-picker >> nth=1",
    )
    first, second = (page.locator(".sagglab-picker").nth(place) for place in (0, 1))
    for view in (first, second):
        assert view.get_by_role("spinbutton").input_value() == "2.5"
        assert view.get_by_role("combobox", name="clay").input_value() == "=buff"
        assert view.get_by_role("combobox", name="Firing").input_value() == "=f2"
    first.get_by_role("spinbutton").fill("1.2")
    code = second.get_by_role("textbox", name="The same as a line of Python")
    page.wait_for_function("field => field.value.includes(\"'sugar [g]': 1.2,\")", arg=code.element_handle())
    assert second.get_by_role("slider").input_value() == "1.2"
    # What a view is asked for is not taken from it by its own answers.
    first.get_by_role("spinbutton").press("Control+a")
    page.keyboard.type("0.75", delay=20)
    page.wait_for_function("field => field.value.includes(\"'sugar [g]': 0.75,\")", arg=code.element_handle())
    assert [view.get_by_role("spinbutton").input_value() for view in (first, second)] == ["0.75", "0.75"]
