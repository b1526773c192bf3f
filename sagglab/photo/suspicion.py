"""Suspicion: which patches of a target lie partly in glare, in shadow or under something.

Each patch is one flat colour, so that light which changes within it beyond noise and the target's even
fall-off is not the patch's own. A shadow takes the same share from every channel; glare adds the light's
own colour, which is that of a white patch; what does neither is something lying on the patch.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

#: Difference within a patch, on the cube root scale from black 0 to the brightest patch 1, that is
#: suspicious: three units of L*.
UNEVEN = 0.03
#: How many standard errors of noise the difference has to reach besides.
SURE = 6.0
#: Share of the difference that shadow or glare may leave unexplained.
UNEXPLAINED = 0.35
#: Difference of those shares up to which shadow and glare explain a patch alike.
ALIKE = 0.1


def plane_of(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fit a plane to each square of side by side values, shape ``(..., side², channels)`` in and out."""
    terms, inverse = _plane(round(values.shape[-2] ** 0.5))
    # Three numbers for each square: as one matrix of side² by side², a target took 0.15 s.
    return terms @ (inverse @ values)


@lru_cache(maxsize=64)
def _plane(side: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    along = np.linspace(-1, 1, side)
    right, down = np.meshgrid(along, along)
    terms = np.stack([np.ones(side * side), right.ravel(), down.ravel()], axis=-1)
    return terms, np.linalg.pinv(terms)


def uneven_patches(read: NDArray[np.float64]) -> NDArray[np.str_]:
    """Name what makes patches uneven.

    Parameters
    ----------
    read : ndarray, shape (N, side, side, 3)
        Linear light over the middle of each patch.

    Returns
    -------
    ndarray of str, shape (N,)
        "glare", "shadow", "hidden" (something lies across the patch) or "".
    """
    found = np.full(len(read), "", dtype="<U6")
    if len(read) < 2:
        return found
    side = read.shape[1]
    light = np.median(read, axis=(1, 2))
    white = np.maximum(light[light.sum(axis=-1).argmax()], 1e-6)
    # Averaged over a fifth of the side, an edge stays and noise goes.
    width = max(3, side // 5)
    smooth = np.array([cv2.blur(patch, (width, width), borderType=cv2.BORDER_REFLECT) for patch in read])
    roots = np.cbrt(np.clip(smooth / white, 0, None)).mean(axis=-1)
    flat = (roots / np.maximum(roots.mean(axis=(1, 2), keepdims=True), 1e-6)).reshape(len(read), -1)
    # The fall-off of the light over the whole target tilts all patches alike.
    common = np.median(plane_of(flat[..., None])[..., 0], axis=0).reshape(side, side)
    roots = roots / np.maximum(common, 0.1)
    noise = _noise(np.cbrt(np.clip(read / white, 0, None)).mean(axis=-1)) / width
    high, low = np.quantile(roots, [0.95, 0.05], axis=(1, 2))
    uneven = np.flatnonzero(high - low > np.maximum(UNEVEN, SURE * noise))
    told = [_cause(smooth[index], roots[index], white) for index in uneven]
    # On a grey patch shadow and glare look alike: it is what its coloured fellows say. Alone, a lesser part
    # that is bright is a spot of glare, and a greater one the lit side of a shadow's edge.
    known = [cause for cause, _ in told if cause in ("glare", "shadow")]
    for index, (cause, bright) in zip(uneven, told, strict=True):
        if cause == "either":
            alone = "glare" if bright < 0.5 else "shadow"
            cause = max(("glare", "shadow"), key=lambda one: (known.count(one), one == alone))
        found[index] = cause
    return found


def _noise(roots: NDArray[np.float64]) -> NDArray[np.float64]:
    # Neighbours' differences know nothing of edges that cross a patch.
    return np.median(np.abs(np.diff(roots, axis=2)), axis=(1, 2)) / 0.6745 / np.sqrt(2)


def _cause(
    light: NDArray[np.float64], roots: NDArray[np.float64], white: NDArray[np.float64]
) -> tuple[str, float]:
    """Tell what an uneven patch suffers from, be it "either" of shadow and glare, and how much is bright."""
    spread = max(np.ptp(roots), 1e-9)
    levels = np.clip(255 * (roots - roots.min()) / spread, 0, 255).astype(np.uint8)
    limit, _ = cv2.threshold(levels, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    bright = levels > limit
    above, below = (np.median(light[part], axis=0) / white for part in (bright, ~bright))
    change = above - below
    # Shadow: the dark part is a share of the bright one; glare: the bright one has the light's colour added.
    shadow = np.linalg.norm(change - above * (above @ change) / max(above @ above, 1e-12))
    glare = np.linalg.norm(change - change.mean())
    size = np.linalg.norm(change)
    if min(shadow, glare) > UNEXPLAINED * size:
        return "hidden", float(bright.mean())
    if abs(shadow - glare) < ALIKE * size:
        return "either", float(bright.mean())
    return ("shadow" if shadow < glare else "glare"), float(bright.mean())
