"""Molar masses against standard atomic weights."""

import re
from decimal import Decimal
from importlib.resources import files

import pandas as pd
import pytest

# IUPAC Commission on Isotopic Abundances and Atomic Weights, abridged standard atomic weights.
WEIGHTS = {
    "H": "1.008",
    "C": "12.011",
    "N": "14.007",
    "O": "15.999",
    "Na": "22.990",
    "Mg": "24.305",
    "S": "32.06",
    "Cl": "35.45",
    "Fe": "55.845",
    "Cu": "63.546",
}

TABLE = pd.read_csv(files("sagglab") / "materials.csv", dtype=str, keep_default_na=False)
COMPOUNDS = TABLE[TABLE["formula"] != ""].set_index("material")


def molar_mass(formula):
    """Add a formula such as CuSO4.5H2O up."""
    total = Decimal(0)
    for part in formula.split("."):
        times, atoms = re.fullmatch(r"(\d*)((?:[A-Z][a-z]?\d*)+)", part).groups()
        total += int(times or 1) * sum(
            Decimal(WEIGHTS[atom]) * int(count or 1)
            for atom, count in re.findall(r"([A-Z][a-z]?)(\d*)", atoms)
        )
    return total


@pytest.mark.parametrize(
    ("formula", "expected"),
    # g/mol, computed from the same weights outside the project.
    [
        ("FeCl3", "162.19"),
        ("FeCl3.6H2O", "270.28"),
        ("CuSO4.5H2O", "249.68"),
        ("FeSO4.7H2O", "278.01"),
        ("MgSO4.7H2O", "246.47"),
        ("C12H22O11", "342.30"),
    ],
)
def test_formulas_add_up(formula, expected):
    assert abs(molar_mass(formula) - Decimal(expected)) <= Decimal("0.005")


@pytest.mark.parametrize("material", COMPOUNDS.index)
def test_the_table_to_its_printed_digits(material):
    printed = COMPOUNDS.loc[material, "molar mass [g/mol]"]
    half_a_digit = Decimal(5).scaleb(Decimal(printed).as_tuple().exponent - 1)
    assert abs(molar_mass(COMPOUNDS.loc[material, "formula"]) - Decimal(printed)) <= half_a_digit


def test_a_molar_mass_and_a_formula_come_together():
    assert ((TABLE["formula"] == "") == (TABLE["molar mass [g/mol]"] == "")).all()
