"""Terms of a model: what a column means, how it is coded, and what the coefficients then say.

A column of numbers is an amount: centred, one slope per unit. A column of text is a category: coded so that
its effects sum to zero over its levels, which leaves the effect of one factor that of the average of the
others. A term is a factor, the square of an amount, or two factors together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError, UnknownNameError
from sagglab.pages.headings import unit_of
from sagglab.units import parse_heading

#: Units that have no "without": zero is a point on their scale like any other.
SCALES = ("degC", "degF", "K", "degC/h", "min", "h")


@dataclass(frozen=True)
class Form:
    """A form in which an amount can enter: what is done to the numbers, and how name and unit change."""

    applied: Callable[[NDArray[np.float64]], NDArray[np.float64]]
    name: str
    unit: str


#: Form: applied to the amounts; the term's name and unit.
FORMS: Mapping[str, Form] = {
    "amount": Form(lambda amounts: amounts, "{}", "{}"),
    "square root": Form(np.sqrt, "square root of {}", "√({})"),
    "log1p": Form(np.log1p, "log(1 + {})", "log({})"),
    "with or without": Form(lambda amounts: (amounts > 0).astype(float), "with {}", ""),
}


@dataclass(frozen=True)
class Row:
    """One row that a term gives to the table of effects.

    Attributes
    ----------
    name : str
        As printed in the table.
    weights : ndarray, shape (columns of the term,)
        Combination of the term's coefficients that the row estimates.
    per : str
        The unit that the effect is per; empty for a difference between levels.
    """

    name: str
    weights: NDArray[np.float64]
    per: str = ""


@dataclass(frozen=True)
class Factor:
    """A column of the table as the model sees it; kept by the fit, so that new pots are coded alike.

    Attributes
    ----------
    heading, name, unit : str
        The column's heading, its bare name (the whole heading where two factors share a name), its unit.
    levels : tuple of str
        The levels of a category; empty for an amount.
    tried : tuple of float
        The amounts tried, ascending.
    centre : float
        The mean taken off an amount, in its form.
    lacking : bool
        True for an amount that is zero on some pots and positive on others.
    constant : bool
        True when every row has the same value.
    form : str
        One of `FORMS`.
    """

    heading: str
    name: str
    unit: str
    levels: tuple[str, ...] = ()
    tried: tuple[float, ...] = ()
    centre: float = 0.0
    lacking: bool = False
    constant: bool = False
    form: str = "amount"

    @property
    def low(self) -> float:
        """The least amount tried."""
        return self.tried[0]

    @property
    def high(self) -> float:
        """The greatest amount tried."""
        return self.tried[-1]

    @property
    def is_amount(self) -> bool:
        """True for a column of numbers."""
        return not self.levels

    def code(self, values: pd.Series) -> NDArray[np.float64]:
        """Columns of the model for these values, shape (n, 1) or (n, levels − 1)."""
        if self.is_amount:
            return FORMS[self.form].applied(values.to_numpy(dtype=float))[:, None] - self.centre
        codes = {level: code for code, level in enumerate(self.levels)}
        return self.levels_from_coefficients[[codes[value] for value in values]]

    @property
    def levels_from_coefficients(self) -> NDArray[np.float64]:
        """Each level's effect from the coefficients, shape (levels, levels − 1)."""
        # The last level is minus the sum of the others: a coefficient is a level against the levels' mean.
        free = len(self.levels) - 1
        return np.vstack([np.eye(free), np.full(free, -1.0)])

    @property
    def term_name(self) -> str:
        """The factor's name in its form."""
        return FORMS[self.form].name.format(self.name)

    @property
    def columns(self) -> tuple[str, ...]:
        """Name each column that `code` gives."""
        if self.is_amount:
            return (self.term_name,)
        return tuple(f"{self.name}: {level}" for level in self.levels[:-1])

    def rows(self) -> tuple[Row, ...]:
        """Rows of the table of effects: a slope, one difference (two levels), or each level against the mean.

        Examples
        --------
        >>> [row.name for row in Factor("clay", "clay", "", ("buff", "white")).rows()]
        ['clay: white − buff']
        >>> [row.name for row in Factor("clay", "clay", "", ("buff", "red", "white")).rows()]
        ['clay: buff', 'clay: red', 'clay: white']
        """
        if self.is_amount:
            unit = FORMS[self.form].unit.format(self.unit or "unit")
            return (Row(self.term_name, np.ones(1), unit),)
        if len(self.levels) == 1:
            return (Row(self.name, np.zeros(0)),)
        if len(self.levels) == 2:
            first, second = self.levels
            return (Row(f"{self.name}: {second} − {first}", np.array([-2.0])),)
        return tuple(
            Row(f"{self.name}: {level}", row)
            for level, row in zip(self.levels, self.levels_from_coefficients, strict=True)
        )

    def presence(self) -> Factor:
        """Make the same factor asked as with (1) against without (0)."""
        return replace(self, form="with or without", centre=0.0)


