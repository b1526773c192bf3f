"""The palette: neighbours part for colour-blind readers and in grey, and all can be read on white paper."""

import warnings
from itertools import pairwise

import colour
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from sagglab.charts import firing_curve, firing_curves, power_chart, schedule_chart
from sagglab.charts.look import INK, LINES, QUIET, WARN
from sagglab.colour import delta_e_2000, linear_to_xyz, srgb_to_linear, xyz_to_lab
from sagglab.firing.schedule import Schedule, Segment
from sagglab.plan.power import firings_needed

#: What a reader sees: all colours; without long-, middle- or short-wave cones; and a print in grey.
SEEN = ("colour", "Protanomaly", "Deuteranomaly", "Tritanomaly", "grey")


def linear(colours):
    return srgb_to_linear(np.array([to_rgb(one) for one in colours]))


def seen(colours, how):
    """Give Lab of colours as they are seen, shape (n, 3)."""
    light = linear(colours)
    if how == "grey":
        light = np.repeat(light @ [[0.2126], [0.7152], [0.0722]], 3, axis=1)
    elif how != "colour":
        with warnings.catch_warnings():
            # Of tritanomaly it says that its model reaches less far there.
            warnings.simplefilter("ignore")
            # Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009), severity 1, applied
            # to linear RGB; the matrices are those that colour-science holds.
            matrix = colour.matrix_cvd_Machado2009(how, 1.0)
        light = np.clip(light @ matrix.T, 0, 1)
    return xyz_to_lab(linear_to_xyz(light))


def contrast(colours):
    """Contrast to white paper, WCAG 2.2."""
    return 1.05 / (linear(colours) @ [0.2126, 0.7152, 0.0722] + 0.05)


@pytest.mark.parametrize("how", SEEN)
def test_neighbouring_lines_are_told_apart(how):
    lab = seen([line for line, _ in LINES], how)
    # The first follows the last where there are more lines than colours.
    assert delta_e_2000(lab, np.roll(lab, -1, axis=0)).min() >= 10


def test_neighbouring_lines_differ_in_dashes():
    dashes = [dashes for _, dashes in LINES]
    assert all(one != other for one, other in pairwise([*dashes, dashes[0]]))
    assert len(set(map(str, dashes))) == len(LINES)


def test_lines_are_seen_and_words_are_read_on_white_paper():
    # WCAG 2.2, 1.4.11: graphics need 3. Names stand in the colour of their line: 1.4.3 asks 4.5 of words.
    assert contrast([line for line, _ in LINES]).min() >= 4.5
    assert contrast([INK, QUIET, WARN]).min() >= 4.5


@pytest.mark.parametrize("how", SEEN)
def test_what_warns_parts_from_ink(how):
    lab = seen([INK, WARN], how)
    assert delta_e_2000(*lab) >= 10


PLAN = Schedule((Segment(1500, 600), Segment(900, 750, 5)))


def drawn(ax):
    """List the colours of a chart's lines of data, each once, in the order of drawing."""
    lines = [line for line in ax.lines if len(line.get_xdata()) > 2 or line.get_xdata()[0] == 0]
    # What marks a level that matters, and what stands off a record, are no series of their own.
    return list(dict.fromkeys(line.get_color() for line in lines if line.get_color() not in (QUIET, WARN)))


@pytest.mark.parametrize("how", SEEN)
def test_what_stands_beside_a_firing_s_curve_parts_from_it_as_drawn(records, how):
    """The curve from its target and from its schedule, which are drawn with dashes or named, too."""
    alone = drawn(firing_curve(records["f1"], target_C=750))
    both = drawn(firing_curve(records["f1"], target_C=750, schedule=PLAN))
    beside = drawn(schedule_chart(PLAN, records["f1"]))
    assert [len(colours) for colours in (alone, both, beside)] == [2, 3, 2]
    for colours in (alone, both, beside):
        curve = LINES[0][0]
        for other in set(colours) - {curve}:
            assert delta_e_2000(*seen([curve, other], how)) >= 10, other


@pytest.mark.parametrize("how", SEEN)
def test_neighbouring_series_part_as_drawn(records, how):
    many = dict(zip("abcdefghijkl", [records["f1"], records["f5"]] * 6, strict=True))
    for ax, series in ((firing_curves(many), 8), (power_chart(firings_needed(pots=[6])), 2)):
        colours = [line.get_color() for line in ax.lines if line.get_color() in dict(LINES)]
        colours = list(dict.fromkeys(colours))
        assert len(colours) == series
        assert min(delta_e_2000(*seen(pair, how)) for pair in pairwise(colours)) >= 10


def test_the_simulation_takes_red_and_green_together():
    # As it should for a reader without middle-wave cones; else the tests above could not fail.
    red_green = ["#c1440e", "#5f7a00"]
    assert delta_e_2000(*seen(red_green, "colour")) > 30
    assert delta_e_2000(*seen(red_green, "Deuteranomaly")) < 15
