"""Camera raw: counts of a made sensor come back as light, upright, by content and not by name."""

from datetime import datetime

import numpy as np
import pytest
import tifffile

from sagglab.colour import SRGB_TO_XYZ, WHITE_D50
from sagglab.errors import PhotoError
from sagglab.photo import image
from sagglab.photo.image import check_photo, read_photo, time_taken

BLACK, WHITE = 256, 4095
#: XYZ to the made camera's RGB under D65, and what it counts of white.
MATRIX = np.array([[0.9, -0.2, -0.1], [-0.4, 1.2, 0.2], [-0.05, 0.2, 0.6]])
NEUTRAL = np.array([0.5, 1.0, 0.7])


def rational(values):
    return tuple(part for value in values for part in (round(value * 10000), 10000))


def write_dng(path, counts, orientation=1, **changed):
    """Write a sensor's counts, red top left, as Adobe's DNG specification 1.4 has them."""
    tags = {
        271: ("s", 0, "Maker"), 272: ("s", 0, "Camera 1"), 274: ("H", 1, orientation),
        306: ("s", 0, "2026:03:04 10:20:30"), 33421: ("H", 2, (2, 2)), 33422: ("B", 4, bytes([0, 1, 1, 2])),
        33434: ("2I", 1, (1, 50)), 33437: ("2I", 1, (8, 1)), 34855: ("H", 1, 200),
        36867: ("s", 0, "2026:03:04 10:20:30"),
        50706: ("B", 4, bytes([1, 4, 0, 0])), 50708: ("s", 0, "Maker Camera 1"),
        50714: ("H", 1, BLACK), 50717: ("H", 1, WHITE), 50721: ("2i", 9, rational(MATRIX.ravel())),
        50728: ("2I", 3, rational(NEUTRAL)), 50778: ("H", 1, 21),
    }  # fmt: skip
    extratags = [(tag, *values, True) for tag, values in sorted(tags.items())]
    tifffile.imwrite(path, counts, photometric=32803, extratags=extratags, metadata=None, **changed)


def sensor(light):
    """Counts under a red, green, green, blue filter of linear light, shape (rows, columns, 3)."""
    counts = np.empty(light.shape[:2])
    for (row, column), channel in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
        counts[row::2, column::2] = light[row::2, column::2, channel]
    return np.round(BLACK + counts * (WHITE - BLACK)).astype(np.uint16)


@pytest.fixture
def two_halves():
    """Left one colour, right another that is full in one channel."""
    light = np.empty((64, 96, 3))
    light[:, :48], light[:, 48:] = (0.25, 0.5, 0.125), (0.02, 1.0, 0.7)
    return light


def test_counts_come_back_as_light(tmp_path, two_halves):
    path = tmp_path / "sensor.dng"
    write_dng(path, sensor(two_halves))
    photo = read_photo(path)
    assert photo.linear.shape == two_halves.shape and photo.linear.dtype == np.float32
    assert (photo.profile, photo.stated) == ("camera raw", True)
    # Away from the edge between the halves; within half a count of 3839 and half a step of 16 bits.
    for half in (np.s_[:, 3:44], np.s_[:, 52:93]):
        np.testing.assert_allclose(photo.linear[half], two_halves[half], atol=1.5e-4)
    assert photo.linear[30, 80, 1] == 1


def test_a_dark_picture_stays_dark(tmp_path):
    """Nothing is brightened: a picture of which the brightest pixel is 1 % of white."""
    write_dng(tmp_path / "dark.dng", sensor(np.full((64, 96, 3), 0.01)))
    np.testing.assert_allclose(read_photo(tmp_path / "dark.dng").linear, 0.01, atol=1.5e-4)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_upright(tmp_path, two_halves, orientation):
    light = two_halves.copy()
    light[:20] *= 0.5
    write_dng(tmp_path / "turned.dng", sensor(light), orientation)
    turns = {1: 0, 3: 2, 6: 3, 8: 1}[orientation]
    linear = read_photo(tmp_path / "turned.dng").linear
    expected = np.rot90(light, turns)
    assert linear.shape == expected.shape
    inside = np.abs(linear - expected).max(axis=2) < 2e-4
    assert inside.mean() > 0.9


def test_matrix_is_the_files_and_its_white_is_white(tmp_path, two_halves):
    """The camera's own matrix, scaled to its white, by the arithmetic of the DNG specification."""
    write_dng(tmp_path / "sensor.dng", sensor(two_halves))
    photo = read_photo(tmp_path / "sensor.dng")
    np.testing.assert_allclose(photo.to_xyz @ NEUTRAL, WHITE_D50, atol=2e-3)
    np.testing.assert_allclose(photo.display(NEUTRAL * 0.18), 0.18 ** (1 / 2.4) * 1.055 - 0.055, atol=2e-3)
    # XYZ under D65 of sRGB's red, seen by the balanced camera, is shown as red again.
    white = MATRIX @ SRGB_TO_XYZ.sum(axis=1)
    red = MATRIX @ SRGB_TO_XYZ[:, 0] / white * NEUTRAL
    np.testing.assert_allclose(photo.display(np.maximum(red, 0) * 0.5), [0.735, 0, 0], atol=0.03)


def test_what_the_camera_said(tmp_path, two_halves):
    write_dng(tmp_path / "sensor.dng", sensor(two_halves))
    shot = read_photo(tmp_path / "sensor.dng").shot
    assert (shot.make, shot.model, shot.exposure_s, shot.aperture, shot.iso) == (
        "Maker",
        "Camera 1",
        0.02,
        8,
        200,
    )
    assert shot.taken == time_taken(tmp_path / "sensor.dng") == datetime(2026, 3, 4, 10, 20, 30)
    assert shot.edited == ""


@pytest.mark.parametrize("name", ["sensor.tif", "sensor.jpg", "sensor"])
def test_known_by_its_content(tmp_path, two_halves, name):
    write_dng(tmp_path / name, sensor(two_halves))
    check_photo(tmp_path / name)
    assert read_photo(tmp_path / name).profile == "camera raw"


def test_a_picture_named_raw_is_a_picture(tmp_path):
    """A grey TIFF of 16 bits that names a camera, which raw decoders take for counts of its sensor."""
    path = tmp_path / "scan.dng"
    tags = [(271, "s", 0, "NIKON CORPORATION", True), (272, "s", 0, "NIKON D5200", True)]
    tifffile.imwrite(path, np.full((50, 60), 65535, np.uint16), photometric="minisblack", extratags=tags)
    photo = read_photo(path)
    assert photo.profile == "sRGB (the file states none)"
    assert (photo.linear == 1).all()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.95])
def test_cut_short(tmp_path, two_halves, share):
    write_dng(tmp_path / "whole.dng", sensor(two_halves))
    content = (tmp_path / "whole.dng").read_bytes()
    path = tmp_path / "cut.dng"
    path.write_bytes(content[: int(len(content) * share)])
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.where == str(path)
    assert caught.value.cause.startswith("it is damaged or cut short")


def test_too_large(tmp_path, two_halves, monkeypatch):
    write_dng(tmp_path / "sensor.dng", sensor(two_halves))
    monkeypatch.setattr(image.Image, "MAX_IMAGE_PIXELS", 64 * 96 - 1)
    for ask in (read_photo, check_photo):
        with pytest.raises(PhotoError, match="too large to be a photograph"):
            ask(tmp_path / "sensor.dng")


def test_unknown_container(tmp_path):
    path = tmp_path / "unknown.raf"
    path.write_bytes(b"SENSORDATA 0100" + bytes(5000))
    with pytest.raises(PhotoError, match="no picture in a known format"):
        read_photo(path)
