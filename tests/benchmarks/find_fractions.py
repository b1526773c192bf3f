"""Find the regular two-level fractions of least aberration, and say what shows that there are none better.

    python tests/benchmarks/find_fractions.py sagglab/plan/fractions.csv

Writes the catalogue that `sagglab.plan.fractions` reads. It takes half a minute on one core and always gives
the same answer; it prints, for each size, the classes found, the best pattern and the bound.

A fraction of N = 2^q runs gives each factor a column, a bit mask of q basic columns; a set of columns whose
masks xor to nothing is a word. Any fraction that uses all its runs holds a basis, so the first q factors can
take the basic columns, and every fraction of k factors comes from one of k − 1 by one more column. So the
classes of fractions are kept from step to step, one member each, told apart by an invariant of their words
(it is not proved that no two classes share one). Fractions with words of three are kept only up to 16 runs:
above, up to 15 factors never need them.

The bound: with A the counts of words by length and B the counts of runs by number of minus signs, both are
whole numbers and each is the transform of the other (MacWilliams). The least A_3, then A_4 … that these
equations allow is found by integer programming. Where a fraction meets it, no fraction can be better,
whatever the search did.
"""

from __future__ import annotations

import csv
import sys
from itertools import combinations
from math import comb
from pathlib import Path

import numpy as np
from scipy.optimize import LinearConstraint, milp

MOST_FACTORS = 15
MOST_BASIC = 7
PROVED = "meets the integer programming bound"
ENUMERATED = "least of all classes told apart by their words"

_MIX = np.uint64(0x9E3779B97F4A7C15)
_KEYS = np.random.default_rng(20).integers(1, 2**63, size=64, dtype=np.uint64)


def _mixed(values):
    """Scatter 64-bit whole numbers, so that sums of them tell multisets apart."""
    values = (values ^ (values >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    values = (values ^ (values >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return values ^ (values >> np.uint64(31))


def invariants(words, factors):
    """Number each set of words so that relabelled sets get one number; words has shape (sets, words)."""
    bits = ((words[..., None] >> np.arange(factors)) & 1).astype(np.uint64)
    lengths = bits.sum(axis=-1)
    keyed = bits * _KEYS[lengths][..., None]
    together = np.matmul(keyed.transpose(0, 2, 1), bits)
    own = _mixed(np.einsum("cii->ci", together))
    for _ in range(3):
        pairs = _mixed(together * _MIX + own[:, None, :])
        own = _mixed(own * _MIX + pairs.sum(axis=-1))
    of_words = _mixed(np.matmul(bits, own[..., None])[..., 0])
    return _mixed(own).sum(axis=-1) + _mixed(of_words).sum(axis=-1)


def patterns(words, factors):
    """Count the words by length, shape (sets, factors + 1)."""
    lengths = np.bitwise_count(words)
    return np.stack([(lengths == length).sum(axis=-1) for length in range(factors + 1)], axis=-1)


def grow(members, basic, factors, three):
    """Go from the classes of `factors` − 1 to those of `factors`; `three` allows words of three."""
    seen = {}
    for columns, words in members:
        barred = set(columns)
        if not three:
            barred |= {a ^ b for a, b in combinations(columns, 2)}
        fresh = np.array([c for c in range(1, 2**basic) if c not in barred], dtype=np.int64)
        if not len(fresh):
            continue
        # The mask of a column is also the word's part among the first factors, which hold the basic columns.
        made = words[None, :] ^ (fresh | 1 << (factors - 1))[:, None]
        both = np.concatenate([np.broadcast_to(words, made.shape), made], axis=1)
        for number, column, grown in zip(
            invariants(both, factors).tolist(), fresh.tolist(), both, strict=True
        ):
            if number not in seen:
                seen[number] = ((*columns, column), grown.copy())
    return list(seen.values())


def krawtchouk(factors, length, minus):
    return sum((-1) ** s * comb(minus, s) * comb(factors - minus, length - s) for s in range(length + 1))


def least_pattern(factors, basic):
    """Give the least pattern, shorter words first, that the counts of words and of runs allow."""
    size = factors + 1
    transform = np.array([[krawtchouk(factors, i, j) for j in range(size)] for i in range(size)], dtype=float)
    words = 2.0 ** (factors - basic)
    # Unknowns: A_0…A_k, B_0…B_k, whether odd words exist, whether runs with oddly many minus signs exist.
    total = 2 * size + 2
    rows, low, high = [], [], []

    def hold(row, least, most):
        rows.append(row)
        low.append(least)
        high.append(most)

    for i in range(size):
        row = np.zeros(total)
        row[:size] = transform[i]  # number of runs with i minus signs, times the number of words
        row[size + i] = -words
        hold(row, 0, 0)
    odd = np.arange(size) % 2
    for start, flag in ((0, total - 2), (size, total - 1)):
        row = np.zeros(total)
        row[start : start + size] = odd  # in a group either none or just half of the members are odd
        row[flag] = -(words if start == 0 else 2.0**basic) / 2
        hold(row, 0, 0)
    lower, upper = np.zeros(total), np.full(total, max(words, 2.0**basic))
    upper[-2:] = 1
    for place, value in ((0, 1), (1, 0), (2, 0), (size, 1)):
        lower[place] = upper[place] = value
    if words == 1:
        upper[-2] = 0
    found = []
    for length in range(3, size):
        aim = np.zeros(total)
        aim[length] = 1
        answer = milp(
            aim,
            constraints=LinearConstraint(np.array(rows), low, high),
            integrality=np.ones(total),
            bounds=(lower, upper),
            options={"mip_rel_gap": 0, "time_limit": 60},
        )
        if answer.status != 0:
            return None
        least = round(answer.fun)
        lower[length] = upper[length] = least
        found.append(least)
    return found


def catalogue():
    """Yield one row for every number of runs and of factors."""
    for basic in range(2, MOST_BASIC + 1):
        runs = 2**basic
        columns = tuple(1 << place for place in range(basic))
        members = [(columns, np.zeros(1, dtype=np.int64))]
        for factors in range(basic, min(runs - 1, MOST_FACTORS) + 1):
            if factors > basic:
                members = grow(members, basic, factors, three=basic <= 4)
            counts = patterns(np.stack([words for _, words in members]), factors)[:, 3:].tolist()
            best = min(range(len(members)), key=lambda place: counts[place])
            bound = least_pattern(factors, basic)
            evidence = PROVED if bound == counts[best] else ENUMERATED
            print(runs, factors, len(members), counts[best], bound, flush=True)
            if factors >= 3:
                lengths = next((3 + place for place, count in enumerate(counts[best]) if count), factors + 1)
                yield {
                    "runs": runs,
                    "factors": factors,
                    "columns": " ".join(map(str, members[best][0])),
                    "word lengths": " ".join(map(str, counts[best])),
                    "resolution": lengths,
                    "evidence": evidence,
                }


if __name__ == "__main__":
    rows = list(catalogue())
    with Path(sys.argv[1]).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
