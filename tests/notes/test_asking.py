"""The questions in a shell: Enter agrees, what is open has to be said, nothing else is taken."""

from dataclasses import replace

import pytest

from sagglab.errors import BookError
from sagglab.notes import ask_mapping, propose_mapping, read_notes


@pytest.fixture
def asked(noted):
    """Ask about somebody's notes with these answers; gives the mapping and all that was shown."""

    def ask(name, *answers, ends=EOFError):
        given, shown = iter(answers), []

        def answer(prompt):
            try:
                return next(given)
            except StopIteration:
                raise ends from None

        mapping = ask_mapping(propose_mapping(read_notes(noted(name))), answer, shown.append)
        assert list(given) == []
        return mapping, shown

    return ask


def test_enter_takes_all_that_is_sure_and_fits_a_shell(asked, noted):
    mapping, shown = asked("from Germany", *[""] * 17)
    assert mapping == propose_mapping(read_notes(noted("from Germany")))
    assert max(len(line) for text in shown for line in text.splitlines()) < 80
    assert "5 of 17: column E, 'Zucker (g)'" in shown
    assert "  such as  2,5 | 0 | 4" in shown


def test_what_is_open_cannot_be_taken_by_enter_alone(asked):
    answers = ["", "", "", "", "coats", "coats", "?", "4 oz", "g", "[oz]", "", "", "", "F", "", "", "", ""]
    mapping, shown = asked("with ticks", *answers)
    assert shown.count("4 of 15: column D, 'Slip'") == 1  # what can be typed is said in place of it
    goals = {column.heading: column.to for column in mapping.columns}
    assert goals["Slip"] == "pots: slip [coats]"
    assert (goals["Sugar"], goals["Salt"], goals["Peak"]) == (
        *("pots: sugar [g]", "pots: table salt [oz]"),
        "firings: noted peak [degF]",
    )
    (hint,) = (line for line in shown if "has to be said first" in line)
    assert "type the unit: coats, g, oz or tsp;" in hint
    assert not mapping.open


def test_columns_are_corrected_left_out_and_gone_back_to(asked):
    mapping, shown = asked(
        "of three columns", "salt [g]", "-", "back", "slip [coats]", "pots: clay [g]", "", "one"
    )
    assert [column.to for column in mapping.columns] == [
        "pots: salt [g]",
        "pots: slip [coats]",
        "pots: Result",
    ]
    assert (mapping.firings, mapping.pots) == ("one", "numbered")
    assert any("clay has no unit" in line for line in shown)


def test_a_spoon_is_weighed_or_kept(asked):
    mapping, _ = asked("from the States", *[""] * 5, "5.9 g", *[""] * 9)
    assert (mapping.column("F").to, mapping.column("F").spoon_g) == ("pots: copper sulphate [g]", 5.9)
    mapping, shown = asked("from the States", *[""] * 5, "handfuls", "tsp", *[""] * 9)
    assert (mapping.column("F").to, mapping.column("F").spoon_g) == ("pots: copper sulphate [tsp]", None)
    assert any("[handfuls]: it is unknown" in line for line in shown)


def test_dates_are_said(asked):
    mapping, _ = asked("with contradictions", "", "", "day first", *[""] * 6)
    assert mapping.column("C").cells == "day first"


@pytest.mark.parametrize(
    ("name", "before", "said"),
    [
        ("from the States", 5, "type what one level teaspoon weighs, as 4.1 g;"),
        ("with contradictions", 2, "type day first or month first;"),
        ("with ticks", 10, "type the unit: C or F;"),
    ],
)
def test_enter_at_an_open_question_says_what_can_be_typed(noted, name, before, said):
    mapping = propose_mapping(read_notes(noted(name)))
    mapping = replace(mapping, columns=(mapping.columns[before],))
    answers, shown = iter(["", "-", "one"]), []
    ask_mapping(mapping, lambda prompt: next(answers), shown.append)
    assert any(said in " ".join(text.split()) for text in shown)


def test_help_explains_and_heads_no_column(asked, noted):
    proposed = propose_mapping(read_notes(noted("from Germany")))
    for word in ("?", "help", "Help"):
        mapping, shown = asked("from Germany", "", word, *[""] * 16)
        assert mapping == proposed
        assert any(line.startswith("  Ctrl-C ") for line in shown)


@pytest.mark.parametrize("answer", ["yes", "QUIT", "firings:"])
def test_what_is_not_understood_says_what_can_be_typed(asked, noted, answer):
    mapping, shown = asked("from Germany", "", answer, *[""] * 16)
    assert mapping == propose_mapping(read_notes(noted("from Germany")))
    (said,) = (" ".join(text.split()) for text in shown if "not understood" in text)
    assert said.startswith(f"'{answer}' is not understood. You can type a heading, such as sugar [g]")


def test_the_column_of_firings_can_go_elsewhere(asked):
    mapping, shown = asked("from Germany", "", "batch", *[""] * 15, "by date")
    assert (mapping.column("B").to, mapping.firings) == ("pots: batch", "by date")
    assert "  it goes to pots: batch, a column of your own; back changes it" in shown


def test_how_pots_were_fired_together_is_asked_in_words(asked):
    mapping, shown = asked("of three columns", "", "", "", "dunno", "", "help", "each pot")
    assert mapping.firings == "each pot"
    assert "  one: all in one firing; each pot: each in a firing of its own" in shown
    assert "  'dunno' is not understood: type one or each pot." in shown
    assert "  This has to be said: type one or each pot." in shown


def test_what_else_the_notes_hold_is_said_before_the_questions(asked):
    _, shown = asked("from the States", *[""] * 5, "5.9 g", *[""] * 9)
    assert shown[:2] == [
        "notes.xlsx: sheet 'Log', headings in row 3, 15 columns, 3 rows below",
        "left out, as it belongs to no pot: row 1 'My saggar log 2025', row 8 'Total | 6\n  | 6'",
    ]


@pytest.mark.parametrize(
    ("ends", "said"), [(EOFError, "answers ended before all was said"), (KeyboardInterrupt, "stopped")]
)
def test_answers_that_end_early_make_nothing(asked, ends, said):
    with pytest.raises(BookError, match=f"{said}; nothing was written"):
        asked("from Germany", "", "", ends=ends)


def test_a_column_that_is_sent_to_amounts_or_dates_is_asked_how_its_figures_are_written(tmp_path):
    (tmp_path / "notes.csv").write_text('Pot,Firing,Glitter,Moon\n1,F1,"1,250",a\n2,F2,"2,500",b\n')
    given = iter(["", "", "sugar [g]", "decimal comma", ""])
    mapping = ask_mapping(
        propose_mapping(read_notes(tmp_path / "notes.csv")), lambda prompt: next(given), [].append
    )
    assert (mapping.column("C").to, mapping.column("C").cells) == ("pots: sugar [g]", "decimal comma")
    (tmp_path / "notes.csv").write_text("Pot,Firing,Moon,Clay\n1,F1,4/5/24,a\n2,F2,5/6/24,b\n")
    given = iter(["", "", "firings: date", "day first", ""])
    mapping = ask_mapping(
        propose_mapping(read_notes(tmp_path / "notes.csv")), lambda prompt: next(given), [].append
    )
    assert (mapping.column("C").to, mapping.column("C").cells) == ("firings: date", "day first")
