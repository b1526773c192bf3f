"""The bench sheet in files: every word on the page, nothing beyond its margins, rows that a book takes."""

import io
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from PIL import Image
from pypdf import PdfReader

from sagglab.book import open_book
from sagglab.cautions import cautions
from sagglab.errors import PlanError, UnknownNameError
from sagglab.handout.bench import bench_pdf, write_bench_sheet
from sagglab.handout.content import FOOT, ORDER_OF_WORK, WORK_IN_SHORT, sheet_content
from sagglab.handout.paper import print_pages
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.sheet import bench_sheet
from sagglab.plan.terms import read_model

PEAK = Factor("peak", [700, 800], "degC", per="firing")
TIME = Factor("time", [60, 90], "min", per="firing")
SUGAR = Factor("sugar", [0, 4], "g")
SULPHATE = Factor("copper sulphate", [0, 2.5], "g")
SAME = {"slip [coats]": 2, "ferric chloride [coats]": 1, "sawdust [g]": 30, "copper wire [cm]": 60}
SHELF = pd.DataFrame(
    {
        "material": ["sugar", "copper sulphate"],
        "in stock [g]": [1000.0, 10.0],
        "spoon [g]": [3.2, np.nan],
        "packet [g]": [1000.0, 500.0],
        "price": [2.0, 10.0],
        "currency": ["CHF", "CHF"],
    }
)


def laid_out(factors=(SUGAR, SULPHATE, PEAK, TIME), firings=2, pots=6, same=SAME, tag="p{:02d}", shelf=SHELF):
    """Lay out a sheet in which each factor takes its levels in turn."""
    rows = []
    for number in range(firings * pots):
        firing = number // pots
        row = {
            "pot": tag.format(number + 1),
            "firing": f"f{firing + 1}",
            "day": 1,
            "place": f"shelf {number % pots}",
        }
        for place, factor in enumerate(factors):
            turn = firing if factor.per == "firing" else number >> (place % 4)
            row[factor.heading] = factor.levels[turn % len(factor.levels)]
        rows.append(row | same)
    runs = pd.DataFrame(rows, index=range(1, len(rows) + 1))
    terms = read_model(factors, "main")
    return bench_sheet(
        SimpleNamespace(
            factors=tuple(factors), terms=terms, runs=runs, kind="best", seed=7, notes=("fire it soon",)
        ),
        shelf,
    )


def pages(pdf):
    """Give each page's text, with single blanks and no places to break a word."""
    texts = (page.extract_text().replace("\u200b", "") for page in PdfReader(io.BytesIO(pdf)).pages)
    return [" ".join(text.split()) for text in texts]


def solid(text):
    """Take all blanks out: a long name is broken over lines."""
    return "".join(text.replace("\u200b", "").split())


@pytest.fixture(scope="module")
def sheet():
    return laid_out()


@pytest.fixture(scope="module")
def printed(sheet):
    return pages(bench_pdf(sheet))


def test_a_page_for_the_batch_one_for_each_firing_one_for_cautions(printed):
    assert len(printed) == 5
    starts = [page.split()[0] for page in printed]
    assert starts == ["Bench", "Order", "f1", "f2", "Cautions"]


def test_every_page_says_where_it_belongs_and_what_goes_before_it(printed):
    for number, page in enumerate(printed, start=1):
        assert FOOT in page
        assert f"page {number} of 5" in page
        assert "Plan: best, seed 7" in page


def test_the_first_page_tells_the_batch(sheet, printed):
    first = printed[0]
    for words in sheet.asks:
        assert words in first
    for words in (
        *("12 pots in 2 firings", "700 °C (1292 °F)", "800 °C (1472 °F)", "Fire it soon.", "Seed: 7"),
        *("sugar 24 g 26.4 g 1000 g 0.05 CHF", "copper sulphate 15 g 16.5 g 10 g 6.5 g 0.33 CHF"),
        *("slip 24 coats 24 coats", "copper wire 720 cm 792 cm", "copper sulphate: short by 6.5 g"),
        *(
            str(sheet.foil).removesuffix(" of foil"),
            sheet.foil.reckoning,
            "0.38 CHF",
            "of which no price is known",
        ),
    ):
        assert words in first


