"""The photo guide: in step with the book's columns, the flags and the turns, and true to size."""

import io

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from sagglab.cautions import DEFERS
from sagglab.columns import BOOK_TABLES
from sagglab.errors import UnknownNameError
from sagglab.handout.paper import print_pages
from sagglab.handout.photo_guide import CAUTIONS, EXAMPLE, STEPS, guide_content, photo_guide
from sagglab.measures.around import turn_of
from sagglab.photo.flags import FLAGS

PAPERS = ("A4", "letter")
#: Words of the flags' remedies that a photographer can heed beforehand, each with where it is heeded.
HEEDED = {
    "flash fired": ("turn the flash off", "No flash"),
    "edited": ("as the camera wrote it", "Edit nothing"),
    "white balance": ("lock exposure and white balance", "Lock exposure and white balance"),
    "hidden patches": ("the whole target", "whole and clean"),
    "doubtful patches": ("glare and shadow", "no patch shining or in shadow"),
    "clipped patches": ("expose a little less", "no patch burnt out"),
    "too dark": ("white is light but not burnt out", "the white patch is light"),
    "cut by the frame": ("room on all sides", "room on all sides"),
    "backdrop like the pot": ("lighter or darker than the pot", "lighter or darker for a grey pot"),
    "uneven light": ("a plain sheet in the same light", "Grey sheet: plain"),
    "beyond the file's colours": ("camera raw", "camera raw"),
}


@pytest.fixture(scope="module")
def guides():
    return {paper: photo_guide(paper) for paper in PAPERS}


@pytest.fixture(scope="module")
def read(guides):
    """Each paper's pages as text with single blanks."""
    return {
        paper: [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]
        for paper, pdf in guides.items()
    }


@pytest.mark.parametrize("paper", PAPERS)
def test_all_steps_stand_on_the_first_page_numbered_in_order(read, paper):
    pages = read[paper]
    assert len(pages) == 2
    at, number = 0, 0
    for name, steps in STEPS:
        at = pages[0].index(name, at)
        for step in steps:
            number += 1
            at = pages[0].index(f"{number}. {step}", at)


@pytest.mark.parametrize("flag", HEEDED)
def test_what_a_flag_asks_for_is_asked_beforehand(read, flag):
    remedy, step = HEEDED[flag]
    assert remedy in FLAGS[flag][1]
    assert step in read["A4"][0]


def test_the_row_to_write_is_one_of_the_table_photos(read):
    columns = {column.name: column for column in BOOK_TABLES["photos"]}
    assert {name for name, column in columns.items() if column.required} <= set(EXAMPLE)
    second = read["letter"][1]
    for name, shown in EXAMPLE.items():
        assert f"{name} {shown} {columns[name].meaning}" in second
    assert turn_of(EXAMPLE["view"]) == 120.0


def places_of(page, words):
    """Give where words stand first on a page, in points from its lower left."""
    found = {}

    def visit(text, drawn, *_):
        if text in words:
            found.setdefault(text, (drawn[4], drawn[5]))

    page.extract_text(visitor_text=visit)
    return found


def test_degrees_go_round_so_that_what_was_on_the_right_comes_to_the_front(guides):
    # `measure_around`: a pot turned by 90° to the left as the camera sees it shows what stood to the right.
    # The camera is below the ring, so that 90° lies to the right, and 180° above.
    marks = {f"{angle}°" for angle in (0, 90, 120, 180, 240, 270)}
    places = places_of(PdfReader(io.BytesIO(guides["A4"])).pages[1], marks)
    (x0, y0), (x180, y180) = places["0°"], places["180°"]
    assert y180 > places["120°"][1] > places["90°"][1] > y0
    assert places["90°"][0] > x0 > places["270°"][0]
    assert places["120°"][0] > x180 > places["240°"][0]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_scale_is_five_centimetres_and_the_ring_twelve(paper):
    ppi = 254  # ten pixels in a millimetre
    picture = print_pages("photo-guide.typ", guide_content(), paper, form="png", ppi=ppi)[1]
    dark = np.asarray(Image.open(io.BytesIO(picture)).convert("L")) < 100
    # Below the title's rule the scale is the longest dark run beside the ring.
    beside = np.pad(dark[300:1500, 1390:], ((0, 0), (1, 1))).astype(np.int8)
    ends = np.nonzero(np.diff(beside))[1]
    assert np.diff(ends)[::2].max() == pytest.approx(500, abs=5)
    across = np.flatnonzero(dark[300:1460, :1390].any(axis=0))
    assert across[-1] - across[0] == pytest.approx(1200, abs=6)


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_reaches_into_the_margins_and_all_is_grey(paper):
    for picture in print_pages("photo-guide.typ", guide_content(), paper, form="png", ppi=72):
        bands = Image.open(io.BytesIO(picture)).convert("RGB").split()
        assert bands[0].tobytes() == bands[1].tobytes() == bands[2].tobytes()
        grey = np.asarray(bands[0])
        side, above, below = (round(mm / 25.4 * 72) for mm in (14, 12, 11))
        for strip in (grey[:, :side], grey[:, -side:], grey[:above], grey[-below:]):
            assert strip.min() == 255


def test_each_drawing_has_words_of_its_own(guides, structure):
    told = [part["/Alt"] for part in structure(guides["A4"]) if "/Alt" in part]
    content = guide_content()
    assert sorted(told) == sorted(words for name, words in content.items() if name.endswith("_alt"))


def test_cautions_defer_to_safety_sheets(read):
    second = read["A4"][1]
    assert all(words in second for words in CAUTIONS)
    assert CAUTIONS[-1] == DEFERS and "decorative only" in CAUTIONS[0].lower()


def test_the_document_is_tagged_has_its_title_and_is_the_same_each_time(guides):
    reader = PdfReader(io.BytesIO(guides["A4"]))
    assert reader.metadata.title == "Photographing fired pots"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    fonts = {font for page in reader.pages for font in page["/Resources"]["/Font"].values()}
    for font in fonts:
        described = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(described)
    assert photo_guide("A4") == guides["A4"]


def test_another_paper_is_refused():
    with pytest.raises(UnknownNameError, match="paper 'a3'"):
        photo_guide("a3")
