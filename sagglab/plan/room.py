"""Room: whether so many pots and firings can carry a model, and what it would take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.model.mixed import indicators
from sagglab.model.wording import count
from sagglab.plan.aliases import independent
from sagglab.plan.factors import Factor, written
from sagglab.plan.limits import Limits
from sagglab.plan.terms import Terms
from sagglab.plan.wanted import Dealt
from sagglab.units import working_unit

#: So many terms are named in a note.
_NAMED = 6
#: So many recipes are looked through.
_LOOKED_THROUGH = 20_000


def check_room(terms: Terms, sizes: Sequence[int]) -> None:
    """Refuse a model that so many pots and firings cannot carry.

    Raises
    ------
    PlanError
        It says what it would take.
    """
    pots, columns = sum(sizes), 1 + sum(terms.widths)
    if pots <= columns:
        raise PlanError(
            f"model of {count(len(terms.members), 'term')}",
            f"it has {columns} columns, the mean among them, for {count(pots, 'pot')}",
            f"plan at least {columns + 1} pots, or ask for less, such as model='main'",
        )
    check_firings(terms, len(sizes))
    within = int((~terms.per_firing).sum())
    spare = pots - len(sizes) - within
    if within and spare <= 0:
        raise PlanError(
            f"model of {count(len(terms.members), 'term')}",
            f"within firings {pots - len(sizes)} differences between pots are there to tell {within} columns",
            f"plan at least {count(1 - spare, 'more pot')}, two or more in each firing, or ask for less",
        )


def check_allowed(terms: Terms, allowed: Callable[[NDArray[np.float64]], NDArray[np.bool_]]) -> None:
    """Refuse limits under which no pots at all could tell what is asked.

    Raises
    ------
    PlanError
        It names what is never together.
    """
    levels = [factor.coded for factor in terms.factors]
    if np.prod([float(len(codes)) for codes in levels]) > _LOOKED_THROUGH:
        return  # too many recipes to look through: the search says when it finds nothing
    recipes = np.array(list(product(*levels)))
    left = recipes[allowed(recipes)]
    kept = independent(terms.expand(left), terms)
    lost = [name for place, name in enumerate(terms.names) if place not in kept]
    if not lost:
        return
    apart = [
        f"{one.name} at {written(one.levels[i])} with {other.name} at {written(other.levels[j])}"
        for (a, one), (b, other) in combinations(enumerate(terms.factors), 2)
        for i, j in product(range(len(levels[a])), range(len(levels[b])))
        if not ((left[:, a] == levels[a][i]) & (left[:, b] == levels[b][j])).any()
    ]
    named = ", ".join(lost[:_NAMED])
    raise PlanError(
        "limits",
        f"no pot may have {' or '.join(apart[:3]) or 'some combinations'}, so {named} cannot be told",
        f"allow more grams on one pot or forbid less, take lower levels, or leave {named} out of the model",
    )


def check_firings(terms: Terms, firings: int) -> None:
    """Refuse a model that leaves nothing to judge what is set per firing by.

    Raises
    ------
    PlanError
        It says what it would take.
    """
    taken = int(terms.per_firing.sum())
    if taken > 1 and firings <= taken:
        names = [n for n, span in zip(terms.names, terms.spans, strict=True) if terms.per_firing[span].all()]
        alone = sum(width for term, width in zip(terms.members, terms.widths, strict=True)
                    if len(term) == 1 and terms.factors[term[0]].per == "firing")  # fmt: skip
        remedy = f"fire at least {taken + 1} times"
        if alone + 1 < firings:
            remedy += ", or leave out of the model what goes together: model='main'"
        raise PlanError(
            "model",
            f"with {count(firings, 'firing')} nothing is left to judge {', '.join(names)} by",
            remedy,
        )


def keep_to_room(terms: Terms, dealt: Dealt, limits: Limits, same: dict[str, object]) -> tuple[Terms, Dealt]:
    """Keep of the model what a standard plan can tell, and see that the plan keeps to the limits.

    Raises
    ------
    PlanError
        The plan breaks a limit, takes an amount that cannot be, or leaves nothing to judge what is set per
        firing by.
    """
    codes = np.vstack(dealt.firings)
    for place, factor in enumerate(terms.factors):
        if factor.is_amount and factor.unit:
            _check_amounts(factor, factor.decode(codes[:, place]))
    sizes = tuple(len(block) for block in dealt.firings)
    limits.check(terms.factors, same, sizes)
    broken = int(np.sum(~limits.allowed(terms.factors, same)(codes)))
    for part in limits.shared(terms.factors):
        factor = terms.factors[part.factor]
        if factor.is_amount:  # the middle and axial points lie off the levels
            used = float(factor.decode(codes[:, part.factor]).sum())
        else:
            used = float(np.asarray(part.amounts)[factor.place(codes[:, part.factor])].sum())
        if used > part.most + 1e-9:
            raise PlanError(
                "limits", f"the plan takes {used:g} of {factor.name}, of {part.most:g}", "use kind='best'"
            )
    if broken:
        raise PlanError("limits", f"{broken} of {count(len(codes), 'pot')} break them", "use kind='best'")
    kept = independent(terms.expand(codes), terms)
    lost = [name for place, name in enumerate(terms.names) if place not in kept]
    notes = list(dealt.notes)
    if lost:
        notes.append(
            f"the pots cannot tell {', '.join(lost[:_NAMED])}"
            + " and more" * (len(lost) > _NAMED)
            + " by itself: see aliases()"
        )
        terms = Terms(terms.factors, tuple(terms.members[place] for place in kept))
    check_firings(terms, len(sizes))
    firing = indicators(np.repeat(np.arange(len(sizes)), sizes))
    if np.linalg.matrix_rank(np.hstack([terms.expand(codes), firing])) == len(codes):
        notes.append("nothing is left over to judge pots by: use screen_effects, or add replicates or centre")
    return terms, Dealt(dealt.firings, tuple(notes))


def _check_amounts(factor: Factor, amounts: NDArray[np.float64]) -> None:
    """Refuse axial points and middles at amounts that cannot be."""
    working = working_unit(factor.unit)
    if working != "degC" and amounts.min() < -1e-9:
        raise PlanError(
            f"factor '{factor.name}'",
            f"a pot would get {amounts.min():g} {factor.unit}",
            "raise its lowest level, or take CentralComposite(axial='faced') or 'inscribed'",
        )
    parts = amounts[np.abs(amounts - np.round(amounts)) > 1e-9]
    if working in ("coats", "count") and len(parts):
        raise PlanError(
            f"factor '{factor.name}'",
            f"a pot would get {parts[0]:g} {factor.unit}",
            "take levels with a whole number half-way between them, or a plan without middle or axial points",
        )
