"""The demo book from end to end, against the truth that its photographs were drawn from."""

import contextlib
import io
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

from sagglab.book import open_book
from sagglab.cli import main
from sagglab.columns import RESULTS
from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.odds import Odds
from sagglab.study import MeasuredBook, Study, askable, study, study_results, write_study
from sagglab.study.files import file_name

BOOK_FILES = ("*.csv", "photos/*", "readings/*", "targets/*")


def contents(folder):
    return {path: path.read_bytes() for pattern in BOOK_FILES for path in folder.glob(pattern)}


@pytest.fixture(scope="session")
def studied(demo, tmp_path_factory):
    """The shell's study of the whole demo, run once: folder, exit code, what was printed, book untouched."""
    into = tmp_path_factory.mktemp("studied")
    before, printed = contents(demo), io.StringIO()
    with contextlib.redirect_stdout(printed):
        code = main(["study", str(demo), "--into", str(into), "--jobs", "2"])
    return {
        "into": into, "code": code, "printed": printed.getvalue(), "untouched": contents(demo) == before,
    }  # fmt: skip


@pytest.fixture(scope="session")
def effects(studied):
    return pd.read_csv(studied["into"] / "effects.csv").set_index("term")


@pytest.fixture(scope="session")
def truth(demo):
    model = pd.read_csv(demo / "truth/true-model.csv")
    return model[model["outcome"] == "L*"].set_index("term")["value"]


def test_all_went_well(studied):
    assert studied["code"] == 0


def test_the_book_is_left_as_it_was(studied):
    assert studied["untouched"]


def test_files(studied):
    names = {path.name for path in studied["into"].iterdir()}
    tables = {"measures.csv", "firings.csv", "results.csv", "effects.csv"}
    assert tables | {f"firing f{k}.png" for k in range(1, 7)} <= names
    assert tables | {"effects.png", "firings.png", "answer.md", "review", "pots by sugar.png"} <= names
    assert {"colour.csv", "dose of sugar.png"} <= names
    reviews = {path.name for path in (studied["into"] / "review").iterdir()}
    assert len(reviews) == 2 * 89 + 1 and "index.html" in reviews


def test_the_answer_says_what_each_firing_did(studied):
    answer = (studied["into"] / "answer.md").read_text(encoding="utf-8")
    firings = pd.read_csv(studied["into"] / "firings.csv").set_index("firing")
    for firing, row in firings.iterrows():
        assert f"- {firing}: peak {row['peak_C']:.0f} °C" in answer
        assert row["peak_C low"] < row["peak_C"] < row["peak_C high"]
    # Read by hand every few minutes, its bounds are wider.
    widths = firings["minutes_above_660_C high"] - firings["minutes_above_660_C low"]
    assert widths["f6"] > 2 * widths.drop("f6").max()


def test_a_schedule_is_drawn_and_compared(studied, demo, tmp_path):
    book = open_book(demo)
    plans = ["1500 degC/h to 550 degC; 900 degC/h to 750 degC", "up and away", "", "", "", ""]
    planned = MeasuredBook(
        replace(book, firings=book.firings.assign(schedule=plans)),
        *(pd.read_csv(studied["into"] / f"{name}.csv") for name in ("measures", "firings", "results")),
    )
    first, second, third, *_ = planned.firing_lines()
    assert "hotter at minute" in first and "than planned" in first
    assert second.endswith("Its schedule: it is no segment.") and "planned" not in third


def test_every_pot_is_measured(studied):
    results = pd.read_csv(studied["into"] / "results.csv")
    assert {column.heading for column in RESULTS} <= set(results.columns)
    assert results["L*"].notna().sum() == len(results) == 36
    # One pot was photographed from all around.
    assert results.set_index("pot")["views"].drop("p36").eq(2).all() and results["views"].iloc[-1] == 4


def test_measured_pots_are_near_the_truth(studied, demo):
    results = pd.read_csv(studied["into"] / "results.csv").set_index("pot")
    true = pd.read_csv(demo / "truth/pots.csv").set_index("pot")
    off = results["L*"] - true["L*"]
    assert off.abs().max() < 3
    assert off.abs().mean() < 1.5


