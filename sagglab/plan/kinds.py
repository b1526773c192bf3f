"""Kinds of plans by name, and the one that is made to measure."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral, Real

import numpy as np

from sagglab.errors import PlanError
from sagglab.model.wording import count
from sagglab.plan.optimal import Ask, Found, best_plan, unused_levels
from sagglab.plan.scatter import FIRING_SD, POT_SD
from sagglab.plan.standard import BoxBehnken, CentralComposite, Factorial, Fraction, Screening
from sagglab.plan.wanted import Dealt, Wanted

#: Scatter of firings over that of pots, as variances, where nothing is known.
TYPICAL_RATIO = (FIRING_SD / POT_SD) ** 2


@dataclass(frozen=True)
class Best:
    """The plan that tells the most in so many firings and pots, found by exchange.

    Parameters
    ----------
    sharpest : str
        ``effects``: the effects of the model, together (D-optimal); ``predictions``: the colour of any recipe
        in the range (I-optimal).
    variance_ratio : float
        Variance between firings over the variance between the pots of a firing.
    starts : int, optional
        How many plans to start from; enough for the size of the problem where not given.

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> sugar = Factor("sugar", [0, 2, 4], "g")
    >>> plan = plan_batch([sugar], 2, 4, model="quadratic", kind=Best(sharpest="predictions"), seed=1)
    >>> plan.runs["sugar [g]"].value_counts().sort_index().to_dict()
    {0.0: 2, 2.0: 4, 4.0: 2}
    """

    sharpest: str = "effects"
    variance_ratio: float = TYPICAL_RATIO
    starts: int | None = None

    def make(self, wanted: Wanted) -> Dealt:
        """Search for the plan."""
        criteria = {"effects": "D", "predictions": "I"}
        if self.sharpest not in criteria:
            raise PlanError(
                f"sharpest '{self.sharpest}'", "there is no such aim", "write effects or predictions"
            )
        if wanted.firings is None:
            raise PlanError("firings", "their number is not stated", "say how many firings there can be")
        ask = Ask(
            wanted.terms, wanted.pots, self.variance_ratio, wanted.allowed, wanted.shared, wanted.fired,
            wanted.sharpen, criteria[self.sharpest],
        )  # fmt: skip
        found = best_plan(ask, wanted.seed, starts=self.starts)
        notes = []
        unused = unused_levels(wanted.terms, found.coded)
        for name in dict.fromkeys(name for name, _ in unused):
            levels = ", ".join(str(level).removesuffix(".0") for own, level in unused if own == name)
            notes.append(
                f"{name} is never at {levels}: a straight effect is sharpest between the ends; ask for "
                "the model 'quadratic' if it may bend"
            )
        notes.append(
            _search_in_words(found, self.sharpest, len(wanted.sharpen) or 1 + sum(wanted.terms.widths))
        )
        return Dealt(np.split(found.coded, np.cumsum(wanted.pots)[:-1]), tuple(notes))


def _search_in_words(found: Found, sharpest: str, columns: int) -> str:
    if sharpest == "predictions":
        shares = found.value / found.reached
    else:
        shares = np.exp(-np.abs(found.reached - found.value) / columns)
    near, starts = int(np.sum(shares > 0.99)), len(found.reached)
    reached = "every one" if near == starts else f"{near} of them"
    return (
        f"the search for it began anew {count(starts, 'time')}, and {reached} led to a plan as good as this "
        f"(within 1 %)"
    )


#: Kinds that give amounts levels in between.
MIDDLES = (CentralComposite, BoxBehnken)

#: Kinds by name, as a plan file and `plan_batch` take them.
KINDS: dict[str, type] = {
    "best": Best,
    "factorial": Factorial,
    "fraction": Fraction,
    "screening": Screening,
    "central composite": CentralComposite,
    "box-behnken": BoxBehnken,
}


def read_kind(kind: object) -> object:
    """Give the kind that a name, or a kind itself, stands for.

    Raises
    ------
    PlanError
        There is no such kind, or it cannot have what is chosen about it.

    Examples
    --------
    >>> read_kind("fraction")
    Fraction(resolution=None, generators=(), fold_over=False, replicates=1, centre=0)
    """
    if isinstance(kind, tuple(KINDS.values())):
        _check_chosen(kind)
        return kind
    name = kind.lower().replace("–", "-") if isinstance(kind, str) else None
    if name not in KINDS:
        raise PlanError(f"kind {kind!r}", "there is no such kind of plan", f"write one of {', '.join(KINDS)}")
    return KINDS[name]()


def name_of(kind: object) -> str:
    """Name a kind."""
    return next(name for name, made in KINDS.items() if type(kind) is made)


def _check_chosen(kind: object) -> None:
    """Refuse words where a kind takes numbers, and the other way round."""
    for name, value in vars(kind).items():
        where = f"kind '{name_of(kind)}', {name}"
        if name in ("replicates", "centre", "resolution", "pots", "starts"):
            optional = name not in ("replicates", "centre") or isinstance(kind, BoxBehnken)
            whole = isinstance(value, Integral) and not isinstance(value, bool)
            if not whole and not (optional and value is None):
                raise PlanError(where, f"it is {value!r}", "write a whole number")
        if name == "variance_ratio" and (isinstance(value, bool) or not isinstance(value, Real)):
            raise PlanError(where, f"it is {value!r}", "write 0 or a positive number")
        if name in ("generators", "fold_over") and isinstance(value, str):
            raise PlanError(where, f"it is {value!r}", f"write a list: [{value!r}]")
