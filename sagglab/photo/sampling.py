"""Sampling: how far the mean of the band may be from that of the pot's whole side, of which it is part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from sagglab.photo.variogram import WITHIN_SQUARE, Cells, Model, Mottle

#: Turn of a block around the axis.
BLOCK_DEGREES = 2


def sampling_error(mottle: Mottle) -> NDArray[np.float64]:
    """Tell the standard error of the band's mean L*, a*, b* as the mean of the pot's whole side.

    The band and the whole side are cut into blocks of some millimetres. How unlike two blocks are by their
    distance, the band's variogram says; the variance of the one mean about the other then follows, patch by
    patch as it were. The number of pixels does not come in.

    Parameters
    ----------
    mottle : Mottle
        Of the band. What is measured in it counts as sampled: where it goes all around there is no error but
        for what is blank.

    Returns
    -------
    ndarray, shape (3,)
        NaN where too little is seen. A trend with height, alike all around, adds nothing: the band shows all
        heights.

    Notes
    -----
    The error is that of this one pot; another of the same recipe differs by more. On simulated fields of 5 to
    40 mm, on a pot 100 mm high and wide, the mean of the estimate lay within 10 % of the true error; of 60 mm
    it was a quarter too small. For any one pot it is a rough figure: it scattered by 10 % where patches are
    5 mm, by 25 % at 20 mm, by half at 40 mm.

    References
    ----------
    N. Cressie, Statistics for spatial data, revised ed., Wiley (1993), section 3.2: the variance of a sum of
    contrasts, minus the double sum of the semivariances.
    """
    part = mottle.part
    if not part.area.any():
        return np.full(3, np.nan)
    variances = _variances(mottle.models, part, _contrast(part))
    return np.sqrt(np.maximum(0.0, variances))


def _contrast(part: Cells) -> NDArray[np.float64]:
    """Weights of the band's mean less those of the whole side's, (rows, blocks around)."""
    around = 360 // BLOCK_DEGREES
    block = np.floor(part.degrees / BLOCK_DEGREES).astype(int) % around
    band = np.zeros((len(part.radius), around))
    np.add.at(band, (slice(None), block), part.area)
    whole = np.repeat(part.radius * part.step, around).reshape(band.shape)
    return band / band.sum() - whole / whole.sum()


def _variances(
    models: Sequence[Model | None], part: Cells, contrast: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Variance of the contrast by each model; NaN without one."""
    rows, around = contrast.shape
    upper, lower = np.triu_indices(rows)
    radius = (part.radius[upper] + part.radius[lower]) / 2
    # A turn and its opposite are as far apart: half the circle is enough.
    turns = np.arange(around // 2 + 1)
    distance = np.hypot(
        (part.along[lower] - part.along[upper])[:, None],
        radius[:, None] * (np.radians(BLOCK_DEGREES) * turns),
    )
    # A block with itself: its places are not all one.
    side = np.sqrt(part.radius * np.radians(BLOCK_DEGREES) * part.step)
    distance[upper == lower, 0] = WITHIN_SQUARE * side
    # What two rows' weights, turned against each other, sum to in products: a correlation, by frequencies.
    parts = fft.rfft(contrast, axis=1)
    products = fft.irfft((parts[upper].conj() * parts[lower]).real, around, axis=1)[:, : len(turns)]
    products *= np.where(upper == lower, 1, 2)[:, None]
    products *= np.where((turns == 0) | (2 * turns == around), 1, 2)
    return np.array(
        [np.nan if model is None else -np.vdot(products, model(distance)) for model in models], dtype=float
    )
