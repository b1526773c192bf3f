"""The target finder on painted pictures, where every corner is known."""

import cv2
import numpy as np
import pytest

from sagglab.colour import lab_to_srgb, linear_to_srgb, srgb_to_linear
from sagglab.errors import TargetError
from sagglab.photo.grid import project
from sagglab.photo.patches import grid_to_picture
from sagglab.photo.picture import Picture
from sagglab.photo.target import find_target
from sagglab.targets import Target, read_target

CELL, GAP = 48, 10
HEIGHT, WIDTH = 900, 1200


@pytest.fixture(scope="module")
def target():
    return read_target("24-patch-from-2014-11")


def painted(lab, frame=0.02):
    """A chart in linear light, and its corner patches' centres on it."""
    rows, columns = lab.shape[:2]
    step = CELL + GAP
    chart = np.full((rows * step + 3 * GAP, columns * step + 3 * GAP, 3), frame, dtype=np.float32)
    colours = srgb_to_linear(lab_to_srgb(lab)[0])
    for row in range(rows):
        for column in range(columns):
            top, left = 2 * GAP + row * step, 2 * GAP + column * step
            chart[top : top + CELL, left : left + CELL] = colours[row, column]
    first = 2 * GAP + (CELL - 1) / 2
    right, bottom = first + (columns - 1) * step, first + (rows - 1) * step
    return chart, np.array([[first, first], [right, first], [right, bottom], [first, bottom]])


def clutter(random):
    """A table top with grain, and sheets, pots and rods on it."""
    picture = np.full((HEIGHT, WIDTH, 3), random.uniform(0.1, 0.5, 3), dtype=np.float32)
    picture *= random.normal(1, 0.1, (HEIGHT, WIDTH, 1)).astype(np.float32)
    for _ in range(25):
        colour = random.uniform(0.02, 0.8, 3).tolist()
        x, y = random.integers(WIDTH), random.integers(HEIGHT)
        wide, high = (int(size) for size in random.integers(15, 160, 2))
        box = cv2.boxPoints(((float(x), float(y)), (wide, high), random.uniform(0, 90)))
        cv2.fillConvexPoly(picture, box.astype(np.int32), colour)
        x, y = random.integers(WIDTH), random.integers(HEIGHT)
        cv2.circle(
            picture, (int(x), int(y)), int(random.integers(5, 60)), random.uniform(0, 0.8, 3).tolist(), -1
        )
    return picture


def photographed(chart, corners, random, scale, cast=(1.0, 1.0, 1.0), exposure=1.0, blur=0.8):
    """The chart on a cluttered table, through a lens, a light that falls off and an 8-bit file."""
    height, width = chart.shape[:2]
    angle = random.uniform(0, 2 * np.pi)
    turn = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    edges = np.array([[0, 0], [width, 0], [width, height], [0, height]]) - 0.5
    placed = (edges - edges.mean(axis=0)) @ turn.T
    placed += random.uniform(-0.04, 0.04, (4, 2)) * scale * width
    low, high = placed.min(axis=0), placed.max(axis=0)
    placed += random.uniform(2 - low, np.array([WIDTH, HEIGHT]) - 3 - high)
    homography = cv2.getPerspectiveTransform(edges.astype(np.float32), placed.astype(np.float32))
    picture = clutter(random)
    mask = cv2.warpPerspective(np.ones((height, width), np.float32), homography, (WIDTH, HEIGHT))[..., None]
    laid = cv2.warpPerspective(chart, homography, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REPLICATE)
    picture = picture * (1 - mask) + laid * mask
    picture = cv2.GaussianBlur(picture, (0, 0), blur)
    fall_off = np.linspace(1, 0.6, WIDTH, dtype=np.float32)[None, :, None]
    picture = exposure * picture * fall_off * np.array(cast, dtype=np.float32)
    picture += random.normal(0, 0.004, picture.shape)
    encoded = np.round(linear_to_srgb(np.clip(picture, 0, 1)) * 255) / 255
    return srgb_to_linear(encoded.astype(np.float32)), project(homography, corners)


def worst_corner(found, truth, rows, columns):
    """The worst corner's distance, in steps from patch to patch."""
    across = np.hypot(*(truth[1] - truth[0])) / (columns - 1)
    down = np.hypot(*(truth[3] - truth[0])) / (rows - 1)
    return np.hypot(*(found.corners - truth).T).max() / min(across, down)


@pytest.mark.parametrize("seed", range(12))
def test_any_turn_cast_and_exposure(target, seed):
    random = np.random.default_rng(seed)
    chart, corners = painted(target.lab)
    cast = random.uniform(0.55, 1.0, 3)
    picture, truth = photographed(
        chart,
        corners,
        random,
        random.uniform(0.45, 1.6),
        cast,
        random.uniform(0.25, 1.4),
        random.uniform(0.5, 2),
    )
    found = find_target(Picture(picture), target)
    assert worst_corner(found, truth, 4, 6) < 0.25
    assert 0.5 <= found.confidence <= 1
    assert not found.hidden.any()
    assert not found.problems


