"""Regular two-level fractions: a part of all combinations, chosen so that what matters can be told apart.

A fraction of N = 2^q pots has q basic columns of signs and all their products. A product is written as a
bit mask: 1, 2, 4 … are the basic columns, 3 is the product of the first two, and multiplying is xor. A
fraction gives each factor one mask; a set of factors whose masks xor to 0 is a word, and cannot be told from
the mean.

`fractions.csv` holds the fraction of least aberration for every size; `tests/benchmarks/find_fractions.py`
found them, and the column `evidence` says what shows that there is none better.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.errors import PlanError

MOST_FACTORS = 15
MOST_RUNS = 128
LETTERS = "ABCDEFGHIJKLMNO"
_GENERATOR = re.compile(r"\s*(?P<made>[A-Za-z])\s*=\s*(?P<sign>[-+−]?)\s*(?P<of>[A-Za-z]+|1)\s*")


@cache
def read_fractions() -> pd.DataFrame:
    """Read the catalogue.

    Returns
    -------
    DataFrame
        Indexed by ``runs`` and ``factors``: ``columns`` (the factors' masks), ``word lengths`` (how many
        words of 3, 4 … factors), ``resolution`` (one more than the factors where there is no word),
        ``evidence``.
    """
    text = files("sagglab.plan").joinpath("fractions.csv").read_text(encoding="utf-8")
    rows = [line.split(",") for line in text.splitlines()]
    table = pd.DataFrame(rows[1:], columns=rows[0])
    for name in ("columns", "word lengths"):
        table[name] = [tuple(int(part) for part in cell.split()) for cell in table[name]]
    return table.astype({"runs": int, "factors": int, "resolution": int}).set_index(["runs", "factors"])


def minimum_aberration(factors: int, runs: int) -> tuple[int, ...]:
    """Give each factor its column, so that short words are as few as can be.

    Parameters
    ----------
    factors : int
        3 to 15.
    runs : int
        Pots: 4, 8, 16, 32, 64 or 128.

    Returns
    -------
    tuple of int
        The mask of each factor; the first are the basic columns. `expand` makes the signs.

    Raises
    ------
    PlanError
        There is no such fraction: it says which sizes there are.

    References
    ----------
    A. Fries and W. G. Hunter, Technometrics 22 (1980): minimum aberration.

    Examples
    --------
    >>> minimum_aberration(5, 16)
    (1, 2, 4, 8, 15)
    """
    table = read_fractions()
    if (runs, factors) not in table.index:
        where = f"fraction of {runs} pots for {factors} factors"
        sizes = [size for size, count in table.index if count == factors]
        if not sizes:
            raise PlanError(where, f"{factors} factors are not listed", f"give 3 to {MOST_FACTORS} factors")
        raise PlanError(where, "there is none", f"take {_either(sizes)} pots")
    return table.loc[(runs, factors), "columns"]


def smallest_of_resolution(factors: int, resolution: int) -> int:
    """Tell how few pots keep words from being shorter than `resolution`.

    Parameters
    ----------
    factors : int
        3 to 15.
    resolution : int
        3: no factor shares with another. 4: nor with a pair. 5: nor do two pairs share.

    Returns
    -------
    int
        Number of pots.

    Raises
    ------
    PlanError
        No fraction of up to 128 pots has it: it says what can be had.

    Examples
    --------
    >>> smallest_of_resolution(8, 5)
    64
    """
    table = read_fractions()
    listed = table[table.index.get_level_values("factors") == factors]
    where = f"resolution {resolution} for {factors} factors"
    if listed.empty:
        raise PlanError(where, f"{factors} factors are not listed", f"give 3 to {MOST_FACTORS} factors")
    # Where there is no word at all, nothing is ever confused, whatever resolution is asked.
    enough = (listed["resolution"] >= resolution) | (listed["resolution"] > factors)
    if not enough.any():
        least = listed["resolution"].reset_index().groupby("resolution")["runs"].min()
        had = "; ".join(f"resolution {found} with {runs} pots" for found, runs in least.items())
        raise PlanError(where, f"it would take more than {MOST_RUNS} pots", f"take {had}, or fewer factors")
    return int(listed.index.get_level_values("runs")[enough].min())


def from_generators(factors: int, generators: Sequence[str]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Give each factor its column as generators say it.

    Parameters
    ----------
    factors : int
        Up to 15, by the letters A, B, C … O in their order, I among them.
    generators : sequence of str
        ``E=ABC``, or ``E=-ABC`` for the opposite sign: E takes the product of the others. Factors without
        one are the basic columns, in order, so there are 2 ** (factors − generators) pots.

    Returns
    -------
    columns : tuple of int
        The mask of each factor.
    signs : tuple of int
        1, or −1 for a factor that takes its column with the opposite sign.

    Raises
    ------
    PlanError
        A generator cannot be: all that are wrong are named at once.

    Examples
    --------
    >>> from_generators(4, ["D=-ABC"])
    ((1, 2, 4, 7), (1, 1, 1, -1))
    """
    if not 1 <= factors <= MOST_FACTORS:
        raise PlanError("generators", f"there are {factors} factors", f"give 1 to {MOST_FACTORS}")
    letters = LETTERS[:factors]
    faults: list[str] = []
    made: dict[str, tuple[int, str]] = {}
    for text in generators:
        fault = _read_generator(text, letters, made)
        if fault:
            faults.append(f"'{text}' {fault}")
    if faults:
        _refuse(faults, letters)
    basic = [letter for letter in letters if letter not in made]
    known = {letter: (1 << place, 1) for place, letter in enumerate(basic)}
    waiting = dict(made)
    # A generator may build on another's factor, so each waits until all that it needs is known.
    while ready := [letter for letter, (_, of) in waiting.items() if all(part in known for part in of)]:
        for letter in ready:
            sign, of = waiting.pop(letter)
            mask = 0
            for part in of:
                mask, sign = mask ^ known[part][0], sign * known[part][1]
            known[letter] = (mask, sign)
    faults += [f"'{letter}={of}' comes back to {letter} itself" for letter, (_, of) in waiting.items()]
    owners: dict[int, str] = {known[letter][0]: letter for letter in basic}
    for letter in made:
        if letter in waiting:
            continue
        mask = known[letter][0]
        if mask == 0:
            faults.append(f"'{letter}={made[letter][1]}' is the same as the mean")
        elif owners.setdefault(mask, letter) != letter:
            faults.append(f"'{letter}={made[letter][1]}' makes {letter} the same as {owners[mask]}")
    if faults:
        _refuse(faults, letters)
    return tuple(known[letter][0] for letter in letters), tuple(known[letter][1] for letter in letters)


