"""Two setups compared: all that is reckoned of the same pots and the same target in both, and the answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd

from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.model.contrasts import Contrast, holm
from sagglab.model.sentences import LIMIT
from sagglab.setups.agreement import LEAST_THINGS, Agreement, agreement
from sagglab.setups.answer import answer, sentences
from sagglab.setups.colour_space import where_they_differ
from sagglab.setups.correction import Correction, fit_correction
from sagglab.setups.deming import deming_table
from sagglab.setups.equivalence import Equivalence, equivalence, square_form
from sagglab.setups.limits import Limits
from sagglab.setups.pages import comparison_page
from sagglab.setups.pairs import Pairs, pair_patches, pair_pots
from sagglab.setups.repeatability import colour_repeatability, repeatability

Verdict = Literal["as is", "after correction", "not"]

#: Coordinates of the bias, as the table of agreement has them.
BIAS = tuple(f"Δ{axis}" for axis in AXES)


@dataclass(frozen=True)
class Compared:
    """One kind of thing compared: pots or patches, in the file or after calibration.

    Attributes
    ----------
    pairs : Pairs
    agreement : Agreement
    equivalence : Equivalence
    repeatability : DataFrame
        Of each setup, from `repeatability`, with its ``mean ΔE00`` and ``95 % ΔE00`` from
        `colour_repeatability`.
    deming : DataFrame
        From `deming_table`.
    where : DataFrame
        From `where_they_differ`.
    """

    pairs: Pairs
    agreement: Agreement
    equivalence: Equivalence
    repeatability: pd.DataFrame
    deming: pd.DataFrame
    where: pd.DataFrame

    @classmethod
    def of(cls, pairs: Pairs, limits: Limits) -> Compared:
        """Compare pairs of at least three things."""
        agreed = agreement(pairs)
        rows = agreed.table.set_index("coordinate").loc[list(BIAS)]
        # The errors are those of the table; how they go together is told by the things' own differences.
        together = pairs.table.groupby("item")[list(BIAS)].mean()
        errors = rows["standard error"].to_numpy()
        alike = np.nan_to_num(together.corr().to_numpy())
        np.fill_diagonal(alike, 1.0)
        judged = equivalence(
            rows["bias"],
            alike * np.outer(errors, errors),
            float(rows["df"].min()),
            pairs.lab("first"),
            limits.acceptable,
        )
        repeated = repeatability(pairs)
        apart = colour_repeatability(pairs).drop(columns="readings")
        repeated = repeated.merge(apart, on="setup", how="left")
        return cls(pairs, agreed, judged, repeated, deming_table(pairs, repeated), where_they_differ(pairs))

    @property
    def usual(self) -> float:
        """Median ΔE00 between the setups over the pairs."""
        return float(self.pairs.table["ΔE00"].median())

    @cached_property
    def bias(self) -> pd.DataFrame:
        """The rows ``ΔL*``, ``Δa*``, ``Δb*`` of the agreement, with ``p`` of no bias, and ``p Holm``."""
        rows = self.agreement.table.set_index("coordinate").loc[list(BIAS)]
        p = [Contrast(*row).p for row in rows[["bias", "standard error", "df"]].to_numpy()]
        return rows.assign(p=p, **{"p Holm": holm(p)})

    @cached_property
    def at_ends(self) -> float:
        """ΔE00 of the bias where sure trends with the level make it largest; without one, of the bias."""
        rows = self.agreement.table.set_index("coordinate").loc[list(BIAS)]
        sure = rows["p trend Holm"].to_numpy() <= LIMIT
        slope = np.where(sure, rows["trend"].to_numpy(), 0.0)
        levels = (self.pairs.lab("first") + self.pairs.lab("second")) / 2
        along = rows["bias"].to_numpy() + slope * (levels - levels.mean(axis=0))
        form = square_form(self.pairs.lab("first"))
        return float(np.sqrt(np.einsum("ni,ij,nj->n", along, form, along)).max())


@dataclass(frozen=True, repr=False)
class SetupsCompared:
    """Whether two setups may be compared, and what stands between them.

    Attributes
    ----------
    first, second : str
        The setups; differences are second less first.
    limits : Limits
    compared : tuple of Compared
        Pots after calibration and in the file, then patches of the target likewise, as far as both setups
        show them. The first is what is judged.
    correction : Correction or None
        Brings the second's colours to the first's; None where too few pots show both.
    few_pots : Pairs or None
        Pots that both show, too few to be judged; None where they are judged, or there are none.
    notes : tuple of str
        What was left out, and why.

    Examples
    --------
    >>> old = pd.DataFrame({"photo": "", "pot": list("abc"), "view": "front", "setup": "old", "taken": pd.NaT,
    ...                     "L*": [32.0, 41, 50], "a*": [9.0, 12, 7], "b*": [8.0, 14, 6]})  # fmt: skip
    >>> new = old.assign(setup="new", **{"L*": [32.1, 41, 49.9], "a*": [9, 12.1, 7], "b*": [8.1, 14, 6]})
    >>> compared = compare_measures(old, new)
    >>> compared.verdict, len(compared.compared)
    ('as is', 1)
    """

    first: str
    second: str
    limits: Limits
    compared: tuple[Compared, ...]
    correction: Correction | None
    few_pots: Pairs | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def judged(self) -> Compared:
        """What the answer rests on: the pots where both setups show enough of them, else the target."""
        return self.compared[0]

    @property
    def target(self) -> Compared | None:
        """The target's patches after calibration; None where both setups do not show it by itself."""
        shown = (each for each in self.compared if each.pairs.kind == "patches" and each.pairs.calibrated)
        return next(shown, None)

    @property
    def verdict(self) -> Verdict:
        """Whether the setups may be compared as they are, after correction, or not.

        As they are: the bias is shown to stay within the acceptable limit (p at most 0.05), also at the ends
        of a sure trend, and so does the usual pair; and so do pots where there are too few to judge by, since
        a target is matt, and shows nothing of what gloss does. After correction: pots that had no part in
        it come out within that limit in the mean.
        """
        judged, most = self.judged, self.limits.acceptable
        if self.few_pots is not None and self.few_pots.table["ΔE00"].mean() > most:
            return "not"
        if judged.equivalence.p <= LIMIT and judged.usual <= most and judged.at_ends <= most:
            return "as is"
        correction = self.correction
        if correction is not None and correction.kind != "none" and correction.left_out <= most:
            return "after correction"
        return "not"

    @property
    def answer(self) -> str:
        """The answer in a sentence."""
        return answer(self)

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer, then what it rests on."""
        return (self.answer, *sentences(self), *self.notes)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row for each kind of thing, colours and coordinate: agreement and equivalence."""
        return self._joined(_agreed)

    @cached_property
    def pairs(self) -> pd.DataFrame:
        """Every pair of every kind, with its differences."""
        return self._joined(lambda each: each.pairs.table)

    @cached_property
    def repeatability(self) -> pd.DataFrame:
        """How well each setup repeats itself."""
        return self._joined(lambda each: each.repeatability)

    @cached_property
    def deming(self) -> pd.DataFrame:
        """The line of each coordinate from the first setup to the second, both with errors."""
        return self._joined(lambda each: each.deming)

    @cached_property
    def where(self) -> pd.DataFrame:
        """How far apart each kind of colour is."""
        return self._joined(lambda each: each.where)

    def _joined(self, part: Callable[[Compared], pd.DataFrame]) -> pd.DataFrame:
        tables = [
            part(each).assign(things=each.pairs.kind, colours=each.pairs.colours) for each in self.compared
        ]
        table = pd.concat(tables, ignore_index=True)
        return table[["things", "colours", *(name for name in table if name not in ("things", "colours"))]]

    def __repr__(self) -> str:
        return self.answer

    def __str__(self) -> str:
        return "\n".join(self.sentences)

    def _repr_html_(self) -> str:
        return comparison_page(self)


