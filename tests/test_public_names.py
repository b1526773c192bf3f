"""The public names: one explicit list, each of which loads, and none before it is used."""

import json
import subprocess
import sys

import pytest

import sagglab

PUBLIC = [
    "Around",
    "BegunBook",
    "BenchSheet",
    "Best",
    "Book",
    "BoxBehnken",
    "CentralComposite",
    "Changes",
    "ClassPack",
    "ColourEffects",
    "ColourPrediction",
    "Comparison",
    "Correction",
    "Departures",
    "Doses",
    "Drift",
    "Effects",
    "Factor",
    "Factorial",
    "FiringsNeeded",
    "Fraction",
    "Handout",
    "HeatMeasures",
    "Limits",
    "MeasuredPhoto",
    "Measuring",
    "ModelChecks",
    "Odds",
    "Outcomes",
    "Pace",
    "Plan",
    "PlansCompared",
    "Precision",
    "Prediction",
    "Problem",
    "Problems",
    "Readings",
    "Recipes",
    "SagglabError",
    "Schedule",
    "Screening",
    "Segment",
    "SetupsCompared",
    "add_firings",
    "all_readings",
    "ask_mapping",
    "askable",
    "before_and_after",
    "begin_book",
    "book_tables",
    "changes_over_time",
    "check_drift",
    "compare",
    "compare_doses",
    "compare_plans",
    "compare_setups",
    "delta_e_2000",
    "departures",
    "firing_readings",
    "firings_in",
    "firings_needed",
    "fit_colour",
    "fit_effects",
    "fit_losses",
    "fit_outcomes",
    "fit_ratings",
    "gather_results",
    "give_places",
    "heat_measures",
    "join_maps",
    "lab_to_srgb",
    "make_class_pack",
    "make_handout",
    "measure_around",
    "measure_firings",
    "measure_photo",
    "measure_photos",
    "measure_targets",
    "measure_view",
    "open_book",
    "pace",
    "places_of",
    "plan_batch",
    "precision",
    "propose_mapping",
    "read_correction",
    "read_mapping",
    "read_notes",
    "read_readings",
    "read_schedule",
    "read_shares",
    "screen_effects",
    "write_bench_sheet",
    "xyz_to_lab",
]

HEAVY = ["seaborn", "statsmodels", "cv2", "skimage", "matplotlib", "pandas", "scipy", "pint"]

FRESH = f"""
import json, sys
from time import perf_counter
start = perf_counter()
import sagglab
took = perf_counter() - start
print(json.dumps([took, [name for name in {HEAVY} if name in sys.modules]]))
"""


@pytest.fixture(scope="module")
def fresh_imports():
    """Import the package in three fresh processes: seconds, and which heavy libraries came with it."""
    runs = [
        subprocess.run([sys.executable, "-c", FRESH], capture_output=True, text=True, check=True).stdout
        for _ in range(3)
    ]
    return [json.loads(run) for run in runs]


def test_the_list():
    assert sorted(sagglab.__all__) == PUBLIC


@pytest.mark.parametrize("name", PUBLIC)
def test_each_name_loads_and_is_documented(name):
    assert getattr(sagglab, name).__doc__


def test_nothing_else_is_public():
    assert {name for name in dir(sagglab) if not name.startswith("_")} == set(PUBLIC)


def test_importing_is_quick(fresh_imports):
    assert min(seconds for seconds, _ in fresh_imports) < 0.2


def test_importing_loads_no_heavy_library(fresh_imports):
    assert all(loaded == [] for _, loaded in fresh_imports)
