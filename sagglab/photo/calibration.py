"""Calibration: from what a photograph shows of a target's patches to CIELAB for the whole photograph.

First the tone: a monotone curve for each channel, from the neutral patches, that undoes what the camera did
for looks, and takes out the veil of stray light with it. Then the light's fall-off, from a flat field, the
backdrop or the target itself. Then the colour: a regression from linear camera RGB to XYZ under D50. Several
are tried, and the one that best predicts patches which it has not seen is taken; the error that is reported
for a patch comes from a choice in which that patch had no part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import xyz_to_lab
from sagglab.errors import Problem, Problems, TargetError
from sagglab.markup import framed, paragraph
from sagglab.photo.fall_off import EvenLight, Light
from sagglab.photo.flags import flagged
from sagglab.photo.flat import FlatField
from sagglab.photo.patches import PatchSamples
from sagglab.photo.picture import Picture
from sagglab.photo.regression import Patches, Regression
from sagglab.photo.solution import Seen, Solution, left_out, solve
from sagglab.photo.tone import Tone
from sagglab.targets import Target

#: Limits on the mean ΔE00 over the target in heritage-imaging guidelines (from a secondary source).
GRADE_LIMITS = (2.0, 3.5, 5.0, 6.5)

#: A patch is neutral, and serves for the tone, below this chroma.
NEUTRAL_CHROMA = 5.0
#: Fewest patches, in all, that a camera's nine coefficients can be told from and judged by.
LEAST_PATCHES = 7
#: Fewest neutral patches that a tone can be told from.
LEAST_GREYS = 3
#: Mean ΔE00 over left-out patches from which a calibration is flagged as poor (the second of the grades'
#: limits; even light and a clean chart leave 1 to 3), and from which it cannot be used: half a target's
#: patches under something that was not seen for it leave more, the worst of 37 real photographs 17.
POOR, UNUSABLE = 3.5, 20.0
#: Linear light of the lightest patch below which a photograph is too dark, and noise is much of its colours.
TOO_DARK = 0.1
#: Standard error of L*, for each L* that a colour is darker than the darkest patch that made the tone: what
#: cameras do there was guessed wrong by up to 0.2 (tones of the rendered scenes).
BELOW_THE_DARKEST = 0.2

#: A patch of which this share of the pixels is clipped is not judged, and has the least weight.
CLIPPED_SHARE = 0.02
#: Linear light below which a channel is taken to be clipped at black: the last two codes of 8-bit sRGB. The
#: colour lies outside what the file can hold, and a fit that believes the patch bends all others (60
#: rendered scenes, 95th percentile of the pot's ΔE00 with such patches believed 2.2, without 1.5).
CRUSHED = 0.0008
#: Weight of a clipped or crushed patch, and of one in glare or shadow. Leaving clipped patches out
#: altogether leaves the corner of colours that they hold to chance.
LITTLE = 0.05

#: A patch is doubtful below this share of its weight: an error of five times the median.
DOUBTFUL = 0.15

#: Reach, in CIELAB, of the patches whose left-out errors tell how sure a colour is.
NEIGHBOURHOOD = 10.0
#: A patch at two and a half times that reach counts as much as there being none.
FAR = np.exp(-0.5 * 2.5**2)
#: Standard error of L*, a*, b* that a perfect target would leave: pigments that the camera sees otherwise
#: than those of the patches, gloss that is not told from colour. What 60 rendered scenes were off by beyond
#: the rest; others then lay within their intervals (DEVELOPERS.md).
LEAST_ERROR = np.array([0.1, 0.2, 0.35])


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
    """From linear camera RGB to XYZ: undo the tone, take out the light's fall-off, regress.

    Attributes
    ----------
    tone : Tone
    light : Light
    regression : Regression
    """

    tone: Tone
    light: Light
    regression: Regression

    def __call__(self, linear: ArrayLike, places: ArrayLike) -> NDArray[np.floating]:
        """XYZ of pixels; parameters as `Calibration.xyz` takes them."""
        relative = self.tone(linear)
        relative /= self.light.at(places, self.tone)
        return self.regression(relative)


@dataclass(frozen=True)
class Calibration:
    """A photograph's calibration.

    Attributes
    ----------
    mapping : Mapping
        Chosen by the left-out error.
    mean, percentile_95, maximum : float
        ΔE00 over the patches judged, after calibration.
    left_out_mean : float
        Mean ΔE00 over these patches, each predicted by a calibration that was chosen and made without it.
    grade : str
        The narrowest heritage-imaging limit that `mean` keeps.
    darkest : float
        L* of the darkest patch that made the tone.
    veil : float
        Stray light that shows, and was taken out, as a share of the white patch's; 0 when none shows. A
        camera that deepens the shadows hides some of it; the tone takes out both, and cannot tell them apart.
    patches : DataFrame
        One row per patch: ``patch``, its centre ``x``, ``y``, ``judged``, ``weight``, ``doubt`` (why it has
        little weight), ``L*``, ``a*``, ``b*`` as measured, ``ΔE00``, ``left-out ΔE00``, and the same error
        by coordinate, ``left-out ΔL*``, ``left-out Δa*``, ``left-out Δb*``.
    problems : Problems
    """

    mapping: Mapping
    mean: float
    percentile_95: float
    maximum: float
    left_out_mean: float
    grade: str
    darkest: float
    veil: float
    patches: pd.DataFrame
    problems: Problems

    @property
    def method(self) -> str:
        """The regression that was chosen, a key of ``regression.METHODS``."""
        return self.mapping.regression.method

    def xyz(self, linear: ArrayLike, places: ArrayLike) -> NDArray[np.floating]:
        """XYZ (D50, 2°, Y = 1 for white) of pixels of the photograph, the light's fall-off taken out.

        Parameters
        ----------
        linear : array_like, shape (..., 3)
            Linear light as the photograph shows it.
        places : array_like, shape (..., 2)
            (x, y) of the pixels in the full photograph, where the light is looked up.

        Returns
        -------
        ndarray, shape (..., 3)
            float32 where `linear` is, which keeps CIELAB within 0.01.
        """
        return self.mapping(linear, places)

    def lab(self, linear: ArrayLike, places: ArrayLike) -> NDArray[np.floating]:
        """CIELAB (D50, 2°) of pixels; parameters as `xyz` takes them."""
        return xyz_to_lab(self.xyz(linear, places))

    def standard_error(self, lab: ArrayLike, weights: ArrayLike | None = None) -> NDArray[np.float64]:
        """How sure the mean of some colours is, as far as the target's patches can tell.

        Each colour's error is taken to be that of the patches near it, left out in turn, half of it pooled
        over all patches, since one patch may be right by luck; and the more that of the worst patch the
        farther it lies from all. Patches err independently of each other, while pixels of like colour share
        their error: more of them make nothing surer, more different ones do.

        Parameters
        ----------
        lab : array_like, shape (n, 3)
        weights : array_like, shape (n,), optional

        Returns
        -------
        ndarray, shape (3,)
            Standard errors of L*, a* and b*.
        """
        lab = np.atleast_2d(np.asarray(lab, dtype=float))
        known = self.patches[self.patches["left-out ΔE00"].notna()]
        apart = np.linalg.norm(lab[:, None] - known[["L*", "a*", "b*"]].to_numpy(), axis=-1)
        weight = known["weight"].to_numpy()
        near = np.exp(-0.5 * (apart / NEIGHBOURHOOD) ** 2) * weight
        total = near.sum(axis=1, keepdims=True) + FAR
        shares = np.average(near / total, axis=0, weights=weights)
        alone = np.average(FAR / total[:, 0], weights=weights)
        errors = known[["left-out ΔL*", "left-out Δa*", "left-out Δb*"]].to_numpy() ** 2
        pooled = (errors + np.average(errors, axis=0, weights=weight)) / 2
        below = BELOW_THE_DARKEST * np.average(np.maximum(self.darkest - lab[:, 0], 0), weights=weights)
        darker = np.array([below, 0, 0])
        return np.sqrt(shares**2 @ pooled + alone**2 * errors.max(axis=0) + LEAST_ERROR**2 + darker**2)

    def _repr_html_(self) -> str:
        return framed(paragraph(self.sentence))

    @property
    def sentence(self) -> str:
        """How it was calibrated, and how well."""
        veil = f"; stray light of {self.veil:.1%} of white taken out" if self.veil >= 0.0005 else ""
        return (
            f"Calibrated by {self.method} regression on {self.patches['judged'].sum()} patches: ΔE00 mean "
            f"{self.mean:.2f} ({self.grade}), 95 % of patches within {self.percentile_95:.2f}; patches left "
            f"out in turn {self.left_out_mean:.2f}{veil}; fall-off of the light {self.mapping.light.source}."
        )


def calibrate(
    samples: PatchSamples,
    target: Target,
    flat: FlatField | None = None,
    picture: Picture | None = None,
) -> Calibration:
    """Calibrate a photograph from its target.

    Parameters
    ----------
    samples : PatchSamples
    target : Target
    flat : FlatField, optional
        Wins over what the picture tells of the light's fall-off.
    picture : Picture, optional
        The photograph, whose backdrop may tell the fall-off.

    Returns
    -------
    Calibration

    Raises
    ------
    TargetError
        Too few patches are seen whole, unclipped and evenly lit.
    """
    lab = target.lab.reshape(-1, 3)
    shown, clipped = samples.linear.reshape(-1, 3), samples.clipped.ravel()
    suspicion = samples.suspicion.ravel()
    doubt = np.where(shown.min(axis=1) < CRUSHED, "beyond the file's colours", suspicion).astype(object)
    doubt[clipped >= CLIPPED_SHARE] = "clipped"
    doubt[suspicion == "hidden"] = "hidden"
    base = np.where(doubt == "", 1.0, np.where(doubt == "hidden", 0.0, LITTLE))
    judged = ~np.isin(doubt, ["hidden", "clipped", "glare", "shadow"])
    if judged.sum() < LEAST_PATCHES:
        raise TargetError(
            "photograph",
            f"{(~judged).sum()} of the target's {len(judged)} patches are clipped, hidden, in glare or in "
            "shadow",
            "show the whole target, and expose so that its white patch is not the brightest that the camera "
            "can show",
        )
    neutral = np.hypot(lab[:, 1], lab[:, 2]) < NEUTRAL_CHROMA
    if neutral.sum() >= LEAST_GREYS > (neutral & (base > 0)).sum():
        raise TargetError(
            "photograph",
            "too few of the target's grey patches are seen to tell what the camera did to lightness",
            "show the whole target",
        )
    seen = Seen(shown, samples.places, Patches.of(lab), neutral, base)
    solution = solve(seen, flat, picture)
    predicted = left_out(seen, solution)
    errors = np.where(judged, seen.errors(predicted), np.nan)
    left_out_mean = float(np.nanmean(errors))
    if left_out_mean >= UNUSABLE:
        raise TargetError(
            "photograph",
            f"the target's patches, left out in turn, come out ΔE00 {left_out_mean:.0f} off",
            "show the whole target, evenly lit, and check that the setup names its table",
        )
    mapping = Mapping(solution.tone, solution.light, solution.fit.regression)
    places = samples.places.reshape(-1, 2)
    measured = xyz_to_lab(mapping(shown, places))
    own = seen.errors(measured)
    weights = solution.weights
    doubtful = (base == 1) & (weights < DOUBTFUL)
    doubt[doubtful] = "off"
    patches = pd.DataFrame(
        {
            "patch": target.patches,
            "x": places[:, 0],
            "y": places[:, 1],
            "judged": judged,
            "weight": weights,
            "doubt": doubt.astype(str),
            **dict(zip(("L*", "a*", "b*"), measured.T, strict=True)),
            "ΔE00": own,
            "left-out ΔE00": errors,
            **{f"left-out Δ{axis}": (predicted - lab)[:, k] for k, axis in enumerate(("L*", "a*", "b*"))},
        }
    )
    mean = float(own[judged].mean())
    return Calibration(
        mapping=mapping,
        mean=mean,
        percentile_95=float(np.quantile(own[judged], 0.95)),
        maximum=float(own[judged].max()),
        left_out_mean=left_out_mean,
        grade=grade(mean),
        darkest=float(lab[solution.in_tone, 0].min()) if solution.in_tone.any() else 100.0,
        veil=_veil(solution.tone),
        patches=patches,
        problems=_problems(patches, solution, left_out_mean, float(shown.max())),
    )


def _problems(patches: pd.DataFrame, solution: Solution, left_out_mean: float, lightest: float) -> Problems:
    found: list[Problem] = []
    for name, kinds in (
        ("clipped patches", ["clipped"]),
        ("doubtful patches", ["off", "glare", "shadow"]),
    ):
        meant = patches.loc[patches["doubt"].isin(kinds), "patch"]
        if not meant.empty:
            found.append(flagged(name, patches=", ".join(meant)))
    if left_out_mean >= POOR:
        found.append(flagged("poor calibration", left_out=left_out_mean))
    if solution.in_tone.sum() < LEAST_GREYS:
        found.append(flagged("too few greys"))
    if lightest < TOO_DARK:
        found.append(flagged("too dark", share=lightest))
    if isinstance(solution.light, EvenLight):
        found.append(flagged("uneven light"))
    return Problems(found)


def _veil(tone: Tone) -> float:
    # The last knot but one is the white patch; the last is where the curve's straight end was let run to.
    shares = [curve.veil / curve.shown[-2] for curve in tone.curves]
    return max(0.0, float(np.mean(shares)))
