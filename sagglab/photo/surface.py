"""The pot's surface in the measuring picture: which place of the pot each pixel shows, and how much of it.

The pot is the solid of revolution that `form` read, seen in parallel rays. A pixel spans dx dh of the
picture; the surface behind it is slanted across by its angle around the axis and along by the profile:
dA = sqrt(1 + r'²) dh · dx / cos(angle).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import SurfaceError
from sagglab.photo.form import Form

#: Half the width of the central band in degrees around the axis, where the slant costs little.
BAND_DEGREES = 37.0
#: Surface farther around than this is not seen: a pixel there stands for four times its own area and more,
#: and half a pixel of the outline moves its place by 2° on a pot 100 pixels wide.
SEEN_DEGREES = 75.0
#: Share of the height that is left out at the rim and at the foot, which are seen end on, so that a row of
#: pixels there stands for no known area (demo scenes: 1.6 L* off on a pot with a sooty rim).
ENDS = 0.02


@dataclass(frozen=True)
class Surface:
    """Where on the pot the pixels lie; all arrays have the shape (rows, columns) of the measuring picture.

    Attributes
    ----------
    degrees : ndarray of float32
        Angle around the axis, 0 towards the camera, positive to the right as seen; NaN outside the outline.
    height : ndarray of float32
        Share of the height, 0 at the foot and 1 at the rim; NaN outside the outline.
    area : ndarray of float32
        Surface that the pixel shows, pixels squared of the measuring picture; 0 where nothing is seen:
        outside the outline, beyond `SEEN_DEGREES`, and at the ends.
    band : ndarray of bool
        The central band, glare included.
    glare : ndarray of bool
        What is seen in glare.
    form : Form
    corner, pitch : ndarray, shape (2,)
        (x, y) of the first pixel, and from a pixel to the next, in pixels of the full photograph.
    """

    degrees: NDArray[np.float32]
    height: NDArray[np.float32]
    area: NDArray[np.float32]
    band: NDArray[np.bool_]
    glare: NDArray[np.bool_]
    form: Form
    corner: NDArray[np.float64]
    pitch: NDArray[np.float64]

    @property
    def seen(self) -> NDArray[np.bool_]:
        """The pixels that show surface."""
        return self.area > 0

    @property
    def facing(self) -> NDArray[np.float32]:
        """Cosine of the angle between the surface and the line of sight, 1 where none is seen.

        A pixel stands for the more surface the more that turns away.
        """
        return 1 / np.where(self.seen, self.area, np.float32(1))

    @property
    def measured(self) -> NDArray[np.bool_]:
        """The pixels that are measured: the band without its glare."""
        return self.band & ~self.glare

    @property
    def usable_share(self) -> float:
        """Measured area as a share of the pot's whole side."""
        measured = float(self.area[self.measured].sum(dtype=float))
        return measured * float(self.pitch.prod()) / self.form.side_px2

    @property
    def usable_cm2(self) -> float:
        """Measured area in cm²; NaN without a scale."""
        return self.usable_share * self.form.area_cm2


def find_surface(
    form: Form,
    mask: NDArray[np.bool_],
    places: NDArray[np.float64],
    band_degrees: float = BAND_DEGREES,
) -> Surface:
    """Find the place on the pot of each pixel; glare is not looked for yet.

    Parameters
    ----------
    form : Form
    mask : ndarray of bool, shape (rows, columns)
        True on the pot, in the measuring picture; what is left out as a hole is not seen.
    places : ndarray, shape (rows, columns, 2)
        (x, y) of each pixel in the full photograph.
    band_degrees : float
        Half the width of the central band.

    Raises
    ------
    SurfaceError
        The band is no angle between 0° and `SEEN_DEGREES`.
    """
    if not 0 < band_degrees <= SEEN_DEGREES:
        raise SurfaceError(
            "central band",
            f"{band_degrees:g}° to either side is no band that can be seen",
            f"give more than 0° and at most {SEEN_DEGREES:g}°",
        )
    # Single precision places a pixel within a thousandth of itself, in half the time of double.
    from_foot = (places[mask] - form.foot).astype(np.float32)
    height = from_foot @ (form.upwards / form.length).astype(np.float32)
    aside = from_foot @ form.across.astype(np.float32)
    level = height
    # The surface shows lower or higher than it lies by what its own height and angle tell: three rounds
    # settle that to a tenth of a pixel.
    for _ in range(3):
        radius = np.interp(height, form.heights, form.radius).astype(np.float32)
        sine = np.clip(aside / radius, -1, 1)
        height = level + form.lowered(height, np.sqrt(1 - sine**2)) / np.float32(form.length)
    degrees = np.degrees(np.arcsin(sine))
    slant = np.interp(height, form.heights, np.hypot(1, form.slope)).astype(np.float32)
    shown = (np.abs(degrees) <= SEEN_DEGREES) & (height >= ENDS) & (height <= 1 - ENDS)
    cosine = np.sqrt(1 - np.where(shown, sine, 0) ** 2)
    return Surface(
        _spread(degrees, mask, np.nan),
        _spread(height, mask, np.nan),
        _spread(np.where(shown, slant / cosine, np.float32(0)), mask, 0),
        _spread(shown & (np.abs(degrees) <= band_degrees), mask, False),
        np.zeros_like(mask),
        form,
        places[0, 0].astype(float),
        np.array([_pitch(places[0, :, 0]), _pitch(places[:, 0, 1])]),
    )


def _spread(values: NDArray, mask: NDArray[np.bool_], elsewhere: float) -> NDArray:
    whole = np.full(mask.shape, elsewhere, dtype=values.dtype)
    whole[mask] = values
    return whole


def _pitch(places: NDArray[np.float64]) -> float:
    # A picture of one pixel across is at the photograph's own size.
    return float((places[-1] - places[0]) / (len(places) - 1)) if len(places) > 1 else 1.0
