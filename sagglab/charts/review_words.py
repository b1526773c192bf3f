"""What a review picture says of a photograph, in words and numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from sagglab.charts.overlay import KEY
from sagglab.columns import MEASURES
from sagglab.photo.measure import MeasuredPhoto

_DECLARED = frozenset(column.heading for column in MEASURES)


def title_words(measured: MeasuredPhoto) -> list[str]:
    """Name the photograph, its colour, and how far either way the truth may be, in 95 of 100."""
    row = measured.table.iloc[0]
    colour = "no pot"
    if not np.isnan(row["L*"]):
        colour = "   ".join(
            f"{axis} {row[axis]:.1f} ± {(row[f'{axis} high'] - row[f'{axis} low']) / 2:.1f}"
            for axis in ("L*", "a*", "b*")
        )
    return [f"{Path(measured.path).name}:  {colour}"]


def key_words(measured: MeasuredPhoto) -> list[str]:
    """Say what the lines and marks over the photograph mean, as far as there are any."""
    parts = []
    if measured.outline:
        parts.append(f"{KEY}; ticks at the widest place")
    if not np.isnan(measured.corners).any():
        parts.append("rings are patches that count, larger the farther off, crosses those that hardly do")
    return ["; ".join(parts)]


def patch_words(measured: MeasuredPhoto) -> list[str]:
    """Say what the numbers on the target's patches are."""
    lent = " of the target that served" if measured.table.iloc[0]["calibrated from"] else ""
    return [f"ΔE00 of each patch{lent}; row 1 on top"]


def surface_words(measured: MeasuredPhoto) -> list[str]:
    """Say what was measured of the surface; nothing without one."""
    if measured.side is None:
        return []
    row = measured.table.iloc[0]
    hue = "too little chroma for a hue" if np.isnan(row["hue angle"]) else f"hue {row['hue angle']:.0f}°"
    # The built-in shares, but for what was left out, which has a line of its own.
    shares = [f"{name.removesuffix(' share')} {row[name]:.0%}" for name in _built_in_shares(row)]
    left_out = [
        ("glare", "glare share"), ("clipped", "clipped share"), ("beyond the file", "out-of-gamut share"),
    ]  # fmt: skip
    ranges = [
        f"{axis} {row[f'{axis} range [mm]']:.0f}" for axis in ("L*", "a*", "b*")
        if not np.isnan(row[f"{axis} range [mm]"])
    ]  # fmt: skip
    own = [f"{name} {row[name]:.3g}" for name in row.index if name not in _DECLARED]
    lines = [
        f"C*ab {row['C*ab']:.1f}, {hue}",
        f"SD over the surface: L* {row['L* SD']:.1f}, a* {row['a* SD']:.1f}, b* {row['b* SD']:.1f}",
        f"Shares: {', '.join(shares)}",
        f"Of the band: {', '.join(f'{word} {row[name]:.1%}' for word, name in left_out)}",
        *_form_lines(row),
        f"Alike up to: {', '.join(ranges)} mm" if ranges else "How far colours stay alike: not told",
        f"Shading at the band's edge: ΔL* {row['shading ΔL*']:+.1f}",
        f"Your own: {', '.join(own)}" if own else "",
    ]
    return [line for line in lines if line]


def _built_in_shares(row: pd.Series) -> list[str]:
    apart = ("glare share", "clipped share", "out-of-gamut share", "usable share")
    return [
        name for name in row.index
        if name in _DECLARED and name.endswith(" share") and name not in apart and "colour" not in name
    ]  # fmt: skip


def _form_lines(row: pd.Series) -> list[str]:
    usable = f"{row['usable share']:.0%} of the pot's side"
    if np.isnan(row["measured height [cm]"]):
        return [f"Measured: {usable}", "No scale: state height [cm], or the target's pitch"]
    return [
        f"Height {row['measured height [cm]']:.1f} cm, widest {row['measured diameter [cm]']:.1f} cm, "
        f"side {row['surface area [cm2]']:.0f} cm²",
        f"Measured: {row['usable area [cm2]']:.0f} cm², {usable}",
    ]


def calibration_words(measured: MeasuredPhoto) -> list[str]:
    """Say how the photograph was calibrated, and how surely pot and target were found."""
    row, calibration = measured.table.iloc[0], measured.calibration
    lender = row["calibrated from"]
    veil = f"{calibration.veil:.1%} taken out" if calibration.veil >= 0.0005 else "none seen"
    return [
        f"Calibrated from {Path(lender).name}" if lender else "Calibrated from its own target",
        f"ΔE00 mean {calibration.mean:.2f}, largest {calibration.maximum:.1f}, "
        f"left out {calibration.left_out_mean:.2f}",
        f"Grade: {calibration.grade}; {calibration.method}",
        f"Fall-off: {row['fall-off']}",
        f"Stray light: {veil}",
        f"Profile: {row['colour profile']}",
        f"Sure of the target: {_sure(row['target confidence'], bool(lender))}; of the outline: "
        f"{_sure(row['outline confidence'], not measured.outline)}",
    ]


def _sure(confidence: float, missing: bool) -> str:
    if missing:
        return "not found"
    return "given" if np.isnan(confidence) else f"{confidence:.2f}"


def warning_words(measured: MeasuredPhoto) -> list[str]:
    """Tell the flags' names, and every other problem."""
    flags = measured.problems.flags
    return [
        *([f"Flags: {flags}"] if flags else []),
        *(f"Problem: {problem.cause}" for problem in measured.problems.unflagged),
    ]