def test_centres_are_found_within_a_twentieth_of_a_patch(target):
    chart, corners = painted(target.lab)
    picture, truth = photographed(chart, corners, np.random.default_rng(100), 1.2)
    assert worst_corner(find_target(Picture(picture), target), truth, 4, 6) < 0.05


def test_a_light_frame(target):
    chart, corners = painted(target.lab, frame=0.6)
    picture, truth = photographed(chart, corners, np.random.default_rng(101), 1.0)
    assert worst_corner(find_target(Picture(picture), target), truth, 4, 6) < 0.25


def test_full_size_pixels(target):
    chart, corners = painted(target.lab)
    picture, truth = photographed(chart, corners, np.random.default_rng(102), 1.0)
    # Each pixel becomes 3 by 3: pixel centre c lies at 3 c + 1.
    larger = np.repeat(np.repeat(picture, 3, axis=0), 3, axis=1)
    assert worst_corner(find_target(Picture(larger), target), 3 * truth + 1, 4, 6) < 0.05


def test_a_small_target_in_a_large_picture(target):
    chart, corners = painted(target.lab)
    picture, truth = photographed(chart, corners, np.random.default_rng(103), 0.55)
    # Laid into a larger scene the patches are 32 of 4000 pixels apart, under 10 of the first look's 1200.
    scene = np.full((3000, 4000, 3), 0.3, dtype=np.float32)
    scene[1500 : 1500 + HEIGHT, 2100 : 2100 + WIDTH] = picture
    assert worst_corner(find_target(Picture(scene), target), truth + [2100, 1500], 4, 6) < 0.25


def covered(chart, rows, columns, random):
    """Lay something matt and grained on a block of patches, of a colour unlike those under it."""
    step = CELL + GAP
    top, left = (
        0 if first.start == 0 else 2 * GAP - GAP // 2 + first.start * step for first in (rows, columns)
    )
    bottom, right = 2 * GAP - GAP // 2 + rows.stop * step, 2 * GAP - GAP // 2 + columns.stop * step
    grain = random.normal(1, 0.08, (bottom - top, right - left, 1))
    chart = chart.copy()
    chart[top:bottom, left:right] = (
        np.array([0.05, 0.65, 0.05]) * cv2.GaussianBlur(grain, (0, 0), 2)[..., None]
    )
    return chart


@pytest.mark.parametrize(
    ("rows", "columns"),
    [
        (slice(0, 1), slice(0, 6)),
        (slice(3, 4), slice(0, 6)),
        (slice(0, 4), slice(5, 6)),
        (slice(0, 2), slice(0, 4)),
        (slice(2, 4), slice(2, 6)),
    ],
)
@pytest.mark.parametrize("seed", range(2))
def test_covered_patches_are_named(target, rows, columns, seed):
    random = np.random.default_rng(104 + seed)
    chart, corners = painted(target.lab)
    picture, truth = photographed(covered(chart, rows, columns, random), corners, random, 1.2)
    found = find_target(Picture(picture), target)
    assert worst_corner(found, truth, 4, 6) < 0.25
    hidden = np.zeros((4, 6), dtype=bool)
    hidden[rows, columns] = True
    np.testing.assert_array_equal(found.hidden, hidden)
    assert found.problems.flags == "hidden patches"
    assert all(name in found.problems.told for name in np.array(target.patches)[hidden.ravel()])


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_patches_beyond_the_frame_are_named(target, side):
    random = np.random.default_rng(120)
    chart, corners = painted(target.lab)
    picture, truth = photographed(chart, corners, random, 1.0)
    every = np.stack(np.meshgrid(np.arange(6.0), np.arange(4.0)), axis=-1)
    places = project(grid_to_picture(truth, (4, 6)), every)
    axis = 0 if side in ("left", "right") else 1
    at = int(np.quantile(places[..., axis], 0.2 if side in ("left", "top") else 0.8))
    kept = slice(at, None) if side in ("left", "top") else slice(None, at)
    picture = picture[:, kept] if axis == 0 else picture[kept]
    shift = np.eye(2)[axis] * (at if side in ("left", "top") else 0)
    found = find_target(Picture(np.ascontiguousarray(picture)), target)
    assert worst_corner(found, truth - shift, 4, 6) < 0.25
    beyond = places[..., axis] < at if side in ("left", "top") else places[..., axis] > at
    assert found.hidden[beyond].all()
    # A patch whose middle is inside may be cut as well, but only beside those that are outside.
    assert beyond.sum() <= found.hidden.sum() <= beyond.sum() + 6


