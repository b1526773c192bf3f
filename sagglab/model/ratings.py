"""Ratings: which choices go with pots that their maker rated higher.

Ordered logit with the firings as blocks. With few pots in a firing the likelihood ratio is larger than
chi-squared says, so it is held against the same ratings dealt anew within their firings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model.aliases import independent_basis
from sagglab.model.deals import DEALS, Deals
from sagglab.model.odds import Line, Odds, OddsWords
from sagglab.model.rows import Rows, read_rows
from sagglab.model.terms import read_factor
from sagglab.model.wording import count
from sagglab.progress import progress

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

METHOD = f"ordered logit, firings as blocks; likelihood ratio against {DEALS} deals within firings"
_MEAN = "the mean of the {levels} kinds of {name}"
WORDS = OddsWords("were rated higher", "were rated lower", "the odds of a higher rating", _MEAN)
#: More different numbers than this are a measure, not ratings; a wider step than this is looked at.
_MOST_RATINGS, _STEP = 10, 5
#: A share of the pots that is no part of the scale when it lies beyond such a step.
_FEW = 0.1


def fit_ratings(
    results: pd.DataFrame,
    factors: Sequence[str],
    rating: str = "rating",
    firing: str = "firing",
    forms: Mapping[str, str] | None = None,
) -> Odds:
    """Judge which factors go with pots that were rated higher, all factors together.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    factors : sequence of str
        Columns, by heading (``sugar [g]``) or by bare name (``sugar``). Numbers are amounts, text is a
        category.
    rating : str
        The column of ratings: whole numbers, more is better. A pot without one is left out.
    firing : str
        The column that says which firing a pot went through.
    forms : mapping of str to str, optional
        The form in which an amount enters, by factor, such as ``with or without``.

    Returns
    -------
    Odds
        The estimate is the log odds ratio of a higher rating per unit; of a category of two levels the
        second against the first, of more each level against their mean. The p is the share of deals whose
        likelihood ratio is as large: exact when no factor matters, near it otherwise. The interval holds
        what a likelihood ratio within 95 % of the deals allows. The estimate itself is not corrected: with
        six pots in a firing, log odds come out about 1.2 times too far from zero. A factor that puts the
        ratings within firings in order without a miss has one end only, and the others are judged without it
        where it leaves nothing for them; the notes say so. The order of the rows does not matter.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        Ratings that are not whole numbers or no scale, one rating only, firings all rated alike, too few
        pots, factors that cannot be told apart.

    References
    ----------
    McCullagh, J. Roy. Statist. Soc. B 42 (1980), for the model.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 8 + ["f2"] * 8,
    ...     "sugar [g]": [0, 1, 2, 3] * 4,
    ...     "rating": [1, 2, 2, 4, 4, 3, 1, 3, 2, 5, 4, 5, 3, 4, 3, 5],
    ... })
    >>> odds = fit_ratings(pots, ["sugar"])
    >>> odds.table[["term", "estimate", "p"]].round(3).to_numpy().tolist()
    [['sugar', 0.955, 0.077]]
    >>> print(odds.sentence("sugar"))  # doctest: +NORMALIZE_WHITESPACE
    For each gram of sugar, the data cannot tell: anywhere from 0.90 to 8.7 times the odds of a higher rating
    fits, judged on 16 pots in 2 firings.
    """
    rows = read_rows(results, rating, factors, [firing], forms)
    where = f"model of {rows.outcome}"
    _check(rows)
    rows = _in_one_order(rows)
    y = rows.y
    codes, names = pd.factorize(rows.labels(rows.groups[-1]))
    used = _telling(y, codes)
    if not used.any():
        cause = "no firing tells anything: each has one pot, or one rating at an end of the scale"
        raise ModelError(where, cause, "add firings whose pots are rated differently")
    table, blocks = rows.table[used], codes[used]
    known = tuple(
        read_factor(f.heading, table[f.heading], f.levels, f.name == f.heading, f.form) for f in rows.factors
    )
    reasons = {f: _reason(table[f.heading], blocks, rows.table[f.heading], codes) for f in known}
    judged = [factor for factor in known if not reasons[factor]]
    coded = {factor: _within(factor.code(table[factor.heading]), blocks) for factor in judged}
    levels, y = np.unique(y[used], return_inverse=True)
    firings = len(np.unique(blocks))
    parameters = len(levels) + firings - 2 + sum(block.shape[1] for block in coded.values())
    if judged:
        columns = [name for factor in judged for name in factor.columns]
        independent_basis(np.hstack(list(coded.values())), columns, where)
    if judged and len(y) <= parameters:
        cause = f"{count(len(y), 'pot')} cannot settle {parameters} figures"
        raise ModelError(where, cause, "ask for fewer factors, or rate more pots")
    deals = Deals.dealt(y, blocks, coded)
    lines = []
    with progress("judging", len(known), "choices") as step:
        for factor in known:
            stratum = "pot" if factor in coded or "firings that tell" in reasons[factor] else "firing"
            for row in factor.rows():
                told = (stratum, METHOD, reasons[factor], len(y), firings)
                line = Line(row.name, *[np.nan] * 4, row.per, *told)
                lines.append(deals.judged(line, factor, row) if factor in coded else line)
            step()
    counts = len(rows.y), len(names)
    warned = _warnings(len(y), parameters, len(names) - firings)
    return Odds.from_lines(lines, rows.outcome, counts, rows.left_out, warned, known, WORDS)


def _in_one_order(rows: Rows) -> Rows:
    """Put the rows in an order that rests on what they hold, so that each deal is the same for any table."""
    keys = {str(at): rows.table[at] for at in sorted(factor.heading for factor in rows.factors)}
    order = pd.DataFrame({**keys, "rated": rows.y}).assign(firing=rows.labels(rows.groups[-1]))
    order = order.reset_index(drop=True).sort_values(["firing", *keys, "rated"], kind="stable")
    return replace(rows, table=rows.table.iloc[order.index])


def _check(rows: Rows) -> None:
    """Refuse numbers that are no ratings."""
    y, where = rows.y, f"column '{rows.outcome}'"
    odd = np.unique(y[y != np.round(y)])
    if len(odd):
        held = ", ".join(f"{value:g}" for value in odd[:5])
        raise ModelError(where, f"it holds {held}, and ratings are whole numbers", "write 1 to 5")
    values = np.unique(y)
    if len(values) == 1:
        raise ModelError(where, f"every pot is rated {y[0]:g}", "rate the pots against each other")
    steps = np.diff(values)
    widest = int(steps.argmax())
    above = y > values[widest]
    beyond = above if above.mean() < 0.5 else ~above
    stray = steps[widest] > _STEP and (steps < steps[widest]).sum() == len(steps) - 1
    if stray and beyond.sum() <= max(_FEW * len(y), 1) and len(np.unique(y[~beyond])) <= _MOST_RATINGS:
        pots = rows.table["pot"] if "pot" in rows.table else [f"row {row}" for row in rows.table.index]
        rated = [f"{pot} is rated {value:g}" for pot, value, far in zip(pots, y, beyond, strict=True) if far]
        others = f"where the others have {y[~beyond].min():g} to {y[~beyond].max():g}"
        raise ModelError(where, f"{', '.join(rated)}, {others}", "mend it, or leave it blank")
    if len(values) > _MOST_RATINGS:
        span = f"{len(values)} different numbers, from {values[0]:g} to {values[-1]:g}"
        remedy = "write 1 to 5; for a measure, name its column in another way and use fit_effects"
        raise ModelError(where, f"it holds {span}, and that is no scale of ratings", remedy)


def _telling(y: Floats, codes: Whole) -> NDArray[np.bool_]:
    """Find the pots of firings that can tell something, shape (n,).

    One pot is fitted by its own block whatever the factors do; so are pots that all have the highest or all
    the lowest rating, and with them out of the way another rating may be the highest.
    """
    used = np.ones(len(y), dtype=bool)
    while used.any():
        ends = y[used].min(), y[used].max()
        inside = pd.Series(y).groupby(codes)
        least, most = inside.transform("min").to_numpy(), inside.transform("max").to_numpy()
        dull = (least == most) & np.isin(y, ends) | (inside.transform("size").to_numpy() == 1)
        if not (used & dull).any():
            break
        used &= ~dull
    return used


def _within(block: Floats, codes: Whole) -> Floats:
    """Take each firing's mean off."""
    frame = pd.DataFrame(block)
    return (frame - frame.groupby(codes).transform("mean")).to_numpy()


def _reason(values: pd.Series, blocks: Whole, every: pd.Series, codes: Whole) -> str:
    """Say why a factor cannot be judged, from its values where firings tell and everywhere; or empty."""
    if values.groupby(blocks).nunique().max() > 1:
        return ""
    if every.groupby(codes).nunique().max() > 1:
        return "it never differs within the firings that tell something about ratings"
    if (every == every.iloc[0]).all():
        return "it is the same on every pot"
    return "it never differs within a firing, so it cannot be told from the firing itself"


def _warnings(pots: int, parameters: int, dull: int) -> list[str]:
    warned = []
    if dull:
        tells = "tells" if dull == 1 else "tell"
        why = "a single pot, or all pots with the highest or all with the lowest rating"
        warned.append(f"{count(dull, 'firing')} {tells} nothing here: {why}.")
    if pots < 10 * parameters:
        warned.append(
            f"Few pots: {pots} for {parameters} figures to be settled, where ten for each are wanted; take "
            "the odds as rough, and as likely too far from 1."
        )
    return warned
