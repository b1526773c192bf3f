"""The columns of what the target's patches show: one row per photograph and patch."""

from __future__ import annotations

from sagglab.columns.book import OF_PHOTO
from sagglab.columns.declared import Column
from sagglab.columns.surfaces import FILE_MEASURES

#: What the camera said of a photograph.
SHOT_COLUMNS = (
    Column("camera", "text", "its maker and model, as the file names them"),
    Column("lens", "text", "as the file names it"),
    Column("exposure time", "number", "how long the exposure was", unit="s"),
    Column("f-number", "number", "of the aperture"),
    Column("ISO speed", "number", "sensitivity"),
    Column("white balance", "text", "automatic or fixed; empty when the file does not say"),
    Column("flash", "text", "fired or off; empty when the file does not say"),
)

#: One row per photograph that shows its own target, and patch.
PATCHES = (
    *OF_PHOTO,
    Column("patch", "text", "name of the patch"),
    Column("row", "number", "of the target, counted from 1"),
    Column("column", "number", "of the target, counted from 1"),
    *(Column(f"{axis} of target", "number", f"{axis} in the target's table") for axis in ("L*", "a*", "b*")),
    *FILE_MEASURES,
    *(
        Column(axis, "number", f"{axis} after calibration, by patches other than this one")
        for axis in ("L*", "a*", "b*")
    ),
    Column("doubt", "text", "why the patch has little weight, or none; empty when all is well"),
    *SHOT_COLUMNS,
)
