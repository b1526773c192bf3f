"""Decoding: orientation, profiles, kinds of pixel, and files that are no photographs."""

import io
import pickle
import struct
import time
import zlib
from datetime import datetime

import cv2
import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image, ImageCms

from sagglab.errors import MissingFileError, PhotoError, SagglabError
from sagglab.photo.image import check_photo, read_photo, time_taken


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


def test_srgb_profile_changes_little(tmp_path, picture):
    plain, tagged = tmp_path / "plain.png", tmp_path / "tagged.png"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(picture).save(plain)
    Image.fromarray(picture).save(tagged, icc_profile=profile)
    # The profile holds the constants of the transfer function with 16 binary places.
    np.testing.assert_allclose(read_photo(tagged).linear, read_photo(plain).linear, atol=2e-5)
    np.testing.assert_allclose(read_photo(tagged).to_xyz, read_photo(plain).to_xyz, atol=3e-4)
    assert "sRGB" in read_photo(tagged).profile
    assert read_photo(tagged).stated and not read_photo(plain).stated


def read_code(code):
    return ((code / 255 + 0.055) / 1.055) ** 2.4


def test_damaged_profile_is_told(tmp_path, picture):
    path = tmp_path / "damaged.png"
    Image.fromarray(picture).save(path, icc_profile=b"nothing of a profile")
    photo = read_photo(path)
    assert photo.profile == "sRGB (the file's own is damaged)"
    assert not photo.stated
    assert photo.problems.flags == "no colour profile"


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_16_bit_grey(tmp_path, suffix):
    path = tmp_path / f"grey.{suffix}"
    Image.fromarray(np.array([[0, 257 * 128, 65535]], dtype=np.uint16)).save(path)
    expected = [0, read_code(128), 1]
    np.testing.assert_allclose(read_photo(path).linear[0, :, 0], expected, atol=1e-6)


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_16_bit_colour(tmp_path, suffix):
    values = np.array([[[65535, 257 * 128, 0], [30000, 40000, 50001]]], dtype=np.uint16)
    path = tmp_path / f"colour.{suffix}"
    assert cv2.imwrite(str(path), values[..., ::-1])
    expected = ((values / 65535 + 0.055) / 1.055) ** 2.4
    expected[values == 0] = 0
    np.testing.assert_allclose(read_photo(path).linear, expected, atol=2e-7)


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


def test_check_is_as_strict_but_for_damage_inside(tmp_path):
    for name, (content, _) in BAD.items():
        path = tmp_path / f"{name}.jpg"
        path.write_bytes(content)
        if name == "truncated":
            check_photo(path)
        else:
            with pytest.raises(PhotoError):
                check_photo(path)


def test_transparent_pixels_keep_the_colour_that_is_stored(tmp_path, picture):
    alpha = np.random.default_rng(3).integers(0, 256, (30, 50, 1), dtype=np.uint8)
    Image.fromarray(np.concatenate([picture, alpha], axis=2)).save(tmp_path / "alpha.png")
    Image.fromarray(picture).save(tmp_path / "plain.png")
    assert (read_photo(tmp_path / "alpha.png").linear == read_photo(tmp_path / "plain.png").linear).all()


def test_display_gives_the_codes_back(tmp_path, picture):
    Image.fromarray(picture).save(tmp_path / "plain.png")
    photo = read_photo(tmp_path / "plain.png")
    shown = photo.display(photo.linear)
    assert shown.dtype == np.float32
    np.testing.assert_allclose(shown * 255, picture, atol=0.01)
    np.testing.assert_allclose(photo.display([[2.0, -1.0, 0.0]]), [[1.0, 0.0, 0.0]], atol=1e-9)


def test_problems_join_file_and_camera(tmp_path, picture):
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({37385: 1, 34855: 3200})
    Image.fromarray(picture).save(tmp_path / "flash.jpg", exif=exif)
    assert read_photo(tmp_path / "flash.jpg").problems.flags == "no colour profile; flash fired; high ISO"


def test_first_frame_of_several(tmp_path, picture):
    path = tmp_path / "several.mpo"
    first, second = Image.fromarray(np.full((40, 60, 3), 200, np.uint8)), Image.new("RGB", (60, 40))
    first.save(path, "MPO", save_all=True, append_images=[second])
    np.testing.assert_allclose(read_photo(path).linear, read_code(200), atol=1e-6)


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "none.jpg", tmp_path):
        with pytest.raises(MissingFileError, match="there is no such photograph"):
            read_photo(path)


def test_errors_survive_the_way_from_a_worker(tmp_path):
    with pytest.raises(SagglabError) as caught:
        read_photo(tmp_path / "none.jpg")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), str(again)) == (type(caught.value), str(caught.value))


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "deep.tif", "plain.tif"])
def test_the_time_is_told_without_decoding(tmp_path, picture, name):
    path, exif = tmp_path / name, Image.Exif()
    exif[271] = "Maker"  # Pillow saves no data that only have an exposure
    exif.get_ifd(ExifTags.IFD.Exif)[36867] = "2026:04:25 10:12:30"
    if path.suffix == ".tif":
        codes = picture.astype(np.uint16) * 257 if name == "deep.tif" else picture
        tifffile.imwrite(path, codes, extratags=[(36867, "s", 0, "2026:04:25 10:12:30", True)])
    else:
        Image.fromarray(picture).save(path, exif=exif)
    assert time_taken(path) == read_photo(path).shot.taken == datetime(2026, 4, 25, 10, 12, 30)


def test_a_time_that_the_camera_did_not_tell(tmp_path, picture):
    Image.fromarray(picture).save(tmp_path / "a.png")
    assert time_taken(tmp_path / "a.png") is None
    with pytest.raises(MissingFileError):
        time_taken(tmp_path / "none.png")
