"""Influence: what becomes of each effect when one pot or one firing is left out."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg

from sagglab.errors import ModelError
from sagglab.model.contrasts import Contrast
from sagglab.model.sentences import LIMIT
from sagglab.model.strata import fit_strata

if TYPE_CHECKING:
    from sagglab.model.effects import Effects

#: Pots at most whose leaving out is tried by a refit, some 4 ms each in a study of 36: all of a usual one; of
#: more, those that move an effect most at the variances as they are.
TRIED = 60

INFLUENCE = ("left out", "kind", "term", "estimate without", "change in standard errors", "sure without")


def refit_without(effects: Effects, residuals: pd.DataFrame) -> pd.DataFrame:
    """Estimate each effect without each pot and without each firing; of very many pots, those that matter.

    Parameters
    ----------
    effects : Effects
    residuals : DataFrame
        With ``pot`` and ``firing`` of each row of the model.

    Returns
    -------
    DataFrame
        In the columns `INFLUENCE`; an estimate is NaN where what is left cannot give one, and then ``sure
        without`` is false where nothing else bears on the effect, and missing where
        too little is left to ask.
    """
    fitted, terms = effects.fitted, effects.terms
    rows = [(row, term) for term in terms for row in term.rows()]
    if not rows:
        return pd.DataFrame(columns=list(INFLUENCE)).astype({"sure without": "boolean"})
    weights = np.array([fitted.spread(term, row.weights) for row, term in rows])
    whole = [fitted.contrast(row)[0] for row in weights]
    errors = np.array([contrast.standard_error for contrast in whole])
    # Leaving out one pot moves the coefficients by ΦX'V⁻¹ times its deleted residual, the variances held.
    inverse = linalg.inv(fitted.covariance())
    through = inverse @ fitted.X
    phi = np.linalg.inv(fitted.X.T @ through)
    P = inverse - through @ phi @ through.T
    # A pot that alone carries an effect is met exactly: it comes first.
    own = np.diag(P)
    alone = own * fitted.scatter[-1][1] < 1e-9
    deleted = (P @ fitted.y) / np.where(alone, 1, own)
    moved = np.abs(weights @ phi @ through.T * deleted / errors[:, None]).max(axis=0)
    worst = np.argsort(-np.where(alone, np.inf, moved), kind="stable")[:TRIED]
    tried = [("pot", residuals["pot"][k], np.arange(len(fitted.y)) == k) for k in worst]
    if effects.firings > 2:
        firings = residuals["firing"].to_numpy()
        tried += [("firing", name, firings == name) for name in pd.unique(firings)]
    lines = []
    for kind, name, gone in tried:
        left = _without(effects, weights, ~gone)
        for (row, _), weight, contrast, now in zip(rows, weights, whole, left, strict=True):
            if now is None:
                sizes = np.linalg.norm(fitted.X, axis=0)
                sure = None if estimable(weight / sizes, fitted.X[~gone] / sizes) else False
                lines.append((name, kind, row.name, np.nan, np.nan, sure))
                continue
            change = (now.estimate - contrast.estimate) / contrast.standard_error
            lines.append((name, kind, row.name, now.estimate, change, bool(now.p < LIMIT)))
    return pd.DataFrame(lines, columns=list(INFLUENCE)).astype({"sure without": "boolean"})


def _without(
    effects: Effects, weights: NDArray[np.float64], kept: NDArray[np.bool_]
) -> list[Contrast | None]:
    fitted = effects.fitted
    blocks = {term: fitted.X[kept, span] for term, span in fitted.spans.items()}
    groups = {name: labels[kept] for name, labels in fitted.groups.items()}
    try:
        refitted = fit_strata(fitted.y[kept], blocks, groups, fitted.residual, "refit")
    except ModelError:
        return [None] * len(weights)
    return [refitted.contrast(row)[0] for row in weights]


def estimable(weights: NDArray[np.float64], rows: NDArray[np.float64]) -> bool:
    """Tell whether rows bear on a combination of the coefficients.

    Parameters
    ----------
    weights : ndarray, shape (p,)
    rows : ndarray, shape (m, p)
        On such a scale that the columns are of about unit size where there are most rows.
    """
    _, sizes, directions = np.linalg.svd(rows, full_matrices=False)
    held = directions[sizes > 1e-9]
    return bool(np.linalg.norm(weights - held.T @ (held @ weights)) < 1e-6 * np.linalg.norm(weights))


def leaning(effects: Effects, influence: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    """Say which effects that are sure would not be clear without one pot or one firing."""
    table = effects.table.set_index("term")
    whole = influence[table["p Holm"].reindex(influence["term"]).to_numpy() < LIMIT]
    lost = whole[~whole["sure without"].fillna(True)]
    for term, cases in lost.groupby("term", sort=False):
        names = [f"{kind} {name}" for name, kind in cases[["left out", "kind"]].to_numpy()]
        # To leave out a firing of six takes away power as well: what must worry is that the estimate moved.
        moved = bool((cases["change in standard errors"].abs().fillna(np.inf) > 1).any())
        told = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
        yield (
            "influence",
            moved,
            f"The effect of {term} leans on {told}: with {'that' if len(names) == 1 else 'any one of them'} "
            "left out it is no longer clear.",
        )
    if len(lost):
        return
    untold = " or a single ".join(whole.loc[whole["sure without"].isna(), "kind"].unique())
    if untold:
        yield (
            "influence",
            False,
            f"Whether an effect that is sure rests on a single {untold} cannot be told: without one, too "
            "little is left.",
        )
    else:
        yield "influence", False, "No effect that is sure rests on a single pot or a single firing."