def test_the_larger_of_two_targets_is_used(target):
    chart, corners = painted(target.lab)
    small, _ = photographed(chart, corners, np.random.default_rng(105), 0.7)
    large, truth = photographed(chart, corners, np.random.default_rng(106), 1.2)
    both = np.concatenate([small, large], axis=1)
    truth = truth + [WIDTH, 0]
    found = find_target(Picture(both), target)
    assert worst_corner(found, truth, 4, 6) < 0.25
    assert found.problems.flags == "several targets"
    x, y = truth.mean(axis=0)
    assert f"2 targets are in the picture, and that around x {x:.0f}"[:-1] in found.problems.told
    assert found.confidence >= 0.5


@pytest.mark.parametrize("shape", [(3, 4), (5, 7), (2, 6)])
def test_other_grids(shape):
    random = np.random.default_rng(7)
    count = shape[0] * shape[1]
    hue = np.deg2rad(np.arange(count) * 150.0)
    light = 30 + random.permutation(count) * 55.0 / count
    lab = np.stack([light, 40 * np.cos(hue), 40 * np.sin(hue)], axis=-1).reshape(*shape, 3)
    custom = Target("custom", lab, tuple(map(str, range(count))))
    chart, corners = painted(custom.lab)
    for seed in range(4):
        picture, truth = photographed(chart, corners, np.random.default_rng(seed), 1.2, cast=(1, 0.9, 0.6))
        found = find_target(Picture(picture), custom)
        assert worst_corner(found, truth, *shape) < 0.25
        assert found.hidden.shape == shape


@pytest.mark.parametrize("seed", range(4))
def test_a_mirror_image_is_refused(target, seed):
    chart, corners = painted(target.lab)
    picture, _ = photographed(chart, corners, np.random.default_rng(seed), 1.2)
    with pytest.raises(TargetError, match=r"the picture is mirrored.* Turn off the camera's mirroring"):
        find_target(Picture(np.ascontiguousarray(picture[:, ::-1])), target)


def test_a_target_is_used_beside_its_mirror_image(target):
    chart, corners = painted(target.lab)
    picture, truth = photographed(chart, corners, np.random.default_rng(107), 0.8)
    both = np.concatenate([picture, picture[:, ::-1]], axis=1)
    assert worst_corner(find_target(Picture(both), target), truth, 4, 6) < 0.25


def test_a_target_that_is_its_own_mirror_image_is_not_refused():
    random = np.random.default_rng(8)
    lab = np.stack([random.uniform(*each, (4, 6)) for each in ((25, 90), (-40, 40), (-40, 40))], axis=-1)
    lab[:, 3:] = lab[:, 2::-1]
    symmetrical = Target("symmetrical", lab, tuple(map(str, range(24))))
    chart, corners = painted(lab)
    picture, truth = photographed(chart, corners, random, 1.2)
    assert worst_corner(find_target(Picture(picture), symmetrical), truth, 4, 6) < 0.25


@pytest.mark.parametrize("seed", range(4))
def test_other_colours_are_refused(target, seed):
    random = np.random.default_rng(seed)
    shuffled = random.permutation(target.lab.reshape(-1, 3)).reshape(target.lab.shape)
    chart, corners = painted(shuffled)
    picture, _ = photographed(chart, corners, random, 1.2)
    with pytest.raises(TargetError, match="no grid of patches bears the target's colours"):
        find_target(Picture(picture), target)


@pytest.mark.parametrize("seed", range(4))
def test_no_target(target, seed):
    with pytest.raises(TargetError) as error:
        find_target(Picture(clutter(np.random.default_rng(seed))), target)
    assert error.value.where == "photograph"


def test_part_of_a_larger_chart_is_refused(target):
    random = np.random.default_rng(5)
    lab = np.stack([random.uniform(*bounds, (8, 10)) for bounds in ((25, 90), (-40, 40), (-40, 40))], axis=-1)
    lab[2:6, 2:8] = target.lab
    chart, corners = painted(lab)
    picture, _ = photographed(chart, corners, random, 0.9)
    with pytest.raises(TargetError, match="part of a larger chart"):
        find_target(Picture(picture), target)


def test_four_patches_are_too_few():
    lab = np.array([[[90, 0, 0], [40, 50, 20]], [[50, -40, 30], [30, 10, -50.0]]])
    few = Target("few", lab, ("1", "2", "3", "4"))
    chart, corners = painted(lab)
    picture, _ = photographed(chart, corners, np.random.default_rng(0), 1.5)
    with pytest.raises(TargetError):
        find_target(Picture(picture), few)


@pytest.mark.parametrize("shape", [(1, 1, 3), (1, 500, 3), (40, 30, 3)])
def test_pictures_too_small_for_any_target(target, shape):
    with pytest.raises(TargetError, match="no grid of patches is seen"):
        find_target(Picture(np.full(shape, 0.4, dtype=np.float32)), target)
