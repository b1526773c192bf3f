"""The batch book checked: each fault is listed with its table, row, column, cause and remedy."""

import pytest
from openpyxl import Workbook

from sagglab.book import open_book
from sagglab.errors import Problem

NO_PHOTO = "no photograph shows"


def faults(folder):
    """Give all problems but the warning about pots without photographs."""
    return [problem for problem in open_book(folder).problems if not problem.cause.startswith(NO_PHOTO)]


def pots(heading, *cells):
    rows = "".join(f"p{k},f1,{cell}\n" for k, cell in enumerate(cells, start=1))
    return f"pot,firing,{heading}\n{rows}"


def test_all_faults_are_listed_at_once(write_book):
    folder = write_book(
        pots="pot,firing,sugar [g],height,state\np1,f1,-1,9,whole\np1,f9,two,8,whole\n,f1,3,7,melted\n",
        firings="firing,date,target peak\nf1,31.5.2026,750\n",
        photos="photo,pot,setup\nphotos/gone.jpg,p1,bench\n../p2.jpg,p7,shed\n",
        setups=None,
    )
    listed = [(p.table, p.row, p.column) for p in faults(folder)]
    assert sorted(listed, key=str) == sorted(
        [
            ("pots", 2, "sugar [g]"),
            ("pots", 3, "sugar [g]"),
            ("pots", 1, "height"),
            ("pots", 3, "pot"),
            ("pots", 4, "pot"),
            ("pots", 3, "firing"),
            ("pots", 4, "state"),
            ("firings", 2, "date"),
            ("firings", 1, "target peak"),
            ("photos", 2, "photo"),
            ("photos", 3, "photo"),
            ("photos", 3, "pot"),
            ("setups", None, ""),
        ],
        key=str,
    )
    assert all(p.cause and p.remedy for p in faults(folder))


@pytest.mark.parametrize(
    ("table", "problem"),
    [
        (
            pots("sugar [g]", "-2"),
            Problem("pots", 2, "sugar [g]", "'-2' is a negative amount", "correct it"),
        ),
        (
            pots("sugar [g]", "lots"),
            Problem("pots", 2, "sugar [g]", "'lots' is no number", "write a number, or leave it blank"),
        ),
        (
            pots("sugar", "5"),
            Problem(
                "pots",
                1,
                "sugar",
                "no unit is stated, and none is guessed",
                "write the heading as 'sugar [g]', with the unit that you used",
            ),
        ),
        (
            pots("height", "5"),
            Problem(
                "pots",
                1,
                "height",
                "no unit is stated, and none is guessed",
                "write the heading as 'height [cm]', with the unit that you used",
            ),
        ),
        (
            pots("sugar [spoonful]", "5"),
            Problem(
                "pots",
                1,
                "sugar [spoonful]",
                "unit [spoonful]: it is unknown",
                "write one such as [g], [oz], [cm], [degC], [min]",
            ),
        ),
        (
            pots("sugar [g**9999]", "5"),
            Problem(
                "pots",
                1,
                "sugar [g**9999]",
                "unit [g**9999]: it is not a unit",
                "write one such as [g], [oz], [cm], [degC], [min]",
            ),
        ),
        (
            "pot,firing\np1,f1\np1,f1\n",
            Problem("pots", 3, "pot", "'p1' is there already, in row 2", "give each row a name of its own"),
        ),
        (
            "pot,firing\np1,f8\n",
            Problem(
                "pots", 2, "firing", "'f8' is not in the table firings", "add it there, or write one of f1"
            ),
        ),
        (
            "pot,firing\np1,\n",
            Problem("pots", 2, "firing", "it is blank", "say which firing the pot went through"),
        ),
        (
            "pot,clay\np1,white\n",
            Problem("pots", 1, "firing", "the column is missing", "add it, and fill it in for each row"),
        ),
        (
            pots("clay,notes", "white,round, and tall"),
            Problem(
                "pots",
                2,
                "",
                "it has 5 cells under 4 headings",
                "put text that holds the delimiter in quotes",
            ),
        ),
        (
            pots("state", "melted"),
            Problem("pots", 2, "state", "'melted' is no state", "write whole, cracked, lost", stops=False),
        ),
        (
            pots("rating", "7"),
            Problem("pots", 2, "rating", "7 is not between 1 and 5", "correct it", stops=False),
        ),
    ],
)
def test_a_fault_of_the_pots_is_told_in_full(write_book, table, problem):
    assert problem in faults(write_book(pots=table))


def test_a_pot_without_a_photograph_is_a_warning_unless_it_was_lost(write_book):
    folder = write_book(pots="pot,firing,state\np1,f1,\np2,f1,\np3,f1,\np4,f1,lost\n")
    assert list(open_book(folder).problems) == [
        Problem("pots", 4, "pot", "no photograph shows 'p3'", "add it to photos", stops=False)
    ]


def test_a_photograph_of_an_unknown_pot_or_setup_is_a_warning(write_book):
    folder = write_book(photos="photo,pot,setup\nphotos/p1.jpg,p7,bench\nphotos/p2.jpg,p2,shed\n")
    listed = [(p.row, p.column, p.cause, p.stops) for p in faults(folder)]
    assert listed == [
        (2, "pot", "'p7' is not in the table pots", False),
        (3, "setup", "'shed' is not in the table setups", False),
    ]


