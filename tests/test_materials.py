"""Materials: what is known of each."""

import math
from importlib.resources import files

import pandas as pd
import pytest

from sagglab.cautions import GASES
from sagglab.columns.book import BOOK_TABLES
from sagglab.materials import STATEMENTS, Material, atoms, find_material

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


@pytest.mark.parametrize("name", TABLE["material"])
def test_each_material_has_hazards_that_are_known_and_a_source(name):
    material = find_material(name)
    assert set(material.statements) <= set(STATEMENTS)
    assert material.hazards[: len(material.statements)] == tuple(map(STATEMENTS.get, material.statements))
    assert material.source
    assert not any(
        words.endswith(".") for words in (*material.hazards, material.gives_off, material.never_fired)
    )


def test_no_statement_stands_there_for_nothing():
    assert set(STATEMENTS) == {code for name in TABLE["material"] for code in find_material(name).statements}


@pytest.mark.parametrize("name", TABLE["material"])
def test_all_of_a_formula_that_can_go_into_the_air_is_counted(name):
    material = find_material(name)
    counted = {GASES[key].element for key in material.counted}
    held = set(atoms(material.formula)) | {element for element, _ in material.at_most}
    # Iron stays behind as oxide, but for that of the chloride.
    for element in held & {"C", "Cl", "S", "Cu", "Co", "Mn", "Zn"}:
        assert element in counted
    assert all(0 < share <= 1 for _, share in material.at_most)


@pytest.mark.parametrize("name", TABLE["material"])
def test_a_gram_holds_at_most_a_gram(name):
    material = find_material(name)
    for key in material.counted:
        moles = material.moles_of(GASES[key].element)
        assert math.isnan(moles) or 0 < moles < 0.084  # a gram of carbon is 0.0833 mol


def test_what_smokes_is_counted_as_carbon():
    for name in TABLE.loc[TABLE["gives off when fired"].str.contains("smoke|carbon monoxide"), "material"]:
        material = find_material(name)
        assert "CO" in material.counted and material.moles_of("C") > 0


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("CuSO4.5H2O", {"Cu": 1, "S": 1, "O": 9, "H": 10}),
        ("C12H22O11", {"C": 12, "H": 22, "O": 11}),
        ("NaCl", {"Na": 1, "Cl": 1}),
        ("", {}),
    ],
)
def test_atoms_are_counted_with_those_of_the_water(formula, expected):
    assert atoms(formula) == expected


def test_no_material_is_called_like_a_column_of_the_pots():
    names = {column.name for column in BOOK_TABLES["pots"]}
    assert not [name for name in names if find_material(name) is not None]


def test_the_harmless_and_the_forbidden_are_told_apart():
    assert find_material("fertiliser").never_fired
    assert find_material("sugar").never_fired == ""
