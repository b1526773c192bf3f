"""The pot's form: a solid of revolution, read from its outline.

What was turned on a wheel, or pinched and paddled round, is told by one axis and the radius at each height.

Across the axis, the rays from the camera are taken as parallel. Along it they are not: from nearer or higher,
foot and rim show as ellipses, and the outline ends in arcs. How far these bend tells from how high each end
is seen, and so how far the surface in front of the axis shows below its place on it, or above.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, label
from scipy.signal import savgol_filter
from scipy.stats import siegelslopes

from sagglab.errors import OutlineError
from sagglab.photo.outline import Outline

#: Heights at which the radius is read.
HEIGHTS = 400
#: Rows at which left and right are compared to find the axis, between these shares of the outline's height:
#: nearer the ends, a slanted cut meets the foot or the rim on one side and the wall on the other.
AXIS_ROWS, AXIS_SPAN = 120, (0.05, 0.95)
#: How far a camera is held askew (standard deviation, radians), and how many independent comparisons of left
#: and right a hand-made outline is worth. They decide only where the outline tells next to nothing: a ball
#: looks the same from all sides.
TILT_SD, COMPARISONS = np.radians(4.0), 20
#: Left and right disagree where they differ from each other by more than this share of the greatest radius,
#: and by more than four times what is usual on this pot.
DISAGREE = 0.02
#: The radius is smoothed until the noise of its slope is below this: it adds half its square, 0.05 %, to
#: an area. What noise there is shows in the difference of left and right, which see the same radius.
SLOPE_NOISE = 0.03
#: Windows of the smoothing (a local parabola, which keeps bellies as they are), in heights of `HEIGHTS`.
WINDOWS = range(5, 43, 2)
#: An end is the arc of a circle seen from a little above or below when it is bent by no more than this share
#: of its radius (14° for a far camera). A ball's end, which is a part of its side, is bent by 0.34.
ARC = 0.25
#: How far below an end its radius is read, in shares of the outline's height, first and once the end is
#: known; and how much of its width tells the arc: farther out, the rounding of a foot or a lip bends it, too.
END_AT, ARC_WIDTH = (0.05, 0.015), 0.85
#: The wall is continued in a straight line over this many outermost heights of an end that does not close,
#: from three times as many next to them: what is seen there is the corner as the picture blurs it (the rim of
#: a cone of 60 pixels' radius came out 1 % too narrow). A vase's curved wall comes out 0.25 pixels off there.
CORNER = 4
#: How far away a camera stands, in heights of the pot: nearer or farther is no explanation of the arcs.
NEAR, FAR = 2.5, 30.0
#: The widest place is the middle of what is this near to the greatest radius, so that the noise on a
#: straight wall does not choose it.
AS_WIDE = 0.998


@dataclass(frozen=True)
class Form:
    """A pot as a solid of revolution; lengths in pixels of the full photograph.

    Attributes
    ----------
    foot, rim : ndarray, shape (2,)
        (x, y) where the axis meets the foot and the rim.
    radius : ndarray, shape (N,)
        Radius at the heights ``(k + 0.5) / N``, 0 at the foot and 1 at the rim.
    cm_per_px : float
        Scale in the plane through the axis; NaN when nothing tells it.
    foot_from_above, rim_from_above : float
        Tangent of the angle by which the camera looks down on the foot and on the rim; negative where it
        looks up.
    """

    foot: NDArray[np.float64]
    rim: NDArray[np.float64]
    radius: NDArray[np.float64]
    cm_per_px: float = np.nan
    foot_from_above: float = 0.0
    rim_from_above: float = 0.0

    @property
    def length(self) -> float:
        """Length of the axis from foot to rim, pixels."""
        return float(np.hypot(*(self.rim - self.foot)))

    @property
    def upwards(self) -> NDArray[np.float64]:
        """Unit vector (x, y) along the axis, from foot to rim."""
        return (self.rim - self.foot) / self.length

    @property
    def across(self) -> NDArray[np.float64]:
        """Unit vector (x, y) square to the axis, to the right as seen."""
        x, y = self.upwards
        return np.array([-y, x])

    @property
    def heights(self) -> NDArray[np.float64]:
        """Heights of `radius`, shares; shape (N,)."""
        return (np.arange(len(self.radius)) + 0.5) / len(self.radius)

    def lowered(self, height: NDArray, cosine: NDArray) -> NDArray:
        """How far surface shows below its height on the axis, px, where angles have this cosine."""
        from_above = self.foot_from_above + (self.rim_from_above - self.foot_from_above) * height
        return np.interp(height, self.heights, self.radius).astype(height.dtype) * from_above * cosine

    @cached_property
    def slope(self) -> NDArray[np.float64]:
        """Radius gained per length climbed along the axis, at `heights`; shape (N,)."""
        return np.gradient(self.radius, self.length / len(self.radius))

    @property
    def tilt(self) -> float:
        """How far the axis leans to the right as seen, degrees."""
        x, y = self.upwards
        return float(np.degrees(np.arctan2(x, -y)))

    @property
    def widest(self) -> float:
        """Height of the widest place, share."""
        peak = int(self.radius.argmax())
        wide = self.radius >= AS_WIDE * self.radius[peak]
        narrow = np.flatnonzero(~wide)
        low = narrow[narrow < peak].max(initial=-1) + 1
        high = narrow[narrow > peak].min(initial=len(wide))
        return float((low + high) / 2 / len(wide))

    @cached_property
    def side_px2(self) -> float:
        r"""Area of the whole side, pixels squared, inside and ends not counted.

        By the first theorem of Pappus, the area of a surface of revolution is :math:`\int 2 \pi r \, ds`
        along its profile; the profile is taken as straight between neighbouring heights (frustums of cones).
        """
        step = self.length / len(self.radius)
        # Half a step beyond the first and the last height, to the ends.
        low = max(0.0, 1.5 * self.radius[0] - 0.5 * self.radius[1])
        high = max(0.0, 1.5 * self.radius[-1] - 0.5 * self.radius[-2])
        radius = np.concatenate([[low], self.radius, [high]])
        along = np.full(len(self.radius) + 1, step)
        along[[0, -1]] = step / 2
        slant = np.hypot(along, np.diff(radius))
        return float(np.pi * ((radius[1:] + radius[:-1]) * slant).sum())

    @property
    def height_cm(self) -> float:
        """Height in cm; NaN without a scale."""
        return self.length * self.cm_per_px

    @property
    def diameter_cm(self) -> float:
        """Greatest diameter in cm; NaN without a scale."""
        return 2 * float(self.radius.max()) * self.cm_per_px

    @property
    def area_cm2(self) -> float:
        """Area of the whole side in cm²; NaN without a scale."""
        return self.side_px2 * self.cm_per_px**2


def find_form(outline: Outline, cm_per_px: float = np.nan) -> Form:
    """Read the form from an outline; its holes and small notches do not matter.

    The axis is where left and right mirror each other. Where the outline bulges on one side alone, as at a
    hand or a shadow, the other side tells the radius.

    Parameters
    ----------
    outline : Outline
    cm_per_px : float
        Centimetres to a pixel of the full photograph, in the plane through the pot's axis; NaN when unknown.

    Raises
    ------
    OutlineError
        There is no outline, or it surrounds nothing.
    """
    if not outline.rings:
        raise OutlineError("pot outline", "no pot was found, so that there is no form", "give its outline")
    # Of all rings, for one given in pieces; only how far they reach counts, so that holes make no difference.
    edges = np.concatenate([np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in outline.rings])
    tilt, middle = _axis(edges)
    along, aside = _turned(edges, tilt)
    low, foot_closes, at_foot = _end(-along, aside, middle)
    high, rim_closes, at_rim = _end(along, aside, middle)
    low = -low
    step = (high - low) / HEIGHTS
    left, right = _extent(along, aside, low + step * (np.arange(HEIGHTS) + 0.5))
    if not (step > 0 and (right > left).any()):
        raise OutlineError("pot outline", "it surrounds nothing", "give the places around the pot")
    radius, half = _sides(middle - left, right - middle)
    if not foot_closes:
        radius[:CORNER] = _continued(radius[: 4 * CORNER])
    if not rim_closes:
        radius[-CORNER:] = _continued(radius[: -4 * CORNER - 1 : -1])[::-1]
    radius = _smoothed(radius, half, step)
    upwards, across = np.array([np.sin(tilt), -np.cos(tilt)]), np.array([np.cos(tilt), np.sin(tilt)])
    ends = low * upwards + middle * across, high * upwards + middle * across
    return Form(*ends, radius, float(cm_per_px), *_from_above(at_foot, at_rim, radius))


def _turned(edges: NDArray[np.float64], tilt: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Place edges, shape (n, 2, 2), along an axis that leans by `tilt` radians (upwards), and across it."""
    x, y = edges[..., 0], edges[..., 1]
    return x * np.sin(tilt) - y * np.cos(tilt), x * np.cos(tilt) + y * np.sin(tilt)


