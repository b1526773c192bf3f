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

#: Pots whose leaving out is tried by a refit: those that move an effect most at the variances as they are.
TRIED = 5

INFLUENCE = ("left out", "kind", "term", "estimate without", "change in standard errors", "sure without")


def refit_without(effects: Effects, residuals: pd.DataFrame) -> pd.DataFrame:
    """Estimate each effect without each firing, and without the pots that move one most.

    Parameters
    ----------
    effects : Effects
    residuals : DataFrame
        With ``pot`` and ``firing`` of each row of the model.

    Returns
    -------
    DataFrame
        In the columns `INFLUENCE`; an estimate is NaN where what is left cannot give one.
    """
    fitted, terms = effects.fitted, effects.terms
    rows = [(row, term) for term in terms for row in term.rows()]
    if not rows:
        return pd.DataFrame(columns=list(INFLUENCE))
    weights = np.array([fitted.spread(term, row.weights) for row, term in rows])
    whole = [fitted.contrast(row)[0] for row in weights]
    errors = np.array([contrast.standard_error for contrast in whole])
    # Leaving out one pot moves the coefficients by ΦX'V⁻¹ times its deleted residual, the variances held.
    inverse = linalg.inv(fitted.covariance())
    through = inverse @ fitted.X
    phi = np.linalg.inv(fitted.X.T @ through)
    P = inverse - through @ phi @ through.T
    moved = weights @ phi @ through.T * (P @ fitted.y / np.diag(P)) / errors[:, None]
    worst = np.argsort(-np.abs(moved).max(axis=0))[:TRIED]
    tried = [("pot", residuals["pot"][k], np.arange(len(fitted.y)) == k) for k in worst]
    if effects.firings > 2:
        firings = residuals["firing"].to_numpy()
        tried += [("firing", name, firings == name) for name in pd.unique(firings)]
    lines = []
    for kind, name, gone in tried:
        for (row, _), contrast, now in zip(rows, whole, _without(effects, weights, ~gone), strict=True):
            change = np.nan if now is None else (now.estimate - contrast.estimate) / contrast.standard_error
            sure = None if now is None else bool(now.p < LIMIT)
            estimate = np.nan if now is None else now.estimate
            lines.append((name, kind, row.name, estimate, change, sure))
    return pd.DataFrame(lines, columns=list(INFLUENCE))


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


def leaning(effects: Effects, influence: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    """Say which effects that are sure would not be clear without one pot or one firing."""
    table = effects.table.set_index("term")
    whole = table["p Holm"].reindex(influence["term"]).to_numpy() < LIMIT
    lost = influence[whole & (influence["sure without"] == False)]  # noqa: E712 - it may be None
    if lost.empty:
        yield "influence", False, "No effect that is sure rests on a single pot or a single firing."
        return
    for term, cases in lost.groupby("term", sort=False):
        names = ", ".join(f"{kind} {name}" for name, kind in cases[["left out", "kind"]].to_numpy()[:4])
        yield (
            "influence",
            True,
            f"The effect of {term} leans on {names}: without {'it' if len(cases) == 1 else 'any of them'} it "
            "is no longer clear.",
        )