def test_one_material_in_two_units_is_a_fault(write_book):
    problems = faults(write_book(pots="pot,firing,sugar [g],sugar [oz]\np1,f1,5,\np2,f1,,1\n"))
    assert [(p.row, p.column, p.cause) for p in problems] == [(1, "sugar [g]", "the column is there twice")]


def test_coats_and_grams_of_one_material_are_two_columns(write_book):
    folder = write_book(pots="pot,firing,ferric chloride [coats],ferric chloride [g]\np1,f1,2,\np2,f1,,3\n")
    assert faults(folder) == []


def test_a_handful_beside_a_number_is_told(write_book):
    causes = [p.cause for p in faults(write_book(pots=pots("sugar", "5", "a handful")))]
    assert causes == ["no unit is stated, and none is guessed", "'a handful' is no number"]


def test_a_material_told_in_words_is_a_factor(write_book):
    folder = write_book(pots=pots("sugar", "white", "brown"))
    assert faults(folder) == []
    assert open_book(folder).pots["sugar"].tolist() == ["white", "brown"]


def test_a_unit_of_another_kind_than_the_columns_is_told(write_book):
    (problem,) = faults(write_book(pots=pots("height [g]", "5", "6")))
    assert (problem.row, problem.column) == (1, "height [g]")
    assert problem.cause.endswith("it cannot be turned into cm")


@pytest.mark.parametrize("heading", ["target peak", "target peak []", "target peak [hot]", "target peak [g]"])
def test_a_temperature_without_its_unit_stops_the_work(write_book, heading):
    problems = faults(write_book(firings=f"firing,{heading}\nf1,750\n"))
    assert [(p.table, p.row, p.column, p.stops) for p in problems] == [("firings", 1, heading, True)]


def test_a_temperature_of_the_makers_own_without_its_unit_is_told(write_book):
    (problem,) = faults(write_book(firings="firing,air temperature\nf1,5\n"))
    assert problem.remedy == "write the heading as 'air temperature [degC]', with the unit that you used"


@pytest.mark.parametrize(("unit", "cell"), [("degC", "-274"), ("degF", "-460"), ("K", "-1")])
def test_below_absolute_zero(write_book, unit, cell):
    (problem,) = faults(write_book(firings=f"firing,target peak [{unit}]\nf1,{cell}\n"))
    assert problem.cause == f"'{cell}' is below absolute zero"


def test_frost_is_no_fault(write_book):
    assert faults(write_book(firings="firing,air [degC],target peak [degC]\nf1,-5,750\n")) == []


@pytest.mark.parametrize("cell", ["31.5.2026", "today", "2026-13-01", "20260531T10+02", "soon"])
def test_what_is_no_date_is_a_warning(write_book, cell):
    problems = faults(write_book(firings=f"firing,date\nf1,{cell}\nf2,2026-06-01T10:00+02:00\n"))
    assert [(p.row, p.cause, p.stops) for p in problems] == [(2, f"'{cell}' is no date", False)]


@pytest.mark.parametrize("name", ["pots", "firings", "photos", "setups"])
def test_a_missing_table_is_told_with_the_columns_that_it_needs(write_book, name):
    missing = [p for p in faults(write_book(**{name: None})) if p.table == name]
    assert [(p.row, p.stops) for p in missing] == [(None, True)]
    assert missing[0].cause.startswith("the table is missing")


def test_headings_alone_with_faults_are_still_a_book(write_book):
    heads = {"pots": "clay\n", "firings": "date\n", "photos": "view\n", "setups": "flat\n"}
    assert {p.cause for p in faults(write_book(**heads))} == {"the column is missing"}


# --- files named in the tables


def test_a_photograph_that_is_not_there_is_a_warning(write_book):
    problems = faults(
        write_book(photos="photo,pot,setup\nphotos/gone.jpg,p1,bench\nphotos/p2.jpg,p2,bench\n")
    )
    assert problems == [
        Problem(
            "photos",
            2,
            "photo",
            "'photos/gone.jpg': there is no such file in the book",
            "put it there, or correct the name",
            stops=False,
        )
    ]


@pytest.mark.parametrize("path", ["../other.csv", "/etc/hostname", "readings/../../other.csv", ".."])
def test_a_path_that_leaves_the_book_stops_the_work(write_book, path):
    problems = faults(write_book(firings=f"firing,readings\nf1,{path}\n"))
    assert problems == [
        Problem(
            "firings",
            2,
            "readings",
            f"'{path}': it lies outside the book",
            "copy the file into the book, and name it from there",
        )
    ]


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("photos", "photo,pot,setup\n../x.jpg,p1,bench\n"),
        ("setups", "setup,target\nbench,../x.csv\n"),
        ("setups", "setup,target,flat\nbench,24-patch-from-2014-11,../x.jpg\n"),
    ],
)
def test_no_column_may_name_a_file_outside(write_book, table, text):
    (problem,) = faults(write_book(**{table: text}))
    assert problem.table == table and problem.cause.endswith("it lies outside the book")


