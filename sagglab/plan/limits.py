"""Limits of a plan: what one pot may carry, what never goes together, what shelf and kiln hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError, UnitError
from sagglab.materials import find_material
from sagglab.plan.choices import Shared
from sagglab.plan.factors import Factor, written
from sagglab.units import convert, parse_heading, working_unit

#: So many recipes are looked through for one that the limits leave.
_LOOKED_THROUGH = 200_000


@dataclass(frozen=True)
class Limits:
    """What a plan must keep to.

    Parameters
    ----------
    dusting_g : float, optional
        The most that all dustings on one pot may weigh together, in grams. What `materials.csv` calls a
        dusting counts, and what it does not know and is weighed.
    never : sequence of mapping of str to level or list of levels
        Combinations that no pot may have: ``[{"sugar": 4, "copper sulphate": [2, 3]}]``.
    stock : mapping of str to float
        The most of a factor that all pots together may take, in the factor's unit.
    pots : mapping of str to mapping of str to int
        How many pots there are of each kind: ``{"clay": {"smooth white": 12}}``; kinds not named are not
        limited.
    places : int or sequence of str, optional
        How many places the kiln has, or their names.

    Examples
    --------
    >>> from sagglab import plan_batch
    >>> vary = [Factor("sugar", [0, 4], "g"), Factor("copper sulphate", [0, 3], "g")]
    >>> plan = plan_batch(vary, 2, 6, model="main", limits=Limits(dusting_g=5), seed=1)
    >>> float(plan.runs[["sugar [g]", "copper sulphate [g]"]].sum(axis=1).max())
    4.0
    """

    dusting_g: float | None = None
    never: Sequence[Mapping[str, object]] = ()
    stock: Mapping[str, float] = field(default_factory=dict)
    pots: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    places: int | Sequence[str] | None = None

    def __post_init__(self) -> None:
        """Refuse what is no table, or no list, where one is wanted."""
        for asked, what in ((self.stock, "{'sugar': 60}"), (self.pots, "{'clay': {'smooth white': 12}}")):
            name = "stock" if asked is self.stock else "pots"
            if not isinstance(asked, Mapping):
                raise PlanError(f"limit {name}", f"it is {asked!r}", f"write {what}")
        flat = [name for name, counts in self.pots.items() if not isinstance(counts, Mapping)]
        if flat:
            raise PlanError(
                f"limit pots, {flat[0]}", f"it is {self.pots[flat[0]]!r}", "count the pots of each kind"
            )
        if isinstance(self.never, str) or not isinstance(self.never, Sequence | Mapping):
            raise PlanError(
                "limit never", f"it is {self.never!r}", "write [{'sugar': 4, 'copper sulphate': 3}]"
            )
        if isinstance(self.places, str | bool | float):
            raise PlanError(
                "limit places", f"it is {self.places!r}", "write their number, or a list of names"
            )

    @property
    def place_names(self) -> tuple[str, ...] | None:
        """The names of the places, numbers where only their count was given; None where nothing was."""
        if self.places is None:
            return None
        if isinstance(self.places, int):
            return tuple(str(place + 1) for place in range(self.places))
        return tuple(self.places)

    def check(self, factors: Sequence[Factor], same: Mapping[str, object], sizes: Sequence[int]) -> None:
        """Refuse limits that name what is not there, contradict each other, or leave a level to no pot.

        Parameters
        ----------
        factors : sequence of Factor
        same : mapping of str to object
            What every pot has, by heading.
        sizes : sequence of int
            Pots in each firing.

        Raises
        ------
        PlanError
        """
        named = {factor.name: factor for factor in factors}
        for asked, what in ((self.stock, "stock"), (self.pots, "pots")):
            unknown = [name for name in asked if name not in named]
            if unknown:
                raise _unknown(f"limit {what}", unknown[0], named)
        self._check_places(sizes)
        self._check_stock(named, sum(sizes))
        self._check_kinds(named, sum(sizes))
        self._check_recipes(factors, same)

    def _check_places(self, sizes: Sequence[int]) -> None:
        places = self.place_names
        if places is None:
            return
        twice = sorted({place for place in places if places.count(place) > 1})
        if twice or not places:
            cause = f"place {twice[0]} is there twice" if twice else "there are none"
            raise PlanError("limit places", cause, "name each place of the kiln once")
        if max(sizes) > len(places):
            raise PlanError(
                "limit places",
                f"{max(sizes)} pots in one firing have {len(places)} places",
                "fire fewer pots at a time, or name more places",
            )

    def _check_stock(self, named: Mapping[str, Factor], pots: int) -> None:
        for name, most in self.stock.items():
            factor = named[name]
            if not factor.is_amount or factor.per != "pot":
                raise PlanError(f"limit stock, {name}", "it is no amount that pots take", "leave it out")
            if not _is_number(most) or most < 0:
                raise PlanError(f"limit stock, {name}", f"{most!r} is no amount", "write a number")
            least = pots * factor.levels[0]
            some = least + factor.levels[1] - factor.levels[0]
            half = least + (pots // 2) * (factor.levels[-1] - factor.levels[0])
            if most < some - 1e-9:
                raise PlanError(
                    f"limit stock, {name}",
                    f"{most:g} {factor.unit} does not let one of {pots} pots have {factor.levels[1]:g} of it",
                    f"have {half:g} {factor.unit}, enough for half of the pots, or take lower levels",
                )

    def _check_kinds(self, named: Mapping[str, Factor], pots: int) -> None:
        for name, counts in self.pots.items():
            factor = named[name]
            if factor.is_amount or factor.per != "pot":
                raise PlanError(
                    f"limit pots, {name}", "it is no kind of pot", "name a category, such as the clay"
                )
            unknown = [kind for kind in counts if kind not in factor.levels]
            if unknown:
                raise PlanError(
                    f"limit pots, {name}",
                    f"it has no kind '{unknown[0]}'",
                    f"its kinds are {', '.join(map(str, factor.levels))}",
                )
            wrong = [n for n in counts.values() if not _is_number(n) or n < 0 or n != int(n)]
            if wrong:
                raise PlanError(f"limit pots, {name}", f"{wrong[0]!r} is no number of pots", "count them")
            if len(counts) == len(factor.levels) and sum(counts.values()) < pots:
                raise PlanError(
                    f"limit pots, {name}",
                    f"there are {sum(counts.values())} pots, and the plan takes {pots}",
                    "make more, or plan for fewer",
                )
            none = [kind for kind, number in counts.items() if number == 0]
            if none:
                raise PlanError(
                    f"limit pots, {name}", f"there is no pot of {none[0]}", "leave the kind out of the factor"
                )

    def _check_recipes(self, factors: Sequence[Factor], same: Mapping[str, object]) -> None:
        """Refuse limits under which some level of a factor is left to no pot."""
        allowed = self.allowed(factors, same)
        levels = [factor.coded for factor in factors]
        if np.prod([float(len(codes)) for codes in levels]) > _LOOKED_THROUGH:
            return  # too many to look through: the search says when it finds nothing
        recipes = np.array(list(product(*levels)))
        left = recipes[allowed(recipes)]
        for place, factor in enumerate(factors):
            there = np.isin(levels[place], left[:, place])
            if not there.all():
                lost = ", ".join(written(factor.levels[k]) for k in np.flatnonzero(~there))
                raise PlanError(
                    "limits",
                    f"no pot may have {factor.name} at {lost} {factor.unit}".rstrip()
                    if len(left)
                    else "they contradict each other: no recipe is left",
                    "allow more grams on one pot, forbid less, or take other levels",
                )

    def allowed(
        self, factors: Sequence[Factor], same: Mapping[str, object]
    ) -> Callable[[NDArray[np.float64]], NDArray[np.bool_]]:
        """Make the test of a pot: coded levels, shape (..., factors), to whether it may be made.

        Raises
        ------
        PlanError
            A combination names what is not there.
        """
        grams = [(place, factor) for place, factor in enumerate(factors) if _is_dusting(factor.heading)]
        if self.dusting_g is not None and (not _is_number(self.dusting_g) or self.dusting_g <= 0):
            raise PlanError("limit dusting_g", f"{self.dusting_g!r} is no weight", "write the grams allowed")
        always = sum(_grams(heading, float(value)) for heading, value in same.items() if _is_dusting(heading))
        never = [_combination(combination, factors) for combination in self.never]

        def test(coded: NDArray[np.float64]) -> NDArray[np.bool_]:
            fine = np.ones(coded.shape[:-1], dtype=bool)
            if self.dusting_g is not None and grams:
                weights = [_grams(f.heading, f.decode(coded[..., place])) for place, f in grams]
                fine &= always + sum(weights) <= self.dusting_g + 1e-9
            for combination in never:
                hit = np.ones(coded.shape[:-1], dtype=bool)
                for place, codes in combination.items():
                    hit &= np.abs(coded[..., place, None] - codes).min(axis=-1) < 1e-9
                fine &= ~hit
            return fine

        return test

    def counted(self, factors: Sequence[Factor], same: Mapping[str, object]) -> list[str]:
        """Name what counts towards the grams on one pot; nothing where these have no limit."""
        if self.dusting_g is None:
            return []
        headings = [*(factor.heading for factor in factors), *same]
        return [parse_heading(heading).name for heading in headings if _is_dusting(heading)]

    def shared(self, factors: Sequence[Factor]) -> tuple[Shared, ...]:
        """Give the limits that all pots share, level by level of each factor."""
        found = []
        for place, factor in enumerate(factors):
            if factor.name in self.stock:
                found.append(Shared(place, factor.levels, float(self.stock[factor.name])))
            for kind, number in self.pots.get(factor.name, {}).items():
                which = tuple(float(level == kind) for level in factor.levels)
                found.append(Shared(place, which, float(number)))
        return tuple(found)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value)


def _unknown(where: str, name: str, named: Mapping[str, Factor]) -> PlanError:
    return PlanError(where, f"there is no factor '{name}'", f"the factors are {', '.join(named)}")


def _is_dusting(heading: str) -> bool:
    """Whether a column is weighed out onto the wet coat; what is not known counts, to be on the safe side."""
    name, unit = parse_heading(heading)
    if unit is None:
        return False
    try:
        weighed = working_unit(unit) == "g"
    except UnitError:
        return False
    material = find_material(name)
    return weighed and (material is None or material.use == "dusting")


def _grams(heading: str, values: NDArray[np.float64] | float) -> NDArray[np.float64]:
    return convert(values, parse_heading(heading).unit or "g", "g")


def _combination(asked: Mapping[str, object], factors: Sequence[Factor]) -> dict[int, NDArray[np.float64]]:
    """Turn one combination that may never be into the codes of each of its factors."""
    where = f"limit never {dict(asked) if isinstance(asked, Mapping) else asked!r}"
    if not isinstance(asked, Mapping) or not asked:
        raise PlanError(where, "it is no combination", "write {'sugar': 4, 'copper sulphate': 3}")
    named = {factor.name: place for place, factor in enumerate(factors)}
    codes = {}
    for name, levels in asked.items():
        if name not in named:
            raise _unknown(where, name, {factor.name: factor for factor in factors})
        factor = factors[named[name]]
        wanted = list(levels) if isinstance(levels, list | tuple) else [levels]
        if not all(any(level == own for own in factor.levels) for level in wanted):
            raise PlanError(
                where,
                f"{name} has no level {', '.join(map(str, wanted))}",
                f"its levels are {', '.join(map(written, factor.levels))}",
            )
        codes[named[name]] = factor.code(wanted)
    return codes
