"""Dose: which shape an outcome follows as an amount grows, judged by predicting firings left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.colour import AXES
from sagglab.errors import ModelError
from sagglab.model.leaving_out import Gathered, judge
from sagglab.model.mixed import MixedFit
from sagglab.model.rows import Rows, read_measures
from sagglab.model.shapes import (
    EACH,
    K_SPAN,
    NONE,
    PRESENCE,
    SATURATING,
    SHAPES,
    STRAIGHT,
    DoseStudy,
)
from sagglab.model.terms import Factor
from sagglab.model.wording import amount_in_words, count, label, words_for
from sagglab.pages.layout import report
from sagglab.pages.numbers import digits_for

#: Columns of the tables.
COLUMNS = ("shape", "left-out error", "difference", "standard error", "coefficients", "k", "note")
CURVE_COLUMNS = ("amount", "shape", "effect", "low", "high")
_K_TRIED = 121
_FEWEST_FIRINGS = 3


@dataclass(frozen=True, repr=False)
class Doses:
    """The shapes that an outcome may follow as an amount grows.

    Attributes
    ----------
    table : DataFrame
        One row for each shape: shape; left-out error (root mean square, in the outcome's unit, of pots
        predicted from the other firings); difference from the least such error, and its standard error over
        firings; coefficients in words; k of the saturating shape; note. Unrounded; NaN where the firings
        cannot say.
    curve : DataFrame
        amount, shape, effect against the reference, low, high (95 % for each amount by itself, the
        shape and k taken as known). The shape ``each dose its own`` is given at the amounts fired only.
    points : DataFrame
        The pots used, indexed as in the results: firing, amount, and effect: the outcome less the other
        factors and the level, as `best` has them, to be set beside the curve. The level is each firing's own
        where the amount varies within firings, and else one for all. And ``L*``, ``a*``, ``b*``, where the
        results have them.
    best : str
        The simplest of the shapes whose left-out error is within one standard error of the least.
    outcome : str
        The column explained.
    amount : Factor
        The amount.
    factors : tuple of Factor
        What else was taken into account.
    reference : float
        The amount that effects are counted from: none, or the least where no pot was without.
    within : bool
        True where the amount varies within firings.
    pots, firings : int
        How many were used.
    left_out : DataFrame
        row, pot, reason of each row that could not be used.
    fits : mapping of str to MixedFit
        The fit of each shape, the columns of the amount last.

    Examples
    --------
    >>> pots = {"firing": list("aaaabbbbcccc"), "sugar [g]": [0, 1, 2, 3] * 3}
    >>> pots = pd.DataFrame(pots | {"L*": [40, 38, 37, 33, 44, 43, 39, 38, 41, 38, 36, 35]})
    >>> doses = compare_doses(pots, "sugar")
    >>> doses.best, doses.pots, doses.within
    ('per unit', 12, True)
    """

    table: pd.DataFrame
    curve: pd.DataFrame
    points: pd.DataFrame
    best: str
    outcome: str
    amount: Factor
    factors: tuple[Factor, ...]
    reference: float
    within: bool
    pots: int
    firings: int
    left_out: pd.DataFrame
    fits: Mapping[str, MixedFit]

    def sentence(self) -> str:
        """Say all of it."""
        return " ".join(self.sentences())

    def sentences(self) -> tuple[str, ...]:
        """Say which shape predicts best, which others do about as well, and what the preferred one is."""
        words = words_for(self.outcome)
        table = self.table.set_index("shape")
        near = _near(table)
        error = table.loc[near[0], "left-out error"]
        off = " ".join(filter(None, (words.size(error, digits_for(error * words.scale)), words.unit)))
        said = [
            f"Each firing in turn predicted from the others, '{near[0]}' ({SHAPES[near[0]]}) comes nearest: "
            f"pots lie {off}{words.tail} off, judged on {self.pots} pots in {self.firings} firings."
        ]
        if len(near) > 1:
            *some, last = (f"'{shape}'" for shape in near[1:])
            others = f"lie {', '.join(some)} and {last}" if some else f"lies {last}"
            said.append(
                f"Within one standard error of it {others}: these cannot be told apart, "
                f"and the simplest, '{self.best}' ({SHAPES[self.best]}), is preferred."
            )
        if NONE in near:
            said.append(f"So these pots do not show that {label(self.amount)} makes a difference.")
        else:
            said.append(f"By '{self.best}': {table.loc[self.best, 'coefficients']}.")
        return tuple(said)

    def __repr__(self) -> str:
        return "\n".join([self._counts, *self.sentences()])

    def _repr_html_(self) -> str:
        return report(self._counts, self.sentences(), self.table)

    @property
    def _counts(self) -> str:
        counts = f"{self.outcome} by {self.amount.heading}: {self.pots} pots in {self.firings} firings"
        if len(self.left_out):
            counts += f"; {len(self.left_out)} row{'s' * (len(self.left_out) > 1)} left out"
        return counts


def compare_doses(
    results: pd.DataFrame,
    amount: str,
    outcome: str = "L*",
    factors: Sequence[str] = (),
    firing: str = "firing",
) -> Doses:
    """Ask which shape the outcome follows as an amount grows.

    Each shape is fitted beside the other factors, with the scatter of firings and of pots. Then each firing
    is left out in turn and its pots predicted from the others, k chosen anew without it, at the variances of
    the richest shape. Where the amount varies within firings, the left-out firing's own mean error is taken
    out, since its level is not what is asked, and the squares are divided by the pots less the firings.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    amount : str
        The amount, by heading or bare name: at least three different values.
    outcome : str
        The column to explain, numbers.
    factors : sequence of str
        What else to take into account.
    firing : str
        The column that says which firing a pot went through; at least three firings.

    Returns
    -------
    Doses

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        Too few amounts or firings, a factor that never varies, factors that cannot be told apart, or a firing
        that the others do not predict.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 4 + ["f2"] * 4 + ["f3"] * 4,
    ...     "sugar [g]": [0, 1, 2, 3] * 3,
    ...     "L*": [40, 38, 37, 33, 44, 43, 39, 38, 41, 38, 36, 35],
    ... })
    >>> doses = compare_doses(pots, "sugar")
    >>> doses.best, doses.table.set_index("shape").loc["per unit", "coefficients"]
    ('per unit', '2.13 L* darker for each gram of sugar (95 % interval 1.68 to 2.59 darker)')
    """
    if isinstance(factors, str):
        raise ModelError("factors", "a word was given where a list is wanted", f"write factors=['{factors}']")
    rows = read_measures(results, outcome, [amount, *factors], [firing])
    _check(rows)
    study = DoseStudy.of(rows)
    asked = rows.factors[0]
    fires = pd.factorize(study.labels)[0]
    means = np.bincount(fires, weights=study.dose) / np.bincount(fires)
    within = bool((np.abs(study.dose - means[fires]) > 1e-9 * study.dose.max()).any())
    shapes = [shape for shape in SHAPES if shape != PRESENCE or asked.lacking]
    notes = dict.fromkeys(shapes, "")
    fits = {NONE: study.fit(NONE), STRAIGHT: study.fit(STRAIGHT)}
    once = pd.Series(fires).groupby(study.dose).nunique().loc[lambda held: held == 1]
    if len(once):
        said = ", ".join(amount_in_words(asked, asked.low + dose) for dose in once.index[:3])
        more = f" and {len(once) - 3} more" * (len(once) > 3)
        notes[EACH] = f"not tried: one firing alone had {said}{more}"
    for shape in shapes:
        if shape not in fits and shape != SATURATING and not notes[shape]:
            _fit(study, shape, 1.0, fits, notes)
    richest = fits.get(EACH, fits[STRAIGHT])
    ratio = float(richest.variances[0] / richest.variances[1])
    ks = study.dose.max() * np.geomspace(*K_SPAN, _K_TRIED)
    tried = {shape: study.design(shape)[None] for shape in fits}
    tried[SATURATING] = np.array([study.design(SATURATING, k) for k in ks])
    gathered = {shape: Gathered(study.y, X, fires, ratio) for shape, X in tried.items()}
    chosen = gathered[SATURATING].choose()
    k = float(ks[chosen])
    _fit(study, SATURATING, k, fits, notes)
    if SATURATING in fits:
        notes[SATURATING] = _about_k(study, k, chosen)
    errors = {shape: np.full(len(study.y), np.nan) for shape in shapes}
    for shape in fits:
        errors[shape], told = gathered[shape].errors()
        if not told.all():
            names = ", ".join(map(str, rows.table[rows.groups[0]].to_numpy()[_first_rows(fires)][~told]))
            notes[shape] = "; ".join(filter(None, [notes[shape], f"cannot be told without firing {names}"]))
    judged = judge(errors, fires, level_asked=not within)
    if judged["left-out error"].isna().all():
        raise ModelError(
            f"doses of {asked.name}", notes[NONE], "leave out the factor that only that firing tells"
        )
    words = words_for(rows.outcome)
    table = judged.rename_axis("shape").reset_index()
    table["coefficients"] = [
        study.told(shape, fits[shape], words, k) if shape in fits else "" for shape in shapes
    ]
    table["k"] = [k if shape == SATURATING and shape in fits else np.nan for shape in shapes]
    table["note"] = [notes[shape] for shape in shapes]
    near = _near(table.set_index("shape"))
    columns = {shape: study.columns(shape, k).shape[1] + (shape == SATURATING) for shape in near}
    best = min(near, key=columns.__getitem__)
    curve = pd.concat([study.curve(shape, fits[shape], k) for shape in shapes if shape in fits])
    points = _points(rows, study, best, fits[best], k, within)
    return Doses(
        table, curve.reset_index(drop=True), points, best, rows.outcome, asked, rows.factors[1:], asked.low,
        within, len(study.y), int(fires.max()) + 1, rows.left_out, fits,
    )  # fmt: skip


def _check(rows: Rows) -> None:
    asked, *others = rows.factors
    where = f"doses of {asked.name}"
    if not asked.is_amount:
        raise ModelError(where, "it is no amount: the column holds words", "name a column of numbers")
    if asked.low < 0:
        raise ModelError(where, "some amounts are below zero", "mend them, or leave those pots out")
    amounts = rows.table[asked.heading].nunique()
    if amounts < 3:
        few = "two amounts" if amounts == 2 else "one amount"
        raise ModelError(
            where,
            f"{few} cannot show a shape",
            f"fire pots with a third, or ask compare(results, '{asked.name}')",
        )
    firings = len(np.unique(rows.labels(rows.groups[0])))
    if firings < _FEWEST_FIRINGS:
        raise ModelError(
            where,
            f"{count(firings, 'firing')} cannot leave one out and predict it",
            f"fire at least {_FEWEST_FIRINGS}",
        )
    constant = [factor.name for factor in others if factor.constant]
    if constant:
        raise ModelError(
            f"factor {', '.join(constant)}",
            "it is the same on every pot, so it explains no difference",
            "leave it out, or add pots that differ in it",
        )


def _fit(study: DoseStudy, shape: str, k: float, fits: dict[str, MixedFit], notes: dict[str, str]) -> None:
    """Fit a shape, or note why it cannot be."""
    try:
        fits[shape] = study.fit(shape, k)
    except ModelError as error:
        notes[shape] = f"cannot be fitted: {error.cause}"


def _about_k(study: DoseStudy, k: float, chosen: int) -> str:
    said = f"its interval takes k as known: {study.beyond(k)}"
    if chosen == 0:
        return f"{said}, the least tried: the first amount already does all"
    return f"{said}, the greatest tried: as good as a straight line" if chosen == _K_TRIED - 1 else said


def _near(table: pd.DataFrame) -> list[str]:
    """List the shapes within one standard error of the least left-out error, from the least on."""
    close = table[table["difference"] <= table["standard error"]]
    return list(close.sort_values("left-out error", kind="stable").index)


def _first_rows(fires: NDArray[np.intp]) -> NDArray[np.intp]:
    return np.unique(fires, return_index=True)[1]


def _points(rows: Rows, study: DoseStudy, shape: str, fit: MixedFit, k: float, within: bool) -> pd.DataFrame:
    """Set each pot beside the curve: its outcome less the other factors and the level of firing or all."""
    others = len(study.names)
    curve = study.columns(shape, k) @ fit.coefficients[others:]
    cleared = pd.Series(study.y - study.others[:, 1:] @ fit.coefficients[1:others])
    levels = (cleared - curve).groupby(study.labels).transform("mean") if within else fit.coefficients[0]
    return pd.DataFrame(
        {
            "firing": rows.table[rows.groups[0]].to_numpy(),
            "amount": rows.table[study.amount.heading].to_numpy(),
            "effect": np.asarray(cleared - levels),
            **{name: rows.table[name].to_numpy() for name in AXES if rows.colour is not None},
        },
        index=rows.table.index,
    )
