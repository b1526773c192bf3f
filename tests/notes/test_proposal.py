"""Where columns are proposed to go, and why."""

import pytest

from sagglab.book.fresh import MATERIALS
from sagglab.materials import find_material
from sagglab.notes import propose_mapping, read_notes
from sagglab.notes.words import read_heading

#: What the rules do not see: that propane is of the firing, not of a pot.
NOT_SEEN = {("from the kitchen", "Propane (lb)"): "pots: Propane [lb]"}


def test_columns_go_where_a_careful_reader_would_put_them(noted, meant, person):
    mapping = propose_mapping(read_notes(noted(person)))
    proposed = [column.to for column in mapping.columns]
    wanted = [
        NOT_SEEN.get((person, column.heading), goal)
        for column, goal in zip(mapping.columns, meant[person], strict=True)
    ]
    assert proposed == wanted
    assert all(column.why for column in mapping.columns)


def proposed(tmp_path, text):
    file = tmp_path / "notes.csv"
    file.write_text(text, encoding="utf-8")
    return propose_mapping(read_notes(file))


@pytest.mark.parametrize(
    ("heading", "cells", "goal", "reason"),
    [
        ("FeCl3", "0 1 3", "pots: ferric chloride [?]", "whole numbers from 0 to 3: coats?"),
        ("Peak", "1350 1290 1300", "firings: noted peak [?]", "above 900 hints at °F"),
        ("Peak", "750 720 745", "firings: noted peak [?]", "°C more likely than °F"),
        ("Sugar", "2tsp 1tsp 3tsp", "pots: sugar [?]", "say what one level teaspoon of it weighs"),
        ("Sugar", "4g 2g 3", "pots: sugar [?]", "in 1 cell, and g in others"),
        ("Sugar", "4g 2g 0", "pots: sugar [g]", "as its cells say"),
        ("Sugar", "4g 2cm 1g", "pots: sugar (as noted)", "cannot be joined"),
        ("Sugar", "1 0 1", "pots: sugar [?]", "yes or no?"),
        ("Peak (F)", "1,350 1,290 1,310", "firings: noted peak [degF]", "decimals or thousands"),
        ("Outside temp", "12 15 9", "pots: Outside temp [?]", "a temperature needs its unit"),
        ("Rating", "7 9 4", "pots: Rating (as noted)", "from 1 to 5, and a cell says '7'"),
        ("Rating (1-10)", "3 5 4", "pots: Rating (1-10)", "from 1 to 5, and the heading says '1-10'"),
        ("Score out of 10", "3 5 4", "pots: Score out of 10", "the heading says 'out of 10'"),
        ("Bewertung 0 bis 5", "3 5 4", "pots: Bewertung 0 bis 5", "the heading says '0 bis 5'"),
        ("Rating (1 - 5)", "3 5 4", "pots: rating", "known by that name"),
        ("How hot (F)", "1350 1290 1300", "pots: How hot [degF]", "send it to firings: noted peak [degF]"),
        ("Spitze °C", "750 760 745", "pots: Spitze [degC]", "send it to firings: noted peak [degC]"),
        ("Kochsalz g", "1 2 3", "pots: table salt [g]", "is table salt"),
        ("Diametr", "12cm 9cm 8cm", "pots: diameter [cm]", "is like 'diamet"),
        ("", "x y z", "pots: column C", "of its own"),
        ("L*", "40 41 42", "pots: L* (as noted)", "of its own"),
    ],
)
def test_what_is_not_stated_is_asked_for(tmp_path, heading, cells, goal, reason):
    rows = "".join(f'{pot},F{pot},"{cell}",\n' for pot, cell in enumerate(cells.split(), start=1))
    column = proposed(tmp_path, f"Pot,Firing,{heading},Notes\n{rows}").column("C")
    assert column.to == goal
    assert reason in column.why
    assert column.is_open == (column.sure == "?") == ("[?]" in goal or column.cells == "?")


@pytest.mark.parametrize(
    ("dates", "cells"),
    [
        ("2025-04-03 2025-04-05", ""),
        ("3.4.2025 5.4.2025", ""),
        ("3/4/2025 14/4/2025", "day first"),
        ("4/3/2025 4/14/2025", "month first"),
        ("3/4/2025 5/4/2025", "?"),
    ],
)
def test_the_order_of_dates_is_settled_or_asked_for(tmp_path, dates, cells):
    rows = "".join(f"{pot},{date}\n" for pot, date in enumerate(dates.split()))
    mapping = proposed(tmp_path, f"Pot,Date fired\n{rows}")
    assert (mapping.column("B").to, mapping.column("B").cells) == ("firings: date", cells)
    assert mapping.firings == "by date"


