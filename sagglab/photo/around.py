"""Views of one pot joined into a map of its whole side, and what their overlaps tell about repeatability."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import AXES, delta_e_2000
from sagglab.errors import Problem, Problems, SurfaceError
from sagglab.markup import framed, paragraph
from sagglab.pages.layout import html_table, rounded
from sagglab.photo.surface import SEEN_DEGREES
from sagglab.photo.unrolled import SurfaceMap

#: Views from which a whole side can be joined: two see 150° each, and leave gaps.
FEWEST = 3
#: An overlap of fewer degrees of the pot's whole height than this says little of how well two views agree.
SMALL_OVERLAP = 10.0
#: Towards what a view left out (glare, an end), its weight fades over this many degrees, or rows.
FADING = 6
#: Turns are suspected to be the wrong way round when, mirrored, the L* of neighbours correlates by at least
#: this in each overlap, and by this much more in the mean than as they were given. On 12 rendered pots with
#: three and with four views, right turns gave 0.49 or more in each overlap and 0.69 or more in the mean,
#: mirrored ones at most 0.33 in the mean.
ALIKE, MORE_ALIKE = 0.4, 0.3


@dataclass(frozen=True, repr=False)
class Around:
    """The whole side of a pot.

    Attributes
    ----------
    map : SurfaceMap
        360 columns, from -179.5° to 179.5°; what faces the camera at turn 0 lies at 0. Areas are shares of
        the side between the ends.
    overlaps : DataFrame
        A row for each pair of neighbouring views: their turns (``view``, ``next view``, degrees), ``cells``
        that both show, area-weighted means of the next view minus the view (``ΔL*``, ``Δa*``, ``Δb*``),
        mean ``ΔE00`` and ``rms ΔL*`` cell by cell. Blank where nothing overlaps.
    disagreement : dict
        For L*, a*, b* the standard deviation of one view's value as the overlaps show it: the root mean
        square of the pairs' mean differences over √2. Light that differs from left to right is in it, since
        an overlap compares the right of one view with the left of the next. NaN without overlaps.
    uncovered : float
        Share of the side that no view shows; the ends, which none measures, do not count.
    problems : Problems

    Examples
    --------
    >>> rows = {"height": np.array([0.5]), "radius_mm": np.array([45.0]), "step_mm": np.array([1.0])}
    >>> view = SurfaceMap(np.full((1, 151, 3), 40.0), np.ones((1, 151)), np.arange(-75.0, 76), **rows)
    >>> around = join_maps([view, view, view], [0, 120, 240])
    >>> around.map.degrees[[0, -1]].tolist(), around.overlaps[["view", "next view"]].to_numpy().tolist()
    ([-179.5, 179.5], [[0.0, 120.0], [120.0, 240.0], [240.0, 0.0]])
    """

    map: SurfaceMap
    overlaps: pd.DataFrame
    disagreement: dict[str, float]
    uncovered: float
    problems: Problems

    @property
    def sentence(self) -> str:
        """What was joined, how well it agrees, and what is missing."""
        shown = "the whole side" if self.uncovered < 0.005 else f"{1 - self.uncovered:.0%} of the side"
        joined = f"{len(self.overlaps)} views show {shown}."
        if np.isnan(self.disagreement["L*"]):
            return f"{joined} They do not overlap, so that nothing tells how well they agree."
        scatter = ", ".join(f"{name} {self.disagreement[name]:.1f}" for name in AXES)
        return f"{joined} Where neighbours overlap, they agree as if one view scattered by {scatter}."

    def __repr__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        problems = self.problems.html if self.problems else ""
        return framed(paragraph(self.sentence, "answer"), html_table(rounded(self.overlaps)), problems)


def join_maps(maps: Sequence[SurfaceMap], turns: ArrayLike) -> Around:
    """Join the unrolled views of one pot, their seams blended.

    Where views overlap, their colours are averaged by area and by a weight that falls to nothing at the sides
    of a view, so that none begins or ends with a step.

    Parameters
    ----------
    maps : sequence of SurfaceMap
        One for each view, in any order.
    turns : array_like, shape (views,)
        How far the pot was turned to the left as the camera sees it, degrees: the surface that faces the
        camera lies at angle +turn.

    Returns
    -------
    Around

    Raises
    ------
    SurfaceError
        There are fewer than three views, or not a turn for each.

    Examples
    --------
    >>> rows = {"height": np.array([0.5]), "radius_mm": np.array([45.0]), "step_mm": np.array([1.0])}
    >>> view = SurfaceMap(np.full((1, 151, 3), 40.0), np.ones((1, 151)), np.arange(-75.0, 76), **rows)
    >>> around = join_maps([view, view, view], [0, 120, 240])
    >>> around.map.lab.shape, around.uncovered, around.overlaps["cells"].tolist()
    ((1, 360, 3), 0.0, [32, 32, 32])
    """
    turns = np.asarray(turns, dtype=float)
    _check(maps, turns)
    order = np.argsort(turns % 360, kind="stable")
    turns = turns[order]
    rows = max(len(view.height) for view in maps)
    views = [_resampled(maps[k], rows) for k in order]
    # Areas are relative in each map; as shares of what a full ring of each row holds they compare.
    row_area = np.mean([view.area.max(axis=1) / view.area.max(axis=1).sum() for view in views], axis=0) / 360
    placed = [_placed(view, turn) for view, turn in zip(views, turns, strict=True)]
    overlaps = _overlaps(placed, turns, row_area)
    total = sum(weight for _, weight in placed)
    summed = sum(np.nan_to_num(lab) * weight[..., None] for lab, weight in placed)
    seen = total > 0
    lab = np.full(summed.shape, np.nan)
    lab[seen] = summed[seen] / total[seen][:, None]
    area = np.where(seen, row_area[:, None], 0.0)
    joined = SurfaceMap(
        lab,
        area,
        np.arange(360) - 179.5,
        views[0].height,
        np.mean([view.radius_mm for view in views], axis=0),
        np.mean([view.step_mm for view in views], axis=0),
    )
    means = overlaps[[f"Δ{name}" for name in AXES]].dropna()
    scatter = np.sqrt((means**2).mean() / 2)
    disagreement = {name: float(scatter[f"Δ{name}"]) for name in AXES}
    problems = Problems([*_poor_overlaps(placed, overlaps, row_area), *_mirrored(views, turns, placed)])
    return Around(joined, overlaps, disagreement, max(0.0, float(1 - area.sum())), problems)


def _check(maps: Sequence[SurfaceMap], turns: NDArray[np.float64]) -> None:
    if len(maps) < FEWEST:
        raise SurfaceError(
            "views of the pot",
            f"{len(maps)} cannot show the whole side",
            f"photograph at least {FEWEST}, a third of a turn apart",
        )
    if turns.shape != (len(maps),) or not np.isfinite(turns).all():
        raise SurfaceError(
            "turns of the pot",
            f"they are not one number of degrees for each of the {len(maps)} views",
            "give for each how far the pot was turned",
        )
    blank = [number for number, view in enumerate(maps, start=1) if not view.area.any()]
    if blank:
        raise SurfaceError(
            "views of the pot",
            f"nothing was measured in view {blank[0]}",
            "leave it out, or photograph it again",
        )


def _resampled(view: SurfaceMap, rows: int) -> SurfaceMap:
    """Bring a map to a number of rows; cells become finer, never coarser."""
    if rows == len(view.height):
        return view
    size = len(view.degrees), rows
    full = view.area.max(axis=1, keepdims=True)
    share = np.divide(view.area, full, out=np.zeros_like(view.area), where=full > 0)
    fine = cv2.resize(share, size, interpolation=cv2.INTER_LINEAR)
    lab = cv2.resize(np.nan_to_num(view.lab) * share[..., None], size, interpolation=cv2.INTER_LINEAR)
    blank = fine < 0.5
    height = 1 - (np.arange(rows) + 0.5) / rows
    full, radius, step = (
        np.interp(-height, -view.height, values) for values in (full[:, 0], view.radius_mm, view.step_mm)
    )
    shrunk = len(view.height) / rows
    return replace(
        view,
        lab=np.where(blank[..., None], np.nan, lab / np.where(blank, 1, fine)[..., None]),
        area=np.where(blank, 0, fine * full[:, None] * shrunk),
        height=height,
        radius_mm=radius,
        step_mm=step * shrunk,
    )


def _placed(view: SurfaceMap, turn: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Put a view in its place around the pot: its colours, NaN elsewhere, and the weight of each cell."""
    seen = view.area > 0
    aside = np.cos(np.radians(90 * view.degrees / (SEEN_DEGREES + 1))) ** 2
    # Within a frame of one cell that is not seen, so that the map's own border counts as left out.
    to_left_out = cv2.distanceTransform(np.pad(seen, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    weight = np.where(seen, aside * np.minimum(1, to_left_out / FADING), 0)
    # Between whole degrees a view is shifted by a share of a column: linear between two.
    start = view.degrees[0] + turn + 179.5
    whole = int(np.floor(start))
    share = start - whole
    lab = np.zeros((len(view.height), 360, 3))
    total = np.zeros((len(view.height), 360))
    for part, first in ((1 - share, whole), (share, whole + 1)):
        columns = (first + np.arange(len(view.degrees))) % 360
        lab[:, columns] += part * np.nan_to_num(view.lab) * weight[..., None]
        total[:, columns] += part * weight
    shown = total > 1e-6
    lab[shown] /= total[shown][:, None]
    lab[~shown] = np.nan
    return lab, np.where(shown, total, 0)


def _neighbours(count: int) -> list[tuple[int, int]]:
    return [(k, (k + 1) % count) for k in range(count)]


def _overlaps(
    placed: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
    turns: NDArray[np.float64],
    row_area: NDArray[np.float64],
) -> pd.DataFrame:
    rows = []
    for one, other in _neighbours(len(placed)):
        (lab, weight), (lab_next, weight_next) = placed[one], placed[other]
        both = (weight > 0) & (weight_next > 0)
        row = {"view": turns[one], "next view": turns[other], "cells": int(both.sum())}
        area = np.broadcast_to(row_area[:, None], both.shape)[both]
        if area.sum() > 0:
            difference = lab_next[both] - lab[both]
            mean = np.average(difference, axis=0, weights=area)
            row |= {f"Δ{name}": value for name, value in zip(AXES, mean, strict=True)}
            row["ΔE00"] = np.average(delta_e_2000(lab[both], lab_next[both]), weights=area)
            row["rms ΔL*"] = np.sqrt(np.average(difference[:, 0] ** 2, weights=area))
        rows.append(row)
    columns = ["view", "next view", "cells", *(f"Δ{name}" for name in AXES), "ΔE00", "rms ΔL*"]
    return pd.DataFrame(rows, columns=columns).astype(dict.fromkeys(columns[3:], float))


def _poor_overlaps(
    placed: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
    overlaps: pd.DataFrame,
    row_area: NDArray[np.float64],
) -> list[Problem]:
    told = []
    for (one, other), row in zip(_neighbours(len(placed)), overlaps.itertuples(index=False), strict=True):
        both = (placed[one][1] > 0) & (placed[other][1] > 0)
        degrees = 360 * float((both * row_area[:, None]).sum())
        if degrees < SMALL_OVERLAP:
            cause = f"the views at {row[0]:g}° and {row[1]:g}° " + (
                f"overlap by {degrees:.0f}° only" if both.any() else "do not overlap"
            )
            told.append(_problem(cause, "photograph the pot once more, turned halfway between them"))
    return told


def _alikeness(placed: list[tuple[NDArray[np.float64], NDArray[np.float64]]]) -> list[float]:
    """Correlate L* cell by cell where neighbours overlap, each row's own mean taken out."""
    found = []
    for one, other in _neighbours(len(placed)):
        (lab, weight), (lab_next, weight_next) = placed[one], placed[other]
        both = (weight > 0) & (weight_next > 0)
        if both.sum() < 100:
            continue
        values = []
        for view in (lab, lab_next):
            lightness = np.where(both, view[..., 0], 0)
            mean = lightness.sum(axis=1) / np.maximum(both.sum(axis=1), 1)
            values.append((lightness - mean[:, None])[both])
        norm = np.sqrt((values[0] @ values[0]) * (values[1] @ values[1]))
        found.append(float(values[0] @ values[1] / norm) if norm > 0 else 0.0)
    return found


def _mirrored(
    views: list[SurfaceMap],
    turns: NDArray[np.float64],
    placed: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> list[Problem]:
    """Suspect turns that were counted the wrong way round."""
    as_given = _alikeness(placed)
    mirrored = _alikeness([_placed(view, -turn) for view, turn in zip(views, turns, strict=True)][::-1])
    if not as_given or not mirrored:
        return []
    if min(mirrored) < ALIKE or np.mean(mirrored) - np.mean(as_given) < MORE_ALIKE:
        return []
    cause = "the views agree much better with their turns the other way round"
    return [_problem(cause, "count degrees up as the pot is turned to the left as the camera sees it")]


def _problem(cause: str, remedy: str) -> Problem:
    return Problem("photos", None, "view", cause, remedy, stops=False)
