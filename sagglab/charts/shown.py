"""Shown: which pots of a table a chart can show, and how their columns and numbers are said."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, PercentFormatter
from numpy.typing import NDArray

from sagglab.charts.dots import OUTSIDE, UNMEASURED
from sagglab.colour import AXES, lab_to_srgb
from sagglab.errors import ModelError
from sagglab.model.rows import find_column, tidy
from sagglab.model.table_checks import check_arguments
from sagglab.model.terms import SCALES, Factor
from sagglab.model.wording import amount_in_words, count, label, words_for
from sagglab.pages.headings import unit_of
from sagglab.units import both_scales, parse_heading, rate_in_both_scales

#: So many pots are named for each reason that they are left out, and so many letters of a tag.
_NAMED, _TAG = 4, 24
#: What writes a unit that readers know on either of two scales.
_BOTH_SCALES = {"degC": both_scales, "degC/h": rate_in_both_scales}


@dataclass(frozen=True)
class Shown:
    """The pots that a chart can show.

    Attributes
    ----------
    table : DataFrame
        ``pot``, and each column that is needed, under its heading.
    places : ndarray of int, shape (n,)
        Which rows of the results they are, the first being 0.
    headings : tuple of str
        Of the columns, in the order in which they were asked for.
    lab : ndarray, shape (n, 3)
        The pots' L*, a*, b*; NaN where one has no colour.
    left_out : str
        Which pots are left out, and why; empty when none is.
    """

    table: pd.DataFrame
    places: NDArray[np.int64]
    headings: tuple[str, ...]
    lab: NDArray[np.float64]
    left_out: str


def shown_pots(results: pd.DataFrame, needed: Sequence[str], numbers: Collection[str], chart: str) -> Shown:
    """Find the pots that have all that a chart needs.

    Parameters
    ----------
    results : DataFrame
        One row per pot.
    needed : sequence of str
        Columns, by heading or bare name.
    numbers : collection of str
        Those of them that have to be numbers.
    chart : str
        As the error names it.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        It is no table, a column of words should be one of numbers, or no pot has all.
    """
    check_arguments(results, needed, None)
    results = results.rename(columns=str)
    headings = tuple(find_column(results, name, "column") for name in needed)
    tags = results["pot"] if "pot" in results else results.index.to_series()
    held: dict[str, NDArray] = {}
    for name, heading in zip(needed, headings, strict=True):
        held[heading] = _numbers(heading, results[heading]) if name in numbers else tidy(results[heading])
    lacks = {heading: pd.isna(values) for heading, values in held.items()}
    reasons = np.array(
        [", ".join(f"no {name}" for name, gaps in lacks.items() if gaps[row]) for row in range(len(results))],
        dtype=object,
    )
    used = reasons == ""
    if not used.any():
        cause = f"no pot has all of {', '.join(lacks)}"
        raise ModelError(chart, cause, "measure the photographs, fill in the gaps, or name another column")
    table = pd.DataFrame({"pot": tags.astype(str).to_numpy(dtype=object)} | held)
    left_out = table.loc[~used, "pot"].groupby(reasons[~used], sort=False).agg(list)
    table = table[used].reset_index(drop=True)
    return Shown(table, np.flatnonzero(used), headings, _colours(results)[used], _left_out(left_out))


def _numbers(heading: str, values: pd.Series) -> NDArray[np.float64]:
    tidied = tidy(values)
    if tidied.dtype == float:
        return tidied
    if not pd.isna(tidied).all():
        raise ModelError(f"column '{heading}'", "it is not a column of numbers", "name one that is")
    return np.full(len(values), np.nan)


def _colours(results: pd.DataFrame) -> NDArray[np.float64]:
    if not set(AXES) <= set(results):
        return np.full((len(results), 3), np.nan)
    return np.column_stack([_numbers(axis, results[axis]) for axis in AXES])


def _left_out(pots: pd.Series) -> str:
    """Say which pots are left out, by reason."""
    if pots.empty:
        return ""
    told = []
    for reason, tags in pots.items():
        more = f" and {len(tags) - _NAMED} more" if len(tags) > _NAMED else ""
        told.append(f"{', '.join(map(short_tag, tags[:_NAMED]))}{more} ({reason})")
    return f"{count(sum(map(len, pots)), 'pot')} left out: {'; '.join(told)}"


def short_tag(tag: str) -> str:
    """Shorten a long tag in its middle, since tags differ at their ends.

    Examples
    --------
    >>> short_tag("p01"), short_tag("autumn workshop, table by the window, pot 12")
    ('p01', 'autumn works…dow, pot 12')
    """
    return tag if len(tag) <= _TAG else f"{tag[: _TAG // 2]}…{tag[1 - _TAG // 2 :]}"


def name_of(column: str) -> str:
    """Name a column as it is spoken, without its unit.

    Examples
    --------
    >>> [name_of(column) for column in ("sugar [g]", "peak_C", "L*")]
    ['sugar', 'peak', 'L*']
    """
    return label(_factor(column))


def at_start(words: str) -> str:
    """Begin words with a capital, but for a sign such as a*.

    Examples
    --------
    >>> at_start("dark share"), at_start("a* of 3 pots")
    ('Dark share', 'a* of 3 pots')
    """
    return words[:1].upper() + words[1:] if words[1:2].isalpha() else words


def _factor(column: str) -> Factor:
    return Factor(column, parse_heading(column).name, unit_of(column))


def value_in_words(column: str, value: float | str) -> str:
    """Write what a column holds, a number with its unit and a share in percent.

    Examples
    --------
    >>> value_in_words("peak_C", 740.62), value_in_words("dark share", 0.52), value_in_words("L*", 34.387)
    ('741 °C (1365 °F)', '52 %', '34.4')
    """
    if isinstance(value, str):
        return value
    if is_share(column):
        # A plain zero, where −0.4 % is rounded.
        return f"{round(value, 2) + 0.0:.0%}".replace("%", " %")
    factor = _factor(column)
    return f"{value:.1f}" if not factor.unit else amount_said(factor, value)


def amount_said(factor: Factor, value: float) -> str:
    """Write an amount with its unit, and what is in °C in °F, too.

    Examples
    --------
    >>> peak, sugar = Factor("peak_C", "peak_C", "degC"), Factor("sugar [g]", "sugar", "g")
    >>> amount_said(peak, 750.0), amount_said(sugar, 4.0)
    ('750 °C (1382 °F)', '4 g')
    """
    if factor.unit in _BOTH_SCALES:
        return _BOTH_SCALES[factor.unit](value)
    return amount_in_words(factor, value)


def is_share(column: str) -> bool:
    """Tell whether a column holds shares from 0 to 1."""
    return words_for(column).scale != 1


def in_recipe(column: str, value: float | str) -> str:
    """Write one part of a recipe: an amount with its material, or that there is none.

    Examples
    --------
    >>> in_recipe("sugar [g]", 4.0), in_recipe("sugar [g]", 0.0), in_recipe("clay", "smooth white")
    ('sugar 4 g', 'no sugar', 'smooth white')
    >>> in_recipe("target peak [degC]", 750.0), in_recipe("soaked", "yes")
    ('target peak 750 °C (1382 °F)', 'soaked: yes')
    """
    factor = _factor(column)
    if isinstance(value, str):
        # A level that is a word of its own says what it is; "yes" does not.
        return f"{factor.name}: {value}" if value in ("yes", "no") or len(value) < 3 else value
    if value == 0 and factor.unit and factor.unit not in SCALES:
        return f"no {label(factor)}"
    return f"{label(factor)} {amount_said(factor, value)}"


def name_outcome(ax: Axes, outcome: str, more: Sequence[str] = ()) -> None:
    """Name the axis across by an outcome, its unit, and what is less and what more; write more below."""
    ax.xaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    words, unit = words_for(outcome), amount_in_words(_factor(outcome), 1.0).partition(" ")[2]
    if is_share(outcome):
        ax.xaxis.set_major_formatter(PercentFormatter(1, decimals=0, symbol=" %"))
    named = f"{name_of(outcome)} [{unit}]" if unit and not is_share(outcome) else name_of(outcome)
    ax.set_xlabel("\n".join([named, f"← {words.less}          {words.more} →", *more]), linespacing=1.4)


def about_dots(lab: NDArray[np.float64]) -> list[str]:
    """Give the words below a chart of dots in these colours: what a corner means, and a hollow one."""
    known = np.isfinite(lab).all(axis=1)
    _, outside = lab_to_srgb(lab[known])
    return [OUTSIDE] * bool(outside.any()) + [UNMEASURED] * (not known.all())
