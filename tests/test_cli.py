"""The shell: exit codes, what is printed, and that nothing of the book is touched."""

import datetime as dt
import io
import os
import re
import shutil
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pandas as pd
import psutil
import pytest

from sagglab import open_book
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
    assert all(verb in printed for verb in ("check", "measure", "study", "plan", "pace"))


def test_measure_writes_tables_and_reviews_and_leaves_the_book(small_book, tmp_path, capsys):
    before, into = contents(small_book), tmp_path / "into"
    assert main(["measure", str(small_book), "--into", str(into), "--jobs", "1"]) == 0
    assert f"are in {into}" in capsys.readouterr().out
    measures = pd.read_csv(into / "measures.csv")
    assert measures.columns.tolist() == [column.heading for column in MEASURES]
    names = [name.replace("/", "-").removesuffix(".jpg") for name in measures["photo"]]
    pictures = {f"{name}{ending}" for name in names for ending in (".jpg", "-small.jpg")}
    assert {path.name for path in (into / "review").iterdir()} == pictures | {"index.html"}
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
    assert "warning: firings, row 2, column 'readings': readings/f1.csv, column" in printed
    assert "photos/p01-back.jpg: it is no picture in a known format" in printed


def test_pictures_of_another_book_are_not_left_behind(small_book, tmp_path):
    (tmp_path / "review").mkdir()
    (tmp_path / "review/old.jpg").write_text("")
    assert main(["measure", str(small_book), "--into", str(tmp_path)]) == 0
    assert not (tmp_path / "review/old.jpg").exists()


# --- at the kiln


@pytest.fixture
def kiln(small_book, tmp_path):
    """A book with a firing to come, f7, whose record is not named yet, and others."""
    folder = tmp_path / "book"
    shutil.copytree(small_book, folder)
    firings = pd.read_csv(folder / "firings.csv", dtype=str)
    new = [firings.iloc[0].copy() for _ in range(4)]
    for row, (name, file) in zip(
        new,
        [("f7", None), ("f8", "readings/eight.csv"), ("../pots", None), ("f9", "../nine.csv")],
        strict=True,
    ):
        row["firing"], row["readings"] = name, file
    new[1]["target peak [degC]"] = None
    pd.concat([firings, pd.DataFrame(new)]).to_csv(folder / "firings.csv", index=False)
    return folder


@pytest.fixture
def typing(monkeypatch, capsys):
    """Give a function that runs `pace` with some lines typed in, each five minutes after the one before."""

    def typed(folder, firing, lines, *options, code=0, start=(14, 0)):
        clock = dt.datetime(2026, 5, 1, *start).astimezone()
        script = iter(lines)

        def ask(prompt):
            nonlocal clock
            clock += dt.timedelta(minutes=5)
            line = next(script, None)
            if line is None:
                raise EOFError
            if isinstance(line, BaseException):
                raise line
            sys.stdout.write(f"{prompt}{line}\n")
            return line

        monkeypatch.setattr("builtins.input", ask)
        monkeypatch.setattr("sagglab.firing.kiln_log._now", lambda: clock)
        assert main(["pace", str(folder), firing, *options]) == code
        return capsys.readouterr()

    return typed


def kept(folder, name="f7"):
    return (folder / f"readings/{name}.csv").read_text().splitlines()


def test_pace_at_the_kiln(kiln, typing):
    before = contents(kiln)
    out = typing(kiln, "f7", ["20 C", "170", "310", "440", "done"], "--minute", "40").out
    assert "°C> 440" in out
    assert (
        "minute 15: 440 °C (824 °F). Needs 744 °C/h (1339 °F/h) to be at 750 °C (1382 °F) at minute 40; "
        "climbing 1620 °C/h (2916 °F/h): " in out
    )
    assert "4 readings, in " in out
    lines = kept(kiln)
    assert lines[0] == "time,temperature [degC],flag"
    assert [line.split(",")[1:] for line in lines[1:]] == [["20", ""], ["170", ""], ["310", ""], ["440", ""]]
    after = contents(kiln)
    assert {name for name in after if after[name] != before.get(name)} == {Path("readings/f7.csv")}


