"""What pots change over time, said in words and laid out for a notebook."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from sagglab.model.eye import by_eye
from sagglab.model.sentences import LIMIT
from sagglab.model.wording import count, said_p
from sagglab.pages.layout import report
from sagglab.pages.numbers import decimal, digits_for
from sagglab.setups.pot_changes import MONTHS_FORETOLD

if TYPE_CHECKING:
    from sagglab.setups.over_time import Changes

#: Columns that a page has room for.
_OF_POTS = ("pot", "coordinate", "per month", "low", "high", "p Holm", "distinguishable", "months more")
_OF_RECIPES = (
    "factor", "coordinate", "per month with", "per month without", "difference", "low", "high", "p Holm"
)  # fmt: skip


def sentences(changes: Changes) -> tuple[str, ...]:
    """Say which pots have changed, then what is so by recipe or on average, then each pot."""
    pots = [_pot(changes, pot, rows) for pot, rows in changes.table.groupby("pot", sort=False)]
    recipes = changes.by_recipe.groupby(["factor", "with"], sort=False)
    said = [_recipe(rows) for _, rows in recipes] if len(changes.by_recipe) else _average(changes.on_average)
    return (_answer(changes), *said, *pots)


def changes_page(changes: Changes) -> str:
    """Lay changes out as HTML: the answer, the sentences, notes, tables rounded for reading."""
    answer, *said = changes.sentences
    recipes = changes.by_recipe[list(_OF_RECIPES)] if len(changes.by_recipe) else changes.by_recipe
    table = changes.table[list(_OF_POTS)]
    table = table.assign(distinguishable=table["distinguishable"].map({True: "yes", False: "not yet"}))
    return report("", said, recipes, table, answer=answer, warned=changes.notes)


def _answer(changes: Changes) -> str:
    pots = list(dict.fromkeys(changes.table["pot"]))
    sure = list(dict.fromkeys(changes.table.loc[changes.table["distinguishable"], "pot"]))
    told = f"{count(len(pots), 'pot')} photographed by {changes.setup} on several days"
    if not changes.drift_known:
        return f"Of {told}, none can be told from the camera's own drift, which is not known."
    if not sure:
        return f"Of {told}, none has yet changed by more than the camera explains."
    return f"Of {told}, {len(sure)} changed by more than the camera explains: {', '.join(sure)}."


def _pot(changes: Changes, pot: str, rows: pd.DataFrame) -> str:
    dates = f"{rows['first'].iloc[0]:%Y-%m-%d} to {rows['last'].iloc[0]:%Y-%m-%d}"
    head = f"{pot}, {dates}, {rows['days'].iloc[0]} days:"
    if rows["p"].isna().all():
        return (
            f"{head} not photographed often enough to tell a change from the scatter of photographs; "
            "photograph it twice on one day, or on a third day."
        )
    sure = rows[rows["p Holm"] <= LIMIT]
    if not sure.empty:
        moved = "; ".join(f"{row['coordinate']} {_rate(row)}" for _, row in sure.iterrows())
        if not changes.drift_known:
            return f"{head} {moved}; not told apart from the camera's own drift, which is not known."
        whole = changes.colours.set_index("pot").loc[pot]
        ends = whole["ΔE00 low"], whole["ΔE00 high"]
        in_all = f"ΔE00 {whole['ΔE00']:.1f} ({ends[0]:.1f} to {ends[1]:.1f})"
        return f"{head} {moved}. In all {in_all}, {by_eye(*ends)}."
    nearest = rows.loc[rows["p"].idxmin()]
    doubt = ""
    if nearest["p"] <= LIMIT:
        doubt = f", not sure with so much asked at once (p {said_p(nearest['p Holm'])} allowing for all)"
    return (
        f"{head} no change is yet distinguishable from the camera. Nearest to it is {nearest['coordinate']}, "
        f"which {_rate(nearest)}{doubt}{_when(nearest['months more'], changes.drift_known)}."
    )


def _when(more: float, drift_known: bool) -> str:
    if not drift_known:
        return ""
    if math.isnan(more):
        return f"; at that rate it would not be within {MONTHS_FORETOLD} months more"
    return f"; at that rate it would be, photographed again {count(int(more), 'month')} after the last day"


def _recipe(rows: pd.DataFrame) -> str:
    sure = rows[rows["p Holm"] <= LIMIT]
    told = sure if not sure.empty else rows.loc[[rows["p"].idxmin()]]
    parts = []
    for _, row in told.iterrows():
        with_it = _rate(pd.Series({"per month": row["per month with"]} | _ends(row, "with ")))
        without = _rate(pd.Series({"per month": row["per month without"]} | _ends(row, "without ")), False)
        apart = pd.Series({"per month": row["difference"]} | _ends(row, ""))
        parts.append(
            f"{row['coordinate']} {with_it}, {_other(row)} {without}: {_span(apart, 'a difference of')}"
        )
    name = rows["with"].iloc[0]
    head = name if name.startswith("with ") else f"{rows['factor'].iloc[0]} {name}"
    pots = f"{rows['pots with'].iloc[0]} pots against {rows['pots without'].iloc[0]}"
    doubt = f"; not sure (p {said_p(told['p Holm'].iloc[0])} allowing for all)" if sure.empty else ""
    return f"{head[:1].upper()}{head[1:]}, {'; '.join(parts)}{doubt}. On {pots}."


def _ends(row: pd.Series, which: str) -> dict[str, float]:
    return {"low": row[f"{which}low"], "high": row[f"{which}high"]}


def _other(row: pd.Series) -> str:
    return "without" if row["without"].startswith("without ") else f"with {row['without']}"


def _average(rows: pd.DataFrame) -> list[str]:
    if rows.empty:
        return []
    sure = rows[rows["p Holm"] <= LIMIT]
    told = sure if not sure.empty else rows.loc[[rows["p"].idxmin()]]
    moved = "; ".join(f"{row['coordinate']} {_rate(row)}" for _, row in told.iterrows())
    doubt = f"; not sure (p {said_p(told['p Holm'].iloc[0])} allowing for all)" if sure.empty else ""
    return [f"On average over {rows['pots'].iloc[0]} pots, {moved}{doubt}."]


def _rate(row: pd.Series, in_full: bool = True) -> str:
    """Say a rate with its interval: both ends without a sign where they agree with it."""
    if in_full:
        return _span(row, "fell by" if row["per month"] < 0 else "rose by")
    return _span(row, "it fell by" if row["per month"] < 0 else "it rose by", False)


def _span(row: pd.Series, verb: str, in_full: bool = True) -> str:
    places = max(min(digits_for((row["high"] - row["low"]) / 2), 2), 0)
    rate, low, high = (decimal(abs(row[name]), places) for name in ("per month", "low", "high"))
    if row["low"] * row["high"] > 0:
        low, high = sorted((low, high), key=float)
        ends = f"{low} to {high}"
    else:
        ends = f"a fall of {low} to a rise of {high}"
    if not in_full:
        return f"{verb} {rate} ({ends})"
    return f"{verb} {rate} per month (95 % interval {ends})"
