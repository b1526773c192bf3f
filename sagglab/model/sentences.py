"""Sentences: what a potter without statistics reads, made from the table of effects.

A sentence says size, unit, interval, whether that is sure, whether an eye would see it, and on how many pots
in how many firings it rests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from sagglab.colour import AXES
from sagglab.model.dependence import Piece
from sagglab.model.eye import JUST_SEEN, by_eye, one_coordinate
from sagglab.model.scale import Scale
from sagglab.model.terms import Factor, Term
from sagglab.model.wording import (
    Words,
    amount_in_words,
    count,
    label,
    said_p,
    step,
    tried_in_words,
    words_for,
)
from sagglab.pages.numbers import digits_for
from sagglab.units import parse_heading

#: Above this probability, with all effects asked at once allowed for, nothing is called sure.
LIMIT = 0.05


@dataclass(frozen=True)
class About:
    """What all sentences of one model share.

    Attributes
    ----------
    outcome : str
    pots, firings : int
        Counts that the effects are judged on.
    colour : tuple of float, optional
        Mean L*, a*, b* of the pots.
    scale : Scale
    outer : dict of str to int
        How many there are of what holds several firings.
    """

    outcome: str
    pots: int
    firings: int
    colour: tuple[float, float, float] | None = None
    scale: Scale = Scale()
    outer: Mapping[str, int] = field(default_factory=dict)

    def judged(self, stratum: str) -> str:
        """Say on what an effect of a stratum rests."""
        if self.firings == 1:
            return f"judged on {self.pots} pots of one firing"
        if stratum == "firing":
            return f"judged on {self.firings} firings"
        if stratum in ("pot", "view"):
            return f"judged on {self.pots} pots in {self.firings} firings"
        return f"judged on {count(self.outer[stratum], stratum)}"

    def row(self, line: pd.Series, step: float = 1.0) -> Said:
        """Make one row of the table ready to be said, for so many units."""
        ends = tuple(line[["from", "to", "to low", "to high"]].to_numpy(dtype=float))
        numbers = (step * line["estimate"], step * line["low"], step * line["high"])
        clear = not line["low"] <= 0 <= line["high"]
        return Said(*numbers, line["p"], line["p Holm"], ends, words_for(self.outcome), self.eye(ends, clear))

    def eye(self, ends: tuple[float, ...], clear: bool) -> str:
        """Say whether an eye would see a change of the outcome; empty when that cannot be said.

        Parameters
        ----------
        ends : tuple of float
            The outcome at both ends of the effect, and where the interval puts the second.
        clear : bool
            Whether the interval keeps away from no change.
        """
        name, _, kind = parse_heading(self.outcome).name.partition(" ")
        if self.colour is None or name not in AXES or kind not in ("", "mean", "median"):
            return ""
        if not all(math.isfinite(end) for end in ends):
            return ""
        middle, *outer = one_coordinate(self.colour, AXES.index(name), ends[0], ends[1:])
        least, most = min(outer), max(outer)
        if clear:
            # Words of two sizes stand beside both of them.
            reach = "" if by_eye(least, least) == by_eye(most, most) else f", {least:.1f} to {most:.1f}"
            return f"{by_eye(least, most)} (ΔE00 {middle:.1f}{reach})"
        return f"whatever it is, {by_eye(0, most)}" if most < JUST_SEEN else ""


@dataclass(frozen=True)
class Said:
    """One row of the table, ready to be said.

    Attributes
    ----------
    estimate, low, high : float
        For the step that is spoken of.
    p, p_holm : float
        By itself, and allowing for all effects asked at once.
    ends : tuple of float
        The outcome at both ends of the effect, and where the interval puts the second.
    words : Words
    eye : str
        Whether an eye would see it; empty when that cannot be said.
    """

    estimate: float
    low: float
    high: float
    p: float
    p_holm: float
    ends: tuple[float, ...]
    words: Words
    eye: str = ""

    @property
    def clear(self) -> bool:
        """True when the interval keeps away from zero."""
        return not self.low <= 0 <= self.high

    @property
    def sure(self) -> bool:
        """True when that holds, too, with all effects asked at once allowed for."""
        return self.clear and not self.p_holm > LIMIT

    @property
    def _decimals(self) -> int:
        return digits_for((self.high - self.low) / 2 * self.words.scale)

    def reach(self) -> str:
        """Write the interval's ends, the smaller first."""
        first, last = sorted((self.low, self.high), key=abs)
        return f"{self.words.size(first, self._decimals)} to {self.words.size(last, self._decimals)}"

    def full(self) -> str:
        """Write size, unit and direction."""
        return self.words.said(self.estimate, self._decimals)

    def interval(self) -> str:
        """Write the interval with its direction, in brackets."""
        word = self.words.less if self.estimate < 0 else self.words.more
        return f"(95 % interval {self.reach()} {word})"

    def anywhere(self) -> str:
        """Write an interval that holds zero."""
        less, more = (
            " ".join(part for part in (self.words.size(end, self._decimals), self.words.unit, word) if part)
            for end, word in ((self.low, self.words.less), (self.high, self.words.more))
        )
        return f"anywhere from {less} to {more}{self.words.tail} fits"

    def aside(self, over: str = "") -> str:
        """Say what an eye would see, and the doubt that remains when the question alone looks clear."""
        return (f"; {over}{self.eye}" if self.eye else "") + self.doubt()

    def doubt(self) -> str:
        """Say what doubt remains when the question alone looks clear."""
        if not self.clear or self.sure:
            return ""
        return (
            "; not sure: of so many effects asked at once, chance may give one like it "
            f"(p {said_p(self.p)}; allowing for all, {said_p(self.p_holm)})"
        )


