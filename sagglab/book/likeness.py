"""Words that are most likely a slip of the pen for another."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

#: Likeness from which a word is nearly another: "fornt" and "front", "suger" and "sugar" reach 0.8.
NEARLY = 0.8


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Give the word that one is most likely meant to be; None where none is near.

    Examples
    --------
    >>> nearest("bak", ["front", "back"]), nearest("Pot", ["pot"]), nearest("left", ["front", "back"])
    ('back', 'pot', None)
    """
    by_letters = {name.casefold(): name for name in known}
    found = get_close_matches(word.casefold(), by_letters, n=1, cutoff=NEARLY)
    return by_letters[found[0]] if found else None
