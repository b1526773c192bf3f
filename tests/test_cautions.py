"""Cautions: what must be said, and what must not be left out."""

import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagglab.cautions import ALWAYS, DEFERS, GASES, cautions, gas_bounds, kiln_cautions
from sagglab.materials import STATEMENTS, find_material

NONE_USED = pd.DataFrame({"pot": ["p1"], "clay": ["white"]})


def said(pots, peak_C=600.0):
    return " ".join(cautions(pots, peak_C))


def with_head(head, pots, peak_C=600.0):
    """Give the one caution with a head."""
    (found,) = (caution for caution in cautions(pots, peak_C) if caution.startswith(f"{head}: "))
    return found


@pytest.mark.parametrize("pots", [NONE_USED, NONE_USED.iloc[:0], pd.DataFrame({"sugar [g]": [3.0]})])
@pytest.mark.parametrize("peak_C", [20.0, 750.0, math.nan])
def test_the_last_word_goes_to_safety_sheets_codes_and_practice(pots, peak_C):
    last = cautions(pots, peak_C)[-1]
    assert last == DEFERS
    for words in ("safety data sheets", "local codes", "licensed practice", "gas work"):
        assert words in last


@pytest.mark.parametrize(
    "words",
    [
        "Outdoors only",
        "No garage, tent or shed",
        "carbon monoxide alarm",
        "No respirator cartridge stops it",
        "type B and E with particle filter P (EN 14387; in North America acid gas with P100)",
        "no leave to stand in the smoke",
        "chemical-proof gloves and goggles",
        "heat-proof gloves",
        "dangerously hot",
        "soapy water",
        "at the cylinder first",
        "no children, no animals, nobody pregnant or with asthma",
        "No eating, drinking or smoking",
        "down a drain",
        "hazardous waste",
        "Not for food or drink: these pots are decorative only",
    ],
)
def test_what_is_always_said(words):
    assert words in said(NONE_USED)
    assert set(ALWAYS) <= set(cautions(NONE_USED, math.nan))


def test_outdoors_is_said_first():
    assert cautions(NONE_USED, 600.0)[0].startswith("Outdoors only: ")


def test_at_the_kiln_the_fire_the_gas_and_the_heat_are_spoken_of():
    heads = [caution.partition(":")[0] for caution in kiln_cautions()]
    assert heads == ["Outdoors only", "Carbon monoxide", "Gas", "Hot ware"]


# What a table may hold, known and unknown, with any unit, weighed and not.
NAMES = ("sugar", "copper sulphate", "ferric chloride", "salt", "sawdust", "seaweed", "PVC", "fertiliser")
HEADINGS = [f"{name} [{unit}]" for name in (*NAMES, "unicorn dust") for unit in ("g", "coats", "cm")]


def drawn_pots(amounts):
    return st.dictionaries(
        st.sampled_from(HEADINGS), st.lists(amounts, min_size=3, max_size=3), min_size=1
    ).map(lambda columns: pd.DataFrame({"firing": ["f1", "f1", "f2"], **columns}))


@settings(deadline=None, max_examples=60)
@given(drawn_pots(st.sampled_from([0.0, math.nan, 0.001, 1.0, 30.0])), st.sampled_from([600.0, 800.0]))
def test_each_caution_is_a_short_head_and_one_thing_said_once(pots, peak_C):
    found = cautions(pots, peak_C)
    heads = [caution.partition(": ")[0] for caution in found]
    assert len(set(heads)) == len(heads)
    for head, caution in zip(heads, found, strict=True):
        assert 1 <= len(head.split()) <= 5
        assert head[0].isupper()
        assert caution.endswith(".")
        assert ": " in caution


def test_the_demo_book_has_no_more_cautions_than_are_read(demo_pots):
    found = cautions(demo_pots, 775.0)
    assert len(found) <= 20
    # Some 100 letters are a line on paper.
    assert max(map(len, found)) <= 300
    assert "unknown" not in " ".join(found)
    for name in (
        *("slip", "ferric chloride", "sugar", "copper sulphate", "sawdust", "seaweed", "copper wire"),
    ):
        assert name in " ".join(found).lower()


