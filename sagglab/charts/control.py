"""Control charts: one setup's target over time, each value by itself, from one to the next, and weighted."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.pyplot import subplots

from sagglab.charts.alt import describe
from sagglab.charts.labels import AROUND, Labels
from sagglab.charts.look import INK, LINES, QUIET, check_result, look, wrapped
from sagglab.errors import UnknownNameError
from sagglab.model.wording import count
from sagglab.setups.control import FIRST
from sagglab.setups.drift import Drift
from sagglab.setups.pairs import CALIBRATED, IN_FILE

#: How the series are told, and what each is of.
_SERIES = {
    "L*": "L* of the neutral patches",
    "a*": "a* of the neutral patches",
    "b*": "b* of the neutral patches",
    "ΔE00": "mean ΔE00 from the target",
}
_COLOURS = (IN_FILE, CALIBRATED)

#: Inches that a date takes along the axis.
_DATE_WIDTH = 0.95
#: Letters in a line above and below.
_LINE = 74

_BLUE = LINES[3][0]


def control_chart(drift: Drift, coordinate: str, colours: str = "in the file") -> list[Axes]:
    """Draw one series of a setup's target: values above, how far each is from the one before it below.

    Days beyond any limit are filled diamonds, the first of them dated. The broken line is the weighted mean
    of each day and those before it, in the stepped band of its own limits.

    Parameters
    ----------
    drift : Drift
    coordinate : {"L*", "a*", "b*", "ΔE00"}
        The first three are means over the neutral patches; the last is the mean over all from the target's
        table.
    colours : {"in the file", "after calibration"}

    Returns
    -------
    list of Axes
        Of the values, and of the moving ranges, in a figure of their own.

    Raises
    ------
    ModelError
        It was given something else than the result of `check_drift`.
    UnknownNameError
        There is no such series.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.columns import PATCHES, conform
    >>> from sagglab.setups.drift import check_drift
    >>> grey = {"L*": 50, "a*": 0, "b*": 0, "L* of target": 50, "a* of target": 0, "b* of target": 0,
    ...         "L* in file": 50, "a* in file": 0, "setup": "phone", "patch": "grey"}
    >>> days = [grey | {"photo": f"{day}.jpg", "taken": pd.Timestamp(2026, 4, day), "b* in file": b}
    ...         for day, b in enumerate([0.1, -0.1] * 3 + [2.6, 2.4] * 2, start=1)]
    >>> above, below = control_chart(check_drift(conform(days, PATCHES), "phone"), "b*")
    >>> print(alt_text(above))  # doctest: +NORMALIZE_WHITESPACE
    Control chart of phone: b* of the neutral patches, in the file, 10 days from 2026-04-01 to 2026-04-10:
    0.10 at first, 2.40 at last, limits −1.46 to 1.50, 4 days beyond a limit, the first 2026-04-07 (by itself,
    jump).
    >>> plt.close()
    """
    check_result(drift, Drift, "control_chart", "check_drift")
    rows = _series(drift, coordinate, colours)
    with look():
        title = wrapped(_title(drift.setup, coordinate, colours), _LINE)
        figure, (above, below) = subplots(
            2, 1, figsize=(8.2, 5.6), layout="constrained", height_ratios=(2.6, 1), sharex=True
        )
        above.set_title(title)
        above.set_ylabel(coordinate)
        _draw_values(above, rows)
        _draw_weighted(above, rows)
        _draw_ranges(below, rows)
        _dates(below, rows, 0.85 * figure.get_figwidth())
        below.set_xlabel(
            "days on which the target was photographed; diamond: further off than may be\n"
            "dotted: as far off as a single day may be; broken line: how the days have gone so far,\n"
            "the newest counting most; band: as far off as that may be",
            linespacing=1.4,
        )
        _write(above, rows)
    title = _title(drift.setup, coordinate, colours)
    words = f"Control chart of {title}, {_days(rows)}: {_told(rows)}."
    return [describe(ax, words) for ax in (above, below)]


def _title(setup: str, coordinate: str, colours: str) -> str:
    return f"{setup}: {_SERIES[coordinate]}, {colours}"


def _days(rows: pd.DataFrame) -> str:
    days = rows["taken"].dt.normalize()
    return f"{count(days.nunique(), 'day')} from {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}"


def _told(rows: pd.DataFrame) -> str:
    """Say from where to where a series went, between which limits, and since when it is beyond any."""
    first, last, beyond = rows.iloc[0], rows.iloc[-1], rows[rows["beyond"]]
    out = "no day beyond a limit"
    if len(beyond):
        row = beyond.iloc[0]
        out = f"{count(len(beyond), 'day')} beyond a limit, the first {row['taken']:%Y-%m-%d} ({row['out']})"
    return (
        f"{_two(first['value'])} at first, {_two(last['value'])} at last, limits "
        f"{_two(last['lower limit'])} to {_two(last['upper limit'])}, {out}"
    )


def _two(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}".replace("-", "−")


def drift_chart(drift: Drift) -> list[Axes]:
    """Draw every series of a setup's target, in the file on the left and after calibration on the right.

    Each row has one scale, so that it is seen how much calibration takes away.

    Parameters
    ----------
    drift : Drift

    Returns
    -------
    list of Axes
        L*, a*, b* of the neutral patches and ΔE00 from the target: in the file, then after calibration, for
        each; in a figure of their own.

    Raises
    ------
    ModelError
        It was given something else than the result of `check_drift`.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.columns import PATCHES, conform
    >>> from sagglab.setups.drift import check_drift
    >>> grey = {"a*": 0, "b*": 0, "L* of target": 50, "a* of target": 0, "b* of target": 0,
    ...         "L* in file": 50, "a* in file": 0, "b* in file": 0, "setup": "phone", "patch": "grey"}
    >>> days = [grey | {"photo": f"{day}.jpg", "taken": pd.Timestamp(2026, 4, day), "L*": light}
    ...         for day, light in enumerate([50.1, 49.9] * 3 + [53.1, 52.9] * 2, start=1)]
    >>> axes = drift_chart(check_drift(conform(days, PATCHES), "phone"))
    >>> print(alt_text(axes[0]).partition(". ")[2])  # doctest: +NORMALIZE_WHITESPACE
    Beyond a limit: L* after calibration: 50.10 at first, 52.90 at last, limits 48.54 to 51.50, 4 days beyond
    a limit, the first 2026-04-07 (by itself, jump, weighted); ΔE00 after calibration: 0.10 at first, 2.88 at
    last, limits −0.31 to 0.51, 4 days beyond a limit, the first 2026-04-07 (by itself, jump, weighted).
    >>> plt.close()
    """
    check_result(drift, Drift, "drift_chart", "check_drift")
    with look():
        figure, grid = subplots(
            len(_SERIES), len(_COLOURS), figsize=(9.6, 9.2), layout="constrained", sharey="row", sharex=True
        )
        for line, coordinate in zip(grid, _SERIES, strict=True):
            for ax, colours in zip(line, _COLOURS, strict=True):
                rows = _series(drift, coordinate, colours)
                _draw_values(ax, rows)
                ax.tick_params(labelleft=True)
                if coordinate == "L*":
                    ax.set_title(colours, fontsize=11)
                ax.label_outer(remove_inner_ticks=False)
            line[0].set_ylabel(coordinate)
        for ax, colours in zip(grid[-1], _COLOURS, strict=True):
            _dates(ax, _series(drift, "L*", colours), 4.0)
        figure.suptitle(
            wrapped(f"{drift.setup}: neutral patches, and mean ΔE00 from the target", _LINE),
            x=0.01, ha="left", fontsize=12,
        )  # fmt: skip
        figure.supxlabel(
            "days on which the target was photographed; grey: the first ones, which set the middle line;\n"
            "dotted: as far off as a single day may be; diamond: a day that is further off, that leapt from\n"
            "the day before, or by which small steps have added up to too much",
            x=0.01, ha="left", fontsize=9.5,
        )  # fmt: skip
    series = {f"{axis} {colours}": _series(drift, axis, colours) for axis in _SERIES for colours in _COLOURS}
    # Of what keeps within its limits there is nothing to read off.
    told = "; ".join(f"{name}: {_told(rows)}" for name, rows in series.items() if rows["beyond"].any())
    words = (
        f"Control charts of {drift.setup}, {_days(drift.table)}: L*, a*, b* of the neutral patches and mean "
        f"ΔE00 from the target, in the file and after calibration. Beyond a limit: {told or 'none'}."
    )
    return [describe(ax, words) for ax in grid.flat]


def _series(drift: Drift, coordinate: str, colours: str) -> pd.DataFrame:
    """Pick one series, with the place of each day in their order."""
    table = drift.table
    for what, name, known in (
        ("coordinate", coordinate, tuple(_SERIES)),
        ("colours", colours, tuple(dict.fromkeys(table["colours"]))),
    ):
        if name not in known:
            raise UnknownNameError(f"{what} '{name}'", "it is unknown", f"give one of {', '.join(known)}")
    rows = table[(table["coordinate"] == coordinate) & (table["colours"] == colours)]
    return rows.assign(place=np.arange(1, len(rows) + 1), beyond=rows["out"].fillna("") != "")


def _draw_values(ax: Axes, rows: pd.DataFrame) -> None:
    place, value = rows["place"].to_numpy(), rows["value"].to_numpy()
    ax.axvspan(0.5, min(FIRST, len(rows)) + 0.5, color=INK, alpha=0.05, linewidth=0, zorder=0)
    ax.step(place, rows["centre"], where="mid", color=QUIET, linewidth=1.0, zorder=1)
    for limit in ("lower limit", "upper limit"):
        _limit(ax, rows, limit)
    ax.plot(place, value, color=INK, linewidth=0.8, zorder=2)
    _mark(ax, place, value, rows["beyond"].to_numpy())
    ax.set_xlim(0.5, len(rows) + 0.5)


def _limit(ax: Axes, rows: pd.DataFrame, limit: str) -> None:
    dotted = {"color": INK, "linewidth": 1.0, "linestyle": (0, (1, 2))}
    ax.step(rows["place"], rows[limit], where="mid", zorder=1, **dotted)


def _mark(ax: Axes, place: np.ndarray, value: np.ndarray, beyond: np.ndarray) -> None:
    marks = ((~beyond, "o", 4.5, "white"), (beyond, "D", 6.5, INK))
    for chosen, mark, size, face in marks:
        # Only what there is: a line of no marks that is not clipped would count as the figure's corner.
        if chosen.any():
            ax.plot(
                place[chosen], value[chosen], mark, markersize=size, markerfacecolor=face,
                markeredgecolor=INK, linestyle="none", zorder=3, clip_on=False,
            )  # fmt: skip


def _draw_weighted(ax: Axes, rows: pd.DataFrame) -> None:
    ax.fill_between(
        rows["place"], rows["weighted lower"], rows["weighted upper"], step="mid", color=_BLUE, alpha=0.18,
        linewidth=0, zorder=0.5,
    )  # fmt: skip
    ax.plot(rows["place"], rows["weighted"], color=_BLUE, linewidth=2.0, linestyle=(0, (5, 2)), zorder=2.5)


def _draw_ranges(ax: Axes, rows: pd.DataFrame) -> None:
    place, ranges = rows["place"].to_numpy(), rows["moving range"].to_numpy()
    ax.plot(place, ranges, color=INK, linewidth=0.8, zorder=2)
    beyond = ranges > rows["moving range limit"].to_numpy()
    _mark(ax, place, ranges, beyond)
    _limit(ax, rows, "moving range limit")
    ax.set_ylim(0, 1.15 * np.nanmax(np.append(ranges, rows["moving range limit"])) or 1.0)
    ax.set_xlim(0.5, len(rows) + 0.5)
    ax.set_ylabel("from the\none before")


def _dates(ax: Axes, rows: pd.DataFrame, inches: float) -> None:
    """Write as many dates as there is room for."""
    every = int(np.ceil(_DATE_WIDTH * len(rows) / inches))
    shown = rows.iloc[::every]
    ax.set_xticks(shown["place"], shown["taken"].dt.strftime("%Y-%m-%d"), fontsize=9)


def _write(ax: Axes, rows: pd.DataFrame) -> None:
    """Date the first values that are out, and say which ones the centre is from."""
    labels = Labels(ax)
    labels.avoid(rows["place"], rows["value"])
    labels.avoid(rows["place"], rows["weighted"])
    for limit in ("lower limit", "upper limit", "centre"):
        labels.avoid(rows["place"], rows[limit])
    labels.avoid_marks(rows["place"], rows["value"])
    bottom, top = ax.get_ylim()
    heights = np.linspace(top, bottom, 12)[1:-1]
    labels.put("centre from these", [((0.5, height), (4, 1)) for height in heights], QUIET)
    for number, row in enumerate(rows[rows["beyond"]].itertuples()):
        date, at = f"{row.taken:%Y-%m-%d}", (row.place, row.value)
        if number == 0:
            labels.put(date, [(at, offset) for offset in AROUND], leader=True)
        else:
            # As far as there is room: the days stand along the axis as well.
            any(labels.put_if_free(date, (at, offset)) for offset in AROUND[:16])
