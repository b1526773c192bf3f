"""The plan of the next batch: which recipe on which pot, in which firing, and what it will tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.materials import TAKE_CARE
from sagglab.model.effects import Effects, fit_effects
from sagglab.model.wording import count
from sagglab.pages.layout import report
from sagglab.plan.aliases import alias_table
from sagglab.plan.asked import check_day, read_same, read_seed, read_sizes
from sagglab.plan.factors import Factor
from sagglab.plan.fired import values_of
from sagglab.plan.kinds import MIDDLES, Best, name_of, read_kind
from sagglab.plan.limits import Limits
from sagglab.plan.lots import draw_order, draw_places, tags
from sagglab.plan.noted import notes_on
from sagglab.plan.precision import Precision, precision
from sagglab.plan.room import check_allowed, check_room, keep_to_room
from sagglab.plan.sheet import BenchSheet, bench_sheet
from sagglab.plan.terms import Terms, read_model
from sagglab.plan.wanted import Dealt, Wanted
from sagglab.plan.words import resolution, word_lengths

#: Terms asked for are named up to so many.
_ASKED = 12


@dataclass(frozen=True, repr=False)
class Plan:
    """A batch to be fired.

    Attributes
    ----------
    factors : tuple of Factor
    terms : Terms
        What the pots shall be able to tell.
    runs : DataFrame
        One row for each pot in the order of work: ``pot``, ``firing``, ``day`` where there are several
        firings in a day, ``place``, each factor under its heading, and what is the same on every pot.
    coded : DataFrame
        The same rows: ``firing``, and each factor by its bare name on −1 to 1 (the least to the greatest of
        its levels; the kinds of a category evenly apart). Axial points may lie beyond.
    kind : str
    seed : int
        With which all was drawn by lot.
    notes : tuple of str
        What must be known before it is fired.
    same : dict of str to object
        What is the same on every pot, by heading.
    limits : Limits
    fired : DataFrame or None
        The pots that the plan adds to, where it adds to some: ``firing`` and each factor under its heading.

    Examples
    --------
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=2, pots_per_firing=4, model="main", seed=1)
    >>> plan.firings, plan.kind, sorted(plan.runs["sugar [g]"])
    (2, 'best', [0.0, 0.0, 0.0, 0.0, 4.0, 4.0, 4.0, 4.0])
    """

    factors: tuple[Factor, ...]
    terms: Terms
    runs: pd.DataFrame
    coded: pd.DataFrame
    kind: str
    seed: int
    notes: tuple[str, ...]
    same: dict[str, object] = field(default_factory=dict)
    limits: Limits = Limits()
    fired: pd.DataFrame | None = None

    @property
    def firings(self) -> int:
        """How many firings there are."""
        return self.coded["firing"].nunique()

    @property
    def word_lengths(self) -> tuple[float, ...]:
        """Word-length pattern, from words of one factor on, recomputed from the pots by brute force.

        Raises
        ------
        PlanError
            A factor is not at two levels.
        """
        return tuple(float(number) for number in word_lengths(self._signs("word lengths"))[1:])

    @property
    def resolution(self) -> int:
        """How many factors the shortest word has, recomputed from the pots by brute force.

        Raises
        ------
        PlanError
            A factor is not at two levels.
        """
        return int(resolution(self._signs("resolution")))

    def _signs(self, asked: str) -> NDArray[np.float64]:
        signs = self.coded.drop(columns="firing").to_numpy(dtype=float)
        if not (np.abs(np.abs(signs) - 1) < 1e-9).all():
            raise PlanError(asked, "a factor is not at its two ends alone", "ask for aliases() instead")
        return np.sign(signs)

    def aliases(self) -> pd.DataFrame:
        """Say for each term what it cannot be told from; see `aliases.alias_table`."""
        return alias_table(self.judged_codes, self.judged["firing"].to_numpy(dtype=object), self.terms)

    @property
    def judged_codes(self) -> NDArray[np.float64]:
        """The factors of `judged`, coded, shape (pots, factors)."""
        judged = self.judged
        return np.column_stack([factor.code(judged[factor.heading]) for factor in self.factors])

    @property
    def judged(self) -> pd.DataFrame:
        """All pots that the analysis will have: ``firing`` and each factor under its heading."""
        columns = ["firing", *(factor.heading for factor in self.factors)]
        runs = self.runs[columns]
        return runs if self.fired is None else pd.concat([self.fired[columns], runs], ignore_index=True)

    def precision(self, **expected: object) -> Precision:
        """Tell what the pots will be able to tell; see `precision.precision`."""
        return precision(self, **expected)

    def fit(self, results: pd.DataFrame, outcome: str = "L*") -> Effects:
        """Ask the pots, once they are fired, what they were planned to tell.

        Parameters
        ----------
        results : DataFrame
            One row for each pot, from `gather_results`; of a plan that adds to nothing, its own pots count
            alone, where they have a column ``pot``. A planned peak is taken as the record has it.
        outcome : str
            As `fit_effects` takes it.

        Raises
        ------
        PlanError, ModelError
            The results lack a factor, or cannot answer.
        """
        if self.fired is None and "pot" in results:
            own = results["pot"].isin(self.runs["pot"])
            if not own.any():
                raise PlanError(
                    "results",
                    f"none of the planned pots ({self.runs['pot'].iloc[0]} to {self.runs['pot'].iloc[-1]}) "
                    "is among them",
                    "give the results of the batch that was planned, under the tags of its bench sheet",
                )
            results = results[own]
        planned = {factor.heading: values_of(results, factor) for factor in self.factors}
        return fit_effects(results.assign(**planned), outcome, **self.terms.question)

    def bench_sheet(self, **stated: object) -> BenchSheet:
        """Lay the plan out for the bench; see `sheet.bench_sheet`."""
        return bench_sheet(self, **stated)

    def continuing(self, pots: Sequence[str], firings: Sequence[str]) -> Plan:
        """Give the same plan with tags that go on from those of a book.

        Parameters
        ----------
        pots, firings : sequence of str
            The tags that there are.
        """
        old = self.runs["firing"].drop_duplicates().tolist()
        new = dict(zip(old, tags("f", len(old), firings), strict=True))
        runs = self.runs.assign(pot=tags("p", len(self.runs), pots), firing=self.runs["firing"].map(new))
        return replace(self, runs=runs, coded=self.coded.assign(firing=self.coded["firing"].map(new)))

    @property
    def counts(self) -> str:
        """Say how many pots in how many firings, and how they were dealt."""
        sizes = self.runs.groupby("firing", sort=False).size()
        each = f" of {sizes.iloc[0]}" if sizes.min() == sizes.max() else f" of {sizes.min()} to {sizes.max()}"
        return (
            f"{count(len(self.runs), 'pot')} in {count(self.firings, 'firing')}{each}, kind '{self.kind}', "
            f"dealt by lot with seed {self.seed}"
        )

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say what is asked of the pots, and what must be known."""
        names = self.terms.names
        more = f" and {len(names) - _ASKED} more" * (len(names) > _ASKED)
        return (
            f"It asks for {', '.join(names[:_ASKED])}{more}.",
            *(f"{note[:1].upper()}{note[1:]}." for note in self.notes),
        )

    def __repr__(self) -> str:
        return "\n".join([f"{self.counts}.", *self.sentences, TAKE_CARE])

    def _repr_html_(self) -> str:
        return report(self.counts, self.sentences, self.runs, below=TAKE_CARE)


