"""How often drift is called that there is none of, and how often a step is found.

Run by hand: ``python tests/benchmarks/drift_alarms.py [200]`` (runs per line). Patches are drawn: a target of
24 patches, its days scattering by themselves, through `check_drift` with all its series and charts. Steps are
of b* in the file, in standard deviations of a day's mean of the neutral patches.
"""

import sys

import numpy as np
import pandas as pd

from sagglab.colour import AXES
from sagglab.setups.drift import check_drift
from sagglab.targets import read_target

TARGET = read_target("24-patch-from-2014-11")
#: How days scatter in the file and after calibration, in L*, a*, b*, and each patch by itself.
IN_FILE, CALIBRATED, OWN = (0.25, 0.1, 0.2), (0.08, 0.05, 0.08), 0.05


def drawn(rng, days, alike=0.0, step=0.0, at=None):
    """Draw the patches of a setup; errors of a day resemble those of the day before by `alike`."""
    known = TARGET.lab.reshape(-1, 3)
    table = {f"{axis} of target": np.tile(known[:, k], days) for k, axis in enumerate(AXES)}
    for suffix, spread in ((" in file", IN_FILE), ("", CALIBRATED)):
        common = rng.normal(size=(days, 3))
        for day in range(1, days):
            common[day] = alike * common[day - 1] + np.sqrt(1 - alike**2) * common[day]
        common *= spread
        if suffix and at is not None:
            common[at - 1 :, 2] += step * spread[2]
        lab = known + common[:, None] + OWN * rng.normal(size=(days, len(known), 3))
        table |= {f"{axis}{suffix}": lab[..., k].ravel() for k, axis in enumerate(AXES)}
    day = np.repeat(np.arange(days), len(known))
    said = {"camera": "", "lens": "", "exposure time [s]": np.nan, "f-number": np.nan, "ISO speed": np.nan}
    said |= {"white balance": "", "flash": "", "pot": "", "setup": "camera"}
    table |= {"photo": [f"t{k}" for k in day], "patch": list(TARGET.patches) * days}
    table["taken"] = pd.Timestamp("2026-01-05 10:00") + pd.to_timedelta(7 * day, unit="D")
    return pd.DataFrame(table).assign(**said)


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for days in (8, 14, 20):
        for alike in (0.0, 0.3):
            rng = np.random.default_rng([days, int(10 * alike)])
            called = [bool(check_drift(drawn(rng, days, alike), "camera")) for _ in range(runs)]
            print(f"{days} days, alike {alike:.1f}: drift called in {np.mean(called):.3f}", flush=True)
    for days, at in ((8, 6), (14, 9), (20, 12)):
        for step in (3, 4, 6, 8, 12):
            rng, found, on_day = np.random.default_rng([days, step]), 0, 0
            for _ in range(runs):
                table = drawn(rng, days, step=step, at=at)
                rows = check_drift(table, "camera").found.query(
                    "colours == 'in the file' & coordinate == 'b*'"
                )
                found += len(rows)
                on_day += len(rows) and rows["taken"].iloc[0] == table["taken"].iloc[(at - 1) * 24]
            print(
                f"{days} days, step {step} SD at day {at}: found {found / runs:.2f}, then {on_day / runs:.2f}"
            )
