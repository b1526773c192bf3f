"""Checks: how far a fitted model is to be trusted, in plain words.

What the model takes for granted is looked at one by one: that pots scatter alike, that no single pot or
firing carries the answer, that a recipe does the same in every firing, that the place in the kiln does not
matter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special

from sagglab.errors import ModelError
from sagglab.model.contrasts import JointTest, holm
from sagglab.model.influence import leaning, refit_without
from sagglab.model.pages import checks_page
from sagglab.model.sensitivity import firing_by_firing, varying
from sagglab.model.sentences import LIMIT
from sagglab.model.strata import fit_strata
from sagglab.model.terms import Factor, Term, read_factor
from sagglab.model.wording import effect_unit, label, said_p, words_for
from sagglab.pages.numbers import digits_for

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
        One row for each pot (for each view, where the model knows views): pot, firing, place, ``fitted`` (its
        recipe and its firing), ``residual``, and ``standardised``, how far it lies from what all others let
        expect, over the standard deviation of that (NaN for a pot that alone carries an effect); on the scale
        of the model.
    influence : DataFrame
        For each pot (of more than 60, those that matter most) and for each firing, each effect estimated
        without it.
    sensitivity : DataFrame
        Each effect that pots of one firing can show, asked firing by firing: the mean over firings, with t
        on firings − 1 degrees of freedom, which holds also where the effect varies from firing to firing;
        and the probability that chance makes it vary as it does.

    Examples
    --------
    >>> from sagglab.model.effects import fit_effects
    >>> pots = {"firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2}
    >>> pots = pd.DataFrame(pots | {"L*": [44, 43, 40, 39, 46, 45, 41, 39]})
    >>> checks = fit_effects(pots, factors=["sugar"]).checks()
    >>> checks.worries, checks.table["check"].tolist()
    ((), ['odd pots', 'scatter', 'influence', 'varying'])
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
    own_share = own * np.diag(P)
    # A pot that alone carries an effect is met exactly: nothing but rounding is left of it.
    told = own_share > 1e-9
    return pd.DataFrame(
        {
            "pot": _names(table),
            "firing": fitted.groups["firing"].astype(str),
            "place": table["place"].to_numpy() if "place" in table else None,
            "fitted": fitted.y - residual,
            "residual": residual,
            "standardised": np.where(told, pulled * np.sqrt(own / np.where(told, own_share, 1)), np.nan),
        }
    )[list(RESIDUALS)]


def _names(table: pd.DataFrame) -> NDArray[np.object_]:
    names = table["pot"] if "pot" in table else pd.Series(table.index)
    return names.astype(str).to_numpy(dtype=object)


def _odd_pots(effects: Effects, residuals: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    fitted = effects.fitted
    df = len(fitted.y) - fitted.X.shape[1]
    z = residuals["standardised"].abs()
    # The scatter was estimated with the pot in it, which t takes out. Bonferroni over the pots: the largest
    # of 36 is beyond 2 in most studies, and means nothing.
    t = z * np.sqrt((df - 1) / np.maximum(df - z**2, 1e-9))
    p = len(z) * 2 * special.stdtr(max(df - 1, 1), -t)
    odd = residuals[p < LIMIT]
    words = words_for(effects.outcome)
    decimals = digits_for(float(np.sqrt(fitted.scatter[-1][1])) * words.scale)
    if odd.empty:
        yield "odd pots", False, "No pot stands out from what its recipe and its firing let expect."
    for _, pot in odd.iterrows():
        off = f"{words.said(pot['residual'], decimals)} than"
        off = "far from what" if effects.scale.is_share else off
        view = "A view of pot" if fitted.residual == "view" else "Pot"
        yield (
            "odd pots",
            True,
            f"{view} {pot['pot']} of firing {pot['firing']} came out {off} its recipe "
            "and its firing let expect: look at its photographs and its notes.",
        )


def _scatter(effects: Effects, residuals: pd.DataFrame) -> Iterator[tuple[str, bool, str]]:
    found = []
    for name, split in _splits(effects, residuals):
        kinds = {kind: part for kind, part in residuals["residual"].groupby(split) if len(part) > 2}
        test = brown_forsythe([part.to_numpy() for part in kinds.values()])
        if test is not None:
            found.append((name, test.p, kinds))
    if not found:
        return
    adjusted = holm([p for _, p, _ in found])
    worst = int(np.argmin(adjusted))
    name, _, kinds = found[worst]
    if not adjusted[worst] < LIMIT:
        yield "scatter", False, "Pots scatter about alike, in every firing and whatever they got."
        return
    spreads = {kind: part.std() for kind, part in kinds.items()}
    widest, narrowest = max(spreads, key=spreads.get), min(spreads, key=spreads.get)
    many, few = len(kinds[widest]), len(kinds[narrowest])
    harm = "the intervals reckon with one scatter for all"
    if few > 1.5 * many:
        # The wild kind borrows the calm of the common one: 13 of 100 false alarms were seen, with 5 meant.
        harm = (
            "since those that scatter more are fewer, a difference between them is more easily taken for "
            "real than the intervals say"
        )
    elif many > 1.5 * few:
        harm = "since those that scatter less are fewer, the intervals between them are wider than need be"
    unit = effect_unit(effects.outcome, "", effects.scale)
    yield (
        "scatter",
        True,
        f"Pots do not scatter alike by {name}: by {spreads[widest]:.2g} {unit} {widest}, by "
        f"{spreads[narrowest]:.2g} {narrowest} (p {said_p(adjusted[worst])}); {harm}.",
    )


def _splits(effects: Effects, residuals: pd.DataFrame) -> Iterator[tuple[str, pd.Series]]:
    """Part the pots by firing and by each factor, each part named as it follows a number."""
    if effects.firings > 1:
        yield "firing", "in firing " + residuals["firing"]
    for factor in effects.factors:
        if not factor.constant:
            yield label(factor), _parted(factor, effects.rows.table[factor.heading].reset_index(drop=True))


def _parted(factor: Factor, values: pd.Series) -> pd.Series:
    name = label(factor)
    if not factor.is_amount:
        return f"with {name} " + values.astype(str)
    if factor.lacking:
        return (values > 0).map({True: f"with {name}", False: f"without {name}"})
    middle = (factor.low + factor.high) / 2 if len(factor.tried) == 2 else values.median()
    return (values > middle).map({True: f"with more {name}", False: f"with less {name}"})


def brown_forsythe(kinds: Sequence[NDArray[np.float64]]) -> JointTest | None:
    """Test whether several kinds scatter alike, by how far each value lies from the median of its kind.

    Parameters
    ----------
    kinds : sequence of ndarray

    Returns
    -------
    JointTest or None
        None where fewer than two kinds, or no scatter, are left to compare.
    """
    if len(kinds) < 2 or not any(np.ptp(np.abs(kind - np.median(kind))) for kind in kinds):
        return None
    # Loaded here: nothing else of a study needs it.
    from scipy.stats import levene

    test = levene(*kinds, center="median")
    return JointTest(float(test.statistic), len(kinds) - 1, sum(map(len, kinds)) - len(kinds))


def _place(effects: Effects) -> Iterator[tuple[str, bool, str]]:
    table, fitted = effects.rows.table, effects.fitted
    if "place" not in table or "place" in [*effects.rows.groups, *(one.heading for one in effects.factors)]:
        return
    place = table["place"]
    lacking = int(place.isna().sum())
    if place.nunique() < 2:
        return
    if lacking:
        have = "1 pot has" if lacking == 1 else f"{lacking} pots have"
        yield "place", False, f"Whether the place in the kiln matters was not asked: {have} no place."
        return
    # Places that go by numbers are names all the same.
    named = place.map(lambda name: f"{name:g}" if isinstance(name, float) else str(name)).astype(object)
    term = Term((read_factor("place", named),))
    blocks = {other: other.code(table) for other in effects.terms}
    blocks[term] = term.code(named.to_frame("place"))
    try:
        refitted = fit_strata(fitted.y, blocks, fitted.groups, fitted.residual, "place")
    except ModelError as error:
        yield "place", False, f"Whether the place in the kiln matters, these pots cannot tell: {error.cause}."
        return
    test, _ = refitted.joint(refitted.spread(term, np.eye(len(term.columns))))
    if not test.p < LIMIT:
        yield (
            "place",
            False,
            f"The place in the kiln shows no effect of its own (chance alone may show as much: "
            f"p {said_p(test.p)}).",
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
