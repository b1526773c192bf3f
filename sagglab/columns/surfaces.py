"""The columns of what is measured of a pot's surface in one view."""

from __future__ import annotations

from sagglab.columns.declared import Column

#: Coordinates of a colour, and what each is.
_COORDINATES = {
    "L*": "lightness",
    "a*": "a*, green to red",
    "b*": "b*, blue to yellow",
    "C*ab": "chroma",
    "hue angle": "hue angle in degrees, on the circle; blank where there is too little chroma for one",
}

#: Colour of the surface in one view; weighted by the area that each pixel stands for.
COLOUR_MEASURES = (
    *(Column(name, "number", f"mean {what}") for name, what in _COORDINATES.items()),
    *(Column(f"{name} median", "number", f"median {what}") for name, what in _COORDINATES.items()),
    *(
        Column(f"{name} SD", "number", f"spread over the surface: {what}")
        for name, what in _COORDINATES.items()
    ),
    Column("dark share", "number", "share of the surface with L* below 30, 0 to 1"),
    Column("red-orange share", "number", "share of the surface that is red to orange, 0 to 1"),
    Column("pale share", "number", "share of the surface that is pale, 0 to 1"),
    Column("grey share", "number", "share of the surface that is grey, neither dark nor pale, 0 to 1"),
    Column("glare share", "number", "share of the band left out as glare, 0 to 1"),
)

#: How the colours are spread over the surface of one view.
QUANTILE_MEASURES = tuple(
    Column(f"{name} {share} %", "number", f"{share} % of the surface lie below: {what}")
    for name, what in _COORDINATES.items()
    for share in (5, 25, 75, 95)
)

#: How far apart colours stay alike, from the variogram of the unrolled surface.
PATCHINESS_MEASURES = tuple(
    column
    for axis in ("L*", "a*", "b*")
    for column in (
        Column(f"{axis} range", "number", f"distance from which {axis} is no longer alike", unit="mm"),
        Column(f"{axis} sill", "number", f"variance of {axis} at that distance and beyond"),
    )
)

#: The most colours that a palette holds.
PALETTE_COLOURS = 6

#: A few colours that stand for the surface, the most frequent first; blank beyond the last.
PALETTE_MEASURES = tuple(
    column
    for number in range(1, PALETTE_COLOURS + 1)
    for column in (
        *(Column(f"colour {number} {axis}", "number", f"palette: {axis}") for axis in ("L*", "a*", "b*")),
        Column(f"colour {number} share", "number", "palette: its share of the surface, 0 to 1"),
    )
)

#: Steps of the height profile, by the middle of each in % of the height from the foot.
HEIGHT_STEPS = tuple(2.5 + 5 * step for step in range(20))

#: Mean colour by height, from foot to rim.
HEIGHT_MEASURES = tuple(
    Column(f"{axis} at {step:g} % height", "number", f"mean {axis} of the twentieth of the height around it")
    for axis in ("L*", "a*", "b*")
    for step in HEIGHT_STEPS
)

#: The pot's form, as a solid of revolution, and how much of it was measured.
SHAPE_MEASURES = (
    Column("measured height", "number", "height of the pot as seen", unit="cm"),
    Column("measured diameter", "number", "widest diameter as seen", unit="cm"),
    Column("surface area", "number", "area of the pot's side, foot to rim, all around", unit="cm2"),
    Column("usable area", "number", "area of the surface that was measured", unit="cm2"),
    Column("usable share", "number", "the same, as a share of the pot's side, 0 to 1"),
)

#: How sure the mean colour is; standard errors, and the interval of the side shown.
DOUBT_MEASURES = tuple(
    column
    for axis in ("L*", "a*", "b*")
    for column in (
        Column(f"{axis} low", "number", f"lower end of the 95 % interval of the mean {axis}"),
        Column(f"{axis} high", "number", f"upper end of the 95 % interval of the mean {axis}"),
        Column(f"{axis} error of calibration", "number", "standard error, from patches left out"),
        Column(f"{axis} error of light", "number", "standard error, from fall-off and shading"),
        Column(
            f"{axis} error of sampling",
            "number",
            "standard error of the measured band as a sample of the whole pot, from how patchy it is",
        ),
    )
)

CALIBRATION_MEASURES = (
    Column("outline confidence", "number", "0 to 1: how surely this is the pot; empty when given"),
    Column("clipped share", "number", "share of the band that is clipped, glare included, 0 to 1"),
    Column(
        "out-of-gamut share",
        "number",
        "share of the surface with colours that the file cannot hold, 0 to 1",
    ),
    Column("shading ΔL*", "number", "lightness added at the edge of the band for shading over the curve"),
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

#: Colour as the file itself says, by its own profile: what the camera made, and no target has put right.
FILE_MEASURES = tuple(
    Column(f"{axis} in file", "number", f"mean {axis} by the file's own profile, before calibration")
    for axis in ("L*", "a*", "b*")
)

#: What was found in the picture, written as the table ``photos`` takes it.
FOUND_MEASURES = (
    Column("found corners", "text", "the target's corners, as for 'target corners'"),
    Column("found outline", "text", "the pot's outline, in few places, as for 'pot outline'"),
)
