"""Matched: pots with something against pots without it, in the same firing; nothing else is reckoned with."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from sagglab.colour import AXES
from sagglab.errors import ModelError
from sagglab.model.contrasts import Contrast, holm
from sagglab.model.rows import Rows, read_measures
from sagglab.model.sentences import About, Said
from sagglab.model.terms import Factor
from sagglab.model.wording import count, counted, effect_unit, label, words_for
from sagglab.pages.layout import report

#: Columns of the table of pairs, and of the table of firings.
COLUMNS = (
    *("pair", "estimate", "unit", "standard error", "low", "high", "df", "p", "p Holm", "firings"),
    *("by firing", "by firing low", "by firing high", "by firing df", "by firing p", "note"),
)
FIRING_COLUMNS = ("pair", "firing", "difference", "pots", "pots against")
#: So many different amounts are still compared one against another.
MOST_LEVELS = 6
#: What ends the sentences.
ALONE = "Other choices are not taken into account."
#: The note of a pair that cannot be compared.
UNJOINED = "no firings join them, not even by way of other kinds"


@dataclass(frozen=True, repr=False)
class Comparison:
    """Pots of one kind against pots of another, within firings.

    Attributes
    ----------
    table : DataFrame
        One row for each pair of kinds: pair, estimate (the first named minus the second), unit, standard
        error, low, high (95 % interval), df, p, p Holm (adjusted for the number of pairs), firings (how many
        hold both kinds); by firing and its low, high, df and p: the same from the differences that each
        firing shows, which holds also where the effect changes from firing to firing; note. Unrounded; NaN
        where the data cannot say.
    firings : DataFrame
        What each firing that holds both kinds of a pair shows: pair, firing, difference, pots (of the first
        named), pots against (of the second).
    outcome : str
        The column compared.
    factor : Factor
        What the pots differ in.
    kinds : tuple of pairs of str
        How the two sides of each pair are said: ``("with sugar", "without")``.
    pots, firing_count : int
        How many were used.
    left_out : DataFrame
        row, pot, reason of each row that could not be used.
    colour : tuple of float or None
        Mean L*, a*, b* of the pots, where the table has them.

    Examples
    --------
    >>> pots = {"firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2}
    >>> pots = pd.DataFrame(pots | {"L*": [44, 43, 40, 39, 46, 45, 41, 39]})
    >>> compare(pots, "sugar").firings[["firing", "difference"]].to_numpy().tolist()
    [['a', -4.0], ['b', -5.5]]
    """

    table: pd.DataFrame
    firings: pd.DataFrame
    outcome: str
    factor: Factor
    kinds: tuple[tuple[str, str], ...]
    pots: int
    firing_count: int
    left_out: pd.DataFrame
    colour: tuple[float, float, float] | None = None

    def sentences(self) -> tuple[str, ...]:
        """Say what each pair shows, and at the end what was not asked."""
        asked = int(self.table["p"].notna().sum())
        about = About(self.outcome, self.pots, self.firing_count, self.colour)
        said = [
            _sentence(row, kind, self.firings[self.firings["pair"] == row["pair"]], about, asked)
            for (_, row), kind in zip(self.table.iterrows(), self.kinds, strict=True)
        ]
        return (*said, ALONE)

    def sentence(self) -> str:
        """Say all of it."""
        return " ".join(self.sentences())

    def __repr__(self) -> str:
        return "\n".join([self._counts, *self.sentences()])

    def _repr_html_(self) -> str:
        shown = self.table.drop(columns=["standard error", "by firing df"])
        return report(self._counts, self.sentences(), shown, self.firings)

    @property
    def _counts(self) -> str:
        return counted(self.outcome, self.pots, self.firing_count, self.left_out)


def compare(results: pd.DataFrame, factor: str, outcome: str = "L*", firing: str = "firing") -> Comparison:
    """Set pots of one kind against pots of another in the same firing.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    factor : str
        What they differ in, by heading or bare name: an amount that some pots lack (with it against without),
        an amount of two to six values (each value a kind), or a category (each level a kind).
    outcome : str
        The column to compare, numbers.
    firing : str
        The column that says which firing a pot went through.

    Returns
    -------
    Comparison
        By least squares with a level of its own for each firing: t on pots − firings − (kinds − 1) degrees
        of freedom, which supposes that a kind does the same in every firing. Beside it the mean over the
        firings of what each shows, with t on their number − 1, which does not suppose so.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        No firing holds two kinds, there are too many kinds or just one, nothing is left to judge by.

    References
    ----------
    Holm, Scandinavian Journal of Statistics 6 (1979), for several pairs.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 4 + ["f2"] * 4 + ["f3"] * 4,
    ...     "sugar [g]": [0, 0, 2, 2] * 3,
    ...     "L*": [40, 38, 35, 33, 44, 43, 39, 40, 41, 38, 36, 35],
    ... })
    >>> comparison = compare(pots, "sugar")
    >>> comparison.table[["pair", "estimate", "df", "by firing df"]].round(2).to_numpy().tolist()
    [['with sugar − without', -4.33, 8.0, 2.0]]
    >>> print(comparison.sentence())  # doctest: +NORMALIZE_WHITESPACE
    Pots with sugar came out 4.3 L* darker than pots without in the same firing (95 % interval 2.8 to 5.9
    darker), judged on 12 pots in 3 firings. Other choices are not taken into account.
    """
    rows = read_measures(results, outcome, [factor], [firing])
    asked = rows.factors[0]
    kinds, levels = _levels(asked, rows)
    labels = rows.labels(rows.groups[0])
    fires, first_pots = pd.factorize(labels)[0], ~pd.Series(labels).duplicated().to_numpy()
    shape = (fires.max() + 1, len(kinds))
    counts, sums = np.zeros(shape), np.zeros(shape)
    np.add.at(counts, (fires, levels), 1)
    np.add.at(sums, (fires, levels), rows.y)
    if not (np.sum(counts > 0, axis=1) > 1).any():
        raise ModelError(
            f"factor '{asked.name}'",
            f"no firing holds both: within each firing, {asked.name} is the same on every pot",
            f"ask fit_effects(results, factors=['{asked.name}']), which sets firing against firing",
        )
    fit = _within(rows.y, fires, levels, counts, asked.name)
    means = np.divide(sums, counts, out=np.full(shape, np.nan), where=counts > 0)
    firing_names = rows.table[rows.groups[0]].to_numpy()[first_pots]
    unit = effect_unit(rows.outcome, "")
    lines, shown, said = [], [], []
    for second, first in combinations(range(len(kinds)), 2):
        name, *sides = _pair(asked, kinds[first], kinds[second])
        both = np.flatnonzero((counts[:, first] > 0) & (counts[:, second] > 0))
        differences = means[both, first] - means[both, second]
        held = counts[np.ix_(both, [first, second])].astype(int)
        shown += zip([name] * len(both), firing_names[both], differences, *held.T, strict=True)
        *checked, note = _by_firing(differences)
        contrast = fit.contrast(first, second)
        if not len(both):
            note = "no firing holds both; compared by way of other kinds" if contrast else UNJOINED
        lines.append((name, *_numbers(contrast, unit), len(both), *checked, note))
        said.append(tuple(sides))
    table = pd.DataFrame(lines, columns=[column for column in COLUMNS if column != "p Holm"])
    table.insert(COLUMNS.index("p Holm"), "p Holm", holm(table["p"].to_numpy()))
    found = pd.DataFrame(shown, columns=list(FIRING_COLUMNS))
    return Comparison(
        table, found, rows.outcome, asked, tuple(said), len(levels), shape[0], rows.left_out, rows.colour
    )


def _levels(factor: Factor, rows: Rows) -> tuple[list[str], NDArray[np.intp]]:
    """Name the kinds of pots, and say which each pot is of."""
    where = f"factor '{factor.name}'"
    values = rows.table[factor.heading].to_numpy()
    if factor.constant:
        raise ModelError(where, "it is the same on every pot", "compare something that differs between pots")
    if factor.lacking:
        return ["without", "with"], (values > 0).astype(np.intp)
    if not factor.is_amount:
        return list(factor.levels), pd.Categorical(values, factor.levels).codes.astype(np.intp)
    found, codes = np.unique(values, return_inverse=True)
    if len(found) > MOST_LEVELS:
        raise ModelError(
            where,
            f"no pot is without it and it has {len(found)} different amounts, too many to compare in pairs",
            f"ask fit_effects(results, factors=['{factor.name}']) for its effect per unit",
        )
    return [f"{amount:g}" for amount in found], codes


def _pair(factor: Factor, first: str, second: str) -> tuple[str, str, str]:
    """Name a pair as the table does, and its two sides as a sentence does."""
    name = label(factor)
    if factor.lacking:
        return f"with {factor.name} − without", f"with {name}", "without"
    pair = f"{factor.name}: {first} − {second}"
    if not factor.is_amount:
        return pair, f"with {name} {first}", f"with {name} {second}"
    # Of the units of amounts, coats alone is a plural.
    units = [factor.unit.removesuffix("s") if side == "1" else factor.unit for side in (first, second)]
    sides = zip((first, second), units, strict=True)
    said = [" ".join(filter(None, ("with", side, unit.replace("deg", "°"), name))) for side, unit in sides]
    return f"{pair} {factor.unit}".strip(), *said


@dataclass(frozen=True)
class _Within:
    """Levels fitted within firings; `part` says which levels firings join to one another."""

    effects: NDArray[np.float64]
    inverse: NDArray[np.float64]
    variance: float
    df: float
    part: NDArray[np.intp]

    def contrast(self, first: int, second: int) -> Contrast | None:
        if self.part[first] != self.part[second]:
            return None
        weights = np.zeros(len(self.effects))
        weights[[first, second]] = 1, -1
        error = math.sqrt(self.variance * (weights @ self.inverse @ weights))
        return Contrast(float(weights @ self.effects), error, self.df)


def _within(y: NDArray, fires: NDArray, levels: NDArray, counts: NDArray, name: str) -> _Within:
    """Least squares with a level of its own for each firing, which is y and levels less the firing's mean."""
    pots = counts.sum(axis=1)
    centred = y - (np.bincount(fires, weights=y) / pots)[fires]
    shares = counts / pots[:, None]
    # Normal equations of the kinds: counts less what the firings' means take; its null space is the constant
    # of each part that firings join, and drops out of every difference within a part.
    normal = np.diag(counts.sum(axis=0)) - counts.T @ shares
    inverse = np.linalg.pinv(normal, hermitian=True, rcond=1e-10)
    effects = inverse @ np.bincount(levels, weights=centred, minlength=len(normal))
    parts, part = connected_components(csr_array((counts.T @ counts) > 0), directed=False)
    df = len(y) - len(pots) - (len(normal) - parts)
    if df < 1:
        raise ModelError(
            f"comparison of {name}",
            f"{count(len(y), 'pot')} in {count(len(pots), 'firing')} leave nothing to judge it by",
            "fire more pots of each kind, or more firings that hold both",
        )
    left = centred - effects[levels] + (shares @ effects)[fires]
    squares = float(left @ left)
    if not squares > 1e-20 * len(y) * max(float(y @ y), 1e-300):
        raise ModelError(
            f"comparison of {name}",
            "pots of one kind do not differ at all, so there is no scatter to judge the difference by",
            "add pots, or an outcome measured more finely",
        )
    return _Within(effects, inverse, squares / df, float(df), part)


