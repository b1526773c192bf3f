"""Spectra: the light, the eye, two cameras, the patches of a target, and what a fired surface is made of.

Everything is sampled from 400 to 700 nm in steps of 10 nm, and every sum over wavelengths in the generator
runs over these 31 samples, so that the target's reference values, the pots' true colours and the pictures
agree with one another exactly.
"""

from __future__ import annotations

import functools

import colour
import numpy as np
from numpy.typing import NDArray

from sagglab.colour import xyz_to_lab

# Importing colour-science switches NumPy's printing to an old style for the whole process, and with it the
# examples in docstrings; it is switched back.
np.set_printoptions(legacy=False)

WAVELENGTHS = np.arange(400.0, 701.0, 10.0)

#: Keys of colour-science's measured data sets, as that library spells them.
PATCH_SET = "ISO 17321-1"
SENSORS = ("Nikon 5100 (NPL)", "Sigma SDMerill (NPL)")
LIGHTS = ("D55", "D65", "A", "FL11", "LED-B4", "LED-V2")


def _sampled(spectrum: colour.SpectralDistribution) -> NDArray[np.float64]:
    # Plain linear sampling; beyond the measured range a sensor is taken to see nothing.
    return np.interp(WAVELENGTHS, spectrum.wavelengths, spectrum.values, left=0.0, right=0.0)


def _rise(centre: float, width: float) -> NDArray[np.float64]:
    return 1 / (1 + np.exp(-(WAVELENGTHS - centre) / width))


def _bump(centre: float, width: float) -> NDArray[np.float64]:
    return np.exp(-(((WAVELENGTHS - centre) / width) ** 2) / 2)


#: Reflectance of each kind of surface. Invented curves, smooth as those of iron oxides, carbon and white
#: clay are, and no measurement of any pot.
KINDS = {
    "slip white": 0.50 + 0.24 * _rise(480, 45),
    "iron orange": 0.055 + 0.40 * _rise(566, 23),
    "deep red": 0.036 + 0.26 * _rise(605, 15),
    "carbon black": 0.036 + 0.005 * (WAVELENGTHS - 400) / 300,
    "copper pink": 0.145 + 0.065 * _bump(435, 35) + 0.30 * _rise(596, 17),
    "grey": 0.20 + 0.01 * _rise(520, 60),
}
BACKDROP = 0.33 + 0.015 * _rise(520, 80)
GREY_SHEET = np.full(WAVELENGTHS.shape, 0.45)
TARGET_FRAME = np.full(WAVELENGTHS.shape, 0.042)


@functools.cache
def patches() -> tuple[tuple[str, ...], NDArray[np.float64]]:
    """Names and reflectances of the target's 24 patches, four rows of six.

    Returns
    -------
    names : tuple of str
    reflectance : ndarray, shape (24, 31)
    """
    measured = colour.SDS_COLOURCHECKERS[PATCH_SET]
    names = tuple(name.partition(" (")[0] for name in measured)
    return names, np.array([_sampled(spectrum) for spectrum in measured.values()])


@functools.cache
def _observer() -> NDArray[np.float64]:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    seen = np.stack([_sampled(cmfs.signals[axis]) for axis in cmfs.labels])
    weights = seen * _sampled(colour.SDS_ILLUMINANTS["D50"])
    return weights / weights[1].sum()


def reflectance_to_xyz(reflectance: NDArray[np.float64]) -> NDArray[np.float64]:
    """XYZ under D50 for the 2° observer; the perfect white has Y = 1.

    Parameters
    ----------
    reflectance : ndarray, shape (..., 31)

    Returns
    -------
    ndarray, shape (..., 3)
    """
    return reflectance @ _observer().T


@functools.cache
def white_xyz() -> NDArray[np.float64]:
    """XYZ of the perfect white over the generator's own wavelengths, shape (3,)."""
    return reflectance_to_xyz(np.ones(WAVELENGTHS.shape))


def reflectance_to_lab(reflectance: NDArray[np.float64]) -> NDArray[np.float64]:
    """L*, a*, b* under D50 for the 2° observer; shapes as in `reflectance_to_xyz`.

    Examples
    --------
    >>> reflectance_to_lab(GREY_SHEET).round(1) + 0.0
    array([72.9,  0. ,  0. ])
    """
    return xyz_to_lab(reflectance_to_xyz(reflectance), white_xyz())


@functools.cache
def _sensor(sensor: str, light: str) -> NDArray[np.float64]:
    sensitivities = colour.MSDS_CAMERA_SENSITIVITIES[sensor]
    seen = np.stack([_sampled(sensitivities.signals[channel]) for channel in sensitivities.labels])
    weights = seen * _sampled(colour.SDS_ILLUMINANTS[light])
    return weights / weights.sum(axis=1, keepdims=True)


def reflectance_to_raw(reflectance: NDArray[np.float64], sensor: str, light: str) -> NDArray[np.float64]:
    """Record a surface with a sensor in a light, white balanced.

    Parameters
    ----------
    reflectance : ndarray, shape (..., 31)
    sensor : str
        One of `SENSORS`.
    light : str
        One of `LIGHTS`.

    Returns
    -------
    ndarray, shape (..., 3)
        Linear channel values; the perfect white gives 1 in each.
    """
    return reflectance @ _sensor(sensor, light).T
