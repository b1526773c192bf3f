"""The next batch, the whole way: a book and a plan file in, a folder to work from out."""

import shutil

import pandas as pd
import pypdf
import pytest

from sagglab import gather_results, open_book
from sagglab.cli import main
from sagglab.columns import MEASURES, empty
from sagglab.errors import MissingFileError, PlanError
from sagglab.study import plan_book

WANTED = """
firings = 4
pots_per_firing = 4
model = "main"
seed = 3
{more}
[vary.sugar]
levels = [0, 4]
unit = "g"
[vary.peak]
levels = [725, 775]
unit = "degC"
per = "firing"
[same]
"slip [coats]" = 2
{tables}
"""


@pytest.fixture
def book(demo, tmp_path):
    """Copy the tables and records of the demo, without its photographs."""
    folder = tmp_path / "book"
    folder.mkdir()
    for file in demo.glob("*.csv"):
        shutil.copy(file, folder)
    for part in ("readings", "targets"):
        shutil.copytree(demo / part, folder / part)
    for table, column in (("photos", "photo"), ("setups", "flat")):
        there = pd.read_csv(folder / f"{table}.csv", dtype=str)
        (there.iloc[:0] if table == "photos" else there.drop(columns=column)).to_csv(
            folder / f"{table}.csv", index=False
        )
    return folder


@pytest.fixture
def plan_file(tmp_path):
    def write(more="", tables=""):
        path = tmp_path / "plan.toml"
        path.write_text(WANTED.format(more=more, tables=tables), encoding="utf-8")
        return path

    return write


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def test_the_demo_from_the_shell(demo, tmp_path, capsys):
    before = contents(demo)
    assert main(["plan", str(demo), str(demo / "next-batch.toml"), "--into", str(tmp_path / "plan")]) == 0
    assert contents(demo) == before
    printed = capsys.readouterr().out
    assert "36 pots in 6 firings of 6, kind 'best', dealt by lot with seed 11" in printed
    assert "of 100 such batches" in printed
    assert "decorative only" in printed
    runs = pd.read_csv(tmp_path / "plan" / "plan.csv")
    assert runs["pot"].tolist() == [f"p{number}" for number in range(37, 73)]
    assert runs["firing"].unique().tolist() == ["f7", "f8", "f9", "f10", "f11", "f12"]
    assert (runs.groupby("day")["peak [degC]"].nunique() == 2).all()
    assert (runs["sugar [g]"] + runs["copper sulphate [g]"]).max() <= 7
    assert (runs["clay"] == "smooth white").sum() <= 20
    assert (runs.groupby("firing")["place"].nunique() == 6).all()
    printed = "".join(
        page.extract_text() for page in pypdf.PdfReader(tmp_path / "plan/bench-sheet.pdf").pages
    )
    assert all(pot in printed for pot in runs["pot"])
    assert {
        "power.png",
        "likeness.png",
        "aliases.csv",
        "precision.csv",
        "plan.md",
        "predictions.csv",
    } <= contents(tmp_path / "plan").keys()


def test_its_rows_become_the_book(book, plan_file, tmp_path):
    planned = plan_book(open_book(book), plan_file(), tmp_path / "plan")
    rows = pd.read_excel(tmp_path / "plan" / "next-batch.xlsx", sheet_name=None, dtype=str)
    # Column by column as the book has them, so that a block can be pasted.
    own = pd.read_csv(book / "pots.csv", nrows=0).columns
    assert rows["pots"].columns[: len(own)].tolist() == own.tolist()
    for name in ("pots", "firings"):
        table = pd.concat([pd.read_csv(book / f"{name}.csv", dtype=str), rows[name]])
        table.to_csv(book / f"{name}.csv", index=False)
    grown = open_book(book)
    assert len(grown.pots) == 36 + 16
    assert not grown.problems.stopping
    results = gather_results(grown, empty(MEASURES)).set_index("pot")
    assert (
        results.loc[planned.plan.runs["pot"], "sugar [g]"].tolist() == planned.plan.runs["sugar [g]"].tolist()
    )
    assert (
        results.loc[planned.plan.runs["pot"], "target peak [degC]"].tolist()
        == planned.plan.runs["peak [degC]"].tolist()
    )


