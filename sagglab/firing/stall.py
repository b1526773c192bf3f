"""Stalls: the times on the way up when a kiln was slow to get any hotter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.firing.between import Curve


@dataclass(frozen=True)
class FirstTimes:
    """When a curve first got to each temperature.

    Attributes
    ----------
    level_C : ndarray, shape (K,)
        The start, and each vertex hotter than all before it; rising.
    reached, left : ndarray, shape (K,)
        The minute at which the curve first was so hot, and the minute from which it got hotter: apart where
        it held or fell back in between.
    """

    level_C: NDArray[np.float64]
    reached: NDArray[np.float64]
    left: NDArray[np.float64]

    @classmethod
    def of(cls, curve: Curve) -> FirstTimes:
        """Find them for a curve."""
        minutes, temperature = curve.minutes, curve.temperature_C
        hottest = np.maximum.accumulate(temperature)
        new = np.flatnonzero(temperature[1:] > hottest[:-1]) + 1
        records = np.concatenate([[0], new])
        level, reached = temperature[records], minutes[records]
        share = (level[:-1] - temperature[new - 1]) / (level[1:] - temperature[new - 1])
        left = minutes[new - 1] + share * (minutes[new] - minutes[new - 1])
        return cls(level, reached, np.append(left, reached[-1]))

    def at(self, level_C: NDArray[np.float64], hotter: bool = False) -> NDArray[np.float64]:
        """Give the first minute at a temperature, or just above it; infinity where it never was so hot."""
        after = np.searchsorted(self.level_C, level_C, side="right" if hotter else "left")
        known = np.clip(after, 1, max(len(self.level_C) - 1, 1))
        found = np.full(len(level_C), self.reached[0])
        if len(self.level_C) > 1:
            start, end = self.level_C[known - 1], self.level_C[known]
            left, reached = self.left[known - 1], self.reached[known]
            inside = left + (level_C - start) / (end - start) * (reached - left)
            found = np.where(after == 0, found, np.clip(inside, left, reached))
        return np.where(after == len(self.level_C), np.inf, found)


def longest_rise(
    earlier: FirstTimes,
    later: FirstTimes,
    rise_C: float,
    lowest_C: float,
    highest_C: float,
    latest: float = np.inf,
) -> float:
    """Give the longest time from one temperature to the one that lies so much above it.

    Parameters
    ----------
    earlier, later : FirstTimes
        Where the lower and the higher temperature's minutes are taken from; the same for one known curve.
    rise_C : float
    lowest_C, highest_C : float
        The range of temperature that is looked at.
    latest : float
        The minute by which every temperature had been reached.

    Returns
    -------
    float
        Minutes, exact for curves of straight pieces; minus infinity when the range is less than the rise.
    """
    if highest_C - lowest_C < rise_C:
        return -np.inf
    # Both times run straight between vertices, so the longest lies at one; where a curve held, just above it.
    down, up = earlier.level_C, later.level_C
    lower = np.concatenate([down, up - rise_C, [lowest_C, highest_C - rise_C]])
    upper = np.concatenate([down + rise_C, up, [lowest_C + rise_C, highest_C]])
    inside = (lower >= lowest_C) & (upper <= highest_C)
    lower, upper = lower[inside], upper[inside]
    longest = np.minimum(later.at(upper), latest) - earlier.at(lower)
    below = upper < highest_C
    lower, upper = lower[below], upper[below]
    just_above = np.minimum(later.at(upper, hotter=True), latest) - earlier.at(lower, hotter=True)
    return float(max(longest.max(initial=-np.inf), just_above.max(initial=-np.inf)))
