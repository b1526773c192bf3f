"""Tables made of notes: a book that opens, and nothing lost."""

import csv
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagglab import open_book
from sagglab.errors import BookError
from sagglab.notes import book_tables, propose_mapping, read_notes
from sagglab.notes.cells import read_amount, read_date
from sagglab.notes.words import cell_word, state_named


def as_dicts(rows):
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def made_of(path, answer=lambda mapping: mapping):
    notes = read_notes(path)
    return book_tables(notes, answer(propose_mapping(notes)))


def book_of(tables, folder):
    for name, rows in (
        {"setups": [["setup", "target"]], "photos": [["photo", "pot", "setup"]]} | tables
    ).items():
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
    return open_book(folder)


def test_the_tables_open_as_a_book(noted, answered, person, tmp_path):
    tables, problems = made_of(noted(person), lambda mapping: answered(person, mapping))
    book = book_of(tables, tmp_path)
    # A pinch of sugar is no amount, and a blank would count as none: the book goes on to name it.
    still = ["'a pinch' is no number"] if person == "from the kitchen" else []
    # In which setup a photograph was taken no notes tell: the book asks for it.
    assert [fault.cause for fault in book.problems.stopping if fault.column != "setup"] == still
    assert len(problems.stopping) == len(still)
    assert len(book.pots) >= 3


