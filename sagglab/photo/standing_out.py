"""What stands out from the backdrop: whole things, and which of them may be a pot."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: Area over that of the convex hull, below which a thing is no turned form: a plant, a hand, clutter. Bottles
#: with a slim neck come down to 0.75.
SOLID = 0.65
#: Share of a thing that its mirror image, left and right exchanged, covers; below it, it is no turned form.
EVEN = 0.75
#: Less of the frame than this is a crumb, not a pot.
SMALLEST_SHARE = 0.01
#: Spread over mean of the edges in a sheet's rows and columns. Of 55 rendered pots 0.55 at the most, of the
#: targets beside them 1.14 at the least.
STRAIGHT = 0.8
#: Less than this from the backdrop, in ΔE*ab, is the backdrop.
FAINT = 3.0


@dataclass(frozen=True)
class Thing:
    """Something that stands out from the backdrop.

    Attributes
    ----------
    region, core : ndarray of bool, shape (rows, columns)
        All of it, and what lies well inside.
    solidity : float
        Its area over its convex hull's.
    evenness : float
        Overlap over union of it and its mirror image.
    cut : bool
        Whether it runs out of the frame.
    disc : ndarray, shape (rows, columns), or None
        How unlike the disc that it stands on each pixel is; None where it stands on none.
    """

    region: NDArray[np.bool_]
    core: NDArray[np.bool_]
    solidity: float
    evenness: float
    cut: bool
    disc: NDArray[np.float32] | None = None

    @property
    def turned(self) -> bool:
        """Whether it may be a turned form."""
        return self.solidity >= SOLID and self.evenness >= EVEN

    @property
    def potlike(self) -> bool:
        """Whether it is whole, and may be a turned form."""
        return self.turned and not self.cut


def _ball(reach: int) -> NDArray[np.uint8]:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))


def filled(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Fill the holes of a mask."""
    outer, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(np.zeros_like(mask), outer, -1, 1, cv2.FILLED)


