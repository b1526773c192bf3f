"""Speed and memory of measuring photographs: ``pytest tests/benchmarks/test_photo_speed.py -o addopts= -s``.

A 24-megapixel JPEG of a rendered scene with grain is measured on one core, and held against Pillow's plain
decode of the same file in the same run; and the demo book by one process and by two.
"""

import json
import os
import shutil
import subprocess
import sys
import time

import cv2
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from sagglab import measure_photo, measure_photos, open_book
from sagglab.colour import delta_e_2000
from sagglab.photo import side

AXES = ["L*", "a*", "b*"]
SIZE = (6000, 4000)
#: Standard deviation of the grain in 8-bit codes, at which the file has 7.5 MB.
GRAIN = 6.0
#: Photographs of the book that is measured twice, and of how many of the demo's they are copies.
PHOTOGRAPHS, SOURCES = 200, 5

# Processor time on one core, which is the time it takes on a quiet machine; others slow down now the one and
# now the other, so that the least of several counts, taken by turns. The decoders' own threads are off.
MEASURING = """
import json, resource, sys, time
import cv2
from PIL import Image
from sagglab import measure_photo
cv2.setNumThreads(1)
path, rounds = sys.argv[1], int(sys.argv[2])
seconds = {"decode": [], "measure": []}
for _ in range(rounds):
    for name, does in (("decode", lambda: Image.open(path).load()), ("measure", lambda: measure_photo(path))):
        start = time.process_time()
        does()
        seconds[name].append(time.process_time() - start)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps({name: min(each) for name, each in seconds.items()} | {"peak": peak}))
"""

# What is told of a process holds the peak of the one that began it, so a small one stands in between.
IN_BETWEEN = f"""
import subprocess, sys
subprocess.run([sys.executable, "-c", {MEASURING!r}, *sys.argv[1:]], check=True)
"""


@pytest.fixture(scope="module")
def large(scenes, tmp_path_factory):
    """A scene as a camera of 24 megapixels would take it."""
    small = scenes.render_scene([5001, 77]).srgb
    grain = np.random.default_rng(1).normal(0, GRAIN, (*SIZE[::-1], 1))
    shown = np.clip(cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC) + grain, 0, 255)
    path = tmp_path_factory.mktemp("large") / "large.jpg"
    Image.fromarray(shown.astype(np.uint8)).save(path, quality=92)
    return path


def on_one_core(*command):
    core = min(os.sched_getaffinity(0))
    told = subprocess.run(
        [sys.executable, "-c", IN_BETWEEN, *map(str, command)],
        check=True,
        capture_output=True,
        text=True,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
        preexec_fn=lambda: os.sched_setaffinity(0, {core}),
    )
    return json.loads(told.stdout)


def test_measuring_takes_at_most_three_times_as_long_as_decoding(large):
    told = on_one_core(large, 7)
    ratio = told["measure"] / told["decode"]
    print(
        f"\n{large.stat().st_size / 1e6:.1f} MB: decoded in {told['decode']:.3f} s, measured in "
        f"{told['measure']:.3f} s, {ratio:.2f} times as long"
    )
    assert ratio <= 3


def test_memory_at_its_peak(large):
    told = on_one_core(large, 1)
    print(f"\n{told['peak']:.0f} MB at the peak, all libraries included")
    assert told["peak"] <= 600


def test_the_reduced_picture_tells_what_the_full_one_does(large, monkeypatch):
    reduced = measure_photo(large)
    # The target is found and read as before; the pot's surface is measured at the photograph's own size.
    given = {"corners": reduced.corners, "outline": reduced.outline.rings[0]}
    at_the_usual = measure_photo(large, **given).table[AXES].iloc[0].to_numpy(float)
    monkeypatch.setattr(side, "KEPT", max(SIZE))
    monkeypatch.setattr(side, "MEASURED_AT", max(SIZE))
    at_full_size = measure_photo(large, **given).table[AXES].iloc[0].to_numpy(float)
    apart = float(delta_e_2000(at_the_usual, at_full_size))
    print(f"\nreduced {at_the_usual.round(2)}, at full size {at_full_size.round(2)}: ΔE00 {apart:.3f}")
    assert apart <= 0.1


def test_two_processes_take_little_more_than_half_the_time(demo, tmp_path, monkeypatch):
    """The whole demo book, with the time that starting the processes takes."""
    book = open_book(demo)
    seconds = {}
    for jobs in (1, 2):
        start = time.perf_counter()
        # A folder of its own for each, so that the one run keeps nothing that helps the other.
        monkeypatch.setenv("SAGGLAB_CACHE", str(tmp_path / str(jobs)))
        table = measure_photos(book, jobs=jobs, afresh=True)
        seconds[jobs] = time.perf_counter() - start
    print(
        f"\n{len(table)} photographs: {seconds[1]:.1f} s by one process, {seconds[2]:.1f} s by two, "
        f"{seconds[1] / seconds[2]:.2f} times as fast"
    )
    assert len(table) >= 16
    assert seconds[1] / seconds[2] >= 1.7


def test_a_second_run_over_200_unchanged_photographs_takes_less_than_two_seconds(demo, tmp_path, monkeypatch):
    """Copies of demo photographs whose trailing bytes, and so contents, differ; measured once before."""
    monkeypatch.setenv("SAGGLAB_CACHE", str(tmp_path / "kept"))
    copy = tmp_path / "book"
    shutil.copytree(demo, copy, ignore=shutil.ignore_patterns("generator", "truth", "reviews"))
    photos = pd.read_csv(demo / "photos.csv", dtype=str, keep_default_na=False)
    taken = photos[photos["view"].isin(["front", "back"]) & (photos["setup"] == "phone")]
    rows = []
    for number in range(PHOTOGRAPHS):
        row = taken.iloc[number % SOURCES].copy()
        content = (demo / row["photo"]).read_bytes()
        row["photo"] = f"photos/copy-{number:03}.jpg"
        (copy / row["photo"]).write_bytes(content + number.to_bytes(2))
        rows.append(row)
    pd.DataFrame(rows).to_csv(copy / "photos.csv", index=False)
    seconds = []
    for _ in range(2):
        book = open_book(copy)
        start = time.perf_counter()
        table = measure_photos(book, jobs=2)
        seconds.append(time.perf_counter() - start)
    print(f"\n{len(table)} photographs: {seconds[0]:.1f} s at first, {seconds[1]:.2f} s when measured before")
    assert len(table) == PHOTOGRAPHS
    assert seconds[1] < 2
