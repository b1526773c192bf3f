"""What each pot changes per month, when that will show, and its colours on the first day and the last."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from sagglab.colour import AXES
from sagglab.model.contrasts import Contrast, holm
from sagglab.model.eye import whole_change
from sagglab.model.sentences import LIMIT
from sagglab.setups.own_drift import OwnDrift
from sagglab.setups.rates import COORDINATES, pot_rates

#: Columns of the table of changes.
COLUMNS = (
    *("pot", "coordinate", "per month", "low", "high", "df", "p", "p Holm", "drift"),
    *("days", "first", "last", "distinguishable", "months more"),
)
#: A rate that needs longer than a year to show is not foretold: colours change the most at first.
MONTHS_FORETOLD = 12


def change_table(
    readings: pd.DataFrame, pots: list[str], along: dict[str, pd.DataFrame], drift: OwnDrift
) -> tuple[pd.DataFrame, dict[tuple[str, str], Contrast], pd.DataFrame]:
    """Lay out what each pot changes per month.

    Parameters
    ----------
    readings : DataFrame
        The drift taken out.
    pots : list of str
        Those that have a rate.
    along : dict of str to DataFrame, shape (pots, 3)
        By how much each pot's readings move with the drift of L*, a*, b*.
    drift : OwnDrift

    Returns
    -------
    table : DataFrame
        Columns `COLUMNS` but for ``distinguishable``.
    rates : dict
        Each pot's rate of each coordinate.
    repeatability : DataFrame
        ``coordinate``, ``SD``, ``df``.
    """
    rows, joined, scatter = [], {}, []
    spans = readings.groupby("pot")["day"].agg(["nunique", "min", "max"]).loc[pots]
    views = {
        pot: [view["months"].to_numpy() for _, view in own.groupby("level")]
        for pot, own in readings.groupby("pot")
    }
    questions = len(pots) * len(COORDINATES)
    for coordinate in COORDINATES:
        rates = pot_rates(readings, coordinate, pots)
        scatter.append([coordinate, rates.SD, rates.df])
        for pot, weights, (days, first, last) in zip(
            pots, np.eye(len(pots)), spans.itertuples(index=False), strict=True
        ):
            way = along[coordinate].loc[pot].to_numpy()
            alone = rates.contrast(weights)
            rate = joined[pot, coordinate] = drift.joined(alone, way)
            more = _months_more(views[pot], alone, way, drift, questions)
            line = [rate.estimate, *rate.interval(), rate.df, rate.p, way @ drift.per_month]
            rows.append([pot, coordinate, *line, days, first, last, more])
    columns = [column for column in COLUMNS if column not in ("p Holm", "distinguishable")]
    table = pd.DataFrame(rows, columns=columns)
    table = table.sort_values("pot", key=lambda names: names.map(pots.index), kind="stable")
    table = table.assign(**{"p Holm": holm(table["p"])}).reset_index(drop=True)
    table["months more"] = table["months more"].where(table["p Holm"] > LIMIT)
    return table, joined, pd.DataFrame(scatter, columns=["coordinate", "SD", "df"])


def _months_more(
    views: list[NDArray], rate: Contrast, along: NDArray, drift: OwnDrift, questions: int
) -> float:
    """Months after the last day at which one more photograph of each view would make the same rate sure.

    The setup's drift is taken as no better known by then, and p is allowed for as if all else stayed unsure.
    """
    if np.isnan(rate.standard_error):
        return np.nan
    counts, means = np.array([[len(view), view.mean()] for view in views]).T
    seen = sum(np.sum((view - view.mean()) ** 2) for view in views)
    last = max(view.max() for view in views)
    for more in range(1, MONTHS_FORETOLD + 1):
        longer = seen + np.sum(counts / (counts + 1) * (last + more - means) ** 2)
        error = rate.standard_error * np.sqrt(seen / longer)
        if drift.joined(Contrast(rate.estimate, error, rate.df), along).p * questions <= LIMIT:
            return float(more)
    return np.nan


def colour_changes(
    readings: pd.DataFrame, pots: list[str], rates: dict[tuple[str, str], Contrast]
) -> pd.DataFrame:
    """Each pot's colour on its first and its last day, by its line, and ΔE00 between them."""
    rows = []
    for pot in pots:
        own = readings[readings["pot"] == pot]
        of = [rates[pot, axis] for axis in AXES]
        slopes, errors, df = np.array([[rate.estimate, rate.standard_error, rate.df] for rate in of]).T
        first, last = own["months"].min(), own["months"].max()
        views = own.groupby("view")[[*AXES, "months"]].mean()
        start = (views[list(AXES)] - np.outer(views["months"] - first, slopes)).mean().to_numpy()
        change = slopes * (last - first)
        half = special.stdtrit(df, 1 - 0.025 / len(AXES)) * errors * (last - first)
        ends = whole_change(start, change, half)
        rows.append([pot, own["day"].min(), own["day"].max(), *start, *start + change, *ends])
    named = [f"{axis} {end}" for end in ("first", "last") for axis in AXES]
    return pd.DataFrame(rows, columns=["pot", "first", "last", *named, "ΔE00", "ΔE00 low", "ΔE00 high"])
