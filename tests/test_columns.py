"""Columns: declared once, and tables laid out by them."""

import pandas as pd
import pytest

from sagglab import columns
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES, Column, conform, empty

DECLARED = {
    name: value
    for name, value in vars(columns).items()
    if isinstance(value, tuple) and all(isinstance(each, Column) for each in value)
}
TABLES = {**DECLARED, **BOOK_TABLES, **OPTIONAL_TABLES}


@pytest.mark.parametrize("table", TABLES)
def test_no_heading_is_declared_twice(table):
    headings = [column.heading for column in TABLES[table]]
    assert len(headings) == len(set(headings))


@pytest.mark.parametrize("table", TABLES)
def test_each_column_has_a_known_kind_and_a_meaning(table):
    for column in TABLES[table]:
        assert column.kind in ("text", "number", "date", "flag")
        assert column.meaning and not column.meaning.endswith(".")


@pytest.mark.parametrize("table", TABLES)
def test_an_empty_table_has_the_types_of_a_filled_one(table):
    wanted = {"text": "str", "number": "float64", "date": "datetime64[us]", "flag": "bool"}
    made = empty(TABLES[table])
    assert len(made) == 0
    assert made.dtypes.astype(str).tolist() == [wanted[column.kind] for column in TABLES[table]]
    pd.testing.assert_series_equal(conform([], TABLES[table]).dtypes, made.dtypes)


def test_the_heading_carries_the_unit():
    assert Column("height", "number", "height of the pot", unit="cm").heading == "height [cm]"
    assert Column("clay", "text", "the clay body").heading == "clay"


def test_rows_are_laid_out_and_gaps_left_blank():
    declared = (
        Column("a", "number", "a number"),
        Column("b", "text", "a text"),
        Column("c", "flag", "a flag"),
        Column("d", "date", "a date"),
    )
    table = conform([{"b": "x", "a": 1}, {}, {"c": True, "unheard of": 3}], declared)
    assert table.columns.tolist() == ["a", "b", "c", "d"]
    assert table["b"].tolist() == ["x", "", ""]
    assert table["c"].tolist() == [False, False, True]
    assert table["a"].isna().tolist() == [False, True, True]
    assert table["d"].isna().all()
    assert table.dtypes.astype(str).tolist() == ["float64", "str", "bool", "datetime64[us]"]
