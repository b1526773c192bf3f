"""A setup's own drift, taken out of what pots change: it is common to all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.model.contrasts import Contrast
from sagglab.setups.drift import drift_per_month


@dataclass(frozen=True)
class OwnDrift:
    """How much a setup's calibrated readings of one and the same thing change per month.

    Attributes
    ----------
    per_month, errors, df : ndarray, shape (3,)
        Of L*, a*, b*: the change, its standard error, its degrees of freedom.
    """

    per_month: NDArray[np.float64]
    errors: NDArray[np.float64]
    df: NDArray[np.float64]

    def joined(self, rate: Contrast, along: NDArray[np.float64]) -> Contrast:
        """Let a rate, from which the drift has been taken, count how unsure the drift is.

        Parameters
        ----------
        rate : Contrast
        along : ndarray, shape (3,)
            By how much the rate changes with the drift of L*, a*, b*.

        References
        ----------
        Satterthwaite, Biometrics Bulletin 2 (1946), for the degrees of freedom.
        """
        if not np.any(along * self.errors) or np.isnan(rate.standard_error):
            return rate
        parts = np.append((along * self.errors) ** 2, rate.standard_error**2)
        held, df = parts > 0, np.append(self.df, rate.df)
        total = parts[held].sum()
        return Contrast(rate.estimate, float(np.sqrt(total)), float(total**2 / (parts**2 / df)[held].sum()))


#: Of a setup whose drift is not known.
UNKNOWN_DRIFT = OwnDrift(np.zeros(3), np.zeros(3), np.full(3, np.inf))


def known_drift(
    patches: pd.DataFrame | None, setup: str, known: pd.DataFrame | None
) -> tuple[OwnDrift | None, list[str]]:
    """Find a setup's drift in its shots of the target alone, or take it as given.

    Parameters
    ----------
    patches : DataFrame or None
        As `measure_targets` gives them.
    setup : str
    known : DataFrame or None
        ``coordinate``, ``per month``, ``low``, ``high``, ``df``; in place of the patches.

    Returns
    -------
    OwnDrift or None
        None where it is not known.
    list of str
        What must then be said.
    """
    cause = "the target was not photographed alone on several days"
    if known is None and patches is not None:
        try:
            known = drift_per_month(patches, setup)
        except SetupError as error:
            cause = error.cause
    if known is not None:
        rows = known.set_index("coordinate").reindex(list(AXES))
        half = special.stdtrit(rows["df"], 0.975)
        errors = ((rows["high"] - rows["low"]) / 2 / half).to_numpy()
        if np.isfinite(errors).all():
            return OwnDrift(rows["per month"].to_numpy(), errors, rows["df"].to_numpy(dtype=float)), []
    return None, [
        f"Whether {setup} itself drifted is not known ({cause}), so no change can be told from the camera's: "
        "photograph the target alone on each day on which pots are photographed. How pots differ from each "
        "other in what they change does not depend on it."
    ]


def ways_of_drift(readings: pd.DataFrame, pots: list[str]) -> dict[str, pd.DataFrame]:
    """By how much each pot's readings move with the setup's drift of L*, a*, b*; chroma by the pot's hue."""
    hue = readings.groupby("pot")[["a*", "b*"]].mean().loc[pots].to_numpy()
    # A pot without any hue has no chroma to drift.
    chroma = hue / np.maximum(np.hypot(*hue.T), 1e-9)[:, None]
    ways = {axis: np.tile(np.eye(3)[place], (len(pots), 1)) for place, axis in enumerate(AXES)}
    ways["C*ab"] = np.column_stack([np.zeros(len(pots)), chroma])
    return {coordinate: pd.DataFrame(way, index=pots) for coordinate, way in ways.items()}


def less_drift(readings: pd.DataFrame, along: dict[str, pd.DataFrame], drift: OwnDrift) -> pd.DataFrame:
    """Take the drift out of the readings, so that all that is fitted to them is free of it."""
    # A pot without a rate was photographed on one day per view, and stays as it is.
    taken = {
        coordinate: readings["months"] * readings["pot"].map(way @ drift.per_month).fillna(0.0)
        for coordinate, way in along.items()
    }
    return readings.assign(**{name: readings[name] - moved for name, moved in taken.items()})