def test_each_pot_is_there_with_all_that_it_gets(sheet, printed):
    for firing, page in zip(("f1", "f2"), printed[2:4], strict=True):
        rows = sheet.table[sheet.table["firing"] == firing]
        starts = [page.index(pot) for pot in rows["pot"]]
        assert starts == sorted(starts)
        for start, end, (_, row) in zip(starts, [*starts[1:], None], rows.iterrows(), strict=True):
            told = page[start:end]
            assert row["place"] in told
            for words in ("slip 2 coats", "ferric chloride 1 coat", "sawdust 30 g", "copper wire 60 cm"):
                assert words in told
            assert ("sugar 4 g (1¼ spoons)" in told) == (row["sugar [g]"] == 4)
            assert ("copper sulphate 2.5 g" in told) == (row["copper sulphate [g]"] > 0)
            assert "sugar 0" not in told


def test_the_climb_is_told_in_both_scales(printed):
    assert "minute °C °F 0 20 68 7 100 212" in printed[2]
    assert "60 700 1292" in printed[2] and "90 800 1472" in printed[3]


def test_each_firing_has_the_order_of_work_and_lines_to_write_on(printed):
    assert all(words in printed[1] for words in ORDER_OF_WORK)
    for page in printed[2:4]:
        for words in (
            f"Order of work: as on page 2: {WORK_IN_SHORT}",
            "wind",
            "lit at",
            "peak reached",
            "gas shut at",
        ):
            assert words in page


def test_the_order_of_work_is_a_safe_one():
    work = " ".join(ORDER_OF_WORK)
    order = (
        "outdoors",
        "gloves and goggles",
        "Weigh all dry",
        "Coat,",
        "let it dry before anything touches foil",
        "wrap in foil",
        "soapy water",
        "light.",
    )
    places = [work.index(words) for words in (*order, "gas at the cylinder first", "open only below 100 °C")]
    assert places == sorted(places)
    assert "none stops carbon monoxide" in work


def test_the_last_page_has_the_cautions_for_these_materials(sheet, printed):
    said = cautions(sheet.pots, 800.0)
    assert any(caution.startswith("Copper sulphate: harmful") for caution in said)
    for caution in said:
        assert caution in printed[-1]


def test_each_drawing_of_a_climb_is_said_in_words(sheet, structure):
    drawn = [part for part in structure(bench_pdf(sheet)) if part.get("/S") == "/Figure"]
    assert [part["/Alt"] for part in drawn] == [
        "The climb as a line, from 20 °C (68 °F) to 700 °C (1292 °F) at minute 60. The table has its points.",
        "The climb as a line, from 20 °C (68 °F) to 800 °C (1472 °F) at minute 90. The table has its points.",
    ]


def test_a_climb_that_cools_again_is_said_to_its_end(structure):
    cooled = laid_out((SUGAR,), 1, 6, same={"schedule": "480 degC/h to 500 degC; 240 degC/h to 300 degC"})
    drawn = [part["/Alt"] for part in structure(bench_pdf(cooled)) if part.get("/S") == "/Figure"]
    assert drawn == [
        "The climb as a line, from 20 °C (68 °F) to 500 °C (932 °F) at minute 60, "
        "then to 300 °C (572 °F) at minute 110. The table has its points."
    ]


@pytest.mark.parametrize("unused", ["seaweed", "salt"])
def test_no_caution_is_given_for_what_is_not_used(printed, unused):
    assert f"{unused}:" not in printed[-1]


def test_a_pot_that_gets_nothing_says_so():
    page = pages(bench_pdf(laid_out((SUGAR,), 1, 1, same={})))[2]
    assert page.count("—") == 3


def test_a_schedule_goes_before_an_even_climb():
    schedule = "from 15 degC; 100 degC/h to 150 degC, hold 20 min; 300 degC/h to 750 degC"
    page = pages(bench_pdf(laid_out((SUGAR, TIME), same={"schedule": schedule})))[2]
    assert "750 °C (1382 °F), 221 min" in page
    assert "81 150 302 101 150 302 111 200 392" in page
    assert schedule in page