def test_the_shelf_is_kept_to(book, plan_file, tmp_path):
    shelf = pd.read_csv(book / "shelf.csv").set_index("material")
    shelf.loc["sugar", "in stock [g]"] = 22
    shelf.to_csv(book / "shelf.csv")
    planned = plan_book(open_book(book), plan_file(), tmp_path / "plan")
    # 22 g with a tenth more weighed out than the pots take: five pots of 4 g.
    assert planned.plan.runs["sugar [g]"].sum() <= 20
    assert planned.said == ("Of sugar the shelf holds 22 g, and the plan keeps to it.",)
    assert "Of sugar the shelf holds 22 g" in (tmp_path / "plan" / "plan.md").read_text(encoding="utf-8")


def test_the_scatter_of_an_earlier_study(book, plan_file, tmp_path):
    results = gather_results(open_book(book), empty(MEASURES))
    days = results["firing"].map({"f1": 3, "f2": -3, "f3": 0, "f4": 4, "f5": -4, "f6": 0})
    results["L*"] = 40 - 2 * results["sugar [g]"] + days + [0.5, -0.5, 1, -1] * 9
    results.to_csv(tmp_path / "results.csv", index=False)
    planned = plan_book(open_book(book), plan_file(), tmp_path / "plan", tmp_path / "results.csv")
    assert 0.6 < planned.precision.pot_sd < 1.0
    assert 2 < planned.precision.firing_sd < 5
    assert "as in the earlier result" in planned.precision.head


def test_firings_added_to_the_book(book, plan_file, tmp_path):
    more = 'add_to_book = true\nsharpen = ["sugar"]'
    planned = plan_book(open_book(book), plan_file(more), tmp_path / "plan")
    assert len(planned.plan.judged) == 36 + 16
    assert planned.precision.firings == 10
    assert planned.plan.runs["firing"].unique().tolist() == ["f7", "f8", "f9", "f10"]


@pytest.mark.parametrize(
    ("more", "tables", "told"),
    [
        ("colour = 3", "", "it holds 'colour', which has no meaning there"),
        ("firngs = 3", "", "did you mean firings"),
        ('sharpen = ["sugar"]', "", "write add_to_book = true as well"),
        ("", "[sheet]\npaper = 'vellum'", "there is no paper 'vellum'"),
        ("", "[limits]\ndusting_g = 2", "no pot may have sugar at 4 g"),
    ],
)
def test_faults_of_a_plan_file(demo, plan_file, tmp_path, capsys, more, tables, told):
    into = tmp_path / "plan"
    assert main(["plan", str(demo), str(plan_file(more, tables)), "--into", str(into)]) == 1
    printed = capsys.readouterr().err
    assert told in printed
    assert "Traceback" not in printed
    assert not (into / "plan.md").exists()


def test_files_that_are_not_there(demo, plan_file, tmp_path):
    with pytest.raises(MissingFileError, match="there is no such file"):
        plan_book(open_book(demo), tmp_path / "none.toml", tmp_path / "plan")
    with pytest.raises(MissingFileError, match="sagglab study"):
        plan_book(open_book(demo), plan_file(), tmp_path / "plan", tmp_path / "none.csv")


def test_too_few_firings_are_refused_before_the_search(demo, plan_file, tmp_path):
    path = plan_file()
    path.write_text(path.read_text().replace("firings = 4", "firings = 2"))
    with pytest.raises(PlanError, match="with 2 firings nothing is left to judge peak by"):
        plan_book(open_book(demo), path, tmp_path / "plan")
