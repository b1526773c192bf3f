"""How near the default search comes to a long one, what it takes, and what other ways of planning lose.

Run by hand: ``python tests/benchmarks/optimal_plans.py [first seed] [long starts]``. The seeds were used for
nothing else. A share is of the D-value, |M|^(1/columns), or for I of the mean variance of a prediction.
"""

import sys
import time
from itertools import product

import numpy as np

from sagglab.plan.choices import Shared
from sagglab.plan.exchange import LEAST_EIGENVALUE
from sagglab.plan.factors import Factor
from sagglab.plan.optimal import Ask, best_plan, information_of, value_of
from sagglab.plan.terms import read_model

PEAK, TIME = (
    Factor("peak", [700, 750, 800], "degC", per="firing"),
    Factor("time", [35, 50], "min", per="firing"),
)
DUSTINGS = [
    Factor(name, levels, "g")
    for name, levels in (
        ("sugar", [0, 4]),
        ("copper sulphate", [0, 1]),
        ("sawdust", [0, 10]),
        ("seaweed", [0, 5]),
    )
]
SIZES, RATIO = (6,) * 6, 0.5625
GOAL = read_model([PEAK, TIME, *DUSTINGS])


def amounts(count, levels=3):
    return [Factor(f"material {place}", list(range(levels)), "g") for place in range(count)]


def light(coded):
    return (coded[..., 2:] + 1).sum(axis=-1) <= 6


NAMES = ["peak", "time", *(factor.name for factor in amounts(10))]
CLAY = Factor("clay", ["white", "red", "black"])
OTHERS = {
    "curves, 8 × 6": Ask(read_model([PEAK, TIME, *amounts(3)], "quadratic"), (6,) * 8, RATIO),
    "curves, predictions": Ask(
        read_model([PEAK, TIME, *amounts(3)], "quadratic"), (6,) * 8, RATIO, criterion="I"
    ),
    "three clays": Ask(read_model([PEAK, CLAY, *DUSTINGS[:3]]), (6,) * 6, RATIO),
    "at most three of four dustings": Ask(GOAL, SIZES, RATIO, light),
    "stock of sugar and copper": Ask(
        GOAL, SIZES, RATIO, shared=(Shared(2, (0, 4), 40), Shared(3, (0, 1), 15))
    ),
    "named effects": Ask(GOAL, SIZES, RATIO, sharpen=(3, 4)),
    "unequal firings": Ask(GOAL, (4, 9, 6, 3, 8, 7), RATIO),
    "ratio 0": Ask(GOAL, SIZES, 0.0),
    "ratio 1": Ask(GOAL, SIZES, 1.0),
    "ratio 10": Ask(GOAL, SIZES, 10.0),
    "ten factors, 64 pots": Ask(read_model([PEAK, TIME, *amounts(8, 2)]), (8,) * 8, RATIO),
    "twelve amounts and squares, 60 pots": Ask(
        read_model(
            [PEAK, TIME, *amounts(10)],
            [*NAMES, *((name, name) for name in NAMES if name != "time")],
        ),
        (6,) * 10,
        RATIO,
    ),
    "twelve factors, curves, 96 pots": Ask(
        read_model([PEAK, TIME, *amounts(10)], "quadratic"), (8,) * 12, RATIO
    ),
}


def shares(ask, values, best):
    if ask.criterion == "I":
        return best / np.asarray(values)
    columns = len(ask.sharpen) or 1 + sum(ask.terms.widths)
    return np.exp((np.asarray(values) - best) * (-1 if ask.sharpen else 1) / columns)


def timed(*args, **kwargs):
    begun = time.perf_counter()
    found = best_plan(*args, **kwargs)
    return found, time.perf_counter() - begun


