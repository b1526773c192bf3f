"""The contact sheet: a tile for each photograph, those that need a look marked, and lines to be pasted."""

import base64
import csv
import io
from html.parser import HTMLParser
from urllib.parse import unquote

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook
from PIL import Image

from sagglab.book import open_book
from sagglab.charts import reviews_in, write_contact_sheet
from sagglab.charts.contact_page import Tile, page_of
from sagglab.charts.contact_sheet import _on_all
from sagglab.columns import MEASURES, conform

HEAD = ["photo", "pot", "view", "setup", "taken", "target corners", "pot outline", "notes", "distance [in]"]
GIVEN = "1 2; 3 4; 5 6; 7 8"
NASTY = 'a "6"" bowl"; <script>alert(1)</script>'
ROWS = [
    ["photos/p1 front.jpg", "p1", "front", "bench", "2026-04-25 10:12", "", "", NASTY, "12"],
    ["photos/p1-back.jpg", "p1", "back", "bench", "", GIVEN, "", "", ""],
    ["photos/<b>&.png", "p2", "", "bench", "", "", "", "", ""],
    ["photos/none.jpg", "p2", "", "bench", "", "", "", "", ""],
    ["photos/target.jpg", "", "", "bench", "", "", "", "", ""],
]
FINE = {
    "L*": 40.0, "a*": 10.0, "b*": 12.0, "mean ΔE00": 0.7, "outline confidence": 0.97,
    "target confidence": 1.0,
    "found corners": "10 20; 30 20; 30 40; 10 40", "found outline": "50 10; 80 10; 80 90",
}  # fmt: skip
FAILED = {"problems": "no target was found; take it again"}
MEASURED = [
    FINE,
    FINE,
    FAILED,
    FAILED,
    {"mean ΔE00": 0.7, "target confidence": 1.0, "outline confidence": 0.0},
]


