"""Profiles: curves and matrices against colour-science, tables of colours through littleCMS, what is said."""

import struct

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from sagglab.colour import WHITE_D50, linear_to_xyz
from sagglab.photo.image import read_photo
from sagglab.photo.profile import Profile, embedded, linear_light, video_colours

colour = pytest.importorskip("colour")

CODES = np.random.default_rng(4).integers(0, 256, (20, 30, 3), dtype=np.uint8)
D50 = tuple(colour.XYZ_to_xy(WHITE_D50))


def saved(folder, codes, icc, suffix="png"):
    path = folder / f"picture.{suffix}"
    Image.fromarray(codes).save(path, icc_profile=icc)
    return path


def p3():
    curve = colour.models.eotf_sRGB(np.linspace(0, 1, 4096)).astype(np.float32)
    x_y = (0.680, 0.320, 0.265, 0.690, 0.150, 0.060)
    return imagecodecs.cms_profile("rgb", whitepoint=(0.3127, 0.3290), primaries=x_y, transferfunction=curve)


@pytest.mark.parametrize(
    ("name", "icc"), [("Display P3", p3()), ("Adobe RGB (1998)", imagecodecs.cms_profile("adobergb"))]
)
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_own_primaries(tmp_path, name, icc, depth):
    """Light and XYZ of colour-science 0.4.7 for the named space, Bradford-adapted to D50."""
    codes = CODES.astype(depth) * (257 if depth == np.uint16 else 1)
    if depth == np.uint8:
        photo = read_photo(saved(tmp_path, codes, icc))
        linear, to_xyz = photo.linear, photo.to_xyz
        assert photo.stated
    else:
        picture, to_xyz = linear_light(codes, "rgb", embedded(icc, "rgb"))
        linear = picture.linear
    encoded = codes / np.iinfo(depth).max
    expected = colour.RGB_COLOURSPACES[name].cctf_decoding(encoded)
    np.testing.assert_allclose(linear, expected, atol=2e-5)
    assert linear.dtype == np.float32
    xyz = colour.RGB_to_XYZ(encoded, name, D50, "Bradford", apply_cctf_decoding=True)
    np.testing.assert_allclose(linear @ to_xyz.T, xyz, atol=1e-4)


def test_white_and_black_are_exact(tmp_path):
    codes = np.array([[[0, 0, 0], [255, 255, 255], [255, 0, 0]]], np.uint8)
    for icc in (None, p3(), imagecodecs.cms_profile("adobergb")):
        photo = read_photo(saved(tmp_path, codes, icc))
        assert photo.linear.tolist() == [[[0, 0, 0], [1, 1, 1], [1, 0, 0]]]


def test_light_outside_srgb_is_kept(tmp_path):
    """The most colourful red of the display profile is no clipped red of sRGB."""
    photo = read_photo(saved(tmp_path, np.array([[[255, 0, 0]]], np.uint8), p3()))
    xyz = photo.linear[0, 0] @ photo.to_xyz.T
    srgb = np.linalg.solve(linear_to_xyz(np.eye(3)).T, xyz)
    assert srgb[0] > 1.2 and srgb[1] < -0.04
    assert photo.display(photo.linear[0, 0]).max() == 1


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_grey_gamma(depth):
    codes = np.arange(256, dtype=depth)[None, :, None] * (257 if depth == np.uint16 else 1)
    icc = imagecodecs.cms_profile("gray", whitepoint=D50, gamma=2.2)
    picture, to_xyz = linear_light(codes, "gray", embedded(icc, "gray"))
    linear = picture.linear
    expected = (np.arange(256) / 255) ** 2.2
    assert linear.shape == (1, 256, 3)
    np.testing.assert_allclose(linear[0], np.repeat(expected[:, None], 3, axis=1), atol=3e-5)
    assert linear.max() == 1
    np.testing.assert_allclose(to_xyz.sum(axis=1), [0.9642, 1, 0.8251], atol=1e-4)


def test_grey_file(tmp_path):
    icc = imagecodecs.cms_profile("gray", whitepoint=D50, gamma=1.8)
    photo = read_photo(saved(tmp_path, np.full((4, 5), 100, np.uint8), icc, "jpg"))
    np.testing.assert_allclose(photo.linear, (100 / 255) ** 1.8, atol=3e-5)


def test_grey_with_the_profile_of_a_colour_picture(tmp_path):
    photo = read_photo(saved(tmp_path, np.full((4, 5), 100, np.uint8), imagecodecs.cms_profile("adobergb")))
    np.testing.assert_allclose(photo.linear, (100 / 255) ** (563 / 256), atol=1e-6)
    assert photo.stated


