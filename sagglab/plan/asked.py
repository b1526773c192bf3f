"""Asked: the numbers, levels, the seed and the fixed part of a recipe that a plan is asked for, checked."""

from __future__ import annotations

import math
import secrets
from collections.abc import Mapping, Sequence
from numbers import Integral

from sagglab.errors import PlanError, UnitError
from sagglab.materials import find_material
from sagglab.plan.factors import HOTTEST_C, TAKEN, Factor
from sagglab.plan.wanted import Wanted
from sagglab.units import ABSOLUTE_ZERO_C, Heading, convert, parse_heading, working_unit


def read_sizes(firings: object, pots: object) -> tuple[int, ...]:
    """Give the pots of each firing; a single number where the firings are not known.

    Raises
    ------
    PlanError
        They are no numbers, or not one for each firing.
    """
    given = [pots] if isinstance(pots, Integral) else list(pots) if isinstance(pots, Sequence) else [None]
    whole = all(_is_count(n) for n in given)
    if not whole or not given:
        raise PlanError("pots_per_firing", f"{pots!r} is no number of pots", "write a number such as 6")
    if firings is None:
        return tuple(map(int, given))
    if not _is_count(firings):
        raise PlanError("firings", f"{firings!r} is no number of firings", "write a number such as 6")
    if isinstance(pots, Integral):
        return (int(pots),) * int(firings)
    if len(given) != firings:
        raise PlanError(
            "pots_per_firing", f"{len(given)} numbers stand for {firings} firings", "write one for each"
        )
    return tuple(map(int, given))


def _is_count(number: object) -> bool:
    return isinstance(number, Integral) and not isinstance(number, bool) and number > 0


def read_repetition(wanted: Wanted, centre: int, times: int) -> tuple[int | None, int]:
    """Tell how many firings one repetition has, and what room a firing leaves beside its centre."""
    room = wanted.most - centre
    if times < 1 or centre < 0:
        raise PlanError(
            "replicates, centre", f"{times} and {centre} cannot be", "write 1 or more, and 0 or more"
        )
    if room < 1:
        raise PlanError("centre", f"{centre} pots of {wanted.most} leave no room", "take fewer in the middle")
    if wanted.firings is None:
        return None, room
    if wanted.firings % times:
        raise PlanError(
            "firings",
            f"{wanted.firings} cannot be shared by {times} repetitions",
            f"plan a multiple of {times}",
        )
    return wanted.firings // times, room


def check_day(per_day: object) -> None:
    """Refuse what is no number of firings in a day."""
    if per_day is not None and (not _is_count(per_day)):
        raise PlanError("firings_per_day", f"{per_day!r} is no number of firings", "write a number such as 2")


def read_seed(seed: object) -> int:
    """Give the seed; one drawn where there is none."""
    if seed is None:
        return secrets.randbelow(10_000)
    if not isinstance(seed, int) or isinstance(seed, bool) or seed < 0:
        raise PlanError("seed", f"{seed!r} is no seed", "write a whole number, 0 or more")
    return seed


def read_same(factors: Sequence[Factor], same: Mapping[str, object]) -> dict[str, object]:
    """Give what is the same on every pot, by heading.

    Raises
    ------
    PlanError
        It is varied as well, no pot can have it, or it is neither an amount nor a kind.
    """
    if not isinstance(same, Mapping):
        raise PlanError("same", f"it is {same!r}", "write {'slip [coats]': 2}")
    varied = {factor.name for factor in factors}
    for heading, value in same.items():
        if not isinstance(heading, str) or not parse_heading(heading).name:
            raise PlanError(f"same {heading!r}", "it has no name", "write a heading such as 'slip [coats]'")
        if parse_heading(heading).name in TAKEN:
            raise PlanError(
                f"same '{heading}'", "a plan has a column of this name already", "give it another name"
            )
        if parse_heading(heading).name in varied:
            raise PlanError(f"same '{heading}'", "it is varied as well", "leave it out of one of the two")
        if not isinstance(value, int | float | str) or isinstance(value, bool):
            raise PlanError(
                f"same '{heading}'", f"{value!r} is no amount or kind", "write a number or a word"
            )
        _check_same(parse_heading(heading), value)
    return dict(same)


def _check_same(heading: Heading, value: float | str) -> None:
    """Refuse an amount that cannot be, as for the levels of a factor."""
    where, (name, unit) = f"same '{heading}'", heading
    if unit is None:
        material = find_material(name)
        if not isinstance(value, str) and material is not None:
            unit_of_use = {"coat": "coats", "wrap": "cm"}.get(material.use, "g")
            raise PlanError(
                where, "no unit is stated, and none is guessed", f"write '{name} [{unit_of_use}]'"
            )
        return
    try:
        working = working_unit(unit)
    except UnitError as error:
        raise PlanError(where, f"{error.where}: {error.cause}", error.remedy) from error
    if isinstance(value, str) or not math.isfinite(value):
        raise PlanError(where, f"{value!r} is no amount", "write a number")
    if working == "degC" and not ABSOLUTE_ZERO_C <= convert(value, unit, "degC") <= HOTTEST_C:
        raise PlanError(where, f"{value:g} {unit} is no temperature of a kiln", "correct it")
    if working != "degC" and value < 0:
        raise PlanError(where, f"{value:g} {unit} is a negative amount", "correct it")
    if working in ("coats", "count") and value != round(value):
        raise PlanError(where, f"there is no part of a {working.removesuffix('s')}", "write whole numbers")


def check_two_levels(factors: Sequence[Factor], kind: str) -> None:
    """Refuse factors that have not two levels, where a kind of plan takes no others."""
    wrong = [f"{factor.name} ({len(factor.levels)})" for factor in factors if len(factor.levels) != 2]
    if wrong:
        raise PlanError(
            kind, f"it takes two levels of each factor, not those of {', '.join(wrong)}", "use kind='best'"
        )


def check_amounts(factors: Sequence[Factor], kind: str) -> None:
    """Refuse factors of kinds, where a kind of plan takes amounts alone."""
    wrong = [factor.name for factor in factors if not factor.is_amount]
    if wrong:
        has = "has" if len(wrong) == 1 else "have"
        raise PlanError(kind, f"{', '.join(wrong)} {has} kinds, which have no middle", "use kind='best'")