def test_a_link_that_leaves_the_book_stops_the_work(write_book, tmp_path):
    folder = write_book(firings="firing,readings\nf1,readings/link.csv\n")
    (tmp_path / "outside.csv").write_text("time [min],temperature [degC]\n0,20\n")
    (folder / "readings" / "link.csv").symlink_to(tmp_path / "outside.csv")
    assert [p.cause for p in faults(folder)] == ["'readings/link.csv': it lies outside the book"]


def test_a_link_to_itself_is_told(write_book):
    folder = write_book(firings="firing,readings\nf1,loop\n")
    (folder / "loop").symlink_to("loop")
    assert len(faults(folder)) == 1


def test_a_name_too_long_for_a_file_is_told(write_book):
    (problem,) = faults(write_book(firings=f"firing,readings\nf1,{'n' * 300}\n"))
    assert (problem.table, problem.row, problem.column) == ("firings", 2, "readings")


@pytest.mark.parametrize("text", ["", "x\n", "row,column\n1,1\n", "\0", "row;column;L*;a*;b*\n1;1;a;b;c\n"])
def test_a_target_that_is_no_table_of_patches_stops_the_work(write_book, text):
    folder = write_book(setups="setup,target\nbench,mine.csv\n")
    (folder / "mine.csv").write_text(text)
    (problem,) = faults(folder)
    assert (problem.table, problem.row, problem.column, problem.stops) == ("setups", 2, "target", True)


def test_four_corners_are_wanted(write_book):
    head = "photo,pot,setup,target corners\n"
    rows = 'photos/p1.jpg,p1,bench,"1 2; 3 4; 5 6"\nphotos/p2.jpg,p2,bench,"1 2; 3 4.5; 5 6; -7 8"\n'
    (problem,) = faults(write_book(photos=head + rows))
    assert (problem.row, problem.column) == (2, "target corners")


# --- files that are no tables


@pytest.mark.parametrize("data", [b"", b"not a workbook", b"PK\x03\x04" + bytes(100)])
def test_a_broken_workbook_beside_good_tables_is_told(write_book, data):
    folder = write_book()
    (folder / "book.xlsx").write_bytes(data)
    (problem,) = faults(folder)
    assert problem.table == "book.xlsx" and problem.cause.startswith("it cannot be read")


def test_a_broken_workbook_alone_is_told_and_not_taken_for_no_book(write_book):
    folder = write_book(pots=None, firings=None, photos=None, setups=None)
    (folder / "book.xlsx").write_bytes(b"not a workbook")
    assert [p.table for p in faults(folder)] == ["book.xlsx", "pots", "firings", "photos", "setups"]


def test_a_table_that_is_no_text_is_told(write_book):
    (problem,) = [p for p in faults(write_book(pots=b"\x89PNG\0\0")) if p.table == "pots"]
    assert (problem.row, problem.cause) == (None, "it is no text file")


def test_a_quotation_mark_left_open_is_told_and_loses_no_row(write_book):
    text = 'pot,firing,notes\np1,f1,"tall\np2,f1,wide\n'
    (problem,) = [p for p in faults(write_book(pots=text)) if p.table == "pots"]
    assert problem.cause.startswith("its quotation marks do not pair up, from row 2 on")


def test_an_empty_file_lacks_its_columns(write_book):
    assert {p.column for p in faults(write_book(pots="")) if p.table == "pots"} == {"pot", "firing"}


def test_a_heading_that_is_nearly_one_that_is_known_is_a_warning(write_book):
    found = faults(write_book(pots="pot,firing,plaace\np1,f1,top\n"))
    cause = "no column is called so, but one is called 'place'"
    assert [(p.row, p.column, p.stops) for p in found if p.cause == cause] == [(1, "plaace", False)]


def test_a_heading_with_capitals_is_told_the_one_that_is_known(write_book):
    problems = open_book(write_book(pots="Pot,firing\np1,f1\n")).problems
    assert "pots, row 1, column 'Pot': no column is called so, but one is called 'pot'" in str(problems)


def test_a_sheet_by_nearly_the_name_of_a_table_is_told(write_book):
    folder = write_book(pots=None)
    workbook = Workbook()
    workbook.active.title = "Pots"
    workbook.create_sheet("Photos")
    workbook.save(folder / "book.xlsx")
    (problem,) = open_book(folder).problems.of("pots")
    assert problem.cause.endswith("no sheet 'pots' in book.xlsx, but a sheet 'Pots'")
    assert problem.remedy == "call it pots if you meant that"


def test_a_mask_picture_stays_inside_the_book(write_book):
    photos = (
        "photo,pot,setup,pot outline\nphotos/p1.jpg,p1,bench,../../mask.png\nphotos/p2.jpg,,bench,mask.png\n"
    )
    found = [p for p in faults(write_book(photos=photos)) if p.column == "pot outline"]
    assert [(p.row, p.stops) for p in found] == [(2, True), (3, False)]
    assert "outside the book" in found[0].cause
    assert "no such file" in found[1].cause
