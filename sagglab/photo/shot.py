"""What the camera said of a photograph: exposure, white balance, flash, time; and whether it was edited."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from PIL import ExifTags, Image

#: A camera may write the second at which it saved, which is later than that of the exposure; an edit in less
#: than a minute is none.
SAVED_WITHIN_S = 60

_NAN = math.nan
_TIME = re.compile(r"(\d{4})\D(\d\d)\D(\d\d)\D(\d\d)\D(\d\d)\D(\d\d)")
#: Attributes and elements of XMP (ISO 16684-1): each step of a file's history, and its two dates.
_STEP = re.compile(rb"stEvt:action\s*(?:=\s*[\"']|>)\s*(\w+)")
_CREATED = re.compile(rb"xmp:CreateDate\s*(?:=\s*[\"']|>)\s*([0-9T:\-]+)")
_MODIFIED = re.compile(rb"xmp:ModifyDate\s*(?:=\s*[\"']|>)\s*([0-9T:\-]+)")


@dataclass(frozen=True)
class Shot:
    """What the camera said; "", nan or None where it said nothing that can be read.

    Attributes
    ----------
    make, model, lens : str
    exposure_s, aperture, iso : float
        Exposure in seconds, f-number, and sensitivity.
    white_balance : str
        "automatic", "fixed" or "".
    flash : bool or None
        Whether the flash fired.
    taken : datetime or None
        By the camera's own clock.
    software : str
        What wrote the file: in most photographs, what runs the camera.
    edited : str
        Why the file is taken to have been edited; "" when nothing says so.
    """

    make: str = ""
    model: str = ""
    lens: str = ""
    exposure_s: float = _NAN
    aperture: float = _NAN
    iso: float = _NAN
    white_balance: str = ""
    flash: bool | None = None
    taken: datetime | None = None
    software: str = ""
    edited: str = ""


def shot_of(exif: Image.Exif, xmp: bytes = b"") -> Shot:
    """Read the camera's data.

    Parameters
    ----------
    exif : PIL.Image.Exif
    xmp : bytes
        The XMP packet, empty for none.

    Notes
    -----
    What cannot be understood (a fraction over zero, a date of zeros, words for numbers) counts as not said.

    A file is taken to be edited when it was changed more than a minute after it was taken; when its history
    has a step after its making; when it names a program that worked on it afterwards; or when it names a
    program, and nothing of a camera or an exposure. That the camera works on a picture by itself, and that a
    program removed every trace, cannot be seen here.

    References
    ----------
    CIPA DC-008 (Exif 2.32); ISO 16684-1 (XMP).
    """
    base, camera = _tags(exif)
    make, model, software = (_word(base.get(tag)) for tag in (271, 272, 305))
    taken = _time(camera.get(36867))
    exposure_s = _number(camera.get(33434))
    flash = _number(camera.get(37385), least=0)
    edited = _edited(taken, _time(base.get(306)), _word(base.get(11)), xmp)
    if not edited and software and not make + model and math.isnan(exposure_s):
        edited = f"its data name a program ({software}) and no camera"
    return Shot(
        make=make,
        model=model,
        lens=_word(camera.get(42036)),
        exposure_s=exposure_s,
        aperture=_number(camera.get(33437)),
        iso=_sensitivity(camera),
        white_balance={0: "automatic", 1: "fixed"}.get(_number(camera.get(41987), least=0), ""),
        flash=None if math.isnan(flash) else bool(int(flash) & 1),
        taken=taken,
        software=software,
        edited=edited,
    )


def exif_of_tiff(file: BinaryIO) -> Image.Exif:
    """Read the tags of a file that may be built as a TIFF, as most raw files are; none where it is not.

    The file has to stay open for as long as the tags are read.
    """
    exif = Image.Exif()
    try:
        exif.load_from_fp(file)
    except Exception:  # whatever is there instead raises anything
        return Image.Exif()
    return exif


def packet_of_tiff(exif: Image.Exif) -> bytes:
    """Take the XMP packet out of the tags of a TIFF."""
    packet = exif.get(700)
    return packet if isinstance(packet, bytes) else b""


def _tags(exif: Image.Exif) -> tuple[dict, dict]:
    """Read the tags of the picture, and of its exposure; none where they cannot be read."""
    try:
        base = dict(exif)
    except Exception:  # broken remarks raise anything, and are no reason to refuse the picture
        base = {}
    try:
        camera = dict(exif.get_ifd(ExifTags.IFD.Exif))
    except Exception:  # as above
        camera = {}
    # Some raw containers keep these beside the picture's own tags.
    return base, {**base, **camera}


def _first(value: object) -> object:
    return value[0] if isinstance(value, tuple | list) and value else value


def _number(value: object, least: float = 1e-12) -> float:
    value = _first(value)
    if isinstance(value, str | bytes):
        return _NAN
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return _NAN
    return number if math.isfinite(number) and number >= least else _NAN


def _sensitivity(camera: dict) -> float:
    iso = _number(camera.get(34855))
    # The tag's 16 bits end at 65535, which says "see the longer tags".
    longer = [_number(camera.get(tag)) for tag in (34867, 34866)] if not iso < 65535 else []
    return next((value for value in longer if not math.isnan(value)), iso)


def _word(value: object) -> str:
    value = _first(value)
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return " ".join(value.replace("\0", " ").split()) if isinstance(value, str) else ""


def _time(value: object) -> datetime | None:
    found = _TIME.match(_word(value))
    try:
        return datetime(*map(int, found.groups())) if found else None
    except ValueError:
        return None


def _edited(taken: datetime | None, changed: datetime | None, program: str, xmp: bytes) -> str:
    if taken and changed and (changed - taken).total_seconds() > SAVED_WITHIN_S:
        return f"it was changed on {changed:%Y-%m-%d %H:%M}, after it was taken"
    if program:
        return f"its data name a program that worked on it ({program})"
    steps = {step.lower() for step in _STEP.findall(xmp)} - {b"created"}
    if steps:
        return f"its history says that it was {', '.join(sorted(step.decode() for step in steps))}"
    created, modified = (_packet_time(pattern, xmp) for pattern in (_CREATED, _MODIFIED))
    if created and modified and (modified - created).total_seconds() > SAVED_WITHIN_S:
        return f"it was changed on {modified:%Y-%m-%d %H:%M}, after it was made"
    return ""


def _packet_time(pattern: re.Pattern[bytes], xmp: bytes) -> datetime | None:
    found = pattern.search(xmp)
    return _time(found[1]) if found else None
