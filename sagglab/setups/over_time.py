"""The same pot over time: what its colours change per month, and whether that can be told from the camera."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sagglab.colour import AXES, lab_to_lch
from sagglab.columns.treated import views_after
from sagglab.errors import SetupError
from sagglab.model.rows import find_column
from sagglab.model.sentences import LIMIT
from sagglab.setups.changes_said import changes_page, sentences
from sagglab.setups.drift import MONTH
from sagglab.setups.own_drift import UNKNOWN_DRIFT, known_drift, less_drift, ways_of_drift
from sagglab.setups.pot_changes import COLUMNS, change_table, colour_changes
from sagglab.setups.recipe_changes import Fitted, Kinds, by_recipe, on_average, read_kinds

_WHERE = "the same pot over time"


@dataclass(frozen=True, repr=False)
class Changes:
    """What pots' colours change over time, as one setup reads them.

    Attributes
    ----------
    setup : str
    table : DataFrame
        One row per pot and coordinate (L*, a*, b*, C*ab): ``per month`` (the setup's drift taken out),
        ``low``, ``high`` (95 %), ``df``, ``p``, ``p Holm`` (over all rows), ``drift`` (of the setup, per
        month, NaN where it is not known), ``days`` (how many), ``first``, ``last``, ``distinguishable``
        (sure, and the drift known), ``months more`` (when it would be at the same rate, photographed once
        more so many months after the last day; NaN where it is already, or would not be within a year).
    colours : DataFrame
        One row per pot: its colour by its line on the first day and on the last, and ``ΔE00`` between them
        with ``ΔE00 low`` and ``ΔE00 high``, the least and the greatest in the box that holds the three
        changes together (95 %, by Bonferroni).
    on_average : DataFrame
        Change per month of all pots; columns `recipe_changes.AVERAGE`.
    by_recipe : DataFrame
        With and without each factor; columns `recipe_changes.BY_RECIPE`.
    repeatability : DataFrame
        ``SD`` of one photograph about its pot's line, by ``coordinate``, with ``df``.
    drift_known : bool
    left_out : DataFrame
        ``pot`` and ``reason``.
    notes : tuple of str
        What must be known to read the figures.

    Examples
    --------
    >>> seen = pd.DataFrame({
    ...     "photo": "", "pot": "p1", "view": "front", "setup": "phone", "L*": [40, 40.9, 42.1],
    ...     "taken": pd.to_datetime(["2026-03-01", "2026-04-01", "2026-05-01"]),
    ...     "a*": [10, 8.9, 8.1], "b*": [12, 12.1, 12],
    ... })  # fmt: skip
    >>> changes = changes_over_time(seen)
    >>> changes.setup, changes.drift_known, changes.table["coordinate"].tolist()
    ('phone', False, ['L*', 'a*', 'b*', 'C*ab'])
    """

    setup: str
    table: pd.DataFrame
    colours: pd.DataFrame
    on_average: pd.DataFrame
    by_recipe: pd.DataFrame
    repeatability: pd.DataFrame
    drift_known: bool
    left_out: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What changed, the answer first, then by recipe, then pot by pot."""
        return sentences(self)

    @property
    def sentence(self) -> str:
        """The answer: which pots have changed by more than the camera explains."""
        return self.sentences[0]

    def __repr__(self) -> str:
        return "\n".join([*self.sentences, *self.notes])

    def _repr_html_(self) -> str:
        return changes_page(self)


def changes_over_time(
    measures: pd.DataFrame,
    patches: pd.DataFrame | None = None,
    recipes: pd.DataFrame | None = None,
    factors: Sequence[str] = (),
    *,
    drift_per_month: pd.DataFrame | None = None,
) -> Changes:
    """Measure what pots that were photographed on several days as they came out change per month.

    One setup is looked at, for rates that two setups see cannot be compared while each drifts its own way:
    the one in which the most pots show a view on two days or more. The setup's drift is common to all pots.
    It is taken out, and how unsure it is joins each interval; widening by it alone would leave every rate off
    by it, and taking it out only where it is sure would make intervals too short where it is not. Between
    pots with something and without it, drift cancels.

    Parameters
    ----------
    measures : DataFrame
        As `measure_photos` gives them.
    patches : DataFrame, optional
        As `measure_targets` gives them: the target photographed alone tells the setup's own drift.
    recipes : DataFrame, optional
        ``pot``, ``firing`` where it is known, and the columns of the factors.
    factors : sequence of str
        Columns of the recipes. Amounts count as with or without, blank as none.
    drift_per_month : DataFrame, optional
        The setup's own drift where it is known otherwise: ``coordinate`` (L*, a*, b*), ``per month``,
        ``low``, ``high``, ``df``; in place of the patches.

    Returns
    -------
    Changes

    Raises
    ------
    SetupError
        No view of a pot was photographed on two days, or the recipes cannot tell what was asked.
    UnknownNameError
        A factor is not a column of the recipes.

    References
    ----------
    Kenward and Roger, Biometrics 53 (1997), and Holm, Scand. J. Statist. 6 (1979), as `fit_effects` uses
    them.

    Examples
    --------
    >>> seen = pd.DataFrame({
    ...     "photo": "", "pot": ["p1"] * 3 + ["p2"] * 3, "view": "front", "setup": "phone",
    ...     "taken": pd.to_datetime(["2026-03-01", "2026-04-01", "2026-05-01"] * 2),
    ...     "L*": [40, 40.9, 42.1, 45, 45.1, 44.9], "a*": [10, 8.9, 8.1, 8, 8.1, 8],
    ...     "b*": [12, 12.1, 12, 14, 14.1, 13.9],
    ... })  # fmt: skip
    >>> table = changes_over_time(seen).table.set_index(["pot", "coordinate"])
    >>> table.loc[("p1", "a*"), ["per month", "low", "high"]].astype(float).round(2).tolist()
    [-0.95, -1.24, -0.66]
    """
    readings, setup, left_out, notes = _readings(measures)
    pots = [pot for pot in dict.fromkeys(readings["pot"]) if pot not in set(left_out["pot"])]
    drift, told = known_drift(patches, setup, drift_per_month)
    used = drift or UNKNOWN_DRIFT
    along = ways_of_drift(readings, pots)
    shifted = less_drift(readings, along, used)
    table, joined, repeatability = change_table(shifted, pots, along, used)
    seen = shifted[shifted["pot"].isin(pots)].reset_index(drop=True)
    firings, asked, more = _recipes(recipes, factors, pots)
    fitted = Fitted(seen, along, used, firings)
    return Changes(
        setup,
        table.assign(
            distinguishable=(table["p Holm"] <= LIMIT) & (drift is not None),
            drift=table["drift"] if drift else np.nan,
        )[list(COLUMNS)],
        colour_changes(seen, pots, joined),
        on_average(fitted),
        by_recipe(fitted, asked),
        repeatability,
        drift is not None,
        left_out,
        (*notes, *told, *more),
    )


def _readings(measures: pd.DataFrame) -> tuple[pd.DataFrame, str, pd.DataFrame, list[str]]:
    """Photographs of pots in the setup that shows the most of them on several days, and who is left out."""
    lacking = [name for name in ("pot", "view", "setup", "taken", *AXES) if name not in measures]
    if lacking:
        raise SetupError("measures", f"no column {', '.join(lacking)}", "give what measure_photos returns")
    untreated = views_after(measures)
    out = " as it came out" if len(untreated) < len(measures) else ""
    table = untreated[["pot", "view", "setup", "taken", *AXES]]
    table = table[(table["pot"] != "") & table[list(AXES)].notna().all(axis=1)]
    table = table.assign(day=pd.to_datetime(table["taken"]).dt.normalize())
    undated = table["day"].isna()
    dated = table[~undated]
    days = dated.groupby(["setup", "pot", "view"])["day"].nunique()
    again = days[days > 1].reset_index().drop_duplicates(["setup", "pot"])
    if again.empty:
        raise SetupError(
            _WHERE,
            f"no view of a pot{out} was photographed on two days in one setup",
            "photograph the same side of some pots again in the same setup on another day, the target alone "
            "on each of these days too, and write the dates into the column taken",
        )
    counts = again["setup"].value_counts()
    best = counts[counts == counts.max()].index
    setup = dated[dated["setup"].isin(best)].groupby("setup")["day"].nunique().idxmax()
    chosen = set(again.loc[again["setup"] == setup, "pot"])
    here = dated[dated["setup"] == setup]
    reasons = [
        (pot, _reason(pot, set(here["pot"]), set(dated["pot"]), setup))
        for pot in dict.fromkeys(table["pot"])
        if pot not in chosen
    ]
    notes = [f"{undated.sum()} photographs without a date are left out."] * bool(undated.any())
    others = sorted(set(again["setup"]) - {setup})
    if others:
        notes.append(
            f"Photographs by {', '.join(others)} are left out: {setup} shows the most pots on several days."
        )
    # One photograph of a view says nothing of change, nor of scatter.
    held = here.groupby(["pot", "view"])["day"].transform("size") > 1
    kept = here[held].reset_index(drop=True)
    months = (kept["day"] - kept["day"].min()) / pd.Timedelta(days=MONTH)
    kept = kept.assign(months=months, **{"C*ab": lab_to_lch(kept[list(AXES)])[:, 1]})
    for label, columns in (("level", ["pot", "view"]), ("visit", ["pot", "view", "day"])):
        kept[label] = kept.groupby(columns, sort=False).ngroup()
    return kept, str(setup), pd.DataFrame(reasons, columns=["pot", "reason"]), notes


def _reason(pot: str, here: set[str], dated: set[str], setup: str) -> str:
    if pot not in dated:
        return "no photograph of it has a date"
    return f"no view of it on two days by {setup}" if pot in here else f"not photographed by {setup}"


def _recipes(
    recipes: pd.DataFrame | None, factors: Sequence[str], pots: list[str]
) -> tuple[pd.Series | None, list[Kinds], list[str]]:
    if recipes is None:
        if factors:
            raise SetupError("factors", "no recipes are given", "give the table of pots as well")
        return None, [], []
    held = recipes[recipes[find_column(recipes, "pot", "column")].isin(pots)].set_index("pot")
    twice = sorted(set(held.index[held.index.duplicated()]))
    if twice:
        raise SetupError("recipes", f"{', '.join(twice)} stands in two rows", "give one row to each pot")
    without = [pot for pot in pots if pot not in held.index]
    known = held.loc[[pot for pot in pots if pot in held.index]]
    notes = [f"Without a recipe, and left out of what is said by recipe: {', '.join(without)}."]
    firings = known["firing"].astype(str) if "firing" in known and not without else None
    return firings, read_kinds(known, factors), notes if without and factors else []
