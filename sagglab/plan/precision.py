"""What a plan can tell, before anything is fired.

Each row is an effect that the analysis will judge, with the standard error and the degrees of freedom of that
same analysis, at the scatter to be expected. The table of effects states each of three kinds or more against
their mean; here they are compared two by two, since that one kind differs from another is what is asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from sagglab.errors import ModelError, PlanError
from sagglab.model.effects import Effects
from sagglab.model.scale import scale_for
from sagglab.model.strata import REML, FittedStrata, expected
from sagglab.model.terms import Term
from sagglab.model.wording import effect_unit
from sagglab.pages.layout import report
from sagglab.plan.drawn import draw_rows
from sagglab.plan.factors import Factor as Varied
from sagglab.plan.foresight import Foretold, foretell, share_said
from sagglab.plan.likeness import likeness, tellable
from sagglab.plan.power import (
    SURE,
    WANTED,
    check_difference,
    hundred,
    power_of,
    smallest_told,
)
from sagglab.plan.scatter import read_scatter, scatter_said, typical_of
from sagglab.plan.spread import Stated, spread_over_range, stated_over_range

if TYPE_CHECKING:
    from sagglab.plan.batch import Plan

#: Columns of the table of what a plan can tell.
COLUMNS = (
    *("term", "from", "to", "stratum", "df", "standard error", "half width", "power"),
    *("smallest difference", "method", "note"),
)
_WHERE = "the plan"
#: From this loss of power on it is said what a square plan would tell.
_LOSS = 0.03


@dataclass(frozen=True, repr=False)
class Precision:
    """What a plan can tell.

    Attributes
    ----------
    table : DataFrame
        One row for each effect that the analysis will state, unrounded, NaN where it cannot be had. ``term``,
        as the table of effects names it; ``from`` and ``to``, the range over which the effect is stated: of
        an amount from the first to the last of the plan's levels (pots fired before, and axial points, may
        lie beyond), of a category one kind against another (each two of up to four kinds; of more, each
        against the first), of a square how far the middle lies off the line between both ends, of a pair by
        how much the change of the one over its range differs between both ends of the other;
        ``stratum`` (what it is judged against), ``df`` and ``standard error`` of the effect over that range;
        ``half width`` of its 95 % interval, on average over such batches; ``power``, the chance to be sure,
        at a raw 5 %, of a true change of `difference`; ``smallest difference`` that is told in 80 of 100
        such batches; ``method`` of the analysis; ``note``. These follow from the noncentral F; save for what
        is judged between firings by a method that is not exact, where few firings tell less: there from 200
        draws of the scatter, each fitted.
    correlations : DataFrame, shape (terms, terms)
        From 0 to 1, how alike two terms are among these pots: the terms asked, and all pairs of factors.
    asked : tuple of str
        Which of them are asked.
    variance : DataFrame
        ``where`` and the ``standard error`` of a recipe's mean there: at the centre, on average over the
        range, at shares of it, and at the worst.
    difference, firing_sd, pot_sd : float
        The change, and the scatter between firings and between pots of one, in `unit`.
    unit : str
        Of the effects.
    pots, firings : int
    head : str
        On what all rests.
    foretold : tuple of Foretold
        What the plan can and cannot tell, and what would help.

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=2, pots_per_firing=4, model="main", seed=1)
    >>> told = plan.precision(firing_sd=3, pot_sd=4)
    >>> told.asked, float(told.table["half width"].iloc[0].round(1))
    (('sugar',), 6.9)
    """

    table: pd.DataFrame
    correlations: pd.DataFrame
    asked: tuple[str, ...]
    variance: pd.DataFrame
    difference: float
    firing_sd: float
    pot_sd: float
    unit: str
    pots: int
    firings: int
    head: str
    foretold: tuple[Foretold, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the plan can and cannot tell, and what would help, a sentence or two each."""
        return tuple(map(str, self.foretold))

    def __repr__(self) -> str:
        return "\n".join([self.head, *self.sentences])

    def _repr_html_(self) -> str:
        return report(self.head, self.sentences, self.table, self.variance)


