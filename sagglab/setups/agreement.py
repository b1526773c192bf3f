"""Agreement: how far apart two setups read one thing, on average and at most, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.model.contrasts import Contrast, holm
from sagglab.model.sentences import LIMIT
from sagglab.model.wording import words_for
from sagglab.pages.layout import report
from sagglab.pages.numbers import digits_for
from sagglab.setups.pairs import DIFFERENCES, Pairs
from sagglab.setups.repeatability import REACH, Scatter, setup_scatter
from sagglab.setups.variances import MeanSquare, Variance

#: Things that both setups must show; fewer leave nothing by which to tell their scatter.
LEAST_THINGS = 3

_ENDS = ("lower limit", "upper limit")


@dataclass(frozen=True, repr=False)
class Agreement:
    """Bias and limits of agreement of two setups.

    Attributes
    ----------
    pairs : Pairs
    confidence : float
        Of the intervals; the limits themselves always hold 95 of 100 differences.
    table : DataFrame
        One row per ``coordinate`` (``ΔL*``, ``Δa*``, ``Δb*``, ``ΔC*``, ``ΔH*``; second less first): ``bias``
        (mean over things), ``bias low``, ``bias high``, ``standard error``, ``df``; ``SD`` of the difference
        between single readings; ``lower limit`` and ``upper limit`` of agreement, each with ``… low`` and
        ``… high``; ``trend`` (change of the difference per unit of level; for ΔC* and ΔH* the level is
        chroma), ``trend low``, ``trend high``, ``p trend`` (NaN where the levels lie too near together);
        ``p trend Holm`` (ΔL*, Δa* and Δb* allowed for together; NaN for the others, which follow from
        them); ``n`` things and ``pairs``.
    notes : tuple of str
        What could not be told.
    """

    pairs: Pairs
    confidence: float
    table: pd.DataFrame
    notes: tuple[str, ...] = ()

    @property
    def mean_colour_difference(self) -> float:
        """Mean ΔE00 over the pairs."""
        return float(self.pairs.table["ΔE00"].mean())

    @property
    def colour_difference_95(self) -> float:
        """ΔE00 that 95 of 100 pairs stay below."""
        return float(np.percentile(self.pairs.table["ΔE00"], 95))

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """How far apart single readings lie, then each sure trend, then what could not be told."""
        rows = self.table.set_index("coordinate").loc[[f"Δ{axis}" for axis in AXES]]
        thing = "pot" if self.pairs.kind == "pots" else "patch"
        spans = ", ".join(_span(axis, rows.loc[f"Δ{axis}"]) for axis in AXES)
        said = [
            f"Of 100 readings of a {thing} with {self.pairs.second}, 95 lie, against one with "
            f"{self.pairs.first}, from {spans}."
        ]
        said += [
            _trend(axis, rows.loc[f"Δ{axis}"], thing, round(100 * self.confidence))
            for axis in AXES
            if rows.loc[f"Δ{axis}", "p trend Holm"] <= LIMIT
        ]
        return (*said, *self.notes)

    def __repr__(self) -> str:
        return "\n".join(self.sentences)

    def _repr_html_(self) -> str:
        head = f"{self.pairs.second} less {self.pairs.first}, {len(self.pairs.items)} {self.pairs.kind}"
        return report(head, self.sentences, self.table)


def agreement(pairs: Pairs, confidence: float = 0.95) -> Agreement:
    """Bias and limits of agreement of two setups, each with its interval.

    A difference of single readings varies between things, between views of one thing, and by both setups'
    own scatter. The variance of means over things and that within things join as Bland and Altman (2007) and
    Zou (2013) have it for true values that vary; where a setup repeated a view, the scatter that its mean
    took away is given back (Bland and Altman 1999). Each thing counts once, however many views it has: with
    weights by numbers of views instead, as in the paper of 2007, the 95 % interval of the bias held in
    94.9 to 99.7 % of drawn studies, and the variance came out up to a third too large; with these weights
    the interval held in 94.7 to 95.6 % (3 to 12 things, 1 to 8 views each, 20,000 draws).

    Patches of a target share each photograph's error, which their scatter does not show: the photographs'
    own is added to the standard error, and to the variance.

    Intervals of the limits are exact where each thing gives one difference of single readings (Carkeet
    2015), else joined from those of the bias and of the variance (Zou 2013). The trend is a straight line
    through the things' means, after Bland and Altman (1986). A setup that scatters more than the other tilts
    it by itself, the more so the nearer the levels lie together; where they spread no farther than the
    differences do, no trend is told.

    Parameters
    ----------
    pairs : Pairs
        At least three things.
    confidence : float
        Of all intervals, between 0 and 1.

    Raises
    ------
    SetupError
        There are fewer than three things in both setups, or the confidence is none.

    References
    ----------
    Bland and Altman, The Lancet 327 (1986), 307-310; Statistical Methods in Medical Research 8 (1999),
    135-160; Journal of Biopharmaceutical Statistics 17 (2007), 571-582. Carkeet, Optometry and Vision Science
    92 (2015), e71-e80. Zou, Statistical Methods in Medical Research 22 (2013), 630-642.
    """
    if not 0 < confidence < 1:
        raise SetupError("confidence", f"{confidence:g} is no share of cases", "give a number such as 0.95")
    if len(pairs.items) < LEAST_THINGS:
        raise _too_few(pairs)
    scatters = [setup_scatter(pairs, setup) for setup in (pairs.first, pairs.second)]
    rows = [_row(pairs, name, [each[name] for each in scatters], confidence) for name in DIFFERENCES]
    table = pd.DataFrame(rows)
    asked = table["coordinate"].isin([f"Δ{axis}" for axis in AXES])
    table.insert(table.columns.get_loc("p trend") + 1, "p trend Holm", holm(table["p trend"].where(asked)))
    return Agreement(pairs, confidence, table, _notes(pairs))


def _too_few(pairs: Pairs) -> SetupError:
    where = f"setups '{pairs.first}' and '{pairs.second}'"
    count = len(pairs.items) or "no"
    if pairs.kind == "patches":
        cause = f"{count} patches of the target are read in both, where {LEAST_THINGS} are needed"
        return SetupError(where, cause, "photograph the whole target by itself in both setups")
    cause = f"{count} pots are photographed from the same side in both, where {LEAST_THINGS} are needed"
    remedy = f"photograph at least {LEAST_THINGS} pots, of different colours, from the same side in both"
    return SetupError(where, cause, remedy)


def _notes(pairs: Pairs) -> tuple[str, ...]:
    if pairs.kind == "pots":
        return ()
    once = [
        setup
        for setup, which in ((pairs.first, "first"), (pairs.second, "second"))
        if pairs.table[f"photographs {which}"].max() < 2
    ]
    return tuple(
        f"How much photographs of the target with {setup} differ as a whole is not known from one, and not "
        "counted: the bias is less sure than its interval says; photograph the target again with it."
        for setup in once
    )


def _row(pairs: Pairs, name: str, scatters: list[Scatter], confidence: float) -> dict[str, object]:
    differences = pairs.table.groupby("item", sort=False)[name]
    means, views = differences.mean().to_numpy(), differences.size().to_numpy()
    level = _level(pairs, name).groupby(pairs.table["item"], sort=False).mean().to_numpy()
    single, error = _variances(pairs.table, name, scatters)
    bias = Contrast(float(means.mean()), math.sqrt(error.value), error.df)
    low, high = bias.interval(confidence)
    sd = math.sqrt(single.value)
    return {
        "coordinate": name,
        "bias": bias.estimate,
        "bias low": low,
        "bias high": high,
        "standard error": bias.standard_error,
        "df": bias.df,
        "SD": sd,
        **_limits(bias, single, confidence),
        **_line(level, means, confidence),
        "n": len(means),
        "pairs": int(views.sum()),
    }


def _level(pairs: Pairs, name: str) -> pd.Series:
    """Take what a trend goes along: the mean of both setups' readings of a coordinate."""
    axis = name.removeprefix("Δ")
    both = [pairs.lab("first"), pairs.lab("second")]
    if axis in AXES:
        values = [lab[:, AXES.index(axis)] for lab in both]
    else:
        values = [np.hypot(lab[:, 1], lab[:, 2]) for lab in both]
    return pd.Series((values[0] + values[1]) / 2, index=pairs.table.index)


