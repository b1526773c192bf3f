"""Review pictures: what was measured, drawn over the photograph."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from sagglab.charts.files import draw_to_files, save_chart
from sagglab.charts.look import axes, look, wrapped
from sagglab.photo.image import read_photo
from sagglab.photo.measure import MeasuredPhoto

#: Width of the picture in inches, and how many letters of its title go into a line.
WIDTH, LETTERS = 8, 110
#: ΔE00 from which a patch's own is written beside it, where the patches lie this far apart, in points.
TOLD, LEAST_PITCH = 3.0, 18.0
#: White marks stand out from white patches, too.
_EDGED = (withStroke(linewidth=2.2, foreground="#00000099"),)


def review_picture(measured: MeasuredPhoto, ax: Axes | None = None) -> Axes:
    """Draw what was measured over the photograph: target grid, outline, central band and glare.

    Rings are patches that count, crosses those that hardly do; beside a patch that is far off stands its
    ΔE00.

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
    words = _review_words(measured)
    with look():
        if ax is None:
            ax = _axes(rows / columns, 0.17 * words.count("\n") + 0.3)
        ax.imshow(photo.display(picture), extent=(-0.5, columns - 0.5, rows - 0.5, -0.5))
        ax.autoscale(False)  # patches may lie beyond the frame
        if not np.isnan(measured.corners).any():
            _target(ax, measured, WIDTH * 72 / columns)
        if measured.surface is not None:
            _contour(ax, measured.outline, measured.outline.shape, "#ffb000")
            _contour(ax, measured.surface.band, measured.outline.shape, "white", linestyle=(0, (4, 2)))
            _contour(ax, measured.surface.glare, measured.outline.shape, "#00e5ff")
        ax.set_axis_off()
        ax.set_title(words, fontsize=10)
    return ax


def _axes(tall: float, title: float) -> Axes:
    """Make axes for a picture so many times as tall as wide, with inches above it for the title."""
    height = WIDTH * tall + title
    ax = axes(None, WIDTH, height)
    # The usual layout does not know that the picture keeps its shape, and cuts a title of several lines.
    ax.figure.set_layout_engine("none")
    margin = 0.05
    width = WIDTH - 2 * margin
    ax.set_position((margin / WIDTH, margin / height, width / WIDTH, width * tall / height))
    return ax


def _target(ax: Axes, measured: MeasuredPhoto, points: float) -> None:
    """Draw the grid of the target; a pixel of the photograph is so many points wide."""
    patches = measured.calibration.patches
    # A patch more colourful than the file can hold is no fault of the photograph's.
    good = patches["doubt"].isin(["", "beyond the file's colours"]).to_numpy()
    centres = patches[["x", "y"]].to_numpy()
    pitch = points * float(np.linalg.norm(centres[1] - centres[0]))
    mark = {"color": "white", "linestyle": "none", "path_effects": _EDGED}
    ax.add_patch(Polygon(measured.corners, closed=True, fill=False, edgecolor="white", linewidth=0.7))
    ax.plot(*centres[good].T, marker="o", markersize=min(5, pitch / 4), markerfacecolor="none", **mark)
    ax.plot(*centres[~good].T, marker="x", markersize=min(6, pitch / 3), **mark)
    word = {
        "color": "white", "ha": "center", "textcoords": "offset points", "path_effects": _EDGED,
    }  # fmt: skip
    ax.annotate("row 1", measured.corners[0], xytext=(0, 6), fontsize=8, **word)
    if pitch >= LEAST_PITCH:
        # What is hidden shows something else, and not how well it is measured.
        far_off = (patches["ΔE00"] >= TOLD) & (patches["doubt"] != "hidden")
        for x, y, error in patches.loc[far_off, ["x", "y", "ΔE00"]].to_numpy():
            ax.annotate(f"{error:.1f}", (x, y), xytext=(0, -6), fontsize=6.5, va="top", **word)


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
    row, calibration = measured.table.iloc[0], measured.calibration
    colour = "no pot"
    if not np.isnan(row["L*"]):
        # Written as the colour and how far either way the truth may be, in 95 of 100.
        colour = "   ".join(
            f"{axis} {row[axis]:.1f} ± {(row[f'{axis} high'] - row[f'{axis} low']) / 2:.1f}"
            for axis in ("L*", "a*", "b*")
        )
    lender = row["calibrated from"]
    target = f"Calibrated from {Path(lender).name}" if lender else "Target"
    veil = f"; stray light {calibration.veil:.1%} taken out" if calibration.veil >= 0.0005 else ""
    lines = [
        f"{Path(measured.path).name}:  {colour}",
        f"{target}: ΔE00 mean {calibration.mean:.2f}, left out {calibration.left_out_mean:.2f}; fall-off "
        f"{calibration.mapping.light.source}{veil}",
        f"Flags: {measured.problems.flags}" if measured.problems.flags else "",
        *(problem.cause for problem in measured.problems.unflagged),
    ]
    return "\n".join(wrapped(line, LETTERS) for line in lines if line)


def save_review(folder: Path, measured: MeasuredPhoto) -> None:
    """Save the review picture of one photograph into a folder, named after the photograph and its folder."""
    draw_to_files()
    # Photographs of two days may share their names, but not their folders.
    name = "-".join(Path(measured.path).with_suffix("").parts[-2:])
    save_chart(review_picture(measured), folder / f"{name}.jpg")
