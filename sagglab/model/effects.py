"""Effects: by how much each choice changed the pots, and how sure that is.

Pots lie within firings. What differs between pots of one firing is judged against the scatter of pots, what
differs only between firings against the scatter of firings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model import wording
from sagglab.model.mixed import MixedFit
from sagglab.model.strata import FittedStrata, LeastSquares, fit_strata
from sagglab.model.terms import Factor, Term, find_column, read_factor, tidy, usable_rows
from sagglab.units import parse_heading

#: Columns of the table of effects.
COLUMNS = (
    *("term", "estimate", "unit", "standard error", "low", "high"),
    *("df", "p", "stratum", "method", "note"),
)


@dataclass(frozen=True, repr=False)
class Effects:
    """What each factor did to one outcome.

    Attributes
    ----------
    table : DataFrame
        One row for each effect: term, estimate, unit, standard error, low, high (95 % interval), df, p,
        stratum (what it is judged against, ``pot`` or ``firing``), method, note. Unrounded; NaN where the
        data cannot say. An amount has a row for its slope, and a second, ``with …``, when some pots lack
        it; a category of two levels one row, the second minus the first; a category of more a row for each
        level against the mean of the levels.
    variances : DataFrame
        component, variance, standard deviation, note.
    outcome : str
        The column explained.
    pots, firings : int
        How many were used.
    left_out : DataFrame
        row, pot, reason of each row that could not be used.
    factors : tuple of Factor
        The factors as coded.
    fit : MixedFit or LeastSquares
        The fit of the amounts and categories, its columns the constant and then the factors' in order.
    """

    table: pd.DataFrame
    variances: pd.DataFrame
    outcome: str
    pots: int
    firings: int
    left_out: pd.DataFrame
    factors: tuple[Factor, ...]
    fit: MixedFit | LeastSquares

    def sentence(self, name: str) -> str:
        """Say what one factor did, in words.

        Parameters
        ----------
        name : str
            The factor's bare name or its heading.

        Raises
        ------
        UnknownNameError
            The model has no such factor.
        """
        for factor in self.factors:
            if name in (factor.name, factor.heading):
                terms = [term.name for term in factor.terms()] + [factor.presence().name]
                rows = self.table[self.table["term"].isin(terms)].set_index("term")
                return wording.sentence(factor, rows, self.outcome, self.pots, self.firings)
        known = ", ".join(factor.name for factor in self.factors)
        raise UnknownNameError(f"effect '{name}'", "the model has no such factor", f"it has {known}")

    def sentences(self) -> tuple[str, ...]:
        """Say what every factor did, in the order asked."""
        return tuple(self.sentence(factor.heading) for factor in self.factors)

    def __repr__(self) -> str:
        return "\n".join([self._counts, *self.sentences()])

    def _repr_html_(self) -> str:
        return wording.page(self.table, self.sentences(), self._counts, self.variances)

    @property
    def _counts(self) -> str:
        counts = f"{self.outcome} of {_count(self.pots, 'pot')} in {_count(self.firings, 'firing')}"
        return counts + (f"; {_count(len(self.left_out), 'row')} left out" if len(self.left_out) else "")


def fit_effects(
    results: pd.DataFrame, outcome: str = "L*", factors: Sequence[str] = (), firing: str = "firing"
) -> Effects:
    """Estimate what each factor did to the outcome.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    outcome : str
        The column to explain, numbers.
    factors : sequence of str
        Columns, by heading (``sugar [g]``) or by bare name (``sugar``). Numbers are amounts, text is a
        category.
    firing : str
        The column that says which firing a pot went through.

    Returns
    -------
    Effects

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        The data cannot answer: no usable rows, an outcome that is not numbers, a factor that never varies,
        too few pots or firings, factors that cannot be told apart.

    References
    ----------
    Kenward and Roger, Biometrics 53 (1997), for intervals and degrees of freedom in small samples.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 4 + ["f2"] * 4 + ["f3"] * 4,
    ...     "sugar [g]": [0, 1, 2, 3] * 3,
    ...     "L*": [40, 38, 37, 33, 44, 43, 39, 38, 41, 38, 36, 35],
    ... })
    >>> effects = fit_effects(pots, outcome="L*", factors=["sugar"])
    >>> effects.table[["term", "estimate", "unit", "df"]].round(2).to_numpy().tolist()
    [['sugar', -2.13, 'L* per g', 8.0], ['with sugar', -4.22, 'L*', 8.0]]
    >>> print(effects.sentence("sugar"))  # doctest: +NORMALIZE_WHITESPACE
    Pots with sugar came out 4.2 L* darker than pots without (95 % interval 1.1 to 7.3 darker);
    reckoned by the amount, 2.13 L* darker for each gram (1.68 to 2.59), judged on 12 pots in 3 firings.
    """
    results = results.rename(columns=str)
    used, left_out, headings = _prepare(results, outcome, factors, firing)
    outcome, firing = used.columns[:2]
    names = [parse_heading(heading).name for heading in headings]
    specs = tuple(
        read_factor(heading, used[heading], _order(results[heading]), names.count(name) > 1)
        for heading, name in zip(headings, names, strict=True)
    )
    fires = used[firing].nunique()
    constant = [spec.name for spec in specs if spec.constant]
    # Within a single firing a factor that never varies may belong to the firing: that is said in its row.
    if constant and fires > 1:
        raise ModelError(
            f"factor {', '.join(constant)}",
            "it is the same on every pot, so it explains no difference",
            "leave it out, or add pots that differ in it",
        )
    y, labels = used[outcome].to_numpy(), used[firing].to_numpy()
    blocks = {spec: spec.code(used[spec.heading]) for spec in specs if not spec.constant}
    where = f"model of {outcome}"
    fitted = fit_strata(y, blocks, labels, where)
    lines = []
    for spec in specs:
        if spec.constant:
            note = f"one firing cannot tell: every pot shared the same {spec.name}"
            term = Term(spec.name, np.zeros(0), spec.unit if spec.is_amount else "")
            lines.append(_unknown(term, outcome, "firing", fitted.method, note))
            continue
        lines += [_known(term, outcome, spec, fitted) for term in spec.terms()]
        if spec.lacking:
            lines.append(_presence(spec, used, blocks, fitted, where))
    table = pd.DataFrame(lines, columns=list(COLUMNS))
    if not table["term"].is_unique:
        twice = ", ".join(table.loc[table["term"].duplicated(), "term"])
        raise ModelError(where, f"two effects would be called '{twice}'", "rename one of the columns")
    return Effects(table, fitted.variances, outcome, len(used), fires, left_out, specs, fitted.fit)


def _prepare(
    results: pd.DataFrame, outcome: str, factors: Sequence[str], firing: str
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Find the columns, leave out the rows that lack one, and check what is left."""
    if isinstance(factors, str):
        raise ModelError("factors", "a word was given where a list is wanted", f"write factors=['{factors}']")
    if not len(factors):
        raise ModelError(
            "factors", "no list of factors was given", "name at least one, as in factors=['sugar']"
        )
    outcome, firing = find_column(results, outcome, "outcome"), find_column(results, firing, "firing")
    headings = [find_column(results, factor, "factor") for factor in factors]
    roles = [outcome, firing, *headings]
    twice = sorted({heading for heading in roles if roles.count(heading) > 1})
    if twice:
        raise ModelError(
            f"column '{', '.join(twice)}'",
            "it is named twice",
            "name each column once: as outcome, firing or factor",
        )
    used, left_out = usable_rows(results, outcome, headings, firing)
    if used.empty:
        raise ModelError(
            f"model of {outcome}",
            f"no row has all of {', '.join(roles)}",
            "fill in the gaps, or leave out the factor that is blank",
        )
    for heading in headings:
        _check_amount(heading, results[heading])
    _check_pots(results, firing)
    if used[outcome].dtype != float:
        raise ModelError(f"outcome '{outcome}'", "it is not a column of numbers", "name one that is")
    if "hue angle" in outcome and np.ptp(used[outcome].to_numpy()) > 180:
        raise ModelError(
            f"outcome '{outcome}'",
            "its angles run past 360° to 0°, so they have no mean",
            "ask for a* and b*",
        )
    return used, left_out, headings