def write_csv(folder, rows, delimiter=","):
    for name, head in (("pots", "pot,firing"), ("firings", "firing"), ("setups", "setup,target")):
        (folder / f"{name}.csv").write_text(head, encoding="utf-8")
    with (folder / "photos.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=delimiter).writerows(rows)


def sheet(folder, measured=MEASURED, rows=ROWS, drawn=(0, 1, 4)):
    """Write the sheet of a book of which only measures and small pictures are made up."""
    book = open_book(folder)
    table = conform(
        [
            dict(zip(("photo", "pot", "view"), row[:3], strict=True)) | values
            for row, values in zip(rows, measured, strict=True)
        ],
        MEASURES,
    )
    reviews = reviews_in(folder / "review")
    reviews.folder.mkdir()
    for place in drawn:
        for ending in (".jpg", "-small.jpg"):
            Image.new("RGB", (40, 30), (10 + place, 0, 0)).save(reviews.path(rows[place][0], ending))
    page = write_contact_sheet(book, table, reviews)
    assert page == reviews.folder / "index.html"
    read = Page()
    read.feed(page.read_text(encoding="utf-8"))
    read.close()
    return read


class Page(HTMLParser):
    """The tiles of a sheet, as a browser reads them."""

    def __init__(self):
        super().__init__()
        self.tiles, self.words, self.tags, self.links = [], "", [], []

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        self.tags.append(tag)
        if tag == "article":
            self.tiles.append(
                {"look": attributes.get("class") == "look", "id": attributes["id"], "words": ""}
            )
            self.tiles[-1] |= {"line": None, "open": False, "link": "", "image": None, "alt": "", "rgb": ""}
        elif tag == "a" and not self.tiles:
            self.links.append(attributes["href"])
        elif tag == "a":
            self.tiles[-1]["link"] = attributes["href"]
        elif tag == "img":
            self.tiles[-1] |= {"image": attributes["src"], "alt": attributes["alt"]}
        elif tag == "details":
            self.tiles[-1]["open"] = "open" in attributes
        elif tag == "textarea":
            assert "readonly" in attributes
            self.tiles[-1]["line"] = ""
        elif tag == "span":
            self.tiles[-1]["rgb"] = attributes["class"] + attributes["style"]

    def handle_data(self, data):
        if self.tiles and self.tags[-1] == "textarea" and not self.tiles[-1]["line"]:
            self.tiles[-1]["line"] = data
        elif self.tiles:
            self.tiles[-1]["words"] += data
        else:
            self.words += data


@pytest.fixture
def folder(tmp_path):
    write_csv(tmp_path, [HEAD, *ROWS])
    (tmp_path / "photos").mkdir()
    Image.new("RGB", (900, 600), (200, 30, 30)).save(tmp_path / "photos/<b>&.png")
    return tmp_path


def cells(line, delimiter=","):
    (row,) = csv.reader([line], delimiter=delimiter, strict=True)
    return row


def test_tiles_stand_in_the_books_order_and_those_that_failed_are_marked(folder):
    page = sheet(folder)
    assert [tile["id"] for tile in page.tiles] == [f"view-{number}" for number in range(1, 6)]
    for tile, row in zip(page.tiles, ROWS, strict=True):
        assert row[0] in tile["words"]
    assert [tile["look"] for tile in page.tiles] == [False, False, True, True, False]
    assert [tile["open"] for tile in page.tiles] == [False, False, True, True, False]
    assert "▲ 2 of 5 need a look: photos/<b>&.png, photos/none.jpg" in page.words
    assert page.links == ["#view-3", "#view-4"]
    assert "▲ Look" in page.tiles[2]["words"] and FAILED["problems"] in page.tiles[2]["words"]
    assert "L*\xa040.0 a*\xa010.0 b*\xa012.0" in page.tiles[0]["words"]
    assert "swatch" in page.tiles[0]["rgb"] and "rgb(" in page.tiles[0]["rgb"]
    assert "no colour" in page.tiles[4]["words"] and "no pot" in page.tiles[4]["words"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"outline confidence": 0.7}, "the outline is not sure"),
        ({"target confidence": 0.6}, "the target is not sure"),
        ({"flags": "uneven light; poor calibration"}, "the calibration is poor"),
        ({"flags": "cut by the frame; unsure outline", "outline confidence": 0.5}, "the outline is not sure"),
        ({"problems": "the pot is 9 cm high, and by the table 12 cm"}, "by the table 12 cm"),
        ({"L*": np.nan}, "no colour was measured"),
    ],
)
def test_what_is_not_sure_is_marked_with_the_reason(folder, change, said):
    page = sheet(folder, [FINE | change, *MEASURED[1:]])
    assert page.tiles[0]["look"]
    assert page.tiles[0]["words"].count(said) == 1
    assert "▲ 3 of 5 need a look" in page.words


def test_flags_that_no_line_mends_are_told_and_not_marked(folder):
    page = sheet(folder, [FINE | {"flags": "high ISO; uneven light"}, *MEASURED[1:]])
    assert not page.tiles[0]["look"]
    assert "Flags: high ISO; uneven light" in page.tiles[0]["words"]


def test_places_given_by_a_person_are_sure(folder):
    given = FINE | {"outline confidence": np.nan, "target confidence": np.nan}
    assert not sheet(folder, [given, *MEASURED[1:]]).tiles[0]["look"]


def test_a_sheet_of_good_photographs_says_so(folder):
    assert "None of 5 needs a look." in sheet(folder, [FINE] * 5).words


def test_lines_are_the_tables_own_with_what_was_found(folder):
    page = sheet(folder)
    first, second, failed = (cells(page.tiles[place]["line"]) for place in (0, 1, 2))
    # Inches stay inches, and the time as it was written.
    assert first == [*ROWS[0][:5], FINE["found corners"], FINE["found outline"], NASTY, "12"]
    assert second[5:7] == [GIVEN, FINE["found outline"]]
    assert failed == ROWS[2]
    assert "row 3" in page.tiles[1]["words"]
    assert "separated by commas" in page.words and "photos.csv" in page.words
    assert page.tags.count("script") == 1, "the book's own words are no code"


def test_a_pasted_line_is_read_back(folder):
    page = sheet(folder)
    (folder / "photos.csv").write_text(
        "\r\n".join([",".join(HEAD), *(tile["line"] for tile in page.tiles)]), encoding="utf-8"
    )
    photos = open_book(folder).photos
    assert photos["photo"].tolist() == [row[0] for row in ROWS]
    assert photos["target corners"].tolist()[:3] == [FINE["found corners"], GIVEN, ""]


