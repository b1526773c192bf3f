"""What a plan can and cannot tell, in plain words, and what would help."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import special

from sagglab.model.wording import count
from sagglab.plan.power import WANTED, hundred, power_of

#: So many firings are looked through for the number that a change between firings needs.
_MOST = 300
#: More names than this are counted, not listed.
_NAMED = 6
#: Where no chance reaches this, the batch most likely tells nothing of what is asked.
_HOPE = 0.3


class Foretold(NamedTuple):
    """One thing that a plan can or cannot tell.

    Attributes
    ----------
    told : str
        A sentence.
    helps : str
        What would help, without its full stop; empty where nothing needs to.
    """

    told: str
    helps: str = ""

    def __str__(self) -> str:
        return f"{self.told} What helps: {self.helps}." if self.helps else self.told


def foretell(
    table: pd.DataFrame,
    at_most: pd.Series,
    difference: float,
    unit: str,
    firings: int,
    within_days: Collection[str] = (),
) -> tuple[Foretold, ...]:
    """Say what each kind of term can tell: pot against pot, firing against firing, and of two together.

    Where nothing has a fair chance to be told, that comes first.

    Parameters
    ----------
    table : DataFrame
        As `Precision.table`.
    at_most : Series
        The power of each row with pots without end in each firing.
    difference : float
    unit : str
    firings : int
    within_days : collection of str
        The factors that differ between the firings of one day.
    """
    told = table[table["df"].notna()].assign(**{"at most": at_most})
    more = told["term"].str.contains(" × ") | (told["from"] == "line between the ends")
    alone, together = told[~more], told[more]
    between = alone["stratum"] == "firing"
    said = [*_verdict(told, difference, unit), *_spare(told)]
    said += [_within(rows, difference, unit) for rows in _sure_and_not(alone[~between])]
    by_day = alone["term"].str.split(": ").str[0].isin(within_days)
    for compared in (False, True):
        parts = _sure_and_not(alone[between & (by_day == compared)])
        said += [_between(rows, difference, unit, firings, compared) for rows in parts]
    if len(together):
        said.append(_together(together, difference, unit))
    untold = table[table["df"].isna()]
    said += [
        Foretold(f"{name}: {note}, so these pots do not tell it.")
        for name, note in untold[["term", "note"]].to_numpy()
    ]
    return tuple(said)


def share_said(difference: float, mean: float | None) -> str:
    """Say what log odds of a share come to, in percentage points at a mean share from 0 to 1.

    Where no mean is known, at one half, where they come to most. The share is taken as the middle of the
    change: a large one is not a multiple of a small one.

    Examples
    --------
    >>> first, second = share_said(0.5, 0.2).split("; ")
    >>> first
    '1 log odds is about 16 percentage points at the mean share of the earlier result (20 %)'
    >>> second
    'a change of 0.5 log odds about it leads from 16 to 24 %'
    """
    where = "a share of one half" if mean is None else "the mean share of the earlier result"
    # None and all have no odds.
    share = 0.5 if mean is None else min(max(mean, 0.001), 0.999)
    low, high = special.expit(special.logit(share) + np.array([-0.5, 0.5]) * difference)
    points = 100 * share * (1 - share)
    return (
        f"1 log odds is about {points:.2g} percentage points at {where} ({100 * share:.2g} %); a change of "
        f"{difference:g} log odds about it leads from {100 * low:.2g} to {100 * high:.2g} %"
    )


def _verdict(told: pd.DataFrame, difference: float, unit: str) -> list[Foretold]:
    best = told["power"].max()
    if best >= _HOPE:
        return []
    more = "more firings" if (told["stratum"] == "firing").all() else "more firings or pots"
    fewer = ", fewer things asked at once" if len(told) > 1 else ""
    return [
        Foretold(
            f"Fired as planned, this batch will most likely tell nothing of what is asked: a change of "
            f"{difference:g} {unit} would be told in at most {hundred(best)} of 100 such batches.",
            f"{more}{fewer}, or a larger change (from {told['smallest difference'].min():.2g} {unit} on, the "
            f"first would be told in 80 of 100)",
        )
    ]


def _spare(told: pd.DataFrame) -> list[Foretold]:
    """Say where what is judged pot against pot has next to nothing left over to be judged by."""
    within = told.loc[told["stratum"] != "firing", "df"]
    # Not all of 1 is reached in plans of unequal firings.
    if within.empty or within.max() > 1 + 1e-6:
        return []
    return [
        Foretold(
            "What is asked takes up nearly every difference between pots of one firing: 1 is left over to "
            "judge by, so that only a huge change will show. Ask for less, or add pots."
        )
    ]


def _sure_and_not(rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Part rows into those that are told as often as is wanted, and the others."""
    enough = rows["power"] >= WANTED
    return [part for part in (rows[enough], rows[~enough]) if len(part)]


