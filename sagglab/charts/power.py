"""How many firings are needed: the chance to be told, against the number of firings."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from sagglab.charts.labels import AROUND, Labels
from sagglab.charts.look import LINES, QUIET, axes, check_result, look, wrapped
from sagglab.plan.power import FiringsNeeded, hundred

#: What varies, as it is called in the chart, and the line of it.
_KINDS = {
    "pot-level": ("varied from pot to pot", *LINES[0]),
    "firing-level": ("varied from firing to firing", *LINES[1]),
}
#: Letters in a line of the title.
_TITLE = 68


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
        varies from firing to firing; the heavier the line, the more pots. The dotted line is what is wanted.

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
        firings = table["firings"]
        ax.set(
            xlim=(firings.min() - 0.4, firings.max() + 0.4),
            ylim=(0, 113),
            yticks=range(0, 101, 20),
            xlabel="firings",
            ylabel="told in so many of 100 such batches",
        )
        ax.xaxis.set_major_locator(MaxNLocator(integer=True))
        ax.set_title(wrapped(f"A change of {needed.difference:g} {needed.outcome}", _TITLE))
        ax.axhline(100 * needed.wanted, color=QUIET, linestyle=":", linewidth=1.2, zorder=0)
        _draw(ax, needed)
    return ax


def _draw(ax: Axes, needed: FiringsNeeded) -> None:
    lines = []
    pots = sorted(needed.table["pots per firing"].unique())
    for level, (said, colour, dashes) in _KINDS.items():
        for place, number in enumerate(pots):
            part = needed.table[needed.table["pots per firing"] == number]
            x, y = part["firings"].to_numpy(float), 100 * part[level].to_numpy(float)
            known = np.isfinite(y)
            if known.any():
                width = 1.0 + 1.4 * place / max(len(pots) - 1, 1)
                mark = "o" if known.sum() == 1 else None
                ax.plot(x[known], y[known], color=colour, linestyle=dashes, linewidth=width, marker=mark)
                lines.append((level, said, number, x[known], y[known], colour))
    labels = Labels(ax)
    wanted = 100 * needed.wanted
    labels.avoid(ax.get_xlim(), [wanted] * 2)
    for line in lines:
        labels.avoid(line[3], line[4])
    for level in _KINDS:
        _name_ends(labels, [line for line in lines if line[0] == level])
    along = np.linspace(*ax.get_xlim(), 25)[1:-1]
    spots = [((x, wanted), offset) for x in along[::-1] for offset in ((-4, 3), (4, 3), (-4, -3), (4, -3))]
    labels.put(f"wanted: {hundred(needed.wanted)} of 100", spots, QUIET)


def _name_ends(labels: Labels, lines: list[tuple]) -> None:
    """Name the first and the last line of a kind where they stand apart; those between lie in order."""
    if not lines:
        return
    _, said, least, x, y, colour = lines[0]
    most, top_x, top = lines[-1][2:5]
    below = [offset for offset in AROUND if offset[1] < 0 <= offset[0]]
    shared, low, high = np.intersect1d(x, top_x, return_indices=True)
    # Where the lines part most; of a single line, from its middle on.
    apart = top[high] - y[low] if len(lines) > 1 else -np.abs(np.arange(len(shared)) - len(shared) / 2)
    order = np.argsort(-apart, kind="stable")
    text = f"{said},\n{least:.0f} pots in each firing"
    labels.put(
        text, [((shared[k], y[low[k]]), offset) for k in order for offset in below], colour, leader=True
    )
    if len(lines) > 1:
        above = [(dx, -dy) for dx, dy in below] + [offset for offset in AROUND if offset[1] > 0 > offset[0]]
        spots = [((shared[k], top[high[k]]), offset) for k in order for offset in above]
        labels.put(f"{most:.0f} pots in each firing", spots, colour, leader=True)
