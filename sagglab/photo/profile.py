"""Colour profiles: from the codes of a file to linear light, and from there to XYZ."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import imagecodecs
import numpy as np
from numpy.typing import NDArray
from PIL import ImageCms

from sagglab.colour import WHITE_D50, linear_to_xyz, srgb_to_linear
from sagglab.photo.picture import Picture

#: Linear sRGB to XYZ under D50, as a matrix for columns.
SRGB_TO_D50 = linear_to_xyz(np.eye(3)).T

#: D50 as profiles round it (ISO 15076-1), which is brought to CIE 15's: white would have b* 0.02 otherwise.
_ICC_WHITE = np.array([0.9642, 1.0, 0.8249])

#: Signatures of the colour spaces in the header of a profile (ISO 15076-1), and littleCMS's names of them.
_SPACES = {b"GRAY": "gray", b"RGB ": "rgb", b"CMYK": "cmyk", b"Lab ": "lab"}

#: White, red, green and blue, x and y, by the codes of Rec. ITU-T H.273; 12 are the primaries of Display P3.
_PRIMARIES = {
    1: (0.3127, 0.3290, 0.640, 0.330, 0.300, 0.600, 0.150, 0.060),
    9: (0.3127, 0.3290, 0.708, 0.292, 0.170, 0.797, 0.131, 0.046),
    12: (0.3127, 0.3290, 0.680, 0.320, 0.265, 0.690, 0.150, 0.060),
}

#: Rows that go through littleCMS at once, so that no second picture in floats is held.
_ROWS = 256


@dataclass(frozen=True)
class Profile:
    """What a file says of its colours.

    Attributes
    ----------
    name : str
    stated : bool
        Whether the file states it.
    icc : bytes or None
        The ICC profile; None for sRGB, with the transfer function of IEC 61966-2-1 itself.
    """

    name: str
    stated: bool
    icc: bytes | None = None


#: What is taken where a file states nothing.
UNSTATED = Profile("sRGB (the file states none)", False)

#: Stated otherwise than by a profile: in the camera's data, or by a chunk of its own.
SRGB = Profile("sRGB", True)


def adobe_rgb() -> Profile:
    """Adobe RGB (1998), which cameras state by a name in their data rather than by a profile."""
    return Profile("Adobe RGB (1998)", True, imagecodecs.cms_profile("adobergb"))


def embedded(icc: bytes, space: str) -> Profile:
    """Judge the ICC profile that a file holds.

    Parameters
    ----------
    icc : bytes
    space : {"gray", "rgb", "cmyk", "lab"}
        What the file's codes are.

    Returns
    -------
    Profile
        sRGB, and so said, where the file's own is damaged or is for other kinds of codes.
    """
    try:
        name = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(icc))).strip()
    except (ImageCms.PyCMSError, OSError):
        return Profile("sRGB (the file's own is damaged)", False)
    # Grey pictures often carry the RGB profile of the program that saved them, and are meant by it.
    if _space(icc) != space and (space, _space(icc)) != ("gray", "rgb"):
        return Profile("sRGB (the file's own does not fit its pixels)", False)
    try:
        _through_littlecms(np.zeros((1, 1, _channels(_space(icc))), np.uint8), _space(icc), icc)
    except imagecodecs.CmsError:
        return Profile("sRGB (the file's own is damaged)", False)
    return Profile(name or "a profile without a name", True, icc)


def video_colours(primaries: int, transfer: int) -> Profile | None:
    """Make a profile of the numbers by which HEIF and AVIF state colours without one.

    Parameters
    ----------
    primaries, transfer : int
        Codes of Rec. ITU-T H.273.

    Returns
    -------
    Profile or None
        None for numbers that say "unspecified", or that photographs do not use. The curves of television
        count as that of sRGB, which is how phones mean them.
    """
    if primaries not in _PRIMARIES or transfer not in (1, 6, 13, 14, 15):
        return None
    if primaries == 1:
        return SRGB
    x_y = _PRIMARIES[primaries]
    curve = srgb_to_linear(np.linspace(0, 1, 4096)).astype(np.float32)
    icc = imagecodecs.cms_profile("rgb", whitepoint=x_y[:2], primaries=x_y[2:], transferfunction=curve)
    return Profile({9: "Rec. 2020 primaries", 12: "Display P3"}[primaries], True, icc)


def linear_light(
    codes: NDArray[np.uint8] | NDArray[np.uint16] | NDArray[np.float32], space: str, profile: Profile
) -> tuple[Picture, NDArray[np.float64]]:
    """Undo a profile's tone curves.

    A profile of one curve for each channel and a matrix leaves the light in the file's own RGB, in which the
    camera's curve worked and in which a channel clips at 1. Any other profile (a table of colours, grey,
    CMYK, CIELAB) goes through littleCMS, in floats and unclipped, to linear sRGB.

    Parameters
    ----------
    codes : ndarray, shape (rows, columns, channels)
        Of all 8 or 16 bits; CIELAB as L*, a*, b* in floats.
    space : {"gray", "rgb", "cmyk", "lab"}
    profile : Profile

    Returns
    -------
    picture : Picture
    to_xyz : ndarray, shape (3, 3)
        ``picture.linear @ to_xyz.T`` is XYZ under D50, with Y = 1 for white.
    """
    if space == "gray" and (profile.icc is None or _space(profile.icc) == "rgb"):
        codes, space = np.repeat(codes, 3, axis=2), "rgb"
    if profile.icc is None and space == "rgb":
        return _pictured(codes, *_srgb_curves(codes.dtype.str))
    if space == "gray":
        grey = np.arange(np.iinfo(codes.dtype).max + 1, dtype=codes.dtype)[None, :, None]
        light = _xyz(grey, "gray", profile.icc)[0, :, 1]
        curve = (light / light[-1]).astype(np.float32)
        return _pictured(np.repeat(codes, 3, axis=2), np.repeat(curve[:, None], 3, axis=1), SRGB_TO_D50)
    icc = profile.icc if space != "lab" else imagecodecs.cms_profile("lab4")
    if space == "rgb" and (curves := _curves(icc, codes.dtype.str)) is not None:
        return _pictured(codes, *curves)
    linear = np.empty((*codes.shape[:2], 3), np.float32)
    for top in range(0, len(codes), _ROWS):
        linear[top : top + _ROWS] = _through_littlecms(codes[top : top + _ROWS], space, icc)
    return Picture(linear), SRGB_TO_D50


def _space(icc: bytes) -> str:
    return _SPACES.get(icc[16:20], "")


def _channels(space: str) -> int:
    return {"gray": 1, "cmyk": 4}.get(space, 3)


def _through_littlecms(codes: NDArray, space: str, icc: bytes) -> NDArray[np.float32]:
    """Linear sRGB of codes of any kind."""
    # Through XYZ and an own matrix: a linear sRGB profile would round the primaries to 16 bits.
    return (_xyz(codes, space, icc) @ np.linalg.inv(SRGB_TO_D50).T).astype(np.float32)


def _xyz(codes: NDArray, space: str, icc: bytes) -> NDArray[np.float64]:
    xyz = imagecodecs.cms_transform(
        codes[..., 0] if space == "gray" else codes,
        icc,
        imagecodecs.cms_profile("xyz"),
        colorspace=space,
        outcolorspace="xyz",
        outdtype=np.float32,
        intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
        flags=imagecodecs.CMS.FLAGS.NOOPTIMIZE,
    )
    return xyz * (WHITE_D50 / _ICC_WHITE)


@lru_cache(maxsize=2)
def _srgb_curves(dtype: str) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    levels = np.iinfo(dtype).max
    curve = srgb_to_linear(np.arange(levels + 1) / levels).astype(np.float32)
    return np.repeat(curve[:, None], 3, axis=1), SRGB_TO_D50


@lru_cache(maxsize=8)
def _curves(icc: bytes, dtype: str) -> tuple[NDArray[np.float32], NDArray[np.float64]] | None:
    """Tone curves, shape (codes, 3), and matrix to XYZ of an RGB profile; None if it is no such profile."""
    levels = np.iinfo(dtype).max
    ramps = np.zeros((3, levels + 1, 3), dtype)
    for channel in range(3):
        ramps[channel, :, channel] = np.arange(levels + 1)
    xyz = _xyz(ramps, "rgb", icc)
    primaries = xyz[:, -1]
    if not (primaries**2).sum(axis=1).all():
        return None
    curves = np.einsum("cnx,cx->nc", xyz, primaries) / (primaries**2).sum(axis=1)
    # Curves and matrix meet littleCMS within 1.1e-7 for every such profile tried, of six makes; a table of
    # colours misses by a thousand times as much and more.
    colours = np.random.default_rng(0).integers(0, levels + 1, (1, 1000, 3), dtype=dtype)
    drawn = np.stack([curves[colours[..., channel], channel] for channel in range(3)], axis=-1)
    if np.abs(drawn @ primaries - _xyz(colours, "rgb", icc)).max() > 1e-5:
        return None
    return curves.astype(np.float32), primaries.T


def _pictured(
    codes: NDArray, curves: NDArray[np.float32], to_xyz: NDArray[np.float64]
) -> tuple[Picture, NDArray[np.float64]]:
    return Picture(codes, curves), to_xyz.copy()
