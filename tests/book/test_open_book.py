"""The batch book opened: tables with their units, and nothing of it changed."""

import pickle

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from sagglab.book import Book, open_book
from sagglab.errors import BookError, MissingFileError


def test_a_faultless_book_has_no_problems(write_book):
    book = open_book(write_book())
    assert isinstance(book, Book)
    assert str(book.problems) == "no problems"
    book.require("pots", "firings", "photos", "setups")


def test_the_index_is_the_row_as_a_spreadsheet_numbers_it(write_book, tables):
    book = open_book(write_book(pots=tables["pots"].replace("\np2", "\n\n,,\np2")))
    assert book.pots.index.tolist() == [2, 5]


def test_a_blank_amount_is_none_of_a_dusting_or_packing_and_unknown_of_all_else(write_book):
    head = "pot,firing,sugar [g],sawdust [mL],moon dust [g],slip [coats],copper wire [cm],height [cm],rating"
    pots = open_book(write_book(pots=f"{head}\np1,f1,,,,,,,\np2,f1,1,1,1,1,1,1,1\n")).pots
    blanks = pots.loc[2, ["sugar [g]", "sawdust [mL]", "moon dust [g]"]]
    assert blanks.tolist() == [0, 0, 0]
    assert pots.loc[2, ["slip [coats]", "copper wire [cm]", "height [cm]", "rating"]].isna().all()


@pytest.mark.parametrize(
    ("heading", "cell", "becomes", "value"),
    [
        ("sugar [oz]", "2", "sugar [g]", 56.69904625),
        ("sugar [lb]", "0.5", "sugar [g]", 226.796185),
        ("sugar [kg]", "0.25", "sugar [g]", 250),
        ("copper wire [in]", "10", "copper wire [cm]", 25.4),
        ("height [mm]", "95", "height [cm]", 9.5),
        ("ferric chloride [coat]", "2", "ferric chloride [coats]", 2),
        ("soak [h]", "1.5", "soak [min]", 90),
        ("sawdust [L]", "2", "sawdust [mL]", 2000),
    ],
)
def test_amounts_are_kept_in_the_working_unit_and_the_heading_says_so(
    write_book, heading, cell, becomes, value
):
    pots = open_book(write_book(pots=f"pot,firing,{heading}\np1,f1,{cell}\np2,f1,{cell}\n")).pots
    assert heading not in pots
    assert pots[becomes].tolist() == pytest.approx([value, value], rel=1e-9)


@pytest.mark.parametrize(("unit", "cell"), [("degF", "1382"), ("F", "1382"), ("K", "1023.15"), ("°C", "750")])
def test_a_peak_in_any_scale_is_kept_in_celsius(write_book, unit, cell):
    firings = open_book(write_book(firings=f"firing,target peak [{unit}]\nf1,{cell}\n")).firings
    assert firings["target peak [degC]"].tolist() == pytest.approx([750])


def test_a_semicolon_file_with_decimal_commas(write_book, tables):
    pots = tables["pots"].replace(",", ";").replace(";5;", ";5,25;")
    assert open_book(write_book(pots=pots)).pots["sugar [g]"].tolist() == [5.25, 0]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_common_encodings(write_book, tables, encoding):
    pots = tables["pots"].replace("white", "grès")
    assert open_book(write_book(pots=pots.encode(encoding))).pots["clay"].tolist() == ["grès", "grès"]


def test_a_table_with_headings_alone_is_empty_and_typed(write_book):
    book = open_book(write_book(pots="pot,firing,sugar [g]\n", photos="photo,pot,setup\n"))
    assert len(book.pots) == 0 and not book.problems
    assert book.pots.dtypes.astype(str)[["pot", "sugar [g]", "height [cm]"]].tolist() == [
        "str",
        "float64",
        "float64",
    ]


def test_columns_of_the_makers_own_are_kept(write_book):
    pots = open_book(write_book(pots="pot,firing,stamp,batch\np1,f1,moon,-1\np2,f1,sun,1\n")).pots
    assert pots["stamp"].tolist() == ["moon", "sun"]
    assert pots["batch"].tolist() == [-1, 1]


@pytest.mark.parametrize(
    ("cell", "date"),
    [
        ("2026-05-31", "2026-05-31 00:00"),
        ("2026-05-31 14:05", "2026-05-31 14:05"),
        ("2026-05-31T14:05:30Z", "2026-05-31 14:05:30"),
        ("2026-05-31T14:05:30+02:00", "2026-05-31 14:05:30"),
    ],
)
def test_dates_are_those_on_the_makers_clock(write_book, cell, date):
    firings = open_book(write_book(firings=f"firing,date\nf1,{cell}\nf2,2026-06-01\n")).firings
    assert firings["date"].dtype == "datetime64[us]"
    assert firings.loc[2, "date"] == pd.Timestamp(date)


def test_blank_cells_are_no_plain_sheets(write_book):
    book = open_book(
        write_book(photos="photo,pot,setup\n,p1,bench\n", setups="setup,target,flat\nbench,x,\n")
    )
    assert repr(book) == "book: 2 pots, 1 firing, 1 photograph, 1 setup"


