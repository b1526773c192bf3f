"""Terms of a model: which column a factor means, how it is coded, and what the coefficients then say.

A column of numbers is an amount: centred, one slope per unit. A column of text is a category: coded so that
its effects sum to zero over its levels. An amount that some pots lack (zeros among positive amounts) can also
be asked as with against without.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special

from sagglab.errors import ModelError, UnknownNameError
from sagglab.units import parse_heading

#: Unit of a measured column whose name ends so; firing measures carry their unit in the name.
_NAMED_UNITS = {"_C_per_h": "degC/h", "_C": "degC"}
#: Units that have no "without": zero is a point on their scale like any other.
_SCALES = ("degC", "degF", "K", "degC/h", "min", "h")


@dataclass(frozen=True)
class Contrast:
    """One linear combination of the coefficients, judged by t.

    Attributes
    ----------
    estimate, standard_error : float
        In units of the observations.
    df : float
        Degrees of freedom.
    """

    estimate: float
    standard_error: float
    df: float

    @property
    def t(self) -> float:
        """The estimate over its standard error."""
        return self.estimate / self.standard_error

    @property
    def p(self) -> float:
        """Two-sided probability of a t as far from zero, were there no effect."""
        return float(2 * special.stdtr(self.df, -abs(self.t)))

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Lower and upper end of the confidence interval."""
        reach = special.stdtrit(self.df, (1 + level) / 2) * self.standard_error
        return float(self.estimate - reach), float(self.estimate + reach)


@dataclass(frozen=True)
class JointTest:
    """Several linear combinations judged together by F."""

    f: float
    numerator_df: int
    denominator_df: float

    @property
    def p(self) -> float:
        """Probability of an F as large, were there no effect."""
        return float(special.fdtrc(self.numerator_df, self.denominator_df, self.f))


@dataclass(frozen=True)
class Term:
    """One row that a factor gives to the table of effects.

    Attributes
    ----------
    name : str
        As printed in the table.
    weights : ndarray, shape (columns of the factor,)
        Combination of the factor's coefficients that the row estimates.
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
    centre : float
        The mean taken off an amount.
    lacking : bool
        True for an amount that is zero on some pots and positive on others.
    constant : bool
        True when every row has the same value.
    """

    heading: str
    name: str
    unit: str
    levels: tuple[str, ...] = ()
    centre: float = 0.0
    lacking: bool = False
    constant: bool = False

    @property
    def is_amount(self) -> bool:
        """True for a column of numbers."""
        return not self.levels

    def code(self, values: pd.Series) -> NDArray[np.float64]:
        """Columns of the model for these values, shape (n, 1) or (n, levels − 1)."""
        if self.is_amount:
            return values.to_numpy(dtype=float)[:, None] - self.centre
        codes = {level: code for code, level in enumerate(self.levels)}
        return self._levels_from_coefficients[[codes[value] for value in values]]

    @property
    def _levels_from_coefficients(self) -> NDArray[np.float64]:
        # The last level is minus the sum of the others: a coefficient is a level against the levels' mean.
        free = len(self.levels) - 1
        return np.vstack([np.eye(free), np.full(free, -1.0)])

    @property
    def columns(self) -> tuple[str, ...]:
        """Name each column that `code` gives."""
        return (self.name,) if self.is_amount else tuple(f"{self.name}: {x}" for x in self.levels[:-1])

    def terms(self) -> tuple[Term, ...]:
        """Rows of the table of effects: a slope, one difference (two levels), or each level against the mean.

        Examples
        --------
        >>> [term.name for term in Factor("clay", "clay", "", ("buff", "white")).terms()]
        ['clay: white − buff']
        >>> [term.name for term in Factor("clay", "clay", "", ("buff", "red", "white")).terms()]
        ['clay: buff', 'clay: red', 'clay: white']
        """
        if self.is_amount:
            return (Term(self.name, np.ones(1), self.unit or "unit"),)
        if len(self.levels) == 1:
            return (Term(self.name, np.zeros(0)),)
        if len(self.levels) == 2:
            first, second = self.levels
            return (Term(f"{self.name}: {second} − {first}", np.array([-2.0])),)
        return tuple(
            Term(f"{self.name}: {level}", row)
            for level, row in zip(self.levels, self._levels_from_coefficients, strict=True)
        )

    def presence(self) -> Factor:
        """Make the same factor asked as with (1) against without (0)."""
        return replace(self, name=f"with {self.name}", unit="", centre=0.0, lacking=False)


def find_column(table: pd.DataFrame, wanted: str, role: str) -> str:
    """Find a column by its heading or by its bare name.

    Parameters
    ----------
    table : DataFrame
    wanted : str
        ``sugar [g]`` or ``sugar``.
    role : str
        What the column is for, as the error names it.

    Raises
    ------
    UnknownNameError
        No such column.
    ModelError
        More than one column answers to the name.

    Examples
    --------
    >>> find_column(pd.DataFrame({"pot": ["p1"], "sugar [g]": [2.0]}), "sugar", "factor")
    'sugar [g]'
    """
    headings = [str(heading) for heading in table.columns]
    found = [heading for heading in headings if heading == wanted]
    found = found or [heading for heading in headings if parse_heading(heading).name == wanted]
    if not found:
        raise UnknownNameError(
            f"{role} '{wanted}'", "the table has no such column", f"its columns are {', '.join(headings)}"
        )
    if len(found) > 1:
        named = " and ".join(f"'{heading}'" for heading in found)
        remedy = "rename one of them" if len(set(found)) == 1 else "name one of them in full"
        raise ModelError(f"{role} '{wanted}'", f"it can mean {named}", remedy)
    return found[0]


