"""Eye: whether a difference of colour would be seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import delta_e_2000

#: ΔE00 that half of the observers see, and that half of them accept: Paravina et al. on dental ceramics,
#: glossy as a pot is (their abstract).
JUST_SEEN = 0.8
PLAIN = 1.8


def by_eye(low: float, high: float) -> str:
    """Say whether an eye would see a difference that lies between two ΔE00.

    Examples
    --------
    >>> by_eye(2.0, 4.0), by_eye(0.9, 4.0), by_eye(0.3, 4.0), by_eye(0.1, 0.7)
    ('plain to see', 'an eye would see it', 'an eye may see it or not', 'too little for an eye to see')
    """
    if high < JUST_SEEN:
        return "too little for an eye to see"
    if low >= PLAIN:
        return "plain to see"
    return "an eye would see it" if low >= JUST_SEEN else "an eye may see it or not"


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
