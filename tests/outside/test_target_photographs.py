"""The target finder on photographs made by others, whose corners were marked by hand."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import PhotoError, SagglabError, TargetError
from sagglab.photo.image import read_photo
from sagglab.photo.measure import measure_photo
from sagglab.photo.target import find_target
from sagglab.targets import read_target

PHOTOS = Path(__file__).resolve().parents[2].parent / "shared" / "photos"

pytestmark = pytest.mark.skipif(
    not (PHOTOS / "photos.csv").is_file(), reason="the photographs of shared/photos are not here"
)

CORNERS = ["brown", "bluish_green", "black", "white"]


@pytest.fixture(scope="module")
def listed():
    return pd.read_csv(PHOTOS / "photos.csv")


def test_targets_are_found(listed):
    """Every corner within a quarter of the step from patch to patch, in the right order."""
    target = read_target("24-patch-from-2014-11")
    targets = listed[listed["kind"] == "target"]
    assert len(targets) == 37
    failed = {}
    for photo in targets.itertuples():
        truth = np.array([[float(number) for number in getattr(photo, corner).split()] for corner in CORNERS])
        try:
            found = find_target(read_photo(PHOTOS / photo.photo).linear, target)
        except TargetError as error:
            failed[photo.photo] = str(error)
            continue
        worst = np.hypot(*(found.corners - truth).T).max() / photo.patch_pitch_px
        if worst >= 0.25:
            failed[photo.photo] = f"the worst corner is {worst:.2f} steps off"
    assert not failed, "\n".join(f"{photo}: {why}" for photo, why in failed.items())


def test_measuring_whole_photographs_finds_them_too(listed):
    """The rest of the picture is clutter here; it may be refused as two pots, but hardly ever."""
    failed, spoiled = {}, []
    targets = listed[listed["kind"] == "target"]
    for photo in targets.itertuples():
        truth = np.array([[float(number) for number in getattr(photo, corner).split()] for corner in CORNERS])
        try:
            measured = measure_photo(PHOTOS / photo.photo)
        except SagglabError as error:
            failed[photo.photo] = error.cause
            continue
        if np.hypot(*(measured.corners - truth).T).max() >= 0.25 * photo.patch_pitch_px:
            spoiled.append(photo.photo)
        assert measured.calibration.left_out_mean > measured.calibration.mean
    assert not spoiled
    # target-15 shows two black squares, each whole and as large as a small pot.
    assert set(failed) <= {"target-15.jpg"}, failed


def test_nothing_else_is_taken_for_one(listed):
    target = read_target("24-patch-from-2014-11")
    others = listed.loc[listed["kind"].isin(["other-target", "fired-pot", "odd"]), "photo"]
    taken, unreadable = {}, []
    for photo in others:
        try:
            picture = read_photo(PHOTOS / photo).linear
        except PhotoError:
            unreadable.append(photo)
            continue
        try:
            taken[photo] = find_target(picture, target).confidence
        except TargetError:
            pass
    assert not taken
    # Files that are damaged, or in an encoding that is not read here, are the picture reader's concern.
    assert len(unreadable) <= 3, unreadable
