"""Adding to what has been fired: the firings that sharpen what is most in doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from sagglab.errors import PlanError
from sagglab.model.wording import count
from sagglab.plan.asked import check_day, read_same, read_seed, read_sizes
from sagglab.plan.batch import Plan, lay_out
from sagglab.plan.factors import Factor
from sagglab.plan.fired import read_fired
from sagglab.plan.kinds import Best, read_kind
from sagglab.plan.limits import Limits
from sagglab.plan.optimal import information_of
from sagglab.plan.room import check_room
from sagglab.plan.terms import Terms, read_model
from sagglab.plan.wanted import Dealt, Wanted


def add_firings(
    fired: pd.DataFrame,
    factors: Sequence[Factor],
    firings: int,
    pots_per_firing: int | Sequence[int] = 6,
    model: str | Sequence[str | tuple[str, str]] = "main + two-way",
    sharpen: Sequence[str] = (),
    kind: Best | None = None,
    seed: int | None = None,
    *,
    limits: Limits | None = None,
    same: Mapping[str, object] | None = None,
    firings_per_day: int | None = None,
) -> Plan:
    """Plan the firings that add the most to what has been fired.

    Parameters
    ----------
    fired : DataFrame
        One row for each pot fired, with ``firing`` and a column for each factor, by heading or bare name: the
        results of a book. A peak may be there as the record has it, ``peak_C``.
    factors : sequence of Factor
        The levels that new pots may have; pots fired may have had others.
    firings, pots_per_firing, model, seed, limits, same, firings_per_day
        As in `plan_batch`; limits hold for the new pots.
    sharpen : sequence of str
        Terms of the model, as ``sugar × peak``, that shall be told best. To part what the pots fired cannot
        tell apart, put it into the model and name it here. All terms alike where none is named.
    kind : Best, optional
        With what can be chosen about it.

    Returns
    -------
    Plan
        The new pots; ``aliases()`` and ``precision()`` are about all pots, fired and new.

    Raises
    ------
    PlanError
        As `plan_batch`; or the table has no such column, or a term to be sharpened is not in the model.

    Examples
    --------
    >>> fired = {"pot": ["p1", "p2", "p3", "p4"], "firing": ["f1", "f1", "f2", "f2"]}
    >>> sugar = Factor("sugar", [0, 4], "g")
    >>> plan = add_firings(pd.DataFrame(fired | {"sugar [g]": [0, 2] * 2}), [sugar], 2, 2, "main", seed=1)
    >>> plan.runs["pot"].tolist(), plan.runs["firing"].tolist()
    (['p5', 'p6', 'p7', 'p8'], ['f3', 'f3', 'f4', 'f4'])
    """
    terms = read_model(factors, model)
    made = read_kind(kind or Best())
    if not isinstance(made, Best):
        raise PlanError(
            f"kind {made!r}", "what has been fired can be added to by Best alone", "leave kind out"
        )
    sizes = read_sizes(firings, pots_per_firing)
    check_day(firings_per_day)
    same, limits = read_same(terms.factors, same or {}), limits or Limits()
    limits.check(terms.factors, same, sizes)
    seed = read_seed(seed)
    old, codes, notes = read_fired(fired, terms.factors)
    labels, old_sizes = np.unique(old["firing"].to_numpy(dtype=str), return_counts=True)
    check_room(terms, [*old_sizes.tolist(), *sizes])
    order = np.argsort(old["firing"].to_numpy(dtype=str), kind="stable")
    known = information_of(terms, codes[order], tuple(old_sizes.tolist()), made.variance_ratio)
    allowed, shared = limits.allowed(terms.factors, same), limits.shared(terms.factors)
    dealt = made.make(
        Wanted(terms, firings, sizes, allowed, shared, seed, known, _columns_of(sharpen, terms))
    )
    told = f"added to {count(len(old), 'pot')} in {count(len(labels), 'firing')}"
    dealt = Dealt(dealt.firings, (told, *notes, *dealt.notes))
    pots = fired["pot"].astype(str).tolist() if "pot" in fired else []
    # Tags go on from all that were fired, from those left out as well.
    tagged = (pots, fired["firing"].dropna().astype(str).unique().tolist())
    return lay_out(terms, dealt, "best, added", seed, limits, same, firings_per_day, old, tagged)


def _columns_of(sharpen: Sequence[str], terms: Terms) -> tuple[int, ...]:
    """Give the columns of the named terms among all of the model."""
    if isinstance(sharpen, str):
        raise PlanError("sharpen", "a word was given where a list is wanted", f"write ['{sharpen}']")
    if not isinstance(sharpen, Sequence):
        raise PlanError("sharpen", f"it is {sharpen!r}", f"write a list out of {', '.join(terms.names)}")
    columns: list[int] = []
    for name in sharpen:
        # "sugar × peak" and "peak × sugar" are one.
        wanted = sorted(str(name).split(" × "))
        found = [place for place, own in enumerate(terms.names) if sorted(own.split(" × ")) == wanted]
        if not found:
            raise PlanError(
                f"sharpen '{name}'", "it is no term of the model", f"they are {', '.join(terms.names)}"
            )
        span = terms.spans[found[0]]
        columns += range(span.start, span.stop)
    return tuple(columns)
