"""Height profile: which way is up, weights, and rows that lie across two steps."""

import numpy as np
import pytest

from sagglab.columns import HEIGHT_STEPS
from sagglab.photo.height_profile import height_profile, profile_table
from sagglab.photo.unrolled import SurfaceMap


def map_of(lab, area=None):
    rows, columns = lab.shape[:2]
    return SurfaceMap(
        lab,
        np.where(np.isnan(lab[..., 0]), 0, 1.0) if area is None else area,
        np.arange(columns) - columns / 2 + 0.5,
        1 - (np.arange(rows) + 0.5) / rows,
        np.full(rows, np.nan),
        np.full(rows, np.nan),
    )


def slanting(rows, columns=150):
    """L* rises from 0 at the foot to 100 at the rim; a* and b* are half of it and its opposite."""
    height = 1 - (np.arange(rows) + 0.5) / rows
    lightness = np.repeat(100 * height[:, None], columns, axis=1)
    return np.stack([lightness, lightness / 2, -lightness], axis=-1)


@pytest.mark.parametrize("rows", [20, 60, 137, 240])
def test_the_foot_comes_first(rows):
    table = profile_table(map_of(slanting(rows)), 37)
    assert table["height"].tolist() == pytest.approx([0.025 + 0.05 * k for k in range(len(HEIGHT_STEPS))])
    assert table["L*"].to_numpy() == pytest.approx(100 * table["height"].to_numpy(), abs=0.6)
    assert table["b*"].tolist() == pytest.approx((-table["L*"]).tolist())


def test_columns_of_the_measures():
    measures = height_profile(map_of(slanting(40)), 37)
    assert len(measures) == 3 * len(HEIGHT_STEPS)
    assert list(measures)[0] == "L* at 2.5 % height"
    assert list(measures)[-1] == "b* at 97.5 % height"
    assert (measures["L* at 2.5 % height"], measures["a* at 97.5 % height"]) == pytest.approx((2.5, 48.75))
    assert all(type(value) is float for value in measures.values())


def test_only_the_band_and_by_area():
    lab = np.full((20, 150, 3), 50.0)
    degrees = np.arange(150) - 74.5
    lab[:, np.abs(degrees) > 37] = 90
    lab[:, np.abs(degrees) < 10] = 20
    area = np.repeat(np.where(np.abs(degrees) < 10, 3.0, 1.0)[None], 20, axis=0)
    share = 20 * 3 / (20 * 3 + 54)
    assert profile_table(map_of(lab, area), 37)["L*"].to_numpy() == pytest.approx(
        share * 20 + (1 - share) * 50
    )


def test_blank_where_nothing_was_measured():
    lab = slanting(60)
    lab[:3] = np.nan
    lab[30:33, 20:] = np.nan
    table = profile_table(map_of(lab), 37)
    assert table["L*"].isna().tolist() == [False] * 9 + [True] + [False] * 9 + [True]
    assert profile_table(map_of(np.full((60, 150, 3), np.nan)), 37)["L*"].isna().all()


def test_a_row_across_two_steps_counts_in_both():
    # Thirty rows for twenty steps: every third row lies half in one step and half in the next.
    lab = np.zeros((30, 10, 3))
    lab[-2] = 90
    table = profile_table(map_of(lab), 37)
    assert table["L*"].head(3).to_numpy() == pytest.approx([30, 30, 0])
