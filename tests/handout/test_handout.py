"""The handout: every word and number on paper and on the phone, within its margins, whatever it holds."""

import base64
import dataclasses
import datetime as dt
import html
import io
import re

import numpy as np
import pandas as pd
import pytest
from PIL import Image, ImageDraw
from pypdf import PdfReader

from sagglab.charts import firing_curve, pot_swatches
from sagglab.charts.alt import alt_text
from sagglab.charts.files import chart_svg
from sagglab.charts.look import axes
from sagglab.errors import UnknownNameError
from sagglab.firing.readings import read_readings
from sagglab.handout.blank_sheet import IN_SHORT
from sagglab.handout.content import FOOT, STEPS
from sagglab.handout.handout import Drawing, FiringToFollow, Handout, PotShown, RecipeCard, TryNext
from sagglab.handout.paper import print_pages
from sagglab.handout.printed import LAYOUT, MOST_PAGES, page_content, page_count, print_handout
from sagglab.handout.printed import STEPS as SETTINGS
from sagglab.handout.shown import shown

LONG = "dust-of-an-extraordinarily-longwinded-name-without-any-blank-in-it"
HOSTILE = '#set page(width: 1cm) <script>alert(1)</script> $x$ @ref ] } */ "quoted" \\ & '
HOSTILE += "\u200b\u202eturned \x00\x7f\ufeffשלום مرحبا 🏺 first\nsecond\n\n= third"
OUTSIDE = np.array([60.0, 90.0, 80.0])
CAUTIONS = (
    "Copper sulphate: harmful if swallowed; damages eyes; fired, it gives off sulphur oxides.",
    "Foil can melt at 660 °C (1221 °F): mind dripping metal, and do not lift a saggar by its foil.",
    "Outdoors, always: away from buildings, dry plants, people and animals; stay upwind.",
    "Burning sawdust and sugar give off carbon monoxide, which has no smell. No cartridge stops it.",
    "Gas: shut it at the cylinder first. Look for leaks with soapy water before lighting.",
    "These pots are decorative only: never for food or drink.",
    "This list is not complete. Safety data sheets, local codes and licensed practice go before it.",
)


def jpeg(shade, size=(336, 420)):
    """Draw a pot before a plain backdrop."""
    picture = Image.new("RGB", size, (186, 184, 180))
    ImageDraw.Draw(picture).ellipse(
        (60, 70, size[0] - 60, size[1] - 30), fill=(shade, shade * 3 // 4, shade // 2)
    )
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=85)
    return file.getvalue()


@pytest.fixture(scope="module")
def drawings(demo):
    truth = pd.read_csv(demo / "truth/pots.csv")[["pot", "L*", "a*", "b*"]]
    chart = pot_swatches(pd.read_csv(demo / "pots.csv").merge(truth, on="pot"), "sugar [g]")
    curve = firing_curve(read_readings(demo / "readings/f1.csv"), ax=axes(None, 7.0, 3.6))
    return [Drawing(chart_svg(ax), alt) for ax, alt in ((chart, alt_text(chart)), (curve, alt_text(curve)))]


