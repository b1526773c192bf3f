"""The plan file: what it may hold, and every fault at once with what may have been meant."""

import pytest

from sagglab.errors import FileFormatError, MissingFileError, PlanError
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.limits import Limits
from sagglab.plan.plan_file import read_plan_file
from sagglab.plan.standard import Factorial, Fraction

SUGAR = """
[vary.sugar]
levels = [0, 4]
unit = "g"
"""
WHOLE = (
    """
firings = 4
pots_per_firing = 6
firings_per_day = 2
model = ["peak", "sugar", "clay", ["peak", "sugar"]]
kind = { name = "best", sharpest = "predictions", starts = 4 }
seed = 11

[vary.peak]
levels = [725, 775]
unit = "degC"
per = "firing"

[vary.clay]
levels = ["groggy buff", "smooth white"]
"""
    + SUGAR
    + """
[same]
"slip [coats]" = 2

[limits]
dusting_g = 7
places = ["low left", "low right", "mid left", "mid right", "high left", "high right"]
never = [{ sugar = 4, clay = "smooth white", peak = 775 }]

[limits.stock]
sugar = 40

[limits.pots.clay]
"smooth white" = 13

[expect]
difference = 4

[sheet]
paper = "A4"
"""
)


@pytest.fixture
def read(tmp_path):
    def write_and_read(text, encoding="utf-8"):
        path = tmp_path / "next batch.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return read_plan_file(path)

    return write_and_read


@pytest.fixture
def told(read, tmp_path):
    def read_and_tell(text, error=PlanError):
        with pytest.raises(error) as caught:
            read(text)
        return str(caught.value).replace(f"{tmp_path}/", "")

    return read_and_tell


def test_a_file_holds_what_plan_batch_takes(read):
    found = read(WHOLE)
    assert found.asked == {
        "firings": 4,
        "pots_per_firing": 6,
        "firings_per_day": 2,
        "seed": 11,
        "model": ["peak", "sugar", "clay", ("peak", "sugar")],
        "kind": Best("predictions", starts=4),
        "factors": [
            Factor("peak", [725, 775], "degC", per="firing"),
            Factor("clay", ["groggy buff", "smooth white"]),
            Factor("sugar", [0, 4], "g"),
        ],
        "same": {"slip [coats]": 2},
        "limits": Limits(
            dusting_g=7,
            never=[{"sugar": 4, "clay": "smooth white", "peak": 775}],
            stock={"sugar": 40},
            pots={"clay": {"smooth white": 13}},
            places=["low left", "low right", "mid left", "mid right", "high left", "high right"],
        ),
    }
    assert (found.adds, found.expect, found.sheet) == (False, {"difference": 4}, {"paper": "A4"})
    made = plan_batch(**found.asked)
    assert made.runs.groupby(["day", "firing"]).size().tolist() == [6] * 4
    assert (made.runs["clay"] == "smooth white").sum() <= 13


def test_the_least_that_a_file_may_hold(read):
    found = read(SUGAR)
    assert found.asked == {"factors": [Factor("sugar", [0, 4], "g")], "same": {}, "limits": Limits()}
    with pytest.raises(PlanError, match="firings: their number is not stated"):
        plan_batch(**found.asked)


def test_a_kind_is_a_name_or_a_table(read):
    assert read('kind = "factorial"' + SUGAR).asked["kind"] == Factorial()
    one = read('kind = { name = "fraction", generators = ["D=ABC"], fold_over = true }' + SUGAR)
    assert one.asked["kind"] == Fraction(generators=["D=ABC"], fold_over=True)


def test_a_file_that_adds_to_the_book_says_what_to_sharpen(read):
    found = read('add_to_book = true\nsharpen = ["sugar"]' + SUGAR)
    assert (found.adds, found.asked["sharpen"]) == (True, ["sugar"])
    assert read("add_to_book = true" + SUGAR).asked["sharpen"] == []


def test_a_byte_order_mark_does_no_harm(read):
    assert read("\ufefffirings = 6" + SUGAR).asked["firings"] == 6


