"""How many firings are needed: what firings and pots can tell, before any recipe is chosen.

A change is told when the analysis is sure of it: when its raw probability falls below 5 %. The chance of that
follows from the noncentral F, with the degrees of freedom that the analysis will have.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from sagglab.errors import PlanError
from sagglab.model.scale import scale_for
from sagglab.model.wording import count, effect_unit
from sagglab.pages.layout import report
from sagglab.plan.scatter import read_scatter, scatter_said, typical_of

#: Raw probability below which the analysis is sure.
SURE = 0.05
#: Share of batches that shall tell a change, where none is named.
WANTED = 0.8
#: No potter fires more; the search for a number of firings ends there.
_MOST = 500


def power_of(difference: ArrayLike, standard_error: ArrayLike, df: ArrayLike) -> NDArray[np.float64]:
    """Chance that the analysis will be sure of a true difference, either way.

    Parameters
    ----------
    difference, standard_error : array_like
        In one unit.
    df : array_like
        Degrees of freedom of the standard error; NaN where they are not above zero.

    Returns
    -------
    ndarray
        From 0.05, where there is no difference, to 1.

    References
    ----------
    The noncentral F with one numerator degree of freedom and λ = δ²/SE², the square of the noncentral t.

    Examples
    --------
    >>> power_of(5, [2, 1], [4, 4]).round(3)
    array([0.477, 0.955])
    """
    df = np.where(np.asarray(df, dtype=float) > 0, df, np.nan)
    beyond = special.stdtrit(df, 1 - SURE / 2) ** 2
    # At a λ above 1e4 the series runs long, and the chance is 1 to all digits from 2 df on.
    ratio = np.minimum((np.asarray(difference, dtype=float) / standard_error) ** 2, 1e6)
    return np.where(np.isnan(df), np.nan, 1 - special.ncfdtr(1, df, ratio, beyond))


def smallest_told(standard_error: float, df: float, wanted: float = WANTED) -> float:
    """Give the difference that so large a share of batches would tell.

    Examples
    --------
    >>> round(smallest_told(2, 4), 2), round(float(power_of(7.521, 2, 4)), 3)
    (7.52, 0.8)
    """
    if not (np.isfinite(standard_error) and df > 0):
        return np.nan
    # With one degree of freedom a difference must be 18 standard errors to be told in 80 of 100.
    ends = (0.0, 1.0)
    while power_of(ends[1], 1.0, df) < wanted:
        ends = (ends[1], 2 * ends[1])
    return float(standard_error * optimize.brentq(lambda size: power_of(size, 1.0, df) - wanted, *ends))


@dataclass(frozen=True, repr=False)
class FiringsNeeded:
    """What so many firings of so many pots would tell.

    Attributes
    ----------
    table : DataFrame
        ``firings``, ``pots per firing``; ``pot-level`` and ``firing-level``, the chance to be sure of a
        change made within the firings, and of one made from firing to firing, NaN where nothing is left to
        judge by, or nothing is asked; ``pot-level df``, ``firing-level df``.
    needed : DataFrame
        ``pots per firing`` (the last row: without end), and how many firings each kind of change needs.
    difference, firing_sd, pot_sd : float
        The change, and the scatter between firings and between pots of one firing, in `unit`.
    wanted : float
        The share of batches that shall tell it.
    unit : str
    planned : int
        The number of firings that is spoken of.
    typical : tuple of str
        Which scatter is what is typical of L*, and not a studio's own: ``firings``, ``pots``.

    Examples
    --------
    >>> firings_needed(difference=4, pots=[6]).needed
       pots per firing  pot-level  firing-level
    0              6.0        6.0          26.0
    1              inf        2.0          20.0
    """

    table: pd.DataFrame
    needed: pd.DataFrame
    difference: float
    firing_sd: float
    pot_sd: float
    wanted: float
    unit: str
    planned: int
    typical: tuple[str, ...]

    @property
    def head(self) -> str:
        """Say what was asked, and on what scatter it rests."""
        return (
            f"A change of {self.difference:g} {self.unit} between two levels, "
            f"{scatter_said(self.firing_sd, self.pot_sd, self.unit, self.typical)}"
        )

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say how many firings each kind of change needs, and what more pots are worth."""
        finite = self.needed.iloc[:-1]
        said = [
            "This is of plans as square as can be, each of two levels on half of the pots, or in half of the "
            "firings: a plan that limits hold off that, or of more levels, tells less and needs more firings."
        ]
        share = f"To be told in {hundred(self.wanted)} of 100 such batches, a change made"
        if self._asked("pot-level"):
            said.append(f"{share} within each firing (pot against pot) needs {_listed(finite, 'pot-level')}.")
        if self._asked("firing-level"):
            said.append(
                f"{share} from firing to firing needs {_listed(finite, 'firing-level')}. However many pots "
                f"each firing held, it would still need {_firings(self.needed['firing-level'].iloc[-1])}, "
                "since firings are compared there, not pots."
            )
            said += self._as_planned
        return tuple(said)

    def _asked(self, level: str) -> bool:
        return bool(self.table[f"{level} df"].notna().any())

    @property
    def _as_planned(self) -> tuple[str, ...]:
        """Say how little so many firings tell of what varies between them."""
        rows = self.table[self.table["firings"] == self.planned].sort_values("pots per firing")
        row = rows.iloc[-1]
        if np.isnan(row["firing-level"]):
            return (f"With {_firings(self.planned)} nothing is left to judge a change between firings by.",)
        if row["firing-level"] >= self.wanted:
            return ()
        return (
            f"With {_firings(self.planned)} it is told in {hundred(row['firing-level'])} of 100 such batches "
            f"even at {int(row['pots per firing'])} pots each: what can be varied from pot to pot should be.",
        )

    def __repr__(self) -> str:
        return "\n".join([self.head, *self.sentences])

    def _repr_html_(self) -> str:
        by_pots = self.table.set_index("firings").groupby("pots per firing")
        columns = {
            f"{level}, {pots} pots": ["" if np.isnan(told) else f"{hundred(told)} %" for told in part[level]]
            for level in ("pot-level", "firing-level")
            if self._asked(level)
            for pots, part in by_pots
        }
        shown = pd.DataFrame({"firings": self.table["firings"].unique(), **columns})
        return report(self.head, self.sentences, shown)


