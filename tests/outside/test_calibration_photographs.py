"""The calibration on photographs made by others: patches left out, and repeats of one chart.

Nobody measured these charts, and nobody says when they were made: each photograph is held to the built-in
table that predicts its left-out patches better.
"""

import logging
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from joblib import Parallel, delayed

from sagglab.colour import delta_e_2000
from sagglab.errors import TargetError
from sagglab.photo.calibration import calibrate
from sagglab.photo.image import read_photo
from sagglab.photo.patches import sample_patches
from sagglab.targets import read_target

PHOTOS = Path(__file__).resolve().parents[2].parent / "shared" / "photos"

pytestmark = pytest.mark.skipif(
    not (PHOTOS / "photos.csv").is_file(), reason="the photographs of shared/photos are not here"
)

LOG = logging.getLogger(__name__)

CORNERS = ["brown", "bluish_green", "black", "white"]
TABLES = ("24-patch-from-2014-11", "24-patch-before-2014-11")
#: A leaf lies over these patches of target-28, seen by eye: rows 2 to 4 of columns 1 and 2.
LEAF = np.zeros((4, 6), dtype=bool)
LEAF[1:, :2] = True

#: Photographs of one chart each.
LARGE_CHART = [f"target-{number:02d}.jpg" for number in range(1, 11)]
SMALL_CHART = [f"target-{number:02d}.jpg" for number in range(11, 17)]


@pytest.fixture(scope="module")
def listed():
    photos = pd.read_csv(PHOTOS / "photos.csv")
    return photos[photos["kind"] == "target"].set_index("photo")


@pytest.fixture(scope="module")
def calibrations(listed):
    """Calibrations by photograph and table; a photograph of which too few patches are seen has none."""
    done = Parallel(2)(delayed(_calibrated)(photo, row) for photo, row in listed.iterrows())
    return {key: value for one in done for key, value in one.items()}


def _calibrated(photo, row):
    cv2.setNumThreads(1)
    # Marked by hand: the target finder has no part in this.
    corners = np.array([[float(number) for number in row[corner].split()] for corner in CORNERS])
    picture = read_photo(PHOTOS / photo).picture
    samples = sample_patches(picture, corners, (4, 6), LEAF if photo == "target-28.png" else None)
    found = {}
    for table in TABLES:
        try:
            found[photo, table] = calibrate(samples, read_target(table), None, picture)
        except TargetError as error:
            LOG.info(f"{photo}: {error}")
    return found


@pytest.fixture(scope="module")
def better(listed, calibrations):
    """The calibration of each photograph by the table that predicts its left-out patches better."""
    rows = {}
    for photo in listed.index:
        done = {table: calibrations[photo, table] for table in TABLES if (photo, table) in calibrations}
        if not done:
            continue
        table = min(done, key=lambda each: done[each].left_out_mean)
        found = done[table]
        rows[photo] = {
            "left out": found.left_out_mean,
            "mean": found.mean,
            "table": table,
            "method": found.method,
            "fall-off": found.mapping.light.source,
            "clipped": listed.loc[photo, "clipped_patches"],
            "spoiled": found.patches["doubt"].isin(["clipped", "hidden", "glare", "shadow"]).sum(),
            "worst": found.patches.loc[found.patches["left-out ΔE00"].idxmax(), "patch"],
        }
    table = pd.DataFrame.from_dict(rows, orient="index")
    LOG.info("\n" + table.round(2).to_string())
    return table


def test_left_out_patches_are_predicted(better):
    """Mean over the photographs whose charts are neither clipped, nor covered, nor in glare or shadow.

    Over all that `photos.csv` calls unclipped it is 2.8: target-28 shows other colours than its chart has.
    """
    whole = better[(better["clipped"] == 0) & (better["spoiled"] == 0)]
    assert len(whole) >= 20
    unclipped = better.loc[better["clipped"] == 0, "left out"]
    LOG.info(
        f"left-out mean ΔE00 over {len(whole)} photographs: {whole['left out'].mean():.2f}; over the "
        f"{len(unclipped)} unclipped {unclipped.mean():.2f}, median {unclipped.median():.2f}"
    )
    assert whole["left out"].mean() <= 2.5, whole.round(2).to_string()


def test_no_chart_is_beyond_calibrating(listed, better):
    """Only charts of which most patches are clipped may be refused."""
    refused = listed.index.difference(better.index)
    assert (listed.loc[refused, "clipped_patches"] > 24 - 7).all()


@pytest.mark.parametrize("photos", [LARGE_CHART, SMALL_CHART], ids=["large chart", "small chart"])
def test_one_chart_has_the_same_colours_in_all_its_photographs(calibrations, photos):
    """Each patch against its mean over the photographs, by the table that suits the chart better."""
    spreads = {}
    for table in TABLES:
        found = [calibrations[photo, table] for photo in photos]
        lab = np.array([each.patches[["L*", "a*", "b*"]].to_numpy() for each in found])
        away = delta_e_2000(lab, np.broadcast_to(lab.mean(axis=0), lab.shape))
        spreads[table] = (np.mean([each.left_out_mean for each in found]), away)
        LOG.info(f"{table}: mean ΔE00 {away.mean():.2f}, largest of a patch {away.mean(axis=0).max():.2f}")
    _, away = min(spreads.values(), key=lambda each: each[0])
    patches = pd.Series(away.mean(axis=0), read_target(TABLES[0]).patches)
    assert away.mean() <= 1.5, patches.round(2).to_string()