def test_pace_begins_with_the_cautions_and_what_to_type(kiln, typing):
    said = typing(kiln, "f7", []).out.splitlines()
    words = " ".join(said[:4])
    for caution in ("outdoors", "carbon monoxide", "gas at the cylinder first", "dangerously hot"):
        assert caution in words
    assert said[4].startswith("Type a temperature")
    assert "No reading was kept." in said
    assert not (kiln / "readings/f7.csv").exists()


def test_pace_asks_for_a_unit_and_then_keeps_to_it(kiln, typing):
    out = typing(kiln, "f7", ["68", "68 F", "338", "170 C"]).out
    assert "> 68\nNothing was kept: say the unit with the first reading, as in 68 C or 68 F." in out
    assert "°F> 338\n" in out
    assert kept(kiln)[0] == "time,temperature [degF],flag"
    assert [line.split(",")[1] for line in kept(kiln)[1:]] == ["68", "338", "338"]


def test_pace_with_a_unit_from_the_command(kiln, typing):
    out = typing(kiln, "f7", ["68", "338"], "--unit", "F").out
    assert "°F> 68\nminute 0: 20 °C (68 °F)" in out
    assert kept(kiln)[0] == "time,temperature [degF],flag"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("hot", "'hot' is no temperature"),
        ("1.2.3", "'1.2.3' is no temperature"),
        ("14:20", "'14:20' is a time without a temperature"),
        ("1200", "1200 °C (2192 °F) is hotter than any kiln of this kind gets"),
        ("1200 C", "is hotter than"),
        ("2100 F", "is hotter than"),
        ("-61", "-61 °C (-78 °F) is colder than any kiln shed"),
        ("1,000", "'1,000' can mean thousands or decimals"),
        ("700 bananas", "'bananas' is no unit of temperature"),
        ("700 K", "'K' is no unit of temperature"),
        ("14:01 700", "14:01:00 is not after the last reading, at 14:05:00"),
        ("14:05 700", "14:05:00 is not after the last reading, at 14:05:00"),
        ("15:30 700", "15:30 is still to come: this computer's clock says 14:10"),
        ("25:00 700", "'25:00' is no time of day"),
        ("__import__('os')", "is no temperature"),
    ],
)
def test_a_wrong_line_is_told_and_nothing_is_kept(kiln, typing, line, told):
    out = typing(kiln, "f7", ["20 C", line]).out
    assert "Nothing was kept: " in out and told in out
    assert len(kept(kiln)) == 2
    assert "1 reading, in " in out


def test_the_time_can_be_typed(kiln, typing):
    typing(kiln, "f7", ["14:01 20 C", "14:07:30 200"])
    assert [line[11:19] for line in kept(kiln)[1:]] == ["14:01:00", "14:07:30"]


def test_a_time_before_midnight_belongs_to_the_day_before(kiln, typing):
    typing(kiln, "f7", ["23:59 20 C", "0:04 170"], start=(0, 0))
    assert [line[:19] for line in kept(kiln)[1:]] == ["2026-04-30T23:59:00", "2026-05-01T00:04:00"]


def test_striking_out(kiln, typing):
    out = typing(kiln, "f7", ["-", "20 C", "300", "-", "170"]).out
    assert "Nothing was kept: there is no reading to strike out." in out
    assert "Struck out: 300 °C at 14:15:00." in out
    assert "2 readings, 1 more struck out, in " in out
    assert [line.split(",")[1:] for line in kept(kiln)[1:]] == [
        ["20", ""],
        ["300", "struck out"],
        ["170", ""],
    ]


def test_an_empty_line_says_it_again(kiln, typing):
    out = typing(kiln, "f7", ["", "20 C", "170", ""]).out
    assert "No reading counts yet." in out
    assert out.count("minute 5: 170 °C (338 °F).") == 2
    assert "That was 5 min ago." in out


@pytest.mark.parametrize("word", ["help", "?", "HELP"])
def test_help_at_the_kiln(kiln, typing, word):
    out = typing(kiln, "f7", [word]).out
    assert "strikes out the last reading" in out and "14:05 680" in out


