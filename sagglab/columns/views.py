"""The columns of the measures, one row per view, and of the results, one row per pot."""

from __future__ import annotations

from sagglab.columns.book import OF_PHOTO
from sagglab.columns.declared import Column
from sagglab.columns.firings import HEAT_MEASURES
from sagglab.columns.surfaces import (
    CALIBRATION_MEASURES,
    COLOUR_MEASURES,
    DOUBT_MEASURES,
    FILE_MEASURES,
    FOUND_MEASURES,
    HEIGHT_MEASURES,
    PALETTE_MEASURES,
    PATCHINESS_MEASURES,
    QUANTILE_MEASURES,
    SHAPE_MEASURES,
)

#: Which setup's readings colours were brought to.
CORRECTED_TO = "corrected to"
_CORRECTED_TO = Column(
    CORRECTED_TO, "text", "the setup whose readings the colours were brought to; empty as measured"
)

#: One row per view.
MEASURES = (
    *OF_PHOTO,
    _CORRECTED_TO,
    *COLOUR_MEASURES,
    *DOUBT_MEASURES,
    *SHAPE_MEASURES,
    *CALIBRATION_MEASURES,
    Column("problems", "text", "what went wrong with this view; empty when all is well"),
    *QUANTILE_MEASURES,
    *PATCHINESS_MEASURES,
    *PALETTE_MEASURES,
    *HEIGHT_MEASURES,
    *FILE_MEASURES,
    *FOUND_MEASURES,
)

#: What joins the pots' and firings' own columns in the results, one row per pot.
RESULTS = (
    *HEAT_MEASURES,
    *COLOUR_MEASURES,
    *(
        column
        for axis in ("L*", "a*", "b*")
        for column in (
            Column(
                f"{axis} between views", "number", f"standard deviation of {axis} between the pot's views"
            ),
            Column(f"{axis} low", "number", f"lower end of the 95 % interval of the pot's mean {axis}"),
            Column(f"{axis} high", "number", f"upper end of the 95 % interval of the pot's mean {axis}"),
            Column(f"{axis} error of calibration", "number", "standard error, shared by all views"),
            Column(f"{axis} error of light", "number", "standard error, shared by all views"),
            Column(f"{axis} error of sampling", "number", "standard error of all bands together"),
        )
    ),
    *SHAPE_MEASURES[:3],
    Column("usable share", "number", "share of the pot's side that its views measured, overlaps twice"),
    Column("setup", "text", "the setup whose views were taken"),
    _CORRECTED_TO,
    Column("views", "number", "how many views were taken"),
    Column("flags", "text", "names of what makes the colours of these views less sure"),
    Column("problems", "text", "what went wrong with the pot's views or its firing's record"),
    *QUANTILE_MEASURES,
    *PATCHINESS_MEASURES,
    *PALETTE_MEASURES,
    *HEIGHT_MEASURES,
)
