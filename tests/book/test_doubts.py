"""What a check tells beyond single faults: once for many rows, in order, and what was likely meant."""

import datetime as dt

import pytest

from sagglab.book import open_book
from sagglab.book.check import check_tables
from sagglab.book.tables import read_tables
from sagglab.errors import Problem

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


# --- headings that are nearly known


@pytest.mark.parametrize(
    ("heading", "remedy"),
    [
        ("suger [g]", "'sugar [g]' if you meant that; if it is another material, leave it"),
        ("suger", "'sugar [g]' if you meant that; if it is another material, leave it"),
        ("Coper Sulfate [oz]", "'copper sulfate [g]' if you meant that; if it is another material, leave it"),
        ("seewead [g]", "'seaweed [g]' if you meant that; if it is another material, leave it"),
        ("sea-weed [g]", "'seaweed [g]' if you meant that; if it is another material, leave it"),
        ("coper wire [cm]", "'copper wire [cm]' if you meant that; if it is another material, leave it"),
        ("hight [cm]", "'height [cm]' if you meant that"),
        ("hieght", "'height [cm]', with the unit that you used, if you meant that"),
        ("plaace", "'place' if you meant that"),
    ],
)
def test_a_heading_that_is_nearly_known_is_told_how_to_write_it_at_once(write_book, heading, remedy):
    found = told(write_book(pots=f"pot,firing,{heading}\np1,f1,4\np2,f1,2\n"))
    assert [(one[0], one[1], one[3]) for one in found] == [(1, False, f"write the heading as {remedy}")]


def test_a_misspelt_material_is_told_beside_the_right_one(write_book):
    found = told(write_book(pots="pot,firing,sugar [g],suger [g]\np1,f1,4,\np2,f1,,2\n"))
    assert [one[:3] for one in found] == [
        (1, False, "no list knows this material, but 'sugar' is nearly the same")
    ]


#: What potters put on and around pots, or write down of them, some near to a known name letter by letter.
OF_ONES_OWN = """
salt, table salt, sea salt, borax, silver nitrate, cobalt carbonate, copper carbonate, copper sulfate,
ferrous sulfate, zinc sulphate, nickel sulphate, iron wire, steel wool, rice husk, rice husks, coffee,
grass, dry grass, silt, sand, stone, plaster, malt, silk, wool, brown sugar, molasses, zinc oxide, tin
oxide, chrome oxide, cobalt oxide, black iron oxide, magnesium oxide, titanium dioxide, copper chloride,
copper nitrate, copper foil, copper tape, copper powder, brass wool, iron filings, potassium carbonate,
potassium nitrate, sodium silicate, ammonium chloride, calcium chloride, wood ash, bone ash, peat, moss,
bark, oak leaves, tea leaves, pine cones, orange peel, banana peels, onion skins, egg shells, corn husks,
dog hair, goat hair, horsehair, sheep dung, twine, jute string, hemp, cotton rope, rice straw, bran,
oats, milk, vinegar, graphite, coke, coal, Epsom salts, kelp, hay, weight, width, depth, length, volume,
wall thickness, rim, foot, soak, burnishing, gloss, layers, foil, student
"""


def test_what_is_known_or_is_another_thing_is_left_alone(write_book):
    names = [name.strip() for name in OF_ONES_OWN.replace("\n", " ").split(",")]
    heads = ",".join(f"{name} [g]" for name in names)
    assert len(names) > 90
    assert told(write_book(pots=f"pot,firing,{heads}\np1,f1\np2,f1\n")) == []


# --- names in two spellings


def test_firings_in_two_spellings_are_told_in_both_tables(write_book):
    folder = write_book(
        pots="pot,firing\np1,load 2\np2,Load 02\np3,load 2\np4,1-2\np5,12\n",
        firings="firing\nload 2\nLoad 02\n1-2\n12\n",
    )
    remedy = "write both alike if they are one"
    assert told(folder, "firing") == [
        (3, False, "'Load 02' and 'load 2' in row 2 count as two firings", remedy),
        (3, False, "'Load 02' and 'load 2' in row 2 count as two firings", remedy),
    ]