@pytest.fixture(scope="module")
def handout(drawings):
    """A usual one: eight pots, four recipes, a firing, a plan."""
    pots = tuple(
        PotShown(
            f"p{number + 1:02d}", f"{2 * (number // 3)} g", f"L* {52 - 3 * number}",
            np.array([52.0 - 3 * number, 12.0, 14.0]), None if number == 3 else jpeg(200 - 20 * number),
        )
        for number in range(8)
    )  # fmt: skip
    pots = (*pots[:3], dataclasses.replace(pots[3], lab=OUTSIDE), *pots[4:])
    cards = tuple(
        RecipeCard(
            (f"p{number + 1:02d}", f"p{number + 13:02d}"),
            OUTSIDE if number == 1 else np.array([50.0 - 6 * number, 10.0, 15.0]),
            f"L* {50 - 6 * number}, a* 10, b* 15: mean of 2 pots",
            (
                ("slip", "2 coats", ""), ("ferric chloride", "1 coat", ""),
                ("sugar", f"{2 + number} g", f"{0.71 + number} g"),
            ),
            "Its pots were of 250 to 310 cm²." if number == 2 else "",
        )
        for number in range(4)
    )  # fmt: skip
    heat = np.array([100.0, 200, 300, 400, 500, 600, 700, 752])
    points = pd.DataFrame(
        {"minutes": np.arange(8) * 5 + 3.4, "temperature_C": heat, "temperature_F": heat * 1.8 + 32}
    )
    return Handout(
        question="Does sugar make the pots darker?",
        answer="With each gram of sugar L* changes by −1.9 (95 % interval −2.6 to −1.2): 36 pots, 6 firings.",
        pots=pots,
        pots_said="From no sugar to 4 g. Of each amount pots a quarter and three quarters of the way.",
        drawing=drawings[0],
        cards=cards,
        firing=FiringToFollow(
            "As f3 was fired: peak 752 °C (1386 °F), known to ±6 °C, after 38 min.", points, drawings[1]
        ),
        next=TryNext(
            ("How does L* depend on sugar between 2 and 6 g?", "A change of 3.1 is told from none."),
            ("sugar", "peak", "pots"),
            tuple((f"{2 * row} g", f"{650 + 50 * row} °C", str(4 + row)) for row in (1, 2, 3)),
        ),
        cautions=CAUTIONS,
        measured=(
            "Colour: 84 photographs of 36 pots, a target beside them; left-out patches ΔE00 0.9 off.",
            "Heat: 6 records, 5 by logger; peaks known to ±6 °C.",
            "Recipe and firing: a mixed model, firings at random, degrees of freedom by Kenward and Roger.",
        ),
        heading="Saturday workshop at the old tannery",
        note="Bring an apron that may burn. Next kiln: 12 December.",
        dated=dt.date(2026, 11, 28),
        version="Batch book of 36 pots, last changed 2026-11-20; sagglab 0.1.0.",
    )  # fmt: skip


@pytest.fixture(scope="module")
def cases(handout):
    """The usual handout, and those that are hard to lay out, by name."""
    usual = handout
    change = dataclasses.replace
    bare = change(
        usual, answer="", pots=(), pots_said="", drawing=None, cards=(), firing=None, next=None, measured=()
    )
    long_pots = tuple(
        change(pot, pot=f"{LONG}-{place}", level=f"{LONG} 4 g") for place, pot in enumerate(usual.pots)
    )
    rows = tuple((f"material {LONG[: 6 * place]}", f"{place}.25 g", f"{place}.11 g") for place in range(12))
    cards = tuple(change(usual.cards[place % 4], rows=rows) for place in range(8))
    many = tuple(f"material {place}: {CAUTIONS[0] * 2} {CAUTIONS[4]}" for place in range(30))
    words = ("It was said " * 200)[:2000]
    points = pd.DataFrame(dict.fromkeys(usual.firing.points, np.arange(40.0)))
    no_photo = tuple(
        change(pot, picture=None, lab=None if place % 2 else pot.lab) for place, pot in enumerate(usual.pots)
    )
    return {
        "usual": usual,
        "nothing known": change(bare, question="Why?", cautions=(), heading="", note="", version=""),
        "only cautions": bare,
        "one pot": change(usual, pots=usual.pots[:1], cards=usual.cards[:1], drawing=None, next=None),
        "long names": change(usual, pots=long_pots, question=f"Does {LONG} make the pots darker?"),
        "many recipes": change(usual, cards=cards),
        "many cautions": change(usual, cautions=many),
        "no photographs": change(usual, pots=no_photo),
        "long words": change(usual, heading=words, note=words, question=words, version=words),
        "sixty pots": change(usual, pots=tuple(change(usual.pots[0], pot=f"p{n:02d}") for n in range(60))),
        "a long firing": change(usual, firing=change(usual.firing, points=points)),
        "a wide plan": change(usual, next=TryNext(("It asks.",), (LONG,) * 14, (("2.25 g",) * 14,) * 30)),
        "all at once": change(
            usual, pots=long_pots, cards=cards, heading=words, note=words, cautions=many[:22],
            next=TryNext(usual.next.said * 3, (LONG,) * 8, ((LONG,) * 8,) * 20),
        ),
        "hostile": change(
            usual, question=HOSTILE, answer=HOSTILE, heading=HOSTILE, note=HOSTILE, version=HOSTILE,
            pots_said=HOSTILE,
            pots=tuple(change(pot, pot=HOSTILE[:60], level=HOSTILE[:40]) for pot in usual.pots[:2]),
            cards=(RecipeCard((HOSTILE,), None, HOSTILE, ((HOSTILE,) * 3,) * 3, HOSTILE),),
            next=TryNext((HOSTILE,), (HOSTILE,) * 3, ((HOSTILE,) * 3,) * 3),
            cautions=(HOSTILE, f"a: {HOSTILE}"), measured=(HOSTILE,),
            firing=change(usual.firing, said=HOSTILE),
        ),
    }  # fmt: skip


