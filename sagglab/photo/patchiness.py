"""Patchiness: how far apart on the surface colours stay alike, and how unlike they become."""

from __future__ import annotations

import numpy as np

from sagglab.colour import AXES
from sagglab.photo.variogram import Mottle


def patchiness(mottle: Mottle) -> dict[str, float]:
    """Measure the patchiness of the band.

    Parameters
    ----------
    mottle : Mottle

    Returns
    -------
    dict
        For each of L*, a*, b* the ``range [mm]``, the distance at which 95 % of the sill is reached, and the
        ``sill``, the semivariance of places far apart: half the squared difference that two such places have
        in the mean. What changes with height alike all around, as a dark foot does, is left out.
        NaN where the scale is unknown, where too little is seen, and where the range is longer than half the
        longer side of the band: then neither figure can be told, and all that the map says is that its
        patches are larger than that. An even surface has a sill of 0 and no range.

    Notes
    -----
    One view holds few patches. On simulated fields, on a pot 100 mm high and wide, the range scattered by a
    tenth at 5 to 10 mm and by a quarter to a third at 20 mm, about a mean that was right within 10 %, but
    17 % too long for spherical ones of 20 mm.
    """
    measures = {f"{axis} {what}": np.nan for axis in AXES for what in ("range [mm]", "sill")}
    if not mottle.to_scale:
        return measures
    for axis, model in zip(AXES, mottle.models, strict=True):
        if model is not None and not model.range > mottle.reach:
            measures |= {f"{axis} range [mm]": model.range, f"{axis} sill": model.sill}
    return measures
