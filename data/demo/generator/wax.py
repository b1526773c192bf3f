"""Wax: what a thin buffed coat of it does to the colour of a fired surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad

#: Of wax, as of paraffin and beeswax; from memory.
INDEX = 1.44

#: The share of a rough surface that a coat rubbed in and buffed thin fills; the rest stays bare. Invented: a
#: surface filled all over would look wet, and grow darker by some 14 L* in place of 4.
FILLED = 0.35


def _thrown_back(sine: float, index: float) -> float:
    """Fresnel's share of light that a smooth face throws back, by the sine of its angle in air."""
    outside, inside = np.sqrt(1 - sine**2), np.sqrt(1 - (sine / index) ** 2)
    across = (outside - index * inside) / (outside + index * inside)
    along = (index * outside - inside) / (index * outside + inside)
    return float((across**2 + along**2) / 2)


def internal_reflectance(index: float = INDEX) -> float:
    """Share of diffuse light from below that a smooth face throws back down.

    By reciprocity (1 − inside) n² = 1 − outside, where the latter is Fresnel's share averaged over all
    directions of diffuse light from above.

    Examples
    --------
    >>> round(internal_reflectance(1.5), 3)
    0.596
    """
    outside = quad(lambda sine: 2 * sine * _thrown_back(sine, index), 0, 1)[0]
    return float(1 - (1 - outside) / index**2)


def under_wax(reflectance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Wax a matt surface.

    Light that the body throws back is held in by the film, and meets the body again and again, so that what
    the body takes out of it counts more than once: the colour deepens. The film's own mirrored light is left
    to the highlights.

    Parameters
    ----------
    reflectance : ndarray
        Of the bare surface.

    References
    ----------
    Saunderson, J. Opt. Soc. Am. 32 (1942), 727–736: R = (1 − k₁) (1 − k₂) ρ / (1 − k₂ ρ), with the body's
    reflectance ρ as measured bare; the reference, and 0.596 for k₂ at n = 1.5, from memory.
    """
    mirrored, held = _thrown_back(0.0, INDEX), internal_reflectance()
    filmed = (1 - mirrored) * (1 - held) * reflectance / (1 - held * reflectance)
    return (1 - FILLED) * reflectance + FILLED * filmed
