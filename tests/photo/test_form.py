"""Form: the axis by symmetry, the radius by height, and what must not pull them."""

import numpy as np
import pytest

from sagglab.errors import OutlineError, Problems
from sagglab.photo.form import _from_above, find_form
from sagglab.photo.outline import Outline

NAMES = ("cylinder", "cone", "vase")


def bulging(outline, rows, by):
    """Push the left side of an outline out over a range of its places, as a hand or a shadow does."""
    ring = outline.rings[0].copy()
    ring[rows, 0] -= by
    return Outline((ring,), np.nan, Problems())


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("tilt", [0, 2.5, -6])
def test_axis_and_radius_are_those_of_the_solid(turned, name, tilt):
    form = find_form(turned(name, tilt=tilt))
    assert form.tilt == pytest.approx(tilt, abs=0.01)
    np.testing.assert_allclose(form.foot, (300, 520), atol=0.05)
    assert form.length == pytest.approx(420, abs=0.05)
    expected = {
        "cylinder": np.full(400, 140.0),
        "cone": 90 + 80 * form.heights,
        "vase": 110 + 40 * np.sin(2 * np.pi * (form.heights - 0.1)),
    }[name]
    # The outermost hundredth is continued from the wall in a straight line.
    np.testing.assert_allclose(form.radius[8:-8], expected[8:-8], atol=0.05)
    np.testing.assert_allclose(form.radius, expected, atol=0.3)


def test_widest_place_is_that_of_the_solid(turned):
    assert find_form(turned("vase")).widest == pytest.approx(0.35, abs=0.005)
    assert find_form(turned("cone")).widest > 0.98
    assert find_form(turned("cylinder")).widest == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "rows", [slice(10, 200), slice(120, 340), slice(420, 740)], ids=["foot", "low", "high"]
)
@pytest.mark.parametrize("by", [6, 25, 90])
def test_a_bulge_on_one_side_pulls_neither_axis_nor_radius(turned, name, rows, by):
    plain = find_form(turned(name, tilt=2))
    form = find_form(bulging(turned(name, tilt=2), rows, by))
    assert form.tilt == pytest.approx(2, abs=0.05)
    np.testing.assert_allclose(form.foot, plain.foot, atol=0.3)
    np.testing.assert_allclose(form.radius, plain.radius, atol=1.5)


def test_a_notch_on_one_side_does_not_matter(turned):
    form = find_form(bulging(turned("vase"), slice(300, 380), -30))
    np.testing.assert_allclose(form.radius, find_form(turned("vase")).radius, atol=1.5)
    assert form.tilt == pytest.approx(0, abs=0.05)


def test_holes_do_not_matter(turned):
    outline = turned("vase", tilt=3)
    hole = np.array([[290, 300], [310, 300], [310, 330.0]])
    form = find_form(Outline((*outline.rings, hole), np.nan, Problems()))
    np.testing.assert_array_equal(form.radius, find_form(outline).radius)


@pytest.mark.parametrize("noise", [0.2, 0.6])
def test_noise_is_smoothed_and_adds_nothing_to_the_area(turned, noise):
    plain = find_form(turned("vase"))
    ring = turned("vase").rings[0]
    jitter = np.random.default_rng(4).normal(0, noise, ring.shape)
    form = find_form(Outline((ring + jitter,), np.nan, Problems()))
    assert form.side_px2 == pytest.approx(plain.side_px2, rel=0.003)
    off = (form.radius - plain.radius)[8:-8]
    assert np.sqrt((off**2).mean()) < noise
    assert form.tilt == pytest.approx(0, abs=0.1)


def test_what_is_sharp_stays_sharp_without_noise(turned):
    def collar(height):
        return 100 + 12 * (np.abs(height - 0.8) < 0.02)

    form = find_form(turned(collar))
    # A band of a twenty-fifth of the height, some eight heights to each side of its middle.
    assert form.radius[np.abs(form.heights - 0.8) < 0.01] == pytest.approx(112, abs=0.3)
    assert form.radius[np.abs(form.heights - 0.8) > 0.035] == pytest.approx(100, abs=0.3)


def test_a_ball_stands_upright_for_want_of_signs(turned):
    ball = turned(
        lambda height: 200 * np.sqrt(np.clip(1 - (2 * height - 1) ** 2, 0, None)), length=400, tilt=5
    )
    assert find_form(ball).tilt == pytest.approx(0, abs=0.3)


