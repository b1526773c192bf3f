"""Sheets of a workbook as rows of text."""

import datetime as dt

import pytest
from openpyxl import Workbook

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


def test_what_is_no_workbook(tmp_path):
    (tmp_path / "junk.xlsx").write_bytes(b"no workbook")
    with pytest.raises(FileFormatError, match="it cannot be read"):
        read_sheets(tmp_path / "junk.xlsx")
    assert sheet_names(tmp_path / "junk.xlsx") == []


def test_a_workbook_that_is_not_there(tmp_path):
    with pytest.raises(MissingFileError, match="there is no such file"):
        read_sheets(tmp_path / "gone.xlsx")
    assert sheet_names(tmp_path / "gone.xlsx") == []
