"""The pot's outline on a plain backdrop, or as it was given.

The backdrop is what the rim of the frame shows, going on smoothly behind the pot. What differs from it, more
than a shadow could, is the pot's core; from there and from the backdrop the picture is flooded until the two
meet at the sharpest edge between them, which a soft shadow is not.
"""

from __future__ import annotations

import os
import re
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
#: Less of the frame than this is a crumb, not a pot.
SMALLEST_SHARE = 0.004


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
    differs, unlike = _compare(smooth, _backdrop(smooth, elsewhere), elsewhere)
    cores = _cores(differs & ~elsewhere)
    if not cores:
        problem = _problem("no pot was found: nothing stands out from the backdrop", "give its outline")
        return Outline(np.zeros(elsewhere.shape, dtype=bool), Problems([problem]))
    if len(cores) > 1:
        raise OutlineError(
            "photograph",
            f"{len(cores)} things stand out from the backdrop, each large enough to be a pot",
            "photograph one pot at a time, or give the pot outline in the table photos",
        )
    mask = np.zeros(elsewhere.shape, dtype=bool)
    # What is far from the pot has no say in where it ends.
    near = _around(cores[0], 0.5)
    mask[near] = _flood(smooth[near], cores[0][near], (unlike[near] < 4) | elsewhere[near])
    problems = []
    margin = 3
    inner = np.zeros_like(mask)
    inner[margin:-margin, margin:-margin] = True
    if (mask & ~inner).any():
        problems.append(_problem("the pot is cut by the frame", "photograph it with room on all sides"))
    return Outline(mask, Problems(problems))


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
    return ndimage.binary_opening(mask, iterations=2)


def _problem(cause: str, remedy: str) -> Problem:
    return Problem("photos", None, "pot outline", cause, remedy, stops=False)


def _backdrop(lab: NDArray[np.float64], elsewhere: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Continue what the rim of the frame shows over the whole picture, as a quadratic surface in CIELAB."""
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
    coefficients = np.zeros((6, 3))
    coefficients[0] = np.median(values[known], axis=0)
    for reach in (25.0, 15.0, 8.0, 6.0, 5.0):
        # Each round takes in all that already looks like backdrop, wherever it is, and lets go of the rest.
        near = np.linalg.norm(values - terms @ coefficients, axis=1) < reach
        chosen = near & (known if reach > 10 else allowed)
        if chosen.sum() < 100:
            break
        coefficients = np.linalg.lstsq(terms[chosen], values[chosen], rcond=None)[0]
    return design @ coefficients


def _compare(
    lab: NDArray[np.float64], backdrop: NDArray[np.float64], elsewhere: NDArray[np.bool_]
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
    return differs & ~elsewhere, unlike


def _cores(differs: NDArray[np.bool_]) -> list[NDArray[np.bool_]]:
    """Find the middles of all that is large enough to be a pot: one mask each, the largest first."""
    reach = max(2, min(differs.shape) // 150)
    closed = ndimage.binary_closing(differs, iterations=2 * reach)
    opened = ndimage.binary_opening(ndimage.binary_fill_holes(closed), iterations=2 * reach)
    labels, count = ndimage.label(opened)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
    large = np.flatnonzero(sizes > SMALLEST_SHARE * differs.size)
    large = large[np.argsort(-sizes[large])]
    # Next to a pot, what is not a quarter of its size is an odd thing on the table.
    large = [number for number in large if sizes[number] > 0.25 * sizes[large[0]]]
    cores = []
    for number in large:
        depth = ndimage.distance_transform_edt(labels == number + 1)
        # A shadow's dark middle, at the foot, is thin: the outer part is left to the flooding.
        cores.append(depth > min(0.3 * depth.max(), 6.0 * reach))
    return cores


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
        found = re.findall(r"(-?\d+(?:\.\d+)?)\s+(-?\d+(?:\.\d+)?)", str(outline))
        is_places = isinstance(outline, str) and ";" in outline
        values = np.array(found, dtype=float) if is_places else _mask_picture(Path(outline))
    else:
        values = np.asarray(outline)
    if values.ndim == 2 and values.shape[1] == 2 and len(values) >= 3 and shape != values.shape:
        mask = np.zeros(shape, dtype=np.uint8)
        cv2.fillPoly(mask, [np.rint(values).astype(np.int32)], 1)
        values = mask
    if values.shape != tuple(shape):
        raise OutlineError(
            "pot outline",
            "it is neither three places or more nor a mask of the photograph's size",
            f"write it as x y; x y; x y …, or give a mask of {shape[1]} by {shape[0]} pixels",
        )
    if not values.any():
        raise OutlineError("pot outline", "no pixel lies inside it", "give the places around the pot")
    return values.astype(bool)


def _mask_picture(path: Path) -> NDArray[np.bool_]:
    try:
        with Image.open(path, formats=("PNG", "TIFF", "JPEG")) as picture:
            return np.asarray(picture.convert("L")) > 127
    except OSError as error:
        raise OutlineError(
            f"pot outline '{path}'", f"it cannot be read as a mask picture ({error})", "save it as PNG"
        ) from error