def test_the_answer_names_sugar_and_darker(studied):
    answer = (studied["into"] / "answer.md").read_text(encoding="utf-8")
    sentence = next(line for line in answer.splitlines() if line.startswith("- ") and "ugar" in line)
    assert "darker" in sentence
    assert re.search(r"ugar.*darker", studied["printed"])
    assert "## Cautions" in answer


def test_sugars_true_effect_lies_in_the_interval(effects, truth):
    row = effects.loc["sugar"]
    assert row["low"] <= truth["sugar [g]"] <= row["high"]
    assert row["high"] < 0


@pytest.mark.parametrize(
    "name", ["copper sulphate [g]", "ferric chloride [coats]", "clay: groggy buff", "peak [degC]"]
)
def test_the_other_true_effects_lie_in_their_intervals(effects, truth, name):
    # The clays' true difference is none, so that its sign is of no matter.
    bare = re.split(r" \[|:", name)[0]
    rows = effects[effects.index.str.match(rf"{bare}(\b|_)")]
    assert len(rows) == 1, effects.index.tolist()
    assert rows["low"].item() <= truth[name] <= rows["high"].item()


def test_the_true_effect_of_the_packing_lies_in_its_interval(effects, truth):
    # A pot is packed in 20 g of seaweed or 30 g of sawdust, so that the grams of one tell of the other.
    judged = {"sawdust": -truth["packing: seaweed"] / 30, "seaweed": truth["packing: seaweed"] / 20}
    found = [name for name in judged if name in effects.index]
    assert found
    for name in found:
        assert effects.loc[name, "low"] <= judged[name] <= effects.loc[name, "high"]


def test_of_two_packings_that_exclude_each_other_one_is_judged(studied, effects):
    assert len({"sawdust", "seaweed"} & set(effects.index)) == 1
    assert "Not judged" in studied["printed"]


@pytest.fixture
def known(demo):
    true = pd.read_csv(demo / "truth/pots.csv").rename(columns={"peak [degC]": "peak_C"})
    return open_book(demo).pots.merge(true[["pot", "peak_C", "L*"]], on="pot")


def test_askable_gives_a_reason_for_what_it_passes_over(known):
    results = known.assign(**{"glaze": ["a"] * 35 + [""], "remark": [f"word {n}" for n in range(36)]})
    results = results[[c for c in results if c not in ("peak_C", "L*")] + ["peak_C", "L*"]]
    factors, not_judged = askable(results)
    reasons = dict(line.split(": ", 1) for line in not_judged)
    assert "sugar [g]" in factors
    assert factors[-1] == "peak_C"
    assert "blank for 1 of 36 pots" in reasons["glaze"]
    assert "36 different words" in reasons["remark"]
    assert not set(factors) & set(reasons)


def test_a_factor_that_the_book_has_not(known):
    with pytest.raises(UnknownNameError, match="glitter"):
        fit_effects(known, outcome="L*", factors=["glitter"])


def test_a_material_of_any_name_gives_a_picture_inside_the_folder(studied, demo, tmp_path):
    book = open_book(demo)
    odd = "../soda/ash [g]"
    measured = MeasuredBook(
        replace(book, pots=book.pots.rename(columns={"sugar [g]": odd})),
        pd.read_csv(studied["into"] / "measures.csv", keep_default_na=False),
        pd.read_csv(studied["into"] / "firings.csv", keep_default_na=False),
        pd.read_csv(studied["into"] / "results.csv").rename(columns={"sugar [g]": odd}),
    )
    effects = fit_effects(measured.results, outcome="L*", factors=[odd])
    write_study(Study(measured, effects, ()), tmp_path / "into")
    assert [path.name for path in (tmp_path / "into").glob("pots by*")] == ["pots by ..%2Fsoda%2Fash.png"]
    assert [path.name for path in tmp_path.iterdir()] == ["into"]


@pytest.fixture(scope="session")
def measured(studied, demo):
    """The demo as measured, read back from what the study wrote."""
    tables = {
        name: pd.read_csv(studied["into"] / f"{name}.csv") for name in ("measures", "firings", "results")
    }
    for table in tables.values():
        table["problems"] = table["problems"].astype("str").fillna("")
    return MeasuredBook(open_book(demo), **tables)


