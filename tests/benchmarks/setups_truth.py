"""How far the figures of two setups compared are to be trusted, on drawn pots whose truth is known.

Run by hand: ``python tests/benchmarks/setups_truth.py [400]`` (draws per line): how often intervals of bias
and limits of agreement hold the truth; how often a shift as large as the margin is called within it; and
which correction is chosen, what it tells of itself, and how far fresh pots come out.
"""

import sys

import numpy as np
import pandas as pd
from scipy import stats

from sagglab.colour import AXES, WHITE_D50, delta_e_2000, lab_to_xyz, xyz_to_lab
from sagglab.setups.agreement import agreement
from sagglab.setups.correction import fit_correction
from sagglab.setups.equivalence import equivalence, square_form
from sagglab.setups.pairs import pair_pots

MATRIX = np.array([[0.94, 0.08, -0.03], [-0.05, 1.08, 0.03], [0.03, -0.10, 1.16]])
SECOND = {
    "equal": lambda lab: lab,
    "offset": lambda lab: lab + [1.2, -0.8, 1.5],
    "veil": lambda lab: xyz_to_lab(lab_to_xyz(lab) + 0.01 * WHITE_D50),
    "matrix": lambda lab: xyz_to_lab(lab_to_xyz(lab) / WHITE_D50 @ MATRIX.T * WHITE_D50),
}


def pots(rng, number):
    """Colours such as pots have."""
    chroma, hue = rng.uniform(3, 25, number), np.radians(rng.normal(50, 25, number))
    return np.column_stack([rng.uniform(25, 62, number), chroma * np.cos(hue), chroma * np.sin(hue)])


def measures(setup, rng, lab, noise, views=1, repeats=1):
    """Measures of pots of these colours, shape (pots, views, 3)."""
    return pd.DataFrame(
        [
            {"photo": f"{pot}-{view}-{again}", "pot": f"p{pot}", "view": f"{view}", "setup": setup}
            | {"taken": pd.Timestamp("2026-05-01")}
            | dict(zip(AXES, lab[pot, view] + rng.normal(0, noise, 3), strict=True))
            for pot in range(len(lab))
            for view in range(views)
            for again in range(repeats)
        ]
    )


def held(rng, number, views, repeats):
    """Whether the intervals of ΔL* hold the bias, and both limits."""
    between, within, noise = 0.6, 0.4, 0.3
    lab = pots(rng, number)[:, None] + rng.normal(0, 2, (number, views, 3))
    apart = rng.normal(-1, between, (number, 1, 3)) + rng.normal(0, within, (number, views, 3))
    both = [
        measures("a", rng, lab, noise, views, repeats),
        measures("b", rng, lab + apart, noise, views, repeats),
    ]
    row = agreement(pair_pots(*both)).table.iloc[0]
    reach = 1.96 * np.sqrt(between**2 + within**2 + 2 * noise**2)
    truth = {"bias": -1, "lower limit": -1 - reach, "upper limit": -1 + reach}
    return [row[f"{name} low"] <= true <= row[f"{name} high"] for name, true in truth.items()]


def called_equal(rng):
    """Whether a shift as large as the margin is called within it."""
    lab, shift = rng.uniform([30, 5, 5], [50, 15, 15], (8, 3)), rng.standard_normal(3)
    shift *= 1.8 / np.sqrt(shift @ square_form(lab) @ shift)
    differences = shift + rng.normal(0, [0.8, 0.4, 0.6], (8, 3))
    return equivalence(differences.mean(axis=0), np.cov(differences.T) / 8, 7, lab, 1.8).p <= 0.05


def corrected(rng, second, number):
    """Kind chosen, ΔE00 as is, left out as told, and of fresh pots."""
    lab, fresh = pots(rng, number)[:, None], pots(rng, 200)
    both = [measures("a", rng, lab, 0.3), measures("b", rng, second(lab), 0.3)]
    made = fit_correction(pair_pots(*both))
    seen = [fresh + rng.normal(0, 0.3, fresh.shape), second(fresh) + rng.normal(0, 0.3, fresh.shape)]
    return made.kind, made.as_is, made.left_out, delta_e_2000(made.lab(seen[1]), seen[0]).mean()


if __name__ == "__main__":
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    for case in ((3, 1, 1), (6, 1, 1), (8, 1, 2), (6, 3, 1), (6, 2, 2)):
        rng = np.random.default_rng(case)
        shares = np.mean([held(rng, *case) for _ in range(draws)], axis=0)
        print("{} pots, {} views, {} repeats: bias, limits held".format(*case), shares.round(3), flush=True)
    rng = np.random.default_rng(5)
    shown = np.mean([called_equal(rng) for _ in range(draws)])
    print(f"shift as large as the margin called within it: {shown:.3f}", flush=True)
    for name, second in SECOND.items():
        for number in (4, 6, 8, 12):
            rng = np.random.default_rng([number, len(name)])
            kinds, *figures = zip(*(corrected(rng, second, number) for _ in range(draws // 8)), strict=True)
            chosen = stats.mode(pd.factorize(np.array(kinds))[0]).count
            often = max(set(kinds), key=kinds.count)
            told = ", ".join(f"{np.mean(each):.2f}" for each in figures)
            print(
                f"{name}, {number} pots: {often} {chosen} of {len(kinds)}; as is, left out, fresh {told}",
                flush=True,
            )
