"""Flags: what is wrong with a reading, found by rules that a person could apply with a ruler.

The limits are common practice, no source.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ReadingsError
from sagglab.firing.cells import Cells
from sagglab.firing.jumps import FASTEST_C_PER_MIN, LEAST_STEP_C, jumping
from sagglab.units import ABSOLUTE_ZERO_C


@dataclass(frozen=True)
class Flag:
    """What a flag says of its reading.

    Attributes
    ----------
    meaning : str
        One sentence without its full stop.
    counts : bool
        Whether the reading is measured all the same.
    """

    meaning: str
    counts: bool = False


FLAGS = {
    "open": Flag("the instrument gave no temperature: an open sensor, or a blank cell"),
    "unreadable": Flag("the cell holds neither a number nor a known mark"),
    "struck out": Flag("whoever kept the record struck it out"),
    "same time": Flag("another reading, which counts, has the same time"),
    "out of order": Flag("its time is earlier than that of a reading before it"),
    "out of range": Flag("no kiln of this kind gets so hot or so cold: the sensor was open, or it is a slip"),
    "spike": Flag("it stands out from the readings on both sides by more than a kiln can do"),
    "jump": Flag("the temperature stepped further than a kiln can go: the sensor was moved, or came loose"),
    "stuck": Flag("the same value came again and again while the kiln went on, as the next readings show"),
    "after a gap": Flag("readings are missing before it for much longer than usual", counts=True),
}

#: No firing of this kind gets hotter or colder; a record that does is in another unit.
HIGHEST_C = 1100.0
LOWEST_C = -60.0

#: Nobody calls a run of fewer readings, or a shorter one, stuck; a cold kiln stays as it is for hours.
STUCK_READINGS, STUCK_MINUTES, STUCK_ABOVE_C = 5, 5.0, 100.0
#: A gap is so many times the usual interval, and longer than a minute.
GAP_INTERVALS, GAP_MINUTES = 5.0, 1.0


def counts(flags: pd.Series) -> pd.Series:
    """Tell which readings are measured, by their flags."""
    return flags.isin(["", *(name for name, flag in FLAGS.items() if flag.counts)])


def in_order(minutes: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which readings to keep so that time goes forward and the fewest are left out.

    Parameters
    ----------
    minutes : ndarray, shape (N,)

    Returns
    -------
    ndarray of bool, shape (N,)
        True along a longest strictly rising run of times.

    Examples
    --------
    >>> in_order(np.array([0.0, 10, 900, 20, 30])).tolist()
    [True, True, False, True, True]
    """
    if (np.diff(minutes) > 0).all():
        return np.ones(minutes.size, dtype=bool)
    # The longest rising run, found from the end, so that of two equally good the earlier reading is kept.
    ends: list[float] = []
    places: list[int] = []
    before = np.full(minutes.size, -1)
    for place in range(minutes.size - 1, -1, -1):
        rank = bisect_left(ends, -minutes[place])
        if rank:
            before[place] = places[rank - 1]
        if rank == len(ends):
            ends.append(-minutes[place])
            places.append(place)
        else:
            ends[rank], places[rank] = -minutes[place], place
    kept = np.zeros(minutes.size, dtype=bool)
    place = places[-1]
    while place >= 0:
        kept[place] = True
        place = before[place]
    return kept


def stuck(minutes: NDArray[np.float64], temperature: NDArray[np.float64]) -> NDArray[np.int64]:
    """Find readings that repeat a value while the kiln went on.

    A hold shows the same value, too. But it is left at the pace of a kiln, where a sensor that had stuck
    comes back in one step with the climb that it missed.
    """
    if not temperature.size:
        return np.empty(0, dtype=np.int64)
    steps = np.diff(temperature)
    climbs = steps / np.diff(minutes)
    changes = np.flatnonzero(steps != 0) + 1
    starts = np.concatenate([[0], changes])
    ends = np.concatenate([changes, [temperature.size]]) - 1
    long = (ends - starts + 1 >= STUCK_READINGS) & (minutes[ends] - minutes[starts] >= STUCK_MINUTES)
    found = [np.empty(0, dtype=np.int64)]
    for start, end in zip(starts[long], ends[long], strict=True):
        if temperature[start] < STUCK_ABOVE_C:
            continue
        if end < steps.size:
            after = np.abs(climbs[end + 1 : end + 1 + STUCK_READINGS])
            usual = float(np.median(after)) if after.size else np.inf
            brisk = LEAST_STEP_C + FASTEST_C_PER_MIN / 2 * (minutes[end + 1] - minutes[end])
            is_stuck = abs(steps[end]) > brisk and abs(climbs[end]) > 4 * usual
        else:
            # To the end of the record, only a restless sensor that falls silent is told from a hold.
            turned = np.diff(np.sign(steps[:start])) != 0
            is_stuck = turned.size > 4 * STUCK_READINGS and turned.mean() > 0.2
        if is_stuck:
            found.append(np.arange(start + 1, end + 1))
    return np.concatenate(found)


