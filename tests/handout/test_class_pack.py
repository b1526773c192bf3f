"""The class pack: pots dealt evenly, every tag and amount on paper, nothing beyond the margins."""

import io
import re
from itertools import takewhile
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from pypdf import PdfReader

from sagglab.cautions import cautions
from sagglab.errors import PlanError, UnknownNameError
from sagglab.handout.class_pack import class_pack
from sagglab.handout.class_pages import AT_HAND, TAGS_NOTE, pack_content
from sagglab.handout.content import FOOT, ORDER_OF_WORK
from sagglab.handout.paper import print_pages
from sagglab.plan.sheet import bench_sheet

SHELF = pd.DataFrame(
    {
        "material": ["sugar", "copper sulphate"],
        "in stock [g]": [1000.0, 10.0],
        "spoon [g]": [3.2, np.nan],
    }
)
SUGAR, SULPHATE = "sugar [g]", "copper sulphate [g]"
SAME = {"clay": "groggy buff", "slip [coats]": 2, "sawdust [g]": 30, "copper wire [cm]": 60}
#: The second of three sizes is too tall for one strip of foil.
SIZES = ((12, 10), (30, 10), (12, 6))
NAMES = ["Anna", "Ben", "Anna", "Chloë", "", "Émile", "Fatima", "Gus", "Hana", "Ivo", "Jo", "Kim"]
LONG = "an-extraordinarily-longwinded-name-without-any-blank-in-it"
HOSTILE = (
    *("#set page(width: 1cm) $x$ @ref ] [ *b* <script>", "A" * 300, "Maximiliana-Theodora " * 20, LONG),
    *("", "陶芸 太郎", "אנה", "two\nlines\x00\x07", "\ud800"),
)


