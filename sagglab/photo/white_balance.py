"""White balance: whether the camera set it anew within a setup, told from what the targets show.

Cameras say that they set it by themselves, but not to what. The target's neutral patches show that.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.photo.calibration import Calibration

#: Light of the grey at which the balance is read, as a share of white's: that of a mid-grey patch.
MID_GREY = 0.2
#: From this far off its setup's middle, in the log of R:G and B:G, a balance differs: a mid grey read with
#: another photograph's calibration is then off by ΔE00 0.9, where half of all people see a difference at 0.8.
DIFFERS = 0.025


def shown_balance(calibration: Calibration) -> NDArray[np.float64]:
    """Read the balance that a photograph shows.

    Parameters
    ----------
    calibration : Calibration
        From the photograph's own target.

    Returns
    -------
    ndarray, shape (2,)
        log of R:G and of B:G, in the linear light of the file, of a mid-grey surface; NaN when too few
        neutral patches were seen to tell.
    """
    curves = calibration.mapping.tone.curves
    if any(len(curve.shown) == 2 for curve in curves):  # a straight line, for want of neutral patches
        return np.full(2, np.nan)
    red, green, blue = np.log([np.interp(MID_GREY, curve.light, curve.shown) for curve in curves])
    return np.array([red - green, blue - green])


def balance_differs(balances: ArrayLike, automatic: ArrayLike) -> NDArray[np.bool_]:
    """Tell which photographs of one setup have a white balance that the camera set otherwise than for others.

    Parameters
    ----------
    balances : array_like, shape (n, 2)
        From `shown_balance`; NaN for a photograph that shows no target.
    automatic : array_like of bool, shape (n,)
        Whether the camera says that it set the white balance by itself. Fixed or not told, it is not doubted.

    Returns
    -------
    ndarray of bool, shape (n,)
        One whose own balance cannot be seen is doubted when any of the others differs.

    Examples
    --------
    >>> balance_differs([[0, 0.01], [0, 0], [0.08, 0], [np.nan, np.nan]], [True, True, True, True])
    array([False, False,  True,  True])
    """
    balances, automatic = np.asarray(balances, dtype=float), np.asarray(automatic, dtype=bool)
    seen = ~np.isnan(balances).any(axis=1)
    if not seen.any():
        return np.zeros(len(balances), dtype=bool)
    off = np.hypot(*(balances - np.median(balances[seen], axis=0)).T)
    differs = automatic & seen & (off > DIFFERS)
    return differs | (automatic & ~seen & differs.any())
