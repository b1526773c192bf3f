"""Plans side by side: what each would tell, and what it costs in firings and in grams."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sagglab.errors import PlanError
from sagglab.markup import framed, listed
from sagglab.model.wording import count
from sagglab.pages.layout import html_table, rounded
from sagglab.plan.batch import Plan
from sagglab.plan.precision import Precision, precision
from sagglab.plan.sheet import bench_sheet
from sagglab.progress import progress


@dataclass(frozen=True, repr=False)
class PlansCompared:
    """Plans side by side.

    Attributes
    ----------
    table : DataFrame
        One row for each plan, unrounded: ``plan``, ``firings``, ``pots``; ``told: FACTOR``, the smallest
        change over the factor's range, in the unit of the outcome, that 80 of 100 such batches would tell
        (not a number where the plan does not ask for it); ``weighed out [g]`` of all materials, and ``cost``
        as far as the shelf knows prices.
    precisions : dict of str to Precision

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=2, pots_per_firing=4, model="main", seed=1)
    >>> print(compare_plans({"two firings": plan}))
    two firings: 8 pots, 2 firings. 80 of 100 such batches would tell a change of 9.9 L* by sugar.
    """

    table: pd.DataFrame
    precisions: dict[str, Precision]

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say for each plan what it takes, and the changes that it would tell."""
        said = []
        for _, line in self.table.iterrows():
            told = line.filter(like="told: ").dropna().astype(float)
            takes = f"{line['plan']}: {count(line['pots'], 'pot')}, {count(line['firings'], 'firing')}."
            if told.empty:
                said.append(f"{takes} What it would tell of a factor cannot be had.")
                continue
            unit = self.precisions[line["plan"]].unit
            finest, coarsest = told.idxmin(), told.idxmax()
            tells = f"{told[finest]:.1f} {unit} by {finest.removeprefix('told: ')}"
            if finest != coarsest:
                tells += f", and one of {told[coarsest]:.1f} by {coarsest.removeprefix('told: ')}"
            said.append(f"{takes} 80 of 100 such batches would tell a change of {tells}.")
        return tuple(said)

    def __repr__(self) -> str:
        return "\n".join(self.sentences)

    def _repr_html_(self) -> str:
        shown = self.table.dropna(axis=1, how="all")
        cells = rounded(shown).assign(**{"weighed out [g]": [f"{w:.0f}" for w in shown["weighed out [g]"]]})
        if "cost" in shown:
            cells["cost"] = [f"{cost:.2f}" for cost in shown["cost"]]
        return framed(listed(self.sentences), html_table(cells))


def compare_plans(
    plans: Mapping[str, Plan], shelf: pd.DataFrame | None = None, **expected: object
) -> PlansCompared:
    """Set plans side by side.

    Parameters
    ----------
    plans : mapping of str to Plan
        Each under the name by which it is spoken of.
    shelf : DataFrame, optional
        The batch book's table ``shelf``, for prices.
    **expected
        As `precision.precision` takes it: ``like``, or ``firing_sd`` and ``pot_sd``, and ``outcome``.

    Returns
    -------
    PlansCompared

    Raises
    ------
    PlanError
        There are none, or one of them cannot be judged.

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> sugar = [Factor("sugar", [0, 4], "g")]
    >>> four, six = (plan_batch(sugar, firings, 2, model="main", seed=1) for firings in (4, 6))
    >>> compare_plans({"four": four, "six": six}).table[["plan", "pots", "told: sugar"]].round(1)
       plan  pots  told: sugar
    0  four     8         12.0
    1   six    12          8.1
    """
    if not isinstance(plans, Mapping) or not plans:
        raise PlanError("plans", "there are none to compare", "write compare_plans({'short': plan, …})")
    wrong = [name for name, plan in plans.items() if not isinstance(plan, Plan)]
    if wrong:
        raise PlanError(f"plan '{wrong[0]}'", "it is none", "give what plan_batch returned")
    precisions = {}
    with progress("comparing", len(plans), "plans") as step:
        for name, plan in plans.items():
            precisions[name] = precision(plan, **expected)
            step()
    rows = []
    for name, plan in plans.items():
        told = precisions[name].table.set_index("term")["smallest difference"]
        sheet = bench_sheet(plan, shelf=shelf)
        weighed = sheet.totals.loc[sheet.totals["unit"] == "g", "to have ready"]
        costs = sheet.totals["cost"].dropna()
        rows.append(
            {
                "plan": name,
                "firings": plan.firings,
                "pots": len(plan.runs),
                **{f"told: {factor.name}": _largest(told, factor.name) for factor in plan.factors},
                "weighed out [g]": float(weighed.sum()),
                "cost": float(costs.sum()) if len(costs) else np.nan,
            }
        )
    return PlansCompared(pd.DataFrame(rows), precisions)


def _largest(told: pd.Series, name: str) -> float:
    """Give the change that the least sure row of a factor needs: a category has one for each kind."""
    rows = [told[term] for term in told.index if " × " not in term and term.partition(":")[0] == name]
    return float(np.max(rows)) if rows else np.nan
