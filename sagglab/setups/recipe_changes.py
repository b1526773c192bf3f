"""Change over time by recipe: the rates with something against those without, on average over pots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import SetupError
from sagglab.model.contrasts import Contrast, holm
from sagglab.model.rows import find_column, tidy
from sagglab.setups.own_drift import OwnDrift
from sagglab.setups.rates import COORDINATES, recipe_rates, scattering_firings
from sagglab.units import parse_heading

#: Columns of what is so on average over all pots.
AVERAGE = ("coordinate", "per month", "low", "high", "df", "p", "p Holm", "pots")
#: Columns of what is so by recipe.
BY_RECIPE = (
    *("factor", "with", "without", "coordinate"),
    *("per month with", "with low", "with high", "per month without", "without low", "without high"),
    *("difference", "low", "high", "df", "p", "p Holm", "pots with", "pots without"),
)


@dataclass(frozen=True)
class Kinds:
    """A factor of the recipe, as kinds of pots.

    Attributes
    ----------
    name : str
        Its bare name.
    names : tuple of str
        The kinds; of an amount ``without …`` and ``with …``.
    indicators : DataFrame, shape (pots, kinds)
        1 where the pot is of the kind.
    """

    name: str
    names: tuple[str, ...]
    indicators: pd.DataFrame

    @property
    def shares(self) -> NDArray[np.float64]:
        """Share of the pots that are of each kind."""
        return self.indicators.mean().to_numpy()

    @property
    def columns(self) -> pd.DataFrame:
        """Columns of the model: all kinds but the first, centred over the pots."""
        return (self.indicators - self.shares).iloc[:, 1:]

    def weights(self, of: NDArray[np.float64]) -> NDArray[np.float64]:
        """Weights of the columns for a mix of the kinds."""
        return (of - self.shares)[1:]

    def compared(self) -> list[tuple[str, str, NDArray[np.float64], NDArray[np.float64]]]:
        """Pair what is held against what: names, and each as a mix of the kinds."""
        if len(self.names) == 2:
            return [(self.names[1], self.names[0], np.array([0.0, 1.0]), np.array([1.0, 0.0]))]
        rest = len(self.names) - 1
        return [
            (name, "the other kinds", mix, (1 - mix) / rest)
            for name, mix in zip(self.names, np.eye(rest + 1), strict=True)
        ]


def read_kinds(recipes: pd.DataFrame, factors: Sequence[str]) -> list[Kinds]:
    """Read factors as kinds of pots: amounts as with or without, words as they are, blank as none.

    Parameters
    ----------
    recipes : DataFrame
        One row per pot, by its name.
    factors : sequence of str
        Columns, by heading or by bare name.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    SetupError
        All pots are of one kind.
    """
    found = []
    for factor in factors:
        heading = find_column(recipes, factor, "factor")
        name, values = parse_heading(heading).name, tidy(recipes[heading])
        if values.dtype == float:
            held = np.where(np.nan_to_num(values) > 0, f"with {name}", f"without {name}")
            order = [f"without {name}", f"with {name}"]
        else:
            held = np.array([value or "none" for value in values], dtype=object)
            order = sorted(set(held))
        names = tuple(kind for kind in order if kind in set(held))
        if len(names) == 1:
            raise SetupError(
                f"factor '{name}'",
                f"all {len(held)} pots that were photographed on several days are {names[0]}",
                "leave it out, or photograph pots that differ in it on several days",
            )
        table = pd.DataFrame({kind: held == kind for kind in names}, index=recipes.index, dtype=float)
        found.append(Kinds(name, names, table))
    return found


@dataclass(frozen=True)
class Fitted:
    """What the rates of all coordinates are fitted to.

    Attributes
    ----------
    readings : DataFrame
        Of the pots that have a rate.
    along : dict of str to DataFrame, shape (pots, 3)
        For each coordinate, by how much a pot's rate changes with the setup's drift of L*, a*, b*.
    drift : OwnDrift
    firings : Series or None
        By pot.
    """

    readings: pd.DataFrame
    along: dict[str, pd.DataFrame]
    drift: OwnDrift
    firings: pd.Series | None


def on_average(fitted: Fitted) -> pd.DataFrame:
    """Change per month on average over pots, as they scatter; empty where there is a single pot.

    Returns
    -------
    DataFrame
        Columns `AVERAGE`.
    """
    pots = list(dict.fromkeys(fitted.readings["pot"]))
    rows = []
    for coordinate in COORDINATES if len(pots) > 1 else ():
        design, firings = _design(pots, [], fitted.firings)
        rates = recipe_rates(fitted.readings, coordinate, design, firings)
        rate = rates.contrast(np.eye(design.shape[1])[0])
        rate = fitted.drift.joined(rate, fitted.along[coordinate].loc[pots].mean().to_numpy())
        rows.append([coordinate, rate.estimate, *rate.interval(), rate.df, rate.p, np.nan, len(pots)])
    return _held(pd.DataFrame(rows, columns=list(AVERAGE)))


def by_recipe(fitted: Fitted, kinds: Sequence[Kinds]) -> pd.DataFrame:
    """Change per month with each kind and without it, the other factors as in the mean of the pots.

    Returns
    -------
    DataFrame
        Columns `BY_RECIPE`.

    Raises
    ------
    SetupError
        The pots cannot tell.
    """
    pots = list(kinds[0].indicators.index) if kinds else []
    readings = fitted.readings[fitted.readings["pot"].isin(pots)]
    rows = []
    for coordinate in COORDINATES if kinds else ():
        design, firings = _design(pots, kinds, fitted.firings)
        rates = recipe_rates(readings, coordinate, design, firings)
        along = fitted.along[coordinate].loc[pots].to_numpy()
        start = 1
        for factor in kinds:
            span = slice(start, start + len(factor.names) - 1)
            start = span.stop
            for name, other, *mixes in factor.compared():
                weights = [np.eye(design.shape[1])[0] for _ in mixes]
                for weight, mix in zip(weights, mixes, strict=True):
                    weight[span] = factor.weights(mix)
                # Each kind's drift is that of its own pots; where all pots drift alike it cancels.
                drifts = [_of_kind(factor.indicators.to_numpy() @ mix, along) for mix in mixes]
                sides = [
                    fitted.drift.joined(rates.contrast(w), d) for w, d in zip(weights, drifts, strict=True)
                ]
                apart = rates.contrast(weights[0] - weights[1])
                apart = fitted.drift.joined(apart, drifts[0] - drifts[1])
                counts = [int((factor.indicators.to_numpy() @ mix > 0).sum()) for mix in mixes]
                rows.append([factor.name, name, other, coordinate, *_row(sides, apart), *counts])
    return _held(pd.DataFrame(rows, columns=list(BY_RECIPE)))


def _design(
    pots: list[str], kinds: Sequence[Kinds], firings: pd.Series | None
) -> tuple[pd.DataFrame, pd.Series | None]:
    """Lay out the columns by pot, and the firings where they scatter; two firings become a column."""
    parts = [pd.DataFrame({"all pots": 1.0}, index=pots), *(factor.columns for factor in kinds)]
    if firings is None:
        return pd.concat(parts, axis=1), None
    firings = firings.loc[pots]
    if firings.nunique() == 2 and firings.value_counts().max() > 1 and len(pots) > 2 + len(kinds):
        second = (firings == firings.iloc[-1]).astype(float)
        parts.append((second - second.mean()).rename(f"firing {firings.iloc[-1]}").to_frame())
    return pd.concat(parts, axis=1), firings if scattering_firings(firings) else None


def _of_kind(shares: NDArray[np.float64], along: NDArray[np.float64]) -> NDArray[np.float64]:
    return shares @ along / shares.sum()


def _row(sides: list[Contrast], apart: Contrast) -> list[float]:
    each = [value for side in sides for value in (side.estimate, *side.interval())]
    return [*each, apart.estimate, *apart.interval(), apart.df, apart.p, np.nan]


def _held(table: pd.DataFrame) -> pd.DataFrame:
    return table.assign(**{"p Holm": holm(table["p"])})