def test_the_answer_goes_from_the_sure_to_the_doubtful(studied):
    answer = (studied["into"] / "answer.md").read_text(encoding="utf-8")
    sections = re.findall("^## (.*)$", answer, re.MULTILINE)
    assert sections[:5] == [
        "The colour as a whole",
        "Pots of one firing side by side",
        "How much does what",
        "How far to trust this",
        "The firings",
    ]
    assert sections[-1] == "Cautions"
    assert re.search(r"With sugar: a difference of ΔE00 \d\.\d .*, plain to see; .* darker", answer)
    assert re.search(
        r"Pots with sugar came out \d\.\d L\* darker than pots without in the same firing", answer
    )
    assert re.search(r"- sugar: Each firing in turn predicted from the others", answer)
    assert "Asked firing by firing, the effects that are sure stay clear." in answer
    assert "caused" not in answer and "ignifican" not in answer


def test_a_book_read_back_gives_the_same_effects(measured, effects):
    again = study_results(measured)
    assert isinstance(again.effects, Effects)
    table = again.effects.table.set_index("term")
    assert table["estimate"].to_numpy() == pytest.approx(effects["estimate"].to_numpy(), rel=1e-5)


def test_options_reach_the_model(measured):
    done = study_results(
        measured,
        "L*",
        ["sugar", "clay"],
        forms={"sugar": "square root"},
        together=[("sugar", "clay")],
        squares=["sugar"],
    )
    assert [term.name for term in done.effects.terms][2:] == [
        "square root of sugar squared",
        "square root of sugar × clay",
    ]
    assert len(done.findings) == 1 + 2 + 2


def test_a_rating_and_a_state_have_models_of_their_own(measured, tmp_path):
    rated = study_results(measured, "rating")
    assert isinstance(rated.effects, Odds)
    assert rated.checks is rated.colour is None
    assert "surely went with rating" in rated.findings[0]
    lost = study_results(measured, "state", ["sugar", "clay"])
    assert "cracked" in " ".join(lost.findings)
    write_study(lost, tmp_path)
    assert not (tmp_path / "effects.png").exists()
    assert "# What changed state" in (tmp_path / "answer.md").read_text(encoding="utf-8")
    with pytest.raises(ModelError) as caught:
        study_results(measured, "rating", ["sugar", "clay"], together=[("sugar", "clay")])
    assert str(caught.value) == "model of rating: it does not take together. Leave together out."


def test_a_share_is_answered_in_shares(measured):
    done = study_results(measured, "dark share")
    assert done.colour is None
    assert any(re.search(r"The dark share was \d+ % with sugar", line) for line in done.findings)


def test_what_an_older_study_left_is_taken_away(measured, tmp_path):
    write_study(study_results(measured), tmp_path)
    assert (tmp_path / "dose of sugar.png").exists() and (tmp_path / "colour.csv").exists()
    write_study(study_results(measured, "dark share", ["clay"]), tmp_path)
    assert not (tmp_path / "dose of sugar.png").exists() and not (tmp_path / "colour.csv").exists()


def test_a_flag_is_told_once_for_all_photographs(studied):
    answer = (studied["into"] / "answer.md").read_text(encoding="utf-8")
    told = "89 photographs are flagged 'no colour profile'. Nothing is lost where the camera saves sRGB"
    assert answer.count("no colour profile") == answer.count(told) == 1
    assert studied["printed"].count(told) == 1


def test_few_flagged_photographs_are_named(measured):
    measures = measured.measures.assign(flags="")
    measures.loc[[3, 5], "flags"] = ["edited; high ISO", "edited"]
    told = [str(problem) for problem in replace(measured, measures=measures).problems]
    third, fifth = measures.loc[[3, 5], "photo"]
    assert told == [
        f"photos: 2 photographs are flagged 'edited' ({third}, {fifth}). Use the file as the camera wrote "
        "it.",
        f"photos: 1 photograph is flagged 'high ISO' ({third}). Use more light or a longer exposure on a "
        "stand.",
    ]
    assert not replace(measured, measures=measures.assign(flags=float("nan"))).problems


