"""One photograph measured: decoded, calibrated from its target, the pot outlined, its surface read."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.columns import MEASURES, Column, conform
from sagglab.errors import OwnMeasureError, Problem, Problems, SagglabError
from sagglab.markup import framed, paragraph
from sagglab.pages.table import table_parts
from sagglab.photo.calibration import Calibration
from sagglab.photo.form import Form, find_form
from sagglab.photo.given_outline import given_outline
from sagglab.photo.image import Photo, read_photo
from sagglab.photo.measuring import Measuring
from sagglab.photo.outline import Outline, find_outline
from sagglab.photo.own_target import Calibrated, calibrate_photo
from sagglab.photo.patch_colours import patch_colours
from sagglab.photo.patches import target_area
from sagglab.photo.shot import Shot
from sagglab.photo.side import Side, read_side
from sagglab.photo.target_shot import TargetShot
from sagglab.targets import Target, read_target

#: Longest side at which the outline is searched for.
OUTLINED_AT = 800
#: The target's frame, which is no pot, reaches this far beyond the outer patches' centres, in patches.
FRAME = 1.25
#: A given outline that holds so much of the target is told of: it is no pot's.
OVER_TARGET = 0.1
#: The height by the target's scale and that in the table disagree when they are further apart than this: the
#: target stands nearer or farther than the pot, but not by so much.
SAME_HEIGHT = 0.15
#: An outline is written in as few places as keep it within this share of the picture's longest side: some 50,
#: and L* within 0.15 of what the outline itself gives (one scene; 0.34 with 30 places).
IN_FEW_PLACES = 0.0008

#: The reference table taken when none is named.
USUAL_TARGET = "24-patch-from-2014-11"


@dataclass(frozen=True, repr=False)
class MeasuredPhoto:
    """What one photograph shows.

    Attributes
    ----------
    path : str
    size : (rows, columns)
    table : DataFrame, one row
        The columns that ``columns.MEASURES`` declares, then those of the user's own shares and measures;
        colours are blank when no pot was found.
    calibration : Calibration
    patches : DataFrame
        One row per patch of the photograph's own target, in the columns that ``columns.PATCHES`` declares;
        none when another photograph's calibration had to serve.
    corners : ndarray, shape (4, 2)
        (x, y) of the corner patches' centres: row 1 column 1; row 1, last column; last row, last column;
        last row, column 1. NaN when another photograph's calibration had to serve.
    outline : Outline
        The pot's silhouette; false when no pot was found.
    side : Side or None
        The surface that it shows.
    shot : Shot
        What the camera said.
    problems : Problems
        Flags included.

    Examples
    --------
    >>> target = measure_photo("data/demo/photos/phone-target-1.jpg", "data/demo/targets/studio-target.csv")
    >>> target.size, target.patches.shape[0], target.corners.shape, bool(target.outline)
    ((900, 1200), 24, (4, 2), False)
    """

    path: str
    size: tuple[int, int]
    table: pd.DataFrame
    calibration: Calibration
    patches: pd.DataFrame
    corners: NDArray[np.float64]
    outline: Outline
    side: Side | None
    shot: Shot
    problems: Problems

    @property
    def target_shot(self) -> TargetShot | None:
        """What it lends to other photographs of its setup; None when its own calibration is borrowed."""
        if np.isnan(self.corners).any():
            return None
        profile = str(self.table["colour profile"].item())
        return TargetShot(self.path, self.calibration, self.size, profile, self.shot)

    def __repr__(self) -> str:
        row = self.table.iloc[0]
        colour = ", ".join(f"{name} {row[name]:.1f}" for name in ("L*", "a*", "b*"))
        pot = "no pot" if np.isnan(row["L*"]) else colour
        return f"{Path(self.path).name}: {pot}; target ΔE00 mean {self.calibration.mean:.2f}"

    def _repr_html_(self) -> str:
        shown = table_parts(self.table.drop(columns=["photo", "problems", "flags"]))[0]
        told = paragraph(self.calibration.sentence, "quiet")
        name = paragraph(Path(self.path).name, "answer")
        return framed(name, shown, told, self.problems.html if self.problems else "")


def measure_photo(
    path: str | os.PathLike[str],
    target: str | os.PathLike[str] | Target = USUAL_TARGET,
    flat: str | os.PathLike[str] | None = None,
    outline: ArrayLike | str | os.PathLike[str] | None = None,
    corners: ArrayLike | str | None = None,
    target_shot: TargetShot | None = None,
    height_cm: float = math.nan,
    measuring: Measuring | None = None,
) -> MeasuredPhoto:
    """Measure the surface of the pot in one photograph.

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
    height_cm : float
        The pot's height, for the scale; the target's patch pitch, where its table states it, goes before.
    measuring : Measuring, optional
        Another band, more shares, measures of your own.

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
    OwnMeasureError
        A measure of the user's own fails.

    Examples
    --------
    >>> pot = measure_photo("data/demo/photos/p12-back.jpg", "data/demo/targets/studio-target.csv")
    >>> pot.size, pot.table[["L*", "a*"]].round().to_numpy().tolist()
    ((900, 1200), [[46.0, 10.0]])
    """
    photo = read_photo(path)
    reference = read_target(target)
    measuring = Measuring() if measuring is None else measuring
    try:
        own = calibrate_photo(photo, reference, flat, corners, target_shot)
        found = _outline(photo, own, reference, outline)
        side, told = None, Problems()
        if found:
            form, told = _form(found, own, reference, height_cm)
            side = read_side(photo, own.calibration, found, form, measuring)
    except OwnMeasureError as error:
        raise OwnMeasureError(f"{photo.path}: {error.where}", error.cause, error.remedy) from error
    except SagglabError as error:
        if error.where != "photograph":
            raise
        raise type(error)(photo.path, error.cause, error.remedy) from error
    calibration = own.calibration
    problems = Problems(
        [
            *photo.problems,
            *own.problems,
            *calibration.problems,
            *found.problems,
            *told,
            *(side.problems if side is not None else ()),
        ]
    )
    row = {
        "photo": photo.path,
        **(side.measures if side is not None else {}),
        "outline confidence": found.confidence,
        "target confidence": own.confidence,
        "mean ΔE00": calibration.mean,
        "95th percentile ΔE00": calibration.percentile_95,
        "max ΔE00": calibration.maximum,
        "left-out mean ΔE00": calibration.left_out_mean,
        "calibration method": calibration.method,
        "calibration grade": calibration.grade,
        "calibrated from": target_shot.path if own.borrowed else "",
        "stray light": calibration.veil,
        "fall-off": calibration.mapping.light.source,
        "colour profile": photo.profile,
        "flags": problems.flags,
        "problems": problems.unflagged.told,
        "found corners": "" if own.borrowed else written_places(own.corners),
        "found outline": written_places(_in_few_places(found, photo.picture.size)),
    }
    declared = {column.heading for column in MEASURES}
    own_columns = [Column(name, "number", "of the user's own") for name in row if name not in declared]
    return MeasuredPhoto(
        photo.path,
        photo.picture.size,
        conform([row], (*MEASURES, *own_columns)),
        calibration,
        patch_colours(photo, own, reference),
        own.corners,
        found,
        side,
        photo.shot,
        problems,
    )


def _outline(
    photo: Photo, own: Calibrated, target: Target, given: ArrayLike | str | os.PathLike[str] | None
) -> Outline:
    size = photo.picture.size
    reduced = photo.picture.reduced(OUTLINED_AT)
    if own.borrowed:
        elsewhere = np.zeros(reduced.shape[:2], dtype=bool)
    else:
        shape = target.rows, target.columns
        elsewhere = target_area(own.corners, shape, size, reduced.shape[:2], FRAME)
    if given is not None:
        outline = given_outline(given, size)
        over = (outline.mask(reduced.shape[:2], size) & elsewhere).sum()
        if not over > OVER_TARGET * elsewhere.sum():
            return outline
        cause, remedy = "the outline that was given lies over the target", "mend its places"
        told = Problem("photos", None, "pot outline", cause, remedy, stops=False)
        return replace(outline, problems=Problems([*outline.problems, told]))
    return find_outline(reduced, own.calibration.lab, elsewhere, size)


def _form(outline: Outline, own: Calibrated, target: Target, height_cm: float) -> tuple[Form, Problems]:
    """Read the pot's form, to scale where the target or its height tells one."""
    form = find_form(outline)
    by_height = height_cm / form.length if height_cm > 0 else math.nan
    by_target = math.nan if own.borrowed else target.pitch_mm / 10 / _pitch_px(own.corners, target)
    scale = by_height if math.isnan(by_target) else by_target
    form = replace(form, cm_per_px=scale)
    if not abs(by_height / by_target - 1) > SAME_HEIGHT:
        return form, Problems()
    cause = (
        f"by the target's patches the pot is {form.height_cm:.1f} cm high, and by the table {height_cm:g} cm"
    )
    remedy = "check height [cm], the target's patch pitch, and that pot and target stand at one distance"
    return form, Problems([Problem("photos", None, "photo", cause, remedy, stops=False)])


def _pitch_px(corners: NDArray[np.float64], target: Target) -> float:
    """From one patch to the next, in the direction that is seen the less aslant."""
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    along, down = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    return float(max(along / (target.columns - 1), down / (target.rows - 1)))


def _in_few_places(outline: Outline, size: tuple[int, int]) -> NDArray[np.float64]:
    if not outline:
        return np.empty((0, 2))
    ring = outline.rings[0].astype(np.float32)[:, None]
    return cv2.approxPolyDP(ring, IN_FEW_PLACES * max(size), closed=True)[:, 0].astype(float)


def written_places(places: NDArray[np.float64]) -> str:
    """Write places as the table ``photos`` takes them.

    Examples
    --------
    >>> written_places(np.array([[10.04, 20], [30, 40.25]]))
    '10 20; 30 40.2'
    """
    return "; ".join(f"{x:.1f} {y:.1f}".replace(".0", "") for x, y in places)
