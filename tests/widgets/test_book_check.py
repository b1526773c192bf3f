"""Book check: every problem, where it stands in the file, and what is new or gone after looking again."""

import json

import pytest

from sagglab.book import open_book
from sagglab.book.written import written_about
from sagglab.errors import Problem
from sagglab.widgets import BookCheck

TABLES = {
    "pots": "pot,firing,sugar [oz],clay\np1,f1,2,buff\np2,f1,a lot,<img src=x onerror=a()>\np3,f1,1,red\n",
    "firings": "firing,date\nf1,31 May\n",
    "photos": "photo,pot,view,setup\n",
    "setups": "setup,target\nbench,24-patch-from-2014-11\n",
}


@pytest.fixture
def folder(tmp_path):
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def find(check, cause):
    return next(at for at, problem in enumerate(check.problems) if cause in problem.cause)


class TestWhereItStands:
    def test_the_row_as_it_is_written_with_its_neighbours(self, folder):
        problem = next(problem for problem in open_book(folder).problems if "is no number" in problem.cause)
        about = open_book(folder).written(problem)
        assert about.rows.index.tolist() == [2, 3, 4]
        # As written, not as read: ounces stay ounces, and words stay words.
        assert about.rows["sugar [oz]"].tolist() == ["2", "a lot", "1"]
        assert (about.file, about.row, about.rows.columns[about.column]) == ("pots.csv", 3, "sugar [oz]")
        assert "<img" not in about._repr_html_()

    def test_a_column_by_the_name_under_which_it_was_read(self, folder):
        assert written_about(folder, Problem("pots", 2, "sugar [g]", "", "")).column == 2

    def test_the_heading(self, folder):
        about = written_about(folder, Problem("pots", 1, "clay", "", ""))
        assert (about.rows.index.tolist(), about.row, about.column) == ([2, 3], 1, 3)

    def test_a_photograph_is_found_by_its_name(self, folder):
        (folder / "photos.csv").write_text("pot;photo\np1;photos/1.jpg\np2;photos/2.jpg\n")
        about = written_about(folder, Problem("photos", "photos/2.jpg", "", "", ""))
        assert (about.row, about.column) == (3, 1)

    def test_a_sheet_of_the_workbook(self, folder):
        openpyxl = pytest.importorskip("openpyxl")
        book = openpyxl.Workbook()
        book.active.title = "shelf"
        for row in (["material", "price"], ["salt", "dear"]):
            book.active.append(row)
        book.save(folder / "book.xlsx")
        about = written_about(folder, Problem("shelf", 2, "price", "", ""))
        assert (about.file, about.rows.loc[2, "price"]) == ("book.xlsx, sheet shelf", "dear")

    def test_a_line_of_a_record(self, folder):
        (folder / "readings").mkdir()
        (folder / "readings/f1.csv").write_text("logger 7\ntime,temp\n0:00,20\n0:05,900\n")
        about = written_about(folder, Problem("readings/f1.csv", 4, "temp", "", ""))
        assert about.rows.iloc[:, 0].tolist() == ["0:00,20", "0:05,900"]

    def test_a_row_that_was_taken_out_meanwhile(self, folder):
        about = written_about(folder, Problem("pots", 7, "clay", "", ""))
        assert (about.row, about.rows.index.tolist()) == (None, [2, 3])

    @pytest.mark.parametrize(
        "problem",
        [
            Problem("shelf", None, "currency", "", ""),
            Problem("shelf", 7, "price", "", ""),
            Problem("readings/none.csv", 7, "", "", ""),
            Problem("../secret.csv", 1, "", "", ""),
        ],
    )
    def test_where_there_is_nothing_to_show(self, folder, problem):
        (folder.parent / "secret.csv").write_text("a secret\n")
        assert written_about(folder, problem).rows.empty


