"""A photograph calibrated: from its own target, or from another photograph's that lends its calibration."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import PhotoError, Problem, Problems, TargetError
from sagglab.photo.calibration import Calibration, calibrate
from sagglab.photo.flat import FlatField, flat_field
from sagglab.photo.image import Photo, read_photo
from sagglab.photo.patches import PatchSamples, sample_patches
from sagglab.photo.target import find_target
from sagglab.photo.target_shot import TargetShot, borrow
from sagglab.targets import Target

_HOW_TO_WRITE_CORNERS = "write the corner patches' centres, round from row 1, column 1, as x y; x y; x y; x y"


@dataclass(frozen=True)
class Calibrated:
    """A photograph's calibration, and where it comes from.

    Attributes
    ----------
    calibration : Calibration
    samples : PatchSamples or None
        Of the photograph's own target; None when the calibration is borrowed.
    corners : ndarray, shape (4, 2)
        Of the photograph's own target, (x, y); NaN when the calibration is borrowed.
    confidence : float
        How surely the target was found, 0 to 1; NaN when its corners were given or it is borrowed.
    problems : Problems
        What the calibration itself does not tell.
    """

    calibration: Calibration
    samples: PatchSamples | None
    corners: NDArray[np.float64]
    confidence: float
    problems: Problems

    @property
    def borrowed(self) -> bool:
        """Whether another photograph's calibration serves."""
        return self.samples is None


def calibrate_photo(
    photo: Photo,
    target: Target,
    flat: str | os.PathLike[str] | None = None,
    corners: ArrayLike | str | None = None,
    target_shot: TargetShot | None = None,
) -> Calibrated:
    """Calibrate a photograph from its own target, or borrow.

    Parameters
    ----------
    photo : Photo
    target : Target
    flat, corners, target_shot
        As `measure_photo` takes them.

    Raises
    ------
    TargetError
        The target cannot be found or used, and there is nothing to borrow; or its corners were given, and are
        to be mended, not passed over.
    PhotoError
        The flat field cannot be used.
    """
    given = None if corners is None else given_corners(corners)
    try:
        if given is None:
            found = find_target(photo.picture, target)
            places, hidden, told = found.corners, found.hidden, found.problems
            confidence = found.confidence
        else:
            places, hidden, told, confidence = given, None, Problems(), np.nan
        samples = sample_patches(photo.picture, places, (target.rows, target.columns), hidden)
        field, unused = _flat_for(flat, photo.picture.size)
        calibration = calibrate(samples, target, field, photo.picture)
        problems = Problems([*told, *samples.problems, *unused])
        return Calibrated(calibration, samples, places, confidence, problems)
    except TargetError as error:
        if given is not None:
            cause = f"at the target corners that were stated, {error.cause}"
            raise TargetError("photograph", cause, _HOW_TO_WRITE_CORNERS) from error
        if target_shot is None:
            raise
        calibration, told = borrow(photo, target_shot, error)
        return Calibrated(calibration, None, np.full((4, 2), np.nan), np.nan, told)


def given_corners(corners: ArrayLike | str) -> NDArray[np.float64]:
    """Read target corners that a person gave, shape (4, 2), as `measure_photo` takes them.

    Raises
    ------
    TargetError
        They are not four places, or not those of a grid of patches.
    """
    try:
        if isinstance(corners, str):
            corners = [pair.split() for pair in corners.split(";")]
        places = np.asarray(corners, dtype=float).reshape(4, 2)
        if not np.isfinite(places).all():
            raise ValueError("a place without end")
    except ValueError as error:
        raise TargetError(
            "photograph", "the target corners are not four places", _HOW_TO_WRITE_CORNERS
        ) from error
    sides = np.roll(places, -1, axis=0) - places
    following = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    # Going round a patch grid, in perspective or not, one turns four times the same way.
    if not ((turns > 1).all() or (turns < -1).all()):
        raise TargetError(
            "photograph", "the target corners are not those of a grid of patches", _HOW_TO_WRITE_CORNERS
        )
    return places


@lru_cache(maxsize=4)
def _read_flat(path: str, _modified: int) -> FlatField:
    # Many photographs share one flat field; the time of its last change keeps an old one from being used.
    return flat_field(read_photo(path).picture)


def _flat_for(
    flat: str | os.PathLike[str] | None, size: tuple[int, int]
) -> tuple[FlatField | None, Problems]:
    if flat is None:
        return None, Problems()
    path = Path(flat)
    try:
        field = _read_flat(str(path), path.stat().st_mtime_ns if path.is_file() else 0)
    except PhotoError as error:
        cause = f"its flat field {path.name} cannot be used: {error.cause}"
        raise PhotoError("photograph", cause, error.remedy) from error
    if field.size == size and not field.fault:
        return field, Problems()
    remedy = "photograph the plain sheet with the same camera, held the same way"
    if field.fault:
        cause = f"the flat field {path.name} {field.fault}, so it was not used"
        remedy = "photograph an evenly lit plain sheet, neither burnt out nor dark, that fills the frame"
    else:
        cause = (
            f"the flat field is {field.size[1]} by {field.size[0]} pixels and the photograph {size[1]} by "
            f"{size[0]}, so it was not used"
        )
    return None, Problems([Problem("photos", None, "setup", cause, remedy, stops=False)])