def _check_amount(heading: str, values: pd.Series) -> None:
    """Refuse words under a heading with a unit: one slip would turn all amounts into names."""
    kept_as_levels = isinstance(values.dtype, pd.CategoricalDtype)
    if not parse_heading(heading).unit or kept_as_levels or pd.api.types.is_numeric_dtype(values.dtype):
        return
    words = sorted(set(values[pd.to_numeric(values, errors="coerce").isna() & values.notna()].astype(str)))
    told = f"it holds '{words[0]}', which is no number" if words else "its numbers are kept as text"
    raise ModelError(f"factor '{heading}'", told, "make it a column of numbers")


def _check_pots(results: pd.DataFrame, firing: str) -> None:
    """Refuse a pot that counts more than once: two views of one pot are not two pots."""
    if "pot" not in results or firing == "pot":
        return
    pots = pd.DataFrame({"pot": tidy(results["pot"]), "firing": tidy(results[firing])})
    twice = pots[pots["pot"].notna() & pots.duplicated()]
    if len(twice):
        raise ModelError(
            f"pot {', '.join(sorted(set(twice['pot'].astype(str))))}",
            "it has more than one row, and a pot counts once",
            "gather its views into one row",
        )


def _order(values: pd.Series) -> list[str]:
    return (
        [str(level).strip() for level in values.cat.categories]
        if isinstance(values.dtype, pd.CategoricalDtype)
        else []
    )


