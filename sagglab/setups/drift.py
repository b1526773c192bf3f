"""Drift: whether one setup still reads the target as it did, since when not, and what else changed then."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import SetupError
from sagglab.pages.layout import report
from sagglab.setups.camera_changes import camera_changes
from sagglab.setups.control import (
    FIRST,
    LEAST_VALUES,
    ODD,
    exponentially_weighted,
    individuals,
    level_of,
    run_widths,
)
from sagglab.setups.drift_said import drift_sentences
from sagglab.setups.limits import Limits
from sagglab.setups.pairs import CALIBRATED
from sagglab.setups.target_series import (
    COORDINATES,
    SERIES,
    TargetSeries,
    series_name,
    target_series,
)

#: Share of setups without any drift of which something is called out of control, over all series and charts.
FALSE_ALARMS = 0.05
#: A change per month, with an interval, needs so many days.
LEAST_DAYS = 3
#: Days in a month.
MONTH = 365.25 / 12


@dataclass(frozen=True, repr=False)
class Drift:
    """Whether one setup drifted.

    Attributes
    ----------
    setup : str
    limits : Limits
    table : DataFrame
        One row per day and series: ``photo`` (all of the day), ``taken``, ``colours`` (in the file, after
        calibration), ``coordinate`` (L*, a*, b* of the neutral patches; ΔE00 of all patches from the
        target's table), ``value``, ``centre``, ``lower limit``, ``upper limit``, ``moving range``, ``moving
        range limit``, ``weighted``, ``weighted lower``, ``weighted upper``, ``out`` ("by itself", "jump",
        "weighted", or several; empty when in control).
    found : DataFrame
        One row per series that goes out of control: ``colours``, ``coordinate``, ``taken`` (of the first day
        out), ``chart`` (by what it is out), ``before``, ``after``, ``change``, and ``lasts``: "yes", "no"
        when it was off on that day only, "unknown" when that is the last day.
    per_month : DataFrame
        Change per month after calibration: ``coordinate``, ``per month``, ``low``, ``high`` (95 %), ``df``.
    camera : DataFrame
        What the camera said for the first time: ``day``, ``what``, ``said``.
    shots : DataFrame
        The photographs, with what the camera said of each.
    notes : tuple of str
        What was left out, and how to take the limits.

    Examples
    --------
    >>> from sagglab.columns import PATCHES, conform
    >>> grey = {"a*": 0, "b*": 0, "L* of target": 50, "a* of target": 0, "b* of target": 0,
    ...         "L* in file": 50, "a* in file": 0, "b* in file": 0, "setup": "phone", "patch": "grey"}
    >>> days = [grey | {"photo": f"{day}.jpg", "taken": pd.Timestamp(2026, 4, day), "L*": light}
    ...         for day, light in enumerate([50.1, 49.9] * 3 + [47.0, 50.1, 49.9], start=1)]
    >>> drift = check_drift(conform(days, PATCHES), "phone")
    >>> bool(drift), drift.found[["coordinate", "lasts"]].to_numpy().tolist()
    (True, [['L*', 'no'], ['ΔE00', 'no']])
    >>> drift  # doctest: +NORMALIZE_WHITESPACE
    On 2026-04-07 only, phone reads neutral patches darker by L* 3.0, and all patches ΔE00 2.9 further from
    the target's table after calibration (ΔE00 3.0, noticeable).
    """

    setup: str
    limits: Limits
    table: pd.DataFrame
    found: pd.DataFrame
    per_month: pd.DataFrame
    camera: pd.DataFrame
    shots: pd.DataFrame
    notes: tuple[str, ...] = field(default=())

    def __bool__(self) -> bool:
        return not self.found.empty

    @property
    def sentences(self) -> tuple[str, ...]:
        """What drifted, since when, and what else changed then."""
        return drift_sentences(self)

    def __repr__(self) -> str:
        return self.sentences[0]

    def __str__(self) -> str:
        return "\n".join((*self.sentences, *self.notes))

    def _repr_html_(self) -> str:
        days = self.table["taken"].dt.normalize()
        told = f"{days.nunique()} days, {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}"
        found = self.found.assign(taken=[f"{taken:%Y-%m-%d}" for taken in self.found["taken"]])
        return report(
            f"{self.setup}: the target alone on {told}",
            self.sentences,
            found,
            self.per_month,
            warned=self.notes,
        )


def check_drift(patches: pd.DataFrame, setup: str, limits: Limits | None = None) -> Drift:
    """Check whether one setup drifted, by its photographs of the target alone.

    Eight series are judged, four in the file and four after calibration, each by three charts. The limits are
    so wide that all of them together make a false alarm in about 5 of 100 setups that do not drift, however
    short the run: in 5.1, 4.8 and 5.6 of 100, over 4,000 drawn runs of 8, 14 and 20 days whose errors are
    independent. Where a day's errors resemble those of the day before (a correlation of 0.3) it is 9, 16 and
    24 of 100: such a setup does wander.

    Parameters
    ----------
    patches : DataFrame
        As `measure_targets` gives them. Photographs of one day count as one.
    setup : str
    limits : Limits, optional
        What counts as noticeable.

    Returns
    -------
    Drift

    Raises
    ------
    SetupError
        The target was photographed alone on fewer than eight dated days.

    Examples
    --------
    >>> from sagglab.columns import PATCHES, conform
    >>> rows = [{"photo": f"{k}.jpg", "setup": "phone", "patch": "grey",
    ...          "taken": pd.Timestamp(2026, 4, k + 1),
    ...          "L* of target": 51, "a* of target": 0, "b* of target": 0, "L*": 51, "a*": 0, "b*": 0,
    ...          "L* in file": 50 + 0.2 * (-1) ** k, "a* in file": 0.1 * (-1) ** k,
    ...          "b* in file": (2.5 if k > 5 else 0) + 0.1 * (-1) ** k} for k in range(10)]  # fmt: skip
    >>> check_drift(conform(rows, PATCHES), "phone").found.iloc[0][["coordinate", "chart", "lasts"]].tolist()
    ['b*', 'by itself, jump', 'yes']
    """
    series = target_series(patches, setup)
    number = len(series.days)
    if number < LEAST_VALUES:
        raise _too_few(setup, series, LEAST_VALUES)
    widths = run_widths(number, FALSE_ALARMS / len(SERIES))
    parts, found = [], []
    for colours, coordinate in SERIES:
        values = series.days[series_name(colours, coordinate)].to_numpy()
        level = level_of(values, FIRST, ODD)
        single = individuals(values, level, widths).table
        weighted = exponentially_weighted(values, level, widths).table
        out = [", ".join(filter(None, each)) for each in zip(single["out"], weighted["out"], strict=True)]
        columns = single.drop(columns=["moving range centre", "out"])
        columns = columns.join(weighted[["weighted", "weighted lower", "weighted upper"]]).assign(out=out)
        told = series.days[["photo", "taken"]].assign(colours=colours, coordinate=coordinate)
        parts.append(pd.concat([told, columns], axis=1))
        if any(out):
            found.append(_found(parts[-1]))
    columns = ["colours", "coordinate", "taken", "chart", "before", "after", "change", "lasts"]
    return Drift(
        setup,
        Limits() if limits is None else limits,
        pd.concat(parts, ignore_index=True),
        pd.DataFrame(found, columns=columns),
        _per_month(series),
        camera_changes(series.shots),
        series.shots,
        (*series.notes, *_limits_told(number)),
    )


def drift_per_month(patches: pd.DataFrame, setup: str) -> pd.DataFrame:
    """Tell by how much a setup's calibrated readings of the target change per month.

    Parameters
    ----------
    patches : DataFrame
        As `measure_targets` gives them. Photographs of one day count as one.
    setup : str

    Returns
    -------
    DataFrame
        ``coordinate`` (L*, a*, b* of the neutral patches; ΔE00 of all patches from the target's table),
        ``per month``, ``low``, ``high`` (95 %, by a straight line), ``df``.

    Raises
    ------
    SetupError
        The target was photographed alone on fewer than three dated days.
    """
    series = target_series(patches, setup)
    if len(series.days) < LEAST_DAYS:
        raise _too_few(setup, series, LEAST_DAYS)
    return _per_month(series)


def _per_month(series: TargetSeries) -> pd.DataFrame:
    from scipy import stats

    months = (series.days["taken"] - series.days["taken"].iloc[0]) / pd.Timedelta(days=MONTH)
    df = len(months) - 2
    reach = stats.t.ppf(0.975, df)
    rows = []
    for coordinate in COORDINATES:
        line = stats.linregress(months, series.days[series_name(CALIBRATED, coordinate)])
        half = reach * line.stderr
        rows.append((coordinate, line.slope, line.slope - half, line.slope + half, df))
    return pd.DataFrame(rows, columns=["coordinate", "per month", "low", "high", "df"])


def _found(rows: pd.DataFrame) -> dict[str, object]:
    """Tell when a series goes out of control, and by how much."""
    values = rows["value"].to_numpy()
    day = int(np.flatnonzero(rows["out"] != "")[0])
    if day < FIRST:
        # What happens among the first days moves the centre, so that the days before it may be the ones that
        # are out: the day that parts the series best is taken.
        day = min(
            range(len(values)), key=lambda each: min(_left_by_step(values, each), _left_by_day(values, each))
        )
    step, odd = _left_by_step(values, day), _left_by_day(values, day)
    last = day == len(values) - 1
    lasts = "unknown" if last else "yes" if step < odd else "no"
    before = values[: min(day, FIRST)].mean() if lasts != "no" else np.delete(values, day).mean()
    after = values[day:].mean() if lasts != "no" else values[day]
    out = rows["out"].iloc[day] or rows.loc[rows["out"] != "", "out"].iloc[0]
    return {
        "colours": rows["colours"].iloc[0],
        "coordinate": rows["coordinate"].iloc[0],
        "taken": rows["taken"].iloc[day],
        "chart": out,
        "before": before,
        "after": after,
        "change": after - before,
        "lasts": lasts,
    }


def _left_by_step(values: NDArray[np.float64], day: int) -> float:
    """Sum of squares that a step at that day leaves; none can be at the first."""
    if day == 0:
        return np.inf
    return sum(float(((part - part.mean()) ** 2).sum()) for part in (values[:day], values[day:]))


def _left_by_day(values: NDArray[np.float64], day: int) -> float:
    """Sum of squares that is left when that day alone is off."""
    others = np.delete(values, day)
    return float(((others - others.mean()) ** 2).sum())


def _limits_told(number: int) -> tuple[str, ...]:
    return (
        f"The limits are those of {number} days: were nothing to change, some {100 * FALSE_ALARMS:.0f} of "
        f"100 such checks would call something out of control. The first {FIRST} days are taken for what the "
        "setup should be.",
    )


def _too_few(setup: str, series: TargetSeries, least: int) -> SetupError:
    number = len(series.days)
    told = f"the target alone is photographed on {number} dated day{'s' if number != 1 else ''}"
    left_out = f" ({' '.join(series.notes).removesuffix('.')})" if series.notes else ""
    return SetupError(
        f"setup '{setup}'",
        told + left_out,
        f"photograph the target by itself on at least {least} days, once a week or whenever pots are "
        "photographed; several photographs on one day count as one",
    )
