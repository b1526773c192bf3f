"""Dots in measured colours: each at its place, with a corner where the display cannot show it."""

import matplotlib.pyplot as plt
import numpy as np

from sagglab.charts.dots import CORNERED, measured_dots
from sagglab.colour import lab_to_srgb

LAB = np.array([[40.0, 10, 10], [50, 110, 90], [97, 0, 2], [30, np.nan, 5]])


def test_each_kind_has_its_mark_and_its_colour():
    ax = plt.figure().add_subplot()
    assert measured_dots(ax, range(4), [5, 6, 7, 8], LAB) is True
    shown, cornered, hollow = ax.collections
    np.testing.assert_array_equal(shown.get_offsets(), [[0, 5], [2, 7]])
    np.testing.assert_allclose(shown.get_facecolors()[:, :3], lab_to_srgb(LAB[[0, 2]])[0])
    np.testing.assert_array_equal(cornered.get_offsets(), [[1, 6]])
    np.testing.assert_allclose(cornered.get_facecolors()[:, :3], lab_to_srgb(LAB[[1]])[0])
    np.testing.assert_array_equal(hollow.get_offsets(), [[3, 8]])
    assert len(hollow.get_facecolors()) == 0
    # One thin edge for all: a colour as an edge would say no more than the corner, and less in grey.
    np.testing.assert_array_equal(shown.get_edgecolors()[0], cornered.get_edgecolors()[0])


def test_nothing_is_drawn_of_nothing():
    ax = plt.figure().add_subplot()
    assert measured_dots(ax, [], [], np.empty((0, 3))) is False
    assert not ax.collections


def test_a_cornered_dot_is_a_circle_with_its_upper_right_quarter_filled_out():
    for inside in ([0.9, 0.9], [-0.6, 0.6], [-0.6, -0.6], [0.6, -0.6]):
        assert CORNERED.contains_point(inside)
    for beyond in ([-0.8, 0.8], [-0.8, -0.8], [0.8, -0.8]):
        assert not CORNERED.contains_point(beyond)


def test_both_kinds_come_out_equally_wide():
    ax = plt.figure().add_subplot()
    measured_dots(ax, [0, 1], [0, 0], LAB[:2])
    widths = [np.ptp(dots.get_paths()[0].vertices, axis=0) for dots in ax.collections]
    np.testing.assert_allclose(widths[0], widths[1], rtol=1e-6)


def test_of_a_crowd_each_is_smaller():
    sizes = []
    for count in (60, 61):
        ax = plt.figure().add_subplot()
        measured_dots(ax, range(count), range(count), np.tile(LAB[0], (count, 1)))
        sizes.append(ax.collections[0].get_sizes()[0])
    assert sizes[1] < sizes[0]
