"""Control charts: whether values stay what they were, each by itself, from one to the next, and weighted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import SetupError

#: How far apart two values are in the mean, and how that scatters, for normal values of standard deviation 1:
#: d₂ = 1.128 and d₃ = 0.853 of the tables for control charts, since their difference is normal, too.
D2 = 2 / math.sqrt(math.pi)
D3 = math.sqrt(2 - D2**2)

# What is found was measured in 8,000 drawn runs each, at the widths of `run_widths` for 1 false alarm in 160
# runs, which eight series together need; steps are in standard deviations of one value.

#: With fewer values there are no limits. Of 8, a step at the last but one is found in 38 of 100 runs when it
#: is 6, in 63 when it is 8, and in 92 when it is 12.
LEAST_VALUES = 8
#: The centre is the mean of so many values at first, which must not hold the drift. A step of 4 at the 9th of
#: 14 is found in 51 of 100 runs by the first 3, in 71 by 5, in 85 by 7; but one among the first is hardly
#: found (at the 4th of 14: 77, 38 and 23; at the 6th 70, 88 and 64).
FIRST = 5
#: So many of the largest moving ranges are left out of the scale: one value that is off makes two. It costs
#: little (a step of 4 at the 9th of 14: 71 in place of 76), and one value that is off by 10 is found in 93 of
#: 100 runs of 14 in place of 66, and in 49 of 100 runs of 8 in place of none.
ODD = 2
#: Weight of the newest value. With 0.4 a step of 4 at the 9th of 14 is found in 68 of 100 runs in place of
#: 71, and one of 3 at the 9th of 20 in 66 in place of 76; with 0.1 in 68 and 79.
WEIGHT = 0.2


@dataclass(frozen=True)
class Level:
    """What the values are while nothing changes.

    Attributes
    ----------
    centre : float
    sd : float
        Standard deviation of one value, from the moving ranges.
    """

    centre: float
    sd: float


@dataclass(frozen=True)
class Widths:
    """How far off the limits are, in standard deviations of what is drawn.

    Attributes
    ----------
    individual, moving_range, weighted : float
    """

    individual: float = 3.0
    moving_range: float = 3.0
    weighted: float = 3.0


@dataclass(frozen=True)
class ControlChart:
    """The numbers of a control chart.

    Attributes
    ----------
    table : DataFrame
        One row per value. Of `individuals`: ``value``, ``centre``, ``lower limit``, ``upper limit``,
        ``moving range``, ``moving range centre``, ``moving range limit``. Of `exponentially_weighted`:
        ``value``, ``centre``, ``weighted``, ``weighted lower``, ``weighted upper``. And ``out``: by what the
        value is out of control; empty when it is not.
    level : Level
    note : str
        Why there are no limits; empty when there are.
    """

    table: pd.DataFrame
    level: Level
    note: str = ""


def level_of(values: ArrayLike, first: int | None = None, odd: int = 0) -> Level:
    """Tell centre and scatter from the values themselves.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time.
    first : int, optional
        The centre is the mean of so many of the first; of all when not given.
    odd : int
        So many of the largest moving ranges are left out.

    Raises
    ------
    SetupError
        Fewer than two values remain, or one is not a number.
    """
    values = _checked(values)
    least = max(2 + odd, first or 0)
    if len(values) < least:
        raise SetupError("control chart", f"there are {len(values)} values", f"give at least {least}")
    return Level(float(values[:first].mean()), float(_scale(values[None], odd)[0]))


def individuals(values: ArrayLike, level: Level | None = None, widths: Widths | None = None) -> ControlChart:
    """Judge each value by itself, and each by how far it is from the one before.

    The usual limits are the centre ± 2.66 mean moving ranges, and for the moving range 3.267 of its mean.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time.
    level : Level, optional
        When not given, from these values, which then must be at least 8.
    widths : Widths, optional
        Three standard deviations when not given.

    Returns
    -------
    ControlChart
        A value is out "by itself" beyond its limits, and by a "jump" beyond that of the moving range.

    Raises
    ------
    SetupError
        A value is not a number.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Examples
    --------
    >>> chart = individuals([5.1, 4.9, 5.0, 5.2, 5.0, 4.9, 5.1, 6.4])
    >>> chart.table["out"].tolist()[-1]
    'by itself, jump'
    """
    values = _checked(values)
    level, note = _level(values, level)
    widths = Widths() if widths is None else widths
    ranges = np.abs(np.diff(values, prepend=np.nan))
    reach = widths.individual * level.sd
    most = (D2 + widths.moving_range * D3) * level.sd
    with np.errstate(invalid="ignore"):
        out = _told({"by itself": np.abs(values - level.centre) > reach, "jump": ranges > most})
    columns = {
        "value": values,
        "centre": level.centre,
        "lower limit": level.centre - reach,
        "upper limit": level.centre + reach,
        "moving range": ranges,
        "moving range centre": D2 * level.sd,
        "moving range limit": most,
        "out": out,
    }
    return ControlChart(pd.DataFrame(columns), level, note)


def exponentially_weighted(
    values: ArrayLike, level: Level | None = None, widths: Widths | None = None, weight: float = WEIGHT
) -> ControlChart:
    """Judge the exponentially weighted mean of each value and those before it, which small changes move.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time.
    level : Level, optional
        When not given, from these values, which then must be at least 8.
    widths : Widths, optional
        Three standard deviations when not given.
    weight : float
        Of the newest value, above 0 and at most 1.

    Returns
    -------
    ControlChart
        The limits widen from the first value on, as the weighted mean's own standard deviation does.

    Raises
    ------
    SetupError
        A value is not a number, or the weight is not a share.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4. The variance at the i-th value is that of a
    value times λ / (2 − λ) (1 − (1 − λ)²ⁱ): J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990), 1-12.
    """
    values = _checked(values)
    if not 0 < weight <= 1:
        raise SetupError("control chart", f"a weight of {weight:g}", "give one above 0 and at most 1")
    level, note = _level(values, level)
    widths = Widths() if widths is None else widths
    weighted = _weighted(values[None] - level.centre, weight)[0] + level.centre
    reach = widths.weighted * level.sd * _weighted_sd(len(values), weight)
    with np.errstate(invalid="ignore"):
        out = _told({"weighted": np.abs(weighted - level.centre) > reach})
    columns = {
        "value": values,
        "centre": level.centre,
        "weighted": weighted,
        "weighted lower": level.centre - reach,
        "weighted upper": level.centre + reach,
        "out": out,
    }
    return ControlChart(pd.DataFrame(columns), level, note)


@lru_cache(maxsize=64)
def run_widths(
    values: int, rate: float, first: int = FIRST, odd: int = ODD, weight: float = WEIGHT
) -> Widths:
    """Tell how wide limits must be for a whole run to stay within all of them, unless something changes.

    Three standard deviations hold for one value and a level that is known. Here the level comes from the
    run itself, and every value is asked, three ways: limits of 3 would make a false alarm in 54 of 100 runs
    of 14.

    Parameters
    ----------
    values : int
        How many there are in the run.
    rate : float
        Share of runs without any change in which some value may be out.
    first, odd : int
        As for `level_of`.
    weight : float
        As for `exponentially_weighted`.

    Returns
    -------
    Widths
        From drawn runs of independent normal values; each of the three has the same share of the alarms.
    """
    from scipy import stats

    # 100,000 runs: at the rate of 1 in 160 that eight series together need, 625 of them decide, ± 4 %.
    runs = np.random.default_rng(20_260_809).normal(size=(100_000, values))
    off = runs - runs[:, :first].mean(axis=1, keepdims=True)
    sd = _scale(runs, odd)
    furthest = (
        np.abs(off).max(axis=1) / sd,
        (np.abs(np.diff(runs)).max(axis=1) / sd - D2) / D3,
        (np.abs(_weighted(off, weight)) / _weighted_sd(values, weight)).max(axis=1) / sd,
    )
    shares = np.array([stats.rankdata(-each) for each in furthest]) / len(runs)
    each_rate = np.quantile(shares.min(axis=0), rate)
    return Widths(*(float(np.quantile(each, 1 - each_rate)) for each in furthest))


def _level(values: NDArray[np.float64], level: Level | None) -> tuple[Level, str]:
    if level is not None:
        return level, ""
    if len(values) < LEAST_VALUES:
        told = f"{len(values)} values are too few for limits, which need {LEAST_VALUES}"
        return Level(float(values.mean()) if len(values) else np.nan, np.nan), told
    return level_of(values), ""


def _scale(runs: NDArray[np.float64], odd: int) -> NDArray[np.float64]:
    """Tell the standard deviation in each run, shape (runs, n), by its moving ranges but the largest."""
    ranges = np.sort(np.abs(np.diff(runs, axis=1)), axis=1)
    return ranges[:, : ranges.shape[1] - odd].mean(axis=1) / D2


def _weighted(off: NDArray[np.float64], weight: float) -> NDArray[np.float64]:
    """Exponentially weighted mean of what is off the centre, along each row."""
    weighted = np.empty_like(off)
    last = np.zeros(len(off))
    for k in range(off.shape[1]):
        last = weighted[:, k] = weight * off[:, k] + (1 - weight) * last
    return weighted


def _weighted_sd(values: int, weight: float) -> NDArray[np.float64]:
    """Tell the standard deviation of the weighted mean after each value, for values with one of 1."""
    after = np.arange(1, values + 1)
    return np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * after)))


def _told(beyond: dict[str, NDArray[np.bool_]]) -> list[str]:
    """Write by what each value is out."""
    return [
        ", ".join(name for name, is_out in zip(beyond, row, strict=True) if is_out)
        for row in zip(*beyond.values(), strict=True)
    ]


def _checked(values: ArrayLike) -> NDArray[np.float64]:
    checked = np.asarray(values, dtype=float).reshape(-1)
    if not np.isfinite(checked).all():
        where = int(np.flatnonzero(~np.isfinite(checked))[0]) + 1
        raise SetupError(
            "control chart", f"value {where} is not a number", "leave it out, or measure it again"
        )
    return checked
