"""Materials: what is known of each."""

import math
from importlib.resources import files

import pandas as pd
import pytest

from sagglab.materials import Material, find_material

TABLE = pd.read_csv(files("sagglab") / "materials.csv", keep_default_na=False)


@pytest.mark.parametrize("name", TABLE["material"])
def test_each_material_is_found_by_its_own_name(name):
    assert find_material(name).name == name


@pytest.mark.parametrize(
    ("also", "name"),
    [
        ("sucrose", "sugar"),
        ("copper sulfate", "copper sulphate"),
        ("ferrous sulfate", "iron sulphate"),
        ("epsom salt", "magnesium sulphate"),
        ("iron(III) chloride", "ferric chloride"),
        (" Sugar ", "sugar"),
    ],
)
def test_other_names_lead_to_the_same_material(also, name):
    assert find_material(also) is find_material(name)


def test_no_name_means_two_materials():
    names = [*TABLE["material"], *(name for also in TABLE["also called"] for name in also.split(";") if name)]
    assert len(names) == len({name.lower() for name in names})


def test_each_use_is_known():
    assert set(TABLE["use"]) == {"coat", "dusting", "packing", "wrap"}


def test_what_is_no_single_compound_has_no_molar_mass():
    straw = find_material("straw")
    assert straw.formula == "" and math.isnan(straw.molar_mass)


def test_hazards_come_one_by_one():
    assert find_material("copper sulphate").hazards == (
        "harmful if swallowed",
        "causes serious eye damage",
        "very toxic to aquatic life with long lasting effects",
    )


def test_what_is_unknown_is_none():
    assert find_material("unicorn dust") is None
    assert find_material("") is None


def test_a_material_cannot_be_changed():
    with pytest.raises(AttributeError):
        find_material("sugar").use = "wrap"
    assert isinstance(find_material("sugar"), Material)
