"""Equivalence: whether a bias between two setups is shown to stay within a margin, not only not shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from sagglab.colour import AXES, delta_e_2000

#: Step in CIELAB at which ΔE00 is taken as a square form: where differences are judged, and small enough
#: for the form to be square.
_STEP = 1.0
#: Directions first looked along, spread evenly; the best is then improved. One in 3 degrees.
_DIRECTIONS = 4000


def two_one_sided(estimate: float, standard_error: float, df: float, margin: float) -> float:
    """Probability by which a difference is shown to lie within ± a margin: the larger of two t tests.

    References
    ----------
    D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987), 657-680.

    Examples
    --------
    >>> round(two_one_sided(0.164667, 0.135751, 14, 0.6), 5)
    0.00317
    """
    if standard_error == 0:
        return 0.0 if abs(estimate) < margin else 1.0
    return float(stats.t.sf((margin - abs(estimate)) / standard_error, df))


@dataclass(frozen=True)
class Equivalence:
    """Whether a bias of colour is shown to stay within a margin of ΔE00.

    Attributes
    ----------
    margin : float
        ΔE00.
    size : float
        ΔE00 of the bias, as it comes out.
    at_most : float
        ΔE00 that the bias stays below, at the level of `p` (95 %).
    p : float
        Of all three coordinates jointly: that of the direction in which the bias is the least surely within
        the margin. Small where it is shown to stay within.
    df : float
    table : DataFrame
        For each of ``ΔL*``, ``Δa*``, ``Δb*`` the ``margin`` (the change of it alone that makes the margin of
        ΔE00), and ``p`` of two one-sided tests.
    """

    margin: float
    size: float
    at_most: float
    p: float
    df: float
    table: pd.DataFrame


def equivalence(
    bias: ArrayLike, covariance: ArrayLike, df: float, lab: ArrayLike, margin: float
) -> Equivalence:
    """Test whether a bias stays within a margin of ΔE00.

    ΔE00 is taken as a square form, the mean of those at the colours compared, so that the margin is an
    ellipsoid. The bias lies in it when it does along every direction, and each is one one-sided t test at
    the full level (intersection-union): nothing is to be allowed for their number.

    Parameters
    ----------
    bias : array_like, shape (3,)
        ΔL*, Δa*, Δb*.
    covariance : array_like, shape (3, 3)
        Of the bias.
    df : float
        Degrees of freedom of the covariance.
    lab : array_like, shape (n, 3)
        The colours compared.
    margin : float
        ΔE00.

    References
    ----------
    R. L. Berger, Technometrics 24 (1982), 295-300 (intersection-union tests).
    """
    bias, covariance = np.asarray(bias, dtype=float), np.asarray(covariance, dtype=float)
    form = square_form(lab)
    alone = margin / np.sqrt(np.diag(form))
    errors = np.sqrt(np.diag(covariance))
    table = pd.DataFrame(
        {
            "coordinate": [f"Δ{axis}" for axis in AXES],
            "margin": alone,
            "p": [two_one_sided(*each) for each in zip(bias, errors, [df] * 3, alone, strict=True)],
        }
    )
    # In these coordinates ΔE00 is the length.
    root = np.linalg.cholesky(form).T
    shift, spread = root @ bias, root @ covariance @ root.T
    surely = float(stats.t.ppf(0.95, df))

    def error(directions: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.sqrt(np.einsum("...i,ij,...j->...", directions, spread, directions).clip(0))

    def below(directions: NDArray[np.float64]) -> NDArray[np.float64]:
        return -(directions @ shift + surely * error(directions))

    def room(directions: NDArray[np.float64]) -> NDArray[np.float64]:
        return (margin - directions @ shift) / error(directions).clip(1e-12)

    return Equivalence(
        margin,
        float(np.linalg.norm(shift)),
        -_lowest(below),
        float(stats.t.sf(_lowest(room), df)),
        float(df),
        table,
    )


def square_form(lab: ArrayLike) -> NDArray[np.float64]:
    """Matrix G by which a small shift δ of some colours makes ΔE00 = √(δ' G δ), in the root mean square.

    Parameters
    ----------
    lab : array_like, shape (n, 3)

    Returns
    -------
    ndarray, shape (3, 3)

    Examples
    --------
    >>> square_form([[50, 0, 0]]).round(2).diagonal().tolist()
    [1.0, 2.11, 0.96]
    """
    return square_forms(lab).mean(axis=0)


def square_forms(lab: ArrayLike) -> NDArray[np.float64]:
    """Give the same of each colour by itself, shape (n, 3, 3)."""
    lab = np.atleast_2d(np.asarray(lab, dtype=float))

    def squared(step: NDArray[np.float64]) -> NDArray[np.float64]:
        both = [delta_e_2000(lab, lab + sign * _STEP * step) ** 2 for sign in (1, -1)]
        return np.mean(both, axis=0) / _STEP**2

    axes = np.eye(3)
    forms = np.zeros((len(lab), 3, 3))
    for i in range(3):
        forms[:, i, i] = squared(axes[i])
    for i, j in ((0, 1), (0, 2), (1, 2)):
        forms[:, i, j] = (squared(axes[i] + axes[j]) - forms[:, i, i] - forms[:, j, j]) / 2
        forms[:, j, i] = forms[:, i, j]
    return forms


def _lowest(value: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> float:
    """Least value of a function of directions in space, given as vectors of length 1."""
    # Evenly over the sphere: the golden spiral.
    turn = np.arange(_DIRECTIONS) * (np.pi * (3 - np.sqrt(5)))
    height = 1 - 2 * (np.arange(_DIRECTIONS) + 0.5) / _DIRECTIONS
    across = np.sqrt(1 - height**2)
    directions = np.column_stack([across * np.cos(turn), across * np.sin(turn), height])
    values = value(directions)
    improved = optimize.minimize(
        lambda along: value(along / np.linalg.norm(along)), directions[values.argmin()], method="Nelder-Mead"
    )
    return min(float(values.min()), float(improved.fun))