def _workbook(folder, tables):
    workbook = Workbook()
    workbook.remove(workbook.active)
    for name, text in tables.items():
        sheet = workbook.create_sheet(name)
        for line in text.splitlines():
            sheet.append([float(cell) if cell.isdigit() else cell or None for cell in line.split(",")])
    workbook.save(folder / "book.xlsx")


def test_a_workbook_gives_the_same_tables(write_book, tables):
    as_csv = open_book(write_book())
    folder = write_book()
    for name in tables:
        (folder / f"{name}.csv").unlink()
    _workbook(folder, tables)
    as_sheets = open_book(folder)
    for name in tables:
        pd.testing.assert_frame_equal(getattr(as_sheets, name), getattr(as_csv, name))
    assert not as_sheets.problems


def test_a_true_date_in_a_workbook(write_book, tables):
    folder = write_book(firings=None)
    workbook = Workbook()
    workbook.active.title = "firings"
    workbook.active.append(["firing", "date"])
    workbook.active.append(["f1", pd.Timestamp("2026-05-31").to_pydatetime()])
    workbook.save(folder / "book.xlsx")
    assert open_book(folder).firings.loc[2, "date"] == pd.Timestamp("2026-05-31")


def test_a_table_in_both_places_is_told(write_book, tables):
    folder = write_book()
    _workbook(folder, {"pots": tables["pots"]})
    assert [p.cause for p in open_book(folder).problems] == ["it is both in pots.csv and in book.xlsx"]


def test_opening_changes_no_file(write_book, tables):
    folder = write_book(pots="pot,firing,sugar [oz]\np1,f1,1\np2,nowhere,x\n")
    _workbook(folder, tables)

    def contents():
        return {
            file: (file.read_bytes(), file.stat().st_mtime_ns) for file in folder.rglob("*") if file.is_file()
        }

    before = contents()
    open_book(folder)
    assert contents() == before


def test_a_folder_that_is_no_book(tmp_path):
    with pytest.raises(BookError, match=r"it is no batch book: it holds none of pots\.csv, firings\.csv"):
        open_book(tmp_path)


@pytest.mark.parametrize("name", ["nothing", "n" * 300])
def test_a_missing_folder(tmp_path, name):
    with pytest.raises(MissingFileError, match="there is no such folder"):
        open_book(tmp_path / name)


def test_a_file_is_no_folder(write_book):
    with pytest.raises(BookError, match="it is a file"):
        open_book(write_book() / "pots.csv")


def test_a_path_is_taken_as_text_too(write_book):
    assert open_book(str(write_book())).path("photos/p1.jpg").is_file()


def test_a_step_stops_only_for_the_tables_that_it_needs(write_book):
    book = open_book(write_book(setups="setup,target\nbench,nothing\n"))
    book.require("pots", "firings")
    with pytest.raises(
        BookError, match=r"a fault stops the work[\s\S]*setups, row 2, column 'target': 'nothing'"
    ):
        book.require("setups")


def test_a_warning_stops_nothing(write_book):
    book = open_book(write_book(pots="pot,firing,rating\np1,f1,9\np2,f1,3\n"))
    assert len(book.problems) == 1
    book.require("pots", "firings", "photos", "setups")


def test_a_book_survives_the_way_to_another_process(write_book):
    book = open_book(write_book())
    again = pickle.loads(pickle.dumps(book))
    pd.testing.assert_frame_equal(again.pots, book.pots)
    assert again.problems == book.problems


def test_the_summary_says_that_only_the_tables_were_looked_at(write_book):
    assert "No problems found in its tables. BookCheck" in open_book(write_book())._repr_html_()


def test_the_summary_counts_and_escapes(write_book):
    page = open_book(write_book(pots="pot,firing\n<b>,f1\n"))._repr_html_()
    assert "1 pot, 1 firing, 2 photographs, 1 setup" in page
    assert "&#x27;&lt;b&gt;&#x27;" in page and "'<b>'" not in page


def test_numbers_are_floats_whatever_the_cells_look_like(write_book):
    pots = open_book(write_book(pots="pot,firing,sugar [g]\np1,f1,1\np2,f1,2\n")).pots
    assert pots["sugar [g]"].dtype == np.float64


def test_a_book_need_not_have_a_shelf(write_book):
    book = open_book(write_book())
    assert len(book.shelf) == 0 and not book.problems
    assert book.shelf.columns.tolist()[:2] == ["material", "in stock [g]"]


def test_a_shelf_is_read_with_its_units(write_book):
    shelf = "material,in stock [kg],spoon [g],packet [lb],price,currency\nsugar,1.5,3.2,2,4.5,CHF\n"
    book = open_book(write_book(shelf=shelf))
    assert not book.problems
    assert book.shelf.loc[2, "in stock [g]"] == pytest.approx(1500)
    assert book.shelf.loc[2, "packet [g]"] == pytest.approx(907.18474)
    assert book.shelf.loc[2, ["spoon [g]", "price", "currency"]].tolist() == [3.2, 4.5, "CHF"]


def test_a_shelf_alone_is_no_book(write_book):
    none = dict.fromkeys(("pots", "firings", "photos", "setups"))
    with pytest.raises(BookError, match="it is no batch book"):
        open_book(write_book(shelf="material\nsugar\n", **none))
