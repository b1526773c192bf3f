"""The same pots over time: each one's colour since it was first photographed."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.dots import OUTSIDE, measured_dots
from sagglab.charts.look import INK, QUIET, axes, check_result, look, wrapped
from sagglab.charts.right_edge import name_ends
from sagglab.colour import AXES, lab_to_lch
from sagglab.columns.treated import views_after
from sagglab.errors import UnknownNameError
from sagglab.model.wording import count, words_for
from sagglab.pages.numbers import digits_for
from sagglab.setups.over_time import MONTH, Changes

#: Letters in a line above and below, and of a pot's name.
_LINE, _NAME = 66, 22
#: So many pots are told one by one in words.
_TOLD = 8

_SURE = {"color": INK, "linewidth": 1.8}
_UNSURE = {"color": QUIET, "linewidth": 0.9, "linestyle": (0, (5, 3))}


def over_time_chart(
    changes: Changes, measures: pd.DataFrame, coordinate: str = "a*", ax: Axes | None = None
) -> Axes:
    """Draw each pot's colour over the days since its first photograph, with its line.

    Dots are photographs in their measured colour; the setup's own drift, where it is known, and what one side
    of a pot differs from the others in are taken out. A line is solid where the change can be told from the
    camera.

    Parameters
    ----------
    changes : Changes
    measures : DataFrame
        Those that the changes are from: ``pot``, ``view``, ``setup``, ``taken``, ``L*``, ``a*``, ``b*``.
    coordinate : {"L*", "a*", "b*", "C*ab"}
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes

    Raises
    ------
    ModelError
        It was given something else than the result of `changes_over_time`.
    UnknownNameError
        There is no such coordinate.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.setups.over_time import changes_over_time
    >>> seen = pd.DataFrame({
    ...     "photo": "", "pot": "p1", "view": "front", "setup": "phone", "L*": [40, 40.9, 42.1],
    ...     "taken": pd.to_datetime(["2026-03-01", "2026-04-01", "2026-05-01"]),
    ...     "a*": [10, 8.9, 8.1], "b*": [12, 12.1, 12],
    ... })
    >>> print(alt_text(over_time_chart(changes_over_time(seen), seen)))  # doctest: +NORMALIZE_WHITESPACE
    Dots and lines over days: a* of the same pots over time, change per month; phone, its own drift not known.
    Sure of 0 pots of 1; change per month, with 95 % intervals: p1 −0.95 (−1.93 to +0.04).
    >>> plt.close()
    """
    check_result(changes, Changes, "over_time_chart", "changes_over_time")
    rows = changes.table[changes.table["coordinate"] == coordinate].set_index("pot")
    if rows.empty:
        known = ", ".join(dict.fromkeys(changes.table["coordinate"]))
        raise UnknownNameError(f"coordinate '{coordinate}'", "it is unknown", f"give one of {known}")
    dots, lines = _lines(changes, measures, rows, coordinate)
    words = words_for(coordinate)
    with look():
        ax = axes(ax, 8.2, 5.4)
        for pot, line in lines.iterrows():
            sure = rows.loc[pot, "distinguishable"]
            ax.plot([0, line["days"]], line[["start", "end"]], zorder=1, **(_SURE if sure else _UNSURE))
        outside = measured_dots(ax, dots["days"], dots["value"], dots[list(AXES)].to_numpy())
        ax.set_xlim(-0.03 * lines["days"].max(), 1.03 * lines["days"].max())
        ax.set_ylabel(f"{coordinate}\n← {words.less}      {words.more} →", linespacing=1.4)
        ax.set_title(wrapped(_title(changes, coordinate), _LINE))
        below = "days since a pot's first photograph\nsolid: sure; broken: not to be told from the camera yet"
        below = "\n".join([below, *[OUTSIDE] * outside])
        ax.set_xlabel(below, linespacing=1.4)
        # The surest first, then the largest: where there is no room for all, the others go unnamed.
        telling = rows.assign(size=rows["per month"].abs()).sort_values(["distinguishable", "size"])
        named = lines.loc[telling.index[::-1]]
        names = [f"{wrapped(str(pot), _NAME)} {_rate(rows.loc[pot])}" for pot in named.index]
        written = name_ends(ax, names, named[["days", "end"]].to_numpy())
        if written < len(names):
            ax.set_xlabel(below.replace("\n", f"; {len(names) - written} pots unnamed\n", 1), linespacing=1.4)
    return describe(ax, _in_words(changes, coordinate, rows.loc[named.index]))


def _in_words(changes: Changes, coordinate: str, rows: pd.DataFrame) -> str:
    sure = rows["distinguishable"].astype(bool)
    told = [
        f"{pot} {_rate(row)} ({_rate(row, 'low')} to {_rate(row, 'high')})" for pot, row in rows.iterrows()
    ]
    more = f" and {len(told) - _TOLD} more" if len(told) > _TOLD else ""
    return (
        f"Dots and lines over days: {_title(changes, coordinate)}. Sure of "
        f"{count(int(sure.sum()), 'pot')} of {len(rows)}; change per month, with 95 % intervals: "
        f"{', '.join(told[:_TOLD])}{more}."
    )


def _title(changes: Changes, coordinate: str) -> str:
    drift = "its own drift taken out" if changes.drift_known else "its own drift not known"
    return f"{coordinate} of the same pots over time, change per month; {changes.setup}, {drift}"


def _rate(row: pd.Series, which: str = "per month") -> str:
    digits = max(0, min(2, digits_for((row["high"] - row["low"]) / 2)))
    return f"{round(row[which], digits) + 0.0:+.{digits}f}".replace("-", "−")


def _lines(
    changes: Changes, measures: pd.DataFrame, rows: pd.DataFrame, coordinate: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give each photograph's place, and each pot's line by the rate that was found."""
    measures = views_after(measures)  # what was done to a pot is no change of its own
    here = measures[(measures["setup"] == changes.setup) & measures["pot"].isin(rows.index)]
    here = here[here["L*"].notna() & here["taken"].notna()]
    shown = here[["pot", "view", *AXES]].assign(day=pd.to_datetime(here["taken"]).dt.normalize())
    # A view of one day tells nothing of change.
    shown = shown[shown.groupby(["pot", "view"])["day"].transform("nunique") > 1].copy()
    shown["C*ab"] = lab_to_lch(shown[list(AXES)])[:, 1]
    shown["days"] = (shown["day"] - shown.groupby("pot")["day"].transform("min")) / pd.Timedelta(days=1)
    per_day = rows[["per month", "drift"]].fillna({"drift": 0.0}).loc[shown["pot"]].to_numpy() / MONTH
    shown["seen"] = shown[coordinate] - shown["days"] * per_day[:, 1]
    shown["start"] = shown["seen"] - shown["days"] * per_day[:, 0]
    views = shown.groupby(["pot", "view"])["start"]
    start = views.mean().groupby("pot").mean()
    # What one side of a pot differs in from the mean of its sides is taken out.
    shown["value"] = shown["seen"] - views.transform("mean") + shown["pot"].map(start)
    lines = pd.DataFrame({"days": shown.groupby("pot")["days"].max(), "start": start})
    lines["end"] = lines["start"] + lines["days"] * rows["per month"] / MONTH
    return shown, lines.reindex(rows.index)
