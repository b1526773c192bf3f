"""The answer to whether two setups may be compared, and what it rests on, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from sagglab.model.sentences import LIMIT
from sagglab.model.wording import said_p
from sagglab.pages.numbers import digits_for
from sagglab.setups.colour_space import where_sentence
from sagglab.setups.limits import Limits

if TYPE_CHECKING:
    from sagglab.setups.comparison import Compared, SetupsCompared

#: What a difference below zero, and one above, is called.
_WORDS = {
    "ΔL*": ("darker", "lighter"),
    "Δa*": ("greener", "redder"),
    "Δb*": ("bluer", "yellower"),
    "ΔC*": ("duller", "more colourful"),
}


def answer(of: SetupsCompared) -> str:
    """Say whether the setups may be compared, and how one reads against the other."""
    judged = of.judged
    how = _how(of.first, of.second, judged, of.limits)
    count = _counted(judged)
    match of.verdict:
        case "as is":
            as_far = "" if judged.pairs.kind == "pots" else "as far as a target can tell, "
            return f"{how}; {as_far}they may be compared as they are ({count})."
        case "after correction":
            left = of.correction.left_out
            return f"{how}; they may be compared after correction, which leaves ΔE00 {left:.1f} ({count})."
    return f"{how}; they may not be compared{_why_not(of)} ({count})."


def _how(first: str, second: str, judged: Compared, limits: Limits) -> str:
    rows = judged.bias
    sure = rows[rows["p Holm"] <= LIMIT]
    size = judged.equivalence.size
    if sure.empty:
        return f"{second} shows no sure difference of colour from {first} (ΔE00 {size:.1f})"
    said = [_reads(name, row) for name, row in sure.iterrows()]
    listed = " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)
    return f"{second} reads {listed} than {first}: ΔE00 {size:.1f}, {_against(size, limits)}"


def _reads(name: str, row: pd.Series) -> str:
    digits = max(0, digits_for((row["bias high"] - row["bias low"]) / 2))
    low, high = sorted((abs(row["bias low"]), abs(row["bias high"])))
    word = _WORDS[name][int(row["bias"] > 0)]
    interval = f"{low:.{digits}f} to {high:.{digits}f}"
    return f"{word} by {name[1:]} {abs(row['bias']):.{digits}f} (95 % interval {interval})"


def _against(size: float, limits: Limits) -> str:
    if size < limits.noticeable:
        return f"below what is just noticeable ({limits.noticeable:g})"
    if size <= limits.acceptable:
        return f"noticeable ({limits.noticeable:g}), and within what is acceptable ({limits.acceptable:g})"
    return f"beyond what is acceptable ({limits.acceptable:g})"


def _counted(judged: Compared) -> str:
    items, pairs = len(judged.pairs.items), len(judged.pairs.table)
    if judged.pairs.kind == "patches":
        shots = judged.pairs.table[["photographs first", "photographs second"]].max().astype(int)
        return f"by {items} patches of the target, {shots.iloc[0]} and {shots.iloc[1]} photographs of it"
    return f"by {items} pots in both" + (f", {pairs} views" if pairs > items else "")


def _why_not(of: SetupsCompared) -> str:
    judged, limits = of.judged, of.limits
    if of.few_pots is not None and of.few_pots.table["ΔE00"].mean() > limits.acceptable:
        items, apart = of.few_pots.items, of.few_pots.table["ΔE00"].mean()
        named = f"{', '.join(items)} {'comes' if len(items) == 1 else 'come'} out ΔE00 {apart:.1f} apart"
        return f" by their target alone: {named}; photograph three pots and more in both"
    if judged.equivalence.p > LIMIT and judged.equivalence.size <= limits.acceptable:
        more = "pots" if judged.pairs.kind == "pots" else "shots of the target, and pots,"
        return (
            f" yet: the difference may be as large as ΔE00 {judged.equivalence.at_most:.1f}, and more {more} "
            "photographed in both would tell"
        )
    if of.correction is None:
        return ", and no correction can be made without pots that both show"
    if of.correction.kind == "none":
        return ", and no correction that was tried brings them nearer"
    return f": after the best correction pots are still ΔE00 {of.correction.left_out:.1f} apart"


def sentences(of: SetupsCompared) -> tuple[str, ...]:
    """Say what the answer rests on."""
    judged = of.judged
    said = [_equal(judged), _chroma(of, judged), *judged.agreement.sentences, where_sentence(judged.where)]
    said += _cured(of)
    if of.target is not None and of.target is not judged:
        said.append(_target(of, of.target))
    said += _repeats(judged)
    if of.correction is not None:
        said.append(of.correction.sentence)
    return tuple(filter(None, said))


def _equal(judged: Compared) -> str:
    equal = judged.equivalence
    shown = "is shown" if equal.p <= LIMIT else "is not shown"
    return (
        f"That the difference stays within ΔE00 {equal.margin:g} {shown} (two one-sided tests, all "
        f"coordinates jointly: p {said_p(equal.p)}); it is at most {equal.at_most:.1f} (95 %)."
    )


def _chroma(of: SetupsCompared, judged: Compared) -> str:
    """Say what chroma does, apart from lightness: gloss that is taken away moves both."""
    row = judged.agreement.table.set_index("coordinate").loc["ΔC*"]
    if row["bias low"] <= 0 <= row["bias high"]:
        return ""
    return f"{of.second} reads {_reads('ΔC*', row)} than {of.first}."


def _cured(of: SetupsCompared) -> list[str]:
    said = []
    for kind, name in (("pots", "pots"), ("patches", "the target's patches")):
        parts = {each.pairs.calibrated: each for each in of.compared if each.pairs.kind == kind}
        if set(parts) == {True, False}:
            before, after = (parts[state].pairs.table["ΔE00"].mean() for state in (False, True))
            said.append(
                f"In the files as they are, {name} come out ΔE00 {before:.1f} apart in the mean; after each "
                f"setup's own calibration {after:.1f}."
            )
    return said


def _target(of: SetupsCompared, target: Compared) -> str:
    how, count = _how(of.first, of.second, target, of.limits), _counted(target)
    apart = target.pairs.table["ΔE00"].mean()
    return f"{count[0].upper()}{count[1:]}: {how} in the mean of all, and ΔE00 {apart:.1f} patch by patch."


def _repeats(judged: Compared) -> list[str]:
    said = []
    for setup, rows in judged.repeatability.groupby("setup", sort=False):
        known = rows[rows["coordinate"].isin(["L*", "a*", "b*"]) & (rows["df"] > 0)]
        if len(known):
            most = known[["coordinate", "repeatability coefficient"]].to_numpy()
            listed = ", ".join(f"{name} {apart:.1f}" for name, apart in most)
            said.append(
                f"Two photographs of one thing with {setup} differ by no more than {listed} in 95 of 100; "
                f"each lies ΔE00 {known['mean ΔE00'].iloc[0]:.1f} in the mean from the thing's own colour."
            )
        else:
            said.append(f"How well {setup} repeats itself is not known: photograph some pots twice with it.")
    return said
