"""Effects as points with their intervals."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from matplotlib.axes import Axes

from sagglab.charts.look import INK, QUIET, axes, check_result, look, wrapped
from sagglab.model.effects import Effects
from sagglab.model.sentences import LIMIT
from sagglab.model.wording import label, step, tried_in_words, words_for

#: Letters in a line of a name, and of what is written above and below.
_NAME, _LINE = 34, 52
#: Inches that a letter, and a line of them, take at most.
_LETTER, _LINE_HEIGHT = 0.092, 0.19


def effect_chart(effects: Effects, ax: Axes | None = None) -> Axes:
    """Draw each effect with its 95 % interval.

    Amounts are shown as with against without where some pots had none, and else for each unit; shares over
    all that was tried, in percentage points. An effect that is sure is filled; one that the data cannot tell
    is hollow; one that is clear by itself, but not among so many asked at once, is half filled.

    Raises
    ------
    ModelError
        It was given something else than the result of `fit_effects`.
    """
    check_result(effects, Effects, "effect_chart", "fit_effects")
    shown = list(_effect_rows(effects))[::-1]
    names = [wrapped(name, _NAME) for name, *_ in shown]
    lines = [name.split("\n") for name in names]
    widest = max((len(line) for name in lines for line in name), default=0)
    pitch = max(0.42, 0.1 + _LINE_HEIGHT * max(map(len, lines), default=1))
    words = words_for(effects.outcome)
    of = f"{effects.outcome}, % points" if effects.scale.is_share else effects.outcome
    below = f"← {words.less}     difference in {of}     {words.more} →"
    if len(below) > _LINE:
        below = f"{wrapped(f'difference in {of}', _LINE)}\n← {words.less}          {words.more} →"
    title = wrapped(f"What changed {effects.outcome}, with 95 % intervals", _LINE)
    more = title.count("\n") + below.count("\n")
    with look():
        ax = axes(ax, max(7.2, 5.2 + _LETTER * widest), 1.6 + _LINE_HEIGHT * more + pitch * len(shown))
        ax.axvline(0, color=QUIET, linewidth=0.8, zorder=0)
        for place, (_, estimate, low, high, p) in enumerate(shown):
            clear = low > 0 or high < 0
            sure = clear and not p > LIMIT
            ax.plot([low, high], [place, place], color=INK, linewidth=1.6, solid_capstyle="butt")
            ax.plot(
                estimate, place, "o", markersize=8, markeredgecolor=INK, markerfacecoloralt="white",
                markerfacecolor=INK if clear else "white", fillstyle="full" if sure or not clear else "left",
            )  # fmt: skip
        ax.set_yticks(range(len(shown)), names, linespacing=1.1)
        ax.set_ylim(-0.6, len(shown) - 0.4)
        ax.set_xlabel(
            f"{below}\n"
            "filled: sure; half filled: clear by itself, not among so many;\nhollow: the data cannot tell"
        )
        ax.set_title(title)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
    return ax


def _effect_rows(effects: Effects) -> Iterator[tuple[str, float, float, float, float]]:
    """Yield what the chart shows of each effect that could be had: label, estimate, low, high, p Holm."""
    table = effects.table.set_index("term")
    for factor in effects.factors:
        labels = {row.name: row.name for row in factor.rows()}
        presence = factor.presence().term_name
        whole = effects.scale.is_share or factor.form != "amount"
        if presence in table.index and not np.isnan(table.loc[presence, "low"]):
            labels = {presence: f"with {label(factor)}"}
        elif factor.is_amount and factor.form != "with or without" and not factor.constant:
            span = tried_in_words(factor)
            labels = {factor.term_name: f"{label(factor)}, {span if whole else step(factor)[0]}"}
        for term, text in labels.items():
            row = table.loc[term]
            if np.isnan(row["low"]):
                continue
            if whole:
                scale = 100 / effects.scale.whole if effects.scale.is_share else 1.0
                reached = (row[["to", "to low", "to high"]].to_numpy(dtype=float) - row["from"]) * scale
            else:
                scale = step(factor)[2] if factor.is_amount and term != presence else 1.0
                reached = row[["estimate", "low", "high"]].to_numpy(dtype=float) * scale
            yield (text, *reached, row["p Holm"])