def _within(rows: pd.DataFrame, difference: float, unit: str) -> Foretold:
    text = (
        f"A change of {difference:g} {unit} by {_names(rows['term'])}, judged pot against pot, would be told "
        f"in {_shares(rows['power'])} of 100 such batches."
    )
    if rows["power"].min() >= WANTED:
        return Foretold(text)
    return Foretold(
        text,
        "more pots, more firings, or asking only for a larger change "
        f"({_sizes(rows['smallest difference'])} {unit} for 80 of 100)",
    )


def _between(
    rows: pd.DataFrame, difference: float, unit: str, firings: int, compared_by_day: bool
) -> Foretold:
    """Say the hard truth on what varies only from firing to firing."""
    most = rows["at most"].max()
    text = (
        f"With {count(firings, 'firing')}, a change of {difference:g} {unit} between firings "
        f"({_names(rows['term'])}) would be told in {_shares(rows['power'])} of 100 such batches"
    )
    if rows["power"].min() >= WANTED:
        return Foretold(f"{text}.")
    if most < WANTED:
        text += f"; more pots in each firing do not help (at most {hundred(most)} of 100)"
    else:
        text += f"; more pots in each firing help (up to {hundred(most)} of 100)"
    hardest = rows.loc[rows["smallest difference"].idxmax()]
    needed = _firings_for(hardest, difference, firings)
    many = f"{needed} firings for 80 of 100" if needed else f"though {_MOST} are not enough"
    if compared_by_day:
        day = (
            'state the day when asking (above="date" in Python, --above date in the shell), so that firings '
            "of one day are compared, which this forecast does not count"
        )
    else:
        day = "vary it between firings of one day and compare these, where firings of a day are more alike"
    return Foretold(
        f"{text}.",
        f"{day}; fire more often ({many}); or ask only for a larger change "
        f"({_sizes(rows['smallest difference'])} {unit} for 80 of 100)",
    )


def _firings_for(row: pd.Series, difference: float, firings: int) -> int | None:
    """How many firings, with levels and pots shared out as now, would tell the difference in 80 of 100."""
    numbers = np.arange(firings, _MOST + 1)
    errors = row["standard error"] * np.sqrt(firings / numbers)
    enough = power_of(difference, errors, row["df"] + numbers - firings) >= WANTED
    return int(numbers[enough][0]) if enough.any() else None


def _together(rows: pd.DataFrame, difference: float, unit: str) -> Foretold:
    return Foretold(
        f"That what one does depends on another, or bends, by {difference:g} {unit} ({_names(rows['term'])}) "
        f"would be told in {_shares(rows['power'])} of 100 such batches "
        f"(80 of 100 from {_sizes(rows['smallest difference'])} {unit} on)."
    )


def _shares(power: pd.Series) -> str:
    return _range(hundred(power.min()), hundred(power.max()))


def _sizes(sizes: pd.Series) -> str:
    return _range(f"{sizes.min():.2g}", f"{sizes.max():.2g}")


def _range(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


def _names(terms: pd.Series) -> str:
    names = list(terms)
    if len(names) > _NAMED:
        return f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