def test_firings_in_two_spellings_are_told_where_no_table_names_them(write_book):
    found = told(write_book(pots="pot,firing\np1,F-1\np2,f1\n", firings="firing\n"), "firing")
    assert [one[:3] for one in found] == [(3, False, "'f1' and 'F-1' in row 2 count as two firings")]


def test_a_name_that_the_other_table_spells_otherwise_is_told_once(write_book):
    folder = write_book(
        pots="pot,firing\np1,F01\np2,f1\n",
        photos=photos("photos/p1.jpg,P-1,front,Bench", "photos/p2.jpg,p2,back,bench"),
    )
    assert told(folder) == [
        (2, True, "'F01' is not in the table firings, but 'f1' is", "write f1 if you meant that"),
        (2, False, "'P-1' is not in the table pots, but 'p1' is", "write p1 if you meant that"),
        (2, False, "'Bench' is not in the table setups, but 'bench' is", "write bench if you meant that"),
    ]


def test_setups_and_kilns_in_two_spellings(write_book):
    target = "24-patch-from-2014-11"
    folder = write_book(
        firings="firing,kiln\nf1,k1\nf2,K-01\n", setups=f"setup,target\nbench,{target}\nBench,{target}\n"
    )
    assert [one[2] for one in told(folder)] == [
        "'K-01' and 'k1' in row 2 count as two kinds",
        "'Bench' and 'bench' in row 2 count as two setups",
    ]


def test_a_zero_tells_kinds_apart(write_book):
    assert told(write_book(pots="pot,firing,clay\np1,f1,cone 05\np2,f1,cone 5\n")) == []


# --- views and dates


@pytest.mark.parametrize(("view", "angle"), [("left", "270°"), ("Right side", "90°")])
def test_a_side_that_tells_no_angle_cannot_be_joined(write_book, view, angle):
    folder = write_book(photos=photos(f"photos/p1.jpg,p1,{view},bench", f"photos/p2.jpg,p2,{view},bench"))
    ((row, stops, cause, remedy),) = told(folder)
    assert (row, stops) == (2, False)
    assert cause.startswith(f"'{view}', also in row 3 does not tell how far the pot was turned")
    assert remedy.startswith(f"write {angle} ")


def test_a_firing_of_a_day_ahead_is_told_after_a_day_of_grace(write_book):
    days = "f1,2026-05-31\nf2,2026-06-01 23:59\nf3,2026-06-02\nf4,2027-05-31\nf5,\n"
    folder = write_book(firings=f"firing,date\n{days}")
    tables, found = read_tables(folder)
    cause = "2026-06-02, also in row 5 lies ahead: today is 2026-05-31"
    remedy = "correct it, unless the firing is still to come"
    assert list(check_tables(folder, tables, found, dt.date(2026, 5, 31))) == [
        Problem("firings", 4, "date", cause, remedy, stops=False)
    ]
    assert not check_tables(folder, tables, found, dt.date(2028, 1, 1))


def test_a_book_is_checked_as_of_today(write_book):
    days = [dt.date.today() + dt.timedelta(days=days) for days in (0, 1, 3)]
    lines = "".join(f"f{number},{day}\n" for number, day in enumerate(days, start=1))
    assert [one[0] for one in told(write_book(firings=f"firing,date\n{lines}"), "date")] == [4]


def test_pots_without_a_photograph_are_told_once(write_book):
    rows = "".join(f"q{number},f1\n" for number in range(40))
    (problem,) = open_book(write_book(pots=f"pot,firing\np1,f1\np2,f1\n{rows}")).problems
    assert (problem.row, problem.remedy) == (4, "add them to photos")
    assert problem.cause == f"{NO_PHOTO} 'q0', also in rows 5, 6, 7, 8, 9, 10 and 33 more"
