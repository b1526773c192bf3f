"""Ratings: which choices go with pots that their maker rated higher.

Ordered logit with the firings as blocks. With few pots in a firing the likelihood ratio is larger than
chi-squared says, so it is held against the same ratings dealt anew within their firings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special

from sagglab.errors import ModelError
from sagglab.model.aliases import independent_basis
from sagglab.model.odds import Line, Odds, OddsWords
from sagglab.model.rows import read_rows
from sagglab.model.terms import Factor, Row, read_factor
from sagglab.model.wording import count

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

#: Times that the ratings are dealt anew.
DEALS = 999
_SEED = 750
METHOD = f"ordered logit, firings as blocks; likelihood ratio against {DEALS} deals within firings"
_MEAN = "the mean of the {levels} kinds of {name}"
WORDS = OddsWords("were rated higher", "were rated lower", "the odds of a higher rating", _MEAN)
#: Log odds per standard deviation: past the first there is no estimate, past the second no end.
_LARGE, _FAR = 15.0, 30.0


def fit_ratings(
    results: pd.DataFrame,
    factors: Sequence[str],
    rating: str = "rating",
    firing: str = "firing",
    forms: Mapping[str, str] | None = None,
) -> Odds:
    """Judge which factors go with pots that were rated higher, all factors together.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    factors : sequence of str
        Columns, by heading (``sugar [g]``) or by bare name (``sugar``). Numbers are amounts, text is a
        category.
    rating : str
        The column of ratings: whole numbers, more is better. A pot without one is left out.
    firing : str
        The column that says which firing a pot went through.
    forms : mapping of str to str, optional
        The form in which an amount enters, by factor, such as ``with or without``.

    Returns
    -------
    Odds
        The estimate is the log odds ratio of a higher rating per unit; of a category of two levels the
        second against the first, of more each level against their mean. The p is the share of deals whose
        likelihood ratio is as large: exact when no factor matters, near it otherwise. The interval holds
        what a likelihood ratio within 95 % of the deals allows. The estimate itself is not corrected: with
        six pots in a firing, log odds come out about 1.2 times too far from zero.

    Raises
    ------
    UnknownNameError
        A column is not in the table.
    ModelError
        Ratings that are not whole numbers, one rating only, firings all rated alike, too few pots, factors
        that cannot be told apart.

    References
    ----------
    McCullagh, J. Roy. Statist. Soc. B 42 (1980), for the model.

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 8 + ["f2"] * 8,
    ...     "sugar [g]": [0, 1, 2, 3] * 4,
    ...     "rating": [1, 2, 2, 4, 4, 3, 1, 3, 2, 5, 4, 5, 3, 4, 3, 5],
    ... })
    >>> odds = fit_ratings(pots, ["sugar"])
    >>> odds.table[["term", "estimate", "p"]].round(3).to_numpy().tolist()
    [['sugar', 0.955, 0.097]]
    >>> print(odds.sentence("sugar"))  # doctest: +NORMALIZE_WHITESPACE
    For each gram of sugar, the data cannot tell: anywhere from 0.87 to 9.3 times the odds of a higher rating
    fits, judged on 16 pots in 2 firings.
    """
    rows = read_rows(results, rating, factors, [firing], forms)
    where = f"model of {rows.outcome}"
    y = _ratings(rows.y, rows.outcome)
    codes, names = pd.factorize(rows.labels(rows.groups[-1]))
    used = _telling(y, codes)
    if not used.any():
        cause = "no firing tells anything: each has one pot, or one rating at an end of the scale"
        raise ModelError(where, cause, "add firings whose pots are rated differently")
    table, blocks = rows.table[used], codes[used]
    known = tuple(
        read_factor(f.heading, table[f.heading], f.levels, f.name == f.heading, f.form) for f in rows.factors
    )
    reasons = {f: _reason(table[f.heading], blocks, rows.table[f.heading], codes) for f in known}
    judged = [factor for factor in known if not reasons[factor]]
    coded = {factor: _within(factor.code(table[factor.heading]), blocks) for factor in judged}
    levels, y = np.unique(y[used], return_inverse=True)
    firings = len(np.unique(blocks))
    parameters = len(levels) + firings - 2 + sum(block.shape[1] for block in coded.values())
    if judged:
        columns = [name for factor in judged for name in factor.columns]
        independent_basis(np.hstack(list(coded.values())), columns, where)
    if judged and len(y) <= parameters:
        cause = f"{count(len(y), 'pot')} cannot settle {parameters} figures"
        raise ModelError(where, cause, "ask for fewer factors, or rate more pots")
    study = _Study.dealt(y, blocks, coded)
    lines = []
    for factor in known:
        stratum = "pot" if factor in coded or "firings that tell" in reasons[factor] else "firing"
        for row in factor.rows():
            told = (stratum, METHOD, reasons[factor], len(y), firings)
            line = Line(row.name, *[np.nan] * 4, row.per, *told)
            lines.append(study.judged(line, factor, row) if factor in coded else line)
    counts = len(rows.y), len(names)
    warned = _warnings(len(y), parameters, len(names) - firings)
    return Odds.from_lines(lines, rows.outcome, counts, rows.left_out, warned, known, WORDS)


def _ratings(y: Floats, heading: str) -> Floats:
    where = f"column '{heading}'"
    odd = np.unique(y[y != np.round(y)])
    if len(odd):
        held = ", ".join(f"{value:g}" for value in odd[:5])
        raise ModelError(where, f"it holds {held}, and ratings are whole numbers", "write 1 to 5")
    if (y == y[0]).all():
        raise ModelError(where, f"every pot is rated {y[0]:g}", "rate the pots against each other")
    return y


def _telling(y: Floats, codes: Whole) -> NDArray[np.bool_]:
    """Find the pots of firings that can tell something, shape (n,).

    One pot is fitted by its own block whatever the factors do; so are pots that all have the highest or all
    the lowest rating, and with them out of the way another rating may be the highest.
    """
    used = np.ones(len(y), dtype=bool)
    while used.any():
        ends = y[used].min(), y[used].max()
        inside = pd.Series(y).groupby(codes)
        least, most = inside.transform("min").to_numpy(), inside.transform("max").to_numpy()
        dull = (least == most) & np.isin(y, ends) | (inside.transform("size").to_numpy() == 1)
        if not (used & dull).any():
            break
        used &= ~dull
    return used


def _within(block: Floats, codes: Whole) -> Floats:
    """Take each firing's mean off."""
    frame = pd.DataFrame(block)
    return (frame - frame.groupby(codes).transform("mean")).to_numpy()


