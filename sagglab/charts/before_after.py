"""Pots before and after something was done to them, such as wax: each as it was, and as it is."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from scipy import stats

from sagglab.charts.alt import describe
from sagglab.charts.look import INK, QUIET, SMALL, axes, look, wrapped
from sagglab.charts.swatches import OUTSIDE, swatch
from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.model.wording import count
from sagglab.pages.numbers import decimal
from sagglab.setups.pairs import differences

#: What is written beside each pair.
_WRITTEN = ("ΔL*", "ΔC*", "ΔE00")
_KEY = "after less before; below 0: darker, less colourful"
#: Most pots one below the other; more stand in a block beside them.
_ROWS = 30
#: Letters in a line of a pot's name, of which there are two at most.
_NAME = 14
#: How many pots alternative text names.
_NAMED = 6

# Places in a block, in rows' heights: the swatches' left ends and size, the arrow, the numbers' right ends.
_BEFORE, _AFTER, _WIDE, _HIGH = 0.0, 2.8, 1.9, 0.84
_ARROW = (2.0, 2.7)
_NUMBERS = (6.3, 7.9, 9.5)
_MARGIN, _BLOCK = 3.6, 13.6
#: Inches of a row.
_ROW = 0.34


def before_after_chart(
    before: pd.DataFrame, after: pd.DataFrame, what: str = "wax", ax: Axes | None = None
) -> Axes:
    """Draw each pot's colour before and after something was done to it, side by side, with what changed.

    Parameters
    ----------
    before, after : DataFrame
        One row per pot, as `before_and_after` gathers them: seen by the same setup from the same sides. Pots
        of one of the tables alone, or without a colour, are left out.
    what : str
        What was done.
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes
        The pots from dark to light as they came out, with ΔL*, ΔC* and ΔE00 of each, after less before.
        Below, the mean changes with 95 % intervals (paired t, each pot once).

    Raises
    ------
    SetupError
        A table has no column ``pot``, ``L*``, ``a*`` or ``b*``, no pot is in both, or a pot stands in one of
        them twice or was seen otherwise before than after.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> before = pd.DataFrame({"pot": ["p1", "p2"], "L*": [30, 50], "a*": [6, 9], "b*": [8, 12]})
    >>> after = before.assign(**{"L*": [26, 45], "a*": [9, 12], "b*": [12, 16]})
    >>> print(before_after_chart(before, after).get_xlabel())
    mean of 2 pots, with 95 % intervals:
    ΔL* −4.5 (−10.9 to 1.9), ΔC* 5.0 (5.0 to 5.0); ΔE00 5.2
    after less before; below 0: darker, less colourful
    >>> plt.close()
    """
    pots, changes = _paired(before, after, what)
    blocks = -(-len(pots) // _ROWS)
    rows = -(-len(pots) // blocks)
    means = _means(changes)
    with look():
        head = _head(what)
        above = 0.8 + 0.5 * len(head)
        ax = axes(ax, max(5.6, _ROW * (blocks * _BLOCK + 0.4)), _ROW * (rows + above) + 1.3)
        outside = False
        for place, (pot, change) in enumerate(
            zip(pots.to_dict("records"), changes[list(_WRITTEN)].to_numpy(), strict=True)
        ):
            block, row = divmod(place, rows)
            outside |= _draw_pair(ax, block * _BLOCK, row, pot, change)
        for block in range(blocks):
            _draw_heads(ax, block * _BLOCK, head)
        ax.set_xlim(-_MARGIN, blocks * _BLOCK - _MARGIN)
        ax.set_ylim(rows - 0.4, -0.4 - above)
        ax.set_xticks([])
        ax.set_yticks([])
        for spine in ax.spines.values():
            spine.set_visible(False)
        letters = max(58, int(5.2 * blocks * _BLOCK))
        ax.set_title(wrapped(f"Pots before and after {what}", letters))
        below = [wrapped(line, letters) for line in (*_said(means, len(pots)), _KEY, *[OUTSIDE] * outside)]
        ax.set_xlabel("\n".join(below), linespacing=1.4, color=INK)
    return describe(ax, _words(pots, changes, means, what))


def _paired(before: pd.DataFrame, after: pd.DataFrame, what: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Pair the pots of both tables, from dark to light, and tell by how much each changed."""
    where, remedy = f"before and after {what}", "give both tables as before_and_after gathers them"
    known = []
    for table in (before, after):
        lacking = [name for name in ("pot", *AXES) if name not in table]
        if lacking:
            raise SetupError(where, f"a table has no column {', '.join(lacking)}", remedy)
        shown = table[table[list(AXES)].notna().all(axis=1)]
        twice = list(dict.fromkeys(shown.loc[shown["pot"].duplicated(), "pot"]))
        if twice:
            raise SetupError(where, f"{', '.join(twice)} stands in two rows", "give one row to each pot")
        known.append(shown[[name for name in ("pot", *AXES, "setup", "views") if name in table]])
    pots = known[0].merge(known[1], on="pot", suffixes=(" before", " after"))
    if pots.empty:
        raise SetupError(
            where,
            "no pot was measured both ways",
            f"photograph some pots again after {what}, and write '{what}' under after in the table photos",
        )
    unlike = np.zeros(len(pots), dtype=bool)
    for name in ("setup", "views"):
        if f"{name} before" in pots and f"{name} after" in pots:
            unlike |= (pots[f"{name} before"] != pots[f"{name} after"]).to_numpy()
    if unlike.any():
        raise SetupError(
            where,
            f"{', '.join(pots['pot'][unlike].astype(str))}: another setup, or more sides, before than after, "
            "which would be taken for a change",
            remedy,
        )
    pots = pots.sort_values("L* before", kind="stable").reset_index(drop=True)
    labs = (pots[[f"{axis} {when}" for axis in AXES]] for when in ("before", "after"))
    return pots, differences(*labs)