@dataclass(frozen=True)
class Term:
    """A factor, the square of an amount (the factor twice), or two factors together."""

    factors: tuple[Factor, ...]

    @property
    def name(self) -> str:
        """As the table and the sentences name it."""
        if self.is_square:
            return f"{self.factors[0].term_name} squared"
        return " × ".join(factor.term_name for factor in self.factors)

    @property
    def is_square(self) -> bool:
        """True for the square of an amount."""
        return len(self.factors) == 2 and self.factors[0] == self.factors[1]

    def code(self, table: pd.DataFrame) -> NDArray[np.float64]:
        """Columns of the model for the rows of a table, shape (n, columns)."""
        blocks = [factor.code(table[factor.heading]) for factor in self.factors]
        return reduce(lambda a, b: (a[:, :, None] * b[:, None, :]).reshape(len(a), -1), blocks)

    @property
    def columns(self) -> tuple[str, ...]:
        """Name each column that `code` gives."""
        if self.is_square:
            return (self.name,)
        return tuple(" × ".join(names) for names in product(*(factor.columns for factor in self.factors)))

    def rows(self) -> tuple[Row, ...]:
        """Rows of the table of effects; of two factors, how a row of one changes with a row of the other."""
        if self.is_square:
            per = f"{self.factors[0].rows()[0].per}²"
            return (Row(self.name, np.ones(1), per),)
        combined = product(*(factor.rows() for factor in self.factors))
        return tuple(
            Row(
                " × ".join(row.name for row in rows),
                reduce(np.kron, [row.weights for row in rows]),
                " per ".join(row.per for row in rows if row.per),
            )
            for rows in combined
        )


def read_factor(
    heading: str, values: pd.Series, order: Sequence[str] = (), shared: bool = False, form: str = "amount"
) -> Factor:
    """Describe one tidy column as a factor.

    Parameters
    ----------
    heading : str
    values : Series
        The rows used, none missing.
    order : sequence of str
        The levels in their wanted order; alphabetical where not given.
    shared : bool
        True when another factor has the same bare name.
    form : str
        For an amount, one of `FORMS`.

    Raises
    ------
    UnknownNameError
        There is no such form.
    ModelError
        The form asks for what the column has not: numbers, none below zero.
    """
    name = heading if shared else parse_heading(heading).name
    unit = unit_of(heading)
    if form not in FORMS:
        raise UnknownNameError(
            f"form '{form}' of {name}", "there is no such form", f"it can be {_listed(FORMS)}"
        )
    if values.dtype != float:
        if form != "amount":
            raise ModelError(f"form '{form}' of {name}", "the column holds words", "leave its form out")
        present = set(values)
        levels = tuple(level for level in order if level in present) or tuple(sorted(present))
        return Factor(heading, name, unit, levels, constant=len(levels) == 1)
    if form != "amount" and values.min() < 0:
        raise ModelError(f"form '{form}' of {name}", "some amounts are below zero", "leave its form out")
    coded = FORMS[form].applied(values.to_numpy(dtype=float))
    return Factor(
        heading,
        name,
        unit,
        tried=tuple(sorted(set(values.tolist()))),
        centre=float(coded.mean()),
        lacking=bool(unit not in SCALES and values.min() == 0 < values.max()),
        constant=bool(coded.min() == coded.max()),
        form=form,
    )


def read_terms(
    factors: Sequence[Factor],
    squares: Sequence[str] = (),
    together: Sequence[tuple[str, str]] = (),
) -> tuple[Term, ...]:
    """Make the terms of a model from its factors and what is asked beside them by name.

    Parameters
    ----------
    factors : sequence of Factor
    squares : sequence of str
        Amounts whose square is wanted, too.
    together : sequence of pairs of str
        Pairs of factors of which the effect of one may depend on the other.

    Raises
    ------
    UnknownNameError
        A name is none of the factors.
    ModelError
        A square of a category; a pair of one factor; what never varies; something asked twice.
    """
    terms = [Term((factor,)) for factor in factors if not factor.constant]
    first = factors[0].name
    if isinstance(squares, str):
        raise ModelError("squares", "a word was given where a list is wanted", f"write squares=['{squares}']")
    if isinstance(together, str):
        pair = (first, factors[1].name if len(factors) > 1 else "another")
        raise ModelError("together", "a word was given where pairs are wanted", f"write together=[{pair}]")
    for name in squares:
        factor = find_factor(factors, name)
        if not factor.is_amount:
            raise ModelError(f"square of {name}", "a category has none", "leave it out")
        terms.append(Term((factor, factor)))
    for pair in together:
        if isinstance(pair, str) or len(pair) != 2:
            raise ModelError(f"together {pair!r}", "it is not a pair", f"write together=[('{first}', …)]")
        one, other = (find_factor(factors, name) for name in pair)
        if one == other:
            raise ModelError(
                f"together {pair!r}", "it names one factor twice", f"write squares=['{one.name}']"
            )
        terms.append(Term((one, other)))
    asked = [frozenset(term.factors) for term in terms if len(term.factors) == 2]
    for term in terms:
        if len(term.factors) == 2 and asked.count(frozenset(term.factors)) > 1:
            raise ModelError(f"term {term.name}", "it is asked twice", "ask it once")
    still = [factor.name for term in terms for factor in term.factors if factor.constant]
    if still:
        raise ModelError(f"term with {still[0]}", "it is the same on every pot", "leave it out")
    return tuple(terms)


def find_factor(factors: Sequence[Factor], name: str) -> Factor:
    """Find a factor by its heading, its bare name or its name in its form.

    Raises
    ------
    UnknownNameError
        The model has no such factor.
    """
    for factor in factors:
        if name in (factor.heading, factor.name, factor.term_name):
            return factor
    raise UnknownNameError(
        f"factor '{name}'", "the model has no such factor", f"it has {_listed(f.name for f in factors)}"
    )


def _listed(names: object) -> str:
    return ", ".join(str(name) for name in names)
