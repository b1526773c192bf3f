"""Several outcomes at once, and what all of them together allow one to call sure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from sagglab.errors import ModelError
from sagglab.model.effect_rows import holm_of
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.pages import effects_page


@dataclass(frozen=True, repr=False)
class Outcomes:
    """What each factor did to each of several outcomes.

    Attributes
    ----------
    table : DataFrame
        The tables of effects, one below the other, with the column ``outcome`` before them; ``p Holm`` allows
        for all effects on all outcomes having been asked at once.
    effects : dict of str to Effects
        By outcome, their ``p Holm`` the same.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2, "L*": [44, 43, 40, 39, 46, 45, 41, 39],
    ...     "a*": [8, 9, 10, 11, 7, 8, 10, 9], "b*": [10, 11, 13, 12, 9, 10, 11, 12],
    ... })  # fmt: skip
    >>> outcomes = fit_outcomes(pots, ["L*", "a*"], ["sugar"])
    >>> outcomes.table["outcome"].tolist(), list(outcomes.effects)
    (['L*', 'L*', 'a*', 'a*'], ['L*', 'a*'])
    """

    table: pd.DataFrame
    effects: dict[str, Effects]

    def sentences(self) -> tuple[str, ...]:
        """Say what every factor did to every outcome."""
        return tuple(sentence for effects in self.effects.values() for sentence in effects.sentences())

    def __repr__(self) -> str:
        return "\n".join(repr(effects) for effects in self.effects.values())

    def _repr_html_(self) -> str:
        return "".join(
            effects_page(effects.table, effects.sentences(), effects.counts, effects.variances)
            for effects in self.effects.values()
        )


def fit_outcomes(
    results: pd.DataFrame, outcomes: Sequence[str], factors: Sequence[str], **options: Any
) -> Outcomes:
    """Estimate what each factor did to each of several outcomes.

    Parameters
    ----------
    results : DataFrame
    outcomes : sequence of str
        Columns, each explained by itself.
    factors : sequence of str
    **options
        As `fit_effects` takes them by name: ``firing``, ``forms``, ``squares``, ``together``, ``above``,
        ``below``.

    Returns
    -------
    Outcomes

    Raises
    ------
    UnknownNameError, ModelError
        As `fit_effects`; or an outcome is named twice.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 4 + ["f2"] * 4, "sugar [g]": [0, 1, 2, 3] * 2,
    ...     "L*": [40, 38, 37, 33, 44, 43, 39, 38], "b*": [9, 9, 7, 8, 6, 8, 5, 5],
    ... })
    >>> fit_outcomes(pots, ["L*", "b*"], ["sugar"]).table[["outcome", "term", "p", "p Holm"]].round(3).shape
    (4, 4)
    """
    if isinstance(outcomes, str) or len(outcomes) != len(set(outcomes)) or not len(outcomes):
        raise ModelError(
            "outcomes", "a list of different columns is wanted", "write outcomes=['L*', 'a*', 'b*']"
        )
    found = [fit_effects(results, outcome, factors, **options) for outcome in outcomes]
    headings = [effects.outcome for effects in found]
    twice = sorted({heading for heading in headings if headings.count(heading) > 1})
    if twice:
        raise ModelError(
            "outcomes", f"two of them mean the column '{', '.join(twice)}'", "name each column once"
        )
    adjusted = holm_of([effects.table for effects in found])
    found = [
        replace(effects, table=effects.table.assign(**{"p Holm": p}))
        for effects, p in zip(found, adjusted, strict=True)
    ]
    by_outcome = {effects.outcome: effects for effects in found}
    table = pd.concat([effects.table.assign(outcome=name) for name, effects in by_outcome.items()])
    columns = ["outcome", *(column for column in table.columns if column != "outcome")]
    return Outcomes(table[columns].reset_index(drop=True), by_outcome)
