"""What a setup's drift is in words: since when, how far, and what the camera said at that time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from sagglab.colour import AXES, delta_e_2000
from sagglab.model.wording import words_for
from sagglab.setups.camera_changes import says_nothing
from sagglab.setups.control import FIRST
from sagglab.setups.pairs import CALIBRATED, IN_FILE

if TYPE_CHECKING:
    from sagglab.setups.drift import Drift

_LOOK = (
    "look at the lamp, at other light in the room, at where lamp, camera and target stand, and whether the "
    "target is dirty or faded"
)


def drift_sentences(drift: Drift) -> tuple[str, ...]:
    """Say whether a setup drifted, since when, how far, and what else changed then."""
    found = drift.found
    if found.empty:
        return (_steady(drift),)
    parts = {colours: found[found["colours"] == colours] for colours in (IN_FILE, CALIBRATED)}
    said = [_sentence(drift, rows, colours) for colours, rows in parts.items() if len(rows)]
    said += [f"Nothing is out of control {colours}." for colours, rows in parts.items() if rows.empty]
    return (*said, _cause(drift))


def _steady(drift: Drift) -> str:
    days = drift.table["taken"]
    rows = (
        drift.table[(drift.table["colours"] == CALIBRATED)]
        .drop_duplicates("coordinate")
        .set_index("coordinate")
    )
    reach = (rows["upper limit"] - rows["centre"])[list(AXES)]
    within = ", ".join(f"{axis} ± {_size(value)}" for axis, value in reach.items())
    return (
        f"From {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d} {drift.setup} shows no drift, in the file "
        f"or after calibration (after calibration neutral patches stay within {within})."
    )


def _sentence(drift: Drift, found: pd.DataFrame, colours: str) -> str:
    """Say what is out of control in one kind of colours, in order of date."""
    groups = list(found.sort_values("taken", kind="stable").groupby(["taken", "lasts"], sort=False))
    clauses = []
    for place, ((taken, lasts), rows) in enumerate(groups):
        when = _when(taken, lasts, rows["chart"])
        reads = _reads(rows)
        clauses.append(
            f"{when[:1].upper()}{when[1:]}, {drift.setup} reads {reads}" if not place else f"{when} {reads}"
        )
    return f"{', and '.join(clauses)} {colours}{_by_eye(drift, found, colours)}."


def _when(taken: pd.Timestamp, lasts: str, charts: pd.Series) -> str:
    day = f"{taken:%Y-%m-%d}"
    if lasts == "no":
        return f"on {day} only"
    if lasts == "unknown":
        return f"on {day}, the last day"
    # The weighted mean is late: a small step moves it beyond its limit only after some days.
    return f"by {day} at the latest" if (charts == "weighted").all() else f"from {day} on"


def _reads(rows: pd.DataFrame) -> str:
    rows = rows.set_index("coordinate")["change"]
    neutral = [
        f"{words_for(axis).word(rows[axis])} by {axis} {_size(rows[axis])}" for axis in AXES if axis in rows
    ]
    said = [f"neutral patches {_listed(neutral)}"] if neutral else []
    if "ΔE00" in rows:
        further = "further from" if rows["ΔE00"] > 0 else "nearer to"
        said.append(f"all patches ΔE00 {_size(rows['ΔE00'])} {further} the target's table")
    return ", and ".join(said)


def _by_eye(drift: Drift, rows: pd.DataFrame, colours: str) -> str:
    """Tell whether an eye sees how far the neutral patches moved; empty when they did not."""
    rows = rows[rows["coordinate"].isin(AXES)].sort_values("taken", kind="stable")
    if rows.empty:
        return ""
    taken, lasts = rows["taken"].iloc[0], rows["lasts"].iloc[0]
    own = drift.table[drift.table["colours"] == colours]
    values = own.pivot_table(index="taken", columns="coordinate", values="value")[list(AXES)]
    day = values.index.get_loc(taken)
    if lasts == "no":
        before, after = values.drop(taken).mean(), values.loc[taken]
    else:
        before, after = values.iloc[: min(day, FIRST)].mean(), values.iloc[day:].mean()
    moved = float(delta_e_2000(before.to_numpy(), after.to_numpy()))
    seen = "noticeable" if moved >= drift.limits.noticeable else "too little to be noticed"
    return f" (ΔE00 {_size(moved)}, {seen})"


def _cause(drift: Drift) -> str:
    """Say what the camera told for the first time when something went out of control, not that it is why."""
    first = drift.found.sort_values("taken", kind="stable").iloc[0]
    day = first["taken"].normalize()
    same = drift.camera[drift.camera["day"] == day]
    if len(same):
        return f"At the same time {_listed(list(same['said']))}."
    days = drift.table["taken"].dt.normalize().drop_duplicates()
    # What the weighted mean finds may have begun at any day after the first ones, by which it is judged.
    shortly = drift.camera[(drift.camera["day"] > days.iloc[FIRST - 1]) & (drift.camera["day"] < day)]
    if first["chart"] == "weighted" and len(shortly):
        return f"Shortly before, on {shortly['day'].iloc[-1]:%Y-%m-%d}, {shortly['said'].iloc[-1]}."
    if says_nothing(drift.shots):
        return (
            f"The photographs do not say how they were exposed: compare the camera's settings, and {_LOOK}."
        )
    return f"Nothing that the camera says of its photographs changed then: {_LOOK}."


def _size(value: float) -> str:
    """Write a size without its sign: to a tenth, or to its first digit where it is smaller."""
    return f"{abs(value):.1f}" if abs(value) >= 0.095 else f"{abs(value):.1g}"


def _listed(said: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(said[:-1]), said[-1])))
