"""Heat measures: what one firing did, in numbers that a model can use.

Between two readings the temperature is taken to run straight.
"""

from __future__ import annotations

import html
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.firing.readings import Readings
from sagglab.units import both_scales

#: ITS-90 fixed point: aluminium freezes, and so the foil can melt, at this temperature.
ALUMINIUM_FREEZES_C = 660.323
#: Handbook value: quartz changes form, and grows, on the way through.
QUARTZ_INVERTS_C = 573.0

#: Time is counted above each of these; the whole degrees go into the measure's name.
THRESHOLDS_C = (600.0, ALUMINIUM_FREEZES_C, 700.0)
#: The climb is measured over each of these, in °C.
BANDS_C = ((100.0, QUARTZ_INVERTS_C), (QUARTZ_INVERTS_C, ALUMINIUM_FREEZES_C))
#: Common practice, no source: the kiln is opened at about this temperature.
OPENED_C = 300.0


@dataclass(frozen=True)
class HeatMeasures:
    """The measures of one firing.

    Attributes
    ----------
    source : str
        The record that was measured.
    table : DataFrame, one row
        Each measure under a name that carries its unit; not a number where the record does not reach so far.

    Notes
    -----
    A measure is looked up by its name: ``measures["peak_C"]`` or ``measures.peak_C``.
    """

    source: str
    table: pd.DataFrame

    def __getitem__(self, name: str) -> float:
        return float(self.table[name].iloc[0])

    def __getattr__(self, name: str) -> float:
        # Only called for what is no attribute; the table itself is asked for while an instance is unpickled.
        if name == "table" or name not in self.table:
            raise AttributeError(name)
        return self[name]

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{html.escape(name)}</td><td>{_shown(name, value)}</td></tr>"
            for name, value in self.table.iloc[0].items()
        )
        return f"<table><tbody>{rows}</tbody></table>"


def _shown(name: str, value: float) -> str:
    if np.isnan(value):
        return "not in the record"
    return both_scales(value) if name == "peak_C" else f"{value:.1f}"


def heat_measures(readings: Readings) -> HeatMeasures:
    """Measure one firing.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    HeatMeasures
        ``peak_C``; ``minutes_to_peak`` from the first reading; ``minutes_above_600_C``,
        ``minutes_above_660_C`` (660.323 °C) and ``minutes_above_700_C``; ``minutes_peak_to_300_C``; and the
        mean climb, ``climb_C_per_h`` from the first reading to the peak, and by band.

    Examples
    --------
    >>> import pandas as pd
    >>> record = pd.DataFrame({"minutes": [0.0, 40, 100], "temperature_C": [20.0, 740, 260], "flag": ""})
    >>> measured = heat_measures(Readings("example", record, ()))
    >>> measured["peak_C"], measured["minutes_to_peak"], measured["minutes_peak_to_300_C"]
    (740.0, 40.0, 55.0)
    """
    counted = readings.counted
    minutes = counted["minutes"].to_numpy()
    temperature = counted["temperature_C"].to_numpy()
    top = int(temperature.argmax())
    rising, falling = slice(0, top + 1), slice(top, None)
    to_peak = minutes[top] - minutes[0]
    measures = {"peak_C": temperature[top], "minutes_to_peak": to_peak}
    for threshold in THRESHOLDS_C:
        measures[f"minutes_above_{threshold:.0f}_C"] = _minutes_above(minutes, temperature, threshold)
    opened = _first_crossing(minutes[falling], -temperature[falling], -OPENED_C)
    measures[f"minutes_peak_to_{OPENED_C:.0f}_C"] = opened - minutes[top]
    measures["climb_C_per_h"] = (temperature[top] - temperature[0]) / to_peak * 60 if to_peak > 0 else np.nan
    for low, high in BANDS_C:
        start = _first_crossing(minutes[rising], temperature[rising], low)
        end = _first_crossing(minutes[rising], temperature[rising], high)
        climb = (high - low) / (end - start) * 60 if end > start else np.nan
        measures[f"climb_{low:.0f}_to_{high:.0f}_C_per_h"] = climb
    return HeatMeasures(readings.source, pd.DataFrame([measures]).astype(float))


def _first_crossing(minutes: NDArray[np.float64], temperature: NDArray[np.float64], level: float) -> float:
    """Find the minute at which the record first rises through a level; not a number when it never does."""
    above = np.flatnonzero(temperature >= level)
    if not len(above) or above[0] == 0:
        return np.nan
    after = int(above[0])
    before = after - 1
    share = (level - temperature[before]) / (temperature[after] - temperature[before])
    return float(minutes[before] + share * (minutes[after] - minutes[before]))


def _minutes_above(minutes: NDArray[np.float64], temperature: NDArray[np.float64], level: float) -> float:
    low = np.minimum(temperature[:-1], temperature[1:])
    high = np.maximum(temperature[:-1], temperature[1:])
    flat = high == low
    share = np.where(flat, high > level, (high - level) / np.where(flat, 1, high - low))
    return float((np.diff(minutes) * np.clip(share, 0, 1)).sum())
