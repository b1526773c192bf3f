"""One side of a pot: its surface read from a photograph, its colours and what they are worth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sagglab.colour import AXES, xyz_to_lab
from sagglab.errors import Problems
from sagglab.photo.calibration import CRUSHED, Calibration
from sagglab.photo.colour_measures import colour_measures
from sagglab.photo.doubt import doubt
from sagglab.photo.flags import flagged
from sagglab.photo.flat import FlatField
from sagglab.photo.form import Form
from sagglab.photo.glare import find_glare, whole_area
from sagglab.photo.height_profile import height_profile
from sagglab.photo.image import Photo
from sagglab.photo.measuring import Measuring
from sagglab.photo.outline import Outline
from sagglab.photo.palette import Palette, palette
from sagglab.photo.patches import CLIPPED
from sagglab.photo.patchiness import patchiness
from sagglab.photo.picture import KEPT, reduced_places
from sagglab.photo.sampling import sampling_error
from sagglab.photo.shading import Shading, estimate_shading
from sagglab.photo.surface import Surface, find_surface
from sagglab.photo.unrolled import SurfaceMap, unroll
from sagglab.photo.variogram import read_mottle

#: The pot's longer side, in pixels, at which the surface is measured, in a photograph of `KEPT` pixels at the
#: most. On three scenes of 24 megapixels with grain the mean came out within ΔE00 0.05 of that at full size,
#: quantiles of L* within 0.4 and shares within 0.005; at three quarters of it, within 0.14.
MEASURED_AT = 340
#: Light is averaged over this many pixels around each (standard deviation) before its colour is reckoned:
#: colour is curved in light, and noise in a dark channel comes out as colour (rendered scenes with a noisy
#: blue channel: b* 1.25 too high without, 0.56 with it, and no less with more; L* moves by 0.02).
SMOOTHED_PX = 1.0

#: Share of the band from which clipping is flagged (a burnished pot's glare clips a hundredth or two of it),
#: and of the measured surface from which colours beyond the file's are.
MUCH_CLIPPED, MUCH_BEYOND = 0.05, 0.02
#: A surface this light in one channel that is crushed in another is colourful, not black.
COLOURFUL = 0.02


@dataclass(frozen=True)
class Side:
    """What one photograph shows of a pot.

    Attributes
    ----------
    surface : Surface
        The band, its glare and its areas, at the size at which they were measured.
    map : SurfaceMap
        All that is seen without glare, unrolled.
    palette : Palette
    shading : Shading
    measures : dict
        The columns of the measures that tell of the surface.
    problems : Problems
    """

    surface: Surface
    map: SurfaceMap
    palette: Palette
    shading: Shading
    measures: dict[str, float]
    problems: Problems


def read_side(
    photo: Photo, calibration: Calibration, outline: Outline, form: Form, measuring: Measuring
) -> Side | None:
    """Read the surface that a photograph shows of a pot; None when no pixel is left to measure.

    Parameters
    ----------
    photo : Photo
    calibration : Calibration
    outline : Outline
    form : Form
        Read from it.
    measuring : Measuring

    Raises
    ------
    OwnMeasureError
        A measure of the user's own fails.
    """
    # Light is averaged while it is linear, in `Picture.reduced` and here; all that follows is at that size.
    # Only the pot's own rectangle: the rest of the picture is four fifths of the work.
    picture = photo.picture
    kept = picture.reduced(KEPT)
    pitch = np.array(picture.size[::-1]) / kept.shape[1::-1]
    ring = (np.concatenate(outline.rings) + 0.5) / pitch
    corner = np.maximum(np.floor(ring.min(axis=0)).astype(int) - 2, 0)
    end = np.minimum(np.ceil(ring.max(axis=0)).astype(int) + 2, kept.shape[1::-1])
    if (end <= corner).any():
        return None
    near = kept[corner[1] : end[1], corner[0] : end[0]]
    shrink = min(1.0, MEASURED_AT / np.ptp(ring, axis=0).max())
    size = tuple(max(1, round(side * shrink)) for side in near.shape[:2])
    whole = (end - corner) * pitch
    places = reduced_places(size, tuple(whole[::-1])) + corner * pitch
    mask = replace(outline, rings=tuple(each - corner * pitch for each in outline.rings)).mask(
        size, tuple(whole[::-1])
    )
    if not mask.any():
        return None
    light, clipped, beyond = (_averaged(each, size) for each in (near, *_out_of_range(near)))
    surface = find_surface(form, mask, places, measuring.band_degrees)
    smooth = cv2.GaussianBlur(light, (0, 0), SMOOTHED_PX)
    xyz = calibration.xyz(smooth, places)
    lit = xyz_to_lab(xyz)
    surface = replace(surface, glare=find_glare(light, lit, surface))
    measured = surface.measured
    if not measured.any():
        return None
    has_flat = isinstance(calibration.mapping.light, FlatField)
    shading = estimate_shading(xyz[..., 1], surface, flat=has_flat)
    lab = xyz_to_lab(xyz / shading.light(surface).astype(xyz.dtype)[..., None])
    # What glare hides is taken to be as what is seen next to it: it lies where the surface faces the light.
    values, weights = lab[measured].astype(float), whole_area(surface)[measured].astype(float)
    unrolled = unroll(lab, surface)
    colours = palette(values, weights)
    mottle = read_mottle(unrolled, measuring.band_degrees)
    sampled = sampling_error(mottle)
    shares = _shares(clipped, beyond, surface)
    told = [
        flagged(name, share=shares[column])
        for name, column, least in (
            ("clipped surface", "clipped share", MUCH_CLIPPED),
            ("beyond the file's colours", "out-of-gamut share", MUCH_BEYOND),
        )
        if shares[column] >= least
    ]
    in_file = np.average(photo.lab_in_file(smooth[measured]), axis=0, weights=weights)
    sure = doubt(values, weights, calibration, shading.share_error(surface), shares["out-of-gamut share"])
    measures = {
        **colour_measures(values, weights, measuring.shares),
        **shares,
        **{f"{axis} in file": value for axis, value in zip(AXES, in_file, strict=True)},
        **sure.measures,
        **{f"{axis} error of sampling": error for axis, error in zip(AXES, sampled, strict=True)},
        "shading ΔL*": shading.at_edge(surface, float(np.average(values[:, 0], weights=weights))),
        "measured height [cm]": form.height_cm,
        "measured diameter [cm]": form.diameter_cm,
        "surface area [cm2]": form.area_cm2,
        "usable area [cm2]": surface.usable_cm2,
        "usable share": surface.usable_share,
        **patchiness(mottle),
        **colours.to_dict(),
        **height_profile(unrolled, measuring.band_degrees),
        **measuring.own_measures(values, weights, unrolled),
    }
    return Side(surface, unrolled, colours, shading, measures, Problems(told))


def _averaged(values: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    return cv2.resize(values, size[::-1], interpolation=cv2.INTER_AREA)


def _out_of_range(light: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Tell which pixels are clipped, and which are of colours that the file cannot hold: 1, and else 0.

    Before they are averaged, since one that is clipped has no part in a mean that is not.
    """
    # Channel by channel: NumPy's own least and greatest over so short an axis take ten times as long.
    red, green, blue = cv2.split(light)
    darkest, lightest = (each(each(red, green), blue) for each in (cv2.min, cv2.max))
    crushed, colourful = darkest < CRUSHED, lightest >= COLOURFUL
    clipped = (lightest >= CLIPPED) | (crushed & ~colourful)
    return clipped.astype(np.float32), (crushed & colourful).astype(np.float32)


def _shares(clipped: NDArray[np.float32], beyond: NDArray[np.float32], surface: Surface) -> dict[str, float]:
    """How much of the band is glare, clipped, and of colours that the file cannot hold."""
    band, measured, area = surface.band, surface.measured, surface.area
    return {
        "glare share": float(np.average(surface.glare[band], weights=area[band])),
        # Glare is clipped more often than not, and is counted here, too: nothing clipped is passed over.
        "clipped share": float(np.average(clipped[band], weights=area[band])),
        "out-of-gamut share": float(np.average(beyond[measured], weights=area[measured])),
    }