@pytest.mark.parametrize("bend", [0.04, 0.15])
@pytest.mark.parametrize("name", NAMES)
def test_arcs_of_foot_and_rim_are_no_part_of_the_side(turned, name, bend):
    plain = find_form(turned(name))
    ring = turned(name).rings[0]
    across = np.cos(np.linspace(0, np.pi, 181))[1:-1]
    (left_foot, right_foot), (left_rim, right_rim) = ring[[0, -1]], ring[[840, 841]]
    arc = np.sqrt(1 - across**2)
    rim_half, foot_half = (right_rim[0] - left_rim[0]) / 2, (right_foot[0] - left_foot[0]) / 2
    rim = np.column_stack([300 - across * rim_half, left_rim[1] - bend * rim_half * arc])
    foot = np.column_stack([300 + across * foot_half, left_foot[1] + bend * foot_half * arc])
    form = find_form(Outline((np.vstack([ring[:841], rim, ring[841:], foot]),), np.nan, Problems()))
    # A hundredth of the height for the steepest: the radius of the end is read a little beside it.
    assert form.length == pytest.approx(plain.length, rel=0.01)
    assert form.side_px2 == pytest.approx(plain.side_px2, rel=0.015)


def test_rendered_pots_have_their_size(scenes, view_of):
    for seed in (71200, 71202):
        rng = np.random.default_rng(seed)
        piece = scenes.make_surface(rng, scenes.draw_piece(rng)).piece
        form = view_of(scenes.render_scene(seed), 1 / scenes.PX_PER_CM).form
        assert form.height_cm == pytest.approx(piece.height_cm, rel=0.01)
        assert form.diameter_cm == pytest.approx(piece.diameter_cm, rel=0.01)
        assert abs(form.tilt) < 0.1


def test_lengths_are_blank_without_a_scale(turned):
    form = find_form(turned("cone"))
    assert np.isnan([form.height_cm, form.diameter_cm, form.area_cm2]).all()


@pytest.mark.parametrize("height", [0.6, 2, 5])
def test_an_outline_of_a_few_pixels_makes_no_fault(height):
    ring = np.array([[20, 10], [26, 10], [26, 10 + height], [20, 10 + height]])
    form = find_form(Outline((ring,), np.nan, Problems()), 0.1)
    assert np.isfinite(form.radius).all() and (form.radius > 0).all()
    assert np.isfinite([form.tilt, form.widest, form.area_cm2]).all()


def test_no_outline_is_refused():
    with pytest.raises(OutlineError, match="no pot was found, so that there is no form. Give its outline"):
        find_form(Outline((), 0.0, Problems()))


@pytest.mark.parametrize("ring", [[[5, 5], [30, 5], [60, 5]], [[5, 5], [5, 30], [5, 60]], [[5, 5]]])
def test_an_outline_around_nothing_is_refused(ring):
    with pytest.raises(OutlineError, match="it surrounds nothing. Give the places around the pot"):
        find_form(Outline((np.array(ring, dtype=float),), np.nan, Problems()))


def test_a_pot_given_in_pieces_is_one(turned):
    ring = turned("vase").rings[0]
    rows = len(ring) // 2
    pieces = (
        np.vstack([ring[: rows // 2], ring[-(rows // 2) :]]),
        np.vstack([ring[rows // 2 : rows], ring[rows : -(rows // 2)]]),
    )
    form = find_form(Outline(pieces, np.nan, Problems()))
    np.testing.assert_allclose(form.radius, find_form(turned("vase")).radius, atol=0.05)


def test_a_camera_near_by_is_told_from_the_arcs_of_foot_and_rim(scenes, view_of):
    """Half-way up, 5600 px away: it looks down on the foot and up at the rim by the same angle."""
    for seed in (11, 12, 13, 14):
        form = view_of(scenes.render_scene(seed)).form
        expected = form.length / 2 / scenes.DISTANCE_PX
        assert form.foot_from_above == pytest.approx(expected, abs=0.015)
        assert form.rim_from_above == pytest.approx(-expected, abs=0.015)


@pytest.mark.parametrize(
    ("foot", "rim", "from_above"),
    [
        (0.06, 0.06, -0.06),  # as far above the foot as below the rim
        (0.10, 0.02, 0.02),  # either would do: no inside of the pot is taken for its side
        (0.40, 0.30, 0.30),  # from below, the camera would stand within the pot's height and a half
        (0.05, 0.0, 0.0),  # level with the rim
        (0.0, 0.0, 0.0),  # from far away
    ],
)
def test_the_rim_is_seen_from_above_or_below(foot, rim, from_above):
    told = _from_above(100 * foot, 100 * rim, np.full(400, 100.0))
    assert told == pytest.approx((foot, from_above))
