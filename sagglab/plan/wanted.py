"""Wanted and dealt: what a plan is made for, and the recipes that a kind of plan puts into each firing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.plan.choices import Shared
from sagglab.plan.factors import Factor
from sagglab.plan.terms import Terms


@dataclass(frozen=True)
class Wanted:
    """What a plan is to be made for.

    Attributes
    ----------
    terms : Terms
    firings : int or None
    pots : tuple of int
        Pots in each firing; a single number, the most of any firing, where the firings are not yet known.
    allowed : callable
        Which coded recipes may be made.
    shared : tuple of Shared
        What all pots share.
    seed : int
    fired : ndarray or None
        Information of what has been fired.
    sharpen : tuple of int
        Columns of the effects to be sharpest.
    """

    terms: Terms
    firings: int | None
    pots: tuple[int, ...]
    allowed: Callable[[NDArray[np.float64]], NDArray[np.bool_]]
    shared: tuple[Shared, ...] = ()
    seed: int = 0
    fired: NDArray[np.float64] | None = None
    sharpen: tuple[int, ...] = ()

    @property
    def factors(self) -> tuple[Factor, ...]:
        """What is varied."""
        return self.terms.factors

    @property
    def most(self) -> int:
        """Most pots of any firing."""
        return max(self.pots)


@dataclass(frozen=True)
class Dealt:
    """Recipes in firings.

    Attributes
    ----------
    firings : list of ndarray, shape (pots, factors)
        Coded recipes of each firing.
    notes : tuple of str
        What must be known of them.
    """

    firings: list[NDArray[np.float64]]
    notes: tuple[str, ...] = ()
