"""Colour as a whole: L*, a* and b* explained together, and said as a difference that an eye may see."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sagglab.colour import AXES
from sagglab.errors import UnknownNameError
from sagglab.materials import TAKE_CARE
from sagglab.model.effects import Effects
from sagglab.model.eye import by_eye, whole_change
from sagglab.model.outcomes import Outcomes, fit_outcomes
from sagglab.model.pages import colours_page, prediction_page
from sagglab.model.predict import MEAN, NEW_FIRING, Prediction
from sagglab.model.recipe import said_recipe
from sagglab.model.sentences import LIMIT
from sagglab.model.terms import Factor
from sagglab.model.wanted import Recipes, rank_recipes
from sagglab.model.wording import label, said_p, tried_in_words, words_for
from sagglab.pages.numbers import digits_for, within

#: Columns of the table of colour effects.
COLUMNS = (
    "term",
    *(f"Δ{name}{end}" for name in AXES for end in ("", " low", " high")),
    *("ΔE00", "ΔE00 low", "ΔE00 high", "p Holm", "stratum"),
)


@dataclass(frozen=True, repr=False)
class ColourPrediction:
    """What colour a recipe would come out.

    Attributes
    ----------
    table : DataFrame
        The rows of `Prediction.table` for each of L*, a*, b*, with the column ``outcome`` before them.
    recipe : dict
    notes : tuple of str
    extrapolated : bool
    colours : ndarray, shape (3, 3)
        Three colours: L* at the low end, the middle and the high end for a new pot in a new firing (for the
        mean, where there was one firing), a* and b* at their middle.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2, "L*": [44, 43, 40, 39, 46, 45, 41, 39],
    ...     "a*": [8, 9, 10, 11, 7, 8, 10, 9], "b*": [10, 11, 13, 12, 9, 10, 11, 12],
    ... })  # fmt: skip
    >>> told = fit_colour(pots, ["sugar"]).predict({"sugar": 4})
    >>> told.colours.shape, told.colours[1].round().tolist()
    ((3, 3), [40.0, 10.0, 12.0])
    """

    table: pd.DataFrame
    recipe: dict[str, object]
    notes: tuple[str, ...]
    extrapolated: bool
    colours: NDArray[np.float64]

    def __repr__(self) -> str:
        lines = [f"colour of {said_recipe(self.recipe)}"]
        for what, rows in self.table.groupby("what", sort=False):
            parts = []
            for line in rows.to_dict("records"):
                if np.isnan(line["low"]):
                    parts.append(f"{line['outcome']} cannot be had")
                    continue
                places = max(digits_for((line["high"] - line["low"]) / 2), 0)
                said = within(line["estimate"], line["low"], line["high"], places)
                parts.append(f"{line['outcome']} {said}")
            lines.append(f"  {what}: {', '.join(parts)}")
        return "\n".join([*lines, *(f"  {note}" for note in self.notes), TAKE_CARE])

    def _repr_html_(self) -> str:
        return prediction_page(f"Colour of {said_recipe(self.recipe)}", self.table, self.colours, self.notes)


@dataclass(frozen=True, repr=False)
class ColourEffects:
    """What each factor did to the colour as a whole.

    Attributes
    ----------
    table : DataFrame
        One row for each effect of a factor, from one end of what was tried to the other: ``ΔL*``,
        ``Δa*``, ``Δb*`` with ends that hold all three at once (95 %, by Bonferroni), ``ΔE00`` with the least
        and the greatest within that box, ``p Holm`` (the smallest of the three, for all terms and coordinates
        asked at once), ``stratum``.
    outcomes : Outcomes
        The three coordinates by themselves.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2, "L*": [44, 43, 40, 39, 46, 45, 41, 39],
    ...     "a*": [8, 9, 10, 11, 7, 8, 10, 9], "b*": [10, 11, 13, 12, 9, 10, 11, 12],
    ... })  # fmt: skip
    >>> fit_colour(pots, ["sugar"]).table[["term", "ΔL*", "Δa*", "Δb*"]].round(2).to_numpy().tolist()
    [['sugar', -4.75, 2.0, 2.0], ['with sugar', -4.75, 2.0, 2.0]]
    """

    table: pd.DataFrame
    outcomes: Outcomes

    @property
    def _lightness(self) -> Effects:
        return self.outcomes.effects["L*"]

    def sentence(self, name: str) -> str:
        """Say what one factor did to the colour.

        Raises
        ------
        UnknownNameError
            The model has no such factor.
        """
        first = self._lightness
        for factor in first.factors:
            if name in (factor.name, factor.heading, factor.term_name):
                names = [factor.presence().term_name] + [row.name for row in factor.rows()]
                found = self.table[self.table["term"].isin(names)]
                if found.empty:
                    return f"One firing cannot tell about {label(factor)}."
                # With against without, where there is one; all rows of a category.
                rows = found[found["term"] == names[0]] if names[0] in set(found["term"]) else found
                said = " ".join(self._said(line, factor) for _, line in rows.iterrows())
                firings = "1 firing" if first.firings == 1 else f"{first.firings} firings"
                return f"{said} On {first.pots} pots in {firings}."
        known = ", ".join(factor.name for factor in first.factors)
        raise UnknownNameError(f"effect '{name}'", "the model has no such factor", f"it has {known}")

    def sentences(self) -> tuple[str, ...]:
        """Say what every factor did to the colour, in the order asked."""
        return tuple(self.sentence(factor.heading) for factor in self._lightness.factors)

    def _said(self, line: pd.Series, factor: Factor) -> str:
        parts = []
        for name in AXES:
            low, high = line[f"Δ{name} low"], line[f"Δ{name} high"]
            if not low <= 0 <= high:
                parts.append(words_for(name).said(line[f"Δ{name}"], digits_for((high - low) / 2)))
        change = ", ".join(parts) if parts else "no coordinate is clear of zero"
        if parts and line["p Holm"] > LIMIT:
            change += (
                ", not sure with L*, a* and b* of every choice asked at once "
                f"(p {said_p(line['p Holm'])} allowing for all)"
            )
        head = line["term"]
        if factor.is_amount and not head.startswith("with "):
            head = f"{label(factor)} from {tried_in_words(factor)}"
        elif len(factor.levels) == 2:
            first, second = factor.levels
            head = f"{label(factor)} {second} against {first}"
        elif factor.levels:
            level = head.removeprefix(f"{factor.name}: ")
            head = f"{label(factor)} {level} against the mean of the {len(factor.levels)} kinds"
        return (
            f"{head[:1].upper()}{head[1:]}: a difference of ΔE00 {line['ΔE00']:.1f} "
            f"({line['ΔE00 low']:.1f} to {line['ΔE00 high']:.1f}), "
            f"{by_eye(line['ΔE00 low'], line['ΔE00 high'])}; {change}."
        )

    def predict(self, recipe: Mapping[str, object], firing: object = None) -> ColourPrediction:
        """Predict the colour of a recipe; as `predict.predict`, for L*, a* and b*."""
        each = {name: effects.predict(recipe, firing) for name, effects in self.outcomes.effects.items()}
        table = pd.concat([found.table.assign(outcome=name) for name, found in each.items()])
        columns = ["outcome", *(column for column in table.columns if column != "outcome")]
        return ColourPrediction(
            table[columns].reset_index(drop=True),
            each["L*"].recipe,
            tuple(dict.fromkeys(note for found in each.values() for note in found.notes)),
            any(found.extrapolated for found in each.values()),
            _ends(each),
        )

    def recipes_for(self, colour: ArrayLike, within: float = 3.0) -> Recipes:
        """Rank the recipes inside the tried range by how likely they come near a colour; see `wanted`."""
        return rank_recipes(self.outcomes, colour, within)

    def __repr__(self) -> str:
        return "\n".join(self.sentences())

    def _repr_html_(self) -> str:
        return colours_page(self.table, self.sentences())


def fit_colour(results: pd.DataFrame, factors: Sequence[str], **options: Any) -> ColourEffects:
    """Estimate what each factor did to the colour as a whole.

    Parameters
    ----------
    results : DataFrame
        With ``L*``, ``a*``, ``b*``.
    factors : sequence of str
    **options
        As `fit_effects` takes them by name.

    Returns
    -------
    ColourEffects

    Raises
    ------
    UnknownNameError, ModelError
        As `fit_effects`.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 4 + ["f2"] * 4 + ["f3"] * 4, "sugar [g]": [0, 1, 2, 3] * 3,
    ...     "L*": [40, 38, 37, 33, 44, 43, 39, 38, 41, 38, 36, 35],
    ...     "a*": [8, 9, 10, 10, 7, 8, 8, 9, 8, 8, 9, 10],
    ...     "b*": [10, 11, 11, 12, 9, 10, 11, 11, 10, 10, 12, 12],
    ... })  # fmt: skip
    >>> colour = fit_colour(pots, ["sugar"])
    >>> colour.table.loc[0, ["ΔE00", "ΔE00 low", "ΔE00 high"]].astype(float).round(1).tolist()
    [5.9, 4.2, 7.5]
    """
    outcomes = fit_outcomes(results, AXES, factors, **options)
    tables = [effects.table.set_index("term") for effects in outcomes.effects.values()]
    lines = []
    for term in tables[0].index:
        rows = [table.loc[term] for table in tables]
        if any(np.isnan(row["to"]) for row in rows):
            continue  # a square, a pair, or what one firing cannot tell: no two colours to compare
        start = np.array([row["from"] for row in rows])
        change, half = np.array([_change(row) for row in rows]).T
        lines.append(
            {
                "term": term,
                **{
                    f"Δ{name}{end}": value
                    for name, middle, reach in zip(AXES, change, half, strict=True)
                    for end, value in (("", middle), (" low", middle - reach), (" high", middle + reach))
                },
                **dict(
                    zip(("ΔE00", "ΔE00 low", "ΔE00 high"), whole_change(start, change, half), strict=True)
                ),
                "p Holm": min(row["p Holm"] for row in rows),
                "stratum": rows[0]["stratum"],
            }
        )
    return ColourEffects(pd.DataFrame(lines, columns=list(COLUMNS)), outcomes)


def _change(row: pd.Series) -> tuple[float, float]:
    """Give the difference from one end to the other, and the half-width that holds all three at once."""
    span = (row["to high"] - row["to low"]) / (row["high"] - row["low"])
    reach = special.stdtrit(row["df"], 1 - 0.025 / len(AXES)) * row["standard error"]
    return row["to"] - row["from"], abs(span * reach)


def _ends(each: dict[str, Prediction]) -> NDArray[np.float64]:
    colours = np.empty((3, 3))
    for place, found in enumerate(each.values()):
        rows = found.table.set_index("what")
        row = rows.loc[MEAN if np.isnan(rows.loc[NEW_FIRING, "low"]) else NEW_FIRING]
        colours[:, place] = row["estimate"]
        if place == 0:
            colours[[0, 2], 0] = row[["low", "high"]]
    colours[:, 0] = np.clip(colours[:, 0], 0, 100)
    return colours
