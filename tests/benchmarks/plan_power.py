"""How often changes are told, and how wide intervals come out, against what a plan foretold.

    python tests/benchmarks/plan_power.py [studies] [seed]

For each plan: the chance foretold by `precision` and the share of drawn studies in which `fit_effects` was
sure of a true change, with its binomial standard error; the half width foretold and the mean of those drawn.
All main effects are true at once; pairs have none, so that their share is that of false findings.
"""

import sys
import time

import numpy as np
import pandas as pd

from sagglab import fit_effects
from sagglab.plan.batch import Plan, plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.precision import precision
from sagglab.plan.terms import read_model

FIRING_SD, POT_SD, DIFFERENCE = 3.0, 4.0, 5.0
SUGAR, CLAY = Factor("sugar", [0, 4], "g"), Factor("clay", ["buff", "white"])
PEAK = Factor("peak", [700, 800], "degC", per="firing")
FACTORS = (PEAK, SUGAR, CLAY)
#: The half of six pots that have sugar, and white clay: as square to one another as six pots allow.
SUGARED, WHITE = np.array([-1, 1, -1, 1, -1, 1]), np.array([-1, -1, 1, 1, 1, -1])


def laid_out(pots, model, mirrored=True):
    """A plan of so many pots in each firing, peaks in turn; sugar and clay are square over four firings."""
    firings, codes = [], []
    for place, many in enumerate(pots):
        for pot in range(many):
            sign = -1 if mirrored and place // 2 % 2 else 1
            codes.append([(-1) ** (place + 1), SUGARED[pot % 6], sign * WHITE[pot % 6]])
            firings.append(f"f{place + 1}")
    coded = pd.DataFrame(codes, columns=[factor.name for factor in FACTORS], index=range(1, len(codes) + 1))
    runs = pd.DataFrame({"pot": [f"p{place:02}" for place in coded.index], "firing": firings}, coded.index)
    for factor in FACTORS:
        runs[factor.heading] = factor.decode(coded[factor.name])
    coded.insert(0, "firing", firings)
    return Plan(FACTORS, read_model(FACTORS, model), runs, coded, "laid out", 1, ())


def best(model):
    factors = (PEAK, Factor("time", [30, 40], "min", per="firing"), SUGAR, CLAY)
    return plan_batch(factors, firings=6, pots_per_firing=6, model=model, seed=1)


def compare(name, plan, studies, rng):
    told = precision(plan, FIRING_SD, POT_SD, DIFFERENCE).table.set_index("term")
    runs, question = plan.runs.copy(), plan.terms.question
    codes = plan.coded.drop(columns="firing").to_numpy(dtype=float)
    firing = pd.factorize(runs["firing"])[0]
    hits, halves, methods = 0, 0, set()
    begun = time.perf_counter()
    for _ in range(studies):
        scatter = FIRING_SD * rng.normal(size=firing.max() + 1)[firing] + POT_SD * rng.normal(size=len(runs))
        runs["L*"] = 45 + codes.sum(axis=1) * DIFFERENCE / 2 + scatter
        table = fit_effects(runs, "L*", **question).table.set_index("term").loc[told.index]
        hits = hits + (table["p"] < 0.05).to_numpy()
        halves = halves + ((table["high"] - table["low"]) / 2).to_numpy()
        methods |= set(table["method"])
    print(f"\n{name}: {', '.join(sorted(methods))}; {time.perf_counter() - begun:.0f} s")
    for place, (term, row) in enumerate(told.iterrows()):
        share = hits[place] / studies
        # Half widths of amounts are per unit in the table of effects.
        ratio = halves[place] / studies * span(plan, term) / row["half width"]
        true = "" if " × " not in term else " (no true effect drawn)"
        print(
            f"  {term:24} {row['stratum']:7} df {row['df']:5.2f}  foretold {row['power']:.3f}  "
            f"seen {share:.3f} ± {np.sqrt(share * (1 - share) / studies):.3f}  "
            f"half width foretold {row['half width']:6.2f}, mean seen over it {ratio:.3f}{true}"
        )


def span(plan, term):
    parts = [part.split(":")[0] for part in term.split(" × ")]
    factors = {factor.name: factor for factor in plan.factors}
    return np.prod(
        [
            factors[part].levels[-1] - factors[part].levels[0] if factors[part].is_amount else 1.0
            for part in parts
        ]
    )


if __name__ == "__main__":
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 20260)
    plans = {
        "4 firings of 6, main": laid_out([6] * 4, "main"),
        "6 firings of 6, main": laid_out([6] * 6, "main"),
        "4 firings of 6, main + two-way": laid_out([6] * 4, "main + two-way"),
        "4 firings of 6, 4, 5, 3, main": laid_out([6, 4, 5, 3], "main"),
        "6 firings of 6, 3, 5, 6, 4, 6, main": laid_out([6, 3, 5, 6, 4, 6], "main"),
        "8 firings of 6, 3, 5, 6, 4, 6, 2, 6, main + two-way": laid_out(
            [6, 3, 5, 6, 4, 6, 2, 6], "main + two-way"
        ),
        "best, 6 firings of 6, 4 factors, main + two-way": best("main + two-way"),
    }
    for name, plan in plans.items():
        compare(name, plan, studies, rng)
