"""What a plan can and cannot tell, in plain words, and what would help."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.model.wording import count
from sagglab.plan.power import WANTED, hundred, power_of

#: So many firings are looked through for the number that a change between firings needs.
_MOST = 300
#: More names than this are counted, not listed.
_NAMED = 6


def plain_sentences(
    table: pd.DataFrame, at_most: pd.Series, difference: float, unit: str, firings: int
) -> tuple[str, ...]:
    """Say what each kind of term can tell: pot against pot, firing against firing, and of two together.

    Parameters
    ----------
    table : DataFrame
        As `Precision.table`.
    at_most : Series
        The power of each row with pots without end in each firing.
    difference : float
    unit : str
    firings : int
    """
    told = table[table["df"].notna()].assign(**{"at most": at_most})
    more = told["term"].str.contains(" × ") | (told["from"] == "line between the ends")
    alone, together = told[~more], told[more]
    between = alone["stratum"] == "firing"
    said = [_within(rows, difference, unit) for rows in _sure_and_not(alone[~between])]
    said += [_between(rows, difference, unit, firings) for rows in _sure_and_not(alone[between])]
    if len(together):
        said.append(_together(together, difference, unit))
    untold = table[table["df"].isna()]
    said += [
        f"{name}: {note}, so these pots do not tell it." for name, note in untold[["term", "note"]].to_numpy()
    ]
    return tuple(said)


def _sure_and_not(rows: pd.DataFrame) -> list[pd.DataFrame]:
    """Part rows into those that are told as often as is wanted, and the others."""
    enough = rows["power"] >= WANTED
    return [part for part in (rows[enough], rows[~enough]) if len(part)]


def _within(rows: pd.DataFrame, difference: float, unit: str) -> str:
    text = (
        f"A change of {difference:g} {unit} by {_names(rows['term'])}, judged pot against pot, would be told "
        f"in {_shares(rows['power'])} of 100 such batches"
    )
    if rows["power"].min() >= WANTED:
        return f"{text}."
    return (
        f"{text}. What helps: more pots, more firings, or asking only for a larger change "
        f"({_sizes(rows['smallest difference'])} {unit} for 80 of 100)."
    )


def _between(rows: pd.DataFrame, difference: float, unit: str, firings: int) -> str:
    """Say the hard truth on what varies only from firing to firing."""
    most = rows["at most"].max()
    text = (
        f"With {count(firings, 'firing')}, a change of {difference:g} {unit} between firings "
        f"({_names(rows['term'])}) would be told in {_shares(rows['power'])} of 100 such batches"
    )
    if rows["power"].min() >= WANTED:
        return f"{text}."
    if most < WANTED:
        text += f"; more pots in each firing do not help (at most {hundred(most)} of 100)"
    else:
        text += f"; more pots in each firing help (up to {hundred(most)} of 100)"
    hardest = rows.loc[rows["smallest difference"].idxmax()]
    needed = _firings_for(hardest, difference, firings)
    many = f"{needed} firings for 80 of 100" if needed else f"though {_MOST} are not enough"
    return (
        f"{text}. What helps: vary it between firings of one day and compare these, where firings of a day "
        f"are more alike; fire more often ({many}); or ask only for a larger change "
        f"({_sizes(rows['smallest difference'])} {unit} for 80 of 100)."
    )


def _firings_for(row: pd.Series, difference: float, firings: int) -> int | None:
    """How many firings, with levels and pots shared out as now, would tell the difference in 80 of 100."""
    numbers = np.arange(firings, _MOST + 1)
    errors = row["standard error"] * np.sqrt(firings / numbers)
    enough = power_of(difference, errors, row["df"] + numbers - firings) >= WANTED
    return int(numbers[enough][0]) if enough.any() else None


def _together(rows: pd.DataFrame, difference: float, unit: str) -> str:
    return (
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
