"""Outlines: the pot on its backdrop, against the masks that drew it; and those that a person gives."""

import cv2
import numpy as np
import pytest

from sagglab.colour import linear_to_xyz, srgb_to_linear, xyz_to_lab
from sagglab.errors import OutlineError
from sagglab.photo.outline import find_outline, given_outline


def overlap(one, other):
    return (one & other).sum() / (one | other).sum()


def look(srgb, corners, scale=2 / 3):
    """Make of a scene what `find_outline` takes: CIELAB at the size it searches, and where the target is."""
    linear = srgb_to_linear(srgb.astype(np.float32) / 255)
    size = round(srgb.shape[1] * scale), round(srgb.shape[0] * scale)
    lab = xyz_to_lab(linear_to_xyz(cv2.resize(linear, size, interpolation=cv2.INTER_AREA)))
    elsewhere = np.zeros(lab.shape[:2], dtype=np.uint8)
    middle = corners.mean(axis=0)
    around = (middle + (corners - middle) * 1.6) * scale
    cv2.fillPoly(elsewhere, [np.rint(around).astype(np.int32)], 1)
    return lab, elsewhere.astype(bool)


def reduced(mask, scale=2 / 3):
    size = round(mask.shape[1] * scale), round(mask.shape[0] * scale)
    return cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5


@pytest.mark.parametrize("seed", range(1, 7))
@pytest.mark.parametrize("setup", ["phone", "camera"])
def test_pot_is_found(scenes, seed, setup):
    scene = scenes.render_scene(seed, setup=setup)
    found = find_outline(*look(scene.srgb, scene.corners))
    assert overlap(found.mask, reduced(scene.pot)) >= 0.97
    assert not found.problems


@pytest.mark.parametrize("seed", [1, 2])
def test_target_alone_has_no_pot(scenes, seed):
    scene = scenes.render_target(seed)
    found = find_outline(*look(scene.srgb, scene.corners))
    assert not found.mask.any()
    assert "no pot was found" in found.problems.told


def test_two_pots_are_refused(scene):
    pot = scene.srgb[:, 620:1000].copy()
    twice = scene.srgb.copy()
    # The target's half is covered by the pot once more, on its own piece of backdrop.
    twice[:, 20:400] = pot
    lab, elsewhere = look(twice, scene.corners)
    with pytest.raises(OutlineError, match="2 things stand out"):
        find_outline(lab, np.zeros_like(elsewhere))


def test_pot_cut_by_the_frame_is_told(scene):
    columns = np.flatnonzero(scene.pot.any(axis=0))
    upto = round(columns[0] + 0.8 * len(columns))
    found = find_outline(*look(scene.srgb[:, :upto], scene.corners))
    assert "the pot is cut by the frame" in found.problems.told
    assert overlap(found.mask, reduced(scene.pot[:, :upto])) > 0.9


# Carbon-black parts are as dark as the dark backdrop, and lost in it: 0.937 measured there.
@pytest.mark.parametrize(("backdrop", "least"), [(0.05, 0.92), (0.85, 0.97)])
def test_dark_and_light_backdrops(scene, backdrop, least):
    linear = srgb_to_linear(scene.srgb.astype(np.float32) / 255)
    cover = cv2.GaussianBlur(scene.pot.astype(np.float32), (0, 0), 0.7)[..., None]
    srgb = cover * linear + (1 - cover) * backdrop
    srgb = np.round(255 * np.clip(1.055 * srgb ** (1 / 2.4) - 0.055, 0, 1))
    found = find_outline(*look(srgb, scene.corners))
    assert overlap(found.mask, reduced(scene.pot)) >= least


SQUARE = np.array([[2, 1], [7, 1], [7, 5], [2, 5]])
SHAPE = (8, 12)


@pytest.fixture
def square():
    mask = np.zeros(SHAPE, dtype=bool)
    mask[1:6, 2:8] = True
    return mask


def test_outline_in_every_given_form(tmp_path, square):
    picture = tmp_path / "mask.png"
    cv2.imwrite(str(picture), square.astype(np.uint8) * 255)
    text = "; ".join(f"{x} {y}" for x, y in SQUARE)
    for given in (text, SQUARE, SQUARE.tolist(), square, picture, str(picture)):
        assert (given_outline(given, SHAPE) == square).all()


def test_places_may_have_fractions(square):
    assert (given_outline("2.2 0.8; 7.1 1.0; 6.9 5.2; 2 5", SHAPE) == square).all()


@pytest.mark.parametrize(
    "bad",
    [
        "1 1; 2 2",
        "no places; at all",
        np.ones((5, 5), dtype=bool),
        np.zeros(SHAPE, dtype=bool),
        "50 50; 60 50; 60 60",
        np.ones((3, 3, 3)),
    ],
    ids=["two places", "words", "wrong size", "empty", "outside", "colours"],
)
def test_bad_outlines_are_refused(bad):
    with pytest.raises(OutlineError):
        given_outline(bad, SHAPE)


@pytest.mark.parametrize("content", [None, b"", b"no picture"])
def test_bad_mask_pictures_are_refused_by_name(tmp_path, content):
    path = tmp_path / "mask.png"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(OutlineError, match=r"mask\.png"):
        given_outline(path, SHAPE)


def test_mask_picture_of_another_size_is_refused(tmp_path):
    path = tmp_path / "mask.png"
    cv2.imwrite(str(path), np.full((4, 4), 255, np.uint8))
    with pytest.raises(OutlineError, match="12 by 8 pixels"):
        given_outline(path, SHAPE)
