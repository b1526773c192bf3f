"""The parts of a review picture beside the photograph: surface, height profile, palette, target patches."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from numpy.typing import NDArray

from sagglab.charts.look import INK, LINES
from sagglab.charts.overlay import counting
from sagglab.charts.surface import height_scale, paint_surface
from sagglab.colour import lab_to_srgb
from sagglab.columns import HEIGHT_STEPS
from sagglab.photo.measure import MeasuredPhoto
from sagglab.photo.palette import Palette
from sagglab.photo.side import Side

#: Type in points.
TYPE, SMALL_TYPE = 8, 7


def map_shape(side: Side) -> float:
    """Width over height of the unrolled surface, as long along the widest place as the pot is there."""
    form, degrees = side.surface.form, side.map.degrees
    return float(np.radians(len(degrees)) * form.radius.max() / form.length)


def draw_map(ax: Axes, side: Side) -> None:
    """Draw the surface unrolled, in the colours that were measured, with the band that counts."""
    paint_surface(ax, side.map)
    band = side.surface.degrees[side.surface.band]
    for edge in (band.min(), band.max()):
        ax.axvline(edge, color=INK, linewidth=0.8, dashes=(4, 2), zorder=3)
    ticks = (-60, -30, 0, 30, 60) if ax.bbox.width / ax.figure.dpi > 1.4 else (-60, 0, 60)
    ax.set_xticks(ticks, [f"{tick:+d}°".replace("-", "−") if tick else "0°" for tick in ticks])
    ax.set_ylabel(f"height [{height_scale(side.map)[1]}]", fontsize=TYPE)
    ax.set_xlabel("angle around the pot", fontsize=TYPE)
    _quiet(ax)


def draw_profile(ax: Axes, measured: MeasuredPhoto) -> None:
    """Draw L* by height, on the height axis of the map beside it."""
    top, _ = height_scale(measured.side.map)
    row = measured.table.iloc[0]
    lightness = [row[f"L* at {step:g} % height"] for step in HEIGHT_STEPS]
    colour, _ = LINES[0]
    height = top * np.array(HEIGHT_STEPS) / 100
    ax.plot(lightness, height, color=colour, linewidth=1.4, marker=".", markersize=3)
    ax.set(xlim=(0, 100), ylim=(0, top), xticks=(0, 50, 100))
    ax.set_xlabel("L*", fontsize=TYPE)
    ax.tick_params(labelleft=False)
    _quiet(ax)


def _quiet(ax: Axes) -> None:
    ax.tick_params(labelsize=SMALL_TYPE, length=2.5, width=0.6, pad=2)


def draw_palette(ax: Axes, colours: Palette) -> None:
    """Draw the palette as a ribbon, each colour as wide as its share, and below it each in numbers.

    A colour that the display cannot show has a corner cut off.
    """
    ax.set(xlim=(0, 1), ylim=(0, 1))
    ax.set_axis_off()
    shown, outside = lab_to_srgb(colours.lab)
    ends = np.cumsum(colours.share)
    slot = 1 / max(6, len(ends))
    blocks, inks = [], []
    for k, (colour, cut) in enumerate(zip(shown, outside, strict=True)):
        blocks += [_block(ends[k] - colours.share[k], ends[k], 0.58, 1.0, cut)]
        blocks += [_block(k * slot, k * slot + 0.024, 0.06, 0.42, cut)]
        inks += [colour, colour]
        lightness, a, b = colours.lab[k]
        words = f"{colours.share[k]:.0%}\nL* {lightness:.0f}  a* {a:.0f}  b* {b:.0f}"
        ax.text(k * slot + 0.03, 0.24, words, fontsize=SMALL_TYPE, va="center", linespacing=1.25)
    ax.add_collection(PolyCollection(blocks, facecolors=inks, edgecolors="none"), autolim=False)


def _block(left: float, right: float, low: float, high: float, cut: bool) -> NDArray[np.float64]:
    """Give a rectangle, with its upper right corner cut off or not."""
    notch = min(0.3 * (right - left), 0.008) if cut else 0.0
    drop = 0.3 * (high - low) if cut else 0.0
    return np.array([[left, low], [right, low], [right, high - drop], [right - notch, high], [left, high]])


def grid_shape(measured: MeasuredPhoto) -> tuple[int, int]:
    """Rows and columns of the target, from where its patches lie: a row ends where the next place is back."""
    centres = measured.calibration.patches[["x", "y"]].to_numpy()
    steps = np.diff(centres, axis=0)
    back = np.flatnonzero(steps @ steps[0] < 0) if len(steps) else np.empty(0, dtype=int)
    columns = int(back[0]) + 1 if len(back) else len(centres)
    return max(1, len(centres) // columns), columns


def draw_patches(ax: Axes, measured: MeasuredPhoto) -> None:
    """Draw the target's patches as they were measured, each with its ΔE00, crossed where it hardly counts."""
    patches = measured.calibration.patches
    rows, columns = grid_shape(measured)
    ax.set(xlim=(0, columns), ylim=(rows, 0))
    ax.set_axis_off()
    x, y = np.arange(len(patches)) % columns, np.arange(len(patches)) // columns
    lab = patches[["L*", "a*", "b*"]].to_numpy()
    shown, _ = lab_to_srgb(np.nan_to_num(lab))
    square = np.array([[0, 0], [0.96, 0], [0.96, 0.94], [0, 0.94]])
    corners = np.stack([x, y], axis=-1)[:, None] + square
    ax.add_collection(PolyCollection(corners, facecolors=shown, edgecolors="none"), autolim=False)
    # Numbers in a cell of less than 15 points would run into the next.
    wide = ax.bbox.width / ax.figure.dpi * 72 / columns
    tall = ax.bbox.height / ax.figure.dpi * 72 / rows
    size = min(SMALL_TYPE, wide / 2.6, tall / 1.3)
    counts = counting(measured)
    for k, error in enumerate(patches["ΔE00"].to_numpy()):
        ink = "white" if lab[k, 0] < 55 else "black"
        if not counts[k]:
            ax.plot(x[k] + square[[0, 2], 0], y[k] + square[[0, 2], 1], color=ink, linewidth=0.7)
        if size >= 4.5 and np.isfinite(error):
            place = {"ha": "center", "va": "center", "fontsize": size}
            # Struck through, the number stands on a scrap of its patch's own colour.
            scrap = None if counts[k] else {"facecolor": shown[k], "edgecolor": "none", "pad": 0.6}
            ax.text(x[k] + 0.48, y[k] + 0.48, f"{error:.1f}", color=ink, bbox=scrap, **place)