def _read_generator(text: str, letters: str, made: dict[str, tuple[int, str]]) -> str:
    """Put one generator into `made`, or say what is wrong with it."""
    read = _GENERATOR.fullmatch(text)
    if read is None:
        return "is not written like E=ABC"
    letter, of = read["made"].upper(), read["of"].upper()
    unknown = sorted(set(letter + of) - set(letters) - {"1"})
    if unknown:
        return f"names {', '.join(unknown)}, which is no factor"
    if letter in made:
        return f"defines {letter} a second time"
    if letter in of:
        return f"defines {letter} by itself"
    if of == "1":
        return "is the same as the mean"
    made[letter] = (-1 if read["sign"] in ("-", "−") else 1, of)
    return ""


def _refuse(faults: Sequence[str], letters: str) -> None:
    raise PlanError(
        "generators",
        "; ".join(faults),
        f"write each as {letters[-1]}= and a product of other factors, out of {letters[0]} to {letters[-1]}",
    )


def _either(sizes: Sequence[int]) -> str:
    *others, last = map(str, sizes)
    return f"{', '.join(others)} or {last}" if others else last


def expand(columns: Sequence[int], runs: int, signs: Sequence[int] | None = None) -> NDArray[np.float64]:
    """Make the table of signs.

    Parameters
    ----------
    columns : sequence of int
        The mask of each factor, each below `runs`.
    runs : int
        Number of pots, a power of two.
    signs : sequence of int, optional
        1, or −1 to turn a factor's column.

    Returns
    -------
    ndarray, shape (runs, factors)
        −1 and 1 in standard order: the first basic column changes fastest.

    Raises
    ------
    PlanError
        `runs` is no power of two, or a column is none of that many pots.

    Examples
    --------
    >>> expand([1, 2, 3], 4).astype(int).tolist()
    [[-1, -1, 1], [1, -1, -1], [-1, 1, -1], [1, 1, 1]]
    """
    if runs < 2 or runs & (runs - 1):
        raise PlanError("fraction", f"{runs} pots are no power of two", "take 4, 8, 16, 32, 64 or 128")
    masks = np.asarray(columns, dtype=np.int64)
    if np.any((masks < 1) | (masks >= runs)):
        raise PlanError("fraction", f"a column is not among 1 … {runs - 1}", "give columns of that many pots")
    # A basic column is −1 where its bit of the run's number is 0: the product has one −1 for each such bit.
    zeros = np.bitwise_count(masks & ~np.arange(runs)[:, None])
    table = np.where(zeros % 2, -1.0, 1.0)
    return table if signs is None else table * np.asarray(signs, dtype=float)


def fold_over(signs: ArrayLike, on: Sequence[int] | None = None) -> NDArray[np.float64]:
    """Turn the signs of all factors, or of some: the pots to add to those of `signs`.

    Parameters
    ----------
    signs : array_like, shape (pots, factors)
    on : sequence of int, optional
        Places of the factors to turn; all when left out. All turned frees every factor from pairs; one turned
        frees that factor and all its pairs.

    Returns
    -------
    ndarray, shape (pots, factors)

    Raises
    ------
    PlanError
        A factor to be turned is not there, or none is named.

    Examples
    --------
    >>> fold_over([[-1, 1], [1, 1]], on=[1]).tolist()
    [[-1.0, -1.0], [1.0, -1.0]]
    """
    table = np.array(signs, dtype=float)
    places = list(range(table.shape[1])) if on is None else list(on)
    if not places or not set(places) <= set(range(table.shape[1])):
        raise PlanError(
            "fold-over",
            f"it is to turn {places or 'nothing'}",
            f"name places out of 0 … {table.shape[1] - 1}, or none at all to turn every factor",
        )
    table[:, places] *= -1
    return table
