"""Words of a two-level plan: which products of factors stay the same on every pot, counted by brute force.

Nothing here trusts how a plan was made. All 2^k products of the columns handed in are looked at, so that the
resolution told is that of the pots that will be fired.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import PlanError

#: 2^15 products of 128 pots take 4 ms; every further factor doubles that and the memory.
MOST_FACTORS = 20


def product_sums(signs: ArrayLike) -> NDArray[np.int64]:
    """Sum the product of every set of factors over all pots.

    Parameters
    ----------
    signs : array_like, shape (pots, factors)
        −1 or 1.

    Returns
    -------
    ndarray, shape (2**factors,)
        Place s holds the set whose factors are the bits set in s; place 0, the empty set, holds the pots.

    Raises
    ------
    PlanError
        The table is no table, is empty or too wide, or holds other numbers than −1 and 1.

    Notes
    -----
    The pots are counted by their pattern of minus signs, and the counts transformed (Walsh–Hadamard) with
    k 2^k additions; whole numbers throughout, so that a sum is zero only where it is zero.
    """
    table = np.asarray(signs)
    if table.ndim != 2 or 0 in table.shape:
        raise PlanError(
            "signs", f"they have the shape {table.shape}", "give one row per pot, one column per factor"
        )
    pots, factors = table.shape
    if factors > MOST_FACTORS:
        raise PlanError("signs", f"{factors} factors are too many", f"give at most {MOST_FACTORS}")
    if not np.all(np.abs(table) == 1):
        raise PlanError(
            "signs", "they hold other numbers than −1 and 1", "code each factor's two levels as −1 and 1"
        )
    minus = (table < 0) @ (1 << np.arange(factors))
    sums = np.bincount(minus, minlength=2**factors).astype(np.int64)
    for place in range(factors):
        pairs = sums.reshape(-1, 2, 2**place)
        sums = np.stack([pairs[:, 0] + pairs[:, 1], pairs[:, 0] - pairs[:, 1]], axis=1).reshape(-1)
    return sums


def word_lengths(signs: ArrayLike) -> NDArray[np.float64]:
    """Count the words by their length.

    Parameters
    ----------
    signs : array_like, shape (pots, factors)
        −1 or 1.

    Returns
    -------
    ndarray, shape (factors + 1,)
        At place j the sum, over all sets of j factors, of the squared mean of their product. A regular
        fraction has whole numbers there: its words of length j (place 0 is 1). In other plans, such as
        Plackett–Burman's, a word can stand for a part.

    References
    ----------
    L.-Y. Deng and B. Tang, Statistica Sinica 9 (1999); C.-X. Ma and K.-T. Fang, Metrika 53 (2001).

    Examples
    --------
    >>> half = [[-1, -1, 1], [1, -1, -1], [-1, 1, -1], [1, 1, 1]]
    >>> word_lengths(half)
    array([1., 0., 0., 1.])
    """
    sums = product_sums(signs)
    lengths = np.bitwise_count(np.arange(len(sums), dtype=np.uint32))
    # Divided last: sums of squared whole numbers are exact.
    return np.bincount(lengths, weights=sums.astype(float) ** 2) / float(sums[0]) ** 2


def resolution(signs: ArrayLike) -> int:
    """Tell the length of the shortest word.

    Returns
    -------
    int
        3 where a factor cannot be told, wholly or in part, from how two others go together; 4 where it can,
        but pairs cannot be told from pairs; and so on. One more than the number of factors where there is no
        word at all, as in full factorials. 1 or 2 where the plan is out of balance, or two factors share.

    Examples
    --------
    >>> resolution([[-1, -1, 1], [1, -1, -1], [-1, 1, -1], [1, 1, 1]])
    3
    """
    found = np.flatnonzero(word_lengths(signs)[1:])
    return int(found[0]) + 1 if len(found) else np.asarray(signs).shape[1] + 1


def defining_words(signs: ArrayLike) -> dict[tuple[int, ...], int]:
    """List the sets of factors whose product is the same on every pot.

    Returns
    -------
    dict
        Places of the factors -> the product, −1 or 1; short words first.

    Examples
    --------
    >>> defining_words([[-1, -1, 1], [1, -1, -1], [-1, 1, -1], [1, 1, 1]])
    {(0, 1, 2): 1}
    """
    sums = product_sums(signs)
    whole = np.flatnonzero(np.abs(sums) == sums[0])[1:]
    words = {
        tuple(place for place in range(int(mask).bit_length()) if mask >> place & 1): int(np.sign(sums[mask]))
        for mask in whole.tolist()
    }
    return dict(sorted(words.items(), key=lambda item: (len(item[0]), item[0])))