def table_profile(space, channels):
    """Make a profile of a table of colours (ICC.1:2001, lut8Type): L* falls or rises with three channels."""
    corners = np.indices((2,) * channels).reshape(channels, -1).T[:, :3].sum(axis=1)
    steps = (255 - 85 * corners) if space == b"CMYK" else 85 * corners
    lab = np.stack([steps, np.full_like(steps, 128), np.full_like(steps, 128)], axis=1).astype(np.uint8)
    ramp = bytes(range(256))
    identity = struct.pack(">9i", *(np.eye(3, dtype=int) * 65536).ravel())
    table = b"mft1" + bytes(4) + bytes([channels, 3, 2, 0]) + identity
    table += ramp * channels + lab.tobytes() + ramp * 3
    white = b"XYZ " + bytes(4) + struct.pack(">3i", *(round(v * 65536) for v in (0.9642, 1, 0.8249)))
    text = b"text" + bytes(4) + b"none\0"
    name = b"desc" + bytes(4) + struct.pack(">I", 6) + b"table\0" + bytes(4 + 4 + 2 + 1 + 67)
    tags, place, body, index = {b"desc": name, b"cprt": text, b"wtpt": white, b"A2B0": table}, 0, b"", b""
    place = 128 + 4 + 12 * len(tags)
    for signature, content in tags.items():
        content += bytes(-len(content) % 4)
        index += signature + struct.pack(">II", place + len(body), len(content))
        body += content
    header = struct.pack(">I4sI4s4s4s", place + len(body), b"lcms", 0x02400000, b"prtr", space, b"Lab ")
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    header += struct.pack(">3i", 63190, 65536, 54061)
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + index + body


def test_table_of_colours_goes_through_littlecms(tmp_path):
    photo = read_photo(saved(tmp_path, CODES, table_profile(b"RGB ", 3)))
    assert photo.profile == "table" and photo.stated
    lab = colour.XYZ_to_Lab(photo.linear @ photo.to_xyz.T, D50)
    np.testing.assert_allclose(lab[..., 0], CODES.sum(axis=-1) / 7.65, atol=0.02)
    assert np.abs(lab[..., 1:]).max() < 0.05


def test_cmyk_with_a_profile(tmp_path):
    ink = np.random.default_rng(5).integers(0, 256, (300, 3, 4), dtype=np.uint8)
    path = tmp_path / "ink.tif"
    Image.fromarray(ink, "CMYK").save(path, icc_profile=table_profile(b"CMYK", 4))
    photo = read_photo(path)
    lab = colour.XYZ_to_Lab(photo.linear @ photo.to_xyz.T, D50)
    np.testing.assert_allclose(lab[..., 0], 100 - ink[..., :3].astype(int).sum(axis=-1) / 7.65, atol=0.02)


@pytest.mark.parametrize(
    "icc", [table_profile(b"CMYK", 4), imagecodecs.cms_profile("gray", whitepoint=D50, gamma=2)]
)
def test_profile_for_other_pixels_is_told(tmp_path, icc):
    photo = read_photo(saved(tmp_path, CODES, icc))
    assert photo.profile == "sRGB (the file's own does not fit its pixels)"
    assert not photo.stated
    np.testing.assert_allclose(photo.linear, colour.models.eotf_sRGB(CODES / 255), atol=2e-7)


@pytest.mark.parametrize("upto", [40, 128, 140, 300, -40])
def test_profile_cut_short_is_told(tmp_path, upto):
    photo = read_photo(saved(tmp_path, CODES, imagecodecs.cms_profile("adobergb")[:upto]))
    assert photo.profile.startswith("sRGB (the file's own")


def test_lab():
    lab = np.random.default_rng(6).uniform([5, -60, -60], [99, 60, 60], (7, 8, 3)).astype(np.float32)
    picture, to_xyz = linear_light(lab, "lab", Profile("CIELAB", True))
    linear = picture.linear
    np.testing.assert_allclose(linear @ to_xyz.T, colour.Lab_to_XYZ(lab.astype(float), D50), atol=2e-6)


def test_numbers_for_primaries():
    profile = video_colours(12, 13)
    assert profile.name == "Display P3"
    picture, to_xyz = linear_light(CODES, "rgb", profile)
    linear = picture.linear
    xyz = colour.RGB_to_XYZ(CODES / 255, "Display P3", D50, "Bradford", apply_cctf_decoding=True)
    np.testing.assert_allclose(linear @ to_xyz.T, xyz, atol=1e-4)
    assert video_colours(1, 13).name == "sRGB"
    assert video_colours(2, 2) is None
