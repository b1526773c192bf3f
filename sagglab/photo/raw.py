"""Camera raw: what the sensor counted, as linear light in the camera's own RGB."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import rawpy
from numpy.typing import NDArray
from PIL import Image

from sagglab.colour import SRGB_TO_XYZ
from sagglab.errors import PhotoError
from sagglab.photo.picture import Picture
from sagglab.photo.profile import SRGB_TO_D50, Profile
from sagglab.photo.shot import Shot, exif_of_tiff, packet_of_tiff, shot_of

#: The name under which raw files go.
CAMERA_RAW = Profile("camera raw", True)


def open_raw(path: Path) -> rawpy.RawPy:
    """Open a raw file without decoding it.

    Raises
    ------
    rawpy.LibRawError
        It is no raw file that is known.
    PIL.Image.DecompressionBombError
        It states more pixels than a photograph has.
    """
    raw = rawpy.RawPy()
    try:
        raw.open_file(str(path))
        refuse_bomb(raw.sizes.raw_width, raw.sizes.raw_height)
    except BaseException:
        raw.close()
        raise
    return raw


def refuse_bomb(columns: int, rows: int) -> None:
    """Hold decoders other than Pillow's to its limit, at which it would warn."""
    if columns * rows > Image.MAX_IMAGE_PIXELS:
        raise Image.DecompressionBombError(f"{columns} x {rows} pixels")


def raw_light(raw: rawpy.RawPy, path: Path) -> tuple[Picture, NDArray[np.float64]]:
    """Decode an opened raw file, and close it.

    The black level is taken off, and 1 is the level at which the sensor is full. The white balance is not
    applied: a channel clips at 1, and the noise is the sensor's own.

    Returns
    -------
    picture : Picture
        In the camera's own RGB, upright.
    to_xyz : ndarray, shape (3, 3)
        To XYZ under D50 by the file's colour matrix, taking what the camera took for white as white; good
        for looking at, as the camera's makers meant it.

    Raises
    ------
    PhotoError
        The sensor has four colours.
    rawpy.LibRawError
        The file is damaged or cut short.
    """
    counts = raw.postprocess(
        # Plain averages of neighbours keep the mean of every patch as the sensor counted it, and take 3.0 s
        # for 24 megapixels, where the default method bends towards grey edges and takes 8.5 s.
        demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
        user_wb=[1.0, 1.0, 1.0, 1.0],
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        gamma=(1, 1),
        no_auto_bright=True,
        adjust_maximum_thr=0.0,  # else the white level follows the brightest pixel of the picture
    )
    if counts.ndim == 2 or counts.shape[2] == 1:  # a sensor without colours
        counts = np.repeat(counts.reshape(*counts.shape[:2], 1), 3, axis=2)
        to_xyz = SRGB_TO_D50
    elif counts.shape[2] == 3:
        to_xyz = _to_xyz(raw)
    else:
        raise PhotoError(str(path), "its sensor has four colours", "save it as a TIFF of 16 bits")
    raw.close()  # 240 MB of its own at 24 megapixels
    return Picture(np.multiply(counts, np.float32(1 / 65535), dtype=np.float32)), to_xyz


def raw_shot(raw: rawpy.RawPy, path: Path) -> Shot:
    """Read what the camera said, from the file's own tags, and from the decoder where they cannot be read."""
    with path.open("rb") as file:
        exif = exif_of_tiff(file)
        shot = shot_of(exif, packet_of_tiff(exif))
    other, lens = raw.other, raw.lens.model
    known = {"exposure_s": other.shutter_speed, "aperture": other.aperture, "iso": other.iso_speed}
    missing = {name: value for name, value in known.items() if math.isnan(getattr(shot, name)) and value > 0}
    if shot.taken is None and other.timestamp.year > 1970:
        missing["taken"] = other.timestamp.replace(tzinfo=None)
    if not shot.lens and lens:
        missing["lens"] = lens
    return replace(shot, **missing)


def _to_xyz(raw: rawpy.RawPy) -> NDArray[np.float64]:
    """Camera RGB to XYZ under D50, the camera's white becoming white when its fullest channel is full."""
    balance = np.array(raw.camera_whitebalance[:3], dtype=float)
    if not (np.isfinite(balance) & (balance > 0)).all():
        balance = np.array(raw.daylight_whitebalance[:3], dtype=float)
    if not (np.isfinite(balance) & (balance > 0)).all():
        balance = np.ones(3)
    balance /= balance.min()
    from_xyz = raw.rgb_xyz_matrix[:3].astype(float)
    if np.linalg.matrix_rank(from_xyz) == 3:
        # Both matrices speak of daylight; scaled so that the balanced camera's white is sRGB's.
        from_srgb = from_xyz @ SRGB_TO_XYZ
        to_srgb = np.linalg.inv(from_srgb / from_srgb.sum(axis=1, keepdims=True))
    elif np.linalg.matrix_rank(raw.color_matrix[:, :3]) == 3:
        to_srgb = raw.color_matrix[:, :3].astype(float)
    else:
        to_srgb = np.eye(3)
    return SRGB_TO_D50 @ to_srgb * balance
