"""Standard arrays of two levels and of many: Plackett–Burman, and all combinations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import hadamard

from sagglab.errors import PlanError

#: Pots of the Plackett–Burman plans.
SIZES = tuple(range(8, 49, 4))
MOST_COMBINATIONS = 100_000


def plackett_burman(runs: int) -> NDArray[np.float64]:
    """Make a plan of main effects for up to `runs` − 1 factors of two levels.

    Parameters
    ----------
    runs : int
        Number of pots: a multiple of 4 from 8 to 48.

    Returns
    -------
    ndarray, shape (runs, runs − 1)
        −1 and 1, any two columns balanced against each other; the first pot has 1 throughout. Use as many
        columns as there are factors.

    Raises
    ------
    PlanError
        There is no such size.

    Notes
    -----
    Each is a Hadamard matrix without its column of ones, made by whichever construction there is: doubling
    for powers of two; quadratic residues of p = runs − 1 (12, 20, 24, 44, 48), or of p = runs/2 − 1 where 4
    divides p − 1 (28, 36); doubling 20 for 40. In powers of two, and in 40, a factor shares wholly with some
    pairs; in the others with many pairs, by a part each.

    References
    ----------
    R. L. Plackett and J. P. Burman, Biometrika 33 (1946); R. E. A. C. Paley, J. Math. Phys. 12 (1933).

    Examples
    --------
    >>> plackett_burman(12)[1].astype(int).tolist()
    [-1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1]
    """
    if runs not in SIZES:
        near = [size for size in SIZES if size > runs] or [SIZES[-1]]
        raise PlanError(
            f"Plackett–Burman plan of {runs} pots",
            "there is none",
            f"take a multiple of 4, such as {near[0]}",
        )
    if runs & (runs - 1) == 0:
        full = hadamard(runs)
    elif runs == 40:
        half = _from_residues(19)
        full = np.block([[half, half], [half, -half]])
    elif runs in (28, 36):
        full = _from_conference(runs // 2 - 1)
    else:
        full = _from_residues(runs - 1)
    return full[:, 1:].astype(float)


def _residues(prime: int) -> NDArray[np.int64]:
    """Give 1 where column − row is a square, −1 where not, 0 where they meet, shape (prime, prime)."""
    kinds = np.full(prime, -1)
    kinds[np.arange(1, prime) ** 2 % prime] = 1
    kinds[0] = 0
    places = np.arange(prime)
    return kinds[(places - places[:, None]) % prime]


def _from_residues(prime: int) -> NDArray[np.int64]:
    """Make a Hadamard matrix of prime + 1 rows, where 4 divides prime + 1; first row and column are 1."""
    full = np.ones((prime + 1, prime + 1), dtype=int)
    full[1:, 1:] = _residues(prime) - np.eye(prime, dtype=int)
    return full


def _from_conference(prime: int) -> NDArray[np.int64]:
    """Make a Hadamard matrix of 2 prime + 2 rows, where 4 divides prime − 1; first row and column are 1."""
    meeting = np.ones((prime + 1, prime + 1), dtype=int)
    meeting[1:, 1:] = _residues(prime)
    meeting[0, 0] = 0
    one = np.eye(prime + 1, dtype=int)
    full = np.block([[meeting + one, meeting - one], [meeting - one, -meeting - one]])
    full = full * full[0]  # turning a column, or a row, keeps all of them balanced
    return full * full[:, :1]


def full_factorial(levels: Sequence[int]) -> NDArray[np.float64]:
    """Combine every level of every factor with every other.

    Parameters
    ----------
    levels : sequence of int
        Number of levels of each factor, two or more.

    Returns
    -------
    ndarray, shape (product of levels, factors)
        Levels evenly apart on −1 to 1; the first factor changes fastest.

    Raises
    ------
    PlanError
        A factor has fewer than two levels, or there are too many combinations.

    Examples
    --------
    >>> full_factorial([3, 2]).tolist()
    [[-1.0, -1.0], [0.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [0.0, 1.0], [1.0, 1.0]]
    """
    counts = [int(count) for count in levels]
    if not counts or min(counts) < 2:
        raise PlanError("all combinations", f"the levels are {counts}", "give each factor two levels or more")
    total = int(np.prod([float(count) for count in counts]))
    if total > MOST_COMBINATIONS:
        raise PlanError(
            "all combinations",
            f"there are {total:,}, more than {MOST_COMBINATIONS:,}",
            "take a fraction, fewer factors or fewer levels",
        )
    grid = np.indices(counts[::-1]).reshape(len(counts), -1)[::-1].T
    return 2.0 * grid / (np.array(counts) - 1) - 1
