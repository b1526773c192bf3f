"""The answer: what a batch book says, and what it cannot say, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from sagglab.cautions import cautions
from sagglab.colour import AXES
from sagglab.model.checks import ModelChecks
from sagglab.model.colours import ColourEffects
from sagglab.model.dose import Doses
from sagglab.model.effects import Effects
from sagglab.model.matched import Comparison
from sagglab.model.odds import Odds
from sagglab.model.sentences import LIMIT
from sagglab.model.terms import Factor
from sagglab.model.wording import count, label
from sagglab.study.asking import PEAK, PEAK_NAME
from sagglab.study.measured import MeasuredBook

_COLOUR = (
    "L* is lightness: 0 is black, 100 is white, and a difference of about 1 can just be seen. a* goes from "
    "green (below 0) to red (above 0), b* from blue to yellow. ΔE00 is how far two colours are apart: at 0.8 "
    "half of all people see a difference, at 1.8 it is plain. What an eye would see is said of both ends of "
    "the interval where they differ."
)
_DARK = "The dark share is the share of the surface with L* below 30, where 0 is black and 100 is white."
_ODDS = "Odds of 3 are three to one; twice the odds of three to one are six to one."
_INTERVAL = (
    "The 95 % interval is what the pots leave open: of twenty such intervals, nineteen hold the true "
    "difference. Where it holds {none}, the data cannot tell. An effect is called sure when it stays clear "
    "of {clear} with all the questions allowed for that were asked at once."
)
_SIDE_BY_SIDE = (
    "Here other choices are not taken into account, and each is judged by itself. Above they are, and it is "
    "above that a choice is called sure or not."
)
_TWO_WAYS = (
    " Of an amount, pots with it against pots without, and each unit of it, are one question asked in two "
    "ways: where one way is sure, the other need only stay clear by itself."
)


def words(effects: Effects | Odds) -> tuple[str, ...]:
    """Say what the numbers of an answer mean, for a reader who meets them first."""
    if isinstance(effects, Odds):
        return (_ODDS, _INTERVAL.format(none="1", clear="even odds"))
    name = effects.outcome.partition(" ")[0]
    first = _COLOUR if name in AXES else _DARK if effects.outcome == "dark share" else ""
    both = any(_rows(effects, factor)["term"].nunique() > len(factor.rows()) for factor in effects.factors)
    interval = _INTERVAL.format(none="zero", clear="zero") + _TWO_WAYS * both
    return (*filter(None, [first]), interval)


def sureness(effects: Effects | Odds, factor: Factor) -> float:
    """Give the least p of a factor's effects, with all the questions allowed for; 1 where none can be had."""
    p = _rows(effects, factor)["p Holm"]
    return float(p.min()) if p.notna().any() else 1.0


def showed(effects: Effects | Odds, factor: Factor) -> bool:
    """Tell whether a factor's sentence calls any of its effects sure: clear, also with all allowed for."""
    rows = _rows(effects, factor)
    # Of odds, interval and test are reckoned in two ways and can part near the limit.
    clear = (rows["low"] > 0) | (rows["high"] < 0)
    return bool((clear & (rows["p Holm"] <= LIMIT)).any())


def _rows(effects: Effects | Odds, factor: Factor) -> pd.DataFrame:
    """Give a factor's rows of the table of effects, with against without among them where there is one."""
    terms = {factor.presence().term_name} if factor.lacking else set()
    terms |= {row.name for row in factor.rows()}
    return effects.table[effects.table["term"].isin(terms)]


def _in_company(effects: Effects | Odds, factor: Factor) -> str:
    """Say in which square or pair a factor showed, where it did not by itself; empty where in none."""
    if isinstance(effects, Odds):
        return ""
    table = effects.table.set_index("term")
    for term in effects.terms:
        names = [row.name for row in term.rows()]
        if len(term.factors) == 2 and factor in term.factors and table.loc[names, "p Holm"].min() <= LIMIT:
            other = next((other for other in term.factors if other != factor), None)
            return "as it bends" if other is None else f"as it goes with {spoken_name(other)}"
    return ""


def spoken_name(factor: Factor) -> str:
    """Name a choice as its reader does.

    Examples
    --------
    >>> [spoken_name(Factor(name, name, "")) for name in ("salt_1", "peak_C")]
    ['salt_1', 'peak temperature']
    """
    return PEAK_NAME if factor.heading == PEAK else label(factor)


