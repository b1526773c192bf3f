"""Columns: name, kind, unit and meaning of every table's columns, said once.

A table's heading is the column's name with its unit in brackets. Columns that a user adds to the batch book
(any material as ``name [unit]``, any text) need no entry here.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Column:
    """One declared column.

    Attributes
    ----------
    name : str
        The name without its unit.
    kind : str
        ``text``, ``number``, ``date`` or ``flag`` (true or false).
    meaning : str
        One phrase.
    unit : str
        The working unit, empty when it has none.
    required : bool
        True when the table is of no use without it.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    required: bool = False

    @property
    def heading(self) -> str:
        """The name, with its unit in brackets where it has one."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


_DTYPES = {"text": "str", "number": "float64", "date": "datetime64[us]", "flag": "bool"}

BOOK_TABLES: dict[str, tuple[Column, ...]] = {
    "pots": (
        Column("pot", "text", "the pot's tag, unique in the book", required=True),
        Column("firing", "text", "the firing it went through", required=True),
        Column("clay", "text", "the clay body"),
        Column("height", "number", "height of the pot", unit="cm"),
        Column("diameter", "number", "widest diameter", unit="cm"),
        Column("place", "text", "where it stood in the kiln"),
        Column("rating", "number", "the maker's own, 1 to 5"),
        Column("state", "text", "whole, cracked or lost"),
        Column("plan", "text", "the plan that dealt it its recipe, where one did"),
        Column("notes", "text", "anything else"),
    ),
    "firings": (
        Column("firing", "text", "the firing's tag, unique in the book", required=True),
        Column("date", "date", "the day"),
        Column("day", "number", "which day of its plan, where one had several"),
        Column("kiln", "text", "the kiln"),
        Column("fuel", "text", "the fuel"),
        Column("wind", "text", "the wind on the day"),
        Column("target peak", "number", "the peak aimed at", unit="degC"),
        Column("schedule", "text", "the climb that was planned, as 900 degC/h to 600 degC, hold 5 min"),
        Column("readings", "text", "the file, or sheet of book.xlsx, of the temperature record"),
        Column("channel", "text", "the heading of its temperature column, where it has several"),
        Column("thermocouple", "text", "K, N, S or R, for a record in millivolts"),
        Column("cold junction", "number", "its temperature, for a record in millivolts", unit="degC"),
        Column("sensor class", "text", "tolerance class of the sensor: 1, 2, special, standard, or K 2"),
        Column("notes", "text", "anything else"),
    ),
    "photos": (
        Column("photo", "text", "the photograph's file", required=True),
        Column("pot", "text", "the pot shown; blank for a target or a plain sheet", required=True),
        Column("view", "text", "the side shown"),
        Column("setup", "text", "camera, light and place", required=True),
        Column("taken", "date", "when it was taken"),
        Column("target corners", "text", "x y; x y; x y; x y of the corner patches, when found wrongly"),
        Column("pot outline", "text", "x y; x y; … or a mask picture, when found wrongly"),
    ),
    "setups": (
        Column("setup", "text", "the setup's name, unique in the book", required=True),
        Column("target", "text", "a table in the book or a built-in target", required=True),
        Column("flat", "text", "a photograph of an evenly lit plain sheet"),
    ),
}

#: Tables that a book may have as well; one that is not there is no fault.
OPTIONAL_TABLES: dict[str, tuple[Column, ...]] = {
    "shelf": (
        Column("material", "text", "a material, as the pots' headings name it", required=True),
        Column("in stock", "number", "how much of it is there", unit="g"),
        Column("spoon", "number", "what a level spoon of it weighed", unit="g"),
        Column("packet", "number", "what a packet holds", unit="g"),
        Column("price", "number", "what a packet cost, in the currency named beside it"),
        Column("currency", "text", "the currency of the prices, one for the whole shelf"),
        Column("notes", "text", "anything else"),
    ),
}

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

#: Colour of the surface in one view; weighted by the area that each pixel stands for.
COLOUR_MEASURES = (
    Column("L*", "number", "mean lightness"),
    Column("a*", "number", "mean, green to red"),
    Column("b*", "number", "mean, blue to yellow"),
    Column("C*ab", "number", "chroma of the mean colour"),
    Column("hue angle", "number", "hue angle of the mean colour, degrees"),
    Column("L* median", "number", "median lightness"),
    Column("a* median", "number", "median a*"),
    Column("b* median", "number", "median b*"),
    Column("C*ab median", "number", "chroma of the median colour"),
    Column("hue angle median", "number", "hue angle of the median colour, degrees"),
    Column("L* SD", "number", "spread of lightness over the surface"),
    Column("a* SD", "number", "spread of a* over the surface"),
    Column("b* SD", "number", "spread of b* over the surface"),
    Column("dark share", "number", "share of the surface with L* below 30, 0 to 1"),
    Column("glare share", "number", "share of the band left out as glare, 0 to 1"),
)

#: How sure the mean colour is; standard errors, and the interval that they make together.
DOUBT_MEASURES = tuple(
    column
    for axis in ("L*", "a*", "b*")
    for column in (
        Column(f"{axis} low", "number", f"lower end of the 95 % interval of the mean {axis}"),
        Column(f"{axis} high", "number", f"upper end of the 95 % interval of the mean {axis}"),
        Column(f"{axis} error of calibration", "number", "standard error, from patches left out"),
        Column(f"{axis} error of light", "number", "standard error, from fall-off and shading"),
    )
)

CALIBRATION_MEASURES = (
    Column("clipped share", "number", "share of the band that is clipped, glare included, 0 to 1"),
    Column(
        "out-of-gamut share",
        "number",
        "share of the surface with colours that the file cannot hold, 0 to 1",
    ),
    Column("shading ΔL*", "number", "lightness added for shading over the curve, mean"),
    Column("colour profile", "text", "the profile that the file states, or that sRGB was taken"),
    Column("target confidence", "number", "0 to 1: how surely the target was found; empty when given"),
    Column("mean ΔE00", "number", "mean over the target's patches after calibration"),
    Column("95th percentile ΔE00", "number", "over the target's patches after calibration"),
    Column("max ΔE00", "number", "over the target's patches after calibration"),
    Column("left-out mean ΔE00", "number", "mean over patches, each predicted without itself"),
    Column("calibration method", "text", "the regression chosen"),
    Column("calibration grade", "text", "after the heritage-imaging limits on mean ΔE00"),
    Column("calibrated from", "text", "the photograph whose target served; empty for its own"),
    Column("stray light", "number", "veil taken out, as a share of the white patch's light"),
    Column("fall-off", "text", "how the light's fall-off was taken out"),
    Column("flags", "text", "names of what makes its colours less sure"),
)

MEASURES = (
    *(
        column
        for column in BOOK_TABLES["photos"]
        if column.name in ("photo", "pot", "view", "setup", "taken")
    ),
    *COLOUR_MEASURES,
    *DOUBT_MEASURES,
    *CALIBRATION_MEASURES,
    Column("problems", "text", "what went wrong with this view; empty when all is well"),
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

#: What joins the pots' and firings' own columns in the results, one row per pot.
RESULTS = (
    *HEAT_MEASURES,
    *COLOUR_MEASURES,
    Column("L* between views", "number", "standard deviation of L* between the views of the pot"),
    Column("setup", "text", "the setup whose views were taken"),
    Column("views", "number", "how many views were taken"),
    Column("flags", "text", "names of what makes the colours of these views less sure"),
    Column("problems", "text", "what went wrong with the pot's views or its firing's record"),
)


def empty(columns: tuple[Column, ...]) -> pd.DataFrame:
    """Make an empty, correctly typed table.

    Examples
    --------
    >>> empty(READINGS).dtypes.astype(str).tolist()
    ['float64', 'float64', 'str']
    """
    return pd.DataFrame({column.heading: pd.Series(dtype=_DTYPES[column.kind]) for column in columns})


def conform(rows: list[dict[str, object]], columns: tuple[Column, ...]) -> pd.DataFrame:
    """Lay rows out in the declared columns, order and types; what a row lacks is left blank."""
    table = pd.DataFrame(rows, columns=[column.heading for column in columns])
    blanks = {column.heading: "" for column in columns if column.kind == "text"}
    blanks |= {column.heading: False for column in columns if column.kind == "flag"}
    table = table.astype(object).fillna(blanks) if rows else table
    return table.astype({column.heading: _DTYPES[column.kind] for column in columns})
