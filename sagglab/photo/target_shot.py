"""Photographs of the target that lend their calibration to others of the same setup."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

from sagglab.errors import Problems, TargetError
from sagglab.photo.calibration import Calibration
from sagglab.photo.fall_off import EvenLight
from sagglab.photo.flags import flagged
from sagglab.photo.image import Photo
from sagglab.photo.shot import Shot

#: Difference of exposure, in stops, from which one photograph's calibration is doubtful for another.
SAME_EXPOSURE = 0.15


@dataclass(frozen=True)
class TargetShot:
    """What a photograph of the target lends to others of the same setup: its calibration.

    Attributes
    ----------
    path : str
    calibration : Calibration
    size : (rows, columns)
    profile : str
    shot : Shot
    """

    path: str
    calibration: Calibration
    size: tuple[int, int]
    profile: str
    shot: Shot


def borrow(photo: Photo, lent: TargetShot, why: TargetError) -> tuple[Calibration, Problems]:
    """Take another photograph's calibration for one whose own target cannot be used.

    Returns
    -------
    calibration : Calibration
        Without its problems: what was flagged of the target there is no fault of the photograph here.
    told : Problems
        That it was borrowed, and whether the exposure was another.

    Raises
    ------
    TargetError
        The other photograph has another colour profile: the same numbers mean other light there.
    """
    name = Path(lent.path).name
    if lent.profile != photo.profile:
        raise TargetError(
            "photograph",
            f"{why.cause}, and {name}, which could calibrate it, has another colour profile",
            why.remedy,
        ) from why
    apart = _apart(photo.shot, lent.shot)
    told = [flagged("calibrated from another photograph", why=why.cause, photo=name, apart=apart)]
    stops = _stops(photo.shot) - _stops(lent.shot)
    if math.isnan(stops):
        told.append(flagged("exposure not told"))
    elif abs(stops) > SAME_EXPOSURE:
        told.append(flagged("other exposure", stops=abs(stops), way="more" if stops > 0 else "less"))
    mapping = lent.calibration.mapping
    if lent.size != photo.picture.size:
        # Held upright or not, or of another size: its fall-off lies elsewhere in this frame.
        mapping = replace(mapping, light=EvenLight())
        told.append(flagged("uneven light"))
    return replace(lent.calibration, mapping=mapping, problems=Problems()), Problems(told)


def _apart(shot: Shot, other: Shot) -> str:
    """Say how long before or after a photograph another was taken, where the camera told it."""
    if shot.taken is None or other.taken is None:
        return ""
    minutes = (other.taken - shot.taken).total_seconds() / 60
    amount, unit = abs(minutes), "min"
    for size, larger in ((60, "h"), (24, "days")):
        if amount < 2 * size:
            break
        amount, unit = amount / size, larger
    return f", taken {amount:.0f} {unit} {'later' if minutes > 0 else 'earlier'},"


def _stops(shot: Shot) -> float:
    """Exposure on a scale of stops; NaN where the camera did not tell it."""
    if not (shot.exposure_s > 0 and shot.aperture > 0 and shot.iso > 0):
        return math.nan
    return math.log2(shot.exposure_s * shot.iso / shot.aperture**2)
