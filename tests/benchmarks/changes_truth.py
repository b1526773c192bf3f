"""How often intervals of pots' changes over time hold the truth, by pot and by recipe.

Run by hand: ``python tests/benchmarks/changes_truth.py [160]`` (studies per line). Half of the pots lose a*
1 per month, all pots' rates scatter by 0.2, photographs by 0.4, and the setup drifts, known from 12 shots of
the target. "False" is how often a coordinate without an effect gets p of 0.05 or less.
"""

import sys

import numpy as np
import pandas as pd
from scipy import stats

from sagglab.colour import AXES
from sagglab.setups.drift import MONTH
from sagglab.setups.over_time import changes_over_time

EFFECT = np.array([0.0, -1.0, 0.0])
CASES = {
    "6 pots, 4 days, no drift": {"drift": 0.0},
    "6 pots, 4 days": {},
    "8 pots, 3 days": {"pots": 8, "days": (0, 1, 3)},
    "8 pots, 2 days, 2 views": {"pots": 8, "days": (0, 3), "views": ("front", "back")},
    "8 pots, 2 days, twice on the first": {"pots": 8, "days": (0, 3), "at_first": 2},
    "6 pots, 3 days, twice each": {"days": (0, 1, 3), "at_first": 2, "repeats": 2},
    "the same, visits scatter by 0.3": {"days": (0, 1, 3), "at_first": 2, "repeats": 2, "visit": 0.3},
    "8 pots, 4 days, uneven": {"pots": 8, "uneven": True},
    "8 pots, 4 days, 2 firings": {"pots": 8, "firings": 2},
    "8 pots, 4 days, 4 firings that scatter by 0.2": {"pots": 8, "firings": 4, "firing": 0.2},
    "8 pots, 4 days, the setup's days scatter by 0.3": {"pots": 8, "day": 0.3},
}


def study(
    rng, pots=6, days=(0, 1, 2, 3), views=("front",), repeats=1, at_first=1, firings=1, drift=0.3,
    day=0.0, visit=0.0, firing=0.0, uneven=False,
):  # fmt: skip
    """Draw measures, recipes and each pot's true rates."""
    of_day = {at: rng.normal(0, day, 3) for at in days}
    of_firing = rng.normal(0, firing, (firings, 3))
    rows, recipes, truth = [], [], {}
    for number in range(pots):
        pot, copper, place = f"p{number}", number % 2, number // 2 % firings
        truth[pot] = EFFECT * copper + rng.normal(0, 0.2, 3) + of_firing[place]
        recipes.append((pot, f"f{place}", 2.0 if copper else np.nan))
        visited = list(days)
        if uneven:
            visited = sorted(rng.choice(days, len(days) - rng.integers(0, 2), replace=False))
        for view in views:
            start = np.array([45, 12, 14]) + rng.normal(0, 4, 3)
            for at in visited:
                seen = start + (truth[pot] + drift) * at + of_day[at] + rng.normal(0, visit, 3)
                taken = pd.Timestamp("2026-01-01 10:00") + pd.Timedelta(days=round(at * MONTH))
                for _ in range(at_first if at == visited[0] else repeats):
                    rows.append((pot, view, "camera", taken, *(seen + rng.normal(0, 0.4, 3))))
    measures = pd.DataFrame(rows, columns=["pot", "view", "setup", "taken", *AXES])
    return measures, pd.DataFrame(recipes, columns=["pot", "firing", "copper sulphate [g]"]), truth


def known_drift(rng, drift, day):
    """Draw what 12 shots of the target over three months tell of the setup's drift."""
    months, rows = np.linspace(0, 3, 12), []
    for axis in AXES:
        line = stats.linregress(months, drift * months + rng.normal(0, np.hypot(0.15, day), 12))
        half = stats.t.ppf(0.975, 10) * line.stderr
        rows.append((axis, line.slope, line.slope - half, line.slope + half, 10))
    return pd.DataFrame(rows, columns=["coordinate", "per month", "low", "high", "df"])


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 160
    for seed, (name, case) in enumerate(CASES.items(), 4000):
        rng, by_pot, width, apart, with_it, false = np.random.default_rng(seed), [], [], [], [], []
        for _ in range(number):
            measures, recipes, truth = study(rng, **case)
            drift = known_drift(rng, case.get("drift", 0.3), case.get("day", 0.0))
            told = changes_over_time(
                measures, recipes=recipes, factors=["copper sulphate"], drift_per_month=drift
            )
            rows = told.table[told.table["coordinate"].isin(AXES)]
            true = np.array([truth[row.pot][AXES.index(row.coordinate)] for row in rows.itertuples()])
            by_pot += (rows["low"].le(true).to_numpy() & rows["high"].ge(true).to_numpy(),)
            width.append((rows["high"] - rows["low"]).mean() / 2)
            recipe = told.by_recipe.set_index("coordinate").loc[list(AXES)]
            apart.append(recipe["low"].le(EFFECT) & recipe["high"].ge(EFFECT))
            with_it.append(recipe["with low"].le(EFFECT) & recipe["with high"].ge(EFFECT))
            false.append(recipe["p"].iloc[[0, 2]] <= 0.05)
        print(
            f"{name}: pot {np.mean(by_pot):.3f} (± {np.mean(width):.2f}), recipes {np.mean(apart):.3f}, "
            f"with copper {np.mean(with_it):.3f}, false {np.mean(false):.3f}",
            flush=True,
        )
