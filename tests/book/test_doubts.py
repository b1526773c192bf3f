"""What a check tells beyond single faults: once for many rows, in order, and what was likely meant."""

import pytest

from sagglab.book import open_book

NO_PHOTO = "no photograph shows"


def told(folder, column=None):
    """Give row, stops, cause and remedy of what is told of one column, or of all."""
    return [
        (p.row, p.stops, p.cause, p.remedy)
        for p in open_book(folder).problems
        if not p.cause.startswith(NO_PHOTO) and column in (None, p.column)
    ]


def photos(*rows, head="photo,pot,view,setup"):
    return "\n".join([head, *rows, ""])


# --- faults of which later steps would fail


@pytest.mark.parametrize("also", ["", ", also in row 3", ", also in rows 3 and 4"])
def test_a_photograph_without_a_setup_is_a_fault_told_once(write_book, also):
    count = {"": 1, ", also in row 3": 2, ", also in rows 3 and 4": 3}[also]
    rows = ["photos/p1.jpg,p1,front,", "photos/p2.jpg,p2,front,", "readings/f1.csv,,,"][:count]
    remedy = "name the setup that it was taken with, one of bench"
    assert told(write_book(photos=photos(*rows))) == [(2, True, f"it is blank{also}", remedy)]


def test_a_thermocouple_whose_voltages_are_unknown_is_a_fault(write_book):
    folder = write_book(firings="firing,thermocouple\nf1,B\nf2,k\nf3,N\nf4,S\nf5,R\nf6,\nf7,type K\n")
    found = told(folder)
    assert [(row, stops) for row, stops, *_ in found] == [(2, True), (8, True)]
    assert found[0][2:] == (
        "'B' is no type of thermocouple whose voltages are known",
        "write one of K, N, S, R",
    )


# --- what was likely meant


@pytest.mark.parametrize(
    ("view", "meant"),
    [
        ("fornt", "front"),
        ("bak", "back"),
        ("Fronts", "front"),
        ("lip", None),
        ("120°", None),
        ("side a", None),
    ],
)
def test_a_view_that_is_nearly_another(write_book, view, meant):
    folder = write_book(photos=photos(f"photos/p1.jpg,p1,{view},bench", "photos/p2.jpg,p2,side b,bench"))
    wanted = [(2, False, f"'{view}' is nearly '{meant}'", f"write {meant} if you meant that")]
    assert told(folder) == (wanted if meant else [])


def test_a_view_that_is_nearly_one_that_the_book_has_oftener(write_book):
    rows = [
        "photos/p1.jpg,p1,inside,bench",
        "photos/p2.jpg,p2,inside,bench",
        "readings/f1.csv,p2,insde,bench",
    ]
    assert told(write_book(photos=photos(*rows))) == [
        (4, False, "'insde' is nearly 'inside'", "write inside if you meant that")
    ]


def test_kinds_that_differ_in_capitals_and_blanks(write_book):
    rows = ["white,Smooth", "White,smooth", "white,smooth", "W hite,rough", "White,"]
    lines = "".join(f"p{k},f1,{row}\n" for k, row in enumerate(rows, start=1))
    folder = write_book(pots=f"pot,firing,clay,my own\n{lines}", firings="firing,kiln\nf1,Big\nf2,big\n")
    remedy = "write both alike if they are one"
    assert told(folder) == [
        (2, False, "'Smooth' and 'smooth' in row 3 count as two kinds", remedy),
        (3, False, "'White', also in row 6 and 'white' in row 2 count as two kinds", remedy),
        (5, False, "'W hite' and 'white' in row 2 count as two kinds", remedy),
        (3, False, "'big' and 'Big' in row 2 count as two kinds", remedy),
    ]


def test_notes_are_no_kinds(write_book):
    assert told(write_book(pots="pot,firing,notes\np1,f1,Chip\np2,f1,chip\n")) == []


@pytest.mark.parametrize(
    ("name", "meant"), [("suger", "sugar"), ("fairy dst", "fairy dust"), ("gravel", None)]
)
def test_a_material_on_the_shelf_that_is_nearly_one(write_book, name, meant):
    folder = write_book(
        pots="pot,firing,fairy dust [g]\np1,f1,2\np2,f1,\n",
        shelf=f"material,in stock [g]\n{name},9\nsucrose,1\n",
    )
    cause = f"'{name}': no pot has it and no list knows it, but '{meant}' is nearly the same"
    assert told(folder) == ([(2, False, cause, f"write {meant} if you meant that")] if meant else [])


@pytest.mark.parametrize(
    ("heading", "cells", "cause"),
    [
        ("[degC]", ("750", "1380", "1400"), "it is 1380 °C, also in row 4"),
        ("[°C]", ("1101", "20", "20"), "it is 1101 °C"),
        ("[degC]", ("1100", "750", ""), None),
        ("[degF]", ("1380", "1400", "2500"), None),
    ],
)
def test_a_peak_that_fahrenheit_was_meant_by(write_book, heading, cells, cause):
    rows = "".join(f"f{k},{cell}\n" for k, cell in enumerate(cells, start=1))
    found = told(write_book(firings=f"firing,target peak {heading}\n{rows}"))
    remedy = "if °F was meant, write the heading as target peak [degF]"
    assert [one[1:] for one in found] == ([(False, cause, remedy)] if cause else [])


