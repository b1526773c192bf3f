"""Screening: which of many effects stand out, where every pot is used up and no scatter is left to judge by.

Where each of several factors was tried at two levels and hardly a recipe twice, most effects are taken to be
small: their own size then tells how far chance alone carries an effect, and the few beyond that stand out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.lenth import BETWEEN, FEWEST, margins_of
from sagglab.model.mixed import indicators
from sagglab.model.rows import read_measures
from sagglab.model.terms import Term
from sagglab.model.two_levels import Chain, apart, level, read_chains, read_signs
from sagglab.model.wording import effect_unit, label, words_for
from sagglab.pages.layout import report
from sagglab.pages.numbers import digits_for

#: Columns of the table of effects.
COLUMNS = ("term", "estimate", "unit", "stratum", "ratio", "beyond", "aliases", "note")
_STRADDLES = "differs partly between firings, partly within: held against the scatter of firings"


@dataclass(frozen=True, repr=False)
class Screening:
    """Which effects of two-level factors stand out.

    Attributes
    ----------
    table : DataFrame
        One row for each effect: term, estimate (mean at the high level minus mean at the low), unit, stratum
        (``pot``, ``firing``, or ``both`` where it differs partly between firings and partly within), ratio
        (its size over the PSE), beyond (empty, ``margin for one`` or ``margin for all``; missing where not
        judged), aliases (what the pots cannot tell it from, with signs), note. Unrounded.
    margins : DataFrame
        For each stratum: effects (how many), PSE (pseudo standard error), and four margins. Where no effect
        is real, one effect is beyond the margin for one, and any of them beyond the margin for all, in 5 %
        of studies; those ``by t`` are Lenth's own, which are wider.
    outcome : str
    pots, firings : int
        How many were used.
    left_out : DataFrame
        row, pot, reason of each row that could not be used.
    terms : tuple of Term
        The factors of each row of the table.
    notes : tuple of str
        What must be said of the study as a whole.
    """

    table: pd.DataFrame
    margins: pd.DataFrame
    outcome: str
    pots: int
    firings: int
    left_out: pd.DataFrame
    terms: tuple[Term, ...]
    notes: tuple[str, ...]

    def sentence(self, term: str) -> str:
        """Say what one effect came out as, in words.

        Parameters
        ----------
        term : str
            A factor's name or heading, or several with × between them.

        Raises
        ------
        UnknownNameError
            The table has no such effect.
        """
        wanted = {part.strip() for part in term.split("×")}
        for place, known in enumerate(self.terms):
            ways = [{factor.name, factor.heading} for factor in known.factors]
            if len(wanted) == len(ways) and all(wanted & way for way in ways):
                return self._say(place)
        known = ", ".join(self.table["term"])
        raise UnknownNameError(f"effect '{term}'", "the screening has no such effect", f"it has {known}")

    def sentences(self) -> tuple[str, ...]:
        """Say what the study is, what each factor did, what else stands out, and what of the rest."""
        single = np.array([len(term.factors) == 1 for term in self.terms])
        outstanding = self.table["beyond"].fillna("").ne("").to_numpy()
        said = [self._say(place) for place in np.flatnonzero(single | outstanding)]
        rest = self.table[~single & ~outstanding]
        said += [self._say_rest(stratum, part) for stratum, part in rest.groupby("stratum", sort=False)]
        return (*self.notes, *said)

    def _say(self, place: int) -> str:
        row, factors, words = self.table.iloc[place], self.terms[place].factors, words_for(self.outcome)
        margins = self.margins.set_index("stratum").loc[row["stratum"]]
        margin, estimate = margins["margin for one"], row["estimate"]
        digits = digits_for(margin * words.scale)
        high, low = level(factors[0], True), level(factors[0], False)
        names = _listed([label(factor) for factor in factors])
        alias = f" These pots cannot tell it from {_shortened(row['aliases'])}." if row["aliases"] else ""
        if row["beyond"] == "":
            fits = "the data cannot tell: anywhere from {} to {} fits".format(
                *(words.said(end, digits) for end in (estimate - margin, estimate + margin))
            )
            if len(factors) == 1:
                return f"Between pots with {high} and pots with {low}, {fits} for {high}.{alias}"
            return f"Whether {names} depend on one another, {fits}.{alias}"
        if len(factors) == 1:
            seen = f"Pots with {high} came out {words.said(estimate, digits)} than pots with {low}"
        else:
            seen = f"{names[0].upper()}{names[1:]} depend on one another: "
        if len(factors) == 2:
            alone = self.table["estimate"][self.terms.index(Term(factors[:1]))]
            up, down = (words.said(alone + sign * estimate, digits) for sign in (1, -1))
            seen += (
                f"pots with {high} came out {up} than pots with {low} where both had "
                f"{level(factors[1], True)}, and {down} where both had {level(factors[1], False)}; "
                f"half of that gap is {words.size(estimate, digits)} {words.unit}".rstrip()
            )
        elif len(factors) > 2:
            seen += words.said(estimate, digits)
        if pd.isna(row["beyond"]):
            return f"{seen}; not judged ({row['note']}).{alias}"
        # The margin for all holds for those held against one scatter together.
        pot = row["stratum"] == "pot"
        family = int(np.sum((self.table["stratum"] == "pot") == pot))
        many = f"{family} effects {BETWEEN['pot' if pot else 'firing']}"
        far = {
            "margin for all": f"farther than chance carries even the largest of {many}",
            "margin for one": f"farther than chance carries one effect, but not the largest of {many}: "
            "try it again",
        }[row["beyond"]]
        return f"{seen} (give or take {words.size(margin, digits)}), {far}.{alias}"

    def _say_rest(self, stratum: str, rest: pd.DataFrame) -> str:
        margin = self.margins.set_index("stratum").loc[stratum, "margin for one"]
        many = f"{len(rest)} interaction{'s' * (len(rest) > 1)} {BETWEEN[stratum]}"
        if math.isnan(margin):
            return f"Not judged: {many} ({rest['note'].iloc[0]})."
        words = words_for(self.outcome)
        digits = digits_for(margin * words.scale)
        first = rest.loc[rest["estimate"].abs().idxmax()]
        name = " × ".join(label(factor) for factor in self.terms[first.name].factors)
        return (
            f"Of {many} the data cannot tell: the largest, {name}, came out "
            f"{words.said(first['estimate'], digits)}, and chance alone can carry one of them "
            f"{words.size(margin, digits)} {words.unit}".rstrip()
            + " either way."
        )

    def __repr__(self) -> str:
        return "\n".join([self._counts, *self.sentences()])

    def _repr_html_(self) -> str:
        return report(
            self._counts,
            self.sentences(),
            self.table.sort_values("ratio", ascending=False, key=abs),
            self.margins,
        )

    @property
    def _counts(self) -> str:
        counts = f"{self.outcome} of {self.pots} pots in {self.firings} firing{'s' * (self.firings > 1)}"
        return f"{counts}: {len(self.table)} effects"


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _shortened(aliases: str, most: int = 3) -> str:
    words = re.split(r" (?=[+−] )", aliases)
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more


def screen_effects(
    results: pd.DataFrame, outcome: str = "L*", factors: Sequence[str] = (), firing: str = "firing"
) -> Screening:
    """Find the effects that stand out, where no scatter is left to judge them by.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    outcome : str
        A column of numbers.
    factors : sequence of str
        Columns by heading or bare name, each with two values or two levels. All their interactions are
        looked at as well; of columns that these pots cannot tell apart, the one of fewest factors gives its
        name.
    firing : str
        The column that says which firing a pot went through. What differs between firings has a scatter of
        its own and is judged apart from what differs between pots of one firing. What differs partly so and
        partly so is held against the scatter of firings, to which it adds nothing.

    Returns
    -------
    Screening

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        A factor has not two levels, pots are missing or doubled so that the effects cannot be kept apart, or
        there are too few effects to judge any by.

    References
    ----------
    Lenth, Technometrics 31 (1989), for the pseudo standard error and the margins by t; Daniel, Technometrics
    1 (1959), for effects on half-normal quantiles.

    Examples
    --------
    >>> pots = pd.DataFrame(
    ...     [(a, b, c) for c in ("buff", "white") for b in (0, 2) for a in (0, 3)],
    ...     columns=["sugar [g]", "salt [g]", "clay"],
    ... ).assign(firing="f1", **{"L*": [60, 42, 59, 41, 62, 43, 60, 43]})
    >>> screening = screen_effects(pots, factors=["sugar", "salt", "clay"])
    >>> screening.table[["term", "estimate", "beyond"]].head(2).to_numpy().tolist()
    [['sugar', -18.0, 'margin for all'], ['salt', -1.0, '']]
    """
    rows = read_measures(results, outcome, factors, [firing])
    signs = read_signs(rows)
    chains, longest = read_chains(rows.factors, signs)
    kept, mixed = apart(chains)
    where = f"screening of {rows.outcome}"
    names = pd.Series([chain.words[0].name for chain in kept])
    if not names.is_unique:
        twice = names[names.duplicated()].iloc[0]
        raise ModelError(where, f"two effects would be called '{twice}'", "rename one of the columns")
    columns = np.column_stack([chain.column for chain in kept])
    fires = indicators(rows.labels(rows.groups[-1]))
    # A column has as many pots at + as at −: this is the mean of the ones minus the mean of the others.
    estimates = rows.y @ columns * 2 / len(rows.y)
    strata = _strata(columns, fires)
    margins, lacks = margins_of(estimates, strata, 1e-12 * np.abs(rows.y).max())
    if margins["PSE"].isna().all():
        raise _nothing_to_judge_by(where, strata, lacks)
    judged = margins.set_index("stratum").loc[strata]
    sizes = np.abs(estimates)
    beyond = np.select(
        [judged["PSE"].isna(), sizes > judged["margin for all"], sizes > judged["margin for one"]],
        [None, "margin for all", "margin for one"],
        "",
    )
    notes = [
        "; ".join(filter(None, [lacks[stratum], _STRADDLES * (stratum == "both"), part]))
        for stratum, part in zip(strata, mixed, strict=True)
    ]
    table = pd.DataFrame(
        {
            "term": names.astype("str"),
            "estimate": estimates,
            "unit": effect_unit(rows.outcome, ""),
            "stratum": strata,
            "ratio": sizes / judged["PSE"].to_numpy(),
            "beyond": pd.Series(beyond, dtype="str"),
            "aliases": pd.Series([chain.aliases for chain in kept], dtype="str"),
            "note": pd.Series(notes, dtype="str"),
        }
    )
    return Screening(
        *(table[list(COLUMNS)], margins, rows.outcome, len(rows.y), fires.shape[1], rows.left_out),
        *(tuple(chain.words[0] for chain in kept), _notes(signs, fires, chains, kept, longest, strata)),
    )


def _strata(columns: NDArray[np.float64], fires: NDArray[np.float64]) -> NDArray[np.object_]:
    """Tell for each column whether it compares pots of one firing, firings, or both at once."""
    sums = np.abs(fires.T @ columns)
    within, between = np.all(sums == 0, axis=0), np.all(sums == fires.sum(axis=0)[:, None], axis=0)
    return np.select([within, between], ["pot", "firing"], "both").astype(object)


def _nothing_to_judge_by(where: str, strata: NDArray[np.object_], lacks: dict[str, str]) -> ModelError:
    counts = [f"{np.sum(strata == stratum)} {BETWEEN[stratum]} ({lack})" for stratum, lack in lacks.items()]
    remedy = (
        f"it takes {FEWEST} effects between pots or between firings, as three factors in all 8 recipes give: "
        "try more factors, or fire more pots and use fit_effects"
    )
    if "both" in lacks:
        remedy += "; and give each firing as many pots at the high as at the low level, or one level alone"
    return ModelError(where, f"no effect can be judged: there are {', '.join(counts)}", remedy)


def _notes(
    signs: NDArray[np.float64],
    fires: NDArray[np.float64],
    chains: list[Chain],
    kept: list[Chain],
    longest: int,
    strata: NDArray[np.object_],
) -> tuple[str, ...]:
    """Say of the study as a whole what a reader of its effects must know."""
    notes = []
    recipes = len(np.unique(signs, axis=0))
    if recipes < len(signs):
        notes.append(
            f"{recipes} recipes were fired as {len(signs)} pots: where recipes were fired more than once, "
            "fit_effects can judge better than this."
        )
    if len(chains) > len(kept):
        notes.append(
            f"{len(chains) - len(kept)} interactions are mixed in part with the effects below, and cannot be "
            "told apart from them."
        )
    if longest < signs.shape[1]:
        notes.append(f"Interactions of more than {longest} factors were not looked at: there are too many.")
    if len(set(fires.sum(axis=0))) > 1 and "firing" in strata:
        notes.append(
            "The firings hold different numbers of pots: what differs between firings is judged roughly."
        )
    return tuple(notes)
