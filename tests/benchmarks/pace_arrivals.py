"""How often the projected interval holds the minute at which simulated firings arrive.

Run by hand: ``python tests/benchmarks/pace_arrivals.py 1000 1200`` takes the seeds from 1000 to 1199 and
prints, for each kind of firing and of reading and at each share of the time to the arrival, how often the
interval holds the arrival, how wide it is and how far off the arrival is, both in shares of the time that
is really left. The figures of `sagglab.firing.pace` were chosen on the seeds 0 to 199.

The firings: ``gas``, the demo's small gas kiln, with gusts and a stall; ``approach``, fast and then ever
slower; ``ramps``, two ramps of a controller, now and then with a hold between them, whose second rate nobody
can foresee. The readings: ``dense``, two a minute to a tenth of a degree; ``hand``, every one to five
minutes (three times as far apart in a long firing), in whole degrees.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from sagglab.errors import Problems
from sagglab.firing.pace import pace
from sagglab.firing.readings import Readings

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "data" / "demo"))

from generator.logs import fire  # noqa: E402

STAGES = (0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95)


def gas(rng):
    peak = rng.uniform(690, 800)
    curve = fire(rng, peak, gusts=rng.uniform(0.5, 2))
    return curve.seconds / 60, curve.temperature_C, peak - rng.choice([0, rng.uniform(0, 40)])


def approach(rng):
    top, slow = rng.uniform(800, 1000), rng.uniform(12, 30)
    minutes = np.arange(0, 240, 1 / 60)
    smooth = 20 + (top - 20) * (1 - np.exp(-minutes / slow))
    return minutes, smooth + rng.normal(0, 0.5, minutes.size), 20 + (top - 20) * rng.uniform(0.75, 0.93)


def ramps(rng):
    levels = np.array([20, rng.uniform(300, 650), rng.uniform(700, 1000)])
    rates = rng.uniform([60, 100], [200, 250])
    hold = rng.choice([0, 0, rng.uniform(5, 30)])
    lasts = np.diff(levels) / rates * 60
    corners = np.cumsum([0, lasts[0], hold, lasts[1], 30])
    minutes = np.arange(0, corners[-1], 1 / 12)
    smooth = np.interp(minutes, corners, levels[[0, 1, 1, 2, 2]])
    return minutes, smooth + rng.normal(0, 0.5, minutes.size), levels[2] - 2


SHAPES = {"gas": gas, "approach": approach, "ramps": ramps}


def read(rng, minutes, heat, how):
    last = minutes[-1]
    if how == "dense":
        at = np.arange(0, last, 0.5)
        return at, np.round(np.interp(at, minutes, heat), 1), 0.1
    steps = np.cumsum(rng.integers(1, 6, int(last) + 1)) * (1 if last < 250 else 3)
    at = np.concatenate([[0], steps[steps < last]])
    return at, np.round(np.interp(at, minutes, heat)), 1.0


def judged(seeds):
    """One row for each firing, way of reading and stage."""
    rows = []
    for seed in seeds:
        for shape, draw in SHAPES.items():
            rng = np.random.default_rng([seed, 5])
            minutes, heat, target = draw(rng)
            arrival = minutes[np.argmax(heat >= target)]
            for how in ("dense", "hand"):
                at, shown, step = read(rng, minutes, heat, how)
                for stage in STAGES:
                    count = np.searchsorted(at, arrival * stage, side="right")
                    # With two readings there is a projection; once one shows the target, it is there.
                    if count < 2 or (shown[:count] >= target).any():
                        continue
                    table = pd.DataFrame({"minutes": at[:count], "temperature_C": shown[:count], "flag": ""})
                    found = pace(Readings("", table, Problems(), step_C=step), target)
                    left = arrival - at[count - 1]
                    rows.append(
                        {
                            "firing": shape,
                            "readings": how,
                            "stage": stage,
                            "projected": not np.isnan(found.arrival),
                            "held": found.low <= arrival <= found.high,
                            "early": arrival < found.low,
                            "late": arrival > found.high,
                            "width": (found.high - found.low) / left,
                            "off": (found.arrival - arrival) / left,
                        }
                    )
    return pd.DataFrame(rows)


def summary(rows, by):
    """Of those that were projected: how often held, missed on each side, and the medians."""
    seen = rows[rows["projected"]].groupby(by)
    return pd.DataFrame(
        {
            "cases": rows.groupby(by).size(),
            "projected": rows.groupby(by)["projected"].mean(),
            "held": seen["held"].mean(),
            "arrived earlier": seen["early"].mean(),
            "arrived later": seen["late"].mean(),
            "width / left": seen["width"].median(),
            "off / left": seen["off"].median(),
            "off, either way": seen["off"].agg(lambda off: off.abs().median()),
        }
    )


if __name__ == "__main__":
    found = judged(range(*map(int, sys.argv[1:3])))
    for by in (["firing", "readings", "stage"], ["firing", "readings"], ["firing"], ["stage"]):
        print(summary(found, by).round(2).to_string(), end="\n\n")
    print(summary(found, lambda _: "all").round(3).to_string())
