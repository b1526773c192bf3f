"""A fresh book: tables without rows that open without a fault, and explain and offer what goes into them."""

import datetime as dt
import io

import pytest
from openpyxl import load_workbook

from sagglab import open_book
from sagglab.book.fresh import OWN_TARGET, fresh_columns, fresh_texts
from sagglab.book.fresh_workbook import fresh_workbook
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES, STATES
from sagglab.errors import BookError
from sagglab.firing.sensor import CLASSES, tolerance_C
from sagglab.firing.thermocouple import temperature_from_mV
from sagglab.materials import find_material
from sagglab.targets import built_in_targets

ROWS = {
    "firings": [["firing", "date", "weather"], ["1", "2026-05-31", "hot"], ["2", "1 June", "=SUM(A1)"]],
    "pots": [
        ["pot", "firing", "sugar [g]", "glaze code", "notes"],
        ["007", "1", "2,5", "012", "a \x07bell"],
        ["3-4", "2", "a pinch", "12"],
    ],
}


@pytest.fixture(scope="module")
def workbook():
    return load_workbook(io.BytesIO(fresh_workbook()))


@pytest.fixture(params=["xlsx", "csv"])
def written(request, tmp_path):
    """Give a function that writes a fresh book, in either shape, and opens it."""

    def write(rows=None):
        if request.param == "xlsx":
            (tmp_path / "book.xlsx").write_bytes(fresh_workbook(rows))
        else:
            for name, text in fresh_texts(rows).items():
                (tmp_path / name).write_bytes(text.encode())
        (tmp_path / "targets").mkdir()
        return open_book(tmp_path)

    return write


def offered(sheet, heading):
    """Give the validation of the cells below a heading, or None."""
    column = next(cell.column_letter for cell in sheet[1] if cell.value == heading)
    found = [one for one in sheet.data_validations.dataValidation if f"{column}2" in one.sqref]
    assert len(found) <= 1
    return found[0] if found else None


def test_it_opens_without_a_fault(written):
    book = written()
    assert book.problems == ()
    assert all(getattr(book, name).empty for name in BOOK_TABLES | OPTIONAL_TABLES)
    assert {"sugar [g]", "slip [coats]", "copper wire [cm]"} <= set(book.pots)


def test_it_says_what_to_write_first(written):
    book = written()
    assert book.first_entry.startswith("No firing is written down yet. Begin with the table firings")
    with pytest.raises(BookError, match="no firing is written down yet. Begin with the table firings"):
        book.require_entries()


def test_the_next_entry_follows_the_order_of_work(written):
    book = written(ROWS)
    assert book.first_entry.startswith("No setup is written down yet. Give each camera")
    book.require_entries()


def test_the_demo_lacks_no_entry(demo):
    assert open_book(demo).first_entry == ""


def test_every_column_is_explained(workbook):
    rows = [row[:7] for row in workbook["columns"].iter_rows(min_row=2, values_only=True)]
    explained = [(table, heading) for table, heading, *_ in rows]
    explained.remove(("pots", "name [unit]"))
    assert explained == [(name, one.heading) for name, columns in fresh_columns().items() for one in columns]
    assert all(meaning and example for _, _, _, _, meaning, example, _ in rows)
    declared = {(name, c.heading) for name, table in (BOOK_TABLES | OPTIONAL_TABLES).items() for c in table}
    assert declared <= set(explained)


def test_every_heading_carries_its_note(workbook):
    for name, columns in fresh_columns().items():
        for cell, column in zip(workbook[name][1], columns, strict=True):
            assert cell.value == column.heading and cell.font.bold
            assert column.meaning[1:].removesuffix(".") in cell.comment.text
            assert "Example: " in cell.comment.text
    assert "Each row must have it." in workbook["pots"]["A1"].comment.text
    assert "rename or delete the column" in workbook["pots"]["D1"].comment.text
    assert "Another unit may stand" in workbook["firings"]["G1"].comment.text


def test_headings_stay_in_sight_and_are_not_cut_off(workbook):
    for name in fresh_columns():
        sheet = workbook[name]
        assert sheet.freeze_panes == "B2"
        assert all(sheet.column_dimensions[c.column_letter].width > len(c.value) for c in sheet[1])
        assert sheet.auto_filter.ref is None
    assert workbook["columns"].freeze_panes == "A2"


