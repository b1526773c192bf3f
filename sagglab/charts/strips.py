"""Strips: the pots of each recipe along an outcome, in their own colours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from numpy.typing import NDArray

from sagglab.charts.alt import describe
from sagglab.charts.dots import measured_dots
from sagglab.charts.look import INK, LETTERS, QUIET, SMALL, across, axes, look, wrapped
from sagglab.charts.shown import (
    Shown,
    about_dots,
    at_start,
    in_recipe,
    name_of,
    name_outcome,
    shown_pots,
    value_in_words,
)
from sagglab.errors import ModelError
from sagglab.model.table_checks import check_name_of_outcome
from sagglab.model.wording import count, words_for

#: Most strips that are drawn; of more, the first and the last.
MOST = 40

#: Letters in a line of what is written above and below, and of a recipe's name, here and on a phone.
_LINE, _NAMES = 66, (46, 14)
#: Inches across of the strips, here and on a phone.
_ACROSS = (4.6, 1.8)
#: Inches of a letter and of a line of them.
_LETTER, _LINE_HEIGHT = 0.078, 0.16
#: Points that a dot takes with its edge and a gap, and inches of the lowest strip.
_DOT, _LOWEST = 7.6, 0.3
#: Share of a strip that seaborn lets its dots take, and how far the mark of its mean reaches to either side.
_SWARM, _MARK = 0.8, 0.42
#: So many recipes are all told in words.
_TOLD = 4


def outcome_strips(
    results: pd.DataFrame, by: str | Sequence[str], outcome: str = "L*", ax: Axes | None = None
) -> Axes:
    """Draw a strip for each recipe, its pots as dots in their measured colours along an outcome.

    Strips of one amount stand in its order, others in the order of their means, the least on top; an upright
    mark is the mean. Dots that would hide one another stand one above the other. Values are as measured: what
    each firing did is in them.

    Parameters
    ----------
    results : DataFrame
        One row per pot, with ``L*``, ``a*``, ``b*``.
    by : str or sequence of str
        Columns by heading or bare name; each of their combinations is a recipe.
    outcome : str
        A column of numbers that have a mean.
    ax : Axes, optional
        New ones where not given, as high as the strips need.

    Returns
    -------
    Axes

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        No column is named, it is no table, the outcome is not of numbers or has no mean, or no pot has all.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> pots = {"pot": ["p1", "p2", "p3"], "sugar [g]": [4, 0, 4], "clay": ["buff", "buff", "white"]}
    >>> pots = pd.DataFrame(pots | {"L*": [30, 50, 40], "a*": [8, 12, 10], "b*": [6, 9, 8]})
    >>> [strip.get_text() for strip in outcome_strips(pots, by=["sugar", "clay"]).get_yticklabels()]
    ['sugar 4 g, buff', 'sugar 4 g, white', 'no sugar, buff']
    >>> plt.close()
    """
    by = [by] if isinstance(by, str) else list(by)
    if not by:
        raise ModelError("outcome_strips", "no column is named", "name one at least, as in by=['sugar']")
    check_name_of_outcome(outcome)
    shown = shown_pots(results, [*by, outcome], [outcome], "outcome_strips")
    *by, outcome = shown.headings
    pots = pd.DataFrame(
        {
            "recipe": [", ".join(map(in_recipe, by, row)) for row in shown.table[by].itertuples(index=False)],
            "value": shown.table[outcome],
            "at": range(len(shown.table)),
        }
    )
    strips = pots.groupby("recipe", sort=False)["value"].agg(["mean", "size", "min", "max"])
    by_amount = len(by) == 1 and pd.api.types.is_numeric_dtype(shown.table[by[0]].dtype)
    if by_amount:
        rising = shown.table[by[0]].sort_values(kind="stable").index
        strips = strips.loc[pots["recipe"].loc[rising].unique()]
    else:
        # The name decides where means are the same, so that the chart does too.
        strips = strips.sort_index().sort_values("mean", kind="stable")
    drawn = strips if len(strips) <= MOST else pd.concat([strips[: MOST // 2], strips[-MOST // 2 :]])
    pots = pots[pots["recipe"].isin(drawn.index)]
    names = [wrapped(name, int(across(*_NAMES))) for name in drawn.index]
    lines = [line for name in names for line in name.split("\n")]
    strip = across(*_ACROSS)
    width = strip + 1.9 + _LETTER * max(map(len, lines))
    letters = min(_LINE, int(LETTERS * width))
    title = wrapped(
        at_start(f"{name_of(outcome)} of {count(len(shown.table), 'pot')} by {_listed(by)}"), letters
    )
    below = [
        "upright mark: mean of the row; broken line: mean of all",
        "values are as measured: what each firing did is in them",
        *([] if drawn is strips else [f"dotted: {len(strips) - MOST} recipes between are not shown"]),
        *about_dots(shown.lab[pots["at"]]),
        *filter(None, [shown.left_out]),
    ]
    below = [wrapped(line, letters) for line in below]
    pitch = max(_lowest(pots, strip), 0.1 + _LINE_HEIGHT * max(name.count("\n") + 1 for name in names))
    with look():
        high = 1.2 + 0.2 * sum(words.count("\n") + 1 for words in (title, *below)) + pitch * len(names)
        ax = axes(ax, width, high)
        ax.set_title(title)
        name_outcome(ax, outcome, below)
        ax.set_xlim(*_span(pots["value"]))
        ax.set_ylim(len(names) - 0.5, -0.5)
        ax.set_yticks(range(len(names)), names, fontsize=10, linespacing=1.1)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        ax.axvline(shown.table[outcome].mean(), color=QUIET, linewidth=0.8, dashes=(4, 3), zorder=1)
        if drawn is not strips:
            ax.axhline(MOST / 2 - 0.5, color=QUIET, linewidth=0.8, linestyle=":", zorder=1)
        for place, strip in enumerate(drawn.itertuples()):
            ax.plot([strip.mean] * 2, [place - _MARK, place + _MARK], color=INK, linewidth=2, zorder=2)
            ax.text(
                1.02, place, f"mean {value_in_words(outcome, strip.mean)} ({count(strip.size, 'pot')})",
                transform=ax.get_yaxis_transform(), va="center", fontsize=SMALL, color=QUIET,
            )  # fmt: skip
        order = list(drawn.index)
        measured_dots(ax, *_swarm(ax, pots, order), shown.lab[pots["at"]])
    order_said = f"the order of {name_of(by[0])}" if by_amount else "the order of their means"
    return describe(ax, _said(outcome, by, strips, shown, order_said))


def _listed(names: Sequence[str]) -> str:
    *first, last = map(name_of, names)
    return f"{', '.join(first)} and {last}" if first else last


def _span(values: pd.Series) -> tuple[float, float]:
    edge = 0.05 * (values.max() - values.min()) or 1.0
    return values.min() - edge, values.max() + edge


def _lowest(pots: pd.DataFrame, strip: float) -> float:
    """Tell how many inches a strip needs for its dots, where they stand closest."""
    low, high = _span(pots["value"])
    apart = _DOT / 72 / strip * (high - low)
    closest = 1
    for values in pots.groupby("recipe")["value"]:
        along = np.sort(values[1].to_numpy())
        closest = max(closest, *(np.searchsorted(along, along + apart) - np.arange(len(along))))
    return max(_LOWEST, closest * _DOT / 72 / _SWARM)


def _swarm(ax: Axes, pots: pd.DataFrame, order: list[str]) -> NDArray[np.float64]:
    """Place the dots, shape (2, n): in the order of the pots, none over another where there is room."""
    places = pots["recipe"].map({recipe: place for place, recipe in enumerate(order)}).to_numpy()
    before = set(ax.collections)
    sns.swarmplot(
        x=pots["value"].to_numpy(), y=places, order=range(len(order)), orient="h", native_scale=True,
        size=_DOT, linewidth=0, color=INK, warn_thresh=1, ax=ax,
    )  # fmt: skip
    # seaborn places the dots as they are drawn; where they came to stand they are drawn in their colours.
    ax.get_figure(root=True).draw_without_rendering()
    spots = np.empty((2, len(pots)))
    for place, swarm in enumerate(part for part in ax.collections if part not in before):
        spots[:, places == place] = swarm.get_offsets().T
        swarm.remove()
    return spots


def _said(outcome: str, by: Sequence[str], strips: pd.DataFrame, shown: Shown, order: str) -> str:
    """Say in words what the strips show."""
    told = [
        f"{recipe}: mean {value_in_words(outcome, strip.mean)} ({count(strip.size, 'pot')}, "
        f"{value_in_words(outcome, strip.min)} to {value_in_words(outcome, strip.max)})"
        for recipe, strip in zip(strips.index, strips.itertuples(index=False), strict=True)
    ]
    if len(told) > _TOLD:
        told = [f"first {told[0]}", f"last {told[-1]}"]
    words = words_for(outcome)
    said = (
        f"Strips of dots: {name_of(outcome)} of {count(len(shown.table), 'pot')} by {_listed(by)}, from "
        f"{words.less} to {words.more}, each pot in its measured colour, in {count(len(strips), 'recipe')}. "
        f"Recipes in {order}: {'; '.join(told)}."
    )
    return f"{said} {shown.left_out}." if shown.left_out else said