def test_lines_keep_the_tables_delimiter_and_say_which_columns_it_lacks(tmp_path):
    rows = [["setup", "photo", "pot"], ["bench", "photos/p1.jpg", "p1"]]
    write_csv(tmp_path, rows, ";")
    page = sheet(tmp_path, [FINE], [["photos/p1.jpg", "p1", ""]], drawn=())
    line = page.tiles[0]["line"]
    assert cells(line, ";") == ["bench", "photos/p1.jpg", "p1", FINE["found corners"], FINE["found outline"]]
    assert "semicolons" in page.words
    assert "“target corners” and “pot outline”" in page.words


def test_lines_for_a_workbook_paste_into_cells(tmp_path):
    workbook = Workbook()
    workbook.active.title = "photos"
    for row in (HEAD[:7], ROWS[0][:7]):
        workbook.active.append(row)
    for name, head in (("pots", ["pot", "firing"]), ("firings", ["firing"]), ("setups", ["setup", "target"])):
        workbook.create_sheet(name).append(head)
    workbook.save(tmp_path / "book.xlsx")
    page = sheet(tmp_path, [FINE], ROWS[:1], drawn=())
    line = page.tiles[0]["line"]
    assert line.split("\t") == [*ROWS[0][:5], FINE["found corners"], FINE["found outline"]]
    assert "tabs" in page.words and "the sheet photos of book.xlsx" in page.words


def test_pictures_are_in_the_page_and_lead_to_the_review_pictures(folder):
    page = sheet(folder)
    for place in (0, 1, 4):
        tile = page.tiles[place]
        assert (folder / "review" / unquote(tile["link"])).is_file()
        assert picture(tile).size == (40, 30)
        assert ROWS[place][0] in tile["alt"]
    assert page.tiles[0]["link"] == "photos-p1%20front.jpg"


def picture(tile):
    head, data = tile["image"].split(",")
    assert head == "data:image/jpeg;base64"
    return Image.open(io.BytesIO(base64.b64decode(data)))


def test_a_photograph_that_failed_is_shown_as_read_or_blank(folder):
    # A picture of an earlier run does not stand in for it.
    page = sheet(folder, drawn=(0, 2))
    tile, missing = page.tiles[2:4]
    shown = picture(tile)
    assert shown.size == (420, 280)
    assert np.asarray(shown).reshape(-1, 3).mean(axis=0) == pytest.approx([200, 30, 30], abs=4)
    assert tile["link"] == "" and "as read" in tile["alt"]
    assert missing["image"] is None and "not to be opened" in missing["words"]


def test_no_two_photographs_share_a_picture(tmp_path):
    reviews = reviews_in(tmp_path)
    names = [
        "photos/p1-front.jpg", "photos-p1/front.jpg", "photos-p1-front.jpg", "photos/p1-front.png",
        "photos/p1-front.HEIC", "photos/p1-front-small.jpg", "a/photos/p1-front.jpg", "c/photos/p1-front.jpg",
        "../photos/p1-front.jpg",
    ]  # fmt: skip
    files = {reviews.path(name, ending) for name in names for ending in (".jpg", "-small.jpg")}
    assert len(files) == 2 * len(names)
    assert {file.parent for file in files} == {tmp_path}
    assert reviews.path(names[0], ".jpg").name == "photos-p1-front.jpg"


def test_what_all_are_flagged_with_is_told_once():
    cells = pd.Series(["edited; no colour profile", "no colour profile"])
    assert _on_all(cells) == ("no colour profile",)
    assert _on_all(pd.Series(["", "edited"])) == _on_all(pd.Series(["edited"])) == ()
    tiles = [
        Tile("p1.jpg", "p1", "front", b"", False, "", np.full(3, np.nan), flags, (), 2, "")
        for flags in ("edited", "")
    ]
    page = page_of("book", tiles, "photos.csv", "", ("no colour profile",))
    assert page.count("no colour profile") == 1 and "Flags: edited" in page