def test_a_schedule_that_leads_elsewhere_than_the_peak_is_refused():
    sheet = laid_out((SUGAR, PEAK), same={"schedule": "300 degC/h to 750 degC"})
    with pytest.raises(PlanError, match=r"climbs to 750 °C \(1382 °F\), its target peak is 700 °C"):
        bench_pdf(sheet)


def test_a_schedule_that_cannot_be_understood_is_named():
    sheet = laid_out((SUGAR,), same={"schedule": "quickly"})
    with pytest.raises(PlanError, match="schedule of f1, schedule, 'quickly': it is no segment"):
        bench_pdf(sheet)


ODD = '#let *x* $y$ @z <w> \\v _u_ `t` ~ // s -- ..."'


def test_names_are_never_read_as_markup():
    printed = pages(bench_pdf(laid_out((Factor(ODD, [1, 2], "g"),), 1, 2, same={"clay": ODD}, tag="#{:d}*$")))
    for page in (printed[0], printed[2], printed[-1]):
        assert ODD in page or solid(ODD) in solid(page)
    assert "#1*$" in printed[2] and "#2*$" in printed[2]


LONG = "dust-of-an-extraordinarily-longwinded-name-without-any-blank-in-it"
CROWDED = (
    *(Factor(f"{LONG}-{number}", [1, 3.25], "g") for number in range(10)),
    Factor(f"kind of {LONG}", [LONG, "b"]),
    PEAK,
)


@pytest.fixture(scope="module")
def crowded():
    return laid_out(CROWDED, 2, 10, tag=f"{LONG}-{{:02d}}", same=SAME | {"kiln": LONG})


def test_long_names_and_many_pots_go_on_over_pages_with_their_head(crowded):
    printed = pages(bench_pdf(crowded))
    whole = solid("".join(printed))
    assert all(solid(pot) in whole for pot in crowded.pots["pot"])
    assert all(f"{LONG}-{number}3.25g" in whole for number in range(10))
    first = [page for page in printed if page.startswith("f1 firing 1 of 2")]
    assert len(first) > 1
    assert all("dusted & packed" in page for page in first)


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("which", ["sheet", "crowded"])
def test_nothing_reaches_into_the_margins(request, which, paper):
    for picture in print_pages("bench.typ", sheet_content(request.getfixturevalue(which)), paper, form="png"):
        grey = np.asarray(Image.open(io.BytesIO(picture)).convert("L"))
        # 144 dots an inch. Many printers leave 4 to 10 mm at the edges unprinted.
        side, above, below = (round(mm / 25.4 * 144) for mm in (14, 12, 11))
        for strip in (grey[:, :side], grey[:, -side:], grey[:above], grey[-below:]):
            assert strip.min() == 255


def test_it_is_printed_in_grey(sheet):
    for picture in print_pages("bench.typ", sheet_content(sheet), "A4", form="png"):
        rgb = np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")).astype(int)
        assert np.ptp(rgb, axis=2).max() == 0


def test_what_the_pots_get_is_in_large_type(sheet):
    sizes = {}

    def visit(text, _, matrix, __, size):
        for words in ("slip", "p01"):
            if words in text:
                sizes[words] = abs(size * matrix[3])

    PdfReader(io.BytesIO(bench_pdf(sheet))).pages[2].extract_text(visitor_text=visit)
    assert sizes["slip"] >= 13 and sizes["p01"] >= 20


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_papers(sheet, paper, size):
    page = PdfReader(io.BytesIO(bench_pdf(sheet, paper))).pages[0]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == size


def test_another_paper_is_refused(sheet):
    with pytest.raises(UnknownNameError, match="paper 'a3': there is no such paper"):
        bench_pdf(sheet, "a3")


