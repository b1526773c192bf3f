"""One photograph measured: decoded, calibrated from its target, the pot outlined, its surface read."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import find_objects

from sagglab.columns import COLOUR_MEASURES, MEASURES, conform
from sagglab.errors import PhotoError, Problem, Problems, SagglabError, TargetError
from sagglab.photo.calibration import CRUSHED, Calibration, calibrate
from sagglab.photo.doubt import doubt
from sagglab.photo.flags import flagged
from sagglab.photo.flat import FlatField, flat_field
from sagglab.photo.image import Photo, read_photo
from sagglab.photo.outline import Outline, find_outline, given_outline
from sagglab.photo.patches import CLIPPED, sample_patches, target_area
from sagglab.photo.shot import Shot
from sagglab.photo.surface import Surface, central_band, colour_measures, shading, without_glare
from sagglab.photo.target import find_target
from sagglab.photo.target_shot import TargetShot, borrow
from sagglab.targets import Target, read_target

#: Longest side, in pixels, at which the surface is measured: a pot then covers some 100,000 pixels. On a
#: scene of 17 megapixels with noise the mean came out within ΔE00 0.04 of that at full size.
MEASURED_AT = 1600
#: Longest side at which the outline is searched for.
OUTLINED_AT = 800
#: The target's frame, which is no pot, reaches this far beyond the outer patches' centres, in patches.
FRAME = 1.25
#: Light is averaged over this many pixels around each (standard deviation) before its colour is reckoned:
#: colour is curved in light, and noise in a dark channel comes out as colour (rendered scenes with a noisy
#: blue channel: b* 1.25 too high without, 0.56 with it, and no less with more; L* moves by 0.02).
SMOOTHED_PX = 1.0

#: Share of the band from which clipping is flagged (a burnished pot's glare clips a hundredth or two of it),
#: and of the measured surface from which colours beyond the file's are.
MUCH_CLIPPED, MUCH_BEYOND = 0.05, 0.02
#: A surface this light in one channel that is crushed in another is colourful, not black.
COLOURFUL = 0.02

_HOW_TO_WRITE_CORNERS = "write the corner patches' centres, round from row 1, column 1, as x y; x y; x y; x y"

#: The reference table taken when none is named.
USUAL_TARGET = "24-patch-from-2014-11"


@dataclass(frozen=True, repr=False)
class MeasuredPhoto:
    """What one photograph shows.

    Attributes
    ----------
    path : str
    table : DataFrame, one row
        The columns that ``columns.MEASURES`` declares; colours are blank when no pot was found.
    calibration : Calibration
    corners : ndarray, shape (4, 2)
        (x, y) of the corner patches' centres: row 1 column 1; row 1, last column; last row, last column;
        last row, column 1. NaN when another photograph's calibration had to serve.
    outline : ndarray of bool, shape (rows, columns)
        The pot's silhouette at the photograph's size; all False when no pot was found.
    surface : Surface or None
        The band, its glare and its area, at the size at which it was measured.
    shot : Shot
        What the camera said.
    problems : Problems
        Flags included.
    """

    path: str
    table: pd.DataFrame
    calibration: Calibration
    corners: NDArray[np.float64]
    outline: NDArray[np.bool_]
    surface: Surface | None
    shot: Shot
    problems: Problems

    @property
    def target_shot(self) -> TargetShot | None:
        """What it lends to other photographs of its setup; None when its own calibration is borrowed."""
        if np.isnan(self.corners).any():
            return None
        profile = str(self.table["colour profile"].item())
        return TargetShot(self.path, self.calibration, self.outline.shape, profile, self.shot)

    def __repr__(self) -> str:
        row = self.table.iloc[0]
        colour = ", ".join(f"{name} {row[name]:.1f}" for name in ("L*", "a*", "b*"))
        pot = "no pot" if np.isnan(row["L*"]) else colour
        return f"{Path(self.path).name}: {pot}; target ΔE00 mean {self.calibration.mean:.2f}"

    def _repr_html_(self) -> str:
        shown = self.table[[column.heading for column in COLOUR_MEASURES]].round(2).to_html(index=False)
        problems = self.problems._repr_html_() if self.problems else ""
        return f"{shown}{self.calibration._repr_html_()}{problems}"


def measure_photo(
    path: str | os.PathLike[str],
    target: str | os.PathLike[str] | Target = USUAL_TARGET,
    flat: str | os.PathLike[str] | None = None,
    outline: ArrayLike | str | os.PathLike[str] | None = None,
    corners: ArrayLike | str | None = None,
    target_shot: TargetShot | None = None,
) -> MeasuredPhoto:
    """Measure the colour of the pot in one photograph.

    Parameters
    ----------
    path : path
        The photograph, with a colour target in the frame.
    target : path or str
        Reference table of the target, or a built-in name.
    flat : path, optional
        Photograph of an evenly reflecting plain sheet in the same setup, to take out the light's fall-off.
    outline : str, path or array_like, optional
        The pot's outline, when it is not to be searched for: places ``x y; x y; …``, a mask picture, an array
        of places, or a mask.
    corners : str or array_like, shape (4, 2), optional
        Centres of the target's corner patches, when they are not to be searched for.
    target_shot : TargetShot, optional
        From another photograph of the same setup, ``MeasuredPhoto.target_shot``: its calibration serves when
        this photograph shows no target, or one that cannot be used, and a flag says so.

    Returns
    -------
    MeasuredPhoto
        A photograph without a pot still has its calibration and corners, an empty outline and a problem.

    Raises
    ------
    MissingFileError
        A file is missing.
    PhotoError
        The photograph is damaged, no target is found in it, or more than one pot.
    """
    photo = read_photo(path)
    reference = read_target(target)
    try:
        calibration, places, confidence, told = _calibrated(photo, reference, flat, corners, target_shot)
        found = _outline(photo.linear, calibration, places, reference, outline)
    except SagglabError as error:
        if error.where != "photograph":
            raise
        raise type(error)(photo.path, error.cause, error.remedy) from error
    surface, colours, seen = _surface(photo.linear, calibration, found.mask)
    problems = Problems([*photo.problems, *told, *calibration.problems, *found.problems, *seen])
    row = {
        "photo": photo.path,
        **colours,
        "target confidence": confidence,
        "mean ΔE00": calibration.mean,
        "95th percentile ΔE00": calibration.percentile_95,
        "max ΔE00": calibration.maximum,
        "left-out mean ΔE00": calibration.left_out_mean,
        "calibration method": calibration.method,
        "calibration grade": calibration.grade,
        "calibrated from": target_shot.path if np.isnan(places).any() else "",
        "stray light": calibration.veil,
        "fall-off": calibration.mapping.light.source,
        "colour profile": photo.profile,
        "flags": problems.flags,
        "problems": problems.unflagged.told,
    }
    return MeasuredPhoto(
        photo.path, conform([row], MEASURES), calibration, places, found.mask, surface, photo.shot, problems
    )


def _calibrated(
    photo: Photo,
    reference: Target,
    flat: str | os.PathLike[str] | None,
    corners: ArrayLike | str | None,
    target_shot: TargetShot | None,
) -> tuple[Calibration, NDArray[np.float64], float, Problems]:
    """Calibrate from the photograph's own target, or borrow; with corners, confidence, what is to be told."""
    given = None if corners is None else _given_corners(corners)
    try:
        if given is None:
            found = find_target(photo.linear, reference)
            places, hidden, told = found.corners, found.hidden, found.problems
            confidence = found.confidence
        else:
            places, hidden, told, confidence = given, None, Problems(), np.nan
        samples = sample_patches(photo.linear, places, (reference.rows, reference.columns), hidden)
        field, unused = _flat_for(flat, photo.linear.shape[:2])
        calibration = calibrate(samples, reference, field, photo.linear)
        return calibration, places, confidence, Problems([*told, *samples.problems, *unused])
    except TargetError as error:
        # Corners that were given and cannot be used are to be mended, not passed over.
        if given is not None:
            cause = f"at the target corners that were stated, {error.cause}"
            raise TargetError("photograph", cause, _HOW_TO_WRITE_CORNERS) from error
        if target_shot is None:
            raise
        calibration, told = borrow(photo, target_shot, error)
        return calibration, np.full((4, 2), np.nan), np.nan, told


