"""Repeatability: how far readings of one thing in one setup lie apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.colour import AXES
from sagglab.setups.pairs import DIFFERENCES, Kind, Pairs, differences
from sagglab.setups.variances import MeanSquare, Variance

#: Standard deviations to each side that hold 95 of 100, to the digits that Bland and Altman use.
REACH = 1.96

#: The coordinates of a reading, by the difference in which they show.
COORDINATES = dict(zip(DIFFERENCES[:4], (*AXES, "C*ab"), strict=True))


@dataclass(frozen=True)
class Scatter:
    """How the readings of one setup scatter about the things they show, in one coordinate.

    Attributes
    ----------
    own : MeanSquare or None
        Of readings about their thing's mean; of a target, also about what its photograph has in common.
        None where nothing was repeated.
    photographs : MeanSquare or None
        Of photographs of a target about each other; None for pots, whose photographs show one pot each.
    patches : float
        How many patches a photograph's mean rests on; 1 for pots.
    readings : int
        Readings of things that were read more than once.
    """

    own: MeanSquare | None
    photographs: MeanSquare | None
    patches: float
    readings: int

    @property
    def variance(self) -> Variance:
        """Variance of a single reading, with what its photograph shares."""
        if self.own is None:
            return Variance(())
        if self.photographs is None:
            return Variance((self.own,))
        return Variance(
            (self.own.shared(1 - 1 / self.patches), self.photographs.shared(1 / self.patches)),
        )

    @property
    def common(self) -> float:
        """Variance of what all patches of a photograph share; NaN where it cannot be told."""
        if self.own is None or self.photographs is None:
            return math.nan
        return max(self.photographs.value - self.own.value, 0.0) / self.patches


def repeatability(pairs: Pairs) -> pd.DataFrame:
    """How far single readings of one thing lie from its mean, per setup and coordinate.

    Repeats of a pot are photographs of one view on one day; repeats of a target's patch are all its
    photographs. Patches of one photograph go up and down together, so that k photographs tell about that
    common part with k − 1 degrees of freedom, however many patches they show. It is therefore parted from
    what each patch does by itself (two-way analysis of variance), the variance of a reading is the sum of
    both, and its degrees of freedom are Satterthwaite's.

    Returns
    -------
    DataFrame
        One row per setup and coordinate (``L*``, ``a*``, ``b*``, ``C*ab``): ``setup``, ``coordinate``,
        ``SD``, ``low`` and ``high`` (95 %), ``df``, ``SD common`` (what the patches of a photograph share;
        NaN for pots), ``repeatability coefficient`` (two readings of one thing differ by no more in 95 of
        100: 1.96 √2 SD), ``readings`` (of things that were read more than once). Where nothing was
        repeated, SD is NaN and df 0.

    References
    ----------
    Bland and Altman, The Lancet 327 (1986), 307-310; Statistical Methods in Medical Research 8 (1999),
    135-160.
    """
    rows = []
    for setup in (pairs.first, pairs.second):
        for difference, scatter in setup_scatter(pairs, setup).items():
            if difference in COORDINATES:
                rows.append({"setup": setup, "coordinate": COORDINATES[difference], **_told(scatter)})
    return pd.DataFrame(rows)


def colour_repeatability(pairs: Pairs) -> pd.DataFrame:
    """ΔE00 of single readings from the colour that their thing has, per setup.

    The mean of n readings lies nearer to each of them than the thing's own colour does, by √((n − 1) / n);
    each ΔE00 is divided by that.

    Returns
    -------
    DataFrame
        One row per setup: ``setup``, ``mean ΔE00``, ``95 % ΔE00`` (95 of 100 readings lie nearer),
        ``readings`` (of things that were read more than once). NaN where nothing was repeated.
    """
    rows = []
    for setup in (pairs.first, pairs.second):
        known = _deviations(pairs, setup)
        apart = (known["ΔE00"] / np.sqrt(1 - 1 / known["times"])).to_numpy()
        middle, far = (apart.mean(), np.percentile(apart, 95)) if len(apart) else (math.nan, math.nan)
        rows.append({"setup": setup, "mean ΔE00": middle, "95 % ΔE00": far, "readings": len(apart)})
    return pd.DataFrame(rows)


def setup_scatter(pairs: Pairs, setup: str) -> dict[str, Scatter]:
    """Take apart how one setup's readings scatter, for each coordinate in which colours differ.

    ΔC* and ΔH* are those of a reading from the mean colour of its thing.
    """
    known = _deviations(pairs, setup)
    thing, photo = (known[name].to_numpy() for name in ("thing", "shot"))
    parted = {"pots": _of_pots, "patches": _of_patches}[pairs.kind]
    return {name: parted(known[name].to_numpy(), thing, photo) for name in DIFFERENCES}


def _told(scatter: Scatter) -> dict[str, float]:
    variance = scatter.variance
    low, high = variance.interval()
    sd = math.sqrt(variance.value)
    return {
        "SD": sd,
        "low": math.sqrt(low),
        "high": math.sqrt(high),
        "df": variance.df,
        "SD common": math.sqrt(scatter.common),
        "repeatability coefficient": REACH * math.sqrt(2) * sd,
        "readings": scatter.readings,
    }


def _deviations(pairs: Pairs, setup: str) -> pd.DataFrame:
    """Differences of readings from the mean colour of their thing, for what was read more than once."""
    readings = pairs.readings[pairs.readings["setup"] == setup]
    by = readings.groupby(_thing(pairs.kind), sort=False, dropna=False)
    means, times = by[list(AXES)].transform("mean"), by["photo"].transform("size")
    apart = differences(means, readings[list(AXES)]).set_index(readings.index)
    known = apart.assign(thing=by.ngroup(), shot=pd.factorize(readings["photo"])[0], times=times)
    return known[times > 1]


def _thing(kind: Kind) -> list[str]:
    return ["item", "view", "day"] if kind == "pots" else ["item"]


def _of_pots(apart: NDArray[np.float64], thing: NDArray[np.int64], photo: NDArray[np.int64]) -> Scatter:
    df = len(apart) - len(np.unique(thing))
    own = MeanSquare(float(np.sum(_centred(apart, thing) ** 2)) / df, df) if df else None
    return Scatter(own, None, 1.0, len(apart))


def _of_patches(apart: NDArray[np.float64], thing: NDArray[np.int64], photo: NDArray[np.int64]) -> Scatter:
    about = _centred(apart, thing)
    shots = np.unique(photo)
    marks = _centred((photo[:, None] == shots).astype(float), thing)
    fitted, _, rank, _ = np.linalg.lstsq(marks, about, rcond=None)
    things = len(np.unique(thing))
    df = len(apart) - things - rank
    if not rank or df <= 0:
        return Scatter(None, None, 1.0, len(apart))
    left = float(np.sum((about - marks @ fitted) ** 2))
    own = MeanSquare(left / df, df)
    between = MeanSquare(max(float(np.sum(about**2)) - left, 0.0) / rank, int(rank))
    # The mean number of patches per photograph where all are read; fewer where some are missing.
    return Scatter(own, between, (len(apart) - things) / rank, len(apart))


def _centred(values: NDArray[np.float64], group: NDArray[np.int64]) -> NDArray[np.float64]:
    """Subtract from each value, or row, the mean of its group."""
    _, place, counts = np.unique(group, return_inverse=True, return_counts=True)
    sums = np.zeros((len(counts), *values.shape[1:]))
    np.add.at(sums, place, values)
    return values - (sums.T / counts).T[place]
