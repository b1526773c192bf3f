"""The pot's outline on a plain backdrop, or as it was given.

The backdrop is what the rim of the frame shows, going on smoothly behind the pot. What differs from it, more
than a shadow could, is the pot's core; from there and from the backdrop the picture is flooded until the two
meet at the sharpest edge between them, which a soft shadow is not.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image
from scipy import ndimage
from skimage.filters import scharr
from skimage.segmentation import watershed

from sagglab.colour import lab_to_xyz, xyz_to_lab
from sagglab.errors import OutlineError, Problem, Problems

#: A soft shadow takes this much L* off a backdrop at the most, and hardly changes its hue and chroma.
SHADOW_L = 22.0
#: More than this in (a*, b*), shading allowed for, or in L* upwards is no shadow.
NOT_BACKDROP = 9.0
#: A backdrop is plain when this share of the frame's rim is within this ΔE*ab of a smooth surface.
PLAIN_SHARE = 0.6
PLAIN = 8.0
#: Area over that of the convex hull, below which a thing is no turned form: a plant, a hand, clutter.
SOLID = 0.8
#: Share of the height, at the rim and at the foot, over which a turned form is convex as seen.
ENDS = 0.05
#: Less of the frame than this is a crumb, not a pot.
SMALLEST_SHARE = 0.01


@dataclass(frozen=True)
class Outline:
    """A pot's silhouette.

    Attributes
    ----------
    mask : ndarray of bool, shape (rows, columns)
        True on the pot; all False when none was found.
    problems : Problems
    """

    mask: NDArray[np.bool_]
    problems: Problems


def find_outline(lab: NDArray[np.float64], elsewhere: NDArray[np.bool_]) -> Outline:
    """Find the one pot that stands on a plain backdrop.

    Parameters
    ----------
    lab : ndarray, shape (rows, columns, 3)
        CIELAB of the picture, at a size at which the pot is a few hundred pixels high.
    elsewhere : ndarray of bool, shape (rows, columns)
        Where the target is, and so no pot.

    Returns
    -------
    Outline
        Empty, with a problem, when nothing stands out from the backdrop.

    Raises
    ------
    OutlineError
        Two things or more stand out, each large enough to be a pot.
    """
    smooth = ndimage.gaussian_filter(lab, (1.5, 1.5, 0))
    backdrop = _backdrop(smooth, elsewhere)
    if backdrop is None:
        return _none(
            elsewhere,
            "no pot was found: there is no plain backdrop",
            "photograph it on one, or give its outline",
        )
    differs, unlike = _compare(smooth, backdrop)
    things = _things(differs & ~elsewhere, elsewhere)
    whole = [thing for thing in things if thing.potlike]
    if len(whole) > 1:
        raise OutlineError(
            "photograph",
            f"{len(whole)} things stand out from the backdrop, each large enough to be a pot",
            "photograph one pot at a time, or give the pot outline in the table photos",
        )
    # Beside a whole pot, a hand or a sheet that reaches in from outside the frame is none.
    chosen = whole or [thing for thing in things if thing.solidity >= SOLID]
    if len(chosen) != 1:
        cause = "what stands out is not like one pot" if things else "nothing stands out from the backdrop"
        return _none(elsewhere, f"no pot was found: {cause}", "give its outline")
    mask = np.zeros(elsewhere.shape, dtype=bool)
    # What is far from the pot has no say in where it ends.
    near = _around(chosen[0].region, 0.5)
    mask[near] = _flood(smooth[near], chosen[0].core[near], (unlike[near] < 4) | elsewhere[near])
    if not chosen[0].cut:
        return Outline(mask, Problems())
    problem = _problem("the pot is cut by the frame", "photograph it with room on all sides")
    return Outline(mask, Problems([problem]))


def _problem(cause: str, remedy: str) -> Problem:
    return Problem("photos", None, "pot outline", cause, remedy, stops=False)


def _none(elsewhere: NDArray[np.bool_], cause: str, remedy: str) -> Outline:
    return Outline(np.zeros(elsewhere.shape, dtype=bool), Problems([_problem(cause, remedy)]))


def _around(mask: NDArray[np.bool_], share: float) -> tuple[slice, slice]:
    """Give the rectangle around a mask, widened on each side by a share of its size."""
    slices = []
    for span in ndimage.find_objects(mask.astype(np.uint8))[0]:
        wider = round(share * (span.stop - span.start))
        slices.append(slice(max(0, span.start - wider), span.stop + wider))
    return tuple(slices)


def _flood(
    lab: NDArray[np.float64], core: NDArray[np.bool_], backdrop: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Grow the core and the backdrop until they meet at the sharpest edge between them."""
    markers = backdrop.astype(np.int32)
    markers[[0, -1]] = 1
    markers[:, [0, -1]] = 1
    markers[core] = 2
    edge = np.sqrt(sum(scharr(lab[..., channel]) ** 2 for channel in range(3)))
    mask = watershed(edge, markers) == 2
    # A turned form has no notches: what a dark foot loses to the shadow beside it is closed again.
    reach = max(2, len(mask) // 60)
    mask = ndimage.binary_fill_holes(np.pad(mask, reach, mode="edge"))
    mask = ndimage.binary_closing(mask, iterations=reach)[reach:-reach, reach:-reach]
    return _with_whole_ends(ndimage.binary_opening(mask, iterations=2))


def _with_whole_ends(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Make rim and foot convex, where a patch as pale or as dark as what lies beyond bites into them."""
    rows = np.flatnonzero(mask.any(axis=1))
    slice_rows = max(3, round(ENDS * len(rows)))
    whole = mask.astype(np.uint8)
    for end in (rows[:slice_rows], rows[-slice_rows:]):
        down, across = np.nonzero(mask[end])
        if len(end) and len(down):
            places = np.stack([across, down + end[0]], axis=1).astype(np.int32)
            cv2.fillConvexPoly(whole, cv2.convexHull(places), 1)
    return whole.astype(bool)


def _backdrop(lab: NDArray[np.float64], elsewhere: NDArray[np.bool_]) -> NDArray[np.float64] | None:
    """Continue what the rim of the frame shows over the whole picture, as a quadratic surface in CIELAB.

    None when the rim is not of one piece, so that there is no plain backdrop.
    """
    rows, columns = elsewhere.shape
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    design = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    rim = max(3, rows // 40)
    known = np.zeros(elsewhere.shape, dtype=bool)
    known[:rim] = known[:, :rim] = known[:, -rim:] = known[-rim:] = True
    # Six numbers for each channel are settled by a sixteenth of the pixels.
    some = np.s_[::4, ::4]
    terms, values, allowed = design[some].reshape(-1, 6), lab[some].reshape(-1, 3), ~elsewhere[some].ravel()
    known = known[some].ravel() & allowed
    if known.sum() < 100:
        return None
    coefficients = np.zeros((6, 3))
    coefficients[0] = np.median(values[known], axis=0)
    for reach in (25.0, 15.0, 8.0, 6.0, 5.0):
        # Each round takes in all that already looks like backdrop, wherever it is, and lets go of the rest.
        near = np.linalg.norm(values - terms @ coefficients, axis=1) < reach
        chosen = near & (known if reach > 10 else allowed)
        if chosen.sum() < 100:
            break
        coefficients = np.linalg.lstsq(terms[chosen], values[chosen], rcond=None)[0]
    plain = np.linalg.norm(values[known] - terms[known] @ coefficients, axis=1) < PLAIN
    return design @ coefficients if plain.mean() >= PLAIN_SHARE else None


def _compare(
    lab: NDArray[np.float64], backdrop: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Tell what differs more than a shadow could, and how unlike the backdrop each pixel is (ΔE*ab)."""
    unlike = np.linalg.norm(lab - backdrop, axis=-1)
    # The backdrop in the same, lesser light: its XYZ scaled to the pixel's Y.
    xyz = lab_to_xyz(backdrop)
    luminance = lab_to_xyz(np.stack([lab[..., 0], 0 * lab[..., 0], 0 * lab[..., 0]], axis=-1))[..., 1]
    shaded = xyz_to_lab(xyz * (luminance / np.maximum(xyz[..., 1], 1e-4))[..., None])
    hue_and_chroma = np.linalg.norm((lab - shaded)[..., 1:], axis=-1)
    lighter = lab[..., 0] - backdrop[..., 0]
    differs = (hue_and_chroma > NOT_BACKDROP) | (lighter > NOT_BACKDROP) | (lighter < -SHADOW_L)
    return differs, unlike


@dataclass(frozen=True)
class _Thing:
    """Something that stands out from the backdrop: its region, its middle, its area over its hull's."""

    region: NDArray[np.bool_]
    core: NDArray[np.bool_]
    solidity: float
    cut: bool

    @property
    def potlike(self) -> bool:
        return self.solidity >= SOLID and not self.cut


def _things(differs: NDArray[np.bool_], elsewhere: NDArray[np.bool_]) -> list[_Thing]:
    """Find all that is large enough to be a pot, the largest first; not what the target itself lies on."""
    reach = max(2, min(differs.shape) // 150)
    # Padded with what the rim shows, so that a thing that runs out of the frame still touches it.
    margin = 4 * reach
    closed = ndimage.binary_closing(np.pad(differs, margin, mode="edge"), iterations=2 * reach)
    opened = ndimage.binary_opening(ndimage.binary_fill_holes(closed), iterations=2 * reach)
    opened = opened[margin:-margin, margin:-margin]
    labels, count = ndimage.label(opened)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
    # Next to a pot, what is not a quarter of its size is an odd thing on the table.
    least = max(SMALLEST_SHARE * differs.size, 0.25 * sizes.max(initial=0))
    things = []
    for number in np.flatnonzero(sizes > least)[np.argsort(-sizes[sizes > least])]:
        region = labels == number + 1
        depth = ndimage.distance_transform_edt(region)
        edge, _ = cv2.findContours(region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        hull = cv2.convexHull(edge[0])
        within = cv2.fillConvexPoly(np.zeros(region.shape, np.uint8), hull, 1).astype(bool)
        if (within & elsewhere).sum() > 0.25 * elsewhere.sum():
            continue
        rim = np.concatenate([region[0], region[-1], region[:, 0], region[:, -1]])
        things.append(
            _Thing(
                region=region,
                # A shadow's dark middle, at the foot, is thin: the outer part is left to the flooding.
                core=depth > min(0.3 * depth.max(), 6.0 * reach),
                solidity=cv2.contourArea(edge[0]) / max(cv2.contourArea(hull), 1.0),
                cut=bool(rim.any()),
            )
        )
    return things


def given_outline(outline: ArrayLike | str | os.PathLike[str], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Turn an outline that a person gave into a mask.

    Parameters
    ----------
    outline : str, path or array_like
        Places ``x y; x y; …`` around the pot, the path of a black-and-white mask picture of the
        photograph's size, an array of places, shape (n, 2), or a mask, shape (rows, columns).
    shape : (rows, columns)
        Size of the photograph.

    Returns
    -------
    ndarray of bool, shape (rows, columns)

    Raises
    ------
    OutlineError
        It is none of these, or leaves no pot.

    Examples
    --------
    >>> given_outline("1 1; 3 1; 3 2; 1 2", (4, 5)).sum()
    np.int64(6)
    """
    if isinstance(outline, (str, os.PathLike)):
        is_places = isinstance(outline, str) and ";" in outline
        values = _places(outline) if is_places else _mask_picture(Path(outline))
    else:
        values = np.asarray(outline)
    if values.ndim == 2 and values.shape[1] == 2 and len(values) >= 3 and shape != values.shape:
        mask = np.zeros(shape, dtype=np.uint8)
        cv2.fillPoly(mask, [np.rint(values).astype(np.int32)], 1)
        values = mask
    if values.shape != tuple(shape):
        raise OutlineError(
            "pot outline",
            "the pot outline is neither three places or more nor a mask of the photograph's size",
            f"write it as x y; x y; x y …, or give a mask of {shape[1]} by {shape[0]} pixels",
        )
    if not values.any():
        raise OutlineError(
            "pot outline", "no pixel lies inside the pot outline", "give the places around the pot"
        )
    return values.astype(bool)


def _places(outline: str) -> NDArray[np.float64]:
    pairs = [pair.split() for pair in outline.strip().strip(";").split(";")]
    try:
        values = np.array(pairs, dtype=float).reshape(-1, 2)
    except ValueError as error:
        raise OutlineError(
            "pot outline", "one of its places is not two numbers", "write it as x y; x y; x y …, as 650.5 265"
        ) from error
    if not np.isfinite(values).all():
        raise OutlineError("pot outline", "one of its places lies nowhere", "write it as x y; x y; x y …")
    return values


def _mask_picture(path: Path) -> NDArray[np.bool_]:
    try:
        with Image.open(path, formats=("PNG", "TIFF", "JPEG")) as picture:
            return np.asarray(picture.convert("L")) > 127
    except OSError as error:
        raise OutlineError(
            f"pot outline '{path}'", f"it cannot be read as a mask picture ({error})", "save it as PNG"
        ) from error
