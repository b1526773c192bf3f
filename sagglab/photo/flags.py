"""Flags: what may make a photograph's colours less sure, each with a name and a sentence, said once.

A flag stops nothing. Its name goes into the column ``flags`` of the measures, so that a model can leave such
views out; its sentence goes among the problems.
"""

from __future__ import annotations

from collections.abc import Iterable

from sagglab.errors import Problem, Problems
from sagglab.photo.shot import Shot

#: Sensitivity above which a photograph is flagged. Common practice keeps copy work at 100 to 400; sensors
#: differ, so that this is a rule of thumb.
HIGH_ISO = 800

#: Name of each flag: what is the matter, with places for figures, and what to do.
FLAGS: dict[str, tuple[str, str]] = {
    "no colour profile": (
        "the file states no colour profile that can be used, and sRGB was taken",
        "nothing is lost where the camera saves sRGB; else save photographs with their profile",
    ),
    "flash fired": (
        "the flash fired, so that light and glare are not those of the setup",
        "turn the flash off",
    ),
    "high ISO": (
        "ISO {iso:.0f} is high, and noise lifts dark surfaces",
        "use more light or a longer exposure on a stand",
    ),
    "edited": ("{why}, so that it may have been edited", "use the file as the camera wrote it"),
    "white balance": (
        "the camera set the white balance by itself, and the setup's photographs differ in it",
        "lock exposure and white balance",
    ),
    "small target": (
        "the target is only {width:.0f} pixels wide",
        "take it from nearer, so that the target is at least 100 pixels wide",
    ),
    "blurred target": (
        "the target's edges are blurred over {blur:.1f} pixels",
        "use a stand, and focus on the pot with the target beside it",
    ),
    "hidden patches": ("hidden, and left out of the calibration: {patches}", "show the whole target"),
    "doubtful patches": (
        "given less weight in the calibration: {patches}",
        "turn the target out of glare and shadow, and keep it clean",
    ),
    "clipped patches": ("clipped, and given little weight: {patches}", "expose a little less"),
    "poor calibration": (
        "patches that were left out came out ΔE00 {left_out:.1f} off, on average",
        "check the corners in the review picture and the setup's target table; light the target evenly",
    ),
    "too few greys": (
        "the target's table has too few grey patches to tell what the camera did to lightness",
        "check that the table lists the whole target, or use one with a row of greys",
    ),
    "too dark": (
        "the lightest patch shows only {share:.0%} of the full light",
        "expose more, so that white is light but not burnt out",
    ),
    "several targets": (
        "{count} targets are in the picture, and that around x {x:.0f}, y {y:.0f} was used",
        "leave one in the frame, or state 'target corners'",
    ),
    "unsure outline": (
        "the pot's outline is not sure (confidence {confidence:.2f})",
        "check it in the review picture, and give 'pot outline' where it is wrong",
    ),
    "cut by the frame": ("the pot is cut by the frame", "photograph it with room on all sides"),
    "backdrop like the pot": (
        "along {share:.0%} of the outline the backdrop is too much like the pot to tell where it ends",
        "photograph it on a backdrop that is lighter or darker than the pot, or give 'pot outline'",
    ),
    "clipped surface": (
        "{share:.0%} of the pot's central band is clipped",
        "expose less, so that the pot holds no pure white or pure black",
    ),
    "beyond the file's colours": (
        "{share:.0%} of the measured surface is more colourful than the file can hold",
        "use a camera profile with a wider range of colours, or camera raw",
    ),
    "unlike form": (
        "the pot comes out wider or narrower than in its other photographs, or than the book has it",
        "look at the outlines of this pot's photographs, and at its height [cm] and diameter [cm]",
    ),
    "uneven light": (
        "the light's fall-off is not corrected",
        "photograph a plain sheet in the same light as the setup's flat field",
    ),
    "calibrated from another photograph": (
        "its own target cannot be used ({why}), so that {photo}{apart} calibrated it",
        "have the whole target in the frame",
    ),
    "exposure not told": (
        "the camera did not tell whether that photograph was exposed as this one was",
        "lock the exposure, or have the target in the frame",
    ),
    "other exposure": (
        "it was exposed {stops:.1f} stops {way} than the photograph that calibrated it",
        "lock the exposure, or have the target in the frame",
    ),
    "beyond the correction": (
        "its colour is unlike those of the pots that the setup's correction was made from",
        "photograph pots of such colours in both setups, and make the correction anew",
    ),
}


def flagged(name: str, **values: object) -> Problem:
    """Make the problem of a flag.

    Parameters
    ----------
    name : str
        A key of ``FLAGS``.
    **values
        The figures that its sentence has places for.

    Examples
    --------
    >>> flagged("small target", width=81.7).cause
    'the target is only 82 pixels wide'
    """
    cause, remedy = FLAGS[name]
    return Problem("photos", None, "photo", cause.format(**values), remedy, stops=False, flag=name)


def shot_flags(shot: Shot) -> Problems:
    """Flag what the camera said of one photograph: flash, sensitivity, traces of editing.

    Examples
    --------
    >>> shot_flags(Shot(flash=True, iso=1600)).flags
    'flash fired; high ISO'
    """
    found = []
    if shot.flash:
        found.append(flagged("flash fired"))
    if shot.iso > HIGH_ISO:
        found.append(flagged("high ISO", iso=shot.iso))
    if shot.edited:
        found.append(flagged("edited", why=shot.edited))
    return Problems(found)


def join_flags(cells: Iterable[str]) -> str:
    """Join cells of flags into one that names each once.

    Examples
    --------
    >>> join_flags(["edited; high ISO", "", "high ISO"])
    'edited; high ISO'
    """
    return "; ".join(dict.fromkeys(flag for cell in cells for flag in cell.split("; ") if flag))
