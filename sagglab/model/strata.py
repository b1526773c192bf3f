"""Pots within firings: which scatter each term is judged by, whether there is enough of it, and the fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.balanced import Balanced, expected_balanced, fit_balanced
from sagglab.model.contrasts import Contrast, JointTest
from sagglab.model.judges import Strata, read_strata
from sagglab.model.mixed import MixedFit, expected_mixed, fit_mixed, indicators
from sagglab.model.terms import Term

EXACT = "exact, by strata"
REML = "REML, Kenward–Roger"
ONE_FIRING = "least squares within the firing"
ONE_POT_EACH = "least squares, one pot in each firing"

AT_BOUNDARY = "none showed: taken as zero"


@dataclass(frozen=True)
class LeastSquares:
    """An ordinary least-squares fit that answers as a mixed fit does.

    Attributes
    ----------
    results : statsmodels RegressionResults
    """

    results: Any

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """The estimates, shape (p,)."""
        return self.results.params

    @property
    def at_boundary(self) -> tuple[str, ...]:
        """No variance is held at zero here."""
        return ()

    def contrast(self, weights: NDArray[np.float64]) -> Contrast:
        """Estimate one linear combination of the coefficients."""
        test = self.results.t_test(weights)
        return Contrast(test.effect.item(), test.sd.item(), float(self.results.df_resid))

    def joint(self, weights: NDArray[np.float64]) -> JointTest:
        """Test several linear combinations together."""
        test = self.results.f_test(weights)
        return JointTest(float(test.fvalue), int(test.df_num), float(test.df_denom))


@dataclass(frozen=True)
class FittedStrata(Strata):
    """A fit of pots within firings, with what judges which term.

    Attributes
    ----------
    y : ndarray, shape (n,)
        The outcome, on the scale of the model.
    fit : MixedFit, LeastSquares or Balanced
        The last where there is one stratum, and no outcome yet.
    balanced : Balanced or None
        The exact analysis, where the study allows it.
    method : str
        Of `fit`.
    scatter : list of tuple
        Name, variance and note of each component.
    """

    y: NDArray[np.float64]
    fit: MixedFit | LeastSquares | Balanced
    balanced: Balanced | None
    method: str
    scatter: list[tuple[str, float, str]]

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

    def spread(self, term: Term, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Spread a term's weights over all columns."""
        rows = np.zeros((*np.shape(weights)[:-1], self.X.shape[1]))
        rows[..., self.spans[term]] = weights
        return rows

    def covariance(self) -> NDArray[np.float64]:
        """Covariance of the observations at the fitted variances, shape (n, n)."""
        V = np.eye(len(self.y)) * self.scatter[-1][1]
        if isinstance(self.fit, MixedFit):
            for name, variance in zip(self.fit.components[:-1], self.fit.variances[:-1], strict=True):
                block = indicators(self.groups[name])
                V += variance * block @ block.T
        return V

    def contrast(self, weights: NDArray[np.float64]) -> tuple[Contrast, str]:
        """Estimate one combination of the coefficients, exactly where that can be; and name the method."""
        exact = self.balanced.contrast(weights) if self.balanced else None
        return (exact, EXACT) if exact else (self.fit.contrast(weights), self.method)

    def joint(self, weights: NDArray[np.float64]) -> tuple[JointTest, str]:
        """Test several combinations together, exactly where that can be; and name the method."""
        exact = self.balanced.joint(weights) if self.balanced else None
        return (exact, EXACT) if exact else (self.fit.joint(weights), self.method)

    def note(self, stratum: str, method: str) -> str:
        """Say what must be said beside an effect that is judged in a stratum by a method."""
        if stratum not in self.groups:
            return ""
        spare = self.spare[stratum]
        notes = [f"rests on few {stratum}s: {spare} left over to judge by"] * (spare <= 2)
        if method == REML:
            few = len(pd.unique(self.groups[stratum])) < 6
            notes += [f"conservative: below six {stratum}s the interval is wider than it need be"] * few
        if stratum in self.fit.at_boundary:
            notes.append(f"no scatter of {stratum}s showed: taken as zero, their degrees of freedom kept")
        return "; ".join(notes)


