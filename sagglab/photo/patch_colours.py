"""A target's patches in one photograph: their colours as the file has them, and as calibration reads them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.colour import AXES
from sagglab.columns import PATCHES, conform
from sagglab.photo.image import Photo
from sagglab.photo.own_target import Calibrated
from sagglab.photo.shot import Shot
from sagglab.targets import Target


def patch_colours(photo: Photo, own: Calibrated, target: Target) -> pd.DataFrame:
    """Read the colours of the patches, before and after calibration.

    After calibration, each patch is read by a calibration in which it had no part: by one that was fitted to
    it, every camera would agree with the target's table, and so with every other camera.

    Parameters
    ----------
    photo : Photo
    own : Calibrated
    target : Target

    Returns
    -------
    DataFrame
        One row per patch, in the columns that ``columns.PATCHES`` declares, without what a batch book says of
        the photograph; colours are blank where a patch is hidden, clipped, in glare or in shadow. No rows
        when the calibration is borrowed.
    """
    if own.samples is None:
        return conform([], PATCHES)
    known = target.lab.reshape(-1, 3)
    patches = own.calibration.patches
    judged = patches["judged"].to_numpy()[:, None]
    in_file = np.where(judged, photo.lab_in_file(own.samples.linear.reshape(-1, 3)), np.nan)
    errors = patches[[f"left-out Δ{axis}" for axis in AXES]].to_numpy()
    calibrated = np.where(judged, known + errors, np.nan)
    row, column = np.divmod(np.arange(len(known)), target.columns)
    said = {"photo": photo.path, **_said(photo.shot)}
    rows = [
        said
        | {"patch": name, "row": row[k] + 1, "column": column[k] + 1, "doubt": patches["doubt"].iloc[k]}
        | {f"{axis} of target": value for axis, value in zip(AXES, known[k], strict=True)}
        | {f"{axis} in file": value for axis, value in zip(AXES, in_file[k], strict=True)}
        | dict(zip(AXES, calibrated[k], strict=True))
        for k, name in enumerate(target.patches)
    ]
    return conform(rows, PATCHES)


def _said(shot: Shot) -> dict[str, object]:
    """Lay out what the camera said as the table has it."""
    return {
        "taken": shot.taken,
        "camera": " ".join(filter(None, (shot.make, shot.model))),
        "lens": shot.lens,
        "exposure time [s]": shot.exposure_s,
        "f-number": shot.aperture,
        "ISO speed": shot.iso,
        "white balance": shot.white_balance,
        "flash": "" if shot.flash is None else "fired" if shot.flash else "off",
    }