@dataclass(frozen=True)
class Study:
    """What a batch book says, and what it cannot say.

    Attributes
    ----------
    measured : MeasuredBook
    effects : Effects or Odds
    not_judged : tuple of str
        Each column that was not judged, with the reason.
    colour : ColourEffects or None
        For a coordinate of the colour, the colour as a whole.
    matched : tuple of Comparison
        For each choice that pots of one firing differ in, those pots side by side.
    doses : tuple of Doses
        For each amount of three steps or more, the shape that it follows.
    checks : ModelChecks or None
        How far the effects are to be trusted.
    """

    measured: MeasuredBook
    effects: Effects | Odds
    not_judged: tuple[str, ...] = ()
    colour: ColourEffects | None = None
    matched: tuple[Comparison, ...] = ()
    doses: tuple[Doses, ...] = ()
    checks: ModelChecks | None = None

    @property
    def findings(self) -> tuple[str, ...]:
        """A sentence on how many choices showed, then one for each factor, those that showed first."""
        outcome = self.effects.outcome
        names, sure, open_still = [], [], []
        for factor in self.effects.factors:
            how = "" if showed(self.effects, factor) else _in_company(self.effects, factor)
            if how or showed(self.effects, factor):
                names.append(spoken_name(factor) + (f" ({how})" if how else ""))
                sure.append(factor)
            else:
                open_still.append(factor)
        did = "changed" if isinstance(self.effects, Effects) else "went with"
        judged = count(len(self.effects.factors), "choice")
        first = f"Of {judged} judged, {len(sure)} surely {did} {outcome}: {', '.join(names) or 'none'}."
        said = [self.effects.sentence(factor.heading) for factor in [*sure, *open_still]]
        return (first, *said, *self._more())

    def _above(self) -> str:
        if isinstance(self.effects, Odds):
            return ""
        above = [name for name in self.effects.fitted.groups if name not in ("firing", "pot")]
        return "".join(f" The scatter between {name}s is counted, too." for name in above)

    def _more(self) -> tuple[str, ...]:
        if isinstance(self.effects, Odds):
            return self.effects.warnings
        return tuple(self.effects.sentence(term.name) for term in self.effects.terms if len(term.factors) > 1)

    def answer(self) -> str:
        """Write the answer down, in Markdown: what was found, what was not judged, what went wrong."""
        book, results, measures = self.measured.book, self.measured.results, self.measured.measures
        first, *sentences = self.findings
        fired = results["firing"].replace("", pd.NA).nunique()
        lines = [
            f"# What changed {self.effects.outcome}",
            "",
            f"{results['L*'].notna().sum()} of {len(results)} pots measured, on "
            f"{measures['L*'].notna().sum()} photographs, fired in {count(fired, 'firing')}."
            f"{_setups_told(results, measures)}",
            "",
            first + self._above(),
            "",
            *(f"- {sentence}" for sentence in sentences),
            "",
            *words(self.effects),
        ]
        if self.colour is not None:
            lines += _section("The colour as a whole", self.colour.sentences())
        if self.matched:
            lines += _section(
                "Pots of one firing side by side",
                [sentence for compared in self.matched for sentence in compared.sentences()[:-1]],
            )
            lines += ["", _SIDE_BY_SIDE]
        if self.doses:
            told = [f"{dose.amount.name}: {dose.sentence()}" for dose in self.doses]
            lines += _section("How much does what", told)
        if self.checks is not None:
            lines += _section("How far to trust this", self.checks.sentences())
        lines += _section("The firings", self.measured.firing_lines())
        if self.not_judged:
            lines += _section("Not judged", [f"{line}." for line in self.not_judged])
        if len(self.effects.left_out):
            gaps = self.effects.left_out[["pot", "reason"]].to_numpy()
            lines += _section("Pots left out", [f"{pot}: {reason}." for pot, reason in gaps])
        if self.measured.problems:
            lines += _section("To look at", [str(problem) for problem in self.measured.problems])
        said = cautions(book.pots, self.measured.firings["peak_C"].max(), book.photos["after"])
        lines += _section("Cautions", said)
        return "\n".join(lines) + "\n"


def _setups_told(results: pd.DataFrame, measures: pd.DataFrame) -> str:
    """Say which setups' colours were taken, where there are several."""
    shown = results[results["L*"].notna()]
    if measures.loc[measures["L*"].notna(), "setup"].nunique() < 2:
        return ""
    counts = shown.groupby(["setup", "corrected to"], sort=False).size()
    said = [
        f"{setup}{f' corrected to {to}' if to else ''} ({number} pot{'s' if number > 1 else ''})"
        for (setup, to), number in counts.items()
    ]
    return f" Colours are those of {' and '.join(said)}; each pot's are of one setup."


def _section(title: str, said: Iterable[str]) -> list[str]:
    return ["", f"## {title}", "", *(f"- {' '.join(line.split())}" for line in said)]
