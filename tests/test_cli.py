"""The shell: exit codes, what is printed, and that nothing of the book is touched."""

import shutil

import pandas as pd
import pytest

from sagglab.cli import main
from sagglab.columns import MEASURES


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def faulty(demo, tmp_path):
    folder = tmp_path / "faulty"
    folder.mkdir()
    for name in ("pots", "firings", "photos", "setups"):
        shutil.copy(demo / f"{name}.csv", folder)
    for part in ("photos", "readings", "targets"):
        (folder / part).symlink_to(demo / part)
    pots = pd.read_csv(folder / "pots.csv", dtype=str)
    pots.loc[1, "pot"] = "p01"
    pots.loc[4, "sugar [g]"] = "a lot"
    pots.loc[7, "firing"] = "f9"
    pots.to_csv(folder / "pots.csv", index=False)
    return folder


def test_check_of_a_good_book(demo, capsys):
    assert main(["check", str(demo)]) == 0
    printed = capsys.readouterr().out
    assert "36 pots, 6 firings" in printed
    assert "stops the work" not in printed


def test_check_prints_every_fault(faulty, capsys):
    assert main(["check", str(faulty)]) == 1
    printed = capsys.readouterr().out
    for told in ("p01", "a lot", "f9"):
        assert told in printed
    assert printed.count("stops the work") >= 3


@pytest.mark.parametrize("verb", ["measure", "study"])
def test_faults_stop_the_work(faulty, tmp_path, capsys, verb):
    assert main([verb, str(faulty), "--into", str(tmp_path / "into")]) == 1
    told = capsys.readouterr().err
    assert "a lot" in told
    assert "f9" in told
    assert "Traceback" not in told


@pytest.mark.parametrize(
    "words", [[], ["weigh", "book"], ["check"], ["study", "book", "--jobs", "many"], ["check", "a", "b"]]
)
def test_wrong_usage(words, capsys):
    with pytest.raises(SystemExit) as caught:
        main(words)
    assert caught.value.code == 2
    assert "usage: sagglab" in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["check", "measure", "study"])
def test_missing_folder(tmp_path, capsys, verb):
    assert main([verb, str(tmp_path / "none")]) == 1
    told = capsys.readouterr().err
    assert "there is no such folder" in told
    assert "Traceback" not in told


def test_help_names_the_verbs(capsys):
    with pytest.raises(SystemExit) as caught:
        main(["--help"])
    assert caught.value.code == 0
    printed = capsys.readouterr().out
    assert all(verb in printed for verb in ("check", "measure", "study"))


def test_measure_writes_tables_and_reviews_and_leaves_the_book(small_book, tmp_path, capsys):
    before, into = contents(small_book), tmp_path / "into"
    assert main(["measure", str(small_book), "--into", str(into), "--jobs", "1"]) == 0
    assert f"written to {into}" in capsys.readouterr().out
    measures = pd.read_csv(into / "measures.csv")
    assert measures.columns.tolist() == [column.heading for column in MEASURES]
    assert {path.name for path in (into / "review").iterdir()} == {
        name.removeprefix("photos/") for name in measures["photo"]
    }
    assert len(pd.read_csv(into / "results.csv")) == 4
    assert len(pd.read_csv(into / "firings.csv")) == 1
    assert contents(small_book) == before


def test_study_of_a_book_that_cannot_answer(small_book, tmp_path, capsys):
    # One measured pot: whatever is asked, no effect can be had.
    folder = tmp_path / "one pot"
    shutil.copytree(small_book, folder)
    photos = pd.read_csv(folder / "photos.csv", dtype=str)
    photos[photos["pot"].eq("p02") | photos["view"].eq("flat")].to_csv(folder / "photos.csv", index=False)
    into = tmp_path / "into"
    assert main(["study", str(folder), "--into", str(into), "--jobs", "1", "--factor", "sugar"]) == 1
    told = capsys.readouterr().err
    assert "Traceback" not in told
    assert len(told.strip().splitlines()[-1]) > 20


def test_a_misspelt_factor_is_told_before_anything_is_measured(demo, tmp_path, capsys):
    assert main(["study", str(demo), "--into", str(tmp_path / "into"), "--factor", "suger"]) == 1
    assert "factor 'suger': the table has no such column" in capsys.readouterr().err
    assert not (tmp_path / "into").exists()
