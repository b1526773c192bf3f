"""Prediction: what a recipe would come out like, and how far a single pot may be from that.

The mean of many such pots has one interval; a new pot in a new firing a wider one, since it brings the
scatter of both; a new pot in a firing that has been seen one between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special

from sagglab.colour import AXES
from sagglab.errors import UnknownNameError
from sagglab.materials import TAKE_CARE
from sagglab.model.mixed import MixedFit, indicators
from sagglab.model.pages import prediction_page
from sagglab.model.recipe import code_recipe, said_recipe
from sagglab.model.strata import ONE_FIRING, FittedStrata
from sagglab.pages.numbers import decimal, digits_for

if TYPE_CHECKING:
    from sagglab.model.effects import Effects

MEAN = "mean of such pots"
NEW_FIRING = "a new pot in a new firing"

#: What a prediction of one outcome holds of each interval.
COLUMNS = ("what", "estimate", "low", "high", "standard error", "df")


@dataclass(frozen=True, repr=False)
class Prediction:
    """What a recipe would come out like.

    Attributes
    ----------
    table : DataFrame
        One row each for the mean of such pots, for a new pot in a new firing, and, when a firing was named,
        for a new pot in that firing: ``what``, ``estimate``, ``low``, ``high`` (95 %) in the outcome's unit,
        ``standard error`` and ``df`` on the scale of the model. NaN where the pots cannot say.
    outcome : str
    recipe : dict
        Heading to value, as asked; what was left out stands in `notes`.
    notes : tuple of str
        What was assumed, and what lies outside what was fired.
    extrapolated : bool
        True when the recipe lies outside what was fired: by an amount of its own, or, by its leverage, as a
        whole.
    colours : ndarray, shape (3, 3), or None
        L*, a*, b* at the low end, the middle and the high end for a new pot in a new firing, or for the mean
        where that cannot be had; for an outcome that is a coordinate of colour, the others at the pots' mean.
    whole : float
        For a share, what counts as all; else zero.

    Examples
    --------
    >>> from sagglab.model.effects import fit_effects
    >>> pots = {"firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2}
    >>> pots = pd.DataFrame(pots | {"L*": [44, 43, 40, 39, 46, 45, 41, 39]})
    >>> told = fit_effects(pots, factors=["sugar"]).predict({"sugar": 2})
    >>> told.table["what"].tolist(), told.table["estimate"].round(1).tolist(), told.extrapolated
    (['mean of such pots', 'a new pot in a new firing'], [42.1, 42.1], False)
    """

    table: pd.DataFrame
    outcome: str
    recipe: dict[str, object]
    notes: tuple[str, ...]
    extrapolated: bool
    colours: NDArray[np.float64] | None
    whole: float = 0.0

    def __repr__(self) -> str:
        lines = [f"{self.outcome} of {said_recipe(self.recipe)}"]
        for line in self.table.to_dict("records"):
            if np.isnan(line["low"]):
                lines.append(f"  {line['what']}: cannot be had")
                continue
            times = 100 / self.whole if self.whole else 1
            places = max(digits_for(times * (line["high"] - line["low"]) / 2), 0)
            numbers = [decimal(times * line[end], places) for end in ("estimate", "low", "high")]
            numbers = [f"{number} %" for number in numbers] if self.whole else numbers
            lines.append(f"  {line['what']}: {numbers[0]} (95 % interval {numbers[1]} to {numbers[2]})")
        return "\n".join([*lines, *(f"  {note}" for note in self.notes), TAKE_CARE])

    def _repr_html_(self) -> str:
        head = f"{self.outcome} of {said_recipe(self.recipe)}"
        return prediction_page(head, self.table, self.colours, self.notes)


def predict(effects: Effects, recipe: Mapping[str, object], firing: object = None) -> Prediction:
    """Predict the outcome of a recipe.

    Parameters
    ----------
    effects : Effects
    recipe : mapping of str to number or str
        For each factor, by heading or bare name, the amount in its column's unit or the level. A factor that
        is left out is taken at its mean over the pots fired, and the notes say so.
    firing : optional
        A firing that has been seen; its own level then counts.

    Returns
    -------
    Prediction

    Raises
    ------
    UnknownNameError
        The model has no such factor, level or firing.
    ModelError
        An amount is no number.

    References
    ----------
    Kackar and Harville, J. Am. Stat. Assoc. 79 (1984), and Prasad and Rao, J. Am. Stat. Assoc. 85 (1990),
    both from memory, for what estimating the variances adds; Satterthwaite's degrees of freedom.
    """
    row, known, notes = code_recipe(effects, recipe)
    fitted = effects.fitted
    lines = [
        (MEAN, *_mean(fitted, row)),
        (NEW_FIRING, *(float(part[0]) for part in new_firing(fitted, row[None]))),
    ]
    if firing is not None:
        lines.append((f"a new pot in firing {firing}", *_seen_firing(effects, row, _tag(firing))))
    outside = any("lies outside" in note for note in notes)
    table = pd.DataFrame(
        [(what, *_interval(effects, *numbers), *numbers[1:]) for what, *numbers in lines],
        columns=list(COLUMNS),
    )
    far = bool(leverages(fitted, row[None])[0] > leverages(fitted, fitted.X).max() * (1 + 1e-9))
    if far:
        notes.append("no pot fired is as far from the others as this recipe: the prediction goes beyond them")
    middle, low, high = table.loc[0 if np.isnan(table.loc[1, "low"]) else 1, ["estimate", "low", "high"]]
    if effects.outcome.startswith("L*") and (low < 0 or high > 100):
        notes.append("the interval runs past what L* can be, 0 to 100: take its end for that")
    return Prediction(
        table, effects.outcome, known, tuple(notes), far or outside,
        _colours(effects, (low, middle, high)), effects.scale.whole,
    )  # fmt: skip


def leverages(fitted: FittedStrata, rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far out each row lies from the pots fired, x'(X'X)⁻¹x, shape (m,)."""
    triangle = np.linalg.qr(fitted.X, mode="r")
    return np.sum(linalg.solve_triangular(triangle, rows.T, trans="T") ** 2, axis=0)


def _tag(firing: object) -> str:
    return f"{firing:g}" if isinstance(firing, int | float | np.number) else str(firing).strip()


def _interval(effects: Effects, middle: float, error: float, df: float) -> tuple[float, float, float]:
    reach = special.stdtrit(df, 0.975) * error
    return tuple(effects.scale.back([middle, middle - reach, middle + reach]).tolist())


def _mean(fitted: FittedStrata, row: NDArray[np.float64]) -> tuple[float, float, float]:
    contrast, _ = fitted.contrast(row)
    return contrast.estimate, contrast.standard_error, contrast.df


def new_firing(
    fitted: FittedStrata, rows: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Predict new pots in new firings.

    Parameters
    ----------
    fitted : FittedStrata
    rows : ndarray, shape (m, p)

    Returns
    -------
    middle, error, df : ndarray, shape (m,)
        Error and degrees of freedom are NaN where there was one firing: it cannot tell how firings scatter.
    """
    fit = fitted.fit
    middle = rows @ fit.coefficients
    if len(pd.unique(fitted.groups["firing"])) == 1:
        return middle, np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    if not isinstance(fit, MixedFit):
        judged = [fit.contrast(row) for row in rows]
        error = np.hypot([one.standard_error for one in judged], np.sqrt(fitted.scatter[-1][1]))
        return middle, error, np.array([one.df for one in judged])
    through = rows @ fit.model_covariance
    plain = np.sum(through * rows, axis=1) + fit.variances.sum()
    # The adjusted covariance holds what Kackar and Harville add, 2 tr(W D V D').
    full = np.sum(rows @ fit.covariance * rows, axis=1) + fit.variances.sum()
    slopes = np.einsum("mp,kpq,mq->mk", through, fit.slopes, through) + 1
    spread = np.einsum("mk,kl,ml->m", slopes, fit.variance_covariance, slopes)
    return middle, np.sqrt(full), 2 * plain**2 / spread


def _seen_firing(effects: Effects, row: NDArray[np.float64], firing: str) -> tuple[float, float, float]:
    fitted = effects.fitted
    names = fitted.groups["firing"]
    seen = names == firing
    if not seen.any():
        known = ", ".join(pd.unique(names))
        raise UnknownNameError(f"firing '{firing}'", "no pot of it is in the model", f"there are {known}")
    fit = fitted.fit
    if fitted.method == ONE_FIRING:
        middle, error, df = _mean(fitted, row)
        return middle, float(np.hypot(error, np.sqrt(fitted.scatter[-1][1]))), df
    if not isinstance(fit, MixedFit):
        # One pot in each firing: what the firing did cannot be told from what the pot did.
        return _mean(fitted, row)[0], np.nan, np.nan
    return _shrunk(fitted, fit, row, seen)


def _shrunk(
    fitted: FittedStrata, fit: MixedFit, row: NDArray[np.float64], seen: NDArray[np.bool_]
) -> tuple[float, float, float]:
    """Predict a new pot of a firing: the fitted mean and the firing's shrunken deviation.

    The predictor is b'y with b = V⁻¹c + V⁻¹XΦr, c the covariance of the observations with the firing's
    level and r = x − X'V⁻¹c. Its error has the variance σ² − c'V⁻¹c + r'Φr, σ² all the scatter of a new pot,
    and twice tr(W D V D') for the variances having been estimated, D the derivatives of b in them.
    """
    X, y = fitted.X, fitted.y
    blocks = {name: indicators(fitted.groups[name]) for name in fit.components[:-1]}
    shared = [block @ block.T for block in blocks.values()] + [np.eye(len(y))]
    V = sum(variance * part for variance, part in zip(fit.variances, shared, strict=True))
    # What a new pot of the firing shares with each pot seen: the firing, and what holds the firing.
    held = [
        block @ block[np.flatnonzero(seen)[0]] if name in _outer(fitted) else np.zeros(len(y))
        for name, block in blocks.items()
    ]
    held.append(np.zeros(len(y)))
    c = sum(variance * part for variance, part in zip(fit.variances, held, strict=True))
    factor = linalg.cho_factor(V)
    phi = fit.model_covariance
    solved, reached = linalg.cho_solve(factor, c), linalg.cho_solve(factor, X)
    rest = row - X.T @ solved
    error = y - X @ fit.coefficients
    middle = row @ fit.coefficients + c @ linalg.cho_solve(factor, error)
    shrinking = np.array([name in _outer(fitted) for name in fit.components[:-1]] + [False])
    plain = fit.variances.sum() - c @ solved + rest @ phi @ rest
    changes, slopes = [], []
    for part, shares, inside in zip(shared, held, shrinking, strict=True):
        passed = part @ solved
        turned = X.T @ linalg.cho_solve(factor, passed) - X.T @ linalg.cho_solve(factor, shares)
        slope = X.T @ linalg.cho_solve(factor, part @ reached)
        change = linalg.cho_solve(factor, shares - passed - part @ (reached @ (phi @ rest)))
        change += reached @ (phi @ (slope @ (phi @ rest) + turned))
        changes.append(change)
        level = 1.0 if inside else 0.0
        # σ² − c'V⁻¹c and r'Φr, differentiated; the scatter of a new pot adds one for what it does not share.
        within = level - 2 * shares @ solved + solved @ passed
        around = rest @ phi @ slope @ phi @ rest + 2 * turned @ phi @ rest
        slopes.append(within + around + (0.0 if inside else 1.0))
    D = np.array(changes)
    added = 2 * np.sum(fit.variance_covariance * (D @ V @ D.T))
    spread = np.array(slopes) @ fit.variance_covariance @ np.array(slopes)
    return float(middle), float(np.sqrt(plain + added)), float(2 * plain**2 / spread)


def _outer(fitted: FittedStrata) -> list[str]:
    """Name the groupings that a new pot of a firing shares with those seen."""
    names = list(fitted.groups)
    return names[: names.index("firing") + 1]


def _colours(effects: Effects, values: tuple[float, float, float]) -> NDArray[np.float64] | None:
    if effects.colour is None or effects.outcome not in AXES or np.isnan(values).any():
        return None
    colours = np.tile(np.array(effects.colour), (3, 1))
    colours[:, AXES.index(effects.outcome)] = values
    return colours
