"""Effects on half-normal quantiles: those that chance explains lie on a line, and the others stand off it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray
from scipy import special

from sagglab.charts.alt import describe
from sagglab.charts.labels import AROUND, Labels
from sagglab.charts.look import LINES, axes, check_result, look, wrapped
from sagglab.model.lenth import BETWEEN
from sagglab.model.screening import Screening
from sagglab.model.wording import count, label, words_for
from sagglab.pages.numbers import digits_for

#: The mark, the colour and the dashes of each stratum.
_STYLES = {
    stratum: (mark, *style)
    for stratum, mark, style in zip(BETWEEN, "os^", LINES[: len(BETWEEN)], strict=True)
}

#: So many names find room; beyond the margin for all there are hardly more.
_NAMES = 10
#: Letters of a name among others, in a line of one by itself, and in a line above and beside the chart.
_AMONG, _ALONE, _ABOVE, _UPRIGHT = 28, 34, 60, 40
#: Where the words of a line stand beside a place on it.
_BESIDE = ((-4, 3), (-4, -3), (6, -4), (-8, 8), (10, -8))


def half_normal_chart(screening: Screening, ax: Axes | None = None) -> Axes:
    """Draw the size of each effect against where chance alone would put it.

    Effects between pots, between firings and between both have marks of their own, and where they can be
    judged a line of their PSE, which they lie along as far as chance explains them. Those beyond the margin
    for all are filled, those beyond the margin for one only are half filled, and the first ten of both named;
    thin lines are the margins. The middle of a long name is left out.

    Parameters
    ----------
    screening : Screening
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes

    Raises
    ------
    ModelError
        It was given something else than the result of `screen_effects`.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.model.screening import screen_effects
    >>> pots = {"firing": "f1", "sugar [g]": [0, 3] * 4, "salt [g]": [0, 0, 2, 2] * 2}
    >>> pots = pd.DataFrame(pots | {"clay": list("bbbbwwww"), "L*": [60, 42, 59, 41, 62, 43, 60, 43]})
    >>> ax = half_normal_chart(screen_effects(pots, factors=["sugar", "salt", "clay"]))
    >>> alt_text(ax).partition("chance alone would put it. ")[2]
    'Beyond the margin for all: sugar 18.0 L* darker. Margins for one and for all: 1.7 and 3.7.'
    >>> plt.close()
    """
    check_result(screening, Screening, "half_normal_chart", "screen_effects")
    words = words_for(screening.outcome)
    table = screening.table
    sizes = table["estimate"].abs().to_numpy() * words.scale
    quantiles = _quantiles(table)
    margins = screening.margins.set_index("stratum").drop(columns="effects") * words.scale
    beyond = table["beyond"].fillna("").to_numpy()
    outstanding = beyond != ""
    with look():
        ax = axes(ax, 7.2, 5.2)
        ax.set_xlim(0, 1.12 * quantiles.max())
        ax.set_ylim(0, 1.12 * max(sizes.max(), margins["margin for one"].max()))
        ax.set_xlabel(
            "where chance alone would put it (half-normal quantile)\n"
            "filled: beyond the margin for all;\nhalf filled: for one only; hollow: neither"
        )
        in_unit = f" [{words.unit}]" if words.unit not in ("", screening.outcome) else ""
        ax.set_ylabel(wrapped(f"size of the effect on {screening.outcome}{in_unit}", _UPRIGHT))
        ax.set_title(wrapped(f"Which effects on {screening.outcome} stand out", _ABOVE))
        labels = Labels(ax)
        for stratum in margins.index:
            mark, colour, dashes = _STYLES[stratum]
            here = table["stratum"].eq(stratum).to_numpy()
            # Only what there is: a line of no marks would move the layout that the words are placed by.
            for far in sorted(set(beyond[here])):
                part = here & (beyond == far)
                ax.plot(
                    quantiles[part], sizes[part], mark, markersize=7, markeredgecolor=colour,
                    markerfacecolor=colour if far else "white", markerfacecoloralt="white",
                    fillstyle="left" if far == "margin for one" else "full",
                    linestyle="none", clip_on=False, zorder=3,
                )  # fmt: skip
            labels.avoid_marks(quantiles[here], sizes[here])
            if margins.loc[stratum].notna().all():
                _draw_lines(labels, margins.loc[stratum], colour, dashes)
        # What is surest first, then what is largest; each moves aside for those before it, so that equal ones
        # are all read.
        surest = np.lexsort((-sizes, table["beyond"] != "margin for all"))
        chosen = surest[outstanding[surest]]
        names = _names(screening)
        for place in chosen[:_NAMES]:
            at = (quantiles[place], sizes[place])
            labels.put(names[place], [(at, offset) for offset in AROUND], leader=True)
        unnamed = table["stratum"].iloc[chosen[_NAMES:]]
        for stratum in margins.index:
            of = f", {BETWEEN[stratum]}" if len(margins) > 1 else ""
            here = np.flatnonzero(table["stratum"] == stratum)
            at = max(zip(sizes[here], quantiles[here], strict=True))[::-1]
            _name_lines(labels, margins.loc[stratum], stratum, at, of, int(np.sum(unnamed == stratum)))
    return describe(ax, _in_words(screening, margins))


def _in_words(screening: Screening, margins: pd.DataFrame) -> str:
    words, table = words_for(screening.outcome), screening.table
    said = [
        f"Half-normal chart of {count(len(table), 'effect')} on {screening.outcome}, the size of each "
        "against where chance alone would put it."
    ]
    for margin in ("margin for all", "margin for one"):
        far = table[table["beyond"] == margin].sort_values("estimate", key=abs, ascending=False)
        near = margins.loc[far["stratum"], "margin for one"]
        told = [
            f"{term} {words.said(estimate, digits_for(width))}"
            for term, estimate, width in zip(far["term"], far["estimate"], near, strict=True)
        ]
        more = f" and {len(told) - _NAMES} more" if len(told) > _NAMES else ""
        said.append(f"Beyond the {margin}: {', '.join(told[:_NAMES])}{more}." if told else "")
    if table["beyond"].fillna("").eq("").all():
        said.append("None is beyond a margin.")
    for stratum, row in margins.iterrows():
        of = f" {BETWEEN[stratum]}" if len(margins) > 1 else ""
        if row.isna().any():
            said.append(f"Effects{of} are not judged.")
        else:
            ends = " and ".join(_written(row[f"margin for {what}"]) for what in ("one", "all"))
            said.append(f"Margins{of} for one and for all: {ends}.")
    return " ".join(filter(None, said))


def _names(screening: Screening) -> list[str]:
    """Name every effect: a factor by itself over two lines or so, those that go together a line each."""
    spoken = [[label(factor) for factor in term.factors] for term in screening.terms]
    single = [name for names in spoken for name in names]
    short, longer = _shortened(single, _AMONG), _shortened(single, 2 * _ALONE)
    said = []
    for names in spoken:
        if len(names) == 1:
            said.append(wrapped(longer[names[0]], _ALONE))
        else:
            one = " × ".join(short[name] for name in names)
            said.append(one if len(one) <= _AMONG else one.replace(" × ", " ×\n"))
    return said


def _shortened(names: Sequence[str], most: int) -> dict[str, str]:
    """Leave out the middle of long names, as much as still tells all of them apart."""
    longest, apart = max(map(len, names)), len(set(names))
    for letters in range(most, longest):
        # In the middle first, then nearer to either end.
        for head in sorted(range(1, letters - 1), key=lambda head: abs(head - letters // 2)):
            short = {name: _without_middle(name, head, letters - 1 - head) for name in names}
            if len(set(short.values())) == apart:
                return short
    return {name: name for name in names}


def _without_middle(name: str, head: int, tail: int) -> str:
    """Keep the whole words among so many letters at either end; the letters, where no word is whole."""
    if len(name) <= head + 1 + tail:
        return name
    first, last = name[: head + 1].rpartition(" ")[0], name[-tail - 1 :].partition(" ")[2]
    return f"{(first or name[:head]).rstrip()}…{(last or name[-tail:]).lstrip()}"


def _quantiles(table: pd.DataFrame) -> NDArray[np.float64]:
    """Give each effect the half-normal quantile of its rank by size within its stratum."""
    by_stratum = table["estimate"].abs().groupby(table["stratum"])
    share = (by_stratum.rank(method="first") - 0.5) / by_stratum.transform("size")
    return special.ndtri(0.5 + share.to_numpy() / 2)


def _pse_line(ax: Axes, pse: float) -> NDArray[np.float64]:
    """Give both ends of the line whose slope is the PSE, as far as the axes go, shape (2, 2)."""
    end = min(ax.get_xlim()[1], ax.get_ylim()[1] / pse)
    return np.array([[0, end], [0, end * pse]])


def _draw_lines(labels: Labels, margins: pd.Series, colour: str, dashes: object) -> None:
    ax = labels.ax
    line = _pse_line(ax, margins["PSE"])
    ax.plot(*line, color=colour, linestyle=dashes, linewidth=1.4, zorder=1)
    labels.avoid(*line)
    right, top = ax.get_xlim()[1], ax.get_ylim()[1]
    for margin in ("margin for one", "margin for all"):
        if margins[margin] < top:
            ax.axhline(margins[margin], color=colour, linestyle=dashes, linewidth=0.7, zorder=0)
            labels.avoid([0, right], [margins[margin]] * 2)


def _name_lines(
    labels: Labels, margins: pd.Series, stratum: str, at: tuple[float, float], of: str, unnamed: int
) -> None:
    """Name the lines of a stratum, or say beside its largest mark that there are none."""
    colour = _STYLES[stratum][1]
    if margins.isna().any():
        text = f"{BETWEEN[stratum]}: not judged"
        labels.put(text, [(at, offset) for offset in AROUND], colour, leader=True)
        return
    right, top = labels.ax.get_xlim()[1], labels.ax.get_ylim()[1]
    end = _pse_line(labels.ax, margins["PSE"])[:, 1]
    more = {"margin for one": f" ({unnamed} beyond it unnamed)" if unnamed else ""}
    ends = {
        f"{name}{of}: {_written(height)}{more.get(name, '')}": np.array([right, height])
        for name in ("margin for one", "margin for all")
        if (height := margins[name]) < top
    }
    along = np.linspace(1, 0.2, 17)[:, None]
    lines = {text: along * [1, 0] * end + [0, 1] * end for text, end in ends.items()}
    lines[f"chance alone{of} (PSE {_written(margins['PSE'])})"] = along * end
    for text, places in lines.items():
        beside = [(tuple(place), offset) for place in places for offset in _BESIDE]
        # Where there is room they touch nothing; where there is none they stand off, joined by a thin line.
        if not any(labels.put_if_free(text, spot, colour) for spot in beside):
            off = [(tuple(place), offset) for place in places[::2] for offset in AROUND]
            labels.put(text, beside + off, colour, leader=True)


def _written(value: float) -> str:
    return f"{value:.{max(digits_for(value), 0)}f}"
