"""Labels: words keep clear of lines, of one another and of the edge."""

import matplotlib.figure
import matplotlib.pyplot as plt
import numpy as np
import pytest

from sagglab.charts.files import chart_svg
from sagglab.charts.labels import AROUND, Labels


@pytest.fixture
def labels():
    ax = plt.subplots(layout="constrained")[1]
    ax.set(xlim=(0, 10), ylim=(0, 10))
    return Labels(ax)


def around(x, y):
    return [((x, y), offset) for offset in AROUND]


def test_the_first_spot_is_taken_where_it_is_free(labels, texts):
    assert labels.put("words", around(5, 5))
    assert texts(labels.ax)["words"].x0 > labels.ax.transData.transform((5, 5))[0]


def test_words_are_nudged_apart(labels, assert_readable):
    assert all([labels.put(f"firing {number}", around(5, 5), leader=True) for number in range(8)])
    assert_readable(labels.ax)


def test_words_are_pushed_in_from_the_edge(labels, assert_readable):
    assert labels.put("a long name", around(10, 10))
    assert_readable(labels.ax)


def test_words_keep_off_a_line(labels, texts):
    labels.avoid([0, 10], [5, 5])
    labels.put("words", around(5, 5))
    y = labels.ax.transData.transform((5, 5))[1]
    box = texts(labels.ax)["words"]
    assert not box.y0 < y < box.y1


def test_a_steep_line_does_not_slip_through(labels, texts):
    labels.avoid([5.3, 5.4], [0, 10])
    labels.put("words", around(5, 5))
    x = labels.ax.transData.transform((5.35, 5))[0]
    box = texts(labels.ax)["words"]
    assert not box.x0 < x < box.x1


def test_what_has_no_room_is_not_written(labels):
    labels.avoid([0, 10], [5, 5])
    assert not labels.put_if_free("words", ((5, 5), (0, 0)))
    assert not labels.ax.texts
    assert labels.put_if_free("words", ((5, 8), (0, 0)))


def test_words_that_cannot_but_overlap_are_told(labels):
    spot = [((5, 5), (0, 0))]
    assert labels.put("words", spot)
    assert not labels.put("more words", spot)


def test_only_far_words_have_a_leader(labels):
    labels.put("near", [((5, 5), (6, 0))], leader=True)
    labels.put("far", [((2, 2), (0, 38))], leader=True)
    near, far = labels.ax.texts
    assert near.arrow_patch is None
    assert far.arrow_patch is not None


def test_cleared_words_are_gone(labels):
    labels.put("words", around(5, 5))
    labels.clear()
    assert not labels.ax.texts
    assert labels.put("others", [((5, 5), (0, 0))])


def test_empty_lines_are_no_hindrance(labels):
    labels.avoid(np.array([]), np.array([]))
    labels.avoid([np.nan, 1], [1, np.nan])
    assert labels.put("words", around(5, 5))


def test_a_figure_that_no_window_shows_will_do():
    ax = matplotlib.figure.Figure().add_subplot()
    assert Labels(ax).put("words", [((0.5, 0.5), (0, 0))])


def test_words_on_a_line_stay_words_in_svg(labels):
    labels.put("words on a line", around(5, 5))
    assert chart_svg(labels.ax).count(">words on a line</text>") == 1
