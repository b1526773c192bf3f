"""Outlines that a person gives, in each form."""

import cv2
import numpy as np
import pytest
from PIL import Image

from sagglab.errors import OutlineError
from sagglab.photo.given_outline import given_outline

#: Half-way between pixels, so that mask and places mean the same.
SQUARE = np.array([[1.5, 0.5], [7.5, 0.5], [7.5, 5.5], [1.5, 5.5]])
SHAPE = (8, 12)


@pytest.fixture
def square():
    mask = np.zeros(SHAPE, dtype=bool)
    mask[1:6, 2:8] = True
    return mask


def test_outline_in_every_given_form(tmp_path, square):
    picture, clear = tmp_path / "mask.png", tmp_path / "clear.tiff"
    cv2.imwrite(str(picture), square.astype(np.uint8) * 255)
    Image.fromarray(np.dstack([np.full((*SHAPE, 3), 90, np.uint8), square.astype(np.uint8) * 255])).save(
        clear
    )
    text = "; ".join(f"{x} {y}" for x, y in SQUARE)
    for given in (text, SQUARE, SQUARE.tolist(), square, square.astype(int), picture, str(picture), clear):
        found = given_outline(given, SHAPE)
        assert (found.mask(SHAPE, SHAPE) == square).all()
        assert np.isnan(found.confidence)
        assert not found.problems


def test_fractions_are_kept():
    places = "2.2 0.8; 7.1 1.0; 6.9 5.2; 2 5"
    assert given_outline(places, SHAPE).rings[0].tolist() == [[2.2, 0.8], [7.1, 1.0], [6.9, 5.2], [2.0, 5.0]]


def test_mask_lies_as_its_exif_orientation_says(tmp_path, square):
    path = tmp_path / "mask.jpg"
    turned = Image.fromarray(np.rot90(square, 1).astype(np.uint8) * 255)
    exif = Image.Exif()
    # 6: the first row is the right side of the scene.
    exif[0x0112] = 6
    turned.save(path, quality=100, subsampling=0, exif=exif)
    assert (given_outline(path, SHAPE).mask(SHAPE, SHAPE) == square).all()


def test_mask_of_a_reduced_photograph_is_scaled(square):
    found = given_outline(square, (80, 120)).mask((80, 120), (80, 120))
    true = np.kron(square, np.ones((10, 10), dtype=bool))
    # The corners of single pixels are cut.
    assert (found & true).sum() / (found | true).sum() > 0.96


def test_holes_are_left_out(square):
    square[3, 4] = False
    found = given_outline(square, SHAPE)
    assert (found.mask(SHAPE, SHAPE) == square).all()
    assert len(found.rings) == 2


def test_all_pieces_are_kept_and_told(square):
    square[2:6, 9:11] = True
    found = given_outline(square, SHAPE)
    assert (found.mask(SHAPE, SHAPE) == square).all()
    assert "in 2 pieces" in found.problems.told
    assert not found.problems.stopping


def test_outline_that_lies_mostly_outside_the_frame_is_told():
    found = given_outline("8 2; 30 2; 30 6; 8 6", SHAPE)
    assert "outside the frame" in found.problems.told
    assert found.mask(SHAPE, SHAPE).any()


@pytest.mark.parametrize(
    "bad",
    [
        "1 1; 2 2",
        "no places; at all",
        "1 1; 3 1; nan 2",
        np.ones((5, 5), dtype=bool),
        np.zeros(SHAPE, dtype=bool),
        "50 50; 60 50; 60 60",
        np.ones((3, 3, 3)),
        np.ones((16, 24)),
    ],
    ids=["two places", "words", "nowhere", "wrong shape", "empty", "outside", "colours", "larger"],
)
def test_bad_outlines_are_refused(bad):
    with pytest.raises(OutlineError) as refused:
        given_outline(bad, SHAPE)
    assert refused.value.remedy


@pytest.mark.parametrize("content", [None, b"", b"no picture"])
def test_bad_mask_pictures_are_refused_by_name(tmp_path, content):
    path = tmp_path / "mask.png"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(OutlineError, match=r"mask\.png"):
        given_outline(path, SHAPE)


def test_mask_picture_of_another_shape_is_refused(tmp_path):
    path = tmp_path / "mask.png"
    cv2.imwrite(str(path), np.full((4, 4), 255, np.uint8))
    with pytest.raises(OutlineError, match="12 by 8 pixels"):
        given_outline(path, SHAPE)


@pytest.mark.parametrize("places", ["1 2; 3 4", "5 5;", "1 1; 2 2;"])
def test_fewer_than_three_places_surround_nothing(places):
    with pytest.raises(OutlineError, match="places surround nothing"):
        given_outline(places, (900, 1200))