def test_pots_that_could_not_be_used_are_listed(measured):
    results = measured.results.copy()
    results.loc[results["pot"] == "p05", "L*"] = float("nan")
    answer = study_results(replace(measured, results=results)).answer()
    assert "## Pots left out\n\n- p05: no L*.\n" in answer


def test_a_firing_without_a_pot_is_not_counted(measured):
    empty = measured.firings.tail(1).assign(firing="f9")
    seen = replace(measured, firings=pd.concat([measured.firings, empty]))
    assert ", fired in 6 firings." in study_results(seen, "L*", ["sugar"]).answer()
    one = measured.results.assign(firing="f1")
    answer = study_results(replace(measured, results=one), "L*", ["sugar"]).answer()
    assert ", fired in 1 firing." in answer


def invented(seed, slope=-0.7):
    """Fifteen pots in three firings, where sugar does something that can just be told."""
    rng = np.random.default_rng(seed)
    table = pd.DataFrame({"firing": np.repeat(["A", "B", "C"], 5)})
    for name, amounts in (("sugar [g]", [0, 1, 2, 3, 4]), ("salt [g]", [0, 0, 3, 5, 2])):
        table[name] = np.concatenate([rng.permutation(amounts) for _ in range(3)]).astype(float)
    table["clay"] = rng.permutation(["buff", "white", "red"] * 5)
    table["L*"] = 40 + slope * table["sugar [g]"] + rng.normal(size=15)
    return table


def calls_sure(sentence):
    """Tell whether a sentence says of anything that it came out so, without doubt."""
    parts = re.split(r"(?<=darker\))|(?<=lighter\))", sentence)
    return any(
        re.search("came out|they can: ", part) and "not sure" not in after
        for part, after in zip(parts, [*parts[1:], ""], strict=True)
    )


def test_headline_and_sentences_go_by_one_rule():
    said, parted = [], 0
    for seed in range(16):
        effects = fit_effects(invented(seed), factors=["sugar", "salt", "clay"])
        headline, *_ = Study(None, effects).findings
        named = headline.partition(": ")[2].removesuffix(".").split(", ")
        sure = [factor.name for factor in effects.factors if calls_sure(effects.sentence(factor.name))]
        assert named == (sure or ["none"]), (seed, headline, effects.sentences())
        said.append(tuple(sure))
        p = effects.table.set_index("term")["p"]
        parted += (
            sum((p[["sugar", "with sugar"]] < 0.05) & (multipletests(p, method="holm")[1][3:5] > 0.05)) == 1
        )
    assert {(), ("sugar",)} <= set(said)
    # In these Holm alone would call one way of asking sure, and the other a thing of chance.
    assert parted


def test_a_choice_that_shows_in_a_pair_alone_is_named_with_it():
    rng = np.random.default_rng(4)
    table = pd.DataFrame({"firing": np.repeat(["A", "B", "C", "D"], 8), "sugar [g]": [0.0, 2, 4, 6] * 8})
    table["clay"] = np.tile(np.repeat(["buff", "white"], 4), 4)
    table["L*"] = (table["sugar [g]"] - 3) * np.where(table["clay"] == "buff", 2, -2) + rng.normal(40, 1, 32)
    effects = fit_effects(table, factors=["sugar", "clay"], together=[("sugar", "clay")])
    assert Study(None, effects).findings[0] == (
        "Of 2 choices judged, 2 surely changed L*: sugar (as it goes with clay), clay (as it goes with "
        "sugar)."
    )
    table["L*"] = (table["sugar [g]"] - 3) ** 2 + rng.normal(40, 1, 32)
    effects = fit_effects(table, factors=["sugar"], squares=["sugar"])
    assert Study(None, effects).findings[0] == "Of 1 choice judged, 1 surely changed L*: sugar (as it bends)."