def _variances(table: pd.DataFrame, name: str, scatters: list[Scatter]) -> tuple[Variance, Variance]:
    """Variance of a difference between single readings, and of the mean difference over things."""
    by = table.groupby("item", sort=False)[name]
    views, means = by.transform("size").to_numpy(), by.mean().to_numpy()
    n = len(means)
    between = MeanSquare(float(np.var(means, ddof=1)), n - 1)
    single, error = [between], [between.shared(1 / n)]
    if len(table) > n:
        apart = (table[name] - by.transform("mean")).to_numpy()
        within = MeanSquare(float(np.sum(apart**2)) / (len(table) - n), len(table) - n)
        # One less the mean of 1 / views: what the things' means do not show of a single view.
        single.append(within.shared(1 - float(np.mean(1 / by.size()))))
    for which, scatter in zip(("first", "second"), scatters, strict=True):
        kept = _kept(1 / table[f"photographs {which}"].to_numpy(), views, n)
        single += _given_back(scatter, kept)
        if scatter.photographs is not None:
            # It holds a little of the patches' own scatter, which the patches have counted already. With that
            # taken off, the 95 % interval held in 91.9 to 97.1 % of drawn studies (24 patches, 2 to 10
            # photographs in each setup, 100,000 draws); left on, in 93.3 to 98.9 %; by the patches' scatter
            # alone in 55 to 95 %.
            error.append(scatter.photographs.shared(kept / scatter.patches))
    return Variance(tuple(single)), Variance(tuple(error))