def _numbers(contrast: Contrast | None, unit: str) -> tuple[object, ...]:
    if contrast is None:
        return (np.nan, unit, *[np.nan] * 5)
    low, high = contrast.interval()
    return (contrast.estimate, unit, contrast.standard_error, low, high, contrast.df, contrast.p)


def _by_firing(differences: NDArray[np.float64]) -> tuple[object, ...]:
    """Judge the mean of the firings' differences by their own scatter, and note where that cannot be."""
    count = len(differences)
    if count < 2:
        estimate = float(differences[0]) if count else np.nan
        return (estimate, *[np.nan] * 4, "one firing holds both: no check firing by firing" if count else "")
    mean, error = float(differences.mean()), float(differences.std(ddof=1) / math.sqrt(count))
    if error <= 1e-12 * np.abs(differences).max():
        note = "every firing shows the same difference: no scatter to check by"
        return (mean, np.nan, np.nan, float(count - 1), np.nan, note)
    contrast = Contrast(mean, error, float(count - 1))
    return (mean, *contrast.interval(), contrast.df, contrast.p, "")


def _sentence(row: pd.Series, kinds: tuple[str, str], fired: pd.DataFrame, about: About, asked: int) -> str:
    first, second = kinds
    if math.isnan(row["estimate"]):
        return f"Pots {first} and pots {second} were never fired so that they could be compared."
    pair = _said(row, "", about)
    if pair.clear:
        told = f"Pots {first} came out {pair.full()} than pots {second} in the same firing {pair.interval()}"
        told += f"; {pair.eye}" if pair.eye else ""
        if not pair.sure:
            told += f", yet of {asked} pairs compared one may look so by chance"
    else:
        asked_of = f"Between pots {first} and pots {second} in the same firing"
        told = f"{asked_of} the data cannot tell: {pair.anywhere()}"
    pots = int(fired[["pots", "pots against"]].to_numpy().sum())
    if len(fired):
        told += f", judged on {count(pots, 'pot')} in {count(len(fired), 'firing')}"
    else:
        told += ", though no firing held both: judged by way of other kinds"
    return f"{told}{_check(row, pair, about)}."