def fit_strata(
    y: NDArray[np.float64],
    terms: Mapping[Term, NDArray[np.float64]],
    groups: Mapping[str, NDArray],
    residual: str,
    where: str,
) -> FittedStrata:
    """Fit pots within firings, by the method that the firings allow.

    Parameters
    ----------
    y : ndarray, shape (n,)
        The outcome.
    terms : mapping of Term to ndarray, shape (n, columns)
        Each term with its columns.
    groups : mapping of str to ndarray, shape (n,)
        The groupings from the outermost, each within the one before; ``firing`` among them.
    residual : str
        What a row is: ``pot``, or ``view`` where pots are grouped, too.
    where : str
        What an error names as the place.

    Raises
    ------
    ModelError
        Too few pots or firings for the terms, terms or scatters that cannot be told apart, or no scatter
        left.
    """
    read = read_strata(terms, groups, residual, where)
    X, kept = read.X, read.kept
    one_firing = len(pd.unique(groups["firing"])) == 1
    if kept:
        try:
            fit = fit_mixed(y, X, kept)
        except ModelError as error:
            raise ModelError(where, error.cause, error.remedy) from error
        names = [residual if name == "residual" else name for name in fit.components]
        scatter = [
            (name, variance, AT_BOUNDARY * (component in fit.at_boundary))
            for name, component, variance in zip(names, fit.components, fit.variances, strict=True)
        ]
        if one_firing:
            scatter.insert(0, ("firing", np.nan, "one firing cannot tell"))
        balanced = fit_balanced(y, X, kept, residual)
        return FittedStrata(**vars(read), y=y, fit=fit, balanced=balanced, method=REML, scatter=scatter)
    # Loaded here: mixed fits, the usual case, need none of it, and it takes a second.
    from statsmodels.regression.linear_model import OLS

    results = OLS(y, X).fit()
    if results.ssr <= 1e-20 * max(y @ y, 1e-300):
        raise ModelError(
            where,
            "the terms reproduce every pot exactly",
            "leave out factors, add pots, or use screen_effects",
        )
    fit, variance = LeastSquares(results), float(results.mse_resid)
    if one_firing:
        scatter = [("firing", np.nan, "one firing cannot tell"), (residual, variance, "")]
        return FittedStrata(**vars(read), y=y, fit=fit, balanced=None, method=ONE_FIRING, scatter=scatter)
    told = "one pot in each firing: the two cannot be told apart"
    scatter = [("firing and pot together", variance, told)]
    return FittedStrata(**vars(read), y=y, fit=fit, balanced=None, method=ONE_POT_EACH, scatter=scatter)


def expected(
    terms: Mapping[Term, NDArray[np.float64]],
    groups: Mapping[str, NDArray],
    residual: str,
    where: str,
    spread: Mapping[str, float],
) -> FittedStrata:
    """Tell what `fit_strata` would judge by, before there is an outcome.

    Parameters
    ----------
    terms, groups, residual, where
        As for `fit_strata`.
    spread : mapping of str to float
        The standard deviation expected of each grouping and of the residual, which must be above zero.

    Returns
    -------
    FittedStrata
        Its coefficients are zero. Its contrasts have the method, degrees of freedom and standard error that
        the analysis would have if the scatter came out as expected: exact where the study allows it, else
        those of Kenward and Roger at these variances.

    Raises
    ------
    ModelError
        As `fit_strata`, save for what only an outcome can show.
    """
    read = read_strata(terms, groups, residual, where)
    variances = {name: float(spread[name]) ** 2 for name in [*groups, residual]}
    y = np.zeros(len(read.X))
    scatter = [(name, variance, "expected") for name, variance in variances.items()]
    if read.kept:
        sizes = [variances[name] for name in [*read.kept, residual]]
        try:
            fit = expected_mixed(read.X, read.kept, sizes)
        except ModelError as error:
            raise ModelError(where, error.cause, error.remedy) from error
        balanced = expected_balanced(read.X, read.kept, residual, sizes)
        return FittedStrata(**vars(read), y=y, fit=fit, balanced=balanced, method=REML, scatter=scatter)
    one_firing = len(pd.unique(groups["firing"])) == 1
    # Where each firing holds one pot, both scatters fall on the pot.
    whole = variances[residual] if one_firing else sum(variances.values())
    fit = expected_balanced(read.X, {}, residual, [whole])
    method = ONE_FIRING if one_firing else ONE_POT_EACH
    return FittedStrata(**vars(read), y=y, fit=fit, balanced=None, method=method, scatter=scatter)
