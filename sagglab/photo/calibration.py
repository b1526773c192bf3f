"""Calibration: from what a photograph shows of a target's patches to CIELAB for the whole photograph.

First the tone: a monotone curve for each channel, from the neutral patches, that undoes what the camera did
for looks. Then the colour: a regression from linear camera RGB to XYZ under D50. Several are tried, and the
one that best predicts patches which it has not seen is taken.
"""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import delta_e_2000, lab_to_xyz, xyz_to_lab
from sagglab.errors import Problem, Problems, TargetError
from sagglab.photo.flat import FlatField
from sagglab.photo.patches import PatchSamples
from sagglab.photo.tone import Tone, fit_tone
from sagglab.targets import Target

Terms = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def linear_terms(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """R, G, B."""
    return rgb


def root_polynomial_terms(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """R, G, B and the square roots of their products, which scale with the light as XYZ does.

    References
    ----------
    Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015).
    """
    red, green, blue = np.moveaxis(np.maximum(rgb, 0), -1, 0)
    roots = [np.sqrt(red * green), np.sqrt(green * blue), np.sqrt(blue * red)]
    return np.concatenate([rgb, np.stack(roots, axis=-1)], axis=-1)


def polynomial_terms(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """R, G, B, their squares and products."""
    red, green, blue = np.moveaxis(rgb, -1, 0)
    products = [red * green, green * blue, blue * red]
    return np.concatenate([rgb, rgb**2, np.stack(products, axis=-1)], axis=-1)


METHODS: dict[str, Terms] = {
    "linear": linear_terms,
    "root-polynomial": root_polynomial_terms,
    "polynomial": polynomial_terms,
}

#: Limits on the mean ΔE00 over the target in heritage-imaging guidelines (from a secondary source).
GRADE_LIMITS = (2.0, 3.5, 5.0, 6.5)

#: A patch is neutral, and serves for the tone, below this chroma.
NEUTRAL_CHROMA = 5.0


def grade(mean_delta_e: float) -> str:
    """Name the narrowest of the heritage-imaging limits that a mean ΔE00 keeps.

    Examples
    --------
    >>> grade(1.4), grade(7)
    ('under 2', '6.5 or more')
    """
    for limit in GRADE_LIMITS:
        if mean_delta_e < limit:
            return f"under {limit:g}"
    return f"{GRADE_LIMITS[-1]:g} or more"


@dataclass(frozen=True)
class Mapping:
    """From linear camera RGB to CIELAB: undo the tone, take out the light's fall-off, regress.

    Attributes
    ----------
    method : str
        A key of ``METHODS``.
    tone : Tone
    matrix : ndarray, shape (terms, 3)
        Takes the method's terms to XYZ under D50.
    """

    method: str
    tone: Tone
    matrix: NDArray[np.float64]

    def __call__(self, linear: ArrayLike, light: ArrayLike) -> NDArray[np.float64]:
        """CIELAB of pixels, shape ``(..., 3)``; `light` is the relative light at them."""
        return xyz_to_lab(METHODS[self.method](self.tone(linear) / light) @ self.matrix)


@dataclass(frozen=True)
class Calibration:
    """A photograph's calibration.

    Attributes
    ----------
    mapping : Mapping
        Chosen by the left-out error.
    flat : FlatField or None
    mean, percentile_95, maximum : float
        ΔE00 over the patches used, after calibration.
    left_out_mean : float
        Mean ΔE00 over these patches, each predicted by a calibration made without it.
    grade : str
        The narrowest heritage-imaging limit that `mean` keeps.
    patches : DataFrame
        One row per patch: ``patch``, its centre ``x``, ``y``, ``used``, ``L*``, ``a*``, ``b*`` as measured,
        ``ΔE00`` and ``left-out ΔE00``.
    problems : Problems
    """

    mapping: Mapping
    flat: FlatField | None
    mean: float
    percentile_95: float
    maximum: float
    left_out_mean: float
    grade: str
    patches: pd.DataFrame
    problems: Problems

    @property
    def method(self) -> str:
        """The regression that was chosen, a key of ``METHODS``."""
        return self.mapping.method

    def lab(self, linear: ArrayLike, places: ArrayLike) -> NDArray[np.float64]:
        """CIELAB (D50, 2°) of pixels of the photograph.

        Parameters
        ----------
        linear : array_like, shape (..., 3)
            Linear light as the photograph shows it.
        places : array_like, shape (..., 2)
            (x, y) of the pixels in the full photograph, where the flat field is looked up.

        Returns
        -------
        ndarray, shape (..., 3)
        """
        return self.mapping(linear, _light(self.flat, self.mapping.tone, places))

    def _repr_html_(self) -> str:
        return (
            f"<p>Calibrated by {html.escape(self.method)} regression on {self.patches['used'].sum()} "
            f"patches: ΔE00 mean {self.mean:.2f} ({html.escape(self.grade)}), 95 % of patches within "
            f"{self.percentile_95:.2f}; patches left out in turn {self.left_out_mean:.2f}.</p>"
        )


def _light(flat: FlatField | None, tone: Tone, places: ArrayLike) -> ArrayLike:
    return 1.0 if flat is None else flat.at(places, tone)


def calibrate(samples: PatchSamples, target: Target, flat: FlatField | None = None) -> Calibration:
    """Calibrate a photograph from its target.

    Parameters
    ----------
    samples : PatchSamples
    target : Target
    flat : FlatField, optional

    Returns
    -------
    Calibration

    Raises
    ------
    TargetError
        Too few patches are left that are not clipped.
    """
    reference = target.lab.reshape(-1, 3)
    shown = samples.linear.reshape(-1, 3)
    places = samples.places.reshape(-1, 2)
    used = ~samples.clipped.ravel()
    # Two patches for each coefficient are the least that a left-out error can be judged by.
    methods = [name for name, terms in METHODS.items() if 2 * terms(shown[:1]).shape[1] <= used.sum() - 1]
    if not methods:
        raise TargetError(
            "photograph",
            f"{(~used).sum()} of the target's {len(used)} patches are clipped",
            "expose so that the white patch is not the brightest that the camera can show",
        )

    xyz, slopes = lab_to_xyz(reference), _perceptual_slopes(reference)
    neutral = np.hypot(reference[:, 1], reference[:, 2]) < NEUTRAL_CHROMA

    def tone_from(chosen: NDArray[np.bool_]) -> Tone:
        grey = chosen & neutral
        return _tone(shown[grey], xyz[grey, 1:2], places[grey], flat)

    def designs_under(tone: Tone) -> dict[str, NDArray[np.float64]]:
        relative = tone(shown) / _light(flat, tone, places)
        return {method: METHODS[method](relative) for method in methods}

    def matrix_from(design: NDArray[np.float64], chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
        return _fit_perceptual(design[chosen], xyz[chosen], slopes[chosen])

    tone = tone_from(used)
    designs = designs_under(tone)
    left_out = pd.DataFrame(np.nan, index=range(len(used)), columns=methods)
    for patch in np.flatnonzero(used):
        others = used.copy()
        others[patch] = False
        # A coloured patch has no part in the tone, so that leaving it out leaves the tone as it is.
        without = designs_under(tone_from(others)) if neutral[patch] else designs
        for method, design in without.items():
            lab = xyz_to_lab(design[patch] @ matrix_from(design, others))
            left_out.loc[patch, method] = float(delta_e_2000(lab, reference[patch]))
    method = str(left_out.mean().idxmin())
    mapping = Mapping(method, tone, matrix_from(designs[method], used))
    lab = xyz_to_lab(designs[method] @ mapping.matrix)
    patches = pd.DataFrame(
        {
            "patch": target.patches,
            "x": places[:, 0],
            "y": places[:, 1],
            "used": used,
            **dict(zip(("L*", "a*", "b*"), lab.T, strict=True)),
            "ΔE00": delta_e_2000(lab, reference),
            "left-out ΔE00": left_out[method],
        }
    )
    errors = patches.loc[used, "ΔE00"]
    return Calibration(
        mapping=mapping,
        flat=flat,
        mean=float(errors.mean()),
        percentile_95=float(errors.quantile(0.95)),
        maximum=float(errors.max()),
        left_out_mean=float(left_out[method].mean()),
        grade=grade(errors.mean()),
        patches=patches,
        problems=_clipped_problem(patches),
    )


def _clipped_problem(patches: pd.DataFrame) -> Problems:
    clipped = patches.loc[~patches["used"], "patch"]
    if clipped.empty:
        return Problems()
    cause = f"clipped, and left out of the calibration: {', '.join(clipped)}"
    return Problems([Problem("photos", None, "photo", cause, "expose a little less", stops=False)])


def _tone(
    shown: NDArray[np.float64],
    light: NDArray[np.float64],
    places: NDArray[np.float64],
    flat: FlatField | None,
) -> Tone:
    """Fit the tone to the neutral patches; the arrays have one row for each, `light` is their Y."""
    tone = fit_tone(shown, light)
    if flat is not None:
        # The sheet's tone must be undone to know the light, and the light at each neutral patch to know the
        # tone. Two rounds settle both to 1e-6, since the light differs by little over a target.
        for _ in range(2):
            tone = fit_tone(shown, light * flat.at(places, tone))
    return tone


def _perceptual_slopes(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """How fast L*, a*, b* change with X, Y, Z at each colour, weighted as CIEDE2000 does; (n, 3, 3)."""
    xyz, step = lab_to_xyz(lab), 1e-6
    slopes = np.stack(
        [(xyz_to_lab(xyz + step * axis) - xyz_to_lab(xyz - step * axis)) / (2 * step) for axis in np.eye(3)],
        axis=-1,
    )
    # A difference in chroma counts less the more chroma there is: S_C of CIEDE2000.
    weights = np.ones_like(lab)
    weights[:, 1:] = 1 / (1 + 0.045 * np.hypot(lab[:, 1], lab[:, 2]))[:, None]
    return slopes * weights[:, :, None]


def _fit_perceptual(
    design: NDArray[np.float64], xyz: NDArray[np.float64], slopes: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Least squares in CIELAB, made linear about each patch's reference colour.

    A plain fit to XYZ spends its effort on the light patches; a unit of XYZ is worth far more in a dark one.
    """
    patches, terms = design.shape
    left = np.einsum("plx,pt->pltx", slopes, design).reshape(patches * 3, terms * 3)
    right = np.einsum("plx,px->pl", slopes, xyz).ravel()
    return np.linalg.lstsq(left, right, rcond=None)[0].reshape(terms, 3)
