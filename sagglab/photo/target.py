"""Find a colour target in a photograph: which grid of patches bears its colours, and which way up.

Every grid of flat patches is compared with the target's reference colours at every place where the target
could lie on it, in each of its four turns. A mirror image, which no turn of the hand makes, is recognised
only to be refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sagglab.colour import SRGB_TO_XYZ, WHITE_D50, WHITE_D65, adaptation, lab_to_xyz
from sagglab.errors import Problem, Problems, TargetError
from sagglab.photo.flags import flagged
from sagglab.photo.grid import patch_grids
from sagglab.photo.patches import grid_to_picture, outside_picture
from sagglab.photo.picture import Picture
from sagglab.photo.placement import LEAST_HELD, Placement, confidence_of, fit_by_chance, placements
from sagglab.photo.regions import flat_regions
from sagglab.targets import Target

#: Looks at the picture, one after the other until the target is found: the longest side, in pixels, to which
#: it is brought; the shortest and longest edge of what is flat of a patch there; the median filter's width.
#: The second is for noise, which hides the gaps between the dark patches of a dim picture; the filter takes
#: it off, and with it the gaps between small patches. The third is for targets too small for the first.
LOOKS = ((1200, 4.0, None, 1), (1200, 6.0, None, 5), (2400, 5.0, 30.0, 1))

#: A first glance at a smaller picture, in a quarter of the time of the first look (24 megapixels with grain:
#: 0.04 s and 0.17 s). What it finds is taken when it is sure, when no patch is covered and at least this
#: share of them was found flat, and when their centres lie at least this many pixels apart there. Corners are
#: then right within 0.01 of a patch (12 rendered scenes of 1200 pixels: 0.26 px in the median; by the first
#: look 0.09).
GLANCE, GLANCE_HELD, LEAST_PITCH = (600, 4.0, None, 1), 0.9, 16.0

#: Most that a small picture is enlarged, so that its patches are flat over more than a pixel or two.
MOST_ENLARGED = 4.0

#: Least colour contrast among neighbouring patches, as a share of the reference's on the cube root scale: a
#: fifth is left of it six stops down.
LEAST_VARIETY = 0.2

#: Share of the ring around a target that may hold more patches of the same grid. Beyond it the target's
#: colours are part of a larger chart, whose other patches would shade or replace those that are meant.
MOST_AROUND = 0.4

#: Below this confidence nothing is returned. The higher one makes another place in the picture a second
#: target, and not a rival that makes the first one doubtful.
LEAST_CONFIDENCE = 0.5
ENOUGH_CONFIDENCE = 0.97

#: Of several targets, the largest is used whose fit is at least this share of the best fit.
LIKE_FIT = 0.9


@dataclass(frozen=True)
class FoundTarget:
    """Where the target lies in a photograph.

    Attributes
    ----------
    corners : ndarray, shape (4, 2)
        Centres of the corner patches, (x, y) in pixels of the full picture, x to the right, y down, whole
        numbers at pixel centres: row 1 column 1; row 1 last column; last row last column; last row column 1.
    confidence : float
        Between 0 and 1: how well the patches bear the target's colours, beyond what the next best placement
        and shuffled colours do.
    hidden : ndarray of bool, shape (rows, columns)
        Patches that are covered or outside the picture.
    problems : Problems
        Warnings: patches hidden, other targets seen.
    """

    corners: NDArray[np.float64]
    confidence: float
    hidden: NDArray[np.bool_]
    problems: Problems


def find_target(picture: Picture, target: Target) -> FoundTarget:
    """Find a colour target in a photograph, at any place, in any turn, in perspective.

    Where the picture holds several of them, the largest of those that fit about as well is returned, and a
    problem says so. Covered patches and those beyond the picture's edge are named likewise.

    Parameters
    ----------
    picture : Picture
        The photograph in linear light of any RGB, white 1; values a little beyond are allowed.
    target : Target
        What to look for. A target of fewer than about ten patches, or of colours that are nearly alike, is
        never found with confidence: too many things look like it.

    Returns
    -------
    FoundTarget

    Raises
    ------
    TargetError
        No grid of patches in the picture is this target with enough confidence, or only a mirror image is.

    Examples
    --------
    >>> from sagglab.targets import read_target
    >>> grey = Picture(np.full((300, 400, 3), 0.5, np.float32))
    >>> try:
    ...     find_target(grey, read_target("24-patch-from-2014-11"))
    ... except TargetError as error:
    ...     print(error.cause)
    no grid of patches is seen
    """
    reference = _cube_roots(target.lab)
    chance = fit_by_chance(reference)
    longest = max(picture.size)
    confidence, seen_any, larger_chart, mirrored = 0.0, False, False, False
    if longest >= LOOKS[0][0]:
        scale, laid = _look(picture, reference, *GLANCE)
        straight = [each for each in laid if not each.mirrored]
        targets, confidence = _best_apart(straight, chance)
        if (
            targets
            and confidence >= ENOUGH_CONFIDENCE
            and all(each.around <= MOST_AROUND for each in straight)
            and all(_plain(each, target) for each in targets)
        ):
            return _found(targets, confidence, scale, picture.size, target)
    for look in LOOKS:
        if larger_chart or (look[0] > LOOKS[0][0] and longest < 1.25 * LOOKS[0][0]):
            break
        scale, laid = _look(picture, reference, *look)
        larger_chart |= any(
            confidence_of(each.fit, chance) >= LEAST_CONFIDENCE
            for each in laid
            if each.around > MOST_AROUND and not each.mirrored
        )
        laid = [each for each in laid if each.around <= MOST_AROUND]
        straight = [each for each in laid if not each.mirrored]
        seen_any |= bool(straight)
        targets, confidence = _best_apart(straight, chance)
        if targets and confidence >= LEAST_CONFIDENCE:
            return _found(targets, confidence, scale, picture.size, target)
        flipped, sure = _best_apart(
            [each for each in laid if each.mirrored], max([chance, *(each.fit for each in straight)])
        )
        mirrored |= bool(flipped) and sure >= LEAST_CONFIDENCE
    if mirrored:
        raise TargetError(
            "photograph",
            "the picture is mirrored: the target's patches run the wrong way round",
            "turn off the camera's mirroring, or flip the picture back",
        )
    if larger_chart:
        cause = "the patches that bear the target's colours are part of a larger chart"
    elif not seen_any:
        cause = "no grid of patches is seen"
    else:
        cause = f"no grid of patches bears the target's colours (confidence {confidence:.2f})"
    raise TargetError(
        "photograph",
        cause,
        "take it with the whole target in the frame, sharp and not too small, state 'target corners', or, "
        "where it is another target, have the setup name its table",
    )


def _plain(placement: Placement, target: Target) -> bool:
    """Tell whether a target's patches lie open, and are large enough for a glance."""
    side = np.hypot(*np.diff(placement.corners, axis=0).T)
    pitch = min(side[[0, 2]].min() / (target.columns - 1), side[1] / (target.rows - 1))
    return placement.held >= GLANCE_HELD and not placement.covered.any() and bool(pitch >= LEAST_PITCH)


