"""Two setups: a sensor in its light, and the picture that its maker's processing makes of what it records."""

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
    name : {"phone", "camera"}
        The sensor and the light are those of that name in `spectra`.
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
    """

    name: str
    exposure: float
    contrast: float
    balance: tuple[float, float, float]
    fall_off: tuple[float, float, float]
    blur_px: float
    shot: float
    read: float
    glare: float = 0.005


SETUPS = {
    "phone": Setup("phone", 0.93, 0.38, (1.015, 1.0, 0.985), (-0.045, -0.02, 0.055), 0.7, 2.4e-5, 0.0016),
    "camera": Setup("camera", 0.95, 0.14, (0.992, 1.0, 1.012), (0.03, -0.03, 0.03), 0.65, 3e-6, 0.0004),
}


def light_over_frame(setup: Setup) -> NDArray[np.float32]:
    """Map the light on a plane that faces the camera, shape (HEIGHT, WIDTH); 1 near the middle."""
    x = np.linspace(-1, 1, WIDTH, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, HEIGHT, dtype=np.float32)[:, None]
    right, down, corners = setup.fall_off
    return 1 + right * x + down * y - corners * (x**2 + y**2) / 2


@functools.cache
def raw_to_srgb(name: str) -> NDArray[np.float64]:
    """Fit the maker's matrix from white-balanced raw to linear sRGB, on the target's patches.

    Its rows add up to 1, so that white stays white, as in a camera.
    """
    _, patches = spectra.patches()
    raw = spectra.reflectance_to_raw(patches, name)
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
    linear = np.clip(raw @ raw_to_srgb(setup.name).T.astype(np.float32), 0, 1)
    encoded = np.clip(tone(linear_to_srgb(linear), setup.contrast), 0, 1)
    return np.round(encoded * 255).astype(np.uint8)