def _surface(
    linear: NDArray[np.float32], calibration: Calibration, mask: NDArray[np.bool_]
) -> tuple[Surface | None, dict[str, float], Problems]:
    """Read the surface of the pot that a mask shows, at a reduced size."""
    if not mask.any():
        return None, {}, Problems()
    reduced, at = _reduced(linear, MEASURED_AT)
    mask = cv2.resize(mask.astype(np.uint8), reduced.shape[1::-1], interpolation=cv2.INTER_AREA) > 0
    surface = central_band(mask)
    # Only the pot's own rectangle: the rest of the picture is four fifths of the work.
    box = find_objects(mask.astype(np.uint8))[0]
    smooth = cv2.GaussianBlur(reduced[box], (0, 0), SMOOTHED_PX)
    lab = np.zeros(reduced.shape)
    lab[box] = calibration.lab(smooth, at[box], shading(surface)[box])
    surface = without_glare(surface, reduced, lab, mask)
    measured = surface.measured
    if not measured.any():
        return surface, {}, Problems()
    weights, inside = surface.area[measured], surface.band
    # Some hundreds of pixels tell the mean; all of them take as long as the measuring itself.
    some = np.s_[:: max(1, len(weights) // 500)]
    shaded = calibration.lab(reduced[measured][some], at[measured][some])[:, 0]
    lit = calibration.lab(reduced[measured][some], at[measured][some], shading(surface)[measured][some])[:, 0]
    clipped, _ = _out_of_range(reduced[inside])
    _, beyond = _out_of_range(reduced[measured])
    shares = {
        # Glare is clipped more often than not, and is counted here, too: nothing clipped is passed over.
        "clipped share": float(np.average(clipped, weights=surface.area[inside])),
        "out-of-gamut share": float(np.average(beyond, weights=weights)),
        "shading ΔL*": float(np.average(lit - shaded, weights=weights[some])),
    }
    told = [
        flagged(name, share=shares[column])
        for name, column, least in (
            ("clipped surface", "clipped share", MUCH_CLIPPED),
            ("beyond the file's colours", "out-of-gamut share", MUCH_BEYOND),
        )
        if shares[column] >= least
    ]
    sure = doubt(lab, surface, calibration, shares["out-of-gamut share"])
    colours = colour_measures(lab, surface) | sure.measures | shares
    return surface, colours, Problems(told)


def _out_of_range(linear: NDArray[np.float32]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell which pixels are clipped, white or black, and which have a colour that the file cannot hold."""
    crushed = linear.min(axis=-1) < CRUSHED
    colourful = linear.max(axis=-1) >= COLOURFUL
    return (linear.max(axis=-1) >= CLIPPED) | (crushed & ~colourful), crushed & colourful


def _given_corners(corners: ArrayLike | str) -> NDArray[np.float64]:
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
    return flat_field(read_photo(path).linear)


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


def _reduced(linear: NDArray[np.float32], longest: int) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Reduce a picture in linear light, and give each pixel's place (x, y) in the full one."""
    rows, columns = linear.shape[:2]
    scale = min(1.0, longest / max(rows, columns))
    size = round(columns * scale), round(rows * scale)
    # Averaged in linear light, as the eye and a lens would; averaging encoded values darkens every edge.
    reduced = linear if scale == 1 else cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    x = (np.arange(size[0]) + 0.5) * columns / size[0] - 0.5
    y = (np.arange(size[1]) + 0.5) * rows / size[1] - 0.5
    return reduced, np.stack(np.meshgrid(x, y), axis=-1)


def _outline(
    linear: NDArray[np.float32],
    calibration: Calibration,
    corners: NDArray[np.float64],
    target: Target,
    given: ArrayLike | str | os.PathLike[str] | None,
) -> Outline:
    size = linear.shape[:2]
    if given is not None:
        return Outline(given_outline(given, size), Problems())
    reduced, at = _reduced(linear, OUTLINED_AT)
    if np.isnan(corners).any():
        elsewhere = np.zeros(reduced.shape[:2], dtype=bool)
    else:
        shape = target.rows, target.columns
        elsewhere = target_area(corners, shape, size, reduced.shape[:2], FRAME)
    found = find_outline(calibration.lab(reduced, at), elsewhere)
    mask = cv2.resize(found.mask.astype(np.float32), size[::-1], interpolation=cv2.INTER_LINEAR) > 0.5
    return Outline(mask, found.problems)