def _draw_pair(ax: Axes, left: float, row: int, pot: dict[str, object], change: np.ndarray) -> bool:
    name = "\n".join(textwrap.wrap(str(pot["pot"]), _NAME, max_lines=2, placeholder=" …"))
    style = {"va": "center", "fontsize": SMALL, "linespacing": 1.0}
    ax.text(left - 0.4, row, name, ha="right", **style)
    outside = False
    for x, when in ((_BEFORE, "before"), (_AFTER, "after")):
        lab = [pot[f"{axis} {when}"] for axis in AXES]
        outside |= swatch(ax, left + x, row - _HIGH / 2, _WIDE, _HIGH, lab)
    arrow = {"arrowstyle": "->", "color": INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}
    ax.annotate("", (left + _ARROW[1], row), (left + _ARROW[0], row), arrowprops=arrow)
    for x, value in zip(_NUMBERS, change, strict=True):
        ax.text(left + x, row, decimal(value, 1), ha="right", **style)
    return outside


def _head(what: str) -> list[str]:
    return textwrap.wrap(f"after {what}", 9, max_lines=2, placeholder=" …")


def _draw_heads(ax: Axes, left: float, after: list[str]) -> None:
    style = {"va": "bottom", "fontsize": SMALL, "color": QUIET, "linespacing": 1.0}
    for x, words in ((_BEFORE, "before"), (_AFTER, "\n".join(after))):
        ax.text(left + x + _WIDE / 2, -0.65, words, ha="center", **style)
    for x, words in zip(_NUMBERS, _WRITTEN, strict=True):
        ax.text(left + x, -0.65, words, ha="right", **style)


def _means(changes: pd.DataFrame) -> pd.DataFrame:
    """Mean changes with their 95 % intervals, not numbers for a single pot; by a paired t."""
    held = changes[list(_WRITTEN)]
    n = len(held)
    half = stats.t.ppf(0.975, n - 1) * held.sem() if n > 1 else np.nan
    return pd.DataFrame({"mean": held.mean(), "low": held.mean() - half, "high": held.mean() + half})


def _said(means: pd.DataFrame, pots: int) -> tuple[str, ...]:
    if pots == 1:
        return ("one pot does not tell how much others change",)
    # ΔE00 has no sign, so that its interval would tell nothing of whether there is a change.
    told = [
        f"{name} {decimal(row['mean'], 1)} ({decimal(row['low'], 1)} to {decimal(row['high'], 1)})"
        for name, row in means.drop(index="ΔE00").iterrows()
    ]
    whole = decimal(means.loc["ΔE00", "mean"], 1)
    return f"mean of {count(pots, 'pot')}, with 95 % intervals:", f"{', '.join(told)}; ΔE00 {whole}"


def _words(pots: pd.DataFrame, changes: pd.DataFrame, means: pd.DataFrame, what: str) -> str:
    one_by_one = [
        f"{pot} L* {before:.0f} to {after:.0f}"
        for pot, before, after in pots[["pot", "L* before", "L* after"]].itertuples(index=False)
    ]
    if len(pots) > _NAMED:
        most, least = changes["ΔE00"].idxmax(), changes["ΔE00"].idxmin()
        one_by_one = [
            f"{pots['pot'][place]} changes the {how}, ΔE00 {decimal(changes['ΔE00'][place], 1)}"
            for place, how in ((most, "most"), (least, "least"))
        ]
    said = " ".join(_said(means, len(pots)))
    return (
        f"Pairs of swatches, each pot's mean colour before and after {what}, {count(len(pots), 'pot')}. "
        f"{'; '.join(one_by_one)}. {said[0].upper()}{said[1:]} ({_KEY})."
    )
