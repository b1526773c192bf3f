"""Fall-off of the light: pictures whose light is known, before backdrops that tell it or do not."""

import cv2
import numpy as np
import pytest

from sagglab.colour import linear_to_xyz, xyz_to_lab
from sagglab.photo import solution
from sagglab.photo.calibration import calibrate
from sagglab.photo.fall_off import BackdropTrend, EvenLight, TargetTrend, backdrop_trend
from sagglab.photo.flat import flat_field
from sagglab.photo.patches import grid_to_picture, sample_patches
from sagglab.photo.picture import Picture
from sagglab.photo.tone import fit_tone
from sagglab.targets import Target

ROWS, COLUMNS = 400, 600
CORNERS = np.array([[60.0, 220], [200, 222], [199, 306], [59, 304]])
AS_IT_IS = fit_tone(np.geomspace(0.9, 0.03, 6)[:, None] * np.ones(3), np.geomspace(0.9, 0.03, 6)[:, None])
#: Places far apart: left of the middle, where the target stands, and right of it, where the pot does.
LEFT, RIGHT = [130.0, 260.0], [420.0, 220.0]
X = (np.arange(COLUMNS) + 0.5) * 2 / COLUMNS - 1


def light_of(slope, bend):
    """Light that changes from left to right, shape (rows, columns, 1)."""
    return np.broadcast_to(np.exp(slope * X + bend * X**2)[:, None], (ROWS, COLUMNS, 1))


def ratio(light):
    """Light at the pot against light at the target."""
    at = light.at(np.array([LEFT, RIGHT]), AS_IT_IS)[:, 0]
    return at[1] / at[0]


def true_ratio(light):
    return light[220, 420, 0] / light[260, 130, 0]


@pytest.fixture(scope="module")
def table():
    """A target whose last row is grey, and its light."""
    light = np.random.default_rng(3).uniform(0.03, 0.75, (4, 6, 3))
    light[3] = np.geomspace(0.85, 0.03, 6)[:, None]
    return light, Target(
        "painted", xyz_to_lab(linear_to_xyz(light)), tuple(f"patch {n}" for n in range(1, 25))
    )


@pytest.fixture(scope="module")
def still_life(table):
    """Give a function that lays a pot with its shadow, and a target in its frame, before a backdrop."""

    def lay(backdrop, light, noise=0.004):
        y, x = np.mgrid[:ROWS, :COLUMNS].astype(float)
        picture = np.broadcast_to(np.asarray(backdrop, dtype=float), (ROWS, COLUMNS, 3)).copy()
        shadow = np.exp(-(((x - 450) / 120) ** 2) - ((y - 335) / 25) ** 2)
        picture *= 1 - 0.6 * shadow[..., None]
        picture[((x - 420) / 75) ** 2 + ((y - 220) / 115) ** 2 < 1] = [0.16, 0.09, 0.06]
        grid = cv2.perspectiveTransform(
            np.stack([x, y], -1).reshape(1, -1, 2), np.linalg.inv(grid_to_picture(CORNERS, (4, 6)))
        )[0].reshape(ROWS, COLUMNS, 2)
        column, row = np.rint(grid).astype(int).transpose(2, 0, 1)
        frame = (np.abs(grid - [2.5, 1.5]) < [3.3, 2.3]).all(axis=-1)
        inside = (np.abs(grid - np.rint(grid)) < 0.42).all(axis=-1) & frame
        inside &= (row >= 0) & (row < 4) & (column >= 0) & (column < 6)
        picture[frame] = 0.02
        picture[inside] = table[0][row[inside], column[inside]]
        grain = np.random.default_rng(2).normal(1, noise, picture.shape)
        return (picture * light * grain).astype(np.float32)

    return lay


def calibrated(picture, table, flat=None):
    return calibrate(sample_patches(Picture(picture), CORNERS, (4, 6)), table[1], flat, Picture(picture))


@pytest.mark.parametrize(("slope", "bend"), [(0.0, 0.0), (0.12, 0.0), (-0.15, -0.06), (0.05, 0.08)])
def test_a_plain_backdrop_tells_the_light(still_life, slope, bend):
    light = light_of(slope, bend)
    found = backdrop_trend(Picture(still_life([0.45, 0.45, 0.44], light)), CORNERS, (4, 6), AS_IT_IS)
    assert ratio(found) == pytest.approx(true_ratio(light), rel=0.01)
    np.testing.assert_allclose([found.slope, found.bend], [slope, bend], atol=0.01)


def test_light_that_changes_from_top_to_bottom_is_no_trend_to_the_side(still_life):
    """A sheet that is swept up turns towards the light and away from it."""
    swept = np.exp(0.5 * np.linspace(-1, 1, ROWS))[:, None, None]
    found = backdrop_trend(Picture(still_life(0.35, light_of(0.1, 0.0) * swept)), CORNERS, (4, 6), AS_IT_IS)
    assert (found.slope, found.bend) == pytest.approx((0.1, 0.0), abs=0.01)


def clutter():
    """Things of many colours and sizes, from edge to edge."""
    rng = np.random.default_rng(9)
    return cv2.resize(rng.uniform(0.05, 0.7, (8, 12, 3)), (COLUMNS, ROWS), interpolation=cv2.INTER_NEAREST)


