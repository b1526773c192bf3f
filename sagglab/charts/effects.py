"""Effects as points with their intervals, and in colours from one end to the other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.look import INK, QUIET, SMALL, axes, check_result, look, wrapped
from sagglab.charts.shown import amount_said
from sagglab.charts.swatches import OUTSIDE, swatch
from sagglab.colour import AXES
from sagglab.model.effects import Effects
from sagglab.model.sentences import Said
from sagglab.model.terms import Factor
from sagglab.model.wording import label, step, tried_in_words, words_for
from sagglab.units import parse_heading

#: Letters in a line of a name, and of what is written above and below.
_NAME, _LINE = 34, 52
#: Inches that a letter, and a line of them, take at most.
_LETTER, _LINE_HEIGHT = 0.092, 0.19
#: Inches of a swatch, of the arrow between two, and around all of it; a row's share that a swatch is high.
_SWATCH, _ARROW, _AROUND, _TALL = 0.36, 0.3, 0.12, 0.62
#: Most letters of what stands beside a swatch, and inches of one of them.
_END, _END_LETTER = 17, 0.085
#: The most of the chart that swatches may take.
_MOST = 0.5
#: What the swatches show.
_SWATCHES = "swatches: the pots' mean colour, from one end of what was tried\nto the other in {} alone"
#: What a step on a scale in °C is in the other.
_IN_F = {"degC": "°F", "degC/h": "°F/h"}
#: What stands in a chart without effects.
_NOTHING = "the data cannot tell any effect"


class _Row(NamedTuple):
    """An effect as drawn: its name, its size in words, and the outcome and its own words at both ends."""

    name: str
    said: Said
    outcome: tuple[float, float]
    ends: tuple[str, str]


def effect_chart(effects: Effects, ax: Axes | None = None) -> Axes:
    """Draw each effect with its 95 % interval, and the pots' mean colour at both its ends.

    Amounts are shown as with against without where some pots had none, and else for each unit; shares over
    all that was tried, in percentage points. An effect that is sure is filled; one that the data cannot tell
    is hollow; one that is clear by itself, but not among so many asked at once, is half filled. Where the
    outcome is a coordinate of colour, two swatches show what the pots' mean colour would be at either end,
    by the estimate.

    Parameters
    ----------
    effects : Effects
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes
        The difference of the outcome across, the first effect on top.

    Raises
    ------
    ModelError
        It was given something else than the result of `fit_effects`.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> import pandas as pd
    >>> from sagglab.charts import alt_text
    >>> from sagglab.model.effects import fit_effects
    >>> pots = {"firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2}
    >>> pots = pd.DataFrame(pots | {"L*": [44, 43, 40, 39, 46, 45, 41, 39]})
    >>> print(alt_text(effect_chart(fit_effects(pots, factors=["sugar"]))))  # doctest: +NORMALIZE_WHITESPACE
    Chart of effects on L*, as points with 95 % intervals. with sugar: 4.7 L* darker, interval 3.0 to 6.5,
    sure. L* of 8 pots in 2 firings.
    >>> plt.close()
    """
    check_result(effects, Effects, "effect_chart", "fit_effects")
    shown = list(_effect_rows(effects))[::-1]
    names = [wrapped(row.name, _NAME) for row in shown]
    lines = [name.split("\n") for name in names]
    widest = max((len(line) for name in lines for line in name), default=0)
    pitch = max(0.42, 0.1 + _LINE_HEIGHT * max(map(len, lines), default=1))
    words = words_for(effects.outcome)
    of = f"{effects.outcome}, % points" if effects.scale.is_share else effects.outcome
    below = f"← {words.less}     difference in {of}     {words.more} →"
    if len(below) > _LINE:
        below = f"{wrapped(f'difference in {of}', _LINE)}\n← {words.less}          {words.more} →"
    below += "\nfilled: sure; half filled: clear by itself, not among so many;\nhollow: the data cannot tell"
    colours = _colours(effects, shown) if shown else None
    swatches = [] if colours is None else [_SWATCHES.format(effects.outcome)]
    title = wrapped(f"What changed {effects.outcome}, with 95 % intervals", _LINE)
    more = title.count("\n") + below.count("\n") - 2 + 2 * len(swatches)
    beside = 0.0 if colours is None else _beside(shown, _END)
    with look():
        width, height = 5.2 + _LETTER * widest, 1.6 + _LINE_HEIGHT * more + pitch * max(1, len(shown))
        ax = axes(ax, max(7.2, width) + beside, height)
        ax.axvline(0, color=QUIET, linewidth=0.8, zorder=0)
        for place, row in enumerate(shown):
            _draw(ax, place, row.said, words.scale if effects.scale.is_share else 1.0)
        if not shown:
            ax.text(0.5, 0.5, _NOTHING, ha="center", va="center", transform=ax.transAxes)
        ax.set_yticks(range(len(shown)), names, linespacing=1.1)
        ax.set_ylim(-0.6, max(1, len(shown)) - 0.4)
        ax.set_xlabel("\n".join([below, *swatches]))
        ax.set_title(title)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        if colours is not None:
            said = _draw_ends(ax, effects.outcome, shown, colours)
            ax.set_xlabel("\n".join([below, *said]))
    return describe(ax, _in_words(effects, shown[::-1]))


def _effect_rows(effects: Effects) -> Iterator[_Row]:
    """Yield what the chart shows of each effect that could be had."""
    table = effects.table.set_index("term")
    words = words_for(effects.outcome)
    for factor in effects.factors:
        labels = {row.name: row.name for row in factor.rows()}
        presence = factor.presence().term_name
        whole = effects.scale.is_share or factor.form != "amount"
        # With against without, unless reckoning by the amount alone shows anything: as the sentence.
        clear = ((table["low"] > 0) | (table["high"] < 0)).to_dict()
        told = presence in table.index and not np.isnan(table.loc[presence, "low"])
        if told and (clear[presence] or not clear.get(factor.term_name, False)):
            labels = {presence: f"with {label(factor)}"}
        elif factor.is_amount and factor.form != "with or without" and not factor.constant:
            labels = {factor.term_name: f"{label(factor)}, {_span(factor) if whole else _step(factor)}"}
        for number, (term, text) in enumerate(labels.items()):
            row = table.loc[term]
            if np.isnan(row["low"]):
                continue
            if whole:
                reached = row[["to", "to low", "to high"]].to_numpy(dtype=float) - row["from"]
            else:
                times = step(factor)[2] if factor.is_amount and term != presence else 1.0
                reached = row[["estimate", "low", "high"]].to_numpy(dtype=float) * times
            outcome = (float(row["from"]), float(row["to"]))
            said = Said(*reached, row["p"], row["p Holm"], (math.nan,) * 4, words)
            yield _Row(text, said, outcome, _ends(factor, term == presence, number))


def _span(factor: Factor) -> str:
    """Say from where to where an amount was tried, a temperature on both scales."""
    if factor.unit not in _IN_F:
        return tried_in_words(factor)
    return f"{amount_said(factor, factor.low)} to {amount_said(factor, factor.high)}"


def _step(factor: Factor) -> str:
    """Say the step of an amount, of a temperature on both scales."""
    said, _, size = step(factor)
    if factor.unit not in _IN_F:
        return said
    short = said.split()[2]
    return said.replace(short, f"{short} ({size * 1.8:g} {_IN_F[factor.unit]})")


def _ends(factor: Factor, presence: bool, number: int) -> tuple[str, str]:
    """Say what stands at both ends of an effect."""
    if presence:
        return "without", "with"
    if factor.is_amount:
        return amount_said(factor, factor.low), amount_said(factor, factor.high)
    if len(factor.levels) == 2:
        return factor.levels[0], factor.levels[1]
    return "mean", factor.levels[number]


def _draw(ax: Axes, place: int, said: Said, scale: float) -> None:
    ends = [scale * said.low, scale * said.high]
    ax.plot(ends, [place, place], color=INK, linewidth=1.6, solid_capstyle="butt")
    ax.plot(
        scale * said.estimate, place, "o", markersize=8, markeredgecolor=INK, markerfacecoloralt="white",
        markerfacecolor=INK if said.clear else "white",
        fillstyle="full" if said.sure or not said.clear else "left",
    )  # fmt: skip


def _colours(effects: Effects, shown: Sequence[_Row]) -> np.ndarray | None:
    """Give the pots' mean colour at both ends of each effect, shape (n, 2, 3); nothing of other outcomes."""
    axis, _, kind = parse_heading(effects.outcome).name.partition(" ")
    if effects.colour is None or axis not in AXES or kind not in ("", "mean", "median"):
        return None
    colours = np.tile(np.array(effects.colour, dtype=float), (len(shown), 2, 1))
    colours[..., AXES.index(axis)] = [row.outcome for row in shown]
    return colours


def _beside(shown: Sequence[_Row], letters: int) -> float:
    """Inches that the swatches take, with words of so many letters beside them."""
    longest = [max(len(_short(row.ends[k], letters)) for row in shown) for k in (0, 1)]
    return 2 * (_SWATCH + _AROUND) + _ARROW + _END_LETTER * sum(longest)


def _short(end: str, letters: int) -> str:
    """Leave out what is too long: the effect's name says it, too."""
    return end if len(end) <= letters else ""


def _draw_ends(ax: Axes, outcome: str, shown: Sequence[_Row], colours: np.ndarray) -> list[str]:
    """Draw both colours of each effect to the right of all intervals; give what the words below must say.

    The axes are widened by them; their scale stays as far as it goes now.
    """
    figure = ax.get_figure(root=True)
    figure.draw_without_rendering()
    left, right = ax.get_xlim()
    room = ax.bbox.width / figure.dpi
    letters = next((most for most in (_END, 0) if _beside(shown, most) < _MOST * room), None)
    if letters is None:
        # Of a chart that is so small, the intervals are what matters.
        return []
    inch = (right - left) / (room - _beside(shown, letters))
    ax.set_xticks([tick for tick in ax.get_xticks() if left <= tick <= right])
    ax.set_xlim(left, left + room * inch)
    ax.spines["bottom"].set_bounds(left, right)
    ax.xaxis.label.set_x((right - left) / (room * inch) / 2)
    longest = max(len(_short(row.ends[0], letters)) for row in shown)
    first = right + (_AROUND + _END_LETTER * longest + 0.05) * inch
    second = first + (_SWATCH + _ARROW) * inch
    outside = False
    for place, (row, pair) in enumerate(zip(shown, colours, strict=True)):
        for start, lab, end, beside, side in (
            (first, pair[0], row.ends[0], -0.05, "right"),
            (second, pair[1], row.ends[1], _SWATCH + 0.05, "left"),
        ):
            outside |= swatch(ax, start, place - _TALL / 2, _SWATCH * inch, _TALL, lab)
            if words := _short(end, letters):
                ax.text(start + beside * inch, place, words, fontsize=SMALL, ha=side, va="center")
        ax.text(second - _ARROW / 2 * inch, place, "→", ha="center", va="center")
    return ["; ".join([_SWATCHES.format(outcome), *[OUTSIDE] * outside])]


def _in_words(effects: Effects, shown: Sequence[_Row]) -> str:
    told = "; ".join(f"{row.name}: {_told(row.said)}" for row in shown) or _NOTHING
    return f"Chart of effects on {effects.outcome}, as points with 95 % intervals. {told}. {effects.counts}."


def _told(said: Said) -> str:
    if not said.clear:
        return f"the data cannot tell, {said.anywhere()}"
    sure = "sure" if said.sure else "clear by itself, not among so many"
    return f"{said.full()}, interval {said.reach()}, {sure}"