@pytest.mark.parametrize("end", [EOFError(), KeyboardInterrupt(), "done", " Done "])
def test_every_end_says_where_the_readings_are(kiln, typing, end):
    assert "1 reading, in " in typing(kiln, "f7", ["20 C", end]).out


def test_going_on_later(kiln, typing):
    typing(kiln, "f7", ["68 F"])
    (kiln / "readings/f7.csv").write_text((kiln / "readings/f7.csv").read_text().replace("T14:05", "T13:55"))
    out = typing(kiln, "f7", ["338"]).out
    assert "minute 0: 20 °C (68 °F)" in out and "minute 10: 170 °C (338 °F)" in out
    assert kept(kiln)[-1].split(",")[1] == "338"


def test_a_step_that_no_kiln_makes_is_asked_for_again(kiln, typing):
    lines = ["13:00 20 C", "13:05 170", "13:10 310", "13:15 900", "13:15 440", "13:20 900", "13:20 900", "-"]
    out = typing(kiln, "f7", lines).out
    assert (
        "Nothing was kept: from 310 °C (590 °F) to 900 °C (1652 °F) in 5.0 min is more than a kiln can do. "
        "Type the same again if it is right." in out
    )
    assert "minute 15: 440 °C (824 °F). " in out
    assert "Struck out: 900 °C at 13:20:00." in out
    assert [line.split(",")[1:] for line in kept(kiln)[1:]] == [
        ["20", ""], ["170", ""], ["310", ""], ["440", ""], ["900", "struck out"],
    ]  # fmt: skip


def test_a_time_of_twelve_hours_is_asked_for_again_or_settled(kiln, typing):
    out = typing(kiln, "f7", ["2:05 20 C", "2:05 pm 20 C", "2:10 PM 170"], start=(14, 20)).out
    assert "Nothing was kept: 02:05 was 12 h ago. Type the same again if it is right." in out
    assert [line[11:19] for line in kept(kiln)[1:]] == ["14:05:00", "14:10:00"]


def test_the_target_is_that_of_the_command_the_table_or_none(kiln, typing):
    assert "750 °C (1382 °F) is wanted" in typing(kiln, "f7", ["20 C"]).out
    assert "700 °C (1292 °F) is wanted" in typing(kiln, "f7", ["30"], "--target", "1292 degF").out
    out = typing(kiln, "f8", ["20 C", "170"]).out
    assert "wanted" not in out and "minute 5: 170 °C (338 °F); climbing 1800 °C/h" in out
    assert kept(kiln, "eight")[0] == "time,temperature [degC],flag"
    assert "write readings/" not in out


def test_a_schedule_says_what_is_wanted_and_when(kiln, typing):
    table = kiln / "firings.csv"
    lines = table.read_text().splitlines()
    rows = [f"{line},{'600 degC/h to 620 degC; hold 5 min' * (line.startswith('f8,'))}" for line in lines]
    table.write_text("\n".join([f"{lines[0]},schedule", *rows[1:]]) + "\n")
    out = typing(kiln, "f8", ["20 C", "170"]).out
    assert "to be at 620 °C (1148 °F) at minute 60; " in out


@pytest.mark.parametrize("minute", ["38m", "12:40", "0", "nan"])
def test_a_minute_that_is_none(kiln, typing, minute, capsys):
    with pytest.raises(SystemExit):
        main(["pace", str(kiln), "f7", "--minute", minute])
    assert "it takes a number of minutes above zero" in capsys.readouterr().err


def test_an_unknown_firing_is_told_with_those_there_are(kiln, typing):
    err = typing(kiln, "f77", [], code=1).err
    assert "firing 'f77': book has no such firing. Give one of those in the table firings (f1, f7, f8" in err


@pytest.mark.parametrize(
    ("firing", "told"), [("../pots", "no file can be called"), ("f9", "outside the book")]
)
def test_a_record_stays_inside_the_book(kiln, typing, firing, told):
    before = contents(kiln.parent)
    assert told in typing(kiln, firing, ["20 C"], code=1).err
    assert contents(kiln.parent) == before


def test_the_export_of_a_logger_is_not_typed_into(kiln, typing):
    before = contents(kiln)
    assert "it is not a record that was typed here" in typing(kiln, "f1", ["20 C"], code=1).err
    assert contents(kiln) == before


