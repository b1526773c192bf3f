"""Kinds of correction from one setup's colours to another's, fitted with pots left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sagglab.colour import WHITE_D50, delta_e_2000, lab_to_xyz, xyz_to_lab
from sagglab.setups.equivalence import square_forms

#: What each coordinate's correction is made of, by kind, the simplest first. Roots of products do not mind
#: how much light there is: Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015).
KINDS: dict[str, tuple[str, ...]] = {
    "none": (),
    "offset": ("offset",),
    "veil": ("light",),
    "linear": ("X", "Y", "Z"),
    "root-polynomial": ("X", "Y", "Z", "√(XY)", "√(YZ)", "√(XZ)"),
}

#: What each is called in a sentence.
NAMES = {
    "none": "no correction",
    "offset": "an offset",
    "veil": "a veil of light",
    "linear": "a linear correction",
    "root-polynomial": "a root-polynomial",
}

#: Kinds that add one and the same to all colours: to L*, a*, b*, or (a veil, as gloss and stray light lay it
#: over a pot) to X, Y, Z as shares of the white's. The others multiply X, Y, Z and their roots.
ADDED = ("none", "offset", "veil")

#: What a coefficient that departs from no change by 1 costs, in ΔE00². Drawn pots (4 to 12, noise 0.3, with
#: and without patches) came out within ΔE00 0.05 of the best between 100 and 1000.
SHRINKAGE = 300.0


def unchanged(kind: str) -> NDArray[np.float64]:
    """Coefficients that change nothing, shape (terms, 3)."""
    return np.eye(len(KINDS[kind]), 3) * (kind not in ADDED)


def corrected(kind: str, coefficients: NDArray[np.float64], lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """Correct colours.

    Parameters
    ----------
    kind : str
        A key of ``KINDS``.
    coefficients : ndarray, shape (terms, 3), or (n, terms, 3) with those of each colour
    lab : ndarray, shape (n, 3)

    Examples
    --------
    >>> corrected("offset", np.array([[-1.0, 0.5, 0.0]]), np.array([[40.0, 10.0, 12.0]])).tolist()
    [[39.0, 10.5, 12.0]]
    """
    made = (_terms(kind, lab)[:, None, :] @ coefficients)[:, 0, :]
    if kind == "veil":
        return xyz_to_lab(np.maximum(lab_to_xyz(lab) + made * WHITE_D50, 0))
    return lab + made if kind in ADDED else xyz_to_lab(made * WHITE_D50)


def _terms(kind: str, lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """Terms of a kind, shape (n, terms)."""
    if kind in ADDED:
        return np.ones((len(lab), len(KINDS[kind])))
    xyz = lab_to_xyz(lab) / WHITE_D50
    if kind == "linear":
        return xyz
    x, y, z = np.sqrt(np.maximum(xyz, 0)).T
    return np.column_stack([xyz, x * y, y * z, x * z])


@dataclass(frozen=True)
class Points:
    """Colours as both setups read them, those of pots first.

    Attributes
    ----------
    of, to : ndarray, shape (n, 3)
        L*, a*, b* by the setup that is corrected, and by the one that it is brought to.
    pot : ndarray of int, shape (m,)
        Which pot each of the first m shows, from 0. The others are patches of a target.
    """

    of: NDArray[np.float64]
    to: NDArray[np.float64]
    pot: NDArray[np.int64]

    @cached_property
    def views(self) -> NDArray[np.int64]:
        """How many colours there are of each pot."""
        return np.bincount(self.pot)

    @cached_property
    def forms(self) -> NDArray[np.float64]:
        """Matrices by which a small shift of each colour makes ΔE00², shape (n, 3, 3)."""
        return square_forms(self.to)

    def bearing(self, kind: str) -> int:
        """Count the colours that a kind is fitted to when the two pots with the most views are left out."""
        patches = 0 if kind in ADDED else len(self.of) - len(self.pot)
        return int(np.sort(self.views)[:-2].sum()) + patches

    def errors(self, lab: NDArray[np.float64]) -> NDArray[np.float64]:
        """Average over each pot's colours the ΔE00 by which corrected ones are off, shape (pots,)."""
        apart = delta_e_2000(lab, self.to[: len(self.pot)])
        return np.bincount(self.pot, apart) / self.views


