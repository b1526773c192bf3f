"""The version of a batch book: it changes with what the book holds, and with nothing else."""

import shutil

import pytest

from sagglab.book import open_book


@pytest.fixture
def book(small_book, tmp_path):
    return shutil.copytree(small_book, tmp_path / "book")


def test_the_same_content_elsewhere_is_the_same_version(small_book, book):
    assert open_book(book).version == open_book(small_book).version
    assert len(open_book(book).version) == 12


def test_a_table_saved_in_another_form_is_the_same_version(small_book, book):
    text = (book / "setups.csv").read_text(encoding="utf-8")
    (book / "setups.csv").write_bytes(text.replace("\n", "\r\n").encode("utf-8-sig"))
    assert open_book(book).version == open_book(small_book).version


@pytest.mark.parametrize(
    "file", ["pots.csv", "readings/f1.csv", "photos/p01-front.jpg", "targets/studio-target.csv"]
)
def test_any_change_of_content_changes_it(small_book, book, file):
    content = (book / file).read_bytes()
    (book / file).write_bytes(content.replace(b"p02", b"p92") if file == "pots.csv" else content + b"\n ")
    assert open_book(book).version != open_book(small_book).version


def test_a_file_outside_the_book_has_no_part_in_it(small_book, book):
    photos = (book / "photos.csv").read_text(encoding="utf-8")
    (book.parent / "p99.jpg").write_bytes(b"one")
    (book / "photos.csv").write_text(photos.replace("photos/p02-front.jpg", "../p99.jpg"), encoding="utf-8")
    before = open_book(book).version
    (book.parent / "p99.jpg").write_bytes(b"another")
    assert open_book(book).version == before
