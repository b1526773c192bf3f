"""What to try next, from a plan: its recipes with how many pots each, and what they will tell."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from sagglab.handout.handout import FiringToFollow, TryNext
from sagglab.handout.wording import amount_in_words
from sagglab.model.wording import count
from sagglab.plan.batch import Plan
from sagglab.units import both_scales, convert, parse_heading, working_unit

#: A reader tries no more recipes than this from a sheet of paper.
_MOST = 8
#: What a plan holds for the foil and for the bench sheet's climb.
_FOR_THE_BENCH = ("height", "diameter", "schedule")


def try_next(plan: Plan, told: Sequence[str]) -> TryNext:
    """Give the recipes of a plan for a reader to try.

    Parameters
    ----------
    plan : Plan
    told : sequence of str
        What it will be able to tell, a sentence each.

    Returns
    -------
    TryNext
        A row for each combination of what is varied, the most frequent first where there are many.
    """
    varied = [factor.heading for factor in plan.factors]
    counts = plan.runs.groupby(varied, sort=True).size()
    shown = counts.sort_values(ascending=False, kind="stable").iloc[:_MOST].sort_index()
    rows = tuple(
        (*map(_level, varied, levels if isinstance(levels, tuple) else (levels,)), str(number))
        for levels, number in shown.items()
    )
    left_out = len(counts) - len(shown)
    more = (f"The plan has {count(left_out, 'recipe')} more.",) if left_out else ()
    same = [
        f"{parse_heading(heading).name} {_level(heading, value)}"
        for heading, value in plan.same.items()
        if parse_heading(heading).name not in _FOR_THE_BENCH
    ]
    alike = (f"The same on every pot: {', '.join(same)}.",) if same else ()
    pots, firings = count(len(plan.runs), "pot"), count(plan.firings, "firing")
    named = [factor.name for factor in plan.factors]
    do = f"{', '.join(named[:-1])} and {named[-1]} do" if len(named) > 1 else f"{named[0]} does"
    deal = (
        f"{pots} in {firings}, to tell what {do}. Deal recipes and places by lot, so that no place in the "
        "kiln favours one."
    )
    headings = tuple(parse_heading(heading).name for heading in varied)
    return TryNext((deal, *alike, *more, *told), (*headings, "pots"), rows)


def peak_beside(aims_C: Iterable[float], followed: FiringToFollow, whose: str) -> str:
    """Say which peak to aim at where it is another than that of the firing to follow; else nothing.

    Parameters
    ----------
    aims_C : iterable of float
        Of each firing planned; not a number where none is known.
    followed : FiringToFollow
    whose : str
        Why the plan aims there, as ``the middle of the book's target peaks``.
    """
    shown, planned = both_scales(followed.points["temperature_C"].iloc[-1]), pd.Series(list(aims_C)).dropna()
    aims = list(dict.fromkeys(both_scales(aim) for aim in sorted(planned)))
    if not aims or aims == [shown]:
        return ""
    if len(aims) == 1:
        return f"Aim at a peak of {aims[0]}, {whose}, and not at that of the firing to follow, {shown}."
    return (
        f"Peaks from {aims[0]} to {aims[-1]} are on purpose, to tell what the peak does: of the firing to "
        f"follow, which came to {shown}, follow the climb alone."
    )


def _level(heading: str, value: object) -> str:
    unit = parse_heading(heading).unit
    if isinstance(value, str) or unit is None:
        return str(value)
    if working_unit(unit) == "degC":
        return both_scales(float(convert(value, unit, "degC")))
    return "none" if value == 0 else amount_in_words(float(value), unit)
