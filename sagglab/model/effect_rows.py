"""The table of effects, row by row, from a fit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError
from sagglab.model import wording
from sagglab.model.contrasts import holm
from sagglab.model.rows import Rows
from sagglab.model.scale import Scale
from sagglab.model.strata import FittedStrata, fit_strata
from sagglab.model.terms import Factor, Row, Term

#: Columns of the table of effects.
COLUMNS = (
    *("term", "estimate", "unit", "standard error", "low", "high", "df", "p", "p Holm"),
    *("stratum", "varies", "method", "from", "to", "to low", "to high", "note"),
)


def lay_out(
    read: Rows, terms: tuple[Term, ...], fitted: FittedStrata, scale: Scale, where: str
) -> pd.DataFrame:
    """Make the table of effects: factors in the order asked, then squares and pairs.

    Parameters
    ----------
    read : Rows
    terms : tuple of Term
    fitted : FittedStrata
    scale : Scale
    where : str
        What an error names as the place.

    Raises
    ------
    ModelError
        Two effects would have one name.
    """
    lines: list[dict[str, object]] = []
    for factor in read.factors:
        if factor.constant:
            lines.append(_untold(factor, read.outcome, scale, fitted.method))
            continue
        term = Term((factor,))
        lines += _known(term, fitted, read.outcome, scale)
        alone = not any(factor in other.factors for other in terms if len(other.factors) > 1)
        if factor.lacking and factor.form == "amount" and alone:
            lines.append(_presence(term, terms, read, fitted, scale, where))
    for term in terms:
        if len(term.factors) > 1:
            lines += _known(term, fitted, read.outcome, scale)
    table = pd.DataFrame(lines)
    table["p Holm"] = holm_of([table])[0]
    if not table["term"].is_unique:
        twice = ", ".join(table.loc[table["term"].duplicated(), "term"])
        raise ModelError(where, f"two effects would be called '{twice}'", "rename one of the columns")
    return table[list(COLUMNS)]


def holm_of(tables: Sequence[pd.DataFrame]) -> list[NDArray[np.float64]]:
    """Adjust the probabilities of tables of effects for all of them having been asked at once.

    Holm's adjustment over all rows says which choices did something. "With" and "per gram" ask that of one
    choice in two ways: where one of them is sure, the other is a second look at what is known by then, and
    need only be clear by itself. So the one is never called sure and the other a thing of chance.

    Parameters
    ----------
    tables : sequence of DataFrame
        With the columns ``term``, ``unit`` and ``p``, rows of a factor together.

    Returns
    -------
    list of ndarray
        One for each table. Of an amount with a single level, "with" and "per gram" are one test, counted
        once.
    """
    p = np.concatenate([table["p"].to_numpy(dtype=float) for table in tables])
    second = np.flatnonzero(np.concatenate([_second_looks(table) for table in tables]))
    same = second[np.isclose(p[second], p[second - 1], rtol=1e-6, atol=0)]
    asked = p.copy()
    asked[same] = np.nan
    adjusted = holm(asked)
    adjusted[same] = adjusted[same - 1]
    for first, again in zip(second - 1, second, strict=True):
        # No effect of the choice makes both tests' nulls true, so that the first gate holds for both.
        surest = np.fmin(adjusted[first], adjusted[again])
        adjusted[[first, again]] = np.maximum(surest, p[[first, again]])
    return np.split(adjusted, np.cumsum([len(table) for table in tables])[:-1])


def _second_looks(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which rows judge the amount of the row before as with against without."""
    terms, units = table["term"].tolist(), table["unit"].tolist()
    return np.array(
        [
            k > 0 and terms[k] == f"with {terms[k - 1]}" and units[k - 1].startswith(f"{units[k]} per ")
            for k in range(len(table))
        ],
        dtype=bool,
    )


