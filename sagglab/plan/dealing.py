"""Dealing: a set of recipes put into firings, so that firings take as little as can be from what is asked."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.model.wording import count
from sagglab.plan.factors import Factor
from sagglab.plan.terms import read_model

#: How much worse it is to give a factor itself to the firings than a pair of factors.
_FACTOR_FIRST = 10.0
#: Orders that the swapping starts from, fewer where there are many pots; and swaps of each.
_STARTS, _SWAPS = 10, 400


def deal(
    coded: NDArray[np.float64],
    factors: Sequence[Factor],
    pots: int,
    firings: int | None,
    rng: np.random.Generator,
) -> list[NDArray[np.float64]]:
    """Put pots into firings of at most so many, those of one setting of the kiln together.

    Parameters
    ----------
    coded : ndarray, shape (n, factors)
        A recipe in each row, each factor on −1 to 1.
    factors : sequence of Factor
    pots : int
        The most that a firing holds.
    firings : int, optional
        How many firings there shall be; as few as will do where not given.
    rng : Generator

    Returns
    -------
    list of ndarray
        The rows of each firing. Of all ways tried, the one in which the differences between firings take the
        least part of the factors, and then of their pairs and squares.

    Raises
    ------
    PlanError
        The firings are too few for what they are to hold, or more than there are pots.
    """
    between = [place for place, factor in enumerate(factors) if factor.per == "firing"]
    settings, which = np.unique(coded[:, between], axis=0, return_inverse=True)
    members = [np.flatnonzero(which.reshape(-1) == setting) for setting in range(len(settings))]
    numbers = _firings_of_each([len(rows) for rows in members], pots, firings)
    columns, weights = _asked(coded, factors)
    blocks: list[NDArray[np.float64]] = []
    for rows, number in zip(members, numbers, strict=True):
        blocks += [coded[rows[part]] for part in _split(columns[rows], weights, number, rng)]
    return blocks


def _firings_of_each(sizes: Sequence[int], pots: int, firings: int | None) -> list[int]:
    """How many firings each setting of the kiln gets."""
    numbers = [-(-size // pots) for size in sizes]
    if firings is None:
        return numbers
    if firings < sum(numbers):
        raise PlanError(
            "firings",
            f"{count(sum(sizes), 'pot')} in {count(len(sizes), 'setting')} of the kiln do not go into "
            f"{count(firings, 'firing')} of {pots}",
            f"plan {sum(numbers)} firings, or kind='best', which takes any number",
        )
    while sum(numbers) < firings:
        fullest = max(range(len(sizes)), key=lambda place: sizes[place] / numbers[place])
        if sizes[fullest] == numbers[fullest]:
            raise PlanError(
                "firings",
                f"there are {count(sum(sizes), 'pot')} for {count(firings, 'firing')}",
                f"plan {sum(numbers)} firings or fewer, or more replicates",
            )
        numbers[fullest] += 1
    return numbers


def _asked(coded: NDArray, factors: Sequence[Factor]) -> tuple[NDArray, NDArray]:
    """Columns of the factors, their pairs and squares, each of length one, and what each is worth."""
    terms = read_model(factors, "quadratic")
    columns = terms.expand(coded)[:, 1:]
    single = np.repeat([len(term) == 1 for term in terms.members], terms.widths)
    columns = columns - columns.mean(axis=0)
    lengths = np.linalg.norm(columns, axis=0)
    kept = lengths > 1e-9
    return columns[:, kept] / lengths[kept], np.where(single[kept], _FACTOR_FIRST, 1.0)


def _split(columns: NDArray, weights: NDArray, number: int, rng: np.random.Generator) -> list[NDArray]:
    """Split rows into groups of nearly one size, with sums as near to each other as swaps bring them."""
    n = len(columns)
    sizes = np.full(number, n // number) + (np.arange(number) < n % number)
    centred = columns - columns.mean(axis=0)
    best, least = None, np.inf
    for _ in range(max(1, min(_STARTS, 640 // n)) if number > 1 else 1):
        group = rng.permutation(np.repeat(np.arange(number), sizes))
        for _ in range(_SWAPS):
            sums = np.array([centred[group == g].sum(axis=0) for g in range(number)])
            # What the sum of squares between groups becomes when row i and row j change places.
            step = centred[None, :, :] - centred[:, None, :]
            means, size = (sums / sizes[:, None])[group], sizes[group].astype(float)
            gain = np.einsum("ijk,ik,k->ij", step, 2 * means, weights)
            gain -= np.einsum("ijk,jk,k->ij", step, 2 * means, weights)
            gain += np.einsum("ijk,k->ij", step**2, weights) * (1 / size[:, None] + 1 / size[None, :])
            gain[group[:, None] == group[None, :]] = 0
            i, j = np.unravel_index(gain.argmin(), gain.shape)
            if gain[i, j] > -1e-9:
                break
            group[[i, j]] = group[[j, i]]
        sums = np.array([centred[group == g].sum(axis=0) for g in range(number)])
        worth = float(((sums**2 / sizes[:, None]) @ weights).sum())
        if worth < least - 1e-9:
            best, least = group.copy(), worth
    return [np.flatnonzero(best == g) for g in range(number)]