def after_gaps(minutes: NDArray[np.float64]) -> NDArray[np.int64]:
    """Find readings before which others are missing, by the usual interval of the record."""
    intervals = np.diff(minutes)
    if intervals.size < 3:
        return np.empty(0, dtype=np.int64)
    usual = float(np.median(intervals))
    return np.flatnonzero(intervals > max(GAP_INTERVALS * usual, GAP_MINUTES)) + 1


def flag_readings(
    cells: Cells,
    minutes: NDArray[np.float64],
    temperature: NDArray[np.float64],
    unit: str,
    source: str,
) -> NDArray[np.object_]:
    """Flag each reading; a rule sees only what the rules before it let count.

    Parameters
    ----------
    cells : Cells
        As they were written.
    minutes, temperature : ndarray, shape (N,)
        In minutes and °C, in the order of the file; not a number where a cell is none.
    unit, source : str
        The unit stated and the file, for an error.

    Returns
    -------
    ndarray of str, shape (N,)
        Keys of ``FLAGS``; empty where there is nothing to say.

    Raises
    ------
    ReadingsError
        The record goes out of range at the pace of a kiln: its unit is wrong.
    """
    names = ["", *FLAGS]
    code = {name: number for number, name in enumerate(names)}
    codes = np.zeros(minutes.size, dtype=np.int8)
    codes[np.isnan(temperature) | np.isnan(minutes)] = code["unreadable"]
    codes[cells.marks & ~np.isnan(minutes)] = code["open"]
    # The record was written by sagglab, or struck out by hand: what was left out stays so.
    for name in set(pd.unique(cells.kept_flags)) & FLAGS.keys():
        if not FLAGS[name].counts:
            codes[cells.kept_flags == name] = code[name]

    good = np.flatnonzero(codes == 0)
    kept = in_order(minutes[good])
    late = good[~kept]
    again = np.isin(minutes[late], minutes[good[kept]]) if late.size else late
    codes[late] = np.where(again, code["same time"], code["out of order"])
    good = good[kept]
    odd = (temperature[good] > HIGHEST_C) | (temperature[good] < LOWEST_C)
    if odd.any():
        _check_range(minutes[good], temperature[good], odd, unit, source, cells.lines[good])
        codes[good[odd]] = code["out of range"]
        good = good[~odd]
    # A stuck sensor comes back with a jump, which is not to be laid to the readings after it.
    codes[good[stuck(minutes[good], temperature[good])]] = code["stuck"]
    good = good[codes[good] == 0]
    spikes, jumps = jumping(minutes[good], temperature[good])
    codes[good[spikes]], codes[good[jumps]] = code["spike"], code["jump"]
    good = good[codes[good] == 0]
    codes[good[after_gaps(minutes[good])]] = code["after a gap"]
    return np.array(names, dtype=object)[codes]


def _check_range(
    minutes: NDArray[np.float64],
    temperature: NDArray[np.float64],
    odd: NDArray[np.bool_],
    unit: str,
    source: str,
    lines: NDArray[np.int64],
) -> None:
    """Refuse a record that goes out of range at the pace of a kiln: its unit is wrong, not one reading."""
    # Numbers that are °F in truth go 1.8 times as fast.
    fastest = 1.8 * FASTEST_C_PER_MIN
    sound = np.flatnonzero(~odd)
    for place in np.flatnonzero(odd & ~np.concatenate([[False], odd[:-1]])):
        before = sound[sound < place][-1:] if place else sound[:1]
        lapsed = np.abs(minutes[place] - minutes[before])
        if (np.abs(temperature[place] - temperature[before]) > LEAST_STEP_C + fastest * lapsed).any():
            continue
        hot = temperature[place] > HIGHEST_C
        cold = "below absolute zero" if temperature[place] < ABSOLUTE_ZERO_C else "colder than any kiln shed"
        raise ReadingsError(
            f"{source}, line {lines[place]}",
            f"{temperature[place]:.0f} °C is {'hotter than any kiln of this kind gets' if hot else cold}",
            f"check the unit, which is stated as [{unit}]" + ("; a record in °F wants [degF]" if hot else ""),
        )
