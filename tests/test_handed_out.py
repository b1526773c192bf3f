"""The handout and the class pack, the whole way, on the demo and on books that have little to say."""

import datetime as dt
import io
import re
import shutil

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader

from sagglab.book import open_book
from sagglab.cli import main
from sagglab.columns import MEASURES, empty
from sagglab.errors import PlanError, UnknownNameError
from sagglab.handout.climb import planned_climb
from sagglab.measures import gather_results, measure_photos
from sagglab.study import begin_book, make_class_pack, make_handout
from sagglab.study.one_question import answer_question, drawing_of, in_words
from sagglab.study.usual_plan import FEWEST_POTS, usual_plan
from sagglab.units import both_scales

DAY = dt.date(2026, 11, 28)


@pytest.fixture(scope="module")
def book(demo):
    return open_book(demo)


@pytest.fixture(scope="module")
def results(book):
    return gather_results(book, measure_photos(book))


@pytest.fixture(scope="module")
def handout(book):
    return make_handout(book, "sugar", dated=DAY)


@pytest.fixture(scope="module")
def printed(handout):
    return solid("".join(page.extract_text() for page in PdfReader(io.BytesIO(handout.pdf)).pages))


@pytest.fixture
def bare(tmp_path, demo):
    """Give a function that makes a book of the demo's first pots, without a photograph or a record."""

    def bare(pots):
        folder = tmp_path / "bare"
        (folder / "targets").mkdir(parents=True)
        shutil.copy(demo / "targets/studio-target.csv", folder / "targets")
        for name, rows in (("pots", pots), ("firings", min(pots, 1)), ("photos", 0)):
            pd.read_csv(demo / f"{name}.csv", dtype=str).iloc[:rows].to_csv(
                folder / f"{name}.csv", index=False
            )
        pd.DataFrame({"setup": ["phone"], "target": ["targets/studio-target.csv"]}).to_csv(
            folder / "setups.csv", index=False
        )
        firings = pd.read_csv(folder / "firings.csv", dtype=str).assign(readings="")
        firings.to_csv(folder / "firings.csv", index=False)
        return open_book(folder)

    return bare


