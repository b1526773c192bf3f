"""The reverse question: which recipes are most likely to come near a wanted colour."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sagglab.colour import delta_e_2000
from sagglab.errors import ModelError
from sagglab.materials import TAKE_CARE
from sagglab.model.effects import Effects
from sagglab.model.outcomes import Outcomes
from sagglab.model.pages import recipes_page
from sagglab.model.predict import leverages, new_firing
from sagglab.model.recipe import said_recipe
from sagglab.model.terms import Factor

#: Amounts tried of one factor: the values fired where they are so few, else so many evenly spaced.
STEPS = 5
#: Recipes that are looked at, at most, and those of them that are told.
MOST_RECIPES = 4000
TOLD = 20
#: Pots drawn for each recipe, first for all and then for the best.
DRAWS = (300, 5000)
SEED = 1
#: Degrees of freedom at which t is taken exactly.
KNOTS = 9


@dataclass(frozen=True, repr=False)
class Recipes:
    """Recipes ranked by how likely a pot of them comes near a wanted colour.

    Attributes
    ----------
    table : DataFrame
        One row for each recipe, the likeliest first: the factors' columns, the expected ``L*``, ``a*``,
        ``b*``, its ``ΔE00`` from the wanted colour, and ``probability``, that one new pot in a new firing
        comes within the distance.
    colour : tuple of float
        The wanted L*, a*, b*.
    within : float
        The distance, ΔE00.
    tried : int
        How many recipes were looked at.

    Examples
    --------
    >>> from sagglab.model.colours import fit_colour
    >>> pots = pd.DataFrame({
    ...     "firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2, "L*": [44, 43, 40, 39, 46, 45, 41, 39],
    ...     "a*": [8, 9, 10, 11, 7, 8, 10, 9], "b*": [10, 11, 13, 12, 9, 10, 11, 12],
    ... })  # fmt: skip
    >>> recipes = fit_colour(pots, ["sugar"]).recipes_for([40, 10, 12])
    >>> recipes.tried, recipes.table["sugar [g]"].tolist()
    (2, [4.0, 0.0])
    """

    table: pd.DataFrame
    colour: tuple[float, float, float]
    within: float
    tried: int

    def sentence(self) -> str:
        """Say which recipe is the likeliest, and how likely."""
        best = self.table.iloc[0]
        recipe = best.loc[: self.table.columns[self.table.columns.get_loc("L*") - 1]].to_dict()
        chance = f"{100 * best['probability']:.0f}" if best["probability"] >= 0.005 else "fewer than 1"
        return (
            f"Of {self.tried} recipes inside the range that was fired, {said_recipe(recipe)} is the "
            f"likeliest to come within ΔE00 {self.within:g} of that colour: {chance} in 100 new pots would."
        )

    def __repr__(self) -> str:
        return f"{self.sentence()}\n{self.table.head(5).round(2).to_string(index=False)}\n{TAKE_CARE}"

    def _repr_html_(self) -> str:
        return recipes_page(self.sentence(), self.table, self.colour)


def rank_recipes(outcomes: Outcomes, colour: ArrayLike, within: float = 3.0) -> Recipes:
    """Rank the recipes inside the tried range by how likely they come near a colour.

    Parameters
    ----------
    outcomes : Outcomes
        Of L*, a*, b*.
    colour : array_like, shape (3,)
        The wanted L*, a*, b*.
    within : float
        How near is near, ΔE00.

    Returns
    -------
    Recipes

    Raises
    ------
    ModelError
        The colour is no L*, a*, b*; the distance is not above zero; there was one firing.
    """
    try:
        wanted = np.asarray(colour, dtype=float)
    except (TypeError, ValueError):
        wanted = np.array(np.nan)
    if wanted.shape != (3,) or not np.isfinite(wanted).all() or not 0 <= wanted[0] <= 100:
        raise ModelError("colour", "it is no L*, a*, b*", "write three numbers, such as [35, 12, 18]")
    if not isinstance(within, int | float) or not within > 0:
        raise ModelError("within", "it is not above zero", "write a ΔE00 such as 3")
    effects = list(outcomes.effects.values())
    first = effects[0]
    if first.firings == 1:
        raise ModelError(
            "model of the colour", "one firing cannot tell how firings scatter", "add pots of another firing"
        )
    candidates = _candidates(first.factors)
    X = _coded(candidates, first)
    held = leverages(first.fitted, X) <= leverages(first.fitted, first.fitted.X).max() * (1 + 1e-9)
    candidates, X = candidates[held].reset_index(drop=True), X[held]
    predicted = [new_firing(one.fitted, X) for one in effects]
    correlation = _correlation(effects)
    chance = _chance(predicted, correlation, wanted, within, DRAWS[0], np.arange(len(X)))
    means = np.column_stack([middle for middle, _, _ in predicted])
    apart = delta_e_2000(wanted, means)
    best = np.lexsort((apart, -chance))[:TOLD]
    chance = _chance(predicted, correlation, wanted, within, DRAWS[1], best)
    table = candidates.loc[best].reset_index(drop=True)
    table[["L*", "a*", "b*"]] = means[best]
    table["ΔE00"], table["probability"] = apart[best], chance
    table = table.sort_values(["probability", "ΔE00"], ascending=[False, True]).reset_index(drop=True)
    return Recipes(table, tuple(wanted.tolist()), float(within), len(X))


def _candidates(factors: tuple[Factor, ...]) -> pd.DataFrame:
    varying = [factor for factor in factors if not factor.constant]
    levels = [_levels(factor, STEPS) for factor in varying]
    if np.prod([len(each) for each in levels]) > MOST_RECIPES:
        levels = [_levels(factor, 3) for factor in varying]
    headings = [factor.heading for factor in varying]
    if np.prod([len(each) for each in levels]) <= MOST_RECIPES:
        return pd.DataFrame(product(*levels), columns=headings)
    # Ten factors of four levels make a million recipes: those looked at are drawn, not picked from a list.
    rng = np.random.default_rng(SEED)
    drawn = {
        heading: pd.Series(each)[rng.integers(len(each), size=MOST_RECIPES)].to_numpy()
        for heading, each in zip(headings, levels, strict=True)
    }
    return pd.DataFrame(drawn).drop_duplicates().reset_index(drop=True)


def _levels(factor: Factor, steps: int) -> list[object]:
    if not factor.is_amount:
        return list(factor.levels)
    return (
        list(factor.tried)
        if len(factor.tried) <= steps
        else list(np.linspace(factor.low, factor.high, steps))
    )


def _coded(candidates: pd.DataFrame, effects: Effects) -> NDArray[np.float64]:
    return np.hstack([np.ones((len(candidates), 1)), *(term.code(candidates) for term in effects.terms)])


def _correlation(effects: list[Effects]) -> NDArray[np.float64]:
    """Correlate what the recipes leave unexplained of L*, a* and b*, over the pots that have all three."""
    left = [
        pd.Series(one.fitted.y - one.fitted.X @ one.fitted.fit.coefficients, one.rows.table.index)
        for one in effects
    ]
    same = all(one.index.equals(left[0].index) for one in left)
    table = np.array(left) if same else pd.concat(left, axis=1, join="inner").to_numpy().T
    return np.corrcoef(table)


def _chance(
    predicted: list[tuple[NDArray, NDArray, NDArray]],
    correlation: NDArray[np.float64],
    wanted: NDArray[np.float64],
    within: float,
    draws: int,
    which: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Share of drawn pots that come near: t in each coordinate, tied to one another as the residuals are."""
    rng = np.random.default_rng(SEED)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0))
    uniform = special.ndtr(rng.normal(size=(draws, 3)) @ root.T)
    pots = np.stack(
        [
            middle[which, None] + error[which, None] * _student(df[which], uniform[:, k])
            for k, (middle, error, df) in enumerate(predicted)
        ],
        axis=-1,
    )
    pots[..., 0] = np.clip(pots[..., 0], 0, 100)
    return (delta_e_2000(wanted, pots) <= within).mean(axis=1)


def _student(df: NDArray[np.float64], uniform: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quantiles of t, shape (recipes, draws)."""
    # Exact at a few degrees of freedom, straight in 1/df between: three thousand recipes took 1.7 s without.
    inverse = 1 / df
    knots = np.linspace(inverse.min(), inverse.max(), KNOTS)
    exact = special.stdtrit(1 / knots[:, None], uniform)
    step = max(knots[1] - knots[0], 1e-12)
    below = np.clip(((inverse - knots[0]) / step).astype(int), 0, KNOTS - 2)
    share = ((inverse - knots[below]) / step)[:, None]
    return exact[below] * (1 - share) + exact[below + 1] * share
