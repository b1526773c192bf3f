"""Noted: what must be known of a plan before it is fired."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sagglab.plan.aliases import alias_notes, given_to_firings
from sagglab.plan.lots import settled_by_days

if TYPE_CHECKING:
    from sagglab.plan.batch import Plan

#: Words that firings hide are named up to so many.
_NAMED = 6


def notes_on(plan: Plan) -> list[str]:
    """Say what a plan cannot tell, or can hardly tell, and what it was limited by.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    list of str
        Phrases without their full stop.
    """
    terms, labels = plan.terms, plan.judged["firing"].to_numpy(dtype=object)
    hidden = given_to_firings(plan.judged_codes, labels, terms)
    notes = alias_notes(plan.judged_codes, terms)
    counted = plan.limits.counted(terms.factors, plan.same)
    if counted:
        notes.append(f"the limit of {plan.limits.dusting_g:g} g on one pot counts {', '.join(counted)}")
    if hidden:
        more = f" and {len(hidden) - _NAMED} more" if len(hidden) > _NAMED else ""
        notes.append(
            f"the differences between firings hide {', '.join(hidden[:_NAMED])}{more}: judged against the "
            "scatter of firings, if at all"
        )
    if "day" in plan.runs and (held := settled_by_days(plan.coded, plan.runs["day"].to_numpy(), terms)):
        notes.append(f"days hide {', '.join(held)}: nothing of it differs within a day")
    firings, taken = len(set(labels)), int(terms.per_firing.sum())
    if taken > 1 and firings - taken <= 2:
        notes.append(
            f"{firings} firings leave {firings - taken} over to judge what is set per firing by: only a huge "
            "difference will show"
        )
    return notes
