"""Firing pacer: what is typed is on the disk before it is answered, and nothing is refused in silence."""

import datetime as dt

import pytest

from sagglab.book import open_book
from sagglab.cautions import kiln_cautions
from sagglab.firing.typed import TypedRecord
from sagglab.widgets import FiringPacer

START = dt.datetime(2026, 5, 1, 14, 0).astimezone()


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "firings.csv").write_text("firing,date,target peak [degC]\nf1,2026-05-01,750\n")
    return tmp_path


def kept(folder):
    return (folder / "readings/f1.csv").read_text().splitlines()[1:]


@pytest.fixture
def pacer(folder):
    """A pacer whose curve is not drawn, and a function that types into it after so many minutes."""
    pacer = FiringPacer(open_book(folder), "f1")
    pacer._draw = lambda: None

    def typed(line, minute, page="a", waited=0.0):
        at = START + dt.timedelta(minutes=minute)
        pacer.kiln_log.now = lambda: at + dt.timedelta(minutes=waited)
        pacer.asked_keep(line, 1, page, at.timestamp() * 1000)
        return pacer.answer

    return pacer, typed


def test_a_reading_is_on_the_disk_before_the_answer_shows(pacer, folder):
    pacer, typed = pacer
    seen = []
    pacer.observe(lambda _: seen.append(len(kept(folder))), "answer")
    typed("20 C", 0)
    typed("302 F", 5)
    assert seen == [1, 2]
    assert kept(folder)[1].endswith(",150,")
    assert pacer.readings[0] == ["14:05:00", "5", "150", "302", ""]
    assert pacer.answer["said"][0].startswith("minute 5: 150 °C (302 °F). 750 °C (1382 °F) is wanted")


def test_minute_0_is_that_of_the_first_reading_that_counts(pacer, folder):
    pacer, typed = pacer
    for line in ("20 C", "-", "13:28 20 C", "13:33 150"):
        typed(line, 0)
    assert pacer.answer["said"][0].startswith("minute 5: 150 °C")
    assert [cells[:2] for cells in pacer.readings] == [
        ["13:33:00", "5"],
        ["13:28:00", "0"],
        ["14:00:00", "32"],
    ]
    assert FiringPacer(open_book(folder), "f1").readings == pacer.readings


def test_what_looks_like_a_slip_is_asked_again(pacer, folder):
    _, typed = pacer
    typed("20 C", 0)
    answer = typed("900", 0.5)
    assert answer["refused"] and answer["again"] and len(kept(folder)) == 1
    assert typed("900", 0.6)["kept"] and len(kept(folder)) == 2


@pytest.mark.parametrize(
    ("before", "line", "why"),
    [
        (["100 F", "155"], "5", "colder than any reading of this firing so far, 38 °C (100 °F)"),
        (["20 C", "68"], "+30", "'+30' means 30 °C (86 °F), and not so much more"),
        ([], "-5 C", "cold for a first reading"),
        ([], "680 C", "hot for a first reading"),
    ],
)
def test_what_no_kiln_does_however_slowly_is_asked_again(pacer, folder, before, line, why):
    _, typed = pacer
    for minute, reading in enumerate(before):
        assert typed(reading, 10 * minute)["kept"]
    answer = typed(line, 60)
    assert answer["again"] and why in answer["said"][0]
    assert typed(line, 61)["kept"] and len(kept(folder)) == len(before) + 1


def test_the_unit_is_chosen_anew_once_nothing_counts(pacer, folder):
    pacer, typed = pacer
    typed("68 F", 0)
    assert pacer.unit == "°F"
    typed("-", 1)
    assert pacer.unit == "" and "say the unit" in typed("20", 2)["said"][0]
    assert FiringPacer(open_book(folder), "f1").unit == ""
    typed("21 C", 3)
    assert (pacer.unit, pacer.last) == ("°C", "21 °C at 14:03")
    assert (folder / "readings/f1.csv").read_text().startswith("time,temperature [degC],flag\n")
    assert [line.split(",")[1:] for line in kept(folder)] == [["20", "struck out"], ["21", ""]]


def test_what_cannot_be_understood_is_said(pacer):
    _, typed = pacer
    answer = typed("hot", 0)
    assert answer["refused"] and not answer["again"]
    assert answer["said"] == ["Nothing was kept: 'hot' is no temperature; help says what can be typed."]


def test_a_disk_that_is_full_is_said(pacer, folder, monkeypatch):
    _, typed = pacer

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sagglab.firing.typed.write_whole", full)
    answer = typed("20 C", 0)
    assert answer["refused"] and not answer["kept"]
    assert answer["said"] == ["Nothing was kept: it could not be saved (No space left on device)."]


