"""Pots within firings: which scatter each term is judged by, whether there is enough of it, and the fit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.aliases import independent_basis
from sagglab.model.balanced import Balanced, fit_balanced
from sagglab.model.contrasts import Contrast, JointTest
from sagglab.model.mixed import MixedFit, fit_mixed, indicators
from sagglab.model.terms import Term
from sagglab.model.wording import count

EXACT = "exact, by strata"
REML = "REML, Kenward–Roger"
ONE_FIRING = "least squares within the firing"
ONE_POT_EACH = "least squares, one pot in each firing"

AT_BOUNDARY = "0 (at its boundary)"


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
class FittedStrata:
    """A fit of pots within firings, with what judges which term.

    Attributes
    ----------
    y : ndarray, shape (n,)
        The outcome, on the scale of the model.
    X : ndarray, shape (n, p)
        The constant and then the columns of the terms, in order.
    groups : dict of str to ndarray, shape (n,)
        The groupings from the outermost.
    residual : str
        What a row is: ``pot``, or ``view`` where pots are grouped, too.
    fit : MixedFit or LeastSquares
    balanced : Balanced or None
        The exact analysis, where the study allows it.
    method : str
        Of `fit`.
    scatter : list of tuple
        Name, variance and note of each component.
    spans : dict of Term to slice
        The term's columns.
    strata : dict of Term to str
        What the term is judged against: the innermost grouping within which it varies, ``pot`` or
        ``firing`` in most studies.
    varies : dict of Term to str
        ``within firings``, ``between firings`` or ``both``.
    spare : dict of str to int
        How many of each stratum are left over to judge by.
    """

    y: NDArray[np.float64]
    X: NDArray[np.float64]
    groups: dict[str, NDArray]
    residual: str
    fit: MixedFit | LeastSquares
    balanced: Balanced | None
    method: str
    scatter: list[tuple[str, float, str]]
    spans: dict[Term, slice]
    strata: dict[Term, str]
    varies: dict[Term, str]
    spare: dict[str, int]

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
    firings = groups["firing"]
    counts = {name: len(pd.unique(labels)) for name, labels in groups.items()}
    outer = [name for name in groups if name != "firing" and counts[name] == 1]
    if outer:
        raise ModelError(
            where,
            f"there is one {outer[0]}, so the scatter of {outer[0]}s cannot be told",
            f"leave {outer[0]} out",
        )
    for outside, inside in pairwise(groups):
        if counts[outside] == counts[inside] > 1:
            raise ModelError(
                where,
                f"each {outside} holds one {inside}, so that their scatters cannot be told apart",
                f"leave {outside} out" if inside == "firing" else "gather the views of each pot into one row",
            )
    kept = {name: labels for name, labels in groups.items() if 1 < counts[name] < len(y)}
    strata = {term: _stratum(block, groups, residual) for term, block in terms.items()}
    X = np.hstack([np.ones((len(y), 1)), *terms.values()])
    spare = _spare(X, terms, strata, groups, residual, where)
    starts = np.cumsum([1, *(block.shape[1] for block in terms.values())])
    spans = {term: slice(a, b) for term, a, b in zip(terms, starts[:-1], starts[1:], strict=True)}
    varies = {term: _varies(block, firings) for term, block in terms.items()}
    about = (spans, strata, varies, spare)
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
        if counts["firing"] == 1:
            scatter.insert(0, ("firing", np.nan, "one firing cannot tell"))
        balanced = fit_balanced(y, X, kept, residual)
        return FittedStrata(y, X, dict(groups), residual, fit, balanced, REML, scatter, *about)
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
    if counts["firing"] == 1:
        scatter = [("firing", np.nan, "one firing cannot tell"), (residual, variance, "")]
        return FittedStrata(y, X, dict(groups), residual, fit, None, ONE_FIRING, scatter, *about)
    told = "one pot in each firing: the two cannot be told apart"
    scatter = [("firing and pot together", variance, told)]
    return FittedStrata(y, X, dict(groups), residual, fit, None, ONE_POT_EACH, scatter, *about)


def _stratum(block: NDArray[np.float64], groups: Mapping[str, NDArray], residual: str) -> str:
    """Name the outermost grouping within which the columns never vary."""
    held = (name for name, labels in groups.items() if not _varies_within(block, labels))
    return next(held, residual)


def _varies_within(block: NDArray[np.float64], labels: NDArray) -> bool:
    return bool(np.abs(block - _means(block, labels)).max() > 1e-9 * np.abs(block).max())


def _means(block: NDArray[np.float64], labels: NDArray) -> NDArray[np.float64]:
    held = indicators(labels)
    return held @ ((held.T @ block) / held.sum(axis=0)[:, None])


def _varies(block: NDArray[np.float64], firings: NDArray) -> str:
    if not _varies_within(block, firings):
        return "between firings"
    means = _means(block, firings)
    between = np.abs(means - means.mean(axis=0)).max() > 1e-9 * np.abs(block).max()
    return "both" if between else "within firings"


def _spare(
    X: NDArray[np.float64],
    terms: Mapping[Term, NDArray[np.float64]],
    strata: dict[Term, str],
    groups: Mapping[str, NDArray],
    residual: str,
    where: str,
) -> dict[str, int]:
    """Count what each stratum has left over to judge by, and refuse what pots and firings cannot carry."""
    rows, columns = X.shape
    held = {name: indicators(labels) for name, labels in groups.items()}
    for name, blocks in held.items():
        inside = list(held)[: list(held).index(name) + 1]
        of_it = [term for term in terms if strata[term] in inside]
        taken = 1 + sum(terms[term].shape[1] for term in of_it)
        if 1 < blocks.shape[1] <= taken and any(strata[term] == name for term in of_it):
            raise _too_few(of_it, name, blocks.shape[1], taken, where)
    if rows <= columns:
        short = columns + 1 - rows
        raise ModelError(
            where,
            f"{count(rows, residual)} cannot carry {columns - 1} effects and the mean",
            f"add at least {count(short, f'more {residual}')}, leave out factors, or use screen_effects",
        )
    names = [name for term in terms for name in term.columns]
    if names:
        independent_basis(X[:, 1:] - X[:, 1:].mean(axis=0), names, where)
    scaled = X / np.linalg.norm(X, axis=0)
    ranks = [columns]
    for blocks in held.values():
        # Columns that vary within firings may still add up to one that does not: the rank counts those too.
        ranks.append(int(np.linalg.matrix_rank(np.hstack([scaled, blocks]))))
    ranks.append(rows)
    left = dict(zip([*held, residual], np.diff(ranks).tolist(), strict=True))
    for name, blocks in held.items():
        if left[name] <= 0 and blocks.shape[1] > 1:
            of_it = [term for term in terms if strata[term] == name] or list(terms)
            raise _too_few(of_it, name, blocks.shape[1], blocks.shape[1], where)
    inner = list(held)[-1]
    if held[inner].shape[1] < rows and left[residual] <= 0:
        raise ModelError(
            where,
            f"the {columns - 1} effects asked together use up every "
            f"difference between {residual}s of one {inner}",
            f"add at least 1 more {residual} to a {inner}, leave out factors, or use screen_effects",
        )
    return left


def _too_few(terms: Iterable[Term], group: str, there: int, taken: int, where: str) -> ModelError:
    named = ", ".join(term.name for term in terms)
    return ModelError(
        where,
        f"with {there} {group}s nothing is left to judge {named} by: it needs at least "
        f"{count(taken + 1 - there, f'more {group}')}",
        f"fire more, or leave out {named}",
    )