def test_pace_works_where_other_tables_have_faults(kiln, typing):
    (kiln / "pots.csv").write_text("pot,firing,sugar [g]\np1,f99,a lot\np1,f7,2\n")
    assert "1 reading, in " in typing(kiln, "f7", ["20 C"]).out


@pytest.mark.parametrize(
    "options",
    [["--target", "750"], ["--target", "hot"], ["--minute", "0"], ["--minute", "nan"], ["--unit", "K"]],
)
def test_wrong_options_of_pace(kiln, options):
    with pytest.raises(SystemExit) as stopped:
        main(["pace", str(kiln), "f7", *options])
    assert stopped.value.code == 2


def test_a_disk_that_is_full_is_told_and_the_prompt_goes_on(kiln, typing, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sagglab.firing.typed.write_whole", full)
    out = typing(kiln, "f7", ["20 C", "170 C"]).out
    assert out.count("Nothing was kept: it could not be saved (No space left on device).") == 2
    assert "No reading was kept." in out


def test_readings_can_be_piped_in(kiln):
    # Asked for again wherever the clock says that it was hours ago.
    lines = "0:00:01 20 C\n0:00:01 20 C\n0:00:02 21\n0:00:02 21\n-\n"
    run = subprocess.run(
        [sys.executable, "-c", "import sys; from sagglab.cli import main; sys.exit(main())"]
        + ["pace", str(kiln), "f7", "--minute", "38"],
        input=lines,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "1 reading, 1 more struck out, in " in run.stdout
    assert [line[11:19] for line in kept(kiln)[1:]] == ["00:00:01", "00:00:02"]
    assert run.stderr == ""


def test_a_misspelt_pair_is_told_before_anything_is_measured(demo, tmp_path, capsys):
    asked = ["study", str(demo), "--into", str(tmp_path / "into"), "--together", "sugar", "clya"]
    assert main(asked) == 1
    assert "factor 'clya': the table has no such column" in capsys.readouterr().err
    assert not (tmp_path / "into").exists()


NOTES = """Pot,Kiln load,Date,Sugar (g),Clay,Remarks
A1,1,2026-05-31,4,white,lovely
A2,1,2026-05-31,0,white,
B1,2,2026-06-07,2.5,buff,cracked
"""


@pytest.fixture
def notes(tmp_path):
    (tmp_path / "notes.csv").write_text(NOTES)
    return tmp_path / "notes.csv"


def test_a_new_book_that_is_still_empty_says_what_to_write_first(tmp_path, capsys):
    folder = str(tmp_path / "book")
    assert main(["new", folder, "--csv", "--paper", "letter"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Made in book: photos/, readings/, pots.csv") and "Take care: " in out
    assert main(["check", folder]) == 0
    out = capsys.readouterr().out
    assert "0 setups\nNo firing is written down yet. Begin with" in out and "no problems" not in out
    for verb in ("measure", "study", "handout"):
        assert main([verb, folder, "--into", str(tmp_path / "into")]) == 1
        assert "no firing is written down yet. Begin with the table firings" in capsys.readouterr().err
    with (tmp_path / "book/firings.csv").open("a") as firings, (tmp_path / "book/pots.csv").open("a") as pots:
        firings.write("f1,2026-05-31\n")
        pots.write("p1,f1\n")
    assert main(["study", folder, "--into", str(tmp_path / "into"), "--jobs", "1"]) == 1
    assert "outcome 'L*': no pot has it yet. Photograph the pots with" in capsys.readouterr().err


def test_notes_without_a_mapping_are_asked_about_and_not_guessed(notes, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO())
    book = tmp_path / "book"
    asked = ["new", str(book), "--from", str(notes)]
    assert main(asked) == 1
    printed = capsys.readouterr()
    assert "Sugar (g)" in printed.out and "run this again with --mapping" in printed.err
    assert set(contents(book)) == {Path("mapping.toml")}
    assert main(asked) == 1
    assert "there is a mapping from before. Use it with --mapping" in capsys.readouterr().err
    assert main([*asked, "--mapping", str(book / "mapping.toml")]) == 0
    assert "Left as it was: mapping.toml." in capsys.readouterr().out
    opened = open_book(book)
    assert opened.pots["pot"].tolist() == ["A1", "A2", "B1"]
    assert opened.pots["sugar [g]"].tolist() == [4, 0, 2.5]
    assert opened.firings["date"].dt.day.tolist() == [31, 7]
    assert not opened.problems.stopping
    assert main([*asked, "--mapping", str(book / "mapping.toml")]) == 1
    assert "it has tables already: book.xlsx. Name a new folder" in capsys.readouterr().err


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_answers_about_notes_are_written_down(notes, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr("builtins.input", lambda prompt="": "")
    assert main(["new", str(tmp_path / "book"), "--csv", "--from", str(notes)]) == 0
    assert "Sugar (g)" in capsys.readouterr().out
    assert "Sugar (g)" in (tmp_path / "book/mapping.toml").read_text()
    assert open_book(tmp_path / "book").pots["clay"].tolist() == ["white", "white", "buff"]


def test_where_no_book_can_be_is_said_before_anything_is_asked(notes, tmp_path, capsys, monkeypatch):
    def ask(prompt=""):
        raise AssertionError("asked in vain")

    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr("builtins.input", ask)
    for folder, said in ((notes, "it is a file"), (notes / "a/b", "it cannot be made or written into")):
        assert main(["new", str(folder), "--from", str(notes)]) == 1
        assert said in capsys.readouterr().err
    monkeypatch.setattr("os.access", lambda place, kind: False)
    assert main(["new", str(tmp_path / "book"), "--from", str(notes)]) == 1
    assert "(Permission denied). Name a folder of your own" in capsys.readouterr().err
    assert not (tmp_path / "book").exists()


#: As open as Jupyter can be made; but for the first line, which lets the tests run as root.
OPEN = """c.ServerApp.allow_root = True
c.ServerApp.ip = "0.0.0.0"
c.ServerApp.token = c.IdentityProvider.token = c.PasswordIdentityProvider.token = ""
c.ServerApp.password = c.PasswordIdentityProvider.hashed_password = ""
c.ServerApp.allow_remote_access = c.ServerApp.disable_check_xsrf = True
c.ServerApp.allow_origin = "*"
c.ServerApp.root_dir = "/"
c.ServerApp.open_browser = c.LabApp.open_browser = True
"""


def status(address, **headers):
    try:
        request = urllib.request.Request(address, headers=headers)
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


@pytest.fixture
def served(tmp_path):
    """Start the notebooks of a book under a configuration that opens them to everyone, and stop them."""
    (tmp_path / "config").mkdir()
    for name in ("jupyter_server", "jupyter_lab", "jupyter"):
        (tmp_path / "config" / f"{name}_config.py").write_text(OPEN)
    (tmp_path / "book/notebooks").mkdir(parents=True)
    (tmp_path / "book/notebooks/one.ipynb").write_text("{}")
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(tmp_path / "config"),
        "JUPYTER_RUNTIME_DIR": str(tmp_path / "run"),
        "JUPYTER_TOKEN": "known",
        "BROWSER": "false",
    }
    server = subprocess.Popen(
        [sys.executable, "-c", "import sys; from sagglab.cli import main; sys.exit(main())"]
        + ["notebooks", str(tmp_path / "book"), "--no-browser"],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    yield server
    server.kill()
    server.wait()
    server.stdout.close()


def test_notebooks_are_open_to_this_machine_and_token_alone(served):
    line = served.stdout.readline()
    address = re.search(r"(http://127\.0\.0\.1:\d+/)lab/tree/notebooks\?reset&token=([\w-]{40,})", line)
    assert address is not None, line
    root, token = address.groups()
    listening = [
        one.laddr.ip for one in psutil.Process(served.pid).net_connections() if one.status == "LISTEN"
    ]
    assert listening == ["127.0.0.1"]
    assert status(f"{root}api/contents") == 403
    assert status(f"{root}api/contents?token=known") == 403
    assert status(f"{root}api/contents/notebooks/one.ipynb?content=0&token={token}") == 200
    assert status(address.group(), Host="elsewhere.example") == 403
    assert status(address.group()) == 200
    assert not any(token in word for word in psutil.Process(served.pid).cmdline())
