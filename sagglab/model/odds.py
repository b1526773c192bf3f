"""Odds: which choices go with pots that were lost, or rated higher, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from sagglab.errors import UnknownNameError
from sagglab.model.contrasts import holm
from sagglab.model.terms import Factor, find_factor
from sagglab.model.wording import count, counted, label, step
from sagglab.pages.layout import report

#: Columns of the table of odds.
COLUMNS = (
    *("term", "estimate", "low", "high", "odds ratio", "odds low", "odds high", "unit"),
    *("p", "p Holm", "stratum", "method", "note"),
)
#: How a note about an end that cannot be had begins; the sentence repeats it.
NO_END = ("no upper end", "no lower end", "no end")
#: How a note begins that names what a row was judged without; the sentence repeats it.
WITHOUT = "judged without "
#: Log odds past which no digits are written.
_LEAST, _MOST = math.log(1e-3), math.log(1e4)


class Line(NamedTuple):
    """One row of the table before the questions are counted; NaN where nothing is known."""

    term: str
    estimate: float
    low: float
    high: float
    p: float
    per: str
    stratum: str
    method: str
    note: str
    pots: int
    firings: int


@dataclass(frozen=True)
class OddsWords:
    """How odds of one outcome are said.

    Attributes
    ----------
    more, less : str
        What pots with higher and with lower odds did: ``were rated higher``.
    odds : str
        What the odds are of: ``the odds of a higher rating``.
    against : str
        What a level of three or more is held against; ``{levels}`` and ``{name}`` are filled in.
    """

    more: str
    less: str
    odds: str
    against: str


@dataclass(frozen=True, repr=False)
class Odds:
    """What each factor goes with, as odds.

    Attributes
    ----------
    table : DataFrame
        One row for each effect: term, estimate (log odds ratio), low, high (95 % interval, ends may be
        infinite), odds ratio, odds low, odds high, unit, p, p Holm, stratum, method, note. Unrounded; NaN
        where the data cannot say.
    outcome : str
        The column explained.
    pots, firings : int
        How many were used.
    left_out : DataFrame
        row, pot, reason of each row that could not be used.
    warnings : tuple of str
        Sentences on what the whole table rests on.
    factors : tuple of Factor
        As coded; the rows of the table are theirs, in order.
    words : OddsWords
    judged : DataFrame
        pots, firings that carry information on each row of the table.

    Examples
    --------
    >>> from sagglab.model.ratings import fit_ratings
    >>> pots = {"firing": ["f1"] * 8 + ["f2"] * 8, "sugar [g]": [0, 1, 2, 3] * 4}
    >>> pots = pd.DataFrame(pots | {"rating": [1, 2, 2, 4, 4, 3, 1, 3, 2, 5, 4, 5, 3, 4, 3, 5]})
    >>> table = fit_ratings(pots, ["sugar"]).table
    >>> table[["odds ratio", "odds low", "odds high"]].round(1).to_numpy().tolist()
    [[2.6, 0.9, 8.7]]
    """

    table: pd.DataFrame
    outcome: str
    pots: int
    firings: int
    left_out: pd.DataFrame
    warnings: tuple[str, ...]
    factors: tuple[Factor, ...]
    words: OddsWords
    judged: pd.DataFrame

    @classmethod
    def from_lines(
        cls,
        lines: Sequence[Line],
        outcome: str,
        counts: tuple[int, int],
        left_out: pd.DataFrame,
        warnings: Sequence[str],
        factors: tuple[Factor, ...],
        words: OddsWords,
    ) -> Odds:
        """Make the result from the lines of all factors, in their order."""
        table = pd.DataFrame(lines, columns=list(Line._fields))
        judged = table[["pots", "firings"]]
        per = table.pop("per")
        table["unit"] = [f"log odds per {unit}" if unit else "log odds" for unit in per]
        with np.errstate(over="ignore"):
            for column, of in (("odds ratio", "estimate"), ("odds low", "low"), ("odds high", "high")):
                table[column] = np.exp(table[of].astype(float))
        table["p Holm"] = holm(table["p"])
        return cls(table[list(COLUMNS)], outcome, *counts, left_out, tuple(warnings), factors, words, judged)

    def sentence(self, name: str) -> str:
        """Say what one factor goes with, in words.

        Parameters
        ----------
        name : str
            The factor's bare name, its heading, or its name in its form.

        Raises
        ------
        UnknownNameError
            The model has no such factor.
        """
        try:
            wanted = find_factor(self.factors, name)
        except UnknownNameError as error:
            raise UnknownNameError(f"odds of '{name}'", error.cause, error.remedy) from None
        return next(said for factor, said in self._said() if factor == wanted)

    def sentences(self) -> tuple[str, ...]:
        """Say what every factor goes with, in the order asked."""
        return tuple(said for _, said in self._said())

    def __repr__(self) -> str:
        return "\n".join([self._counts, *self.sentences(), *self.warnings])

    def _repr_html_(self) -> str:
        return report(self._counts, self.sentences(), self.table, warned=self.warnings)

    @property
    def _counts(self) -> str:
        return counted(self.outcome, self.pots, self.firings, self.left_out)

    def _said(self) -> Iterator[tuple[Factor, str]]:
        joined = self.table.join(self.judged)
        asked = int(self.table["p"].notna().sum())
        start = 0
        for factor in self.factors:
            stop = start + len(factor.rows())
            rows = [_Said(line, self.words, factor) for _, line in joined.iloc[start:stop].iterrows()]
            yield factor, _sentence(factor, rows, self.words, asked)
            start = stop


class _Said:
    """One row of the table, in words."""

    def __init__(self, line: pd.Series, words: OddsWords, factor: Factor) -> None:
        size = step(factor)[2] if factor.is_amount and factor.form == "amount" else 1.0
        self.estimate, self.low, self.high = (
            size * float(line[column]) for column in ("estimate", "low", "high")
        )
        self.line, self.words = line, words

    @property
    def known(self) -> bool:
        return not math.isnan(self.line["p"])

    @property
    def beyond_zero(self) -> bool:
        return not self.low <= 0 <= self.high

    @property
    def clear(self) -> bool:
        # Test and interval are reckoned in two ways and can part near the limit: clear is what both say.
        return self.beyond_zero and self.line["p"] <= 0.05

    @property
    def unsure(self) -> bool:
        return self.clear and self.line["p Holm"] > 0.05

    @property
    def did(self) -> str:
        return self.words.more if self.estimate > 0 else self.words.less

    def found(self) -> str:
        odds = self.words.odds
        if self.estimate == math.inf:
            # Past the digits that are written, the number says itself that it is a bound.
            least = f"{'at least ' if self.low < _MOST else ''}{self._times(self.low)}"
            said = f"{odds} were {least} times as large (lower end of the 95 % interval)"
        elif self.estimate == -math.inf:
            most = f"{'at most ' if self.high > _LEAST else ''}{self._times(self.high)}"
            said = f"{odds} were {most} times as large (upper end of the 95 % interval)"
        else:
            said = f"{odds} were {self._times(self.estimate)} times as large (95 % interval {self._ends()})"
        return said + self._endless()

    def open(self, of: str = "") -> str:
        low, high, odds = self._times(self.low), self._times(self.high), self.words.odds
        if np.isinf([self.low, self.high]).all():
            fits = "anything fits"
        elif self.high == math.inf:
            fits = f"anything from {low} times {odds} upwards fits"
        elif self.low == -math.inf:
            fits = f"anything up to {high} times {odds} fits"
        else:
            fits = f"anywhere from {low} to {high} times {odds} fits"
        return f"the data cannot tell: {fits}{f' for {of}' if of else ''}{self._endless()}"

    def judged(self) -> str:
        pots, firings = int(self.line["pots"]), int(self.line["firings"])
        on = f"judged on {count(pots, 'pot')} {'of one firing' if firings == 1 else f'in {firings} firings'}"
        without = [part for part in self.line["note"].split("; ") if part.startswith(WITHOUT)]
        return " ".join([on, *(part.removeprefix("judged ") for part in without)])

    def _ends(self) -> str:
        if self.high == math.inf:
            return f"{self._times(self.low)} and upwards"
        return f"{'0' if self.low == -math.inf else self._times(self.low)} to {self._times(self.high)}"

    def _times(self, log_odds: float) -> str:
        return times(log_odds, self.high - self.low)

    def _endless(self) -> str:
        parts = [part for part in self.line["note"].split("; ") if part.startswith(NO_END)]
        return f"; {'; '.join(parts)}" if parts else ""


def _sentence(factor: Factor, rows: list[_Said], words: OddsWords, asked: int) -> str:
    name = label(factor)
    known = [row for row in rows if row.known]
    if not known:
        return f"About {name} nothing can be said: {rows[0].line['note']}."
    if factor.is_amount or len(factor.levels) == 2:
        said = _one(factor, rows[0])
    else:
        against = words.against.format(levels=len(factor.levels), name=name)
        said = f"Against {against}: " + "; ".join(
            _level(name, level, row) for level, row in zip(factor.levels, rows, strict=True)
        )
    most = max(known, key=lambda row: row.line["pots"])
    said = f"{said}, {most.judged()}."
    if any(row.unsure for row in known):
        levels = [level for level, row in zip(factor.levels, rows, strict=False) if row.unsure]
        what = f"What is said of {' and '.join(levels)}" if len(factor.levels) > 2 else "That"
        said += f" {what} is not sure, since {asked} questions were asked at once."
    return said


def _one(factor: Factor, row: _Said) -> str:
    name = label(factor)
    if factor.levels:
        first, second = (f"pots with {name} {level}" for level in factor.levels)
        if row.clear:
            return f"P{second[1:]} {row.did} than {first}: {row.found()}"
        return f"Between {second} and {first}, {row.open(factor.levels[1])}"
    if factor.form == "with or without":
        if row.clear:
            return f"Pots with {name} {row.did}: {row.found()}"
        return f"Between pots with {name} and pots without, {row.open()}"
    each = step(factor)[1] if factor.form == "amount" else f"each unit of the {factor.term_name}"
    return f"For {each}, pots {row.did}: {row.found()}" if row.clear else f"For {each}, {row.open()}"


def _level(name: str, level: str, row: _Said) -> str:
    if not row.known:
        return f"about {level} nothing can be said ({row.line['note']})"
    return f"pots with {name} {level} {row.did}: {row.found()}" if row.clear else f"for {level} {row.open()}"


def times(log_odds: float, width: float = math.inf) -> str:
    """Write an odds ratio with two significant digits, from its logarithm; more in a narrow interval.

    Parameters
    ----------
    log_odds : float
    width : float
        Of the 95 % interval, in log odds: one that is narrow lies near 1, where it is the distance from 1
        that says something.

    Examples
    --------
    >>> [times(math.log(ratio)) for ratio in (0.0312, 0.5, 1.0003, 3.14, 42.3, 1234)]
    ['0.031', '0.50', '1.0', '3.1', '42', '1200']
    >>> [times(math.log(ratio), width=0.02) for ratio in (0.99, 1.0123)]
    ['0.990', '1.012']
    """
    if log_odds > _MOST:
        return "over 10000"
    if log_odds < _LEAST:
        return "less than 0.001"
    ratio = math.exp(log_odds)
    decimals = 1 - int(f"{ratio:.1e}".partition("e")[2])
    if 0 < width < 0.25:
        # Two digits of the interval's width, as of any other.
        decimals = max(decimals, min(1 - math.floor(math.log10(width * ratio)), 4))
    return f"{round(ratio, decimals):.{max(decimals, 0)}f}"