def goal(first, long):
    ask = Ask(GOAL, SIZES, RATIO)
    best, took = timed(ask, first, starts=long)
    print(f"long search: {long} starts, {took:.1f} s, log det {best.value:.4f}")
    each = [timed(ask, seed) for seed in range(first + 1, first + 21)]
    reached = shares(ask, [found.value for found, _ in each], best.value)
    single = shares(ask, np.concatenate([found.reached for found, _ in each]), best.value)
    print(
        f"default, 20 seeds: {each[0][0].starts} starts, {np.median([took for _, took in each]):.2f} s "
        f"(greatest {max(took for _, took in each):.2f}); share of the long search: least "
        f"{reached.min():.4f}, median {np.median(reached):.4f}; a single start: least {single.min():.3f}, "
        f"median {np.median(single):.4f}"
    )
    whole = np.array(list(product(*(factor.coded for factor in GOAL.factors))))
    factorial = value_of(Ask(GOAL, (16,) * 6, RATIO), whole)
    least = min(found.value for found, _ in each)
    gain = np.exp((least - factorial) / 22) * 96 / 36
    print(f"per pot, against the 96 pots of all combinations: {gain:.3f}")
    return each[0][0]


def other_ways(found, seed, draws=2000):
    ask, rng = Ask(GOAL, SIZES, RATIO), np.random.default_rng(seed)
    settings = found.coded[:, :2]
    by_lot = np.concatenate(
        [np.broadcast_to(settings, (draws, 36, 2)), rng.choice([-1.0, 1.0], (draws, 36, 4))], axis=-1
    )
    free = [Factor(factor.name, list(factor.levels), factor.unit) for factor in GOAL.factors]
    unbound = best_plan(Ask(read_model(free), (36,), 0.0), seed)
    order = rng.permuted(np.tile(np.arange(36), (draws, 1)), axis=1)
    dealt = np.concatenate([by_lot[..., :2], unbound.coded[order][..., 2:]], axis=-1)
    any_settings = rng.choice([-1.0, 0.0, 1.0], (draws, 6)), rng.choice([-1.0, 1.0], (draws, 6))
    all_by_lot = np.concatenate([np.stack(any_settings, axis=-1).repeat(6, axis=1), by_lot[..., 2:]], axis=-1)
    for name, plans in (
        ("settings and recipes by lot", all_by_lot),
        ("recipes by lot", by_lot),
        ("best without firings, dealt by lot", dealt),
    ):
        matrices = information_of(GOAL, plans, SIZES, RATIO)
        values = np.linalg.eigvalsh(matrices)
        lost = 1 - shares(ask, value_of(ask, plans), found.value)
        low, middle, high = np.percentile(lost, [10, 50, 90])
        none = (values[:, 0] <= LEAST_EIGENVALUE * values[:, -1]).mean()
        # A term this blurred has an interval seven times as wide as it could have.
        worst = (values[:, 0] < found_least(found) / 50).mean()
        print(
            f"{name}: loses {middle:.1%} of D (8 of 10 plans {low:.1%} to {high:.1%}); "
            f"cannot estimate the model {none:.1%}, least eigenvalue below a 50th of the plan's {worst:.1%}"
        )


def found_least(found):
    return np.linalg.eigvalsh(information_of(GOAL, found.coded, SIZES, RATIO))[0]


def others(first):
    for name, ask in OTHERS.items():
        found, took = timed(ask, first)
        more = min(1000, 6 * found.starts) if took < 5 else 2 * found.starts
        best, long = timed(ask, first + 1, starts=more)
        top = (min if ask.criterion == "I" or ask.sharpen else max)(best.value, found.value)
        share = shares(ask, found.value, top)
        print(
            f"{name}: {1 + sum(ask.terms.widths)} columns, {found.starts} starts in {took:.2f} s; "
            f"share of the better of it and {more} others ({long:.0f} s): {share:.4f}",
            flush=True,
        )


if __name__ == "__main__":
    seed, long = [*map(int, sys.argv[1:]), *(9000, 1000)[len(sys.argv) - 1 :]]
    plan = goal(seed, long)
    other_ways(plan, seed + 50)
    others(seed + 100)