def factor_sentence(factor: Factor, table: pd.DataFrame, about: About) -> str:
    """Say what one factor did.

    Parameters
    ----------
    factor : Factor
    table : DataFrame
        The table of effects.
    about : About
    """
    if factor.constant:
        return f"One firing cannot tell about {label(factor)}: all {about.pots} pots shared it."
    names = [row.name for row in factor.rows()]
    rows = table.set_index("term")
    presence = factor.presence().term_name
    asked = factor.form == "amount" and presence in rows.index and not math.isnan(rows.loc[presence, "low"])
    between = about.row(rows.loc[presence]) if asked else None
    said = [about.row(rows.loc[name]) for name in names]
    if about.scale.is_share:
        told = _shares(factor, said, between, about)
    elif not factor.is_amount:
        told = _category(factor, said)
    elif factor.form != "amount":
        told = _formed(factor, said[0])
    else:
        told = _amount(factor, about.row(rows.loc[names[0]], step(factor)[2]), between)
    return f"{told}, {about.judged(rows.loc[names[0], 'stratum'])}."


def term_sentence(term: Term, table: pd.DataFrame, found: Sequence[Piece], about: About) -> str:
    """Say what a square or a pair of factors did.

    Parameters
    ----------
    term : Term
    table : DataFrame
        The table of effects.
    found : sequence of Piece
        The term taken apart.
    about : About
    """
    rows = table.set_index("term").loc[[row.name for row in term.rows()]]
    said = [about.row(line) for _, line in rows.iterrows()]
    clear = any(row.sure for row in said)
    one, other = (label(factor) for factor in term.factors)
    if term.is_square:
        told = f"What {one} does bends" if clear else f"Whether what {one} does bends, the data cannot tell"
    elif clear:
        told = f"What {one} does depends on {other}"
    else:
        told = f"Whether what {one} does depends on {other}, the data cannot tell"
    # A share's pieces are differences of logits, which mean nothing to a potter.
    parts = "" if about.scale.is_share else "; ".join(_piece(piece, about) for piece in found)
    doubt = "" if clear else next((row.doubt() for row in said if row.clear), "")
    return f"{told}{f': {parts}' if parts else ''}{doubt}, {about.judged(rows['stratum'].iloc[0])}."


def _piece(piece: Piece, about: About) -> str:
    low, high = piece.contrast.interval()
    blank = (math.nan, math.nan, math.nan, math.nan)
    said = Said(piece.contrast.estimate, low, high, piece.contrast.p, 0.0, blank, words_for(about.outcome))
    of = f" {piece.of}" if piece.of else ""
    if said.clear:
        return f"{piece.where} {said.full()}{of} ({said.reach()})"
    return f"{piece.where}{of} {said.anywhere()}"


