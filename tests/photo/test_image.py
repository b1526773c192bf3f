"""Decoding: orientation, profiles, kinds of pixel, and files that are no photographs."""

import io
import pickle
import struct
import time
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from sagglab.errors import MissingFileError, PhotoError, SagglabError
from sagglab.photo.image import read_photo

PHOTOS = Path(__file__).resolve().parents[2].parent / "shared" / "photos"


@pytest.fixture
def picture():
    return np.random.default_rng(1).integers(0, 256, (30, 50, 3), dtype=np.uint8)


def stored(upright, orientation):
    """Turn a picture into what a file of that orientation holds (EXIF 2.3, tag 274)."""
    return {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright),
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(upright, -1),
    }[orientation]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_decodes_upright(tmp_path, picture, orientation):
    path, exif = tmp_path / "turned.png", Image.Exif()
    exif[274] = orientation
    Image.fromarray(np.ascontiguousarray(stored(picture, orientation))).save(path, exif=exif)
    upright = tmp_path / "upright.png"
    Image.fromarray(picture).save(upright)
    assert (read_photo(path).linear == read_photo(upright).linear).all()


def test_linear_values_are_those_of_the_standard(tmp_path):
    colour = pytest.importorskip("colour")
    codes = np.arange(256, dtype=np.uint8)
    path = tmp_path / "ramp.png"
    Image.fromarray(np.repeat(codes[None, :, None], 3, axis=2)).save(path)
    expected = colour.models.eotf_sRGB(codes / 255)  # IEC 61966-2-1 in colour-science 0.4.7
    np.testing.assert_allclose(read_photo(path).linear[0, :, 1], expected, atol=2e-7)


def test_untagged_says_so(tmp_path, picture):
    Image.fromarray(picture).save(tmp_path / "plain.png")
    assert read_photo(tmp_path / "plain.png").profile == "sRGB (the file states none)"


def test_srgb_profile_changes_nothing(tmp_path, picture):
    plain, tagged = tmp_path / "plain.png", tmp_path / "tagged.png"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(picture).save(plain)
    Image.fromarray(picture).save(tagged, icc_profile=profile)
    # littleCMS may round a code by one.
    step = np.abs(read_photo(plain).linear - read_photo(tagged).linear).max()
    assert step <= 1.01 * (1 - read_code(254))
    assert "sRGB" in read_photo(tagged).profile


def read_code(code):
    return ((code / 255 + 0.055) / 1.055) ** 2.4


def test_display_p3_is_honoured(tmp_path):
    if not (PHOTOS / "odd-02.heic").is_file():
        pytest.skip("shared photographs are absent: no Display P3 profile to test with")
    colour = pytest.importorskip("colour")
    with Image.open(PHOTOS / "odd-02.heic") as holder:
        profile = holder.info["icc_profile"]
    codes = np.array([[[150, 120, 90], [90, 140, 100], [128, 128, 128]]], dtype=np.uint8)
    path = tmp_path / "p3.png"
    Image.fromarray(codes).save(path, icc_profile=profile)
    photo = read_photo(path)
    assert photo.profile == "Display P3"
    srgb = colour.RGB_to_RGB(codes / 255, "Display P3", "sRGB", apply_cctf_decoding=True)
    # Within one code of 8 bits, which littleCMS rounds to.
    np.testing.assert_allclose(photo.linear, srgb, atol=1 - read_code(254))
    assert np.abs(photo.linear[0, 0] - [read_code(c) for c in codes[0, 0]]).max() > 0.02


def test_damaged_profile_is_told(tmp_path, picture):
    path = tmp_path / "damaged.png"
    Image.fromarray(picture).save(path, icc_profile=b"nothing of a profile")
    assert read_photo(path).profile == "sRGB (the file's own is damaged)"


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_16_bit_grey(tmp_path, suffix):
    path = tmp_path / f"grey.{suffix}"
    Image.fromarray(np.array([[0, 257 * 128, 65535]], dtype=np.uint16)).save(path)
    expected = [0, read_code(128), 1]
    np.testing.assert_allclose(read_photo(path).linear[0, :, 0], expected, atol=1e-6)


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_16_bit_colour_is_within_8_bits_of_the_truth(tmp_path, suffix):
    values = np.array([[[65535, 257 * 128, 0], [30000, 40000, 50000]]], dtype=np.uint16)
    path = tmp_path / f"colour.{suffix}"
    assert cv2.imwrite(str(path), values[..., ::-1])
    expected = ((values / 65535 + 0.055) / 1.055) ** 2.4
    expected[values == 0] = 0
    np.testing.assert_allclose(read_photo(path).linear, expected, atol=1 - read_code(254))


@pytest.mark.parametrize("mode", ["RGBA", "L", "LA", "P", "1", "CMYK"])
def test_kinds_of_pixel(tmp_path, mode):
    grey = np.full((4, 5, 3), 255, dtype=np.uint8)
    path = tmp_path / ("kind.tif" if mode == "CMYK" else "kind.png")
    Image.fromarray(grey).convert(mode).save(path)
    assert (read_photo(path).linear == 1).all()
    assert read_photo(path).linear.shape == (4, 5, 3)


def test_palette_keeps_its_colours(tmp_path):
    path = tmp_path / "palette.png"
    Image.fromarray(np.full((4, 5, 3), (200, 100, 50), np.uint8)).quantize(4).save(path)
    np.testing.assert_allclose(read_photo(path).linear[0, 0], [read_code(c) for c in (200, 100, 50)], 1e-5)


def _bomb():
    """A PNG of some hundred bytes that states 60,000 by 60,000 pixels."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\0" * 100)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def _jpeg():
    file = io.BytesIO()
    noise = np.random.default_rng(2).integers(0, 256, (200, 300, 3), dtype=np.uint8)
    Image.fromarray(noise).save(file, "JPEG")
    return file.getvalue()


BAD = {
    "truncated": (_jpeg()[:9000], "damaged or cut short"),
    "text": (b"this is no photograph", "no picture in a known format"),
    "empty": (b"", "no picture in a known format"),
    "header only": (_jpeg()[:20], "no picture in a known format"),
    "bomb": (_bomb(), "too large to be a photograph"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_refused_quickly_by_name(tmp_path, name):
    content, cause = BAD[name]
    path = tmp_path / f"{name}.jpg"
    path.write_bytes(content)
    started = time.perf_counter()
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert time.perf_counter() - started < 1
    assert caught.value.where == str(path)
    assert cause in caught.value.cause
    assert caught.value.remedy


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "none.jpg", tmp_path):
        with pytest.raises(MissingFileError, match="there is no such photograph"):
            read_photo(path)


def test_errors_survive_the_way_from_a_worker(tmp_path):
    with pytest.raises(SagglabError) as caught:
        read_photo(tmp_path / "none.jpg")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), str(again)) == (type(caught.value), str(caught.value))
