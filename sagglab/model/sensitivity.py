"""Sensitivity: each effect asked firing by firing, in case a recipe does not do the same in every firing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import special

from sagglab.model.contrasts import Contrast, holm
from sagglab.model.influence import estimable
from sagglab.model.mixed import indicators
from sagglab.model.sentences import LIMIT
from sagglab.model.wording import said_p
from sagglab.pages.numbers import digits_for

if TYPE_CHECKING:
    from sagglab.model.effects import Effects

#: Share of the mean firing's information on an effect below which a firing is not asked about it.
LITTLE = 0.1

SENSITIVITY = ("term", "estimate", "standard error", "low", "high", "df", "p", "firings", "p of varying")


def firing_by_firing(effects: Effects) -> pd.DataFrame:
    """Ask each effect firing by firing.

    Returns
    -------
    DataFrame
        In the columns `SENSITIVITY`: the mean of the firings' own estimates, each firing counted once, with t
        on one degree of freedom fewer than firings, and the probability that chance alone makes them vary so
        (NaN for views of pots, whose scatter is not that of pots). A firing whose pots hardly differ in a
        factor, or lack a level of a category, has no say on it.
    """
    fitted = effects.fitted
    firings = indicators(fitted.groups["firing"])
    # Columns of unit size make what counts as nothing the same in every unit.
    sizes_of = np.linalg.norm(fitted.X, axis=0)
    within = np.column_stack([fitted.X / sizes_of, fitted.y])
    within = within - firings @ ((firings.T @ within) / firings.sum(axis=0)[:, None])
    X, y = within[:, :-1], within[:, -1]
    inverse = np.linalg.pinv(X, rcond=1e-9)
    left = y - X @ (inverse @ y)
    spare = len(left) - firings.shape[1] - np.linalg.matrix_rank(X, tol=1e-9)
    lines = []
    for term in effects.terms:
        if fitted.varies[term] == "between firings" or effects.firings < 2:
            continue
        for row in term.rows():
            wanted = fitted.spread(term, row.weights) / sizes_of
            spread = wanted @ inverse
            if np.abs(spread @ X - wanted).max() > 1e-6 * np.abs(wanted).max():
                continue  # within firings it cannot be told from other terms
            own = wanted[fitted.spans[term]]
            bears = [estimable(own, X[held > 0, fitted.spans[term]]) for held in firings.T]
            sizes = firings.T @ spread**2
            # Allowing for the other factors gives every firing a little of each: from that alone its own
            # estimate would be noise, a hundred times the others'.
            shown = np.array(bears) & (sizes > LITTLE * sizes.mean())
            count = int(shown.sum())
            if count < 2:
                continue
            # A firing's own estimate is that of all, moved by what its residuals add along the contrast.
            moves = (firings.T @ (spread * left))[shown] * sizes.sum() / sizes[shown]
            each = spread @ y + moves
            if not np.ptp(each) > 1e-9 * np.abs(each).max():
                continue  # too few pots for the firings to differ
            contrast = Contrast(float(each.mean()), float(each.std(ddof=1) / np.sqrt(count)), count - 1.0)
            squares = np.sum(moves**2 * sizes[shown]) / sizes.sum() ** 2
            rest = spare - (count - 1)
            p = np.nan
            if rest > 0 and fitted.residual != "view":
                f = squares / (count - 1) / ((left @ left - squares) / rest)
                p = float(special.fdtrc(count - 1, rest, max(f, 0)))
            low, high = contrast.interval()
            about = (contrast.estimate, contrast.standard_error, low, high, contrast.df, contrast.p)
            lines.append((row.name, *about, count, p))
    return pd.DataFrame(lines, columns=list(SENSITIVITY))


def varying(effects: Effects, sensitivity: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    """Say which effects that are sure vary from firing to firing, or are not clear asked firing by firing."""
    if sensitivity.empty:
        return
    table = effects.table.set_index("term")
    clear = table["p Holm"].reindex(sensitivity["term"]).to_numpy() < LIMIT
    varying = sensitivity[clear & (holm(sensitivity["p of varying"]) < LIMIT)]
    lost = sensitivity[clear & (sensitivity["p"] >= LIMIT)]
    for _, line in varying.iterrows():
        yield (
            "varying",
            True,
            f"What {line['term']} does varies from firing to firing more than the pots' scatter explains "
            f"(p {said_p(line['p of varying'])}): trust the interval asked firing by firing, {_reach(line)} "
            f"{table.loc[line['term'], 'unit']}.",
        )
    unsure = lost[~lost["term"].isin(varying["term"])]
    if len(unsure):
        # Firing by firing there are few degrees of freedom: what is barely sure is seldom clear.
        doubtful = bool((unsure["p"] > 2 * LIMIT).any())
        names, reaches = ", ".join(unsure["term"]), "; ".join(_reach(line) for _, line in unsure.iterrows())
        yield (
            "varying",
            doubtful,
            "Asked firing by firing, which holds also if an effect varies between firings, "
            f"{names} {'is' if len(unsure) == 1 else 'are'} no longer clear ({reaches}).",
        )
    elif varying.empty and clear.any():
        yield "varying", False, "Asked firing by firing, the effects that are sure stay clear."


def _reach(line: pd.Series) -> str:
    places = max(digits_for((line["high"] - line["low"]) / 2), 0)
    return f"{line['low']:.{places}f} to {line['high']:.{places}f}".replace("-", "−")