def laid_out(pots=12, per_firing=6, same=SAME, tag="p{:02d}", firing="f{}", schedule=""):
    """Lay out a sheet: sugar and sulphate in turn, three sizes of pots, peak and minutes by firing."""
    number = np.arange(pots)
    fired = number // per_firing
    heat = {"schedule": schedule} if schedule else {"peak [degC]": 700 + 100 * (fired % 2), "time [min]": 60}
    runs = pd.DataFrame(
        {
            "pot": [tag.format(pot + 1) for pot in number],
            "firing": [firing.format(one + 1) for one in fired],
            "place": (number % per_firing + 1).astype(str),
            SUGAR: np.where(number % 2, 4.0, 0.0),
            SULPHATE: np.where(number // 2 % 2, 2.5, 0.0),
            "height [cm]": [SIZES[pot % 3][0] for pot in number],
            "diameter [cm]": [SIZES[pot % 3][1] for pot in number],
            **heat,
            **same,
        }
    )
    plan = SimpleNamespace(
        factors=(), terms=SimpleNamespace(names=()), runs=runs, kind="best", seed=7, notes=()
    )
    return bench_sheet(plan, SHELF)


def texts(pdf, before=None):
    """Give each page's text, with single blanks and no places to break a word; as far as a page so begun."""
    read = (page.extract_text().replace("\u200b", "") for page in PdfReader(io.BytesIO(pdf)).pages)
    told = (" ".join(text.split()) for text in read)
    return list(told if before is None else takewhile(lambda text: not text.startswith(before), told))


def solid(text):
    """Take all blanks out: a long name is broken over lines."""
    return "".join(text.replace("\u200b", "").split())


def tags_of(printed):
    """Split the pages of tags into tags, each up to its last words."""
    pages = [page for page in printed if page.endswith("· pot tags")]
    return [tag for page in pages for tag in page.split("decorative only")[:-1]]


@pytest.fixture(scope="module")
def sheet():
    return laid_out()


@pytest.fixture(scope="module")
def pack(sheet):
    return class_pack(sheet, NAMES, heading="Saturday at the quarry")


@pytest.fixture(scope="module")
def printed(pack):
    return texts(pack.pdf)


@pytest.mark.parametrize("people", [1, 3, 5, 12])
def test_pots_go_round_and_nobody_has_more_than_one_more(sheet, people):
    table = class_pack(sheet, people).table
    assert sorted(table["pot"]) == sorted(sheet.table["pot"])
    counts = table["number"].value_counts()
    assert sorted(counts.index) == list(range(1, people + 1))
    assert counts.max() - counts.min() <= 1
    assert table["number"].is_monotonic_increasing
    in_bench_order = table.set_index("pot").loc[sheet.table["pot"], "number"]
    assert in_bench_order.tolist() == [place % people + 1 for place in range(12)]


def test_as_many_participants_as_pots_of_a_firing_have_one_in_each(sheet):
    table = class_pack(sheet, 6).table
    assert table.groupby("number")["firing"].apply(set).tolist() == [{"f1", "f2"}] * 6


def test_the_table_has_for_each_pot_what_the_sheet_has(sheet, pack):
    table = pack.table
    assert table.columns[:5].tolist() == ["number", "participant", "pot", "firing", "place"]
    held = table.set_index("pot").loc[sheet.table["pot"]].reset_index()
    pd.testing.assert_frame_equal(held[sheet.table.columns], sheet.table)
    assert table["participant"].tolist() == NAMES


def test_blank_cells_of_a_table_of_names_are_numbers_alone(sheet):
    pack = class_pack(sheet, pd.Series(["Anna", np.nan, None, "  "], dtype=object))
    assert pack.participants == ("Anna", "", "", "")


@pytest.mark.parametrize(
    ("participants", "said"),
    [
        (0, "participants: there are 0. A class is of 1 to 60."),
        (-1, "there are -1"),
        (61, "there are 61"),
        ([], "there are 0"),
        (13, r"13 cannot share 12 pots. Plan 1 more, or let several share a pot"),
        (True, "it is True. Give how many there are, or a list of their names"),
        (2.5, "it is 2.5"),
        (None, "it is None"),
        ("Anna", "it is 'Anna'"),
        (["Anna", 7], "participants, 2: 7 is no name. Write names as text"),
    ],
)
def test_what_is_no_class_is_refused(sheet, participants, said):
    with pytest.raises(PlanError, match=said):
        class_pack(sheet, participants)


def test_another_paper_is_refused(sheet):
    with pytest.raises(UnknownNameError, match="paper 'a3'"):
        class_pack(sheet, 3, "a3")


def test_the_leader_sees_who_has_which_pot_and_the_order_of_firings(printed):
    first = printed[0]
    assert first.startswith("Class pack 12 participants, 12 pots in 2 firings Saturday at the quarry")
    assert "1 Anna p01 f1 place 1 2 Ben p02 f1 place 2 3 Anna p03 f1 place 3 4 Chloë p04" in first
    assert "place 4 5 p05 f1 place 5 6 Émile p06" in first and "12 Kim p12 f2 place 6" in first
    assert "f1 700 °C (1292 °F) 60 6" in first and "f2 800 °C (1472 °F) 60 6" in first


def test_totals_are_the_sum_over_the_pots_and_the_allowance(pack, printed):
    for material, unit in (("sugar", "g"), ("copper sulphate", "g"), ("sawdust", "g"), ("copper wire", "cm")):
        on_pots = pack.table[f"{material} [{unit}]"].sum()
        assert f"{material} {on_pots:g} {unit} {on_pots * 1.1:g} {unit}" in printed[0]
    assert "slip 24 coats 24 coats" in printed[0]
    assert "copper sulphate: short by 6.5 g" in printed[0]


def test_foil_to_cut_for_each_pot_and_in_all(pack, printed):
    # π·16 + 5 = 55.3 cm round; two layers, and two strips where the pot is 52 cm tall with its ends; π·12 + 5
    size = {12: {10: "2 pieces, 56 × 45 cm", 6: "2 pieces, 43 × 45 cm"}, 30: {10: "4 pieces, 56 × 45 cm"}}
    leader = " ".join(page for page in printed if "for the leader" in page)
    assert "p01, p04, p07, p10 2 pieces, 56 × 45 cm 8 4.5 m" in leader
    assert "p02, p05, p08, p11 4 pieces, 56 × 45 cm 16 9.0 m" in leader
    assert "p03, p06, p09, p12 2 pieces, 43 × 45 cm 8 3.5 m" in leader
    assert "In all 16.9 m, cut to whole centimetres" in leader
    sheets = [page for page in printed if page.startswith("Bench sheet")]
    for row, page in zip(pack.table.itertuples(), sheets, strict=True):
        high, wide = SIZES[int(row.pot[1:]) % 3 - 1]
        assert f"foil to cut {size[high][wide]}" in page


def test_pots_that_need_the_same_foil_are_not_named(sheet):
    runs = laid_out(same=SAME | {"height [cm]": 12, "diameter [cm]": 10})
    content = pack_content(class_pack(runs, 3))
    assert content["foil"] == [["all 12 pots", "2 pieces, 56\u00a0×\u00a045\u00a0cm", "24", "13.5 m"]]
    assert content["foil_in_all"] == "13.5 m"


def test_the_leaders_cautions_are_those_of_these_recipes_at_the_highest_peak(sheet, printed):
    leader = solid(" ".join(page for page in printed if "for the leader" in page))
    for words in (*cautions(sheet.pots, 800.0), *AT_HAND, *ORDER_OF_WORK):
        assert solid(words) in leader
    assert solid("800 °C (1472 °F)") in leader


def test_the_head_of_a_caution_stands_out(pack):
    heads, rest = [], []

    def visit(text, _, __, font, ___):
        (heads if "Bold" in str(font and font["/BaseFont"]) else rest).append(text)

    for page in PdfReader(io.BytesIO(pack.pdf)).pages[:3]:
        page.extract_text(visitor_text=visit)
    for words in AT_HAND:
        head, _, more = words.partition(": ")
        assert solid(f"{head}:") in solid("".join(heads))
        assert solid(more.split(",")[0].split(";")[0]) in solid("".join(rest))


@pytest.mark.parametrize("word", ["Water", "extinguisher", "Carbon monoxide alarm", "Eye wash", "First aid"])
def test_what_saves_in_an_accident_is_at_hand(word):
    assert word in " ".join(AT_HAND)


def test_each_pot_has_a_tag_with_all_on_it(pack, printed):
    tags = tags_of(printed)
    assert len(tags) == len(pack.table)
    assert any(TAGS_NOTE in page for page in printed)
    for row, tag in zip(pack.table.to_dict("records"), tags, strict=True):
        whose = (
            f"{row['number']} · {row['participant']}"
            if row["participant"]
            else f"participant {row['number']}"
        )
        assert f"{row['pot']} {whose} {row['firing']} · place {row['place']}" in tag
        assert "groggy buff" in tag and "slip 2 coats" in tag and "sawdust 30 g" in tag
        assert ("sugar 4 g (1¼ spoons)" in tag) == (row[SUGAR] > 0)
        assert ("copper sulphate 2.5 g" in tag) == (row[SULPHATE] > 0)


def test_a_tag_can_be_read_from_two_metres(pack):
    sizes = []

    def visit(text, _, matrix, __, size):
        if re.fullmatch(r"p\d\d", text.strip()):
            sizes.append(abs(size * matrix[3]))

    for page in PdfReader(io.BytesIO(pack.pdf)).pages:
        if page.extract_text().endswith("· pot tags"):
            page.extract_text(visitor_text=visit)
    # Signs a two-hundredth of the distance high are read with ease; common practice, no source. A figure of
    # DejaVu Sans is 0.73 of its size high.
    assert len(sizes) == 12
    assert min(sizes) * 0.73 / 72 * 25.4 >= 10


def test_each_pot_has_one_bench_sheet_in_the_order_of_participants(pack, printed):
    sheets = [page for page in printed if page.startswith("Bench sheet")]
    for row, page in zip(pack.table.to_dict("records"), sheets, strict=True):
        assert f"name {row['number']} · {row['participant']}".rstrip(" ") in page
        assert f"pot tag {row['pot']}" in page and f"firing {row['firing']}" in page
        assert f"place {row['place']}" in page
        for words in ("slip 2 coats", "sawdust 30 g", "copper wire 60 cm"):
            assert words in page
        assert ("sugar 4 g (1¼ spoons)" in page) == (row[SUGAR] > 0)
        assert ("copper sulphate 2.5 g" in page) == (row[SULPHATE] > 0)
        assert "minute 0 " in page and ("700" if row["firing"] == "f1" else "1472") in page
        assert "gas shut at" in page and "What came out" in page


def test_a_participant_with_several_pots_has_a_sheet_for_each(sheet):
    printed = texts(class_pack(sheet, 5).pdf)
    sheets = [page for page in printed if page.startswith("Bench sheet")]
    assert [int(re.search(r"name (\d+)", page)[1]) for page in sheets] == [1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 5, 5]


def test_every_page_says_where_it_belongs(printed):
    for number, page in enumerate(printed, start=1):
        assert FOOT in page and f"page {number} of {len(printed)}" in page and "Plan: best, seed 7 · " in page
    assert printed[-1].endswith("Plan: best, seed 7 · pot p12 of 12 · Kim")


@pytest.fixture(scope="module")
def hostile():
    sheet = laid_out(30, 10, SAME | {LONG + " [g]": 1.25}, LONG + "-{:02d}", "#f{} *" + LONG)
    return class_pack(sheet, (HOSTILE * 4)[:30], "letter", "#let *x* $y$ " * 30)


def test_names_are_never_read_as_markup_and_stand_in_full_in_the_list(hostile, tmp_path):
    printed = texts(hostile.pdf, before="Bench sheet")
    whole = solid("".join(printed))
    assert solid(HOSTILE[0]) in whole and solid("#let *x* $y$ " * 30) in whole
    assert "two lines" in " ".join(printed)
    tags = tags_of(printed)
    assert len(tags) == 30
    for row, tag in zip(hostile.table.itertuples(), tags, strict=True):
        assert row.pot in solid(tag) and solid(row.firing) in solid(tag)
    listed = pd.read_csv(hostile.save(tmp_path)[1], keep_default_na=False)
    assert listed["participant"].tolist() == list(hostile.participants)
    assert "A" * 300 in hostile.participants and "A" * 300 not in whole


def test_a_recipe_too_long_for_a_tag_is_left_to_the_bench_sheet():
    many = {f"{LONG}-{place} [g]": 1.25 for place in range(12)}
    printed = texts(class_pack(laid_out(2, 2, many), 2).pdf)
    assert all("recipe: see the bench sheet" in tag for tag in tags_of(printed))
    assert all(solid("".join(printed)).count(solid(f"{LONG}-{place}1.25g")) >= 2 for place in range(12))


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("people", [1, 12, 30])
def test_nothing_reaches_into_the_margins_and_all_is_grey(pack, hostile, people, paper):
    shown = {1: class_pack(laid_out(1, 1, {}), 1), 12: pack, 30: hostile}[people]
    content = pack_content(shown)
    # The first four have the longest names; more of them show nothing new, and ten take a second.
    content["sheets"] = content["sheets"][:4]
    for picture in print_pages("class-pack.typ", content, paper, form="png"):
        bands = Image.open(io.BytesIO(picture)).convert("RGB").split()
        assert bands[0].tobytes() == bands[1].tobytes() == bands[2].tobytes()
        grey = np.asarray(bands[0])
        # 144 dots an inch. Many printers leave 4 to 10 mm at the edges unprinted.
        side, above, below = (round(mm / 25.4 * 144) for mm in (14, 12, 11))
        for strip in (grey[:, :side], grey[:, -side:], grey[:above], grey[-below:]):
            assert strip.min() == 255


def test_the_document_is_tagged_has_its_title_and_is_the_same_each_time(sheet, pack):
    reader = PdfReader(io.BytesIO(pack.pdf))
    assert reader.metadata.title == "Class pack: best, seed 7"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert class_pack(sheet, NAMES, heading="Saturday at the quarry").pdf == pack.pdf


def test_the_files(pack, tmp_path):
    written = pack.save(tmp_path / "new" / "class")
    assert [path.name for path in written] == ["class-pack.pdf", "class-list.csv"]
    assert sorted(written[0].parent.iterdir()) == sorted(written)
    assert written[0].read_bytes() == pack.pdf
    table = pd.read_csv(written[1])
    assert table["pot"].tolist() == pack.table["pot"].tolist()
    assert table[SUGAR].tolist() == pack.table[SUGAR].tolist()


def test_a_schedule_at_fault_leaves_no_files(tmp_path):
    pack = class_pack(laid_out(schedule="quickly"), 3)
    with pytest.raises(PlanError, match="schedule of f1"):
        pack.save(tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_in_a_notebook_it_is_a_table_with_names_escaped(sheet):
    pack = class_pack(sheet, ["<script>"])
    assert repr(pack) == "class pack: 1 participant, 12 pots (best, seed 7)"
    page = pack._repr_html_()
    assert "<script>" not in page and "&lt;script&gt;" in page
    assert all(f"<td>{pot}</td>" in page for pot in sheet.table["pot"])
