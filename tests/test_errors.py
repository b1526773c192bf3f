"""Faults and errors: their words, their families, and their way through another process."""

import builtins
import pickle

import pytest

from sagglab import errors
from sagglab.errors import BookError, MissingFileError, Problem, Problems, SagglabError, UnknownNameError

FAMILY = [
    value
    for value in vars(errors).values()
    if isinstance(value, type) and issubclass(value, SagglabError) and value is not SagglabError
]

NEGATIVE = Problem("pots", 3, "sugar [g]", "'-1' is a negative amount", "correct it")
UNSEEN = Problem("photos", "p1.jpg", "", "the pot is cut off", "photograph it again", stops=False)


def test_the_family_is_all_here():
    assert {kind.__name__ for kind in FAMILY} == {
        "MissingFileError",
        "FileFormatError",
        "UnitError",
        "BookError",
        "ReadingsError",
        "ScheduleError",
        "PhotoError",
        "TargetError",
        "OutlineError",
        "SurfaceError",
        "OwnMeasureError",
        "ModelError",
        "PlanError",
        "SetupError",
        "UnknownNameError",
    }


@pytest.mark.parametrize("kind", FAMILY)
def test_each_error_is_a_builtin_error_too(kind):
    own = {"Exception", "BaseException", "object"}
    assert any(
        base.__name__ not in own and base is getattr(builtins, base.__name__, 0) for base in kind.mro()
    )


@pytest.mark.parametrize("kind", FAMILY)
def test_each_error_says_where_what_and_how_to_mend_it(kind):
    error = kind("pots.csv, row 3", "the cell is blank", "fill it in")
    assert str(error) == "pots.csv, row 3: the cell is blank. Fill it in."


@pytest.mark.parametrize("kind", [SagglabError, *FAMILY])
def test_each_error_survives_the_way_from_another_process(kind):
    error = pickle.loads(pickle.dumps(kind("where it is", "what is wrong", "what to do")))
    assert type(error) is kind
    assert (error.where, error.cause, error.remedy) == ("where it is", "what is wrong", "what to do")
    assert str(error) == "where it is: what is wrong. What to do."


def test_a_missing_file_can_be_caught_as_one():
    with pytest.raises(FileNotFoundError, match="no such file"):
        raise MissingFileError("a.csv", "there is no such file", "check the name")


def test_an_unknown_name_is_shown_without_the_quotes_of_a_key_error():
    assert str(UnknownNameError("factor 'suger'", "it is unknown", "give sugar")).startswith(
        "factor 'suger':"
    )


def test_a_problem_says_its_place():
    assert str(NEGATIVE) == "pots, row 3, column 'sugar [g]': '-1' is a negative amount. Correct it."
    assert UNSEEN.where == "photos, p1.jpg"
    assert Problem("pots", None, "", "it is missing", "add it").where == "pots"


def test_a_remedy_keeps_its_own_capitals():
    assert str(Problem("pots", None, "", "it is odd", "write [degC]")).endswith("Write [degC].")


def test_problems_are_sorted_out_by_table_and_weight():
    problems = Problems([NEGATIVE, UNSEEN])
    assert problems.stopping == (NEGATIVE,)
    assert problems.of("photos") == (UNSEEN,)
    assert problems.told == "'-1' is a negative amount; the pot is cut off"
    assert str(problems) == f"{NEGATIVE}\n{UNSEEN}"


def test_no_problems_are_false_and_say_so():
    assert not Problems()
    assert str(Problems()) == "no problems"
    assert Problems()._repr_html_() == "<p>No problems found.</p>"


def test_problems_survive_the_way_from_another_process():
    assert pickle.loads(pickle.dumps(Problems([NEGATIVE]))).stopping == (NEGATIVE,)


def test_what_a_cell_holds_is_not_taken_for_markup():
    page = Problems([Problem("<b>", 2, "<i>", "'<script>' is no number", "write 1 & 2")])._repr_html_()
    assert "<script>" not in page and "<b>" not in page and "<i>" not in page
    assert "&#x27;&lt;script&gt;&#x27; is no number" in page and "Write" not in page and "1 &amp; 2" in page


def test_a_book_error_lists_every_problem():
    error = BookError.from_problems("my book", Problems([NEGATIVE, NEGATIVE]))
    assert str(error) == (
        "my book: 2 faults stop the work. Mend what is listed here and run it again:\n"
        "  pots, row 3, column 'sugar [g]': '-1' is a negative amount. Correct it.\n"
        "  pots, row 3, column 'sugar [g]': '-1' is a negative amount. Correct it."
    )


def test_a_book_error_counts_one_fault_as_one():
    assert BookError.from_problems("my book", Problems([NEGATIVE])).cause == "a fault stops the work"
