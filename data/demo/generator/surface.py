"""Fired surfaces: turned forms, and the mottle that smoke, iron and copper leave on them.

A surface is a mixture, texel by texel, of the kinds in `spectra`. The shares come from smooth noise around
the pot; their biases are solved so that the colour averaged over both central bands is the pot's true one.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import least_squares

from generator import spectra
from generator.wax import under_wax
from sagglab.colour import xyz_to_lab

KINDS = tuple(spectra.KINDS)
REFLECTANCE = np.array(list(spectra.KINDS.values()))

#: The central band of a view, degrees to either side of the line that faces the camera.
BAND_DEGREES = 37.0

#: Surface below this L* counts as dark.
DARK_BELOW = 30.0

#: How far the solved mean may stay from the true one, in L*, a* and b*.
TOLERANCE = 0.005

ROWS, COLUMNS = 440, 1000

#: Height from base (0) to rim (1), and radius as a share of the greatest.
PROFILES = {
    "bowl": ([0, 0.06, 0.2, 0.45, 0.75, 1], [0.50, 0.56, 0.74, 0.92, 1.0, 0.985]),
    "bottle": ([0, 0.1, 0.28, 0.45, 0.64, 0.8, 0.9, 1], [0.66, 0.8, 0.96, 1.0, 0.80, 0.44, 0.38, 0.47]),
    "beaker": ([0, 0.08, 0.4, 0.7, 1], [0.78, 0.83, 0.93, 0.965, 1.0]),
    "ball": ([0, 0.1, 0.28, 0.5, 0.72, 0.88, 0.95, 1], [0.45, 0.66, 0.9, 1.0, 0.92, 0.68, 0.56, 0.57]),
}


@dataclass(frozen=True)
class Piece:
    """What a pot is to look like.

    Attributes
    ----------
    form : str
        A key of `PROFILES`.
    height_cm, diameter_cm : float
        The diameter is the greatest.
    lab : tuple of float
        The mean L*, a*, b* over both central bands.
    copper : bool
        Whether copper sulphate was dusted on: pink clouds and spots.
    wire_cm : float
        Copper wire around the pot; 0 for none.
    cracked : bool
        A hairline crack from the rim, in front.
    """

    form: str
    height_cm: float
    diameter_cm: float
    lab: tuple[float, float, float]
    copper: bool = False
    wire_cm: float = 0.0
    cracked: bool = False


@dataclass(frozen=True)
class Surface:
    """One pot's side, base to rim and once around.

    Attributes
    ----------
    piece : Piece
    shares : ndarray, shape (ROWS, COLUMNS, kinds)
        How much of each kind a texel holds. Row 0 is the base; column 0 faces the camera in view ``front``.
    lab : ndarray, shape (ROWS, COLUMNS, 3)
    area : ndarray, shape (ROWS,)
        Surface area of a texel in each row, relative.
    reflectance : ndarray, shape (kinds, 31)
        Of each kind.
    matt : float
        By how much carbon takes the gloss away.
    """

    piece: Piece
    shares: NDArray[np.float32]
    lab: NDArray[np.float32]
    area: NDArray[np.float64]
    reflectance: NDArray[np.float64] = field(default_factory=REFLECTANCE.copy)
    matt: float = 0.55

    def means(self, view: str | float, half_width: float = BAND_DEGREES) -> tuple[NDArray[np.float64], float]:
        """Average a view by area: its mean colour, and its dark share.

        Parameters
        ----------
        view : {"front", "back", "both"} or float
            A number is how far the pot is turned, in degrees; the back is 180.
        half_width : float
            Degrees to either side; 90 takes the whole visible side.

        Returns
        -------
        lab : ndarray, shape (3,)
        dark : float
            The share of surface below `DARK_BELOW`.
        """
        seen = _columns(view, half_width)
        lab = self.lab[:, seen].astype(float)
        weight = self.area / self.area.sum()
        dark = (lab[..., 0] < DARK_BELOW).mean(axis=1) @ weight
        return weight @ lab.mean(axis=1), float(dark)


def angles() -> NDArray[np.float64]:
    """Angle of each texel column's middle, degrees, -180 to 180; 0 faces the camera in view ``front``."""
    return ((np.arange(COLUMNS) + 0.5) * 360 / COLUMNS + 180) % 360 - 180


def turned(view: str | float) -> float:
    """Angle of the surface that faces the camera in a view, degrees."""
    return {"front": 0.0, "back": 180.0}[view] if isinstance(view, str) else float(view)


