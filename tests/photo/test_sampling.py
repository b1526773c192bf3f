"""Sampling error: against plain sums over pairs, and what must not change it."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from sagglab.photo.sampling import _contrast, _variances, sampling_error
from sagglab.photo.unrolled import SurfaceMap
from sagglab.photo.variogram import WITHIN_SQUARE, Model, cells, read_mottle


def map_of(lab, radius=50.0, height=100.0, per_column=1.0):
    rows, columns = lab.shape[:2]
    radius = np.broadcast_to(radius, rows)
    return SurfaceMap(
        lab,
        np.where(np.isnan(lab[..., 0]), 0, 1.0) * np.nan_to_num(radius, nan=1.0)[:, None],
        per_column * (np.arange(columns) - columns / 2 + 0.5),
        1 - (np.arange(rows) + 0.5) / rows,
        radius,
        np.full(rows, height / rows),
    )


def mottle(seed, rows=96, columns=150, size=5.0):
    rng = np.random.default_rng(seed)
    field = gaussian_filter(rng.normal(0, 1, (rows, columns, 3)), (size, size, 0))
    return np.array([50, 15, 20]) + np.array([8, 4, 2]) * field / field.std(axis=(0, 1))


def error_of(surface_map, band_degrees):
    return sampling_error(read_mottle(surface_map, band_degrees))


def test_variance_against_plain_sums():
    whole = map_of(np.zeros((6, 150, 3)), np.linspace(20, 50, 6))
    part = cells(whole, 37, whole.radius_mm, whole.step_mm)
    contrast = _contrast(part)
    rows, around = contrast.shape
    model = Model("exponential", 30.0, 5.0)
    row, block = (place.ravel() for place in np.indices(contrast.shape))
    radius = (part.radius[row[:, None]] + part.radius[row]) / 2
    turn = np.abs((block[:, None] - block + around / 2) % around - around / 2) * 2 * np.pi / around
    distance = np.hypot(part.along[row[:, None]] - part.along[row], radius * turn)
    side = np.sqrt(part.radius * 2 * np.pi / around * part.step)
    np.fill_diagonal(distance, WITHIN_SQUARE * side[row])
    weight = contrast.ravel()
    assert weight.sum() == pytest.approx(0)
    even = Model("spherical", np.nan, 0.0)
    expected = [-weight @ model(distance) @ weight, np.nan, 0]
    assert _variances((model, None, even), part, contrast) == pytest.approx(expected, nan_ok=True)


def test_doubling_the_resolution_changes_little():
    """The same surface in twice as many rows and columns: four times as many pixels."""
    for seed in range(6):
        lab = mottle(seed, rows=192, columns=300, size=10.0)
        coarse = lab.reshape(96, 2, 150, 2, 3).mean(axis=(1, 3))
        fine, reduced = error_of(map_of(lab, per_column=0.5), 37), error_of(map_of(coarse), 37)
        assert np.abs(fine / reduced - 1).max() < 0.15


def test_noise_of_pixels_is_hardly_any_error():
    lab = np.random.default_rng(1).normal(50, 8, (240, 150, 3))
    # 18,000 cells: as replicates they would give 0.06, of which the pot's whole side still has its fifth.
    assert error_of(map_of(lab), 37).max() < 0.2


def test_goes_with_the_spread():
    lab = mottle(2)
    once = error_of(map_of(lab), 37)
    assert error_of(map_of(3 * lab), 37) == pytest.approx(3 * once)
    assert (np.diff(once) < 0).all()


def test_coarser_patches_are_told_less_surely():
    errors = [np.mean([error_of(map_of(mottle(s, size=size)), 37)[0] for s in range(4)]) for size in (2, 5)]
    assert errors[1] > 1.7 * errors[0]


def test_a_trend_with_height_adds_nothing():
    lab, up = mottle(3), np.linspace(-1, 1, 96)[:, None, None]
    assert error_of(map_of(lab + 30 * up), 37) == pytest.approx(error_of(map_of(lab), 37), rel=0.01)


def test_a_wider_band_is_surer():
    lab = mottle(4)
    narrow, wide = (error_of(map_of(lab), band).mean() for band in (20, 60))
    assert wide < 0.8 * narrow


def test_all_around_there_is_nothing_left_to_sample():
    lab = mottle(5, columns=360)
    assert error_of(map_of(lab), 180).max() < 0.02
    assert error_of(map_of(lab), 37).min() > 0.1


def test_scale_does_not_tell():
    lab = mottle(6)
    small, large = error_of(map_of(lab, 25.0, 50.0), 37), error_of(map_of(lab, 100.0, 200.0), 37)
    assert large == pytest.approx(small)
    # Without a scale the pot counts as wide as high.
    assert error_of(map_of(lab, np.nan, np.nan), 37) == pytest.approx(small, rel=1e-3)


def test_nothing_to_tell_it_by():
    assert np.isnan(error_of(map_of(np.full((96, 150, 3), np.nan)), 37)).all()
    assert error_of(map_of(np.full((96, 150, 3), 50.0)), 37).tolist() == [0, 0, 0]