def test_all_faults_are_told_at_once_with_what_may_have_been_meant(told):
    text = (
        'firngs = 6\nadd_to_book = "yes"\nmodel = 3\ncolour = "red"\n'
        '[vary.sugar]\nlevel = [0, 4]\nunits = "g"\n[limits]\ndusting = 7\n[expect]\ndiference = 4\n'
    )
    assert told(text) == (
        "next batch.toml: 9 faults"
        "\n  it holds 'firngs', which has no meaning there: did you mean firings?"
        "\n  it holds 'colour', which has no meaning there: it may hold firings, pots_per_firing, "
        "firings_per_day, "
        "model, kind, seed, add_to_book, sharpen, vary, same, limits, expect, sheet"
        "\n  limits holds 'dusting', which has no meaning there: did you mean dusting_g?"
        "\n  expect holds 'diference', which has no meaning there: did you mean difference?"
        "\n  vary.sugar holds 'level', which has no meaning there: did you mean levels?"
        "\n  vary.sugar holds 'units', which has no meaning there: did you mean unit?"
        "\n  vary.sugar has no levels: write levels = [0, 4]"
        "\n  add_to_book is neither true nor false"
        "\n  model is neither a name nor a list of factors and pairs. Correct the plan file."
    )


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "nothing is varied: write a table such as [vary.sugar] with levels = [0, 4] and unit = 'g'"),
        ("vary = 3", "vary is no table: write [vary]"),
        ("[vary]\nsugar = [0, 4]", "vary.sugar is no table: write [vary.sugar] with levels = [0, 4]"),
        ("same = 3" + SUGAR, "same is no table: write [same]"),
        ('sharpen = ["sugar"]' + SUGAR, "write add_to_book = true as well"),
        ("model = [3]" + SUGAR, "model is neither a name nor a list of factors and pairs"),
    ],
)
def test_what_is_in_the_wrong_form_is_told(told, text, part):
    assert part in told(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[vary.sugar]\nlevels = 3\nunit = "g"',
            "factor 'sugar': its levels are 3, no list (write them as a list: [0, 4])",
        ),
        (
            "[vary.sugar]\nlevels = [0, 4]",
            "factor 'sugar': no unit is stated, and none is guessed (state the unit, such as 'g')",
        ),
        ('kind = "bset"' + SUGAR, "kind 'bset': there is no such kind of plan (write one of best, "
         "factorial, "
         "fraction, screening, central composite, box-behnken)"),
        (
            'kind = { name = "fraction", resolutoin = 4 }' + SUGAR,
            "kind 'fraction': it has no 'resolutoin' (it may have resolution, generators, fold_over, "
             "replicates, "
            "centre)",
        ),
        (SUGAR + '[limits]\nplaces = "low"', "limit places: it is 'low' (write their number, or a "
         "list of names)"),
    ],
)  # fmt: skip
def test_faults_of_a_part_are_those_of_the_part(told, text, said):
    assert told(text) == f"next batch.toml: {said}. Correct the plan file."


def test_faults_of_several_parts_are_told_together(told):
    text = '[vary.sugar]\nlevels = [0]\nunit = "g"\n[vary.peak]\nlevels = [725, 775]\nunit = "degC"\n'
    said = told(text + "[limits]\nplaces = 'low'\n").splitlines()
    assert said[0] == "next batch.toml: 3 faults"
    assert said[1].startswith("  factor 'sugar': it has the one level 0")
    assert said[2].startswith("  factor 'peak': all pots of a kiln load share its temperatures")
    assert said[3].startswith("  limit places: it is 'low'")


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ('[expect]\ndifference = "4"', "expect.difference is '4', no number: write it without quotes"),
        ('[sheet]\nallowance = "10%"', "sheet.allowance is '10%', no number"),
        ("[sheet]\nallowance = true", "sheet.allowance is True, no number"),
        ("[sheet]\nallowance = 1000", "sheet.allowance is 1000, more than the pots take"),
        ("[sheet]\nfoil_width_cm = -3", "sheet.foil_width_cm is -3: write a number of 0 or more"),
        ("[sheet]\npaper = 'vellum'", "sheet.paper: there is no paper 'vellum': write A4 or letter"),
        ("[expect]\noutcome = 3", "expect.outcome is 3, no column"),
    ],
)
def test_what_is_no_number_or_no_word_is_told(told, text, part):
    assert part in told(SUGAR + text)


@pytest.mark.parametrize("text", ["firings =", "firings = 6\nfirings = 7", "[vary.sugar", b"# \xe4"])
def test_what_is_no_toml_is_told(told, text):
    said = told(text, FileFormatError)
    assert said.startswith("next batch.toml: it is no TOML (")
    assert said.endswith("Write lines such as firings = 6, text in quotes, and save it as UTF-8.")


def test_a_missing_file_is_told(tmp_path):
    for path in (tmp_path / "next.toml", tmp_path):
        with pytest.raises(MissingFileError, match="there is no such file. Check the name."):
            read_plan_file(path)