def _agreed(each: Compared) -> pd.DataFrame:
    """Lay out agreement and equivalence of one kind of thing, by coordinate and as a whole."""
    equal = each.equivalence
    rows = equal.table.rename(columns={"p": "p equivalence"})
    rows = each.agreement.table.merge(rows, on="coordinate", how="left")
    whole = {"coordinate": "ΔE00", "bias": equal.size, "margin": equal.margin, "p equivalence": equal.p}
    return pd.concat([rows, pd.DataFrame([whole])], ignore_index=True)


def compare_measures(
    first: pd.DataFrame,
    second: pd.DataFrame,
    patches: tuple[pd.DataFrame, pd.DataFrame] | None = None,
    limits: Limits | None = None,
) -> SetupsCompared:
    """Compare two setups by their measures.

    Parameters
    ----------
    first, second : DataFrame
        Of one setup each, as `measure_photos` gives them. Rows of pots are paired by pot and view.
    patches : pair of DataFrame, optional
        Of the same setups, as `measure_targets` gives them. Photographs of the target alone are compared.
    limits : Limits, optional

    Raises
    ------
    SetupError
        A table holds several setups, or there are fewer than three pots, and no target, in both.
    """
    limits = Limits() if limits is None else limits
    names = [_setup_of(table) for table in (first, second)]
    if names[0] == names[1]:
        raise SetupError("setups", f"'{names[0]}' was to be compared with itself", "name two setups")
    notes: list[str] = []
    pots = [pair_pots(first, second, calibrated) for calibrated in _states(first, second)]
    shots = [] if patches is None else [pair_patches(*patches, calibrated) for calibrated in (True, False)]
    enough = [kind for kind in (pots, shots) if kind and len(kind[0].items) >= LEAST_THINGS]
    if not enough:
        raise _too_little(names, pots[0])
    if pots not in enough and len(pots[0].items):
        notes.append(
            f"{_few(pots[0])}, ΔE00 {pots[0].table['ΔE00'].mean():.1f} apart in the mean: too few to judge "
            "by; the target is judged instead."
        )
    correction = None
    if pots in enough:
        correction = fit_correction(pots[0], shots[0] if shots in enough else None, limits)
    compared = tuple(Compared.of(pairs, limits) for kind in enough for pairs in kind)
    few = pots[0] if pots not in enough and len(pots[0].items) else None
    return SetupsCompared(*names, limits, compared, correction, few, tuple(notes))


def _states(*measures: pd.DataFrame) -> tuple[bool, ...]:
    """Tell which colours both tables hold: calibrated, and in the file, which tables of old may lack."""
    in_file = all("L* in file" in table and table["L* in file"].notna().any() for table in measures)
    return (True, False) if in_file else (True,)


def _setup_of(measures: pd.DataFrame) -> str:
    names = list(dict.fromkeys(measures["setup"]))
    if len(names) != 1:
        told = "no photograph" if not names else f"photographs of several setups ({', '.join(names)})"
        raise SetupError("measures", f"a table holds {told}", "give the rows of one setup in each table")
    return str(names[0])


def _few(pots: Pairs) -> str:
    both = pots.items
    return f"{len(both)} pot{'s' if len(both) != 1 else ''} in both setups ({', '.join(both)})"


def _too_little(names: list[str], pots: Pairs) -> SetupError:
    shown = f"only {_few(pots)}" if pots.items else "no pot by the same view"
    return SetupError(
        f"setups '{names[0]}' and '{names[1]}'",
        f"{shown}, and the target alone is not photographed in both",
        f"photograph at least {LEAST_THINGS} pots from the same side in both setups, better six to ten that "
        "are as unlike in colour as yours get, one of them twice in each; and the target alone in both",
    )