class TestCheck:
    def test_faults_stand_before_warnings(self, folder):
        check = BookCheck(open_book(folder))
        kinds = [problem["kind"] for problem in check.listed]
        assert kinds == sorted(kinds) and set(kinds) == {"fault", "warning"}
        assert check.counted == "1 fault, which makes numbers wrong, and 3 warnings"

    def test_a_filter(self, folder):
        check = BookCheck(open_book(folder))
        check.asked_filter("firings", "warning")
        assert [problem["where"] for problem in check.listed] == [
            "firings, row 2, column 'date'",
            "firings, row 2, column 'readings'",
        ]
        check.asked_filter("firings", "fault")
        assert check.listed == []

    def test_looking_again(self, folder):
        check = BookCheck(open_book(folder))
        pots = TABLES["pots"].replace("a lot", "3").replace("p1,f1,2", "p0,f1,0,white\np1,f1,-2")
        (folder / "pots.csv").write_text(pots)
        check.asked_look_again()
        # Warnings about rows that only moved down are neither new nor gone.
        assert check.changed == [
            "new: pots, row 3, column 'sugar [oz]': '-2' is a negative amount",
            "new: pots, row 2, column 'pot': no photograph shows 'p0', also in rows 3, 4 and 5",
            "gone: pots, row 3, column 'sugar [oz]': 'a lot' is no number",
            "gone: pots, row 2, column 'pot': no photograph shows 'p1', also in rows 3 and 4",
        ]
        assert [problem["new"] for problem in check.listed].count(True) == 2
        assert check.said["remedy"].startswith("run the page again from the top")
        check.asked_look_again()
        assert (check.said["cause"], check.said["remedy"]) == ("Looked again: nothing new, nothing gone", "")

    def test_warnings_alone(self, folder):
        (folder / "pots.csv").write_text(TABLES["pots"].replace("a lot", "3"))
        assert BookCheck(open_book(folder)).counted == "3 warnings, no faults"

    def test_nothing_wrong(self, folder):
        (folder / "pots.csv").write_text("pot,firing\n")
        (folder / "firings.csv").write_text("firing,date\nf1,2026-05-31\n")
        check = BookCheck(open_book(folder))
        assert (check.counted, check.listed) == ("No problems found", [])
        assert "1 firing" in check.holds and "No problems found" in check.still()
        assert "Looked at: tables firings (1 row), setups (1 row)." in check.still()

    def test_very_many(self, folder):
        rows = "".join(f"p{number},f1,lots,red\n" for number in range(5000))
        (folder / "pots.csv").write_text(f"pot,firing,sugar [oz],clay\n{rows}")
        check = BookCheck(open_book(folder))
        assert len(check.problems) > 5_000
        assert (len(check.listed), check.left_out) == (200, len(check.problems) - 200)
        assert len(check.still()) < 100_000

    def test_the_still_view_holds_no_markup_of_the_users(self, folder):
        row = f'p1,f1,"<script>alert(1)</script>{9000 * "x"}"\n'
        (folder / "pots.csv").write_text("pot,firing,sugar [oz]\n" + 150 * row)
        still = BookCheck(open_book(folder)).still()
        assert "<script" not in still and "&lt;script&gt;" in still and "http" not in still
        assert len(still) < 150_000

    def test_what_is_sent_stays_small_however_long_a_cell_is(self, folder):
        check = BookCheck(open_book(folder))
        letter, heading = 30_000 * "x", 30_000 * "y"
        row = f"p1,f1,{letter},{letter}\n"
        (folder / "pots.csv").write_text(f"pot,firing,sugar [oz],{heading}\n" + 150 * row)
        check.asked_look_again()
        check.asked_choose(0)
        sent = json.dumps({name: value for name, value in check.get_state().items() if name[0] != "_"})
        assert check.changed and check.chosen["rows"] and len(sent) < 150_000


def test_by_keyboard_alone(lab, contrast, folder):
    page = lab.opened(
        f"from sagglab import open_book\nfrom sagglab.widgets import BookCheck\n"
        f"BookCheck(open_book({str(folder)!r}))",
        wait=".sagglab-problems button",
    )
    page.get_by_role("button", name="✕ fault pots, row 3").focus()
    page.keyboard.press("Enter")
    marked = page.locator("td.sagglab-marked")
    marked.wait_for()
    assert marked.inner_text() == "▶ a lot"
    assert contrast(page, ".sagglab-live") >= 4.5
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="⚠ warning: pots, row 2").wait_for()
    (folder / "pots.csv").write_text(TABLES["pots"].replace("a lot", "3"))
    page.get_by_role("button", name="Look again").focus()
    page.keyboard.press("Space")
    page.get_by_text("gone: pots, row 3, column 'sugar [oz]': 'a lot' is no number").wait_for()
    lab.theme("JupyterLab Dark")
    assert contrast(page, ".sagglab-live") >= 4.5
    lab.theme("JupyterLab Light")
    assert lab.elsewhere == []
