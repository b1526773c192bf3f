"""Checks: how far a fitted model is to be trusted, in plain words.

What the model takes for granted is looked at one by one: that pots scatter alike, that no single pot or
firing carries the answer, that a recipe does the same in every firing, that the place in the kiln does not
matter.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special, stats

from sagglab.errors import ModelError
from sagglab.model.contrasts import holm
from sagglab.model.influence import leaning, refit_without
from sagglab.model.pages import checks_page
from sagglab.model.sensitivity import firing_by_firing, varying
from sagglab.model.sentences import LIMIT
from sagglab.model.strata import fit_strata
from sagglab.model.terms import Term, read_factor
from sagglab.model.wording import said_p, words_for

if TYPE_CHECKING:
    from sagglab.model.effects import Effects

RESIDUALS = ("pot", "firing", "place", "fitted", "residual", "standardised")


@dataclass(frozen=True, repr=False)
class ModelChecks:
    """What was looked at, and what was found.

    Attributes
    ----------
    table : DataFrame
        ``check``, ``worry`` (true where the answer may be wrong because of it) and ``said``, a sentence.
    residuals : DataFrame
        One row for each pot: pot, firing, place, ``fitted`` (its recipe and its firing), ``residual``, and
        ``standardised``, what is left when the pot itself is kept out of the fit, over its standard
        deviation; on the scale of the model.
    influence : DataFrame
        For each firing, and for the pots that matter most, each effect estimated without it.
    sensitivity : DataFrame
        Each effect that pots of one firing can show, asked firing by firing: the mean over firings, with t
        on firings − 1 degrees of freedom, which holds also where the effect varies from firing to firing;
        and the probability that chance makes it vary as it does.
    """

    table: pd.DataFrame
    residuals: pd.DataFrame
    influence: pd.DataFrame
    sensitivity: pd.DataFrame

    @property
    def worries(self) -> tuple[str, ...]:
        """The sentences on what may make the answer wrong."""
        return tuple(self.table.loc[self.table["worry"], "said"])

    def sentences(self) -> tuple[str, ...]:
        """One sentence for each check, what is to worry about first."""
        return tuple(self.table.sort_values("worry", ascending=False, kind="stable")["said"])

    def __repr__(self) -> str:
        return "\n".join(self.sentences())

    def _repr_html_(self) -> str:
        return checks_page(self.table, self.sensitivity)


def check_model(effects: Effects) -> ModelChecks:
    """Look at how far a model is to be trusted.

    Parameters
    ----------
    effects : Effects

    Returns
    -------
    ModelChecks

    References
    ----------
    Brown and Forsythe, J. Am. Stat. Assoc. 69 (1974), for unequal scatter.
    """
    residuals = _residuals(effects)
    sensitivity = firing_by_firing(effects)
    influence = refit_without(effects, residuals)
    found = [
        *_odd_pots(effects, residuals),
        *_scatter(effects, residuals),
        *_place(effects),
        *leaning(effects, influence),
        *varying(effects, sensitivity),
        *_range(effects, residuals),
    ]
    table = pd.DataFrame(found, columns=["check", "worry", "said"])
    return ModelChecks(table, residuals, influence, sensitivity)


def _residuals(effects: Effects) -> pd.DataFrame:
    fitted, table = effects.fitted, effects.rows.table
    V = fitted.covariance()
    inverse = linalg.inv(V)
    through = inverse @ fitted.X
    P = inverse - through @ np.linalg.solve(fitted.X.T @ through, through.T)
    pulled = P @ fitted.y
    own = fitted.scatter[-1][1]
    residual = own * pulled
    firing = effects.rows.groups[list(fitted.groups).index("firing")]
    return pd.DataFrame(
        {
            "pot": _names(table),
            "firing": table[firing].astype(str).to_numpy(),
            "place": table["place"].to_numpy() if "place" in table else None,
            "fitted": fitted.y - residual,
            "residual": residual,
            "standardised": pulled / np.sqrt(np.maximum(np.diag(P), 1e-300)),
        }
    )[list(RESIDUALS)]


def _names(table: pd.DataFrame) -> NDArray[np.object_]:
    names = table["pot"] if "pot" in table else pd.Series(table.index)
    return names.astype(str).to_numpy(dtype=object)


def _odd_pots(effects: Effects, residuals: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    # Bonferroni over the pots: the largest of 36 is beyond 2 in most studies, and means nothing.
    df = max(effects.fitted.spare[effects.fitted.residual] - 1, 1)
    z = residuals["standardised"].abs()
    p = len(z) * 2 * special.stdtr(df, -z)
    odd = residuals[p < LIMIT]
    words = words_for(effects.outcome)
    if odd.empty:
        yield "odd pots", False, "No pot stands out from what its recipe and its firing let expect."
    for _, pot in odd.iterrows():
        size = "far off" if effects.scale.is_share else words.said(pot["residual"], 1)
        yield (
            "odd pots",
            True,
            f"Pot {pot['pot']} of firing {pot['firing']} came out {size} from what its recipe and its "
            "firing let expect: look at its photographs and its notes.",
        )


def _scatter(effects: Effects, residuals: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    firing = residuals["firing"].rename("firing")
    splits = [("firing", firing)] if effects.firings > 1 else []
    for factor in effects.factors:
        if not factor.constant:
            values = effects.rows.table[factor.heading].reset_index(drop=True)
            if factor.is_amount:
                values = values > values.median() if values.min() > 0 else values > 0
                values = values.map({True: f"more {factor.name}", False: f"less or no {factor.name}"})
            splits.append((factor.name, values))
    rows = []
    for name, split in splits:
        kinds = [part["residual"].to_numpy() for _, part in residuals.groupby(split) if len(part) > 2]
        if len(kinds) > 1:
            spreads = residuals.groupby(split)["residual"].std()
            rows.append((name, stats.levene(*kinds, center="median").pvalue, spreads, split.value_counts()))
    if not rows:
        return
    adjusted = holm([row[1] for row in rows])
    worst = int(np.nanargmin(adjusted))
    name, p, spreads, counts = rows[worst]
    if not adjusted[worst] < LIMIT:
        yield "scatter", False, "Pots scatter about alike, in every firing and whatever they got."
        return
    widest, narrowest = spreads.idxmax(), spreads.idxmin()
    uneven = counts.max() > 1.5 * counts.min()
    harm = "the intervals are an average over both"
    if uneven:
        harm = (
            "since these are not equally many, differences between them are more easily taken for real than "
            "the intervals say"
        )
    yield (
        "scatter",
        True,
        f"Pots do not scatter alike by {name}: by {spreads[widest]:.2g} {effects.outcome} with {widest}, by "
        f"{spreads[narrowest]:.2g} with {narrowest} (p {said_p(p)}); {harm}.",
    )


def _place(effects: Effects) -> Iterator[tuple[str, bool, str]]:
    table, fitted = effects.rows.table, effects.fitted
    if "place" not in table or any(factor.heading == "place" for factor in effects.factors):
        return
    place = table["place"]
    if place.isna().any() or place.nunique() < 2:
        return
    term = Term((read_factor("place", place),))
    blocks = {other: other.code(table) for other in effects.terms} | {term: term.code(table)}
    try:
        refitted = fit_strata(fitted.y, blocks, fitted.groups, fitted.residual, "place")
        test, _ = refitted.joint(refitted.spread(term, np.eye(len(term.columns))))
    except ModelError:
        yield "place", False, "Whether the place in the kiln matters, so few pots cannot tell."
        return
    if test.p >= LIMIT:
        said = "The place in the kiln shows no effect of its own"
        yield (
            "place",
            False,
            f"{said} (F {test.f:.2g} on {test.numerator_df} and {test.denominator_df:.0f} df).",
        )
        return
    yield (
        "place",
        True,
        f"The place in the kiln seems to matter (p {said_p(test.p)}): add place to the factors, and shuffle "
        "recipes over the places.",
    )


def _range(effects: Effects, residuals: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    if not effects.outcome.startswith("L*") or " " in effects.outcome.removesuffix(" median"):
        return
    spread = 2 * np.sqrt(sum(variance for _, variance, _ in effects.fitted.scatter if variance == variance))
    beyond = residuals[(residuals["fitted"] - spread < 0) | (residuals["fitted"] + spread > 100)]
    if len(beyond):
        yield (
            "range",
            True,
            f"For {len(beyond)} of {len(residuals)} pots (first {beyond['pot'].iloc[0]}) the model's reach "
            "runs past what L* can be, 0 to 100: there a straight effect cannot go on.",
        )
