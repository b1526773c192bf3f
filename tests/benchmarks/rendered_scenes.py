"""How near the measured colour, outline and corners come to the truth of rendered scenes.

Run by hand: ``python tests/benchmarks/rendered_scenes.py 3000 3016`` takes the seeds from 3000 to 3015, with
the two setups in turn, and prints one line for each and the summary.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image

from sagglab.colour import delta_e_2000
from sagglab.errors import SagglabError
from sagglab.photo.measure import measure_photo

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
sys.path.insert(0, str(DEMO))

from generator import scene  # noqa: E402


def measured_scene(seed, folder):
    setup = ("phone", "camera")[seed % 2]
    true = scene.render_scene([seed, 77], setup=setup)
    file = folder / f"{seed}.png"
    Image.fromarray(true.srgb).save(file)
    try:
        found = measure_photo(
            file, target=DEMO / "targets/studio-target.csv", flat=DEMO / f"photos/{setup}-flat.jpg"
        )
    except SagglabError as error:
        print(seed, error)
        return {"seed": seed}
    lab = found.table[["L*", "a*", "b*"]].iloc[0].to_numpy(dtype=float)
    return {
        "seed": seed,
        "ΔE00": float(delta_e_2000(lab, true.lab)),
        "L* off": lab[0] - true.lab[0],
        "overlap": (found.outline & true.pot).sum() / (found.outline | true.pot).sum(),
        "corners, px": np.linalg.norm(found.corners - true.corners, axis=1).max(),
        "left out": found.calibration.left_out_mean,
    }


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        rows = [measured_scene(seed, Path(folder)) for seed in range(*map(int, sys.argv[1:3]))]
    table = pd.DataFrame(rows).set_index("seed")
    print(table.round(3).to_string())
    print(table.describe().loc[["mean", "50%", "min", "max"]].round(3).to_string())