@pytest.fixture(scope="session")
def demo_pots(pytestconfig):
    from sagglab.book import open_book

    return open_book(pytestconfig.rootpath / "data/demo").pots


def test_a_material_that_was_used_is_named_with_its_hazards():
    pots = pd.DataFrame({"copper sulphate [g]": [0.0, 2.0]})
    assert with_head("Copper sulphate", pots) == (
        "Copper sulphate: harmful if swallowed; causes serious eye damage; very toxic to aquatic life with "
        "long lasting effects. Fired, it can give off sulphur oxides and copper fume."
    )


def test_all_harmonised_statements_of_a_material_are_said():
    caution = with_head("Cobalt sulphate", pd.DataFrame({"cobalt sulphate [g]": [0.1]}))
    for code in find_material("cobalt sulphate").statements:
        assert STATEMENTS[code] in caution


def test_what_can_cause_cancer_is_told_before_what_irritates():
    pots = pd.DataFrame({"soda ash [g]": [1.0], "copper sulphate [g]": [1.0], "cobalt carbonate [g]": [1.0]})
    heads = [caution.partition(":")[0] for caution in cautions(pots, 600.0)]
    places = [heads.index(head) for head in ("Cobalt carbonate", "Copper sulphate", "Soda ash")]
    assert places == sorted(places)


def test_a_material_under_another_name_is_known():
    found = with_head("Without hazard statement", pd.DataFrame({"epsom salt [g]": [1.0]}))
    assert "epsom salt" in found


def test_two_names_for_one_material_are_one_material():
    pots = pd.DataFrame({"copper sulphate [g]": [1.0], "copper sulfate [g]": [1.0]})
    heads = [caution.partition(":")[0] for caution in cautions(pots, 600.0)]
    assert heads.count("Copper sulphate") == 1 and "Copper sulfate" not in heads


@pytest.mark.parametrize("amounts", [[0.0, 0.0], [math.nan, math.nan], [0.0, math.nan], ["", ""]])
def test_a_material_that_was_not_used_is_not_named(amounts):
    assert "opper sulphate" not in said(pd.DataFrame({"copper sulphate [g]": amounts}))


@pytest.mark.parametrize("unit", ["g", "mL", "coats", "oz", "g/100cm2"])
def test_an_unknown_material_is_said_to_be_unknown(unit):
    pots = pd.DataFrame({f"unicorn dust [{unit}]": [1.0]})
    assert with_head("Hazards not known", pots).startswith("Hazards not known: unicorn dust. ")


@pytest.mark.parametrize("amount", [1.0, "a handful"])
def test_an_unknown_amount_of_an_unknown_material_is_still_a_use(amount):
    assert "unicorn dust" in said(pd.DataFrame({"unicorn dust [g]": [0.0, amount]}))


def test_an_unknown_length_is_perhaps_a_material():
    found = with_head("Perhaps a material", pd.DataFrame({"unicorn thread [cm]": [12.0]}))
    assert "unicorn thread" in found and "safety data sheet" in found


@pytest.mark.parametrize(
    ("heading", "cell"),
    [("unicorn oil [drops]", 3.0), ("unicorn salt", 3.0), ("unicorn dust", "yes"), ("unicorn dust", True)],
)
def test_an_unknown_name_without_a_unit_that_is_known_is_not_passed_over(heading, cell):
    found = with_head("Perhaps a material", pd.DataFrame({heading: [cell, np.nan]}))
    assert heading.partition(" [")[0] in found
    none = pd.DataFrame({heading: [0.0, np.nan] if isinstance(cell, float) else ["", "no"]})
    assert "unicorn" not in said(none)


@pytest.mark.parametrize("done", [None, math.nan, "Wax", "oil"])
def test_what_was_done_to_a_pot_may_be_blank(done):
    assert ("Wax: " in " ".join(cautions(NONE_USED, 600.0, [done]))) == (done == "Wax")


@pytest.mark.parametrize(
    "heading", ["height [cm]", "diameter [cm]", "rating", "soaked [min]", "kiln heat [degC]"]
)
def test_what_is_of_the_pot_is_no_material(heading):
    assert cautions(pd.DataFrame({heading: [12.0]}), 600.0) == cautions(NONE_USED, 600.0)


