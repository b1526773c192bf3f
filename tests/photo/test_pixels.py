"""Pixels as files hold them: all bits, upright, CIELAB, and what states the colours."""

import io

import imagecodecs
import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from sagglab.colour import WHITE_D50, lab_to_xyz
from sagglab.errors import PhotoError
from sagglab.photo.image import check_photo, read_photo


def light(codes, most):
    encoded = codes / most
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


@pytest.fixture
def deep():
    return np.random.default_rng(1).integers(0, 65536, (30, 50, 3), dtype=np.uint16)


TURNED = {
    1: lambda upright: upright,
    2: lambda upright: upright[:, ::-1],
    3: lambda upright: upright[::-1, ::-1],
    4: lambda upright: upright[::-1],
    5: lambda upright: upright.transpose(1, 0, 2),
    6: lambda upright: np.rot90(upright),
    7: lambda upright: upright[::-1, ::-1].transpose(1, 0, 2),
    8: lambda upright: np.rot90(upright, -1),
}


@pytest.mark.parametrize("orientation", TURNED)
@pytest.mark.parametrize("bits", [8, 16])
def test_tiff_of_every_orientation(tmp_path, deep, bits, orientation):
    codes = deep if bits == 16 else (deep >> 8).astype(np.uint8)
    path = tmp_path / "turned.tif"
    tags = [(274, "H", 1, orientation, True)]
    tifffile.imwrite(
        path, np.ascontiguousarray(TURNED[orientation](codes)), photometric="rgb", extratags=tags
    )
    np.testing.assert_allclose(read_photo(path).linear, light(codes, 2**bits - 1), atol=2e-7)


@pytest.mark.parametrize("orientation", TURNED)
def test_16_bit_png_of_every_orientation(tmp_path, deep, orientation):
    path, exif = tmp_path / "turned.png", Image.Exif()
    exif[274] = orientation
    # The chunk of an 8-bit file, put into one of 16 bits: Pillow writes no 16-bit colour.
    shallow = io.BytesIO()
    Image.new("RGB", (2, 2)).save(shallow, "PNG", exif=exif)
    shallow = shallow.getvalue()
    start = shallow.index(b"eXIf") - 4
    chunk = shallow[start : start + 12 + int.from_bytes(shallow[start : start + 4])]
    content = imagecodecs.png_encode(np.ascontiguousarray(TURNED[orientation](deep)))
    path.write_bytes(content[:33] + chunk + content[33:])
    np.testing.assert_allclose(read_photo(path).linear, light(deep, 65535), atol=2e-7)


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"compression": "zlib", "predictor": True},
        {"compression": "lzw"},
        {"byteorder": ">"},
        {"bigtiff": True},
        {"planarconfig": "separate"},
        {"tile": (16, 16), "compression": "zlib"},
    ],
    ids=str,
)
def test_16_bit_tiff_as_programs_write_it(tmp_path, deep, options):
    path = tmp_path / "deep.tif"
    codes = np.moveaxis(deep, -1, 0) if "planarconfig" in options else deep
    tifffile.imwrite(path, codes, photometric="rgb", **options)
    np.testing.assert_allclose(read_photo(path).linear, light(deep, 65535), atol=2e-7)


