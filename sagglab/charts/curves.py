"""Curves: the readings of one firing as a line, and as marks where they were flagged."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from sagglab.charts.look import INK, LINES, WARN
from sagglab.charts.thin import thinned
from sagglab.errors import ReadingsError
from sagglab.firing.readings import Readings
from sagglab.units import both_scales

#: Of so few readings, each is shown as a dot.
FEW_READINGS = 80

_MARKS = "osD^v<>pPX"


class Curve(NamedTuple):
    """The counted readings of one firing, in order of time, and which of them stand after a gap."""

    minutes: NDArray[np.float64]
    temperature_C: NDArray[np.float64]
    after_gap: NDArray[np.bool_]

    @classmethod
    def of(cls, readings: Readings) -> Curve:
        """Take the readings that count; time as in the record."""
        counted = readings.counted
        if counted.empty:
            raise ReadingsError(readings.source, "none of its readings counts", "there is nothing to draw")
        return cls(
            counted["minutes"].to_numpy(dtype=float),
            counted["temperature_C"].to_numpy(dtype=float),
            (counted["flag"] == "after a gap").to_numpy(),
        )

    @property
    def peak(self) -> int:
        """Position of the hottest reading."""
        return int(self.temperature_C.argmax())

    def from_minute(self, zero: float) -> Curve:
        """Count the minutes from another one."""
        return self._replace(minutes=self.minutes - zero)

    def broken(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give minutes and temperatures of a line that breaks at each gap: nothing was seen within it."""
        gaps = np.flatnonzero(self.after_gap[1:]) + 1
        return np.insert(self.minutes, gaps, np.nan), np.insert(self.temperature_C, gaps, np.nan)

    def thin(self) -> Curve:
        """Leave out what cannot be seen."""
        kept = thinned(self.minutes, self.temperature_C)
        return Curve(*(part[kept] for part in self))


def draw_curve(ax: Axes, curve: Curve) -> None:
    """Draw the line through the readings that count, and each of them where they are few."""
    mark = "o" if len(curve.minutes) < FEW_READINGS else ""
    colour = LINES[0][0]
    gaps = np.flatnonzero(curve.after_gap[1:]) + 1
    # What joins the ends of a gap is dotted.
    ax.plot(*curve.broken(), color=colour, linewidth=1.6, marker=mark, markersize=3, zorder=3)
    if gaps.size:
        joins = [
            np.column_stack([part[gaps - 1], part[gaps], np.full(gaps.size, np.nan)]).ravel()
            for part in (curve.minutes, curve.temperature_C)
        ]
        ax.plot(*joins, color=colour, linewidth=1.2, linestyle=(0, (1, 2)), zorder=3)


class Flagged(NamedTuple):
    """The marks of one flag, in the data's units, and what to write beside them."""

    words: str
    minutes: NDArray[np.float64]
    temperature_C: NDArray[np.float64]
    colour: str


def draw_flagged(ax: Axes, readings: Readings, zero: float) -> list[Flagged]:
    """Draw a hollow mark for each flagged reading that has a time, with a shape for each flag.

    One that has no temperature, or lies beyond the axes, is drawn at the edge.
    """
    counts = set(readings.counted["flag"].unique())
    left, right = ax.get_xlim()
    bottom, top = ax.get_ylim()
    inset = 0.015 * (top - bottom)  # a mark at the edge stays whole
    found = []
    table = readings.table[readings.table["flag"] != ""]
    for number, (flag, rows) in enumerate(table.groupby("flag", sort=False)):
        timed = rows[rows["minutes"].notna()].sort_values("minutes")
        heat = timed["temperature_C"].to_numpy()
        minutes = np.clip(timed["minutes"].to_numpy() - zero, left, right)
        shown = np.clip(np.where(np.isnan(heat), bottom, heat), bottom + inset, top - inset)
        kept = thinned(minutes, shown)
        flagged = Flagged(
            _flag_words(str(flag), len(rows), flag in counts, timed, (bottom, top)),
            minutes[kept],
            shown[kept],
            INK if flag in counts else WARN,
        )
        # Of many, each is small, so that they do not run together more than they must.
        size, edge = (5.5, 1.0) if len(kept) < 20 else (3.5, 0.5)
        ax.plot(
            flagged.minutes, flagged.temperature_C, linestyle="", marker=_MARKS[number % len(_MARKS)],
            markersize=size, markerfacecolor="none", markeredgecolor=flagged.colour, markeredgewidth=edge,
            clip_on=False, zorder=4, label=flag,
        )  # fmt: skip
        found.append(flagged)
    return found


def _flag_words(flag: str, count: int, counts: bool, timed: pd.DataFrame, limits: tuple[float, float]) -> str:
    lowest, highest = timed["temperature_C"].min(), timed["temperature_C"].max()
    words = f"{flag}: {count} {'counted' if counts else 'left out'}"
    if highest > limits[1]:
        words += f", up to {both_scales(highest)}"
    if lowest < limits[0]:
        words += f", down to {both_scales(lowest)}"
    if len(timed) < count:
        words += f", {count - len(timed)} without a time"
    return words
