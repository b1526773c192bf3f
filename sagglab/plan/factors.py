"""Factors of a plan: what is to be varied, over which levels, and whether for each pot or each firing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import PlanError, UnitError
from sagglab.materials import find_material
from sagglab.units import ABSOLUTE_ZERO_C, Heading, convert, parse_heading, working_unit

#: No potter's kiln goes hotter; what is written so is a slip.
HOTTEST_C = 1500.0
#: What a factor can be set for.
PER = ("pot", "firing")
#: Columns of a plan that are no factors.
TAKEN = ("pot", "firing", "day", "place", "plan", "state", "rating", "notes")


@dataclass(frozen=True)
class Factor:
    """One thing to be varied.

    Parameters
    ----------
    name : str
        Its bare name: ``sugar``.
    levels : sequence of float or of str
        The amounts, or the kinds of a category, to be tried; two or more. Amounts are kept ascending.
    unit : str
        Unit of the amounts; empty for a category.
    per : str
        ``pot`` when each pot can have its own level, ``firing`` when all pots of one firing share it.

    Raises
    ------
    PlanError
        The name, the levels or the unit cannot be: each fault says how to mend it.

    Examples
    --------
    >>> Factor("sugar", [4, 0], "g")
    Factor(name='sugar', levels=(0.0, 4.0), unit='g', per='pot')
    >>> Factor("peak", [700, 750, 800], "degC", per="firing").code([725, 750])
    array([-0.5,  0. ])
    """

    name: str
    levels: tuple[float, ...] | tuple[str, ...]
    unit: str = ""
    per: str = "pot"

    def __post_init__(self) -> None:
        """Check what was given, and keep it in its tidy form."""
        _check_name(self.name, self.unit)
        where = f"factor '{self.name}'"
        if self.per not in PER:
            raise PlanError(where, f"it is set per '{self.per}'", "write per='pot' or per='firing'")
        levels = _tidy_levels(where, self.levels)
        object.__setattr__(self, "levels", levels)
        if self.is_amount:
            _check_amounts(where, self.name, levels, self.unit, self.per)
        elif self.unit:
            raise PlanError(
                where,
                f"its levels are words, but it has the unit [{self.unit}]",
                "write amounts as numbers without quotes, or leave out the unit",
            )

    @property
    def heading(self) -> str:
        """The name, with its unit in brackets where it has one."""
        return str(Heading(self.name, self.unit or None))

    @property
    def is_amount(self) -> bool:
        """True where the levels are numbers."""
        return not isinstance(self.levels[0], str)

    @property
    def coded(self) -> NDArray[np.float64]:
        """The levels on −1 to 1, shape (levels,): amounts to scale, the kinds of a category evenly apart."""
        if self.is_amount:
            return self.code(self.levels)
        return np.linspace(-1, 1, len(self.levels))

    def code(self, values: ArrayLike) -> NDArray[np.float64]:
        """Put levels on −1 (the least, or first) to 1 (the greatest, or last).

        Raises
        ------
        PlanError
            A category has no such level.
        """
        if self.is_amount:
            low, high = self.levels[0], self.levels[-1]
            # Both ends come out as −1 and 1 to the last digit, which halving the sum of 0.1 and 0.2 misses.
            return 2 * ((np.asarray(values, dtype=float) - low) / (high - low)) - 1
        places = {level: place for place, level in enumerate(self.levels)}
        flat = [str(value) for value in np.asarray(values, dtype=object).ravel()]
        unknown = sorted(set(flat) - set(places))
        if unknown:
            raise PlanError(
                f"factor '{self.name}'",
                f"it has no level {', '.join(map(repr, unknown))}",
                f"its levels are {', '.join(map(written, self.levels))}",
            )
        codes = np.linspace(-1, 1, len(self.levels))[[places[value] for value in flat]]
        return codes.reshape(np.shape(values))

    def decode(self, codes: ArrayLike) -> NDArray[np.float64] | NDArray[np.object_]:
        """Give the amounts, or the kinds, that codes stand for; the shape is kept."""
        codes = np.asarray(codes, dtype=float)
        if self.is_amount:
            low, high = self.levels[0], self.levels[-1]
            # Rounded so that a level comes back as it was written.
            return np.round((low + high) / 2 + codes * (high - low) / 2, 10)
        return np.array(self.levels, dtype=object)[self.place(codes)]

    def place(self, codes: ArrayLike) -> NDArray[np.intp]:
        """Which level of a category each code is."""
        return np.rint((np.asarray(codes, dtype=float) + 1) / 2 * (len(self.levels) - 1)).astype(int)


def written(level: float | str) -> str:
    """Write a level as a potter does: whole amounts without a point."""
    return level if isinstance(level, str) else f"{level:.10g}"


def _check_name(name: object, unit: object) -> None:
    if not isinstance(name, str) or not name.strip():
        raise PlanError(f"factor {name!r}", "it has no name", "write Factor('sugar', [0, 4], 'g')")
    if not isinstance(unit, str):
        raise PlanError(
            f"factor '{name}'", f"its unit is {unit!r}, no word", "write the unit as text, such as 'g'"
        )
    heading = parse_heading(name)
    if heading.unit is not None or name != name.strip():
        raise PlanError(
            f"factor '{name}'",
            "the name is a whole heading"
            if heading.unit is not None
            else "the name begins or ends in a blank",
            f"write Factor({heading.name!r}, …, {heading.unit or unit!r})",
        )
    if " × " in name:
        raise PlanError(f"factor '{name}'", "' × ' stands between two factors", "name one thing alone")
    if name in TAKEN:
        raise PlanError(
            f"factor '{name}'", "a plan has a column of this name already", "give it another name"
        )


def _tidy_levels(where: str, levels: object) -> tuple[float, ...] | tuple[str, ...]:
    if isinstance(levels, str) or not isinstance(levels, Sequence | np.ndarray):
        raise PlanError(where, f"its levels are {levels!r}, no list", "write them as a list: [0, 4]")
    words = [isinstance(level, str) for level in levels]
    if any(isinstance(level, bool | np.bool_) for level in levels):
        raise PlanError(where, "a level is true or false", "write numbers or words")
    if any(words) and not all(words):
        raise PlanError(where, "its levels mix numbers and words", "write all as numbers, or all as words")
    if any(words):
        tidied = tuple(level.strip() for level in levels)
        if "" in tidied:
            raise PlanError(where, "one of its levels is blank", "name each kind")
    else:
        try:
            tidied = tuple(sorted(float(level) for level in levels))
        except (TypeError, ValueError) as error:
            raise PlanError(where, f"a level is no number ({error})", "write numbers or words") from error
        if not np.isfinite(tidied).all():
            raise PlanError(where, "a level is not finite", "write each amount as a number")
    twice = sorted({written(level) for level in tidied if tidied.count(level) > 1})
    if twice:
        raise PlanError(where, f"level {', '.join(twice)} is there twice", "name each level once")
    if len(tidied) < 2:
        said = "no level" if not tidied else f"the one level {written(tidied[0])}"
        raise PlanError(
            where,
            f"it has {said}, so nothing would differ",
            "give two levels or more, or write it under what is the same on every pot",
        )
    return tidied


def _check_amounts(where: str, name: str, levels: tuple[float, ...], unit: str, per: str) -> None:
    if not unit:
        if find_material(name) is not None:
            raise PlanError(where, "no unit is stated, and none is guessed", "state the unit, such as 'g'")
        return
    try:
        working = working_unit(unit)
        lowest = float(convert(levels[0], unit, working))
    except UnitError as error:
        raise PlanError(where, f"{error.where}: {error.cause}", error.remedy) from error
    if working == "degC":
        if float(convert(levels[-1], unit, working)) > HOTTEST_C:
            raise PlanError(
                where, f"level {written(levels[-1])} {unit} is hotter than a kiln goes", "correct it"
            )
        if lowest < ABSOLUTE_ZERO_C:
            raise PlanError(where, f"level {levels[0]:g} {unit} is below absolute zero", "correct it")
        if per != "firing":
            raise PlanError(
                where, "all pots of a kiln load share its temperatures", "write per='firing' for it"
            )
    elif lowest < 0:
        raise PlanError(where, f"level {levels[0]:g} {unit} is a negative amount", "correct it")
    if working in ("coats", "count") and any(level != round(level) for level in levels):
        raise PlanError(where, f"there is no part of a {working.removesuffix('s')}", "write whole numbers")