def _amount(factor: Factor, slope: Said, between: Said | None) -> str:
    short, in_full, _ = step(factor)
    name = label(factor)
    over = f"over the {tried_in_words(factor)} tried, "
    if between is None:
        if slope.clear:
            return f"For {in_full}, pots came out {slope.full()} {slope.interval()}{slope.aside(over)}"
        return f"For {in_full}, the data cannot tell: {slope.anywhere()}{slope.aside(over)}"
    if between.clear and slope.clear:
        return (
            f"Pots with {name} came out {between.full()} than pots without {between.interval()}"
            f"{between.aside()}; reckoned by the amount, {slope.full()} for {short} ({slope.reach()})"
        )
    if between.clear:
        return (
            f"Pots with {name} came out {between.full()} than pots without {between.interval()}"
            f"{between.aside()}; for {short} the data cannot tell: {slope.anywhere()}"
        )
    unclear = f"Between pots with {name} and pots without, the data cannot tell: {between.anywhere()}"
    if slope.clear:
        told = f"{slope.full()} for {short} {slope.interval()}{slope.aside(over)}"
        return f"{unclear}; reckoned by the amount they can: {told}"
    return f"{unclear}, and for {short} {slope.anywhere()}{between.aside()}"


def _formed(factor: Factor, said: Said) -> str:
    start, end, low, high = said.ends
    whole = Said(end - start, low - start, high - start, said.p, said.p_holm, said.ends, said.words, said.eye)
    if factor.form == "with or without":
        name = label(factor)
        if whole.clear:
            told = f"Pots with {name} came out {whole.full()} than pots without {whole.interval()}"
        else:
            told = f"Between pots with {name} and pots without, the data cannot tell: {whole.anywhere()}"
        return told + whole.aside()
    span = f"{tried_in_words(factor)} of {label(factor)}"
    form = f"reckoned by its {factor.form}" if factor.form == "square root" else "reckoned by its logarithm"
    if whole.clear:
        return f"From {span}, {form}, pots came out {whole.full()} {whole.interval()}{whole.aside()}"
    return f"From {span}, {form}, the data cannot tell: {whole.anywhere()}{whole.aside()}"


def _category(factor: Factor, said: Sequence[Said]) -> str:
    name = label(factor)
    if len(factor.levels) == 2:
        first, second = factor.levels
        if said[0].clear:
            return (
                f"Pots with {name} {second} came out {said[0].full()} than pots with {name} {first} "
                f"{said[0].interval()}{said[0].aside()}"
            )
        return (
            f"Between pots with {name} {second} and pots with {name} {first}, "
            f"the data cannot tell: {said[0].anywhere()} for {second}{said[0].aside()}"
        )
    parts = [
        f"{level} came out {row.full()} {row.interval()}{row.aside()}"
        if row.clear
        else f"for {level} the data cannot tell: {row.anywhere()}"
        for level, row in zip(factor.levels, said, strict=True)
    ]
    return f"Against the mean of the {len(said)} kinds of {name}, " + "; ".join(parts)


def _shares(factor: Factor, said: Sequence[Said], presence: Said | None, about: About) -> str:
    """Say a share as what it was at both ends: a difference of logits means nothing to a potter."""
    name, whole = parse_heading(about.outcome).name, about.scale.whole
    # With against without is what is spoken of, unless reckoning by the amount alone shows anything.
    if presence is not None and said[0].clear and not presence.clear:
        presence = None
    row = said[0] if presence is None else presence
    if presence is not None or factor.form == "with or without":
        first, second = f"without {label(factor)}", f"with {label(factor)}"
    elif factor.is_amount:
        first, second = (
            f"at {amount_in_words(factor, end)} of {label(factor)}" for end in (factor.low, factor.high)
        )
    elif len(factor.levels) == 2:
        first, second = (f"with {label(factor)} {level}" for level in factor.levels)
    else:
        mean = f"{100 * said[0].ends[0] / whole:.0f} %"
        kinds = (
            f"{level} {100 * row.ends[1] / whole:.0f} % ({_percents(row, whole)})"
            for level, row in zip(factor.levels, said, strict=True)
        )
        return f"By {label(factor)} the {name} was {', '.join(kinds)}, where the mean of all is {mean}"
    start, end = (f"{100 * share / whole:.0f} %" for share in row.ends[:2])
    if row.clear:
        return (
            f"The {name} was {end} {second} (95 % interval {_percents(row, whole)}), where it was {start} "
            f"{first}{row.aside()}"
        )
    return (
        f"In the {name} the data cannot tell: where it was {start} {first}, anywhere from "
        f"{_percents(row, whole)} fits {second}"
    )


def _percents(row: Said, whole: float) -> str:
    low, high = (100 * end / whole for end in sorted(row.ends[2:]))
    return f"{low:.0f} to {high:.0f} %"
