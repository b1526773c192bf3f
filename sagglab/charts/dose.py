"""Doses: the shapes that an outcome may follow as an amount grows, and the pots that they were told from."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.dots import OUTSIDE, UNMEASURED, measured_dots
from sagglab.charts.look import INK, LETTERS, LINES, QUIET, across, axes, check_result, look, wrapped
from sagglab.charts.right_edge import name_ends
from sagglab.charts.shown import amount_said
from sagglab.colour import AXES
from sagglab.model.dose import Doses
from sagglab.model.shapes import EACH, NONE, PRESENCE
from sagglab.model.wording import count, label, words_for
from sagglab.pages.numbers import digits_for
from sagglab.units import convert

#: So many different amounts each get a tick of their own.
_TICKS = 7
#: Letters in a line above, below and beside the chart.
_ABOVE, _BELOW, _BESIDE = 64, 60, 40
#: Inches across, and those on a phone.
_WIDTHS = (7.6, 4.2)


def dose_chart(doses: Doses, ax: Axes | None = None) -> Axes:
    """Draw how an outcome follows an amount: the preferred shape with its 95 % band, the others thin.

    Where the colours of the pots are known, the pots are drawn in them, each with the level of its firing and
    the other factors taken out; those of one amount stand side by side. The dot of a colour that the
    display cannot show has a corner.

    Parameters
    ----------
    doses : Doses
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes
        The amount across, in its own unit, and upwards the difference of the outcome from none or the least.

    Raises
    ------
    ModelError
        It was given something else than the result of `compare_doses`.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.model.dose import compare_doses
    >>> pots = {"firing": list("aaaabbbbcccc"), "sugar [g]": [0, 1, 2, 3] * 3}
    >>> pots = pd.DataFrame(pots | {"L*": [40, 38, 37, 33, 44, 43, 39, 38, 41, 38, 36, 35]})
    >>> print(alt_text(dose_chart(compare_doses(pots, "sugar"))))  # doctest: +NORMALIZE_WHITESPACE
    Chart of L* against sugar, 0 g to 3 g: 6 shapes as lines. Preferred is 'per unit', by which pots with 3 g
    are 6.4 L* darker than with no sugar (95 % band from 7.8 L* darker to 5.0 L* darker).
    >>> plt.close()
    """
    check_result(doses, Doses, "dose_chart", "compare_doses")
    coloured = set(AXES) <= set(doses.points.columns)
    words, name = words_for(doses.outcome), label(doses.amount)
    low, high = doses.reference, doses.amount.high
    curves = dict(list(doses.curve.groupby("shape", sort=False)))
    unit = "°C, and below it °F" if doses.amount.unit == "degC" else doses.amount.unit.replace("deg", "°")
    against = f"no {name}" if low == 0 else amount_said(doses.amount, low)
    width = across(*_WIDTHS)
    letters = int(LETTERS * width)
    title = wrapped(f"How {doses.outcome} follows {name}, with a 95 % band", min(_ABOVE, letters))
    below = wrapped(", ".join(filter(None, (name, unit))), min(_BELOW, letters))
    beside = wrapped(f"difference in {doses.outcome} from {against}", _BESIDE)
    with look():
        ax = axes(ax, width, 5.2 + 0.2 * (title.count("\n") + below.count("\n")))
        for number, (shape, curve) in enumerate(curves.items()):
            _draw(ax, shape, curve, shape == doses.best, LINES[number % len(LINES)][1])
        about = [below]
        if coloured:
            about += [wrapped(line, letters) for line in _about_pots(doses, outside=_draw_pots(ax, doses))]
        ax.set_xlabel("\n".join(about), linespacing=1.4)
        ax.set_ylabel(f"{beside}\n← {words.less}          {words.more} →", linespacing=1.4)
        ax.set_title(title)
        ax.set_xlim(low - 0.05 * (high - low), high)
        _mark_amounts(ax, doses)
        _name_curves(ax, curves, doses.best)
    return describe(ax, _in_words(doses, curves, against, coloured))


def _mark_amounts(ax: Axes, doses: Doses) -> None:
    """Put ticks at the amounts fired where they are few and apart, and none beyond the greatest."""
    low, high = doses.reference, doses.amount.high
    tried = np.unique(doses.points["amount"])
    few = len(tried) <= _TICKS and np.diff(tried).min() > 0.08 * (high - low)
    ticks = tried if few else [tick for tick in ax.get_xticks() if low <= tick <= high]
    named = [f"{tick:.4g}" for tick in ticks]
    if doses.amount.unit == "degC":
        in_F = convert(ticks, "degC", "degF")
        named = [f"{tick}\n{heat:.0f}" for tick, heat in zip(named, in_F, strict=True)]
    ax.set_xticks(ticks, named)


def _name_curves(ax: Axes, curves: Mapping[str, pd.DataFrame], best: str) -> None:
    """Name each curve beside its end, the preferred one first."""
    order = sorted(curves, key=lambda shape: shape != best)
    said = [f"{shape}, preferred" if shape == best and len(order) > 1 else shape for shape in order]
    ends = [(ax.get_xlim()[1], curves[shape]["effect"].iloc[-1]) for shape in order]
    name_ends(ax, said, ends, [INK if shape == best else QUIET for shape in order])


def _draw(ax: Axes, shape: str, curve: pd.DataFrame, best: bool, dashes: object) -> None:
    amount, effect, low, high = (curve[name].to_numpy() for name in ("amount", "effect", "low", "high"))
    colour = INK if best else QUIET
    if shape == EACH:
        if best:
            ax.vlines(amount, low, high, color=INK, linewidth=1.6, zorder=3)
        ax.plot(amount, effect, "_", color=colour, markersize=14, markeredgewidth=2 if best else 1, zorder=3)
        return
    if shape == PRESENCE:
        # Upright where it leaps, not sloping to the first amount reckoned.
        amount = np.concatenate([amount[:1], amount[:1], amount[1:]])
        effect, low, high = (np.concatenate([ends[:1], ends[1:2], ends[1:]]) for ends in (effect, low, high))
    if best and shape != NONE:
        ax.fill_between(amount, low, high, color=INK, alpha=0.12, linewidth=0, zorder=1)
    style = {"linewidth": 2.0, "linestyle": "-"} if best else {"linewidth": 0.9, "linestyle": dashes}
    ax.plot(amount, effect, color=colour, zorder=3 if best else 2, **style)


def _draw_pots(ax: Axes, doses: Doses) -> bool:
    """Draw each pot; those of one amount side by side, in turn from the least outcome to the greatest."""
    amounts = doses.points["amount"].to_numpy()
    tried = np.unique(amounts)
    if len(tried) <= _TICKS:
        rank = doses.points["effect"].groupby(amounts).rank(method="first").to_numpy().astype(int)
        # Five places in an order that keeps neighbours in height apart.
        # The outermost, two steps off, stay within a quarter of the way to the next amount.
        apart = min(0.012 * (doses.amount.high - doses.reference), np.diff(tried).min() / 8)
        amounts = amounts + apart * np.array([0, 2, -1, 1, -2])[rank % 5]
    return measured_dots(ax, amounts, doses.points["effect"], doses.points[list(AXES)])


def _about_pots(doses: Doses, outside: bool) -> list[str]:
    level = "each firing's own level" if doses.within else "the level of all firings"
    others = " and the other factors" if doses.factors else ""
    unmeasured = bool(doses.points[list(AXES)].isna().to_numpy().any())
    signs = [OUTSIDE] * outside + [UNMEASURED] * unmeasured
    return ["dots: pots in their measured colour,", f"with {level}{others} taken out", *signs]


def _in_words(doses: Doses, curves: Mapping[str, pd.DataFrame], against: str, coloured: bool) -> str:
    amount, words = doses.amount, words_for(doses.outcome)
    tried = f"{amount_said(amount, doses.reference)} to {amount_said(amount, amount.high)}"
    last = curves[doses.best].iloc[-1]
    digits = digits_for((last["high"] - last["low"]) / 2 * words.scale)
    dots = f", and {count(doses.pots, 'pot')} as dots in their measured colours" * coloured
    said = [
        f"Chart of {doses.outcome} against {label(amount)}, {tried}: {len(curves)} shapes as lines{dots}.",
        f"Preferred is '{doses.best}'",
    ]
    if doses.best == NONE:
        said[1] += f": these pots do not show that {label(amount)} makes a difference."
    else:
        said[1] += (
            f", by which pots with {amount_said(amount, amount.high)} are "
            f"{words.said(last['effect'], digits)} than with {against} (95 % band from "
            f"{words.said(last['low'], digits)} to {words.said(last['high'], digits)})."
        )
    return " ".join(said)
