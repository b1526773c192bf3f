"""Places that a person gives: what the book would list as a fault is refused, and no table changes."""

import shutil

import cv2
import numpy as np
import pytest

from sagglab.book import open_book
from sagglab.errors import BookError, OutlineError, TargetError, UnknownNameError
from sagglab.measures.firings import check_files
from sagglab.measures.places import give_places

POT = "photos/p.png"


@pytest.fixture
def book(tmp_path):
    """A book of one grey photograph, with a mask inside and one outside."""
    folder = tmp_path / "book"
    (folder / "photos").mkdir(parents=True)
    cv2.imwrite(str(folder / POT), np.full((300, 400, 3), 128, np.uint8))
    mask = np.zeros((300, 400), np.uint8)
    mask[50:250, 150:250] = 255
    cv2.imwrite(str(folder / "mask.png"), mask)
    shutil.copy(folder / "mask.png", tmp_path / "outside.png")
    tables = {
        "pots": "pot,firing\np1,f1\n",
        "firings": "firing\nf1\n",
        "setups": "setup,target\nbench,24-patch-from-2014-11\n",
        "photos": f"photo,pot,setup,target corners,pot outline\n{POT},p1,bench,,\n",
    }
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_book(folder)


REFUSED = [
    ({"outline": "../outside.png"}, OutlineError, "'../outside.png': it lies outside the book"),
    ({"outline": "a\0b.png"}, OutlineError, "no file can have this name"),
    ({"outline": "masks/none.png"}, OutlineError, "neither places around the pot nor a file in the book"),
    ({"outline": "photos"}, OutlineError, "neither places around the pot nor a file in the book"),
    ({"outline": "1,5 20; 90 20; 50 90"}, OutlineError, "neither places around the pot nor a file"),
    ({"outline": "10 20 90 20 50 90"}, OutlineError, "neither places around the pot nor a file"),
    ({"outline": np.full((3, 2), np.nan)}, OutlineError, "neither places around the pot nor a file"),
    ({"corners": np.full((4, 2), np.inf)}, TargetError, "not four places"),
    ({"corners": [1, 2, 3]}, TargetError, "no places"),
    ({"corners": "10 20; 500 20; 500 60; 10 60"}, TargetError, "outside the photograph"),
]


@pytest.mark.parametrize(("places", "error", "told"), REFUSED)
def test_what_cannot_be_is_refused(book, places, error, told):
    before = book.path("photos.csv").read_bytes()
    with pytest.raises(error, match=told):
        give_places(book, POT, **places)
    assert book.path("photos.csv").read_bytes() == before


def test_the_absolute_name_of_a_mask_outside_is_refused(book):
    with pytest.raises(OutlineError, match="it lies outside the book"):
        give_places(book, POT, outline=str(book.folder.parent / "outside.png"))


@pytest.mark.parametrize(
    "outline", ["mask.png", "100 20; 300 20;\n200 250", [[100, 20], [300, 20], [200, 250]]]
)
def test_what_is_given_is_no_fault_of_the_book(book, outline):
    assert not book.problems
    give_places(book, POT, "10 20; 90 20; 90 60; 10 60", outline)
    again = open_book(book.folder)
    assert not again.problems and again.photos.loc[2, "target corners"] == "10 20; 90 20; 90 60; 10 60"


def test_an_unknown_photograph_is_named(book):
    with pytest.raises(UnknownNameError, match="none.png"):
        give_places(book, "photos/none.png", outline="mask.png")


def test_a_table_that_cannot_be_written_stays(book, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sagglab.book.amend.write_whole", full)
    before = book.path("photos.csv").read_bytes()
    with pytest.raises(BookError, match=r"cannot be written \(No space left on device\)"):
        give_places(book, POT, outline="mask.png")
    assert book.path("photos.csv").read_bytes() == before


def test_a_check_opens_masks_and_flat_fields(book):
    for name in ("mask.png", "flat.jpg"):
        book.path(name).write_bytes(b"no picture")
    book.path("photos.csv").write_text(f"photo,pot,setup,pot outline\n{POT},p1,bench,mask.png\n")
    book.path("setups.csv").write_text("setup,target,flat\nbench,24-patch-from-2014-11,flat.jpg\n")
    opened = open_book(book.folder)
    found = [(each.table, each.row, each.column) for each in check_files(opened)]
    assert found == [("firings", 2, "readings"), ("photos", 2, "pot outline"), ("setups", 2, "flat")]
