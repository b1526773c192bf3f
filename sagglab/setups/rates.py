"""Rates: how much colours change per month, pot by pot and by recipe, and how surely that can be told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.colour import AXES
from sagglab.errors import ModelError, SetupError
from sagglab.model.aliases import independent_basis
from sagglab.model.contrasts import Contrast
from sagglab.model.mixed import MixedFit, fit_mixed, indicators
from sagglab.model.strata import LeastSquares

#: What is followed: the three coordinates and the chroma.
COORDINATES = (*AXES, "C*ab")

#: From so many firings on, firings can show how their rates scatter; two give that one degree of freedom, by
#: which an interval is 12.7 standard errors to either side. Two are taken as they are.
_FIRINGS_THAT_SCATTER = 3


@dataclass(frozen=True)
class Rates:
    """Rates of one coordinate, from the readings of several pots.

    Attributes
    ----------
    fit : MixedFit, LeastSquares or None
        None where nothing is left over to judge by.
    estimates : ndarray, shape (q,)
        One for each column of the slopes.
    columns : int
        Of the whole model.
    SD, df : float
        Scatter of one photograph about what its pot should read on its day, and the degrees of freedom.
    """

    fit: MixedFit | LeastSquares | None
    estimates: NDArray[np.float64]
    columns: int
    SD: float
    df: int

    def contrast(self, weights: NDArray[np.float64]) -> Contrast:
        """Estimate a combination of the rates; its standard error is NaN where nothing is left over."""
        if self.fit is None:
            return Contrast(float(weights @ self.estimates), np.nan, 0.0)
        padded = np.zeros(self.columns)
        padded[: len(weights)] = weights
        return self.fit.contrast(padded)


def pot_rates(readings: pd.DataFrame, coordinate: str, pots: list[str]) -> Rates:
    """Fit each pot's own rate, with one scatter for all.

    Every pot has one slope, and every view of it a level of its own: a view is compared with itself. The
    scatter is that about these lines, together for all pots of the setup: so it holds the repeats of one day,
    and what differs from day to day, too, which repeats of one day cannot show. Where there are both, days
    scatter by themselves beside repeats (`MixedFit`). Two days without a repeat, and one view, leave nothing
    over: then a pot lends its repeats, even one that was photographed on a single day.

    Parameters
    ----------
    readings : DataFrame
        One row per photograph: ``pot``, ``level`` (which view of which pot), ``visit`` (which of them on
        which day), ``months`` and the coordinates.
    coordinate : str
    pots : list of str
        Those that get a rate, in the order of the rates: each with a view photographed on two days.
    """
    slopes = (readings["pot"].to_numpy()[:, None] == np.array(pots)) * readings[["months"]].to_numpy()
    return _fit(readings, coordinate, slopes, {})


def recipe_rates(
    readings: pd.DataFrame, coordinate: str, design: pd.DataFrame, firings: pd.Series | None
) -> Rates:
    """Fit how the rate depends on the recipe, pots scattering in their rates.

    A mixed model: the views' levels fixed, so that a view is compared with itself only; months × recipe;
    pots' slopes random, and firings' where there are at least three, some of several pots. With a single
    photograph of a single view on two days the scatter of the slopes is all that can be seen.

    What a day does to all pots alike cancels between recipes (differences held the truth in 96.5 % of 160
    drawn studies with days that scatter by 0.3 beside photographs by 0.4), but not in a recipe's own rate,
    whose interval then held it in 90.0 %; without such days in 95.0 to 97.9 %.

    Parameters
    ----------
    readings : DataFrame
        As for `pot_rates`; of pots that have a rate only.
    coordinate : str
    design : DataFrame, shape (pots, q)
        Index: pots. A column of ones, and centred columns of the recipe.
    firings : Series or None
        By pot, where firings scatter.

    Raises
    ------
    SetupError
        The pots cannot tell the columns apart, or too few are left over.
    """
    where = f"change of {coordinate} by recipe"
    left = len(design) - design.shape[1]
    if left < 1:
        raise SetupError(
            where,
            f"{len(design)} pots leave nothing over to judge {design.shape[1]} rates by",
            "photograph more pots on several days, or ask for fewer factors",
        )
    months = readings[["months"]].to_numpy()
    slopes = months * design.loc[readings["pot"]].to_numpy()
    groups = {"pot": months * indicators(readings["pot"])}
    if firings is not None:
        groups["firing"] = months * indicators(firings.loc[readings["pot"]])
    try:
        independent_basis(design.to_numpy(), list(design.columns), where)
        return _fit(readings, coordinate, slopes, groups)
    except ModelError as error:
        raise SetupError(where, error.cause, error.remedy) from error


def scattering_firings(firings: pd.Series) -> bool:
    """Whether firings can show how their rates scatter: several of them, some of several pots."""
    counts = firings.value_counts()
    return len(counts) >= _FIRINGS_THAT_SCATTER and counts.max() > 1


def _fit(
    readings: pd.DataFrame, coordinate: str, slopes: NDArray[np.float64], groups: dict[str, NDArray]
) -> Rates:
    y = readings[coordinate].to_numpy(dtype=float)
    visits = readings["visit"].to_numpy()
    X = np.hstack([slopes, indicators(readings["level"])])
    estimates = np.linalg.lstsq(X, y)[0]
    lines = _about_lines(readings)
    residuals = y - lines @ np.linalg.lstsq(lines, y)[0]
    over, repeats = len(y) - lines.shape[1], len(y) - len(set(visits))
    SD = float(np.sqrt(residuals @ residuals / over)) if over else np.nan
    if over and SD < 1e-9 * max(1.0, np.abs(y).max()):
        raise SetupError(
            f"change of {coordinate} over time",
            "repeated photographs give the same numbers to the last digit",
            "list each photograph once, and photograph the pots anew",
        )
    # Without anything over, the scatter of pots' slopes and that of photographs are one.
    kept = {name: block for name, block in groups.items() if name != "pot" or over}
    if 0 < repeats < over:
        kept["visit"] = visits
    if kept:
        fit = fit_mixed(y, X, kept)
        return Rates(fit, fit.coefficients[: slopes.shape[1]], X.shape[1], SD, over)
    if len(y) == X.shape[1]:
        return Rates(None, estimates[: slopes.shape[1]], X.shape[1], np.nan, 0)
    # Loaded here: it takes a second.
    from statsmodels.regression.linear_model import OLS

    fit = LeastSquares(OLS(y, X).fit())
    return Rates(fit, fit.coefficients[: slopes.shape[1]], X.shape[1], SD, over)


def _about_lines(readings: pd.DataFrame) -> NDArray[np.float64]:
    """Columns of every pot's own line, a level for each view, shape (n, views + pots that have a slope)."""
    levels = indicators(readings["level"])
    slopes = readings[["months"]].to_numpy() * indicators(readings["pot"])
    slopes = slopes - levels @ (levels.T @ slopes / levels.sum(axis=0)[:, None])
    return np.hstack([levels, slopes[:, np.abs(slopes).max(axis=0) > 1e-9]])
