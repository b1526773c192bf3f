"""How alike the terms of a plan are: for each question asked, what it can hardly be told apart from."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.labels import Labels
from sagglab.charts.look import INK, QUIET, SMALL, axes, check_result, look, wrapped
from sagglab.plan.precision import Precision

#: From here on a term is named in the row.
_SAID = 0.3
#: So many are named in a row, and so many rows are drawn.
_NAMED, _ROWS = 3, 25
#: Letters in a line of a row's name, of the words in it, and of what is said below.
_NAME, _WORDS, _BELOW = 26, 64, 90
#: Inches of a line of words, and of a row beside its words.
_LINE, _ROW = 0.155, 0.16
_PALE = "#c8c8c8"


def likeness_chart(precision: Precision, ax: Axes | None = None) -> Axes:
    """Draw for each term asked how alike the others are to it among the pots.

    Parameters
    ----------
    precision : Precision
        From `precision`.
    ax : Axes, optional
        Where to draw; a new figure without it.

    Returns
    -------
    Axes
        A line for each term asked, from 0 (nothing in common) to 1 (cannot be told apart), with a mark where
        each other term lies on it: filled for one that is asked, hollow for a pair that is not. What is alike
        by 0.3 or more is named above the line, up to three, with how alike it is. Of more than 25 terms asked
        the most alike are drawn.

    Raises
    ------
    ModelError
        It is not the result of precision.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab import Factor, Fraction, plan_batch
    >>> from sagglab.charts import alt_text
    >>> vary = [Factor(name, [0, 2], "g") for name in ("salt", "sugar", "soda")]
    >>> plan = plan_batch(vary, 2, 4, "main", Fraction(generators=["C=AB"], replicates=2), seed=1)
    >>> ax = likeness_chart(plan.precision(firing_sd=3, pot_sd=4))
    >>> print(alt_text(ax).partition(" Filled")[0])  # doctest: +NORMALIZE_WHITESPACE
    Chart of how alike 3 questions are to others, from 0 to 1, a line for each. salt: sugar × soda 1;
    sugar: salt × soda 1; soda: salt × sugar 1.
    >>> plt.close()
    """
    check_result(precision, Precision, "likeness_chart", "precision")
    alike = precision.correlations.astype(float)
    asked = list(precision.asked)
    others = {name: alike.loc[name].drop(name) for name in asked}
    drawn = _most_alike(others)
    marks = [others[name].dropna() for name in drawn]
    names, words = [wrapped(name, _NAME) for name in drawn], [_said(near) for near in marks]
    high = _ROW + _LINE * max(1 + text.count("\n") for text in (*names, *words))
    with look():
        ax = axes(ax, 8.6, high * len(drawn) + 1.7)
        ax.set(xlim=(-0.02, 1.02), ylim=(len(drawn) - 0.5, -1), xticks=np.linspace(0, 1, 6))
        ax.set_xticklabels(["0\nnothing\nin common", "0.2", "0.4", "0.6", "0.8", "1\ncannot be\ntold apart"])
        ax.set_yticks(range(len(drawn)), names)
        ax.tick_params(axis="both", length=0, labelsize=SMALL)
        ax.spines[:].set_visible(False)
        ax.set_title("How alike the questions are among these pots")
        for row, near in enumerate(marks):
            ax.plot([0, 1], [row, row], color=_PALE, linewidth=0.8, zorder=1)
            _draw(ax, row, near, near.index.isin(asked))
        said = _below(drawn, others, pairs=len(asked) < len(alike))
        ax.set_xlabel(wrapped(said, _BELOW), fontsize=SMALL, color=QUIET, loc="left")
        _write(ax, marks, words)
    rows = [f"{name}: {_flat(text)}" for name, text in zip(drawn, words, strict=True) if text]
    head = f"Chart of how alike {len(drawn)} questions are to others, from 0 to 1, a line for each."
    return describe(ax, " ".join([head, *([f"{'; '.join(rows)}."] if rows else []), said]))


def _flat(text: str) -> str:
    return text.replace("\n", " ")


def _most_alike(others: dict[str, pd.Series]) -> list[str]:
    """Give the terms to be drawn, in the order in which they are asked."""
    nearest = {name: near.max() if near.notna().any() else -1.0 for name, near in others.items()}
    kept = set(sorted(nearest, key=nearest.get, reverse=True)[:_ROWS])
    return [name for name in others if name in kept]


def _draw(ax: Axes, row: int, near: pd.Series, asked: np.ndarray) -> None:
    # Pairs that are not asked lie beneath.
    for which, face, edge, size, order in ((~asked, "white", QUIET, 22, 2), (asked, INK, INK, 26, 3)):
        x = near.to_numpy()[which]
        ax.scatter(
            x,
            np.full(len(x), row),
            s=size,
            facecolor=face,
            edgecolor=edge,
            linewidth=0.9,
            zorder=order,
            clip_on=False,
        )


def _write(ax: Axes, marks: list[pd.Series], words: list[str]) -> None:
    labels = Labels(ax)
    for row, near in enumerate(marks):
        labels.avoid([0, 1], [row, row])
        labels.avoid_marks(near.to_numpy(), np.full(len(near), row))
    for row, (near, said) in enumerate(zip(marks, words, strict=True)):
        if said:
            # From the most alike on where there is room, else as far back as it takes.
            start = near.max() if len(near) else 0.0
            places = np.append(np.arange(start, 0, -0.02), 0.0)
            labels.put(said, [((place, row), (0.5, 4)) for place in places], INK if len(near) else QUIET)


def _said(near: pd.Series) -> str:
    """Name what is most alike to a term, and how alike it is."""
    if near.empty:
        return "the same on every pot"
    # A hair below, so that 0.3 itself is in whatever the rounding of its last digit.
    close = near[near >= _SAID - 1e-9].sort_values(ascending=False, kind="stable")
    said = ", ".join(_held(f"{name} {_two_digits(value)}") for name, value in close.iloc[:_NAMED].items())
    more = len(close) - _NAMED
    text = said + (_held(f" and {more} more") if more > 0 else "").replace("\u00a0", " ", 1)
    return wrapped(text, _WORDS).replace("\u00a0", " ")


def _held(text: str) -> str:
    """Keep words in one line, where a line is long enough for them."""
    return text.replace(" ", "\u00a0") if len(text) < _WORDS else text


def _two_digits(value: float) -> str:
    # What is all but one is not called one: it can be told apart, if hardly.
    return "1" if value > 1 - 1e-9 else f"{min(value, 0.99):.2f}".removeprefix("0")


def _below(drawn: list[str], others: dict[str, pd.Series], pairs: bool) -> str:
    said = ["Filled: asked. Hollow: a pair of factors that is not asked."] if pairs else []
    nearest = max((near.max() for near in others.values() if near.notna().any()), default=0.0)
    if nearest < _SAID - 1e-9:
        most = f"the most by {nearest:.2f}" if nearest >= 0.005 else "all have nothing in common with it"
        said.append(f"Nothing is alike to what is asked by {_SAID:g} or more: {most}.")
    if len(drawn) < len(others):
        said.append(f"Drawn are the {len(drawn)} most alike of {len(others)} that are asked.")
    return " ".join(said)
