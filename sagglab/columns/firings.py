"""The columns of what is measured of firings."""

from __future__ import annotations

from sagglab.columns.declared import Column

READINGS = (
    Column("minutes", "number", "time since the start of the record"),
    Column("temperature_C", "number", "temperature"),
    Column("flag", "text", "what is wrong with the reading; empty when nothing is"),
)

HEAT_MEASURES = (
    Column("peak_C", "number", "highest reading"),
    Column("minutes_to_peak", "number", "from the first reading to the peak"),
    Column("overshoot_C", "number", "the peak less the target; negative when it was not reached"),
    Column("climb_C_per_h", "number", "mean climb from the first reading to the peak"),
    Column("climb_start_to_100_C_per_h", "number", "mean climb from the first reading to 100 °C"),
    Column("climb_100_to_573_C_per_h", "number", "mean climb up to quartz inversion"),
    Column("climb_573_to_660_C_per_h", "number", "mean climb from quartz inversion to where foil can melt"),
    Column("climb_660_to_peak_C_per_h", "number", "mean climb from where foil can melt to the peak"),
    Column("minutes_of_longest_stall", "number", "longest time taken to get 10 °C hotter than ever before"),
    Column("minutes_above_600_C", "number", "time above 600 °C"),
    Column("minutes_above_660_C", "number", "time above 660.323 °C, where aluminium foil can melt"),
    Column("minutes_above_700_C", "number", "time above 700 °C"),
    Column("minutes_peak_to_300_C", "number", "from the peak down to 300 °C"),
    Column("cooling_peak_to_573_C_per_h", "number", "mean fall from the peak to quartz inversion"),
    Column("cooling_573_to_300_C_per_h", "number", "mean fall from quartz inversion to 300 °C"),
    Column("minutes_through_573_up", "number", "from 548 to 598 °C, around quartz inversion, on the way up"),
    Column("minutes_through_573_down", "number", "from 598 to 548 °C, around quartz inversion, cooling"),
    Column("heat_work_minutes_at_750_C", "number", "minutes at 750 °C of the same work, a relative index"),
)

#: One row per firing; each measure is followed by its bounds.
FIRING_MEASURES = (
    Column("firing", "text", "the firing"),
    *(
        column
        for measure in HEAT_MEASURES
        for column in (
            measure,
            Column(f"{measure.name} low", "number", f"the least it can have been: {measure.meaning}"),
            Column(f"{measure.name} high", "number", f"the most it can have been: {measure.meaning}"),
        )
    ),
    Column("problems", "text", "what went wrong with its record; empty when all is well"),
)
