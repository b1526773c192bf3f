"""One photograph through the whole of the room, against the scene that it shows."""

import pickle

import cv2
import numpy as np
import pandas as pd
import pytest

from sagglab.columns import MEASURES
from sagglab.errors import MissingFileError, OutlineError, TargetError
from sagglab.photo.measure import measure_photo


@pytest.fixture(scope="module")
def measured(scene_file, demo):
    return measure_photo(
        scene_file, target=demo / "targets/studio-target.csv", flat=demo / "photos/phone-flat.jpg"
    )


@pytest.fixture(scope="module")
def own_target(demo):
    return demo / "targets/studio-target.csv"


@pytest.fixture
def saved(tmp_path):
    def save(srgb, name="photo.png"):
        cv2.imwrite(str(tmp_path / name), np.ascontiguousarray(srgb[..., ::-1]))
        return tmp_path / name

    return save


def test_colour_is_near_the_truth(measured, scene):
    row = measured.table.iloc[0]
    assert row["L*"] == pytest.approx(scene.lab[0], abs=3)
    assert row["a*"] == pytest.approx(scene.lab[1], abs=2)
    assert row["b*"] == pytest.approx(scene.lab[2], abs=2.5)
    assert row["dark share"] == pytest.approx(scene.dark, abs=0.1)


def test_table_has_the_declared_columns(measured):
    assert measured.table.columns.tolist() == [column.heading for column in MEASURES]
    assert len(measured.table) == 1


def test_corners_are_where_the_scene_has_them(measured, scene):
    pitch = np.linalg.norm(scene.corners[1] - scene.corners[0]) / 5
    assert np.linalg.norm(measured.corners - scene.corners, axis=1).max() < pitch / 4


def test_outline_has_the_photographs_size_and_the_pots_form(measured, scene):
    assert measured.outline.shape == scene.pot.shape
    assert (measured.outline & scene.pot).sum() / (measured.outline | scene.pot).sum() >= 0.97


def test_a_good_photograph_has_no_problems(measured):
    assert not measured.problems
    assert measured.table["flat-fielded"].all()
    assert repr(measured).startswith("pot.png: L* ")


def test_given_corners_and_outline_win(scene, scene_file, own_target):
    given = scene.corners + 1.5
    box = "700 400; 850 400; 850 550; 700 550"
    found = measure_photo(scene_file, target=own_target, corners=given, outline=box)
    assert (found.corners == given).all()
    assert found.outline.sum() == 151 * 151


def test_corners_as_text(scene, scene_file, own_target):
    text = "; ".join(f"{x} {y}" for x, y in scene.corners)
    found = measure_photo(scene_file, target=own_target, corners=text, outline=scene.pot)
    np.testing.assert_allclose(found.corners, scene.corners)


@pytest.mark.parametrize("corners", ["1 2; 3 4; 5 6", "a b; c d; e f; g h", [[1, 2]], ""])
def test_bad_corners(scene_file, own_target, corners):
    with pytest.raises(TargetError, match=r"pot\.png: .*corners are not four places"):
        measure_photo(scene_file, target=own_target, corners=corners)


def test_flat_of_another_size_is_told_and_not_used(scene_file, scene, own_target, saved):
    flat = saved(np.full((90, 120, 3), 128, np.uint8), "flat.png")
    found = measure_photo(scene_file, own_target, flat, outline=scene.pot, corners=scene.corners)
    assert "the flat field is 120 by 90 pixels and the photograph 1200 by 900" in found.problems.told
    assert not found.table["flat-fielded"].any()


def test_missing_flat_is_named(scene_file, scene, own_target, tmp_path):
    with pytest.raises(MissingFileError, match=r"none\.jpg"):
        measure_photo(scene_file, own_target, tmp_path / "none.jpg", corners=scene.corners)


def test_photograph_without_a_target(saved):
    path = saved(np.random.default_rng(1).integers(90, 110, (300, 400, 3)).astype(np.uint8))
    with pytest.raises(TargetError) as caught:
        measure_photo(path)
    assert caught.value.where == str(path)
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), str(again)) == (TargetError, str(caught.value))


def test_photograph_without_a_pot(scenes, saved, own_target):
    scene = scenes.render_target(4)
    found = measure_photo(saved(scene.srgb), target=own_target)
    np.testing.assert_allclose(found.corners, scene.corners, atol=10)
    assert found.calibration.mean < 3.5
    assert not found.outline.any()
    assert found.surface is None
    assert found.table[["L*", "a*", "b*", "dark share"]].isna().all(axis=None)
    assert "no pot was found" in found.problems.told
    assert "no pot" in repr(found)


def test_bad_outline_is_told_by_the_photograph_or_as_the_outline(scene_file, scene, own_target):
    with pytest.raises(OutlineError):
        measure_photo(scene_file, own_target, outline="1 1; 2 2", corners=scene.corners)


def test_the_same_photograph_gives_the_same_numbers(measured, scene_file, demo):
    again = measure_photo(
        scene_file, target=demo / "targets/studio-target.csv", flat=demo / "photos/phone-flat.jpg"
    )
    pd.testing.assert_frame_equal(again.table, measured.table)


def test_a_large_photograph_gives_the_same_colour(measured, scene, saved, own_target, demo):
    large = cv2.resize(scene.srgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    small = measure_photo(saved(scene.srgb), own_target)
    found = measure_photo(saved(large, "large.png"), own_target)
    for name in ("L*", "a*", "b*"):
        assert found.table[name].item() == pytest.approx(small.table[name].item(), abs=0.3)
