"""Terms of a plan: what the pots shall be able to tell, as columns over the factors on −1 to 1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.plan.factors import Factor

#: Models with a name, and what each holds.
MODELS = ("main", "main + two-way", "quadratic")


@dataclass(frozen=True)
class Terms:
    """The mean and the terms of a model.

    Attributes
    ----------
    factors : tuple of Factor
    members : tuple of tuple of int
        For each term, the factors that make it: one, two, or one twice for the square of an amount.
    """

    factors: tuple[Factor, ...]
    members: tuple[tuple[int, ...], ...]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Each term as the table of effects names it."""
        return tuple(self._name(term) for term in self.members)

    def _name(self, term: tuple[int, ...]) -> str:
        if len(term) == 2 and term[0] == term[1]:
            return f"{self.factors[term[0]].name} squared"
        return " × ".join(self.factors[place].name for place in term)

    @cached_property
    def widths(self) -> tuple[int, ...]:
        """How many columns each term has: one, and for a category one less than its kinds."""
        free = [1 if factor.is_amount else len(factor.levels) - 1 for factor in self.factors]
        return tuple(int(np.prod([free[place] for place in term])) for term in self.members)

    @cached_property
    def column_names(self) -> tuple[str, ...]:
        """Name every column: the mean first, then each term's."""
        names = ["mean"]
        for name, width in zip(self.names, self.widths, strict=True):
            names += [name] if width == 1 else [f"{name} ({place + 1} of {width})" for place in range(width)]
        return tuple(names)

    @cached_property
    def spans(self) -> tuple[slice, ...]:
        """Where each term's columns lie among all."""
        ends = np.cumsum([1, *self.widths])
        return tuple(slice(int(a), int(b)) for a, b in zip(ends[:-1], ends[1:], strict=True))

    @cached_property
    def per_firing(self) -> NDArray[np.bool_]:
        """Which columns are the same on all pots of a firing, shape (columns,); the mean is one."""
        held = [all(self.factors[place].per == "firing" for place in term) for term in self.members]
        return np.concatenate([[True], np.repeat(np.array(held, dtype=bool), self.widths)])

    def expand(self, coded: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the columns of the model, the mean's first.

        Parameters
        ----------
        coded : ndarray, shape (..., factors)
            Each factor on −1 to 1, as `Factor.code` gives it.

        Returns
        -------
        ndarray, shape (..., columns)
            An amount stands as it is coded; the kinds of a category sum to zero, as in the analysis.
        """
        single = [_single(factor, coded[..., place]) for place, factor in enumerate(self.factors)]
        columns = [np.ones((*coded.shape[:-1], 1))]
        for term in self.members:
            block = single[term[0]]
            for place in term[1:]:
                block = (block[..., :, None] * single[place][..., None, :]).reshape(*block.shape[:-1], -1)
            columns.append(block)
        return np.concatenate(columns, axis=-1)

    @property
    def question(self) -> dict[str, list]:
        """What to ask `fit_effects` for once the pots are fired: ``factors``, ``squares``, ``together``."""
        pairs = [term for term in self.members if len(term) == 2]
        return {
            "factors": [self.factors[term[0]].heading for term in self.members if len(term) == 1],
            "squares": [self.factors[i].name for i, j in pairs if i == j],
            "together": [(self.factors[i].name, self.factors[j].name) for i, j in pairs if i != j],
        }


def _single(factor: Factor, codes: NDArray[np.float64]) -> NDArray[np.float64]:
    if factor.is_amount:
        return codes[..., None]
    free = len(factor.levels) - 1
    rows = np.vstack([np.eye(free), np.full(free, -1.0)])
    if free == 1:  # −1 and 1, so that signs read alike for amounts and categories
        rows = -rows
    return rows[factor.place(codes)]


def read_model(
    factors: Sequence[Factor],
    model: str | Sequence[str | tuple[str, str]] = "main + two-way",
    middles: bool = False,
) -> Terms:
    """Make the terms that a model names.

    Parameters
    ----------
    factors : sequence of Factor
    model : str or sequence
        ``main`` (each factor by itself), ``main + two-way`` (and whether what one does depends on another),
        ``quadratic`` (and the squares of amounts of three levels or more); or a list of names of factors and
        of pairs of them, a pair of one factor being its square.
    middles : bool
        True where the plan gives amounts of two levels others in between, so that they have squares, too.

    Raises
    ------
    PlanError
        Two factors have one name; there is no such model or factor; a square of what has two levels.

    Examples
    --------
    >>> sugar, peak = Factor("sugar", [0, 2, 4], "g"), Factor("peak", [700, 800], "degC", per="firing")
    >>> read_model([sugar, peak], "quadratic").names
    ('sugar', 'peak', 'sugar × peak', 'sugar squared')
    >>> read_model([sugar, peak], ["sugar", "peak", ("sugar", "peak")]).question
    {'factors': ['sugar [g]', 'peak [degC]'], 'squares': [], 'together': [('sugar', 'peak')]}
    """
    factors = tuple(factors)
    _check_factors(factors)
    every = range(len(factors))
    if isinstance(model, str):
        if model not in MODELS:
            raise PlanError(
                f"model '{model}'", "there is no such model", f"write one of {', '.join(MODELS)}, or a list"
            )
        members: list[tuple[int, ...]] = [(place,) for place in every]
        if model != "main":
            members += combinations(every, 2)
        if model == "quadratic":
            members += [(place, place) for place in every if _bends(factors[place], middles)]
        return Terms(factors, tuple(members))
    if not isinstance(model, Sequence) or not all(isinstance(term, str | tuple | list) for term in model):
        raise PlanError(
            f"model {model!r}", "it is no list of factors and pairs", f"write one of {', '.join(MODELS)}"
        )
    places = {factor.name: place for place, factor in enumerate(factors)}
    members = []
    for asked in model:
        names = (asked,) if isinstance(asked, str) else tuple(asked)
        unknown = [name for name in names if name not in places]
        if unknown or not 1 <= len(names) <= 2:
            cause = f"there is no factor '{unknown[0]}'" if unknown else "it is neither a factor nor a pair"
            raise PlanError(f"model term {asked!r}", cause, f"the factors are {', '.join(places)}")
        term = tuple(sorted(places[name] for name in names))
        if len(names) == 2 and term[0] == term[1]:
            factor = factors[term[0]]
            if not _bends(factor, middles):
                raise PlanError(
                    f"square of {factor.name}",
                    "two levels, or kinds, show no bend",
                    "give three amounts or more",
                )
        if term in members:
            raise PlanError(f"model term {asked!r}", "it is asked twice", "ask it once")
        members.append(term)
    alone = {term[0] for term in members if len(term) == 1}
    lacking = sorted({place for term in members for place in term} - alone)
    if lacking:
        raise PlanError(
            "model",
            f"it asks how {factors[lacking[0]].name} goes with another, or bends, but not what it does alone",
            f"add '{factors[lacking[0]].name}'",
        )
    if not members:
        raise PlanError("model", "it holds no term", "name at least one factor")
    # Factors first, as the analysis has them.
    return Terms(factors, tuple(sorted(members, key=len)))


def _bends(factor: Factor, middles: bool) -> bool:
    return factor.is_amount and (middles or len(factor.levels) > 2)


def _check_factors(factors: tuple[Factor, ...]) -> None:
    wrong = [factor for factor in factors if not isinstance(factor, Factor)]
    if wrong or not factors:
        cause = f"{wrong[0]!r} is no factor" if wrong else "there are none"
        raise PlanError("factors", cause, "write a list such as [Factor('sugar', [0, 4], 'g')]")
    names = [factor.name.casefold() for factor in factors]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise PlanError("factors", f"{', '.join(twice)} is there twice", "name each factor once")
