"""How far chance carries effects, told from the effects themselves."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import special

#: What the effects of each stratum compare.
BETWEEN = {"pot": "between pots", "firing": "between firings", "both": "between pots and firings"}
#: Columns of the table of margins.
MARGINS = (
    *("stratum", "effects", "PSE", "margin for one", "margin for all"),
    *("margin for one by t", "margin for all by t"),
)
#: Fewer effects than these cannot tell how far chance carries one of them.
FEWEST = 7

# Effects drawn for the cut-offs, 900,000 studies of 7 of them and 100,000 of 63, and the studies at a time:
# 0.3 s on one core, whatever their number.
_DRAWN, _AT_ONCE = 6_300_000, 10_000
_SEED = 19_890_469


def pseudo_standard_error(effects: ArrayLike) -> NDArray[np.float64]:
    """Estimate the scatter of effects most of which are taken to be nothing but scatter.

    Parameters
    ----------
    effects : array_like, shape (..., m)

    Returns
    -------
    ndarray, shape (...)
        1.5 times the median size of those that are smaller than 2.5 s0, where s0 is 1.5 times the median size
        of all; 0 where more than half are 0.

    References
    ----------
    Lenth, Technometrics 31 (1989).

    Examples
    --------
    >>> float(pseudo_standard_error([23, -5, 1.5, 1.5, 10, 0, 0.5]))
    2.25
    """
    return _pse_of_sorted(np.sort(np.abs(np.asarray(effects, dtype=float)), axis=-1))


def _pse_of_sorted(sizes: NDArray[np.float64]) -> NDArray[np.float64]:
    m = sizes.shape[-1]
    s0 = 0.75 * (sizes[..., (m - 1) // 2] + sizes[..., m // 2])
    # Sorted, the small ones come first: their median needs no second sorting.
    small = np.maximum(np.sum(sizes < 2.5 * s0[..., None], axis=-1), 1)
    ends = np.stack([(small - 1) // 2, small // 2], axis=-1)
    return np.where(s0 > 0, 0.75 * np.take_along_axis(sizes, ends, axis=-1).sum(axis=-1), 0.0)


@cache
def cut_offs(effects: int, beside: int = 0) -> tuple[float, float, float]:
    """Tell how many PSE chance carries effects, by drawing studies in which no effect is real.

    Parameters
    ----------
    effects : int
        How many the PSE is made of.
    beside : int
        How many more are held against it that it is not made of.

    Returns
    -------
    one, largest, one_beside : float
        What a single effect goes beyond in 5 % of studies; what the largest of them all does; and what a
        single one of those beside does (NaN where there is none).

    Notes
    -----
    One seed, so that the same study gives the same answer. From seed to seed the first differs by a standard
    deviation of 0.002 (7 effects) or less, the second by 0.01 or less.

    Examples
    --------
    >>> [round(cut, 1) for cut in cut_offs(7)[:2]]
    [2.3, 4.9]
    """
    rng = np.random.default_rng(_SEED)
    studies = _DRAWN // effects
    inside = np.empty((studies, effects), dtype=np.float32)
    outside = np.empty((studies, beside), dtype=np.float32)
    for start in range(0, studies, _AT_ONCE):
        part = slice(start, min(start + _AT_ONCE, studies))
        sizes = np.abs(rng.standard_normal((part.stop - part.start, effects)))
        sizes.sort(axis=1)
        pse = _pse_of_sorted(sizes)[:, None]
        inside[part] = sizes / pse
        outside[part] = np.abs(rng.standard_normal((len(sizes), beside))) / pse
    largest = np.maximum(inside[:, -1], outside.max(axis=1, initial=0))
    one, most = np.quantile(inside, 0.95), np.quantile(largest, 0.95)
    return float(one), float(most), float(np.quantile(outside, 0.95)) if beside else np.nan


def t_cut_offs(effects: int) -> tuple[float, float]:
    """Give Lenth's own cut-offs, from t on a third as many degrees of freedom as there are effects.

    Examples
    --------
    >>> [round(cut, 3) for cut in t_cut_offs(7)]
    [3.764, 9.008]
    """
    gamma = (1 + 0.95 ** (1 / effects)) / 2
    return float(special.stdtrit(effects / 3, 0.975)), float(special.stdtrit(effects / 3, gamma))


def margins_of(
    estimates: NDArray[np.float64], strata: NDArray[np.object_], zero: float
) -> tuple[pd.DataFrame, dict[str, str]]:
    """Tell how far chance carries the effects of each stratum.

    Parameters
    ----------
    estimates : ndarray, shape (m,)
    strata : ndarray of str, shape (m,)
        Each one of `BETWEEN`.
    zero : float
        What is too small to be a scatter.

    Returns
    -------
    margins : DataFrame
        Columns `MARGINS`, in the unit of the effects; NaN for a stratum that cannot be judged.
    lacks : dict of str to str
        For each stratum why it cannot be judged; empty where it can.
    """
    lines, lacks = [], {}
    beside = int(np.sum(strata == "both"))
    for stratum in [name for name in BETWEEN if name in strata]:
        # What differs both ways scatters less than firings do: held against their scatter, and no part of it.
        source = estimates[strata == ("firing" if stratum == "both" else stratum)]
        lacks[stratum] = "" if len(source) >= FEWEST else f"fewer than {FEWEST} effects"
        pse = float(pseudo_standard_error(source)) if not lacks[stratum] else np.nan
        if pse <= zero:
            pse, lacks[stratum] = np.nan, "more than half of the effects are zero"
        cuts = [np.nan] * 4
        if not lacks[stratum]:
            one, most, one_beside = cut_offs(len(source), beside if stratum != "pot" else 0)
            cuts = [one_beside if stratum == "both" else one, most, *t_cut_offs(len(source))]
        lines.append((stratum, int(np.sum(strata == stratum)), pse, *(cut * pse for cut in cuts)))
    return pd.DataFrame(lines, columns=list(MARGINS)), lacks