def find_things(
    lab: NDArray[np.float32],
    unlike: NDArray[np.float32],
    no_shadow: NDArray[np.float32],
    grain: float,
    elsewhere: NDArray[np.bool_],
) -> list[Thing]:
    """Find all that is large enough to be a pot, the largest first; not what the target itself lies on.

    Parameters
    ----------
    lab : ndarray of float32, shape (rows, columns, 3)
    unlike, no_shadow : ndarray, shape (rows, columns)
        As `Backdrop.compare` gives them.
    grain : float
        How far the backdrop scatters, ΔE*ab.
    elsewhere : ndarray of bool, shape (rows, columns)

    Returns
    -------
    list of Thing
    """
    reach = max(2, min(elsewhere.shape) // 150)
    # Padded with what the rim shows, so that a thing that runs out of the frame still touches it.
    margin = 4 * reach
    sure = np.pad((no_shadow > 1) & ~elsewhere, margin, mode="edge").astype(np.uint8)
    sure = cv2.morphologyEx(cv2.morphologyEx(sure, cv2.MORPH_CLOSE, _ball(reach)), cv2.MORPH_OPEN, _ball(1))
    faint = np.pad((unlike > max(FAINT, 3.5 * grain)) & ~elsewhere, margin, mode="edge").astype(np.uint8)
    faint = cv2.morphologyEx(faint | sure, cv2.MORPH_OPEN, _ball(1))
    groups, labels = cv2.connectedComponents(faint, connectivity=4)
    whole = np.zeros_like(sure)
    for group in np.flatnonzero(np.bincount(labels[sure > 0], minlength=groups) > 40):
        if group:
            whole |= _joined(sure, labels == group, reach)
    opened = np.ascontiguousarray(whole[margin:-margin, margin:-margin])
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    sizes = stats[1:, cv2.CC_STAT_AREA]
    # Next to a pot, what is not a quarter of its size is an odd thing on the table.
    least = max(SMALLEST_SHARE * elsewhere.size, 0.25 * sizes.max(initial=0))
    things = []
    for number in np.argsort(-sizes):
        if sizes[number] <= least:
            break
        region = labels == number + 1
        hull = cv2.convexHull(_outer(region))
        within = cv2.fillConvexPoly(np.zeros(region.shape, np.uint8), hull, 1).astype(bool)
        if (within & elsewhere).sum() <= 0.25 * elsewhere.sum() and not _chart(lab, region):
            things.append(as_thing(region, reach))
    return things


def _joined(sure: NDArray[np.uint8], group: NDArray[np.bool_], reach: int) -> NDArray[np.uint8]:
    """Take what lies between the sure parts of one thing, where it differs a little from the backdrop, too.

    A grey patch on a grey ground may be a shadow by its colour; but not one amidst what is no shadow.
    """
    parts = cv2.morphologyEx(filled(sure * group), cv2.MORPH_OPEN, _ball(2 * reach))
    places = np.stack(np.nonzero(parts)[::-1], axis=1).astype(np.int32)
    if not len(places):
        return parts
    within = cv2.fillConvexPoly(np.zeros_like(sure), cv2.convexHull(places), 1)
    joined = cv2.morphologyEx(within & group, cv2.MORPH_CLOSE, _ball(2 * reach))
    joined = cv2.morphologyEx(filled(joined), cv2.MORPH_OPEN, _ball(2 * reach))
    if not joined.any():
        return parts
    edge = _outer(joined)
    # Two pots whose shadows meet are one group, and their hull holds what lies between them.
    one = cv2.contourArea(edge) >= SOLID * cv2.contourArea(cv2.convexHull(edge))
    return joined if one else parts


def _outer(region: NDArray[np.bool_]) -> NDArray[np.int32]:
    edges, _ = cv2.findContours(region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return max(edges, key=cv2.contourArea)


def _chart(lab: NDArray[np.float32], region: NDArray[np.bool_]) -> bool:
    """Tell whether a thing is a flat sheet of patches: another target, or one that cannot be read.

    Its edges stand in straight lines, along both its sides.
    """
    box = cv2.boxPoints(cv2.minAreaRect(_outer(region))).astype(np.float32)
    wide, tall = (round(float(np.linalg.norm(box[k] - box[k + 1]))) for k in (1, 0))
    if min(wide, tall) < 20 or region.sum() < 0.85 * wide * tall:
        return False
    onto = cv2.getAffineTransform(box[[1, 2, 0]], np.array([[0, 0], [wide, 0], [0, tall]], dtype=np.float32))
    inside = cv2.warpAffine(lab, onto, (wide, tall))[tall // 10 : -tall // 10, wide // 10 : -wide // 10]
    for axis in (0, 1):
        edges = np.linalg.norm(np.diff(inside, axis=1 - axis), axis=-1).mean(axis=axis)
        if edges.std() < STRAIGHT * edges.mean():
            return False
    return True


def as_thing(region: NDArray[np.bool_], reach: int) -> Thing:
    """Describe a region as a thing."""
    depth = cv2.distanceTransform(np.pad(region, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    edge = _outer(region)
    area = cv2.contourArea(edge)
    rim = np.concatenate([region[0], region[-1], region[:, 0], region[:, -1]])
    return Thing(
        region=region,
        # A shadow's dark middle, at the foot, is thin: the outer part is left to the flooding.
        core=depth > min(0.3 * depth.max(), 6.0 * reach),
        solidity=area / max(cv2.contourArea(cv2.convexHull(edge)), 1.0),
        evenness=_evenness(region),
        cut=bool(rim.any()),
    )


def _evenness(region: NDArray[np.bool_]) -> float:
    x, y, width, height = cv2.boundingRect(region.astype(np.uint8))
    part = region[y : y + height, x : x + width]
    # About its own middle, and with the tilt that a hand-held camera gives, up to some degrees.
    rows, columns = np.nonzero(part)
    lean = np.polyfit(rows, columns, 1)[0]
    lean = lean if abs(lean) < 0.1 else 0.0
    middle = columns.mean() + lean * (np.arange(height) - rows.mean())
    mirrored = np.rint(2 * middle[rows] - columns).astype(np.intp)
    inside = (mirrored >= 0) & (mirrored < width)
    both = part[rows[inside], mirrored[inside]].sum()
    return float(both / (2 * len(rows) - both))
