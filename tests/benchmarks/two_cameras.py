"""How near the difference of two setups, as measured, comes to what was planted.

Run by hand: ``python tests/benchmarks/two_cameras.py 20000 20040 [--any-setups | --whole]`` takes the seeds
from 20000 to 20039. Each is another batch book of two cameras (`generator.two_cameras`): pots, places, light
and noise drawn anew, the setups and what is planted the same. Of each, the eight pots in both setups are
photographed, without the repeats, and paired; planted is the mean difference of their colours with the
phone's veil of gloss and without it.

- ``--any-setups`` draws both setups of each seed (`generator.camera.draw_setup`), the first with the same
  veil. Two cameras see colours each in its own way, in its own light; what is left of that after calibration
  is a true difference of the setups, and in no planted number.
- ``--whole`` takes all photographs of each book, and asks for the planted date of the drift and for the
  planted changes of the pots, too. This takes some three times as long.

A line is printed for each, then the summary. A book with a pot whose drawn colour no mixture of surfaces has
cannot be rendered, and is named and left out.
"""

import argparse
import os
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import joblib
import numpy as np
import pandas as pd

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
sys.path.insert(0, str(DEMO))

from generator import book, camera, scene, two_cameras  # noqa: E402

from sagglab.book import open_book  # noqa: E402
from sagglab.colour import AXES  # noqa: E402
from sagglab.measures import measure_photos, measure_targets  # noqa: E402
from sagglab.setups.drift import check_drift  # noqa: E402
from sagglab.setups.over_time import changes_over_time  # noqa: E402
from sagglab.setups.pairs import pair_pots  # noqa: E402

NAMES = ("phone", "camera")
COORDINATES = tuple(f"Δ{axis}" for axis in AXES)
#: How near the measured mean difference should come, and in what share of the sets.
WITHIN, SHARE = 0.3, 0.95


def compared_shots():
    """The photographs that tell the difference: each pot once in both setups, and the flat fields."""
    days = {"phone": two_cameras.PHONE_DAYS[-1], "camera": two_cameras.FIRST_DAY}
    once = [
        shot
        for shot in two_cameras.shots()
        if shot.pot and shot.photo.endswith("-1.jpg") and shot.taken.date() == days[shot.setup]
    ]
    return once + [shot for shot in two_cameras.shots() if shot.view == "flat"]


def written_book(seed, folder, shots, render):
    """Write a batch book with these photographs only, and open it."""
    files = two_cameras.tables(seed) | {"photos.csv": book.as_csv(book.photos_table(shots))}
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    (folder / "photos").mkdir()
    for shot in shots:
        (folder / shot.photo).write_bytes(two_cameras.jpeg(render(shot), shot))
    return open_book(folder)


def rendered_by(setups, seed):
    """Render with other setups than the book's own."""

    def render(shot):
        own, setup = book.stream(shot.photo, seed), setups[shot.setup]
        if shot.view == "flat":
            return scene.render_flat(own, setup=setup)
        surface = two_cameras.surface(shot.pot, shot.taken.date(), seed)
        return scene.render_scene(own, setup=setup, view=shot.view, surface=surface)

    return render


def true_differences(seed):
    """Planted differences of the eight pots, camera less phone, shape (8, 3)."""
    means = []
    for pot in two_cameras.POTS:
        surface = two_cameras.surface(pot, two_cameras.FIRST_DAY, seed)
        with_veil = two_cameras.veiled(surface, two_cameras.VEIL)
        means.append(surface.means("front")[0] - with_veil.means("front")[0])
    return np.array(means)


