"""A pot from its views: means by the area that each measured, and how sure they are together."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from sagglab.colour import AXES
from sagglab.columns import (
    COLOUR_MEASURES,
    HEIGHT_MEASURES,
    PALETTE_COLOURS,
    PATCHINESS_MEASURES,
    QUANTILE_MEASURES,
    SHAPE_MEASURES,
)
from sagglab.photo.flags import join_flags
from sagglab.photo.palette import Palette, join_palettes

#: Half the width of a 95 % interval, in standard errors.
_REACH = float(norm.ppf(0.975))

_MEANS = [
    column.heading
    for columns in (COLOUR_MEASURES, QUANTILE_MEASURES, PATCHINESS_MEASURES, HEIGHT_MEASURES)
    for column in columns
]
_SHAPES = [column.heading for column in SHAPE_MEASURES[:3]]


def pot_row(views: pd.DataFrame, own: list[str]) -> dict[str, object]:
    """Join the views of one pot in one setup.

    Parameters
    ----------
    views : DataFrame
        Rows of the measures that have a colour; there may be none.
    own : list of str
        Columns of the user's own shares and measures.

    Returns
    -------
    dict
        The columns that ``columns.RESULTS`` declares for the surface.
    """
    row: dict[str, object] = {"views": len(views)}
    row["flags"] = join_flags(views["flags"].astype(object).fillna(""))  # blank when read back
    if views.empty:
        return row
    area = views["usable share"].fillna(1.0).to_numpy()
    names = [*_MEANS, *own]
    row |= zip(names, _means(names, views[names].to_numpy(dtype=float), area), strict=True)
    for name in _SHAPES:
        row[name] = views[name].mean()
    row["usable share"] = views["usable share"].sum()
    return row | _palette(views, area) | _doubt(views, area, row)


def _means(names: list[str], values: NDArray[np.float64], area: NDArray[np.float64]) -> list[float]:
    """Mean of each measure, a column of `values`, over the views that have it, by area."""
    weights = np.where(np.isnan(values), 0.0, area[:, None])
    total = weights.sum(axis=0)
    weights = np.divide(weights, total, out=np.full_like(weights, np.nan), where=total > 0)
    values = np.nan_to_num(values)
    means = (weights * values).sum(axis=0)
    # Hues on both sides of 0° would average to their opposite.
    angles = [name.startswith("hue angle") and not name.endswith("SD") for name in names]
    turned = (weights * np.exp(1j * np.radians(values))).sum(axis=0)[angles]
    means[angles] = np.degrees(np.angle(turned)) % 360
    return means.tolist()


def _palette(views: pd.DataFrame, area: NDArray[np.float64]) -> dict[str, float]:
    numbers = range(1, PALETTE_COLOURS + 1)
    palettes = []
    columns = [f"colour {number} {part}" for number in numbers for part in (*AXES, "share")]
    for colours in views[columns].to_numpy(dtype=float).reshape(len(views), PALETTE_COLOURS, 4):
        there = ~np.isnan(colours[:, 3])
        palettes.append(Palette(colours[there, :3], colours[there, 3]))
    return join_palettes(palettes, area).to_dict()


def _doubt(views: pd.DataFrame, area: NDArray[np.float64], means: dict[str, object]) -> dict[str, float]:
    """How sure the pot's mean colour is.

    The target, the camera and the light are the same for all views of a setup, so that what they are off by
    does not average out; each view's band is a sample of the pot by itself. Views differ by that sampling
    and, it may be, by more: the excess of their spread over it is joined, too.
    """
    found = {}
    shares = area / area.sum()
    for axis in AXES:
        # Views of one setup are off the same way: their errors add up as they stand.
        shared = {
            name: float(shares @ views[f"{axis} error of {name}"].to_numpy())
            for name in ("calibration", "light")
        }
        each = views[f"{axis} error of sampling"].to_numpy()
        sampling = float(np.sqrt(shares**2 @ each**2))
        spread = float(views[axis].std())  # blank for a single view
        excess = 0.0 if np.isnan(spread) else max(0.0, spread**2 - float(np.mean(each**2)))
        joined = np.sqrt(sum(error**2 for error in shared.values()) + sampling**2 + excess * shares @ shares)
        found |= {f"{axis} error of {name}": error for name, error in shared.items()}
        found |= {
            f"{axis} between views": spread,
            f"{axis} error of sampling": sampling,
            f"{axis} low": means[axis] - _REACH * joined,
            f"{axis} high": means[axis] + _REACH * joined,
        }
    return found
