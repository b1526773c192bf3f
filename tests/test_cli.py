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
    assert "fault" not in printed


def test_check_prints_every_fault(faulty, capsys):
    assert main(["check", str(faulty)]) == 1
    printed = capsys.readouterr().out
    for told in ("p01", "a lot", "f9"):
        assert told in printed
    assert printed.count("fault: ") >= 3


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
    assert f"are in {into}" in capsys.readouterr().out
    measures = pd.read_csv(into / "measures.csv")
    assert measures.columns.tolist() == [column.heading for column in MEASURES]
    assert {path.name for path in (into / "review").iterdir()} == {
        name.replace("/", "-") for name in measures["photo"]
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


@pytest.mark.parametrize("jobs", ["0", "-2", "many"])
def test_a_senseless_number_of_processes_is_wrong_usage(demo, jobs):
    with pytest.raises(SystemExit) as stopped:
        main(["measure", str(demo), "--jobs", jobs])
    assert stopped.value.code == 2


def test_an_option_is_not_guessed_from_its_beginning(demo):
    with pytest.raises(SystemExit) as stopped:
        main(["study", str(demo), "--outcom", "b*"])
    assert stopped.value.code == 2


def test_a_file_where_the_results_folder_should_be(small_book, tmp_path, capsys):
    (tmp_path / "taken").write_text("mine")
    assert main(["measure", str(small_book), "--into", str(tmp_path / "taken")]) == 1
    assert "taken" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


def test_an_outcome_of_words_is_told(small_book, tmp_path, capsys):
    assert main(["study", str(small_book), "--into", str(tmp_path / "x"), "--outcome", "place"]) == 1
    assert "outcome 'place': it holds words" in capsys.readouterr().err


def test_check_looks_into_records_and_photographs(small_book, tmp_path, capsys):
    folder = tmp_path / "book"
    shutil.copytree(small_book, folder)
    (folder / "readings/f1.csv").write_text("minutes,temperature\n0,20\n40,750\n")
    (folder / "photos/p01-back.jpg").write_text("no picture")
    assert main(["check", str(folder)]) == 0
    printed = capsys.readouterr().out
    assert "warning: firings, row 2, column 'readings': 'readings/f1.csv'" in printed
    assert "'photos/p01-back.jpg': it is no picture in a known format" in printed


def test_pictures_of_another_book_are_not_left_behind(small_book, tmp_path):
    (tmp_path / "review").mkdir()
    (tmp_path / "review/old.jpg").write_text("")
    assert main(["measure", str(small_book), "--into", str(tmp_path)]) == 0
    assert not (tmp_path / "review/old.jpg").exists()
