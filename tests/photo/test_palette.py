"""Palette: what is joined, what is dropped, and that the answer stays the same."""

import numpy as np
import pytest

from sagglab.colour import delta_e_2000
from sagglab.columns import PALETTE_COLOURS
from sagglab.photo.palette import APART_DE00, LEAST_SHARE, Palette, join_palettes, palette


def mottle(colours, counts, spread, seed=1):
    rng = np.random.default_rng(seed)
    return np.concatenate(
        [rng.normal(colour, spread, (count, 3)) for colour, count in zip(colours, counts, strict=True)]
    )


COLOURS = np.array([[25.0, 2, 2], [50, 30, 40], [80, 2, 8]])


def test_three_colours_by_area():
    lab = mottle(COLOURS, [5000, 3000, 2000], 0.3)
    weights = np.repeat([1.0, 1.0, 3.0], [5000, 3000, 2000])
    found = palette(lab, weights)
    # Weighted, the pale part is the largest: 6 of 14.
    assert found.share == pytest.approx([6 / 14, 5 / 14, 3 / 14], abs=1e-6)
    assert delta_e_2000(found.lab, COLOURS[[2, 0, 1]]).max() < 0.1
    assert found.lab == pytest.approx(
        np.array([lab[8000:].mean(axis=0), lab[:5000].mean(axis=0), lab[5000:8000].mean(axis=0)])
    )


def test_one_colour():
    found = palette(mottle(COLOURS[:1], [3000], 0.5), np.ones(3000))
    assert found.share.tolist() == [1.0]
    assert palette([[50, 1, 2]], [2.0]).lab.tolist() == [[50, 1, 2]]


def test_nothing_measured():
    for found in (
        palette(np.empty((0, 3)), np.empty(0)),
        palette([[50, 0, 0]], [0.0]),
        join_palettes([], []),
    ):
        assert found.lab.shape == (0, 3)
        assert np.isnan(list(found.to_dict().values())).all()


def test_same_in_any_order_and_on_any_run():
    lab = np.random.default_rng(2).normal([45, 15, 18], [15, 9, 10], (30_000, 3))
    weights = np.random.default_rng(3).uniform(0.5, 2, 30_000)
    once, again = palette(lab, weights), palette(lab, weights)
    assert (once.lab == again.lab).all() and (once.share == again.share).all()
    order = np.random.default_rng(4).permutation(30_000)
    mixed = palette(lab[order], weights[order])
    np.testing.assert_allclose(mixed.lab, once.lab, atol=1e-6)
    np.testing.assert_allclose(mixed.share, once.share, atol=1e-8)


def test_what_it_promises():
    lab = np.random.default_rng(5).normal([45, 15, 18], [15, 9, 10], (30_000, 3))
    found = palette(lab, np.ones(30_000))
    assert 1 < len(found.share) <= PALETTE_COLOURS
    assert (np.diff(found.share) <= 0).all() and found.share.sum() == pytest.approx(1)
    assert found.share.min() >= LEAST_SHARE
    apart = delta_e_2000(found.lab[:, None], found.lab[None])[np.triu_indices(len(found.lab), 1)]
    assert apart.min() >= APART_DE00
    # Joining and dropping leave the mean where it was.
    assert found.share @ found.lab == pytest.approx(lab.mean(axis=0), abs=1e-6)


def test_colours_hardly_told_apart_are_joined():
    near = np.array([[50.0, 20, 20], [52, 20, 20], [20, 0, 0]])
    assert delta_e_2000(near[0], near[1]) < APART_DE00
    found = palette(mottle(near, [1000, 1000, 1000], 0.01), np.ones(3000))
    assert found.share == pytest.approx([2 / 3, 1 / 3])
    assert found.lab[0] == pytest.approx([51, 20, 20], abs=0.01)


def test_specks_join_the_next_colour():
    found = palette(mottle(COLOURS, [6000, 3960, 40], 0.1), np.ones(10_000))
    assert found.share == pytest.approx([0.6, 0.4])


def test_columns():
    row = Palette(np.array([[50.0, 1, 2], [30, 3, 4]]), np.array([0.7, 0.3])).to_dict()
    assert len(row) == 4 * PALETTE_COLOURS
    assert list(row)[:5] == ["colour 1 L*", "colour 1 a*", "colour 1 b*", "colour 1 share", "colour 2 L*"]
    assert (row["colour 1 share"], row["colour 2 a*"]) == (0.7, 3)
    assert all(type(value) is float for value in row.values())
    assert np.isnan([row["colour 3 L*"], row["colour 6 share"]]).all()


def test_views_joined_by_area():
    front = Palette(COLOURS[:2], np.array([0.5, 0.5]))
    back = Palette(COLOURS[[0, 2]], np.array([0.8, 0.2]))
    both = join_palettes([front, back, Palette(np.empty((0, 3)), np.empty(0))], [1.0, 3.0, 5.0])
    assert both.share == pytest.approx([(0.5 + 3 * 0.8) / 4, 3 * 0.2 / 4, 0.5 / 4])
    assert both.lab == pytest.approx(COLOURS[[0, 2, 1]])


def test_colours_far_out_do_not_fill_the_memory():
    lab = mottle(COLOURS, [500, 300, 200], 0.3)
    lab[-1] = [5000, 40_000, -30_000]
    assert len(palette(lab, np.ones(1000)).share) == 3