def measured_set(seed, any_setups, whole):
    """Measure one book, and set the differences found beside those planted."""
    row = {"seed": seed}
    render = lambda shot: two_cameras.render(shot, seed)  # noqa: E731
    if any_setups:
        drawn = [camera.draw_setup(np.random.default_rng([seed, k])) for k in (0, 1)]
        setups = {"phone": replace(drawn[0], veil=two_cameras.VEIL), "camera": drawn[1]}
        row |= {f"{name} is": f"{setup.sensor.split()[0]}, {setup.light}" for name, setup in setups.items()}
        render = rendered_by(setups, seed)
    shots = two_cameras.shots() if whole else compared_shots()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SAGGLAB_CACHE"] = f"{folder}/kept"
        try:
            written = written_book(seed, Path(folder) / "book", shots, render)
        except ValueError as error:  # the kinds of surface cannot be mixed to every colour that is drawn
            return row | {"failed": str(error)}
        measures = measure_photos(written, jobs=1)
        if whole:
            row |= drift_and_changes(seed, written, measures)
    of = [measures[measures["setup"] == name] for name in NAMES]
    true = true_differences(seed).mean(axis=0)
    row |= {f"{name} true": at for name, at in zip(COORDINATES, true, strict=True)}
    for calibrated, said in ((False, " in file"), (True, "")):
        pairs = pair_pots(*of, calibrated)
        means = pairs.table[list(COORDINATES)].mean()
        row |= {f"{name} off{said}": means[name] - row[f"{name} true"] for name in COORDINATES}
    return row | {"pots": len(pairs.table)}


def drift_and_changes(seed, written, measures):
    """Say whether the drift is found on its day, and in which intervals the changes of the pots lie."""
    patches = measure_targets(written, jobs=1)
    found = check_drift(patches, "camera").found
    lasting = found[found["lasts"] != "no"]
    row = {}
    for colours in ("in the file", "after calibration"):
        days = lasting.loc[lasting["colours"].str.startswith(colours), "taken"]
        row[f"drift {colours}"] = days.min().date().isoformat() if len(days) else ""
    changes = changes_over_time(measures, patches, written.pots, ["copper sulphate [g]"])
    told = changes.table.merge(two_cameras.truth_tables(seed)["truth/changes.csv"], on=["pot", "coordinate"])
    told["inside"] = told["front per month"].between(told["low"], told["high"])
    sure = told["distinguishable"] & (told["coordinate"] == "a*")
    had = told["copper sulphate [g]"].notna()
    row["changes inside"], row["of changes"] = int(told["inside"].sum()), len(told)
    row["a* sure, copper"], row["a* sure, none"] = int((sure & had).sum()), int((sure & ~had).sum())
    return row


def print_summary(table):
    """Sum up by how much the measured mean differences are off."""
    for said in (" in file", ""):
        off = table[[f"{name} off{said}" for name in COORDINATES]]
        summed = off.agg(["mean", "std", "min", "max"]).T
        summed[f"within {WITHIN}"] = (off.abs() <= WITHIN).mean()
        print("\nmeasured less planted\n" + summed.round(3).to_string())
    met = (off.abs() <= WITHIN).mean() >= SHARE
    print(f"\nwithin ±{WITHIN} in at least {SHARE:.0%} of {len(table)} sets: {met.to_dict()}")
    if "drift in the file" in table:
        for colours in ("in the file", "after calibration"):
            print(f"\nfirst day of drift {colours}, {two_cameras.DRIFTED} planted in the file only:")
            print(table[f"drift {colours}"].value_counts().to_string())
        print("\n" + table.filter(regex="changes|sure").sum().to_string())


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("first", type=int)
    asked.add_argument("end", type=int)
    asked.add_argument("--jobs", type=int, default=2)
    kind = asked.add_mutually_exclusive_group()
    kind.add_argument("--any-setups", action="store_true")
    kind.add_argument("--whole", action="store_true")
    asked = asked.parse_args()
    tasks = (
        joblib.delayed(measured_set)(seed, asked.any_setups, asked.whole)
        for seed in range(asked.first, asked.end)
    )
    rows = []
    for row in joblib.Parallel(n_jobs=asked.jobs, return_as="generator")(tasks):
        rows.append(row)
        print(
            {name: round(float(at), 2) if isinstance(at, float) else at for name, at in row.items()},
            flush=True,
        )
    sets = pd.DataFrame([row for row in rows if "failed" not in row]).set_index("seed")
    planted = sets[[f"{name} true" for name in COORDINATES]]
    print("\nplanted: " + planted.agg(["mean", "min", "max"]).round(2).to_string())
    print_summary(sets)