def _extent(
    along: NDArray[np.float64], aside: NDArray[np.float64], levels: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Find how far an outline reaches to either side at each of the rising `levels`; NaN beyond it."""
    run, rise = np.diff(aside)[:, 0], np.diff(along)[:, 0]
    first = np.searchsorted(levels, along.min(axis=1))
    count = np.searchsorted(levels, along.max(axis=1)) - first
    edge = np.repeat(np.arange(len(along)), count)
    level = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count - first, count)
    met = aside[edge, 0] + run[edge] * (levels[level] - along[edge, 0]) / rise[edge]
    least, most = np.full(len(levels), np.inf), np.full(len(levels), -np.inf)
    np.minimum.at(least, level, met)
    np.maximum.at(most, level, met)
    return np.where(np.isfinite(least), least, np.nan), np.where(np.isfinite(most), most, np.nan)


def _from_above(at_foot: float, at_rim: float, radius: NDArray[np.float64]) -> tuple[float, float]:
    """Tell from the arcs' depths, px, how foot and rim are seen: tangents, negative from below.

    A foot on a table is seen from above. The arc of the rim is its far side, seen from above as well, or its
    near one, seen from below: the two angles differ by what the pot's height makes of the camera's distance.
    Where either would do it is taken as seen from above, so that no inside of the pot counts as its side.
    """
    foot, rim = at_foot / radius[: HEIGHTS // 50].mean(), at_rim / radius[-(HEIGHTS // 50) :].mean()
    above, below = (1 / FAR <= apart <= 1 / NEAR for apart in (foot - rim, foot + rim))
    return float(foot), float(-rim if below and not above else rim)


def _end(along: NDArray[np.float64], aside: NDArray[np.float64], middle: float) -> tuple[float, bool, float]:
    """Find how far along the axis the side reaches, upwards, whether it closes there, and the arc's depth."""
    end, arc, height = float(along.max()), 0.0, np.ptp(along)
    # Evenly in the arc's depth: most of its width is nearly flat, and tells nothing of how far it is bent.
    depth = np.linspace(0, 1 - np.sqrt(1 - ARC_WIDTH**2), 30)
    across = np.sqrt(1 - (1 - depth) ** 2)
    # The end's radius is read below the arc, first with room for any, then next to where it was found to be.
    for below in END_AT:
        left, right = _extent(along, aside, np.array([end - below * height]))
        # Of the narrower side: beside a foot there may be a shadow.
        radius = min(right[0] - middle, middle - left[0])
        if not radius > 0:
            break
        _, top = _extent(aside, along, middle + radius * np.concatenate([-across[::-1], across]))
        met = np.isfinite(top)
        if met.sum() < len(depth):
            break
        bend, level = siegelslopes(top[met], np.concatenate([depth[::-1], depth])[met])
        if bend <= -ARC * radius:
            # A part of the side that closes: nearly the outermost of what is met near the axis.
            near = np.concatenate([across[::-1], across])[met] < 0.15
            return (float(np.quantile(top[met][near], 0.9)) if near.any() else end), True, 0.0
        arc = float(max(-bend, 0.0))
        end = float(level - arc)
    return end, False, arc


def _axis(edges: NDArray[np.float64]) -> tuple[float, float]:
    """Find the axis by symmetry: its tilt in radians, and how far across it lies."""
    tilt = 0.0
    for _ in range(5):
        along, aside = _turned(edges, tilt)
        span = along.min() + np.array(AXIS_SPAN) * np.ptp(along)
        levels = np.linspace(*span, AXIS_ROWS)
        left, right = _extent(along, aside, levels)
        met = np.isfinite(left) & (right > left)
        if met.sum() < 10:
            return tilt, float((aside.min() + aside.max()) / 2)
        levels, middle, radius = levels[met], (left + right)[met] / 2, (right - left)[met] / 2
        # An axis that leans by δ more than this frame meets the right edge δ · radius higher up the wall, and
        # the left edge as much lower, so that the middle moves by δ · (height + radius · slope of the wall).
        slope = np.clip(np.gradient(savgol_filter(radius, 9, 2), levels), -2, 2)
        lever = levels - levels.mean() + radius * slope
        turn, middle_at, precision = _robust_line(lever, middle)
        told = (tilt + np.arctan(turn)) * precision / (precision + TILT_SD**-2)
        done, tilt = abs(told - tilt) < 1e-5, told
        if done:
            break
    return float(tilt), middle_at


def _robust_line(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float, float]:
    """Fit a line that a bulge in less than half of the rows does not pull.

    Its slope, the weighted mean of y, and the slope's precision (1 / variance) are given.
    """
    # Repeated medians bear the bulge; the biweight that follows is five times less noisy on what is left.
    slope, level = siegelslopes(y, x)
    for _ in range(5):
        off = y - level - slope * x
        scale = max(1.4826 * np.median(np.abs(off)), 1e-3 * np.ptp(x), 1e-6)
        weight = np.maximum(1 - (off / (4.685 * scale)) ** 2, 0) ** 2
        x_mean, y_mean = np.average(x, weights=weight), np.average(y, weights=weight)
        spread = np.average((x - x_mean) ** 2, weights=weight)
        if spread < 1e-9:
            return 0.0, float(y_mean), 0.0
        slope = np.average((x - x_mean) * (y - y_mean), weights=weight) / spread
        level = y_mean - slope * x_mean
    return float(slope), float(y_mean), float(COMPARISONS * spread / scale**2)


def _sides(
    left: NDArray[np.float64], right: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Join the radius as left and right tell it; with half their difference where they agree, else 0."""
    rows = np.arange(len(left))
    met = np.isfinite(left) & np.isfinite(right)
    left, right = np.interp(rows, rows[met], left[met]), np.interp(rows, rows[met], right[met])
    radius, half = (left + right) / 2, (right - left) / 2
    usual = 1.4826 * np.median(np.abs(half))
    agree = np.abs(half) <= max(DISAGREE / 2 * radius.max(), 4 * usual)
    if not agree.any():
        return radius, np.zeros_like(half)
    between = np.interp(rows, rows[agree], radius[agree])
    # Where a bulge begins and ends, the true side goes on from the rows that agree; in between it may curve.
    weight = 1 / np.maximum(distance_transform_edt(~agree), 1) ** 2
    for apart in (~agree & (half > 0), ~agree & (half < 0)):
        stretches, count = label(apart)
        for number in range(1, count + 1):
            stretch = stretches == number
            off = [(weight * np.abs(side - between))[stretch].sum() for side in (left, right)]
            radius[stretch] = (left if off[0] < off[1] else right)[stretch]
    return radius, np.where(agree, half, 0.0)


def _continued(radius: NDArray[np.float64]) -> NDArray[np.float64]:
    """Continue a wall, given from its end inwards, over its own first heights."""
    rows = np.arange(len(radius))
    return np.polynomial.Polynomial.fit(rows[CORNER:], radius[CORNER:], 1)(rows[:CORNER])


def _smoothed(radius: NDArray[np.float64], half: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    for window in WINDOWS:
        noise = np.gradient(savgol_filter(half, window, 2), step)
        if 1.4826 * np.median(np.abs(noise)) <= SLOPE_NOISE:
            break
    return np.maximum(savgol_filter(radius, window, 2), 1e-3)
