"""The bench sheet: a plan as tables to work from, to write up in the batch book, and to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from sagglab.columns import BOOK_TABLES
from sagglab.errors import PlanError, UnitError
from sagglab.materials import TAKE_CARE
from sagglab.pages.layout import report
from sagglab.plan.totals import (
    Foil,
    foil_needed,
    material_key,
    material_totals,
    measured_out,
    pot_costs,
    spoons,
    tidy_shelf,
)
from sagglab.units import Heading, both_scales, convert, parse_heading, working_unit

if TYPE_CHECKING:
    from sagglab.plan.batch import Plan

#: Columns of a plan that say which pot it is and where it goes, not what is done to it.
_PLACES = ("pot", "firing", "day", "place")
#: Names under which a plan states the top of the climb, and how long the climb takes.
PEAKS = ("peak", "target peak")
CLIMB_TIMES = ("time", "minutes", "time to peak", "minutes to peak")
START_C, STEP_C = 20.0, 100.0
#: Share more of each material than the pots take, unless stated.
ALLOWANCE = 0.1
#: On what it can be printed.
PAPERS = ("A4", "letter")


@dataclass(frozen=True, repr=False)
class BenchSheet:
    """What to do at the bench and at the kiln.

    Attributes
    ----------
    table : DataFrame
        One row per pot in bench order: ``firing``, ``day`` where the plan has days, ``place``, ``pot``, what
        the pot gets in working units, and ``NAME [spoons]`` beside a material whose spoon was weighed.
    pots, firings : DataFrame
        Rows ready to become the tables ``pots`` and ``firings`` of the batch book.
    totals : DataFrame
        What to have ready: see `totals.material_totals`.
    costs : DataFrame
        ``firing``, ``pot`` and ``cost`` of each pot, allowance included; empty where no price is known.
    foil : Foil
    climbs : dict of str to DataFrame
        For each firing whose peak and minutes are known: ``minutes``, ``temperature_C``, ``temperature_F``
        at each 100 °C of an even climb from 20 °C.
    asks : tuple of str
        What the batch asks, a line for each factor and one for what goes together.
    notes : tuple of str
        What the plan says of itself.
    currency : str
    allowance : float
    kind : str
    seed : int

    Examples
    --------
    >>> from sagglab import Factor, plan_batch
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=2, pots_per_firing=4, model="main", seed=1)
    >>> plan.bench_sheet().totals[["material", "on the pots"]].to_numpy().tolist()
    [['sugar', 16.0]]
    """

    table: pd.DataFrame
    pots: pd.DataFrame
    firings: pd.DataFrame
    totals: pd.DataFrame
    costs: pd.DataFrame
    foil: Foil
    climbs: dict[str, pd.DataFrame]
    asks: tuple[str, ...]
    notes: tuple[str, ...]
    currency: str
    allowance: float
    kind: str
    seed: int

    @property
    def tag(self) -> str:
        """The plan's kind and seed, in a few words."""
        return f"{self.kind}, seed {self.seed}"

    @property
    def cost_heading(self) -> str:
        """What a column of costs is called where it is shown, with the shelf's currency as its unit."""
        return f"cost [{self.currency}]" if self.currency else "cost"

    @property
    def firing_costs(self) -> pd.DataFrame:
        """What the materials of each firing cost: ``firing``, ``cost``."""
        return self.costs.groupby("firing", sort=False, as_index=False)["cost"].sum()

    @property
    def short(self) -> pd.DataFrame:
        """The rows of the totals of which the shelf holds too little."""
        return self.totals[self.totals["short by [g]"] > 0]

    def __repr__(self) -> str:
        lacking = "".join(
            f"; short of {row.material} by {row['short by [g]']:.3g} g" for _, row in self.short.iterrows()
        )
        pots, firings = len(self.pots), len(self.firings)
        return (
            f"{self.tag}: {pots} pot{'' if pots == 1 else 's'} in {firings} "
            f"firing{'' if firings == 1 else 's'}, {self.foil}{lacking}"
        )

    def _repr_html_(self) -> str:
        totals = self.totals.rename(columns={"cost": self.cost_heading})
        return report(repr(self), (), self.table, totals, below=TAKE_CARE)