def _columns(view: str | float, half_width: float) -> NDArray[np.bool_]:
    if view == "both":
        return _columns("front", half_width) | _columns("back", half_width)
    return np.abs((angles() - turned(view) + 180) % 360 - 180) <= half_width


def radius(piece: Piece, height: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radius of the turned form, cm, at heights given as shares of the whole (0 base, 1 rim).

    The foot and the rim are rounded over about two millimetres, as a wet sponge leaves them.
    """
    smooth = np.interp(height, *_profile(piece.form)) * piece.diameter_cm / 2
    edge = np.clip(np.minimum(height, 1 - height) * piece.height_cm / 0.2, 0, 1)
    return smooth - 0.2 * (1 - np.sqrt(1 - (1 - edge) ** 2))


@functools.cache
def _profile(form: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # Smoothed, since a mirror-like highlight shows every jump in curvature.
    at = np.linspace(-0.2, 1.2, 2801)
    drawn = PchipInterpolator(*PROFILES[form], extrapolate=True)(np.clip(at, 0, 1))
    smooth = gaussian_filter1d(drawn, 50)
    return at, smooth / smooth.max()


def slope(piece: Piece, height: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radius gained per height climbed, both in cm."""
    step = 0.004
    rise = radius(piece, np.clip(height + step, 0, 1)) - radius(piece, np.clip(height - step, 0, 1))
    return rise / (2 * step * piece.height_cm)


def make_surface(rng: np.random.Generator, piece: Piece) -> Surface:
    """Fire a piece: draw its mottle, then solve it to the piece's true colour.

    Raises
    ------
    ValueError
        No mixture of the kinds has that mean colour.
    """
    height = (np.arange(ROWS) + 0.5) / ROWS
    area = radius(piece, height) * np.sqrt(1 + slope(piece, height) ** 2)
    logits = _mottle(rng, piece, height)
    bias = _solve(logits[:, _columns("both", BAND_DEGREES)], area / area.sum(), np.array(piece.lab))
    shares = _shares(logits, bias)
    return Surface(piece, shares, _lab(shares).astype(np.float32), area)


def waxed(surface: Surface) -> Surface:
    """Rub a thin coat of wax in, and buff it: colours deepen, and carbon shines as all else does.

    Each kind is waxed by itself, as if a texel's shares lay side by side in it.
    """
    reflectance = under_wax(REFLECTANCE)
    lab = _lab(surface.shares, spectra.reflectance_to_xyz(reflectance)).astype(np.float32)
    return replace(surface, reflectance=reflectance, lab=lab, matt=0.0)


def _cloud(rng: np.random.Generator, piece: Piece, size_cm: float, roughness: float = 3.2) -> NDArray:
    """Smooth noise, periodic around the pot: zero mean, unit spread, shapes of about the given size."""
    around = 2 * np.pi * 0.42 * piece.diameter_cm
    up = np.fft.fftfreq(2 * ROWS, piece.height_cm / ROWS)[:, None]
    along = np.fft.rfftfreq(COLUMNS, around / COLUMNS)
    keep = (1 + (up**2 + along**2) * size_cm**2 * 2) ** (-roughness / 2)
    keep[0, 0] = 0
    # The noise repeats in both directions. Around the pot that is wanted; upwards it would tie the rim to the
    # foot, so that twice the height is made and half of it kept.
    noise = rng.standard_normal((2 * ROWS, COLUMNS), dtype=np.float32)
    field = fft.irfft2(fft.rfft2(noise) * keep.astype(np.float32), s=noise.shape)[:ROWS]
    return (field - field.mean()) / field.std()


def _mottle(rng: np.random.Generator, piece: Piece, height: NDArray[np.float64]) -> NDArray[np.float32]:
    smoke, wisp, flame, blush, bloom = (_cloud(rng, piece, size) for size in (4.0, 1.8, 4.0, 3.0, 2.2))
    fine, grain, crease = (_cloud(rng, piece, size) for size in (0.7, 0.12, 6.0))
    base = np.exp(-height / 0.16)[:, None].astype(np.float32)
    # Foil lies against the pot along its creases: thin smoky lines with a pale halo on either side.
    line = np.exp(-((crease / 0.035) ** 2))
    halo = np.exp(-((crease / 0.13) ** 2)) - line
    pink = 0.0 if piece.copper else -2.5
    logits = {
        "slip white": 0.9 * bloom + 0.5 * fine + 0.9 * halo + 0.2 * grain,
        "iron orange": 2.1 * flame + 0.9 * wisp + 0.4 * fine,
        "deep red": 1.9 * blush + 1.0 * smoke + 0.4 * fine,
        "carbon black": 2.6 * smoke + 1.3 * wisp + 0.5 * fine + 1.5 * base + 1.1 * line + 0.35 * grain,
        "copper pink": 2.0 * bloom - 0.6 * flame + pink,
        "grey": 0.4 - 0.9 * np.abs(smoke) + 0.6 * wisp + 0.4 * fine,
    }
    if piece.copper:
        # Grains of copper sulphate: a deep red heart in a pink spot.
        spot = np.clip((_cloud(rng, piece, 0.35, 5.0) - 2.1) / 0.5, 0, 2)
        logits["copper pink"] = logits["copper pink"] + 1.5 * spot
        logits["deep red"] = logits["deep red"] + 1.8 * spot**2
    turn = angles()[None, :] / 360
    if piece.wire_cm:
        turns = piece.wire_cm / (np.pi * piece.diameter_cm * 0.84)
        wound = (height[:, None] - 0.3) * turns * 2.2 - turn + 0.04 * wisp
        near = np.abs(wound - np.round(wound)) / (turns * 2.2) * piece.height_cm
        near = np.where((height > 0.28)[:, None] & (height < 0.76)[:, None], near, 9.0)
        logits["carbon black"] = logits["carbon black"] + 4.5 * np.exp(-((near / 0.07) ** 2))
        logits["copper pink"] = logits["copper pink"] + 3.0 * np.exp(-((near / 0.28) ** 2))
    if piece.cracked:
        wander = 0.012 * wisp[:, :1] + 0.004 * fine[:, :1]
        near = np.abs(turn - 0.03 - wander) * np.pi * piece.diameter_cm
        logits["carbon black"] = (
            logits["carbon black"]
            + 14 * np.exp(-((near / 0.03) ** 2)) * (height > 0.62).astype(float)[:, None]
        )
    return np.stack([np.broadcast_to(logits[kind], smoke.shape) for kind in KINDS], axis=-1).astype(
        np.float32
    )


#: The kinds whose shares are solved: carbon for L*, iron for b*, red and pink for a*.
_SOLVED = ("carbon black", "iron orange", "deep red", "copper pink")
_MOVES = np.array([[kind == moved for kind in KINDS] for moved in _SOLVED], dtype=np.float32)
_XYZ = spectra.reflectance_to_xyz(REFLECTANCE)


def _shares(logits: NDArray, bias: NDArray) -> NDArray[np.float32]:
    raised = 1.05 * (logits + bias.astype(np.float32) @ _MOVES)
    raised = np.exp(raised - raised.max(axis=-1, keepdims=True))
    return raised / raised.sum(axis=-1, keepdims=True)


def _lab(shares: NDArray, xyz: NDArray = _XYZ) -> NDArray[np.float64]:
    # XYZ is linear in the reflectance, and the reflectance in the shares: mixing the kinds' XYZ is mixing
    # their spectra.
    return xyz_to_lab(shares.reshape(-1, len(KINDS)) @ xyz, spectra.white_xyz()).reshape(
        *shares.shape[:-1], 3
    )


def _solve(logits: NDArray, weight: NDArray, wanted: NDArray) -> NDArray[np.float64]:
    """Find the biases that give the wanted mean L*, a*, b*."""

    def miss(bias: NDArray, thin: int) -> NDArray:
        return weight @ _lab(_shares(logits[:, ::thin], bias)).mean(axis=1) - wanted

    # Four biases for three numbers: a faint pull towards the start settles the rest, and keeps red and pink
    # together where the colour allows. Every tenth column is enough to come near, at a tenth of the work; the
    # slopes found there then lead to the exact mean in two or three steps.
    start = np.array([0.0, 0.0, -0.5, -0.5])
    near = least_squares(
        lambda bias: np.append(miss(bias, 10), 0.02 * (bias - start)), start, bounds=(-12, 12), diff_step=0.01
    )
    bias, slopes = near.x, near.jac[:3]
    for _ in range(12):
        missed = miss(bias, 1)
        if np.abs(missed).max() < TOLERANCE:
            return bias
        bias = np.clip(bias - np.linalg.lstsq(slopes, missed)[0], -12, 12)
    raise ValueError(f"no mixture has the mean colour {wanted.round(1)}; it misses by {missed.round(2)}")