def precision(
    plan: Plan,
    firing_sd: float | None = None,
    pot_sd: float | None = None,
    difference: float = 5.0,
    like: Effects | None = None,
    outcome: str = "L*",
) -> Precision:
    """Tell what a plan can tell, with the very test that `fit_effects` will use on its pots.

    Parameters
    ----------
    plan : Plan
    firing_sd, pot_sd : float, optional
        Scatter between firings, and between pots of one firing, in units of the outcome. Where neither they
        nor an earlier result are given, what is typical of L* (3 and 4; common practice, no source).
    difference : float
        The true change whose chance to be told is wanted, in the unit of the effects (for a share, log odds).
    like : Effects, optional
        An earlier result, whose scatter and outcome are taken.
    outcome : str
        What will be measured, where no earlier result says so.

    Returns
    -------
    Precision

    Raises
    ------
    PlanError
        The scatter or the difference cannot be, or the pots and firings cannot carry the model.

    References
    ----------
    Noncentral F with λ = δ²/SE², SE from (X'V⁻¹X)⁻¹ or its exact strata; Kenward and Roger, Biometrics 53
    (1997), for the degrees of freedom of unequal plans.

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=4, pots_per_firing=6, model="main", seed=1)
    >>> told = precision(plan, firing_sd=3, pot_sd=4, difference=5)
    >>> told.table[["term", "stratum", "df", "power"]].round(2).to_numpy().tolist()
    [['sugar', 'pot', 19.0, 0.83]]
    """
    check_difference(difference)
    if like is not None and not isinstance(like, Effects):
        raise PlanError(
            "like", f"it is {type(like).__name__}, no result of fit_effects", "give what fit_effects returned"
        )
    outcome = like.outcome if like is not None else outcome
    firing_sd, pot_sd, typical, source = _scatter(firing_sd, pot_sd, like, outcome)
    # What the scale of a share is does not depend on the values; a half is one that any share can have.
    scale = like.scale if like is not None else scale_for(outcome, np.array([0.5]))
    unit = effect_unit(outcome, "", scale)
    judged, varied = plan.judged, {factor.heading: factor for factor in plan.factors}
    blocks, left_out = tellable(judged, plan.terms)
    groups = {"firing": judged["firing"].to_numpy(dtype=object)}

    def at(pot_scatter: float) -> FittedStrata:
        return expected(blocks, groups, "pot", _WHERE, {"firing": firing_sd, "pot": pot_scatter})

    try:
        fitted = at(pot_sd)
    except ModelError as error:
        raise PlanError(error.where, error.cause, error.remedy) from error
    table = _table(blocks, fitted, left_out, varied, difference)
    firings, pots = len(pd.unique(groups["firing"])), len(judged)
    # Pots without end leave only the scatter of firings: so little scatter of pots comes to the same.
    without_end = at(1e-3 * max(firing_sd, 1e-3 * pot_sd))
    endless = _table(blocks, without_end, left_out, varied, difference, drawing=False)
    head = (
        f"{pots} pots in {firings} {'firing' if firings == 1 else 'firings'}, "
        f"{scatter_said(firing_sd, pot_sd, unit, typical, source)}"
    )
    if scale.is_share:
        mean = None if like is None else float(like.rows.table[outcome].mean()) / scale.whole
        head += f"; {share_said(float(difference), mean)}"
    return Precision(
        table,
        likeness(plan.terms, judged),
        plan.terms.names,
        spread_over_range(blocks, fitted, varied),
        float(difference),
        firing_sd,
        pot_sd,
        unit,
        pots,
        firings,
        head,
        foretell(table, endless["power"], float(difference), unit, firings, _within_days(plan)),
    )


def _within_days(plan: Plan) -> frozenset[str]:
    """Give the factors that differ between the firings of one day."""
    if "day" not in plan.runs:
        return frozenset()
    kinds = plan.runs.groupby("day")[[factor.heading for factor in plan.factors]].nunique().max()
    return frozenset(factor.name for factor in plan.factors if kinds[factor.heading] > 1)