@pytest.mark.parametrize("suffix", ["png", "tif"])
@pytest.mark.parametrize("channels", [2, 4])
def test_16_bit_alpha_is_dropped(tmp_path, deep, suffix, channels):
    codes = np.concatenate([deep[..., : channels - 1], deep[..., :1] // 3], axis=2)
    path = tmp_path / f"alpha.{suffix}"
    if suffix == "png":
        path.write_bytes(imagecodecs.png_encode(codes))
    else:
        kind = "rgb" if channels == 4 else "minisblack"
        tifffile.imwrite(path, codes, photometric=kind, planarconfig="contig", extrasamples=["unassalpha"])
    expected = np.broadcast_to(light(deep[..., : channels - 1], 65535), (30, 50, 3))
    np.testing.assert_allclose(read_photo(path).linear, expected, atol=2e-7)


def test_16_bit_grey_with_white_as_zero(tmp_path, deep):
    path = tmp_path / "negative.tif"
    tifffile.imwrite(path, deep[..., 0], photometric="miniswhite")
    np.testing.assert_allclose(read_photo(path).linear[..., 2], light(65535 - deep[..., 0], 65535), atol=2e-7)


@pytest.mark.parametrize("bits", [10, 12])
def test_heif_of_more_than_8_bits(tmp_path, monkeypatch, bits):
    monkeypatch.setattr(pillow_heif.options, "SAVE_HDR_TO_12_BIT", bits == 12)
    ramp = np.linspace(0, 65535, 200).astype(np.uint16)
    codes = np.repeat(np.repeat(ramp[None, :, None], 64, axis=0), 3, axis=2)
    path = tmp_path / "deep.heic"
    pillow_heif.encode("RGB;16", (200, 64), codes.tobytes(), str(path), quality=-1, chroma=444)
    photo = read_photo(path)
    # Within a step of the coded bits, of which 8 would miss: 200 steps of the ramp are 200 light values.
    np.testing.assert_allclose(photo.linear, light(codes, 65535), atol=2.6 / 2**bits)
    assert len(np.unique(photo.linear[5, :, 1])) == 200
    assert photo.linear.max() == 1


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_avif_of_every_depth(tmp_path, bits, channels):
    kind = np.uint8 if bits == 8 else np.uint16
    codes = np.random.default_rng(7).integers(0, 2**bits, (40, 60, channels)).astype(kind)
    codes[0, 0] = 2**bits - 1
    path = tmp_path / "deep.avif"
    form = {1: "400", 3: "444", 4: "444"}[channels]
    path.write_bytes(
        imagecodecs.avif_encode(codes.squeeze(), level=100, bitspersample=bits, pixelformat=form)
    )
    photo = read_photo(path)
    expected = np.broadcast_to(light(codes[..., : 3 if channels > 1 else 1], 2**bits - 1), (40, 60, 3))
    # Short codes fill 16 bits by repeating themselves, within one of 65535.
    np.testing.assert_allclose(photo.linear, expected, atol=1e-6 if bits == 8 else 4e-5)
    assert photo.linear[0, 0].tolist() == [1, 1, 1]


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("signed", [True, False])
def test_lab_tiff(tmp_path, depth, signed):
    """Codes of TIFF 6.0, section 23 (signed) and of ICC.1 (unsigned), at both depths, from memory."""
    lab = np.random.default_rng(8).uniform([10, -50, -50], [95, 50, 50], (9, 11, 3))
    whole = 1 if depth == np.uint8 else 256
    if signed:
        codes = lab * [np.iinfo(depth).max / 100, whole, whole]
        codes = np.round(codes).astype(np.int64).astype(f"i{np.dtype(depth).itemsize}").view(depth)
    else:
        codes = np.round((lab + [0, 128, 128]) * [2.55 * whole, whole, whole]).astype(depth)
    path = tmp_path / "lab.tif"
    tifffile.imwrite(path, codes, photometric="cielab" if signed else "icclab")
    photo = read_photo(path)
    assert photo.profile == "CIELAB" and photo.stated
    step = 0.012 if depth == np.uint8 else 6e-5
    np.testing.assert_allclose(photo.linear @ photo.to_xyz.T, lab_to_xyz(lab, WHITE_D50), atol=step)


def test_damaged_deep_files_are_refused(tmp_path, deep):
    tifffile.imwrite(tmp_path / "whole.tif", deep, photometric="rgb", compression="zlib")
    (tmp_path / "whole.png").write_bytes(imagecodecs.png_encode(deep))
    (tmp_path / "whole.avif").write_bytes(imagecodecs.avif_encode(deep >> 6, level=100, bitspersample=10))
    for suffix in ("tif", "png", "avif"):
        content = (tmp_path / f"whole.{suffix}").read_bytes()
        read_photo(tmp_path / f"whole.{suffix}")
        for upto in (30, len(content) // 3, len(content) * 2 // 3, len(content) - 300):
            path = tmp_path / f"cut.{suffix}"
            path.write_bytes(content[:upto])
            with pytest.raises(PhotoError) as caught:
                read_photo(path)
            assert caught.value.where == str(path)


def test_plain_tiff_cut_short_is_refused(tmp_path, deep):
    tifffile.imwrite(tmp_path / "whole.tif", deep, photometric="rgb")
    content = (tmp_path / "whole.tif").read_bytes()
    (tmp_path / "cut.tif").write_bytes(content[: len(content) // 2])
    with pytest.raises(PhotoError, match="damaged or cut short"):
        read_photo(tmp_path / "cut.tif")


def test_deep_bombs_are_refused(tmp_path):
    path = tmp_path / "bomb.tif"
    tifffile.imwrite(path, np.zeros((4, 4, 3), np.uint16), photometric="rgb")
    content = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as file:
        for name in ("ImageWidth", "ImageLength"):
            tag = file.pages.first.tags[name]
            size = {3: 2, 4: 4}[tag.dtype]
            content[tag.valueoffset : tag.valueoffset + size] = (50000).to_bytes(size, "little")
    path.write_bytes(content)
    for ask in (read_photo, check_photo):
        with pytest.raises(PhotoError, match="too large to be a photograph"):
            ask(path)


@pytest.mark.parametrize("mode", ["F", "I"])
def test_pixels_of_32_bits_are_refused_by_name(tmp_path, mode):
    path = tmp_path / "wide.tif"
    Image.new(mode, (4, 4)).save(path)
    with pytest.raises(PhotoError, match="its pixels are numbers of 32 bits"):
        read_photo(path)


@pytest.mark.parametrize(("transfer", "outcome"), [(13, "Display P3"), (16, "refused"), (18, "refused")])
def test_heif_that_states_its_colours_by_numbers(tmp_path, transfer, outcome):
    path = tmp_path / "numbers.heic"
    pillow_heif.encode(
        "RGB", (64, 64), bytes(64 * 64 * 3), str(path), quality=-1, chroma=444,
        color_primaries=12, transfer_characteristics=transfer, matrix_coefficients=6, full_range_flag=1,
    )  # fmt: skip
    if outcome == "refused":
        with pytest.raises(PhotoError, match="high dynamic range"):
            read_photo(path)
    else:
        photo = read_photo(path)
        assert photo.profile == outcome and photo.stated


@pytest.mark.parametrize(("transfer", "outcome"), [(13, "Display P3"), (16, "refused")])
def test_avif_that_states_its_colours_by_numbers(tmp_path, transfer, outcome):
    path = tmp_path / "numbers.avif"
    codes = np.zeros((64, 64, 3), np.uint8)
    path.write_bytes(imagecodecs.avif_encode(codes, level=90, primaries=12, transfer=transfer))
    if outcome == "refused":
        with pytest.raises(PhotoError, match="high dynamic range"):
            read_photo(path)
    else:
        assert read_photo(path).profile == outcome


def test_colours_that_the_camera_names(tmp_path):
    plain, wide = Image.Exif(), Image.Exif()
    plain.get_ifd(0x8769)[0xA001] = 1
    wide.get_ifd(0x8769)[0xA001] = 65535
    wide.get_ifd(0x8769)[0xA005] = {1: "R03"}
    for name, exif, expected in (("a", plain, "sRGB"), ("b", wide, "Adobe RGB (1998)")):
        Image.new("RGB", (8, 8), (90, 120, 200)).save(tmp_path / f"{name}.jpg", exif=exif, quality=100)
        photo = read_photo(tmp_path / f"{name}.jpg")
        assert (photo.profile, photo.stated) == (expected, True)


def jpeg_of(shown, **options):
    file = io.BytesIO()
    Image.fromarray(shown).save(file, "JPEG", **options)
    return file.getvalue()


@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_cut_short_is_refused_though_its_thumbnail_is_whole(tmp_path, progressive):
    shown = np.random.default_rng(4).integers(0, 256, (80, 120, 3), dtype=np.uint8)
    thumbnail = b"Exif\0\0" + jpeg_of(shown[::8, ::8])
    content = jpeg_of(shown, exif=thumbnail, progressive=progressive)
    assert b"\xff\xd9" in content[: len(content) // 3]
    (tmp_path / "cut.jpg").write_bytes(content[: len(content) // 2])
    with pytest.raises(PhotoError, match="cut short"):
        read_photo(tmp_path / "cut.jpg")


def test_what_follows_a_jpeg_in_its_file_does_no_harm(tmp_path):
    shown = np.random.default_rng(4).integers(0, 256, (80, 120, 3), dtype=np.uint8)
    content = jpeg_of(shown)
    (tmp_path / "longer.jpg").write_bytes(content + b"a film of a second")
    with Image.open(io.BytesIO(content)) as decoded:
        expected = light(np.asarray(decoded), 255)
    np.testing.assert_allclose(read_photo(tmp_path / "longer.jpg").linear, expected, atol=2e-7)
