"""One setup's photographs of the target alone, as series of numbers in order of time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sagglab.colour import AXES, delta_e_2000
from sagglab.columns import SHOT_COLUMNS
from sagglab.errors import SetupError
from sagglab.setups.pairs import CALIBRATED, IN_FILE

#: Of each: the mean L*, a*, b* of the neutral patches, and how far all patches are from the target's table.
COORDINATES = (*AXES, "ΔE00")
SERIES = tuple((colours, coordinate) for colours in (IN_FILE, CALIBRATED) for coordinate in COORDINATES)
#: Below this chroma in the target's table a patch is neutral.
NEUTRAL = 5.0
#: A photograph that shows less than this share of the neutral patches, or of all, is left out.
SHOWN = 0.5

#: What the table of patches says of the camera.
CAMERA = tuple(column.heading for column in SHOT_COLUMNS)


def series_name(colours: str, coordinate: str) -> str:
    """Name a series' column: "b* in the file"."""
    return f"{coordinate} {colours}"


@dataclass(frozen=True)
class TargetSeries:
    """What a setup's photographs of the target alone show.

    Attributes
    ----------
    shots : DataFrame
        One row per dated photograph, in order of time: ``photo``, ``taken``, ``day``, what the camera said,
        and one column for each of ``SERIES``, by its `series_name`.
    days : DataFrame
        The same by day: ``photo`` (all of the day), ``taken`` (the first of them), and the means of each
        series.
    notes : tuple of str
        Which photographs were left out, and why.
    """

    shots: pd.DataFrame
    days: pd.DataFrame
    notes: tuple[str, ...]


def target_series(patches: pd.DataFrame, setup: str) -> TargetSeries:
    """Lay a setup's photographs of the target alone out as series.

    Photographs of one day stand for one value, their mean: they share the day's light and place, and scatter
    less than days do.

    Parameters
    ----------
    patches : DataFrame
        As `measure_targets` gives them; photographs with a pot are left out.
    setup : str

    Raises
    ------
    SetupError
        There is no such setup, or its target has no neutral patch.
    """
    own = patches[patches["setup"] == setup]
    if own.empty:
        there = ", ".join(dict.fromkeys(patches["setup"])) or "none"
        raise SetupError("drift", f"no photograph of setup '{setup}' shows a target", f"name one of: {there}")
    alone = own[own["pot"] == ""]
    values = _values(alone, setup)
    shots = alone.groupby("photo", sort=False)[["taken", *CAMERA]].first().join(values)
    undated = shots["taken"].isna()
    hidden = shots[list(values)].isna().any(axis=1) & ~undated
    notes = [
        f"{', '.join(shots.index[out])}: left out, {why}."
        for out, why in (
            (undated, "since it is not known when it was taken"),
            (hidden, "since most neutral patches, or most of all, cannot be read"),
        )
        if out.any()
    ]
    kept = shots[~undated & ~hidden].sort_values("taken", kind="stable").rename_axis("photo").reset_index()
    kept.insert(2, "day", kept["taken"].dt.normalize())
    by_day = kept.groupby("day")
    days = by_day.agg(photo=("photo", ", ".join), taken=("taken", "first")).join(by_day[list(values)].mean())
    return TargetSeries(kept, days.reset_index(), tuple(notes))


def _values(alone: pd.DataFrame, setup: str) -> pd.DataFrame:
    """Read all series of each photograph; NaN where too few patches are seen."""
    target = alone[[f"{axis} of target" for axis in AXES]].to_numpy()
    neutral = np.hypot(target[:, 1], target[:, 2]) < NEUTRAL
    if len(alone) and not neutral.any():
        raise SetupError(
            f"setup '{setup}'",
            f"no patch of its target is neutral (chroma below {NEUTRAL:g})",
            "photograph a target with grey patches",
        )
    series = {}
    for colours, suffix in ((IN_FILE, " in file"), (CALIBRATED, "")):
        lab = alone[[f"{axis}{suffix}" for axis in AXES]]
        for axis in AXES:
            series[series_name(colours, axis)] = _steady_mean(
                alone[neutral], lab.loc[neutral, f"{axis}{suffix}"]
            )
        away = pd.Series(delta_e_2000(target, lab.to_numpy()), alone.index)
        series[series_name(colours, "ΔE00")] = _steady_mean(alone, away)
    return pd.DataFrame(series)


def _steady_mean(rows: pd.DataFrame, values: pd.Series) -> pd.Series:
    """Average over each photograph's patches; one that cannot be read does not move the mean."""
    table = rows.assign(value=values).pivot_table(index="photo", columns="patch", values="value")
    usual = table.median()
    mean = (table - usual).mean(axis=1) + usual.mean()
    return mean.where(table.notna().mean(axis=1) >= SHOWN)
