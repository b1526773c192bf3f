"""Which sheet, which row of headings, and what stands aside."""

import datetime as dt
import html

import pytest
from openpyxl import Workbook
from openpyxl.comments import Comment

from sagglab.errors import FileFormatError, UnknownNameError
from sagglab.notes import book_tables, propose_mapping, read_notes


def test_the_headings_are_found_below_a_title_and_totals_are_put_aside(noted):
    notes = read_notes(noted("from the States"))
    assert notes.heading_rows == (3,)
    assert notes.headings["D"] == "Sugar (g)"
    assert list(notes.rows) == [4, 5, 6]
    assert notes.aside == {1: "My saggar log 2025", 8: "Total | 6 | 6"}
    assert notes.told == "notes.xlsx: sheet 'Log', headings in row 3, 15 columns, 3 rows below"


def test_a_line_of_units_belongs_to_the_headings(noted):
    notes = read_notes(noted("from France"))
    assert notes.heading_rows == (1, 2)
    assert notes.headings["K"] == "Température max °C"


def test_what_is_merged_down_counts_for_each_row(noted):
    notes = read_notes(noted("with ticks"))
    assert notes.cells("A") == {2: "F1", 3: "F1", 4: "F1", 5: "F2", 6: "F2"}
    assert notes.cells("K")[6] == "1340"


def test_equal_headings_take_up_what_stands_over_them(tmp_path):
    file = tmp_path / "notes.csv"
    file.write_text(",Before,,After,\nPot,Height cm,Width cm,Height cm,Width cm\n1,10,8,9,7\n")
    assert list(read_notes(file).headings.values()) == [
        *("Pot", "Before Height cm", "Before Width cm", "After Height cm", "After Width cm")
    ]


@pytest.fixture
def two_years(tmp_path):
    book = Workbook()
    book.active.title = "2024"
    for year in ("2024", "2025"):
        sheet = book["2024"] if year == "2024" else book.create_sheet(year)
        sheet.append(["Pot", "Firing", "Sugar g"])
        sheet.append([f"{year}-1", "F1", 2])
    book.create_sheet("shopping").append(["call the gas man"])
    book.save(tmp_path / "notes.xlsx")
    return tmp_path / "notes.xlsx"


def test_several_sheets_are_named_and_one_can_be_taken(two_years):
    with pytest.raises(FileFormatError, match="2 sheets look like notes: '2024', '2025'") as raised:
        read_notes(two_years)
    assert 'sheet="2024"' in raised.value.remedy
    assert read_notes(two_years, sheet="2025").cells("A") == {2: "2025-1"}
    with pytest.raises(UnknownNameError, match="'2024', '2025', 'shopping'"):
        read_notes(two_years, sheet="2026")


def test_what_is_not_in_the_rows_is_told_or_kept(tmp_path):
    made = Workbook()
    sheet = made.active
    for row in (["Pot", "Firing", "Sugar g"], ["a", "F1", 4], ["b", "F1", None], ["c", "F1", "=C2*2"]):
        sheet.append(row)
    sheet.merge_cells("C2:C3")
    sheet["C2"].comment = Comment("strewn on\none side", "me")
    sheet["B1"].comment = Comment("kiln 2", "me")
    made.create_sheet("gas").append(["half a bottle"])
    made.create_sheet("blank")
    made.save(tmp_path / "notes.xlsx")
    notes = read_notes(tmp_path / "notes.xlsx")
    assert notes.beside == (
        "'4' is merged over rows 2 to 3 of column C: it counts for each of them",
        "no value was saved with formulas, which count as blank: C4",
        "not read: sheet 'gas'",
    )
    proposed = propose_mapping(notes)
    told = (notes.told, *notes.beside, "comments on cells go into the notes of their pots: B1, C2")
    assert proposed.around == told
    assert repr(proposed).splitlines()[:5] == list(told)
    assert all(html.escape(phrase) in proposed._repr_html_() for phrase in told)
    tables, problems = book_tables(notes, proposed)
    assert tables["pots"][1] == ["a", "F1", "4", "Sugar g: strewn on one side"]
    assert [p.cause for p in problems] == [
        *notes.beside,
        "the comment 'kiln 2' belongs to no pot: left out",
    ]


@pytest.mark.parametrize(
    "content", ["", "\n\n", "1,2,3\n4,5,6\n", "Pot,Firing,Sugar\n", "once upon a time\n"]
)
def test_what_holds_no_notes_is_refused(tmp_path, content):
    file = tmp_path / "notes.csv"
    file.write_text(content)
    with pytest.raises(FileFormatError) as raised:
        read_notes(file)
    assert raised.value.remedy


def test_a_page_shows_text_as_text(tmp_path):
    file = tmp_path / "notes.csv"
    file.write_text("Pot,Sugar g,<b>odd</b>\n1,2,<script>\n")
    page = read_notes(file)._repr_html_()
    assert "&lt;script&gt;" in page and "<script>" not in page and "<b>" not in page


def test_lines_over_the_rows_of_their_pots_are_no_pots(tmp_path):
    file = tmp_path / "notes.csv"
    rows = ["Pot,Clay,Sugar g,Peak C", "Firing 1,,,", "a,red,2,700", "5/17/24,,,", "b,,,", "c,red,3,720"]
    file.write_text("\n".join(rows))
    notes = read_notes(file)
    # A pot that has nothing but its name is one all the same.
    assert list(notes.rows) == [3, 5, 6]
    assert notes.aside == {2: "Firing 1", 4: "5/17/24"}


def test_days_that_are_merged_are_told_in_the_order_of_the_sheet_and_without_midnight(tmp_path):
    made = Workbook()
    for row in (["Firing", "Date", "Pot"], ["F1", dt.datetime(2025, 4, 12), "a"], [None, None, "b"]):
        made.active.append(row)
    made.active.merge_cells("B2:B3")
    made.active.merge_cells("A2:A3")
    made.save(tmp_path / "notes.xlsx")
    assert [phrase.partition(":")[0] for phrase in read_notes(tmp_path / "notes.xlsx").beside] == [
        "'F1' is merged over rows 2 to 3 of column A",
        "'2025-04-12' is merged over rows 2 to 3 of column B",
    ]


def test_an_unknown_column_is_told_with_those_there_are(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Firing,Sugar g\n1,F1,2\n")
    with pytest.raises(UnknownNameError, match="column 'Z': the notes have 'A', 'B', 'C'"):
        read_notes(tmp_path / "notes.csv").cells("Z")
