"""States: which words of a column mean that a pot was lost, and which that it was not."""

from __future__ import annotations

import numbers
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.errors import ModelError

#: The states that a batch book knows: those that count as lost, and as not.
LOST, WHOLE = ("cracked", "lost"), ("whole",)


@dataclass(frozen=True)
class States:
    """The states that count as lost and as not lost, as `word` writes them.

    Attributes
    ----------
    lost, whole : tuple of str
    named_lost, named_whole : bool
        True where they are not a batch book's.
    """

    lost: tuple[str, ...]
    whole: tuple[str, ...]
    named_lost: bool = False
    named_whole: bool = False

    @classmethod
    def named(cls, lost: Sequence[object] = LOST, whole: Sequence[object] = WHOLE) -> States:
        """Read what the caller names.

        Raises
        ------
        ModelError
            A word for a list, an empty list, a state that is both.
        """
        read = {}
        for name, given in (("lost", lost), ("whole", whole)):
            if isinstance(given, str):
                cause = "a word was given where a list is wanted"
                raise ModelError(name, cause, f"write {name}=['{given}']")
            if pd.api.types.is_scalar(given):
                raise ModelError(name, "a list is wanted", f"write {name}=[{given}]")
            read[name] = tuple(dict.fromkeys(found for found in map(word, given) if found))
        if not read["lost"] or (read["lost"] == WHOLE == read["whole"]):
            raise ModelError("lost", "it must name states of pots that were lost", "write lost=['lost']")
        if not read["whole"]:
            cause = "it must name states of pots that were not lost"
            raise ModelError("whole", cause, "write whole=['whole']")
        both = [f"'{state}'" for state in read["lost"] if state in read["whole"]]
        if both:
            cause = f"{', '.join(both)} cannot be lost and whole at once"
            raise ModelError("lost", cause, "name each state in `lost` or in `whole`")
        return cls(**read, named_lost=read["lost"] != LOST, named_whole=read["whole"] != WHOLE)

    @property
    def said(self) -> str:
        """What became of a lost pot: ``cracked or lost``; ``lost`` for what is no word."""
        is_word = all(
            state not in ("true", "false", "yes", "no") and state[0].isalpha() for state in self.lost
        )
        return " or ".join(self.lost) if is_word else "lost"

    def was_lost(self, values: pd.Series, heading: str) -> NDArray[np.float64]:
        """1 for lost, 0 for not, missing where no state is given, shape (n,).

        Parameters
        ----------
        values : Series, shape (n,)
        heading : str
            Of the column, for the error.

        Raises
        ------
        ModelError
            The column holds states that are neither, or none of those that were named as lost.

        Examples
        --------
        >>> States.named(["split"], ["fine"]).was_lost(pd.Series(["Fine", "split ", ""]), "state")
        array([ 0.,  1., nan])
        """
        found = [word(value) for value in values]
        others = () if self.named_whole else tuple(s for s in (*LOST, *WHOLE) if s not in self.lost)
        kept = (*self.whole, *others)
        held = pd.Series([state for state in found if state], dtype=object).value_counts().sort_values()
        unknown = [state for state in held.index if state not in (*self.lost, *kept)]
        if unknown:
            doubt = f"{_listed(sorted(unknown))} {'means' if len(unknown) == 1 else 'mean'} lost or whole"
            cause = f"it holds {_listed(sorted(held.index))}, and nothing says whether {doubt}"
            raise ModelError(f"column '{heading}'", cause, self._remedy(list(held.index), unknown, kept))
        if len(held) and self.named_lost and not set(self.lost) & set(held.index):
            cause = f"no pot is {_listed(self.lost, 'or')}, and column '{heading}' holds "
            cause += _listed(sorted(held.index))
            raise ModelError("lost", cause, "name those of them that count as lost")
        return np.array([np.nan if state is None else float(state in self.lost) for state in found])

    def _remedy(self, held: list[str], unknown: list[str], kept: Sequence[str]) -> str:
        """Show how to name the states, of which the commonest come last."""
        whole = [state for state in held if state in kept]
        if len(unknown) == len(held) > 1:
            # Most pots come out whole; the condition is said, since that is a guess.
            *first, last = unknown
            given = f"lost={_as_given(first)}, whole={_as_given([last])}"
            return f"say so, as with {given} if {_listed([last])} is what whole pots are"
        ends = f"lost={_as_given([*self.lost, *unknown])} or whole={_as_given([*whole, *unknown])}"
        if len(unknown) == 1:
            return f"mend the spelling, or write {ends}"
        return f"mend the spelling, or put each into one of two lists, as in {ends}"


def word(value: object) -> str | None:
    """Write a state in one way, whatever the column holds; nothing for a blank.

    Examples
    --------
    >>> [word(value) for value in (" Lost", True, 1, 1.0, "0", None, " ")]
    ['lost', 'true', '1', '1', '0', None, None]
    """
    if pd.isna(value):
        return None
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).casefold()
    if isinstance(value, numbers.Real):
        return f"{float(value):g}"
    return str(value).strip().casefold() or None


def _listed(states: Sequence[str], last: str = "and") -> str:
    """List states for a sentence."""
    quoted = [f"'{state}'" for state in states]
    return f" {last} ".join(filter(None, [", ".join(quoted[:-1]), quoted[-1]]))


def _as_given(states: Sequence[str]) -> str:
    """Write states as the caller has to give them."""
    spelt = {"true": "True", "false": "False"}
    return f"[{', '.join(spelt.get(state, repr(state)) for state in states)}]"