def _said(row: pd.Series, way: str, about: About) -> Said:
    """Make a pair ready to be said, as all pots together show it or as the firings do one by one."""
    columns = (way or "estimate", f"{way} low".strip(), f"{way} high".strip(), f"{way} p".strip())
    estimate, low, high, p = (float(row[column]) for column in columns)
    # The middle of the pair at the mean of all pots: ΔE00 hangs little on where it lies.
    middle = about.colour[AXES.index(about.outcome)] if about.outcome in AXES and about.colour else 0
    start = middle - estimate / 2
    ends = (start, start + estimate, start + low, start + high)
    clear = not low <= 0 <= high
    adjusted = p if way else float(row["p Holm"])
    return Said(estimate, low, high, p, adjusted, ends, words_for(about.outcome), about.eye(ends, clear))


def _check(row: pd.Series, pair: Said, about: About) -> str:
    """Say what the firings show one by one, where that is another answer or none."""
    if math.isnan(row["by firing low"]):
        return "; it cannot be asked firing by firing" if row["firings"] else ""
    fired = _said(row, "by firing", about)
    if not fired.clear:
        return f"; asked firing by firing, the data cannot tell: {fired.anywhere()}" if pair.clear else ""
    if pair.clear and fired.estimate * pair.estimate > 0:
        return ""
    return f"; yet asked firing by firing, they came out {fired.full()} {fired.interval()}"
