"""Ribbons: the palettes of all pots, one below the other in the order of an outcome."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from sagglab.charts.alt import describe
from sagglab.charts.look import INK, QUIET, SMALL, axes, look, wrapped
from sagglab.charts.shown import name_of, short_tag, shown_pots, value_in_words
from sagglab.charts.swatches import OUTSIDE, swatch
from sagglab.colour import lab_to_srgb
from sagglab.columns import PALETTE_MEASURES
from sagglab.errors import UnknownNameError
from sagglab.model.wording import count, words_for

#: Most ribbons that stand one below the other; of more, they stand in several columns.
MOST = 60

#: Ribbons in a column up to which each has the full height, that height in inches, and what it shrinks to.
_FEW, _HIGH, _LEAST = 24, 0.26, 0.155
#: Share of its height that a ribbon fills.
_FILLED = 0.84
#: Inches of a ribbon in a single column, of one of several columns, and of a letter beside it.
_ALONE, _BESIDE, _LETTER = 4.6, 3.2, 0.082
#: Letters in a line for each inch across.
_PER_INCH = 11


def palette_ribbons(results: pd.DataFrame, by: str = "L*", ax: Axes | None = None) -> Axes:
    """Draw a ribbon for each pot: the colours of its palette, each as wide as its share of the surface.

    Parameters
    ----------
    results : DataFrame
        One row per pot, with the columns of its palette: ``colour 1 L*`` … ``colour 1 share`` and so on.
    by : str
        A column of numbers, by heading or bare name, that the ribbons are sorted by, the least on top. It is
        written beside each.
    ax : Axes, optional
        New ones where not given, as large as the ribbons need.

    Returns
    -------
    Axes
        Within a ribbon colours go from dark to light. One that the display cannot show has a corner cut off.

    Raises
    ------
    UnknownNameError
        There is no such column, or no palette.
    ModelError
        It is no table, the column is not one of numbers, or no pot has all.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> columns = ["pot", "L*", *(f"colour {k} {of}" for k in (1, 2) for of in ("L*", "a*", "b*", "share"))]
    >>> p1 = ["p1", 40, 30, 3, 4, 0.6, 55, 8, 12, 0.4]
    >>> p2 = ["p2", 25, 25, 2, 3, 1.0, None, None, None, None]
    >>> ax = palette_ribbons(pd.DataFrame([p1, p2], columns=columns))
    >>> print(alt_text(ax))  # doctest: +NORMALIZE_WHITESPACE
    Ribbons: palettes of 2 pots, sorted by L*, from 25.0 (p2) to 40.0 (p1); each colour is as wide as its
    share of the surface. 100 % of p2 is about L* 25, a* 2, b* 3; 60 % of p1 is about L* 30, a* 3, b* 4.
    >>> plt.close()
    """
    first = [column.heading for column in PALETTE_MEASURES[:4]]
    if isinstance(results, pd.DataFrame) and not set(first) <= set(results):
        cause = f"the table has no columns {first[0]} to {first[-1]}"
        raise UnknownNameError("palette", cause, "give the results of gather_results")
    shown = shown_pots(results, [by, *first], [by, *first], "palette_ribbons")
    by = shown.headings[0]
    order = np.argsort(shown.table[by].to_numpy(), kind="stable")
    pots = shown.table["pot"].to_numpy()[order]
    values = shown.table[by].to_numpy()[order]
    palettes = [_palette(row) for row in _parts(results)[shown.places[order]]]
    tags, told = [short_tag(pot) for pot in pots], [value_in_words(by, value) for value in values]
    columns = -(-len(pots) // MOST)
    rows = -(-len(pots) // columns)
    pitch = _HIGH if rows <= _FEW else max(_LEAST, _HIGH * _FEW / rows)
    long = _ALONE if columns == 1 else _BESIDE
    beside = _LETTER * (max(map(len, tags)) + max(map(len, told))) + 0.35
    step = 1 + beside / long
    width = columns * (long + beside)
    letters = int(_PER_INCH * width)
    what = "palettes" if len(pots) > 1 else "palette"
    title = f"The {what} of {count(len(pots), 'pot')}, sorted by {name_of(by)}"
    _, outside = lab_to_srgb(np.concatenate([palette[:, :3] for palette in palettes]))
    words = words_for(by)
    below = [
        "share of the surface, in each ribbon from dark to light",
        wrapped(f"at the right: {name_of(by)}, from {words.less} on top to {words.more}", letters),
        *[OUTSIDE] * bool(outside.any()),
        *filter(None, [wrapped(shown.left_out, letters)]),
    ]
    with look():
        more = sum(words.count("\n") + 1 for words in (wrapped(title, letters), *below))
        ax = axes(ax, width + 0.1, 0.6 + 0.2 * more + pitch * rows)
        ax.set_title(wrapped(title, letters))
        ax.set_xlabel("\n".join(below), linespacing=1.4)
        ax.set_xlim(0, (columns - 1) * step + 1)
        ax.set_ylim(rows - 0.5 + (1 - _FILLED), -0.5)
        ax.set_yticks([])
        ends = np.add.outer(step * np.arange(columns), [0, 0.5, 1]).ravel()
        ax.set_xticks(ends, ["0", "50", "100 %"] * columns, fontsize=SMALL)
        ax.tick_params(length=3)
        for spine in ax.spines.values():
            spine.set_visible(False)
        # In axes that were given rows may be lower than type: it shrinks with them.
        figure = ax.get_figure(root=True)
        figure.draw_without_rendering()
        style = {"va": "center", "fontsize": min(SMALL, 0.85 * ax.bbox.height / figure.dpi * 72 / rows)}
        for k, palette in enumerate(palettes):
            left, row = step * (k // rows), k % rows
            _draw(ax, left, row, palette)
            ax.text(left - 0.08 / long, row, tags[k], ha="right", color=INK, **style)
            ax.text(left + 1 + 0.08 / long, row, told[k], ha="left", color=QUIET, **style)
    said = (
        f"Ribbons: {title[4:]}, from {told[0]} ({pots[0]}) to {told[-1]} ({pots[-1]}); each colour is as "
        f"wide as its share of the surface. {_most(pots[0], palettes[0])}"
    )
    said += f"; {_most(pots[-1], palettes[-1])}." if len(pots) > 1 else "."
    return describe(ax, f"{said} {shown.left_out}." if shown.left_out else said)


def _parts(results: pd.DataFrame) -> NDArray[np.float64]:
    """Read all palettes: of each pot, and of each of its colours, L*, a*, b* and share."""
    columns = [column.heading for column in PALETTE_MEASURES]
    numbers = results.rename(columns=str).reindex(columns=columns).apply(pd.to_numeric, errors="coerce")
    return numbers.to_numpy(dtype=float, na_value=np.nan).reshape(len(results), -1, 4)


def _palette(parts: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the colours that a pot has, from dark to light."""
    held = parts[np.isfinite(parts).all(axis=1) & (parts[:, 3] > 0)]
    return held[np.argsort(held[:, 0], kind="stable")]


def _draw(ax: Axes, left: float, row: int, palette: NDArray[np.float64]) -> None:
    ends = left + np.concatenate([[0.0], np.cumsum(palette[:, 3])])
    for begin, end, lab in zip(ends[:-1], ends[1:], palette[:, :3], strict=True):
        swatch(ax, begin, row + _FILLED / 2, end - begin, -_FILLED, lab)


def _most(pot: str, palette: NDArray[np.float64]) -> str:
    """Say which colour covers most of a pot."""
    lightness, a, b, share = palette[palette[:, 3].argmax()]
    colour = f"L* {lightness:.0f}, a* {a:.0f}, b* {b:.0f}".replace("-", "−")
    return f"{round(100 * share)} % of {pot} is about {colour}"