def _look(
    picture: Picture,
    reference: NDArray[np.float64],
    side: int,
    smallest: float,
    largest: float | None,
    filtered: int,
) -> tuple[NDArray[np.float64], list[Placement]]:
    rows, columns = reference.shape[:2]
    roots, scale = _working_picture(picture, side)
    encoded = (roots * 255 + 0.5).astype(np.uint8)
    regions = flat_regions(cv2.medianBlur(encoded, filtered), smallest, largest)
    least = max(5, round(LEAST_HELD * rows * columns))
    variety = 255 * LEAST_VARIETY * float(reference.reshape(-1, 3).std(axis=0).max())
    grids = patch_grids(regions, least, max(rows, columns), variety)
    return scale, [each for grid in grids for each in placements(grid, roots, reference)]


def _best_apart(laid: list[Placement], chance: float) -> tuple[list[Placement], float]:
    """Targets that lie apart from each other, the best first, and the confidence in that one."""
    apart: list[Placement] = []
    for each in sorted(laid, key=lambda each: -each.fit):
        if not any(each.overlaps(other) for other in apart):
            apart.append(each)
    if not apart:
        return [], 0.0
    against = [
        max([chance, *(r.fit for r in laid if r.overlaps(each) and not r.same_place(each))]) for each in apart
    ]
    sure = [
        confidence_of(each.fit, wrong) >= ENOUGH_CONFIDENCE
        for each, wrong in zip(apart, against, strict=True)
    ]
    # What lies elsewhere and is no target tells how well anything fits in this picture.
    elsewhere = [each.fit for each, enough in zip(apart, sure, strict=True) if not enough]
    if not any(sure):
        return apart[:1], confidence_of(apart[0].fit, max([against[0], *elsewhere[1:]]))
    targets = [(each, wrong) for each, wrong, enough in zip(apart, against, sure, strict=True) if enough]
    good = [pair for pair in targets if pair[0].fit >= LIKE_FIT * targets[0][0].fit]
    best, wrong = max(good, key=lambda pair: pair[0].area)
    confidence = confidence_of(best.fit, max([wrong, *elsewhere]))
    return [best, *(each for each, _ in targets if each is not best)], confidence


def _found(
    targets: list[Placement],
    confidence: float,
    scale: NDArray[np.float64],
    size: tuple[int, int],
    target: Target,
) -> FoundTarget:
    best = targets[0]
    corners = (best.corners + 0.5) / scale - 0.5
    shape = (target.rows, target.columns)
    hidden = best.covered | outside_picture(grid_to_picture(corners, shape), shape, size)
    problems: list[Problem] = []
    if hidden.any():
        names = np.array(target.patches).reshape(shape)[hidden]
        problems.append(flagged("hidden patches", patches=", ".join(names)))
    if len(targets) > 1:
        x, y = corners.mean(axis=0)
        problems.append(flagged("several targets", count=len(targets), x=x, y=y))
    return FoundTarget(corners, confidence, hidden, Problems(problems))


def _working_picture(picture: Picture, side: int) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    linear = picture.reduced(side)
    longest = max(picture.size)
    if longest < side:
        scale = min(side / longest, MOST_ENLARGED)
        size = [max(1, round(length * scale)) for length in picture.size]
        linear = cv2.resize(linear, size[::-1], interpolation=cv2.INTER_CUBIC)
    # Cube roots look evenly spaced, and turn the gains of light and exposure into other gains, nothing worse.
    scale = np.array(linear.shape[1::-1]) / np.array(picture.size[::-1])
    return np.cbrt(np.clip(linear, 0, 1)), scale


def _cube_roots(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    to_linear = np.linalg.inv(adaptation(WHITE_D65, WHITE_D50) @ SRGB_TO_XYZ)
    return np.cbrt(np.clip(lab_to_xyz(lab) @ to_linear.T, 0, 1))
