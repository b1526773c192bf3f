"""Eye: whether a difference of colour would be seen."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import delta_e_2000

#: ΔE00 that half of the observers see, and that half of them accept: Paravina et al. on dental ceramics,
#: glossy as a pot is (their abstract).
JUST_SEEN = 0.8
PLAIN = 1.8

#: Points along each side of the box of changes that intervals leave open.
_GRID = 9


def by_eye(low: float, high: float) -> str:
    """Say whether an eye would see a difference that lies between two ΔE00.

    One size is always said in the same words. Where those of the two ends differ, both are said.

    Examples
    --------
    >>> by_eye(2.0, 4.0), by_eye(0.9, 1.2), by_eye(0.1, 0.7)
    ('plain to see', 'an eye would see it', 'too little for an eye to see')
    >>> by_eye(0.3, 4.0)
    'at the least too little for an eye to see, at the most plain to see'
    """
    least, most = _of_size(low), _of_size(high)
    return least if least == most else f"at the least {least}, at the most {most}"


def _of_size(size: float) -> str:
    if size < JUST_SEEN:
        return "too little for an eye to see"
    return "plain to see" if size >= PLAIN else "an eye would see it"


def one_coordinate(colour: Sequence[float], place: int, start: float, ends: ArrayLike) -> NDArray[np.float64]:
    """ΔE00 between a colour and the same with one coordinate changed.

    Parameters
    ----------
    colour : sequence of float, shape (3,)
        L*, a*, b*.
    place : int
        Which of the three changes.
    start : float
        Its value at first.
    ends : array_like, shape (n,)
        Its values afterwards.

    Returns
    -------
    ndarray, shape (n,)
    """
    ends = np.atleast_1d(np.asarray(ends, dtype=float))
    before, after = np.array(colour, dtype=float), np.tile(np.asarray(colour, dtype=float), (len(ends), 1))
    before[place] = start
    after[:, place] = ends
    return delta_e_2000(before, after)


def whole_change(start: ArrayLike, change: ArrayLike, half: ArrayLike) -> tuple[float, float, float]:
    """ΔE00 of a change of colour, and its least and greatest in the box that the three intervals span.

    Parameters
    ----------
    start : array_like, shape (3,)
        L*, a*, b* before.
    change, half : array_like, shape (3,)
        The change of each, and half the width of its interval; where that is NaN, so are both ends.
    """
    start, change, half = (np.asarray(each, dtype=float) for each in (start, change, half))
    middle = float(delta_e_2000(start, start + change))
    if not np.isfinite(half).all():
        return middle, np.nan, np.nan
    steps = np.linspace(-1, 1, _GRID)
    # A grid, and in each coordinate the point nearest to no change, so that a box that holds it gives zero.
    sides = [
        np.append(centre + reach * steps, np.clip(0, centre - reach, centre + reach))
        for centre, reach in zip(change, half, strict=True)
    ]
    open_to = delta_e_2000(start, start + np.array(list(product(*sides))))
    return middle, float(open_to.min()), float(open_to.max())