@pytest.mark.parametrize(
    ("table", "heading", "values"),
    [
        ("pots", "state", STATES),
        ("pots", "rating", ("1", "2", "3", "4", "5")),
        ("firings", "sensor class", CLASSES),
        ("setups", "target", (*built_in_targets(), OWN_TARGET)),
    ],
)
def test_what_is_known_is_offered_and_anything_else_asked_about(workbook, table, heading, values):
    offer = offered(workbook[table], heading)
    assert offer.type == "list" and offer.formula1 == f'"{",".join(values)}"'
    assert offer.errorStyle == "warning" and offer.showErrorMessage and not offer.showDropDown
    assert len(offer.formula1) <= 257  # a longer list makes a spreadsheet take the file for broken


def test_thermocouples_and_classes_offered_are_those_that_are_read(workbook):
    for kind in offered(workbook["firings"], "thermocouple").formula1.strip('"').split(","):
        assert temperature_from_mV([1.0], kind)[0] > 0
    for name in offered(workbook["firings"], "sensor class").formula1.strip('"').split(","):
        assert tolerance_C(750.0, name) > 0


@pytest.mark.parametrize(
    ("table", "heading", "other"),
    [("pots", "firing", "firings"), ("photos", "pot", "pots"), ("photos", "setup", "setups")],
)
def test_names_of_another_table_are_offered(workbook, table, heading, other):
    offer = offered(workbook[table], heading)
    assert f"OFFSET({other}!$A$2," in offer.formula1
    assert workbook[other]["A1"].value == heading
    assert offer.errorStyle == "warning"


@pytest.mark.parametrize("heading", ["fuel", "wind"])
def test_where_any_word_will_do_nothing_is_asked(workbook, heading):
    offer = offered(workbook["firings"], heading)
    assert offer.formula1 and not offer.showErrorMessage


def test_usual_materials_are_known_ones():
    declared = {column.name for column in BOOK_TABLES["pots"]}
    materials = [column for column in fresh_columns()["pots"] if column.name not in declared]
    assert len(materials) == 8
    assert all(find_material(column.name) is not None and column.unit for column in materials)


def test_names_stay_names(workbook):
    # Typed into a cell without this format, the pot 3-4 would become the third of April.
    assert workbook["pots"].column_dimensions["A"].number_format == "@"
    assert workbook["firings"].column_dimensions["B"].number_format == "yyyy-mm-dd"


def test_rows_of_notes_go_in_whole(written):
    book = written(ROWS)
    assert book.pots["pot"].tolist() == ["007", "3-4"]
    assert book.pots["firing"].tolist() == ["1", "2"]
    assert book.pots["sugar [g]"].tolist()[0] == 2.5
    assert book.pots["glaze code"].astype(str).tolist()[0] in ("012", "12.0")
    assert book.firings["date"].tolist()[0].isoformat() == "2026-05-31T00:00:00"
    assert book.firings["weather"].tolist() == ["hot", "=SUM(A1)"]
    told = str(book.problems.stopping)
    assert "'a pinch' is no number" in told and "is not in the table" not in told
    assert "'1 June' is no date" in str(book.problems)
    assert {"state", "height [cm]"} <= set(book.pots) and "slip [coats]" not in set(book.pots)


def test_rows_of_notes_become_numbers_dates_and_text():
    workbook = load_workbook(io.BytesIO(fresh_workbook(ROWS)))
    assert [cell.value for cell in workbook["pots"][2][:5]] == ["007", "1", 2.5, "012", "a bell"]
    assert [cell.value for cell in workbook["pots"][3][:4]] == ["3-4", "2", "a pinch", 12]
    firings = workbook["firings"]
    assert firings["B2"].value == dt.datetime(2026, 5, 31) and firings["B2"].number_format == "yyyy-mm-dd"
    assert firings["B3"].value == "1 June"
    assert firings["C3"].data_type == "s" and firings["C3"].quotePrefix


@pytest.mark.parametrize("text", ["nan", "inf", "1e999", "007"])
def test_a_remark_that_sounds_like_a_number_stays_as_it_is(text):
    book = fresh_workbook({"pots": [["pot", "firing", "remark"], ["p1", "f1", text]]})
    assert load_workbook(io.BytesIO(book))["pots"]["C2"].value == text


def test_text_tables_are_marked_as_utf_8():
    texts = fresh_texts()
    assert set(texts) == {f"{name}.csv" for name in (*BOOK_TABLES, *OPTIONAL_TABLES, "columns")}
    assert all(text.startswith("\ufeff") for text in texts.values())
    assert texts["setups.csv"] == "\ufeffsetup,target,flat\r\n"
    assert "120°" in texts["columns.csv"]
