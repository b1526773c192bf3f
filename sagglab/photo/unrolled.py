"""The surface that a view shows, unrolled to a flat map of angle and height."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sagglab.photo.surface import SEEN_DEGREES, Surface

#: Rows of a map; fewer when the pot is fewer pixels high, which shows no more. On a pot 10 cm high a row is
#: 0.4 mm then, half of what a degree spans on its belly, and less than the width of a crease's line of smoke.
MOST_ROWS = 240
#: A cell of which a smaller share than this is seen without glare is blank.
LEAST_SEEN = 0.5


@dataclass(frozen=True)
class SurfaceMap:
    """The side of a pot laid flat; row 0 is at the rim, so that it stands upright when shown.

    Attributes
    ----------
    lab : ndarray, shape (heights, angles, 3)
        NaN where nothing was measured.
    area : ndarray, shape (heights, angles)
        True area of the part of each cell that was measured, relative; 0 where `lab` is NaN.
    degrees : ndarray, shape (angles,)
        Angles of the columns' middles, 1° apart.
    height : ndarray, shape (heights,)
        Heights of the rows' middles, shares, from near 1 down to near 0.
    radius_mm, step_mm : ndarray, shape (heights,)
        The pot's radius, and the length of a row along the profile; NaN when the scale is unknown.
    """

    lab: NDArray[np.float64]
    area: NDArray[np.float64]
    degrees: NDArray[np.float64]
    height: NDArray[np.float64]
    radius_mm: NDArray[np.float64]
    step_mm: NDArray[np.float64]

    @property
    def height_mm(self) -> float:
        """Height of the pot; NaN when the scale is unknown."""
        out = np.gradient(self.radius_mm) if len(self.radius_mm) > 1 else 0.0
        return float(np.sqrt(np.maximum(self.step_mm**2 - out**2, 0)).sum())


def unroll(lab: NDArray[np.float64], surface: Surface) -> SurfaceMap:
    """Unroll all that a view shows without glare.

    A cell's colour is the mean over its own surface: the picture, linear between pixels, is read at places
    evenly spread over the cell, no farther apart than pixels are. So cells larger than pixels average them
    by the area that they show, and cells finer than pixels have no holes.

    Parameters
    ----------
    lab : ndarray, shape (rows, columns, 3)
        CIELAB of the measuring picture.
    surface : Surface
    """
    form = surface.form
    across_px, up_px = form.radius.max() / surface.pitch[0], form.length / surface.pitch[1]
    rows = int(np.clip(round(up_px), 1, MOST_ROWS))
    columns = round(2 * SEEN_DEGREES)
    # A cell is widest in the picture where it faces the camera at the widest place.
    fine_rows = max(1, int(np.ceil(up_px / rows)))
    fine_columns = max(1, int(np.ceil(np.radians(1) * across_px)))
    height = 1 - (np.arange(rows * fine_rows) + 0.5) / (rows * fine_rows)
    degrees = -SEEN_DEGREES + (np.arange(columns * fine_columns) + 0.5) / fine_columns
    aside = np.interp(height, form.heights, form.radius)[:, None] * np.sin(np.radians(degrees))
    cosine = np.cos(np.radians(degrees))
    up = (height * form.length)[:, None] - form.lowered(height[:, None], cosine)
    at = [
        (form.foot[axis] + up * form.upwards[axis] - surface.corner[axis] + aside * form.across[axis])
        / surface.pitch[axis]
        for axis in (0, 1)
    ]
    picture = np.empty((*lab.shape[:2], 4), np.float32)
    picture[..., 3] = surface.seen & ~surface.glare
    picture[..., :3] = np.where(picture[..., 3:] > 0, lab, 0)
    fine = cv2.remap(picture, at[0].astype(np.float32), at[1].astype(np.float32), cv2.INTER_LINEAR)
    cells = cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA).astype(float)
    share = cells[..., 3]
    blank = share < LEAST_SEEN
    middle = 1 - (np.arange(rows) + 0.5) / rows
    radius = np.interp(middle, form.heights, form.radius)
    step = np.interp(middle, form.heights, np.hypot(1, form.slope)) * form.length / rows
    cell_area = radius * step * np.radians(1) / surface.pitch.prod()
    mm = 10 * form.cm_per_px
    with np.errstate(invalid="ignore"):
        mean = np.where(blank[..., None], np.nan, cells[..., :3] / share[..., None])
    return SurfaceMap(
        mean,
        np.where(blank, 0, share * cell_area[:, None]),
        -SEEN_DEGREES + np.arange(columns) + 0.5,
        middle,
        radius * mm,
        step * mm,
    )
