"""Plain text tables: encodings, delimiters, quotes and numbers."""

import math

import pytest

from sagglab.delimited import delimiter_of, number, read_text, split_rows
from sagglab.errors import FileFormatError, MissingFileError

WORDS = "time;température [°C]\n0;20\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_common_encodings_read_the_same(tmp_path, encoding):
    file = tmp_path / "log.csv"
    file.write_bytes(WORDS.encode(encoding))
    assert read_text(file) == WORDS


@pytest.mark.parametrize(("mark", "encoding"), [(b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")])
def test_utf_16_reads_from_both_ends(tmp_path, mark, encoding):
    file = tmp_path / "log.csv"
    file.write_bytes(mark + WORDS.encode(encoding))
    assert read_text(file) == WORDS


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_known_by_its_zeros(tmp_path, encoding):
    file = tmp_path / "log.csv"
    file.write_bytes(WORDS.encode(encoding))
    assert read_text(file) == WORDS


@pytest.mark.parametrize(
    "data", [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"PK\x03\x04\0\0", b"\xff\xfe\x00", b"\xff\xfe\0\0a\0\0\0"]
)
def test_what_is_no_text_is_refused(tmp_path, data):
    file = tmp_path / "log.csv"
    file.write_bytes(data)
    with pytest.raises(FileFormatError, match=r"log\.csv: it is no text file\. Export it again as CSV\."):
        read_text(file)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(MissingFileError, match=r"nothing\.csv: there is no such file"):
        read_text(tmp_path / "nothing.csv")


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(FileFormatError, match="it cannot be opened"):
        read_text(tmp_path)


@pytest.mark.parametrize(
    ("line", "delimiter"),
    [
        ("a,b", ","),
        ("a;b,c", ";"),
        ("a\tb,c", "\t"),
        ('"a;b","c"', ","),
        ("20 81", None),
        ("", None),
    ],
)
def test_delimiter(line, delimiter):
    assert delimiter_of(line) == delimiter


def test_rows_keep_their_number_past_blank_lines():
    assert split_rows("a,b\n\n 1 , 2 \n", ",") == [["a", "b"], [], ["1", "2"]]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_kind_of_line_end(end):
    assert split_rows(f"a,b{end}1,2{end}", ",") == [["a", "b"], ["1", "2"]]


def test_a_line_end_inside_quotes_belongs_to_its_cell():
    assert split_rows('a,b\n"one\ntwo",3\n', ",") == [["a", "b"], ["one\ntwo", "3"]]


def test_only_line_ends_end_a_row():
    assert split_rows("a,b\n1\x85\u2028,2", ",")[1][1] == "2"


def test_a_quotation_mark_left_open_does_not_swallow_the_rows_after_it():
    with pytest.raises(FileFormatError, match="its quotation marks do not pair up, from row 2 on"):
        split_rows('pot,notes\np1,"tall\np2,short\np3,wide\n', ",")


def test_inches_inside_a_cell_are_no_quotation():
    assert split_rows('pot,notes\np1,6" tall\n', ",")[1] == ["p1", '6" tall']


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("2.5", 2.5),
        ("2,5", 2.5),
        (" 7 ", 7),
        ("5.", 5),
        (".5", 0.5),
        ("-3", -3),
        ("\u22123", -3),
        ("+3", 3),
        ("1e3", 1000),
        ("0", 0),
    ],
)
def test_numbers(cell, value):
    assert number(cell) == value


@pytest.mark.parametrize(
    "cell",
    ["", " ", "nan", "NaN", "inf", "-Infinity", "1_000", "1.234,5", "1,234,5", "1 000", "0x10", "five", "5 g"]
    + [".", "-", "1e999", "-1e999", "9" * 5000, "²", "--3", "1,2.3"],
)
def test_what_is_no_number(cell):
    assert math.isnan(number(cell))
