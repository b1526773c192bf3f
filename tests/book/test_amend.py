"""One row of photos amended on the disk: that cell changes, and nothing else does."""

import codecs
import csv
import io
import re
import shutil
import zipfile

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.worksheet.datavalidation import DataValidation

from sagglab.book import open_book
from sagglab.book.amend import amend_photo
from sagglab.book.text_cells import with_cells
from sagglab.errors import BookError

CORNERS = "10 20; 90 20; 90 60; 10 60"
P1, P2 = "photos/p1.jpg", "photos/p2.jpg"
# A lone carriage return, which the standard library's writer leaves unquoted, would end the row.
TEXT = st.lists(st.sampled_from([*"a é'\";,\t\nß≤", "\r\n"]), max_size=6).map("".join)
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16"]


@st.composite
def tables(draw):
    """Give the bytes of a table, its rows, and the dialect: columns in any order, with any words beside."""
    head = draw(st.permutations(["photo", "pot", "setup", "notes", "target corners", "pot outline"]))
    head = head[: draw(st.integers(5, 6))] if "photo" in head[:5] else head
    known = {"pot": "p1", "setup": "bench"}
    rows = [[name if name == "photo" else known.get(name, "") for name in head] for _ in range(3)]
    for row, photo in zip(rows, (P1, P2, "photos/3.jpg"), strict=True):
        row[head.index("photo")] = photo
        if "notes" in head:
            row[head.index("notes")] = draw(TEXT)
    # Headings first: the delimiter is told by them, so that theirs is quoted where it holds one.
    dialect = {
        "delimiter": draw(st.sampled_from(";,\t")),
        "lineterminator": draw(st.sampled_from(["\n", "\r\n"])),
    }
    dialect["quoting"] = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    text = io.StringIO(newline="")
    csv.writer(text, **dialect).writerows([head, *rows])
    lines = text.getvalue()
    if draw(st.booleans()):
        lines = lines.removesuffix(dialect["lineterminator"])
    return lines.encode(draw(st.sampled_from(ENCODINGS))), head, dialect


def plain(data, dialect):
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    lines = io.StringIO(data.decode(encoding), newline="")
    return [*csv.reader(lines, delimiter=dialect["delimiter"])]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tables(), st.integers(1, 3), st.sampled_from([CORNERS, "masks/p 1.png", 'a "b"']))
def test_only_that_cell_of_a_text_table_changes(tmp_path, table, row, words):
    data, head, dialect = table
    file = tmp_path / "photos.csv"
    file.write_bytes(data)
    column = head.index("target corners") if "target corners" in head else len(head)
    wanted = {(row, column): words} if column < len(head) else {(0, column): "new", (row, column): words}
    file.write_bytes(with_cells(file, "photos", wanted))
    rows = plain(data, dialect)
    for (line, at), text in wanted.items():
        rows[line][at:] = [text, *rows[line][at + 1 :]]
    assert plain(file.read_bytes(), dialect) == rows
    # Put back, every byte is as it was.
    if column < len(head) and dialect["quoting"] == csv.QUOTE_MINIMAL:
        assert with_cells(file, "photos", {(row, column): ""}) == data


def test_bytes_around_the_cell_stay(write_book):
    table = 'pot;"photo";setup;target corners\r\n' + f'"p ""1""";{P1};bench;1 2\r\n\r\np2;{P2};bench;\r'
    folder = write_book(photos=table.encode("latin-1") + b"\xe9;;;")
    amend_photo(open_book(folder), P1, {"target corners": CORNERS, "pot outline": "1 1; 9 1; 5 9"})
    expected = 'pot;"photo";setup;target corners;"pot outline"\r\n'
    expected += f'"p ""1""";{P1};bench;"{CORNERS}";"1 1; 9 1; 5 9"\r\n\r\np2;{P2};bench;\r'
    assert (folder / "photos.csv").read_bytes() == expected.encode("latin-1") + b"\xe9;;;"


def test_a_mark_of_utf_8_at_the_head_of_latin_1_stays(write_book):
    table = codecs.BOM_UTF8 + f"pot,photo,setup,notes\np1,{P1},bench,gr\xe8s\n".encode("latin-1")
    folder = write_book(photos=table)
    amend_photo(open_book(folder), P1, {"pot outline": "m.png"})
    expected = table.replace(b"notes\n", b"notes,pot outline\n").replace(b"\xe8s\n", b"\xe8s,m.png\n")
    assert (folder / "photos.csv").read_bytes() == expected


def test_places_are_quoted_whatever_the_spreadsheet_cuts_at(write_book):
    folder = write_book()
    amend_photo(open_book(folder), P1, {"target corners": CORNERS})
    assert f'bench,"{CORNERS}"\n' in (folder / "photos.csv").read_text(encoding="utf-8")


