"""Photo review: places moved by mouse and keys are measured, and saved in the table photos."""

import cv2
import numpy as np
import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.errors import BookError, OutlineError, TargetError
from sagglab.measures.places import FOUND, GIVEN, START, give_places, measure_with, places_of
from sagglab.measures.views import measure_photos, measure_view
from sagglab.widgets.photo_review import PhotoReview

POT, GREY = "photos/p01-front.jpg", "photos/grey.png"


@pytest.fixture(scope="module")
def reviewed(small_book, tmp_path_factory):
    """A book of one good photograph and a grey one, in which nothing is found, and its measures."""
    folder = tmp_path_factory.mktemp("reviewed") / "book"
    for part in ("photos", "readings", "targets"):
        (folder / part).mkdir(parents=True)
    names = (POT, "photos/phone-flat.jpg", "photos/camera-flat.jpg", "targets/studio-target.csv")
    for name in (*names, "readings/f1.csv", "setups.csv", "firings.csv"):
        (folder / name).write_bytes((small_book / name).read_bytes())
    cv2.imwrite(str(folder / GREY), np.full((300, 400, 3), 128, np.uint8))
    pd.read_csv(small_book / "pots.csv", dtype=str).iloc[:1].to_csv(folder / "pots.csv", index=False)
    table = "photo,pot,setup,target corners,pot outline\n" + f"{POT},p01,phone,,\n{GREY},p01,phone,,\n"
    (folder / "photos.csv").write_text(table, encoding="utf-8")
    return folder, measure_photos(open_book(folder), jobs=1)


@pytest.fixture
def book(reviewed):
    """That book with its table as it was."""
    folder, _ = reviewed
    table = (folder / "photos.csv").read_bytes()
    yield open_book(folder)
    (folder / "photos.csv").write_bytes(table)


def row_of(measures, photo):
    return measures[measures["photo"] == photo].iloc[0]


def test_places_are_found_given_or_a_start(book, reviewed):
    found = places_of(book, POT, row_of(reviewed[1], POT))
    assert (found.corners_from, found.outline_from) == (FOUND, FOUND)
    start = places_of(book, GREY, row_of(reviewed[1], GREY))
    assert (start.corners_from, start.outline_from) == (START, START)
    for places in (start.corners, start.outline):
        assert (places >= 0).all() and (places < [400, 300]).all()
    moved = found.corners + 1
    give_places(book, POT, corners=moved)
    given = places_of(open_book(book.folder), POT, row_of(reviewed[1], POT))
    assert (given.corners_from, given.outline_from) == (GIVEN, FOUND)
    np.testing.assert_allclose(given.corners, moved, atol=0.051)


def test_what_is_measured_with_places_is_what_is_measured_once_they_are_saved(book, reviewed):
    moved = places_of(book, POT, row_of(reviewed[1], POT)).corners + 3
    foretold = measure_with(book, POT, corners=moved).table
    assert foretold["L*"].item() != row_of(reviewed[1], POT)["L*"]
    give_places(book, POT, corners=moved)
    pd.testing.assert_frame_equal(measure_view(open_book(book.folder), POT).table, foretold)


@pytest.mark.parametrize(
    ("places", "fault", "cause"),
    [
        ({"corners": "1 1; 9 9; 9 1; 1 9"}, TargetError, "not those of a grid"),
        ({"corners": "1 1; 401 1; 401 9; 1 9"}, TargetError, "outside the photograph, which is 400 by 300"),
        ({"corners": [[1, 1], [9, 1]]}, TargetError, "not four places"),
        ({"outline": [1, 2, 3]}, OutlineError, "no places"),
        ({"corners": [["a", "b"]]}, TargetError, "no places"),
        ({"outline": "1 1; 9 9"}, OutlineError, "2 places surround nothing"),
        ({"outline": "900 1; 990 1; 950 90"}, OutlineError, "no pixel lies inside"),
    ],
)
def test_places_that_cannot_be_are_refused(book, places, fault, cause):
    before = (book.folder / "photos.csv").read_bytes()
    with pytest.raises(fault, match=cause):
        give_places(book, GREY, **places)
    assert (book.folder / "photos.csv").read_bytes() == before


def test_a_row_changed_meanwhile_is_refused(book):
    give_places(book, GREY, outline="10 10; 90 10; 50 90")
    with pytest.raises(BookError, match="changed since the book was opened"):
        give_places(book, GREY, outline="20 10; 90 10; 50 90")
    give_places(open_book(book.folder), GREY, outline="")
    assert open_book(book.folder).photos["pot outline"].tolist() == ["", ""]


def test_those_that_need_a_look_come_first_in_the_still_view_too(book, reviewed):
    review = PhotoReview(book, reviewed[1])
    assert [photo["name"] for photo in review.photos] == [GREY, POT]
    assert review.places["corners_start"] and review.measured[0]["lab"] is None
    still = review.still()
    assert "1 of 2 photographs needs a look" in still and f'alt="{GREY}' in still and POT not in still
    review.close()
    review = PhotoReview(book, reviewed[1].query("photo == @POT"))
    still = review.still()
    assert "The photograph needs no look" in still
    assert f'alt="{POT}: pot p01, with target and outline drawn over it"' in still and len(still) < 30_000
    review.close()


