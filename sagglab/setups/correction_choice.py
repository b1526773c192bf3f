"""Which kind of correction is chosen, by pots that are left out, and what it is worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.setups.correction_kinds import KINDS, NAMES, Points, Square

#: ΔE00 is told to a tenth: what comes nearer by less than would show is not worth more numbers. Shrunk as it
#: is, a root-polynomial often came surely nearer than a linear map, by less than 0.01.
LEAST_GAIN = 0.05


@dataclass(frozen=True)
class Choice:
    """The kind that is chosen.

    Attributes
    ----------
    kind : str
    coefficients : ndarray, shape (terms, 3)
        Fitted to all pots.
    left_out : ndarray, shape (m, 3)
        L*, a*, b* of each pot's colours, corrected by what was chosen and fitted without it.
    candidates : DataFrame
        ``kind``, ``numbers``, ``left-out mean ΔE00``, ``chosen``, ``why not``.
    """

    kind: str
    coefficients: NDArray[np.float64]
    left_out: NDArray[np.float64]
    candidates: pd.DataFrame


def choose(points: Points) -> Choice:
    """Choose the simplest kind that no other betters by more than chance, and judge the choice.

    Each kind is judged by the mean ΔE00 of pots, each corrected without itself. A pot that judges the choice
    has no part in it: it is made anew among the others.
    """
    tried = {
        kind: Square.of(kind, points) for kind, terms in KINDS.items() if len(terms) <= points.bearing(kind)
    }
    everyone = np.arange(len(points.views))
    kind, told = _best({name: points.errors(square.left_out()) for name, square in tried.items()})
    left_out = np.empty((len(points.pot), 3))
    for pot in everyone:
        labs = {name: square.left_out([pot]) for name, square in tried.items()}
        others = everyone != pot
        # What is left out twice is left out once: this pot's row is that of the fit to all the others.
        chosen, _ = _best({name: points.errors(lab)[others] for name, lab in labs.items()})
        shown = points.pot == pot
        left_out[shown] = labs[chosen][shown]
    return Choice(kind, tried[kind].without([()])[0], left_out, _table(points, tried, kind, told))


def _best(errors: Mapping[str, NDArray[np.float64]]) -> tuple[str, dict[str, str]]:
    """Give the kind chosen by each pot's ΔE00, and of each other why it is not."""
    chosen, told = "none", {}
    for kind, found in errors.items():
        if kind == chosen:
            continue
        better = errors[chosen] - found
        by, error = float(better.mean()), float(better.std(ddof=1) / np.sqrt(len(better)))
        if by > max(error, LEAST_GAIN):
            told[chosen] = f"{NAMES[kind]} comes ΔE00 {by:.2f} nearer (standard error {error:.2f})"
            chosen = kind
        elif by > error:
            told[kind] = f"less than ΔE00 {LEAST_GAIN:g} nearer than {NAMES[chosen]}"
        elif by > 0:
            nearer = f"only ΔE00 {by:.2f} nearer than {NAMES[chosen]}"
            told[kind] = f"{nearer}: no more than its standard error ({error:.2f})"
        else:
            told[kind] = f"no nearer than {NAMES[chosen]}"
    return chosen, told


def _table(points: Points, tried: Mapping[str, Square], kind: str, told: Mapping[str, str]) -> pd.DataFrame:
    rows = []
    for name, terms in KINDS.items():
        if name in tried:
            mean, why = float(points.errors(tried[name].left_out()).mean()), told.get(name, "")
        else:
            mean, why = np.nan, _too_many(3 * len(terms), points.bearing(name))
        rows.append((name, 3 * len(terms), mean, name == kind, why))
    return pd.DataFrame(rows, columns=["kind", "numbers", "left-out mean ΔE00", "chosen", "why not"])


def _too_many(numbers: int, colours: int) -> str:
    count = "1 colour gives" if colours == 1 else f"{colours} colours give"
    return f"not tried: it has {numbers} numbers, and with two pots left out {count} only {3 * colours}"
