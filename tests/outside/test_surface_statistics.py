"""Statistics of a surface against other libraries, and against simulated fields whose truth is known."""

import importlib
import sys

import numpy as np
import pytest
from scipy import fft, stats
from sklearn.cluster import KMeans

from sagglab.colour import delta_e_2000
from sagglab.photo.colour_measures import colour_measures
from sagglab.photo.palette import palette
from sagglab.photo.patchiness import patchiness
from sagglab.photo.sampling import sampling_error
from sagglab.photo.unrolled import SurfaceMap
from sagglab.photo.variogram import read_mottle

#: A cylinder: radius and height in mm, cells of half a millimetre, averaged to degrees around.
RADIUS, HEIGHT = 50.0, 100.0
ROWS, FINE, COLUMNS = 200, 720, 360
#: Correlation by the distance as a share of the practical range, from the textbooks' formulae; the constants
#: that make it 0.05 at 1 solved by hand: 3, 0.8108 and 4.744.
CORRELATION = {
    "exponential": lambda h: np.exp(-2.9957 * h),
    "spherical": lambda h: 1 - 1.5 * np.minimum(0.8108 * h, 1) + 0.5 * np.minimum(0.8108 * h, 1) ** 3,
    "Matérn 3/2": lambda h: (1 + 4.744 * h) * np.exp(-4.744 * h),
}


def fields(model, practical_range, seed):
    """Draw two fields of variance 1 on the cylinder, exact but for a negligible cut, by circulant embedding.

    Source: C. R. Dietrich & G. N. Newsam, SIAM Journal on Scientific Computing 18 (1997), 1088–1107. Around
    the cylinder the field is periodic by itself; upwards twice the height and more is drawn and the rest cut.
    """
    rows = ROWS * 2 + int(2.2 * practical_range / HEIGHT * ROWS)
    up = np.minimum(np.arange(rows), rows - np.arange(rows)) * HEIGHT / ROWS
    around = np.minimum(np.arange(FINE), FINE - np.arange(FINE)) * 2 * np.pi * RADIUS / FINE
    distance = np.hypot(up[:, None], around)
    spectrum = fft.fft2(CORRELATION[model](distance / practical_range)).real
    assert spectrum[spectrum < 0].sum() > -1e-4 * spectrum.sum()
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal(spectrum.shape) + 1j * rng.standard_normal(spectrum.shape)
    drawn = fft.fft2(np.sqrt(np.maximum(spectrum, 0) / spectrum.size) * noise)[:ROWS]
    return [part.reshape(ROWS, COLUMNS, -1).mean(axis=2) for part in (drawn.real, drawn.imag)]


def view_of(lightness):
    """What a camera sees of the cylinder: 149 columns."""
    degrees = np.arange(COLUMNS) - 179.5
    seen = np.abs(degrees) <= 74.5
    lab = np.repeat(lightness[:, seen, None], 3, axis=2) * [1, 0.5, 0] + [50, 10, 10]
    return SurfaceMap(
        lab,
        np.ones(lab.shape[:2]),
        degrees[seen],
        1 - (np.arange(ROWS) + 0.5) / ROWS,
        np.full(ROWS, RADIUS),
        np.full(ROWS, HEIGHT / ROWS),
    )


@pytest.mark.parametrize("model", list(CORRELATION))
@pytest.mark.parametrize(("practical_range", "within"), [(8.0, 0.1), (12.0, 0.1), (20.0, 0.2)])
def test_patchiness_of_simulated_fields(model, practical_range, within):
    """30 fields each: the mean range within 10 % of the true one.

    At 20 mm the view holds some ten patches, and spherical fields are at times taken for exponential ones,
    whose range is longer: the mean over 30 was 23.5 mm.
    """
    drawn = [field for seed in range(84_000, 84_015) for field in fields(model, practical_range, seed)]
    found = [patchiness(read_mottle(view_of(field), 37)) for field in drawn]
    ranges = np.array([each["L* range [mm]"] for each in found])
    # A field whose own few patches look longer than half the pot is blank.
    assert np.isfinite(ranges).sum() >= 25
    assert np.nanmean(ranges) == pytest.approx(practical_range, rel=within)
    assert np.nanmean([each["L* sill"] for each in found]) == pytest.approx(1, rel=within)
    # a* is half of L*, so that its patches are the same and its sill a quarter.
    assert [each["a* range [mm]"] for each in found] == pytest.approx(ranges.tolist(), nan_ok=True)


@pytest.mark.parametrize("model", list(CORRELATION))
@pytest.mark.parametrize(("practical_range", "within"), [(5.0, 0.15), (20.0, 0.2), (40.0, 0.25)])
def test_sampling_error_of_simulated_fields(model, practical_range, within):
    """30 fields each: the mean estimate against the true standard deviation of band less whole.

    The truth is the double sum of the covariance over places of the band and of the whole side, written out
    here by a fast Fourier transform over the cylinder, 1 mm by 1°.
    """
    rows = int(HEIGHT)
    up = np.arange(2 * rows)
    up = np.minimum(up, 2 * rows - up) * HEIGHT / rows
    turn = np.minimum(np.arange(COLUMNS), COLUMNS - np.arange(COLUMNS)) * 2 * np.pi * RADIUS / COLUMNS
    covariance = CORRELATION[model](np.hypot(up[:, None], turn) / practical_range)
    # Two places in one cell are not at distance 0: the mean over places in two cells drawn evenly.
    inside = np.random.default_rng(1).uniform(0, [HEIGHT / rows, 2 * np.pi * RADIUS / COLUMNS], (2, 4000, 2))
    apart = np.hypot(*(inside[0] - inside[1]).T)
    covariance[0, 0] = CORRELATION[model](apart / practical_range).mean()
    band = np.abs(np.arange(COLUMNS) - 179.5) <= 37
    weights = np.zeros((2 * rows, COLUMNS))
    weights[:rows] = band / band.sum() / rows - 1 / (rows * COLUMNS)
    power = np.abs(fft.fft2(weights)) ** 2
    truth = np.sqrt((power * fft.fft2(covariance).real).sum() / weights.size)
    drawn = [field for seed in range(83_000, 83_015) for field in fields(model, practical_range, seed)]
    errors = np.array([sampling_error(read_mottle(view_of(field), 37)) for field in drawn])
    assert errors[:, 0].mean() == pytest.approx(truth, rel=within)
    assert errors[:, 1] == pytest.approx(errors[:, 0] / 2)


