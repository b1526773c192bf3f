"""Arrays for curved answers: central composite and Box–Behnken plans."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.plan.fractions import expand

AXIAL = ("circumscribed", "faced", "inscribed")
DISTANCES = ("rotatable", "orthogonal")
#: Factors that are varied together while the others stay at their middle, in Box–Behnken plans: all pairs up
#: to five factors; threes above, every factor in three of them.
_THREES = {
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((0, 1, 2), (0, 3, 4), (0, 5, 6), (1, 3, 5), (1, 4, 6), (2, 3, 6), (2, 4, 5)),
}
#: Centre points as usually published.
_USUAL_CENTRE = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}


def axial_distance(factors: int, corners: int, centre: int, distance: str = "rotatable") -> float:
    """Tell how far out the axial points of a central composite plan lie, corners being at 1.

    Parameters
    ----------
    factors, corners, centre : int
        Number of factors, of pots at corners, and of pots in the middle.
    distance : str
        ``rotatable``: equally sure in all directions, corners ** (1/4). ``orthogonal``: the squares, less
        their means, are balanced against each other, ((√(corners N) − corners) / 2) ** (1/2) with N pots
        in all.

    Raises
    ------
    PlanError
        There is no such distance.

    References
    ----------
    G. E. P. Box and K. B. Wilson, J. R. Stat. Soc. B 13 (1951); G. E. P. Box and J. S. Hunter, Ann. Math.
    Stat. 28 (1957).

    Examples
    --------
    >>> round(axial_distance(3, 8, 6), 3)
    1.682
    """
    if distance not in DISTANCES:
        raise PlanError(
            "central composite plan",
            f"there is no distance '{distance}'",
            f"write one of {', '.join(DISTANCES)}",
        )
    if distance == "rotatable":
        return float(corners) ** 0.25
    return sqrt((sqrt(corners * (corners + 2 * factors + centre)) - corners) / 2)


def central_composite(
    factors: int,
    axial: str = "circumscribed",
    distance: str = "rotatable",
    centre: int = 3,
    fraction: Sequence[int] | None = None,
) -> NDArray[np.float64]:
    """Make corners, points on the axes and the middle: enough for bends and pairs.

    Parameters
    ----------
    factors : int
        2 to 8.
    axial : str
        ``circumscribed``: corners at ±1, axial points further out. ``inscribed``: the same made smaller, so
        that axial points are at ±1. ``faced``: both at ±1, three levels in all; `distance` is not needed.
    distance : str
        ``rotatable`` or ``orthogonal``, as in `axial_distance`.
    centre : int
        Pots in the middle. A rotatable plan needs them: with none, the squares together cannot, or can
        hardly, be told from the mean.
    fraction : sequence of int, optional
        Columns of the corners, as `fractions.minimum_aberration` gives them. When left out, all corners up
        to four factors and the half fraction from five on, which keeps pairs apart.

    Returns
    -------
    ndarray, shape (corners + 2 factors + centre, factors)
        Corners in standard order, then the axial points (low, high, factor by factor), then the middle.

    Raises
    ------
    PlanError
        Something asked for is not there.

    Examples
    --------
    >>> central_composite(2, axial="faced", centre=1).astype(int).tolist()
    [[-1, -1], [1, -1], [-1, 1], [1, 1], [-1, 0], [1, 0], [0, -1], [0, 1], [0, 0]]
    """
    where = "central composite plan"
    if axial not in AXIAL:
        raise PlanError(where, f"there are no '{axial}' points", f"write one of {', '.join(AXIAL)}")
    if not 2 <= factors <= 8:
        raise PlanError(where, f"there are {factors} factors", "give 2 to 8")
    if centre < 0:
        raise PlanError(where, f"it has {centre} pots in the middle", "give 0 or more")
    if fraction is None:
        basic = factors if factors < 5 else factors - 1
        masks = [1 << place for place in range(basic)] + [2**basic - 1] * (factors - basic)
    else:
        masks = list(fraction)
        if len(masks) != factors:
            raise PlanError(
                where, f"{len(masks)} columns are given for {factors} factors", "give one for each factor"
            )
    corners = expand(masks, 1 << max(masks).bit_length())
    out = 1.0 if axial == "faced" else axial_distance(factors, len(corners), centre, distance)
    arms = np.zeros((2 * factors, factors))
    for place in range(factors):
        arms[2 * place : 2 * place + 2, place] = -out, out
    table = np.vstack([corners, arms, np.zeros((centre, factors))])
    # An orthogonal distance can be less than 1: then the corners are the outermost already.
    return table / max(out, 1.0) if axial == "inscribed" else table


def box_behnken(factors: int, centre: int | None = None) -> NDArray[np.float64]:
    """Make a plan of three levels that never sets all factors to an extreme at once.

    Parameters
    ----------
    factors : int
        3 to 7.
    centre : int, optional
        Pots in the middle; the usual number when left out (15, 27, 46, 54 and 62 pots in all).

    Returns
    -------
    ndarray, shape (pots, factors)
        −1, 0 and 1: groups of two factors (three from six factors on) over all their corners, then the
        middle.

    Raises
    ------
    PlanError
        There is no such plan.

    References
    ----------
    G. E. P. Box and D. W. Behnken, Technometrics 2 (1960).

    Examples
    --------
    >>> box_behnken(3).shape
    (15, 3)
    """
    if factors not in _USUAL_CENTRE:
        raise PlanError("Box–Behnken plan", f"there is none for {factors} factors", "give 3 to 7")
    if centre is not None and centre < 0:
        raise PlanError("Box–Behnken plan", f"it has {centre} pots in the middle", "give 0 or more")
    groups = _THREES.get(factors) or tuple(combinations(range(factors), 2))
    width = len(groups[0])
    corners = expand([1 << place for place in range(width)], 2**width)
    blocks = []
    for group in groups:
        block = np.zeros((len(corners), factors))
        block[:, group] = corners
        blocks.append(block)
    middle = _USUAL_CENTRE[factors] if centre is None else centre
    return np.vstack([*blocks, np.zeros((middle, factors))])