def test_places_that_were_given_when_it_was_measured_stay_cleared(book, reviewed):
    found = places_of(book, POT, row_of(reviewed[1], POT)).corners
    give_places(book, POT, corners=found + 3)
    book = open_book(book.folder)
    given = measure_view(book, POT).table["found corners"].item()
    review = PhotoReview(book, reviewed[1].query("photo == @POT").assign(**{"found corners": given}))
    review.asked_automatic()
    assert review.said["cause"].startswith("Cleared: target corners")
    review.asked_choose(0)
    assert review.places["corners_from"] == FOUND
    np.testing.assert_allclose(review.places["corners"], found, atol=0.051)
    review.close()


def test_places_that_are_the_same_are_told_again(book, reviewed):
    review = PhotoReview(book, reviewed[1].query("photo == @POT"))
    told = []
    review.observe(told.append, "places")
    # What a person moved and did not save is to go, though nothing else was found.
    review.asked_automatic()
    assert len(told) == 1 and told[0]["new"]["corners"] == told[0]["old"]["corners"]
    review.asked_choose(0)
    assert len(told) == 2
    review.close()


def test_faults_are_said_and_nothing_is_written(book, reviewed):
    review = PhotoReview(book, reviewed[1])
    before = (book.folder / "photos.csv").read_bytes()
    for ask in ("measure", "save"):
        values = {"corners": [[1, 1], [9, 9], [9, 1], [1, 9]], "outline": None}
        review._handle_custom_msg({"ask": ask, "values": values}, [])
        assert review.said["kind"] == "fault" and "not those of a grid" in review.said["cause"]
    review._handle_custom_msg({"ask": "save", "values": {"corners": None, "outline": None}}, [])
    assert "nothing to save" in review.said["cause"]
    assert (book.folder / "photos.csv").read_bytes() == before
    review.close()


def test_a_target_that_is_read_less_surely_is_said(book, reviewed):
    review = PhotoReview(book, reviewed[1])
    review.asked_choose(1)
    found = np.array(review.places["corners"])
    review.asked_measure((found + 0.2).tolist(), None)
    assert "less surely" not in review.said["cause"]
    found[2] -= 20
    review.asked_measure(found.tolist(), None)
    assert "⚠ The target is read less surely than before: doubtful patches" in review.said["cause"]
    review.close()


def corner(book):
    text = open_book(book.folder).photos.set_index("photo").loc[POT, "target corners"]
    return [[float(part) for part in pair.split()] for pair in text.split(";")] if text else []


def test_in_a_browser(lab, contrast, book, reviewed):
    measures = book.folder.parent / "measures.pickle"
    reviewed[1].to_pickle(measures)
    start = places_of(book, POT, row_of(reviewed[1], POT)).corners
    page = lab.opened(
        "import pandas as pd; from sagglab import open_book; from sagglab.widgets import PhotoReview\n"
        f"PhotoReview(open_book(r'{book.folder}'), pd.read_pickle(r'{measures}'))"
    )
    page.get_by_text("not found: only a start").first.wait_for()
    page.get_by_role("button", name="Next").click()
    page.get_by_text("Target corners (squares): found.").wait_for()
    first = page.get_by_role("button", name="Target corner 1,")

    # By keys: one pixel to the right, ten down.
    first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    # By mouse: the third corner, 30 px of the screen to the left.
    third = page.get_by_role("button", name="Target corner 3,")
    third.scroll_into_view_if_needed()
    box = third.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    wide = page.locator(".sagglab-view").bounding_box()["width"]
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 10, y, steps=2)
    page.mouse.move(x - 30, y, steps=2)
    page.mouse.up()

    page.get_by_role("button", name="Measure").click()
    page.get_by_text("Nothing is saved yet").wait_for()
    before, now = (page.locator(".sagglab-measured tr").nth(row).inner_text() for row in (1, 2))
    assert before.split()[1:] != now.split()[3:]
    assert corner(book) == []
    page.get_by_role("button", name="Save in photos").click()
    page.get_by_text("Saved: target corners, in photos.csv, row 2").wait_for()
    saved = np.array(corner(book))
    np.testing.assert_allclose(saved[[0, 1, 3]], start[[0, 1, 3]] + [[1, 10], [0, 0], [0, 0]], atol=0.11)
    pixels = 30 * places_of(book, POT, row_of(reviewed[1], POT)).size[1] / wide
    np.testing.assert_allclose(saved[2], start[2] - [pixels, 0], atol=0.6)

    for theme in ("JupyterLab Light", "JupyterLab Dark"):
        lab.theme(theme)
        assert contrast(page, ".sagglab-live") >= 4.5
    page.get_by_role("button", name="Automatic again").click()
    page.get_by_text("Cleared: target corners, in photos.csv").wait_for()
    assert corner(book) == [] and lab.elsewhere == []
    first.press("ArrowRight")
    save = page.get_by_role("button", name="Save in photos")
    assert save.is_enabled()
    page.get_by_role("button", name="Automatic again").click()
    page.get_by_text("These are the places that were found").wait_for()
    assert save.is_disabled()
