"""The answer in short: what came out, which way, by how much and how sure, without words of statistics."""

from __future__ import annotations

import math
import os
from typing import NamedTuple

import pandas as pd

from sagglab.model.effects import Effects
from sagglab.model.odds import Odds, times
from sagglab.model.sentences import LIMIT, Said
from sagglab.model.terms import Factor, find_factor
from sagglab.model.wording import label, step, tried_in_words, words_for

#: What a step of an outcome is, to a reader who meets its scale first.
_STEPS = {
    "L*": " of lightness (of 100)",
    "a*": " from green to red",
    "b*": " from blue to yellow",
    "C*ab": " of colourfulness",
}


class _Asked(NamedTuple):
    """One row of the table: of which pots it is, and what they are held against."""

    term: str
    who: str
    against: str


class _Verdict(NamedTuple):
    """What the model says of a row."""

    clear: bool
    sure: bool
    came_out: str
    size: str


def in_short(effects: Effects | Odds, heading: str) -> str:
    """Say in one short sentence what one factor did, with the verdict of the model's own sentence.

    Parameters
    ----------
    effects : Effects or Odds
    heading : str
        The factor's.

    Returns
    -------
    str
        Numbers of statistics are left to the model's sentence.

    Raises
    ------
    UnknownNameError
        The model has no such factor.

    Examples
    --------
    >>> from sagglab.model.effects import fit_effects
    >>> pots = {"firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2, "clay": list("xyyxyxxy")}
    >>> pots = pd.DataFrame(pots | {"L*": [44, 43, 40, 39, 46, 45, 41, 39]})
    >>> effects = fit_effects(pots, factors=["sugar", "clay"])
    >>> in_short(effects, "sugar [g]")
    'Pots with sugar came out darker, by about 5 steps of lightness (of 100); this is sure.'
    >>> in_short(effects, "clay")
    'These pots cannot tell whether pots with clay y came out darker or lighter than those with clay x.'
    """
    factor = find_factor(effects.factors, heading)
    table = effects.table.set_index("term")
    judge = _odds if isinstance(effects, Odds) else _effect
    of_share = isinstance(effects, Effects) and effects.scale.is_share
    judged = [
        (asked, judge(effects, factor, asked, table.loc[asked.term]))
        for asked in _rows(factor, of_share)
        if asked.term in table.index and not math.isnan(table.loc[asked.term, "p"])
    ]
    if not judged:
        return f"These pots cannot tell what {label(factor)} did."
    # As the model's sentence does: with against without goes first; of several kinds the surest.
    order = sorted(judged, key=lambda one: (not one[1].clear, bool(factor.levels) and not one[1].sure))
    asked, verdict = order[0]
    if not verdict.clear:
        less, more = _ways(effects)
        either = f"{less} or {more.removeprefix(os.path.commonprefix([less, more]))}"
        who, against = (asked.who, asked.against) if len(factor.levels) < 3 else _any_kind(factor)
        return f"These pots cannot tell whether {who} {either}{against}."
    doubt = "this is sure" if verdict.sure else "this is not sure"
    return f"{asked.who[:1].upper()}{asked.who[1:]} {verdict.came_out}{asked.against}{verdict.size}; {doubt}."


def _rows(factor: Factor, of_share: bool) -> list[_Asked]:
    """List the rows of a factor, each with its pots, the one that is spoken of first where both are clear."""
    name = label(factor)
    rows = [row.name for row in factor.rows()]
    if factor.is_amount:
        # A share is told over all that was tried, as its sentence does: its slope is of log odds.
        more = f"from {tried_in_words(factor)} of {name}" if of_share else f"with {step(factor)[1]}"
        presence = _Asked(factor.presence().term_name, f"pots with {name}", "")
        return [presence, _Asked(rows[0], "pots", f" {more}")]
    if len(factor.levels) == 2:
        first, second = (f"with {name} {level}" for level in factor.levels)
        return [_Asked(rows[0], f"pots {second}", f" than those {first}")]
    against = f" than the mean of the {len(rows)} kinds"
    return [
        _Asked(row, f"pots with {name} {level}", against)
        for row, level in zip(rows, factor.levels, strict=True)
    ]


def _any_kind(factor: Factor) -> tuple[str, str]:
    return f"pots with one {label(factor)}", " than those with another"


def _ways(effects: Effects | Odds) -> tuple[str, str]:
    if isinstance(effects, Odds):
        return effects.words.less, effects.words.more
    words = words_for(effects.outcome)
    return f"came out {words.less}", f"came out {words.more}{words.tail}"


def _effect(effects: Effects, factor: Factor, asked: _Asked, row: pd.Series) -> _Verdict:
    presence = asked.term == factor.presence().term_name
    size = step(factor)[2] if factor.is_amount and not presence else 1.0
    numbers = size * row[["estimate", "low", "high"]].to_numpy(dtype=float)
    words = words_for(effects.outcome)
    said = Said(*numbers, row["p"], row["p Holm"], (math.nan,) * 4, words)
    off = said.estimate
    if effects.scale.is_share:
        off = row["to"] - row["from"]
    return _Verdict(said.clear, said.sure, f"came out {words.word(off)}", f", by about {_size(effects, off)}")


def _size(effects: Effects, off: float) -> str:
    words = words_for(effects.outcome)
    size = abs(off) * words.scale
    number = f"{size:.0f}" if size >= 1 else f"{size:.1g}"
    if words.unit in _STEPS:
        return f"{number} step{'' if number == '1' else 's'}{_STEPS[words.unit]}"
    return f"{number} {words.unit}".rstrip()


def _odds(effects: Odds, factor: Factor, asked: _Asked, row: pd.Series) -> _Verdict:
    estimate = row["estimate"] * (step(factor)[2] if factor.is_amount else 1.0)
    # Test and interval are reckoned in two ways: clear is what both say.
    clear = not row["low"] <= 0 <= row["high"] and row["p"] <= LIMIT
    did = effects.words.more if estimate > 0 else effects.words.less
    # Where none of some pots was lost, the data know no size.
    size = f": {effects.words.odds} about {times(estimate)} times as large" if math.isfinite(estimate) else ""
    return _Verdict(clear, clear and not row["p Holm"] > LIMIT, did, size)
