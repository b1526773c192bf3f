"""The pot's outline on a plain backdrop.

What differs from the backdrop, more than a shadow could, tells about where the pot is; the turned form that
explains it best, with its edges, tells how far it goes. That is done at half the size; then the outline is
moved onto the edge at the full one, and what speaks for it is weighed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sagglab.errors import OutlineError, Problem, Problems
from sagglab.photo.backdrop import find_backdrop
from sagglab.photo.edges import refine, ring_of
from sagglab.photo.evidence import MUCH_UNCLEAR, SURE, Evidence, weigh
from sagglab.photo.flags import flagged
from sagglab.photo.picture import reduced_places
from sagglab.photo.standing_out import Thing, find_things
from sagglab.photo.turned import turned_form
from sagglab.photo.turntable import without_turntable

#: Longest side at which the pot is searched for; the ring is then refined at the size that was given.
SEARCHED_AT = 400
#: How far beyond the rough ring the edge is looked for, with room for what is read beside it, px.
BESIDE = 20
#: Confidence at the most when the frame cuts the pot.
CUT_SURE = 0.75


@dataclass(frozen=True)
class Outline:
    """A pot's silhouette; false when there is none.

    Attributes
    ----------
    rings : tuple of ndarray, each of shape (n, 2)
        Closed rings of places (x, y) in pixels of the full photograph, the outer one first. Others are holes
        that a person left out, or further pieces that a person gave: what an odd number of rings surrounds is
        the pot. Empty when no pot was found.
    confidence : float
        0 to 1, how surely this is the pot's outline; NaN when a person gave it.
    problems : Problems
    """

    rings: tuple[NDArray[np.float64], ...]
    confidence: float
    problems: Problems

    def __bool__(self) -> bool:
        return bool(self.rings)

    def mask(self, size: tuple[int, int], of: tuple[int, int]) -> NDArray[np.bool_]:
        """Tell which pixels' middles lie inside; of those on its edge, the left and the upper ones.

        Parameters
        ----------
        size : (rows, columns)
            Of the picture that is asked about: the photograph, reduced or not.
        of : (rows, columns)
            Of the full photograph.

        Returns
        -------
        ndarray of bool, shape (rows, columns)
        """
        inside = np.zeros(size, dtype=bool)
        scale = np.array([size[1] / of[1], size[0] / of[0]])
        rows, columns = [], []
        for ring in self.rings:
            x, y = ((ring + 0.5) * scale - 0.5).T
            row, column = _crossings(x, y, size[0])
            rows.append(row)
            columns.append(np.clip(np.ceil(column), 0, size[1]).astype(np.intp))
        if not rows or not len(row := np.concatenate(rows)):
            return inside
        column = np.concatenate(columns)
        box = np.s_[row.min() : row.max() + 1, column.min() : column.max()]
        toggles = np.zeros((row.max() - row.min() + 1, column.max() - column.min() + 1), dtype=np.uint8)
        np.add.at(toggles, (row - row.min(), column - column.min()), 1)
        inside[box] = (np.cumsum(toggles, axis=1, dtype=np.uint8) % 2 == 1)[:, :-1]
        return inside


def _crossings(
    x: NDArray[np.float64], y: NDArray[np.float64], rows: int
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Find where a closed ring crosses the middles of the rows: the rows, and x in them."""
    x2, y2 = np.roll(x, -1), np.roll(y, -1)
    first = np.clip(np.ceil(np.minimum(y, y2)), 0, rows).astype(np.intp)
    # A row through an end belongs to the side below it alone, so that no corner is counted twice.
    last = np.clip(np.ceil(np.maximum(y, y2)), 0, rows).astype(np.intp)
    count = last - first
    side = np.repeat(np.arange(len(x)), count)
    row = first[side] + np.arange(len(side)) - np.repeat(np.cumsum(count) - count, count)
    return row, x[side] + (row - y[side]) * (x2[side] - x[side]) / (y2[side] - y[side])


