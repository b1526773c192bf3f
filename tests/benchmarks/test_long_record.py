"""Speed and memory of a long record: ``pytest tests/benchmarks/test_long_record.py -o addopts=``.

A million rows of four channels, one each second for eleven days, with a firing every day. It is held against
`pandas.read_csv` of the same file with its times parsed, which checks and measures nothing.
"""

import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from sagglab import firings_in, heat_measures, read_readings

ROWS = 1_000_000

MEASURING = """
import sys
from sagglab import heat_measures, read_readings
heat_measures(read_readings(sys.argv[1], column="shelf"), sensor_class="K 2")
"""

# What is told of a process holds the peak of the one that began it, so a small one stands in between.
IN_BETWEEN = f"""
import resource, subprocess, sys
subprocess.run([sys.executable, "-c", {MEASURING!r}, sys.argv[1]], check=True)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


@pytest.fixture(scope="module", params=["ISO dates", "clock", "lapsed", "minutes"])
def long_record(request, tmp_path_factory):
    seconds = np.arange(ROWS)
    hour = seconds / 3600 % 24 - 9
    shelf = 18 + 730 * np.interp(hour, [0, 0.63, 2.1, 8], [0, 1, 0.38, 0])
    shelf = (shelf + np.random.default_rng(1).normal(0, 0.15, ROWS)).round(1)
    days = pd.Timestamp("2026-05-01") + pd.to_timedelta(seconds, unit="s")
    times = {
        "ISO dates": lambda: days.strftime("%Y-%m-%dT%H:%M:%S"),
        "clock": lambda: days.strftime("%H:%M:%S"),
        "lapsed": lambda: [f"{s // 3600}:{s // 60 % 60:02d}:{s % 60:02d}" for s in seconds.tolist()],
        "minutes": lambda: (seconds / 60).round(4),
    }
    channels = {
        "shelf [degC]": shelf,
        "flue [degC]": shelf + 40,
        "lid [degC]": shelf * 0.8,
        "room [degC]": 18.3,
    }
    heading = "time [min]" if request.param == "minutes" else "time"
    path = tmp_path_factory.mktemp("long") / "record.csv"
    pd.DataFrame({heading: times[request.param](), **channels}).to_csv(path, index=False, float_format="%.4g")
    return path


def test_a_million_rows_read_and_measured(benchmark, long_record):
    def read_and_measure():
        return heat_measures(read_readings(long_record, column="shelf"), sensor_class="K 2")

    assert benchmark.pedantic(read_and_measure, rounds=3)["peak_C"] == pytest.approx(748, abs=1)


def test_a_million_rows_cut_into_firings_and_measured(benchmark, long_record):
    readings = read_readings(long_record, column="shelf")
    assert len(readings.table) == ROWS

    def cut_and_measure():
        return [heat_measures(firing, sensor_class="K 2") for firing in firings_in(readings)]

    assert len(benchmark.pedantic(cut_and_measure, rounds=3)) == 12


def test_the_alternative_reads_them(benchmark, long_record):
    def read():
        table = pd.read_csv(long_record)
        if table["time" if "time" in table else "time [min]"].dtype != float:
            pd.to_datetime(table["time"], format="ISO8601", errors="coerce")

    benchmark.pedantic(read, rounds=3)


def test_memory_of_a_process_of_its_own(long_record, capsys):
    run = [sys.executable, "-c", IN_BETWEEN, str(long_record)]
    peak_kB = int(subprocess.run(run, capture_output=True, text=True, check=True).stdout)
    with capsys.disabled():
        print(f"  read and measured with {peak_kB / 1000:.0f} MB at most, libraries included")
    assert peak_kB < 400_000
