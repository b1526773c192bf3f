"""The questions in a shell: Enter agrees, what is open has to be said, nothing else is taken."""

import pytest

from sagglab.errors import BookError
from sagglab.notes import ask_mapping, propose_mapping, read_notes


@pytest.fixture
def asked(noted):
    """Ask about somebody's notes with these answers; gives the mapping and all that was shown."""

    def ask(name, *answers):
        given, shown = iter(answers), []

        def answer(prompt):
            try:
                return next(given)
            except StopIteration:
                raise EOFError from None

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
    goals = {column.heading: column.to for column in mapping.columns}
    assert goals["Slip"] == "pots: slip [coats]"
    assert (goals["Sugar"], goals["Salt"], goals["Peak"]) == (
        *("pots: sugar [g]", "pots: salt [oz]"),
        "firings: noted peak [degF]",
    )
    assert sum("has to be said first" in line for line in shown) == 1
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


def test_answers_that_end_early_make_nothing(asked):
    with pytest.raises(BookError, match="nothing was written"):
        asked("from Germany", "", "")