#: A4 is the narrower paper, letter the lower one; those hard in both ways are laid out on both.
WIDE = ("only cautions", "one pot", "no photographs", "sixty pots", "a wide plan")
HIGH = ("nothing known", "many recipes", "many cautions", "long words", "a long firing")
BOTH = ("usual", "long names", "all at once", "hostile")
LAID_OUT = [*((name, "A4") for name in WIDE + BOTH), *((name, "letter") for name in HIGH + BOTH)]


def solid(text):
    """Take all blanks and places to break a word out, and leave words in the order of reading."""
    return "".join(text.replace("\u200b", "").split())


def pages(pdf):
    return [solid(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def read_out(page):
    """Give the words of a page of HTML, and those said of its pictures."""
    body = page.partition("<body>")[2]
    alts = re.findall(r'(?:alt|aria-label)="([^"]*)"', body)
    return solid(html.unescape(re.sub(r"<[^>]*>", " ", body))), [html.unescape(alt) for alt in alts]


def words_of(usual):
    """List all that a handout says, figures of its tables included, in its order."""
    yield from (usual.heading, usual.question)
    for pot in usual.pots:
        yield f"{pot.pot}{pot.level}{pot.outcome}"
    yield from (usual.pots_said, "a cut corner: a colour that the display cannot show", usual.answer)
    for card in usual.cards:
        yield from (", ".join(card.pots), card.measured, *("".join(row) for row in card.rows), card.note)
    yield usual.firing.said
    for name in ("minutes", "temperature_C", "temperature_F"):
        yield from (f"{number:.0f}" for number in usual.firing.points[name])
    yield from (*usual.next.said, "".join(usual.next.headings), *("".join(row) for row in usual.next.rows))
    yield from (
        usual.note,
        *usual.cautions,
        *usual.measured,
        "2026-11-28",
        usual.version,
        *STEPS,
        *IN_SHORT,
        FOOT,
    )


@pytest.fixture(scope="module")
def printed(handout):
    return "".join(pages(handout.pdf))


def test_every_word_and_number_is_printed(handout, printed):
    missing = [words for words in words_of(handout) if solid(words) not in printed]
    assert missing == []


def test_the_phone_says_the_same(handout):
    told, _ = read_out(handout.html)
    missing = [words for words in words_of(handout) if solid(words) not in told]
    assert missing == []


@pytest.mark.parametrize("where", ["printed", "on the phone"])
def test_the_order_is_that_of_reading(handout, printed, where):
    told = printed if where == "printed" else read_out(handout.html)[0]
    parts = (
        *(handout.heading, handout.question, handout.pots_said, handout.answer, "How it was measured"),
        *("Recipes", "The firing to follow", "Try this next", "From the workshop", "Cautions"),
    )
    places = [told.index(solid(part)) for part in parts]
    assert solid(handout.version) in told
    assert told.rindex(solid("Bench sheet")) > places[-1]
    assert places == sorted(places)


def test_the_firing_is_a_table_of_minutes_and_both_scales(handout, printed):
    assert "minute38131823283338°C100200300400500600700752°F2123925727529321112" in printed
    assert "minute°C°F3100212820039213300572" in read_out(handout.html)[0]


def test_the_last_page_is_a_blank_bench_sheet(handout):
    *others, last = pages(handout.pdf)
    assert last.startswith("Benchsheetnamepottag") and not any("Benchsheet" in page for page in others)
    places = [last.index(solid(step)) for step in (*STEPS, "peak reached", "What I expect", "What came out")]
    assert places == sorted(places)


def test_the_head_of_a_caution_is_bold(handout):
    bold = []

    def visit(text, _, __, font, ___):
        if font and "Bold" in font["/BaseFont"]:
            bold.append(text)

    for page in PdfReader(io.BytesIO(handout.pdf)).pages:
        page.extract_text(visitor_text=visit)
    assert "Coppersulphate:" in solid("".join(bold)) and "harmful" not in "".join(bold)
    assert "<strong>Copper sulphate:</strong> harmful" in handout.html
    assert "<li>This list is not complete." in handout.html


def test_it_is_a_tagged_document_with_title_and_language(handout, structure):
    reader = PdfReader(io.BytesIO(handout.pdf))
    root = reader.trailer["/Root"]
    assert (
        root["/MarkInfo"]["/Marked"]
        and root["/Lang"] == "en"
        and root["/ViewerPreferences"]["/DisplayDocTitle"]
    )
    assert reader.metadata.title == "Handout: Does sugar make the pots darker?"
    assert b"pdfuaid:part" in root["/Metadata"].get_object().get_data()
    kinds = {part.get("/S") for part in structure(handout.pdf)}
    assert {"/H1", "/Table", "/TH", "/TD", "/Figure", "/L"} <= kinds


def test_every_picture_is_said_in_words(handout, structure):
    shown_in = [str(part.get("/Alt", "")) for part in structure(handout.pdf) if part.get("/S") == "/Figure"]
    wanted = [
        *(f"Photograph of pot {pot.pot}, {pot.level}, {pot.outcome}." for pot in handout.pots if pot.picture),
        "Swatch, as near as the display can show it, of the mean colour of pot p04, 2 g, L* 43.",
        handout.drawing.alt,
        *(card.measured for card in handout.cards),
        handout.firing.drawing.alt,
    ]
    assert len(shown_in) == len(wanted)
    _, on_the_phone = read_out(handout.html)
    for words in wanted:
        for alts in (shown_in, on_the_phone):
            assert any(solid(words) in solid(alt) for alt in alts), words
    assert handout.html.count("<img ") + handout.html.count("<svg ") == len(wanted)


def test_typefaces_are_embedded(handout):
    for page in PdfReader(io.BytesIO(handout.pdf)).pages:
        for font in page["/Resources"]["/Font"].values():
            kind = font.get_object()
            described = kind["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert {"/FontFile2", "/FontFile3"} & set(described), kind["/BaseFont"]


def test_type_is_read_at_arms_length(handout):
    sizes = {}

    def visit(text, _, matrix, __, size):
        for words in ("sugar make", "95", "harmful", "copper", "ferric", "slip"):
            if words in text:
                sizes.setdefault(words, []).append(abs(size * matrix[3]))

    for page in PdfReader(io.BytesIO(handout.pdf)).pages:
        page.extract_text(visitor_text=visit)
    assert min(sizes["sugar make"]) >= 20 and max(sizes["95"]) >= 13
    assert min(sizes["harmful"]) >= 10 and min(sizes["ferric"]) >= 10
    for density, _ in SETTINGS:
        assert density.type >= 11 and density.card >= 10 and density.caution >= 10


@pytest.mark.parametrize(("name", "paper"), LAID_OUT)
def test_two_to_four_pages_within_their_margins(cases, name, paper):
    given = dataclasses.replace(cases[name], paper=paper)
    pictures = print_handout(given, "png")
    assert 2 <= len(pictures) <= MOST_PAGES
    for picture in pictures:
        page = Image.open(io.BytesIO(picture))
        assert (page.width > 1200) == (paper == "letter")
        grey = np.asarray(page.convert("L"))
        # 144 dots an inch. Many printers leave 4 to 10 mm at the edges unprinted.
        side, above, below = (round(mm / 25.4 * 144) for mm in (14, 12, 11))
        for strip in (grey[:, :side], grey[:, -side:], grey[:above], grey[-below:]):
            assert strip.min() == 255
        # The rule of the foot is the last line across the page; the text ends above it.
        foot = np.flatnonzero((grey < 160).mean(axis=1) > 0.8)[-1]
        assert foot > 0.9 * len(grey) and grey[foot - 5 : foot - 1].min() == 255


def test_what_is_left_out_is_told(cases):
    many = "".join(pages(cases["many recipes"].pdf))
    left_out = int(re.search(r"(\d+)morerecipes?:seethebook'stables\.", many)[1])
    assert (
        many.count("p01,p13") + many.count("p02,p14") + many.count("p03,p15") + many.count("p04,p16")
        == 8 - left_out
    )
    assert "…" in "".join(pages(cases["all at once"].pdf))
    sixty = shown(cases["sixty pots"])
    assert "8 of 60 pots are shown" in sixty["pots_said"]
    assert [pot["pot"] for pot in sixty["pots"]] == ["p00", "p08", "p17", "p25", "p34", "p42", "p51", "p59"]
    assert cases["many recipes"].html.count('class="card"') == 8


def test_no_caution_is_left_out(cases):
    for name in ("many cautions", "all at once"):
        given = cases[name]
        told = "".join(pages(given.pdf))
        assert [words for words in given.cautions if solid(words) not in told] == []


def test_where_cautions_alone_fill_the_pages_there_are_more_of_them(handout):
    given = dataclasses.replace(
        handout, cautions=tuple(f"material {n}: {CAUTIONS[0] * 9}" for n in range(40))
    )
    told = pages(given.pdf)
    assert len(told) > MOST_PAGES and "material39:" in "".join(told)


def test_what_users_wrote_is_never_read_as_markup(cases):
    given = cases["hostile"]
    kept = solid("#set page(width: 1cm) <script>alert(1)</script> $x$ @ref ] } */")
    assert "".join(pages(given.pdf)).count(kept) >= 8
    assert "<script" not in given.html and "&lt;script&gt;alert(1)&lt;/script&gt;" in given.html
    assert not {"\u202e", "\x00", "\x7f", "\ufeff"} & set(given.html)
    for attribute in re.findall(r'(?:alt|aria-label|title|dir|class)="[^"]*"', given.html):
        assert "<" not in attribute


def test_what_was_not_photographed_says_so(handout, cases):
    bare = cases["no photographs"]
    assert "".join(pages(bare.pdf)).count("notphoto-graphed") == 4
    assert read_out(bare.html)[0].count("notphoto\u00adgraphed") == 4
    assert handout.html.count('class="blank"') == 0


def test_a_colour_beyond_the_display_has_its_corner_cut_off(handout):
    usual = "H39.5 L39.5 .5 V49.5"
    cut = "H30 L39.5 10 V49.5"
    assert (handout.html.count(cut), handout.html.count(usual)) == (2, 3)
    inside = dataclasses.replace(handout, pots=handout.pots[:2], cards=handout.cards[:1])
    assert "cut corner" not in inside.html and "cutcorner" not in "".join(pages(inside.pdf))


def test_a_caution_is_legible_in_grey(cases):
    """All words are ink on white paper; colour is in pictures alone."""
    content, pictures = page_content(cases["only cautions"])
    for picture in print_pages(LAYOUT, content, "A4", pictures, "png"):
        rgb = np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")).astype(int)
        assert np.ptp(rgb, axis=2).max() == 0


def contrast(one, other):
    """Contrast of two sRGB colours by WCAG 2.2: https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio."""

    def luminance(colour):
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in colour]
        return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_phone_page_needs_nothing_else(handout):
    page = handout.html
    assert page.startswith('<!DOCTYPE html>\n<html lang="en">') and '<meta name="viewport"' in page
    assert not re.search(r"<script|<link|<iframe|@import|url\(|\son\w+=|javascript:", page)
    assert set(re.findall(r'(?:src|href)="([a-z]+:[a-z+/]+)', page)) == {
        "data:image/jpeg",
        "data:image/svg+xml",
    }
    assert [int(level) for level in re.findall(r"<h([1-6])", page)][:2] == [1, 2]
    assert page.count("<h1") == 1 and "@media print" in page
    for name in ("--ink", "--quiet"):
        colour = re.search(rf"{name}: #([0-9a-f]{{6}})", page)[1]
        assert contrast([int(colour[at : at + 2], 16) / 255 for at in (0, 2, 4)], (1, 1, 1)) >= 4.5


def test_pictures_are_within_the_phone_page(handout):
    found = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', handout.html)
    assert [base64.b64decode(one) for one in found] == [pot.picture for pot in handout.pots if pot.picture]
    drawn = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', handout.html)
    assert [base64.b64decode(one).decode() for one in drawn] == [
        handout.drawing.svg,
        handout.firing.drawing.svg,
    ]


def test_it_is_small_and_the_same_each_time(handout):
    again = dataclasses.replace(handout)
    assert again.pdf == handout.pdf and again.html == handout.html
    assert len(handout.pdf) < 5e6 and len(handout.html) < 5e6


def test_the_files(handout, tmp_path):
    written = handout.save(tmp_path / "new" / "handout")
    assert [path.name for path in written] == ["handout.pdf", "handout.html"]
    assert written[0].read_bytes() == handout.pdf and written[1].read_text(encoding="utf-8") == handout.html
    assert sorted(path.name for path in written[0].parent.iterdir()) == ["handout.html", "handout.pdf"]


def test_it_shows_itself(handout):
    assert repr(handout) == f"Handout: {handout.question}\n{handout.answer}\n{handout.pages} pages of A4"
    framed = handout._repr_html_()
    assert framed.startswith('<iframe sandbox=""') and framed.count("<") == 2
    assert html.unescape(re.search(r'srcdoc="([^"]*)"', framed)[1]) == handout.html


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_papers(handout, paper, size):
    page = PdfReader(io.BytesIO(dataclasses.replace(handout, paper=paper).pdf)).pages[0]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == size


def test_another_paper_is_refused_and_leaves_no_files(handout, tmp_path):
    with pytest.raises(UnknownNameError, match="paper 'a3': there is no such paper"):
        dataclasses.replace(handout, paper="a3").save(tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_pages_are_counted_right(handout, cases):
    for given in (handout, cases["nothing known"]):
        assert page_count(given.pdf) == given.pages == len(PdfReader(io.BytesIO(given.pdf)).pages)


def test_what_is_shown_is_plain(handout):
    told = shown(handout)
    assert told["firing"]["points"][0] == ["3", "100", "212"]
    assert told["cautions"][0] == ["Copper sulphate:", CAUTIONS[0].partition(": ")[2]]
    unmeasured = dataclasses.replace(handout.pots[0], lab=np.full(3, np.nan), picture=None)
    assert shown(dataclasses.replace(handout, pots=(unmeasured,)))["pots"][0]["colour"] == ""
