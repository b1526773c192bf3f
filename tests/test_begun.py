"""`sagglab new`: what it makes, that nothing there is touched, and notebooks that ask the new book."""

import io
import json
import re
from dataclasses import replace

import pytest
from openpyxl import Workbook

from sagglab import open_book
from sagglab.book.fresh import OWN_TARGET
from sagglab.cli import main
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES
from sagglab.errors import (
    BookError,
    MissingFileError,
    NotInstalledError,
    Problem,
    Problems,
    SagglabError,
    UnknownNameError,
)
from sagglab.notes import propose_mapping, read_notes
from sagglab.study import begin_book, open_notebooks, own_notebooks
from sagglab.study.own_notebooks import _check_closed, _project_notebooks
from sagglab.targets import read_target

TABLES = [f"{name}.csv" for name in (*BOOK_TABLES, *OPTIONAL_TABLES, "columns")]


def contents(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    return begin_book(tmp_path_factory.mktemp("begun") / "my pots")


def test_what_a_new_book_holds(begun):
    names = set(contents(begun.folder))
    assert names == {name for name in begun.made if not name.endswith("/")}
    assert {"book.xlsx", OWN_TARGET, "photo-guide.pdf", "pot-tags.pdf"} <= names
    assert {name for name in begun.made if name.endswith("/")} == {"photos/", "readings/"}
    assert not any((begun.folder / "photos").iterdir()) and begun.kept == ()
    assert (begun.folder / "pot-tags.pdf").read_bytes().startswith(b"%PDF")
    book = open_book(begun.folder)
    assert book.problems == () and book.pots.empty
    assert (read_target(begun.folder / OWN_TARGET).lab == read_target("24-patch-from-2014-11").lab).all()


def test_it_says_what_was_made_and_what_to_do_first(begun):
    made, *steps = begun.sentences
    assert made.startswith("Made in my pots: photos/, readings/, book.xlsx, ")
    assert re.search(r"notebooks/ \(\d notebooks\)", made)
    assert [step[:2] for step in steps] == ["1.", "2.", "3.", "4.", "5."]
    assert "Begin with the table firings" in steps[1]
    assert f'sagglab check "{begun.folder}"' in steps[3]
    assert (
        repr(begun).endswith("Decorative ware only.") and "<li>Print photo-guide.pdf" in begun._repr_html_()
    )


def test_a_second_time_changes_nothing(begun):
    before = contents(begun.folder)
    again = begin_book(begun.folder, csv=True)
    assert again.made == () and set(again.kept) == set(begun.made)
    assert contents(begun.folder) == before
    assert again.sentences[0] == "my pots lacks nothing."


def test_an_older_book_is_given_what_it_lacks(tmp_path):
    (tmp_path / "firings.csv").write_text("firing\nf1\n")
    (tmp_path / "photos").mkdir()
    (tmp_path / "photo-guide.pdf").write_text("mine")
    added = begin_book(tmp_path)
    assert set(added.kept) == {"firings.csv", "photos/", "photo-guide.pdf"}
    assert not (tmp_path / "book.xlsx").exists() and (tmp_path / "pot-tags.pdf").exists()
    assert (tmp_path / "photo-guide.pdf").read_text() == "mine"
    assert any(name.startswith("notebooks/") for name in added.made)


def test_text_tables_in_place_of_a_workbook(tmp_path):
    begun = begin_book(tmp_path / "book", csv=True, paper="letter")
    assert set(TABLES) <= set(begun.made) and "book.xlsx" not in begun.made
    assert open_book(begun.folder).problems == ()


def test_what_cannot_be_begun(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(BookError, match="it is a file. Name a folder"):
        begin_book(tmp_path / "file")
    with pytest.raises(BookError, match=r"it cannot be made or written into \(Not a directory\)"):
        begin_book(tmp_path / "file" / "book")
    with pytest.raises(UnknownNameError, match="paper 'A3': there is no such paper"):
        begin_book(tmp_path / "book", paper="A3")
    with pytest.raises(BookError, match="there are no notes for it"):
        begin_book(tmp_path / "book", mapping="mapping.toml")
    with pytest.raises(BookError, match="sheet '2025': there are no notes for it"):
        begin_book(tmp_path / "book", sheet="2025")
    assert not (tmp_path / "book").exists()


def test_own_notebooks_ask_the_folder_above_and_hold_no_answers():
    own = own_notebooks()
    assert len(own) >= 4 and "gallery-of-charts.ipynb" not in own
    for text in own.values():
        cells = json.loads(text)["cells"]
        codes = [cell for cell in cells if cell["cell_type"] == "code"]
        assert not any(
            cell["outputs"] or cell["execution_count"] or "execution" in cell["metadata"] for cell in codes
        )
        code = "\n".join("".join(cell["source"]) for cell in codes)
        assert re.search(r'^BOOK\b[^=\n]*= "\.\."', code, re.MULTILINE) and "../data/" not in code
        for link in re.findall(r"\]\(([^)#]+\.ipynb)\)", "".join("".join(cell["source"]) for cell in cells)):
            assert link in own
        compile(re.sub(r"^[%!].*$", "", code, flags=re.MULTILINE), "notebook", "exec")


def test_only_the_line_of_the_book_and_the_outputs_change():
    name = "how-much-darker-with-sugar.ipynb"
    sources = [
        [("".join(cell["source"]), cell["cell_type"]) for cell in json.loads(text)["cells"]]
        for text in ((_project_notebooks() / name).read_text(encoding="utf-8"), own_notebooks()[name])
    ]
    changed = [(old, new) for old, new in zip(*sources, strict=True) if old != new]
    assert [(old.replace('"../data/demo"', '".."', 1), kind) for (old, kind), _ in changed] == [changed[0][1]]


def test_notebooks_are_found_inside_the_package_of_a_wheel(tmp_path, monkeypatch):
    (tmp_path / "sagglab" / "notebooks").mkdir(parents=True)
    cell = {"cell_type": "code", "source": ["x = 1\n", 'BOOK = "../data/demo"'], "metadata": {}}
    two = cell | {"source": ['BOOK, TWO = "../data/demo", "../data/two-cameras"']}
    for name, cells in (("one", [cell]), ("two", [two]), ("none", [])):
        path = tmp_path / "sagglab" / "notebooks" / f"{name}.ipynb"
        path.write_text(json.dumps({"cells": cells, "metadata": {"widgets": {}}}))
    monkeypatch.setattr("sagglab.__file__", str(tmp_path / "sagglab" / "__init__.py"))
    (held,) = own_notebooks().items()
    assert held[0] == "one.ipynb"
    assert json.load(io.StringIO(held[1])) == {
        "cells": [cell | {"source": ["x = 1\n", 'BOOK = ".."'], "outputs": [], "execution_count": None}],
        "metadata": {},
    }


def test_there_must_be_notebooks_to_open(tmp_path):
    with pytest.raises(MissingFileError, match="there is no such folder"):
        open_notebooks(tmp_path / "none", say=print)
    with pytest.raises(
        MissingFileError, match=r"it holds no notebook. Run 'sagglab new .*', which adds them"
    ):
        open_notebooks(tmp_path, say=print)


def test_without_jupyterlab_it_is_said_what_to_install(begun, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "jupyterlab.labapp", None)
    with pytest.raises(NotInstalledError, match=r"pip install 'sagglab\[lab\]'"):
        open_notebooks(begun.folder / "notebooks", say=print)


@pytest.mark.parametrize(
    "opened", [{"ip": "0.0.0.0"}, {"sock": "here"}, {"token": ""}, {"password": "argon2:"}]
)
def test_a_server_that_is_not_closed_is_not_started(opened):
    from types import SimpleNamespace

    from jupyter_server.auth.identity import PasswordIdentityProvider

    identity = PasswordIdentityProvider(token=opened.get("token", "t"))
    identity.hashed_password = opened.get("password", "")
    server = SimpleNamespace(
        ip=opened.get("ip", "127.0.0.1"),
        sock=opened.get("sock", ""),
        allow_remote_access=False,
        allow_root=True,
        identity_provider=identity,
    )
    with pytest.raises(SagglabError, match="your own configuration of it lets others in"):
        _check_closed(server, "t")


def test_notes_come_from_the_sheet_that_was_mapped(tmp_path):
    made = Workbook()
    for year in ("2024", "2025"):
        sheet = made.create_sheet(year)
        sheet.append(["Pot", "Firing", "Sugar g"])
        sheet.append([f"{year}-1", "F1", 2])
    made.save(tmp_path / "notes.xlsx")
    mapping = propose_mapping(read_notes(tmp_path / "notes.xlsx", sheet="2025"))
    begin_book(tmp_path / "book", csv=True, notes=tmp_path / "notes.xlsx", mapping=mapping)
    assert open_book(tmp_path / "book").pots["pot"].tolist() == ["2025-1"]
    asked = ["new", str(tmp_path / "other"), "--csv", "--from", str(tmp_path / "notes.xlsx")]
    assert main([*asked, "--sheet", "2024"]) == 1  # nobody to be asked: the proposal is written down
    assert main([*asked, "--mapping", str(tmp_path / "other" / "mapping.toml")]) == 0
    assert open_book(tmp_path / "other").pots["pot"].tolist() == ["2024-1"]


def test_what_the_notes_could_not_tell_is_shown_on_the_page(begun):
    problem = Problem("notes", 3, "C <b>", "'a pinch' is no amount", "write a number in g")
    page = replace(begun, problems=Problems([problem]))._repr_html_()
    assert "C &lt;b&gt;" in page and page.count("<li>") == len(begun.next_steps)
    assert "<table>" not in begun._repr_html_()


def test_cells_that_begin_another_book_stay_out_of_a_books_notebooks():
    assert "begin_book" not in own_notebooks()["start-a-batch-book.ipynb"]
    assert "BookCheck" in own_notebooks()["start-a-batch-book.ipynb"]


def test_stopped_before_its_tables_it_takes_the_same_notes_again(tmp_path, monkeypatch):
    (tmp_path / "notes.csv").write_text("Pot,Firing,Sugar g\np1,F1,2\n")
    book, notes = tmp_path / "book", tmp_path / "notes.csv"

    def stop(rows):
        raise KeyboardInterrupt

    with monkeypatch.context() as stopped, pytest.raises(KeyboardInterrupt):
        stopped.setattr("sagglab.study.begun.fresh_workbook", stop)
        begin_book(book, notes=notes, mapping=propose_mapping(read_notes(notes)))
    begin_book(book, notes=notes, mapping=book / "mapping.toml")
    assert open_book(book).pots["pot"].tolist() == ["p1"]
