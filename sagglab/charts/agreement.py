"""Agreement of two setups: differences over levels, with their bias and their limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.pyplot import subplots
from matplotlib.ticker import MaxNLocator

from sagglab.charts.alt import describe
from sagglab.charts.dots import OUTSIDE, measured_dots
from sagglab.charts.look import INK, LINES, QUIET, check_result, look, wrapped
from sagglab.charts.right_edge import name_ends
from sagglab.model.sentences import LIMIT
from sagglab.model.wording import count, said_p, words_for
from sagglab.pages.numbers import digits_for
from sagglab.setups.agreement import Agreement
from sagglab.setups.pairs import Pairs

#: A panel each; ΔH* is told by Δa* and Δb* already.
PANELS = ("ΔL*", "Δa*", "Δb*", "ΔC*")

#: Letters in a line above and below.
_LINE = 84
_TREND = LINES[1][0]
#: An interval of a limit is drawn so far beyond the limits, in their distance; of few pots it is very wide.
_BEYOND = 0.4


def agreement_chart(pairs: Pairs, agreement: Agreement) -> list[Axes]:
    """Draw how two setups differ, over how dark, red, yellow or colourful a thing is.

    Each dot is a pot and view, or a patch, in the mean of its two colours. The line is the bias, in the band
    of its interval; between the dashed limits of agreement lie 95 of 100 differences. A trend is drawn where
    it is sure (p at most 0.05, with all three coordinates allowed for).

    Parameters
    ----------
    pairs : Pairs
    agreement : Agreement
        Of these pairs.

    Returns
    -------
    list of Axes
        Of ΔL*, Δa*, Δb* and ΔC*, on one scale, in a figure of their own.

    Raises
    ------
    ModelError
        It was given something else than pairs and their agreement.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.setups.agreement import agreement
    >>> from sagglab.setups.pairs import pair_pots
    >>> old = pd.DataFrame({"photo": "", "pot": list("abcd"), "view": "front", "setup": "old",
    ...                     "taken": pd.NaT, "L*": [32, 41, 50, 45], "a*": [9, 12, 7, 8], "b*": [8, 9, 6, 7]})
    >>> pairs = pair_pots(old, old.assign(setup="new", **{"L*": [34.5, 42.5, 52.5, 46.5]}))
    >>> lightness, *_ = agreement_chart(pairs, agreement(pairs))
    >>> print(alt_text(lightness).partition("; Δa*")[0])  # doctest: +NORMALIZE_WHITESPACE
    Four charts of differences over levels, new less old, 4 pots, after calibration; biases with intervals of
    95 %. ΔL*: bias +2.00 (+1.08 to +2.92), 95 of 100 differences from +0.87 to +3.13
    >>> plt.close()
    """
    check_result(pairs, Pairs, "agreement_chart", "pair_pots")
    check_result(agreement, Agreement, "agreement_chart", "agreement")
    rows = agreement.table.set_index("coordinate")
    colours = (pairs.lab("first") + pairs.lab("second")) / 2
    chroma = [np.hypot(*pairs.lab(which)[:, 1:].T) for which in ("first", "second")]
    levels = dict(zip(PANELS, [*colours.T, (chroma[0] + chroma[1]) / 2], strict=True))
    with look():
        figure, grid = subplots(2, 2, figsize=(10.4, 7.8), layout="constrained", sharey=True)
        drawn = list(grid.flat)
        drawn[0].set_ylim(*_range(pairs, rows))
        # All words stand before any name is placed: they settle how much room each panel has.
        outside = [
            _draw(ax, name, levels[name], pairs, rows.loc[name], colours)
            for name, ax in zip(PANELS, drawn, strict=True)
        ]
        figure.suptitle(_title(pairs), x=0.01, ha="left", fontsize=12)
        figure.supxlabel(_below(agreement.confidence, any(outside)), x=0.01, ha="left", fontsize=9.5)
        for name, ax in zip(PANELS, drawn, strict=True):
            _name_lines(ax, rows.loc[name])
    words = _in_words(pairs, agreement, rows)
    return [describe(ax, words) for ax in drawn]


def _in_words(pairs: Pairs, agreement: Agreement, rows: pd.DataFrame) -> str:
    """Say what the whole figure shows; each of its axes has it, for it is saved whole."""
    told = []
    for name in PANELS:
        row = rows.loc[name]
        half = (row["bias high"] - row["bias low"]) / 2
        trend = row["p trend Holm"] <= LIMIT
        told.append(
            f"{name}: bias {_signed(row['bias'], half)} ({_signed(row['bias low'], half)} to "
            f"{_signed(row['bias high'], half)}), 95 of 100 differences from "
            f"{_signed(row['lower limit'], half)} to {_signed(row['upper limit'], half)}"
            + (f", trend {_signed(10 * row['trend'], 0.5)} for each 10" if trend else "")
        )
    head = f"Four charts of differences over levels, {_title(pairs)}"
    return (
        f"{head}; biases with intervals of {round(100 * agreement.confidence)} %. {'; '.join(told)}. "
        f"Mean ΔE00 {agreement.mean_colour_difference:.1f}."
    )


def _title(pairs: Pairs) -> str:
    number = count(len(pairs.items), "pot") if pairs.kind == "pots" else f"{len(pairs.items)} patches"
    return wrapped(f"{pairs.second} less {pairs.first}, {number}, {pairs.colours}", _LINE)


def _below(confidence: float, outside: bool) -> str:
    said = (
        "dots: each in its measured colour; line and band: bias with its interval; dashed: limits between "
        "which 95 of 100 differences lie; bars: their intervals, with an arrow where they go on "
        f"(intervals of {round(100 * confidence)} %)"
    )
    return wrapped("; ".join([said, *[OUTSIDE] * outside]), 138)


def _range(pairs: Pairs, rows: pd.DataFrame) -> tuple[float, float]:
    """From where to where the differences go, in all panels."""
    shown = rows.loc[list(PANELS)]
    inner = np.concatenate(
        [
            pairs.table[list(PANELS)].to_numpy().ravel(),
            shown[["bias low", "bias high", "lower limit", "upper limit"]].to_numpy().ravel(),
            [0.0],
        ]
    )
    low, high = float(inner.min()), float(inner.max())
    reach = _BEYOND * (high - low)
    ends = shown[["lower limit low", "upper limit high"]].to_numpy()
    low, high = max(low - reach, min(low, ends.min())), min(high + reach, max(high, ends.max()))
    # Where both setups read the very same there is no span to scale by.
    edge = 0.05 * (high - low) or 0.5
    return low - edge, high + edge


def _draw(ax: Axes, name: str, level: np.ndarray, pairs: Pairs, row: pd.Series, colours: np.ndarray) -> bool:
    axis = name.removeprefix("Δ").replace("C*", "C*ab")
    words = words_for(axis)
    span = max(float(np.ptp(level)), 1.0)
    left, right = level.min() - 0.06 * span, level.max() + 0.06 * span
    # Bars of the limits stand right of all dots.
    edge = right + 0.06 * span
    ax.set_xlim(left, edge)
    ax.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    ax.plot([left, edge], [0, 0], color=QUIET, linewidth=0.7, zorder=1)
    ax.fill_between([left, edge], row["bias low"], row["bias high"], color=INK, alpha=0.14, linewidth=0)
    ax.plot([left, edge], [row["bias"]] * 2, color=INK, linewidth=1.5, zorder=2)
    for limit in ("lower limit", "upper limit"):
        ax.plot([left, edge], [row[limit]] * 2, color=INK, linewidth=1.1, linestyle=(0, (6, 3)), zorder=2)
        _bar(ax, (right + edge) / 2, row[f"{limit} low"], row[f"{limit} high"])
    if row["p trend Holm"] <= LIMIT:
        along = np.array([level.min(), level.max()])
        middle = pairs.table.assign(level=level).groupby("item")["level"].mean().mean()
        line = row["bias"] + row["trend"] * (along - middle)
        ax.plot(along, line, color=_TREND, linewidth=1.5, zorder=4)
        told = (
            f"trend: {_signed(10 * row['trend'], 0.5)} for each 10 {axis} (p {said_p(row['p trend Holm'])})"
        )
        ax.set_title(told, fontsize=9.5, color=_TREND)
    outside = measured_dots(ax, level, pairs.table[name], colours)
    ax.set_xlabel(f"{axis}, mean of both")
    ax.set_ylabel(f"{name}\n← {words.less}      {words.more} →", linespacing=1.4)
    ax.tick_params(labelleft=True)
    return outside


def _bar(ax: Axes, x: float, low: float, high: float) -> None:
    """Draw an interval, with an arrowhead at an end that lies beyond the axes."""
    bottom, top = ax.get_ylim()
    ends = np.clip([low, high], bottom, top)
    ax.plot([x, x], ends, color=INK, linewidth=1.1, zorder=2)
    for end, cut, mark in ((ends[0], low < bottom, "v"), (ends[1], high > top, "^")):
        ax.plot(x, end, mark if cut else "_", color=INK, markersize=6, zorder=2, clip_on=False)


def _name_lines(ax: Axes, row: pd.Series) -> None:
    half = (row["bias high"] - row["bias low"]) / 2
    edge = ax.get_xlim()[1]
    names = {
        f"95 % of pairs\nup to {_signed(row['upper limit'], half)}": row["upper limit"],
        f"bias {_signed(row['bias'], half)}": row["bias"],
        f"from {_signed(row['lower limit'], half)}": row["lower limit"],
    }
    name_ends(ax, list(names), [(edge, height) for height in names.values()])


def _signed(value: float, half_width: float) -> str:
    digits = max(0, min(2, digits_for(half_width)))
    value = round(value, digits)
    return (f"{value:+.{digits}f}" if value else f"{0:.{digits}f}").replace("-", "−")
