import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.colour import AXES
from sagglab.setups.pairs import Pairs, pair_pots
from sagglab.setups.repeatability import colour_repeatability, repeatability
from sagglab.setups.variances import MeanSquare, Variance


def readings_of(kind, lab, items, photos, views="", days=None, setup="phone"):
    """Pairs that hold the readings of one setup alone; lab has shape (n, 3)."""
    table = pd.DataFrame(np.asarray(lab, dtype=float), columns=AXES)
    table = table.assign(setup=setup, item=items, view=views, day=pd.to_datetime(days), photo=photos)
    return Pairs(kind, setup, "camera", True, pd.DataFrame(), table)


def of(table, coordinate, setup="phone"):
    return table.set_index(["setup", "coordinate"]).loc[(setup, coordinate)]


def test_repeats_of_pots_are_pooled_within_view_and_day():
    lab = np.zeros((7, 3))
    # Means apart by view and by day count for nothing; squares 2 × 1², 2 × 2² and none, over 2 df.
    lab[:, 0] = [40, 42, 60, 64, 80, 90, 30]
    items = ["p1"] * 6 + ["p2"]
    views = ["front", "front", "back", "back", "front", "90°", "front"]
    days = ["2026-05-01"] * 4 + ["2026-06-01"] * 3
    row = of(repeatability(readings_of("pots", lab, items, list("abcdefg"), views, days)), "L*")
    sd = math.sqrt((2 * 1 + 2 * 4) / 2)
    assert row[["SD", "df", "readings"]].tolist() == [pytest.approx(sd), 2, 4]
    assert row["repeatability coefficient"] == pytest.approx(1.96 * math.sqrt(2) * sd)
    least, most = (sd * math.sqrt(2 / stats.chi2.ppf(share, 2)) for share in (0.975, 0.025))
    assert row[["low", "high"]].tolist() == pytest.approx([least, most])
    assert math.isnan(row["SD common"])


def test_undated_photographs_of_one_view_are_repeats():
    lab = [[40, 1, 1], [42, 1, 1]]
    row = of(repeatability(readings_of("pots", lab, ["p1", "p1"], ["a", "b"], days=[None, None])), "L*")
    assert row["SD"] == pytest.approx(math.sqrt(2))


def test_nothing_repeated_is_not_known():
    table = repeatability(readings_of("pots", [[40, 1, 1], [50, 1, 1]], ["p1", "p2"], ["a", "b"]))
    assert len(table) == 8 and table["SD"].isna().all() and table["high"].isna().all()
    assert table["df"].tolist() == [0.0] * 8 and table["readings"].tolist() == [0] * 8
    colours = colour_repeatability(readings_of("pots", [[40, 1, 1]], ["p1"], ["a"]))
    assert colours["mean ΔE00"].isna().all() and colours["readings"].tolist() == [0, 0]


def patches_of(lab):
    """Readings of shape (photographs, patches, 3) as pairs."""
    shots, patches = lab.shape[:2]
    items = [f"patch {n}" for n in range(patches)] * shots
    photos = np.repeat([f"shot {n}" for n in range(shots)], patches)
    return readings_of("patches", lab.reshape(-1, 3), items, photos)


def test_patches_of_one_photograph_share_its_error():
    rng = np.random.default_rng(5)
    lab = rng.uniform(20, 80, (24, 3)) + rng.normal(0, 1.0, (4, 1, 3)) + rng.normal(0, 0.2, (4, 24, 3))
    row = of(repeatability(patches_of(lab)), "L*")
    lightness = lab[..., 0]
    middle = lightness - lightness.mean(axis=0)
    photographs = 24 * np.sum(middle.mean(axis=1) ** 2) / 3
    own = np.sum((middle - middle.mean(axis=1, keepdims=True)) ** 2) / (3 * 23)
    # Two-way analysis of variance by its textbook sums.
    assert row["SD"] == pytest.approx(math.sqrt(own + (photographs - own) / 24))
    assert row["SD common"] == pytest.approx(math.sqrt((photographs - own) / 24))
    # 96 readings, and hardly more than the 3 degrees of freedom of 4 photographs.
    assert 3 < row["df"] < 3.5


def test_patches_missing_from_a_photograph_leave_the_rest_unmoved():
    lab = np.random.default_rng(6).uniform(20, 80, (24, 3)) + np.arange(3)[:, None, None] * [1.0, 0, 0]
    whole = patches_of(lab)
    gaps = whole.readings.drop(index=[0, 5, 30])
    row = of(repeatability(Pairs("patches", "phone", "camera", True, whole.table, gaps)), "L*")
    # Nothing but steps of one between photographs: their mean square is that of 0, 1, 2, and no patch has
    # an error of its own.
    assert row["SD common"] == pytest.approx(1.0, rel=0.02)
    assert row["SD"] == pytest.approx(row["SD common"])
    assert row["readings"] == 69


def test_scatter_of_patches_is_unbiased_and_its_interval_holds():
    rng = np.random.default_rng(7)
    true = 0.5**2 + 0.3**2
    found, held = [], []
    for _ in range(150):
        lab = np.full((24, 3), 50.0) + rng.normal(0, 0.5, (4, 1, 3)) + rng.normal(0, 0.3, (4, 24, 3))
        table = repeatability(patches_of(lab))
        rows = table[(table["setup"] == "phone") & table["coordinate"].isin(AXES)]
        found += (rows["SD"] ** 2).tolist()
        held += ((rows["low"] ** 2 <= true) & (true <= rows["high"] ** 2)).tolist()
    # Standard errors of 450 draws: 4 % of the variance, 1 point of the share.
    assert np.mean(found) == pytest.approx(true, rel=0.12)
    assert 0.92 <= np.mean(held) <= 0.99


def test_colour_differences_are_not_shrunk_by_the_mean():
    rng = np.random.default_rng(8)
    lab = [50.0, 0, 0] + rng.normal(0, 0.1, (4000, 3)) * [1, 0, 0]
    items = np.repeat(np.arange(2000), 2)
    row = colour_repeatability(readings_of("pots", lab, items, np.arange(4000))).iloc[0]
    # At L* 50 ΔE00 is ΔL*: the mean of a half-normal is √(2/π) SD, its 95 % point 1.96 SD.
    assert row["mean ΔE00"] == pytest.approx(0.1 * math.sqrt(2 / math.pi), rel=0.04)
    assert row["95 % ΔE00"] == pytest.approx(0.196, rel=0.05)


def test_each_setup_by_itself():
    rows = [("p1", "front", "2026-05-01", 40, 5, 6), ("p1", "front", "2026-05-01", 42, 5, 6)]
    table = pd.DataFrame(rows, columns=["pot", "view", "taken", *AXES])
    first = table.assign(setup="phone", photo=["a", "b"])
    second = table.iloc[:1].assign(setup="camera", photo="c")
    found = repeatability(pair_pots(first, second))
    assert of(found, "L*")["SD"] == pytest.approx(math.sqrt(2))
    assert math.isnan(of(found, "L*", "camera")["SD"])


def test_a_sum_of_mean_squares_lies_between_its_parts():
    parts = (MeanSquare(4.0, 3), MeanSquare(1.0, 60, 0.5))
    both = Variance(parts)
    assert both.value == 4.5
    assert 3 < both.df < 63
    low, high = both.interval()
    alone = Variance(parts[:1]).interval()
    assert low > alone[0] and high > alone[1]
    assert Variance((MeanSquare(0.0, 3),)).df == 3
    assert Variance((MeanSquare(0.0, 3),)).interval() == (0.0, 0.0)
    assert math.isnan(Variance(()).value) and Variance(()).df == 0
