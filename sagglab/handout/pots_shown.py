"""Pots shown: the picture row of a handout, from the least to the most of what is asked, chosen by rule."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.book import Book
from sagglab.charts.shown import amount_said
from sagglab.colour import AXES
from sagglab.columns.treated import views_after
from sagglab.handout.cut_out import cut_outs
from sagglab.handout.handout import PotShown
from sagglab.handout.ranks import even_ranks
from sagglab.model.rows import tidy
from sagglab.model.terms import SCALES, Factor, read_factor
from sagglab.model.wording import label, words_for
from sagglab.pages.headings import unit_of
from sagglab.units import parse_heading

#: The outcome that tells what became of a pot: of its question alone, pots that are not whole are shown.
_STATE, _WHOLE = "state", ("whole", "")
#: The side that is looked at first.
_FRONT = "front"


def choose_pots(
    results: pd.DataFrame, heading: str | None, outcome: str, most: int = 8
) -> tuple[list[str], str]:
    """Choose the pots of the picture row by rule, so that nobody's favourites stand for all.

    Of each level of what is asked, as many pots are taken as there is room for, at even ranks of the outcome;
    where there are more levels than room, levels at even ranks.

    Parameters
    ----------
    results : DataFrame
        From `measures.gather_results`.
    heading : str or None
        The column that is asked about; without one, pots go by the outcome alone.
    outcome : str
    most : int
        Room for so many.

    Returns
    -------
    pots : list of str
        From the least to the most of what is asked, and in each level from the least to the most of the
        outcome. Measured and whole; but where the state is asked about, whatever became of them, and where no
        colour was measured at all, those whose outcome is known.
    said : str
        How they were chosen.
    """
    seen = _seen(results, heading, outcome)
    if seen.empty:
        return [], "No pot is shown: none is whole and measured, with what it had written down."
    between = _between(outcome, seen["outcome"])
    if heading is None:
        ranks = even_ranks(len(seen), most)
        if len(seen) == 1:
            return seen["pot"].tolist(), _all_of(1)
        steps = "" if len(ranks) == len(seen) else ", at even steps"
        return seen["pot"].iloc[ranks].tolist(), f"Of {len(seen)} pots, {between}{steps}."
    groups = [pots for _, pots in seen.groupby("level", sort=True)]
    chosen = [groups[place] for place in even_ranks(len(groups), most)]
    each = most // len(chosen)
    row = pd.concat([pots.iloc[_even(len(pots), each)] for pots in chosen])
    factor = read_factor(heading, row["level"])
    said = [_reach(factor)]
    if len(row) == len(seen):
        said.append(_all_of(len(seen)))
    else:
        of = "amount" if factor.unit and factor.unit not in SCALES else "value"
        of = of if factor.is_amount else label(factor)
        if len(chosen) < len(groups):
            said.append(f"{len(chosen)} of {len(groups)} {of}s at even steps.")
        if max(map(len, chosen)) > 1:
            fewer = ", or all where there are fewer" if min(map(len, chosen)) < each else ""
            said.append(f"Of each {of}, {_of_each(each)} {between}{fewer}.")
    return row["pot"].tolist(), " ".join(said)


def pots_shown(
    book: Book,
    measures: pd.DataFrame,
    results: pd.DataFrame,
    heading: str | None,
    outcome: str,
    most: int = 8,
) -> tuple[tuple[PotShown, ...], str]:
    """Make the picture row.

    Parameters
    ----------
    book : Book
    measures : DataFrame
        From `measures.measure_photos`.
    results, heading, outcome, most
        As `choose_pots` takes them.

    Returns
    -------
    pots : tuple of PotShown
        A pot whose photograph cannot be read has no picture.
    said : str
        How they were chosen.
    """
    pots, said = choose_pots(results, heading, outcome, most)
    rows = results.drop_duplicates("pot").set_index("pot", drop=False).loc[pots]
    levels = (
        [""] * len(rows) if heading is None else [level_in_words(heading, one) for one in tidy(rows[heading])]
    )
    outcomes = [outcome_in_words(outcome, one) for one in tidy(rows[outcome])]
    photos = [_photo_of(row, measures) for _, row in rows.iterrows()]
    pictures = dict(zip(photos, cut_outs(book, photos), strict=True))
    shown = [
        PotShown(pot, level, came_out, lab_of(row), pictures[photo])
        for pot, level, came_out, photo, (_, row) in zip(
            pots, levels, outcomes, photos, rows.iterrows(), strict=True
        )
    ]
    return tuple(shown), said


def level_in_words(heading: str, value: object) -> str:
    """Say what a pot had of what is asked.

    Examples
    --------
    >>> level_in_words("sugar [g]", 4.0), level_in_words("sugar [g]", 0.0), level_in_words("peak_C", 741.2)
    ('4 g', 'no sugar', '741 °C (1366 °F)')
    >>> level_in_words("clay", "groggy buff")
    'groggy buff'
    """
    if isinstance(value, str):
        return value
    factor = Factor(heading, parse_heading(heading).name, unit_of(heading))
    if value == 0 and factor.unit and factor.unit not in SCALES:
        return f"no {label(factor)}"
    return amount_said(factor, value)


def outcome_in_words(outcome: str, value: object) -> str:
    """Say what came out.

    Examples
    --------
    >>> outcome_in_words("L*", 34.4), outcome_in_words("dark share", 0.52), outcome_in_words("state", "lost")
    ('L* 34', 'dark share 52 %', 'lost')
    """
    if isinstance(value, str):
        return value
    words = words_for(outcome)
    number = f"{value * words.scale:.0f}".replace("-", "−")
    unit = {"percentage points": " %", "degrees": "°"}.get(words.unit, "")
    return f"{parse_heading(outcome).name} {number}{unit}"


def lab_of(row: pd.Series) -> NDArray[np.float64] | None:
    """Give a row's L*, a*, b*; None where it has none."""
    lab = row.reindex(list(AXES)).to_numpy(dtype=float)
    return lab if np.isfinite(lab).all() else None


