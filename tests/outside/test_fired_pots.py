"""Photographs of fired pots by others, on busy grounds and without a target: what the outline says of them.

They are no photographs as the README asks for; what is held to here is that none is taken for sure. Sources:
two views of a flower pot from natowi/dataset_flowerpot (CC BY-SA 4.0), and a cup from scikit-image's data
(CC0).
"""

from pathlib import Path

import cv2
import numpy as np
import pytest

from sagglab.colour import xyz_to_lab
from sagglab.photo.evidence import SURE
from sagglab.photo.image import read_photo
from sagglab.photo.outline import find_outline

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "photos"


@pytest.mark.parametrize(
    ("name", "told"),
    [
        # The pot hides the printed sheet's middle, and the sheet that it stands on is taken with it.
        ("fired-pot-01.jpg", "unsure outline"),
        ("fired-pot-02.jpg", "unsure outline"),
        # Wood, a saucer and a spoon: no plain backdrop.
        ("fired-pot-03.png", "no plain backdrop"),
    ],
)
def test_busy_ground_is_not_taken_for_sure(name, told):
    if not (PHOTOS / name).is_file():
        pytest.skip(f"{name} is not here")
    photo = read_photo(PHOTOS / name)
    size = photo.linear.shape[:2]
    scale = 800 / max(size)
    reduced = cv2.resize(photo.linear, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)

    def to_lab(light, _places):
        return xyz_to_lab(light @ photo.to_xyz.T)

    found = find_outline(reduced, to_lab, np.zeros(reduced.shape[:2], dtype=bool), size)
    assert found.confidence < SURE
    assert told in found.problems.flags or told in found.problems.told
    assert not found.problems.stopping