@pytest.fixture
def workbook(write_book):
    """A book whose photos are a sheet with a formula and its value, a format, a note, a choice, a picture."""
    folder = write_book(photos=None)
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.title = "photos"
    for row in (["photo", "pot", "setup", "view", "target corners"], [P1, "p1", "bench", "front", None]):
        sheet.append(row)
    sheet.append([P2, "p2", "bench", "back", "1 1; 5 1; 5 5; 1 5"])
    sheet["A1"].font = Font(bold=True)
    sheet["D2"].comment = Comment("the glazed side", "me")
    choice = DataValidation(type="list", formula1='"front,back"', prompt="which side\nof the pot")
    sheet.add_data_validation(choice)
    choice.add("D2:D9")
    made.create_sheet("sums")["A1"] = "=1+1"
    made.save(folder / "book.xlsx")
    # The value of a formula, as a spreadsheet saves it with the formula.
    old = folder / "old.xlsx"
    shutil.move(folder / "book.xlsx", old)
    with zipfile.ZipFile(old) as held, zipfile.ZipFile(folder / "book.xlsx", "w") as copy:
        for item in held.infolist():
            data = held.read(item).replace(b"<v></v>", b"<v>2</v>").replace(b"<v />", b"<v>2</v>")
            copy.writestr(item, data)
    return folder


def test_only_that_cell_of_a_workbook_changes(workbook):
    file = workbook / "book.xlsx"
    with zipfile.ZipFile(file) as held:
        before = {name: held.read(name) for name in held.namelist()}
    cells = {"target corners": CORNERS, "pot outline": "1 1; 9 1; 5 9"}
    assert amend_photo(open_book(workbook), P1, cells) == file
    with zipfile.ZipFile(file) as held:
        changed = [name for name in before if held.read(name) != before[name]]
    assert changed == ["xl/worksheets/sheet1.xml"]
    sheet = openpyxl.load_workbook(file)["photos"]
    assert [cell.value for cell in sheet[2]] == [P1, "p1", "bench", "front", *cells.values()]
    assert [cell.value for cell in sheet[3]] == [P2, "p2", "bench", "back", "1 1; 5 1; 5 5; 1 5", None]
    assert sheet["F1"].value == "pot outline"
    assert sheet["A1"].font.bold and sheet["D2"].comment.text == "the glazed side"
    choice = sheet.data_validations.dataValidation[0]
    assert choice.sqref == "D2:D9" and choice.prompt == "which side\nof the pot"
    assert openpyxl.load_workbook(file, data_only=True)["sums"]["A1"].value == 2
    amend_photo(open_book(workbook), P2, {"target corners": ""})
    assert open_book(workbook).photos["target corners"].tolist() == [CORNERS, ""]


def test_a_formula_is_not_overwritten(workbook):
    made = openpyxl.load_workbook(workbook / "book.xlsx")
    made["photos"]["E2"] = '="1 1"'
    made.save(workbook / "book.xlsx")
    with pytest.raises(BookError, match="E2: it holds a formula"):
        amend_photo(open_book(workbook), P1, {"target corners": CORNERS})


def test_a_cell_that_no_spreadsheet_would_show_is_not_written(workbook):
    made = openpyxl.load_workbook(workbook / "book.xlsx")
    made["photos"].merge_cells("D2:E2")
    made.save(workbook / "book.xlsx")
    with pytest.raises(BookError, match="E2: it is merged"):
        amend_photo(open_book(workbook), P1, {"target corners": CORNERS})


def test_cells_without_names_are_left_to_their_maker(workbook):
    file = workbook / "book.xlsx"
    with zipfile.ZipFile(file) as held:
        parts = {name: held.read(name) for name in held.namelist()}
    with zipfile.ZipFile(file, "w") as copy:
        for name, data in parts.items():
            copy.writestr(name, re.sub(rb' r="[A-Z]\d"', b"", data))
    before = file.read_bytes()
    with pytest.raises(BookError, match="Write the places there yourself"):
        amend_photo(open_book(workbook), P1, {"target corners": CORNERS})
    assert file.read_bytes() == before


REFUSED = {
    "changed since": lambda file: file.write_text(file.read_text().replace("p1,front", "p2,front")),
    "there 2 times": lambda file: file.write_text(file.read_text() + f"{P1},p1,back,bench\n"),
    "no such photograph": lambda file: file.write_text(file.read_text().replace(P1, "photos/9.jpg")),
    "open in a spreadsheet": lambda file: (file.parent / ".~lock.photos.csv#").write_text("me"),
}


@pytest.mark.parametrize("cause", REFUSED)
def test_what_changed_meanwhile_is_not_overwritten(write_book, cause):
    book = open_book(write_book())
    file = book.folder / "photos.csv"
    REFUSED[cause](file)
    before = file.read_bytes()
    with pytest.raises(BookError, match=cause):
        amend_photo(book, P1, {"target corners": CORNERS})
    assert file.read_bytes() == before


def test_rows_may_move_meanwhile(write_book):
    book = open_book(write_book())
    file = book.folder / "photos.csv"
    head, rest = file.read_text().split("\n", 1)
    file.write_text(f"{head}\nphotos/0.jpg,p1,back,bench\n{rest}")
    amend_photo(book, P1, {"target corners": CORNERS})
    photos = open_book(book.folder).photos
    assert photos.loc[photos["photo"] == P1, "target corners"].item() == CORNERS


def test_other_columns_are_refused(write_book):
    with pytest.raises(BookError, match="'pot' is not written here"):
        amend_photo(open_book(write_book()), P1, {"pot": "p9"})