def bench_sheet(
    plan: Plan,
    shelf: pd.DataFrame | None = None,
    allowance: float = ALLOWANCE,
    foil_layers: int = 2,
    foil_width_cm: float = 45,
) -> BenchSheet:
    """Make the bench sheet of a plan.

    Parameters
    ----------
    plan : Plan
    shelf : DataFrame, optional
        The batch book's table ``shelf``: stock, weighed spoons, prices.
    allowance : float
        Share more of each material than the pots take, for what sticks to bowls and brushes.
    foil_layers : int
    foil_width_cm : float
        Width of the roll of foil.

    Returns
    -------
    BenchSheet

    Raises
    ------
    PlanError
        A column has no known unit or is not the same on all pots of a firing, the shelf has a fault, or the
        allowance or the foil cannot be.
    """
    if not 0 <= allowance < np.inf:
        raise PlanError("allowance", f"it is {allowance}", "give a share of zero or more, such as 0.1")
    known = tidy_shelf(shelf)
    per_firing = _per_firing(plan)
    pots = pd.DataFrame({name: plan.runs[name].astype(str) for name in ("pot", "firing")})
    pots["place"] = plan.runs["place"].astype(str) if "place" in plan.runs else ""
    firings = pd.DataFrame({"firing": pots["firing"]})
    if "day" in plan.runs:
        firings["day"] = plan.runs["day"]
    for heading in plan.runs.columns:
        if heading not in _PLACES:
            into = firings if heading in per_firing else pots
            name, values = _in_working_unit(heading, plan.runs[heading])
            into[_book_heading(name) if heading in per_firing else name] = values
    firings = _one_row_each(firings)
    recipe = list(pots.columns[3:])
    table = _bench_table(pots, recipe, firings, known)
    costs = pot_costs(pots, known, allowance)
    totals = material_totals(pots, known, allowance)
    foil = foil_needed(pots, foil_layers, foil_width_cm)
    for heading, value in (("rating", np.nan), ("state", ""), ("notes", "")):
        pots[heading] = value
    pots["plan"] = f"{plan.kind}, seed {plan.seed}: dealt by lot"
    currencies = [name for name in known["currency"] if name]
    return BenchSheet(
        table=table.reset_index(drop=True),
        pots=pots.reset_index(drop=True),
        firings=firings,
        totals=totals,
        costs=costs.reset_index(drop=True),
        foil=foil,
        climbs=_climbs(firings),
        asks=_asks(plan),
        notes=tuple(plan.notes),
        currency=currencies[0] if currencies else "",
        allowance=float(allowance),
        kind=plan.kind,
        seed=plan.seed,
    )


def _per_firing(plan: Plan) -> set[str]:
    """Name the columns that all pots of a firing share."""
    dealt = {factor.heading: factor.per for factor in plan.factors}
    of_firings = {column.name for column in BOOK_TABLES["firings"]} - {"notes"}
    shared = set()
    for heading in plan.runs.columns.drop(list(_PLACES), errors="ignore"):
        heat = _working_unit(heading) in ("degC", "min")
        of_firing = heat or parse_heading(heading).name in of_firings
        per = dealt.get(heading, "firing" if of_firing else "pot")
        if per == "firing":
            shared.add(heading)
    return shared


def _in_working_unit(heading: str, values: pd.Series) -> tuple[str, pd.Series]:
    name, unit = parse_heading(heading)
    to = _working_unit(heading)
    if unit is None or to is None:
        return name, values
    try:
        return str(Heading(name, to)), pd.Series(convert(values, unit, to), index=values.index)
    except (TypeError, ValueError) as error:
        raise PlanError(
            f"column '{heading}'", f"not all of it is a number ({error})", "correct it"
        ) from error


def _working_unit(heading: str) -> str | None:
    unit = parse_heading(heading).unit
    try:
        return None if unit is None else working_unit(unit)
    except UnitError as error:
        raise PlanError(f"column '{heading}'", f"{error.where}: {error.cause}", error.remedy) from error


def _book_heading(heading: str) -> str:
    """Name a column of the plan's firings as the batch book does."""
    return "target peak [degC]" if heading == "peak [degC]" else heading