def test_the_document_has_its_title_and_language_and_is_the_same_each_time(sheet):
    pdf = bench_pdf(sheet)
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.metadata.title == "Bench sheet: best, seed 7"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert bench_pdf(sheet) == pdf


def test_its_content_is_plain_data(sheet):
    content = sheet_content(sheet)
    assert content["firings"][0]["climb"][0] == ["0", "20", "68"]
    assert content["firings"][0]["line"][-1] == [1.0, 0.0]


def test_the_files(sheet, tmp_path):
    written = write_bench_sheet(sheet, tmp_path / "new" / "sheet")
    assert [path.name for path in written] == ["bench-sheet.pdf", "bench-sheet.csv", "next-batch.xlsx"]
    assert sorted(path.name for path in written[0].parent.iterdir()) == sorted(path.name for path in written)
    table = pd.read_csv(written[1])
    assert table["pot"].tolist() == sheet.table["pot"].tolist()
    assert table.columns[-3:].tolist() == ["coated", "dusted & packed", "wrapped & placed"]


def test_a_schedule_at_fault_leaves_no_files(tmp_path):
    with pytest.raises(PlanError):
        write_bench_sheet(laid_out((SUGAR,), same={"schedule": "quickly"}), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_the_workbook_is_a_book_once_it_is_renamed(sheet, tmp_path):
    write_bench_sheet(sheet, tmp_path)
    (tmp_path / "next-batch.xlsx").rename(tmp_path / "book.xlsx")
    (tmp_path / "photos.csv").write_text("photo,pot,view,setup\n")
    (tmp_path / "setups.csv").write_text("setup,target\n")
    book = open_book(tmp_path)
    assert str(book.problems.stopping) == "no problems"
    assert book.pots["pot"].tolist() == sheet.pots["pot"].tolist()
    assert book.pots["sugar [g]"].tolist() == sheet.pots["sugar [g]"].tolist()
    assert book.firings["target peak [degC]"].tolist() == [700, 800]


@pytest.mark.parametrize("tag", ["=1+{:d}", "+{:d}", "-{:d}", "@{:d}"])
def test_no_name_becomes_a_formula(tmp_path, tag):
    write_bench_sheet(laid_out((SUGAR,), 1, 2, tag=tag), tmp_path)
    rows = load_workbook(tmp_path / "next-batch.xlsx")["pots"]
    cell = rows["A2"]
    assert (cell.value, cell.data_type) == (tag.format(1), "s")
    assert cell.quotePrefix


def test_the_workbook_is_laid_out_to_be_filled_in(sheet, tmp_path):
    write_bench_sheet(sheet, tmp_path)
    workbook = load_workbook(tmp_path / "next-batch.xlsx")
    assert workbook.sheetnames == ["pots", "firings"]
    rows = workbook["pots"]
    assert rows.freeze_panes == "A2" and rows["A1"].font.bold and not rows["A2"].font.bold
    heads = [cell.value for cell in rows[1]]
    assert rows.cell(2, heads.index("rating") + 1).value is None
    assert rows.column_dimensions["E"].width > len("copper sulphate [g]")


@pytest.mark.parametrize("pots", [6, 7, 8, 9, 10])
def test_each_firing_of_six_to_ten_pots_is_one_page(pots):
    dusted = [Factor(name, [0, 4], "g") for name in ("sugar", "copper sulphate", "seaweed")]
    clay = Factor("clay", ["groggy buff", "smooth white"])
    same = {"slip [coats]": 2, "ferric chloride [coats]": 2, "sawdust [g]": 20, "copper wire [cm]": 60}
    about = {"height [cm]": 11, "diameter [cm]": 9, "time to peak [min]": 38}
    peak = Factor("peak", [725, 775], "degC", per="firing")
    plan = plan_batch([peak, *dusted, clay], 3, pots, "main", Best(starts=2), 1, same={**same, **about})
    printed = pages(bench_pdf(plan.bench_sheet()))
    assert [page.split()[0] for page in printed] == ["Bench", "Order", "f1", "f2", "f3", "Cautions"]
    assert all("11 × 9 cm" in page and "gas shut at" in page for page in printed[2:5])
