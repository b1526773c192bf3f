"""How near outlines come to the truth of rendered scenes, easy and difficult, and how sure they are.

Run by hand: ``python tests/benchmarks/outlines.py 61000 61100`` deals the kinds of surroundings in turn to
the seeds from 61000 to 61099, each with a pot and a setup of its own. ``--all`` gives every kind to every
seed. Of "cut" a fifth of the pot lies outside the frame, and its truth is what is left; of "two pots" an
error is the right answer.

A silent failure is an outline with an overlap over union below 0.9 and a confidence of 0.8 or more.
"""

import argparse
import sys
import time
import zlib
from pathlib import Path

import cv2
import joblib
import numpy as np
import pandas as pd

from sagglab.colour import linear_to_xyz, srgb_to_linear, xyz_to_lab
from sagglab.errors import OutlineError
from sagglab.photo.evidence import SURE
from sagglab.photo.outline import find_outline
from sagglab.photo.patches import target_area

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
sys.path.insert(0, str(DEMO))

from generator import camera, scene, surface, surroundings  # noqa: E402

KINDS = ("grey sweep", *surroundings.KINDS, "cut", "two pots")
#: The longest side at which outlines are searched for, as in `measure_photo`.
LONGEST = 800


def draw(seed, kind):
    """Render one scene: the photograph, the target's corners, and where the pot is."""
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    setup = camera.draw_setup(rng)
    around = second = None
    if kind in surroundings.KINDS:
        around = surroundings.draw_surroundings(rng, kind, 395.0 if setup.target_at == "right" else 805.0)
    if kind == "two pots":
        second = surface.make_surface(rng, scene.draw_piece(rng))
    true = scene.render_scene([seed, zlib.crc32(kind.encode())], setup=setup, around=around, second=second)
    srgb, corners, pot = true.srgb, true.corners, true.pot
    if kind == "cut":
        columns = np.flatnonzero(pot.any(axis=0))
        # On the side away from the target.
        if corners[:, 0].mean() < columns[0]:
            kept = np.s_[:, : columns[0] + round(0.8 * len(columns))]
        else:
            start = columns[0] + round(0.2 * len(columns))
            kept, corners = np.s_[:, start:], corners - [start, 0]
        srgb, pot = srgb[kept], pot[kept]
    return srgb, corners, pot


def _lab(light, _places):
    return xyz_to_lab(linear_to_xyz(light))


def outlined(seed, kind):
    """Find the outline of one scene, and set it beside the truth."""
    cv2.setNumThreads(1)
    srgb, corners, pot = draw(seed, kind)
    size = pot.shape
    linear = srgb_to_linear(srgb.astype(np.float32) / 255)
    scale = LONGEST / max(size)
    reduced = cv2.resize(
        linear, (round(size[1] * scale), round(size[0] * scale)), interpolation=cv2.INTER_AREA
    )
    elsewhere = np.zeros(reduced.shape[:2], dtype=bool)
    if np.isfinite(corners).all():
        elsewhere = target_area(corners, (4, 6), size, reduced.shape[:2], 1.25)
    row = {"seed": seed, "kind": kind, "overlap": 0.0, "confidence": 0.0, "off, px": np.nan, "told": ""}
    start = time.process_time()
    try:
        found = find_outline(reduced, _lab, elsewhere, size)
    except OutlineError as error:
        return row | {"told": error.cause, "seconds": time.process_time() - start}
    row["seconds"] = time.process_time() - start
    row |= {"confidence": found.confidence, "told": found.problems.told}
    if found:
        inside = found.mask(size, size)
        row["overlap"] = (inside & pot).sum() / (inside | pot).sum()
        # In pixels of the reduced picture: how far the ring lies outside the truth, in the mean around it.
        round_ = len(found.rings[0]) * 1.5
        row["off, px"] = (inside.sum() - float(pot.sum())) * scale**2 / round_
    return row


def summary(table):
    """Sum up one kind."""
    overlap, sure = table["overlap"], table["confidence"] >= SURE
    return pd.Series(
        {
            "scenes": len(table),
            "≥ 0.97": (overlap >= 0.97).mean(),
            "median": overlap.median(),
            "least": overlap.min(),
            "none found": (overlap == 0).sum(),
            "silent failures": ((overlap < 0.9) & sure).sum(),
            "sure, of those ≥ 0.97": sure[overlap >= 0.97].mean(),
            "off, px": table["off, px"].mean(),
            "seconds": table["seconds"].median(),
        }
    )


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("first", type=int)
    asked.add_argument("end", type=int)
    asked.add_argument("--all", action="store_true")
    asked = asked.parse_args()
    seeds = range(asked.first, asked.end)
    pairs = [
        (seed, kind) for seed in seeds for kind in KINDS if asked.all or KINDS[seed % len(KINDS)] == kind
    ]
    table = pd.DataFrame(joblib.Parallel(n_jobs=2)(joblib.delayed(outlined)(*pair) for pair in pairs))
    odd = table[(table["overlap"] < 0.97) & (table["kind"] != "two pots")]
    print(odd.drop(columns=["off, px", "seconds"]).round(3).to_string(index=False))
    alone = table[table["kind"] != "two pots"]
    rows = [summary(part).rename(kind) for kind, part in alone.groupby("kind", sort=False)]
    print("\n" + pd.DataFrame([*rows, summary(alone).rename("all")]).round(3).to_string())
    pairs = table[table["kind"] == "two pots"]
    told = pairs["told"].str.contains("things stand out").mean()
    print(f"\ntwo pots: refused as such {told:.0%} of {len(pairs)}")
    print(pairs[["seed", "overlap", "confidence", "told"]].round(3).to_string(index=False))
