"""Height profile: the colour of the surface in steps from the foot to the rim."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.colour import AXES
from sagglab.columns import HEIGHT_STEPS
from sagglab.photo.unrolled import SurfaceMap


def profile_table(surface_map: SurfaceMap, band_degrees: float) -> pd.DataFrame:
    """Average the colours of a band by height.

    Parameters
    ----------
    surface_map : SurfaceMap
    band_degrees : float
        Half the width of the band, in degrees around the axis.

    Returns
    -------
    DataFrame
        A row for each of `HEIGHT_STEPS`, the foot first: ``height``, the share of the pot's height at the
        step's middle, and L*, a*, b*, means by area; NaN where nothing was measured.
    """
    edges = np.linspace(0, 1, len(HEIGHT_STEPS) + 1)
    heights = surface_map.height
    half = 0.5 / len(heights)
    # A row that lies across two steps counts in both, by how much of it lies there.
    overlap = np.minimum(edges[1:, None], heights + half) - np.maximum(edges[:-1, None], heights - half)
    share = np.clip(overlap, 0, None) * len(heights)
    inside = np.abs(surface_map.degrees) <= band_degrees
    lab = surface_map.lab[:, inside]
    area = np.where(np.isfinite(lab).all(axis=-1), surface_map.area[:, inside], 0.0)
    total = share @ area.sum(axis=1)
    sums = share @ np.where(area[..., None] > 0, area[..., None] * lab, 0.0).sum(axis=1)
    # A touch of a neighbouring step's row, left by rounding, is nothing measured.
    some = total[:, None] > 1e-9 * area.sum()
    mean = np.divide(sums, total[:, None], out=np.full_like(sums, np.nan), where=some)
    return pd.DataFrame({"height": (edges[:-1] + edges[1:]) / 2} | dict(zip(AXES, mean.T, strict=True)))


def height_profile(surface_map: SurfaceMap, band_degrees: float) -> dict[str, float]:
    """Measure the colours of a band by height, as `profile_table` does.

    Returns
    -------
    dict
        ``L* at 2.5 % height`` and so on to ``L* at 97.5 % height``, counted from the foot, then a* and b*.
    """
    table = profile_table(surface_map, band_degrees)
    return {
        f"{axis} at {100 * height:g} % height": float(value)
        for axis in AXES
        for height, value in zip(table["height"], table[axis], strict=True)
    }
