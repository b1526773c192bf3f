"""Measuring stopped at any moment: nothing goes on, nothing is torn, and the next run gives the same."""

import io
import os
import signal
import subprocess
import sys
import time

import pandas as pd
import pytest
from PIL import Image

from sagglab.book import open_book
from sagglab.measures import measure_photos
from sagglab.measures.kept import PLACE

#: Seconds after which it is stopped: while processes start, at the first photographs, and amid the others.
MOMENTS = (0.3, 1.0, 2.0)

STOPPED = """
import signal, sys, time
from pathlib import Path
from sagglab.book import open_book
from sagglab.charts import reviews_in
from sagglab.measures import measure_photos

# A shell that runs tests in the background has them ignore it.
signal.signal(signal.SIGINT, signal.default_int_handler)

def newest():
    return max((path.stat().st_mtime for path in Path(sys.argv[4]).rglob("output.pkl")), default=0.0)

book, reviews = open_book(sys.argv[1]), reviews_in(sys.argv[2])
for _ in range(int(sys.argv[3])):
    try:
        print("begun", flush=True)
        measure_photos(book, 2, reviews, afresh=True)
        time.sleep(60)  # on a fast machine the stop comes here, and not into what follows
    except KeyboardInterrupt as stop:
        print(*getattr(stop, "_render_traceback_", lambda: ["Stopped beside it."])(), flush=True)
    stopped = time.time()
    time.sleep(1.5)
    print("goes on" if newest() > stopped + 0.1 else "quiet", flush=True)
measure_photos(book, 2, reviews).to_pickle(sys.argv[5])
"""


@pytest.fixture(scope="module")
def stopped(small_book, tmp_path_factory):
    """What a process said that was stopped at these moments, and the folder of its pictures."""
    into = tmp_path_factory.mktemp("stopped")
    reviews = into / "review"
    process = subprocess.Popen(
        [
            sys.executable,
            "-c",
            STOPPED,
            small_book,
            reviews,
            str(len(MOMENTS)),
            into / "kept",
            into / "measures.pkl",
        ],
        env=os.environ | {PLACE: str(into / "kept")},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    said = []
    for moment in MOMENTS:
        assert process.stdout.readline() == "begun\n"
        time.sleep(moment)
        # As a notebook's stop button does: to the kernel and to the processes that share its work.
        os.killpg(process.pid, signal.SIGINT)
        said += [process.stdout.readline().strip(), process.stdout.readline().strip()]
    _, faults = process.communicate(timeout=300)
    return said, faults, into


def test_it_stops_at_once_with_a_line(stopped):
    said, faults, _ = stopped
    assert all(line.startswith("Stopped") for line in said[::2])
    assert any(line.startswith("Stopped: measuring, ") for line in said[::2])
    assert "Traceback" not in faults


def test_nothing_goes_on(stopped):
    assert set(stopped[0][1::2]) == {"quiet"}


def test_the_next_run_gives_the_same(stopped, small_book):
    # Sums differ in their last digits by how many threads made them.
    found = pd.read_pickle(stopped[2] / "measures.pkl")
    pd.testing.assert_frame_equal(found, measure_photos(open_book(small_book)), rtol=1e-9, atol=1e-9)


def test_no_file_is_torn_or_left_over(stopped):
    into = stopped[2]
    pictures = list((into / "review").glob("*.jpg"))
    assert len(pictures) >= 10
    for picture in pictures:
        Image.open(io.BytesIO(picture.read_bytes())).load()
    assert not [path for path in into.rglob("*") if path.name.endswith(".new")]
