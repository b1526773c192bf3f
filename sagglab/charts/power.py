"""How many firings are needed: the chance to be told, against the number of firings."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import ScaledTranslation

from sagglab.charts.alt import describe
from sagglab.charts.labels import AROUND, Labels
from sagglab.charts.look import INK, LINES, QUIET, SMALL, axes, check_result, look, wrapped
from sagglab.plan.power import FiringsNeeded, hundred

#: What varies, as it is called in the chart, and the line of it.
_KINDS = {
    "pot-level": ("varied from pot to pot", *LINES[0]),
    "firing-level": ("varied from firing to firing", *LINES[1]),
}
#: Letters in a line of the title.
_TITLE = 68
#: How heavy the line of the fewest pots is, and that of the most.
_WEIGHTS = (0.9, 3.0)
#: Points from the foot of the axes to what is said below of the lines.
_BELOW = 42


def power_chart(needed: FiringsNeeded, ax: Axes | None = None) -> Axes:
    """Draw how often a change would be told, against the number of firings.

    Parameters
    ----------
    needed : FiringsNeeded
        From `firings_needed`.
    ax : Axes, optional
        Where to draw; a new figure without it.

    Returns
    -------
    Axes
        A line for each number of pots in a firing: solid for what varies from pot to pot, dashed for what
        varies from firing to firing; how heavy a line is tells its pots, as said below. The dotted line is
        what is wanted.

    Raises
    ------
    ModelError
        It is not the result of firings_needed.

    Examples
    --------
    >>> from sagglab.plan.power import firings_needed
    >>> power_chart(firings_needed(pots=[6])).get_xlabel()
    'firings'
    """
    check_result(needed, FiringsNeeded, "power_chart", "firings_needed")
    with look():
        ax = axes(ax, 7.4, 5.2)
        table = needed.table
        known = table[list(_KINDS)].notna().any(axis=1)
        firings = table.loc[known if known.any() else slice(None), "firings"]
        ax.set(
            xlim=(firings.min() - 0.4, firings.max() + 0.4),
            ylim=(0, 113),
            yticks=range(0, 101, 20),
            xlabel="firings",
            ylabel="told in so many of 100 such batches",
        )
        ax.xaxis.set_major_locator(MaxNLocator(integer=True, min_n_ticks=1))
        if firings.min() == firings.max():
            ax.set_xticks(firings.unique())
        ax.set_title(wrapped(f"A change of {needed.difference:g} {needed.unit}", _TITLE))
        ax.axhline(100 * needed.wanted, color=QUIET, linestyle=":", linewidth=1.2, zorder=0)
        pots = sorted(int(number) for number in table["pots per firing"].unique())
        weights = dict(zip(pots, np.linspace(*_WEIGHTS, len(pots)), strict=True))
        if len(pots) > 1:
            _explain(ax, weights, dots=len(set(firings)) == 1)
        _draw(ax, needed, weights)
    return describe(ax, _in_words(needed, pots))


def _in_words(needed: FiringsNeeded, pots: list[int]) -> str:
    table, wanted = needed.table, f"{hundred(needed.wanted)} of 100"
    told = []
    for level, (said, *_) in _KINDS.items():
        rows = table[table[level].notna()]
        if rows.empty:
            continue
        chances = []
        for firings in dict.fromkeys((rows["firings"].min(), rows["firings"].max())):
            here = rows.loc[rows["firings"] == firings, level]
            span = " to ".join(dict.fromkeys([hundred(here.min()), hundred(here.max())]))
            chances.append(f"{span} of 100 at {firings} firings")
        enough = rows[rows[level] >= needed.wanted].groupby("pots per firing")["firings"].min()
        reached = [f"{enough[number]} firings of {number} pots" for number in pots if number in enough.index]
        least = f"{wanted} from {', '.join(reached)}" if reached else f"{wanted} at none"
        told.append(f"{said[0].upper()}{said[1:]}: {', '.join(chances)}; {least}.")
    return (
        f"Lines of how many of 100 batches tell a change of {needed.difference:g} {needed.unit}, against the "
        f"number of firings. {' '.join(told) or 'Nothing can be told.'}"
    )


def _explain(ax: Axes, weights: dict[int, float], dots: bool) -> None:
    """Say below which line is of how many pots."""
    handles = [
        Line2D([], [], color=INK, label=f"{pots}", **(_dot(width) if dots else {"linewidth": width}))
        for pots, width in weights.items()
    ]
    below = ax.transAxes + ScaledTranslation(0, -_BELOW / 72, ax.get_figure(root=True).dpi_scale_trans)
    ax.legend(
        handles=handles,
        title="pots in each firing:",
        loc="upper left",
        bbox_to_anchor=(0, 0),
        bbox_transform=below,
        ncols=min(len(handles), 6),
        frameon=False,
        fontsize=SMALL,
        title_fontsize=SMALL,
        alignment="left",
        borderaxespad=0,
    )


def _dot(width: float) -> dict[str, object]:
    """Draw what is of one number of firings as a ring: the wider, the more pots."""
    ring = {"markersize": 3 + 3 * width, "markerfacecolor": "none", "markeredgewidth": 1.2}
    return {"linestyle": "", "marker": "o"} | ring


def _draw(ax: Axes, needed: FiringsNeeded, weights: dict[int, float]) -> None:
    lines = []
    for level, (said, colour, dashes) in _KINDS.items():
        for number, width in weights.items():
            part = needed.table[needed.table["pots per firing"] == number]
            x, y = part["firings"].to_numpy(float), 100 * part[level].to_numpy(float)
            known = np.isfinite(y)
            if known.any():
                line = ax.plot(x[known], y[known], color=colour, linestyle=dashes, linewidth=width)[0]
                if known.sum() == 1:
                    line.set(**_dot(width))
                lines.append((level, said, number, x[known], y[known], colour))
    labels = Labels(ax)
    wanted = 100 * needed.wanted
    labels.avoid(ax.get_xlim(), [wanted] * 2)
    for line in lines:
        labels.avoid(line[3], line[4])
    for level in _KINDS:
        _name_kind(labels, [line for line in lines if line[0] == level])
    along = np.linspace(*ax.get_xlim(), 25)[1:-1]
    spots = [((x, wanted), offset) for x in along[::-1] for offset in ((-4, 3), (4, 3), (-4, -3), (4, -3))]
    labels.put(f"wanted: {hundred(needed.wanted)} of 100", spots, QUIET)


def _name_kind(labels: Labels, lines: list[tuple]) -> None:
    """Name a kind of line, below the lowest of it where its lines part most."""
    if not lines:
        return
    _, said, least, x, y, colour = lines[0]
    top_x, top = lines[-1][3:5]
    below = [offset for offset in AROUND if offset[1] < 0 <= offset[0]]
    shared, low, high = np.intersect1d(x, top_x, return_indices=True)
    # Of a single line, from its middle on.
    apart = top[high] - y[low] if len(lines) > 1 else -np.abs(np.arange(len(shared)) - len(shared) / 2)
    order = np.argsort(-apart, kind="stable")
    text = said if len(lines) > 1 else f"{said},\n{least} pots in each firing"
    spots = [((shared[k], y[low[k]]), offset) for k in order for offset in below]
    labels.put(text, spots, colour, leader=True)
