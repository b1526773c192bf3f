"""What the camera said that it had not said before: exposure, white balance, flash, lens, camera."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: What is told in words.
_WORDS = ("camera", "lens", "white balance", "flash")
#: Cameras set exposure in thirds of a stop: so far outside what it was before, it is another.
ANOTHER_EXPOSURE = 0.3


def camera_changes(shots: pd.DataFrame) -> pd.DataFrame:
    """List what a camera said of a photograph that it had said of none before.

    What goes to and fro is not listed again: an automatic exposure is, when it leaves the range that it had.

    Parameters
    ----------
    shots : DataFrame
        One row per photograph in order of time: ``day``, ``camera``, ``lens``, ``exposure time [s]``,
        ``f-number``, ``ISO speed``, ``white balance``, ``flash``.

    Returns
    -------
    DataFrame
        One row per change: ``day``, ``what``, ``said`` (in words).
    """
    rows = []
    for what in _WORDS:
        known = shots[shots[what] != ""]
        for place in np.flatnonzero(~known[what].duplicated())[1:]:
            before, value = known[what].iloc[place - 1], known[what].iloc[place]
            rows.append((known["day"].iloc[place], what, f"its {what} changed from {before} to {value}"))
    rows += _exposures(shots)
    return pd.DataFrame(rows, columns=["day", "what", "said"]).sort_values(
        "day", kind="stable", ignore_index=True
    )


def says_nothing(shots: pd.DataFrame) -> bool:
    """Whether the photographs state neither exposure nor white balance."""
    return bool(_stops(shots).isna().all() and (shots["white balance"] == "").all())


def _stops(shots: pd.DataFrame) -> pd.Series:
    """How much the exposure makes of the light, in stops: log₂ of time × ISO speed / f-number²."""
    return np.log2(shots["exposure time [s]"] * shots["ISO speed"] / shots["f-number"] ** 2)


def _exposures(shots: pd.DataFrame) -> list[tuple[pd.Timestamp, str, str]]:
    stops = _stops(shots).dropna()
    lowest, highest = stops.cummin().shift(), stops.cummax().shift()
    rows = []
    for row in stops.index[1:]:
        beyond = max(stops[row] - highest[row], lowest[row] - stops[row])
        if beyond >= ANOTHER_EXPOSURE:
            more = "more" if stops[row] > highest[row] else "less"
            said = (
                f"its exposure (time × ISO speed / f-number²) was {beyond:.1f} stops {more} than ever before"
            )
            rows.append((shots.loc[row, "day"], "exposure", said))
    return rows
