"""Photographs decoded: any common format, upright, in linear light, with what the camera said."""

from __future__ import annotations

import os
import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import rawpy
import tifffile
from numpy.typing import ArrayLike, NDArray
from PIL import Image, UnidentifiedImageError

from sagglab.colour import linear_to_srgb, xyz_to_lab
from sagglab.errors import MissingFileError, PhotoError, Problems
from sagglab.photo.flags import flagged, shot_flags
from sagglab.photo.picture import Picture
from sagglab.photo.pixels import picture_pixels, tiff_kind, tiff_pixels
from sagglab.photo.profile import SRGB_TO_D50, linear_light
from sagglab.photo.raw import CAMERA_RAW, open_raw, raw_light, raw_shot
from sagglab.photo.shot import Shot, exif_of_tiff, shot_of

#: The formats that cameras and phones write (JPEG takes in MPO); Pillow's rarer decoders stay shut.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "AVIF", "HEIF")

#: What decoders raise on files that are not what they say.
_BROKEN = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    LookupError,
    TypeError,
    RuntimeError,
    struct.error,
    rawpy.LibRawError,
    tifffile.TiffFileError,
)


@dataclass(frozen=True)
class Photo:
    """A decoded photograph.

    Attributes
    ----------
    path : str
    picture : Picture
        Linear light in the RGB of the file's own profile, upright; 1 is the most that a channel can hold.
        The camera's tone curve works channel by channel there, and a channel clips there.
    to_xyz : ndarray, shape (3, 3)
        ``linear @ to_xyz.T`` is XYZ under D50, Y = 1 for white, as the profile has it.
    profile : str
        The name of the profile, or that sRGB was taken and why.
    stated : bool
        Whether the file states its profile.
    shot : Shot
        What the camera said.
    """

    path: str
    picture: Picture
    to_xyz: NDArray[np.float64]
    profile: str
    stated: bool
    shot: Shot

    @property
    def linear(self) -> NDArray[np.float32]:
        """Linear light of every pixel, shape (rows, columns, 3): 288 MB for 24 megapixels."""
        return self.picture.linear

    @property
    def problems(self) -> Problems:
        """What makes its colours less sure already before they are measured."""
        unstated = () if self.stated else (flagged("no colour profile"),)
        return Problems((*unstated, *shot_flags(self.shot)))

    def lab_in_file(self, linear: ArrayLike) -> NDArray[np.floating]:
        """CIELAB of pixels as the file has it, by its profile alone, without a target.

        Parameters
        ----------
        linear : array_like, shape (..., 3)
        """
        return xyz_to_lab(np.asarray(linear) @ self.to_xyz.T.astype(np.asarray(linear).dtype))

    def display(self, linear: ArrayLike) -> NDArray[np.float32]:
        """Encode pixels of this photograph's linear light in sRGB, 0 to 1 and clipped, to look at.

        Parameters
        ----------
        linear : array_like, shape (..., 3)
        """
        to_srgb = np.linalg.solve(SRGB_TO_D50, self.to_xyz).astype(np.float32)
        return np.clip(linear_to_srgb(np.asarray(linear, np.float32) @ to_srgb.T), 0, 1)


def read_photo(path: str | os.PathLike[str]) -> Photo:
    """Decode a photograph.

    The EXIF orientation is applied, all bits of a channel are kept, an embedded ICC profile is honoured as
    littleCMS honours it, and a file without one is taken as sRGB. A camera's raw file gives what its sensor
    counted, without white balance and tone curve. The first frame counts where there are several; alpha is
    dropped.

    Raises
    ------
    MissingFileError
        There is no such file.
    PhotoError
        The file is no picture in a known format, is damaged or cut short, or is too large to be one.
    """
    with _opened(path) as source:
        if isinstance(source, rawpy.RawPy):
            shot = raw_shot(source, Path(path))
            picture, to_xyz = raw_light(source, Path(path))
            return Photo(str(path), picture, to_xyz, CAMERA_RAW.name, CAMERA_RAW.stated, shot)
        pixels = picture_pixels(Path(path), source) if source is not None else tiff_pixels(Path(path))
    del source  # Pillow's own copy: 96 MB at 24 megapixels
    picture, to_xyz = linear_light(pixels.codes, pixels.space, pixels.profile)
    return Photo(str(path), picture, to_xyz, pixels.profile.name, pixels.profile.stated, pixels.shot)


def check_photo(path: str | os.PathLike[str]) -> None:
    """Open a photograph without decoding it; raises as `read_photo` does, damage inside excepted."""
    with _opened(path):
        pass


def time_taken(path: str | os.PathLike[str]) -> datetime | None:
    """Tell when the camera took a photograph, None where it did not say, without decoding all of it.

    Raises as `check_photo` does.
    """
    with _opened(path) as source:
        if isinstance(source, rawpy.RawPy):
            return raw_shot(source, Path(path)).taken
        if source is not None:
            return shot_of(source.getexif()).taken
        with Path(path).open("rb") as file:
            return shot_of(exif_of_tiff(file)).taken


@contextmanager
def _opened(path: str | os.PathLike[str]) -> Iterator[Image.Image | rawpy.RawPy | None]:
    """Open a file as what its content says it is; None for a TIFF that Pillow cannot do justice to."""
    where = str(path)
    if not Path(path).is_file():
        raise MissingFileError(where, "there is no such photograph", "check the name, or put the file there")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            warnings.filterwarnings("ignore", module="PIL")  # remarks on odd EXIF change nothing here
            kind = tiff_kind(Path(path))
            if kind == "deep":
                yield None
                return
            try:
                source = open_raw(Path(path)) if kind == "raw" else Image.open(path, formats=FORMATS)
            except UnidentifiedImageError as error:
                # Most raw files that are not built as a TIFF. Asked first, the decoder takes some ordinary
                # photographs, and grey TIFFs of 16 bits, for raw files by the camera that they name.
                try:
                    source = open_raw(Path(path))
                except rawpy.LibRawError:
                    raise error from None
            with source:
                yield source
    except PhotoError:  # said already; it is a ValueError, too
        raise
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise PhotoError(where, "it is too large to be a photograph", "save it smaller") from error
    except (UnidentifiedImageError, rawpy.LibRawFileUnsupportedError) as error:
        raise PhotoError(
            where,
            "it is no picture in a known format",
            f"save it as one of {', '.join(FORMATS)}, or use the camera's raw file",
        ) from error
    except _BROKEN as error:
        raise PhotoError(
            where, f"it is damaged or cut short ({error})", "copy it from the camera again"
        ) from error
