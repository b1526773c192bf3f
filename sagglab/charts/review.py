"""Review pictures: what was measured, drawn over the photograph."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from sagglab.charts.files import draw_to_files, save_chart
from sagglab.charts.look import axes, look
from sagglab.colour import linear_to_srgb
from sagglab.photo.image import read_photo
from sagglab.photo.measure import MeasuredPhoto


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
    with look():
        ax = axes(ax, 8, 8 * rows / columns + 0.8)
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


def save_review(folder: Path, measured: MeasuredPhoto) -> None:
    """Save the review picture of one photograph into a folder, named after the photograph and its folder."""
    draw_to_files()
    # Photographs of two days may share their names, but not their folders.
    name = "-".join(Path(measured.path).with_suffix("").parts[-2:])
    save_chart(review_picture(measured), folder / f"{name}.jpg")