def test_a_record_that_cannot_be_read_any_more_is_answered(pacer, folder):
    pacer, typed = pacer
    typed("20 C", 0)
    record = folder / "readings/f1.csv"
    record.write_text(record.read_text().replace("degC", "degF"))
    for line in ("40", "-", ""):
        answer = typed(line, 5)
        assert answer["refused"] and "its unit was changed to degF meanwhile" in answer["said"][0]
    assert pacer.readings[0][2] == "20"


def test_striking_out_and_going_on_after_the_kernel_was_started_again(pacer, folder):
    first, typed = pacer
    for minute, line in enumerate(["20 C", "150", "160", "-"]):
        typed(line, 5 * minute)
    again = FiringPacer(open_book(folder), "f1")
    assert again.readings == first.readings
    assert (again.readings[0][4], again.last, again.unit) == ("struck out", "150 °C at 14:05", "°C")
    assert again.kept.startswith("2 readings, 1 more struck out")


def test_a_reading_that_waited_for_a_busy_kernel_keeps_its_time(pacer, folder):
    pacer, typed = pacer
    # The page's clock may be wrong: by how much shows in the message that waited least.
    pacer.kiln_log.now = lambda: START
    pacer.asked_clock("a", START.timestamp() * 1000)
    typed("20 C", 1, waited=12)
    assert dt.datetime.fromisoformat(kept(folder)[0].split(",")[0]) == START + dt.timedelta(minutes=1)


def test_a_record_of_another_kind_is_shown_and_not_added_to(folder):
    (folder / "readings").mkdir()
    record = "minutes,temperature [degC]\n0,20\n10,300\n20,500\n"
    (folder / "readings/f1.csv").write_text(record)
    pacer = FiringPacer(open_book(folder), "f1")
    assert pacer.answer["said"] == ["f1.csv was not typed here: it is shown, and not added to."]
    assert "500 °C" in pacer.picture["alt"] and not pacer.typed_here
    assert pacer.readings[0] == ["", "20", "500", "932", ""]
    assert pacer.kept.startswith("3 readings, in ") and "time" not in pacer.still()
    pacer.asked_keep("600 C", 1, "a", 0)
    assert pacer.answer["refused"] and "not a record that was typed here" in pacer.answer["said"][0]
    assert (folder / "readings/f1.csv").read_text() == record


def test_the_still_view(folder):
    (folder / "firings.csv").write_text("firing,date,readings\n<b>1,2026-05-01,readings/f1.csv\n")
    record = TypedRecord.begin_or_go_on(folder / "readings/f1.csv", "degC")
    for minute, heat in enumerate([20, 150, 300]):
        record.add(heat, "degC", START + dt.timedelta(minutes=5 * minute))
    pacer = FiringPacer(open_book(folder), "<b>1", target="1292 degF", minute=30)
    still = pacer.still()
    assert "<b>1" not in still and "Firing &lt;b&gt;1." in still
    assert "Wanted: 700 °C (1292 °F) at minute 30." in still
    assert all(caution.partition(":")[0] in still for caution in kiln_cautions())
    assert 'alt="Firing curve of f1.csv' in still and 'src="http' not in still
    assert '<td class="n">300</td><td class="n">572</td>' in still and len(still) < 150_000


def test_by_keyboard_alone(lab, contrast, folder):
    page = lab.opened(
        f"from sagglab import open_book\nfrom sagglab.widgets import FiringPacer\n"
        f"FiringPacer(open_book({str(folder)!r}), 'f1')",
        wait=".sagglab-pacer",
    )
    page.get_by_role("textbox", name="Temperature now").focus()
    page.keyboard.type("20 C")
    page.keyboard.press("Enter")
    page.get_by_text("minute 0: 20 °C").wait_for()
    assert kept(folder)[0].endswith(",20,")
    page.get_by_role("img", name="Firing curve of f1.csv").wait_for()
    page.keyboard.type("900")
    page.keyboard.press("Enter")
    page.get_by_text("Press Enter again to keep it all the same.").wait_for()
    assert len(kept(folder)) == 1
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Strike out the last: 900 °C").wait_for()
    assert len(kept(folder)) == 2
    page.get_by_role("button", name="Strike out the last: 900 °C").press("Enter")
    page.get_by_text("Struck out: 900 °C").wait_for()
    assert contrast(page, ".sagglab-live") >= 7
    lab.theme("JupyterLab Dark")
    assert contrast(page, ".sagglab-live") >= 7
    lab.theme("JupyterLab Light")
    assert lab.elsewhere == []
