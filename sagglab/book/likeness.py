"""Words that are most likely a slip of the pen for another, and names in two spellings."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import SequenceMatcher, get_close_matches

#: Likeness from which a word is nearly another: "fornt" and "front", "suger" and "sugar" reach 0.8.
NEARLY = 0.8

#: Words of fewer letters are often another in another order; "seewead" and "seaweed" are alike to 0.71 alone.
_REORDERED = 5

_BETWEEN = r"[\s_#‐-—-]+"


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


def nearest_name(name: str, known: Iterable[str]) -> str | None:
    """Give the name of one or several words that one is most likely meant to be; None where none is near.

    Each word must be near by itself, for as a whole "zinc sulphate" is to 0.85 like "iron sulphate".
    Its first letter, which is rarely wrong, tells "grass" from "brass".

    Examples
    --------
    >>> known = ["iron sulphate", "brass", "seaweed", "copper wire"]
    >>> nearest_name("Coper wire", known), nearest_name("seewead", known), nearest_name("sea weed", known)
    ('copper wire', 'seaweed', 'seaweed')
    >>> nearest_name("zinc sulphate", known), nearest_name("grass", known)
    (None, None)
    """
    words = _words(name)
    near: dict[str, float] = {}
    for other in known:
        others = _words(other)
        if "".join(words) == "".join(others):
            return other
        if len(words) == len(others) and all(map(_slipped, words, others)):
            near[other] = _likeness(" ".join(words), " ".join(others))
    return max(near, key=near.__getitem__, default=None)


def _words(name: str) -> list[str]:
    return [word for word in re.split(_BETWEEN, name.casefold()) if word]


def _slipped(word: str, meant: str) -> bool:
    reordered = len(word) >= _REORDERED and sorted(word) == sorted(meant)
    return word[0] == meant[0] and (reordered or _likeness(word, meant) >= NEARLY)


def _likeness(word: str, other: str) -> float:
    # Not the same either way round: the longest common run is sought from the left.
    return SequenceMatcher(None, other, word).ratio()


def one_spelling(name: str) -> str:
    """Write a name without what two spellings of it differ in: case, blanks, hyphens and leading zeros.

    Between two figures a blank or hyphen is kept, as in "1-2", the second of a day, which is not "12".

    Examples
    --------
    >>> one_spelling("Load 02"), one_spelling("load-2"), one_spelling("F01"), one_spelling("1-2")
    ('load2', 'load2', 'f1', '1-2')
    """
    joined = re.sub(_BETWEEN, "-", name.casefold())
    return re.sub(r"(?<![\d.,])0+(?=\d)", "", re.sub(r"(?<!\d)-|-(?!\d)", "", joined))