def _reason(values: pd.Series, blocks: Whole, every: pd.Series, codes: Whole) -> str:
    """Say why a factor cannot be judged, from its values where firings tell and everywhere; or empty."""
    if values.groupby(blocks).nunique().max() > 1:
        return ""
    if every.groupby(codes).nunique().max() > 1:
        return "it never differs within the firings that tell something about ratings"
    if (every == every.iloc[0]).all():
        return "it is the same on every pot"
    return "it never differs within a firing, so it cannot be told from the firing itself"


def _warnings(pots: int, parameters: int, dull: int) -> list[str]:
    warned = []
    if dull:
        tells = "tells" if dull == 1 else "tell"
        why = "a single pot, or all pots with the highest or all with the lowest rating"
        warned.append(f"{count(dull, 'firing')} {tells} nothing here: {why}.")
    if pots < 10 * parameters:
        warned.append(
            f"Few pots: {pots} for {parameters} figures to be settled, where ten for each are wanted; take "
            "the odds as rough, and as likely too far from 1."
        )
    return warned


@dataclass(frozen=True)
class _Study:
    """The ratings as given and as dealt anew, and the best fit of each.

    The first row of `ratings` is as given, the others dealt anew, shape (1 + DEALS, n); `firings` are the
    blocks, (n, firings − 1); `coded` are the factors within firings, each column of standard deviation 1,
    divided by its scale, with its slope in the best fit of the ratings as given.
    """

    ratings: Whole
    firings: Floats
    coded: dict[Factor, Floats]
    scales: dict[Factor, Floats]
    slopes: dict[Factor, Floats]
    best: _Logit

    @classmethod
    def dealt(cls, y: Whole, blocks: Whole, coded: Mapping[Factor, Floats]) -> _Study:
        """Deal the ratings anew within firings, and fit them all."""
        rng = np.random.default_rng(_SEED)
        names, blocks = np.unique(blocks, return_inverse=True)
        ratings = np.tile(y, (1 + DEALS, 1))
        for firing in range(len(names)):
            inside = np.flatnonzero(blocks == firing)
            ratings[1:, inside] = rng.permuted(ratings[1:, inside], axis=1)
        firings = np.eye(len(names))[blocks][:, 1:]
        scales = {factor: block.std(axis=0) for factor, block in coded.items()}
        coded = {factor: block / scales[factor] for factor, block in coded.items()}
        best = _fit(ratings, np.hstack([firings, *coded.values()]))
        places = np.cumsum([firings.shape[1], *map(len, scales.values())])[:-1]
        slopes = dict(zip(coded, np.split(best.slopes[0], places)[1:], strict=True))
        return cls(ratings, firings, coded, scales, slopes, best)

    def judged(self, line: Line, factor: Factor, row: Row) -> Line:
        """Fill in what the ratings say of one row."""
        weights = row.weights / self.scales[factor]
        length = float(np.linalg.norm(weights))
        unit = weights / length
        others = [self.firings, *(block for other, block in self.coded.items() if other != factor)]
        along = self.coded[factor] @ unit
        rest = np.hstack([*others, self.coded[factor] @ linalg.null_space(unit[None])])

        def fall(slopes: Floats) -> Floats:
            """Twice the log likelihood lost when the row's slope is held at each of these."""
            held = _fit(np.tile(self.ratings[0], (len(slopes), 1)), rest, slopes[:, None] * along)
            return 2 * (self.best.loglik[0] - held.loglik)

        if not self.best.settled[0]:
            return line._replace(note="the fit did not settle")
        estimate = float(self.slopes[factor] @ unit)
        # Well ordered ratings end the fit early where gaps are wide, and far out where they are narrow.
        if abs(estimate) > _LARGE or (fall(np.array([-_FAR, _FAR])) < 1e-5).any():
            note = "it puts the ratings within firings in order without a miss, so its odds have no end"
            return line._replace(note=note)
        ratios = self._ratios(rest)
        p = float(np.mean(ratios >= ratios[0] - 1e-7))
        # As many deals as may lie beyond while p is at most 0.05: test and interval then agree.
        reach = np.sqrt(max(np.sort(ratios[1:])[-int(0.05 * len(ratios))], 0.0))
        low, high = (_end(fall, estimate, side, reach) for side in (-1, 1))
        open_ends = [end for end, at in (("lower", low), ("upper", high)) if np.isinf(at)]
        notes = [f"no {end} end can be had: the ratings allow any" for end in open_ends]
        if len(factor.levels) > 2:
            whole = self._ratios(np.hstack(others))
            notes.append(f"{factor.name} as a whole: p {np.mean(whole >= whole[0] - 1e-7):.3g}")
        at = {"estimate": estimate * length, "low": low * length, "high": high * length}
        return line._replace(**at, p=p, note="; ".join(notes))

    def _ratios(self, without: Floats) -> Floats:
        return 2 * (self.best.loglik - _fit(self.ratings, without).loglik)