def _scatter(
    firing_sd: float | None, pot_sd: float | None, like: Effects | None, outcome: str
) -> tuple[float, float, tuple[str, ...], str]:
    """Give both scatters, which of them are but typical, and where they are from."""
    if like is None:
        typical = typical_of(firing_sd, pot_sd)
        return (*read_scatter(firing_sd, pot_sd, outcome), typical, "")
    seen = dict(zip(like.variances["component"], like.variances["variance"], strict=True))
    # A new firing differs by its day as well, and a pot seen once by its view as well.
    outer = sum(value for name, value in seen.items() if name not in ("pot", "view"))
    inner = sum(value for name, value in seen.items() if name in ("pot", "view"))
    untold = not np.isfinite(outer) or "firing and pot together" in seen
    if untold and (firing_sd is None or pot_sd is None):
        raise PlanError(
            "like",
            "that result cannot tell the scatter between firings from that between pots",
            "give firing_sd and pot_sd",
        )
    taken = [name for name, given in (("firings", firing_sd), ("pots", pot_sd)) if given is None]
    source = {
        0: "",
        1: f"that of {''.join(taken)} as in the earlier result",
        2: "as in the earlier result",
    }[len(taken)]
    firing_sd = float(np.sqrt(outer)) if firing_sd is None else firing_sd
    pot_sd = float(np.sqrt(inner)) if pot_sd is None else pot_sd
    return (*read_scatter(firing_sd, pot_sd, outcome), (), source)


def _table(
    blocks: dict[Term, NDArray[np.float64]],
    fitted: FittedStrata,
    left_out: dict[str, str],
    varied: dict[str, Varied],
    difference: float,
    drawing: bool = True,
) -> pd.DataFrame:
    asked = [(row, term) for term in blocks for row in stated_over_range(term, varied)]
    weights = np.array([fitted.spread(term, row.weights) for row, term in asked])
    lines = [_line(row, term, fitted, w) for (row, term), w in zip(asked, weights, strict=True)]
    blank = dict.fromkeys(COLUMNS, np.nan) | {"from": "", "to": "", "stratum": "", "method": ""}
    lines += [blank | {"term": name, "note": why} for name, why in left_out.items()]
    table = pd.DataFrame(lines)
    error, df = (table[name].to_numpy(dtype=float) for name in ("standard error", "df"))
    table["half width"] = special.stdtrit(df, 1 - SURE / 2) * error * _shrunk(df)
    table["power"] = power_of(difference, error, df)
    table["smallest difference"] = [smallest_told(*pair) for pair in zip(error, df, strict=True)]
    if drawing:
        # Judged pot against pot, the noncentral F is right to 0.02 in unequal plans too.
        places = np.flatnonzero((table["method"] == REML) & (table["stratum"] == "firing"))
        for place, drawn in zip(places, draw_rows(fitted, weights[places], 1 - SURE), strict=True):
            reckoned = (drawn.half_width, drawn.power(difference), drawn.smallest_told(WANTED))
            square = table.loc[place, "power"]
            table.loc[place, ["half width", "power", "smallest difference"]] = reckoned
            if square - drawn.power(difference) > _LOSS:
                told = f"unequal firings: a square plan would tell about {hundred(square)} of 100"
                table.loc[place, "note"] = "; ".join(filter(None, [table.loc[place, "note"], told]))
    return table[list(COLUMNS)]


def _shrunk(df: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of a standard deviation on so many degrees of freedom over the true one: at two, 0.886."""
    return np.sqrt(2 / df) * np.exp(special.gammaln((df + 1) / 2) - special.gammaln(df / 2))


def _line(row: Stated, term: Term, fitted: FittedStrata, weights: NDArray[np.float64]) -> dict[str, object]:
    contrast, method = fitted.contrast(weights)
    return {
        "term": row.name,
        "from": row.start,
        "to": row.end,
        "stratum": fitted.strata[term],
        "df": contrast.df,
        "standard error": contrast.standard_error,
        "method": method,
        "note": fitted.note(fitted.strata[term], method),
    }