@dataclass(frozen=True)
class Square:
    """Least squares of one kind, by pot, to be solved with any of them left out.

    Attributes
    ----------
    kind : str
    points : Points
    matrices : ndarray, shape (pots, size, size)
        What each pot adds to the normal equations.
    wanted : ndarray, shape (pots, size)
    shared : pair of ndarray, shapes (size, size) and (size,)
        What all fits have: the patches, and the shrinkage.
    """

    kind: str
    points: Points
    matrices: NDArray[np.float64]
    wanted: NDArray[np.float64]
    shared: tuple[NDArray[np.float64], NDArray[np.float64]]

    @classmethod
    def of(cls, kind: str, points: Points) -> Square:
        """Set the equations up, in units of colour difference."""
        forms, apart = points.forms, points.to - points.of
        if kind not in ("none", "offset"):
            # A plain fit to XYZ spends its effort on light pots; in dark ones a unit of it is worth far more.
            slopes = _slopes(points.to)
            forms = slopes.swapaxes(1, 2) @ forms @ slopes
            apart = (lab_to_xyz(points.to) - lab_to_xyz(points.of)) / WHITE_D50
        terms = _terms(kind, points.of) @ _plain(kind)
        count, size = len(terms), terms.shape[1] * 3
        matrices = np.einsum("nt,nij,nu->ntiuj", terms, forms, terms).reshape(count, size, size)
        wanted = np.einsum("nt,nij,nj->nti", terms, forms, apart).reshape(count, size)
        members = [np.flatnonzero(points.pot == pot) for pot in range(len(points.views))]
        # Patches stand all over the colours that there are. An offset that is not the same everywhere would
        # be drawn to theirs: by six drawn pots that differed by a matrix, it was ΔE00 0.46 off, and 0.74 so.
        patches = slice(count if kind in ADDED else len(points.pot), count)
        cost = 0.0 if kind in ADDED else SHRINKAGE
        return cls(
            kind,
            points,
            np.stack([matrices[rows].sum(axis=0) for rows in members]),
            np.stack([wanted[rows].sum(axis=0) for rows in members]),
            (matrices[patches].sum(axis=0) + cost * np.eye(size), wanted[patches].sum(axis=0)),
        )

    def without(self, out: Sequence[Sequence[int]]) -> NDArray[np.float64]:
        """Fit once for each list of pots that are left out; shape (len(out), terms, 3)."""
        kept = np.ones((len(out), len(self.matrices)))
        for row, pots in enumerate(out):
            kept[row, list(pots)] = 0
        square = self.shared[0] + np.tensordot(kept, self.matrices, axes=1)
        towards = self.shared[1] + kept @ self.wanted
        departing = np.linalg.solve(square, towards[..., None]).reshape(len(out), len(KINDS[self.kind]), 3)
        return unchanged(self.kind) + _plain(self.kind) @ departing

    def left_out(self, also: Sequence[int] = ()) -> NDArray[np.float64]:
        """Correct each pot's colours by the fit made without it, and without some others; shape (m, 3)."""
        fits = self.without([[pot, *also] for pot in range(len(self.matrices))])
        return corrected(self.kind, fits[self.points.pot], self.points.of[: len(self.points.pot)])


def _plain(kind: str) -> NDArray[np.float64]:
    """Take what is shrunk to coefficients of the plain terms, shape (terms, terms).

    A root is shrunk as it departs from the mean of its two factors, which is nil for neutral colours.
    """
    size = len(KINDS[kind])
    plain = np.eye(size)
    for column, (one, other) in enumerate([(0, 1), (1, 2), (0, 2)][: max(size - 3, 0)], start=3):
        plain[[one, other], column] = -0.5
    return plain


def _slopes(lab: NDArray[np.float64]) -> NDArray[np.float64]:
    """How L*, a*, b* change with X, Y, Z as shares of the white's, shape (n, 3, 3)."""
    xyz, step = lab_to_xyz(lab), 1e-6
    return np.stack(
        [
            (xyz_to_lab(xyz + step * axis) - xyz_to_lab(xyz - step * axis)) / (2 * step)
            for axis in np.diag(WHITE_D50)
        ],
        axis=-1,
    )
