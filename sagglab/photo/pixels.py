"""Pixels as a file holds them: all its bits, upright, without alpha, and what the file says of them."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import pillow_heif
import tifffile
from numpy.typing import NDArray
from PIL import ExifTags, Image

from sagglab.errors import PhotoError
from sagglab.photo.profile import SRGB, UNSTATED, Profile, adobe_rgb, embedded, video_colours
from sagglab.photo.raw import refuse_bomb
from sagglab.photo.shot import Shot, exif_of_tiff, packet_of_tiff, shot_of

pillow_heif.register_heif_opener()

#: Photometric interpretations (TIFF 6.0, and its supplements) that only a raw file has.
_SENSOR = {32803, 34892}
#: Those that are read with all bits: grey with white or black as zero, RGB, CIELAB with and without signs.
_GREYS, _RGB, _LABS = {0, 1}, 2, {8, 9}


@dataclass(frozen=True)
class Pixels:
    """A picture before its profile is undone.

    Attributes
    ----------
    codes : ndarray of uint8 or uint16, shape (rows, columns, channels)
        Upright; CIELAB as L*, a*, b* in float32.
    space : {"gray", "rgb", "cmyk", "lab"}
    profile : Profile
    shot : Shot
    """

    codes: NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.float32]
    space: str
    profile: Profile
    shot: Shot


def picture_pixels(path: Path, image: Image.Image) -> Pixels:
    """Pixels of a picture that Pillow opened.

    16 bits a channel, and 10 and 12 of HEIF and AVIF, are kept. Alpha is dropped: it says how to lay a
    picture over another, and not what light came from the pot.
    """
    codes = _deep_codes(path, image)
    if codes is None:
        codes = _codes(path, image)
    elif codes.shape[2] in (2, 4):
        codes = codes[..., :-1]
    space = {1: "gray", 3: "rgb", 4: "cmyk"}[codes.shape[2]]
    exif = image.getexif()
    profile = _profile(path, image, exif, space)
    if space == "cmyk" and profile.icc is None:
        codes, space = np.asarray(image.convert("RGB")), "rgb"
    # Packets come as bytes or as text, under either name.
    xmp = image.info.get("xmp", image.info.get("XML:com.adobe.xmp", b""))
    xmp = xmp.encode() if isinstance(xmp, str) else xmp
    return Pixels(_upright(codes, exif.get(ExifTags.Base.Orientation)), space, profile, shot_of(exif, xmp))


def tiff_kind(path: Path) -> str:
    """Tell what a file is that may be built as a TIFF: "raw", "deep" (CIELAB, 16 bits), or "" for neither."""
    with path.open("rb") as file:
        head = file.read(10)
    if head[:2] not in (b"II", b"MM"):
        return ""
    if head[8:10] == b"CR":
        return "raw"
    try:
        with tifffile.TiffFile(path) as file:
            page = file.pages.first
            pages = [page, *(page.pages or ())]
            if tifffile.TIFF.TAGS["DNGVersion"] in page.tags or any(
                getattr(one, "photometric", None) in _SENSOR for one in pages
            ):
                return "raw"
            deep = (
                page.photometric in _GREYS | {_RGB} and page.dtype == np.uint16 and page.bitspersample == 16
            )
            lab = page.photometric in _LABS and page.bitspersample in (8, 16) and page.samplesperpixel >= 3
            if not deep and not lab:
                return ""
            refuse_bomb(page.imagewidth, page.imagelength)
            return "deep"
    except (tifffile.TiffFileError, ValueError, LookupError, TypeError, struct.error):
        return ""  # Pillow says what is the matter with it


def tiff_pixels(path: Path) -> Pixels:
    """Pixels of a TIFF of CIELAB, which Pillow knows in part, or of 16 bits, of which it keeps 8."""
    with tifffile.TiffFile(path) as file:
        page = file.pages.first
        codes = page.asarray()
        if codes.ndim == 2:
            codes = codes[..., None]
        elif page.planarconfig == tifffile.PLANARCONFIG.SEPARATE:
            codes = np.moveaxis(codes, 0, -1)
        icc, photometric, orientation = page.iccprofile, page.photometric, page.tags.valueof(274)
    channels = 1 if photometric in _GREYS else 3
    if codes.ndim != 3 or codes.size == 0 or codes.shape[2] < channels:
        raise ValueError("its size does not fit its pixels")
    codes = codes[..., :channels]
    if photometric == 0:  # white is zero
        codes = np.iinfo(codes.dtype).max - codes
    space = "gray" if photometric in _GREYS else "lab" if photometric in _LABS else "rgb"
    with path.open("rb") as file:
        exif = exif_of_tiff(file)
        shot = shot_of(exif, packet_of_tiff(exif))
        profile = _said(exif) or UNSTATED
    if space == "lab":
        profile = Profile("CIELAB", True)
    elif icc:
        profile = embedded(icc, space)
    codes = _lab(codes, signed=photometric == 8) if space == "lab" else codes
    return Pixels(_upright(codes, orientation), space, profile, shot)


def _codes(path: Path, image: Image.Image) -> NDArray[np.uint8]:
    if image.format in ("JPEG", "MPO") and image.mode == "RGB":
        content = path.read_bytes()
        # The same library as Pillow's, and the same pixels, without Pillow's own copy of four bytes a pixel:
        # 24 megapixels in 0.13 s, where Pillow and a copy for NumPy take 0.28 s and 96 MB more.
        if _has_end(content):
            return imagecodecs.jpeg8_decode(content)
    image.load()
    if image.mode in ("F", "I"):
        raise PhotoError(
            str(path), "its pixels are numbers of 32 bits", "save it with 8 or 16 bits a channel"
        )
    if image.mode not in ("L", "RGB", "CMYK"):
        image = image.convert("L" if image.mode in ("1", "LA", "La") else "RGB")
    codes = np.asarray(image)
    return codes if codes.ndim == 3 else codes[..., None]


def _has_end(content: bytes) -> bool:
    """Tell whether a JPEG's scan has an end; one without is cut short, which Pillow knows and tells."""
    place = 2
    while content[place : place + 1] == b"\xff" and content[place + 1 : place + 2] != b"\xda":
        place += 2 + int.from_bytes(content[place + 2 : place + 4])
    # A scan's own 0xFF is always followed by 0 or by a mark to restart at (ITU-T T.81, B.1.1.5).
    # Searched for from the end, where it is: from the front it took 9 ms of 8 MB.
    return content.rfind(b"\xff\xd9", place) >= 0


