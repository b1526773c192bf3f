"""The firing to follow: a schedule that was stated, or else the climb of the firing that is known best."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sagglab.book import Book
from sagglab.charts import firing_curve, schedule_chart
from sagglab.charts.look import axes, look
from sagglab.errors import SagglabError, UnknownNameError
from sagglab.firing.bounded import FiringCurves
from sagglab.firing.heat import ALUMINIUM_FREEZES_C, HeatMeasures, heat_measures
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_readings, firing_schedule, place_of_record
from sagglab.firing.schedule import Schedule
from sagglab.handout.climb import schedule_points
from sagglab.handout.handout import Drawing, FiringToFollow
from sagglab.handout.wording import span_in_both_scales
from sagglab.plan.sheet import STEP_C
from sagglab.units import both_scales, convert

#: Peaks whose bounds are no wider than so many times the narrowest are known equally well: a sensor's
#: tolerance grows with its temperature, and says nothing of the record.
_AS_WELL = 1.25
#: Inches of the curve, as wide as the page, so that its type is printed as large as it was drawn.
_PAGE = (7.1, 3.1)
#: The same on a phone, where narrower ones leave no room for what is written into it.
_PHONE = (5.2, 3.9)


@dataclass(frozen=True)
class _Record:
    """The record of one firing, and what was measured of it.

    Attributes
    ----------
    firing : str
    readings : Readings
    heat : HeatMeasures
    sensor : str
        Its sensor's class; empty where none is known.
    """

    firing: str
    readings: Readings
    heat: HeatMeasures
    sensor: str

    @property
    def width_C(self) -> float:
        """From the least to the most that the peak can have been; infinite where there is no most."""
        low, high = self.heat.bounds("peak_C")
        return high - low

    @property
    def flagged(self) -> float:
        """Share of the readings that have a flag."""
        return float((self.readings.table["flag"] != "").mean())

    @property
    def said(self) -> str:
        """The peak, and the least and the most that it can have been."""
        peak, (low, high) = self.heat["peak_C"], self.heat.bounds("peak_C")
        if not np.isfinite(high):
            return f"{both_scales(peak)} or hotter, since its record begins or ends there"
        sensor = "" if self.sensor else ", not counting what the sensor is off"
        return f"{both_scales(peak)}, known to lie between {span_in_both_scales(low, high)}{sensor}"


def firing_to_follow(book: Book, results: pd.DataFrame, pots: list[str]) -> FiringToFollow | None:
    """Choose the firing to go by among those of the pots shown.

    A schedule that the book states goes before any record; of several, that of the most pots. Of records
    those go first that aimed nearest to the peak that the book's firings mostly aim at, then those whose peak
    is known best, then that with the fewest flags, then that of the most pots.

    Parameters
    ----------
    book : Book
    results : DataFrame
        From `measures.gather_results`.
    pots : list of str
        The pots shown.

    Returns
    -------
    FiringToFollow or None
        None where their firings have neither a schedule nor a record that can be read.
    """
    firings = Counter(results.loc[results["pot"].isin(pots), "firing"])
    firings = [firing for firing, _ in firings.most_common() if firing]
    records = _records(book, firings)
    for firing in firings:
        with suppress(SagglabError):
            schedule = firing_schedule(book, firing)
            if schedule is not None:
                return _as_planned(firing, schedule, records.get(firing))
    if not records:
        return None
    aimed = book.firings.drop_duplicates("firing").set_index("firing")["target peak [degC]"]
    usual = _of_usual_peak(aimed, records)
    known = _best(usual)
    return _as_fired(book, known, _why(aimed, known.firing, len(records), len(usual)))


def _records(book: Book, firings: list[str]) -> dict[str, _Record]:
    """Read the records that can be read, by firing."""
    sensors = book.firings.drop_duplicates("firing").set_index("firing")["sensor class"]
    found = {}
    for firing in firings:
        with suppress(SagglabError):
            readings, sensor = firing_readings(book, firing), str(sensors[firing])
            try:
                heat = heat_measures(readings, sensor_class=sensor or None)
            except UnknownNameError:  # it bears on the bounds alone
                heat, sensor = heat_measures(readings), ""
            found[firing] = _Record(firing, readings, heat, sensor)
    return found


def _of_usual_peak(aimed: pd.Series, records: dict[str, _Record]) -> list[_Record]:
    """Keep the records of those firings that aimed nearest to the usual peak; all where none is stated."""
    off = (aimed - aimed.median()).abs().reindex(list(records))
    nearest = off[off == off.min()].index if off.notna().any() else off.index
    return [records[firing] for firing in nearest]


def _why(aimed: pd.Series, firing: str, records: int, usual: int) -> str:
    """Say why of several firings this one is shown."""
    if records == 1:
        return "No other firing of these pots has a record that can be read."
    surest = "its record is the surest"
    if pd.isna(aimed[firing]):
        return f"It is shown because {surest} of those of these pots."
    middle = aimed.median()
    near = "" if aimed[firing] == middle else f", nearest to {both_scales(middle)}"
    rest = f"; of those that did, {surest}" if usual > 1 else ""
    aim = f"{both_scales(aimed[firing])}{near}"
    return f"It is shown because it aimed at {aim}, the middle of the book's target peaks{rest}."


def _best(records: list[_Record]) -> _Record:
    """Choose the record to go by; of those that are as good, the first."""
    narrowest = min(record.width_C for record in records)
    known = [record for record in records if record.width_C <= _AS_WELL * narrowest]
    return min(known, key=lambda record: record.flagged)


def _as_planned(firing: str, schedule: Schedule, record: _Record | None) -> FiringToFollow:
    corners = schedule_points(schedule)
    peak = int(corners["temperature_C"].to_numpy().argmax())
    points = corners.iloc[1 : peak + 1].reset_index(drop=True)
    top, minute = corners["temperature_C"][peak], corners["minutes"][peak]
    said = f"As {firing} was planned: {both_scales(top)} after {minute:.0f} min"
    held = corners.loc[corners["temperature_C"] == top, "minutes"].iloc[-1] - minute
    said += f", held for {held:.0f} min" if held > 0 else ""
    if record is not None:
        said += f"; it was fired to {record.said}"
    return FiringToFollow(
        said + _melts(top), points, _drawn(lambda size: schedule_chart(schedule, ax=_sized(*size)))
    )


def _as_fired(book: Book, record: _Record, why: str) -> FiringToFollow:
    curves = FiringCurves.of(record.readings)
    peak, minutes = record.heat["peak_C"], record.heat["minutes_to_peak"]
    levels = np.arange(STEP_C, peak - 0.5, STEP_C)
    rises = np.array([curves.rise(level).value for level in levels]) - curves.start.value
    met = np.isfinite(rises)  # not what a record that begins hot has not seen
    points = pd.DataFrame({"minutes": [*rises[met], minutes], "temperature_C": [*levels[met], peak]})
    points["temperature_F"] = convert(points["temperature_C"], "degC", "degF")
    said = f"As {record.firing} was fired: peak {record.said}, after {minutes:.0f} min"
    # Named as the firing is: its file may hold the records of several.
    named = replace(record.readings, source=record.firing)
    target_C = place_of_record(book, record.firing).target_C
    drawing = _drawn(lambda size: firing_curve(named, target_C, ax=_sized(*size)))
    return FiringToFollow(f"{said}{_melts(peak)} {why}", points, drawing)


def _drawn(draw: Callable[[tuple[float, float]], Axes]) -> Drawing:
    page, phone = (Drawing.of(draw(size)) for size in (_PAGE, _PHONE))
    return page.on_phone(phone)


def _sized(width: float, height: float) -> Axes:
    with look():
        return axes(None, width, height)


def _melts(peak_C: float) -> str:
    if peak_C <= ALUMINIUM_FREEZES_C:
        return "."
    return f"; foil can melt above {both_scales(ALUMINIUM_FREEZES_C)}."