def _end(fall: Callable[[Floats], Floats], estimate: float, side: int, reach: float) -> float:
    """Find how far from the estimate the root of the fall stays within reach, on one side."""
    steps = np.concatenate([[0.0], np.geomspace(0.05, _FAR, 20)])
    inside, outside = 0.0, np.inf
    for _ in range(3):
        # Many at once cost hardly more than one, and the root of the fall is nearly straight.
        roots = np.sqrt(np.maximum(fall(estimate + side * steps), 0))
        if roots[-1] <= reach and np.isinf(outside):
            return side * np.inf
        beyond = int(np.clip(np.searchsorted(roots, reach), 1, len(steps) - 1))
        inside, outside = steps[beyond - 1], steps[beyond]
        crossing = np.interp(reach, roots[beyond - 1 : beyond + 1], (inside, outside))
        steps = np.linspace(inside, outside, 12)
    return float(estimate + side * crossing)


@dataclass(frozen=True)
class _Logit:
    """Ordered logit of many sets of ratings of the same pots: P(rating ≤ k) = logistic(cut k − x'b).

    statsmodels has the model (`OrderedModel`), at 0.4 s a fit where a thousand take 0.13 s here (36 pots).

    The greatest log likelihood (b,), slopes (b, p), and whether the fit settled (b,).
    """

    loglik: Floats
    slopes: Floats
    settled: NDArray[np.bool_]