def plan_batch(
    factors: Sequence[Factor],
    firings: int | None = None,
    pots_per_firing: int | Sequence[int] = 6,
    model: str | Sequence[str | tuple[str, str]] = "main + two-way",
    kind: object = "best",
    seed: int | None = None,
    *,
    limits: Limits | None = None,
    same: Mapping[str, object] | None = None,
    firings_per_day: int | None = None,
) -> Plan:
    """Plan a batch of pots in firings.

    Parameters
    ----------
    factors : sequence of Factor
        What is varied.
    firings : int, optional
        How many firings; a standard kind takes as many as it needs where it is not given.
    pots_per_firing : int or sequence of int
        Pots in each firing; a standard kind may put fewer in some.
    model : str or sequence
        What the pots shall tell, as `terms.read_model` takes it. Standard kinds may tell only part of it.
    kind : str or kind
        ``best``, ``factorial``, ``fraction``, ``screening``, ``central composite``, ``box-behnken``; or
        `Best`, `Factorial`, `Fraction`, `Screening`, `CentralComposite`, `BoxBehnken` with what can be
        chosen about each.
    seed : int, optional
        Of all that is drawn by lot; drawn, and told, where not given. The same seed gives the same plan.
    limits : Limits, optional
    same : mapping of str to object, optional
        What every pot has, by heading: ``{"slip [coats]": 2}``.
    firings_per_day : int, optional
        Firings in a day; what is set per firing then differs within days as far as it can.

    Returns
    -------
    Plan

    Raises
    ------
    PlanError
        What is asked cannot be: names, levels, limits, more terms than pots, or a model that leaves nothing
        to judge what is set per firing by. It says what it would take.

    Examples
    --------
    >>> plan = plan_batch(
    ...     [Factor("sugar", [0, 4], "g"), Factor("peak", [700, 800], "degC", per="firing")],
    ...     firings=4, pots_per_firing=2, model="main", seed=1,
    ... )  # fmt: skip
    >>> plan.runs.groupby(["peak [degC]", "sugar [g]"]).size().tolist()
    [2, 2, 2, 2]
    """
    made = read_kind(kind)
    terms = read_model(factors, model, middles=isinstance(made, MIDDLES))
    same = read_same(terms.factors, same or {})
    limits = limits or Limits()
    sizes = read_sizes(firings, pots_per_firing)
    check_day(firings_per_day)
    if isinstance(made, Best):
        if firings is None:
            raise PlanError("firings", "their number is not stated", "say how many firings there can be")
        check_room(terms, sizes)
        limits.check(terms.factors, same, sizes)
        check_allowed(terms, limits.allowed(terms.factors, same))
    seed = read_seed(seed)
    allowed, shared = limits.allowed(terms.factors, same), limits.shared(terms.factors)
    dealt = made.make(Wanted(terms, firings, sizes, allowed, shared, seed))
    if not isinstance(made, Best):
        terms, dealt = keep_to_room(terms, dealt, limits, same)
        taken, asked = sum(len(block) for block in dealt.firings), sum(sizes)
        if firings is not None and taken < asked:
            fewer = f"this kind takes {taken} of the {asked} pots that there is room for"
            dealt = replace(dealt, notes=(*dealt.notes, fewer))
    if model == "quadratic" and not terms.question["squares"]:
        straight = "no amount has three levels, so that no bend is asked for"
        dealt = replace(dealt, notes=(*dealt.notes, straight))
    if isinstance(made, MIDDLES) and not terms.question["squares"]:
        bends = "its middle levels are there to tell bends: ask for the model 'quadratic'"
        dealt = replace(dealt, notes=(*dealt.notes, bends))
    return lay_out(terms, dealt, name_of(made), seed, limits, same, firings_per_day)


