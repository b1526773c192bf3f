"""Records of firings looked for: which firings of the book's pots have none."""

import pytest

from sagglab.book import open_book
from sagglab.measures.firings import check_files

CAUSE = "has no temperature record"


@pytest.fixture
def check(tmp_path):
    """Give a function that checks a book of these firings, of which all but f9 fired a pot."""

    def checked(firings, *records, head="firing"):
        names = [row.split(",")[0] for row in firings]
        pots = "".join(f"p{at},{name}\n" for at, name in enumerate(names) if name != "f9")
        (tmp_path / "pots.csv").write_text(f"pot,firing\n{pots}")
        (tmp_path / "firings.csv").write_text("\n".join([head, *firings, ""]))
        (tmp_path / "photos.csv").write_text("photo,pot,setup\n")
        (tmp_path / "setups.csv").write_text("setup,target\n")
        for name in records:
            file = tmp_path / name
            file.parent.mkdir(exist_ok=True)
            lines = "".join(f"{minute},{20 + 20 * minute}\n" for minute in range(30))
            file.write_text(f"time [min],temperature [degC]\n{lines}")
        return [(p.row, p.column, p.cause, p.remedy, p.stops) for p in check_files(open_book(tmp_path))]

    return checked


def test_firings_without_a_record_are_told_once(check):
    told = check(["f1", "f2", "f3", "f9", "f4"], "readings/f2.csv")
    cause = f"'f1' {CAUSE}, also in rows 4 and 6: its peak and times are not known"
    remedy = "write its file's name here, or call it readings/FIRING.csv"
    assert told == [(2, "readings", cause, remedy, False)]


def test_a_record_by_nearly_the_usual_name_is_named(check):
    told = check(["f1", "f2,log.csv"], "readings/F1.CSV", "log.csv", head="firing,readings")
    cause = f"'f1' {CAUSE}, but there is 'readings/F1.CSV'"
    assert told == [(2, "readings", cause, "write readings/F1.CSV if you meant that", False)]


def test_a_firing_that_fired_nothing_needs_none(check):
    assert check(["f1", "f9"], "readings/f1.csv") == []