def test_circular_mean_and_spread():
    """Source: SciPy's `circmean` and `circstd`, on hues repeated as often as they weigh."""
    rng = np.random.default_rng(4)
    for middle, spread in ((350.0, 25.0), (40.0, 60.0), (181.0, 5.0)):
        hues, counts = rng.normal(middle, spread, 400), rng.integers(1, 5, 400)
        angle, chroma = np.radians(hues), rng.uniform(6, 40, 400)
        lab = np.column_stack([np.full(400, 50.0), chroma * np.cos(angle), chroma * np.sin(angle)])
        measures = colour_measures(lab, counts, ())
        repeated = np.repeat(hues, counts)
        assert measures["hue angle"] == pytest.approx(stats.circmean(repeated, 360), abs=1e-9)
        assert measures["hue angle SD"] == pytest.approx(stats.circstd(repeated, 360), abs=1e-9)


def test_weighted_moments_and_quantiles():
    """Source: NumPy's `average`, and `quantile` by the method `inverted_cdf`."""
    rng = np.random.default_rng(5)
    lab, weights = rng.normal([50, 15, 20], [15, 8, 9], (20_000, 3)), rng.uniform(0.5, 2, 20_000)
    measures = colour_measures(lab, weights, ())
    for k, axis in enumerate(("L*", "a*", "b*")):
        assert measures[axis] == pytest.approx(np.average(lab[:, k], weights=weights))
        spread = np.sqrt(np.cov(lab[:, k], aweights=weights, ddof=0))
        assert measures[f"{axis} SD"] == pytest.approx(float(spread))
        for share, name in ((0.5, "median"), (0.05, "5 %"), (0.25, "25 %"), (0.75, "75 %"), (0.95, "95 %")):
            expected = np.quantile(lab[:, k], share, weights=weights, method="inverted_cdf")
            assert measures[f"{axis} {name}"] == expected


def inertia(lab, weights, centres):
    return weights @ ((lab[:, None] - centres) ** 2).sum(axis=-1).min(axis=1)


@pytest.fixture(scope="module")
def surfaces(demo):
    sys.path.insert(0, str(demo))
    try:
        surface = importlib.import_module("generator.surface")
    finally:
        sys.path.remove(str(demo))
    pieces = [
        surface.Piece("bowl", 9.0, 10.0, (38, 16, 14), copper=True, wire_cm=20.0),
        surface.Piece("bottle", 12.0, 8.0, (50, 12, 18)),
        surface.Piece("beaker", 9.0, 8.0, (60, 8, 12), wire_cm=30.0),
    ]
    made = [surface.make_surface(np.random.default_rng(900 + k), piece) for k, piece in enumerate(pieces)]
    return [(one.lab[::4, ::4].reshape(-1, 3).astype(float), np.repeat(one.area[::4], 250)) for one in made]


def test_palette_of_rendered_surfaces(surfaces, monkeypatch):
    """Source: scikit-learn's `KMeans`, the best of ten starts: sum of squares within 1 %."""
    from sagglab.photo import palette as room

    # As the clusters are before any are joined.
    monkeypatch.setattr(room, "APART_DE00", 0.0)
    monkeypatch.setattr(room, "LEAST_SHARE", 0.0)
    for lab, weights in surfaces:
        found = palette(lab, weights)
        best = KMeans(6, n_init=10, random_state=0).fit(lab, sample_weight=weights)
        assert len(found.share) == 6
        assert inertia(lab, weights, found.lab) <= 1.01 * inertia(lab, weights, best.cluster_centers_)


@pytest.mark.parametrize("seed", range(5))
def test_palette_of_distinct_colours(seed):
    """Source: scikit-learn's `KMeans`: centres within ΔE00 1 where the colours are well apart."""
    rng = np.random.default_rng(seed)
    colours = np.array([[22, 1, 2], [35, 33, 21], [55, 26, 44], [52, 27, 5], [54, 0, 1], [86, 1, 9]], float)
    counts = rng.integers(1000, 4000, 6)
    lab = rng.normal(np.repeat(colours, counts, axis=0), 2.0)
    weights = rng.uniform(0.5, 2, len(lab))
    found = palette(lab, weights)
    best = KMeans(6, n_init=10, random_state=0).fit(lab, sample_weight=weights)
    of_best = np.bincount(best.labels_, weights) / weights.sum()
    order = np.argsort(-of_best)
    assert delta_e_2000(found.lab, best.cluster_centers_[order]).max() < 1
    assert found.share == pytest.approx(of_best[order], abs=0.005)