def _kept(share: NDArray[np.float64], views: NDArray[np.int64], n: int) -> float:
    """Share of a setup's own variance that the scatter of means shows, expected over unequal numbers.

    A view's mean keeps the `share` of it. The variance of the things' means holds it with weights
    1 / (n views²), that within things with (1 − 1 / views) over its degrees of freedom.
    """
    kept = float(np.sum(share / views**2)) / n
    df = len(views) - n
    if df:
        kept += (1 - float(np.sum(1 / views**2)) / n) * float(np.sum(share * (1 - 1 / views))) / df
    return kept


def _given_back(scatter: Scatter, kept: float) -> list[MeanSquare]:
    """Parts of a setup's own variance that means over its repeats do not show."""
    if scatter.own is None:
        return []
    if scatter.photographs is None:
        return [scatter.own.shared(1 - kept)] if kept < 1 else []
    # What photographs share does not show in the scatter of patches at all.
    shared = 1 / scatter.patches
    return [scatter.own.shared(max(1 - kept - shared, 0.0)), scatter.photographs.shared(shared)]


def _limits(bias: Contrast, single: Variance, confidence: float) -> dict[str, float]:
    """Limits of agreement with their intervals."""
    sd = math.sqrt(single.value)
    if len(single.parts) == 1:
        near, far = _exact(bias.standard_error, sd, single.df, confidence)
    else:
        low, high = (math.sqrt(end) for end in single.interval(confidence))
        reach = bias.interval(confidence)[1] - bias.estimate
        near = REACH * sd - math.hypot(reach, REACH * (sd - low))
        far = REACH * sd + math.hypot(reach, REACH * (high - sd))
    ends = (
        (-REACH * sd, -far, -near),
        (REACH * sd, near, far),
    )
    told = {}
    for name, (limit, low, high) in zip(_ENDS, ends, strict=True):
        told[name] = bias.estimate + limit
        told[f"{name} low"] = bias.estimate + low
        told[f"{name} high"] = bias.estimate + high
    return told


def _exact(error: float, sd: float, df: float, confidence: float) -> tuple[float, float]:
    """Nearest and farthest that a limit lies from the bias, by noncentral t."""
    if not sd:
        return 0.0, 0.0
    away = REACH * sd / error
    return tuple(error * special.nctdtrit(df, away, (1 + sign * confidence) / 2) for sign in (-1, 1))


def _line(level: NDArray[np.float64], difference: NDArray[np.float64], confidence: float) -> dict[str, float]:
    """Slope of the difference on the level, by t."""
    from scipy import stats

    if np.ptp(level) == 0 or np.std(level) <= np.std(difference):
        return dict.fromkeys(("trend", "trend low", "trend high", "p trend"), math.nan)
    line = stats.linregress(level, difference)
    low, high = Contrast(line.slope, line.stderr, len(level) - 2).interval(confidence)
    return {"trend": line.slope, "trend low": low, "trend high": high, "p trend": line.pvalue}


def _span(axis: str, row: pd.Series) -> str:
    """Say from where to where single differences lie."""
    words, (low, high) = words_for(axis), row[list(_ENDS)]
    digits = max(0, digits_for(REACH * row["SD"]))
    if low < 0 < high:
        return f"{axis} {words.size(low, digits)} {words.less} to {words.size(high, digits)} {words.more}"
    ends = sorted((low, high), key=abs)
    return f"{axis} {words.size(ends[0], digits)} to {words.size(ends[1], digits)} {words.word(low + high)}"


def _trend(axis: str, row: pd.Series, thing: str, percent: int) -> str:
    """Say how the difference goes along with the level."""
    low, high = row["trend low"], row["trend high"]
    digits = max(0, digits_for(5 * (high - low)))
    signed = [f"{10 * value:+.{digits}f}".replace("-", "−") for value in (row["trend"], low, high)]
    return (
        f"The difference in {axis} changes with the {thing}: by {signed[0]} for each 10 {axis} that it is "
        f"{words_for(axis).more} ({percent} % interval {signed[1]} to {signed[2]})."
    )