def lay_out(
    terms: Terms,
    dealt: Dealt,
    kind: str,
    seed: int,
    limits: Limits,
    same: dict[str, object],
    per_day: int | None,
    fired: pd.DataFrame | None = None,
    tagged: tuple[Sequence[str], Sequence[str]] = ((), ()),
) -> Plan:
    """Draw lots for firings, pots and places, and lay all out as a plan.

    Parameters
    ----------
    terms : Terms
    dealt : Dealt
    kind : str
    seed : int
    limits : Limits
    same : dict of str to object
    per_day : int or None
    fired : DataFrame, optional
        What the plan adds to.
    tagged : tuple of two sequences of str
        Tags of pots and of firings that there are.
    """
    rng = np.random.default_rng([seed, 2])
    order = draw_order(dealt.firings, terms, per_day, rng)
    blocks = [rng.permutation(dealt.firings[place]) for place in order]
    sizes = [len(block) for block in blocks]
    codes = np.vstack(blocks)
    index = pd.RangeIndex(1, len(codes) + 1)
    which = np.repeat(np.arange(len(sizes)), sizes)
    firing = np.array(tags("f", len(sizes), tagged[1]), dtype=object)[which]
    runs = pd.DataFrame({"pot": tags("p", len(codes), tagged[0]), "firing": firing}, index=index)
    if per_day:
        runs["day"] = which // per_day + 1
    runs["place"] = draw_places(sizes, limits.place_names, rng)
    coded = pd.DataFrame({"firing": firing}, index=index)
    for place, factor in enumerate(terms.factors):
        runs[factor.heading] = factor.decode(codes[:, place])
        coded[factor.name] = codes[:, place]
    for heading, value in same.items():
        runs[heading] = value
    plan = Plan(terms.factors, terms, runs, coded, kind, seed, dealt.notes, same, limits, fired)
    return replace(plan, notes=(*notes_on(plan), *plan.notes))