def _seen(results: pd.DataFrame, heading: str | None, outcome: str) -> pd.DataFrame:
    """List the pots that can be shown: ``pot``, ``level`` and ``outcome``, in order of the outcome."""
    columns = {"pot": results["pot"].astype(str), "outcome": tidy(results[outcome])}
    columns["level"] = "" if heading is None else tidy(results[heading])
    seen = pd.DataFrame(columns, index=results.index)
    usable = seen.notna().all(axis=1)
    if outcome != _STATE and _STATE in results:
        usable &= results[_STATE].isna() | results[_STATE].isin(_WHOLE)
    measured = usable & results.reindex(columns=list(AXES)).notna().all(axis=1)
    return seen[measured if measured.any() else usable].sort_values(["outcome", "pot"], kind="stable")


def _even(number: int, most: int) -> NDArray[np.intp]:
    """Choose at most so many of a number of ranks, in the middle of equal parts of them."""
    if number <= most:
        return np.arange(number)
    at = (np.arange(most) + 0.5) * number / most - 0.5
    # Halves towards the middle, so that both ends are treated alike.
    return np.where(at < (number - 1) / 2, np.floor(at + 0.5), np.ceil(at - 0.5)).astype(np.intp)


def _all_of(pots: int) -> str:
    return f"All {pots} pots that were measured." if pots > 1 else "The one pot that was measured."


def _of_each(each: int) -> str:
    """Say which pots of a level are shown."""
    if each == 1:
        return "the pot in the middle"
    if each == 2:
        return "the pots a quarter and three quarters of the way"
    return f"{each} pots at even steps"


def _between(outcome: str, values: pd.Series) -> str:
    """Say along what pots are ranked.

    Examples
    --------
    >>> _between("L*", pd.Series([30.0, 40.0])), _between("C*ab", pd.Series([3.0, 4.0]))
    ('from the darkest to the lightest', 'from the least colourful to the most colourful')
    """
    if not pd.api.types.is_numeric_dtype(values.dtype):
        return f"from {values.iloc[0]} to {values.iloc[-1]}"
    words = words_for(outcome)
    less, more = (
        re.sub(r"^less\b", "least", re.sub(r"^more\b", "most", re.sub(r"er$", "est", word)))
        for word in (words.less, words.more)
    )
    return f"from the {less} to the {more}{words.tail}"


def _reach(factor: Factor) -> str:
    """Say from where to where the levels go.

    Examples
    --------
    >>> _reach(Factor("sugar [g]", "sugar", "g", tried=(0.0, 2.0, 4.0)))
    'From no sugar to 4 g.'
    >>> _reach(Factor("peak_C", "peak_C", "degC", tried=(726.0, 771.0)))
    'Peak from 726 °C (1339 °F) to 771 °C (1420 °F).'
    """
    name = label(factor)
    if not factor.is_amount:
        return f"{name[:1].upper()}{name[1:]}: {', '.join(factor.levels)}."
    low, high = (level_in_words(factor.heading, level) for level in (factor.low, factor.high))
    if low.startswith("no "):
        return f"From {low} to {high}." if high != low else f"All had {low}."
    reach = f"from {low} to {high}" if high != low else low
    return f"{name[:1].upper()}{name[1:]} {reach}."


def _photo_of(row: pd.Series, measures: pd.DataFrame) -> str:
    """Choose the photograph of a pot as it came out, its front where there is one; empty without any.

    It is of the setup that the pot's colour is from.
    """
    views = views_after(measures[(measures["pot"] == row["pot"]) & measures["L*"].notna()])
    views = views[views["setup"] == row["setup"]]
    front = views["view"].astype(object).fillna("").astype(str).str.strip().str.casefold() == _FRONT
    views = views[front] if front.any() else views
    # The first day, as in the results: colours go on changing.
    views = views.assign(taken=pd.to_datetime(views["taken"], errors="coerce"))
    return "" if views.empty else str(views.sort_values("taken", kind="stable")["photo"].iloc[0])