def firings_needed(
    difference: float = 5.0,
    firing_sd: float | None = None,
    pot_sd: float | None = None,
    firings: int | Iterable[int] = range(3, 21),
    pots: int | Iterable[int] = (4, 6, 8, 10),
    firing_terms: int = 1,
    pot_terms: int = 1,
    wanted: float = WANTED,
    outcome: str = "L*",
    unit: str | None = None,
) -> FiringsNeeded:
    """Tell what firings and pots would tell, and how many firings a change needs.

    Parameters
    ----------
    difference : float
        The change between two levels that shall be told.
    firing_sd, pot_sd : float, optional
        Scatter between firings, and between pots of one firing, in units of the outcome; what is typical of
        L* (3 and 4; common practice, no source) where not given.
    firings, pots : int or iterable of int
        The numbers of firings, and of pots in each, to look at. The first number of firings is the one that
        is spoken of: begin with what is planned.
    firing_terms, pot_terms : int
        How many columns of the model vary between firings, and within them; each costs a degree of freedom.
        Of a kind of which there is none nothing is said.
    wanted : float
        The share of batches that shall tell the change.
    outcome : str
        What is measured.
    unit : str, optional
        Of the change; that of the outcome where not given (of a share, its log odds).

    Returns
    -------
    FiringsNeeded
        For a study as balanced as can be: the levels of a pot on half of the pots of every firing, those of a
        firing in half of the firings, or one less.

    Raises
    ------
    PlanError
        A number cannot be.

    References
    ----------
    Between firings λ = δ²/[(σf² + σe²/n)(1/J₁ + 1/J₂)] on J − 1 − terms degrees of freedom; within them
    λ = δ²N/(4σe²) on N − J − terms. J firings of n pots, N in all.

    Examples
    --------
    >>> firings_needed(firings=[3, 6, 17], pots=[6]).table.iloc[:, :4].round(3).to_numpy().tolist()
    [[3.0, 6.0, 0.694, 0.082], [6.0, 6.0, 0.952, 0.282], [17.0, 6.0, 1.0, 0.804]]
    """
    typical = typical_of(firing_sd, pot_sd)
    firing_sd, pot_sd = read_scatter(firing_sd, pot_sd, outcome)
    check_difference(difference)
    planned, firings = _whole(firings, "firings")
    _, pots = _whole(pots, "pots in a firing")
    if not SURE < wanted < 1:
        raise PlanError(
            f"wanted {wanted!r}", "no such share of batches can be aimed at", "write a share such as 0.8"
        )
    if min(firing_terms, pot_terms) < 0 or max(firing_terms, pot_terms) < 1:
        raise PlanError(
            "terms", "a change is asked about, so there is one", "write 1 or more for either kind"
        )
    if unit is None:
        unit = effect_unit(outcome, "", scale_for(outcome, np.array([0.5])))
    table = pd.DataFrame(
        [_line(J, n, difference, firing_sd, pot_sd, firing_terms, pot_terms) for n in pots for J in firings]
    )
    needed = pd.DataFrame(
        [
            {
                "pots per firing": float(n),
                **{
                    level: _fewest(level, n, difference, firing_sd, pot_sd, firing_terms, pot_terms, wanted)
                    for level in ("pot-level", "firing-level")
                },
            }
            for n in [*pots, np.inf]
        ]
    )
    return FiringsNeeded(
        table, needed, float(difference), firing_sd, pot_sd, float(wanted), unit, planned, typical
    )


