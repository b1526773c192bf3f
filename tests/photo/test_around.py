"""Views joined around a pot: against the pot's own surface, without seams, and honest about overlaps."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from sagglab.errors import SurfaceError
from sagglab.photo.around import join_maps
from sagglab.photo.unrolled import SurfaceMap

TURNS = {3: (0.0, 120.0, 240.0), 4: (0.0, 90.0, 180.0, 270.0)}


def plain_map(colour=(40.0, 5.0, 8.0), rows=60):
    lab = np.broadcast_to(np.array(colour), (rows, 150, 3)).copy()
    lab[[0, -1]] = np.nan
    area = np.ones((rows, 150))
    area[[0, -1]] = 0
    height = 1 - (np.arange(rows) + 0.5) / rows
    return SurfaceMap(
        lab, area, np.arange(150) - 74.5, height, np.full(rows, 50.0), np.full(rows, 6000 / 60 / rows)
    )


def painted_map(turn, rows=60, paint=None):
    """Show a view of a pot that is painted by its own angle and height."""
    view = plain_map(rows=rows)
    paint = paint or (lambda degrees, height: 45 + 12 * np.sin(np.radians(degrees)) * np.cos(5 * height))
    lab = view.lab.copy()
    lab[..., 0] = paint(view.degrees[None] + turn, view.height[:, None])
    lab[[0, -1]] = np.nan
    return replace(view, lab=lab)


def true_map(surface, generator_angles, rows):
    """Bring the generator's own surface into the layout of a joined map."""
    lab = surface.lab[::-1, np.argsort(generator_angles)].astype(float)
    return cv2.resize(
        cv2.resize(lab, (360, len(lab)), interpolation=cv2.INTER_AREA),
        (360, rows),
        interpolation=cv2.INTER_AREA,
    )


@pytest.fixture(scope="module")
def joined(unrolled_views):
    found = {}

    def joined(seed, views):
        if (seed, views) not in found:
            surface, maps = unrolled_views(seed, TURNS[views])
            found[seed, views] = surface, maps, join_maps(maps, TURNS[views])
        return found[seed, views]

    return joined


CASES = [(71101, 3), (71101, 4), (71106, 4)]


@pytest.mark.parametrize(("seed", "views"), CASES)
def test_the_joined_map_shows_the_pots_own_surface(joined, seed, views):
    surface, _, around = joined(seed, views)
    columns = surface.lab.shape[1]
    angles = ((np.arange(columns) + 0.5) * 360 / columns + 180) % 360 - 180
    off = around.map.lab - true_map(surface, angles, len(around.map.height))
    seen = around.map.area > 0
    weights = around.map.area[seen]
    bias = np.average(off[seen], axis=0, weights=weights)
    rms = np.sqrt(np.average((off[seen] - bias) ** 2, axis=0, weights=weights))
    # The file's colours are not calibrated: some 4 L* too dark as a whole. Besides there are the light on the
    # curve and heights that are off by up to a hundredth, as the camera stands 12 heights away. Reached over
    # six beakers, which show no glare: 2.2 to 3.0 L*, 1.8 to 2.3 a*, 1.4 to 2.2 b*.
    assert (rms < [3.1, 2.4, 2.3]).all()
    assert (np.abs(bias) < [5, 2, 2]).all()
    turned = np.roll(off + true_map(surface, angles, len(around.map.height)), 20, axis=1)
    astray = (turned - true_map(surface, angles, len(around.map.height)))[seen & np.roll(seen, 20, axis=1)]
    assert astray[:, 0].std() > 2 * rms[0]


@pytest.mark.parametrize(("seed", "views"), CASES)
def test_no_seam_is_seen(joined, seed, views):
    _, _, around = joined(seed, views)
    lightness = around.map.lab[8:-8, :, 0]
    step = np.abs(np.roll(lightness, -1, axis=1) - lightness).mean(axis=0)
    begins = np.concatenate([np.array(TURNS[views]) + side for side in (-75, 75)])
    seams = [int(np.floor(edge + 179.5)) % 360 for edge in begins]
    near = np.unique([(seam + k) % 360 for seam in seams for k in (-1, 0, 1)])
    assert np.median(step[near]) <= 1.2 * np.median(step)
    assert step[near].max() <= step.max()


@pytest.mark.parametrize(("seed", "views"), CASES)
def test_right_turns_are_believed_and_mirrored_ones_suspected(joined, seed, views):
    _, maps, around = joined(seed, views)
    assert not around.problems
    wrong = join_maps(maps, -np.array(TURNS[views]))
    assert [problem.cause for problem in wrong.problems] == [
        "the views agree much better with their turns the other way round"
    ]
    assert wrong.overlaps["rms ΔL*"].mean() > 1.5 * around.overlaps["rms ΔL*"].mean()


def test_whole_pots_mean_is_that_of_its_surface():
    turns = TURNS[4]
    around = join_maps([painted_map(turn) for turn in turns], turns)
    expected = 45 + 12 * np.sin(np.radians(around.map.degrees)) * np.cos(5 * around.map.height[:, None])
    inside = around.map.area > 0
    np.testing.assert_allclose(around.map.lab[..., 0][inside], expected[inside], atol=1e-6)
    assert around.uncovered == pytest.approx(0, abs=1e-9)
    assert around.map.area.sum() == pytest.approx(1)
    assert around.map.degrees[[0, -1]].tolist() == [-179.5, 179.5]
    np.testing.assert_allclose(around.overlaps[["ΔL*", "Δa*", "Δb*", "ΔE00", "rms ΔL*"]], 0, atol=1e-5)


