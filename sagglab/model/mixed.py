"""Mixed linear model: scatter between groups and within them, by residual maximum likelihood (REML).

The covariance of the observations is V = σe² I + Σ σk² Zk Zk', where Zk says which group each observation
belongs to, or by how much a slope of its group moves it. Variances are kept at zero or above. Tests and
intervals take the covariance and the degrees of freedom of Kenward and Roger, never z, which at four firings
rejects at 18 % where 5 % is meant.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from sagglab.errors import ModelError
from sagglab.model.aliases import independent_basis
from sagglab.model.contrasts import Contrast, JointTest
from sagglab.model.reml import evaluate, inverse_of, maximise, part

#: Name of the scatter that is left between observations of one group.
RESIDUAL = "residual"


@dataclass(frozen=True)
class MixedFit:
    """A fitted mixed model.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Generalised least-squares estimates at the REML variances.
    model_covariance : ndarray, shape (p, p)
        (X'V⁻¹X)⁻¹, as if the variances were known.
    covariance : ndarray, shape (p, p)
        The same adjusted for the variances having been estimated.
    components : tuple of str
        Names of the variances: the groupings in the order given, then `RESIDUAL`.
    variances : ndarray, shape (k,)
        One for each component.
    variance_covariance : ndarray, shape (k, k)
        Inverse of the expected information on the variances.
    at_boundary : tuple of str
        Components whose variance is zero because it may not be negative.
    minus_two_reml : float
        −2 × the restricted log likelihood, with its constant; it depends on how X is coded.
    steps : int
        Scoring steps taken.
    slopes : ndarray, shape (k, p, p)
        X'V⁻¹GkV⁻¹X, minus the derivative of X'V⁻¹X in each variance.
    """

    coefficients: NDArray[np.float64]
    model_covariance: NDArray[np.float64]
    covariance: NDArray[np.float64]
    components: tuple[str, ...]
    variances: NDArray[np.float64]
    variance_covariance: NDArray[np.float64]
    at_boundary: tuple[str, ...]
    minus_two_reml: float
    steps: int
    slopes: NDArray[np.float64]

    def contrast(self, weights: ArrayLike) -> Contrast:
        """Estimate one linear combination of the coefficients.

        Parameters
        ----------
        weights : array_like, shape (p,)

        Returns
        -------
        Contrast
            Standard error from the adjusted covariance; Kenward–Roger degrees of freedom, 2 / A2.
        """
        weights = np.asarray(weights, dtype=float)
        through = self.model_covariance @ weights
        # For one combination A1 = A2, the scale factor is 1, and A2 is the relative variance of l'Φl / 2.
        relative = self.slopes @ through @ through / (weights @ through)
        a2 = relative @ self.variance_covariance @ relative
        return Contrast(
            float(weights @ self.coefficients),
            float(np.sqrt(weights @ self.covariance @ weights)),
            float(2 / a2),
        )

    def joint(self, weights: ArrayLike) -> JointTest:
        """Test several linear combinations of the coefficients together.

        Parameters
        ----------
        weights : array_like, shape (q, p)
            Linearly independent rows.

        Returns
        -------
        JointTest
            The scaled F statistic with Kenward–Roger degrees of freedom.

        References
        ----------
        Kenward and Roger, Biometrics 53 (1997); Halekoh and Højsgaard, J. Stat. Softw. 59 (2014).
        """
        rows = np.atleast_2d(np.asarray(weights, dtype=float))
        q = len(rows)
        # L Φ Pi Φ L' (L Φ L')⁻¹ for each variance: its trace and the traces of its products give A1 and A2.
        through = self.model_covariance @ rows.T
        inner = np.linalg.inv(rows @ through)
        turned = np.einsum("ab,kbc->kac", inner, through.T @ self.slopes @ through)
        traces = np.einsum("kaa->k", turned)
        a1 = traces @ self.variance_covariance @ traces
        a2 = np.sum(self.variance_covariance * np.einsum("iab,jba->ij", turned, turned))
        b = (a1 + 6 * a2) / (2 * q)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        c = np.array([g, q - g, q + 2 - g]) / (3 * q + 2 * (1 - g))
        expected = 1 / (1 - a2 / q)
        below = (1 - c[1] * b) ** 2 * (1 - c[2] * b)
        # With very few observations the matched variance can run to infinity, which leaves four degrees.
        ratio = (1 + c[0] * b) / (q * below * expected**2) if abs(below) > 1e-12 else np.inf
        df = 4 + (q + 2) / (q * ratio - 1)
        estimates = rows @ self.coefficients
        wald = estimates @ np.linalg.solve(rows @ self.covariance @ rows.T, estimates) / q
        return JointTest(float(wald * df / (expected * (df - 2))), q, float(df))


def indicators(labels: ArrayLike) -> NDArray[np.float64]:
    """One column of zeros and ones for each different label, shape (n, groups).

    Examples
    --------
    >>> indicators(["f1", "f2", "f1"])
    array([[1., 0.],
           [0., 1.],
           [1., 0.]])
    """
    codes, names = pd.factorize(np.asarray(labels))
    return np.eye(len(names))[codes]


def _block(labels: ArrayLike) -> NDArray[np.float64]:
    labels = np.asarray(labels)
    return labels.astype(float) if labels.ndim == 2 else indicators(labels)


def fit_mixed(y: ArrayLike, X: ArrayLike, groups: Mapping[str, ArrayLike]) -> MixedFit:
    """Fit a mixed model by REML.

    Parameters
    ----------
    y : array_like, shape (n,)
        The observations.
    X : array_like, shape (n, p)
        Columns of the fixed part, the constant among them; linearly independent.
    groups : mapping of str to array_like, shape (n,) or (n, groups)
        For each source of scatter, the label of the group that every observation belongs to; or, where the
        groups scatter in a slope, their indicators times what the slope is on.

    Returns
    -------
    MixedFit

    Raises
    ------
    ModelError
        A value is missing, the columns are linearly dependent, too few observations are left, two scatters
        cannot be told apart, or the observations show no scatter at all.

    References
    ----------
    Patterson and Thompson, Biometrika 58 (1971), for REML; Kenward and Roger, Biometrics 53 (1997).

    Examples
    --------
    >>> fit = fit_mixed([1, 3, 2, 6, 8, 7], np.ones((6, 1)), {"firing": [1, 1, 1, 2, 2, 2]})
    >>> fit.variances.round(3), round(fit.contrast([1]).df, 3)
    (array([12.167,  1.   ]), 1.0)
    """
    y = np.asarray(y, dtype=float)
    X = np.asarray(X, dtype=float)
    n, p = X.shape
    lengths = {len(y), n, *(len(labels) for labels in groups.values())}
    if len(lengths) > 1:
        raise ModelError(
            "mixed model", f"lengths differ: {sorted(lengths)}", "give one row to each observation"
        )
    gaps = not (np.isfinite(y).all() and np.isfinite(X).all())
    if gaps or any(pd.isna(np.asarray(labels)).any() for labels in groups.values()):
        raise ModelError("mixed model", "a value is missing or not finite", "leave its row out")
    if n <= p:
        raise ModelError(
            "mixed model",
            f"{n} observations leave nothing to judge {p} columns by",
            "drop columns or add rows",
        )
    # An orthonormal basis in place of X and residuals of unit size make the search the same in every unit.
    basis = independent_basis(X, [f"column {i + 1}" for i in range(p)], "mixed model")
    turn = basis.T @ X
    flat = y - basis @ (basis.T @ y)
    size = np.sqrt(flat @ flat / (n - p))
    if not size > 1e-10 * np.abs(y).max():
        raise ModelError(
            "mixed model", "the terms reproduce every observation exactly", "drop terms or add observations"
        )
    blocks = [_block(labels) for labels in groups.values()]
    components = (*groups, RESIDUAL)
    _check_separable(basis, blocks, components)
    parts = part(flat / size, basis, blocks)
    # Without scatter inside the groups the likelihood rises for ever as the residual variance goes to zero.
    if not parts.within_df or not parts.within_squares > 1e-18 * (n - p):
        raise ModelError(
            "mixed model",
            "the terms leave no scatter within a group, so nothing can be judged by it",
            "drop terms or add observations",
        )
    spread, state, steps = maximise(parts)
    judged, through = _judged(basis, turn, blocks, components, spread, state.information)
    back = np.linalg.inv(turn)
    return replace(
        judged,
        coefficients=back @ (basis.T @ y + through @ flat),
        model_covariance=size**2 * judged.model_covariance,
        covariance=size**2 * judged.covariance,
        variances=size**2 * spread,
        variance_covariance=size**4 * judged.variance_covariance,
        at_boundary=tuple(name for name, value in zip(components, spread, strict=True) if value == 0),
        minus_two_reml=float(
            state.criterion
            + (n - p) * (np.log(2 * np.pi) + 2 * np.log(size))
            + 2 * np.linalg.slogdet(turn)[1]
        ),
        steps=steps,
        slopes=judged.slopes / size**4,
    )


def expected_mixed(X: ArrayLike, groups: Mapping[str, ArrayLike], variances: ArrayLike) -> MixedFit:
    """Give the fit that observations would lead to, were their variances to come out as given.

    Parameters
    ----------
    X : array_like, shape (n, p)
    groups : mapping of str to array_like, shape (n,)
        As for `fit_mixed`.
    variances : array_like, shape (k,)
        One for each grouping, then the residual's, which must be above zero.

    Returns
    -------
    MixedFit
        Its coefficients are zero, there being no observations yet; covariance and degrees of freedom are
        those of `fit_mixed`, from the expected information.

    Raises
    ------
    ModelError
        The columns are linearly dependent, or two scatters cannot be told apart.

    Examples
    --------
    >>> fit = expected_mixed(np.ones((6, 1)), {"firing": [1, 1, 1, 2, 2, 2]}, [12.167, 1])
    >>> round(fit.contrast([1]).df, 3), round(fit.contrast([1]).standard_error, 3)
    (1.0, 2.5)
    """
    X = np.asarray(X, dtype=float)
    basis = independent_basis(X, [f"column {i + 1}" for i in range(X.shape[1])], "mixed model")
    blocks = [_block(labels) for labels in groups.values()]
    components = (*groups, RESIDUAL)
    _check_separable(basis, blocks, components)
    spread = np.asarray(variances, dtype=float)
    information = evaluate(part(np.zeros(len(X)), basis, blocks), spread).information
    return _judged(basis, basis.T @ X, blocks, components, spread, information)[0]


def _judged(
    basis: NDArray,
    turn: NDArray,
    blocks: list[NDArray],
    components: tuple[str, ...],
    spread: NDArray,
    information: NDArray,
) -> tuple[MixedFit, NDArray]:
    """Give all that follows from the variances alone, coefficients at zero; and X'V⁻¹ times their covariance.

    The second is that of the orthonormal basis, shape (p, n): it makes coefficients of residuals.
    """
    n, p = basis.shape
    covariance = sum(variance * block @ block.T for variance, block in zip(spread[:-1], blocks, strict=True))
    factor = linalg.cho_factor(covariance + spread[-1] * np.eye(n), lower=True)
    solved = linalg.cho_solve(factor, basis)
    phi = np.linalg.inv(basis.T @ solved)
    inverse_information = inverse_of(information)
    middle, slopes = _adjustment(factor, solved, phi, blocks, inverse_information)
    adjusted = phi + 2 * phi @ middle @ phi
    back = np.linalg.inv(turn)
    fit = MixedFit(
        coefficients=np.zeros(p),
        model_covariance=back @ phi @ back.T,
        covariance=back @ adjusted @ back.T,
        components=components,
        variances=spread,
        variance_covariance=inverse_information,
        at_boundary=(),
        minus_two_reml=np.nan,
        steps=0,
        slopes=turn.T @ slopes @ turn,
    )
    return fit, phi @ solved.T


def _adjustment(
    factor: tuple[NDArray, bool], solved: NDArray, phi: NDArray, blocks: list[NDArray], weights: NDArray
) -> tuple[NDArray, NDArray]:
    """Kenward and Roger's Σ Wij (Qij − Pi Φ Pj), and the matrices X'V⁻¹GiV⁻¹X."""
    reached = [block @ (block.T @ solved) for block in blocks] + [solved]
    slopes = np.array([solved.T @ a for a in reached])
    # Qij − Pi Φ Pj = B'Gi P Gj B with B = V⁻¹X: in this form the sum cannot come out negative.
    passed = [linalg.cho_solve(factor, a) - solved @ (phi @ (solved.T @ a)) for a in reached]
    pairs = [(i, j) for i in range(len(reached)) for j in range(len(reached))]
    return sum(weights[i, j] * (reached[i].T @ passed[j]) for i, j in pairs), slopes


def _check_separable(basis: NDArray, blocks: list[NDArray], components: tuple[str, ...]) -> None:
    """Refuse sources of scatter whose matrices, with the fixed part taken out, are linearly dependent."""
    cleared = [block - basis @ (basis.T @ block) for block in blocks]
    # Inner products tr(P0 Gi P0 Gj), P0 the projection on residuals; that of the residual's I is n − p.
    k = len(cleared)
    inner = np.full((k + 1, k + 1), float(basis.shape[0] - basis.shape[1]))
    for i, a in enumerate(cleared):
        inner[i, k] = inner[k, i] = np.sum(a**2)
        for j, b in enumerate(cleared):
            inner[i, j] = np.sum((a.T @ b) ** 2)
    sizes = np.sqrt(np.diag(inner))
    for name, size, block in zip(components[:-1], sizes[:-1], blocks, strict=True):
        if size <= 1e-9 * np.sum(block**2):
            raise ModelError(
                "mixed model",
                f"the terms use up every difference between {name}s",
                f"add {name}s or drop terms",
            )
    values, vectors = np.linalg.eigh(inner / np.outer(sizes, sizes))
    if values[0] <= 1e-10:
        mixed = [name for name, weight in zip(components, vectors[:, 0], strict=True) if abs(weight) > 1e-4]
        raise ModelError(
            "mixed model",
            f"the scatter of {' and '.join(mixed)} cannot be told apart",
            "observe more than once in each group",
        )
