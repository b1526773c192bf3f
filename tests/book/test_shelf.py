"""The shelf: its faults, each named."""

import pytest

from sagglab.book import open_book

HEAD = "material,in stock [g],spoon [g],packet [g],price,currency,notes"


@pytest.mark.parametrize(
    ("rows", "where", "words", "stops"),
    [
        ("sugar,1,,,,,\nsugar,2,,,,,", "shelf, row 3, column 'material'", "'sugar' is there already", True),
        ("sugar,1,,,,,\nSucrose,2,,,,,", "shelf, row 3, column 'material'", "as 'sugar' in row 2", True),
        (",1,,,,,", "shelf, row 2, column 'material'", "it is blank", True),
        ("sugar,-1,,,,,", "shelf, row 2, column 'in stock [g]'", "'-1' is a negative amount", True),
        ("sugar,,0,,,,", "shelf, row 2, column 'spoon [g]'", "a spoon that holds nothing", True),
        ("sugar,,,0,1,,", "shelf, row 2, column 'packet [g]'", "a packet that holds nothing", True),
        ("sugar,,,,-3,,", "shelf, row 2, column 'price'", "'-3' is a negative amount", True),
        ("sugar,,,,3,,", "shelf, row 2, column 'packet [g]'", "the price tells no cost", False),
        ("sugar,,,9,3,CHF,\nsalt,,,9,2,EUR,", "shelf, column 'currency'", "cannot be added up", True),
        ("sugar,a lot,,,,,", "shelf, row 2, column 'in stock [g]'", "'a lot' is no number", True),
    ],
)
def test_each_fault_is_named(write_book, rows, where, words, stops):
    problems = open_book(write_book(shelf=f"{HEAD}\n{rows}\n")).problems
    found = [problem for problem in problems if words in problem.cause]
    assert [problem.where for problem in found] == [where]
    assert found[0].stops is stops


def test_a_stock_without_its_unit_is_a_fault(write_book):
    problems = open_book(write_book(shelf="material,in stock\nsugar,3\n")).problems
    assert "no unit is stated" in str(problems) and "in stock [g]" in str(problems)


def test_a_stock_in_coats_is_a_fault(write_book):
    problems = open_book(write_book(shelf="material,in stock [coats]\nferric chloride,3\n")).problems
    assert "cannot be turned into g" in str(problems)


def test_the_shelf_stops_only_what_needs_it(write_book):
    book = open_book(write_book(shelf=f"{HEAD}\nsugar,-1,,,,,\n"))
    book.require("pots", "firings", "photos", "setups")
