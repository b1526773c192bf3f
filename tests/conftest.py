"""What many tests share: the demo book, the generator that drew it, and a painted target."""

import importlib
import os
import sys
import tempfile
from pathlib import Path

import cv2
import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from hypothesis import settings

from sagglab.colour import linear_to_xyz, xyz_to_lab
from sagglab.measures.kept import PLACE
from sagglab.photo.patches import grid_to_picture
from sagglab.targets import Target

# Not by MPLBACKEND in the environment, which the notebooks' kernels would inherit, and show nothing.
mpl.use("Agg")

# What is measured is kept for this run alone, and for all of it: notebooks, shells, and its other process.
if "PYTEST_XDIST_WORKER" not in os.environ:
    _KEPT = tempfile.TemporaryDirectory(prefix="sagglab-kept-")
    os.environ[PLACE] = _KEPT.name

# How long an example takes says how busy the machine is, with a process on each core.
settings.register_profile("busy machine", settings(), deadline=None)
settings.load_profile("busy machine")

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo"


@pytest.fixture(scope="session")
def demo():
    """The demo book's folder."""
    return DEMO


@pytest.fixture(scope="session")
def two_cameras():
    """The folder of the book of two cameras."""
    return DEMO.parent / "two-cameras"


@pytest.fixture(scope="session")
def scenes():
    """The generator's module that photographs pots whose truth is known."""
    sys.path.insert(0, str(DEMO))
    try:
        return importlib.import_module("generator.scene")
    finally:
        sys.path.remove(str(DEMO))


@pytest.fixture(scope="session")
def scene(scenes):
    """One pot beside the target."""
    return scenes.render_scene(7, setup="phone")


@pytest.fixture(scope="session")
def scene_file(scene, tmp_path_factory):
    """The same, as a photograph without losses."""
    path = tmp_path_factory.mktemp("scene") / "pot.png"
    cv2.imwrite(str(path), scene.srgb[..., ::-1])
    return path


@pytest.fixture(scope="session")
def painted():
    """A target of 24 patches of linear light, and the reference that is exactly true of it.

    No patch is clipped, the last row is grey, and the others spread over the display's colours.
    """
    rng = np.random.default_rng(3)
    light = rng.uniform(0.03, 0.75, (4, 6, 3))
    light[3] = np.geomspace(0.85, 0.03, 6)[:, None]
    names = tuple(f"patch {number}" for number in range(1, 25))
    return light, Target("painted", xyz_to_lab(linear_to_xyz(light)), names)


@pytest.fixture(scope="session")
def paint():
    """Give a function that paints patches into a picture, in perspective."""

    def paint(light, corners, size=(400, 600), around=0.2):
        rows, columns = light.shape[:2]
        y, x = np.mgrid[: size[0], : size[1]].astype(float)
        back = np.linalg.inv(grid_to_picture(corners, (rows, columns)))
        grid = cv2.perspectiveTransform(np.stack([x, y], axis=-1).reshape(1, -1, 2), back)
        column, row = np.rint(grid[0]).astype(int).T
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        picture = np.full((size[0] * size[1], 3), around, dtype=np.float32)
        picture[inside] = light[row[inside], column[inside]]
        return picture.reshape(*size, 3)

    return paint


@pytest.fixture(scope="session")
def small_book(tmp_path_factory, demo):
    """Three demo pots with a handful of views; pot p03 is lost, and three photographs are no good.

    p01 and p02 were photographed with the phone, p03 twice with the phone and once with the camera.
    """
    folder = tmp_path_factory.mktemp("small") / "book"
    for part in ("photos", "readings", "targets"):
        (folder / part).mkdir(parents=True)
    photos = pd.read_csv(demo / "photos.csv", dtype=str)
    wanted = ["p01-front", "p01-back", "p02-front", "p03-front", "p03-front-camera", "phone-target-1"]
    wanted += ["phone-flat", "camera-flat"]
    photos = photos[photos["photo"].isin([f"photos/{name}.jpg" for name in wanted])]
    for name in photos["photo"]:
        (folder / name).write_bytes((demo / name).read_bytes())
    for name in ("targets/studio-target.csv", "readings/f1.csv", "setups.csv"):
        (folder / name).write_bytes((demo / name).read_bytes())
    pots = pd.read_csv(demo / "pots.csv", dtype=str).iloc[:4]
    pots.loc[3, "state"] = "lost"
    pots.to_csv(folder / "pots.csv", index=False)
    pd.read_csv(demo / "firings.csv", dtype=str).iloc[:1].to_csv(folder / "firings.csv", index=False)
    photos.to_csv(folder / "photos.csv", index=False)
    return folder
