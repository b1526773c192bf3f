"""What the camera said: every field, in every format, and nonsense that gives blanks."""

import math
from datetime import datetime

import numpy as np
import pillow_heif
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as some
from PIL import Image, TiffImagePlugin

from sagglab.photo.image import read_photo
from sagglab.photo.shot import Shot, shot_of

FRACTION = TiffImagePlugin.IFDRational


def exif_of(base=(), camera=()):
    exif = Image.Exif()
    exif.update(dict(base))
    exif.get_ifd(0x8769).update(dict(camera))
    return exif


def full():
    return exif_of(
        {271: "Maker", 272: "Camera 1", 305: "Ver. 1.0", 306: "2026:03:04 10:20:31"},
        {
            33434: FRACTION(1, 50), 33437: FRACTION(56, 10), 34855: 200, 36867: "2026:03:04 10:20:30",
            37385: 16, 41987: 1, 42036: "50 mm",
        },
    )  # fmt: skip


EXPECTED = Shot(
    "Maker", "Camera 1", "50 mm", 0.02, 5.6, 200, "fixed", False, datetime(2026, 3, 4, 10, 20, 30), "Ver. 1.0"
)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tif", "avif", "heic", "mpo"])
def test_every_format_tells_all(tmp_path, suffix):
    path = tmp_path / f"shot.{suffix}"
    pillow_heif.register_heif_opener()
    exif = full()
    if suffix == "tif":  # Pillow writes only those of a TIFF's directories that are its tags
        exif[0x8769] = dict(exif.get_ifd(0x8769))
    Image.new("RGB", (64, 64)).save(path, exif=exif)
    assert read_photo(path).shot == EXPECTED


def test_16_bit_tiff_tells_what_it_has(tmp_path):
    path = tmp_path / "deep.tif"
    tags = [(271, "s", 0, "Maker", True), (306, "s", 0, "2026:03:04 10:20:31", True)]
    tifffile.imwrite(path, np.zeros((8, 8, 3), np.uint16), photometric="rgb", extratags=tags, software="V")
    shot = read_photo(path).shot
    assert (shot.make, shot.software, shot.taken, shot.edited) == ("Maker", "V", None, "")


def test_nothing_said():
    shot = shot_of(Image.Exif())
    assert (shot.make, shot.white_balance, shot.flash, shot.taken, shot.edited) == ("", "", None, None, "")
    assert all(math.isnan(value) for value in (shot.exposure_s, shot.aperture, shot.iso))


@pytest.mark.parametrize(
    ("code", "fired"), [(0, False), (1, True), (16, False), (24, False), (25, True), (95, True)]
)
def test_flash(code, fired):
    """Exif 2.32, tag Flash: the lowest bit says whether it fired."""
    assert shot_of(exif_of(camera={37385: code})).flash is fired


def test_white_balance_set_by_the_camera():
    assert shot_of(exif_of(camera={41987: 0})).white_balance == "automatic"
    assert shot_of(exif_of(camera={41987: 7})).white_balance == ""


def test_high_sensitivity_stands_in_the_longer_tags():
    assert shot_of(exif_of(camera={34855: 65535, 34866: 102400})).iso == 102400
    assert shot_of(exif_of(camera={34855: (400, 0)})).iso == 400


NONSENSE = {
    "zero over zero": {33434: FRACTION(0, 0), 33437: FRACTION(1, 0), 34855: 0},
    "words": {33434: "1/50", 33437: b"f/8", 34855: "high", 37385: "yes", 41987: "auto"},
    "nothing in lists": {33434: (), 33437: (), 34855: (), 37385: (), 36867: ()},
    "dates": {36867: "0000:00:00 00:00:00"},
    "month 13": {36867: "2026:13:41 25:61:61"},
    "numbers for words": {42036: 5, 36867: 20260304},
    "negative": {33434: -1.0, 34855: -5, 37385: -1},
    "infinite": {33434: math.inf, 33437: math.nan},
}


@pytest.mark.parametrize("name", NONSENSE)
def test_nonsense_gives_blanks(name):
    exif = exif_of(camera=NONSENSE[name])
    assert repr(shot_of(exif)) == repr(shot_of(Image.Exif()))


WORDS = some.text("0123456789:/ -a\0é", max_size=30)
ANYTHING = some.one_of(
    some.integers(), some.floats(), WORDS, some.binary(max_size=30), some.none(), some.tuples(some.integers())
)
TAGS = some.sampled_from([11, 271, 272, 305, 306, 33434, 33437, 34855, 36867, 37385, 41987, 42036])


@given(some.dictionaries(TAGS, ANYTHING), some.dictionaries(TAGS, ANYTHING), some.binary(max_size=80))
def test_anything_in_the_tags_is_survived(base, camera, xmp):
    assert isinstance(shot_of(exif_of(base, camera), xmp), Shot)


def test_exif_that_is_no_exif(tmp_path):
    path = tmp_path / "broken.jpg"
    for content in (b"Exif\0\0", b"Exif\0\0II*\0\xff\xff\xff\xff", b"Exif\0\0MM\0*\0\0\0\x08\0\x09\x87"):
        Image.new("RGB", (8, 8), "white").save(path, exif=content)
        photo = read_photo(path)
        assert photo.linear.min() > 0.99
        assert photo.shot.make == ""


@pytest.mark.parametrize(
    ("changed", "edited"),
    [
        ("2026:03:04 10:20:30", ""),
        ("2026:03:04 10:21:25", ""),  # a long exposure, stamped as it ended
        ("2026:03:04 10:10:00", ""),
        ("2026:03:05 18:00:00", "it was changed on 2026-03-05 18:00, after it was taken"),
    ],
)
def test_changed_after_it_was_taken(changed, edited):
    exif = exif_of({271: "Maker", 306: changed}, {36867: "2026:03:04 10:20:30"})
    assert shot_of(exif).edited == edited


def test_programs_that_name_themselves():
    assert shot_of(exif_of({11: "Darkroom", 271: "Maker"})).edited == (
        "its data name a program that worked on it (Darkroom)"
    )
    assert shot_of(exif_of({305: "Darkroom"})).edited == "its data name a program (Darkroom) and no camera"
    assert shot_of(exif_of({305: "Ver. 1"}, {33434: FRACTION(1, 60)})).edited == ""


@pytest.mark.parametrize(
    ("packet", "edited"),
    [
        (b'<rdf:li stEvt:action="created"/>', ""),
        (
            b'<rdf:li stEvt:action="created"/><rdf:li stEvt:action="saved"/>',
            "its history says that it was saved",
        ),
        (b"<stEvt:action>converted</stEvt:action>", "its history says that it was converted"),
        (b'xmp:CreateDate="2026-03-04T10:20:30" xmp:ModifyDate="2026-03-04T10:20:31.5+01:00"', ""),
        (
            b'xmp:CreateDate="2026-03-04T10:20:30" xmp:ModifyDate="2026-03-06T10:20:31"',
            "it was changed on 2026-03-06 10:20, after it was made",
        ),
        (b"xmp:CreateDate= nonsense stEvt:action=", ""),
    ],
)
def test_history_in_the_packet(packet, edited):
    assert shot_of(exif_of({271: "Maker"}), packet).edited == edited