def test_turns_between_degrees_and_in_any_order_are_placed_right():
    turns = (250.3, 14.6, 131.25)
    around = join_maps([painted_map(turn) for turn in turns], turns)
    expected = 45 + 12 * np.sin(np.radians(around.map.degrees)) * np.cos(5 * around.map.height[:, None])
    inside = around.map.area > 0
    np.testing.assert_allclose(around.map.lab[..., 0][inside], expected[inside], atol=0.01)
    assert around.overlaps["view"].tolist() == [14.6, 131.25, 250.3]
    assert around.overlaps["next view"].tolist() == [131.25, 250.3, 14.6]


def test_views_of_unlike_light_are_blended_without_a_step():
    views = [plain_map((40.0 + 3 * k, 5, 8)) for k in range(4)]
    around = join_maps(views, TURNS[4])
    row = around.map.lab[30, :, 0]
    # Three steps of 3 up and one of 9 down, each over 60°: nowhere more than 9 / 60 times π/2 for the curve.
    assert np.abs(np.roll(row, -1) - row).max() < 0.3
    assert around.overlaps["ΔL*"].tolist() == pytest.approx([3, 3, 3, -9])
    expected = np.sqrt((3 * 9 + 81) / 4 / 2)
    assert around.disagreement["L*"] == pytest.approx(expected)
    assert around.disagreement["a*"] == pytest.approx(0)
    assert around.overlaps["cells"].tolist() == [58 * 60] * 4


def test_disagreement_is_one_views_standard_deviation():
    rng = np.random.default_rng(12)
    found = []
    for _ in range(60):
        offsets = rng.normal(0, 2, 4)
        found.append(join_maps([plain_map((40 + off, 5, 8)) for off in offsets], TURNS[4]).disagreement["L*"])
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(2, rel=0.15)


def test_glare_is_filled_from_the_neighbours_or_left_out():
    views = [plain_map() for _ in range(4)]
    # At 45°, where the next view sees as well, and straight ahead, where no other does.
    for at in (slice(115, 125), slice(70, 80)):
        views[0].lab[20:30, at], views[0].area[20:30, at] = np.nan, 0
    around = join_maps(views, TURNS[4])
    lost = np.isnan(around.map.lab[20:30, :, 0]).any(axis=0)
    assert around.map.degrees[lost].tolist() == (np.arange(10) - 4.5).tolist()
    assert around.uncovered == pytest.approx(100 / (58 * 360))


def test_maps_of_unlike_heights_come_onto_common_ones():
    turns = TURNS[3]
    around = join_maps(
        [painted_map(turn, rows) for turn, rows in zip(turns, (60, 90, 75), strict=True)], turns
    )
    assert len(around.map.height) == 90
    expected = 45 + 12 * np.sin(np.radians(around.map.degrees)) * np.cos(5 * around.map.height[:, None])
    inside = (around.map.area > 0) & (np.abs(around.map.height[:, None] - 0.5) < 0.46)
    np.testing.assert_allclose(around.map.lab[..., 0][inside], expected[inside], atol=0.1)
    assert around.map.step_mm.sum() == pytest.approx(100, rel=0.01)


def test_gaps_are_told_not_refused():
    around = join_maps([plain_map()] * 3, (0, 90, 200))
    # The first and the third are 160° apart and see 75° to each side.
    assert around.uncovered == pytest.approx(10 / 360)
    assert [problem.cause for problem in around.problems] == ["the views at 200° and 0° do not overlap"]
    assert np.isnan(around.overlaps["ΔL*"].iloc[2]) and around.overlaps["cells"].iloc[2] == 0
    assert around.sentence.startswith("3 views show 97% of the side.")
    narrow = join_maps([plain_map()] * 3, (0, 105, 250))
    assert [problem.cause for problem in narrow.problems] == ["the views at 105° and 250° overlap by 5° only"]


def test_views_without_any_overlap_say_so():
    views = [
        replace(
            plain_map(),
            lab=plain_map().lab[:, 30:-30],
            area=plain_map().area[:, 30:-30],
            degrees=np.arange(90) - 44.5,
        )
    ] * 3
    around = join_maps(views, TURNS[3])
    assert np.isnan(list(around.disagreement.values())).all()
    assert around.sentence == (
        "3 views show 75% of the side. They do not overlap, so that nothing tells how well they agree."
    )


def test_the_result_says_what_it_found():
    around = join_maps([plain_map((40.0 + k, 5, 8)) for k in (0, 2, 0, 2)], TURNS[4])
    assert around.sentence == (
        "4 views show the whole side. Where neighbours overlap, they agree as if one view scattered by "
        "L* 1.4, a* 0.0, b* 0.0."
    )
    page = around._repr_html_()
    assert around.sentence in page and "<table" in page and "rms ΔL*" in page


def test_what_cannot_be_joined_is_refused():
    with pytest.raises(SurfaceError, match="2 cannot show the whole side. Photograph at least 3"):
        join_maps([plain_map()] * 2, (0, 180))
    for turns in ((0, 120), (0, 120, np.nan), 7):
        with pytest.raises(SurfaceError, match="not one number of degrees for each of the 3 views"):
            join_maps([plain_map()] * 3, turns)
    blank = replace(plain_map(), area=np.zeros((60, 150)))
    with pytest.raises(SurfaceError, match="nothing was measured in view 2"):
        join_maps([plain_map(), blank, plain_map()], TURNS[3])
