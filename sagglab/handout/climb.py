"""The climb of a planned firing: from its schedule where one is stated, else even from 20 °C to the peak."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.errors import PlanError, ScheduleError, UnitError
from sagglab.firing.schedule import Schedule, read_schedule
from sagglab.plan.sheet import STEP_C, BenchSheet
from sagglab.units import both_scales, convert

#: Peaks stated in °C and in °F may differ by their rounding.
_SAME_PEAK_C = 1.0


def planned_climb(sheet: BenchSheet, firing: str) -> pd.DataFrame | None:
    """Give the points to be met: ``minutes``, ``temperature_C``, ``temperature_F``; None when not known.

    Parameters
    ----------
    sheet : BenchSheet
    firing : str

    Raises
    ------
    PlanError
        The firing's schedule cannot be understood.
    """
    firings = sheet.firings.set_index("firing")
    text = str(firings.loc[firing, "schedule"]).strip() if "schedule" in firings else ""
    if not text:
        return sheet.climbs.get(firing)
    try:
        return schedule_points(read_schedule(text))
    except (ScheduleError, UnitError) as error:
        raise PlanError(f"schedule of {firing}, {error.where}", error.cause, error.remedy) from error


def schedule_points(schedule: Schedule) -> pd.DataFrame:
    """Give a schedule's corners, and each 100 °C that it passes between them.

    Examples
    --------
    >>> schedule_points(read_schedule("480 degC/h to 260 degC, hold 10 min")).round(0)["minutes"].tolist()
    [0.0, 10.0, 22.0, 30.0, 40.0]
    """
    corners = schedule.table[["minutes", "temperature_C"]].to_numpy()
    rows = [corners[0]]
    for (start, low), (end, high) in zip(corners[:-1], corners[1:], strict=True):
        steps = np.arange(0, 2000 + STEP_C, STEP_C)
        passed = steps[(steps > min(low, high)) & (steps < max(low, high))]
        for heat in passed if high > low else passed[::-1]:
            rows.append((start + (heat - low) / (high - low) * (end - start), heat))
        rows.append((end, high))
    points = pd.DataFrame(np.array(rows), columns=["minutes", "temperature_C"])
    points["temperature_F"] = convert(points["temperature_C"], "degC", "degF")
    return points


def peak_C(sheet: BenchSheet, firing: str, climb: pd.DataFrame | None) -> float:
    """Give the peak aimed at; not a number when neither the firing nor its climb states one.

    Raises
    ------
    PlanError
        The firing and its schedule state two peaks: no sheet may send a potter to both.
    """
    climbed = np.nan if climb is None else float(climb["temperature_C"].max())
    firings = sheet.firings.set_index("firing")
    if "target peak [degC]" not in firings or np.isnan(stated := firings.loc[firing, "target peak [degC]"]):
        return climbed
    if abs(climbed - stated) > _SAME_PEAK_C:
        raise PlanError(
            f"firing '{firing}'",
            f"its schedule climbs to {both_scales(climbed)}, its target peak is {both_scales(stated)}",
            "state one of the two",
        )
    return float(stated)
