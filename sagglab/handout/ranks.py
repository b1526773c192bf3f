"""Ranks at even steps: how many are shown where not all have room, so that nobody's favourites are."""

from __future__ import annotations

import numpy as np


def even_ranks(number: int, most: int) -> list[int]:
    """Choose at most so many of a number of ranks, from the first to the last at even steps.

    Examples
    --------
    >>> even_ranks(9, 3), even_ranks(2, 3), even_ranks(0, 3)
    ([0, 4, 8], [0, 1], [])
    """
    return np.rint(np.linspace(0, number - 1, min(most, number))).astype(int).tolist()
