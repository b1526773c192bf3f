"""Setups: a sensor in its light, and the picture that its maker's processing makes of what it records.

The demo book knows two, `SETUPS`; `draw_setup` draws others, for tests of how the measuring fares elsewhere.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from generator import spectra
from sagglab.colour import SRGB_TO_XYZ, WHITE_D50, WHITE_D65, adaptation, lab_to_xyz, linear_to_srgb

WIDTH, HEIGHT = 1200, 900


@dataclass(frozen=True)
class Setup:
    """One fixed combination of camera, light and place.

    Attributes
    ----------
    sensor, light : str
        Of `spectra.SENSORS` and `spectra.LIGHTS`.
    exposure : float
        Linear value of the perfect white at a place of light 1.
    contrast : float
        Bend of the S-shaped tone curve; 0 is none.
    balance : tuple of float
        The error of the white balance, a factor for each raw channel.
    fall_off : tuple of float
        The light over the frame: tilt to the right, tilt downwards, loss towards the corners.
    blur_px : float
        Spread of the lens.
    shot, read : float
        Noise in raw units: variance per signal, and standard deviation in the dark.
    glare : float
        Share of the frame's mean light that spreads over all of it.
    target_at : {"left", "right"}
        The side of the frame where the target stands when there is a pot, too.
    veil : float
        Light that a pot's surface throws back unchanged towards this camera, as a share of what the perfect
        white gives in the same place; a polariser takes it away, and a matt target has none.
    """

    sensor: str
    light: str
    exposure: float
    contrast: float
    balance: tuple[float, float, float]
    fall_off: tuple[float, float, float]
    blur_px: float
    shot: float
    read: float
    glare: float = 0.005
    target_at: str = "left"
    veil: float = 0.0

    def raw(self, reflectance: NDArray[np.float64]) -> NDArray[np.float64]:
        """White-balanced raw of surfaces in this setup's light, shape (..., 31) to (..., 3)."""
        return spectra.reflectance_to_raw(reflectance, self.sensor, self.light)


SETUPS = {
    "phone": Setup(
        sensor="Nikon 5100 (NPL)",
        light="D55",
        exposure=0.93,
        contrast=0.38,
        balance=(1.015, 1.0, 0.985),
        fall_off=(-0.045, -0.02, 0.055),
        blur_px=0.7,
        shot=2.4e-5,
        read=0.0016,
    ),
    "camera": Setup(
        sensor="Sigma SDMerill (NPL)",
        light="LED-B4",
        exposure=0.95,
        contrast=0.14,
        balance=(0.992, 1.0, 1.012),
        fall_off=(0.03, -0.03, 0.03),
        blur_px=0.65,
        shot=3e-6,
        read=0.0004,
        target_at="right",
    ),
}


def named_setup(setup: Setup | str) -> Setup:
    """Give the setup of that name in `SETUPS`; a setup is returned as it is."""
    return SETUPS[setup] if isinstance(setup, str) else setup


def draw_setup(rng: np.random.Generator) -> Setup:
    """Draw any setup: what a potter's camera, light and place may be.

    Everything is drawn evenly over its range: sensor and light from `spectra.SENSORS` and `spectra.LIGHTS`,
    the target's side; exposure 0.75 to 0.97; contrast 0 to 0.45; white balance off by up to 3 % in each
    channel; light that tilts to the right by up to 8 % and downwards by up to 4 %, either way, and loses
    0 to 8 % towards the corners; blur 0.6 to 1.2 px; noise between that of the two in `SETUPS`; glare of
    0.2 to 1.5 % of the frame's mean light. The ranges were fixed before anything was measured on them.
    """
    quiet, noisy = SETUPS["camera"], SETUPS["phone"]
    return Setup(
        sensor=str(rng.choice(spectra.SENSORS)),
        light=str(rng.choice(spectra.LIGHTS)),
        exposure=rng.uniform(0.75, 0.97),
        contrast=rng.uniform(0, 0.45),
        balance=tuple(rng.uniform(0.97, 1.03, 3)),
        fall_off=(rng.uniform(-0.08, 0.08), rng.uniform(-0.04, 0.04), rng.uniform(0, 0.08)),
        blur_px=rng.uniform(0.6, 1.2),
        shot=rng.uniform(quiet.shot, noisy.shot),
        read=rng.uniform(quiet.read, noisy.read),
        glare=rng.uniform(0.002, 0.015),
        target_at=str(rng.choice(["left", "right"])),
    )


def light_over_frame(setup: Setup) -> NDArray[np.float32]:
    """Map the light on a plane that faces the camera, shape (HEIGHT, WIDTH); 1 near the middle."""
    x = np.linspace(-1, 1, WIDTH, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, HEIGHT, dtype=np.float32)[:, None]
    right, down, corners = setup.fall_off
    return 1 + right * x + down * y - corners * (x**2 + y**2) / 2


@functools.cache
def raw_to_srgb(sensor: str, light: str) -> NDArray[np.float64]:
    """Fit the maker's matrix from white-balanced raw to linear sRGB, on the target's patches in the light.

    Its rows add up to 1, so that white stays white, as in a camera.
    """
    _, patches = spectra.patches()
    raw = spectra.reflectance_to_raw(patches, sensor, light)
    to_linear = np.linalg.inv(adaptation(WHITE_D65, WHITE_D50) @ SRGB_TO_XYZ)
    linear = lab_to_xyz(spectra.reflectance_to_lab(patches)) @ to_linear.T
    free = np.linalg.lstsq(raw[:, :2] - raw[:, 2:], linear - raw[:, 2:], rcond=None)[0].T
    return np.column_stack([free, 1 - free.sum(axis=1)])


def tone(encoded: NDArray[np.float32], contrast: float) -> NDArray[np.float32]:
    """Bend encoded values along a smooth S: darker shadows, brighter lights, ends kept.

    Rising throughout as long as `contrast` stays below 1.
    """
    return encoded + contrast * encoded * (1 - encoded) * (2 * encoded - 0.9)


def expose(scene: NDArray[np.float32], setup: Setup, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Take the photograph.

    Parameters
    ----------
    scene : ndarray, shape (HEIGHT, WIDTH, 3)
        White-balanced raw light from each place, 1 for the perfect white in light 1; without bound above.
    setup : Setup
    rng : Generator
        For the noise.

    Returns
    -------
    ndarray of uint8, shape (HEIGHT, WIDTH, 3)
        Encoded sRGB.
    """
    light = scene * (np.array(setup.balance, np.float32) * np.float32(setup.exposure))
    for axis in (0, 1):
        light = gaussian_filter1d(light, setup.blur_px, axis=axis, mode="nearest")
    light += np.float32(setup.glare) * np.minimum(light, 4).mean(axis=(0, 1))
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    light += noise * np.sqrt(np.float32(setup.shot) * light + np.float32(setup.read**2))
    # The sensor is full at 1.12 of the display's white: headroom for the matrix, as cameras keep.
    raw = np.clip(light, 0, 1.12)
    linear = np.clip(raw @ raw_to_srgb(setup.sensor, setup.light).T.astype(np.float32), 0, 1)
    encoded = np.clip(tone(linear_to_srgb(linear), setup.contrast), 0, 1)
    return np.round(encoded * 255).astype(np.uint8)
