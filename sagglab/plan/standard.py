"""Standard plans: all combinations, regular parts of them, screening, and plans for bends of amounts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.model.wording import count
from sagglab.plan.arrays import full_factorial, plackett_burman
from sagglab.plan.asked import check_amounts, check_two_levels, read_repetition
from sagglab.plan.dealing import deal
from sagglab.plan.factors import Factor
from sagglab.plan.fractions import expand, fold_over, from_generators, smallest_of_resolution
from sagglab.plan.split_fractions import in_firings
from sagglab.plan.surfaces import box_behnken, central_composite
from sagglab.plan.wanted import Dealt, Wanted
from sagglab.plan.words import resolution as resolution_of

#: Most pots of a regular fraction.
_MOST = 128


@dataclass(frozen=True)
class Factorial:
    """Every level of each factor with every level of all others.

    Parameters
    ----------
    replicates : int
        How often all of it is fired.
    centre : int
        Pots in each firing with every amount that pots differ in half-way.

    Examples
    --------
    >>> from sagglab import plan_batch
    >>> vary = [Factor("salt", [0, 4], "g"), Factor("sugar", [0, 6], "g")]
    >>> plan = plan_batch(vary, firings=1, pots_per_firing=6, model="main", kind=Factorial(centre=2), seed=1)
    >>> plan.runs.groupby(["salt [g]", "sugar [g]"]).size().to_dict()
    {(0.0, 0.0): 1, (0.0, 6.0): 1, (2.0, 3.0): 2, (4.0, 0.0): 1, (4.0, 6.0): 1}
    """

    replicates: int = 1
    centre: int = 0

    def make(self, wanted: Wanted) -> Dealt:
        """Combine all levels, and deal them into firings."""
        per_firing, room = read_repetition(wanted, self.centre, self.replicates)
        k = len(wanted.factors)
        pots = int(np.prod([len(factor.levels) for factor in wanted.factors]))
        held = sum(factor.per == "firing" for factor in wanted.factors)
        if held < k and per_firing is not None and pots < 2 * per_firing:
            raise PlanError(
                "firings",
                f"{count(pots, 'pot')} in {count(per_firing, 'firing')} leave one alone in some",
                f"plan {pots // 2} firings or fewer, or more replicates",
            )
        if _all_two(wanted.factors) and held < k and pots <= _MOST:
            each = _power_below(min(room, 2 ** (k - held)))
            while each > 1 and held and pots // each <= held + 1:
                each //= 2  # more firings, so that something is left over to judge what they share by
            if per_firing is None or (pots % per_firing == 0 and _is_power(per_firing)):
                firings = pots // each if per_firing is None else per_firing
                if pots // firings <= room and firings >= 2**held:
                    return _regular(wanted, firings, pots // firings, self.replicates, self.centre)
        coded = _on_levels(full_factorial([len(factor.levels) for factor in wanted.factors]), wanted.factors)
        return _dealt(coded, wanted, room, per_firing, self.replicates, self.centre)


@dataclass(frozen=True)
class Fraction:
    """A regular part of all combinations of factors of two levels.

    Parameters
    ----------
    resolution : int, optional
        3: no factor shares with another; 4: nor with a pair; 5: nor do two pairs share. As few pots as will
        do are taken.
    generators : sequence of str, optional
        Such as ``["E=ABC"]``, the factors lettered in their order. With neither, all places of the firings
        are filled.
    fold_over : bool or sequence of str
        Add each firing again with all factors turned, or those named.
    replicates, centre : int
        As in `Factorial`.

    Examples
    --------
    >>> from sagglab import plan_batch
    >>> plan_batch([Factor(name, [0, 2], "g") for name in "ABCD"], 2, 4, "main", Fraction()).resolution
    4
    """

    resolution: int | None = None
    generators: Sequence[str] = ()
    fold_over: bool | Sequence[str] = False
    replicates: int = 1
    centre: int = 0

    def make(self, wanted: Wanted) -> Dealt:
        """Choose the part with the fewest short words, and deal it into firings."""
        check_two_levels(wanted.factors, "fraction")
        if self.resolution is not None and self.generators:
            raise PlanError("fraction", "both resolution and generators are stated", "state one of them")
        times = self.replicates * (2 if self.fold_over else 1)
        firings, room = read_repetition(wanted, self.centre, times)
        k = len(wanted.factors)
        if self.generators:
            columns, signs = from_generators(k, self.generators)
            coded = expand(columns, 2 ** (k - len(self.generators)), signs)
            dealt = _dealt(coded, wanted, room, firings, 1, 0)
        else:
            firings, pots = self._size(wanted, firings, room)
            dealt = _regular(wanted, firings, pots, 1, 0)
        blocks = dealt.firings
        if self.fold_over:
            on = None if self.fold_over is True else [_place(wanted.factors, name) for name in self.fold_over]
            blocks = [*blocks, *(fold_over(block, on) for block in blocks)]
        blocks = [block for _ in range(self.replicates) for block in blocks]
        return Dealt([_with_centre(block, wanted.factors, self.centre) for block in blocks], dealt.notes)

    def _size(self, wanted: Wanted, firings: int | None, room: int) -> tuple[int, int]:
        """Find firings and pots that the resolution needs, or that fill the kiln."""
        k = len(wanted.factors)
        held = sum(factor.per == "firing" for factor in wanted.factors)
        pots = _power_below(room)
        if self.resolution is None:
            if firings is None:
                raise PlanError(
                    "fraction", "neither firings, resolution nor generators are stated", "state one of them"
                )
            return firings, pots
        if firings and not _is_power(firings):
            below = _power_below(firings)
            raise PlanError(
                "fraction",
                f"{count(firings, 'firing')} cannot share a regular fraction alike",
                f"plan {below} or {2 * below} firings, or kind='best'",
            )
        runs = smallest_of_resolution(k, self.resolution)
        while runs <= _MOST:
            shapes = [(firings, runs // firings)] if firings else [(runs // p, p) for p in _halved(pots)]
            for number, each in shapes:
                if (
                    number * each != runs
                    or each > room
                    or number < 1 + bool(held)
                    or 2 ** (number.bit_length() - 1) != number
                ):
                    continue
                if held and number - 1 < held + (firings is None):
                    continue
                if number * (each - 1) < k - held:
                    continue
                columns = in_firings([factor.per == "firing" for factor in wanted.factors], number, each)
                if resolution_of(expand(columns, runs)) >= self.resolution:
                    return number, each
            runs *= 2
        raise PlanError(
            f"fraction of resolution {self.resolution}",
            f"{count(k, 'factor')} cannot have it in {f'{firings} ' * bool(firings)}firings of {room} pots",
            "ask a lower resolution, fewer factors, or more firings",
        )


@dataclass(frozen=True)
class Screening:
    """Many factors of two levels in few pots, each judged by itself (Plackett and Burman).

    Parameters
    ----------
    pots : int, optional
        A multiple of 4 from 8 to 48; the least that will do where not given.
    fold_over : bool
        Add each firing again with all factors turned, which frees every factor from pairs.
    replicates, centre : int
        As in `Factorial`.

    Examples
    --------
    >>> from sagglab import plan_batch
    >>> seven = [Factor(name, [0, 2], "g") for name in "ABCDEFG"]
    >>> plan_batch(seven, 1, 8, "main", Screening(), seed=1).resolution
    3
    >>> plan_batch(seven, 2, 8, "main", Screening(fold_over=True), seed=1).resolution
    4
    """

    pots: int | None = None
    fold_over: bool = False
    replicates: int = 1
    centre: int = 0

    def make(self, wanted: Wanted) -> Dealt:
        """Take the columns that there are factors for, and deal the pots into firings."""
        check_two_levels(wanted.factors, "screening")
        k = len(wanted.factors)
        pots = self.pots or max(8, 4 * -(-(k + 1) // 4))
        signs = plackett_burman(pots)
        if k > pots - 1:
            raise PlanError(
                f"screening in {pots} pots", f"it holds {pots - 1} factors at most, not {k}", "take more pots"
            )
        times = self.replicates * (2 if self.fold_over else 1)
        firings, room = read_repetition(wanted, self.centre, times)
        dealt = _dealt(signs[:, :k], wanted, room, firings, 1, 0)
        blocks = dealt.firings + ([fold_over(block) for block in dealt.firings] if self.fold_over else [])
        blocks = [block for _ in range(self.replicates) for block in blocks]
        return Dealt([_with_centre(block, wanted.factors, self.centre) for block in blocks], dealt.notes)


@dataclass(frozen=True)
class CentralComposite:
    """Corners, points on the axes and the middle: enough for bends and pairs of amounts.

    Parameters
    ----------
    axial : str
        ``faced``: axial points at the ends of the range, three levels in all; ``circumscribed``: beyond them;
        ``inscribed``: at them, the corners further in.
    distance : str
        ``rotatable`` or ``orthogonal``, for axial points that are not faced.
    centre : int
        Pots in the middle.

    Examples
    --------
    >>> from sagglab import plan_batch
    >>> vary = [Factor("salt", [0, 4], "g"), Factor("sugar", [0, 4], "g")]
    >>> plan = plan_batch(vary, 1, 12, "quadratic", CentralComposite(), seed=1)
    >>> plan.runs.groupby(["salt [g]", "sugar [g]"]).size().unstack().to_numpy().tolist()
    [[1, 1, 1], [1, 3, 1], [1, 1, 1]]
    """

    axial: str = "faced"
    distance: str = "rotatable"
    centre: int = 3

    def make(self, wanted: Wanted) -> Dealt:
        """Make the points, and deal them into firings."""
        check_amounts(wanted.factors, "central composite")
        coded = central_composite(len(wanted.factors), self.axial, self.distance, self.centre)
        return _dealt(coded, wanted, wanted.most, wanted.firings, 1, 0)


@dataclass(frozen=True)
class BoxBehnken:
    """Three levels of each amount, never all at their ends at once.

    Parameters
    ----------
    centre : int, optional
        Pots in the middle; the usual number where not given.

    Examples
    --------
    >>> from sagglab import plan_batch
    >>> vary = [Factor(name, [0, 4], "g") for name in "ABC"]
    >>> plan = plan_batch(vary, 1, 15, "quadratic", BoxBehnken(), seed=1)
    >>> half_way = plan.runs[["A [g]", "B [g]", "C [g]"]] == 2
    >>> half_way.sum(axis=1).value_counts().to_dict()
    {1: 12, 3: 3}
    """

    centre: int | None = None

    def make(self, wanted: Wanted) -> Dealt:
        """Make the points, and deal them into firings."""
        check_amounts(wanted.factors, "Box–Behnken")
        coded = box_behnken(len(wanted.factors), self.centre)
        return _dealt(coded, wanted, wanted.most, wanted.firings, 1, 0)


def _regular(wanted: Wanted, firings: int, pots: int, replicates: int, centre: int) -> Dealt:
    columns = in_firings([factor.per == "firing" for factor in wanted.factors], firings, pots)
    if all(factor.per == "firing" for factor in wanted.factors):
        return Dealt(_filled(expand(columns, firings * pots)[:firings], wanted.most, firings) * replicates)
    # The first of the basic columns tell the firings apart, and change fastest: pots of a firing lie apart.
    signs = expand(columns, firings * pots)
    which = np.arange(firings * pots) % firings
    blocks = [signs[which == firing] for firing in range(firings)] * replicates
    return Dealt([_with_centre(block, wanted.factors, centre) for block in blocks])


def _dealt(
    coded: NDArray[np.float64], wanted: Wanted, room: int, firings: int | None, replicates: int, centre: int
) -> Dealt:
    if all(factor.per == "firing" for factor in wanted.factors):
        return Dealt(
            [_with_centre(b, wanted.factors, centre) for b in _filled(coded, room, firings) * replicates]
        )
    rng = np.random.default_rng([wanted.seed, 1])
    blocks = deal(coded, wanted.factors, room, firings, rng) * replicates
    return Dealt([_with_centre(block, wanted.factors, centre) for block in blocks])


def _filled(coded: NDArray[np.float64], room: int, firings: int | None) -> list[NDArray[np.float64]]:
    """Fill each firing with its like, where no recipe differs; settings come in turn."""
    number = firings or len(coded)
    if number < len(coded):
        raise PlanError(
            "firings",
            f"{count(len(coded), 'setting')} of the kiln do not go into {count(number, 'firing')}",
            f"plan {len(coded)} firings",
        )
    return [np.repeat(coded[place % len(coded)][None], room, axis=0) for place in range(number)]


def _with_centre(block: NDArray[np.float64], factors: Sequence[Factor], centre: int) -> NDArray[np.float64]:
    """Add pots with amounts half-way; kinds of a category, which have no middle, come in turn."""
    if not centre:
        return block
    middle = np.repeat(block[:1], centre, axis=0)
    for place, factor in enumerate(factors):
        if factor.per == "pot":
            middle[:, place] = 0.0 if factor.is_amount else np.resize(factor.coded, centre)
    return np.vstack([block, middle])


def _on_levels(coded: NDArray[np.float64], factors: Sequence[Factor]) -> NDArray[np.float64]:
    """Move evenly spaced levels to where the amounts really lie."""
    places = [np.rint((coded[:, k] + 1) / 2 * (len(f.levels) - 1)).astype(int) for k, f in enumerate(factors)]
    return np.column_stack([f.coded[place] for f, place in zip(factors, places, strict=True)])


def _all_two(factors: Sequence[Factor]) -> bool:
    return all(len(factor.levels) == 2 for factor in factors)


def _place(factors: Sequence[Factor], name: str) -> int:
    names = [factor.name for factor in factors]
    if name not in names:
        raise PlanError("fold_over", f"there is no factor '{name}'", f"the factors are {', '.join(names)}")
    return names.index(name)


def _is_power(number: int) -> bool:
    return number > 0 and number & (number - 1) == 0


def _power_below(number: int) -> int:
    return 1 << (number.bit_length() - 1)


def _halved(number: int) -> list[int]:
    return [number >> step for step in range(number.bit_length())]
