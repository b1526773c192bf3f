"""How near the measured colour, outline and corners come to the truth of rendered scenes.

Run by hand: ``python tests/benchmarks/rendered_scenes.py 3000 3040 [--no-flat]`` takes the seeds from 3000 to
3039. Each has a pot and a setup of its own (`generator.camera.draw_setup`: two sensors, six lights) and,
unless told otherwise, a flat field photographed in it. A line is printed for each, then the summary, by light
and by sensor.

Beside the library's answer stand, on the same picture with the true corners and outline given, over the
library's band without its glare:

- plain 3×3 and plain root-polynomial of degree 2: least squares from linear sRGB to XYZ on the patches'
  means, without tone, flat field or weights;
- "calibration only": the library's calibration with the true light on the pot divided out in XYZ, so that
  shading is no part of what is left (fall-off, mirrored light and metamerism are).
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

import cv2
import joblib
import numpy as np
import pandas as pd
from PIL import Image

from sagglab.colour import delta_e_2000, lab_to_xyz, srgb_to_linear, xyz_to_lab
from sagglab.columns import HEIGHT_STEPS, PALETTE_COLOURS
from sagglab.errors import SagglabError
from sagglab.photo.image import read_photo
from sagglab.photo.measure import measure_photo
from sagglab.photo.palette import palette

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
sys.path.insert(0, str(DEMO))

from generator import camera, scene, spectra  # noqa: E402
from generator.surface import BAND_DEGREES, angles  # noqa: E402

TARGET = DEMO / "targets/studio-target.csv"
AXES = ("L*", "a*", "b*")
#: Half the side of the square averaged in each patch, in patch pitches.
HALF_SIDE = 0.26


def patch_means(linear, corners):
    """Average the middle of each of the 24 patches, row by row; shape (24, 3)."""
    grid = np.array([[0, 0], [5, 0], [5, 3], [0, 3]], dtype=np.float32)
    onto = cv2.getPerspectiveTransform(grid, corners.astype(np.float32))
    row, column, down, right = np.meshgrid(
        *(np.arange(n) for n in (4, 6)), *[np.linspace(-HALF_SIDE, HALF_SIDE, 21)] * 2, indexing="ij"
    )
    places = cv2.perspectiveTransform(np.stack([column + right, row + down], -1).reshape(1, -1, 2), onto)
    read = cv2.remap(linear, places.astype(np.float32), None, cv2.INTER_LINEAR)
    return read.reshape(24, -1, 3).mean(axis=1)


def root_terms(rgb):
    """Give the root-polynomial terms of degree 2 (Finlayson, Mackiewicz & Hurlbert 2015), shape (..., 6)."""
    r, g, b = np.moveaxis(np.maximum(rgb, 0), -1, 0)
    return np.stack([r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], axis=-1)


PLAIN = {"plain 3×3": lambda rgb: rgb, "plain root-polynomial": root_terms}


def plain_answers(srgb, corners, pixels, area):
    """Mean L*, a*, b* of the pixels by each plain regression."""
    linear = srgb_to_linear(srgb.astype(np.float32) / 255).astype(np.float32)
    patches, known = patch_means(linear, corners), spectra.reflectance_to_xyz(spectra.patches()[1])
    for name, terms in PLAIN.items():
        matrix = np.linalg.lstsq(terms(patches), known)[0]
        lab = xyz_to_lab(terms(linear[pixels]) @ matrix)
        yield name, np.average(lab, axis=0, weights=area)


def inside_interval(table, axis, true):
    """Whether the truth lies in the reported 95 % interval; blank while none is reported."""
    if f"{axis} low" not in table:
        return np.nan
    low, high = table[[f"{axis} low", f"{axis} high"]].iloc[0].astype(float)
    return np.nan if np.isnan(low) else float(low <= true <= high)


def against_surface(row, true):
    """Set what one row of measures says of the surface beside what the surface is."""
    surface = true.surface
    band = np.abs((angles() + 180) % 360 - 180) <= BAND_DEGREES
    area = np.repeat(surface.area[:, None], band.sum(), axis=1)
    lab = surface.lab[:, band].astype(float)
    steps = np.arange(len(surface.area)) * len(HEIGHT_STEPS) // len(surface.area)
    profile = [np.average(lab[steps == k, :, 0], weights=area[steps == k]) for k in range(len(HEIGHT_STEPS))]
    off = np.array([row[f"L* at {at:g} % height"] for at in HEIGHT_STEPS], dtype=float) - profile
    main = palette(lab.reshape(-1, 3), area.ravel()).lab[0]
    numbers = [n for n in range(1, PALETTE_COLOURS + 1) if row[f"colour {n} share"] > 0]
    colours = np.array([[row[f"colour {n} {axis}"] for axis in AXES] for n in numbers], dtype=float)
    apart = delta_e_2000(colours, np.broadcast_to(main, colours.shape))
    whole = np.average(surface.lab.astype(float).mean(axis=1), axis=0, weights=surface.area)
    found = {
        "dark off": row["dark share"] - true.dark,
        "profile rms": float(np.sqrt(np.mean(off**2))),
        # Of two colours that cover as much, either may come out first: then the nearest of all is told, too.
        "main colour ΔE00": float(apart[0]),
        "nearest to it ΔE00": float(apart.min()),
        "glare share": row["glare share"],
    }
    for k, axis in enumerate(AXES):
        errors = [row[f"{axis} error of {name}"] for name in ("calibration", "light", "sampling")]
        found[f"{axis} of pot inside"] = float(abs(row[axis] - whole[k]) <= 1.96 * np.linalg.norm(errors))
    return found


def measured_scene(seed, folder, with_flat):
    """Measure one scene and set it beside its truth."""
    setup = camera.draw_setup(np.random.default_rng([seed, 78]))
    true = scene.render_scene([seed, 77], setup=setup)
    photo, flat = folder / f"{seed}.png", None
    Image.fromarray(true.srgb).save(photo)
    if with_flat:
        flat = folder / f"{seed}-flat.png"
        Image.fromarray(scene.render_flat([seed, 79], setup=setup).srgb).save(flat)
    row = {"seed": seed, "sensor": setup.sensor.partition(" ")[0], "light": setup.light}
    start = time.perf_counter()
    try:
        found = measure_photo(photo, target=TARGET, flat=flat)
    except SagglabError as error:
        return row | {"failed": str(error)}
    row["seconds"] = time.perf_counter() - start
    lab = found.table[list(AXES)].iloc[0].to_numpy(dtype=float)
    row["ΔE00"] = float(delta_e_2000(lab, true.lab))
    row |= {f"{axis} off": off for axis, off in zip(AXES, lab - true.lab, strict=True)}
    row |= {
        f"{axis} inside": inside_interval(found.table, axis, at)
        for axis, at in zip(AXES, true.lab, strict=True)
    }
    mask = found.outline.mask(true.pot.shape, true.pot.shape)
    row["overlap"] = (mask & true.pot).sum() / (mask | true.pot).sum()
    row["confidence"] = found.outline.confidence
    row |= against_surface(found.table.iloc[0], true)
    row["corners, px"] = np.linalg.norm(found.corners - true.corners, axis=1).max()
    row["left out"] = found.calibration.left_out_mean
    row["method"] = found.calibration.method

    # The surface is measured at a size of its own: each of its pixels stands for that of the picture which
    # lies nearest to its middle.
    given = measure_photo(photo, target=TARGET, flat=flat, corners=true.corners, outline=true.pot)
    surface = given.side.surface
    row_at, column_at = np.nonzero(surface.measured)
    x, y = (surface.corner + surface.pitch * np.stack([column_at, row_at], axis=-1)).T.round().astype(int)
    pixels, area = (y, x), surface.area[surface.measured]
    # Colours outside the display's gamut: what the camera cut off at 0 nobody can bring back.
    row["cut at 0"] = (true.srgb[pixels] == 0).any(axis=-1).mean()
    seen = given.calibration.lab(read_photo(photo).linear[pixels], np.stack([x, y], axis=-1))
    unshaded = xyz_to_lab(lab_to_xyz(seen) / true.light[pixels][:, None])
    for name, answer in [
        ("calibration only", np.average(unshaded, axis=0, weights=area)),
        *plain_answers(true.srgb, true.corners, pixels, area),
    ]:
        row[name] = float(delta_e_2000(answer, true.lab))
        row[f"{name} L* off"] = answer[0] - true.lab[0]
    return row


def print_summary(table):
    """Sum the scenes up: ΔE00 of each answer, its bias, and what else is asked of a measurement."""
    print(f"\n{table['ΔE00'].notna().sum()} of {len(table)} scenes measured")
    table = table.dropna(subset="ΔE00")
    answers = ["ΔE00", "calibration only", *PLAIN]
    colour = table[answers].describe(percentiles=[0.5, 0.95]).T[["mean", "50%", "95%", "max"]]
    colour["L* bias"] = [table["L* off" if name == "ΔE00" else f"{name} L* off"].mean() for name in answers]
    offs = table[[f"{axis} off" for axis in AXES]].agg(["mean", "std", "min", "max"])
    others = table[["overlap", "confidence", "corners, px", "left out", "cut at 0", "seconds"]].describe()
    surface = table[["dark off", "profile rms", "main colour ΔE00", "nearest to it ΔE00", "glare share"]]
    surface = surface.describe(percentiles=[0.5, 0.95]).iloc[1:]
    print("\nΔE00 of the pot's mean\n" + colour.rename(index={"ΔE00": "sagglab"}).round(2).to_string())
    print("\nmeasured less true\n" + offs.round(2).to_string())
    for axis in AXES:
        inside = table[f"{axis} inside"].dropna()
        share = f"{inside.mean():.1%} of {len(inside)}" if len(inside) else "none reported"
        print(f"true {axis} inside its 95 % interval: {share}")
    for axis in AXES:
        inside = table[f"{axis} of pot inside"]
        print(f"true {axis} of the whole pot inside what sampling adds: {inside.mean():.1%} of {len(inside)}")
    print("\n" + surface.round(3).to_string())
    print("\n" + others.iloc[1:].round(3).to_string())
    print("\n" + table["method"].value_counts().to_string())
    for kind in ("light", "sensor"):
        groups = table.groupby(kind)
        means = groups[[*answers, *(f"{axis} off" for axis in AXES)]].mean()
        print("\n" + means.assign(scenes=groups.size()).round(2).to_string())


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("first", type=int)
    asked.add_argument("end", type=int)
    asked.add_argument("--no-flat", action="store_true")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tasks = (
            joblib.delayed(measured_scene)(seed, Path(folder), not asked.no_flat)
            for seed in range(asked.first, asked.end)
        )
        table = pd.DataFrame(joblib.Parallel(n_jobs=2)(tasks)).set_index("seed")
    if "failed" in table:
        for seed, failed in table.pop("failed").dropna().items():
            print(f"{seed} {failed}")
    print(table.round(2).to_string(float_format="{:.2f}".format))
    print_summary(table)
