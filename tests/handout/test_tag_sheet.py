"""Tags to cut out: a name on each, or a page of blank ones; whole within the margins of either paper."""

import io
import re

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from sagglab.errors import PlanError, UnknownNameError
from sagglab.handout.content import STEPS
from sagglab.handout.paper import print_pages
from sagglab.handout.tag_sheet import BLANK, NOTES, tag_content, tag_sheet

LONG = "an-extraordinarily-longwinded-name-without-any-blank-in-it"
NAMES = ["p01", "porcelain-07", LONG, "#set page(width: 1cm) $x$ *b*", "two\nlines\x00", *"abcd"]


def texts(pdf):
    read = (page.extract_text().replace("\u200b", "") for page in PdfReader(io.BytesIO(pdf)).pages)
    return [" ".join(text.split()) for text in read]


def tags_of(printed):
    """Split each page into its tags, each up to its last word."""
    return [tag for page in printed for tag in re.split(r"decorative only front", page)[:-1]]


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_a_page_of_blank_tags_has_all_to_fill_in(paper):
    printed = texts(tag_sheet(paper))
    tags = tags_of(printed)
    assert len(printed) == 1 and len(tags) == BLANK
    steps = " ".join(f"{number} {step}" for number, step in enumerate(STEPS, start=1))
    assert all(tag.endswith(f"pot firing place {steps} ") for tag in tags)


def test_each_pot_has_one_tag_with_its_name_in_order():
    printed = texts(tag_sheet("A4", NAMES))
    tags = tags_of(printed)
    assert len(tags) == len(NAMES) and "9 to cut out" in printed[0]
    for name, tag in zip(NAMES, tags, strict=True):
        # A long name is broken over lines.
        whole = "".join(name.replace("\x00", "").split())
        assert f"{whole}firingplace1coated" in "".join(tag.split())


def test_paper_burns_and_how_a_pot_is_marked_is_said():
    printed = texts(tag_sheet("letter"))[0]
    assert all(words in printed for words in NOTES)
    for words in ("Paper burns", "scratched", "iron oxide", "underglaze pencil", "0°"):
        assert words in printed


@pytest.mark.parametrize(
    ("pots", "said"),
    [
        ("p01", "pots: it is 'p01'. Give a list of their names."),
        (3, "it is 3"),
        ([], "the list is empty. Name one or more, or leave it out"),
        (["p01", " ", 7], r"no name at 2 \(' '\), 3 \(7\). Give each pot's name as text"),
    ],
)
def test_what_names_no_pots_is_refused(pots, said):
    with pytest.raises(PlanError, match=said):
        tag_sheet("A4", pots)


def test_another_paper_is_refused():
    with pytest.raises(UnknownNameError, match="paper 'a3'"):
        tag_sheet("a3")


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("pots", [None, NAMES])
def test_nothing_reaches_into_the_margins_and_all_is_grey(pots, paper):
    pages = print_pages("tag-sheet.typ", tag_content(pots), paper, form="png", ppi=72)
    for picture in [pages] if isinstance(pages, bytes) else pages:
        bands = Image.open(io.BytesIO(picture)).convert("RGB").split()
        assert bands[0].tobytes() == bands[1].tobytes() == bands[2].tobytes()
        grey = np.asarray(bands[0])
        side, above, below = (round(mm / 25.4 * 72) for mm in (14, 12, 11))
        for strip in (grey[:, :side], grey[:, -side:], grey[:above], grey[-below:]):
            assert strip.min() == 255


def test_the_document_is_tagged_has_its_title_and_is_the_same_each_time():
    pdf = tag_sheet("A4", ["p01"])
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.metadata.title == "Tags for pots"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert tag_sheet("A4", ["p01"]) == pdf