@pytest.fixture
def small_plan(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(
        'firings = 2\npots_per_firing = 4\nmodel = "main"\nseed = 1\n'
        '[vary.sugar]\nlevels = [0, 4]\nunit = "g"\n[vary.seaweed]\nlevels = [0, 15]\nunit = "g"\n',
        encoding="utf-8",
    )
    return path


def solid(text):
    """Take all blanks out: words are broken over lines."""
    return "".join(text.replace("\u200b", "").split())


def test_the_answer_is_that_of_the_model_with_all_that_can_be_judged(handout, results):
    answered = answer_question(results, "sugar")
    assert {factor.name for factor in answered.effects.factors} > {"sugar", "clay", "copper sulphate"}
    assert handout.answer == answered.effects.sentence("sugar")
    assert "95 % interval" in handout.answer
    assert handout.question == "Do pots with sugar come out darker or lighter, and by how much?"


def test_without_a_question_what_showed_most_surely_is_asked(results):
    answered = answer_question(results)
    table = answered.effects.table
    clearest = table.loc[table["p Holm"].idxmin(), "term"]
    assert answered.heading == "sugar [g]"
    assert "sugar" in clearest


def test_pots_stand_from_the_least_to_the_most(handout, results):
    sugar = results.set_index("pot")["sugar [g]"]
    amounts = [sugar[pot.pot] for pot in handout.pots]
    assert amounts == sorted(amounts)
    assert len(amounts) >= 4 and amounts[0] < amounts[-1]
    assert all(pot.picture for pot in handout.pots)


def test_the_pages_hold_the_numbers_of_the_tables(handout, printed):
    assert solid(handout.answer) in printed
    for pot in handout.pots:
        assert solid(pot.pot) in printed and solid(pot.outcome) in printed
    for card in handout.cards:
        for cells in card.rows:
            assert all(solid(cell) in printed for cell in cells)
    for point in handout.firing.points.itertuples():
        assert f"{point.minutes:.0f}" in printed
        assert f"{point.temperature_C:.0f}" in printed and f"{point.temperature_F:.0f}" in printed
    assert "2026-11-28" in printed or "28November2026" in printed
    assert handout.version.split()[2].strip(",") in printed


def test_what_stands_large_is_short_and_the_numbers_stand_below(handout, printed):
    assert handout.in_short == (
        "Pots with sugar came out darker, by about 6 steps of lightness (of 100); this is sure."
    )
    assert solid(handout.in_short) in printed
    page = handout.html
    assert page.index(handout.in_short) < page.index('<p class="full">') < page.index("95 % interval")


def test_the_peak_to_aim_at_is_set_beside_that_of_the_firing_shown(handout):
    reached = both_scales(handout.firing.points["temperature_C"].iloc[-1])
    assert (
        "Aim at a peak of 750 °C (1382 °F), the middle of the book's target peaks, and not at that of the "
        f"firing to follow, {reached}."
    ) in handout.next.said


def test_a_phone_has_drawings_of_its_own(handout):
    for drawing in (handout.drawing, handout.firing.drawing):
        assert 0 < width_of(drawing.narrow) < 400 < width_of(drawing.svg)
    assert handout.html.count("<source media") == 2


def width_of(svg):
    """Read the points across."""
    return float(re.search(r'<svg[^>]* width="([\d.]+)pt"', svg)[1])


def test_every_caution_is_printed(handout, printed):
    assert len(handout.cautions) > 10
    for caution in handout.cautions:
        assert solid(caution) in printed


def test_the_phone_page_holds_the_same(handout):
    text = solid(re.sub(r"<[^>]+>", "", handout.html))
    assert solid(handout.question) in text
    for caution in handout.cautions:
        assert solid(caution[:40]) in text


def test_two_to_four_pages_under_5_megabytes(handout):
    assert 2 <= len(PdfReader(io.BytesIO(handout.pdf)).pages) <= 4
    assert len(handout.pdf) < 5e6
    assert len(handout.html) < 5e6


def test_what_is_tried_next_is_a_plan_of_the_open_questions(handout, book, results):
    planned = usual_plan(book, results, answer_question(results, "sugar"), 12)
    assert [factor.name for factor in planned.plan.factors] == ["sugar", "copper sulphate"]
    assert sum(int(row[-1]) for row in handout.next.rows) == 12
    assert not set(planned.plan.runs["pot"]) & set(book.pots["pot"])
    # A pot is packed in something.
    assert planned.plan.same["sawdust [g]"] == 30


def test_a_plan_of_heat_holds_it_per_firing(book, results):
    planned = usual_plan(book, results, answer_question(results, "peak_C"), 12)
    per = {factor.name: factor.per for factor in planned.plan.factors}
    assert per == {"peak": "firing", "copper sulphate": "pot"}
    assert planned.plan.firings >= 4
    peaks = planned.plan.runs.groupby("firing")["peak [degC]"]
    assert (peaks.min() == peaks.max()).all()


@pytest.mark.parametrize("pots", [1, 3, FEWEST_POTS, 20])
def test_a_usual_plan_has_as_many_pots_as_are_wanted(book, results, pots):
    planned = usual_plan(book, results, answer_question(results, "sugar"), pots)
    assert len(planned.sheet.pots) == len(planned.plan.runs) == pots


def test_a_plan_file_is_told_of(book, small_plan):
    handout = make_handout(book, "sugar", plan=small_plan, dated=DAY)
    assert handout.next.headings == ("sugar", "seaweed", "pots")
    assert sum(int(row[-1]) for row in handout.next.rows) == 8
    assert handout.next.said[0].startswith("8 pots in 2 firings, to tell what sugar and seaweed do.")


@pytest.mark.parametrize(
    ("heading", "outcome", "asked"),
    [
        ("sugar [g]", "a*", "Do pots with sugar come out greener or redder, and by how much?"),
        ("peak_C", "L*", "Do pots come out darker or lighter with a higher peak, and by how much?"),
        (
            "clay",
            "L*",
            "Do pots of one clay come out darker or lighter than those of another, and by how much?",
        ),
        ("sugar [g]", "rating", "Do pots with sugar get higher or lower ratings, and by how much?"),
        (
            "sugar [g]",
            "dark share",
            "Do pots with sugar come out with a smaller or larger dark share, and by how much?",
        ),
        ("sugar [g]", "state", "Do pots with sugar crack or get lost more often, and by how much?"),
        (None, "L*", "Do pots come out darker or lighter by what they were given, and by how much?"),
    ],
)
def test_questions_are_asked_in_a_readers_words(results, heading, outcome, asked):
    assert in_words(results, heading, outcome) == asked


@pytest.mark.parametrize(
    ("question", "outcome"),
    [("sugar", "L*"), ("clay", "L*"), ("peak_C", "L*"), ("copper sulphate", "rating"), ("wind", "L*")],
)
def test_each_kind_of_answer_has_a_chart(results, question, outcome):
    answered = answer_question(results, question, outcome)
    drawing = drawing_of(answered, results)
    assert drawing.svg.startswith("<?xml") and len(drawing.alt) > 40


def test_what_cannot_be_told_is_said(results):
    answered = answer_question(results, "seaweed")
    assert answered.effects is None
    assert answered.answer.startswith("These pots cannot tell: ")
    assert "sawdust" in answered.answer


def test_an_unknown_question_is_refused(book):
    with pytest.raises(UnknownNameError, match="question 'sugr'"):
        make_handout(book, "sugr")
    with pytest.raises(UnknownNameError, match="paper 'A5'"):
        make_handout(book, "sugar", "A5")


@pytest.mark.parametrize("pots", [0, 1, 5])
def test_a_book_with_little_to_say_still_makes_a_handout(bare, pots):
    handout = make_handout(bare(pots), dated=DAY)
    assert handout.answer == "These pots cannot tell: no pot has been measured yet."
    assert 2 <= len(PdfReader(io.BytesIO(handout.pdf)).pages) <= 4
    assert handout.cautions


def test_a_book_without_photographs_keeps_its_recipes(bare):
    handout = make_handout(bare(5), "sugar", dated=DAY)
    assert handout.pots == ()
    assert {name for card in handout.cards for name, *_ in card.rows} >= {"sugar", "slip"}
    assert "compare" not in handout.next.said[0]


def test_what_went_wrong_is_printed_in_the_shell(demo, tmp_path, capsys):
    folder = tmp_path / "book"
    shutil.copytree(demo, folder, ignore=shutil.ignore_patterns("generator", "truth", "p01-*"))
    assert main(["handout", str(folder), "--question", "sugar", "--into", str(tmp_path / "out")]) == 0
    assert "p01-front.jpg" in capsys.readouterr().out


def test_the_first_pots_of_a_plan_say_so_and_places_are_the_books(book, results):
    planned = usual_plan(book, results, answer_question(results, "sugar"), 2)
    assert "first 2 pots of a plan of 6" in planned.plan.notes[-1]
    whole = usual_plan(book, results, answer_question(results, "sugar"), 6)
    assert set(whole.plan.runs["place"]) == set(book.pots["place"])
    climb = planned_climb(whole.sheet, whole.sheet.firings["firing"].iloc[0])
    # As the studio's firings climb: at 400 °C sooner than an even climb would be.
    assert climb["temperature_C"].max() == 750
    assert climb.set_index("temperature_C")["minutes"][400.0] < 39 * 380 / 730


def test_cracked_pots_are_counted(results):
    answered = answer_question(results, "sugar", "state")
    lost = (results["state"] != "whole").sum()
    assert answered.answer.startswith(f"{lost} of {len(results)} pots cracked or got lost. ")


def test_results_without_measures_cannot_tell(book):
    answered = answer_question(gather_results(book, empty(MEASURES)), "sugar")
    assert "no pot has been measured yet" in answered.answer
    assert answered.question == "Do pots with sugar come out darker or lighter, and by how much?"


def test_a_handout_that_cannot_be_leaves_no_folder(tmp_path, capsys):
    begin_book(tmp_path / "book", csv=True)
    assert main(["handout", str(tmp_path / "book"), "--into", str(tmp_path / "pages")]) == 1
    assert capsys.readouterr().err
    assert not (tmp_path / "pages").exists()


def test_a_class_has_a_pot_for_each_and_its_totals(book):
    pack = make_class_pack(book, 7, "sugar")
    assert len(pack.table) == 7
    sugar = pack.table["sugar [g]"]
    assert set(sugar) == {0.0, 4.0}
    assert np.isfinite(sugar).all()


def test_a_class_that_makes_part_of_a_plan_is_told(book):
    pages = PdfReader(io.BytesIO(make_class_pack(book, 2, "sugar").pdf)).pages
    assert solid("first 2 pots of a plan of 6") in solid(pages[0].extract_text())


def test_what_would_help_a_plan_is_not_for_students(handout):
    assert any("of 100 such batches" in said for said in handout.next.said)
    assert not any("What helps" in said for said in handout.next.said)


def test_a_class_larger_than_its_plan_is_refused(book, small_plan):
    assert len(make_class_pack(book, 3, plan=small_plan).table) == 8
    with pytest.raises(PlanError, match="9 cannot share 8 pots"):
        make_class_pack(book, 9, plan=small_plan)


def test_the_shell_writes_handout_and_class_pack(demo, tmp_path, capsys):
    names = tmp_path / "names.txt"
    names.write_text("Asa\n\nBo <b>\nCem\n", encoding="utf-8")
    arguments = ["handout", str(demo), "--question", "sugar", "--names", str(names), "--paper", "letter"]
    assert main([*arguments, "--into", str(tmp_path / "out"), "--heading", "Saturday"]) == 0
    assert {file.name for file in (tmp_path / "out").iterdir()} == {
        *("handout.pdf", "handout.html", "class-pack.pdf", "class-list.csv"),
    }
    said = capsys.readouterr().out
    assert "Do pots with sugar come out darker or lighter, and by how much?" in said
    page = PdfReader(tmp_path / "out/handout.pdf").pages[0]
    assert [round(side) for side in page.mediabox[2:]] == [612, 792]
    assert "Bo <b>" in "".join(
        page.extract_text() for page in PdfReader(tmp_path / "out/class-pack.pdf").pages
    )


def test_names_that_are_none_are_refused(demo, tmp_path, capsys):
    (tmp_path / "names.txt").write_text("\n\n", encoding="utf-8")
    assert main(["handout", str(demo), "--names", str(tmp_path / "names.txt")]) == 1
    assert "holds no name" in capsys.readouterr().err


def test_the_shell_refuses_a_class_of_none(demo, capsys):
    with pytest.raises(SystemExit):
        main(["handout", str(demo), "--class", "0"])
    assert "argument --class: it takes a whole number, 1 or more" in capsys.readouterr().err