@pytest.mark.parametrize("heading", ["foil [cm]", "foil", "notes", "clay", "potter"])
def test_foil_and_words_about_the_pot_are_no_unknown_material(heading):
    assert cautions(pd.DataFrame({heading: ["12"]}), 600.0) == cautions(NONE_USED, 600.0)


def test_a_material_named_in_a_cell_is_a_use():
    pots = pd.DataFrame({"on the shelf": ["nothing", "copper mesh, horse hair and string"]})
    found = with_head("Without hazard statement", pots)
    for name in ("copper mesh", "horse hair", "string"):
        assert name in found
    assert "nothing" not in found


@pytest.mark.parametrize("heading", ["wrap", "coat", "Dusting", "packing", "resist"])
def test_an_unknown_material_named_in_a_cell_is_said_to_be_unknown(heading):
    pots = pd.DataFrame({heading: ["none", "unicorn ribbon + copper wire", ""]})
    assert "unicorn ribbon" in with_head("Hazards not known", pots)
    assert "copper wire" in with_head("Without hazard statement", pots)


@pytest.mark.parametrize("words", ["foil", "none", "yes, foil", "foil and string"])
def test_foil_in_a_cell_is_no_unknown_material(words):
    assert "foil" not in said(pd.DataFrame({"wrap": [words]})).replace("used foil", "").replace(
        ", foil and", ""
    )


@pytest.mark.parametrize("used", ["yes", "two coats", 1, 2.0, True])
def test_a_material_written_down_without_an_amount_is_named_too(used):
    assert "Wax: " in said(pd.DataFrame({"wax": ["", used]}))


@pytest.mark.parametrize("blank", ["", "no", "None", "–", 0, 0.0, math.nan, None])
def test_a_column_left_blank_is_no_use(blank):
    assert "Wax: " not in said(pd.DataFrame({"wax": [blank, blank]}))


def test_wax_speaks_of_solvent_and_rags():
    caution = with_head("Wax", pd.DataFrame({"wax [coats]": [1.0]}))
    assert "solvent" in caution and "rags" in caution


@pytest.mark.parametrize(("heading", "is_said"), [("ferric chloride [coats]", True), ("slip [coats]", False)])
def test_wet_ferric_chloride_and_foil(heading, is_said):
    heads = [caution.partition(":")[0] for caution in cautions(pd.DataFrame({heading: [1.0]}), 600.0)]
    assert ("Wet ferric chloride and foil" in heads) == is_said


@pytest.mark.parametrize("name", ["garden fertiliser", "potassium permanganate", "plastic"])
def test_what_must_not_be_fired_is_said_before_all_else(name):
    pots = pd.DataFrame({"sugar [g]": [1.0], f"{name} [g]": [1.0]})
    assert cautions(pots, 600.0)[0].startswith(f"Never fire {name}: ")


def test_above_the_melting_point_of_aluminium_the_foil_is_spoken_of():
    hot = with_head("Hot ware", NONE_USED, 750.0)
    assert "Foil can melt at 660 °C (1221 °F)" in hot and "750 °C (1382 °F)" in hot


@pytest.mark.parametrize("peak_C", [660.0, math.nan])
def test_below_it_or_when_unknown_nothing_is_said_of_melting(peak_C):
    assert "can melt" not in said(NONE_USED, peak_C)


# What the firings give off.


def test_each_firing_is_summed_for_itself():
    pots = pd.DataFrame({"firing": ["f1", "f2", "f1"], "sugar [g]": [1.0, 4.0, 2.0]})
    bounds = gas_bounds(pots).set_index("firing")
    assert bounds.index.tolist() == ["f1", "f2"]
    assert bounds.loc["f2", "grams"] == pytest.approx(4 / 3 * bounds.loc["f1", "grams"])


def test_the_worst_firing_is_told():
    pots = pd.DataFrame({"firing": ["f1", "f2"], "sawdust [g]": [60.0, 160.0]})
    assert "in firing f2. To thin" in with_head("Carbon monoxide in smoke", pots)