def _deep_codes(path: Path, image: Image.Image) -> NDArray[np.uint16] | None:
    """Codes of 16 bits, where the file has more than 8; Pillow would keep 8 of them."""
    codes, bits = None, 16
    if image.format == "PNG":
        with path.open("rb") as file:
            file.seek(24)  # the depth, after signature and size (ISO/IEC 15948, 11.2.2)
            if file.read(1) == b"\x10":
                codes = imagecodecs.png_decode(path.read_bytes())
    elif image.format == "HEIF" and (bits := image.info.get("bit_depth", 8)) > 8:
        file = pillow_heif.open_heif(path, convert_hdr_to_8bit=False)
        codes = np.array(file)  # a copy: pillow-heif 1.1 frees what it shares
    elif image.format == "AVIF":
        content = path.read_bytes()
        if (bits := _av1_bits(content)) > 8:
            codes = imagecodecs.avif_decode(content, index=0) << (16 - bits)
    if codes is None:
        return None
    # Shifted to the left; the upper bits again fill those that are empty, so that white is 65535.
    codes = codes | codes >> bits if bits < 16 else codes
    return codes if codes.ndim == 3 else codes[..., None]


def _av1_bits(content: bytes) -> int:
    """Bits a channel, from the decoder's configuration (AV1-ISOBMFF, 2.3.3)."""
    place = content.find(b"av1C")
    kind = content[place + 6] if 0 <= place < len(content) - 6 else 0
    return 12 if kind & 0x20 else 10 if kind & 0x40 else 8


def _profile(path: Path, image: Image.Image, exif: Image.Exif, space: str) -> Profile:
    if icc := image.info.get("icc_profile"):
        return embedded(icc, space)
    numbers = None
    if stated := image.info.get("nclx_profile"):
        numbers = stated["color_primaries"], stated["transfer_characteristics"]
    elif image.format == "AVIF":
        content = path.read_bytes()
        place = content.find(b"colrnclx")
        if 0 <= place < len(content) - 12:
            numbers = struct.unpack_from(">HH", content, place + 8)
    if numbers is not None:
        if numbers[1] in (16, 18):
            raise PhotoError(
                str(path),
                "its light is coded for displays of high dynamic range (PQ or HLG)",
                "turn that off in the camera, or save it with an ordinary range",
            )
        if (profile := video_colours(*numbers)) is not None:
            return profile
    return _said(exif) or (SRGB if "srgb" in image.info else UNSTATED)


def _said(exif: Image.Exif) -> Profile | None:
    """Find the colours that a camera names in its data (CIPA DC-008, ColorSpace; DC-009, option file R03)."""
    try:
        if exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.ColorSpace) == 1:
            return SRGB
        if exif.get_ifd(ExifTags.IFD.Interop).get(1) == "R03":
            return adobe_rgb()
    except Exception:  # broken remarks raise anything, and are no reason to refuse the picture
        return None
    return None


def _lab(codes: NDArray, signed: bool) -> NDArray[np.float32]:
    """L*, a*, b* of a TIFF (TIFF 6.0, section 23, and its technical note 3 for 16 bits)."""
    whole = 256 if codes.dtype == np.uint16 else 1
    lab = np.empty(codes.shape, np.float32)
    if signed:
        np.multiply(codes[..., 0], np.float32(100 / np.iinfo(codes.dtype).max), out=lab[..., 0])
        np.divide(codes[..., 1:].view(f"i{codes.dtype.itemsize}"), np.float32(whole), out=lab[..., 1:])
    else:
        np.multiply(codes[..., 0], np.float32(100 / (255 * whole)), out=lab[..., 0])
        np.subtract(codes[..., 1:] / np.float32(whole), 128, out=lab[..., 1:])
    return lab


#: The turns and flips of a picture by its EXIF orientation (CIPA DC-008, tag 274).
_TURNS = {
    2: lambda codes: cv2.flip(codes, 1),
    3: lambda codes: cv2.rotate(codes, cv2.ROTATE_180),
    4: lambda codes: cv2.flip(codes, 0),
    5: cv2.transpose,
    6: lambda codes: cv2.rotate(codes, cv2.ROTATE_90_CLOCKWISE),
    7: lambda codes: cv2.flip(cv2.transpose(codes), -1),
    8: lambda codes: cv2.rotate(codes, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


def _upright(codes: NDArray, orientation: object) -> NDArray:
    """Turn a picture as its EXIF orientation says."""
    codes = np.ascontiguousarray(codes)
    if orientation not in _TURNS:
        return codes
    turned = _TURNS[orientation](codes)
    return turned if turned.ndim == 3 else turned[..., None]