def test_a_firing_named_once_goes_down(tmp_path):
    mapping = proposed(tmp_path, "Firing,Pot,Sugar g\nF1,1,2\n,2,3\nF2,3,1\n")
    assert mapping.column("A").down
    assert "what stands above it" in mapping.column("A").why


def test_what_differs_within_a_firing_stays_with_the_pots(noted):
    column = propose_mapping(read_notes(noted("with contradictions"))).column("Kiln")
    assert column.to == "pots: kiln"
    assert "differs within firing '1' (rows 3, 4, 5)" in column.why


@pytest.mark.parametrize("name", [column.name for column in MATERIALS])
def test_a_material_has_the_name_that_a_fresh_book_gives_it(name):
    material = find_material(name)
    for said in {name, material.name if material else name}:
        assert read_heading(said).meanings in ((f"material: {name}",), (f"pots: {name} [coats]",))


def test_notes_without_a_row_for_each_pot_are_told_first(tmp_path):
    in_a_row = proposed(
        tmp_path, "Firing,Date,Pot 1,Pot 2\n1,2025-04-03,sugar 3g,red\n2,2025-04-09,salt,white\n"
    )
    assert "a row seems to hold several pots (C 'Pot 1', D 'Pot 2')" in in_a_row.around[1]
    turned = proposed(tmp_path, "Pot,A1,A2\nClay,white,red\nSugar g,3,\nFerric coats,1,2\nPeak C,740,765\n")
    assert "column A seems to hold headings" in turned.around[1]
    upright = proposed(tmp_path, "Pot,Firing,Sugar g\nH1,1,2\nsalt,1,3\nclay,1,4\nwax,1,4\n")
    assert len(upright.around) == 1


def test_a_column_of_dates_under_another_name_says_where_it_can_go(tmp_path):
    column = proposed(tmp_path, "Pot,Firing,Celebrated\n1,F1,2025-04-03\n2,F2,2025-04-05\n").column("C")
    assert column.to == "pots: Celebrated" and "send it to firings: date" in column.why


def test_a_space_between_thousands_counts_for_the_hint(tmp_path):
    column = proposed(tmp_path, "Pot,Firing,Peak\n1,F1,950\n2,F2,1 350\n3,F3,1\u202f290\n").column("C")
    assert column.to == "firings: noted peak [?]" and "above 900 hints at °F" in column.why


@pytest.mark.parametrize(
    ("heading", "cells", "goal", "reason"),
    [
        ("broken?", "x - -", "pots: state", "yes is taken for lost, and no or a blank for whole"),
        ("Cracked", "yes no no", "pots: state", "yes is taken for cracked, and no for whole"),
        ("Survived?", "y n y", "pots: state", "yes is taken for whole, and no for lost"),
        ("Cracked?", "ok x ok", "pots: state", "yes is taken for cracked, and no for whole"),
        ("Broken or cracked", "crack broken ok", "pots: state", "the pot's state"),
        ("cracked", "no hairline no", "pots: cracked", "whole, cracked or lost, and a cell says 'hairline'"),
        ("How I like it /5", "4 ? 5", "pots: rating", "the pot's rating"),
        ("liking", "4 2 5", "pots: rating", "the pot's rating"),
        ("How good?", "4 2 5", "pots: rating", "the pot's rating"),
        ("liking", "very not so", "pots: liking", "from 1 to 5, and a cell says 'very'"),
    ],
)
def test_plain_words_are_known_for_state_and_rating(tmp_path, heading, cells, goal, reason):
    rows = "".join(f"{pot},F1,{cell}\n" for pot, cell in enumerate(cells.split(), start=1))
    column = proposed(tmp_path, f"Pot,Firing,{heading}\n{rows}").column("C")
    assert column.to == goal and reason in column.why


@pytest.mark.parametrize(
    ("dates", "told"),
    [("5.4.25 6.4.25", "'5.4.25' is 2025-04-05"), ("5.4.25 16.4.25", ""), ("4.4.25 2025-04-06", "")],
)
def test_dates_with_full_stops_that_could_be_two_days_are_told(tmp_path, dates, told):
    rows = "".join(f"{pot},{date}\n" for pot, date in enumerate(dates.split()))
    column = proposed(tmp_path, f"Pot,Date fired\n{rows}").column("B")
    assert (told and f"{told}: if not, say month first") in column.why
    assert ("full stops" in column.why) == bool(told) == (column.sure == "perhaps")


def test_names_of_firings_and_kilns_in_two_spellings_are_told(tmp_path):
    mapping = proposed(tmp_path, "Pot,Load,Kiln\n1,load 2,k1\n2,Load 02,K1\n3,load 3,k2\n")
    assert "'load 2' and 'Load 02' count as different firings" in mapping.column("Load").why
    assert "'k1' and 'K1' count as different kilns" in mapping.column("Kiln").why
    assert [mapping.column(name).sure for name in ("Load", "Kiln")] == ["perhaps"] * 2