def find_outline(
    light: NDArray[np.float32],
    to_lab: Callable[[NDArray[np.float32], NDArray[np.float64]], NDArray[np.floating]],
    elsewhere: NDArray[np.bool_],
    of: tuple[int, int],
) -> Outline:
    """Find the one pot that stands on a plain backdrop.

    Parameters
    ----------
    light : ndarray of float32, shape (rows, columns, 3)
        Linear light of the photograph, reduced to 800 pixels or less on its longest side.
    to_lab : callable
        CIELAB of light at places (x, y) of the full photograph, as `Calibration.lab` gives it. It is asked
        for the picture at half the size and for the pot's own rectangle, which are half the pixels.
    elsewhere : ndarray of bool, shape (rows, columns)
        Where the target is, and so no pot.
    of : (rows, columns)
        Size of the full photograph.

    Returns
    -------
    Outline
        Empty, with a problem, when nothing is found. A plain disc under the pot counts as ground.

    Raises
    ------
    OutlineError
        Two things or more stand out, each large enough to be a pot.
    """
    shrink = min(1.0, SEARCHED_AT / max(elsewhere.shape))
    size = round(elsewhere.shape[1] * shrink), round(elsewhere.shape[0] * shrink)
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    small = to_lab(small, reduced_places(size[::-1], of)).astype(np.float32)
    small_elsewhere = cv2.resize(elsewhere.astype(np.uint8), size, interpolation=cv2.INTER_AREA) > 0
    small = cv2.GaussianBlur(small, (0, 0), 0.8)
    backdrop = find_backdrop(small, small_elsewhere)
    if backdrop is None:
        return _none(
            "no pot was found: there is no plain backdrop", "photograph it on one, or give its outline"
        )
    unlike, no_shadow = backdrop.compare(small)
    things = find_things(small, unlike, no_shadow, backdrop.grain, small_elsewhere)
    things = [
        without_turntable(small, thing, (unlike > max(8.0, 4 * backdrop.grain)) & ~small_elsewhere)
        for thing in things
    ]
    whole = [thing for thing in things if thing.potlike]
    if len(whole) > 1:
        raise OutlineError(
            "photograph",
            f"{len(whole)} things stand out from the backdrop, each large enough to be a pot",
            "photograph one pot at a time, or give the pot outline in the table photos",
        )
    chosen = whole or [thing for thing in things if thing.turned]
    if len(chosen) != 1:
        cause = (
            "what stands out is not like one whole pot, or the backdrop is too much like it"
            if things
            else "nothing stands out from the backdrop"
        )
        return _none(f"no pot was found: {cause}", "give its outline")
    thing = chosen[0]
    if thing.disc is not None:
        unlike = np.minimum(unlike, thing.disc)
        no_shadow = np.where(np.isfinite(thing.disc), np.minimum(no_shadow, thing.disc / 8), no_shadow)
    mask = turned_form(small, backdrop, thing.region, small_elsewhere, unlike, no_shadow)
    scale = np.array(elsewhere.shape[::-1]) / size
    rough = ring_of(mask, 1.5 / scale[0])
    rough = (rough + 0.5) * scale - 0.5
    corner = np.maximum(np.floor(rough.min(axis=0) - BESIDE), 0).astype(int)
    end = np.ceil(rough.max(axis=0) + BESIDE).astype(int)
    here = np.s_[corner[1] : end[1], corner[0] : end[0]]
    near, pitch = light[here], np.array(of[::-1]) / elsewhere.shape[::-1]
    places = reduced_places(near.shape[:2], tuple(near.shape[:2] * pitch[::-1])) + corner * pitch
    lab = to_lab(near, places).astype(np.float32)
    edge = refine(lab, rough - corner)
    edge = replace(edge, ring=edge.ring + corner)
    evidence = weigh(edge, scale, thing.region, mask, no_shadow, backdrop.plain)
    ring = (edge.ring + 0.5) * (np.array(of[::-1]) / elsewhere.shape[::-1]) - 0.5
    # Of a pot that the frame cuts nobody knows where it ends.
    confidence = min(evidence.confidence, CUT_SURE) if thing.cut else evidence.confidence
    return Outline((ring,), confidence, Problems(_told(evidence, confidence, thing)))


def _told(evidence: Evidence, confidence: float, thing: Thing) -> list[Problem]:
    """Flag what makes an outline less than sure."""
    told = [flagged("cut by the frame")] if thing.cut else []
    if evidence.unclear > MUCH_UNCLEAR:
        told.append(flagged("backdrop like the pot", share=evidence.unclear))
    if confidence < SURE:
        told.append(flagged("unsure outline", confidence=confidence))
    return told


def _problem(cause: str, remedy: str) -> Problem:
    return Problem("photos", None, "pot outline", cause, remedy, stops=False)


def _none(cause: str, remedy: str) -> Outline:
    return Outline((), 0.0, Problems([_problem(cause, remedy)]))
