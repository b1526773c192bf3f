"""Pots within firings: which scatter each factor is judged by, whether there is enough of it, and the fit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.mixed import MixedFit, fit_mixed, indicators
from sagglab.model.terms import Contrast, Factor, JointTest, independent_basis

REML = "REML, Kenward–Roger"
ONE_FIRING = "least squares within the firing"
ONE_POT_EACH = "least squares, one pot in each firing"


@dataclass(frozen=True)
class LeastSquares:
    """An ordinary least-squares fit that answers as a mixed fit does.

    Attributes
    ----------
    results : statsmodels RegressionResults
    """

    results: Any

    def contrast(self, weights: NDArray[np.float64]) -> Contrast:
        """Estimate one linear combination of the coefficients."""
        test = self.results.t_test(weights)
        return Contrast(test.effect.item(), test.sd.item(), float(self.results.df_resid))

    def joint(self, weights: NDArray[np.float64]) -> JointTest:
        """Test several linear combinations together."""
        test = self.results.f_test(weights)
        return JointTest(float(test.fvalue), int(test.df_num), float(test.df_denom))


@dataclass(frozen=True)
class FittedStrata:
    """A fit of pots within firings, with what judges which factor.

    Attributes
    ----------
    fit : MixedFit or LeastSquares
        Its columns are the constant and then those of the factors, in order.
    method : str
    scatter : list of tuple
        Name, variance and note of each component.
    strata : dict of Factor to str
        ``pot`` where the factor varies within a firing, ``firing`` where it does not.
    spans : dict of Factor to slice
        The factor's columns.
    firing_note : str
        What must be said beside every effect judged against the scatter of firings.
    """

    fit: MixedFit | LeastSquares
    method: str
    scatter: list[tuple[str, float, str]]
    strata: dict[Factor, str]
    spans: dict[Factor, slice]
    firing_note: str

    @property
    def variances(self) -> pd.DataFrame:
        """The scatter as a table: component, variance, standard deviation, note."""
        components, variances, notes = zip(*self.scatter, strict=True)
        return pd.DataFrame(
            {
                "component": components,
                "variance": variances,
                "standard deviation": np.sqrt(variances),
                "note": notes,
            }
        )

    def spread(self, spec: Factor, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Spread a factor's weights over all columns."""
        columns = 1 + sum(span.stop - span.start for span in self.spans.values())
        rows = np.zeros((*np.shape(weights)[:-1], columns))
        rows[..., self.spans[spec]] = weights
        return rows


def fit_strata(
    y: NDArray[np.float64], blocks: dict[Factor, NDArray[np.float64]], labels: NDArray, where: str
) -> FittedStrata:
    """Fit pots within firings, by the method that the firings allow.

    Parameters
    ----------
    y : ndarray, shape (n,)
        The outcome.
    blocks : dict of Factor to ndarray, shape (n, columns)
        The coded factors.
    labels : ndarray, shape (n,)
        The firing of each pot.
    where : str
        What an error names as the place.

    Raises
    ------
    ModelError
        Too few pots or firings for the factors, factors that cannot be told apart, or no scatter left.
    """
    pots, fires = len(y), len(pd.unique(labels))
    strata = {spec: _stratum(block, labels) for spec, block in blocks.items()}
    X = np.hstack([np.ones((pots, 1)), *blocks.values()])
    spare = _spare_firings(X, blocks, strata, labels, where)
    starts = np.cumsum([1, *(block.shape[1] for block in blocks.values())])
    spans = {spec: slice(a, b) for spec, a, b in zip(blocks, starts[:-1], starts[1:], strict=True)}
    if 1 < fires < pots:
        try:
            fit = fit_mixed(y, X, {"firing": labels})
        except ModelError as error:
            raise ModelError(where, error.cause, error.remedy) from error
        rows = [
            (
                "firing" if name == "firing" else "pot",
                variance,
                "0 (at its boundary)" * (name in fit.at_boundary),
            )
            for name, variance in zip(fit.components, fit.variances, strict=True)
        ]
        notes = [f"rests on few firings: {spare} left over to judge by"] * (spare <= 2)
        notes += ["conservative: below six firings the interval is wider than it need be"] * (fires < 6)
        return FittedStrata(fit, REML, rows, strata, spans, "; ".join(notes))
    # Loaded here: mixed fits, the usual case, need none of it, and it takes a second.
    from statsmodels.regression.linear_model import OLS

    results = OLS(y, X).fit()
    if results.ssr <= 1e-20 * max(y @ y, 1e-300):
        raise ModelError(where, "the terms reproduce every pot exactly", "leave out factors or add pots")
    variance = float(results.mse_resid)
    if fires == 1:
        rows = [("firing", np.nan, "one firing cannot tell"), ("pot", variance, "")]
        return FittedStrata(LeastSquares(results), ONE_FIRING, rows, strata, spans, "")
    rows = [("firing and pot together", variance, "one pot in each firing: the two cannot be told apart")]
    note = f"rests on few firings: {spare} left over to judge by" if spare <= 2 else ""
    return FittedStrata(LeastSquares(results), ONE_POT_EACH, rows, strata, spans, note)


def _stratum(block: NDArray[np.float64], labels: NDArray) -> str:
    firings = indicators(labels)
    within = block - firings @ ((firings.T @ block) / firings.sum(axis=0)[:, None])
    return "pot" if np.abs(within).max() > 1e-9 * np.abs(block).max() else "firing"


def _spare_firings(
    X: NDArray[np.float64],
    blocks: dict[Factor, NDArray[np.float64]],
    strata: dict[Factor, str],
    labels: NDArray,
    where: str,
) -> int:
    """Count the firings left over to judge by, and refuse what pots and firings cannot carry."""
    firings = indicators(labels)
    (pots, columns), fires = X.shape, firings.shape[1]
    of_firing = [spec for spec in blocks if strata[spec] == "firing"]
    taken = 1 + sum(blocks[spec].shape[1] for spec in of_firing)
    if 1 < fires <= taken and of_firing:
        raise _too_few_firings(of_firing, fires, taken, where)
    if pots <= columns:
        short = columns + 1 - pots
        raise ModelError(
            where,
            f"{_plural(pots, 'pot')} cannot carry {columns - 1} effects and the mean",
            f"add at least {_plural(short, 'more pot')}, or leave out factors",
        )
    names = [name for spec in blocks for name in spec.columns]
    if names:
        independent_basis(X[:, 1:] - X[:, 1:].mean(axis=0), names, where)
    # Columns that vary within firings may still add up to one that does not: the rank counts those as well.
    together = int(np.linalg.matrix_rank(np.hstack([X / np.linalg.norm(X, axis=0), firings])))
    taken = fires + columns - together
    if fires > 1 and taken >= fires:
        raise _too_few_firings(of_firing or blocks, fires, taken, where)
    if fires < pots and pots <= together:
        raise ModelError(
            where,
            f"every difference between pots of one firing is used up by {_named(blocks)}",
            "add at least 1 more pot to a firing, or leave out factors",
        )
    return fires - taken


def _too_few_firings(specs: Iterable[Factor], fires: int, taken: int, where: str) -> ModelError:
    named = _named(specs)
    return ModelError(
        where,
        f"with {fires} firings nothing is left to judge {named} by: it needs at least "
        f"{_plural(taken + 1 - fires, 'more firing')}",
        f"fire more, or leave out {named}",
    )


def _named(specs: Iterable[Factor]) -> str:
    return ", ".join(spec.name for spec in specs)


def _plural(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
