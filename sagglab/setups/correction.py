"""Correction: brings one setup's colours to another's, from pots that were photographed in both."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import delta_e_2000
from sagglab.errors import SetupError
from sagglab.pages.layout import report
from sagglab.setups.agreement import LEAST_THINGS
from sagglab.setups.corrected_measures import corrected_measures
from sagglab.setups.correction_choice import choose
from sagglab.setups.correction_file import read_document, write_document
from sagglab.setups.correction_kinds import ADDED, NAMES, Points, corrected
from sagglab.setups.limits import Limits
from sagglab.setups.pairs import Pairs

#: No two setups are so far apart in L*, a* or b* after calibration; a coefficient that was damaged soon is.
MOST_MOVED = 40.0


@dataclass(frozen=True, repr=False, eq=False)
class Correction:
    """What brings one setup's colours to another's.

    Two are equal when the files are that they are saved in.

    Attributes
    ----------
    of, to : str
        The setup that is corrected, and the one whose readings its colours are brought to.
    kind : str
        ``none``, ``offset`` (added to L*, a*, b*), ``veil`` (added to X, Y, Z, as gloss that only
        one of the setups shows), ``linear`` (3 × 3, on X, Y, Z; all as shares of the white's) or
        ``root-polynomial`` (6 × 3: X, Y, Z, √(XY), √(YZ), √(XZ)).
    coefficients : ndarray, shape (terms, 3)
        What each term adds to each coordinate.
    left_out, as_is : float
        Mean ΔE00 between the setups: of pots that had no part in the correction nor in the choice of its
        kind, and of the same pots as they are.
    errors : ndarray, shape (3,)
        By how much left-out pots are off in L*, a* and b*: root mean squares.
    pots : tuple of str
        It was made from them.
    photographs : tuple of int
        How many of them in the setup that is corrected, and in the other.
    patches : int
        How many patches of a target had a say in it, too.
    range : ndarray, shape (2, 3)
        Least and most L*, a*, b* of the pots, before they are corrected.
    margin : float
        How far a colour may lie outside of that, in ΔE00, before it counts as beyond the correction.
    made : date
    version : str
        The version of sagglab that made it.
    candidates : DataFrame or None
        What was tried: ``kind``, ``numbers``, ``left-out mean ΔE00``, ``chosen``, ``why not``. None where it
        was read from a file.

    Examples
    --------
    >>> lighter = Correction("new", "old", "offset", np.array([[2.5, 0, 0]]), 0.1, 2.3, np.full(3, 0.2),
    ...                      ("p1",), (1, 1), 0, np.array([[30.0, 5, 5], [52, 12, 15]]), 2.0,
    ...                      datetime.date(2026, 5, 1), "0.1.0")  # fmt: skip
    >>> lighter.lab([[40, 10, 10]]).tolist(), lighter.beyond([[40, 10, 10], [70, 10, 10]]).tolist()
    ([[42.5, 10.0, 10.0]], [False, True])
    """

    of: str
    to: str
    kind: str
    coefficients: NDArray[np.float64]
    left_out: float
    as_is: float
    errors: NDArray[np.float64]
    pots: tuple[str, ...]
    photographs: tuple[int, int]
    patches: int
    range: NDArray[np.float64]
    margin: float
    made: datetime.date
    version: str
    candidates: pd.DataFrame | None = None

    @property
    def sentence(self) -> str:
        """What it does, and what it is worth."""
        if self.kind == "none":
            return (
                f"No correction that was tried brings {self.of}'s pots surely nearer to {self.to}'s "
                f"(ΔE00 {self.as_is:.1f} as they are)."
            )
        return (
            f"Corrected by {NAMES[self.kind]}, {self.of}'s pots come out ΔE00 {self.left_out:.1f} from "
            f"{self.to}'s when they are left out ({self.as_is:.1f} as they are)."
        )

    def lab(self, lab: ArrayLike) -> NDArray[np.float64]:
        """Correct colours.

        Parameters
        ----------
        lab : array_like, shape (n, 3)
            L*, a*, b* as the setup `of` reads them.

        Returns
        -------
        ndarray, shape (n, 3)
        """
        return corrected(self.kind, self.coefficients, np.asarray(lab, dtype=float).reshape(-1, 3))

    def beyond(self, lab: ArrayLike) -> NDArray[np.bool_]:
        """Tell which colours, not yet corrected, lie beyond those that it was made from.

        Parameters
        ----------
        lab : array_like, shape (n, 3)

        Returns
        -------
        ndarray of bool, shape (n,)
            True where ΔE00 to the nearest colour within the range is more than the margin.
        """
        lab = np.asarray(lab, dtype=float).reshape(-1, 3)
        return delta_e_2000(lab, np.clip(lab, *self.range)) > self.margin

    def apply(self, measures: pd.DataFrame) -> pd.DataFrame:
        """Correct the measures of photographs; see `corrected_measures`, which does it."""
        return corrected_measures(self, measures)

    def save(self, folder: str | Path) -> Path:
        """Write it into a folder as ``correction of … to ….toml``, whole or not at all.

        Returns
        -------
        Path
            The file; one of the same two setups is replaced.
        """
        return write_document(self._document(), Path(folder))

    def _document(self) -> dict[str, object]:
        numbers = ("coefficients", "errors", "range")
        held = {name: getattr(self, name) for name in self.__dataclass_fields__ if name != "candidates"}
        held |= {name: held[name].tolist() for name in numbers}
        return held | {"pots": list(self.pots), "photographs": list(self.photographs)}

    def __eq__(self, other: object) -> bool:
        return self._document() == other._document() if isinstance(other, Correction) else NotImplemented

    __hash__ = None

    def __repr__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        tables = () if self.candidates is None else (self.candidates,)
        return report("", (), *tables, answer=self.sentence)


def fit_correction(pots: Pairs, patches: Pairs | None = None, limits: Limits | None = None) -> Correction:
    """Make what brings the second setup's colours to the first's.

    Tried are, the simplest first: none; an offset in CIELAB; a linear map of X, Y, Z; a root-polynomial of
    degree 2. They are fitted in units of colour difference, the last two shrunk towards no change. Each is
    judged by pots that are left out one at a time, with all their views; one with more numbers is taken when
    it comes nearer by more than the standard error of that. One that has more numbers than the pots can bear
    is not tried.

    Parameters
    ----------
    pots : Pairs
        At least three pots, after calibration.
    patches : Pairs, optional
        Patches of a target, after calibration. Linear maps and root-polynomials are fitted to them, too; they
        never judge.
    limits : Limits, optional
        A colour that lies further from those of the pots than what is acceptable is beyond the correction.

    Raises
    ------
    SetupError
        There are fewer than three pots, or the colours are not calibrated.

    References
    ----------
    Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460-1470.
    """
    limits = Limits() if limits is None else limits
    where = f"correction of '{pots.second}' to '{pots.first}'"
    if not all(pairs.calibrated for pairs in (pots, patches) if pairs is not None):
        raise SetupError(where, "the colours are those in the file", "pair them after calibration")
    if len(pots.items) < LEAST_THINGS:
        raise SetupError(
            where,
            f"{len(pots.items)} pots are too few to make it from",
            f"photograph at least {LEAST_THINGS} pots from the same side in both setups, as unlike in colour "
            "as yours get",
        )
    pairs = [pots] if patches is None else [pots, patches]
    of, to = (np.concatenate([each.lab(which) for each in pairs]) for which in ("second", "first"))
    points = Points(of, to, pots.table["item"].map(pots.items.index).to_numpy())
    chosen = choose(points)
    count = len(pots.table)
    told = pots.table[["photographs second", "photographs first"]].sum()
    return Correction(
        pots.second,
        pots.first,
        chosen.kind,
        chosen.coefficients,
        float(points.errors(chosen.left_out).mean()),
        float(points.errors(of[:count]).mean()),
        np.sqrt(np.mean((chosen.left_out - to[:count]) ** 2, axis=0)),
        tuple(map(str, pots.items)),
        tuple(map(int, told)),
        0 if chosen.kind in ADDED else len(of) - count,
        np.stack([of[:count].min(axis=0), of[:count].max(axis=0)]),
        limits.acceptable,
        datetime.date.today(),
        version("sagglab"),
        chosen.candidates,
    )


def read_correction(path: str | Path) -> Correction:
    """Read a correction that was saved.

    Parameters
    ----------
    path : path
        A file that `Correction.save` wrote.

    Returns
    -------
    Correction

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It is no TOML.
    SetupError
        It lacks what it needs, or holds what cannot be; every such fault is named. Or it would move colours
        farther than two setups can be apart.

    Examples
    --------
    >>> import tempfile
    >>> made = Correction("new", "old", "offset", np.array([[2.5, 0, 0]]), 0.1, 2.3, np.full(3, 0.2),
    ...                   tuple("abcdef"), (6, 6), 0, np.array([[30.0, 5, 5], [52, 12, 15]]), 2.0,
    ...                   datetime.date(2026, 5, 1), "0.1.0")  # fmt: skip
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     read = read_correction(made.save(folder))
    >>> read == made, read.lab([[40, 10, 10]]).tolist()
    (True, [[42.5, 10.0, 10.0]])
    """
    held = read_document(Path(path))
    held |= {name: np.array(held[name], dtype=float) for name in ("errors", "range")}
    # Those of no correction are none at all.
    held["coefficients"] = np.array(held["coefficients"], dtype=float).reshape(-1, 3)
    correction = Correction(**held | {name: tuple(held[name]) for name in ("pots", "photographs")})
    moved = np.abs(correction.lab(correction.range) - correction.range).max()
    if not moved <= MOST_MOVED:
        raise SetupError(
            str(path),
            f"its coefficients would move the colours that it was made from by {moved:.0f} in L*, a* or b*",
            "mend them, or make the correction anew",
        )
    return correction
