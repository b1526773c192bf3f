"""Lots: which firing comes when, which recipe goes on which pot, and where it stands, all by chance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.plan.terms import Terms

#: Orders of the firings that are drawn, of which those stay that mix days and settings least.
_ORDERS = 400
#: How much worse it is to give a factor itself to the days than a pair of factors.
_FACTOR_FIRST = 10.0


def draw_order(
    firings: Sequence[NDArray[np.float64]], terms: Terms, per_day: int | None, rng: np.random.Generator
) -> list[int]:
    """Draw the order of the firings, so that what is set per firing differs within days as far as it can.

    Parameters
    ----------
    firings : sequence of ndarray, shape (pots, factors)
    terms : Terms
    per_day : int, optional
        Firings in a day; where not given, any order is as good.
    rng : Generator

    Returns
    -------
    list of int
        The place of each firing in `firings`, in the order to be fired.
    """
    number = len(firings)
    orders = [rng.permutation(number) for _ in range(_ORDERS if per_day else 1)]
    if not per_day:
        return orders[0].tolist()
    columns = np.array([terms.expand(firing)[0, terms.per_firing][1:] for firing in firings])
    single = np.concatenate(
        [np.full(w, len(m) == 1) for m, w in zip(terms.members, terms.widths, strict=True)]
    )
    weights = np.where(single[terms.per_firing[1:]], _FACTOR_FIRST, 1.0)
    columns = columns - columns.mean(axis=0)
    days = np.arange(number) // per_day
    shares = [_share_of_days(columns[order], days, weights) for order in orders]
    # The first of the best: orders are drawn by lot, so the best ones are as likely each.
    return orders[int(np.argmin(np.round(shares, 9)))].tolist()


def _share_of_days(columns: NDArray, days: NDArray, weights: NDArray) -> float:
    """How much of what is set per firing lies between days."""
    sizes = np.bincount(days)
    sums = np.array([columns[days == day].sum(axis=0) for day in range(len(sizes))]).reshape(len(sizes), -1)
    whole = (columns**2).sum(axis=0)
    kept = whole > 1e-12
    return float(((((sums**2) / sizes[:, None]).sum(axis=0) * weights)[kept] / whole[kept]).sum())


def settled_by_days(coded: pd.DataFrame, days: NDArray, terms: Terms) -> list[str]:
    """Name the terms set per firing that are the same all day, on every day: days hide them."""
    firsts = coded.assign(day=days).drop_duplicates("firing")
    columns = terms.expand(firsts[[factor.name for factor in terms.factors]].to_numpy(dtype=float))
    held = []
    for name, span in zip(terms.names, terms.spans, strict=True):
        block = columns[:, span]
        if not terms.per_firing[span].all() or np.ptp(block, axis=0).max() < 1e-9:
            continue
        spread = pd.DataFrame(block).groupby(firsts["day"].to_numpy()).agg(np.ptp).to_numpy()
        if spread.max() < 1e-9:
            held.append(name)
    return held


def draw_places(sizes: Sequence[int], names: Sequence[str] | None, rng: np.random.Generator) -> list[str]:
    """Give each pot, firing by firing, a place in the kiln by lot; numbers where places have no names."""
    drawn: list[str] = []
    for size in sizes:
        places = list(names) if names else [str(number + 1) for number in range(size)]
        drawn += [places[k] for k in rng.permutation(len(places))[:size]]
    return drawn


def tags(letter: str, number: int, after: Sequence[str] = ()) -> list[str]:
    """Make tags that go on from those that there are.

    Examples
    --------
    >>> tags("p", 3), tags("p", 2, ["p08", "p09", "vase"]), tags("f", 1, ["f6"])
    (['p01', 'p02', 'p03'], ['p10', 'p11'], ['f7'])
    """
    used = [tag[1:] for tag in map(str, after) if tag[:1] == letter and tag[1:].isdecimal()]
    last = max(map(int, used), default=0)
    least = 1 if letter == "f" else 2
    width = max([len(text) for text in used], default=max(least, len(str(last + number))))
    return [f"{letter}{last + 1 + place:0{width}d}" for place in range(number)]
