"""Photographs decoded: any common format, upright, in linear light."""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from sagglab.colour import srgb_to_linear
from sagglab.errors import MissingFileError, PhotoError

#: The formats that cameras and phones write (JPEG takes in MPO); Pillow's rarer decoders stay shut.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "AVIF", "HEIF")

pillow_heif.register_heif_opener()


@dataclass(frozen=True)
class Photo:
    """A decoded photograph.

    Attributes
    ----------
    path : str
    linear : ndarray of float32, shape (rows, columns, 3)
        Linear-light sRGB, 0 to 1, upright.
    profile : str
        The colour profile that the file states, or that sRGB was taken for want of one.
    """

    path: str
    linear: NDArray[np.float32]
    profile: str


def read_photo(path: str | os.PathLike[str]) -> Photo:
    """Decode a photograph.

    The EXIF orientation is applied. An embedded ICC profile is honoured through littleCMS, at 8 bits and
    within sRGB; a file without one is taken as sRGB.

    Raises
    ------
    MissingFileError
        There is no such file.
    PhotoError
        The file is no picture in a known format, is damaged or cut short, or is too large to be one.
    """
    with _opened(path) as image:
        image.load()
        encoded, profile = _as_srgb(ImageOps.exif_transpose(image))
    levels = np.iinfo(encoded.dtype).max
    # A table look-up: one transfer function per code, not per pixel (24 megapixels: 0.5 s, not 2.7 s).
    to_linear = srgb_to_linear(np.arange(levels + 1, dtype=np.float32) / np.float32(levels))
    return Photo(str(path), to_linear.astype(np.float32)[encoded], profile)


def check_photo(path: str | os.PathLike[str]) -> None:
    """Open a photograph without decoding it; raises as `read_photo` does, damage inside excepted."""
    with _opened(path):
        pass


@contextmanager
def _opened(path: str | os.PathLike[str]) -> Iterator[Image.Image]:
    where = str(path)
    if not Path(path).is_file():
        raise MissingFileError(where, "there is no such photograph", "check the name, or put the file there")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            warnings.filterwarnings("ignore", module="PIL")  # remarks on odd EXIF change nothing here
            with Image.open(path, formats=FORMATS) as image:
                yield image
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise PhotoError(where, "it is too large to be a photograph", "save it smaller") from error
    except UnidentifiedImageError as error:
        raise PhotoError(
            where, "it is no picture in a known format", f"save it as one of {', '.join(FORMATS)}"
        ) from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise PhotoError(
            where, f"it is damaged or cut short ({error})", "copy it from the camera again"
        ) from error


def _as_srgb(image: Image.Image) -> tuple[NDArray[np.uint8] | NDArray[np.uint16], str]:
    if image.mode.startswith("I"):  # 16-bit grey, which Pillow would clip to 8 bits, not scale
        grey = np.asarray(image).astype(np.uint16)
        return np.repeat(grey[..., None], 3, axis=2), "sRGB (the file states none)"
    if image.mode == "LAB":
        source, profile = ImageCms.createProfile("LAB"), "CIELAB"
    elif embedded := image.info.get("icc_profile"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(embedded))
            profile = ImageCms.getProfileDescription(source).strip()
        except (ImageCms.PyCMSError, OSError):
            source, profile = None, "sRGB (the file's own is damaged)"
    else:
        source, profile = None, "sRGB (the file states none)"
    if image.mode in ("RGBA", "LA", "PA", "P", "1"):
        image = image.convert("RGB")
    if source is not None:
        try:
            image = ImageCms.profileToProfile(
                image,
                source,
                ImageCms.createProfile("sRGB"),
                renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
                outputMode="RGB",
            )
        except ImageCms.PyCMSError:
            profile = "sRGB (the file's own does not fit its pixels)"
    return np.asarray(image.convert("RGB")), profile