def test_a_firing_without_a_record_is_named():
    table = invented(0).assign(peak_C=[750.0] * 5 + [float("nan")] * 10)
    reasons = askable(table)[1]
    assert reasons[-1] == "peak temperature: firings B, C have no temperature record that could be read"
    table["peak_C"] = [750.0] * 5 + [760.0] * 5 + [float("nan")] * 5
    reasons = askable(table)[1]
    assert reasons[-1] == "peak temperature: firing C has no temperature record that could be read"


@pytest.mark.parametrize(
    ("heading", "value", "remedy"),
    [
        ("hair [g]", 2.0, "write 0 where there was none"),
        ("bisque [degC]", 990.0, "fill in what it was"),
        ("weed", "kelp", "write a word for it, such as none, where there was none"),
    ],
)
def test_what_is_blank_is_to_be_filled_in_by_what_it_is(heading, value, remedy):
    table = invented(0).assign(**{heading: [None] * 3 + [value] * 12})
    assert f"{heading}: it is blank for 3 of 15 pots; {remedy}" in askable(table)[1]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("lightness", "Did you mean 'L*'?"),
        ("Redness", "Did you mean 'a*'?"),
        ("hue", "Did you mean 'a*' or 'b*'?"),
        ("colour", "Did you mean 'L*' or 'a*' or 'b*'?"),
        ("dark shar", "Did you mean 'dark share' or 'glare share'?"),
        ("shine", "It can be L*, a*, b*, C*ab, dark share, rating, state, or another column of numbers."),
    ],
)
def test_what_can_be_asked_is_named(demo, tmp_path, asked, told):
    with pytest.raises(UnknownNameError) as caught:
        study(open_book(demo), tmp_path / "into", asked)
    assert str(caught.value) == f"outcome '{asked}': the table has no such column. {told}"


def test_no_two_names_share_a_file():
    names = ["a/b", "a:b", "a-b", "a%2Fb", "a b", "a.b", "ä⸺b"]
    files = [file_name(name) for name in names]
    assert len(set(files)) == len(names)
    assert not set("/:\\") & set("".join(files))


def test_askable_takes_any_table():
    table = pd.DataFrame(
        {
            "firing": ["f1", "f2", "f3"] * 8,
            "salt": [k % 8 for k in range(24)],
            "L*": [40 + k % 5 for k in range(24)],
            "glaze": ["a", "b"] * 12,
        }
    )
    assert askable(table) == (["salt", "glaze"], ())
    with pytest.raises(UnknownNameError, match="outcome 'a\\*': the table has no such column"):
        askable(table, "a*")
    with pytest.raises(UnknownNameError, match="It has no columns at all"):
        askable(pd.DataFrame())


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"outcome": "hue angle"}, "outcome 'hue angle': angles run past 360°"),
        ({"outcome": "notes"}, "outcome 'notes': it holds words."),
        ({"outcome": "rating", "squares": ["sugar"]}, "model of rating: it does not take squares."),
        ({"forms": {"sugar": "cube"}}, "form 'cube' of sugar: there is no such form."),
        ({"forms": {"clay": "log1p"}}, "form 'log1p' of clay: the column holds words."),
        ({"squares": ["clay"]}, "square of clay: a category has none."),
        ({"together": [("sugar", "sugar [g]")]}, "together sugar [g]: it names one factor twice."),
        ({"above": "dat"}, "column 'dat': the table has no such column. Did you mean 'date'?"),
    ],
)
def test_a_question_is_checked_before_anything_is_measured(demo, tmp_path, asked, told):
    with pytest.raises((ModelError, UnknownNameError)) as caught:
        study(open_book(demo), tmp_path / "into", **asked)
    assert str(caught.value).startswith(told)
    assert not (tmp_path / "into").exists()


def test_the_words_fit_the_outcome(measured):
    assert "ΔE00" in study_results(measured).answer().split("## ")[0]
    share = study_results(measured, "dark share", ["sugar"], above="date").answer().split("## ")[0]
    assert "L* below 30" in share and "ΔE00" not in share
    assert "The scatter between dates is counted, too." in share
    odds = study_results(measured, "state", ["sugar"]).answer().split("## ")[0]
    assert "twice the odds" in odds and "clear of even odds" in odds