def _line(
    J: int, n: float, difference: float, firing_sd: float, pot_sd: float, firing_terms: int, pot_terms: int
) -> dict[str, float]:
    firing_df, pot_df = J - 1 - firing_terms, J * n - J - pot_terms
    halves = 1 / (J // 2) + 1 / (J - J // 2) if J > 1 else np.nan
    between = np.sqrt((firing_sd**2 + pot_sd**2 / n) * halves)
    within = np.sqrt(4 * pot_sd**2 / (J * n))
    line = {
        "firings": J,
        "pots per firing": n,
        "pot-level": float(power_of(difference, within, pot_df)),
        "firing-level": float(power_of(difference, between, firing_df)),
        "pot-level df": max(pot_df, 0),
        "firing-level df": max(firing_df, 0),
    }
    terms = {"pot-level": pot_terms, "firing-level": firing_terms}
    nothing = {f"{level}{ending}": np.nan for level in terms if not terms[level] for ending in ("", " df")}
    return line | nothing


def _fewest(level: str, n: float, *of: float) -> float:
    """Find the fewest firings that tell it, among those up to many; NaN where none does."""
    *asked, wanted = of
    if np.isnan(_line(2, 2, *asked)[f"{level} df"]):
        return np.nan
    if np.isinf(n):
        n = 1e9  # whose scatter no longer counts
    return next((float(J) for J in range(2, _MOST) if _line(J, n, *asked)[level] >= wanted), np.nan)


def check_difference(difference: float) -> None:
    """Refuse what is no difference.

    Raises
    ------
    PlanError
        It is zero, below zero, or not finite.
    """
    if not (np.isfinite(difference) and difference > 0):
        raise PlanError(
            f"difference {difference!r}", "no batch tells it", "write a size above zero, such as 5"
        )


def hundred(share: float) -> str:
    """Write a share as so many of 100, without claiming the certain or the impossible."""
    return f"{min(max(round(100 * share), 1), 99) if 0 < share < 1 else round(100 * share)}"


def _firings(number: float) -> str:
    if np.isnan(number):
        return f"more than {_MOST} firings"
    return count(int(number), "firing")


def _listed(needed: pd.DataFrame, level: str) -> str:
    parts = [f"{_firings(row[level])} of {row['pots per firing']:.0f} pots" for _, row in needed.iterrows()]
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} or {parts[-1]}"


def _whole(numbers: int | Iterable[int], of: str) -> tuple[int, list[int]]:
    """Give the first number, and all of them ascending."""
    asked = list(numbers) if isinstance(numbers, Iterable) else [numbers]
    wrong = [number for number in asked if number != int(number) or number < 1]
    if wrong or not asked:
        raise PlanError(
            of,
            f"{wrong[0]!r} is no number of them" if wrong else "none is named",
            "write whole numbers from 1",
        )
    return int(asked[0]), sorted({int(number) for number in asked})