def test_ounces_and_blanks_are_understood():
    grams = gas_bounds(pd.DataFrame({"sugar [g]": [28.349523125, 0.0]}))
    ounces = gas_bounds(pd.DataFrame({"sugar [oz]": [1.0, math.nan]}))
    pd.testing.assert_frame_equal(grams, ounces)


def test_what_is_not_weighed_has_no_bound_and_is_said_to_have_none():
    pots = pd.DataFrame({"firing": ["f1", "f1"], "ferric chloride [coats]": [1, 2], "salt [g]": [2.0, 0.0]})
    bounds = gas_bounds(pots).set_index("gas")
    assert bounds.loc["hydrogen chloride", "grams"] > 0
    assert math.isnan(bounds.loc["chlorine", "grams"])
    assert (bounds["not_counted"] == "ferric chloride").all()
    caution = with_head("Not all counted", pots)
    assert "ferric chloride" in caution and "no bound can be stated" in caution and "salt" not in caution


def test_some_pots_weighed_and_some_not_is_told_as_both():
    bounds = gas_bounds(pd.DataFrame({"sugar [g]": [1.0, "a pinch"]}))
    assert bounds["grams"].tolist() == pytest.approx([0.982], abs=0.001)
    assert bounds["not_counted"].tolist() == ["sugar"]


@pytest.mark.parametrize(
    "pots", [NONE_USED, NONE_USED.iloc[:0], pd.DataFrame(), pd.DataFrame({"sugar [g]": [0.0]})]
)
def test_no_materials_give_off_nothing(pots):
    bounds = gas_bounds(pots)
    assert bounds.empty and bounds.columns[:3].tolist() == ["firing", "gas", "grams"]
    assert "up to" not in said(pots)


AIR = re.compile(r"([\d,.]+)\s*m³")


@settings(deadline=None, max_examples=60)
@given(drawn_pots(st.floats(0, 400) | st.sampled_from([0.0, 0.001, 0.05])))
def test_no_air_is_stated_that_a_house_could_hold(pots):
    words = said(pots)
    stated = [float(number.replace(",", "")) for number in AIR.findall(words.replace("mg/m³", ""))]
    assert all(air >= 1000 for air in stated)
    # Where a limit is stated the air is, in the open: nobody is left to reckon with the limit alone.
    assert words.count("To thin that to") == len(stated) == words.count("open, moving air, more than a house")
    assert words.count(" ppm") + words.count("mg/m³") == len(stated)


@settings(deadline=None, max_examples=60)
@given(drawn_pots(st.floats(0, 400)))
def test_every_gas_with_a_bound_is_told_and_no_bound_is_rounded_down(pots):
    words = said(pots)
    bounds = gas_bounds(pots)
    worst = bounds[bounds["grams"] > 0].groupby("gas")["grams"].max()
    told = {}
    for caution in cautions(pots, 600.0):
        head, _, rest = caution.partition(" in smoke: up to ")
        if rest:
            told[head.lower()] = float(rest.partition(" g")[0].replace(",", ""))
        if caution.startswith("Less, yet harmful"):
            of = r"([\d.,]+) g of (.+?)(?= in place|;| in a firing)"
            told |= {gas: float(grams.replace(",", "")) for grams, gas in re.findall(of, rest or caution)}
    assert set(told) == set(worst.index)
    assert all(told[gas] >= grams * (1 - 1e-9) for gas, grams in worst.items())
    assert ("Only" in words or "only distance" in words) and "No amount is small enough for a room" in words


@settings(deadline=None, max_examples=60)
@given(drawn_pots(st.floats(0, 50)), st.floats(1.01, 10))
def test_more_of_everything_gives_off_more(pots, times):
    more = pots.copy()
    amounts = [heading for heading in pots if heading != "firing"]
    more[amounts] *= times
    less, more = gas_bounds(pots)["grams"], gas_bounds(more)["grams"]
    np.testing.assert_allclose(more, less * times, rtol=1e-9)


def test_each_gas_has_a_limit_and_one_unit_for_it():
    for gas in GASES.values():
        assert gas.limit_mg_per_m3 > 0
        assert math.isnan(gas.limit_ppm) == math.isnan(gas.molar_mass) == ("fume" in gas.name)
        assert gas.limit_by in gas.limit
