"""Photographs of every odd kind, as their authors published them, decode upright or are refused."""

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from sagglab.colour import xyz_to_lab
from sagglab.errors import PhotoError
from sagglab.photo.image import check_photo, read_photo

PHOTOS = Path(__file__).resolve().parents[2].parent / "shared" / "photos"

UNSTATED = "sRGB (the file states none)"
#: (rows, columns) once upright, profile and flags; or the cause for which the file is refused.
OUTCOMES = {
    "odd-01.jpg": ((3264, 2448), "sRGB", ""),
    "odd-02.heic": ((3024, 4032), "Display P3", ""),
    "odd-03.heic": ((4032, 3024), "sRGB", ""),
    "odd-04.avif": ((3648, 5472), "sRGB", ""),
    "odd-05.jpg": ((1200, 1800), UNSTATED, "no colour profile"),
    "odd-06.jpg": ((1200, 1800), UNSTATED, "no colour profile"),
    "odd-07.jpg": ((1200, 1800), UNSTATED, "no colour profile"),
    "odd-08.webp": ((3648, 2736), "sRGB", ""),
    "odd-09.jpg": ((2560, 1920), "Nikon sRGB 4.0.0.3000", "edited"),  # stamped five days later
    "odd-10.png": ((800, 1000), "DCI-P3-D65-2_2-Gamma", "edited"),  # history in XMP
    "odd-11.jpg": ((1800, 1200), UNSTATED, "no colour profile"),
    "odd-12.heic": ((960, 1440), UNSTATED, "no colour profile"),  # with alpha
    "odd-13.jpg": ((512, 384), "Display P3", ""),
    "odd-14.heic": ((4032, 3024), "Display P3", ""),
    "odd-15.heic": ((1848, 4000), "DCI-P3 D65 Gamut with sRGB Transfer", "high ISO"),
    "odd-16.avif": ((4032, 3024), "Display P3", ""),  # turned by the container, not by EXIF
    "odd-17.jpg": ((2048, 1536), "sRGB", "edited"),  # stamped 17 days later
    "odd-18.tiff": ((266, 400), "CIELAB", ""),  # 16 bits
    "odd-19.jpg": ((267, 400), "Gray Gamma 2.2", ""),
    "odd-20.jpg": ((2736, 3648), "sRGB", ""),
    "odd-21.jpg": ((4032, 3024), "sRGB IEC61966-2.1", ""),
    "odd-22.tif": ((128, 128), "CIELAB", "edited"),  # history in XMP
    "odd-23.heic": ((4032, 3024), "Display P3", ""),
    "odd-24.jpg": ((302, 403), "Display P3 Gamut with sRGB Transfer", "edited"),  # history in XMP
    "odd-25.heic": ((2560, 2560), "Display P3", ""),
    "odd-26.tiff": ((211, 317), "Adobe RGB (1998)", "edited"),  # 16 bits; stamped months later
    "odd-27.jpg": "it is damaged or cut short",
    "odd-28.png": ((684, 1024), UNSTATED, "no colour profile"),  # 16 bits
    "odd-29.jpg": ((1072, 2000), "Adobe RGB (1998)", "edited"),  # stamped three hours later
}
STEP = 5  # every fifth pixel of each fifth row is compared


def shared(name):
    path = PHOTOS / name
    if not path.is_file():
        pytest.skip(f"{name}: shared photographs are absent")
    return path


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="shared photographs are absent")
def test_every_odd_photograph_is_listed():
    assert sorted(path.name for path in PHOTOS.glob("odd-*")) == sorted(OUTCOMES)


def plainly_decoded(path):
    """Codes in sRGB by the plain way, every fifth: Pillow (OpenCV for 16 bits), and littleCMS at 8 bits."""
    with Image.open(path) as image:
        icc = image.info.get("icc_profile")
        if path.name in ("odd-26.tiff", "odd-28.png"):
            codes = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[::STEP, ::STEP, 2::-1]
            codes = np.round(codes / 257).astype(np.uint8)
        else:
            image = ImageOps.exif_transpose(image)
            codes = np.asarray(image if image.mode == "L" else image.convert("RGB"))[::STEP, ::STEP]
    if icc:
        profile, image = io.BytesIO(icc), Image.fromarray(np.ascontiguousarray(codes))
        srgb, intent = ImageCms.createProfile("sRGB"), ImageCms.Intent.RELATIVE_COLORIMETRIC
        codes = np.asarray(ImageCms.profileToProfile(image, profile, srgb, intent, outputMode="RGB"))
    return codes[..., None] if codes.ndim == 2 else codes


@pytest.mark.parametrize("name", [name for name, outcome in OUTCOMES.items() if not isinstance(outcome, str)])
def test_odd_photograph_decodes(name):
    path = shared(name)
    check_photo(path)
    photo = read_photo(path)
    assert (photo.linear.shape[:2], photo.profile, photo.problems.flags) == OUTCOMES[name]
    assert photo.linear.dtype == np.float32
    assert photo.stated == (photo.profile != UNSTATED)
    if photo.profile == "CIELAB":
        return  # compared below; Pillow does not know the one, and takes the other by another white
    assert 0 <= photo.linear.min() < photo.linear.max() <= 1
    shown = photo.display(photo.linear[::STEP, ::STEP]) * 255
    missed = np.abs(shown - plainly_decoded(path))
    # The plain way rounds to codes before and after its matrix; near black a code is a small step of light.
    assert missed.mean() < 0.5
    assert np.quantile(missed, 0.999) < 3


@pytest.mark.parametrize("name", [name for name, outcome in OUTCOMES.items() if isinstance(outcome, str)])
def test_odd_photograph_is_refused(name):
    path = shared(name)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.where == str(path)
    assert caught.value.cause.startswith(OUTCOMES[name])


@pytest.mark.parametrize("name", ["odd-18.tiff", "odd-22.tif"])
def test_cielab_is_that_of_libtiff(name):
    """The codes as libtiff, a second decoder, gives them; what they mean is in TIFF 6.0, section 23."""
    imagecodecs = pytest.importorskip("imagecodecs")
    path = shared(name)
    codes = imagecodecs.tiff_decode(path.read_bytes())
    scale = np.iinfo(codes.dtype).max
    signed = codes[..., 1:].astype(codes.dtype.str.replace("u", "i")).astype(float) / (
        1 if scale == 255 else 256
    )
    lab = np.concatenate([codes[..., :1] * (100 / scale), signed], axis=2)
    photo = read_photo(path)
    np.testing.assert_allclose(xyz_to_lab(photo.linear @ photo.to_xyz.T), lab, atol=0.01)
    assert lab[..., 0].min() >= 0 and lab[..., 0].max() > 80 and 5 < np.abs(lab[..., 1:]).mean() < 40
