"""Variogram and patchiness: pair sums against plain loops, and what cannot be told."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from sagglab.photo.patchiness import patchiness
from sagglab.photo.unrolled import SurfaceMap
from sagglab.photo.variogram import MODELS, ROWS, Cells, Model, cells, read_mottle, variogram


def map_of(lab, radius=50.0, height=100.0):
    """The map of a pot; radius in mm, one or one for each row."""
    rows, columns = lab.shape[:2]
    radius = np.broadcast_to(radius, rows)
    return SurfaceMap(
        lab,
        np.where(np.isnan(lab[..., 0]), 0, 1.0) * radius[:, None],
        np.arange(columns) - columns / 2 + 0.5,
        1 - (np.arange(rows) + 0.5) / rows,
        radius,
        np.full(rows, height / rows),
    )


def mottle(seed, rows=96, columns=150, size=6.0):
    rng = np.random.default_rng(seed)
    field = gaussian_filter(rng.normal(0, 1, (rows, columns, 3)), (size, size, 0))
    return np.array([50, 15, 20]) + np.array([8, 4, 5]) * field / field.std(axis=(0, 1))


def patchiness_of(surface_map, band_degrees):
    return patchiness(read_mottle(surface_map, band_degrees))


def cells_of(lab, radius, step):
    rows, columns = lab.shape[:2]
    area = np.where(np.isnan(lab).any(axis=-1), 0, 1.0)
    along = np.cumsum(step) - step / 2
    return Cells(lab, area, np.arange(columns) * 2.0, 1 - along / step.sum(), along, step, radius)


def test_pair_sums_against_plain_loops():
    rng = np.random.default_rng(1)
    lab = rng.normal(0, 1, (14, 9, 3))
    lab[rng.random((14, 9)) < 0.2] = np.nan
    radius, step = np.linspace(40, 15, 14), np.full(14, 2.0)
    part = cells_of(lab, radius, step)
    found = variogram(part)
    known = part.area > 0
    height = (2 * part.height[:, None] - 1 + np.zeros(lab.shape[:2]))[known]
    terms = np.vander(height, 2)
    rest = lab[known] - terms @ np.linalg.lstsq(terms, lab[known])[0]
    row, column = np.nonzero(known)
    one, other = np.triu_indices(len(row), 1)
    mean_radius = (radius[row[one]] + radius[row[other]]) / 2
    turn = np.radians(2.0) * np.abs(column[one] - column[other])
    distance = np.hypot(part.along[row[one]] - part.along[row[other]], mean_radius * turn)
    number = np.rint(distance / 2.0).astype(int)
    near = distance <= found.reach
    assert found.reach == 14
    assert found.pairs.sum() == near.sum()
    squares = (rest[one] - rest[other]) ** 2
    for k, bin_number in enumerate(np.unique(number[near])):
        here = near & (number == bin_number)
        assert found.pairs[k] == here.sum()
        assert found.distance[k] == pytest.approx(distance[here].mean())
        assert found.semivariance[k] == pytest.approx(squares[here].mean(axis=0) / 2)


@pytest.mark.parametrize("name", list(MODELS))
def test_models_reach_95_percent_at_their_range(name):
    model = Model(name, 20.0, 3.0)
    assert model(np.array([20.0])) == pytest.approx(3 * 0.95, abs=1e-4)
    values = model(np.linspace(0, 500, 999))
    assert values[0] == 0 and (np.diff(values) >= 0).all() and values[-1] == pytest.approx(3)


@pytest.mark.parametrize("name", list(MODELS))
def test_a_model_is_found_again(name):
    part = cells_of(np.random.default_rng(2).normal(0, 1, (48, 40, 3)), np.full(48, 50.0), np.full(48, 2.0))
    seen = variogram(part)
    # Of a map's cells, what differs within a cell is averaged out.
    exact = Model(name, 15.0, 4.0)
    values = exact(seen.distance) - exact(np.array([seen.within]))
    fitted = replace(seen, semivariance=np.repeat(values[:, None], 3, axis=1)).fit()[0]
    assert fitted.name == name
    # Within half a step of the candidate ranges.
    assert fitted.range == pytest.approx(15, rel=0.021)
    assert fitted.sill == pytest.approx(4, rel=0.02)


def test_columns():
    measures = patchiness_of(map_of(mottle(3)), 37)
    assert list(measures) == [
        f"{axis} {what}" for axis in ("L*", "a*", "b*") for what in ("range [mm]", "sill")
    ]
    assert all(type(value) is float and value > 0 for value in measures.values())


def test_twice_the_pot_has_twice_the_range():
    lab = mottle(4)
    once, twice = patchiness_of(map_of(lab), 37), patchiness_of(map_of(lab, 100.0, 200.0), 37)
    for axis in ("L*", "a*", "b*"):
        assert twice[f"{axis} range [mm]"] == pytest.approx(2 * once[f"{axis} range [mm]"])
        assert twice[f"{axis} sill"] == pytest.approx(once[f"{axis} sill"])


def test_coarser_patches_have_longer_ranges():
    ranges = [patchiness_of(map_of(mottle(5, size=size)), 37)["L* range [mm]"] for size in (2.0, 4.0, 8.0)]
    assert ranges[1] > 1.6 * ranges[0] and ranges[2] > 1.6 * ranges[1]


def test_a_trend_with_height_is_no_patch():
    lab, up = mottle(6), np.linspace(-1, 1, 96)[:, None, None]
    plain = patchiness_of(map_of(lab), 37)
    assert patchiness_of(map_of(lab + 20 * up), 37) == pytest.approx(plain, rel=0.01)


def test_blank_cells_are_left_out():
    lab = mottle(7)
    plain = patchiness_of(map_of(lab), 37)
    lab[40:60, 60:80] = np.nan
    found = patchiness_of(map_of(lab), 37)
    assert found != plain
    assert found["L* range [mm]"] == pytest.approx(plain["L* range [mm]"], rel=0.25)


def test_only_the_band():
    lab = mottle(8)
    other = lab.copy()
    other[:, np.abs(np.arange(150) - 74.5) > 37] = 1000
    assert patchiness_of(map_of(other), 37) == patchiness_of(map_of(lab), 37)


def test_resolution_does_not_tell():
    lab = mottle(9, rows=192, columns=150, size=10.0)
    coarse = lab.reshape(96, 2, 150, 3).mean(axis=1)
    fine, reduced = patchiness_of(map_of(lab), 37), patchiness_of(map_of(coarse), 37)
    assert reduced == pytest.approx(fine, rel=0.02)


def test_what_cannot_be_told():
    assert np.isnan(list(patchiness_of(map_of(mottle(10), np.nan, np.nan), 37).values())).all()
    assert np.isnan(list(patchiness_of(map_of(np.full((96, 150, 3), np.nan)), 37).values())).all()
    # One slope across the band: the patch is larger than what is seen of it.
    lab = np.full((96, 150, 3), 50.0) + np.linspace(-20, 20, 150)[:, None]
    assert np.isnan(list(patchiness_of(map_of(lab), 37).values())).all()


def test_an_even_surface():
    measures = patchiness_of(map_of(np.full((96, 150, 3), 50.0)), 37)
    assert measures["L* sill"] == 0 and np.isnan(measures["L* range [mm]"])


@pytest.mark.parametrize("rows", [3, 20, ROWS, 137, 240])
def test_rows_of_any_number_are_joined_by_area(rows):
    lab = np.random.default_rng(11).normal(50, 9, (rows, 150, 3))
    lab[0, :70] = np.nan
    whole = map_of(lab, np.linspace(30, 50, rows))
    part = cells(whole, 37, whole.radius_mm, whole.step_mm)
    assert len(part.height) == min(rows, ROWS)
    assert part.step.sum() == pytest.approx(100)
    assert (np.diff(part.along) > 0).all() and (np.diff(part.height) < 0).all()
    inside = np.abs(whole.degrees) <= 37
    area = whole.area[:, inside]
    assert part.area.sum() == pytest.approx(area.sum())
    expected = np.nansum(area[..., None] * lab[:, inside], axis=(0, 1)) / area.sum()
    found = np.nansum(part.area[..., None] * part.lab, axis=(0, 1)) / part.area.sum()
    assert found == pytest.approx(expected)