def _known(term: Term, outcome: str, spec: Factor, fitted: FittedStrata) -> tuple[object, ...]:
    contrast = fitted.fit.contrast(fitted.spread(spec, term.weights))
    stratum = fitted.strata[spec]
    notes = [fitted.firing_note] if stratum == "firing" else []
    if len(spec.levels) > 2:
        joint = fitted.fit.joint(fitted.spread(spec, np.eye(len(spec.levels) - 1)))
        notes.append(
            f"{spec.name} as a whole: F {joint.f:.3g} on {joint.numerator_df} and "
            f"{joint.denominator_df:.3g} df, p {joint.p:.3g}"
        )
    low, high = contrast.interval()
    return (
        *(term.name, contrast.estimate, wording.effect_unit(outcome, term.per)),
        *(contrast.standard_error, low, high, contrast.df, contrast.p),
        *(stratum, fitted.method, "; ".join(filter(None, notes))),
    )


def _unknown(term: Term, outcome: str, stratum: str, method: str, note: str) -> tuple[object, ...]:
    unit = wording.effect_unit(outcome, term.per)
    return (term.name, np.nan, unit, *[np.nan] * 5, stratum, method, note)


def _presence(
    spec: Factor, used: pd.DataFrame, blocks: dict[Factor, NDArray], fitted: FittedStrata, where: str
) -> tuple[object, ...]:
    """Judge an amount as with against without, the other factors unchanged."""
    outcome, firing = used.columns[:2]
    amounts = used[spec.heading]
    asked = spec.presence()
    levels = amounts[amounts > 0].unique()
    if len(levels) == 1:
        # With a single amount the two models are one, scaled.
        return _known(Term(asked.name, levels), outcome, spec, fitted)
    replaced = {
        asked if other is spec else other: (amounts > 0).to_numpy(dtype=float)[:, None]
        if other is spec
        else block
        for other, block in blocks.items()
    }
    term = Term(asked.name, np.ones(1))
    try:
        refitted = fit_strata(used[outcome].to_numpy(), replaced, used[firing].to_numpy(), where)
    except ModelError as error:
        return _unknown(term, outcome, fitted.strata[spec], fitted.method, f"cannot be had: {error.cause}")
    return _known(term, outcome, asked, refitted)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