def _one_row_each(firings: pd.DataFrame) -> pd.DataFrame:
    distinct = firings.drop_duplicates()
    several = distinct.loc[distinct["firing"].duplicated(), "firing"]
    if len(several):
        rows = distinct[distinct["firing"] == several.iloc[0]]
        differing = [heading for heading in rows if (rows[heading] != rows[heading].iloc[0]).any()]
        raise PlanError(
            f"firing '{several.iloc[0]}'",
            f"its pots have several values of {', '.join(differing)}",
            "a factor of the firing is the same on all its pots",
        )
    return distinct.reset_index(drop=True)


def _bench_table(
    pots: pd.DataFrame, recipe: list[str], firings: pd.DataFrame, shelf: pd.DataFrame
) -> pd.DataFrame:
    table = pots[["firing"]].copy()
    if "day" in firings:
        table["day"] = table["firing"].map(firings.set_index("firing")["day"])
    table[["place", "pot"]] = pots[["place", "pot"]]
    weighed = measured_out(pots[recipe])
    for heading in recipe:
        table[heading] = pots[heading]
        name, unit = parse_heading(heading)
        spoon_g = shelf["spoon [g]"].get(material_key(name), np.nan)
        if heading in weighed and unit == "g" and not np.isnan(spoon_g):
            table[f"{name} [spoons]"] = spoons(pots[heading], spoon_g)
    return table


def _climbs(firings: pd.DataFrame) -> dict[str, pd.DataFrame]:
    peaks = [f"{name} [degC]" for name in PEAKS if f"{name} [degC]" in firings]
    times = [f"{name} [min]" for name in CLIMB_TIMES if f"{name} [min]" in firings]
    if not peaks or not times:
        return {}
    rows = zip(firings["firing"], firings[peaks[0]], firings[times[0]], strict=True)
    return {
        firing: even_climb(peak_C, minutes)
        for firing, peak_C, minutes in rows
        if peak_C > START_C and minutes > 0
    }


def even_climb(peak_C: float, minutes: float) -> pd.DataFrame:
    """Lay out an even climb from 20 °C: ``minutes``, ``temperature_C``, ``temperature_F`` each 100 °C.

    Examples
    --------
    >>> even_climb(260, 60).round(1).to_numpy().tolist()
    [[0.0, 20.0, 68.0], [20.0, 100.0, 212.0], [45.0, 200.0, 392.0], [60.0, 260.0, 500.0]]
    """
    # 1472 °F comes out a hair above 800 °C: no point is told twice.
    between = np.arange(STEP_C, peak_C - 0.5, STEP_C)
    heat = np.array([START_C, *between, peak_C])
    return pd.DataFrame(
        {
            "minutes": (heat - START_C) / (peak_C - START_C) * minutes,
            "temperature_C": heat,
            "temperature_F": convert(heat, "degC", "degF"),
        }
    )


def _asks(plan: Plan) -> tuple[str, ...]:
    lines = []
    for factor in plan.factors:
        heat = bool(factor.unit) and working_unit(factor.unit) == "degC"
        if heat:
            levels = ", ".join(
                both_scales(float(convert(level, factor.unit, "degC"))) for level in factor.levels
            )
        elif factor.is_amount:
            levels = ", ".join(f"{level:g}" for level in factor.levels) + f" {factor.unit}".rstrip()
        else:
            levels = ", ".join(factor.levels)
        dealt = "the same for all pots of a firing" if factor.per == "firing" else "dealt pot by pot"
        lines.append(f"What does {factor.name} do? {levels}, {dealt}.")
    together = [name for name in plan.terms.names if " × " in name]
    pairs = len(plan.factors) * (len(plan.factors) - 1) // 2
    if together:
        all_pairs = len(together) == pairs > 3
        named = f"any of the {pairs} pairs" if all_pairs else ", ".join(together)
        lines.append(f"Does what one does depend on another ({named})?")
    bends = [name.removesuffix(" squared") for name in plan.terms.names if name.endswith(" squared")]
    if bends:
        lines.append(f"Is there a best amount between the ends ({', '.join(bends)})?")
    return tuple(lines)
