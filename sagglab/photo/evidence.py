"""How surely an outline is the pot's: what speaks for it, weighed into one number."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from sagglab.photo.edges import Edge, outwards

#: Confidence from which an outline is sure.
SURE = 0.8
#: Share of the outline without contrast above which it is told.
MUCH_UNCLEAR = 0.15
#: ΔE*ab over the edge below which it is not clear.
CLEAR = 6.0


#: What each piece of evidence leaves of the confidence: values, and confidence there, linear between. Of 141
#: rendered outlines with an overlap of 0.97 or more 98 in 100 had at most 0.02 unclear, agreed to 0.93 or
#: more and were at least 0.39 steep; the two that were worse had 0.12 and 0.17 unclear.
_LEFT = {
    "unclear": ((0.05, 0.15, 0.5), (1.0, 0.75, 0.0)),
    "gap": ((0.03, 0.08, 0.3), (1.0, 0.75, 0.0)),
    "steep": ((0.05, 0.2, 0.3), (0.0, 0.75, 1.0)),
    "agreed": ((0.4, 0.8, 0.9), (0.0, 0.75, 1.0)),
    "beyond": ((0.05, 0.15, 0.5), (1.0, 0.75, 0.0)),
    "plain": ((0.5, 0.7, 0.9), (0.5, 0.75, 1.0)),
}


@dataclass(frozen=True)
class Evidence:
    """What speaks for an outline and against it, each from 0 to 1.

    Attributes
    ----------
    unclear : float
        Share of the outline where pot and backdrop hardly differ.
    gap : float
        Share of the outline that its longest unclear stretch takes.
    steep : float
        How steep the edge is, in the median.
    agreed : float
        Overlap over union of the turned form and of what plainly stands out.
    beyond : float
        Share of the outline beyond which something else than backdrop or shadow is seen.
    plain : float
        Share of the frame's rim that is plain backdrop.
    """

    unclear: float
    gap: float
    steep: float
    agreed: float
    beyond: float
    plain: float

    @property
    def confidence(self) -> float:
        """How surely this is the pot's outline: the product of what each piece of evidence leaves."""
        return float(np.prod([np.interp(getattr(self, name), *at) for name, at in _LEFT.items()]))


def weigh(
    edge: Edge,
    scale: NDArray[np.float64],
    region: NDArray[np.bool_],
    form: NDArray[np.bool_],
    no_shadow: NDArray[np.float32],
    plain: float,
) -> Evidence:
    """Weigh an outline.

    Parameters
    ----------
    edge : Edge
        In pixels of the picture in which it was refined.
    scale : ndarray, shape (2,)
        Pixels of that picture for each of the one in which the pot was searched for, across and down.
    region, form : ndarray of bool, shape (rows, columns)
        What stands out, and the turned form that explains it, where the pot was searched for.
    no_shadow : ndarray, shape (rows, columns)
        As `Backdrop.compare` gives it.
    plain : float
        Of the backdrop.

    Returns
    -------
    Evidence
    """
    # Single places are noise; a stretch of a fiftieth of the outline is not.
    contrast = uniform_filter1d(edge.contrast, max(3, len(edge.contrast) // 50), mode="wrap")
    unclear = contrast < CLEAR
    # Two pixels out, beyond the blur of both reductions.
    beyond = ((edge.ring + 0.5) / scale - 0.5 + 2.0 * outwards(edge.ring)).astype(np.float32)
    seen = cv2.remap(
        no_shadow, beyond[None, :, 0], beyond[None, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )[0]
    return Evidence(
        unclear=float(unclear.mean()),
        gap=_longest(unclear) / len(unclear),
        steep=float(np.median(edge.steep)),
        agreed=float((region & form).sum() / max((region | form).sum(), 1)),
        beyond=float((seen > 1).mean()),
        plain=plain,
    )


def _longest(marked: NDArray[np.bool_]) -> int:
    """Count the longest run of marked places around a ring."""
    if marked.all():
        return len(marked)
    start = int(np.flatnonzero(~marked)[0])
    ends = np.flatnonzero(~np.roll(marked, -start))
    return int(np.diff(np.append(ends, len(marked))).max() - 1)
