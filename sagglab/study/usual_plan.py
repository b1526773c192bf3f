"""The plan that is made where nobody stated one: the question once more, and what is still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from sagglab.book import Book
from sagglab.colour import AXES
from sagglab.columns import BOOK_TABLES
from sagglab.errors import PlanError
from sagglab.firing.heat import ALUMINIUM_FREEZES_C
from sagglab.handout.recipe_cards import recipe_headings
from sagglab.materials import find_material
from sagglab.model.effects import Effects
from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.limits import Limits
from sagglab.study.answer import showed
from sagglab.study.asking import PEAK
from sagglab.study.one_question import Answered
from sagglab.study.planned import PlannedBatch, told_of
from sagglab.units import parse_heading

#: Pots in a firing, where the book has none; and the least and the most that a plan of ours puts in one.
_USUAL_LOAD, _LEAST_LOAD, _MOST_LOAD = 6, 2, 12
#: A plan of ours has at least so many pots: two choices and a mean leave three to judge them by.
FEWEST_POTS = 6
#: What is asked, and one thing more.
_FACTORS = 2
#: So many firings tell of what is set per firing.
_FIRINGS_OF_HEAT = 4
#: A change of colour that is plain to see, in L*, a* or b*.
_PLAIN = 4.0
#: Peaks are set in steps that a potter can keep to.
_STEP_C = 5.0
_SIZES = ("height [cm]", "diameter [cm]")
#: The measured climbs, and where each but the last ends, in °C; that ends at the peak.
_CLIMBS = (
    "climb_start_to_100_C_per_h",
    "climb_100_to_573_C_per_h",
    "climb_573_to_660_C_per_h",
    "climb_660_to_peak_C_per_h",
)
_TOPS_C = (100, 573, 660)


def usual_plan(book: Book, results: pd.DataFrame, answered: Answered, pots: int) -> PlannedBatch:
    """Plan a next batch that asks the question once more, and with it the first choice that is still open.

    Parameters
    ----------
    book : Book
        Its tags are gone on from.
    results : DataFrame
        From `measures.gather_results`.
    answered : Answered
        What these pots say.
    pots : int
        How many pots shall be made. Of a plan that needs more, the first are taken.

    Raises
    ------
    PlanError
        The book has nothing that could be varied.
    """
    factors = _factors(results, answered)
    if not factors:
        cause = "the book holds no choice of two levels or more that could be tried again"
        raise PlanError("the next batch", cause, "write a plan file; the demo has one to copy from")
    per_firing = any(factor.per == "firing" for factor in factors)
    planned = max(pots, FEWEST_POTS)
    load = int(book.pots.groupby("firing").size().max()) if len(book.pots) else _USUAL_LOAD
    load = int(np.clip(load, _LEAST_LOAD, _MOST_LOAD))
    firings = max(_FIRINGS_OF_HEAT if per_firing else 1, -(-planned // load))
    sizes = [len(part) for part in np.array_split(np.arange(planned), firings)]
    plan = plan_batch(
        factors, firings=firings, pots_per_firing=sizes, model="main", seed=1,
        same=_same(book, results, factors), limits=_places(book, max(sizes)),
    )  # fmt: skip
    plan = plan.continuing(book.pots["pot"], book.firings["firing"])
    told = told_of(book, plan, _expected(answered))
    if pots == planned:
        return told
    few = f"these are the first {pots} pots of a plan of {planned}: they tell little without the others"
    first = replace(plan, runs=plan.runs.iloc[:pots], coded=plan.coded.iloc[:pots], notes=(*plan.notes, few))
    return replace(told, plan=first, sheet=first.bench_sheet(shelf=book.shelf))


def _expected(answered: Answered) -> dict[str, object]:
    effects = answered.effects
    if not isinstance(effects, Effects):
        return {}
    scatter = effects.variances.set_index("component")["standard deviation"]
    # Of other outcomes nobody knows what is plain: as much as pots of one recipe differ.
    plain = _PLAIN if answered.outcome in (*AXES, "C*ab") else float(f"{scatter['pot']:.2g}")
    return {"like": effects, "difference": plain}


def _factors(results: pd.DataFrame, answered: Answered) -> list[Factor]:
    """Choose what to vary: what is asked, then the first choice per pot of which the pots cannot tell."""
    effects, asked = answered.effects, answered.heading
    if effects is None:  # nothing was judged: whatever the recipes differ in
        still_open = recipe_headings(results)
    else:
        still_open = [one.heading for one in effects.factors if not showed(effects, one)]
    # What is dusted on is more easily given to one pot and not to its neighbour than what is packed.
    more = sorted((one for one in still_open if one != asked), key=lambda one: _use(one) != "dusting")
    first = [] if asked is None else [_factor(results, asked)]
    others = [factor for factor in (_factor(results, one) for one in more) if factor and factor.per == "pot"]
    return [factor for factor in (*first, *others) if factor is not None][:_FACTORS]


def _use(heading: str) -> str:
    material = find_material(parse_heading(heading).name)
    return "" if material is None else material.use


def _factor(results: pd.DataFrame, heading: str) -> Factor | None:
    """Give a choice as something to vary over what was tried; None for what cannot be set."""
    name, unit = parse_heading(heading)
    tried = results[heading].dropna()
    if heading == PEAK:
        levels = np.unique(np.round(tried / _STEP_C) * _STEP_C)
        return None if len(levels) < 2 else Factor("peak", levels[[0, -1]].tolist(), "degC", per="firing")
    of_firings = {column.heading for column in BOOK_TABLES["firings"]}
    if tried.nunique() < 2 or heading in of_firings:
        return None
    if not pd.api.types.is_numeric_dtype(tried.dtype):
        return Factor(name, sorted(set(tried) - {""}))
    if unit is None:
        return None  # a measure of the firing, or a number that nobody weighs
    return Factor(name, [float(tried.min()), float(tried.max())], unit)


def _places(book: Book, load: int) -> Limits:
    """Name the places in the kiln as the book does, the most used first, where it names enough of them."""
    used = book.pots.loc[book.pots["place"] != "", "place"].value_counts().index
    return Limits(places=list(used[:load])) if len(used) >= load else Limits()


def _same(book: Book, results: pd.DataFrame, factors: Sequence[Factor]) -> dict[str, object]:
    """Give what all pots shall have: what most pots of the book had, of their mean size, fired as usual."""
    varied = {factor.name for factor in factors}
    own = {column.heading for column in BOOK_TABLES["pots"]} - {"clay"}
    same: dict[str, object] = {}
    packings: dict[str, int] = {}
    for heading in book.pots.columns:
        name, unit = parse_heading(heading)
        if name in varied or heading in own or (unit is None and heading != "clay"):
            continue
        values = book.pots[heading].replace(["", 0], np.nan).dropna()
        if _use(heading) == "packing":
            packings[heading] = len(values)
        elif 2 * len(values) > len(book.pots):  # what most pots had none of, none gets
            same[heading] = values.mode().iloc[0]
    # A pot is packed in something, and books tend to try one packing in place of another.
    packing = max(packings, key=packings.get, default="")
    if packings.get(packing):
        same[packing] = book.pots.loc[book.pots[packing] > 0, packing].mode().iloc[0]
    for heading in _SIZES:
        if book.pots[heading].notna().any():
            same[heading] = round(float(book.pots[heading].median()), 1)
    peaks, minutes = book.firings["target peak [degC]"], results["minutes_to_peak"]
    if "peak" not in varied and peaks.notna().any():
        same["peak [degC]"] = float(peaks.median())
    if minutes.notna().any():
        same["time to peak [min]"] = float(round(minutes.median()))
    rates = results[list(_CLIMBS)].median()
    if "peak [degC]" in same and same["peak [degC]"] > ALUMINIUM_FREEZES_C and np.isfinite(rates).all():
        # As the studio's firings climb, in place of an even climb that no kiln of this size keeps.
        tops = (*_TOPS_C, same["peak [degC]"])
        same["schedule"] = "; ".join(
            f"{rate:.0f} degC/h to {top:g} degC" for rate, top in zip(rates.round(-1), tops, strict=True)
        )
    return same