def _fit(ratings: Whole, X: Floats, offset: Floats | float = 0.0) -> _Logit:
    """Fit by Newton's method: ratings (b, n) counted from 0, every level used; X (n, p); offset (b, n)."""
    sets, top, p = len(ratings), int(ratings.max()), X.shape[1]
    offset = np.broadcast_to(offset, ratings.shape)
    below = np.stack([np.mean(ratings <= k, axis=1) for k in range(top)], axis=1)
    theta = np.hstack([special.logit(below) + offset.mean(axis=1, keepdims=True), np.zeros((sets, p))])
    loglik, gradient, hessian = _derivatives(theta, ratings, X, offset, top)
    active, damping, settled = np.arange(sets), np.full(sets, 1e-6), np.zeros(sets, dtype=bool)
    for _ in range(200):
        # A little is added to the diagonal: along what has no finite best, the curvature runs out.
        damped = hessian + damping[active, None, None] * np.eye(top + p)
        tried = theta[active] + np.linalg.solve(damped, gradient[..., None])[..., 0]
        value, slope, curve = _derivatives(tried, ratings[active], X, offset[active], top)
        better = value >= loglik[active]
        settled[active] = better & (value - loglik[active] < 1e-9)
        theta[active[better]], loglik[active[better]] = tried[better], value[better]
        gradient[better], hessian[better] = slope[better], curve[better]
        damping[active] = np.where(better, np.maximum(damping[active] / 10, 1e-9), damping[active] * 10)
        going = ~settled[active] & (damping[active] < 1e9)
        active, gradient, hessian = active[going], gradient[going], hessian[going]
        if not len(active):
            break
    return _Logit(loglik, theta[:, top:], settled)


def _derivatives(
    theta: Floats, ratings: Whole, X: Floats, offset: Floats, top: int
) -> tuple[Floats, Floats, Floats]:
    """Log likelihood (b,), its gradient (b, m), and minus its second derivatives (b, m, m)."""
    sets, p = len(theta), X.shape[1]
    ends = np.full((sets, 1), np.inf)
    cuts = np.hstack([-ends, theta[:, :top], ends])
    centre = theta[:, top:] @ X.T + offset
    upper, lower = (np.take_along_axis(cuts, ratings + more, axis=1) for more in (1, 0))
    ordered = (np.diff(cuts, axis=1) > 0).all(axis=1)
    # Cuts out of order are refused below; until then any width will do.
    width = np.where(ordered[:, None], upper - lower, 1.0)
    a, b = upper - centre, lower - centre
    # F(a) − F(b) = F(a) F(−b) (1 − exp(b − a)) for the logistic F: no difference of near equals.
    value = np.sum(special.log_expit(a) + special.log_expit(-b) + np.log(-np.expm1(-width)), axis=1)
    shared = np.exp(-width) / -np.expm1(-width)
    across = shared * (1 + shared)
    da, db = special.expit(-a) + shared, -special.expit(b) - shared
    waa = special.expit(a) * special.expit(-a) + across
    wbb = special.expit(b) * special.expit(-b) + across
    at_upper = ratings[:, None, :] == np.arange(top)[:, None]
    at_lower = ratings[:, None, :] == np.arange(1, top + 1)[:, None]
    gradient = np.hstack([(at_upper * da[:, None] + at_lower * db[:, None]).sum(axis=2), -(da + db) @ X])
    hessian = np.zeros((sets, top + p, top + p))
    squares = (X[:, :, None] * X[:, None, :]).reshape(len(X), p * p)
    hessian[:, top:, top:] = ((waa + wbb - 2 * across) @ squares).reshape(sets, p, p)
    mixed = -(at_upper * (waa - across)[:, None] + at_lower * (wbb - across)[:, None]) @ X
    hessian[:, :top, top:], hessian[:, top:, :top] = mixed, mixed.transpose(0, 2, 1)
    k = np.arange(top)
    hessian[:, k, k] = (at_upper * waa[:, None] + at_lower * wbb[:, None]).sum(axis=2)
    between = -((at_upper[:, 1:] & at_lower[:, :-1]) * across[:, None]).sum(axis=2)
    hessian[:, k[1:], k[:-1]] = hessian[:, k[:-1], k[1:]] = between
    return np.where(ordered, value, -np.inf), gradient, hessian