def _known(term: Term, fitted: FittedStrata, outcome: str, scale: Scale) -> Iterator[dict[str, object]]:
    rows = term.rows()
    joint = ""
    if len(rows) > 1:
        test, _ = fitted.joint(fitted.spread(term, np.eye(len(term.columns))))
        joint = (
            f"{term.name} as a whole: F {test.f:.3g} on {test.numerator_df} and "
            f"{test.denominator_df:.3g} df, p {test.p:.3g}"
        )
    ends = _ends(term.factors[0]) if len(term.factors) == 1 else [(np.nan, np.nan)] * len(rows)
    for row, (start, span) in zip(rows, ends, strict=True):
        yield _line(row, term, fitted, outcome, scale, start, span, joint)


def _ends(factor: Factor) -> list[tuple[float, float]]:
    """Where each row of a factor begins, and how far it goes, in multiples of the row's estimate."""
    if factor.is_amount:
        low, high = factor.code(pd.Series([factor.low, factor.high]))[:, 0]
        return [(low, high - low)]
    if len(factor.levels) == 2:
        return [(-0.5, 1.0)]
    return [(0.0, 1.0)] * len(factor.levels)


def _line(
    row: Row,
    term: Term,
    fitted: FittedStrata,
    outcome: str,
    scale: Scale,
    start: float,
    span: float,
    joint: str,
) -> dict[str, object]:
    contrast, method = fitted.contrast(fitted.spread(term, row.weights))
    stratum = fitted.strata[term]
    low, high = contrast.interval()
    first = fitted.fit.coefficients[0] + contrast.estimate * start
    reached = scale.back([first, *(first + span * end for end in (contrast.estimate, low, high))])
    return {
        "term": row.name,
        "estimate": contrast.estimate,
        "unit": wording.effect_unit(outcome, row.per, scale),
        "standard error": contrast.standard_error,
        "low": low,
        "high": high,
        "df": contrast.df,
        "p": contrast.p,
        "stratum": stratum,
        "varies": fitted.varies[term],
        "method": method,
        **dict(zip(("from", "to", "to low", "to high"), reached, strict=True)),
        "note": "; ".join(filter(None, [fitted.note(stratum, method), joint])),
    }


def _unknown(name: str, unit: str, stratum: str, varies: str, method: str, note: str) -> dict[str, object]:
    blank = dict.fromkeys(COLUMNS, np.nan)
    told = {"term": name, "unit": unit, "stratum": stratum, "varies": varies, "method": method, "note": note}
    return blank | told


def _untold(factor: Factor, outcome: str, scale: Scale, method: str) -> dict[str, object]:
    unit = wording.effect_unit(outcome, factor.unit if factor.is_amount else "", scale)
    note = f"one firing cannot tell: every pot shared the same {factor.name}"
    return _unknown(factor.term_name, unit, "firing", "between firings", method, note)


def _presence(
    term: Term, terms: tuple[Term, ...], read: Rows, fitted: FittedStrata, scale: Scale, where: str
) -> dict[str, object]:
    """Judge an amount as with against without, the other terms unchanged."""
    factor = term.factors[0]
    present = Term((factor.presence(),))
    amounts = read.table[factor.heading]
    levels = amounts[amounts > 0].unique()
    if len(levels) == 1:
        # With a single amount the two models are one, scaled.
        start = -factor.centre / levels[0]
        return _line(Row(present.name, levels), term, fitted, read.outcome, scale, start, 1.0, "")
    blocks = {
        present if other == term else other: (present if other == term else other).code(read.table)
        for other in terms
    }
    try:
        refitted = fit_strata(scale.onto(read.y), blocks, fitted.groups, fitted.residual, where)
    except ModelError as error:
        unit = wording.effect_unit(read.outcome, "", scale)
        note = f"cannot be had: {error.cause}"
        return _unknown(present.name, unit, fitted.strata[term], fitted.varies[term], fitted.method, note)
    return _line(Row(present.name, np.ones(1)), present, refitted, read.outcome, scale, 0.0, 1.0, "")