@pytest.mark.parametrize(
    ("heading", "cell", "meant"),
    [
        ("height [cm]", 113, True),
        ("diameter [cm]", 85, True),
        ("height [cm]", 60, False),
        ("height [mm]", 700, False),
    ],
)
def test_a_pot_too_large_for_the_kiln(write_book, heading, cell, meant):
    name = heading.split(" [")[0]
    remedy = f"if mm was meant, write the heading as {name} [mm]"
    wanted = [(2, False, f"it is {cell} cm", remedy)] if meant else []
    assert told(write_book(pots=f"pot,firing,{heading}\np1,f1,{cell}\np2,f1,\n")) == wanted


# --- the words of it


@pytest.mark.parametrize(
    ("heading", "cell", "remedy"),
    [
        ("sugar [g]", "4 g", "write the number of g alone, as 4"),
        ("sugar [g]", "4grams", "write the number of g alone, as 4"),
        ("sugar [g]", "1 oz", "write the number of g alone: 1 oz is 28.35"),
        ("sugar [oz]", "1 oz", "write the number of oz alone, as 1"),
        ("sugar [g]", "1 tsp", "convert it to g, and write the number alone"),
        ("sugar [g]", "2 spoonfuls", "convert it to g, and write the number alone"),
        ("slip [coats]", "2 coats", "write the number of coats alone, as 2"),
        ("height [cm]", "4 in", "write the number of cm alone: 4 in is 10.16"),
        ("sugar [g]", "4-5 g", "write a number, or leave it blank"),
    ],
)
def test_a_unit_in_the_cell_is_told_how_to_mend(write_book, heading, cell, remedy):
    found = told(write_book(pots=f"pot,firing,{heading}\np1,f1,{cell}\np2,f1,\n"))
    assert found == [(2, True, f"'{cell}' is no number", remedy)]


def test_blanks_are_no_names_to_choose_from(write_book):
    folder = write_book(pots="pot,firing\n,f9\np2,f1\n", firings="firing,kiln\nf1,a\n,b\nf2,a\n")
    remedies = [one[3] for one in told(folder, "firing") if "f9" in one[2]]
    assert remedies == ["add it there, or write one of f1, f2"]
    assert not [p for p in open_book(folder).problems if p.cause == f"{NO_PHOTO} ''"]


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("p2.jpg", "photos/p2.jpg"),
        ("photos/P2.JPG", "photos/p2.jpg"),
        ("photos\\p2.jpg", "photos/p2.jpg"),
        ("photos/p2.jpeg", "photos/p2.jpg"),
        ("photos/p3.jpg", None),
        ("p1.jpg", None),
    ],
)
def test_a_photograph_that_lies_elsewhere_is_named(write_book, name, meant):
    folder = write_book(photos=photos("photos/p1.jpg,p1,front,bench", f"{name},p2,front,bench"))
    cause, remedy = f"'{name}': there is no such file in the book", "put it there, or correct the name"
    if meant:
        cause, remedy = f"{cause}, but there is '{meant}'", f"write {meant} if you meant that"
    assert told(folder) == [(3, False, cause, remedy)]


def test_one_photograph_in_two_rows(write_book):
    rows = ["photos/p1.jpg,p1,front,bench", "photos/p2.jpg,p2,front,bench", "./photos/p1.jpg,p1,back,bench"]
    cause = "rows 2 and 4 name the same file, './photos/p1.jpg'"
    assert told(write_book(photos=photos(*rows))) == [
        (4, True, cause, "keep one of them, or correct the name")
    ]


@pytest.mark.parametrize(
    ("table", "column"),
    [
        ("pots", "pot"),
        ("pots", "firing"),
        ("firings", "firing"),
        ("photos", "photo"),
        ("photos", "pot"),
        ("photos", "setup"),
        ("setups", "setup"),
        ("setups", "target"),
    ],
)
def test_a_column_that_is_missing_is_told_once(write_book, tables, table, column):
    head, *rows = [line.split(",") for line in tables[table].splitlines()]
    at = head.index(column)
    kept = "\n".join(",".join(cells[:at] + cells[at + 1 :]) for cells in (head, *rows))
    (problem,) = open_book(write_book(**{table: f"{kept}\n"})).problems
    assert (problem.table, problem.row, problem.column) == (table, 1, column)


def test_problems_stand_in_the_order_of_the_book(write_book):
    folder = write_book(
        pots="pot,firing,sugar [g],state\np1,f9,1,odd\np2,f1,lots,whole\n,f1,2,whole\n",
        firings="firing,date,thermocouple\nf1,soon,B\n,2026-05-31,K\n",
        photos=photos("photos/p1.jpg,p9,front,", "gone.jpg,p2,fornt,bench"),
        setups=None,
        shelf="material,in stock [g]\nsuger,lots\n",
    )
    places = [(p.table, p.row) for p in open_book(folder).problems]
    tables = ("pots", "firings", "photos", "setups", "shelf")
    assert list(dict.fromkeys(table for table, _ in places)) == list(tables)
    assert places == sorted(places, key=lambda place: (tables.index(place[0]), place[1] or 0))
    assert len(places) > 10
