"""Columns: name, kind, unit and meaning of every table's columns, said once.

A table's heading is the column's name with its unit in brackets. Columns that a user adds to the batch book
(any material as ``name [unit]``, any text) need no entry here.
"""

from sagglab.columns.book import BOOK_TABLES, OF_PHOTO, OPTIONAL_TABLES, STATES, THERMOCOUPLES
from sagglab.columns.declared import Column, conform, empty
from sagglab.columns.firings import FIRING_MEASURES, HEAT_MEASURES, READINGS
from sagglab.columns.patches import PATCHES, SHOT_COLUMNS
from sagglab.columns.surfaces import (
    CALIBRATION_MEASURES,
    COLOUR_MEASURES,
    DOUBT_MEASURES,
    FILE_MEASURES,
    FOUND_MEASURES,
    HEIGHT_MEASURES,
    HEIGHT_STEPS,
    PALETTE_COLOURS,
    PALETTE_MEASURES,
    PATCHINESS_MEASURES,
    QUANTILE_MEASURES,
    SHAPE_MEASURES,
)
from sagglab.columns.views import MEASURES, RESULTS

__all__ = [
    "BOOK_TABLES",
    "CALIBRATION_MEASURES",
    "COLOUR_MEASURES",
    "DOUBT_MEASURES",
    "FILE_MEASURES",
    "FIRING_MEASURES",
    "FOUND_MEASURES",
    "HEAT_MEASURES",
    "HEIGHT_MEASURES",
    "HEIGHT_STEPS",
    "MEASURES",
    "OF_PHOTO",
    "OPTIONAL_TABLES",
    "PALETTE_COLOURS",
    "PALETTE_MEASURES",
    "PATCHES",
    "PATCHINESS_MEASURES",
    "QUANTILE_MEASURES",
    "READINGS",
    "RESULTS",
    "SHAPE_MEASURES",
    "SHOT_COLUMNS",
    "STATES",
    "THERMOCOUPLES",
    "Column",
    "conform",
    "empty",
]
