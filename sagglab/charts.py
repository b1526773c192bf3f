"""Charts: a table or a result in, Axes out; one look for all of them.

Pots are shown in their measured colour; all else in a palette that colour-blind readers can tell apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import cv2
import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from sagglab.colour import lab_to_srgb, linear_to_srgb
from sagglab.firing.heat import ALUMINIUM_FREEZES_C, QUARTZ_INVERTS_C
from sagglab.firing.readings import Readings
from sagglab.model.effects import Effects
from sagglab.model.terms import find_column
from sagglab.model.wording import label, step, words_for
from sagglab.photo.image import read_photo
from sagglab.photo.measure import MeasuredPhoto
from sagglab.units import convert, parse_heading

INK = "#2b2b2b"
QUIET = "#8a8a8a"

LOOK = {
    "font.size": 11,
    "axes.titlesize": 12,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "figure.dpi": 110,
    "savefig.dpi": 160,
}


@contextmanager
def _look() -> Iterator[None]:
    # matplotlib's own rc_context also puts back "interactive", which a notebook's backend sets when it is
    # first used: used first in here, no chart after it would be shown. Only what is changed is put back.
    look = {**sns.axes_style("ticks"), **LOOK}
    before = {name: mpl.rcParams[name] for name in look}
    mpl.rcParams.update(look)
    try:
        yield
    finally:
        mpl.rcParams.update(before)


def _axes(ax: Axes | None, width: float, height: float) -> Axes:
    if ax is not None:
        return ax
    return plt.subplots(figsize=(width, height), layout="constrained")[1]


def effect_chart(effects: Effects, ax: Axes | None = None) -> Axes:
    """Draw each effect with its 95 % interval.

    Amounts are shown as with against without where some pots had none, and else for each unit. An effect
    whose interval keeps clear of zero is filled; one that the data cannot tell is hollow.
    """
    shown = list(_effect_rows(effects))[::-1]
    words = words_for(effects.outcome)
    with _look():
        ax = _axes(ax, 7.2, 1.4 + 0.42 * len(shown))
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


def firing_curves(firings: Mapping[str, Readings], ax: Axes | None = None) -> Axes:
    """Draw the temperature records of several firings, °C on the left and °F on the right.

    Parameters
    ----------
    firings : mapping of str to Readings
        Each firing's tag and its record.
    """
    records = pd.concat(
        [
            readings.counted.assign(
                firing=tag, minutes=readings.counted["minutes"] - readings.counted["minutes"].min()
            )
            for tag, readings in firings.items()
        ]
    )
    with _look():
        ax = _axes(ax, 7.6, 4.4)
        for level, words in (
            (QUARTZ_INVERTS_C, "quartz inversion"),
            (ALUMINIUM_FREEZES_C, "foil can melt"),
        ):
            ax.axhline(level, color=QUIET, linewidth=0.7, linestyle=(0, (4, 3)), zorder=0)
            ax.annotate(
                f"{words} {level:.0f} °C", (0.995, level), xycoords=("axes fraction", "data"), xytext=(0, 2),
                textcoords="offset points", fontsize=9, color=QUIET, ha="right",
            )  # fmt: skip
        sns.lineplot(
            records, x="minutes", y="temperature_C", hue="firing", style="firing", dashes=True,
            palette="colorblind", estimator=None, linewidth=1.4, ax=ax,
        )  # fmt: skip
        ax.set_xlim(left=0)
        ax.set_ylim(bottom=0)
        ax.set_xlabel("minutes from the first reading")
        ax.set_ylabel("°C")
        ax.legend(title="firing", frameon=False)
        right = ax.secondary_yaxis(
            "right", functions=(lambda c: convert(c, "degC", "degF"), lambda f: convert(f, "degF", "degC"))
        )
        right.set_ylabel("°F")
        right.spines["right"].set_visible(True)
        ax.set_title("Firing curves")
    return ax


def pot_swatches(results: pd.DataFrame, by: str, ax: Axes | None = None) -> Axes:
    """Draw every measured pot in its own mean colour, in one row for each level of a column.

    Parameters
    ----------
    results : DataFrame
        One row per pot, with ``L*``, ``a*``, ``b*``.
    by : str
        A column of it, such as ``sugar [g]``, by its heading or its bare name. Within a level the pots stand
        from dark to light. A colour that the display cannot show has a corner cut off.

    Raises
    ------
    UnknownNameError
        There is no such column.
    """
    column = find_column(results, by, "column")
    shown = results[results["L*"].notna()]
    levels = list(shown.groupby(column, sort=True))
    longest = max((len(pots) for _, pots in levels), default=1)
    with _look():
        ax = _axes(ax, 1.6 + 0.5 * longest, 1.1 + 0.72 * len(levels))
        for place, (_, pots) in enumerate(levels):
            pots = pots.sort_values("L*")
            colours, outside = lab_to_srgb(pots[["L*", "a*", "b*"]].to_numpy())
            for k, (colour, cut) in enumerate(zip(colours, outside, strict=True)):
                corner = (
                    [(k + 0.94, place + 0.36)]
                    if not cut
                    else [(k + 0.7, place + 0.36), (k + 0.94, place + 0.12)]
                )
                shape = [(k, place + 0.36), (k, place - 0.36), (k + 0.94, place - 0.36), *corner[::-1]]
                ax.add_patch(Polygon(shape, facecolor=colour, edgecolor="none"))
                ink = "white" if pots["L*"].iloc[k] < 55 else "black"
                ax.text(k + 0.47, place, pots["pot"].iloc[k], ha="center", va="center", fontsize=8, color=ink)
        name, unit = parse_heading(str(column))
        labels = [
            f"{level:.3g} {unit or ''}".strip() if isinstance(level, float) else str(level)
            for level, _ in levels
        ]
        ax.set_yticks(range(len(levels)), labels)
        ax.set_xlim(0, longest)
        ax.set_ylim(len(levels) - 0.5, -0.5)
        ax.set_xticks([])
        ax.set_xlabel("each pot's mean colour, from dark to light")
        ax.tick_params(length=0)
        for spine in ax.spines.values():
            spine.set_visible(False)
        ax.set_title(f"The pots by {name}")
    return ax


def review_picture(measured: MeasuredPhoto, ax: Axes | None = None) -> Axes:
    """Draw what was measured over the photograph: target grid, outline, central band and glare.

    Parameters
    ----------
    measured : MeasuredPhoto
        Its photograph is read again from its file.
    """
    photo = read_photo(measured.path)
    rows, columns = photo.linear.shape[:2]
    scale = min(1.0, 1200 / max(rows, columns))
    size = round(columns * scale), round(rows * scale)
    picture = cv2.resize(photo.linear, size, interpolation=cv2.INTER_AREA)
    encoded = np.clip(linear_to_srgb(picture), 0, 1)
    with _look():
        ax = _axes(ax, 8, 8 * rows / columns + 0.8)
        ax.imshow(encoded, extent=(-0.5, columns - 0.5, rows - 0.5, -0.5))
        patches = measured.calibration.patches
        used, centres = patches["used"].to_numpy(), patches[["x", "y"]].to_numpy()
        ax.plot(*centres[used].T, "o", markersize=4, markerfacecolor="none", markeredgecolor="white")
        ax.plot(*centres[~used].T, "x", markersize=5, color="white")
        ax.add_patch(Polygon(measured.corners, closed=True, fill=False, edgecolor="white", linewidth=1))
        ax.annotate("row 1", measured.corners[0], color="white", fontsize=8, ha="center", xytext=(0, 6),
                    textcoords="offset points")  # fmt: skip
        if measured.surface is not None:
            _contour(ax, measured.outline, measured.outline.shape, "#ffb000")
            _contour(ax, measured.surface.band, measured.outline.shape, "white", linestyle=(0, (4, 2)))
            _contour(ax, measured.surface.glare, measured.outline.shape, "#00e5ff")
        ax.set_axis_off()
        ax.set_title(_review_words(measured), fontsize=10)
    return ax


def _contour(
    ax: Axes, mask: NDArray[np.bool_], size: tuple[int, int], colour: str, linestyle: tuple | str = "-"
) -> None:
    """Draw the edge of a mask of any size over a photograph of `size` (rows, columns)."""
    edges, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    scale = np.array([size[1] / mask.shape[1], size[0] / mask.shape[0]])
    for edge in edges:
        places = (edge[:, 0] + 0.5) * scale - 0.5
        ax.add_patch(
            Polygon(places, closed=True, fill=False, edgecolor=colour, linewidth=1, linestyle=linestyle)
        )


def _review_words(measured: MeasuredPhoto) -> str:
    row = measured.table.iloc[0]
    colour = (
        "no pot" if np.isnan(row["L*"]) else f"L* {row['L*']:.1f}   a* {row['a*']:.1f}   b* {row['b*']:.1f}"
    )
    first = (
        f"{Path(measured.path).name}:  {colour}   |  target ΔE00 mean {measured.calibration.mean:.2f}, "
        f"left out {measured.calibration.left_out_mean:.2f}"
    )
    return "\n".join([first, *(problem.cause for problem in measured.problems)])


def draw_to_files() -> None:
    """Draw to files only from here on, unless a notebook or a window is drawn to already.

    A shell and its worker processes would otherwise open a window for each chart where there is a screen.
    """
    if mpl.get_backend(auto_select=False) is None:
        mpl.use("Agg")


def save_chart(ax: Axes, path: Path) -> None:
    """Save the chart's whole figure, and let go of it."""
    ax.figure.savefig(path)
    plt.close(ax.figure)


def save_review(folder: Path, measured: MeasuredPhoto) -> None:
    """Save the review picture of one photograph into a folder, named after the photograph and its folder."""
    draw_to_files()
    # Photographs of two days may share their names, but not their folders.
    name = "-".join(Path(measured.path).with_suffix("").parts[-2:])
    save_chart(review_picture(measured), folder / f"{name}.jpg")
