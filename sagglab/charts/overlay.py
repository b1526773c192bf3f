"""What is drawn over a photograph: target grid, outline, axis, central band and glare."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from numpy.typing import ArrayLike, NDArray

from sagglab.photo.image import Photo
from sagglab.photo.measure import MeasuredPhoto
from sagglab.photo.surface import Surface

OUTLINE, BAND, GLARE, GRID = "#ffb000", "#ffffff", "#00e5ff", "#ffffff"
#: What the colours of the lines mean, to be written beside the picture.
KEY = "outline amber, central band white, glare blue"
#: Rings grow from the first to the second of these shares of the patches' pitch, up to this ΔE00.
RING, RING_FULL = (0.2, 0.7), 10.0
#: A patch more colourful than the file can hold is no fault of the photograph's.
_GOOD = ("", "beyond the file's colours")
#: Light marks stand out from light surfaces, too.
_EDGED = (withStroke(linewidth=2.2, foreground="#000000a0"),)

Ring = NDArray[np.float64]


@dataclass(frozen=True)
class Overlay:
    """Lines and marks; places are (x, y) in pixels of the photograph.

    Attributes
    ----------
    outline, band, glare : tuple of ndarray, each of shape (n, 2)
        Rings, each closed by its first place; empty without a pot.
    axis : ndarray, shape (2, 2), or shape (0, 2) without a pot
        From foot to rim.
    widest : ndarray, shape (2, 2) or (0, 2)
        From left to right at the widest place.
    corners : ndarray, shape (4, 2), or (0, 2) where the photograph has no target of its own.
    centres : ndarray, shape (n, 2)
        Of its patches.
    error : ndarray, shape (n,)
        ΔE00 of each.
    good : ndarray of bool, shape (n,)
        Whether it counts.
    """

    outline: tuple[Ring, ...]
    band: tuple[Ring, ...]
    glare: tuple[Ring, ...]
    axis: NDArray[np.float64]
    widest: NDArray[np.float64]
    corners: NDArray[np.float64]
    centres: NDArray[np.float64]
    error: NDArray[np.float64]
    good: NDArray[np.bool_]

    @property
    def pitch(self) -> float:
        """From the first patch to the second; NaN without any."""
        return float(np.hypot(*(self.centres[1] - self.centres[0]))) if len(self.centres) > 1 else np.nan


def overlay_of(measured: MeasuredPhoto) -> Overlay:
    """Gather what is to be drawn over a photograph.

    Parameters
    ----------
    measured : MeasuredPhoto
    """
    nowhere = np.empty((0, 2))
    band = glare = ()
    axis = widest = corners = centres = nowhere
    error, good = np.empty(0), np.empty(0, dtype=bool)
    if measured.side is not None:
        surface = measured.side.surface
        band, glare = _rings(surface.band, surface), _rings(surface.glare, surface)
        form = surface.form
        axis = np.array([form.foot, form.rim])
        middle = form.foot + form.widest * (form.rim - form.foot)
        widest = middle + form.radius.max() * np.array([[-1], [1]]) * form.across
    if not np.isnan(measured.corners).any():
        patches = measured.calibration.patches
        corners, centres = measured.corners, patches[["x", "y"]].to_numpy()
        error, good = patches["ΔE00"].to_numpy(), counting(measured)
    outline = tuple(_closed(ring) for ring in measured.outline.rings)
    return Overlay(outline, band, glare, axis, widest, corners, centres, error, good)


def counting(measured: MeasuredPhoto) -> NDArray[np.bool_]:
    """Tell which patches of the target count in the calibration."""
    return measured.calibration.patches["doubt"].isin(_GOOD).to_numpy()


def draw_over(ax: Axes, over: Overlay, points: float) -> None:
    """Draw it into axes that show the photograph.

    Parameters
    ----------
    ax : Axes
    over : Overlay
    points : float
        How wide a pixel of the photograph is drawn, in points.
    """
    edged = {"path_effects": _EDGED}
    ax.plot(*_joined(over.outline).T, color=OUTLINE, linewidth=1.1, label="outline", **edged)
    ax.plot(*_joined(over.band).T, color=BAND, linewidth=0.9, dashes=(4, 2), label="band", **edged)
    ax.plot(*_joined(over.glare).T, color=GLARE, linewidth=0.9, label="glare")
    if len(over.axis):
        ends = np.stack([over.widest + step for step in _tick(over)])
        lines = [over.axis, ends[:, 0], ends[:, 1]]
        ax.plot(*_joined(lines).T, color=OUTLINE, linewidth=0.9, label="axis", **edged)
    if not len(over.corners):
        return
    ax.plot(*_closed(over.corners).T, color=GRID, linewidth=0.7, label="target", **edged)
    pitch = points * over.pitch
    size = pitch * np.interp(over.error, (0, RING_FULL), RING)
    ring = {"facecolors": "none", "edgecolors": GRID, "linewidths": 1.1, "label": "rings"}
    ax.scatter(*over.centres[over.good].T, s=size[over.good] ** 2, **ring, **edged)
    cross = {"linestyle": "none", "marker": "x", "markersize": min(6, pitch / 3), "label": "crosses"}
    ax.plot(*over.centres[~over.good].T, color=GRID, **cross, **edged)
    # It stands outside the target, on the side of row 1, whichever way the target lies.
    outwards = over.corners[0] - over.corners[3]
    outwards = outwards / max(1e-9, np.hypot(*outwards))
    middle = over.corners[:2].mean(axis=0) + 0.9 * over.pitch * outwards
    high, wide = (abs(np.diff(side)[0]) for side in (ax.get_ylim(), ax.get_xlim()))
    if 0.02 * wide < middle[0] < 0.98 * wide and 0.02 * high < middle[1] < 0.98 * high:
        place = {"ha": "center", "va": "center", "clip_on": True}
        ax.text(*middle, "row 1", color=GRID, fontsize=7, **place, **edged)


def drawn_small(photo: Photo, over: Overlay, longest: int) -> NDArray[np.uint8]:
    """Draw it over the photograph, reduced to so many pixels; red, green, blue from 0 to 255.

    Parameters
    ----------
    photo : Photo
    over : Overlay
    longest : int
    """
    small = shown(photo, longest)
    scale = np.array([small.shape[1], small.shape[0]]) / photo.picture.size[::-1]

    def lines(picture: NDArray[np.uint8], ink: tuple[int, ...], rings: Iterable[Ring], width: int) -> None:
        # OpenCV takes places in whole sixteenths of a pixel.
        places = [np.rint(16 * ((ring + 0.5) * scale - 0.5)).astype(np.int32) for ring in rings]
        cv2.polylines(picture, places, False, ink, width, cv2.LINE_AA, shift=4)

    grid = [_closed(over.corners), *_grid(over)] if len(over.corners) else []
    all_lines = ((BAND, over.band), (OUTLINE, over.outline), (GLARE, over.glare), (GRID, grid))
    # A shadow keeps light lines in sight on light pots.
    shadow = small.copy()
    for _, rings in all_lines:
        lines(shadow, (0, 0, 0), rings, 3)
    small = cv2.addWeighted(shadow, 0.5, small, 0.5, 0)
    for colour, rings in all_lines:
        lines(small, tuple(bytes.fromhex(colour[1:])), rings, 1)
    return small


def shown(photo: Photo, longest: int) -> NDArray[np.uint8]:
    """Give a photograph as read, reduced, to look at; red, green, blue from 0 to 255."""
    return np.rint(255 * photo.display(photo.picture.reduced(longest))).astype(np.uint8)


def as_jpeg(picture: NDArray[np.uint8], quality: int) -> bytes:
    """Encode a picture (red, green, blue) as JPEG."""
    _, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return data.tobytes()


def _grid(over: Overlay) -> list[Ring]:
    """Give a small diamond for each patch that counts, and a cross for each that hardly does."""
    arm = 0.18 * over.pitch
    diamond = arm * np.array([[-1, 0], [0, -1], [1, 0], [0, 1], [-1, 0]])
    cross = arm * np.array([[[-1, -1], [1, 1]], [[-1, 1], [1, -1]]])
    strokes = []
    for centre, good in zip(over.centres, over.good, strict=True):
        strokes += [centre + diamond] if good else [centre + stroke for stroke in cross]
    return strokes


def _rings(mask: NDArray[np.bool_], surface: Surface) -> tuple[Ring, ...]:
    """Trace a mask of the measuring picture: closed rings along the outer pixels' middles."""
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    return tuple(_closed(ring[:, 0] * surface.pitch + surface.corner) for ring in found)


def _tick(over: Overlay) -> NDArray[np.float64]:
    """Half a tick at the widest place, down and up along the axis."""
    along = (over.axis[1] - over.axis[0]) * 0.03
    return np.stack([-along, along])


def _closed(ring: ArrayLike) -> Ring:
    ring = np.asarray(ring, dtype=float)
    return np.vstack([ring, ring[:1]])


def _joined(rings: Iterable[Ring]) -> Ring:
    """Join rings into one line with gaps: one artist is drawn in the time of one, however many rings."""
    parts = [part for ring in rings for part in (ring, np.full((1, 2), np.nan))]
    return np.vstack(parts) if parts else np.empty((0, 2))
