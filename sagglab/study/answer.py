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
from sagglab.study.measured import MeasuredBook

_COLOUR = (
    "L* is lightness: 0 is black, 100 is white, and a difference of about 1 can just be seen. a* goes from "
    "green (below 0) to red (above 0), b* from blue to yellow. ΔE00 is how far two colours are apart: at 0.8 "
    "half of all people see a difference, at 1.8 it is plain. What an eye would see is said of that end of "
    "the interval which is nearer to none."
)
_DARK = "The dark share is the share of the surface with L* below 30, where 0 is black and 100 is white."
_ODDS = "Odds of 3 are three to one; twice the odds of three to one are six to one."
_INTERVAL = (
    "The 95 % interval is what the pots leave open: of twenty such intervals, nineteen hold the true "
    "difference. Where it holds {none}, the data cannot tell. An effect is called sure when it stays clear "
    "of {clear} with all the questions allowed for that were asked at once."
)


def words(effects: Effects | Odds) -> tuple[str, ...]:
    """Say what the numbers of an answer mean, for a reader who meets them first."""
    if isinstance(effects, Odds):
        return (_ODDS, _INTERVAL.format(none="1", clear="even odds"))
    name = effects.outcome.partition(" ")[0]
    first = _COLOUR if name in AXES else _DARK if effects.outcome == "dark share" else ""
    return (*filter(None, [first]), _INTERVAL.format(none="zero", clear="zero"))


def sureness(effects: Effects | Odds, factor: Factor) -> float:
    """Give the least p of a factor's effects, with all the questions allowed for; 1 where none can be had."""
    terms = {factor.presence().term_name, *(row.name for row in factor.rows())}
    p = effects.table.loc[effects.table["term"].isin(terms), "p Holm"]
    return float(p.min()) if p.notna().any() else 1.0


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
        showed, open_still = [], []
        for factor in self.effects.factors:
            (showed if sureness(self.effects, factor) <= LIMIT else open_still).append(factor)
        names = ", ".join(factor.name for factor in showed) or "none"
        did = "changed" if isinstance(self.effects, Effects) else "went with"
        first = (
            f"Of {len(self.effects.factors)} choices judged, {len(showed)} surely {did} {outcome}: {names}."
        )
        said = [self.effects.sentence(factor.heading) for factor in [*showed, *open_still]]
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
        lines = [
            f"# What changed {self.effects.outcome}",
            "",
            f"{results['L*'].notna().sum()} of {len(results)} pots measured, on "
            f"{measures['L*'].notna().sum()} photographs, fired in {len(self.measured.firings)} firings."
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
            lines += ["", "Here other choices are not taken into account; above they are."]
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