def test_a_problem_names_its_column_as_written(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Firing,Potter's salt (g)\n1,F1,~4\n2,F1,4\n3,F1,2\n")
    _, problems = made_of(tmp_path / "notes.csv")
    assert [(one.row, one.column) for one in problems] == [(2, "C Potter's salt (g)")]


def test_units_and_fractions_come_out_right(noted, answered, tmp_path):
    tables, _ = made_of(noted("from the States"), lambda mapping: answered("from the States", mapping))
    pots = book_of(tables, tmp_path).pots
    assert pots["sugar [g]"].tolist() == [4, 2, 0]
    assert pots["table salt [g]"].tolist() == pytest.approx([1.5 * 28.349523125, 0.5 * 28.349523125, 0])
    assert pots["copper sulphate [g]"].tolist() == pytest.approx([2.95, 5.9, 0])
    assert tables["shelf"] == [["material", "spoon [g]"], ["copper sulphate", "5.9"]]
    assert tables["firings"][1:] == [
        *(["f1", "2025-04-12", "1350", "little propane"], ["f2", "2025-05-03", "1290", "little propane"])
    ]
    assert [row[:2] for row in tables["photos"][1:]] == [
        *(["photos/IMG_2031.JPG", "1"], ["photos/IMG_2032.JPG", "2"]),
        *(["photos/IMG_2033.JPG", "2"], ["photos/IMG_2040.JPG", "3"]),
    ]


def test_a_tablespoon_weighs_three_teaspoons(tmp_path):
    file = tmp_path / "notes.csv"
    file.write_text("Pot,Firing,Sugar\n1,F1,2 tsp\n2,F1,1 tbsp\n3,F1,5 g\n4,F1,4\n")
    tables, problems = made_of(
        file, lambda mapping: mapping.with_column("C", to="pots: sugar [g]", spoon_g=4)
    )
    assert [float(row["sugar [g]"]) for row in as_dicts(tables["pots"])[:3]] == pytest.approx([8, 12, 5])
    assert problems.told == "'4' may be spoons or grams"


def test_thousands_ticks_and_stars(noted):
    tables, problems = made_of(noted("from a workshop"))
    assert [row["noted peak [degF]"] for row in as_dicts(tables["firings"])] == ["1320", "1290"]
    assert [row["rating"] for row in as_dicts(tables["pots"])] == ["3", "5", "1"]
    assert "copy it to photos/w1.jpg" in problems[0].remedy


def test_names_given_twice_are_told_apart_by_their_firing(noted, answered):
    name = "with contradictions"
    tables, problems = made_of(noted(name), lambda mapping: answered(name, mapping))
    pots = as_dicts(tables["pots"])
    assert [row["pot"] for row in pots] == ["1-1", "1-2", "3", "2-1", "2-2"]
    assert pots[4]["sugar [g]"] == "3" and pots[4]["notes"] == "Sugar (g): ~3"
    assert any("'1' is there more than once (rows 3, 6)" in problem.cause for problem in problems)
    assert "column 'E Salt (g)': a dash was taken for a blank (row 5)" in str(problems)


@pytest.mark.parametrize(
    ("heading", "cell", "stands", "kept", "cause"),
    [
        ("Sugar (g)", "1 oz", "1 oz", "", "is in oz, and the heading says g"),
        ("Sugar (g)", "a lot", "a lot", "", "is no amount"),
        ("Height (cm)", "a hand", "", "Height (cm): a hand", "is no amount"),
        ("Rating", "6", "", "Rating: 6", "is no rating from 1 to 5"),
        ("Sugar (g)", "none", "0", "", ""),
        ("Height (in)", '4 1/2"', "4.5", "", ""),
    ],
)
def test_a_cell_that_cannot_be_turned_is_told_and_kept(tmp_path, heading, cell, stands, kept, cause):
    file = tmp_path / "notes.csv"
    with file.open("w", newline="") as out:
        csv.writer(out).writerows(
            [["Pot", "Firing", heading], ["1", "F1", "2"], ["2", "F1", "3"], ["3", "F1", cell]]
        )
    goal = {"R": "rating", "S": "sugar [g]", "H": f"height [{heading[-3:-1]}]"}[heading[0]]
    tables, problems = made_of(file, lambda mapping: mapping.with_column("C", to=f"pots: {goal}"))
    row = as_dicts(tables["pots"])[2]
    assert (row[goal], row["notes"]) == (stands, kept)
    assert [problem.where for problem in problems] == (
        [f"notes, row 4, column 'C {heading}'"] if cause else []
    )
    assert cause in problems.told


def test_contradictions_of_a_firing_are_told_where_the_maker_insists(noted, answered):
    name = "with contradictions"
    tables, problems = made_of(
        noted(name), lambda mapping: answered(name, mapping).with_column("Kiln", to="firings: kiln")
    )
    assert [row["kiln"] for row in as_dicts(tables["firings"])] == ["", "small"]
    assert [row["notes"] for row in as_dicts(tables["pots"])][:3] == ["Kiln: big", "Kiln: small", "Kiln: big"]
    assert "it differs within firing '1' (rows 3, 4, 5)" in str(problems.stopping)


def test_nothing_is_made_while_something_is_open_or_of_other_notes(noted, tmp_path):
    notes = read_notes(noted("with ticks"))
    mapping = propose_mapping(notes)
    with pytest.raises(BookError, match="still to be said: F 'Sugar'"):
        book_tables(notes, mapping)
    with pytest.raises(BookError, match="column A 'Firing' of the notes is not mapped"):
        book_tables(notes, replace(mapping, columns=mapping.columns[1:]))


HEADINGS = st.sampled_from(
    [
        *(
            "Pot",
            "Firing",
            "Date",
            "Sugar",
            "Sugar (g)",
            "Salt g",
            "Seaweed",
            "Height cm",
            "Rating",
            "State",
            "Kiln",
        ),
        *(
            "Peak °C",
            "Photo",
            "Notes",
            "Comments",
            "Zucker",
            "Weight",
            "L*",
            "temperature",
            "What?",
            "",
            "a [b] c",
        ),
    ]
)
CELLS = st.sampled_from(
    [
        *(
            "",
            "",
            "1",
            "2,5",
            "3 g",
            "4",
            "1/2",
            "½ g",
            "~3",
            "1,250",
            "-",
            "none",
            "x",
            "yes",
            "no",
            "2 tsp",
            "F1",
        ),
        *(
            "cracked",
            "a pinch",
            "2025-04-03",
            "3/4/2025",
            "a.jpg",
            "b.png; c.png",
            "C:\\d.jpg",
            "= 1+1",
            "6",
            "big",
            "?",
        ),
        *('say "so"', "one, two", "1.050", "total", "-3", "★★", "n/a", "1e999", "line\nbreak"),
    ]
)


@st.composite
def sheets(draw):
    width, height = draw(st.integers(2, 7)), draw(st.integers(1, 6))
    headings = ["Pot", *draw(st.lists(HEADINGS, min_size=width, max_size=width))]
    rows = draw(
        st.lists(st.lists(CELLS, min_size=width + 1, max_size=width + 1), min_size=height, max_size=height)
    )
    return [headings, ["p", "F1", *["2"] * (width - 1)], *rows]


def all_said(mapping):
    """Answer whatever is open, each in the first way that can be."""
    for column in mapping.columns:
        if column.cells == "?":
            first = "day first" if column.goal.name == "date" else "decimal comma"
            mapping = mapping.with_column(column.letter, cells=first)
        if column.goal.unit == "?":
            unit = "degC" if "peak" in column.goal.name or "temp" in column.goal.name else "g"
            mapping = mapping.with_column(column.letter, to=f"{column.table}: {column.goal.name} [{unit}]")
    return replace(mapping, firings="one") if mapping.firings == "?" else mapping


@settings(max_examples=80, deadline=None)
@given(sheets())
def test_nothing_that_stands_in_the_notes_gets_lost(rows):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "notes.csv"
        with file.open("w", newline="", encoding="utf-8") as out:
            csv.writer(out).writerows(rows)
        notes = read_notes(file)
    mapping = all_said(propose_mapping(notes))
    tables, problems = book_tables(notes, mapping)
    told = "\n".join(problem.cause for problem in problems)
    pots = as_dicts(tables["pots"])
    firings = {row["firing"]: row for row in as_dicts(tables["firings"])}
    photos = as_dicts(tables.get("photos", [[]]))
    assert len(pots) == len(notes.rows)
    assert len({pot["pot"] for pot in pots}) == len(pots)
    for (number, cells), pot in zip(notes.rows.items(), pots, strict=True):
        stands = [*pot.values(), *firings.get(pot["firing"], {}).values()]
        stands += [value for photo in photos if photo["pot"] == pot["pot"] for value in photo.values()]
        for column, cell in zip(mapping.columns, cells, strict=True):
            if not cell or column.to == "-":
                continue
            assert (
                is_there(cell, column, stands)
                or cell in told
                or f"row {number}" in told
                or ("dash" in told and cell == "-")
            ), (cell, column, pot)
    # Whatever stands above, or below as a total, is told.
    for row, text in notes.aside.items():
        assert any(problem.row == row and text in problem.cause for problem in problems)


def is_there(cell, column, stands):
    """Whether a cell of the notes stands in one of these, as it is or as what it means."""
    means = [
        read_date(cell, column.cells),
        state_named(cell),
        {"x": "yes", "1": "yes"}.get(cell, cell_word(cell)),
    ]
    amount = read_amount(cell, column.cells)
    if amount is not None and amount.value == amount.value:
        means.append(f"{amount.value:.7g}")
    if cell == "none":
        means += ["0", "no"]
    if cell == "★★":
        means.append("2")
    if cell == "2 tsp" and column.goal.unit == "tsp":
        means.append("2")
    files = cell.replace("C:\\", "").split("; ")
    return (
        any(cell in text for text in stands)
        or bool(set(filter(None, means)) & set(stands))
        or (column.to == "photos: photo" and all(any(file in text for text in stands) for file in files))
    )


def test_a_rating_that_may_be_thousands_is_kept_and_told(tmp_path):
    file = tmp_path / "notes.csv"
    file.write_text('Pot,Firing,Rating\np1,F1,4\np2,F1,"1,250"\np3,F1,"3,5"\n')
    notes = read_notes(file)
    tables, problems = book_tables(notes, propose_mapping(notes))
    pots = {pot["pot"]: pot for pot in as_dicts(tables["pots"])}
    assert [pots[name]["rating"] for name in ("p1", "p2", "p3")] == ["4", "", "3.5"]
    assert "1,250" in pots["p2"]["notes"] and any("1,250" in problem.cause for problem in problems)


def test_a_row_that_tells_of_a_firing_alone_is_no_pot(tmp_path):
    (tmp_path / "notes.csv").write_text(
        "Firing,Peak C,Pot,Sugar g,Notes\nF1,740,,,\n,,a,2,x\n,,b,,\nF2,765,,,\n,,c,3,\n,,,4,no name\n"
    )
    tables, problems = made_of(tmp_path / "notes.csv")
    assert [row[:3] for row in tables["pots"][1:]] == [
        ["a", "F1", "2"],
        ["b", "F1", ""],
        ["c", "F2", "3"],
        ["p04", "F2", "4"],
    ]
    assert tables["firings"][1:] == [["F1", "740"], ["F2", "765"]]
    told = [one.row for one in problems if "no pot was made of it" in one.cause]
    assert told == [2, 5]


@pytest.mark.parametrize(
    ("written", "name", "elsewhere"),
    [
        ("odd..name.jpg", "photos/odd..name.jpg", False),
        ("2025/a.jpg", "2025/a.jpg", False),
        ("../a.jpg", "photos/a.jpg", True),
        ("mine/../../a.jpg", "photos/a.jpg", True),
        ("https://example.org/pots/a.jpg", "photos/a.jpg", True),
        ("C:\\pots\\a.jpg", "photos/a.jpg", True),
    ],
)
def test_a_photograph_from_elsewhere_is_told_and_named_in_the_book(tmp_path, written, name, elsewhere):
    (tmp_path / "notes.csv").write_text(f"Pot,Firing,Photo\n1,F1,{written}\n2,F1,b.jpg\n")
    tables, problems = made_of(tmp_path / "notes.csv")
    assert tables["photos"][1][0] == name
    assert [problem.cause for problem in problems] == [f"'{written}' lies elsewhere"] * elsewhere


def test_firings_and_kilns_in_two_spellings_are_told(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Load\n1,load 2\n2,Load 2\n3,load 3\n")
    tables, problems = made_of(tmp_path / "notes.csv")
    assert [row[0] for row in tables["firings"][1:]] == ["load 2", "Load 2", "load 3"]
    assert problems.told == "'load 2' and 'Load 2' became different firings"
    (tmp_path / "notes.csv").write_text("Pot,Date,Kiln\n1,2025-04-05,k1\n2,2025-04-05,K 1\n")
    tables, problems = made_of(tmp_path / "notes.csv")
    assert len(tables["firings"]) == 3
    assert problems.told == "pots of 'k1' and 'K 1' were kept in firings of their own"


def test_full_stops_with_the_month_first_where_the_maker_says_so(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Date\n1,5.4.25\n")
    tables, _ = made_of(tmp_path / "notes.csv", lambda mapping: mapping.with_column("B", cells="month first"))
    assert tables["firings"][1] == ["f1", "2025-05-04"]


def test_ticks_become_states(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Load,Broken?\n1,a,x\n2,a,\n3,a,?\n4,a,crack\n")
    tables, problems = made_of(tmp_path / "notes.csv")
    pots = as_dicts(tables["pots"])
    assert [pot["state"] for pot in pots] == ["lost", "whole", "", "cracked"]
    assert [pot["notes"] for pot in pots] == ["", "", "Broken?: ?", ""]
    assert problems.told == "'?' says that it is not known: left blank"
    (tmp_path / "notes.csv").write_text("Pot,Load,Cracked?\n1,a,x\n2,a,\n3,a,ok\n")
    tables, _ = made_of(tmp_path / "notes.csv")
    assert [pot["state"] for pot in as_dicts(tables["pots"])] == ["cracked", "", "whole"]


@pytest.mark.parametrize("heading", ["Height (cm)", "Ferric (coats)", "Copper wire (cm)", "Rating", "Clay"])
def test_what_is_not_known_is_left_blank_and_noted(tmp_path, heading):
    (tmp_path / "notes.csv").write_text(f"Pot,Load,{heading}\n1,a,3\n2,a,?\n")
    tables, problems = made_of(tmp_path / "notes.csv")
    assert tables["pots"][2] == ["2", "a", "", f"{heading}: ?"]
    assert [(p.row, p.cause, p.stops) for p in problems] == [
        (3, "'?' says that it is not known: left blank", False)
    ]


def test_a_dusting_that_is_not_known_cannot_be_left_blank(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Load,Sugar (g)\n1,a,3\n2,a,?\n")
    tables, problems = made_of(tmp_path / "notes.csv")
    assert tables["pots"][2][2] == "?"
    cause = "'?' says that it is not known, and a blank would count as none"
    assert [(p.cause, p.stops) for p in problems] == [(cause, True)]
