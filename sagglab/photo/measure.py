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
from sagglab.errors import Problem, Problems, SagglabError, TargetError
from sagglab.photo.calibration import Calibration, calibrate
from sagglab.photo.flat import FlatField, flat_field
from sagglab.photo.image import read_photo
from sagglab.photo.outline import Outline, find_outline, given_outline
from sagglab.photo.patches import grid_to_picture, sample_patches
from sagglab.photo.surface import Surface, colour_measures, find_surface
from sagglab.photo.target import find_target
from sagglab.targets import Target, read_target

#: Longest side, in pixels, at which the surface is measured: a pot then covers some 100,000 pixels. On a
#: scene of 17 megapixels with noise the mean came out within ΔE00 0.04 of that at full size.
MEASURED_AT = 1600
#: Longest side at which the outline is searched for.
OUTLINED_AT = 800

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
        last row, column 1.
    outline : ndarray of bool, shape (rows, columns)
        The pot's silhouette at the photograph's size; all False when no pot was found.
    surface : Surface or None
        The band, its glare and its area, at the size at which it was measured.
    problems : Problems
    """

    path: str
    table: pd.DataFrame
    calibration: Calibration
    corners: NDArray[np.float64]
    outline: NDArray[np.bool_]
    surface: Surface | None
    problems: Problems

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
        if corners is None:
            places = find_target(photo.linear, reference).corners
        else:
            places = _given_corners(corners)
        samples = sample_patches(photo.linear, places, (reference.rows, reference.columns))
        field, problems = _flat_for(flat, photo.linear.shape[:2])
        calibration = calibrate(samples, reference, field)
        found = _outline(photo.linear, calibration, places, reference, outline)
    except SagglabError as error:
        if error.where != "photograph":
            raise
        raise type(error)(photo.path, error.cause, error.remedy) from error
    problems = Problems([*problems, *calibration.problems, *found.problems])
    surface, colours = None, {}
    if found.mask.any():
        reduced, at = _reduced(photo.linear, MEASURED_AT)
        mask = cv2.resize(found.mask.astype(np.uint8), reduced.shape[1::-1], interpolation=cv2.INTER_AREA) > 0
        # Only the pot's own rectangle: the rest of the picture is four fifths of the work.
        box = find_objects(mask.astype(np.uint8))[0]
        lab = np.zeros(reduced.shape)
        lab[box] = calibration.lab(reduced[box], at[box])
        surface = find_surface(reduced, lab, mask)
        colours = colour_measures(lab, surface)
    row = {
        "photo": photo.path,
        **colours,
        "mean ΔE00": calibration.mean,
        "95th percentile ΔE00": calibration.percentile_95,
        "max ΔE00": calibration.maximum,
        "left-out mean ΔE00": calibration.left_out_mean,
        "calibration method": calibration.method,
        "calibration grade": calibration.grade,
        "colour profile": photo.profile,
        "flat-fielded": field is not None,
        "problems": problems.told,
    }
    return MeasuredPhoto(
        photo.path, conform([row], MEASURES), calibration, places, found.mask, surface, problems
    )


def _given_corners(corners: ArrayLike | str) -> NDArray[np.float64]:
    try:
        if isinstance(corners, str):
            corners = [pair.split() for pair in corners.split(";")]
        return np.asarray(corners, dtype=float).reshape(4, 2)
    except ValueError as error:
        raise TargetError(
            "photograph",
            "the target corners are not four places",
            "write the corner patches' centres as x y; x y; x y; x y",
        ) from error


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
    field = _read_flat(str(path), path.stat().st_mtime_ns if path.is_file() else 0)
    if field.size == size:
        return field, Problems()
    cause = (
        f"the flat field is {field.size[1]} by {field.size[0]} pixels and the photograph {size[1]} by "
        f"{size[0]}, so it was not used"
    )
    remedy = "photograph the plain sheet with the same camera, held the same way"
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
    # The target with its frame: a patch and a quarter beyond the outer patches' centres.
    reach = 1.25
    frame = np.array([[-reach, -reach], [1, -reach], [1, 1], [-reach, 1]])
    frame[[1, 2], 0] = target.columns - 1 + reach
    frame[[2, 3], 1] = target.rows - 1 + reach
    around = cv2.perspectiveTransform(frame[None], grid_to_picture(corners, (target.rows, target.columns)))[0]
    scale = np.array([reduced.shape[1] / size[1], reduced.shape[0] / size[0]])
    elsewhere = np.zeros(reduced.shape[:2], dtype=np.uint8)
    cv2.fillPoly(elsewhere, [np.rint((around + 0.5) * scale - 0.5).astype(np.int32)], 1)
    found = find_outline(calibration.lab(reduced, at), elsewhere.astype(bool))
    mask = cv2.resize(found.mask.astype(np.float32), size[::-1], interpolation=cv2.INTER_LINEAR) > 0.5
    return Outline(mask, found.problems)
