"""Effects as points with their intervals."""

from __future__ import annotations

from collections.abc import Iterator

from matplotlib.axes import Axes

from sagglab.charts.look import INK, QUIET, axes, look
from sagglab.model.effects import Effects
from sagglab.model.wording import label, step, words_for


def effect_chart(effects: Effects, ax: Axes | None = None) -> Axes:
    """Draw each effect with its 95 % interval.

    Amounts are shown as with against without where some pots had none, and else for each unit. An effect
    whose interval keeps clear of zero is filled; one that the data cannot tell is hollow.
    """
    shown = list(_effect_rows(effects))[::-1]
    words = words_for(effects.outcome)
    with look():
        ax = axes(ax, 7.2, 1.4 + 0.42 * len(shown))
        ax.axvline(0, color=QUIET, linewidth=0.8, zorder=0)
        for place, (_, estimate, low, high) in enumerate(shown):
            clear = low > 0 or high < 0
            ax.plot([low, high], [place, place], color=INK, linewidth=1.6, solid_capstyle="butt")
            ax.plot(
                estimate, place, "o", markersize=8, markeredgecolor=INK,
                markerfacecolor=INK if clear else "white",
            )  # fmt: skip
        ax.set_yticks(range(len(shown)), [label for label, *_ in shown])
        ax.set_ylim(-0.6, len(shown) - 0.4)
        ax.set_xlabel(
            f"← {words.less}      difference in {effects.outcome}      {words.more} →\n"
            "filled: clear of zero; hollow: the data cannot tell"
        )
        ax.set_title(f"What changed {effects.outcome}, with 95 % intervals")
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
    return ax


def _effect_rows(effects: Effects) -> Iterator[tuple[str, float, float, float]]:
    """Yield what the chart shows of each effect that could be had: label, estimate, low, high."""
    table = effects.table.set_index("term")
    for factor in effects.factors:
        scale, labels = 1.0, {term.name: term.name for term in factor.terms()}
        presence = factor.presence().name
        if presence in table.index:
            labels = {presence: f"with {label(factor)}"}
        elif factor.is_amount:
            each, _, scale = step(factor)
            labels = {factor.name: f"{label(factor)}, {each}"}
        for term, text in labels.items():
            row = table.loc[term, ["estimate", "low", "high"]] * scale
            if row.notna().all():
                yield (text, *row)
