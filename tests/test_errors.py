"""Faults and errors: their words, their families, and their way through another process."""

import builtins
import pickle
import re
import subprocess
import sys

import nbformat
import pytest
from nbclient import NotebookClient

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
        "NotInstalledError",
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


def test_a_question_ends_in_its_own_mark():
    error = UnknownNameError("factor 'suger'", "the table has no such column", "did you mean 'sugar [g]'?")
    assert str(error) == "factor 'suger': the table has no such column. Did you mean 'sugar [g]'?"


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
    assert "<p>✓ No problems found.</p>" in Problems()._repr_html_()


def test_problems_survive_the_way_from_another_process():
    assert pickle.loads(pickle.dumps(Problems([NEGATIVE]))).stopping == (NEGATIVE,)


def test_what_a_cell_holds_is_not_taken_for_markup():
    page = Problems([Problem("<b>", 2, "<i>", "'<script>' is no number", "write 1 & 2")])._repr_html_()
    assert "<script>" not in page and "<b>" not in page and "<i>" not in page
    assert "&#x27;&lt;script&gt;&#x27; is no number" in page and "Write" not in page and "1 &amp; 2" in page


def test_faults_go_first_each_by_a_word_and_a_sign_and_many_are_folded_away():
    page = Problems([UNSEEN, NEGATIVE] * 9)._repr_html_()
    assert re.findall(r"<td>(. (?:fault|warning))</td>", page) == ["✕ fault"] * 9 + ["⚠ warning"] * 9
    assert page.index("<summary>And 6 more</summary>") > page.index("⚠ warning")


def test_in_a_notebook_an_error_is_one_box_with_its_traceback_folded_away():
    cells = [
        "from sagglab.errors import *\n"
        "def firing():\n    return {}['f9']\n"
        "try:\n    firing()\nexcept KeyError as error:\n"
        "    raise UnknownNameError('firing <f9>', 'there is none', 'did you mean f1?') from error",
        "%tb",
        "raise BookError.from_problems('b', Problems([Problem('pots', 3, '', 'it is odd', 'mend it')]))",
    ]
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
    NotebookClient(book, kernel_name="python3", allow_errors=True).execute()
    shown, ended = book.cells[0].outputs
    assert ended.output_type == "error" and ended.traceback == ["UnknownNameError: see above."]
    assert shown.data["text/plain"].endswith("firing <f9>: there is none. Did you mean f1?")
    box = shown.data["text/html"]
    assert (
        'role="alert"' in box and "<dd>Did you mean f1?</dd>" in box and "<dd>firing &lt;f9&gt;</dd>" in box
    )
    told = box.partition("<pre>")[2]
    # What caused it is kept, cells have their numbers, and nothing is coloured for a terminal.
    assert "KeyError" in told and "Cell In[1]&quot;, line 3, in firing" in told
    assert "IPython" not in told and "\x1b" not in box
    again = [output.data["text/html"] for output in book.cells[1].outputs if "data" in output]
    assert len(again) == 1 and 'role="alert"' in again[0]
    box = book.cells[2].outputs[0].data["text/html"]
    assert "<dd>Mend what is listed here, then open the book again and go on.</dd>" in box
    assert "<td>pots, row 3</td>" in box


def test_in_a_terminal_an_error_has_its_usual_traceback():
    shell = subprocess.run(
        [sys.executable, "-m", "IPython", "--colors=NoColor", "-c",
         "from sagglab.errors import *; raise ModelError('results', 'it is odd', 'mend it')"],
        capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert shell.returncode == 1
    assert "ModelError: results: it is odd. Mend it." in shell.stdout + shell.stderr
    assert "<div" not in shell.stdout + shell.stderr


def test_a_book_error_lists_every_problem():
    error = BookError.from_problems("my book", Problems([NEGATIVE, NEGATIVE]))
    assert str(error) == (
        "my book: 2 faults stop the work. Mend what is listed here, then open the book again and go on:\n"
        "  pots, row 3, column 'sugar [g]': '-1' is a negative amount. Correct it.\n"
        "  pots, row 3, column 'sugar [g]': '-1' is a negative amount. Correct it."
    )


def test_a_book_error_counts_one_fault_as_one():
    assert BookError.from_problems("my book", Problems([NEGATIVE])).cause == "a fault stops the work"
