"""Colour regression: from linear camera RGB to XYZ under D50, fitted to patches whose CIELAB is known.

Root-polynomials bend the map without minding exposure: each term is a geometric mean of channels, so that k
times the light gives k times the XYZ. Their extra terms are shrunk towards the linear map, and what is shrunk
is a term's departure from the same mean taken arithmetically, which is nil for neutral colours: whatever the
shrinkage, white stays white.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import lab_to_xyz, xyz_to_lab

_THIRD, _HALF = 1 / 3, 1 / 2

#: Exponents of R, G and B in each term beyond R, G, B themselves. The root-polynomials are those of
#: Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015).
METHODS: dict[str, NDArray[np.float64]] = {
    "linear": np.zeros((0, 3)),
    "root-polynomial of degree 2": np.array([[_HALF, _HALF, 0], [0, _HALF, _HALF], [_HALF, 0, _HALF]]),
    "root-polynomial of degree 3": np.array(
        [
            [_HALF, _HALF, 0],
            [0, _HALF, _HALF],
            [_HALF, 0, _HALF],
            [_THIRD, 2 * _THIRD, 0],
            [0, _THIRD, 2 * _THIRD],
            [_THIRD, 0, 2 * _THIRD],
            [2 * _THIRD, _THIRD, 0],
            [0, 2 * _THIRD, _THIRD],
            [2 * _THIRD, 0, _THIRD],
            [_THIRD, _THIRD, _THIRD],
        ]
    ),
    "polynomial of degree 2": np.array(
        [[2, 0, 0], [0, 2, 0], [0, 0, 2], [1, 1, 0], [0, 1, 1], [1, 0, 1]], dtype=float
    ),
}

#: What is tried: a method, and how strongly its departures from linear are shrunk. A coefficient of 1 costs
#: as much as one patch that is off by the square root of the shrinkage, in ΔE00. Between these steps the
#: left-out error changed by less than 2 % on rendered scenes.
CANDIDATES = (
    ("linear", 0.0),
    ("root-polynomial of degree 2", 1.0),
    ("root-polynomial of degree 2", 100.0),
    ("root-polynomial of degree 2", 1000.0),
    ("root-polynomial of degree 3", 30.0),
    ("root-polynomial of degree 3", 300.0),
    ("root-polynomial of degree 3", 3000.0),
    ("polynomial of degree 2", 30.0),
    ("polynomial of degree 2", 1000.0),
)


#: Pixels whose terms are made at once.
_STRETCH = 8192


def terms(method: str, rgb: ArrayLike) -> NDArray[np.float64]:
    """Terms of a method: R, G, B and the products or roots of products that it adds.

    Parameters
    ----------
    method : str
        A key of ``METHODS``.
    rgb : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., terms)

    Examples
    --------
    >>> terms("root-polynomial of degree 2", [0.09, 0.25, 0.16]).round(3)
    array([0.09, 0.25, 0.16, 0.15, 0.2 , 0.12])
    """
    rgb = np.asarray(rgb)
    rgb = rgb if rgb.dtype == np.float32 else rgb.astype(float)
    return np.moveaxis(_term_planes(method, np.moveaxis(rgb, -1, 0)), 0, -1)


def _term_planes(method: str, rgb: NDArray[np.floating]) -> NDArray[np.floating]:
    """Terms of channels that lie apart, shape (3, …) to (terms, …)."""
    exponents = METHODS[method]
    planes = np.empty((3 + len(exponents), *rgb.shape[1:]), rgb.dtype)
    planes[:3] = rgb
    if not len(exponents):
        return planes
    light = np.maximum(rgb, 0)
    if (exponents == np.round(exponents)).all():
        powers = {1.0: light, 2.0: light**2}
    else:
        # Roots of each channel once, and products of them: powers of a whole picture are ten times as slow.
        powers = {_HALF: np.sqrt(light)}
        if _THIRD in exponents:
            powers[_THIRD] = np.cbrt(light)
            powers[2 * _THIRD] = powers[_THIRD] ** 2
    for term, row in enumerate(exponents, start=3):
        first, *more = (powers[e][k] for k, e in enumerate(row) if e)
        planes[term] = first
        for factor in more:
            planes[term] *= factor
    return planes


@dataclass(frozen=True)
class Regression:
    """A map from linear camera RGB to XYZ under D50.

    Attributes
    ----------
    method : str
        A key of ``METHODS``.
    shrinkage : float
        How strongly departures from linear were shrunk.
    matrix : ndarray, shape (terms, 3)
    """

    method: str
    shrinkage: float
    matrix: NDArray[np.float64]

    def __call__(self, rgb: ArrayLike) -> NDArray[np.float64]:
        """XYZ (Y = 1 for white), shape ``(..., 3)`` in and out; float32 stays float32."""
        rgb = np.asarray(rgb)
        if rgb.dtype != np.float32:
            return terms(self.method, rgb) @ self.matrix
        # A stretch of pixels with all its terms stays in the processor's cache.
        flat = rgb.reshape(-1, 3)
        onto = self.matrix.T.astype(np.float32)
        xyz = np.empty((3, len(flat)), np.float32)
        for first in range(0, len(flat), _STRETCH):
            channels = np.ascontiguousarray(flat[first : first + _STRETCH].T)
            np.matmul(onto, _term_planes(self.method, channels), out=xyz[:, first : first + _STRETCH])
        return xyz.T.reshape(rgb.shape)


@dataclass(frozen=True)
class Patches:
    """Patches with known colours, as the fits need them again and again.

    Attributes
    ----------
    lab, xyz : ndarray, shape (n, 3)
        The reference colours.
    slopes : ndarray, shape (n, 3, 3)
        How fast the colour differs, in units of CIEDE2000, with X, Y, Z at each of them.
    """

    lab: NDArray[np.float64]
    xyz: NDArray[np.float64]
    slopes: NDArray[np.float64]

    @classmethod
    def of(cls, lab: NDArray[np.float64]) -> Patches:
        """Make them of reference colours, shape (n, 3)."""
        return cls(lab, lab_to_xyz(lab), _perceptual_slopes(lab))

    @cached_property
    def per_difference(self) -> NDArray[np.float64]:
        """How fast X, Y, Z differ with the colour: the inverse of `slopes`."""
        return np.linalg.inv(self.slopes)


def _perceptual_slopes(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """How L*, C*ab and hue change with X, Y, Z, each over its weight S_L, S_C, S_H in CIEDE2000; (n, 3, 3).

    A plain fit to XYZ spends its effort on the light patches; a unit of XYZ is worth far more in a dark one.
    The rotation term, the rescaled a* and the factor T of S_H in CIEDE2000 are left out: they matter for
    blues, near neutrals and some hues, and the errors reported are ΔE00 in full.
    """
    xyz, step = lab_to_xyz(lab), 1e-6
    slopes = np.stack(
        [(xyz_to_lab(xyz + step * axis) - xyz_to_lab(xyz - step * axis)) / (2 * step) for axis in np.eye(3)],
        axis=-1,
    )
    lightness, a, b = lab.T
    chroma = np.hypot(a, b)
    cosine = np.divide(a, chroma, out=np.ones_like(a), where=chroma > 1e-9)
    sine = np.divide(b, chroma, out=np.zeros_like(b), where=chroma > 1e-9)
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma
    turn = np.zeros((len(lab), 3, 3))
    turn[:, 0, 0] = 1 / s_l
    turn[:, 1, 1], turn[:, 1, 2] = cosine / s_c, sine / s_c
    turn[:, 2, 1], turn[:, 2, 2] = -sine / s_h, cosine / s_h
    return turn @ slopes


@dataclass(frozen=True)
class Fit:
    """A regression fitted, with what is needed to leave patches out without fitting anew.

    Attributes
    ----------
    regression : Regression
    patches : Patches
    residual : ndarray, shape (n, 3)
        Of the fit, along the rows of ``patches.slopes``.
    hat : ndarray, shape (n, n, 3, 3)
        How much each patch's fitted value moves with each patch's reference.
    """

    regression: Regression
    patches: Patches
    residual: NDArray[np.float64]
    hat: NDArray[np.float64]

    def left_out(self) -> NDArray[np.float64]:
        """CIELAB of each patch, shape (n, 3), by the regression made without it, on the same tone."""
        # Leaving a patch out is a change of rank three: its error grows by (1 − H)⁻¹.
        own = self.hat[np.arange(len(self.hat)), np.arange(len(self.hat))]
        return self._lab(np.linalg.solve(np.eye(3) - own, self.residual[..., None])[..., 0])

    def left_out_with_another(self) -> NDArray[np.float64]:
        """CIELAB of patch j by the regression made without the patches i and j, shape (n, n, 3).

        Where i is j, one patch is left out.
        """
        count = len(self.hat)
        first, second = np.indices((count, count)).reshape(2, -1)
        single = first == second
        hat = np.zeros((count * count, 2, 3, 2, 3))
        for row, down in enumerate((first, second)):
            for column, across in enumerate((first, second)):
                hat[:, row, :, column] = self.hat[down, across]
        # A pair of one and the same patch would be singular; its second half is taken off.
        hat[single, 1, :, 0] = hat[single, 0, :, 1] = 0
        residual = np.stack([self.residual[first], self.residual[second]], axis=1).reshape(-1, 6, 1)
        left_out = np.linalg.solve(np.eye(6) - hat.reshape(-1, 6, 6), residual)[:, 3:, 0]
        return self._lab(left_out.reshape(count, count, 3))

    def _lab(self, residual: NDArray[np.float64]) -> NDArray[np.float64]:
        steps = (self.patches.per_difference @ residual[..., None])[..., 0]
        return xyz_to_lab(self.patches.xyz - steps)


def fit_regressions(
    rgb: NDArray[np.float64],
    patches: Patches,
    weights: NDArray[np.float64],
    candidates: Sequence[tuple[str, float]],
) -> tuple[Fit, ...]:
    """Fit regressions by weighted, shrunk least squares in units of colour difference.

    Parameters
    ----------
    rgb : ndarray, shape (n, 3)
        Linear light relative to the white that has Y = 1.
    patches : Patches
        Their reference colours.
    weights : ndarray, shape (n,)
        0 for a patch that has no say.
    candidates : sequence of (method, shrinkage)
        Keys of ``METHODS``, and how strongly departures from linear are shrunk.
    """
    return fit_again(rgb, patches, candidates)(weights)


def fit_again(
    rgb: NDArray[np.float64], patches: Patches, candidates: Sequence[tuple[str, float]]
) -> Callable[[NDArray[np.float64]], tuple[Fit, ...]]:
    """Make what fits regressions by weights, to be asked with one set of weights after the other.

    Parameters are those of `fit_regressions`, which is asked once.
    """
    # Candidates of one method differ by their cost alone, and weights leave its terms as they are.
    designs = {method: _Design.of(rgb, patches, method) for method, _ in candidates}

    def fits(weights: NDArray[np.float64]) -> tuple[Fit, ...]:
        squares = {method: _Square.of(design, weights) for method, design in designs.items()}
        return tuple(squares[method].fit(patches, method, shrinkage) for method, shrinkage in candidates)

    return fits


def fit_regression(
    rgb: NDArray[np.float64], patches: Patches, weights: NDArray[np.float64], method: str, shrinkage: float
) -> Fit:
    """Fit one regression; parameters as `fit_regressions` takes them."""
    return fit_regressions(rgb, patches, weights, [(method, shrinkage)])[0]


@dataclass(frozen=True)
class _Design:
    """A method's equations, before they are weighted."""

    departing: NDArray[np.float64]
    rows: NDArray[np.float64]
    wanted: NDArray[np.float64]

    @classmethod
    def of(cls, rgb: NDArray[np.float64], patches: Patches, method: str) -> _Design:
        count, exponents = len(rgb), METHODS[method]
        size = 3 + len(exponents)
        # Departures of the extra terms from their arithmetic counterparts, as columns of the terms.
        departing = np.eye(size)
        departing[:3, 3:] = -(exponents / exponents.sum(axis=1, keepdims=True)).T
        design = terms(method, rgb) @ departing
        # Row (patch, l), column (term, x): one least squares for all of XYZ, since slopes join X, Y and Z.
        rows = (design[:, None, :, None] * patches.slopes[:, :, None, :]).reshape(count * 3, size * 3)
        return cls(departing, rows, (patches.slopes @ patches.xyz[..., None]).ravel())


@dataclass(frozen=True)
class _Square:
    """A method's least squares before departures from linear are shrunk."""

    design: _Design
    weighted: NDArray[np.float64]
    square: NDArray[np.float64]

    @classmethod
    def of(cls, design: _Design, weights: NDArray[np.float64]) -> _Square:
        weighted = design.rows * np.repeat(weights, 3)[:, None]
        return cls(design, weighted, design.rows.T @ weighted)

    def fit(self, patches: Patches, method: str, shrinkage: float) -> Fit:
        departing, rows, wanted = self.design.departing, self.design.rows, self.design.wanted
        size, count = len(departing), len(rows) // 3
        cost = np.full(3 * size, shrinkage)
        cost[:9] = 1e-9
        onto = np.linalg.solve(self.square + np.diag(cost), self.weighted.T)
        solved = onto @ wanted
        hat = (rows @ onto).reshape(count, 3, count, 3).swapaxes(1, 2)
        return Fit(
            Regression(method, shrinkage, departing @ solved.reshape(size, 3)),
            patches,
            (wanted - rows @ solved).reshape(count, 3),
            hat,
        )