def unit_of(heading: str) -> str:
    """Name the unit that a heading states, in brackets or in the name of a firing measure.

    Examples
    --------
    >>> [unit_of(heading) for heading in ("sugar [g]", "peak_C", "minutes_above_660_C", "clay")]
    ['g', 'degC', 'min', '']
    """
    name, unit = parse_heading(heading)
    if unit:
        return unit
    if name.startswith("minutes_"):
        return "min"
    return next((unit for ending, unit in _NAMED_UNITS.items() if name.endswith(ending)), "")


def tidy(values: pd.Series) -> NDArray[np.float64] | NDArray[np.object_]:
    """Floats from a column of numbers, text from any other; what is blank or not finite becomes missing."""
    values = values.infer_objects()
    if pd.api.types.is_bool_dtype(values.dtype):
        return values.astype(object).map({True: "yes", False: "no"}).to_numpy(dtype=object)
    if pd.api.types.is_numeric_dtype(values.dtype):
        numbers = values.to_numpy(dtype=float, na_value=np.nan)
        return np.where(np.isfinite(numbers), numbers, np.nan)
    text = [
        None if missing else str(value).strip() for value, missing in zip(values, values.isna(), strict=True)
    ]
    return np.array([value or None for value in text], dtype=object)


def read_factor(heading: str, values: pd.Series, order: Sequence[str] = (), shared: bool = False) -> Factor:
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
    """
    name = heading if shared else parse_heading(heading).name
    unit = unit_of(heading)
    if values.dtype == float:
        lacking = unit not in _SCALES and values.min() == 0 < values.max()
        constant = values.min() == values.max()
        return Factor(heading, name, unit, (), float(values.mean()), bool(lacking), bool(constant))
    present = set(values)
    levels = tuple(level for level in order if level in present) or tuple(sorted(present))
    return Factor(heading, name, unit, levels, constant=len(levels) == 1)


def usable_rows(
    table: pd.DataFrame, outcome: str, factors: Sequence[str], firing: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part the rows that the model can use from those it cannot.

    Returns
    -------
    used : DataFrame
        The columns outcome, firing and factors, tidied; every value present.
    left_out : DataFrame
        Columns ``row`` (the table's index), ``pot`` and ``reason``.
    """
    tidied = {heading: tidy(table[heading]) for heading in (outcome, firing, *factors)}
    missing = {heading: pd.isna(values) for heading, values in tidied.items()}
    bad = np.any(list(missing.values()), axis=0)
    reasons = [
        "no " + ", no ".join(heading for heading, gaps in missing.items() if gaps[row])
        for row in np.flatnonzero(bad)
    ]
    index = table.index[bad]
    pots = table["pot"].to_numpy(dtype=object)[bad] if "pot" in table else index.to_numpy(dtype=object)
    left_out = pd.DataFrame({"row": index, "pot": pots, "reason": pd.Series(reasons, dtype="str")})
    return pd.DataFrame({heading: values[~bad] for heading, values in tidied.items()}), left_out


def independent_basis(X: NDArray[np.float64], names: Sequence[str], where: str) -> NDArray[np.float64]:
    """Orthonormal basis of linearly independent columns, or the chain that ties them together.

    Parameters
    ----------
    X : ndarray, shape (n, p)
    names : sequence of str
        One for each column.
    where : str
        What the error names as the place.

    Returns
    -------
    ndarray, shape (n, p)

    Raises
    ------
    ModelError
        A column is a sum of multiples of the others; every such chain is named with its signs.

    Examples
    --------
    >>> independent_basis(  # doctest: +ELLIPSIS
    ...     np.array([[1.0, -2], [-1, 2], [0, 0]]), ["salt", "sugar"], "the model"
    ... )
    Traceback (most recent call last):
    sagglab.errors.ModelError: the model: the pots cannot tell apart what always changes together: ...
    """
    norms = np.linalg.norm(X, axis=0)
    # Columns of one length, each a hair shorter than the one before, so that a tie blames the later factor.
    weights = (1 - 1e-6 * np.arange(X.shape[1])) / np.where(norms > 0, norms, 1)
    basis, triangle, order = linalg.qr(X * weights, mode="economic", pivoting=True)
    sizes = np.abs(np.diag(triangle))
    rank = int(np.sum(sizes > 1e-9 * max(sizes.max(initial=0), 1e-300)))
    if rank == X.shape[1]:
        return basis
    ties = linalg.solve_triangular(triangle[:rank, :rank], triangle[:rank, rank:])
    chains = []
    for tie, lost in zip(ties.T, order[rank:], strict=True):
        multiples = tie * weights[order[:rank]] / weights[lost]
        kept = [(order[i], multiples[i]) for i in np.argsort(order[:rank]) if abs(tie[i]) > 1e-7]
        chains.append(f"{names[lost]} = {_signed(names, kept)}")
    raise ModelError(
        where,
        f"the pots cannot tell apart what always changes together: {' and '.join(chains)}",
        "leave one of them out, or fire pots that have one without the other",
    )


def _signed(names: Sequence[str], kept: Sequence[tuple[int, float]]) -> str:
    parts = []
    for column, multiple in kept:
        sign = "−" if multiple < 0 else "+"
        size = f"{abs(multiple):.3g}"
        parts.append(f"{sign}{' ' if parts else ''}{'' if size == '1' else size + ' '}{names[column]}")
    return " ".join(parts) if parts else "0"
