"""Labels: words written into a chart beside what they name, clear of lines and of one another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox
from numpy.typing import ArrayLike, NDArray

from sagglab.charts.look import INK, QUIET, SMALL

#: A place in the chart, in its data's units, and how far from it the words begin, in points. To the right of
#: the place they begin at their left end, to the left of it at their right end, and so on.
Spot = tuple[tuple[float, float], tuple[float, float]]

#: Where words may stand about a point: near it first, then further off.
AROUND = tuple(
    (dx * size, dy * size)
    for size in (6, 14, 24, 38, 56, 80)
    for dx, dy in ((1, 0), (0.7, 0.7), (0.7, -0.7), (0, 1), (0, -1), (-0.7, 0.7), (-0.7, -0.7), (-1, 0))
)
#: Near enough to need no leader, with what is above the point first.
ABOVE = tuple(sorted(AROUND[:16], key=lambda offset: (offset[1] <= 0, np.hypot(*offset), abs(offset[0]))))
#: From here on a thin line leads from the words to the point.
LEADER_POINTS = 12

#: What stands behind words that a line may run through. A box, not a stroke around the letters, which draws
#: them as outlines in SVG and PDF, neither searched nor read out: 129 KB of a dose chart in place of 34.
BEHIND = {"boxstyle": "square,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}

# What a spot costs: words over words, or beyond the axes, are worse than any line crossed.
_OVER_WORDS, _OUTSIDE, _OVER_LINE, _LATER = 1e4, 1e4, 40.0, 1.0
#: So many pixels between words, sideways and upwards: side by side they would else read as one.
_APART = (5.0, 1.5)


class Labels:
    """The words in one chart.

    Parameters
    ----------
    ax : Axes
        Its limits, title and axis labels must be set: the figure is laid out to see how much room there is.
    """

    def __init__(self, ax: Axes) -> None:
        self.ax = ax
        figure = ax.get_figure(root=True)
        figure.draw_without_rendering()
        self._pixels_per_point = figure.dpi / 72
        self._taken: list[NDArray[np.float64]] = []
        self._written: list[Annotation] = []
        self._drawn = np.empty(
            (0, 3)
        )  # places of what was drawn, in pixels, with what it costs to cover each

    @property
    def room(self) -> Bbox:
        """The inside of the axes, in pixels."""
        return self.ax.bbox

    def avoid(self, minutes: ArrayLike, temperature_C: ArrayLike, weight: float = _OVER_LINE) -> None:
        """Keep the words off a line, as far as its weight goes."""
        path = self._pixels(np.column_stack([minutes, temperature_C]))
        self._avoid_path(path[np.isfinite(path).all(axis=1)], weight)

    def avoid_marks(self, minutes: ArrayLike, temperature_C: ArrayLike) -> None:
        """Keep the words off single marks."""
        places = self._pixels(np.column_stack([minutes, temperature_C]))
        self._add(places[np.isfinite(places).all(axis=1)], 20 * _OVER_LINE)

    def _avoid_path(self, path: NDArray[np.float64], weight: float) -> None:
        if len(path) > 1:
            # Points no further apart than a letter is high, so that no line slips through a box.
            run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
            along = np.linspace(0, run[-1], int(min(run[-1] / 3, 20_000)) + 2)
            path = np.column_stack([np.interp(along, run, path[:, k]) for k in (0, 1)])
        self._add(path, weight)

    def _add(self, places: NDArray[np.float64], weight: float) -> None:
        weighed = np.column_stack([places, np.full(len(places), weight)])
        drawn = np.concatenate([self._drawn, weighed])
        # From left to right, so that what a box covers is found without going through all.
        self._drawn = drawn[np.argsort(drawn[:, 0], kind="stable")]

    def size(self, text: str, rotation: float = 0) -> tuple[float, float]:
        """Tell the width and the height of words, in pixels."""
        trial = self.ax.text(0, 0, text, fontsize=SMALL, rotation=rotation, linespacing=1.1)
        box = trial.get_window_extent()
        trial.remove()
        return box.width, box.height

    def put(
        self, text: str, spots: Sequence[Spot], colour: str = INK, leader: bool = False, rotation: float = 0
    ) -> bool:
        """Write words at the spot that is most free.

        Returns
        -------
        bool
            Whether they are clear of all other words and inside the axes.
        """
        boxes = self._boxes(spots, *self.size(text, rotation))
        costs = self._costs(boxes) + _LATER * np.arange(len(spots))
        if leader:
            costs = costs + self._leader_costs(spots, boxes)
        best = int(np.argmin(costs))
        words = self._write(text, spots[best], boxes[best], colour, leader, rotation)
        # Read also where a line does run behind them.
        words.set_bbox(BEHIND)
        return bool(costs[best] < _OVER_WORDS)

    def put_if_free(self, text: str, spot: Spot, colour: str = INK, rotation: float = 0) -> bool:
        """Write words at a spot if they touch nothing at all there; or else nowhere."""
        boxes = self._boxes([spot], *self.size(text, rotation))
        free = not self._costs(boxes).any()
        if free:
            self._write(text, spot, boxes[0], colour, False, rotation)
        return free

    def _write(
        self, text: str, spot: Spot, box: NDArray[np.float64], colour: str, leader: bool, rotation: float
    ) -> Annotation:
        place, (dx, dy) = spot
        lead = {"arrowstyle": "-", "color": QUIET, "linewidth": 0.6, "shrinkA": 1, "shrinkB": 2}
        words = self.ax.annotate(
            text, place, xytext=(dx, dy), textcoords="offset points", fontsize=SMALL, color=colour,
            ha=("left", "center", "right")[int(1 - np.sign(dx))],
            va=("bottom", "center", "top")[int(1 - np.sign(dy))],
            rotation=rotation, linespacing=1.1, zorder=5,
            arrowprops=lead if leader and np.hypot(dx, dy) > LEADER_POINTS else None,
        )  # fmt: skip
        # They are inside the axes: were they counted, the layout that they were placed by would change.
        words.set_in_layout(False)
        self._taken.append(box)
        self._written.append(words)
        if words.arrow_patch is not None:
            self._avoid_path(np.stack([self._pixels(place)[0], _middle(box)]), _OVER_LINE)
        return words

    def clear(self) -> None:
        """Take all words away again."""
        for words in self._written:
            words.remove()
        self._taken.clear()
        self._written.clear()

    def _pixels(self, places: ArrayLike) -> NDArray[np.float64]:
        return self.ax.transData.transform(np.atleast_2d(np.asarray(places, dtype=float)))

    def _boxes(self, spots: Sequence[Spot], width: float, height: float) -> NDArray[np.float64]:
        """Give what words of a size cover at each spot: left, bottom, right and top, in pixels."""
        places, offsets = np.array([place for place, _ in spots]), np.array([offset for _, offset in spots])
        size = np.array([width, height])
        corner = self._pixels(places) + offsets * self._pixels_per_point - size * (1 - np.sign(offsets)) / 2
        return np.concatenate([corner, corner + size], axis=1)

    def _costs(self, boxes: NDArray[np.float64]) -> NDArray[np.float64]:
        room = self.room.extents
        beyond = np.maximum(room[:2] - boxes[:, :2], 0) + np.maximum(boxes[:, 2:] - room[2:], 0)
        outside = beyond.sum(axis=1)
        costs = np.where(outside > 0.5, _OUTSIDE * np.minimum(outside, 1e3), 0.0)
        if self._taken:
            near, taken = boxes[:, None] + [-_APART[0], -_APART[1], *_APART], np.array(self._taken)
            shared = np.minimum(near[..., 2:], taken[:, 2:]) - np.maximum(near[..., :2], taken[:, :2])
            area = np.where((shared > 0).all(axis=2), 1 + shared.prod(axis=2), 0)
            costs += _OVER_WORDS * area.sum(axis=1)
        covered = boxes + [-1.5, -1.5, 1.5, 1.5]
        ranges = np.searchsorted(self._drawn[:, 0], covered[:, [0, 2]])
        for k, (begin, end) in enumerate(ranges):
            _, y, weight = self._drawn[begin:end].T
            costs[k] += weight[(y > covered[k, 1]) & (y < covered[k, 3])].sum()
        return costs

    def _leader_costs(self, spots: Sequence[Spot], boxes: NDArray[np.float64]) -> NDArray[np.float64]:
        """Tell what a line from the place to the words costs: more the longer it is, most across words."""
        reach = np.array([np.hypot(*offset) for _, offset in spots])
        if self._taken:
            places = self._pixels([place for place, _ in spots])
            path = np.linspace(places, _middle(boxes), 25)[:, :, None]
            taken = np.array(self._taken)
            across = ((path > taken[:, :2]) & (path < taken[:, 2:])).all(axis=3).any(axis=0).sum(axis=1)
        else:
            across = 0
        return np.where(reach > LEADER_POINTS, reach + 40 * _OVER_LINE * across, 0.0)


def _middle(box: NDArray[np.float64]) -> NDArray[np.float64]:
    return (box[..., :2] + box[..., 2:]) / 2
