"""Heat measures: what one firing did, in numbers that a model can use, each with its bounds.

Between two readings a measured value takes the temperature to run straight. Its bounds hold for every curve
that `between` allows to have run through the readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sagglab.errors import UnknownNameError
from sagglab.firing.bounded import UNKNOWN, Bounded, FiringCurves
from sagglab.firing.heat_work import Q_KJ_PER_MOL, QS_KJ_PER_MOL, heat_work_minutes
from sagglab.firing.long_record import firing_peaks
from sagglab.firing.readings import Readings
from sagglab.markup import framed, paragraph, text_table
from sagglab.pages.headings import spoken
from sagglab.units import both_scales

#: ITS-90 fixed point: aluminium freezes, and so the foil can melt, at this temperature.
ALUMINIUM_FREEZES_C = 660.323
#: Handbook value: quartz changes form, and grows, on the way through.
QUARTZ_INVERTS_C = 573.0

#: Time is counted above each of these; the whole degrees go into the measure's name.
THRESHOLDS_C = (600.0, ALUMINIUM_FREEZES_C, 700.0)
#: The climb is measured over each of these, in °C; None is the first reading, or the peak.
BANDS_C = (
    (None, 100.0),
    (100.0, QUARTZ_INVERTS_C),
    (QUARTZ_INVERTS_C, ALUMINIUM_FREEZES_C),
    (ALUMINIUM_FREEZES_C, None),
)
#: Common practice, no source: the kiln is opened at about this temperature.
OPENED_C = 300.0
#: Time around quartz inversion is counted from so far below it to so far above. No source.
AROUND_INVERSION_C = 25.0
#: Colder than this, no time adds much to the heat work: a minute counts less than a thousandth.
WORK_COUNTS_FROM_C = 500.0
#: A stall is told by the time that it took to get this much hotter than ever before. No source.
STALL_RISE_C = 10.0


@dataclass(frozen=True, repr=False)
class HeatMeasures:
    """The measures of one firing.

    Attributes
    ----------
    source : str
        The record that was measured.
    table : DataFrame
        ``value``, ``low`` and ``high`` of each measure, under a name that carries its unit; all three not a
        number where the record does not reach so far. A bound that the record cannot give is infinity above,
        and for a rate or a time zero below.
    heat_work : DataFrame
        ``heat_work_minutes_at_750_C`` by the activation energy that is assumed, ``Q_kJ_per_mol``.
    notes : tuple of str
        Sentences: what the bounds allow for, and what is assumed.

    Notes
    -----
    A measure is looked up by its name: ``measures["peak_C"]`` or ``measures.peak_C``.

    Examples
    --------
    >>> record = pd.DataFrame({"minutes": [0.0, 40, 100], "temperature_C": [20.0, 740, 260], "flag": ""})
    >>> measured = heat_measures(Readings("example", record, ()))
    >>> measured.peak_C, measured.row["minutes_to_peak"]
    (740.0, 40.0)
    """

    source: str
    table: pd.DataFrame
    heat_work: pd.DataFrame
    notes: tuple[str, ...]

    def __getitem__(self, name: str) -> float:
        self._require(name)
        return float(self.table.loc[name, "value"])

    def __getattr__(self, name: str) -> float:
        # Only called for what is no attribute; the table itself is asked for while an instance is unpickled.
        if name == "table" or name not in self.table.index:
            raise AttributeError(name)
        return self[name]

    def bounds(self, name: str) -> tuple[float, float]:
        """Give what a measure lies between."""
        self._require(name)
        return float(self.table.loc[name, "low"]), float(self.table.loc[name, "high"])

    @property
    def row(self) -> dict[str, float]:
        """The value of each measure."""
        return self.table["value"].to_dict()

    @property
    def row_with_bounds(self) -> dict[str, float]:
        """The value of each measure, and under its name with low or high behind it, the bounds."""
        row = {}
        for name, value, low, high in self.table[["value", "low", "high"]].itertuples():
            row |= {name: value, f"{name} low": low, f"{name} high": high}
        return row

    def _require(self, name: str) -> None:
        if name not in self.table.index:
            raise UnknownNameError(
                f"measure '{name}'", "it is unknown", f"give one of {', '.join(self.table.index)}"
            )

    def _shown(self) -> list[tuple[str, str, str, str]]:
        return [
            (
                str(name),
                _shown(name, value),
                *(("", "") if np.isnan(value) else _shown_bounds(name, low, high)),
            )
            for name, value, low, high in self.table[["value", "low", "high"]].itertuples()
        ]

    def __repr__(self) -> str:
        rows = [("", "value", "at least", "at most"), *self._shown()]
        widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
        lines = ("  ".join(map(str.ljust, row, widths)).rstrip() for row in rows)
        return "\n".join([self.source, *lines, *self.notes])

    def _repr_html_(self) -> str:
        rows = [(spoken(name), *told) for name, *told in self._shown()]
        shown = text_table(("measure", "value", "at least", "at most"), rows)
        return framed(shown, *map(paragraph, self.notes))


def _shown(name: str, value: float) -> str:
    if np.isnan(value):
        return "no target is given" if name == "overshoot_C" else "not in the record"
    if np.isinf(value):
        return "no bound"
    if name == "peak_C":
        return both_scales(value)
    if name == "overshoot_C":
        return f"{value:+.0f} °C ({value * 1.8:+.0f} °F)"
    if name.endswith("_C_per_h"):
        return f"{value:.0f} °C/h ({value * 1.8:.0f} °F/h)"
    return f"{value:.1f} min"


def _shown_bounds(name: str, low: float, high: float) -> tuple[str, str]:
    return _shown(name, low), _shown(name, high)


def heat_measures(
    readings: Readings,
    target_C: float | None = None,
    sensor_class: str | int | None = None,
    thresholds_C: Sequence[float] = THRESHOLDS_C,
    bands_C: Sequence[tuple[float | None, float | None]] = BANDS_C,
) -> HeatMeasures:
    """Measure one firing.

    Parameters
    ----------
    readings : Readings
    target_C : float, optional
        The peak aimed at, for the overshoot.
    sensor_class : str or int, optional
        Tolerance class of the sensor, as in `tolerance_C`; without one the bounds leave the sensor out.
    thresholds_C : sequence of float
        Time is counted above each of these.
    bands_C : sequence of pairs
        The climb is measured from the first to the second of each; None is the first reading, or the peak.

    Returns
    -------
    HeatMeasures
        ``peak_C``; ``minutes_to_peak`` from the first reading; ``overshoot_C``, the peak less the target; the
        mean climb, ``climb_C_per_h`` from the first reading to the peak, and by band;
        ``minutes_of_longest_stall``, the longest that it took on the way up to get 10 °C hotter than ever
        before; ``minutes_above_600_C``, ``minutes_above_660_C`` (660.323 °C) and ``minutes_above_700_C``;
        ``minutes_peak_to_300_C``; ``cooling_peak_to_573_C_per_h`` and ``cooling_573_to_300_C_per_h``,
        positive; ``minutes_through_573_up`` and ``minutes_through_573_down``, from 548 to 598 °C and back;
        ``heat_work_minutes_at_750_C``, the minutes at 750 °C that would do the same work.

    Raises
    ------
    UnknownNameError
        The sensor class is unknown.

    Examples
    --------
    >>> import pandas as pd
    >>> record = pd.DataFrame({"minutes": [0.0, 40, 100], "temperature_C": [20.0, 740, 260], "flag": ""})
    >>> measured = heat_measures(Readings("example", record, (), step_C=1.0), sensor_class="K 2")
    >>> measured["peak_C"], measured["minutes_to_peak"], measured["minutes_peak_to_300_C"]
    (740.0, 40.0, 55.0)
    >>> round(measured.bounds("peak_C")[0], 2)
    733.95
    """
    counted = readings.counted
    held = len(firing_peaks(counted["minutes"].to_numpy(), counted["temperature_C"].to_numpy()))
    curves = FiringCurves.of(readings, sensor_class)
    work = _heat_work(curves)
    measures = {"peak_C": curves.peak_C, "minutes_to_peak": curves.peak.less(curves.start)}
    target = UNKNOWN if target_C is None else Bounded(target_C, target_C, target_C)
    measures["overshoot_C"] = curves.peak_C.less(target, at_least=-np.inf)
    measures["climb_C_per_h"] = curves.climb_C_per_h(None, None)
    for start, end in bands_C:
        name = f"climb_{_named(start, 'start')}_to_{_named(end, 'peak')}_C_per_h"
        measures[name] = curves.climb_C_per_h(start, end)
    measures["minutes_of_longest_stall"] = curves.longest_stall_minutes(STALL_RISE_C)
    for level in thresholds_C:
        measures[f"minutes_above_{level:.0f}_C"] = curves.minutes_above(level)
    quartz, opened = curves.fall(QUARTZ_INVERTS_C), curves.fall(OPENED_C)
    measures["minutes_peak_to_300_C"] = opened.less(curves.peak)
    measures["cooling_peak_to_573_C_per_h"] = curves.cooling_C_per_h(QUARTZ_INVERTS_C)
    lasted = opened.less(quartz)
    measures["cooling_573_to_300_C_per_h"] = lasted.into((QUARTZ_INVERTS_C - OPENED_C) * 60)
    below, above = QUARTZ_INVERTS_C - AROUND_INVERSION_C, QUARTZ_INVERTS_C + AROUND_INVERSION_C
    measures["minutes_through_573_up"] = curves.rise(above).less(curves.rise(below))
    measures["minutes_through_573_down"] = curves.fall(below).less(curves.fall(above))
    assumed = work.set_index("Q_kJ_per_mol").loc[Q_KJ_PER_MOL]
    measures["heat_work_minutes_at_750_C"] = Bounded(*assumed)
    hottest_end = max(curves.straight.temperature_C[[0, -1]])
    _open_above(measures, curves, hottest_end, thresholds_C)
    if hottest_end > WORK_COUNTS_FROM_C:
        work["high"] = np.inf
        measures["heat_work_minutes_at_750_C"] = measures["heat_work_minutes_at_750_C"]._replace(high=np.inf)
    # A bound of what is not in the record would be read as a finding.
    rows = {name: UNKNOWN if np.isnan(one.value) else one for name, one in measures.items()}
    table = pd.DataFrame.from_dict(rows, orient="index", columns=Bounded._fields, dtype=float)
    return HeatMeasures(readings.source, table, work, _notes(readings, held, curves, sensor_class))


def _open_above(
    measures: dict[str, Bounded], curves: FiringCurves, hottest_end: float, thresholds_C: Sequence[float]
) -> None:
    """Take the upper bounds away from what a record that begins or ends hot cannot bound."""
    unbounded = [f"minutes_above_{level:.0f}_C" for level in thresholds_C if level < hottest_end]
    if hottest_end == curves.peak_C.value:
        unbounded += ["peak_C", "minutes_to_peak", "overshoot_C"]
    for name in unbounded:
        measures[name] = measures[name]._replace(high=np.inf)


def _lasting(minutes: float) -> str:
    return f"{minutes:.3g} min" if minutes >= 1 else f"{minutes * 60:.3g} s"


def _named(level_C: float | None, otherwise: str) -> str:
    return otherwise if level_C is None else f"{level_C:.0f}"


def _heat_work(curves: FiringCurves) -> pd.DataFrame:
    work = [heat_work_minutes(curve) for curve in (curves.straight, curves.low_within, curves.high)]
    return pd.DataFrame(np.column_stack([QS_KJ_PER_MOL, *work]), columns=["Q_kJ_per_mol", *Bounded._fields])


def _notes(
    readings: Readings, held: int, curves: FiringCurves, sensor_class: str | int | None
) -> tuple[str, ...]:
    several = (
        f"The record holds {held} firings, and these are the measures of all of it: cut it with firings_in.",
    )
    widest = np.diff(curves.straight.minutes).max()
    steps = [
        f"{step:.3g} {unit}"
        for step, unit in ((readings.step_C, "°C"), (readings.step_minutes * 60, "s"))
        if step > 0
    ]
    return (several if held > 1 else ()) + (
        f"The bounds allow for the gaps between readings, the widest {_lasting(widest)} long, as far as the "
        "rest of the record shows how much climb and fall vary, and not for what came and went in one gap.",
        f"They allow for half a step of the record to either side; its steps are {' and '.join(steps)}."
        if steps
        else "How finely the record was written is not known, so the bounds leave it out.",
        "No sensor class is given, so the bounds leave the sensor out."
        if sensor_class is None
        else f"They allow for the tolerance of a new sensor of class {sensor_class}; use makes it worse.",
        "A bound that the record cannot give is infinite above, and zero below for a rate or a time; so it "
        "is where the record begins or ends hot.",
        "Heat work is a relative index, valid for one dominant mechanism of sintering. Its activation energy "
        f"of {Q_KJ_PER_MOL:.0f} kJ/mol is an assumption without source; heat_work has others beside it.",
    )
