"""What the tests of charts share: no window, no leak, and the demo's pots and records."""

from itertools import combinations

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text

from sagglab.book import open_book
from sagglab.errors import Problems
from sagglab.firing.readings import Readings, read_readings
from sagglab.model.effects import fit_effects
from sagglab.photo.measure import measure_photo


@pytest.fixture(autouse=True)
def _no_window_and_no_leak(monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("a chart is never shown by what draws it")

    monkeypatch.setattr(plt, "show", refuse)
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def pots(demo):
    """The demo's recipes with their true colours."""
    truth = pd.read_csv(demo / "truth/pots.csv").rename(columns={"peak [degC]": "peak_C"})
    return open_book(demo).pots.merge(truth[["pot", "peak_C", "L*", "a*", "b*"]], on="pot")


@pytest.fixture(scope="module")
def effects(pots):
    return fit_effects(pots, outcome="L*", factors=["sugar [g]", "clay", "peak_C"])


@pytest.fixture(scope="module")
def records(demo):
    return {tag: read_readings(demo / f"readings/{tag}.csv") for tag in ("f1", "f5")}


@pytest.fixture(scope="module")
def measured(scene_file, demo):
    return measure_photo(scene_file, target=demo / "targets/studio-target.csv")


@pytest.fixture(scope="session")
def all_records(demo):
    """Every firing of the demo; f6 was written by hand and is sparse."""
    return {f"f{number}": read_readings(demo / f"readings/f{number}.csv") for number in range(1, 7)}


@pytest.fixture(scope="session")
def record():
    """Give a function that makes a record of minutes, °C and flags."""

    def record(minutes, temperature_C, flags="", source="a record.csv"):
        table = pd.DataFrame({"minutes": minutes, "temperature_C": temperature_C})
        return Readings(source, table.assign(flag=pd.Series(flags, index=table.index)), Problems())

    return record


@pytest.fixture(scope="session")
def faulty(record):
    """A record with three spikes, one far off the chart; an open sensor; and a gap of twenty minutes."""
    minutes = np.concatenate([np.arange(0, 60.0, 0.5), np.arange(80, 120.0, 0.5)])
    heat = np.interp(minutes, [0, 40, 120], [20, 750, 280])
    flags = np.full(minutes.size, "", dtype=object)
    flags[[30, 31, 90]], heat[[30, 31, 90]] = "spike", (500, 520, 1050)
    flags[100:110], heat[100:110] = "open", np.nan
    flags[120] = "after a gap"
    return record(minutes, heat, flags)


def written(ax):
    """List the words in a chart, each with where it is in pixels once it is drawn."""
    ax.figure.canvas.draw()
    # The words alone: an annotation's own box holds its leader, too.
    return [(text.get_text(), Text.get_window_extent(text)) for text in ax.texts]


@pytest.fixture(scope="session")
def texts():
    """Give a function that lists the words in a chart, and where each is in pixels."""
    return lambda ax: dict(written(ax))


@pytest.fixture(scope="session")
def assert_readable():
    """Give a function that checks that no words overlap, and that all are inside the axes."""

    def check(ax):
        words = written(ax)
        assert words
        for (one, box), (other, second) in combinations(words, 2):
            assert not box.overlaps(second), f"'{one}' lies over '{other}'"
        room = ax.bbox.padded(0.5)
        for one, box in words:
            assert room.contains(*box.min), one
            assert room.contains(*box.max), one

    return check