def streaks():
    """One colour, in stripes of light and shade."""
    return 0.3 + 0.12 * np.sign(np.sin(np.arange(COLUMNS) / 11))[:, None] * np.ones(3)


@pytest.mark.parametrize("backdrop", [clutter, streaks])
def test_clutter_tells_nothing(still_life, table, backdrop):
    picture = still_life(backdrop(), light_of(0.1, 0.0))
    assert backdrop_trend(Picture(picture), CORNERS, (4, 6), AS_IT_IS) is None
    assert not isinstance(calibrated(picture, table).mapping.light, BackdropTrend)


def test_a_backdrop_seen_at_the_edge_alone_tells_nothing(still_life):
    picture = still_life(0.4, light_of(0.1, 0.0))
    picture[30:370, 40:560] = clutter()[30:370, 40:560]
    assert backdrop_trend(Picture(picture), CORNERS, (4, 6), AS_IT_IS) is None


def test_the_backdrops_trend_is_taken_out_of_the_pot(still_life, table):
    light = light_of(0.12, 0.03)
    found = calibrated(still_life(0.4, light), table)
    assert found.mapping.light.source == "from the backdrop"
    assert "uneven light" not in found.problems.flags
    pot = np.array([0.16, 0.09, 0.06])
    seen = found.lab(pot * light[220, 420], RIGHT)
    np.testing.assert_allclose(seen, xyz_to_lab(linear_to_xyz(pot)), atol=0.6)
    # Believed to be as bright there as at the target it would come out lighter.
    assert found.lab(pot * light[220, 420], LEFT)[0] - seen[0] > 1.5


def test_a_backdrop_that_the_target_contradicts_is_not_believed(still_life, table):
    """A wall that is lit by a window of its own; the light on the target is even."""
    backdrop = 0.35 * light_of(0.5, 0.0) * np.ones(3)
    found = calibrated(still_life(backdrop, light_of(0.0, 0.0), noise=0.001), table)
    assert not isinstance(found.mapping.light, BackdropTrend)


@pytest.fixture(scope="module")
def lamp():
    """Light that falls off strongly over the target, in both directions."""
    y = np.linspace(-1, 1, ROWS)[:, None, None]
    return np.exp(0.45 * X[None, :, None] - 0.3 * y)


def test_the_target_tells_a_strong_trend(still_life, table, lamp):
    found = calibrated(still_life(clutter(), lamp), table)
    light = found.mapping.light
    assert isinstance(light, TargetTrend)
    assert light.source == "from the target's patches"
    # Over 140 of 600 columns, and 84 of 400 rows.
    across, down = 0.45 * 2 * 140 / COLUMNS, -0.3 * 2 * 84 / ROWS
    assert light.slopes == pytest.approx((across, down), abs=0.03)
    assert "uneven light" not in found.problems.flags


def test_far_from_the_target_its_trend_stays_as_it_is(still_life, table, lamp):
    light = calibrated(still_life(clutter(), lamp), table).mapping.light
    # From a whole width of the target right of its middle.
    far, farther = light.at(np.array([[320.0, 264], [590.0, 264]]), AS_IT_IS)
    np.testing.assert_allclose(far, farther, rtol=0.01)
    assert far[0] == pytest.approx(np.exp(light.slopes[0]), rel=0.01)
    np.testing.assert_allclose(light.at(CORNERS.mean(axis=0), AS_IT_IS), 1, atol=0.01)


def test_in_even_light_no_more_than_a_trace_of_a_trend_is_seen(still_life, table):
    light = calibrated(still_life(clutter(), light_of(0.0, 0.0)), table).mapping.light
    np.testing.assert_allclose(light.at(np.array([LEFT, RIGHT]), AS_IT_IS), 1, atol=0.01)


def test_light_taken_to_be_even(still_life, table, monkeypatch):
    """The target's own trend is taken only when it betters the prediction, which nothing does here."""
    monkeypatch.setattr(solution, "MUCH_BETTER", 0.0)
    found = calibrated(still_life(clutter(), light_of(0.05, 0.0)), table)
    assert isinstance(found.mapping.light, EvenLight)
    assert found.mapping.light.source == "not corrected"
    assert "uneven light" in found.problems.flags
    assert (found.mapping.light.at(np.zeros((3, 5, 2)), AS_IT_IS) == np.ones((3, 5, 3))).all()


def test_a_flat_field_wins(still_life, table, lamp):
    sheet = (0.5 * lamp * np.ones(3)).astype(np.float32)
    for backdrop in (0.4, clutter()):
        found = calibrated(still_life(backdrop, lamp), table, flat_field(Picture(sheet)))
        assert found.mapping.light.source == "by the flat field"
        assert ratio(found.mapping.light) == pytest.approx(true_ratio(lamp), rel=0.01)


def test_what_is_known_of_the_light_is_surer_than_what_is_not():
    sheet = flat_field(Picture(np.full((30, 40, 3), 0.5, np.float32)))
    known = [sheet.doubt, BackdropTrend.doubt, TargetTrend.doubt]
    assert 0 < known[0] < known[1] < known[2] < EvenLight.doubt
