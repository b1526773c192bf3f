"""How often the bounds of the heat measures hold, and how wide they are, for records of few readings.

Run by hand: ``python tests/benchmarks/thinned_records.py 5000 5100`` fires each shape of firing with the
seeds from 5000 to 5099, thins each to readings three to five minutes apart, and compares the measures of the
whole curve, second by second, with the bounds that the thinned record gives. The rules in `between` were
chosen on the seeds 100 to 139; figures on those say nothing.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.ndimage import gaussian_filter1d

from sagglab.errors import Problems
from sagglab.firing.heat import heat_measures
from sagglab.firing.readings import Readings

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
sys.path.insert(0, str(DEMO))

from generator import logs  # noqa: E402


def gas(rng):
    """The demo's small gas kiln, on a calm or a breezy day."""
    curve = logs.fire(rng, rng.uniform(700, 800), gusts=rng.choice([1.0, 1.8]))
    return curve.seconds / 60, curve.temperature_C


def controller(rng):
    """Ramps and holds, the corners rounded over some twenty seconds, then cooling by itself."""
    minutes, celsius = [0.0], [20.0]
    for climb, target, hold in (
        (rng.uniform(150, 400), rng.uniform(200, 550), rng.choice([0, 0, 5, 15, 30])),
        (rng.uniform(100, 500), rng.uniform(600, 700), rng.choice([0, 10])),
        (rng.uniform(80, 300), rng.uniform(730, 1000), rng.uniform(0, 30)),
    ):
        minutes += [minutes[-1] + (target - celsius[-1]) / climb * 60]
        minutes += [minutes[-1] + hold]
        celsius += [target, target]
    up = np.interp(np.arange(minutes[-1] * 60) / 60, minutes, celsius)
    cooling = 20 + (celsius[-1] - 20) * np.exp(-np.arange(8 * 3600) / 60 / rng.uniform(60, 150))
    down = cooling[: np.argmax(cooling < 270) + 1]
    temperature = gaussian_filter1d(np.concatenate([up, down[1:]]), 20)
    return np.arange(temperature.size) / 60, temperature


def bumpy(rng):
    """The gas kiln with a flame that wanders by 3, 8 and 15 °C (standard deviation), at the peak too."""
    minutes, temperature = gas(rng)
    wander = sum(
        size * logs._wander(rng, minutes.size, over) for size, over in ((3, 30), (8, 120), (15, 400))
    )
    burner = np.where(np.arange(minutes.size) < temperature.argmax(), 1, 0.2)
    return minutes, temperature + wander * burner * np.clip((temperature - 20) / 60, 0, 1)


SHAPES = {"gas": gas, "controller": controller, "bumpy": bumpy}
#: How the thinned readings are written: to how many °C, and to how many minutes.
WRITTEN = {"by hand": (1.0, 1.0), "exactly": (0.1, 0.0)}


def record(minutes, temperature, step_C=0.0, step_minutes=0.0):
    table = pd.DataFrame({"minutes": minutes, "temperature_C": temperature, "flag": ""})
    return Readings("thinned", table, Problems(), step_C=step_C, step_minutes=step_minutes)


def thinned(rng, minutes, temperature, step_C, step_minutes):
    gaps = rng.uniform(3, 5, int(minutes[-1] / 3) + 2)
    at = np.concatenate([[0], np.cumsum(gaps)])
    at = np.append(at[at < minutes[-1] - 1], minutes[-1])
    shown = np.round(np.interp(at, minutes, temperature) / step_C) * step_C
    return record(np.round(at) if step_minutes else at, shown, step_C, step_minutes)


def held(seeds, shape, written):
    """One row per firing and measure: whether the bounds hold the true value, and how wide they are."""
    rows = []
    for seed in seeds:
        rng = np.random.default_rng([seed, list(SHAPES).index(shape)])
        minutes, temperature = SHAPES[shape](rng)
        true = heat_measures(record(minutes, temperature), target_C=750).table["value"]
        few = heat_measures(thinned(rng, minutes, temperature, *WRITTEN[written]), target_C=750).table
        both = true.notna() & few["value"].notna()
        width = (few["high"] - few["low"]).where(lambda wide: np.isfinite(wide))
        inside = (true >= few["low"] - 1e-9) & (true <= few["high"] + 1e-9)
        rows.append(pd.DataFrame({"true": true, "holds": inside.astype(float), "width": width})[both])
    return pd.concat(rows)


def summary(rows):
    measures = rows.groupby(level=0, sort=False)
    return pd.DataFrame(
        {
            "firings": measures["holds"].count(),
            "hold, %": measures["holds"].mean() * 100,
            "true, mean": measures["true"].mean(),
            "width, mean": measures["width"].mean(),
            "no upper bound, %": 100 - 100 * measures["width"].count() / measures["holds"].count(),
        }
    )


if __name__ == "__main__":
    seeds = range(*map(int, sys.argv[1:3]))
    everything = []
    for shape in SHAPES:
        for written in WRITTEN:
            everything.append(held(seeds, shape, written))
            print(f"{shape}, written {written}")
            print(summary(everything[-1]).round(1).to_string(), end="\n\n")
    print("all")
    print(summary(pd.concat(everything)).round(1).to_string())
