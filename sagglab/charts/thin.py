"""Thinning: as many readings as paper can show, with every spike and the peak among them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: More columns than a chart of this size has at the resolution that it is saved in.
COLUMNS = 1500


def thinned(minutes: NDArray[np.float64], temperature_C: NDArray[np.float64]) -> NDArray[np.int64]:
    """Choose which readings to draw, so that the drawing stays the same.

    Parameters
    ----------
    minutes, temperature_C : ndarray, shape (N,)
        In order of time, all of them numbers.

    Returns
    -------
    ndarray of int
        Positions, rising: the first, the last, the lowest and the highest of each of `COLUMNS` slices of
        time; all of them for a record that is short enough.

    Examples
    --------
    >>> minutes = np.linspace(0, 100, 1_000_000)
    >>> heat = np.where(minutes == minutes[123_456], 900.0, 20.0)
    >>> kept = thinned(minutes, heat)
    >>> kept.size < 6100, heat[kept].max().item()
    (True, 900.0)
    """
    span = np.ptp(minutes) if minutes.size else 0.0
    if minutes.size <= 4 * COLUMNS or span <= 0:
        return np.arange(minutes.size)
    column = ((minutes - minutes[0]) / span * COLUMNS).astype(int)
    starts = np.flatnonzero(np.concatenate([[True], np.diff(column) > 0]))
    ends = np.concatenate([starts[1:], [minutes.size]]) - 1
    # Sorted by column, then by temperature: the lowest of each column comes first and the highest last.
    order = np.lexsort((temperature_C, column))
    return np.unique(np.concatenate([starts, ends, order[starts], order[ends]]))
