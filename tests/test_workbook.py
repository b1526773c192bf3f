"""Sheets of a workbook as rows of text."""

import datetime as dt
import zipfile

import pytest
from openpyxl import Workbook, load_workbook

from sagglab.errors import FileFormatError, MissingFileError
from sagglab.workbook import read_sheets, sheet_names


@pytest.fixture
def saved(tmp_path):
    """Save rows as the only sheet of a workbook, and read it."""

    def save_and_read(*rows):
        workbook = Workbook()
        for row in rows:
            workbook.active.append(row)
        workbook.save(tmp_path / "book.xlsx")
        return read_sheets(tmp_path / "book.xlsx")["Sheet"]

    return save_and_read


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (None, ""),
        (" a b ", "a b"),
        (20, "20"),
        (20.0, "20"),
        (320.5, "320.5"),
        (True, "True"),
        (dt.time(9, 5), "09:05:00"),
        (dt.datetime(2026, 5, 1, 9, 5), "2026-05-01 09:05:00"),
        (dt.timedelta(hours=30, minutes=5, seconds=7.5), "30:05:07.500"),
    ],
)
def test_each_kind_of_cell(saved, cell, text):
    assert saved(["first", cell]) == [["first", text]]


def test_the_names_of_the_sheets(tmp_path):
    workbook = Workbook()
    workbook.create_sheet("firings")
    workbook.save(tmp_path / "book.xlsx")
    assert sheet_names(tmp_path / "book.xlsx") == ["Sheet", "firings"]
    assert list(read_sheets(tmp_path / "book.xlsx")) == ["Sheet", "firings"]


def altered(folder, workbook, old, new):
    """Save a workbook with bytes of its parts replaced, as another program would have written it."""
    workbook.save(folder / "whole.xlsx")
    with zipfile.ZipFile(folder / "whole.xlsx") as held, zipfile.ZipFile(folder / "b.xlsx", "w") as copy:
        for name in held.namelist():
            copy.writestr(name, held.read(name).replace(old, new))
    return folder / "b.xlsx"


@pytest.mark.parametrize("stated", [b"A1", b"A1:B2"])
def test_a_sheet_that_states_less_than_it_holds_is_read_whole(tmp_path, stated):
    rows = [["pot", "firing", "clay"], ["p1", "f1", "white"], ["p2", "f1", "buff"]]
    workbook = Workbook()
    for row in rows:
        workbook.active.append(row)
    file = altered(tmp_path, workbook, b'<dimension ref="A1:C3"', b'<dimension ref="%s"' % stated)
    with zipfile.ZipFile(file) as less:
        assert b'ref="%s"' % stated in less.read("xl/worksheets/sheet1.xml")
    assert read_sheets(file) == {"Sheet": rows}


def test_what_openpyxl_would_not_write_again_is_no_matter_of_reading(tmp_path):
    unknown = b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"/></extLst></worksheet>'
    workbook = Workbook()
    workbook.active.append(["pot"])
    file = altered(tmp_path, workbook, b"</worksheet>", unknown)
    with pytest.warns(UserWarning, match="will be removed"):
        load_workbook(file)
    assert read_sheets(file) == {"Sheet": [["pot"]]}


def test_a_workbook_whose_sheets_cannot_be_read_is_told(tmp_path):
    ordinary = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    file = altered(tmp_path, Workbook(), ordinary, b"http://purl.oclc.org/ooxml/officeDocument/relationships")
    with pytest.raises(
        FileFormatError, match="no sheet of it can be read. Save it again as an ordinary .xlsx"
    ):
        read_sheets(file)


def test_what_is_no_workbook(tmp_path):
    (tmp_path / "junk.xlsx").write_bytes(b"no workbook")
    with pytest.raises(FileFormatError, match="it cannot be read"):
        read_sheets(tmp_path / "junk.xlsx")
    assert sheet_names(tmp_path / "junk.xlsx") == []


def test_a_workbook_that_is_not_there(tmp_path):
    with pytest.raises(MissingFileError, match="there is no such file"):
        read_sheets(tmp_path / "gone.xlsx")
    assert sheet_names(tmp_path / "gone.xlsx") == []
